/* Geometric fits: least squares of the orthogonal distances (Gander, Golub & Strebel, Least-squares fitting of circles
 * and ellipses, BIT 34, 1994) by Levenberg-Marquardt. Fits whose size the points leave open are refused. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "camera/conic.h"
#include "pinspan/rim.h"

/* When the points leave the size open. sqrt(n) sd(size) / sd(distance) depends on the arc alone: an ellipse's
 * semi-axis has 1 for the whole round, 57 for a third of it and about 200 for a quarter; a circle's radius reaches 100
 * near 30 degrees. Beyond `short_arc` a size is only believed when the residuals say that it is known to better than
 * `open_share`; noise-free points pass, so that the limit is on what is known and not on the arc. */
static const double short_arc = 100, open_share = 0.05;
/* Noise-free points of an arc of a few degrees: the size then hangs on the last digits. */
static const double largest_over_spread = 1e4;

/* An ellipse no wider than the points' scatter is a line drawn twice: what a fit makes of a very short arc. */
static const double least_width_over_sd = 3;

/* variance: of the size, per unit variance of a distance. */
static bool size_is_open(double size, double variance, double rss, int n, int parameters) {
    double sd = n > parameters ? sqrt(variance * rss / (n - parameters)) : 0;
    return !(sqrt(n * variance) < short_arc) && !(sd < open_share * size);
}

/* What a model needs of its parameters at every point alike. */
typedef struct {
    const double *p;
    ps_ellipse axes; /* of an ellipse, with its angle's cosine and sine */
    double cosine, sine;
} posed;

/* A model with at most 5 parameters: distance of x from it, gradient of the distance, and whether values are allowed. */
typedef struct {
    int parameters;
    posed (*pose)(const double *p);
    double (*distance)(const posed *o, const double x[2], double *gradient);
    bool (*allowed)(const double *p);
} fit_model;

enum { MOST = 5 };

static double sum_of_squares(const fit_model *m, const double *p, const double (*x)[2], int n, double *N, double *g) {
    int k = m->parameters;
    double sum = 0;
    posed o = m->pose(p);
    memset(N, 0, MOST * MOST * sizeof *N), memset(g, 0, MOST * sizeof *g);
    for (int i = 0; i < n; i++) {
        double J[MOST], d = m->distance(&o, x[i], J);
        sum += d * d;
        for (int r = 0; r < k; r++) {
            g[r] -= J[r] * d;
            for (int c = 0; c <= r; c++) N[r * k + c] += J[r] * J[c];
        }
    }
    return sum;
}

/* p in, p out; covariance (k x k) per unit variance of a distance. PS_SINGULAR where a direction
 * is free, and where the minimum is so flat that the steps do not end. */
static ps_status minimise(const fit_model *m, const double (*x)[2], int n, double *p, double *rss, double *covariance) {
    enum { STEPS = 100 }; /* ordinary arcs need ten; what creeps on is open anyway */
    int k = m->parameters;
    double N[MOST * MOST], g[MOST], N_next[MOST * MOST], g_next[MOST], lambda = 1e-3, best = sum_of_squares(m, p, x, n, N, g);
    if (!isfinite(best)) return PS_SINGULAR;
    bool settled = false;
    for (int step = 0; step < STEPS && !settled && lambda < 1e12; step++) {
        double d[MOST], next[MOST], moved = 0, size = 0;
        if (!ps_damped_solve(N, g, k, lambda, d)) {
            lambda *= 10;
            continue;
        }
        for (int i = 0; i < k; i++) {
            next[i] = p[i] + d[i];
            moved = fmax(moved, fabs(d[i]));
            size = fmax(size, fabs(p[i]));
        }
        settled = moved <= 1e-12 * size;
        double now = m->allowed(next) ? sum_of_squares(m, next, x, n, N_next, g_next) : HUGE_VAL;
        if (now <= best) {
            memcpy(p, next, (size_t)k * sizeof *p);
            memcpy(N, N_next, sizeof N);
            memcpy(g, g_next, sizeof g);
            best = now;
            lambda = fmax(lambda / 10, 1e-15);
        } else
            lambda *= 10;
    }
    *rss = best;
    if (!ps_cholesky(N, k)) return PS_SINGULAR;
    ps_cholesky_inverse(N, k, covariance);
    return settled || lambda >= 1e12 ? PS_OK : PS_SINGULAR;
}

