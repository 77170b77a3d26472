/* Homographies: normalised direct linear transform (Hartley & Zisserman, Multiple View Geometry, 2nd ed., 4.4),
 * then least squares on the distances in the target. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "pinspan/camera.h"

/* x -> scale (x - centre): centroid to 0, mean distance to sqrt 2. */
typedef struct {
    double centre[2], scale;
} similarity;

static bool similarity_fit(const double (*x)[2], int n, similarity *s) {
    double distance = 0;
    s->centre[0] = s->centre[1] = 0;
    for (int i = 0; i < n; i++) s->centre[0] += x[i][0] / n, s->centre[1] += x[i][1] / n;
    for (int i = 0; i < n; i++) distance += hypot(x[i][0] - s->centre[0], x[i][1] - s->centre[1]) / n;
    s->scale = sqrt(2) / distance;
    return isfinite(s->scale) && isfinite(distance);
}

static void similarity_apply(const similarity *s, const double x[2], double out[2]) {
    out[0] = s->scale * (x[0] - s->centre[0]);
    out[1] = s->scale * (x[1] - s->centre[1]);
}

static void add_row(double N[81], const double row[9]) {
    for (int i = 0; i < 9; i++)
        for (int j = 0; j < 9; j++) N[9 * i + j] += row[i] * row[j];
}

/* H in normalised coordinates, scaled so that H[8] = 1 (the centroid is never at infinity). */
static bool direct_linear(const double (*from)[2], const double (*to)[2], int n, const similarity *s, const similarity *t, double H[9]) {
    double N[81] = {0}, values[9], V[81];
    for (int i = 0; i < n; i++) {
        double a[2], b[2];
        similarity_apply(s, from[i], a);
        similarity_apply(t, to[i], b);
        add_row(N, (double[9]){a[0], a[1], 1, 0, 0, 0, -b[0] * a[0], -b[0] * a[1], -b[0]});
        add_row(N, (double[9]){0, 0, 0, a[0], a[1], 1, -b[1] * a[0], -b[1] * a[1], -b[1]});
    }
    if (!ps_eigen_symmetric(N, 9, values, V)) return false;
    /* A second direction as free as the first: points on a line, or three of four on one. 1e-11 in the squares is
     * far above rounding (1e-16) and far below any layout that carries a pose. */
    if (!(values[1] > 1e-11 * values[8])) return false;
    double last = V[9 * 8];
    if (!(fabs(last) > 1e-6)) return false;
    for (int i = 0; i < 9; i++) H[i] = V[9 * i] / last;
    return fabs(ps_mat3_det(H)) > 1e-9;
}

/* Sum of squared distances in the target; also the normal equations where N is not NULL. HUGE_VAL past the horizon. */
static double misfit(const double (*from)[2], const double (*to)[2], int n, const similarity *s, const similarity *t, const double H[9],
                     double N[64], double g[8]) {
    double sum = 0;
    if (N) memset(N, 0, 64 * sizeof *N), memset(g, 0, 8 * sizeof *g);
    for (int i = 0; i < n; i++) {
        double a[2], b[2];
        similarity_apply(s, from[i], a);
        similarity_apply(t, to[i], b);
        double w = H[6] * a[0] + H[7] * a[1] + 1;
        if (!(w > 0)) return HUGE_VAL;
        double u = (H[0] * a[0] + H[1] * a[1] + H[2]) / w, v = (H[3] * a[0] + H[4] * a[1] + H[5]) / w;
        double miss[2] = {b[0] - u, b[1] - v};
        sum += miss[0] * miss[0] + miss[1] * miss[1];
        if (!N) continue;
        double J[2][8] = {{a[0] / w, a[1] / w, 1 / w, 0, 0, 0, -u * a[0] / w, -u * a[1] / w},
                          {0, 0, 0, a[0] / w, a[1] / w, 1 / w, -v * a[0] / w, -v * a[1] / w}};
        for (int k = 0; k < 2; k++)
            for (int p = 0; p < 8; p++) {
                g[p] += J[k][p] * miss[k];
                for (int q = 0; q <= p; q++) N[8 * p + q] += J[k][p] * J[k][q];
            }
    }
    return sum;
}

