/* Tracing a predicted rim: along the normals of the predicted circle every edge is located to a fraction of a pixel in
 * linear light; the rim is the one closed curve of small offset that most of them agree on. The offset of a circle whose
 * height, place or radius differs a little is a + b cos + c sin along the circumference, so three numbers are sought,
 * and what belongs to neighbouring rims, texture or shadow falls away. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "base/stats.h"
#include "base/wide.h"
#include "photo/light.h"
#include "pinspan/rim.h"

enum { PLACES_MAX = 200, EDGES_A_PLACE = 6, HALF_MAX = 24, POINTS_MIN = 12, OTHERS_MAX = PS_RIMS_PER_PIN };
static const double step_px = 0.5;      /* sampling along the normal */
static const double spacing_px = 4;     /* between places along the rim: nearer ones share their blur and noise */
static const double smooth_px = 1.0;    /* Gaussian along the normal before the derivative */
static const double reach_sigmas = 2.5; /* of the prediction */

typedef struct edge {
    double offset, strength; /* px outward from the prediction; signed, outside minus inside */
} edge;

typedef struct place { /* on the predicted rim */
    double theta, cosine, sine, at[2], normal[2];
    int count;
    edge item[EDGES_A_PLACE];
    double other[OTHERS_MAX]; /* offsets of the pin's other rims here, as predicted; far ones are INFINITY */
} place;

typedef struct course { /* of a rim around its prediction */
    int count, others;
    double reach_px;
    place place[PLACES_MAX];
} course;

void ps_rim_traces_clear(ps_rim_traces *t) {
    for (int i = 0; t->trace && i < t->count; i++) free(t->trace[i].point);
    free(t->trace);
    memset(t, 0, sizeof *t);
}

static ps_circle3 circle_of(const ps_pin_model *pin, double height, double radius) {
    ps_circle3 c;
    for (int i = 0; i < 3; i++) {
        c.centre[i] = pin->axis_point_mm[i] + height * pin->axis_direction[i];
        c.normal[i] = pin->axis_direction[i];
    }
    c.radius_mm = radius;
    return c;
}

/* Place and outward normal of the projected circle at theta; false when not in the photo. */
static bool stand(const ps_view *view, const ps_circle3 *c, double theta, const ps_luma *luma, double at[2], double normal[2]) {
    ps_circle3 larger = *c;
    double X[3], near_px[2], out_px[2], d = 1e-3;
    larger.radius_mm *= 1 + d;
    ps_circle3_point(c, theta, X);
    if (!ps_view_project(view, X, at)) return false;
    if (!(at[0] > 3 && at[1] > 3 && at[0] < luma->width - 4 && at[1] < luma->height - 4)) return false;
    ps_circle3_point(c, theta + d, X);
    if (!ps_view_project(view, X, near_px)) return false;
    ps_circle3_point(&larger, theta, X);
    if (!ps_view_project(view, X, out_px)) return false;
    double tx = near_px[0] - at[0], ty = near_px[1] - at[1], length = hypot(tx, ty);
    if (!(length > 1e-9)) return false;
    normal[0] = ty / length;
    normal[1] = -tx / length;
    if (normal[0] * (out_px[0] - at[0]) + normal[1] * (out_px[1] - at[1]) < 0) normal[0] = -normal[0], normal[1] = -normal[1];
    return true;
}

/* Linear light along the normal, averaged over three neighbours across; n = 2*half+1 samples. */
static bool profile(const ps_luma *luma, const place *p, int half, double *value) {
    const float *table = ps_photo_linear_table();
    for (int k = -half; k <= half; k++) {
        double sum = 0, t = k * step_px;
        for (int across = -1; across <= 1; across++)
            sum += ps_light_or_nan(luma, table, p->at[0] + t * p->normal[0] - across * p->normal[1],
                                   p->at[1] + t * p->normal[1] + across * p->normal[0]);
        if (isnan(sum)) return false;
        value[k + half] = sum / 3;
    }
    return true;
}

enum { HALF = 6, TAPS = 2 * HALF + 1 };

static void make_kernel(double kernel[TAPS]) {
    for (int k = -HALF; k <= HALF; k++) {
        double t = k * step_px / smooth_px;
        kernel[k + HALF] = -t * exp(-0.5 * t * t);
    }
}

