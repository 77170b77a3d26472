/* Groups of observations that speak against the rest.
 *
 * 'The corners of piece q stood elsewhere in photo i' is the same as: for these rows the photo has a pose of its own. So the
 * derivatives B of the supposed motion are those of the photo's pose, on the group's rows alone, and the score statistic comes from
 * the solution without solving again: T = g' (M + P)^-1 g with g = B'Wr and M = B'WB - B'WJ C J'WB, C the covariance with all
 * priors in (Rao 1948; with groups of observations in adjustments, Baarda 1968). P is weak, so that motions that the rows do not
 * see (a circle's turn about its axis) cost nothing. */
#include "adjust/model.h"
#include "base/linear.h"
#include "base/stats.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { POSE = 6 };

static const double huber = 2.5;                       /* as ps_lsq_options_default */
static const double motion_mm = 100, motion_rad = 0.5; /* weak: far beyond what a group may move and still be recognised */

static double weight_of(const ps_lsq_row *row) {
    double a = fabs(row->residual);
    return row->robust && a > huber ? huber / a : 1;
}

/* The group of a row by its number: rows come in the order of corners (two each), edge points, the rest. -1: none. */
static int group_of(const ps_adjust_problem *p, int row) {
    int corners = 2 * p->corner_count, width = p->piece_count + 1;
    if (row < corners) return p->corner[row / 2].photo * width + p->corner[row / 2].piece;
    if (row < corners + p->edge_count) return p->edge[row - corners].photo * width + p->piece_count;
    return -1;
}

/* ---- what may be supposed of a group ---- */

typedef enum supposition {
    SUPPOSE_MOVED = 0, /* its rows have a pose of their own */
    SUPPOSE_BENT,      /* the piece has a bend of its own in this photo: second order */
    SUPPOSE_STRETCHED, /* the whole photo, along its stored x */
    SUPPOSITIONS
} supposition;

enum { BEND_SUPPOSED = 3 };
static const double bend_far = 5e-4, stretch_far = 0.1; /* weak priors: 5 mm over 200 mm, a tenth */

static const int unknowns_of[SUPPOSITIONS] = {POSE, BEND_SUPPOSED, 1};

static double weak_prior(supposition what, int k) {
    double sd = what == SUPPOSE_BENT ? bend_far : what == SUPPOSE_STRETCHED ? stretch_far : k < 3 ? motion_rad : motion_mm;
    return 1 / (sd * sd);
}

/* The derivatives of a row by what is supposed of its group; returns the group, -1 where the supposition is none of the row's. */
static int suppose(const ps_adjust_solution *s, supposition what, int number, const ps_lsq_row *row, double b[POSE]) {
    const ps_adjust_problem *p = &s->model.problem;
    int group = group_of(p, number), width = p->piece_count + 1, first = -1;
    if (group < 0) return -1;
    memset(b, 0, POSE * sizeof *b);
    if (what == SUPPOSE_STRETCHED) { /* an observed place grows by its distance from the middle, as the principal point would shrink */
        int photo = group / width, edge = number - 2 * p->corner_count, group_centre = s->model.layout.group_centre[p->photo[photo].group];
        int centre = group_centre >= 0 ? group_centre : s->model.layout.photo_centre[photo];
        double x = edge >= 0 ? s->model.edge_stored[edge][0] : s->model.corner_stored[number / 2][0];
        for (int k = 0; k < row->n && centre >= 0; k++)
            if (row->index[k] == centre) b[0] -= row->derivative[k] * (x - 0.5 * (p->photo[photo].stored_width - 1));
        return photo * width + p->piece_count;
    }
    if (what == SUPPOSE_MOVED) first = s->model.layout.photo_pose[group / width];
    if (what == SUPPOSE_BENT) first = group % width < p->piece_count ? s->model.layout.bend[group % width] : -1;
    if (first < 0) return -1;
    for (int k = 0; k < row->n; k++)
        if (row->index[k] >= first && row->index[k] < first + unknowns_of[what]) b[row->index[k] - first] += row->derivative[k];
    return group;
}

/* ---- all groups at once ---- */

typedef struct group_sums {
    double A[POSE * POSE], g[POSE], chi2;
    int rows;
    double *D; /* n x 6: J'WB */
} group_sums;

typedef struct gathering {
    const ps_adjust_solution *s;
    group_sums *sums;
    supposition what;
    int row;
} gathering;

