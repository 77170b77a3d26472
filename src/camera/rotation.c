/* Rotations and poses. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "pinspan/camera.h"

void ps_rotation_from_vector(const double w[3], double R[9]) {
    double angle2 = ps_dot3(w, w), angle = sqrt(angle2), s, c;
    if (angle2 < 1e-10) { /* series: the next terms are under 1e-16 */
        s = 1 - angle2 / 6;
        c = 0.5 - angle2 / 24;
    } else {
        double half = sin(angle / 2);
        s = sin(angle) / angle;
        c = 2 * half * half / angle2; /* 1 - cos, without its cancellation */
    }
    R[0] = 1 - c * (w[1] * w[1] + w[2] * w[2]);
    R[4] = 1 - c * (w[0] * w[0] + w[2] * w[2]);
    R[8] = 1 - c * (w[0] * w[0] + w[1] * w[1]);
    R[1] = c * w[0] * w[1] - s * w[2];
    R[3] = c * w[0] * w[1] + s * w[2];
    R[2] = c * w[0] * w[2] + s * w[1];
    R[6] = c * w[0] * w[2] - s * w[1];
    R[5] = c * w[1] * w[2] - s * w[0];
    R[7] = c * w[1] * w[2] + s * w[0];
}

void ps_rotation_to_vector(const double R[9], double w[3]) {
    /* By way of the quaternion, the largest of its four parts first (Shepperd 1978): exact at 0 and at half a turn. */
    double trace = R[0] + R[4] + R[8], q[4];
    int i = R[0] >= R[4] ? (R[0] >= R[8] ? 0 : 2) : (R[4] >= R[8] ? 1 : 2);
    if (trace >= R[4 * i]) {
        double root = 2 * sqrt(fmax(1 + trace, 0));
        q[0] = root / 4;
        q[1] = (R[7] - R[5]) / root;
        q[2] = (R[2] - R[6]) / root;
        q[3] = (R[3] - R[1]) / root;
    } else {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        double root = 2 * sqrt(fmax(1 + R[4 * i] - R[4 * j] - R[4 * k], 0));
        q[0] = (R[3 * k + j] - R[3 * j + k]) / root;
        q[1 + i] = root / 4;
        q[1 + j] = (R[3 * i + j] + R[3 * j + i]) / root;
        q[1 + k] = (R[3 * i + k] + R[3 * k + i]) / root;
    }
    double length = ps_norm3(q + 1), factor;
    if (q[0] < 0)
        for (int m = 0; m < 4; m++) q[m] = -q[m];
    factor = length < 1e-12 ? 2 : 2 * atan2(length, q[0]) / length;
    for (int m = 0; m < 3; m++) w[m] = factor * q[1 + m];
}

void ps_pose_apply(const ps_pose *pose, const double X[3], double x_cam[3]) {
    double out[3];
    ps_mat3_mul_vec(pose->R, X, out);
    for (int i = 0; i < 3; i++) x_cam[i] = out[i] + pose->t[i];
}

void ps_pose_compose(const ps_pose *outer, const ps_pose *inner, ps_pose *out) {
    ps_pose made;
    ps_mat3_mul(outer->R, inner->R, made.R);
    ps_pose_apply(outer, inner->t, made.t);
    *out = made;
}

void ps_pose_invert(const ps_pose *pose, ps_pose *out) {
    ps_pose made;
    ps_mat3_transpose(pose->R, made.R);
    ps_mat3_mul_vec(made.R, pose->t, made.t);
    for (int i = 0; i < 3; i++) made.t[i] = -made.t[i];
    *out = made;
}