/* Derivative of the Gaussian-smoothed profile. */
static void differentiate(const double *kernel, const double *value, int n, double *slope) {
    double norm = 0;
    for (int k = -HALF; k <= HALF; k++) norm += -kernel[k + HALF] * k * step_px;
    for (int i = 0; i < n; i++) {
        double sum = 0;
        for (int k = -HALF; k <= HALF; k++) {
            int j = i + k < 0 ? 0 : i + k >= n ? n - 1 : i + k;
            sum -= kernel[k + HALF] * value[j];
        }
        slope[i] = sum / norm;
    }
}

static void find_edges(const ps_luma *luma, const double kernel[TAPS], double reach_px, place *p) {
    double value[2 * HALF_MAX * 4 + 1], slope[2 * HALF_MAX * 4 + 1];
    int margin = 7, half = (int)(reach_px / step_px) + margin;
    p->count = 0;
    if (half > HALF_MAX * 4) half = HALF_MAX * 4;
    int n = 2 * half + 1;
    if (!profile(luma, p, half, value)) return;
    differentiate(kernel, value, n, slope);
    double level = 1e-4;
    for (int i = 0; i < n; i++) level += value[i] / n;
    double threshold = fmax(0.02 * level, 0.0015); /* a pixel: weaker slopes are noise and texture */
    for (int i = margin; i < n - margin; i++) {
        double a = fabs(slope[i - 1]), b = fabs(slope[i]), c = fabs(slope[i + 1]);
        if (b < threshold || b < a || b <= c || slope[i] * slope[i - 1] < 0 || slope[i] * slope[i + 1] < 0) continue;
        edge e = {(i - half + 0.5 * (a - c) / (a - 2 * b + c)) * step_px, slope[i]};
        int at = p->count < EDGES_A_PLACE ? p->count++ : EDGES_A_PLACE; /* keep the strongest */
        if (at == EDGES_A_PLACE) {
            int weakest = 0;
            for (int k = 1; k < EDGES_A_PLACE; k++)
                if (fabs(p->item[k].strength) < fabs(p->item[weakest].strength)) weakest = k;
            if (fabs(p->item[weakest].strength) >= b) continue;
            at = weakest;
        }
        p->item[at] = e;
    }
}

/* Edges around the prediction. Returns the share of the circumference inside the photo. */
static double survey(const ps_luma *luma, const ps_view *view, const ps_circle3 *c, double reach_px, course *out) {
    out->others = 0;
    double length = 0, previous[2] = {0, 0}, at[2], normal[2];
    int inside = 0, probes = 48;
    bool had = false;
    for (int k = 0; k <= probes; k++) {
        bool ok = stand(view, c, 2 * PS_PI * k / probes, luma, at, normal);
        if (ok && had) length += hypot(at[0] - previous[0], at[1] - previous[1]);
        if (ok && k < probes) inside++;
        had = ok;
        previous[0] = at[0], previous[1] = at[1];
    }
    int places = (int)fmin(PLACES_MAX, fmax(48, length / spacing_px));
    double kernel[TAPS];
    make_kernel(kernel);
    out->count = 0;
    out->reach_px = reach_px;
    for (int k = 0; k < places; k++) {
        place *p = &out->place[out->count];
        p->theta = 2 * PS_PI * k / places;
        p->cosine = cos(p->theta);
        p->sine = sin(p->theta);
        if (!stand(view, c, p->theta, luma, p->at, p->normal)) continue;
        find_edges(luma, kernel, reach_px, p);
        out->count++;
    }
    return inside / (double)probes;
}

static double offset_at(const double abc[3], const place *p) {
    return abc[0] + abc[1] * p->cosine + abc[2] * p->sine;
}