/* Centroid to 0, root mean square distance to 1. */
typedef struct {
    double centre[2], scale;
} frame;

static bool frame_of(const double (*x)[2], int n, frame *f) {
    double sum = 0;
    f->centre[0] = f->centre[1] = 0;
    for (int i = 0; i < n; i++) f->centre[0] += x[i][0] / n, f->centre[1] += x[i][1] / n;
    for (int i = 0; i < n; i++) {
        double dx = x[i][0] - f->centre[0], dy = x[i][1] - f->centre[1];
        sum += dx * dx + dy * dy;
    }
    f->scale = sqrt(sum / n);
    return f->scale > 0 && isfinite(f->scale);
}

/* ---- circle: p = centre x, y, radius ---- */

static posed circle_pose(const double *p) {
    return (posed){.p = p};
}

static double circle_distance(const posed *o, const double x[2], double *gradient) {
    const double *p = o->p;
    double dx = x[0] - p[0], dy = x[1] - p[1], r = hypot(dx, dy);
    gradient[0] = r > 0 ? -dx / r : 0;
    gradient[1] = r > 0 ? -dy / r : 0;
    gradient[2] = -1;
    return r - p[2];
}

static bool circle_allowed(const double *p) {
    return p[2] > 0;
}

static const fit_model circle_model = {3, circle_pose, circle_distance, circle_allowed};

/* Taubin's circle (PAMI 13, 1991) by Newton on its characteristic polynomial from 0, where the least root lies to the
 * right (Chernov, Circular and Linear Regression, 2010, section 5.9). */
static bool circle_taubin(const double (*x)[2], int n, const frame *f, double p[3]) {
    double xx = 0, yy = 0, xy = 0, xz = 0, yz = 0, zz = 0;
    for (int i = 0; i < n; i++) {
        double u = x[i][0] - f->centre[0], v = x[i][1] - f->centre[1], z = u * u + v * v;
        xx += u * u / n, yy += v * v / n, xy += u * v / n;
        xz += u * z / n, yz += v * z / n, zz += z * z / n;
    }
    double z = xx + yy, c = xx * yy - xy * xy;
    double a3 = 4 * z, a2 = -3 * z * z - zz, a1 = (zz + 4 * c - z * z) * z - xz * xz - yz * yz;
    double a0 = xz * (xz * yy - yz * xy) + yz * (yz * xx - xz * xy) - (zz - z * z) * c, root = 0;
    if (!(c > 1e-14 * z * z)) return false; /* on a line */
    for (int i = 0; i < 60; i++) {
        double value = a0 + root * (a1 + root * (a2 + root * a3)), slope = a1 + root * (2 * a2 + root * 3 * a3);
        double next = root - value / slope;
        if (!isfinite(next) || next < 0 || fabs(next - root) <= 1e-15 * z) break;
        root = next;
    }
    double det = root * root - root * z + c;
    double cx = (xz * (yy - root) - yz * xy) / det / 2, cy = (yz * (xx - root) - xz * xy) / det / 2;
    p[0] = cx + f->centre[0];
    p[1] = cy + f->centre[1];
    p[2] = sqrt(cx * cx + cy * cy + z);
    return isfinite(p[2]);
}

