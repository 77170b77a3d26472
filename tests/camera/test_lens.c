/* Lens: derivatives, round trips, the fold. */
#include <string.h>

#include "base/linear.h"
#include "check.h"
#include "pinspan/camera.h"

static const ps_lens phone = {.f_px = 3000, .cx = 2010, .cy = 1490, .k1 = 0.12, .k2 = -0.25, .p1 = 1e-3, .p2 = -7e-4, .k3 = 0.11};
/* A wide-angle lens whose image is pulled in by 17 % at r = 1; it folds over at r = 1.155. */
static const ps_lens barrel = {.f_px = 900, .cx = 640, .cy = 480, .k1 = -0.25, .k2 = 0, .p1 = 5e-4, .p2 = 5e-4};
static const ps_lens pincushion = {.f_px = 900, .cx = 640, .cy = 480, .k1 = 0.8, .k2 = 0.4, .k3 = 0.2};

/* A hundred-millionth of a pixel: rounding at 4000 px is 1e-12, Newton may leave a few thousand times that. */
static const double PIXEL = 1e-8;
/* Central differences with h = 1e-5 of the value leave h^2 of the third derivative and 1e-16/h of rounding: 1e-8
 * relative to derivatives of some thousand pixels. */
static const double DIFFERENCE = 1e-4;

static void check_derivatives(const ps_lens *lens, const double X[3]) {
    double p[2], d_point[6], d_lens[16];
    assert_true(ps_lens_project(lens, X, p, d_point, d_lens));
    for (int k = 0; k < 3; k++) {
        double h = 1e-5 * fmax(fabs(X[2]), 1), up[3], down[3], a[2], b[2];
        memcpy(up, X, sizeof up), memcpy(down, X, sizeof down);
        up[k] += h, down[k] -= h;
        assert_true(ps_lens_project(lens, up, a, NULL, NULL) && ps_lens_project(lens, down, b, NULL, NULL));
        for (int i = 0; i < 2; i++) CHECK_NEAR(d_point[3 * i + k] * X[2], (a[i] - b[i]) / (2 * h) * X[2], DIFFERENCE);
    }
    for (int k = 0; k < PS_LENS_COUNT; k++) {
        double v[PS_LENS_COUNT] = {lens->f_px, lens->cx, lens->cy, lens->k1, lens->k2, lens->p1, lens->p2, lens->k3}, a[2], b[2];
        double h = k <= PS_LENS_CY ? 1e-2 : 1e-6;
        v[k] += h;
        ps_lens up = {v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7]};
        v[k] -= 2 * h;
        ps_lens down = {v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7]};
        assert_true(ps_lens_project(&up, X, a, NULL, NULL) && ps_lens_project(&down, X, b, NULL, NULL));
        for (int i = 0; i < 2; i++) CHECK_NEAR(d_lens[8 * i + k], (a[i] - b[i]) / (2 * h), DIFFERENCE);
    }
}

static void test_derivatives(void **state) {
    (void)state;
    check_derivatives(&phone, (double[3]){120, -340, 950});
    check_derivatives(&phone, (double[3]){0, 0, 700});
    check_derivatives(&phone, (double[3]){-0.4, 0.3, 1});
    check_derivatives(&barrel, (double[3]){-500, 400, 800});
    check_derivatives(&pincushion, (double[3]){500, 400, 800});
}

static void test_no_distortion(void **state) {
    (void)state;
    ps_lens pinhole = {.f_px = 1000, .cx = 10, .cy = 20};
    double p[2], xy[2];
    assert_true(ps_lens_project(&pinhole, (double[3]){3, -4, 2}, p, NULL, NULL));
    CHECK_NEAR(p[0], 1510, PIXEL);
    CHECK_NEAR(p[1], -1980, PIXEL);
    assert_true(ps_lens_unproject(&pinhole, p, xy));
    CHECK_NEAR(xy[0], 1.5, 1e-14);
    assert_false(ps_lens_project(&pinhole, (double[3]){3, -4, 0}, p, NULL, NULL));
    assert_false(ps_lens_project(&pinhole, (double[3]){3, -4, -2}, p, NULL, NULL));
    assert_false(ps_lens_project(&pinhole, (double[3]){NAN, -4, 2}, p, NULL, NULL));
}