static double typical_strength(const course *c) {
    double all[PLACES_MAX];
    int n = 0;
    for (int i = 0; i < c->count; i++) {
        double best = 0;
        for (int k = 0; k < c->place[i].count; k++) best = fmax(best, fabs(c->place[i].item[k].strength));
        if (best > 0) all[n++] = best;
    }
    return n ? fmax(ps_stats_median(all, (size_t)n), 1e-6) : 1;
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
PS_WIDE static void agreement(const course *c, double width_px, double typical, int stride, line *out) {
    float best[LINE_MAX], want[LINE_MAX], step[LINE_MAX], narrow = (float)(1 / width_px);
    int count = (out->count + 7) & ~7; /* whole eights; LINE_MAX is */
    for (int k = 0; k < count; k++) out->sum[k] = 0, step[k] = (float)(k * out->step);
    for (int i = 0; i < c->count; i += stride) {
        const place *p = &c->place[i];
        for (int o = -1; o < c->others && p->count; o++) { /* -1: the rim itself */
            double beside = o < 0 ? 0 : p->other[o];
            float share = o < 0 ? 1 : 0.5F;
            if (!(fabs(beside) < c->reach_px)) continue;
            float first = (float)(out->first[0] + out->first[1] * p->cosine + out->first[2] * p->sine + beside), sine = (float)p->sine;
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

static void search_around(const course *c, const double sigma[3], const double reach[3], double step, double width, double typical,
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
static void search(const course *c, double sigma_a, double sigma_b, double abc[3]) {
    double typical = typical_strength(c), sigma[3] = {sigma_a, sigma_b, sigma_b}, reach[3];
    for (int i = 0; i < 3; i++) reach[i] = fmin(reach_sigmas * sigma[i], c->reach_px);
    search_around(c, sigma, reach, 1.3, 1.8, typical, c->count > 80 ? 2 : 1, abc);
    const double near[3] = {1.4, 1.4, 1.4};
    search_around(c, sigma, near, 0.7, 1.2, typical, 1, abc);
}

/* Half way to the nearest neighbour: farther off an edge is not this rim's. */
static double half_way(const course *c, const place *p) {
    double least = INFINITY;
    for (int k = 0; k < c->others; k++) least = fmin(least, fabs(p->other[k]));
    return 0.5 * least;
}

/* Least squares for a, b, c and a second harmonic's worth of slack left in the residuals. */
static int refine(const course *c, double window, double abc[3]) {
    double N[9] = {0}, g[3] = {0}, x[3];
    int used = 0;
    for (int i = 0; i < c->count; i++) {
        double want = offset_at(abc, &c->place[i]), best = fmin(window, half_way(c, &c->place[i])), limit = best;
        for (int k = 0; k < c->place[i].count; k++) {
            double r = c->place[i].item[k].offset - want;
            if (fabs(r) < fabs(best)) best = r;
        }
        if (fabs(best) >= limit) continue;
        double J[3] = {1, c->place[i].cosine, c->place[i].sine}, w = 1 - (best / window) * (best / window);
        for (int a = 0; a < 3; a++) {
            g[a] += w * J[a] * best;
            for (int b = 0; b < 3; b++) N[3 * a + b] += w * J[a] * J[b];
        }
        used++;
    }
    for (int a = 0; a < 3; a++) N[4 * a] += 1e-3;
    if (used < POINTS_MIN || !ps_damped_solve(N, g, 3, 0, x)) return 0;
    for (int a = 0; a < 3; a++) abc[a] += x[a];
    return used;
}

/* The edges that the curve takes. */
static int take(const course *c, const double abc[3], double window, ps_edge_point *out, double *residual) {
    int count = 0;
    for (int i = 0; i < c->count; i++) {
        const place *p = &c->place[i];
        double want = offset_at(abc, p), best = fmin(window, half_way(c, p));
        int taken = -1;
        for (int k = 0; k < p->count; k++)
            if (fabs(p->item[k].offset - want) < best) best = fabs(p->item[k].offset - want), taken = k;
        if (taken < 0) continue;
        double offset = p->item[taken].offset;
        out[count] =
            (ps_edge_point){p->at[0] + offset * p->normal[0], p->at[1] + offset * p->normal[1], p->normal[0], p->normal[1], 0, p->theta,
                            p->item[taken].strength};
        residual[count++] = offset - want;
    }
    return count;
}

/* Millimetres to pixels at a circle's centre. */
static double scale_at(const ps_view *view, const ps_circle3 *c) {
    ps_ellipse e;
    return ps_view_ellipse(view, c, &e) ? e.a / c->radius_mm : 0;
}

static double viewing_tangent(const ps_view *view, const ps_circle3 *c) {
    double x[3], n[3];
    ps_pose_apply(&view->pose, c->centre, x);
    ps_mat3_mul_vec(view->pose.R, c->normal, n);
    double cosine = -ps_dot3(x, n) / (ps_norm3(x) + 1e-12);
    cosine = fmin(1, fmax(0.05, cosine));
    return sqrt(1 - cosine * cosine) / cosine;
}

/* Where the pin's other rims run beside this one: neighbours are matched together, so that one is not taken for another. */
static void find_others(const ps_view *view, const ps_pin_model *pin, int rim, course *c) {
    c->others = 0;
    for (int k = 0; k < pin->rim_count; k++) {
        if (k == rim) continue;
        ps_circle3 circle = circle_of(pin, pin->rim[k].height_mm, pin->rim[k].radius_mm);
        for (int i = 0; i < c->count; i++) {
            place *p = &c->place[i];
            double X[3], at[2];
            ps_circle3_point(&circle, p->theta, X);
            bool seen = ps_view_project(view, X, at);
            double d = seen ? (at[0] - p->at[0]) * p->normal[0] + (at[1] - p->at[1]) * p->normal[1] : INFINITY;
            p->other[c->others] = fabs(d) < HALF_MAX ? d : INFINITY;
        }
        c->others++;
    }
}

static ps_status trace_one(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_model *pin, int rim, course *c,
                           ps_rim_trace *out) {
    const ps_pin_rim *want = &pin->rim[rim];
    ps_circle3 circle = circle_of(pin, want->height_mm, want->radius_mm);
    double px = scale_at(view, &circle), abc[3] = {0};
    if (!(px > 0) || px * want->radius_mm < 8) return PS_NOT_FOUND;
    double tangent = viewing_tangent(view, &circle);
    double sigma_a = 0.6 + want->sigma_radius_mm * px, sigma_b = 0.6 + hypot(want->sigma_height_mm * tangent, want->sigma_radius_mm) * px;
    sigma_b = fmin(sigma_b, 5);
    double reach = fmin(fmax(reach_sigmas * (sigma_a + sigma_b), 4), HALF_MAX);
    double inside = survey(luma, view, &circle, reach, c);
    if (inside < 0.3) return PS_NOT_FOUND;
    find_others(view, pin, rim, c);
    search(c, sigma_a, sigma_b, abc);
    for (double window = 2.5; window > 1.2; window *= 0.8)
        if (!refine(c, window, abc)) return PS_NOT_FOUND;
    ps_edge_point *point = malloc(PLACES_MAX * sizeof *point);
    double residual[PLACES_MAX], size[PLACES_MAX];
    if (!point) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for edge points");
    int n = take(c, abc, 1.6, point, residual);
    for (int i = 0; i < n; i++) size[i] = fabs(residual[i]);
    double sigma = n ? fmax(0.25, 1.4826 * ps_stats_median(size, n)) : 1;
    double share = c->count ? n / (double)c->count * inside : 0;
    double(*xy)[2] = malloc(PLACES_MAX * sizeof *xy);
    for (int i = 0; xy && i < n; i++) {
        point[i].sigma_px = sigma;
        xy[i][0] = point[i].x_px, xy[i][1] = point[i].y_px;
    }
    bool fitted =
        xy && n >= POINTS_MIN && share >= 0.3 && ps_ellipse_fit(ctx, (const double(*)[2])xy, n, &out->ellipse, &out->rms_px) == PS_OK;
    free(xy);
    if (!fitted) {
        free(point);
        return PS_NOT_FOUND;
    }
    out->rim = rim;
    out->edge = want->edge;
    out->ear = want->ear;
    out->point = point;
    out->point_count = n;
    out->arc = share;
    out->blur_px = 0;
    out->odd = false;
    return PS_OK;
}

ps_status ps_rim_trace_photo(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins, ps_rim_traces *out) {
    ps_rim_traces t = {0, calloc(PS_ROLE_COUNT * PS_RIMS_PER_PIN, sizeof *t.trace)};
    course *c = malloc(sizeof *c);
    ps_status status = t.trace && c ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for rims");
    for (int p = 0; status == PS_OK && p < pins->count; p++)
        for (int r = 0; status == PS_OK && r < pins->pin[p].rim_count; r++) {
            ps_status one = trace_one(ctx, luma, view, &pins->pin[p], r, c, &t.trace[t.count]);
            if (one == PS_OK)
                t.trace[t.count++].pin = p;
            else if (one != PS_NOT_FOUND)
                status = one;
        }
    if (status == PS_OK && t.count == 0) status = ps_context_fail(ctx, PS_NOT_FOUND, "no rim where it was expected");
    free(c);
    if (status == PS_OK)
        *out = t;
    else
        ps_rim_traces_clear(&t);
    return status;
}
