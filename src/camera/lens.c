/* Brown-Conrady lens, as OpenCV's calib3d documentation has it:
 * x'' = x' (1 + k1 r^2 + k2 r^4 + k3 r^6) + 2 p1 x' y' + p2 (r^2 + 2 x'^2), y'' alike; pixel = f x'' + c. */
#include <float.h>
#include <math.h>

#include "pinspan/camera.h"

/* True when r (1 + k1 r^2 + k2 r^4 + k3 r^6) grows all the way from the axis out to r^2 = s. Looking only at s would
 * let a point back in that lies beyond a fold, where the polynomial may grow again. */
static bool grows_up_to(const ps_lens *lens, double s) {
    double a = 3 * lens->k1, b = 5 * lens->k2, c = 7 * lens->k3; /* derivative: 1 + a s + b s^2 + c s^3 */
    if (!(1 + s * (a + s * (b + s * c)) > 0)) return false;
    double turn[2] = {-1, -1}; /* where the derivative itself turns: a + 2 b s + 3 c s^2 = 0 */
    double inside = b * b - 3 * a * c;
    if (inside >= 0) {
        double q = -(b + copysign(sqrt(inside), b));
        if (c != 0) turn[0] = q / (3 * c);
        if (q != 0) turn[1] = a / q;
    }
    for (int i = 0; i < 2; i++) {
        double z = turn[i];
        if (z > 0 && z < s && !(1 + z * (a + z * (b + z * c)) > 0)) return false;
    }
    return true;
}

/* Undistorted (x, y) to distorted; J, where not NULL, is d distorted / d (x, y), 2x2. */
static void distort(const ps_lens *lens, double x, double y, double out[2], double J[4]) {
    double s = x * x + y * y, k = 1 + s * (lens->k1 + s * (lens->k2 + s * lens->k3));
    double p1 = lens->p1, p2 = lens->p2;
    out[0] = x * k + 2 * p1 * x * y + p2 * (s + 2 * x * x);
    out[1] = y * k + p1 * (s + 2 * y * y) + 2 * p2 * x * y;
    if (!J) return;
    double dk = 2 * (lens->k1 + s * (2 * lens->k2 + s * 3 * lens->k3)); /* dk/dx = dk x */
    J[0] = k + dk * x * x + 2 * p1 * y + 6 * p2 * x;
    J[1] = dk * x * y + 2 * p1 * x + 2 * p2 * y;
    J[2] = J[1];
    J[3] = k + dk * y * y + 6 * p1 * y + 2 * p2 * x;
}

static void lens_derivative(double f, double x, double y, const double distorted[2], double d[16]) {
    double s = x * x + y * y;
    double row0[PS_LENS_COUNT] = {distorted[0], 1, 0, f * x * s, f * x * s * s, f * 2 * x * y, f * (s + 2 * x * x), f * x * s * s * s};
    double row1[PS_LENS_COUNT] = {distorted[1], 0, 1, f * y * s, f * y * s * s, f * (s + 2 * y * y), f * 2 * x * y, f * y * s * s * s};
    for (int i = 0; i < PS_LENS_COUNT; i++) {
        d[i] = row0[i];
        d[PS_LENS_COUNT + i] = row1[i];
    }
}

bool ps_lens_project(const ps_lens *lens, const double x_cam[3], double pixel[2], double d_point[6], double d_lens[16]) {
    double z = x_cam[2];
    if (!(z > 0)) return false;
    double x = x_cam[0] / z, y = x_cam[1] / z, s = x * x + y * y;
    if (!isfinite(s) || !grows_up_to(lens, s)) return false;
    double distorted[2], J[4], f = lens->f_px;
    distort(lens, x, y, distorted, J);
    pixel[0] = f * distorted[0] + lens->cx;
    pixel[1] = f * distorted[1] + lens->cy;
    if (d_point)
        for (int i = 0; i < 2; i++) {
            d_point[3 * i] = f * J[2 * i] / z;
            d_point[3 * i + 1] = f * J[2 * i + 1] / z;
            d_point[3 * i + 2] = -f * (J[2 * i] * x + J[2 * i + 1] * y) / z;
        }
    if (d_lens) lens_derivative(f, x, y, distorted, d_lens);
    return true;
}

static double misfit(const ps_lens *lens, const double xy[2], const double target[2], double miss[2], double J[4]) {
    double d[2];
    distort(lens, xy[0], xy[1], d, J);
    miss[0] = target[0] - d[0];
    miss[1] = target[1] - d[1];
    return hypot(miss[0], miss[1]);
}

/* One Newton step, halved until it stays on the lens' side of a fold and brings the point nearer. */
static bool newton_step(const ps_lens *lens, const double target[2], double xy[2], double *error, double miss[2], double J[4]) {
    double det = J[0] * J[3] - J[1] * J[2];
    if (!(det > 0)) return false;
    double dx = (J[3] * miss[0] - J[1] * miss[1]) / det, dy = (J[0] * miss[1] - J[2] * miss[0]) / det;
    for (int halving = 0; halving < 40; halving++, dx /= 2, dy /= 2) {
        double next[2] = {xy[0] + dx, xy[1] + dy}, miss_next[2], J_next[4];
        if (!grows_up_to(lens, next[0] * next[0] + next[1] * next[1])) continue;
        double e = misfit(lens, next, target, miss_next, J_next);
        if (!(e < *error)) continue;
        for (int i = 0; i < 2; i++) xy[i] = next[i], miss[i] = miss_next[i];
        for (int i = 0; i < 4; i++) J[i] = J_next[i];
        *error = e;
        return true;
    }
    return false;
}

bool ps_lens_unproject(const ps_lens *lens, const double pixel[2], double xy[2]) {
    enum { STEPS = 60 };
    /* Accepted when a thousandth of a millionth of a pixel or rounding is all that is left. */
    double target[2] = {(pixel[0] - lens->cx) / lens->f_px, (pixel[1] - lens->cy) / lens->f_px};
    double settled = fmax(1e-9 / lens->f_px, 64 * DBL_EPSILON * hypot(target[0], target[1]));
    double at[2] = {target[0], target[1]}, miss[2], J[4];
    if (!isfinite(at[0]) || !isfinite(at[1])) return false;
    while (!grows_up_to(lens, at[0] * at[0] + at[1] * at[1])) at[0] /= 2, at[1] /= 2;
    double error = misfit(lens, at, target, miss, J);
    /* Steps go on until none helps: the last ones take the answer to rounding. */
    for (int step = 0; step < STEPS && error > 0; step++)
        if (!newton_step(lens, target, at, &error, miss, J)) break;
    if (!(error <= settled)) return false;
    xy[0] = at[0];
    xy[1] = at[1];
    return true;
}
