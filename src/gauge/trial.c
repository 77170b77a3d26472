/* Trials of a problem: see trial.h. */
#include "gauge/trial.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

int ps_trial_width(const ps_adjust_problem *p) {
    return p->piece_count + 1;
}

void ps_trial_clear(ps_trial *t) {
    ps_adjust_solution_free(t->solution);
    free(t->corner);
    free(t->edge);
    free(t->test);
    memset(t, 0, sizeof *t);
}

ps_status ps_trial_new(ps_context *ctx, const ps_adjust_problem *p, ps_trial *t) {
    *t = (ps_trial){.problem = *p};
    t->problem.sigma_shift_side_px = 0; /* what a photo's edges have against the others is to be seen, not taken up */
    t->corner = malloc(((size_t)p->corner_count + 1) * sizeof *t->corner);
    t->edge = malloc(((size_t)p->edge_count + 1) * sizeof *t->edge);
    t->test = calloc((size_t)p->photo_count * (size_t)ps_trial_width(p), sizeof *t->test);
    if (!t->corner || !t->edge || !t->test) {
        ps_trial_clear(t);
        return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for contradictions");
    }
    if (p->corner_count > 0) memcpy(t->corner, p->corner, (size_t)p->corner_count * sizeof *t->corner);
    if (p->edge_count > 0) memcpy(t->edge, p->edge, (size_t)p->edge_count * sizeof *t->edge);
    t->problem.corner = t->corner, t->problem.edge = t->edge;
    return PS_OK;
}

ps_status ps_trial_solve(ps_context *ctx, ps_trial *t) {
    ps_status status = ps_adjust_solve(ctx, &t->problem, &t->solution);
    if (status == PS_NO_MEMORY) return status;
    if (status != PS_OK) {
        t->solution = NULL;
        return PS_OK;
    }
    status = ps_adjust_test_groups(ctx, t->solution, t->test);
    if (status == PS_OK || status == PS_NO_MEMORY) return status;
    ps_adjust_solution_free(t->solution); /* a circle beside a camera, of sheets that were held: it is no solution */
    t->solution = NULL;
    return PS_OK;
}

ps_status ps_trial_part(const ps_search *s, ps_trial_less less, ps_trial *t) {
    const ps_adjust_problem *p = s->problem;
    ps_status status = ps_trial_new(s->ctx, p, t);
    if (status != PS_OK) return status;
    int corners = 0, edges = 0;
    for (int i = 0; i < p->corner_count; i++) {
        const ps_adjust_corner *c = &p->corner[i];
        bool less_one = c->photo == less.photo && less.pin < 0;
        if (!less_one && !s->found->photo_out[c->photo] && !s->found->sheet_out[c->photo][c->piece]) t->corner[corners++] = *c;
    }
    for (int i = 0; i < p->edge_count && !less.edges; i++) {
        const ps_adjust_edge *e = &p->edge[i];
        bool less_one = e->photo == less.photo && (less.pin < 0 || p->rim[e->rim].pin == less.pin);
        if (!less_one && !s->found->photo_out[e->photo]) t->edge[edges++] = *e;
    }
    t->problem.corner_count = corners, t->problem.edge_count = edges;
    if (less.edges) t->problem.pin_count = t->problem.rim_count = 0;
    t->passed = s->passed;
    return PS_OK;
}

ps_status ps_trial_without(const ps_search *s, ps_trial_less less, ps_trial *t) {
    ps_status status = ps_trial_part(s, less, t);
    if (status != PS_OK) return status;
    status = ps_trial_solve(s->ctx, t);
    t->usual = status == PS_OK ? ps_trial_usual(t) : 1;
    if (status != PS_OK) ps_trial_clear(t);
    return status;
}

static int compare(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double ps_trial_usual_misfit(const ps_trial *t, bool edges) {
    double misfit[PS_ADJUST_PHOTOS_MAX * PS_ADJUST_PIECES_MAX];
    int count = 0, width = ps_trial_width(&t->problem);
    for (int g = 0; g < t->problem.photo_count * width; g++)
        if ((g % width == t->problem.piece_count) == edges && t->test[g].rows > 0) misfit[count++] = t->test[g].misfit;
    if (count == 0) return 1;
    qsort(misfit, (size_t)count, sizeof *misfit, compare);
    return fmax(1, misfit[(count - 1) / 2]);
}

double ps_trial_usual(const ps_trial *t) {
    return fmax(ps_trial_usual_misfit(t, false), ps_trial_usual_misfit(t, true));
}

bool ps_trial_shows(const ps_trial *t, int photo) {
    int width = ps_trial_width(&t->problem);
    for (int piece = 0; piece < width; piece++)
        if (t->test[photo * width + piece].rows > 0) return true;
    return false;
}

double ps_trial_chi2(const ps_trial *t) {
    double chi2;
    int dof;
    ps_adjust_fit(t->solution, &chi2, &dof);
    return chi2;
}

double ps_trial_fit(const ps_trial *t) {
    double chi2;
    int dof;
    ps_adjust_fit(t->solution, &chi2, &dof);
    return dof > 0 ? chi2 / dof : INFINITY;
}

int ps_search_photos_left(const ps_search *s) {
    int left = s->photos;
    for (int i = 0; i < s->problem->photo_count; i++) left -= s->found->photo_out[i];
    return left;
}
