/* Homographies. */
#include <string.h>

#include "base/linear.h"
#include "check.h"
#include "pinspan/camera.h"

/* Of pixel values near 1000; exact points, so only rounding is left. */
static const double PIXEL = 1e-8;

static const double corners[6][2] = {{0, 0}, {170, 0}, {170, 200}, {0, 200}, {60, 90}, {20, 150}};

/* A plane seen by a camera with focal f, relative to the principal point; turned by rotation vector w, 900 away. */
static void view_of_plane(double f, const double w[3], double H[9]) {
    double R[9];
    ps_rotation_from_vector(w, R);
    const double t[3] = {-80, -110, 900};
    for (int i = 0; i < 3; i++) {
        double size = i < 2 ? f : 1;
        H[3 * i] = size * R[3 * i];
        H[3 * i + 1] = size * R[3 * i + 1];
        H[3 * i + 2] = size * t[i];
    }
}

static void test_fit_exact(void **state) {
    (void)state;
    double H[9], G[9], to[6][2];
    view_of_plane(3000, (double[3]){0.5, -0.3, 0.8}, H);
    for (int i = 0; i < 6; i++) assert_true(ps_homography_apply(H, corners[i], to[i]));
    for (int n = 4; n <= 6; n++) {
        assert_true(ps_homography_fit(corners, (const double(*)[2])to, n, G));
        CHECK_NEAR(G[8], 1, 0);
        for (int i = 0; i < 9; i++) CHECK_NEAR(G[i], H[i] / H[8], PIXEL);
    }
}

static void test_fit_is_least_squares(void **state) {
    (void)state;
    /* With errors the fit minimises the distances in the target: no small change of any entry lowers them. */
    const double error[6][2] = {{.4, -.3}, {-.5, .2}, {.1, .6}, {-.2, -.4}, {.7, .1}, {-.3, .5}};
    double H[9], G[9], to[6][2], least = 0;
    view_of_plane(3000, (double[3]){0.5, -0.3, 0.8}, H);
    for (int i = 0; i < 6; i++) {
        ps_homography_apply(H, corners[i], to[i]);
        for (int k = 0; k < 2; k++) to[i][k] += error[i][k];
    }
    assert_true(ps_homography_fit(corners, (const double(*)[2])to, 6, G));
    for (int entry = -1; entry < 8; entry++)
        for (int side = -1; side <= 1; side += 2) {
            double changed[9], sum = 0, p[2];
            memcpy(changed, G, sizeof G);
            if (entry >= 0) changed[entry] += side * 1e-5 * fmax(fabs(G[entry]), entry >= 6 ? 1e-5 : 1e-2);
            for (int i = 0; i < 6; i++) {
                ps_homography_apply(changed, corners[i], p);
                sum += pow(p[0] - to[i][0], 2) + pow(p[1] - to[i][1], 2);
            }
            if (entry < 0)
                least = sum;
            else
                assert_true(sum > least);
        }
    assert_true(least > 0.01); /* the errors are not of a kind that a homography swallows */
}

static void test_degenerate(void **state) {
    (void)state;
    double line[5][2] = {{0, 0}, {1, 2}, {2, 4}, {3, 6}, {4, 8}}, H[9] = {0};
    const double three_on_line[4][2] = {{0, 0}, {1, 1}, {2, 2}, {5, 0}};
    assert_false(ps_homography_fit((const double(*)[2])line, corners, 5, H));
    assert_false(ps_homography_fit(corners, (const double(*)[2])line, 5, H));
    assert_false(ps_homography_fit(three_on_line, corners, 4, H));
    assert_false(ps_homography_fit(corners, corners, 3, H));
    /* Two corners exchanged: a bow tie is no view of a rectangle. */
    const double bow_tie[4][2] = {{0, 0}, {170, 0}, {0, 200}, {170, 200}};
    assert_false(ps_homography_fit(corners, bow_tie, 4, H));
}

static void test_apply_and_invert(void **state) {
    (void)state;
    double H[9], G[9], p[2], q[2];
    view_of_plane(3000, (double[3]){0.9, 0, 0}, H);
    assert_true(ps_homography_invert(H, G));
    assert_true(ps_homography_apply(H, corners[2], p));
    assert_true(ps_homography_apply(G, p, q));
    CHECK_NEAR(q[0], corners[2][0], PIXEL);
    CHECK_NEAR(q[1], corners[2][1], PIXEL);
    /* Behind the camera: z = 900 + y sin(.9) < 0. */
    assert_false(ps_homography_apply(H, (double[2]){0, -1200}, p));
    double singular[9] = {1, 2, 3, 2, 4, 6, 0, 0, 1}, empty[9] = {0};
    assert_false(ps_homography_invert(singular, G));
    assert_false(ps_homography_invert(empty, G));
}

static void test_focal(void **state) {
    (void)state;
    const double turn[4][3] = {{0.5, -0.3, 0.8}, {0.5, 0, 0}, {0, -0.2, 0}, {0.01, 0.01, 0}};
    for (int k = 0; k < 4; k++) {
        double H[9];
        view_of_plane(3100, turn[k], H);
        CHECK_NEAR(ps_focal_from_homography(H), 3100, 1e-6);
        for (int i = 0; i < 9; i++) H[i] *= -0.01; /* the scale is free */
        CHECK_NEAR(ps_focal_from_homography(H), 3100, 1e-6);
    }
    double H[9];
    view_of_plane(3100, (double[3]){0, 0, 0.7}, H); /* face-on: no information */
    CHECK_NEAR(ps_focal_from_homography(H), 0, 0);
    view_of_plane(3100, (double[3]){0.0005, 0, 0}, H); /* a thirtieth of a degree */
    CHECK_NEAR(ps_focal_from_homography(H), 0, 0);
    double empty[9] = {0};
    CHECK_NEAR(ps_focal_from_homography(empty), 0, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_fit_exact),  cmocka_unit_test(test_fit_is_least_squares),
        cmocka_unit_test(test_degenerate), cmocka_unit_test(test_apply_and_invert),
        cmocka_unit_test(test_focal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
