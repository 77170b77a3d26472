/* The adjustment itself: model, least squares, and what the solution tells by itself. */
#include "adjust/block.h"
#include "adjust/model.h"
#include "base/linear.h"
#include "base/stats.h"
#include "pinspan/photo.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Takes the rows at the solution apart by source of uncertainty. */
typedef struct sorting {
    ps_adjust_solution *s;
    const double *weight;
    int row;
    double chi2[PS_SOURCE_COUNT], used[PS_SOURCE_COUNT]; /* used: what the fit took of each source's rows, tr(C J' W J) */
    int count[PS_SOURCE_COUNT];
    ps_source gathered;
    ps_lsq_block block;
} sorting;

/* What a heavy-tailed prior is worth in a variance, in squares of its sd: its 95 % point over 2, so that U = 2u holds where
 * nothing but the prior speaks (a focal length from EXIF and one photo). Its weight alone would say (dof + r^2) / (dof + 1). */
static double tail_variance(const ps_lsq_row *row) {
    if (!(row->tail > 0)) return 1;
    double half = 0.5 * ps_t_value(0.025, row->tail);
    return half * half;
}

/* Adds what neighbouring rows of one source have gathered to that source's matrix. */
static void flush(sorting *o) {
    size_t n = (size_t)o->s->model.layout.count;
    double *information = o->s->information + (size_t)o->gathered * n * n;
    ps_lsq_block_finish(&o->block);
    for (int a = 0; a < o->block.n; a++)
        for (int b = 0; b < o->block.n; b++) {
            size_t at = (size_t)o->block.index[a] * n + (size_t)o->block.index[b];
            double product = ps_lsq_block_product(&o->block, a, b);
            information[at] += product;
            o->used[o->gathered] += product * o->s->covariance[at];
        }
    o->block.n = 0;
}

static void sort_tail(sorting *o, const ps_lsq_row *row, double w) {
    ps_adjust_solution *s = o->s;
    ps_source source = s->model.source;
    size_t n = (size_t)s->model.layout.count;
    double spread = w * tail_variance(row) * w, *information = s->information + (size_t)source * n * n;
    for (int a = 0; a < row->n; a++)
        for (int b = 0; b < row->n; b++) {
            size_t at = (size_t)row->index[a] * n + (size_t)row->index[b];
            information[at] += spread * row->derivative[a] * row->derivative[b];
            o->used[source] += w * row->derivative[a] * row->derivative[b] * s->covariance[at];
        }
}

static void sort_row(void *sink, const ps_lsq_row *row) {
    sorting *o = sink;
    ps_adjust_solution *s = o->s;
    const ps_adjust_problem *p = &s->model.problem;
    ps_source source = s->model.source;
    double w = o->weight[o->row], r = row->residual;
    int corners = 2 * p->corner_count, i = o->row++;
    if (i < corners) {
        s->corner_residual[i / 2][i % 2] = r * p->corner[i / 2].sigma_px;
    } else if (i < corners + p->edge_count) {
        s->edge_residual[i - corners] = r * p->edge[i - corners].sigma_px;
        s->edge_weight[i - corners] = w;
    }
    o->chi2[source] += w * r * r;
    o->count[source]++;
    if (row->tail > 0) {
        sort_tail(o, row, w);
        return;
    }
    if (o->gathered != source || !ps_lsq_block_takes(&o->block, row)) {
        flush(o);
        o->gathered = source;
        ps_lsq_block_start(&o->block, row);
    }
    ps_lsq_block_add(&o->block, row, w);
}

/* What the two readings of the check lines have to say of each other: photos tell across from along far better than a rule
 * does, so one of the two is redundant. Readings that disagree are wide by as much as they do (Birge 1932, Phys. Rev. 40, 207):
 * at 2 sd and more that is a misreading far oftener than chance, and nothing says which of the two it is. No threshold: with one degree of
 * freedom a test would find too little. */
static double disagreement(const sorting *o) {
    static const double redundancy_least = 0.05; /* below, nothing compares the two, and rounding would speak */
    double chi2 = o->chi2[PS_SOURCE_PRINT_SCALE], redundancy = o->count[PS_SOURCE_PRINT_SCALE] - o->used[PS_SOURCE_PRINT_SCALE];
    const ps_adjust_solution *s = o->s;
    for (int i = 0; i < s->model.prior_count; i++) {
        const adjust_prior *p = &s->model.prior[i];
        if (!p->unread) continue; /* no reading: it neither disagrees with those that there are nor bears them out */
        size_t k = (size_t)p->index, n = (size_t)s->model.layout.count;
        chi2 -= pow(s->x[k] / p->sigma, 2);
        redundancy -= 1 - s->covariance[k * n + k] / (p->sigma * p->sigma);
    }
    return redundancy < redundancy_least ? 1 : fmax(1, chi2 / redundancy);
}

/* Observations that scatter more than their sd says, beyond chance, get the sd that they show: a factor on their part
 * of every variance. Three sd of the mean of chi-square. Other priors than the print's keep theirs: too few to tell. */
