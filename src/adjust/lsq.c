/* Levenberg-Marquardt on normal equations accumulated row by row.
 *
 * A row touches few unknowns, so only the touched products are added up; the matrix itself is dense and small. Robust
 * rows are weighted anew at every evaluation (iteratively reweighted least squares), while steps are accepted by the
 * robust cost itself, so that a step can never be taken for a gain that only came from changed weights.
 *
 * Sources: Levenberg 1944, Marquardt 1963 with diag(N) as the scale; Huber 1964; Student-t weights after Lange, Little & Taylor 1989.
 */
#include "adjust/block.h"
#include "base/linear.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

/* One evaluation of the model: normal equations, cost and weights at one x. */
typedef struct evaluation {
    int unknowns;
    double huber;
    double *normal;   /* n x n, lower triangle filled */
    double *gradient; /* n: J' W r */
    double *weight;   /* one per row, in emit order */
    size_t capacity;
    int rows;
    double chi2; /* sum of w r^2 */
    double cost; /* sum of rho(r); rho'(r^2) = w */
    bool bad;    /* NaN or an index out of range */
    bool no_memory;
    ps_lsq_block block; /* the last member */
} evaluation;

static void evaluation_free(evaluation *e) {
    free(e->normal);
    free(e->gradient);
    free(e->weight);
    memset(e, 0, sizeof *e);
}

static bool evaluation_new(evaluation *e, int unknowns, double huber) {
    memset(e, 0, sizeof *e);
    size_t n = (size_t)unknowns;
    e->unknowns = unknowns;
    e->huber = huber;
    e->capacity = 1024;
    e->normal = malloc(n * n * sizeof *e->normal);
    e->gradient = malloc(n * sizeof *e->gradient);
    e->weight = malloc(e->capacity * sizeof *e->weight);
    return e->normal && e->gradient && e->weight;
}

/* Blocks are empty between evaluations, and large. */
static void evaluation_swap(evaluation *a, evaluation *b) {
    enum { PART = offsetof(evaluation, block) };
    char part[PART];
    memcpy(part, a, PART);
    memcpy(a, b, PART);
    memcpy(b, part, PART);
}

/* Weight and robust cost of one residual. */
static double weigh(const evaluation *e, const ps_lsq_row *row, double *rho) {
    double r = row->residual, a = fabs(r);
    if (row->tail > 0) {
        *rho = (row->tail + 1) * log1p(r * r / row->tail);
        return (row->tail + 1) / (row->tail + r * r);
    }
    if (row->robust && e->huber > 0 && a > e->huber) {
        *rho = e->huber * (2 * a - e->huber);
        return e->huber / a;
    }
    *rho = r * r;
    return 1;
}

static bool row_is_sound(const evaluation *e, const ps_lsq_row *row) {
    if (!isfinite(row->residual) || row->n < 0) return false;
    for (int i = 0; i < row->n; i++) {
        if (row->index[i] < 0 || row->index[i] >= e->unknowns || !isfinite(row->derivative[i])) return false;
    }
    return true;
}

static bool weight_room(evaluation *e) {
    if ((size_t)e->rows < e->capacity) return true;
    size_t capacity = e->capacity * 2;
    double *grown = realloc(e->weight, capacity * sizeof *grown);
    if (!grown) {
        e->no_memory = true;
        return false;
    }
    e->weight = grown;
    e->capacity = capacity;
    return true;
}

/* Adds what neighbouring rows have gathered to the matrix. */
static void flush(evaluation *e) {
    const ps_lsq_block *block = &e->block;
    ps_lsq_block_finish(&e->block);
    for (int a = 0; a < block->n; a++) {
        int ia = block->index[a];
        double *line = e->normal + (size_t)ia * (size_t)e->unknowns;
        e->gradient[ia] += block->gradient[a];
        for (int b = 0; b < block->n; b++)
            if (block->index[b] <= ia) line[block->index[b]] += ps_lsq_block_product(block, a, b);
    }
    e->block.n = 0;
}

