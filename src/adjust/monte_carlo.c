/* Propagation of distributions after JCGM 101: every observation and every prior is drawn anew about the solution, each from
 * its own distribution, and all is solved again. What the linear u leaves out (bent functions, robust weights, heavy tails)
 * is in here.
 *
 * A draw moves a row's residual: with r(x) the row, x0 the solution and z the draw, the drawn row is r(x) - r(x0) + z. For
 * corners and priors that is exactly another reading; for an edge point it is one moved along its normal, to first order in
 * the move over the rim's radius (a few thousandths).
 *
 * Each sample has a generator of its own, started from seed and sample number, and sums run in the samples' order: the same
 * bytes for any number of threads. */
#include "adjust/model.h"
#include "base/linear.h"
#include "base/stats.h"

#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { THREADS_MOST = 64, SAMPLES_MOST = 1000000, ASKS_MOST = 64 };

typedef struct row_kind {
    double residual; /* at the solution */
    double sd, tail; /* of its draw */
} row_kind;

/* Shared by all threads; read only but for `next` and each sample's own place in `value`. */
typedef struct job {
    const ps_adjust_solution *s;
    const row_kind *row;
    int rows, samples, asks, next;
    uint64_t seed;
    const ps_ask *ask;
    double *value; /* samples x asks; NaN where a sample did not settle */
    bool no_memory;
    pthread_mutex_t lock;
} job;

/* ---- chance: splitmix64 (Vigna 2015, public domain) ---- */

static uint64_t mix(uint64_t z) {
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

static double uniform(uint64_t *state) { /* open at both ends */
    return ((double)(mix(*state += 0x9e3779b97f4a7c15u) >> 11) + 0.5) / 9007199254740992.0;
}

static double draw(uint64_t *state, const row_kind *row) {
    double u = uniform(state);
    if (row->tail > 0) return row->sd * (u == 0.5 ? 0 : -ps_t_value(u, row->tail));
    return row->sd * sqrt(-2 * log(u)) * cos(2 * PS_PI * uniform(state));
}

/* ---- rows ---- */

typedef struct gathering {
    const ps_adjust_solution *s;
    adjust_model *model;
    row_kind *row;
    int rows, capacity;
    bool no_memory;
} gathering;

static void gather(void *sink, const ps_lsq_row *row) {
    gathering *g = sink;
    if (g->rows == g->capacity && !g->no_memory) {
        int capacity = g->capacity ? 2 * g->capacity : 4096;
        row_kind *grown = realloc(g->row, (size_t)capacity * sizeof *grown);
        g->no_memory = !grown;
        if (grown) g->row = grown, g->capacity = capacity;
    }
    if (g->no_memory) return;
    /* Observations that scattered more than their sd said are drawn as they scattered. */
    g->row[g->rows++] = (row_kind){row->residual, sqrt(g->s->inflation[g->model->source]), row->tail};
}

/* The model with its rows moved. */
typedef struct moved {
    adjust_model *model;
    const double *move;
    int at;
    void *sink;
    ps_lsq_emit emit;
} moved;

static void emit_moved(void *sink, const ps_lsq_row *row) {
    moved *m = sink;
    ps_lsq_row drawn = *row;
    drawn.residual += m->move[m->at++];
    m->emit(m->sink, &drawn);
}

static bool moved_rows(void *user, const double *x, bool want_derivatives, void *sink, ps_lsq_emit emit) {
    moved *m = user;
    m->at = 0;
    m->sink = sink;
    m->emit = emit;
    return adjust_rows(m->model, x, want_derivatives, m, emit_moved);
}

/* ---- samples ---- */

static double value_of(const adjust_model *m, const ps_ask *ask) {
    if (ask->what == PS_ASK_DIAMETER) return 2 * m->circle[ask->a].radius;
    if (ask->what == PS_ASK_HEIGHT_DIFFERENCE) return m->height[ask->a] - m->height[ask->b];
    const int pin[2] = {ask->a, ask->b};
    const double height[2] = {ask->height_a, ask->height_b}, still[8] = {0};
    return adjust_centres(m, pin, height, still);
}

static void sample(const job *j, ps_context *ctx, moved *m, double *move, double *x, int number) {
    size_t n = (size_t)j->s->model.layout.count;
    uint64_t state = mix(j->seed ^ mix((uint64_t)number + 1));
    ps_lsq_options options = adjust_options();
    ps_lsq_result result = {0};
    double *value = j->value + (size_t)number * (size_t)j->asks;
    for (int i = 0; i < j->rows; i++) move[i] = draw(&state, &j->row[i]) - j->row[i].residual;
    memcpy(x, j->s->x, n * sizeof *x);
    adjust_state_forget(m->model); /* a sample's result must not hang on the one before */
    bool solved = ps_lsq_solve(ctx, (int)n, x, moved_rows, m, &options, &result) == PS_OK && adjust_state_set(m->model, x);
    ps_lsq_result_clear(&result);
    for (int k = 0; k < j->asks; k++) value[k] = solved ? value_of(m->model, &j->ask[k]) : NAN;
}

static void *worker(void *user) {
    job *j = user;
    adjust_model model = {0};
    ps_context *ctx = ps_context_new();
    double *move = malloc((size_t)j->rows * sizeof *move), *x = malloc((size_t)j->s->model.layout.count * sizeof *x);
    bool ready = ctx && move && x && adjust_model_new(ctx, &j->s->model.problem, &model) == PS_OK;
    moved m = {.model = &model, .move = move};
    for (;;) {
        (void)pthread_mutex_lock(&j->lock);
        if (!ready) j->no_memory = true;
        int number = j->no_memory ? j->samples : j->next++;
        (void)pthread_mutex_unlock(&j->lock);
        if (number >= j->samples) break;
        sample(j, ctx, &m, move, x, number);
    }
    if (ready) adjust_model_clear(&model);
    free(move);
    free(x);
    ps_context_free(ctx);
    return NULL;
}

static int compare(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

void adjust_summarise(double *value, int n, ps_monte_carlo *out) {
    double sum = 0, square = 0;
    *out = (ps_monte_carlo){.samples = n, .mean_mm = NAN, .u_mm = NAN, .low_mm = NAN, .high_mm = NAN};
    if (n < 2) return;
    for (int i = 0; i < n; i++) sum += value[i];
    out->mean_mm = sum / n;
    for (int i = 0; i < n; i++) square += (value[i] - out->mean_mm) * (value[i] - out->mean_mm);
    out->u_mm = sqrt(square / (n - 1));
    qsort(value, (size_t)n, sizeof *value, compare);
    int inside = (int)(0.95 * n + 0.5), first = (n - inside + 1) / 2; /* ranks from 1 */
    out->low_mm = value[first > 1 ? first - 1 : 0];
    out->high_mm = value[first + inside <= n ? first + inside - 1 : n - 1];
}

/* `room`: for all samples. */
static void summarise(const job *j, int ask, double *room, ps_monte_carlo *out) {
    int n = 0;
    for (int i = 0; i < j->samples; i++) {
        double v = j->value[(size_t)i * (size_t)j->asks + (size_t)ask];
        if (!isnan(v)) room[n++] = v;
    }
    adjust_summarise(room, n, out);
    out->failed = j->samples - n;
}

static ps_status check(ps_context *ctx, const ps_adjust_solution *s, int samples, const ps_ask *ask, int asks, const ps_monte_carlo *out) {
    if (!s || !ask || !out) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "Monte Carlo without solution, questions or place for answers");
    if (samples < 2 || samples > SAMPLES_MOST)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "Monte Carlo takes 2 to %d samples, not %d", SAMPLES_MOST, samples);
    if (asks < 1 || asks > ASKS_MOST) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "1 to %d quantities can be asked for", ASKS_MOST);
    for (int i = 0; i < asks; i++) {
        ps_quantity q; /* the same checks as for the linear u */
        ps_status status = ask[i].what == PS_ASK_DIAMETER ? ps_adjust_diameter(ctx, s, ask[i].a, &q)
                           : ask[i].what == PS_ASK_HEIGHT_DIFFERENCE
                               ? ps_adjust_height_difference(ctx, s, ask[i].a, ask[i].b, &q)
                               : ps_adjust_centres(ctx, s, ask[i].a, ask[i].height_a, ask[i].b, ask[i].height_b, &q);
        if (status != PS_OK) return status;
    }
    return PS_OK;
}

