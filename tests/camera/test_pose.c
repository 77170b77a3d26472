/* Rotations, poses, and the two poses of a plane. */
#include <string.h>

#include "base/linear.h"
#include "check.h"
#include "pinspan/camera.h"

static const double ROUNDING = 1e-13;
/* Levenberg-Marquardt ends on steps of 1e-13; the worst conditioned direction here loses four digits of that. */
static const double REFINED = 1e-9;

static void test_rotation_round_trip(void **state) {
    (void)state;
    const double axis[5][3] = {{1, 0, 0}, {0, 0.6, -0.8}, {0.6, 0.64, 0.48}, {-0.8, 0.36, 0.48}, {0, 0, -1}};
    const double angle[9] = {0, 1e-12, 1e-7, 0.9e-5, 1.1e-5, 0.3, 2, PS_PI - 1e-9, PS_PI - 1e-3};
    for (int i = 0; i < 5; i++)
        for (int j = 0; j < 9; j++) {
            double w[3], R[9], T[9], P[9], back[3];
            for (int k = 0; k < 3; k++) w[k] = axis[i][k] * angle[j];
            ps_rotation_from_vector(w, R);
            ps_mat3_transpose(R, T);
            ps_mat3_mul(R, T, P);
            for (int k = 0; k < 9; k++) CHECK_NEAR(P[k], k % 4 == 0, ROUNDING);
            CHECK_NEAR(ps_mat3_det(R), 1, ROUNDING);
            ps_rotation_to_vector(R, back);
            for (int k = 0; k < 3; k++) CHECK_NEAR(back[k], w[k], ROUNDING);
        }
}

static void test_rotation_sense(void **state) {
    (void)state;
    /* A quarter turn about z takes x to y. */
    double w[3] = {0, 0, PS_PI / 2}, R[9], y[3];
    ps_rotation_from_vector(w, R);
    ps_mat3_mul_vec(R, (double[3]){1, 0, 0}, y);
    CHECK_NEAR(y[0], 0, ROUNDING);
    CHECK_NEAR(y[1], 1, ROUNDING);
}

static ps_pose pose_of(double wx, double wy, double wz, double tx, double ty, double tz) {
    ps_pose p = {.t = {tx, ty, tz}};
    ps_rotation_from_vector((double[3]){wx, wy, wz}, p.R);
    return p;
}

static void test_compose_and_invert(void **state) {
    (void)state;
    ps_pose a = pose_of(0.3, -1, 0.5, 10, -20, 700), b = pose_of(-2, 0.1, 0.4, -5, 60, 3), ab, inverse, unit;
    double X[3] = {12, 34, -56}, step[3], twice[3], once[3];
    ps_pose_compose(&a, &b, &ab);
    ps_pose_apply(&b, X, step);
    ps_pose_apply(&a, step, twice);
    ps_pose_apply(&ab, X, once);
    for (int i = 0; i < 3; i++) CHECK_NEAR(once[i], twice[i], 1000 * ROUNDING);
    ps_pose_invert(&ab, &inverse);
    ps_pose_compose(&inverse, &ab, &unit);
    for (int i = 0; i < 9; i++) CHECK_NEAR(unit.R[i], i % 4 == 0, ROUNDING);
    for (int i = 0; i < 3; i++) CHECK_NEAR(unit.t[i], 0, 1000 * ROUNDING);
    ps_pose aliased = a; /* outputs may be inputs */
    ps_pose_compose(&aliased, &b, &aliased);
    assert_memory_equal(&aliased, &ab, sizeof ab);
    ps_pose_invert(&aliased, &aliased);
    assert_memory_equal(&aliased, &inverse, sizeof inverse);
    ps_pose_apply(&a, X, X);
    double Y[3] = {12, 34, -56}, expected[3];
    ps_pose_apply(&a, Y, expected);
    assert_memory_equal(X, expected, sizeof X);
}

/* A grid of columns x rows, its first corner at the plane's origin. */
static int grid(int columns, int rows, double step, double (*plane)[2]) {
    for (int i = 0; i < columns * rows; i++) plane[i][0] = step * (i % columns), plane[i][1] = step * (i / columns);
    return columns * rows;
}

