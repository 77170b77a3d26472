/* Which nominal sizes a measured diameter may stand for. Bayes' rule over a list and 'none of these'. */
#include "pinspan/trade.h"

#include <math.h>
#include <stdio.h>

/* Below nominal: middle of an h11 shank's tolerance (ISO 286: 0 to -0.19 mm at 50-80 mm). */
static const double offset_mm = -0.1;
/* Tolerance, wear at the end, paint: a few tenths. Common practice, no source. */
static const double spread_mm = 0.2;
/* Pins turned to a size of their own, or worn out of any list; spread evenly over a range. Common practice, no source. */
static const double none_share = 0.05, none_range_mm = 130;
static const double least_probability = 0.01;

static double density(double x, double sd) {
    return exp(-0.5 * x * x / (sd * sd)) / (sd * 2.5066282746310002); /* sqrt(2 pi) */
}

/* Keeps `match` sorted by falling probability; the least falls off the end. */
static int insert(ps_nominal_match *match, int count, const ps_size *s, double probability) {
    int at = count;
    while (at > 0 && match[at - 1].probability < probability) at--;
    if (at == PS_NOMINALS_MAX) return count;
    if (count < PS_NOMINALS_MAX) count++;
    for (int i = count - 1; i > at; i--) match[i] = match[i - 1];
    match[at] = (ps_nominal_match){.size_mm = s->size_mm, .probability = probability};
    (void)snprintf(match[at].label, sizeof match[at].label, "%s", s->label);
    return count;
}

int ps_trade_nominals(double diameter_mm, double u_mm, ps_nominal_match match[PS_NOMINALS_MAX]) {
    if (!isfinite(diameter_mm) || !isfinite(u_mm) || diameter_mm <= 0 || u_mm <= 0) return 0;
    int sizes = ps_trade_size_count(), count = 0;
    double sd = hypot(u_mm, spread_mm), each = (1 - none_share) / sizes, total = none_share / none_range_mm;
    for (int i = 0; i < sizes; i++) total += each * density(diameter_mm - offset_mm - ps_trade_size(i)->size_mm, sd);
    for (int i = 0; i < sizes; i++) {
        double p = each * density(diameter_mm - offset_mm - ps_trade_size(i)->size_mm, sd) / total;
        if (p >= least_probability) count = insert(match, count, ps_trade_size(i), p);
    }
    return count;
}