static void inflate(ps_adjust_solution *s, const sorting *o) {
    static const ps_source observed[] = {PS_SOURCE_CORNERS, PS_SOURCE_EDGES};
    for (int k = 0; k < PS_SOURCE_COUNT; k++) s->inflation[k] = 1;
    s->inflation[PS_SOURCE_PRINT_SCALE] = disagreement(o);
    for (size_t k = 0; k < sizeof observed / sizeof *observed; k++) {
        ps_source g = observed[k];
        double redundancy = o->count[g] - o->used[g];
        if (redundancy < 1) continue;
        double factor = o->chi2[g] / redundancy;
        if (factor > 1 + 3 * sqrt(2 / redundancy)) s->inflation[g] = factor;
    }
}

/* Residuals of corners were taken in the stored frame; people look at upright photos. */
static void turn_corner_residuals(ps_adjust_solution *s) {
    const ps_adjust_problem *p = &s->model.problem;
    for (int i = 0; i < p->corner_count; i++) {
        const ps_adjust_photo *photo = &p->photo[p->corner[i].photo];
        double stored[2], upright[2];
        for (int k = 0; k < 2; k++) stored[k] = s->model.corner_stored[i][k] - s->corner_residual[i][k];
        ps_photo_stored_to_upright(photo->orientation, photo->stored_width, photo->stored_height, stored, upright);
        s->corner_residual[i][0] = p->corner[i].x_px - upright[0];
        s->corner_residual[i][1] = p->corner[i].y_px - upright[1];
    }
}

static ps_status allocate(ps_context *ctx, ps_adjust_solution *s) {
    const ps_adjust_problem *p = &s->model.problem;
    size_t n = (size_t)s->model.layout.count;
    /* Nine dense blocks: 1000 unknowns are 72 MB, and far more than any job has. */
    if (n > 1000) return ps_context_fail(ctx, PS_TOO_LARGE, "%zu unknowns: at most 1000 are solved for; use fewer photos or rims", n);
    s->x = calloc(n, sizeof *s->x);
    s->information = calloc((size_t)PS_SOURCE_COUNT * n * n, sizeof *s->information);
    s->corner_residual = calloc((size_t)p->corner_count, sizeof *s->corner_residual);
    s->edge_residual = calloc((size_t)p->edge_count + 1, sizeof *s->edge_residual);
    s->edge_weight = calloc((size_t)p->edge_count + 1, sizeof *s->edge_weight);
    if (s->x && s->information && s->corner_residual && s->edge_residual && s->edge_weight) return PS_OK;
    return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for %zu unknowns", n);
}

static ps_status finish(ps_context *ctx, ps_adjust_solution *s, ps_lsq_result *result) {
    sorting o = {.s = s, .weight = result->weight}; /* the solution's from here on */
    s->covariance = result->covariance;
    s->weight = result->weight;
    result->covariance = result->weight = NULL;
    if (!adjust_rows(&s->model, s->x, true, &o, sort_row)) return ps_context_fail(ctx, PS_INTERNAL, "the solution is not admissible");
    flush(&o);
    /* Observations only: each unknown has a prior row, and rows of priors that are wide beside what they meet add nothing
     * to the sum but one to the count, which would hide a bad fit. */
    s->cost = result->cost;
    s->chi2 = o.chi2[PS_SOURCE_CORNERS] + o.chi2[PS_SOURCE_EDGES];
    s->dof = (int)lround(o.count[PS_SOURCE_CORNERS] + o.count[PS_SOURCE_EDGES] - o.used[PS_SOURCE_CORNERS] - o.used[PS_SOURCE_EDGES]);
    turn_corner_residuals(s);
    inflate(s, &o);
    return PS_OK;
}

ps_lsq_options adjust_options(void) {
    ps_lsq_options options = ps_lsq_options_default();
    options.max_iterations = 150;  /* a start far off, and heavy tails, which settle slowly */
    options.step_tolerance = 1e-7; /* a last step of 1e-4 of the uncertainty: what is wide need not be exact */
    return options;
}

/* The search begins at the guessed lenses. */
static void set_guesses(ps_adjust_solution *s) {
    for (int g = 0; g < s->model.problem.group_count; g++) {
        const ps_adjust_group *group = &s->model.problem.group[g];
        const ps_lens *a = &group->start, *b = &group->guess;
        int index[PS_LENS_COUNT];
        if (!group->guessed || !(b->f_px > 0)) continue;
        const double off[PS_LENS_COUNT] = {log(b->f_px / a->f_px), b->cx - a->cx, b->cy - a->cy, b->k1 - a->k1,
                                           b->k2 - a->k2,          b->p1 - a->p1, b->p2 - a->p2, b->k3 - a->k3};
        adjust_layout_lens(&s->model, g, index);
        for (int k = 0; k < PS_LENS_COUNT; k++)
            if (index[k] >= 0 && isfinite(off[k])) s->x[index[k]] = off[k];
    }
}

static const double near_damping = 1e-6;   /* hardly any: what is taken over is near */
static const double near_tolerance = 1e-6; /* a last step of 1e-3 of the uncertainty: it is compared, not told */

