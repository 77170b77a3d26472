/* Conics and ellipses. */
#include "camera/conic.h"

#include <math.h>
#include <string.h>

#include "base/linear.h"

void ps_conic_from_ellipse(const ps_ellipse *e, double Q[9]) {
    double c = cos(e->angle), s = sin(e->angle), A = 1 / (e->a * e->a), B = 1 / (e->b * e->b);
    double xx = A * c * c + B * s * s, xy = (A - B) * c * s, yy = A * s * s + B * c * c;
    double x = -(xx * e->cx + xy * e->cy), y = -(xy * e->cx + yy * e->cy);
    double made[9] = {xx, xy, x, xy, yy, y, x, y, -(x * e->cx + y * e->cy) - 1};
    memcpy(Q, made, sizeof made);
}

bool ps_conic_to_ellipse(const double Q[9], ps_ellipse *e) {
    double xx = Q[0], xy = Q[1], yy = Q[4], det = xx * yy - xy * xy;
    if (!(det > 0)) return false;
    double cx = (xy * Q[5] - yy * Q[2]) / det, cy = (xy * Q[2] - xx * Q[5]) / det;
    double level = -(Q[8] + Q[2] * cx + Q[5] * cy); /* the quadratic part's value on the curve */
    double mean = (xx + yy) / 2 / level, spread = hypot((xx - yy) / 2, xy) / fabs(level);
    if (!(mean > spread) || !isfinite(mean)) return false;
    double wide = (mean + spread), flat = det / (level * level) / wide; /* eigenvalues; the product avoids cancellation */
    if (!(flat > 0) || !isfinite(cx) || !isfinite(cy)) return false;
    double sign = level > 0 ? 1 : -1, angle = 0.5 * atan2(2 * xy * sign, (xx - yy) * sign) + PS_PI / 2;
    if (angle > PS_PI / 2) angle -= PS_PI;
    *e = (ps_ellipse){.cx = cx, .cy = cy, .a = 1 / sqrt(flat), .b = 1 / sqrt(wide), .angle = angle};
    return true;
}

/* Scatter of the quadratic terms after the linear ones are fitted away (Halir & Flusser's S1 - S2 S3^-1 S2'), in the
 * terms x^2 + y^2, x^2 - y^2, 2xy; T: the linear terms that belong to them, 3x3. */
static bool reduced_scatter(const double (*x)[2], int n, const double centre[2], double scale, double M[9], double T[9]) {
    double S1[9] = {0}, S2[9] = {0}, S3[9] = {0}, inverse[9], product[9];
    for (int i = 0; i < n; i++) {
        double u = (x[i][0] - centre[0]) * scale, v = (x[i][1] - centre[1]) * scale;
        double quadratic[3] = {u * u + v * v, u * u - v * v, 2 * u * v}, linear[3] = {u, v, 1};
        for (int p = 0; p < 3; p++)
            for (int q = 0; q < 3; q++) {
                S1[3 * p + q] += quadratic[p] * quadratic[q];
                S2[3 * p + q] += quadratic[p] * linear[q];
                S3[3 * p + q] += linear[p] * linear[q];
            }
    }
    if (!ps_mat3_inverse(S3, inverse)) return false;
    for (int p = 0; p < 3; p++) /* T = -S3^-1 S2' */
        for (int q = 0; q < 3; q++) T[3 * p + q] = -ps_dot3(inverse + 3 * p, S2 + 3 * q);
    ps_mat3_mul(S2, T, product);
    for (int i = 0; i < 9; i++) M[i] = S1[i] + product[i];
    return true;
}

/* Minimises v' M v under v0^2 - v1^2 - v2^2 = 1, which is the ellipses' 4ac - b^2 = 1: with M = L L' and z = L' v the
 * sought z is the eigenvector of the one positive eigenvalue of L^-1 diag(1, -1, -1) L^-T. */
static bool smallest_on_ellipses(const double M[9], double v[3]) {
    double L[9], A[9], values[3], V[9];
    double trace = M[0] + M[4] + M[8];
    if (!(trace > 0)) return false;
    memcpy(L, M, sizeof L);
    /* Exact points make M singular along the answer; a rounding's worth on the diagonal keeps the factor alive. */
    for (int i = 0; i < 3; i++) L[4 * i] += 1e-14 * trace;
    if (!ps_cholesky(L, 3)) return false;
    for (int j = 0; j < 3; j++) { /* column j of L^-1 J, then of L^-1 J L^-T */
        double column[3] = {0, 0, 0};
        column[j] = 1;
        ps_cholesky_forward(L, 3, column);
        for (int i = 0; i < 3; i++) A[3 * i + j] = column[i];
    }
    double B[9];
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) B[3 * i + j] = A[3 * i] * A[3 * j] - A[3 * i + 1] * A[3 * j + 1] - A[3 * i + 2] * A[3 * j + 2];
    if (!ps_eigen_symmetric(B, 3, values, V) || !(values[2] > 0)) return false;
    for (int i = 0; i < 3; i++) v[i] = V[3 * i + 2];
    ps_cholesky_backward(L, 3, v);
    return true;
}

bool ps_conic_fit_ellipse(const double (*x)[2], int n, ps_ellipse *e) {
    double centre[2] = {0, 0}, distance = 0, M[9], T[9], v[3], linear[3];
    if (n < 5) return false;
    for (int i = 0; i < n; i++) centre[0] += x[i][0] / n, centre[1] += x[i][1] / n;
    for (int i = 0; i < n; i++) distance += hypot(x[i][0] - centre[0], x[i][1] - centre[1]) / n;
    if (!(distance > 0) || !isfinite(distance)) return false;
    double scale = 1 / distance;
    if (!reduced_scatter(x, n, centre, scale, M, T) || !smallest_on_ellipses(M, v)) return false;
    ps_mat3_mul_vec(T, v, linear);
    double Q[9] = {v[0] + v[1], v[2], linear[0] / 2, v[2], v[0] - v[1], linear[1] / 2, linear[0] / 2, linear[1] / 2, linear[2]};
    ps_ellipse made;
    if (!ps_conic_to_ellipse(Q, &made)) return false;
    made.cx = made.cx / scale + centre[0];
    made.cy = made.cy / scale + centre[1];
    made.a /= scale;
    made.b /= scale;
    *e = made;
    return true;
}
