/* Dimensions from the solution, each with its uncertainty split by source.
 *
 * With C = (sum of J'WJ over sources)^-1 and a quantity's gradient g, u^2 = g'Cg = sum over sources of g'C (J'WJ) C g:
 * the parts add up to the whole, whatever is correlated. A source that scatters more than its sd says has its part
 * multiplied by the variance factor found in solve.c. (JCGM 100, 5.2 and annex H.3's spirit: one covariance for all.) */
#include "adjust/model.h"
#include "base/linear.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

double adjust_unread(const adjust_model *m, const double *spread) {
    double sum = 0;
    for (int i = 0; i < m->prior_count; i++)
        if (m->prior[i].unread) sum += pow(spread[m->prior[i].index] / m->prior[i].sigma, 2);
    return sqrt(sum);
}

static ps_status propagate(ps_context *ctx, const ps_adjust_solution *s, double value_mm, const adjust_gradient *g, ps_quantity *q) {
    size_t n = (size_t)s->model.layout.count;
    double *spread = calloc(n, sizeof *spread); /* C g */
    if (!spread) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a dimension's uncertainty");
    for (size_t i = 0; i < n; i++) {
        for (int k = 0; k < g->n; k++) spread[i] += s->covariance[i * n + (size_t)g->index[k]] * g->value[k];
    }
    ps_quantity out = {.value_mm = value_mm};
    double total = 0;
    for (size_t source = 0; source < PS_SOURCE_COUNT; source++) {
        double part = ps_quadratic(s->information + source * n * n, (int)n, spread);
        part = fmax(part, 0) * s->inflation[source];
        out.source_mm[source] = sqrt(part);
        total += part;
    }
    out.u_mm = sqrt(total);
    out.unread_mm = adjust_unread(&s->model, spread);
    free(spread);
    *q = out;
    return PS_OK;
}

const char *ps_source_word(ps_source source) {
    static const char *const word[PS_SOURCE_COUNT] = {"print-scale", "paper",      "plane",    "camera", "corners",
                                                      "edges",       "edge-shift", "flatness", "axes"};
    return (unsigned)source < PS_SOURCE_COUNT ? word[source] : "?";
}

static ps_status diameter_gradient(ps_context *ctx, const ps_adjust_solution *s, int rim, double *value_mm, adjust_gradient *g) {
    if (rim < 0 || rim >= s->model.problem.rim_count) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no rim %d", rim);
    *g = (adjust_gradient){.n = 1, .index = {s->model.layout.radius[rim]}, .value = {2}};
    *value_mm = 2 * s->model.circle[rim].radius;
    return PS_OK;
}

static ps_status ask(ps_context *ctx, const ps_adjust_solution *s, const ps_ask *what, ps_quantity *q) {
    adjust_gradient g = {0};
    double value_mm = 0;
    ps_status status = adjust_gradient_of(ctx, s, what, &value_mm, &g);
    return status == PS_OK ? propagate(ctx, s, value_mm, &g, q) : status;
}

ps_status ps_adjust_diameter(ps_context *ctx, const ps_adjust_solution *s, int rim, ps_quantity *q) {
    return ask(ctx, s, &(ps_ask){.what = PS_ASK_DIAMETER, .a = rim}, q);
}

ps_status ps_adjust_oval(ps_context *ctx, const ps_adjust_solution *s, int rim, ps_oval *oval) {
    if (rim < 0 || rim >= s->model.problem.rim_count) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no rim %d", rim);
    int at = s->model.layout.round[rim];
    if (at < 0) return PS_NOT_FOUND;
    const double *term = s->model.circle[rim].oval;
    double size = hypot(term[0], term[1]), mean = 2 * s->model.circle[rim].radius;
    oval->long_mm = mean + 2 * size, oval->short_mm = mean - 2 * size;
    /* Along its own direction; of a perfect circle any direction will do. */
    double c = size > 0 ? term[0] / size : 1, d = size > 0 ? term[1] / size : 0;
    adjust_gradient g = {.n = 2, .index = {at, at + 1}, .value = {4 * c, 4 * d}};
    return propagate(ctx, s, 4 * size, &g, &oval->difference);
}

static ps_status height_gradient(ps_context *ctx, const ps_adjust_solution *s, int rim_a, int rim_b, double *value_mm, adjust_gradient *g) {
    int rims = s->model.problem.rim_count;
    if (rim_a < 0 || rim_a >= rims || rim_b < 0 || rim_b >= rims || rim_a == rim_b)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no height between rims %d and %d", rim_a, rim_b);
    if (s->model.problem.rim[rim_a].pin != s->model.problem.rim[rim_b].pin)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "rims %d and %d are on different pins", rim_a, rim_b);
    *g = (adjust_gradient){.n = 2, .index = {s->model.layout.height[rim_a], s->model.layout.height[rim_b]}, .value = {1, -1}};
    *value_mm = s->model.height[rim_a] - s->model.height[rim_b];
    return PS_OK;
}

ps_status ps_adjust_height_difference(ps_context *ctx, const ps_adjust_solution *s, int rim_a, int rim_b, ps_quantity *q) {
    return ask(ctx, s, &(ps_ask){.what = PS_ASK_HEIGHT_DIFFERENCE, .a = rim_a, .b = rim_b}, q);
}