ps_status ps_circle_fit(ps_context *ctx, const double (*x)[2], int n, double centre[2], double *radius, double *rms) {
    frame f;
    double p[3], rss, covariance[9];
    if (n < 3) return ps_context_fail(ctx, PS_SINGULAR, "a circle needs 3 points, not %d", n);
    if (!frame_of(x, n, &f) || !circle_taubin(x, n, &f, p))
        return ps_context_fail(ctx, PS_SINGULAR, "no circle: the %d points lie on a line or coincide", n);
    ps_status status = minimise(&circle_model, x, n, p, &rss, covariance);
    if (status) return ps_context_fail(ctx, status, "no circle through %d points", n);
    if (!(p[2] < largest_over_spread * f.scale) || size_is_open(p[2], covariance[8], rss, n, 3))
        return ps_context_fail(ctx, PS_SINGULAR, "the arc of %d points leaves the circle's radius open", n);
    centre[0] = p[0];
    centre[1] = p[1];
    *radius = p[2];
    *rms = sqrt(rss / n);
    return PS_OK;
}

/* ---- ellipse: p = centre x, y and the symmetric S = (p2 p3; p3 p4) that takes the unit circle to the ellipse.
 * Unlike semi-axes and an angle this has no free direction where the ellipse is a circle. ---- */

static bool ellipse_allowed(const double *p) {
    return p[2] > 0 && p[4] > 0 && p[2] * p[4] - p[3] * p[3] > 0;
}

static void ellipse_axes(const double *p, ps_ellipse *e) {
    double mean = (p[2] + p[4]) / 2, half = hypot((p[2] - p[4]) / 2, p[3]);
    e->cx = p[0];
    e->cy = p[1];
    e->a = mean + half;
    e->b = (p[2] * p[4] - p[3] * p[3]) / e->a;
    e->angle = half > 0 ? 0.5 * atan2(2 * p[3], p[2] - p[4]) : 0;
}

/* Nearest point of the axis-parallel ellipse to (u, v), both >= 0, as the cosine and sine of its eccentric angle.
 * It is (a u / (s + a^2), b v / (s + b^2)) where the squares sum to 1. That sum falls and is convex in s > -b^2, so
 * Newton from the left cannot overshoot. */
static void nearest(double a, double b, double u, double v, double out[2]) {
    double s = fmax(b * v - b * b, a * u - a * a);
    if (v <= 0 && a * u < a * a - b * b) { /* on the long axis, inside the evolute */
        out[0] = a * u / (a * a - b * b);
        out[1] = sqrt(fmax(0, 1 - out[0] * out[0]));
        return;
    }
    for (int i = 0; i < 200; i++) {
        double c = a * u / (s + a * a), d = v > 0 ? b * v / (s + b * b) : 0;
        double excess = c * c + d * d - 1, slope = -2 * (c * c / (s + a * a) + (v > 0 ? d * d / (s + b * b) : 0));
        out[0] = c;
        out[1] = d;
        double next = s - excess / slope;
        if (!(excess > 1e-15) || !(next > s)) break;
        s = next;
    }
    double length = hypot(out[0], out[1]);
    if (!(length > 0)) {
        out[0] = 0;
        out[1] = 1;
        return;
    }
    out[0] /= length;
    out[1] /= length;
}

static posed ellipse_pose(const double *p) {
    posed o = {.p = p};
    ellipse_axes(p, &o.axes);
    o.cosine = cos(o.axes.angle), o.sine = sin(o.axes.angle);
    return o;
}

