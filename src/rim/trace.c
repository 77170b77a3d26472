/* Tracing a predicted rim: of the edges along its normals the rim is the one closed curve of small offset that most agree on. The
 * offset of a circle whose height, place or radius differs a little is a + b cos + c sin along the circumference, so three numbers are
 * sought, and what belongs to neighbouring rims, texture or shadow falls away. The pin's other rims move alike. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "base/wide.h"
#include "rim/course.h"

static const double reach_sigmas = 2.5; /* of the prediction */

void ps_rim_traces_clear(ps_rim_traces *t) {
    for (int i = 0; t->trace && i < t->count; i++) free(t->trace[i].point);
    free(t->trace);
    memset(t, 0, sizeof *t);
}

enum { LINE_MAX = 64 };

/* Curves that differ in c alone: a + b cos + (c0 + k step) sin. */
typedef struct line {
    int count;
    double first[3], step;
    float sum[LINE_MAX];
} line;

/* Agreement of curves: each place counts by its best edge, nearer and stronger ones more; the neighbours, moved alike,
 * count half. `stride`: places left out. All curves of a line together, which compilers turn into several at a time. */
PS_WIDE static void agreement(const ps_course *c, double width_px, double typical, int stride, line *out) {
    float best[LINE_MAX], want[LINE_MAX], step[LINE_MAX], narrow = (float)(1 / width_px);
    int count = (out->count + 7) & ~7; /* whole eights; LINE_MAX is */
    for (int k = 0; k < count; k++) out->sum[k] = 0, step[k] = (float)(k * out->step);
    for (int i = 0; i < c->count; i += stride) {
        const ps_course_place *p = &c->place[i];
        for (int o = -1; o < c->others && p->count; o++) { /* -1: the rim itself */
            double beside = o < 0 ? 0 : p->other[o];
            float share = o < 0 ? 1 : 0.5F;
            if (!(fabs(beside) < c->reach_px)) continue;
            float first = (float)(out->first[0] + out->first[1] * p->term[1] + out->first[2] * p->term[2] + beside),
                  sine = (float)p->term[2];
            for (int k = 0; k < count; k++) want[k] = first + step[k] * sine, best[k] = 0;
            for (int e = 0; e < p->count; e++) {
                double s = fabs(p->item[e].strength) / typical;
                float offset = (float)p->item[e].offset, weight = (float)(s < 1 ? 0.4 + 0.6 * s : 1);
                for (int k = 0; k < count; k++) {
                    float u = (offset - want[k]) * narrow, v = (1 - u * u) * weight;
                    best[k] = v > best[k] ? v : best[k];
                }
            }
            for (int k = 0; k < count; k++) out->sum[k] += share * best[k];
        }
    }
}

static void search_around(const ps_course *c, const double sigma[3], const double reach[3], double step, double width, double typical,
                          int stride, double abc[3]) {
    double centre[3] = {abc[0], abc[1], abc[2]}, best = -1;
    int n[3];
    for (int i = 0; i < 3; i++) n[i] = (int)fmin(reach[i] / step, (LINE_MAX - 1) / 2);
    for (int i = -n[0]; i <= n[0]; i++)
        for (int j = -n[1]; j <= n[1]; j++) {
            line curves = {
                .count = 2 * n[2] + 1, .first = {centre[0] + i * step, centre[1] + j * step, centre[2] - n[2] * step}, .step = step};
            agreement(c, width, typical, stride, &curves);
            for (int k = 0; k < curves.count; k++) {
                const double t[3] = {curves.first[0], curves.first[1], centre[2] + (k - n[2]) * step};
                double far = 0;
                for (int m = 0; m < 3; m++) far += (t[m] / sigma[m]) * (t[m] / sigma[m]);
                double value = (double)curves.sum[k] * exp(-0.06 * far);
                if (value > best) best = value, memcpy(abc, t, sizeof t);
            }
        }
}

/* Searches the offsets that the prediction allows, coarse then fine; a prior of that width keeps it from running to a
 * neighbour. */
static void search(const ps_course *c, double sigma_a, double sigma_b, double abc[3]) {
    double typical = ps_course_strength(c), sigma[3] = {sigma_a, sigma_b, sigma_b}, reach[3];
    for (int i = 0; i < 3; i++) reach[i] = fmin(reach_sigmas * sigma[i], c->reach_px);
    search_around(c, sigma, reach, 1.3, 1.8, typical, c->count > 80 ? 2 : 1, abc);
    const double near[3] = {1.4, 1.4, 1.4};
    search_around(c, sigma, near, 0.7, 1.2, typical, 1, abc);
}

static double viewing_tangent(const ps_view *view, const ps_circle3 *c) {
    double x[3], n[3];
    ps_pose_apply(&view->pose, c->centre, x);
    ps_mat3_mul_vec(view->pose.R, c->normal, n);
    double cosine = -ps_dot3(x, n) / (ps_norm3(x) + 1e-12);
    cosine = fmin(1, fmax(0.05, cosine));
    return sqrt(1 - cosine * cosine) / cosine;
}

static void set_terms(ps_course *c) {
    c->terms = 3;
    for (int i = 0; i < c->count; i++) {
        double *t = c->place[i].term;
        t[0] = 1, t[1] = cos(c->place[i].theta), t[2] = sin(c->place[i].theta);
    }
}

static ps_status trace_one(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins, int index, int rim,
                           ps_course *c, ps_rim_traces *out) {
    const ps_pin_model *pin = &pins->pin[index];
    const ps_pin_rim *want = &pin->rim[rim];
    if (ps_course_turned_away(view, pin, want)) return PS_OK;
    ps_circle3 circle = ps_rim_circle(pin, want);
    double px = ps_course_scale(view, &circle), abc[PS_COURSE_TERMS] = {0};
    if (!(px > 0) || px * want->radius_mm < PS_COURSE_RADIUS_PX) return PS_OK;
    double tangent = viewing_tangent(view, &circle);
    double sigma_a = 0.6 + want->sigma_radius_mm * px, sigma_b = 0.6 + hypot(want->sigma_height_mm * tangent, want->sigma_radius_mm) * px;
    sigma_b = fmin(sigma_b, 5);
    double reach = fmin(fmax(reach_sigmas * (sigma_a + sigma_b), 4), PS_COURSE_REACH_PX);
    ps_course_survey(luma, view, &circle, reach, c);
    if (c->inside < ps_course_least_arc) return PS_OK;
    set_terms(c);
    ps_course_find_others(view, pin, rim, c);
    search(c, sigma_a, sigma_b, abc);
    return ps_course_take(ctx, c, abc, pins, index, rim, out);
}

ps_status ps_rim_trace_photo(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins, ps_rim_traces *out) {
    ps_rim_traces t = {0, calloc(PS_ROLE_COUNT * PS_RIMS_PER_PIN, sizeof *t.trace)};
    ps_course *c = malloc(sizeof *c);
    ps_status status = t.trace && c ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for rims");
    for (int p = 0; status == PS_OK && p < pins->count; p++)
        for (int r = 0; status == PS_OK && r < pins->pin[p].rim_count; r++) status = trace_one(ctx, luma, view, pins, p, r, c, &t);
    free(c);
    return ps_course_hand_over(ctx, status, &t, out);
}