/* A row too long for a block. */
static void add_long(evaluation *e, const ps_lsq_row *row, double w) {
    for (int a = 0; a < row->n; a++) {
        double wa = w * row->derivative[a], *line = e->normal + (size_t)row->index[a] * (size_t)e->unknowns;
        e->gradient[row->index[a]] += wa * row->residual;
        for (int b = 0; b < row->n; b++)
            if (row->index[b] <= row->index[a]) line[row->index[b]] += wa * row->derivative[b];
    }
}

static void accumulate(void *sink, const ps_lsq_row *row) {
    evaluation *e = sink;
    if (e->bad || e->no_memory || !weight_room(e)) return;
    if (!row_is_sound(e, row)) {
        e->bad = true;
        return;
    }
    double rho, w = weigh(e, row, &rho);
    e->weight[e->rows++] = w;
    e->chi2 += w * row->residual * row->residual;
    e->cost += rho;
    if (row->n > PS_LSQ_BLOCK_MAX) {
        add_long(e, row, w);
        return;
    }
    if (!ps_lsq_block_takes(&e->block, row)) {
        flush(e);
        ps_lsq_block_start(&e->block, row);
    }
    ps_lsq_block_add(&e->block, row, w);
}

typedef enum outcome { OUTCOME_FINE, OUTCOME_REFUSED, OUTCOME_BAD, OUTCOME_NO_MEMORY } outcome;

static outcome evaluate(evaluation *e, ps_lsq_model model, void *user, const double *x) {
    size_t n = (size_t)e->unknowns;
    memset(e->normal, 0, n * n * sizeof *e->normal);
    memset(e->gradient, 0, n * sizeof *e->gradient);
    e->rows = 0;
    e->chi2 = e->cost = 0;
    e->bad = e->no_memory = false;
    e->block.n = 0;
    bool admissible = model(user, x, true, e, accumulate);
    if (e->no_memory) return OUTCOME_NO_MEMORY;
    if (!e->bad) flush(e);
    if (!admissible) return OUTCOME_REFUSED;
    if (e->bad || !isfinite(e->cost)) return OUTCOME_BAD;
    return OUTCOME_FINE;
}

/* Factor of D^-1 (N + lambda diag N) D^-1 with D = sqrt(diag N). Returns -1, or the unknown whose pivot vanishes: it is
 * fixed neither by itself nor apart from those before it. */
static int factor_scaled(const evaluation *e, double lambda, double *L, double *scale, double *room) {
    size_t n = (size_t)e->unknowns;
    /* A pivot is the share of an unknown's information that those before it leave. Rounding leaves about n epsilon of a
     * truly free direction; weak priors (1 m beside .001 mm) leave 1e-12. */
    const double least_pivot = 4 * (double)n * 2.2e-16;
    for (size_t i = 0; i < n; i++) {
        double d = e->normal[i * n + i];
        if (!(d > 0)) return (int)i;
        scale[i] = 1 / sqrt(d);
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < i; j++) L[i * n + j] = e->normal[i * n + j] * scale[i] * scale[j];
        L[i * n + i] = e->normal[i * n + i] * scale[i] * scale[i] + lambda;
        room[i] = least_pivot;
    }
    return ps_cholesky_columns(L, e->unknowns, room, room + n);
}

/* What the iteration needs beside the two evaluations. */
typedef struct search {
    int n;
    double *factor, *scale, *step, *trial, *room; /* room: two an unknown */
    double lambda, growth;
    bool creeping; /* an undamped step failed: a weak direction that is curved wants a trace of damping */
    double tolerance;
} search;

static void search_free(search *s) {
    free(s->factor);
    free(s->scale);
    free(s->step);
    free(s->trial);
    free(s->room);
}

static bool search_new(search *s, int n, const ps_lsq_options *o) {
    size_t size = (size_t)n;
    *s = (search){.n = n, .lambda = o->damping, .growth = 2, .tolerance = o->step_tolerance};
    s->factor = malloc(size * size * sizeof(double));
    s->scale = malloc(size * sizeof(double));
    s->step = malloc(size * sizeof(double));
    s->trial = malloc(size * sizeof(double));
    s->room = malloc(2 * size * sizeof(double));
    return s->factor && s->scale && s->step && s->trial && s->room;
}