/* There and back for directions out to r = reach; returns how many were in the lens' range. */
static int round_trips(const ps_lens *lens, double reach) {
    int count = 0;
    for (int i = -20; i <= 20; i++)
        for (int j = -20; j <= 20; j++) {
            double x[3] = {reach * i / 20, reach * j / 20, 1}, p[2], xy[2], q[2];
            if (hypot(x[0], x[1]) > reach || !ps_lens_project(lens, x, p, NULL, NULL)) continue;
            assert_true(ps_lens_unproject(lens, p, xy));
            double back[3] = {xy[0], xy[1], 1};
            assert_true(ps_lens_project(lens, back, q, NULL, NULL));
            CHECK_NEAR(q[0], p[0], PIXEL);
            CHECK_NEAR(q[1], p[1], PIXEL);
            /* and the same direction, not another one that lands on the pixel; near a fold a pixel says less */
            CHECK_NEAR(xy[0], x[0], 1e-9);
            CHECK_NEAR(xy[1], x[1], 1e-9);
            count++;
        }
    return count;
}

static void test_round_trips(void **state) {
    (void)state;
    assert_int_equal(round_trips(&phone, 0.9), 1257); /* all lattice points within the circle of radius 20 */
    assert_int_equal(round_trips(&barrel, 1.1), 1257);
    assert_int_equal(round_trips(&pincushion, 2.0), 1257);
}

static void test_fold(void **state) {
    (void)state;
    double p[2] = {-1, -1}, fold = sqrt(1 / 0.75); /* 1 + 3 k1 r^2 = 0 for k1 = -0.25 */
    assert_true(ps_lens_project(&barrel, (double[3]){fold * 0.999, 0, 1}, p, NULL, NULL));
    p[0] = -1;
    assert_false(ps_lens_project(&barrel, (double[3]){fold * 1.001, 0, 1}, p, NULL, NULL));
    CHECK_NEAR(p[0], -1, 0); /* unset */
    /* 1 - 3.6 s + 2.5 s^2 is negative for .376 < s < 1.064 and positive again beyond: that is beyond the fold too. */
    ps_lens twice = {.f_px = 1000, .k1 = -1.2, .k2 = 0.5};
    assert_true(ps_lens_project(&twice, (double[3]){0.6, 0, 1}, p, NULL, NULL));
    assert_false(ps_lens_project(&twice, (double[3]){0.8, 0, 1}, p, NULL, NULL));
    assert_false(ps_lens_project(&twice, (double[3]){1.5, 0, 1}, p, NULL, NULL));
    /* The same through k3: 1 - 0.9 s' ... with a dip between two stretches of growth. */
    ps_lens cubic = {.f_px = 1000, .k1 = 0.5, .k2 = -1.5, .k3 = 0.6}; /* 1 + 1.5 s - 7.5 s^2 + 4.2 s^3: negative from .53 to 1.5 */
    assert_true(ps_lens_project(&cubic, (double[3]){0.7, 0, 1}, p, NULL, NULL));
    assert_false(ps_lens_project(&cubic, (double[3]){1, 0, 1}, p, NULL, NULL));
    assert_false(ps_lens_project(&cubic, (double[3]){1.4, 0, 1}, p, NULL, NULL));
}

static void test_pixels_no_direction_reaches(void **state) {
    (void)state;
    /* At the fold the barrel lens reaches r (1 - r^2 / 4) = .7698, 693 px from its centre. */
    double xy[2] = {7, 7};
    assert_true(ps_lens_unproject(&barrel, (double[2]){640 + 690, 480}, xy));
    xy[0] = 7;
    assert_false(ps_lens_unproject(&barrel, (double[2]){640 + 720, 480}, xy));
    assert_false(ps_lens_unproject(&barrel, (double[2]){NAN, 480}, xy));
    assert_false(ps_lens_unproject(&barrel, (double[2]){1e9, -1e9}, xy));
    CHECK_NEAR(xy[0], 7, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_derivatives),
        cmocka_unit_test(test_no_distortion),
        cmocka_unit_test(test_round_trips),
        cmocka_unit_test(test_fold),
        cmocka_unit_test(test_pixels_no_direction_reaches),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