static void refine(const double (*from)[2], const double (*to)[2], int n, const similarity *s, const similarity *t, double H[9]) {
    enum { STEPS = 30 };
    double N[64], g[8], lambda = 1e-6, best = misfit(from, to, n, s, t, H, N, g);
    for (int step = 0; step < STEPS && isfinite(best) && lambda < 1e6; step++) {
        double d[8], next[9] = {0};
        if (!ps_damped_solve(N, g, 8, lambda, d)) return;
        double moved = 0;
        for (int i = 0; i < 8; i++) next[i] = H[i] + d[i], moved = fmax(moved, fabs(d[i]));
        next[8] = 1;
        double sum = misfit(from, to, n, s, t, next, NULL, NULL);
        if (sum <= best) {
            memcpy(H, next, sizeof next);
            best = misfit(from, to, n, s, t, H, N, g);
            lambda /= 10;
        } else
            lambda *= 10;
        if (moved < 1e-14) return;
    }
}

bool ps_homography_fit(const double (*from)[2], const double (*to)[2], int n, double H[9]) {
    similarity s, t;
    double N[9], A[9], B[9];
    if (n < 4 || !similarity_fit(from, n, &s) || !similarity_fit(to, n, &t)) return false;
    if (!direct_linear(from, to, n, &s, &t, N)) return false;
    /* Points on both sides of the horizon are no view of a plane. */
    if (!isfinite(misfit(from, to, n, &s, &t, N, NULL, NULL))) return false;
    refine(from, to, n, &s, &t, N);
    double S[9] = {s.scale, 0, -s.scale * s.centre[0], 0, s.scale, -s.scale * s.centre[1], 0, 0, 1};
    double T[9] = {1 / t.scale, 0, t.centre[0], 0, 1 / t.scale, t.centre[1], 0, 0, 1};
    ps_mat3_mul(N, S, A);
    ps_mat3_mul(T, A, B);
    /* Scaled to h33 = 1 where that keeps the denominator positive over the points, else to h33 = -1; 0 stays 0. */
    double size = fabs(B[8]) > 1e-12 ? fabs(B[8]) : 1;
    for (int i = 0; i < 9; i++) H[i] = B[i] / size;
    return true;
}

bool ps_homography_apply(const double H[9], const double from[2], double to[2]) {
    double w = H[6] * from[0] + H[7] * from[1] + H[8];
    double x = H[0] * from[0] + H[1] * from[1] + H[2], y = H[3] * from[0] + H[4] * from[1] + H[5];
    if (!(w > 0) || !isfinite(x / w) || !isfinite(y / w)) return false;
    to[0] = x / w;
    to[1] = y / w;
    return true;
}

bool ps_homography_invert(const double H[9], double out[9]) {
    /* The true inverse, not rescaled: it keeps the denominator's sign, so what is in view stays in view. Rows of very
     * unlike size (pixels over mm) are why the inverse is taken of the matrix with unit rows. */
    double A[9], size[3], B[9];
    for (int i = 0; i < 3; i++) {
        size[i] = ps_norm3(H + 3 * i);
        if (!(size[i] > 0)) return false;
        for (int j = 0; j < 3; j++) A[3 * i + j] = H[3 * i + j] / size[i];
    }
    if (!ps_mat3_inverse(A, B)) return false;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) out[3 * i + j] = B[3 * i + j] / size[j];
    return true;
}

double ps_focal_from_homography(const double H[9]) {
    /* H = diag(f, f, 1) [r1 r2 t] s. With row k read as the complex number H_k1 + i H_k2, r1 and r2 of equal length
     * and square to each other say p^2 + q^2 + f^2 w^2 = 0: two real equations, least squares for f^2 that do not
     * depend on how the plane's axes are turned. */
    double p[2] = {H[0] * H[0] - H[1] * H[1], 2 * H[0] * H[1]}, q[2] = {H[3] * H[3] - H[4] * H[4], 2 * H[3] * H[4]};
    double w[2] = {H[6] * H[6] - H[7] * H[7], 2 * H[6] * H[7]};
    double below = w[0] * w[0] + w[1] * w[1];
    double f2 = -((p[0] + q[0]) * w[0] + (p[1] + q[1]) * w[1]) / below;
    if (!(below > 0) || !(f2 > 0) || !isfinite(f2)) return 0;
    /* sin^2 of the tilt that this focal length implies; under a tenth of a degree nothing real is left in it. */
    double tilt2 = H[6] * H[6] + H[7] * H[7];
    double size = (H[0] * H[0] + H[1] * H[1] + H[3] * H[3] + H[4] * H[4]) / f2 + tilt2;
    const double least_tilt = 0.1 * PS_PI / 180;
    return 2 * tilt2 / size > least_tilt * least_tilt ? sqrt(f2) : 0;
}
