/* Pose of a plane: both minima (Collins & Bartoli, Infinitesimal plane-based pose estimation, IJCV 109, 2014, show that
 * there are at most two). The first start comes from the homography; the second is the first with the depth mirrored
 * about its centre, which under weak perspective looks the same. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "pinspan/camera.h"

/* x_cam = R (X - middle) + t, with `middle` the points' centroid: turning and shifting are then hardly coupled. */
typedef struct {
    const double (*plane)[2];
    const double (*xy)[2];
    int n;
    double middle[2];
} plane_problem;

/* Sum of squares, HUGE_VAL where a point is behind the camera; normal equations (turn, shift) where N is not NULL. */
static double misfit(const plane_problem *p, const ps_pose *pose, double N[36], double g[6]) {
    double sum = 0;
    if (N) memset(N, 0, 36 * sizeof *N), memset(g, 0, 6 * sizeof *g);
    for (int i = 0; i < p->n; i++) {
        double X[3] = {p->plane[i][0] - p->middle[0], p->plane[i][1] - p->middle[1], 0}, a[3];
        ps_mat3_mul_vec(pose->R, X, a);
        double z = a[2] + pose->t[2], u = (a[0] + pose->t[0]) / z, v = (a[1] + pose->t[1]) / z;
        if (!(z > 0) || !isfinite(u) || !isfinite(v)) return HUGE_VAL;
        double miss[2] = {p->xy[i][0] - u, p->xy[i][1] - v};
        sum += miss[0] * miss[0] + miss[1] * miss[1];
        if (!N) continue;
        /* d x_cam = turn x a + shift */
        double J[2][6] = {{-u * a[1] / z, (a[2] + u * a[0]) / z, -a[1] / z, 1 / z, 0, -u / z},
                          {-(a[2] + v * a[1]) / z, v * a[0] / z, a[0] / z, 0, 1 / z, -v / z}};
        for (int k = 0; k < 2; k++)
            for (int r = 0; r < 6; r++) {
                g[r] += J[k][r] * miss[k];
                for (int c = 0; c <= r; c++) N[6 * r + c] += J[k][r] * J[k][c];
            }
    }
    return sum;
}

/* Levenberg-Marquardt to the nearest minimum; false when the start has points behind the camera. */
static bool refine(const plane_problem *p, ps_pose *pose, double *sum) {
    enum { STEPS = 200 }; /* a nearly face-on plane has a flat valley and takes a hundred */
    double N[36], g[6], lambda = 1e-4, best = misfit(p, pose, N, g);
    if (!isfinite(best)) return false;
    for (int step = 0; step < STEPS && lambda < 1e10; step++) {
        double d[6], turn[9];
        if (!ps_damped_solve(N, g, 6, lambda, d)) {
            lambda = fmax(10 * lambda, 1e-12);
            continue;
        }
        ps_pose next;
        ps_rotation_from_vector(d, turn);
        ps_mat3_mul(turn, pose->R, next.R);
        for (int i = 0; i < 3; i++) next.t[i] = pose->t[i] + d[3 + i];
        double moved = fmax(ps_norm3(d), ps_norm3(d + 3) / ps_norm3(pose->t)), now = misfit(p, &next, NULL, NULL);
        if (now <= best) {
            *pose = next;
            best = misfit(p, pose, N, g);
            lambda /= 10;
        } else
            lambda *= 10;
        if (moved < 1e-13) break;
    }
    *sum = best;
    return true;
}

static bool start_from_homography(const plane_problem *p, ps_pose *pose) {
    double H[9];
    if (!ps_homography_fit(p->plane, p->xy, p->n, H)) return false;
    double a[3] = {H[0], H[3], H[6]}, b[3] = {H[1], H[4], H[7]}, c[3], sum[3], difference[3], at[3] = {p->middle[0], p->middle[1], 1};
    double size = sqrt(ps_norm3(a) * ps_norm3(b));
    ps_mat3_mul_vec(H, at, pose->t);
    for (int i = 0; i < 3; i++) pose->t[i] /= size;
    if (!ps_unit3(a) || !ps_unit3(b)) return false;
    /* The sum and the difference of two unit vectors are square to each other: the fair way to square up a and b. */
    for (int i = 0; i < 3; i++) sum[i] = a[i] + b[i], difference[i] = a[i] - b[i];
    if (!ps_unit3(sum) || !ps_unit3(difference)) return false;
    for (int i = 0; i < 3; i++) a[i] = (sum[i] + difference[i]) / sqrt(2), b[i] = (sum[i] - difference[i]) / sqrt(2);
    ps_cross3(a, b, c);
    for (int i = 0; i < 3; i++) pose->R[3 * i] = a[i], pose->R[3 * i + 1] = b[i], pose->R[3 * i + 2] = c[i];
    return pose->t[2] > 0;
}

/* Mirrors the plane's axes at the plane square to the line of sight to its middle. */
static void mirror_depth(const ps_pose *pose, ps_pose *out) {
    double sight[3] = {pose->t[0], pose->t[1], pose->t[2]}, axis[3][3];
    ps_unit3(sight);
    for (int k = 0; k < 2; k++) {
        double column[3] = {pose->R[k], pose->R[3 + k], pose->R[6 + k]}, depth = ps_dot3(sight, column);
        for (int i = 0; i < 3; i++) axis[k][i] = column[i] - 2 * depth * sight[i];
    }
    ps_cross3(axis[0], axis[1], axis[2]);
    for (int k = 0; k < 3; k++)
        for (int i = 0; i < 3; i++) out->R[3 * i + k] = axis[k][i];
    memcpy(out->t, pose->t, sizeof out->t);
}

static double angle_between(const ps_pose *a, const ps_pose *b) {
    double T[9], D[9], w[3];
    ps_mat3_transpose(a->R, T);
    ps_mat3_mul(T, b->R, D);
    ps_rotation_to_vector(D, w);
    return ps_norm3(w);
}

int ps_pose_from_plane(const double (*plane_mm)[2], const double (*xy)[2], int n, ps_pose out[2], double rms[2]) {
    plane_problem p = {.plane = plane_mm, .xy = xy, .n = n};
    ps_pose found[2];
    double sum[2];
    for (int i = 0; i < n; i++)
        for (int k = 0; k < 2; k++) p.middle[k] += plane_mm[i][k] / n;
    if (n < 4 || !start_from_homography(&p, &found[0]) || !refine(&p, &found[0], &sum[0])) return 0;
    int count = 1;
    mirror_depth(&found[0], &found[1]);
    /* Nearer than this they are one minimum, reached twice. */
    const double same_rad = 1e-4;
    if (refine(&p, &found[1], &sum[1]) && angle_between(&found[0], &found[1]) > same_rad) count = 2;
    int first = count == 2 && sum[1] < sum[0];
    for (int k = 0; k < count; k++) {
        int from = k ^ first;
        double shift[3], X[3] = {p.middle[0], p.middle[1], 0};
        ps_mat3_mul_vec(found[from].R, X, shift);
        out[k] = found[from];
        for (int i = 0; i < 3; i++) out[k].t[i] -= shift[i];
        rms[k] = sqrt(sum[from] / (2 * n)); /* per coordinate, as a corner's sd is */
    }
    return count;
}
