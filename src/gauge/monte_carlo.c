/* Monte Carlo intervals beside U, when asked for. */
#include "gauge/asks.h"

#include <math.h>
#include <unistd.h>

/* A widened value: the doubt's own spread is a guess of half a dozen possible edges, taken as normal; its share of a 95 % half-width
 * is 1.96 of its u. */
static const double normal_95 = 1.959963985;

static void widen(ps_monte_carlo *m, double own_u_mm, double u_mm) {
    double extra = sqrt(fmax(0, u_mm * u_mm - own_u_mm * own_u_mm));
    m->u_mm = hypot(m->u_mm, extra);
    m->low_mm = m->mean_mm - hypot(m->mean_mm - m->low_mm, normal_95 * extra);
    m->high_mm = m->mean_mm + hypot(m->high_mm - m->mean_mm, normal_95 * extra);
}

ps_status ps_gauge_monte_carlo(ps_context *ctx, const ps_measure_options *options, const ps_adjust_solution *solution,
                               const ps_gauge_asks *asks, ps_record *record) {
    ps_ask ask[PS_DIMENSIONS_MAX];
    ps_monte_carlo out[PS_DIMENSIONS_MAX];
    int of[PS_DIMENSIONS_MAX], count = 0;
    for (int i = 0; i < record->dimension_count; i++) {
        if (!asks->had[i] || record->dimension[i].verdict == PS_VERDICT_MISSING) continue;
        ask[count] = asks->ask[i];
        of[count++] = i;
    }
    if (count == 0) return PS_OK;
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    int threads = options->threads > 0 ? options->threads : (int)(cores > 0 ? cores : 1);
    ps_status status = ps_adjust_monte_carlo(ctx, solution, options->monte_carlo, options->seed, threads, ask, count, out);
    if (status == PS_NO_CONVERGENCE) return PS_OK; /* said by its absence: no sample settled */
    if (status != PS_OK) return status;
    for (int k = 0; k < count; k++) {
        ps_dimension *d = &record->dimension[of[k]];
        widen(&out[k], asks->own_u_mm[of[k]], d->u_mm);
        d->monte_carlo = out[k];
    }
    record->monte_carlo = options->monte_carlo;
    record->seed = options->seed;
    return PS_OK;
}