ps_status ps_adjust_lens(ps_context *ctx, const ps_adjust_solution *s, int group, ps_lens *lens, double *covariance) {
    enum { N = PS_LENS_COUNT };
    if (group < 0 || group >= s->model.problem.group_count) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no camera group %d", group);
    size_t n = (size_t)s->model.layout.count;
    double *line = calloc(n, sizeof *line);
    if (!line) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a lens' covariance");
    int index[N];
    adjust_layout_lens(&s->model, group, index);
    ps_lens l = s->model.problem.group[group].start;
    double *term[N] = {&l.f_px, &l.cx, &l.cy, &l.k1, &l.k2, &l.p1, &l.p2, &l.k3}, slope[N];
    for (int a = 0; a < N; a++) {
        double x = index[a] < 0 ? 0 : s->x[index[a]];
        *term[a] = a == PS_LENS_F ? l.f_px * exp(x) : *term[a] + x;
        slope[a] = a == PS_LENS_F ? l.f_px : 1;
    }
    memset(covariance, 0, N * N * sizeof *covariance);
    for (size_t source = 0; source < PS_SOURCE_COUNT; source++) {
        const double *block = s->information + source * n * n;
        for (int a = 0; a < N; a++) {
            if (index[a] < 0) continue;
            const double *from = s->covariance + (size_t)index[a] * n; /* a row of C is C times a unit vector */
            for (size_t i = 0; i < n; i++) {
                line[i] = 0;
                for (size_t j = 0; j < n; j++) line[i] += block[i * n + j] * from[j];
            }
            for (int b = 0; b < N; b++) {
                if (index[b] < 0) continue;
                const double *to = s->covariance + (size_t)index[b] * n;
                double part = 0;
                for (size_t i = 0; i < n; i++) part += to[i] * line[i];
                covariance[N * a + b] += s->inflation[source] * slope[a] * slope[b] * part;
            }
        }
    }
    for (int a = 0; a < N; a++) {
        for (int b = 0; b < a; b++) covariance[N * a + b] = covariance[N * b + a] = 0.5 * (covariance[N * a + b] + covariance[N * b + a]);
    }
    free(line);
    *lens = l;
    return PS_OK;
}

/* An axis by its 4 unknowns: two offsets, two tilts, added to the solved state. */
static void moved_axis(const adjust_model *m, int pin, const double move[4], double point[3], double direction[3]) {
    const adjust_axis *a = &m->axis[pin];
    for (int k = 0; k < 3; k++) {
        point[k] = a->point[k] + move[0] * m->pin_offset[pin][0][k] + move[1] * m->pin_offset[pin][1][k];
        direction[k] = a->direction[k] + move[2] * a->tilt[0][k] + move[3] * a->tilt[1][k];
    }
    ps_unit3(direction);
}

double adjust_centres(const adjust_model *m, const int pin[2], const double height[2], const double move[8]) {
    double point[2][3], direction[2][3], mean[3], middle[3], meets[2][3], apart[3];
    for (int i = 0; i < 2; i++) moved_axis(m, pin[i], move + 4 * i, point[i], direction[i]);
    for (int k = 0; k < 3; k++) {
        mean[k] = direction[0][k] + direction[1][k];
        middle[k] = 0.5 * (point[0][k] + height[0] * direction[0][k] + point[1][k] + height[1] * direction[1][k]);
    }
    ps_unit3(mean);
    for (int i = 0; i < 2; i++) {
        double way[3] = {middle[0] - point[i][0], middle[1] - point[i][1], middle[2] - point[i][2]};
        double along = ps_dot3(way, mean) / ps_dot3(direction[i], mean);
        for (int k = 0; k < 3; k++) meets[i][k] = point[i][k] + along * direction[i][k];
    }
    for (int k = 0; k < 3; k++) apart[k] = meets[1][k] - meets[0][k];
    return ps_norm3(apart);
}

static ps_status centres_gradient(ps_context *ctx, const ps_adjust_solution *s, const ps_ask *what, double *value_mm, adjust_gradient *g) {
    int pin_a = what->a, pin_b = what->b, pins = s->model.problem.pin_count;
    double height_a = what->height_a, height_b = what->height_b;
    if (pin_a < 0 || pin_a >= pins || pin_b < 0 || pin_b >= pins || pin_a == pin_b || !isfinite(height_a + height_b))
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no centres between pins %d and %d", pin_a, pin_b);
    const int pin[2] = {pin_a, pin_b};
    const double height[2] = {height_a, height_b};
    const adjust_model *m = &s->model;
    if (ps_dot3(m->axis[pin_a].direction, m->axis[pin_b].direction) < 0.5)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "pins %d and %d are not about parallel", pin_a, pin_b);
    *g = (adjust_gradient){.n = 8};
    double move[8] = {0};
    *value_mm = adjust_centres(m, pin, height, move);
    /* Central differences: the function is smooth, 1e-3 mm and 1e-6 rad leave about nine digits of its slope. */
    for (int k = 0; k < 8; k++) {
        double h = k % 4 < 2 ? 1e-3 : 1e-6;
        move[k] = h;
        double up = adjust_centres(m, pin, height, move);
        move[k] = -h;
        double down = adjust_centres(m, pin, height, move);
        move[k] = 0;
        g->index[k] = m->layout.axis[pin[k / 4]] + k % 4;
        g->value[k] = (up - down) / (2 * h);
    }
    return PS_OK;
}

ps_status ps_adjust_centres(ps_context *ctx, const ps_adjust_solution *s, int pin_a, double height_a, int pin_b, double height_b,
                            ps_quantity *q) {
    return ask(ctx, s, &(ps_ask){PS_ASK_CENTRES, pin_a, pin_b, height_a, height_b}, q);
}

ps_status adjust_gradient_of(ps_context *ctx, const ps_adjust_solution *s, const ps_ask *what, double *value_mm, adjust_gradient *g) {
    if (what->what == PS_ASK_CENTRES) return centres_gradient(ctx, s, what, value_mm, g);
    if (what->what == PS_ASK_HEIGHT_DIFFERENCE) return height_gradient(ctx, s, what->a, what->b, value_mm, g);
    return diameter_gradient(ctx, s, what->a, value_mm, g);
}