static void gather(void *sink, const ps_lsq_row *row) {
    gathering *o = sink;
    double b[POSE], w = weight_of(row);
    int group = suppose(o->s, o->what, o->row++, row, b), m = unknowns_of[o->what];
    if (group < 0) return;
    group_sums *sums = &o->sums[group];
    for (int i = 0; i < m; i++) {
        sums->g[i] += w * b[i] * row->residual;
        for (int k = 0; k < m; k++) sums->A[m * i + k] += w * b[i] * b[k];
        for (int k = 0; k < row->n; k++) sums->D[row->index[k] * m + i] += w * row->derivative[k] * b[i];
    }
    sums->chi2 += w * row->residual * row->residual;
    sums->rows++;
}

/* The statistic, and in step[] what the group would have it be. */
static double statistic(const ps_adjust_solution *s, const group_sums *sums, supposition what, double *room, double step[POSE]) {
    size_t n = (size_t)s->model.layout.count, m = (size_t)unknowns_of[what];
    double M[POSE * POSE];
    memset(step, 0, POSE * sizeof *step);
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < m; k++) room[i * m + k] = 0;
        for (size_t j = 0; j < n; j++) {
            double c = s->covariance[i * n + j];
            for (size_t k = 0; k < m; k++) room[i * m + k] += c * sums->D[j * m + k];
        }
    }
    memcpy(M, sums->A, sizeof M);
    for (size_t a = 0; a < m; a++) {
        for (size_t b = 0; b < m; b++)
            for (size_t i = 0; i < n; i++) M[m * a + b] -= sums->D[i * m + a] * room[i * m + b];
        M[(m + 1) * a] += weak_prior(what, (int)a);
    }
    for (size_t a = 0; a < m; a++) /* even it out: rounding leaves it a little lopsided */
        for (size_t b = 0; b < a; b++) M[m * a + b] = M[m * b + a] = 0.5 * (M[m * a + b] + M[m * b + a]);
    if (!ps_cholesky(M, (int)m)) return 0; /* all of the group's knowledge is used up: nothing left to test with */
    for (size_t k = 0; k < m; k++) step[k] = -sums->g[k];
    ps_cholesky_solve(M, (int)m, step);
    double t = 0;
    for (size_t k = 0; k < m; k++) t -= step[k] * sums->g[k];
    return fmax(t, 0);
}

static void add_middle(ps_group_test *t, const double X[3]) {
    for (int k = 0; k < 3; k++) t->mean_mm[k] += X[k];
}

static void count_rows(const ps_adjust_solution *s, ps_group_test *test) {
    const ps_adjust_problem *p = &s->model.problem;
    int width = p->piece_count + 1;
    for (int i = 0; i < p->corner_count; i++) {
        const ps_adjust_corner *c = &p->corner[i];
        const adjust_frame *f = &s->model.piece[c->piece];
        double local[3] = {s->model.corner_mm[i][0], s->model.corner_mm[i][1], 0}, X[3];
        ps_mat3_mul_vec(f->R, local, X);
        for (int k = 0; k < 3; k++) X[k] += f->t[k];
        add_middle(&test[c->photo * width + c->piece], X);
        test[c->photo * width + c->piece].rows += 2;
    }
    for (int i = 0; i < p->edge_count; i++) {
        ps_group_test *t = &test[p->edge[i].photo * width + p->piece_count];
        add_middle(t, s->model.circle[p->edge[i].rim].centre);
        t->rows++;
    }
    for (int g = 0; g < p->photo_count * width; g++) {
        int points = g % width < p->piece_count ? test[g].rows / 2 : test[g].rows;
        for (int k = 0; k < 3 && points > 0; k++) test[g].mean_mm[k] /= points;
    }
}

/* How far a change of bend would move the worst of a piece's corners in a photo. */
static double worst_rise(const ps_adjust_solution *s, int group, const double change[BEND_SUPPOSED]) {
    const ps_adjust_problem *p = &s->model.problem;
    double most = 0;
    for (int i = 0; i < p->corner_count; i++) {
        double rise = 0;
        if (group_of(p, 2 * i) != group) continue;
        for (int k = 0; k < BEND_SUPPOSED; k++) rise += change[k] * s->model.corner_bend[i][k];
        most = fmax(most, fabs(rise));
    }
    return most;
}

static void tell(const ps_adjust_solution *s, supposition what, int group, const group_sums *sums, double *room, ps_group_test *test) {
    double step[POSE], chi2 = statistic(s, sums, what, room, step);
    if (what == SUPPOSE_MOVED) test->misfit = sums->chi2 / sums->rows, test->chi2 = chi2;
    if (what == SUPPOSE_BENT) test->bend_chi2 = chi2, test->bend_mm = worst_rise(s, group, step);
    if (what == SUPPOSE_STRETCHED) test->aspect_chi2 = chi2, test->aspect = -step[0];
}