static ps_status gather_rows(ps_context *ctx, const ps_adjust_solution *s, gathering *g) {
    adjust_model model;
    ps_status status = adjust_model_new(ctx, &s->model.problem, &model);
    if (status != PS_OK) return status;
    *g = (gathering){.s = s, .model = &model};
    bool admissible = adjust_rows(&model, s->x, false, g, gather);
    adjust_model_clear(&model);
    if (g->no_memory) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the rows of a Monte Carlo run");
    return admissible ? PS_OK : ps_context_fail(ctx, PS_INTERNAL, "the solution is not admissible");
}

static bool run(job *j, int threads) {
    pthread_t thread[THREADS_MOST];
    int started = 0, wanted = threads < 1 ? 1 : threads > THREADS_MOST ? THREADS_MOST : threads;
    if (pthread_mutex_init(&j->lock, NULL) != 0) return false;
    while (started < wanted - 1 && pthread_create(&thread[started], NULL, worker, j) == 0) started++;
    (void)worker(j); /* takes part, and is enough when no other could be started */
    for (int i = 0; i < started; i++) (void)pthread_join(thread[i], NULL);
    (void)pthread_mutex_destroy(&j->lock);
    return !j->no_memory;
}

ps_status ps_adjust_monte_carlo(ps_context *ctx, const ps_adjust_solution *s, int samples, uint64_t seed, int threads, const ps_ask *ask,
                                int asks, ps_monte_carlo *out) {
    gathering g = {0};
    ps_status status = check(ctx, s, samples, ask, asks, out);
    if (status != PS_OK) return status;
    job j = {.s = s, .samples = samples, .asks = asks, .seed = mix(seed), .ask = ask};
    double *sorted = malloc((size_t)samples * sizeof *sorted);
    j.value = malloc((size_t)samples * (size_t)asks * sizeof *j.value);
    if (!sorted || !j.value) status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for %d samples", samples);
    if (status == PS_OK) status = gather_rows(ctx, s, &g);
    if (status != PS_OK) goto out;
    j.row = g.row;
    j.rows = g.rows;
    if (!run(&j, threads)) {
        status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a Monte Carlo run");
        goto out;
    }
    summarise(&j, 0, sorted, &out[0]);
    if (out[0].samples < 2) status = ps_context_fail(ctx, PS_NO_CONVERGENCE, "of %d samples %d settled", samples, out[0].samples);
    for (int k = 1; k < asks && status == PS_OK; k++) summarise(&j, k, sorted, &out[k]);
out:
    free(sorted);
    free(j.value);
    free(g.row);
    return status;
}