static void look(const ps_pose *pose, const double (*plane)[2], int n, double (*xy)[2]) {
    for (int i = 0; i < n; i++) {
        double x[3];
        ps_pose_apply(pose, (double[3]){plane[i][0], plane[i][1], 0}, x);
        xy[i][0] = x[0] / x[2];
        xy[i][1] = x[1] / x[2];
    }
}

static double angle_between(const ps_pose *a, const ps_pose *b) {
    double T[9], D[9], w[3];
    ps_mat3_transpose(a->R, T);
    ps_mat3_mul(T, b->R, D);
    ps_rotation_to_vector(D, w);
    return ps_norm3(w);
}

static void test_plane_exact(void **state) {
    (void)state;
    double plane[64][2], xy[64][2], rms[2];
    const ps_pose truth[4] = {pose_of(0.5, 0.2, -0.3, -80, -50, 900), pose_of(-0.4, 0.6, 2.8, 30, 200, 1100),
                              pose_of(0, 0, 0.2, -60, -90, 600), pose_of(1.2, 0, 0, -60, -30, 400)};
    for (int k = 0; k < 4; k++)
        for (int few = 0; few < 2; few++) {
            ps_pose out[2];
            int n = few ? grid(2, 2, 150, plane) : grid(6, 8, 30, plane);
            look(&truth[k], (const double(*)[2])plane, n, xy);
            assert_true(ps_pose_from_plane((const double(*)[2])plane, (const double(*)[2])xy, n, out, rms) >= 1);
            /* A plane seen square on is flat in its minimum: the square of the tilt is all that shows. */
            double limit = k == 2 ? 1e-5 : REFINED;
            CHECK_NEAR(angle_between(&out[0], &truth[k]), 0, limit);
            for (int i = 0; i < 3; i++) CHECK_NEAR(out[0].t[i], truth[k].t[i], 1000 * limit);
            CHECK_NEAR(rms[0], 0, 1e-11);
        }
}

/* 5 x 5 points, 200 mm square, its middle 1 m away, turned by `tilt` about the vertical. */
static ps_pose tilted_board(double tilt, double (*plane)[2], double (*xy)[2]) {
    ps_pose pose = pose_of(0, tilt, 0, 0, 0, 0);
    double middle[3];
    ps_mat3_mul_vec(pose.R, (double[3]){100, 100, 0}, middle);
    for (int i = 0; i < 3; i++) pose.t[i] = (i == 2 ? 1000 : 0) - middle[i];
    grid(5, 5, 50, plane);
    look(&pose, (const double(*)[2])plane, 25, xy);
    return pose;
}

static void test_plane_single(void **state) {
    (void)state;
    /* At 20 degrees perspective leaves this board no second minimum: along the tilt, all else fitted anew, the misfit
     * rises from 0 at 20 degrees without a dip (7.9 px at 0, 9.2 at -20, 25 at -40; scanned apart from this code). */
    double plane[25][2], xy[25][2], rms[2];
    ps_pose out[2], truth = tilted_board(20 * PS_PI / 180, plane, xy);
    assert_int_equal(ps_pose_from_plane((const double(*)[2])plane, (const double(*)[2])xy, 25, out, rms), 1);
    CHECK_NEAR(angle_between(&out[0], &truth), 0, REFINED);
}