/* One supposition, of every group. `sums` come with room for D, which is cleared here. */
static ps_status test_supposition(ps_context *ctx, const ps_adjust_solution *s, adjust_model *model, supposition what, group_sums *sums,
                                  double *room, ps_group_test *test) {
    int groups = s->model.problem.photo_count * (s->model.problem.piece_count + 1);
    size_t n = (size_t)s->model.layout.count;
    for (int g = 0; g < groups; g++) {
        double *D = sums[g].D;
        memset(D, 0, n * POSE * sizeof *D);
        sums[g] = (group_sums){.D = D};
    }
    gathering o = {.s = s, .sums = sums, .what = what};
    if (!adjust_rows(model, s->x, true, &o, gather)) return ps_context_fail(ctx, PS_INTERNAL, "the solution is not admissible");
    for (int g = 0; g < groups; g++)
        if (sums[g].rows > 0) tell(s, what, g, &sums[g], room, &test[g]);
    return PS_OK;
}

ps_status ps_adjust_test_groups(ps_context *ctx, const ps_adjust_solution *s, ps_group_test *test) {
    if (!s || !test) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "a test of groups without solution or place for it");
    const ps_adjust_problem *p = &s->model.problem;
    size_t n = (size_t)s->model.layout.count, groups = (size_t)p->photo_count * ((size_t)p->piece_count + 1);
    adjust_model model = {0};
    group_sums *sums = calloc(groups, sizeof *sums);
    double *room = malloc(n * POSE * sizeof *room), *D = malloc(groups * n * POSE * sizeof *D);
    ps_status status = sums && room && D ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a test of groups");
    if (status == PS_OK) status = adjust_model_new(ctx, p, &model);
    if (status == PS_OK) {
        memset(test, 0, groups * sizeof *test);
        count_rows(s, test);
        for (size_t g = 0; g < groups; g++) sums[g].D = D + g * n * POSE;
        for (int what = 0; what < SUPPOSITIONS && status == PS_OK; what++)
            status = test_supposition(ctx, s, &model, (supposition)what, sums, room, test);
        adjust_model_clear(&model);
    }
    free(sums);
    free(room);
    free(D);
    return status;
}

/* ---- one group's motion ---- */

typedef struct motion_job {
    adjust_model model;
    double *x; /* the solution, the photo's pose moved */
    double start[POSE];
    int group, pose, row;
    void *sink;
    ps_lsq_emit emit;
} motion_job;

static void emit_group(void *sink, const ps_lsq_row *row) {
    motion_job *j = sink;
    if (group_of(&j->model.problem, j->row++) != j->group) return;
    int index[POSE], n = 0;
    double derivative[POSE];
    for (int k = 0; k < row->n; k++) {
        if (row->index[k] < j->pose || row->index[k] >= j->pose + POSE) continue;
        index[n] = row->index[k] - j->pose;
        derivative[n++] = row->derivative[k];
    }
    ps_lsq_row own = *row;
    own.n = n, own.index = index, own.derivative = derivative;
    j->emit(j->sink, &own);
}

static bool motion_rows(void *user, const double *d, bool want_derivatives, void *sink, ps_lsq_emit emit) {
    motion_job *j = user;
    j->row = 0, j->sink = sink, j->emit = emit;
    for (int k = 0; k < POSE; k++) j->x[j->pose + k] = j->start[k] + d[k];
    if (!adjust_rows(&j->model, j->x, want_derivatives, j, emit_group)) return false;
    for (int k = 0; k < POSE; k++) {
        double slope = 1 / (k < 3 ? motion_rad : motion_mm);
        ps_lsq_row row = {d[k] * slope, 1, &k, &slope, false, 0};
        emit(sink, &row);
    }
    return true;
}

/* The pose has moved the group in the camera's frame: how far its middle went. */
static void describe(const motion_job *j, const ps_adjust_solution *s, int photo, const ps_group_test *t, ps_group_motion *m) {
    const adjust_frame *was = &s->model.photo[photo], *is = &j->model.photo[photo];
    double a[3], b[3], turn[9], w[3];
    ps_mat3_mul_vec(was->R, t->mean_mm, a);
    ps_mat3_mul_vec(is->R, t->mean_mm, b);
    for (int k = 0; k < 3; k++) b[k] += is->t[k] - was->t[k] - a[k];
    m->move_mm = ps_norm3(b);
    for (int r = 0; r < 3; r++)
        for (int c = 0; c < 3; c++) turn[3 * r + c] = ps_dot3(is->R + 3 * r, was->R + 3 * c);
    ps_rotation_to_vector(turn, w);
    m->turn_rad = ps_norm3(w);
}