/* From another solution where one is given; where that leads nowhere, from the start values. */
static ps_status search(ps_context *ctx, const ps_adjust_problem *problem, ps_adjust_solution *s, ps_lsq_result *result) {
    ps_lsq_options options = adjust_options();
    const ps_adjust_solution *from = problem->from;
    int unknowns = s->model.layout.count;
    ps_status status = PS_NO_CONVERGENCE;
    if (from) {
        ps_lsq_options near = options;
        near.damping = near_damping, near.step_tolerance = near_tolerance;
        adjust_carry(from, &s->model, s->x);
        status = ps_lsq_solve(ctx, unknowns, s->x, adjust_rows, &s->model, &near, result);
        if (status == PS_OK || status == PS_NO_MEMORY) return status;
        memset(s->x, 0, (size_t)unknowns * sizeof *s->x);
        adjust_state_forget(&s->model);
    }
    set_guesses(s);
    if (problem->near_start) options.damping = near_damping;
    return ps_lsq_solve(ctx, unknowns, s->x, adjust_rows, &s->model, &options, result);
}

ps_status ps_adjust_solve(ps_context *ctx, const ps_adjust_problem *problem, ps_adjust_solution **solution) {
    if (!problem || !solution) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "adjustment without problem or solution");
    ps_adjust_solution *s = calloc(1, sizeof *s);
    if (!s) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the adjustment");
    ps_lsq_result result = {0};
    ps_status status = adjust_model_new(ctx, problem, &s->model);
    if (status == PS_OK) status = allocate(ctx, s);
    if (status == PS_OK) status = search(ctx, problem, s, &result);
    if (status == PS_OK) status = finish(ctx, s, &result);
    ps_lsq_result_clear(&result);
    if (status == PS_OK) {
        *solution = s;
    } else {
        ps_adjust_solution_free(s);
    }
    return status;
}

void ps_adjust_solution_free(ps_adjust_solution *s) {
    if (!s) return;
    adjust_model_clear(&s->model);
    free(s->x);
    free(s->covariance);
    free(s->weight);
    free(s->information);
    free(s->corner_residual);
    free(s->edge_residual);
    free(s->edge_weight);
    free(s);
}

void ps_adjust_view(const ps_adjust_solution *s, int photo, ps_view *view) {
    const ps_adjust_photo *p = &s->model.problem.photo[photo];
    *view = (ps_view){
        .lens = s->model.lens[photo], .orientation = p->orientation, .stored_width = p->stored_width, .stored_height = p->stored_height};
    memcpy(view->pose.R, s->model.photo[photo].R, sizeof view->pose.R);
    memcpy(view->pose.t, s->model.photo[photo].t, sizeof view->pose.t);
}

void ps_adjust_piece_pose(const ps_adjust_solution *s, int piece, ps_pose *pose) {
    memcpy(pose->R, s->model.piece[piece].R, sizeof pose->R);
    memcpy(pose->t, s->model.piece[piece].t, sizeof pose->t);
}

void ps_adjust_scale_solved(const ps_adjust_solution *s, double *across, double *along) {
    ps_adjust_piece_scale(s, s->model.problem.held_piece, across, along);
}

void ps_adjust_piece_scale(const ps_adjust_solution *s, int piece, double *across, double *along) {
    *across = s->model.across[piece];
    *along = s->model.along[piece];
}

void ps_adjust_axis(const ps_adjust_solution *s, int pin, double point_mm[3], double direction[3]) {
    memcpy(point_mm, s->model.axis[pin].point, 3 * sizeof *point_mm);
    memcpy(direction, s->model.axis[pin].direction, 3 * sizeof *direction);
}

void ps_adjust_circle(const ps_adjust_solution *s, int rim, ps_circle3 *circle, double *height_mm) {
    const adjust_circle *c = &s->model.circle[rim];
    memcpy(circle->centre, c->centre, sizeof circle->centre);
    memcpy(circle->normal, c->normal, sizeof circle->normal);
    circle->radius_mm = c->radius;
    if (height_mm) *height_mm = s->model.height[rim];
}

double ps_adjust_cost(const ps_adjust_solution *s) {
    return s->cost;
}

void ps_adjust_fit(const ps_adjust_solution *s, double *chi2, int *dof) {
    *chi2 = s->chi2;
    *dof = s->dof;
}

double ps_adjust_corner_residual(const ps_adjust_solution *s, int corner, int axis) {
    return s->corner_residual[corner][axis];
}

double ps_adjust_edge_residual(const ps_adjust_solution *s, int edge, double *weight) {
    if (weight) *weight = s->edge_weight[edge];
    return s->edge_residual[edge];
}

double ps_adjust_corner_rms(const ps_adjust_solution *s, int photo, int piece) {
    const ps_adjust_problem *p = &s->model.problem;
    double sum = 0;
    int n = 0;
    for (int i = 0; i < p->corner_count; i++) {
        if (p->corner[i].photo != photo || p->corner[i].piece != piece) continue;
        sum += s->corner_residual[i][0] * s->corner_residual[i][0] + s->corner_residual[i][1] * s->corner_residual[i][1];
        n += 2;
    }
    return n > 0 ? sqrt(sum / n) : 0;
}