static void damp_more(search *s) {
    s->creeping = s->creeping || s->lambda == 0;
    double least = s->creeping ? 1e-12 : 1e-8;
    s->lambda = s->lambda < least ? least : s->lambda * s->growth;
    s->growth *= 2;
}

/* The step at the present damping; more damping where the matrix does not factor. `gain`: predicted fall of the cost.
 * False when no damping helps (an unknown that no row touches still steps by 0, so only NaN gets here). */
static bool find_step(search *s, evaluation *e, double *gain) {
    for (int i = 0; i < s->n; i++) {
        double *d = e->normal + (size_t)i * (size_t)s->n + (size_t)i;
        if (*d == 0) *d = 1e-300; /* untouched unknown: keeps its place here, named as singular at the end */
    }
    while (factor_scaled(e, s->lambda, s->factor, s->scale, s->room) >= 0) {
        if (s->lambda > 1e12) return false;
        damp_more(s);
    }
    for (int i = 0; i < s->n; i++) s->step[i] = -e->gradient[i] * s->scale[i];
    ps_cholesky_solve(s->factor, s->n, s->step);
    *gain = 0;
    for (int i = 0; i < s->n; i++) {
        double y = s->step[i]; /* in units of 1/scale */
        s->step[i] = y * s->scale[i];
        *gain += -e->gradient[i] * s->step[i] + s->lambda * y * y;
    }
    return true;
}

/* Settled: an undamped step far inside the solution's uncertainty, or below the wanted digits of every unknown. */
static bool settled(const search *s, const evaluation *e, const double *x, double gain) {
    if (s->lambda > 1e-6) return false;
    int dof = e->rows > s->n ? e->rows - s->n : 1;
    double share = 1e3 * s->tolerance; /* of the uncertainty: 1e-6 of a sd at the default */
    if (gain <= share * share * e->chi2 / dof) return true;
    for (int i = 0; i < s->n; i++) {
        if (fabs(s->step[i]) > s->tolerance * (fabs(x[i]) + s->scale[i])) return false;
    }
    return true;
}

static void take_step(search *s, double *x, evaluation *now, evaluation *next, double gain, double rounding) {
    double ratio = gain > rounding ? (now->cost - next->cost) / gain : 1; /* what only rounds says nothing of the damping */
    memcpy(x, s->trial, (size_t)s->n * sizeof *x);
    evaluation_swap(now, next);
    /* Nielsen 1999: the less a step kept its promise, the less the damping falls (ratio 1/2: as it was). Falling by ten
     * after any success would bounce along a curved valley. */
    double promise = 2 * fmax(0, fmin(ratio, 1)) - 1;
    s->lambda *= fmax(0.1, 1 - promise * promise * promise);
    if (s->lambda < (s->creeping ? 1e-14 : 1e-9) && promise > 0)
        s->lambda = 0; /* plain Gauss-Newton to the end: damping would cost digits */
    s->growth = 2;
}

static ps_status iterate(ps_context *ctx, search *s, double *x, ps_lsq_model model, void *user, int limit, evaluation *now,
                         evaluation *next, int *iterations) {
    for (int i = 0; i < limit; i++) {
        *iterations = i + 1;
        double gain;
        if (!find_step(s, now, &gain)) return ps_context_fail(ctx, PS_SINGULAR, "the normal equations have no solution at any damping");
        bool done = settled(s, now, x, gain);
        for (int k = 0; k < s->n; k++) s->trial[k] = x[k] + s->step[k];
        outcome o = evaluate(next, model, user, s->trial);
        if (o == OUTCOME_NO_MEMORY) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the rows' weights");
        /* At the bottom the cost only rounds (pixels of thousands, residuals of tenths): no refining step is refused for
         * that. */
        double rounding = 1e-11 * (now->cost + 1e-6);
        bool better = o == OUTCOME_FINE && next->cost <= now->cost + (gain < rounding ? rounding : 0);
        if (better) {
            take_step(s, x, now, next, gain, rounding);
        } else {
            damp_more(s);
            done = done || gain < rounding || s->lambda > 1e10;
            if (s->lambda > 1e10 && gain > 1e-9 * (1 + now->cost))
                return ps_context_fail(ctx, PS_NO_CONVERGENCE, "no step lowers the cost (%g) after %d iterations", now->cost, i + 1);
        }
        if (done) return PS_OK;
    }
    return ps_context_fail(ctx, PS_NO_CONVERGENCE, "no convergence in %d iterations (cost %g)", limit, now->cost);
}

