/* The ellipse of a rim as one photo shows it: the adjusted circle's, moved and scaled to the photo's own points. */
#include "gauge/observed.h"

#include <math.h>

#include "base/linear.h"

enum { POINTS_LEAST = 8, ROUNDS = 12 };

/* Prior sd of the move along x and y, and of what scaling does to the longer semi-axis: the edge of one photo lies within about a
 * pixel of the adjustment's (docs/model.md: shifts of 0.15 to 0.3 px), so a short arc stays near it. */
static const double sigma_prior_px = 1;
static const double sigma_point_px = 1; /* 0.5 px, and neighbours share texture and light: twice that */
static const double huber_px = 1;       /* two of the 0.5 px */

typedef struct line {
    double at_px;            /* distance of the point outside the ellipse, square to it */
    double nx, ny, reach_px; /* normal; how far scaling by 1 would move the edge there */
} line;

/* First order: Sampson's distance of the ellipse. */
static line line_of(const ps_ellipse *e, double x, double y) {
    double c = cos(e->angle), s = sin(e->angle), dx = x - e->cx, dy = y - e->cy, u = dx * c + dy * s, v = -dx * s + dy * c;
    double gu = u / (e->a * e->a), gv = v / (e->b * e->b), q = u * gu + v * gv, g = 2 * hypot(gu, gv);
    line l = {0};
    if (!(g > 0)) return l;
    l.at_px = (q - 1) / g;
    double n = hypot(gu, gv), nu = gu / n, nv = gv / n;
    l.nx = nu * c - nv * s;
    l.ny = nu * s + nv * c;
    l.reach_px = u * nu + v * nv;
    return l;
}

static double weight_of(double distance_px) {
    double d = fabs(distance_px);
    return d <= huber_px ? 1 : huber_px / d;
}

/* One step of Gauss-Newton with Huber's weights; false where the numbers do not allow it. */
static bool step(ps_ellipse *e, const ps_ellipse *start, const ps_edge_point *point, int count) {
    double A[9] = {0}, b[3], grown = e->a / start->a - 1, prior = 1 / (sigma_prior_px * sigma_prior_px);
    A[0] = A[4] = prior;
    A[8] = start->a * start->a * prior;
    b[0] = -prior * (e->cx - start->cx);
    b[1] = -prior * (e->cy - start->cy);
    b[2] = -start->a * start->a * prior * grown;
    for (int i = 0; i < count; i++) {
        line l = line_of(e, point[i].x_px, point[i].y_px);
        const double row[3] = {l.nx, l.ny, l.reach_px};
        double w = weight_of(l.at_px) / (sigma_point_px * sigma_point_px);
        for (int r = 0; r < 3; r++) {
            b[r] += w * row[r] * l.at_px;
            for (int k = 0; k < 3; k++) A[3 * r + k] += w * row[r] * row[k];
        }
    }
    if (!ps_linear_solve(A, b, 3)) return false;
    e->cx += b[0];
    e->cy += b[1];
    e->a *= 1 + b[2];
    e->b *= 1 + b[2];
    return isfinite(e->cx) && isfinite(e->cy) && e->a > 0 && isfinite(e->a);
}

bool ps_gauge_observed_ellipse(const ps_view *view, const ps_circle3 *circle, const ps_edge_point *point, int count, ps_ellipse *ellipse,
                               double *rms_px) {
    ps_ellipse start, e;
    if (count < POINTS_LEAST || !ps_view_ellipse(view, circle, &start) || !(start.b > 0)) return false;
    e = start;
    for (int i = 0; i < ROUNDS; i++)
        if (!step(&e, &start, point, count)) return false;
    double sum = 0, weights = 0;
    for (int i = 0; i < count; i++) {
        double d = line_of(&e, point[i].x_px, point[i].y_px).at_px, w = weight_of(d);
        sum += w * d * d;
        weights += w;
    }
    if (!(weights > 0) || !isfinite(sum)) return false;
    *rms_px = sqrt(sum / weights);
    *ellipse = e;
    return true;
}
