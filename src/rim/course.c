/* Edges around a predicted rim, located to a fraction of a pixel in linear light, and the curve that takes them. */
#include "rim/course.h"

#include <math.h>
#include <stdlib.h>

#include "base/linear.h"
#include "base/stats.h"
#include "base/wide.h"
#include "photo/light.h"

static const double step_px = 0.5;   /* sampling along the normal */
static const double spacing_px = 4;  /* between places along the rim: nearer ones share their blur and noise */
static const double smooth_px = 1.0; /* Gaussian along the normal before the derivative */
/* Edges nearer than this blur into one; before: of two heights. Rims of which more is covered are taken as a whole, as far as they go. */
static const double end_on_cosine = 0.4, apart_px = 3, before_mm = 0.3, covered_most = 0.6;
const double ps_course_least_arc = 0.3;
static const double facing_least = 0.1; /* cosine to the way an end of a boss looks; slanted more, its edges run into one */
static const double taken_px = 1.6;     /* from the curve, of an edge that is its own */

ps_circle3 ps_rim_circle(const ps_pin_model *pin, const ps_pin_rim *rim) {
    ps_circle3 c;
    for (int i = 0; i < 3; i++) {
        c.centre[i] = pin->axis_point_mm[i] + rim->height_mm * pin->axis_direction[i];
        c.normal[i] = pin->axis_direction[i];
    }
    c.radius_mm = rim->radius_mm;
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

/* Whether all that is looked at along the normal, half_px to a side and a pixel across, lies in the photo: its corners do. */
static bool within(const ps_luma *luma, const ps_course_place *p, double half_px) {
    const double *n = p->normal;
    for (int corner = 0; corner < 4; corner++) {
        double t = corner & 1 ? half_px : -half_px, across = corner & 2 ? 1 : -1;
        if (!ps_light_inside(luma, p->at[0] + t * n[0] - across * n[1], p->at[1] + t * n[1] + across * n[0])) return false;
    }
    return true;
}

/* Linear light along the normal, averaged over three neighbours across; n = 2*half+1 samples. */
static bool profile(const ps_luma *luma, const ps_course_place *p, int half, double *value) {
    const float *table = ps_photo_linear_table();
    if (!within(luma, p, half * step_px)) return false;
    for (int k = -half; k <= half; k++) {
        double sum = 0, t = k * step_px;
        for (int across = -1; across <= 1; across++)
            sum += ps_light_at(luma, table, p->at[0] + t * p->normal[0] - across * p->normal[1],
                               p->at[1] + t * p->normal[1] + across * p->normal[0]);
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

/* Derivative of the Gaussian-smoothed profile: of n samples from value[0] on, which goes on as its ends do HALF samples beyond both. */
PS_WIDE static void differentiate(const double *kernel, double *value, int n, double *restrict slope) {
    double norm = 0;
    for (int k = -HALF; k <= HALF; k++) norm += -kernel[k + HALF] * k * step_px;
    for (int k = 1; k <= HALF; k++) value[-k] = value[0], value[n - 1 + k] = value[n - 1];
    for (int i = 0; i < n; i++) slope[i] = 0;
    for (int k = -HALF; k <= HALF; k++)
        for (int i = 0; i < n; i++) slope[i] -= kernel[k + HALF] * value[i + k];
    for (int i = 0; i < n; i++) slope[i] /= norm;
}

static void find_edges(const ps_luma *luma, const double kernel[TAPS], double reach_px, ps_course_place *p) {
    double room[2 * (PS_COURSE_REACH_PX * 4 + HALF) + 1], slope[2 * PS_COURSE_REACH_PX * 4 + 1], *value = room + HALF;
    int margin = 7, half = (int)(reach_px / step_px) + margin;
    p->count = 0;
    if (half > PS_COURSE_REACH_PX * 4) half = PS_COURSE_REACH_PX * 4;
    int n = 2 * half + 1;
    if (!profile(luma, p, half, value)) return;
    differentiate(kernel, value, n, slope);
    double level = 1e-4;
    for (int i = 0; i < n; i++) level += value[i] / n;
    double threshold = fmax(0.02 * level, 0.0015); /* a pixel: weaker slopes are noise and texture */
    for (int i = margin; i < n - margin; i++) {
        double a = fabs(slope[i - 1]), b = fabs(slope[i]), c = fabs(slope[i + 1]);
        if (b < threshold || b < a || b <= c || slope[i] * slope[i - 1] < 0 || slope[i] * slope[i + 1] < 0) continue;
        ps_course_edge e = {(i - half + 0.5 * (a - c) / (a - 2 * b + c)) * step_px, slope[i]};
        int at = p->count < PS_COURSE_EDGES ? p->count++ : PS_COURSE_EDGES; /* keep the strongest */
        if (at == PS_COURSE_EDGES) {
            int weakest = 0;
            for (int k = 1; k < PS_COURSE_EDGES; k++)
                if (fabs(p->item[k].strength) < fabs(p->item[weakest].strength)) weakest = k;
            if (fabs(p->item[weakest].strength) >= b) continue;
            at = weakest;
        }
        p->item[at] = e;
    }
}

void ps_course_survey(const ps_luma *luma, const ps_view *view, const ps_circle3 *c, double reach_px, ps_course *out) {
    out->others = out->terms = 0;
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
    int places = (int)fmin(PS_COURSE_PLACES, fmax(48, length / spacing_px));
    double kernel[TAPS];
    make_kernel(kernel);
    out->count = 0;
    out->reach_px = reach_px;
    for (int k = 0; k < places; k++) {
        ps_course_place *p = &out->place[out->count];
        p->theta = 2 * PS_PI * k / places;
        if (!stand(view, c, p->theta, luma, p->at, p->normal)) continue;
        find_edges(luma, kernel, reach_px, p);
        out->count++;
    }
    out->inside = inside / (double)probes;
}

double ps_course_strength(const ps_course *c) {
    double all[PS_COURSE_PLACES];
    int n = 0;
    for (int i = 0; i < c->count; i++) {
        double best = 0;
        for (int k = 0; k < c->place[i].count; k++) best = fmax(best, fabs(c->place[i].item[k].strength));
        if (best > 0) all[n++] = best;
    }
    return n ? fmax(ps_stats_median(all, (size_t)n), 1e-6) : 1;
}

static double offset_at(const ps_course *c, const double *q, const ps_course_place *p) {
    double offset = 0;
    for (int k = 0; k < c->terms; k++) offset += q[k] * p->term[k];
    return offset;
}

/* Half way to the nearest neighbour: farther off an edge is not this rim's. */
static double half_way(const ps_course *c, const ps_course_place *p) {
    double least = INFINITY;
    for (int k = 0; k < c->others; k++) least = fmin(least, fabs(p->other[k]));
    return 0.5 * least;
}

/* The edge nearest to the curve at a place, nearer than the window and than half way to a neighbour; NULL: none. */
static const ps_course_edge *nearest(const ps_course *c, const ps_course_place *p, const double *q, double window_px, double *off_px) {
    double want = offset_at(c, q, p), best = fmin(window_px, half_way(c, p));
    const ps_course_edge *taken = NULL;
    *off_px = 0;
    for (int k = 0; k < p->count; k++) {
        double off = p->item[k].offset - want;
        if (fabs(off) < best) best = fabs(off), *off_px = off, taken = &p->item[k];
    }
    return taken;
}

static bool refine(const ps_course *c, double window_px, double *q) {
    double N[PS_COURSE_TERMS * PS_COURSE_TERMS] = {0}, g[PS_COURSE_TERMS] = {0}, x[PS_COURSE_TERMS], off;
    int used = 0, n = c->terms;
    for (int i = 0; i < c->count; i++) {
        const double *J = c->place[i].term;
        if (c->place[i].covered || !nearest(c, &c->place[i], q, window_px, &off)) continue;
        double w = 1 - (off / window_px) * (off / window_px);
        for (int a = 0; a < n; a++) {
            g[a] += w * J[a] * off;
            for (int b = 0; b < n; b++) N[n * a + b] += w * J[a] * J[b];
        }
        used++;
    }
    for (int a = 0; a < n; a++) N[(n + 1) * a] += 1e-3;
    if (used < PS_COURSE_POINTS_MIN || !ps_damped_solve(N, g, n, 0, x)) return false;
    for (int a = 0; a < n; a++) q[a] += x[a];
    return true;
}

/* *seen: places with an edge on the curve, covered or not. */
static int take(const ps_course *c, const double *q, ps_edge_point *out, int *seen) {
    int count = 0;
    *seen = 0;
    double off, size[PS_COURSE_PLACES];
    for (int i = 0; i < c->count; i++) {
        const ps_course_place *p = &c->place[i];
        const ps_course_edge *e = nearest(c, p, q, taken_px, &off);
        if (!e) continue;
        ++*seen;
        if (p->covered) continue;
        out[count] = (ps_edge_point){
            p->at[0] + e->offset * p->normal[0], p->at[1] + e->offset * p->normal[1], p->normal[0], p->normal[1], 0, p->theta, e->strength};
        size[count++] = fabs(off);
    }
    double sigma = count ? fmax(0.25, 1.4826 * ps_stats_median(size, (size_t)count)) : 1;
    for (int i = 0; i < count; i++) out[i].sigma_px = sigma;
    return count;
}

static ps_status fit(ps_context *ctx, const ps_edge_point *point, int n, ps_rim_trace *out) {
    double(*xy)[2] = malloc(PS_COURSE_PLACES * sizeof *xy);
    if (!xy) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for edge points");
    for (int i = 0; i < n; i++) xy[i][0] = point[i].x_px, xy[i][1] = point[i].y_px;
    ps_status status = ps_ellipse_fit(ctx, (const double(*)[2])xy, n, &out->ellipse, &out->rms_px);
    free(xy);
    return status == PS_OK || status == PS_NO_MEMORY ? status : PS_NOT_FOUND;
}

ps_status ps_course_take(ps_context *ctx, const ps_course *c, double *q, const ps_pin_models *pins, int index, int rim,
                         ps_rim_traces *out) {
    const ps_pin_rim *of = &pins->pin[index].rim[rim];
    for (double window = 2.5; window > 1.2; window *= 0.8)
        if (!refine(c, window, q)) return PS_OK;
    ps_edge_point *point = malloc(PS_COURSE_PLACES * sizeof *point);
    if (!point) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for edge points");
    int seen, n = take(c, q, point, &seen);
    double share = c->count ? seen / (double)c->count * c->inside : 0;
    ps_rim_trace made = {.pin = index, .rim = rim, .edge = of->edge, .ear = of->ear, .point_count = n, .point = point, .arc = share};
    ps_status status = n >= PS_COURSE_POINTS_MIN && share >= ps_course_least_arc ? fit(ctx, point, n, &made) : PS_NOT_FOUND;
    if (status == PS_OK)
        out->trace[out->count++] = made;
    else
        free(point);
    return status == PS_NOT_FOUND ? PS_OK : status;
}

ps_status ps_course_hand_over(ps_context *ctx, ps_status status, ps_rim_traces *made, ps_rim_traces *out) {
    if (status == PS_OK && made->count == 0) status = ps_context_fail(ctx, PS_NOT_FOUND, "no rim where it was expected");
    if (status == PS_OK)
        *out = *made;
    else
        ps_rim_traces_clear(made);
    return status;
}

double ps_course_scale(const ps_view *view, const ps_circle3 *c) {
    ps_ellipse e;
    return ps_view_ellipse(view, c, &e) ? e.a / c->radius_mm : 0;
}

bool ps_course_turned_away(const ps_view *view, const ps_pin_model *pin, const ps_pin_rim *rim) {
    if (!pin->outward) return false;
    ps_circle3 circle = ps_rim_circle(pin, rim);
    double x[3], n[3];
    ps_pose_apply(&view->pose, circle.centre, x);
    ps_mat3_mul_vec(view->pose.R, circle.normal, n);
    return (rim->ear == PS_EAR_NEAR ? -1 : 1) * ps_dot3(x, n) < facing_least * ps_norm3(x); /* heights run from far to near */
}

/* Whether the face's edge of a bush runs so near to its outer one, or outside it, that no edge of the latter's own shows there: the chamfer
 * is seen along its slope. Points of the face's edge taken for it made bushes up to 0.8 mm too small. A pin's edge is its outline there. */
static bool covers(const ps_pin_rim *upper, const ps_pin_rim *lower, double offset_px) {
    return lower->edge == PS_EDGE_BUSH && upper->height_mm > lower->height_mm + before_mm && offset_px > -apart_px;
}

/* From the side a pin is seen in the gap between the ears, where what stands higher is not before what stands lower. */
static bool looks_end_on(const ps_view *view, const ps_pin_model *pin) {
    double x[3], n[3];
    ps_pose_apply(&view->pose, pin->axis_point_mm, x);
    ps_mat3_mul_vec(view->pose.R, pin->axis_direction, n);
    return -ps_dot3(x, n) > end_on_cosine * ps_norm3(x);
}

void ps_course_find_others(const ps_view *view, const ps_pin_model *pin, int rim, ps_course *c) {
    int covered = 0;
    c->others = 0;
    bool end_on = looks_end_on(view, pin);
    for (int i = 0; i < c->count; i++) c->place[i].covered = false;
    for (int k = 0; k < pin->rim_count; k++) {
        if (k == rim || ps_course_turned_away(view, pin, &pin->rim[k])) continue;
        ps_circle3 circle = ps_rim_circle(pin, &pin->rim[k]);
        for (int i = 0; i < c->count; i++) {
            ps_course_place *p = &c->place[i];
            double X[3], at[2];
            ps_circle3_point(&circle, p->theta, X);
            bool seen = ps_view_project(view, X, at);
            double d = seen ? (at[0] - p->at[0]) * p->normal[0] + (at[1] - p->at[1]) * p->normal[1] : INFINITY;
            p->other[c->others] = fabs(d) < PS_COURSE_REACH_PX ? d : INFINITY;
            if (seen && end_on && covers(&pin->rim[k], &pin->rim[rim], d)) p->covered = true;
        }
        c->others++;
    }
    for (int i = 0; i < c->count; i++) covered += c->place[i].covered;
    for (int i = 0; i < c->count && covered > covered_most * c->count; i++) c->place[i].covered = false; /* coarse photos */
}
