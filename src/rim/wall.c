/* The outline of a pin's wall as a second witness of its radius. Seen aslant, a pin that stands out shows its wall, bounded on either side
 * by a line of the silhouette: where rays touch the cylinder. On a photo these lines move with the radius, and with nothing else once
 * camera and axis are known. Beside the bush a true pin has them at its edge's radius; behind a taper's end, a cap's or a groove's edge
 * taken for the pin's, they lie elsewhere.
 *
 * No measure of the radius: steel darkens toward the limb beside the bush's shade, and the steepest step lies 0.4 to 1.3 px inside the true
 * outline on rendered photos. So a step is accepted anywhere near, and only its absence tells something. The numbers are our own, common
 * practice without a source. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "photo/light.h"
#include "pinspan/rim.h"

enum { SAMPLES = 81, HEIGHTS = 16, HEIGHTS_LEAST = 12 };
static const double step_mm = 0.05; /* of radius between samples */
static const double above_bush_mm = 0.4, share = 0.4,
                    least_mm = 2; /* the part of the wall looked at: the lower one, where a taper is widest */
static const double flank_least_px = 4;
static const double near_px = 0.8, near_mm = 0.12;  /* how far apart the steps of two outlines of one radius may lie */
static const double inside_px = 2, inside_mm = 0.3; /* how far inside the edge's radius the step may lie */
static const double outside_px = 1, outside_mm = 0.15;
static const double half_step = 0.12;  /* a step a pixel that counts half, of the local level */
static const double none = 0.02;       /* a side without any step still leaves the others a say */
static const double open_least = 1.02; /* the camera must stand outside the cylinder */

/* How a photo sees one side: the step of brightness at each radius, and the scale. */
typedef struct side {
    double slope[SAMPLES], px_per_mm, flank_px;
} side;

/* Pixels of the silhouette at one height for all radii: a ray that touches the cylinder meets it where it is square to the radius. */
static bool outline(const ps_view *view, const ps_pin_model *pin, const double eye[3], double radius_mm, double height_mm, int hand,
                    double at[SAMPLES][2]) {
    double u[3], v[3], from[3];
    ps_circle3_basis(pin->axis_direction, u, v);
    for (int k = 0; k < 3; k++) from[k] = pin->axis_point_mm[k] + height_mm * pin->axis_direction[k] - eye[k];
    double a = ps_dot3(from, u), b = ps_dot3(from, v), away = hypot(a, b);
    for (int n = 0; n < SAMPLES; n++) {
        double r = radius_mm + (n - SAMPLES / 2) * step_mm, X[3];
        if (!(r > 0) || !(away > open_least * r)) return false;
        double theta = atan2(b, a) + hand * acos(-r / away);
        for (int k = 0; k < 3; k++) X[k] = eye[k] + from[k] + r * (cos(theta) * u[k] + sin(theta) * v[k]);
        if (!ps_view_project(view, X, at[n])) return false;
    }
    return true;
}

static bool sample(const ps_luma *luma, const double at[SAMPLES][2], double value[SAMPLES]) {
    const float *table = ps_photo_linear_table();
    double level = 1e-4;
    for (int n = 0; n < SAMPLES; n++) {
        value[n] = ps_light_or_nan(luma, table, at[n][0], at[n][1]);
        if (isnan(value[n])) return false;
        level += value[n] / SAMPLES;
    }
    for (int n = 0; n < SAMPLES; n++) value[n] /= level;
    return true;
}

static int spread(const side *s) {
    return (int)fmax(1, fmax(near_px / s->px_per_mm, near_mm) / step_mm + 0.5);
}

/* Mean over the heights from `low` to `high`, differentiated. False where the photo does not show that side of the wall. */
static bool look(const ps_luma *luma, const ps_view *view, const ps_pin_model *pin, double radius_mm, double low, double high, int hand,
                 side *out) {
    double sum[SAMPLES] = {0}, first[2] = {0, 0}, last[2] = {0, 0}, at[SAMPLES][2], value[SAMPLES];
    int heights = 0;
    ps_pose back;
    ps_pose_invert(&view->pose, &back);
    for (int h = 0; h < HEIGHTS; h++) {
        if (!outline(view, pin, back.t, radius_mm, low + (high - low) * h / (HEIGHTS - 1), hand, at) || !sample(luma, at, value)) continue;
        memcpy(heights ? last : first, at[SAMPLES / 2], sizeof first);
        out->px_per_mm = hypot(at[SAMPLES - 1][0] - at[0][0], at[SAMPLES - 1][1] - at[0][1]) / (step_mm * (SAMPLES - 1));
        for (int n = 0; n < SAMPLES; n++) sum[n] += value[n];
        heights++;
    }
    out->flank_px = hypot(last[0] - first[0], last[1] - first[1]);
    if (heights < HEIGHTS_LEAST || out->flank_px < flank_least_px || !(out->px_per_mm > 0)) return false;
    int w = spread(out);
    for (int n = 0; n < SAMPLES; n++) {
        int a = n - w < 0 ? 0 : n - w, b = n + w >= SAMPLES ? SAMPLES - 1 : n + w;
        out->slope[n] = (sum[b] - sum[a]) / heights / ((b - a) * step_mm * out->px_per_mm);
    }
    return true;
}

/* 0..1: how clear a step a side has near a radius. */
static double step_near(const side *s, int at) {
    int w = spread(s);
    double best = 0;
    for (int e = -w; e <= w; e++) {
        if (at + e < 0 || at + e >= SAMPLES) continue;
        double slope = fabs(s->slope[at + e]), far = e / (w + 1.0);
        best = fmax(best, slope / (slope + half_step) * (1 - 0.5 * far * far));
    }
    return best;
}

static double agreement(const side *s, int count) {
    double scale = 0, best = 0;
    for (int k = 0; k < count; k++) scale += s[k].px_per_mm / count;
    double low = -fmax(inside_px / scale, inside_mm), high = fmax(outside_px / scale, outside_mm);
    for (int n = 0; n < SAMPLES; n++) {
        double off = (n - SAMPLES / 2) * step_mm, joint = 0;
        if (off <= low || off >= high) continue;
        for (int k = 0; k < count; k++) joint += log(step_near(&s[k], n) + none) / count;
        best = fmax(best, exp(joint));
    }
    return best;
}

ps_pin_wall ps_rim_wall(int photos, const ps_luma *const *lumas, const ps_view *views, const ps_pin_model *pin) {
    int own = ps_rim_find(pin, PS_EDGE_PIN, PS_EAR_NEAR), face = ps_rim_find(pin, PS_EDGE_BUSH_FACE, PS_EAR_NEAR);
    int bush = face >= 0 ? face : ps_rim_find(pin, PS_EDGE_BUSH, PS_EAR_NEAR);
    ps_pin_wall wall = {0, 0};
    side s[PS_RIM_SIDES_MAX];
    if (own < 0 || bush < 0) return wall;
    const ps_pin_rim *edge = &pin->rim[own];
    double foot = pin->rim[bush].height_mm, low = foot + above_bush_mm, high = foot + fmax(share * (edge->height_mm - foot), least_mm);
    if (high > edge->height_mm) return wall;
    for (int i = 0; i < photos; i++)
        for (int hand = -1; hand <= 1 && wall.sides < PS_RIM_SIDES_MAX; hand += 2)
            if (look(lumas[i], &views[i], pin, edge->radius_mm, low, high, hand, &s[wall.sides])) wall.sides++;
    if (wall.sides > 0) wall.agreement = agreement(s, wall.sides);
    return wall;
}