static double ellipse_distance(const posed *o, const double x[2], double *gradient) {
    const ps_ellipse e = o->axes;
    double c = o->cosine, s = o->sine, dx = x[0] - o->p[0], dy = x[1] - o->p[1];
    double u = c * dx + s * dy, v = c * dy - s * dx, foot[2];
    nearest(e.a, e.b, fabs(u), fabs(v), foot);
    foot[0] = copysign(foot[0], u);
    foot[1] = copysign(foot[1], v);
    /* Outward normal at the foot, in the ellipse's axes; the distance is along it, and at fixed foot it changes as the
     * ellipse moves against it. */
    double nu = e.b * foot[0], nv = e.a * foot[1], length = hypot(nu, nv);
    nu /= length;
    nv /= length;
    double m[2] = {c * nu - s * nv, s * nu + c * nv}, w[2] = {c * foot[0] - s * foot[1], s * foot[0] + c * foot[1]};
    gradient[0] = -m[0];
    gradient[1] = -m[1];
    gradient[2] = -m[0] * w[0];
    gradient[3] = -(m[0] * w[1] + m[1] * w[0]);
    gradient[4] = -m[1] * w[1];
    return nu * (u - e.a * foot[0]) + nv * (v - e.b * foot[1]);
}

static const fit_model ellipse_model = {5, ellipse_pose, ellipse_distance, ellipse_allowed};

static void parameters_of(const ps_ellipse *e, double p[5]) {
    double c = cos(e->angle), s = sin(e->angle);
    p[0] = e->cx;
    p[1] = e->cy;
    p[2] = e->a * c * c + e->b * s * s;
    p[3] = (e->a - e->b) * c * s;
    p[4] = e->a * s * s + e->b * c * c;
}

static bool ellipse_is_open(const double p[5], const double covariance[25], double rss, int n, const frame *f) {
    ps_ellipse e;
    ellipse_axes(p, &e);
    if (!(e.a < largest_over_spread * f->scale) || !(e.b > 1e-6 * e.a)) return true;
    if (n > 5 && !(e.b > least_width_over_sd * sqrt(rss / (n - 5)))) return true;
    double c = cos(e.angle), s = sin(e.angle);
    double J[2][3] = {{c * c, 2 * c * s, s * s}, {s * s, -2 * c * s, c * c}}, size[2] = {e.a, e.b};
    for (int k = 0; k < 2; k++) { /* variance of a, of b */
        double sum = 0;
        for (int i = 0; i < 3; i++)
            for (int j = 0; j < 3; j++) sum += J[k][i] * J[k][j] * covariance[5 * (2 + i) + 2 + j];
        if (size_is_open(size[k], sum, rss, n, 5)) return true;
    }
    return false;
}

ps_status ps_ellipse_fit(ps_context *ctx, const double (*x)[2], int n, ps_ellipse *e, double *rms) {
    frame f;
    ps_ellipse direct;
    double p[2][5], rss[2] = {HUGE_VAL, HUGE_VAL}, covariance[2][25], circle[3];
    if (n < 5) return ps_context_fail(ctx, PS_SINGULAR, "an ellipse needs 5 points, not %d", n);
    if (!frame_of(x, n, &f) || !circle_taubin(x, n, &f, circle))
        return ps_context_fail(ctx, PS_SINGULAR, "no ellipse: the %d points lie on a line or coincide", n);
    ps_status status[2] = {PS_SINGULAR, PS_SINGULAR};
    if (ps_conic_fit_ellipse(x, n, &direct)) {
        parameters_of(&direct, p[0]);
        status[0] = minimise(&ellipse_model, x, n, p[0], &rss[0], covariance[0]);
    }
    if (status[0]) { /* the direct fit is drawn to flat ellipses when arcs are short; the circle is the other way in */
        double start[5] = {circle[0], circle[1], circle[2], 0, circle[2]};
        memcpy(p[1], start, sizeof start);
        status[1] = minimise(&ellipse_model, x, n, p[1], &rss[1], covariance[1]);
    }
    int best = status[0] ? 1 : 0;
    if (status[best]) return ps_context_fail(ctx, status[best], "no ellipse through %d points", n);
    if (ellipse_is_open(p[best], covariance[best], rss[best], n, &f))
        return ps_context_fail(ctx, PS_SINGULAR, "the arc of %d points leaves the ellipse's axes open", n);
    ellipse_axes(p[best], e);
    *rms = sqrt(rss[best] / n);
    return PS_OK;
}