static void test_plane_twin(void **state) {
    (void)state;
    /* At 40 degrees there is a second minimum, tilted to the other side. */
    double plane[25][2], xy[25][2], rms[2], tilt = 40 * PS_PI / 180;
    int n = 25;
    ps_pose out[2], truth = tilted_board(tilt, plane, xy);
    assert_int_equal(ps_pose_from_plane((const double(*)[2])plane, (const double(*)[2])xy, n, out, rms), 2);
    CHECK_NEAR(angle_between(&out[0], &truth), 0, REFINED);
    CHECK_NEAR(rms[0], 0, 1e-11);
    /* Twice the tilt apart, but for what perspective takes off; and plainly the worse: more than 3 px at f 3000. */
    CHECK_NEAR(angle_between(&out[0], &out[1]), 2 * tilt, 15 * PS_PI / 180);
    assert_true(3000 * rms[1] > 3);
    /* A minimum: no small turn or shift of the twin lowers its misfit. */
    for (int k = 0; k < 6; k++)
        for (int side = -1; side <= 1; side += 2) {
            double d[6] = {0}, turn[9], x[25][2], sum = 0;
            d[k] = side * (k < 3 ? 1e-4 : 0.05);
            ps_rotation_from_vector(d, turn);
            ps_pose other, moved = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {d[3], d[4], d[5]}};
            memcpy(moved.R, turn, sizeof turn);
            ps_pose_compose(&moved, &out[1], &other);
            look(&other, (const double(*)[2])plane, n, x);
            for (int i = 0; i < n; i++) sum += pow(x[i][0] - xy[i][0], 2) + pow(x[i][1] - xy[i][1], 2);
            assert_true(sqrt(sum / (2 * n)) > rms[1]);
        }
}

static void test_plane_twin_ambiguous(void **state) {
    (void)state;
    /* A 40 mm tag at 2 m, 20 degrees: the cue between the two poses is .1 px, so with corners off by .3 px the misfits
     * do not tell them apart: both must come back, and both must fit within the corners' errors (fixed, invented). */
    const double error_px[4][2] = {{.3, -.2}, {-.25, .3}, {.2, .3}, {-.3, -.25}};
    double plane[4][2], xy[4][2], rms[2], f = 3000, tilt = 20 * PS_PI / 180;
    ps_pose truth = pose_of(0, tilt, 0, 0, 0, 2000), out[2];
    grid(2, 2, 40, plane);
    look(&truth, (const double(*)[2])plane, 4, xy);
    for (int i = 0; i < 4; i++) xy[i][0] += error_px[i][0] / f, xy[i][1] += error_px[i][1] / f;
    assert_int_equal(ps_pose_from_plane((const double(*)[2])plane, (const double(*)[2])xy, 4, out, rms), 2);
    assert_true(rms[0] <= rms[1] && rms[1] * f < 0.3);
    double apart[2] = {angle_between(&out[0], &truth), angle_between(&out[1], &truth)};
    /* one of them is the truth, within what .3 px do to a tag of 60 px; the other is tilted the other way */
    assert_true(fmin(apart[0], apart[1]) < 12 * PS_PI / 180 && fmax(apart[0], apart[1]) > 28 * PS_PI / 180);
}

static void test_plane_degenerate(void **state) {
    (void)state;
    double line[5][2] = {{0, 0}, {1, 2}, {2, 4}, {3, 6}, {4, 8}}, same[5][2] = {{3, 3}, {3, 3}, {3, 3}, {3, 3}, {3, 3}}, xy[5][2], rms[2];
    ps_pose pose = pose_of(0.3, 0.2, 0, 0, 0, 50), out[2];
    look(&pose, (const double(*)[2])line, 5, xy);
    assert_int_equal(ps_pose_from_plane((const double(*)[2])line, (const double(*)[2])xy, 5, out, rms), 0);
    look(&pose, (const double(*)[2])same, 5, xy);
    assert_int_equal(ps_pose_from_plane((const double(*)[2])same, (const double(*)[2])xy, 5, out, rms), 0);
    double square[4][2];
    grid(2, 2, 10, square);
    look(&pose, (const double(*)[2])square, 4, xy);
    assert_int_equal(ps_pose_from_plane((const double(*)[2])square, (const double(*)[2])xy, 3, out, rms), 0);
    xy[2][0] = NAN;
    assert_int_equal(ps_pose_from_plane((const double(*)[2])square, (const double(*)[2])xy, 4, out, rms), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rotation_round_trip),  cmocka_unit_test(test_rotation_sense),   cmocka_unit_test(test_compose_and_invert),
        cmocka_unit_test(test_plane_exact),          cmocka_unit_test(test_plane_single),     cmocka_unit_test(test_plane_twin),
        cmocka_unit_test(test_plane_twin_ambiguous), cmocka_unit_test(test_plane_degenerate),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