ps_status ps_adjust_fit_motion(ps_context *ctx, const ps_adjust_solution *s, int photo, int piece, ps_group_motion *motion) {
    if (!s || !motion || photo < 0 || photo >= s->model.problem.photo_count || piece < 0 || piece > s->model.problem.piece_count)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "a motion of piece %d in photo %d", piece, photo);
    const ps_adjust_problem *p = &s->model.problem;
    size_t n = (size_t)s->model.layout.count, groups = (size_t)p->photo_count * ((size_t)p->piece_count + 1);
    motion_job j = {.group = photo * (p->piece_count + 1) + piece, .pose = s->model.layout.photo_pose[photo]};
    ps_lsq_options options = adjust_options();
    ps_lsq_result result = {0};
    double d[POSE] = {0};
    ps_group_test *test = calloc(groups, sizeof *test);
    j.x = malloc(n * sizeof *j.x);
    ps_status status = test && j.x ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the motion of a group");
    if (status == PS_OK) count_rows(s, test);
    if (status == PS_OK && test[j.group].rows == 0) status = ps_context_fail(ctx, PS_NOT_FOUND, "photo %d shows no such group", photo);
    if (status == PS_OK) status = adjust_model_new(ctx, p, &j.model);
    if (status != PS_OK) goto out;
    memcpy(j.x, s->x, n * sizeof *j.x);
    memcpy(j.start, s->x + j.pose, sizeof j.start);
    status = ps_lsq_solve(ctx, POSE, d, motion_rows, &j, &options, &result);
    if (status == PS_OK) {
        for (int k = 0; k < POSE; k++) j.x[j.pose + k] = j.start[k] + d[k];
        (void)adjust_state_set(&j.model, j.x);
        motion->misfit = result.chi2 / test[j.group].rows;
        describe(&j, s, photo, &test[j.group], motion);
    }
    ps_lsq_result_clear(&result);
    adjust_model_clear(&j.model);
out:
    free(test);
    free(j.x);
    return status;
}

/* ---- priors that the photos speak against ---- */

void ps_adjust_focal_change(const ps_adjust_solution *s, int group, int photo, double *change, double *u, double *pull) {
    const ps_adjust_group *g = &s->model.problem.group[photo < 0 ? group : s->model.problem.photo[photo].group];
    int index = photo < 0 ? s->model.layout.group_focal[group] : s->model.layout.photo_focal[photo];
    double sigma = photo < 0 ? g->sigma_focal_rel : g->sigma_photo_focal_rel;
    *change = *u = *pull = 0;
    if (index < 0) return;
    double variance = s->covariance[(size_t)index * (size_t)s->model.layout.count + (size_t)index], freed = sigma * sigma - variance;
    *change = s->x[index];
    *u = sqrt(variance);
    if (freed > 0.01 * sigma * sigma) *pull = *change / sqrt(freed);
}

/* Sum of squares of the terms over their priors' sd. Terms that a small piece does not show stay at 0 and are no degrees of freedom:
 * the terms have the covariance M = 1 - S C S in units of their sd (S, C: posterior covariance), and the sum is about as chi-square with
 * the same mean tr M and variance 2 tr M^2 (Satterthwaite 1946). */
double ps_adjust_bend_chance(const ps_adjust_solution *s, int piece) {
    const adjust_model *m = &s->model;
    int first = m->layout.bend[piece];
    size_t n = (size_t)m->layout.count;
    double sigma[ADJUST_BEND_TERMS] = {0}, sum = 0, trace = 0, trace2 = 0;
    for (int i = 0; i < m->prior_count && first >= 0; i++) {
        const adjust_prior *p = &m->prior[i];
        if (p->index < first || p->index >= first + ADJUST_BEND_TERMS) continue;
        double off = (s->x[p->index] - p->mean) / p->sigma;
        sigma[p->index - first] = p->sigma;
        sum += off * off;
    }
    for (int a = 0; a < ADJUST_BEND_TERMS && first >= 0; a++)
        for (int b = 0; b < ADJUST_BEND_TERMS; b++) {
            if (!(sigma[a] > 0) || !(sigma[b] > 0)) continue;
            double known = (a == b) - s->covariance[(size_t)(first + a) * n + (size_t)(first + b)] / (sigma[a] * sigma[b]);
            if (a == b) trace += known;
            trace2 += known * known;
        }
    if (!(trace > 0.01) || !(trace2 > 0)) return 1; /* nothing is told of the bend */
    double scale = trace2 / trace;
    return ps_chi2_tail(sum / scale, trace / scale);
}