static ps_status fill_result(ps_context *ctx, search *s, evaluation *e, int iterations, ps_lsq_result *result) {
    size_t n = (size_t)s->n;
    int free_unknown = factor_scaled(e, 0, s->factor, s->scale, s->room);
    for (size_t i = 0; free_unknown < 0 && i < n; i++) {
        if (e->normal[i * n + i] <= 1e-300) free_unknown = (int)i;
    }
    if (free_unknown >= 0)
        return ps_context_fail(ctx, PS_SINGULAR, "free direction: no row determines unknown %d apart from those before it", free_unknown);
    double *covariance = malloc(n * n * sizeof *covariance);
    if (!covariance) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for %d x %d covariances", s->n, s->n);
    ps_cholesky_inverse(s->factor, s->n, covariance);
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) covariance[i * n + j] *= s->scale[i] * s->scale[j];
    }
    *result = (ps_lsq_result){
        .chi2 = e->chi2, .cost = e->cost, .rows = e->rows, .unknowns = s->n, .iterations = iterations, .covariance = covariance};
    result->weight = e->weight;
    e->weight = NULL;
    return PS_OK;
}

ps_lsq_options ps_lsq_options_default(void) {
    return (ps_lsq_options){.max_iterations = 60, .step_tolerance = 1e-9, .huber = 2.5, .damping = 1e-3};
}

void ps_lsq_result_clear(ps_lsq_result *r) {
    if (!r) return;
    free(r->covariance);
    free(r->weight);
    memset(r, 0, sizeof *r);
}

static ps_status check_input(ps_context *ctx, int unknowns, const double *x) {
    if (unknowns < 1) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "%d unknowns: at least one is needed", unknowns);
    if (unknowns > 2000) return ps_context_fail(ctx, PS_TOO_LARGE, "%d unknowns: at most 2000 are solved for", unknowns);
    for (int i = 0; i < unknowns; i++) {
        if (!isfinite(x[i])) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "start value %d is not a finite number", i);
    }
    return PS_OK;
}

ps_status ps_lsq_solve(ps_context *ctx, int unknowns, double *x, ps_lsq_model model, void *user, const ps_lsq_options *options,
                       ps_lsq_result *result) {
    if (!x || !model || !result) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "least squares without start, model or result");
    ps_status status = check_input(ctx, unknowns, x);
    if (status != PS_OK) return status;
    ps_lsq_options o = options ? *options : ps_lsq_options_default();
    size_t size = (size_t)unknowns * sizeof *x;
    evaluation now = {0}, next = {0};
    search s = {0};
    int iterations = 0;
    double *work = malloc(size); /* x stays as it was on failure */
    if (!work || !evaluation_new(&now, unknowns, o.huber) || !evaluation_new(&next, unknowns, o.huber) || !search_new(&s, unknowns, &o)) {
        status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for %d unknowns", unknowns);
        goto out;
    }
    memcpy(work, x, size);
    outcome first = evaluate(&now, model, user, work);
    if (first == OUTCOME_NO_MEMORY) status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the rows' weights");
    if (first == OUTCOME_REFUSED) status = ps_context_fail(ctx, PS_BAD_ARGUMENT, "the model does not admit the start values");
    if (first == OUTCOME_BAD) status = ps_context_fail(ctx, PS_BAD_ARGUMENT, "row %d is not a finite number at the start values", now.rows);
    if (status != PS_OK) goto out;
    status = iterate(ctx, &s, work, model, user, o.max_iterations, &now, &next, &iterations);
    if (status == PS_OK) status = fill_result(ctx, &s, &now, iterations, result);
    if (status == PS_OK) memcpy(x, work, size);
out:
    free(work);
    evaluation_free(&now);
    evaluation_free(&next);
    search_free(&s);
    return status;
}
