/* Projected circles: published-style figures worked out outside this code, and closed form against points. */
#include <string.h>

#include "base/linear.h"
#include "camera/conic.h"
#include "check.h"
#include "pinspan/camera.h"

/* The figures carry five decimals. */
static const double FIVE_DECIMALS = 0.5e-5;
/* Millions of roundings of 1e-16 at 1000 px, times the ratio of distance to radius squared. */
static const double PIXEL = 1e-8;

/* The direct fit adds 1e-14 to its matrix; the 25 : 1 ellipse below multiplies that by the square of its ratio, and by 50. */
static const double DIRECT = 1e-7;

static ps_circle3 tilted(double x, double y, double z, double r, double degrees) {
    double a = degrees * PS_PI / 180;
    return (ps_circle3){.centre = {x, y, z}, .normal = {sin(a), 0, cos(a)}, .radius_mm = r};
}

/* How far the ellipse's centre lies from the projected centre. */
static void check_shift(const ps_circle3 *c, double f, double dx, double dy) {
    ps_ellipse e;
    assert_true(ps_circle3_ellipse(c, f, &e));
    CHECK_NEAR(e.cx - f * c->centre[0] / c->centre[2], dx, FIVE_DECIMALS);
    CHECK_NEAR(e.cy - f * c->centre[1] / c->centre[2], dy, FIVE_DECIMALS);
    /* and the closed form x_e = f (Tx Tz + r^2 nx nz) / (Tz^2 - r^2 (1 - nz^2)) */
    const double *T = c->centre, *n = c->normal, r2 = c->radius_mm * c->radius_mm, below = T[2] * T[2] - r2 * (1 - n[2] * n[2]);
    CHECK_NEAR(e.cx, f * (T[0] * T[2] + r2 * n[0] * n[2]) / below, PIXEL);
    CHECK_NEAR(e.cy, f * (T[1] * T[2] + r2 * n[1] * n[2]) / below, PIXEL);
}

static void test_centre_shift(void **state) {
    (void)state;
    /* Computed apart from this code from the projected points (f 3000 px). */
    ps_circle3 a = tilted(0, 0, 1000, 40, 30), b = tilted(200, -100, 1000, 40, 30), c = tilted(0, 0, 600, 50, 45);
    ps_circle3 square_on = tilted(0, 0, 600, 50, 0);
    check_shift(&a, 3000, 2.07929, 0);
    check_shift(&b, 3000, 2.31939, -.12005);
    check_shift(&c, 3000, 10.45296, 0);
    check_shift(&square_on, 3000, 0, 0);
    ps_ellipse e;
    assert_true(ps_circle3_ellipse(&square_on, 3000, &e));
    CHECK_NEAR(e.a, 250, PIXEL);
    CHECK_NEAR(e.b, 250, PIXEL);
}

/* Value of the ellipse's equation: 0 on it; times the short axis about a distance in px. */
static double off_ellipse(const ps_ellipse *e, double x, double y) {
    double c = cos(e->angle), s = sin(e->angle), u = c * (x - e->cx) + s * (y - e->cy), v = c * (y - e->cy) - s * (x - e->cx);
    return (hypot(u / e->a, v / e->b) - 1) * e->b;
}

static void test_ellipse_runs_through_points(void **state) {
    (void)state;
    ps_circle3 c = {.centre = {120, -80, 900}, .normal = {.49690, -.19876, -.84474}, .radius_mm = 40};
    ps_unit3(c.normal);
    ps_ellipse e;
    assert_true(ps_circle3_ellipse(&c, 3000, &e));
    assert_true(e.a > e.b && e.b > 0);
    for (int i = 0; i < 17; i++) {
        double X[3], d[3];
        ps_circle3_point(&c, i, X);
        for (int k = 0; k < 3; k++) d[k] = X[k] - c.centre[k];
        CHECK_NEAR(ps_norm3(d), 40, 1e-12);
        CHECK_NEAR(ps_dot3(d, c.normal), 0, 1e-12);
        CHECK_NEAR(off_ellipse(&e, 3000 * X[0] / X[2], 3000 * X[1] / X[2]), 0, PIXEL);
    }
    c.radius_mm = 40.1; /* wrong input fails */
    double X[3];
    ps_circle3_point(&c, 0, X);
    assert_true(fabs(off_ellipse(&e, 3000 * X[0] / X[2], 3000 * X[1] / X[2])) > 0.1);
}

static void test_no_ellipse(void **state) {
    (void)state;
    ps_ellipse e;
    ps_circle3 across = tilted(0, 0, 20, 50, 60), behind = tilted(0, 0, -500, 50, 10), edge_on = tilted(0, 0, 500, 50, 90);
    assert_false(ps_circle3_ellipse(&across, 3000, &e));
    assert_false(ps_circle3_ellipse(&behind, 3000, &e));
    assert_false(ps_circle3_ellipse(&edge_on, 3000, &e));
}

static void test_basis(void **state) {
    (void)state;
    double normals[5][3] = {{0, 0, -1}, {0, 0, 1}, {1, 0, 0}, {.6, -.64, -.48}, {1e-9, -1e-9, -1}}, u[3], v[3], w[3], before[3];
    for (int i = 0; i < 5; i++) {
        ps_unit3(normals[i]);
        ps_circle3_basis(normals[i], u, v);
        ps_cross3(u, v, w);
        for (int k = 0; k < 3; k++) CHECK_NEAR(w[k], normals[i][k], 1e-14);
        CHECK_NEAR(ps_dot3(u, v), 0, 1e-14);
        CHECK_NEAR(ps_norm3(u), 1, 1e-14);
    }
    /* No jump next to the normal that faces the viewer: angles on a rim keep their meaning. */
    ps_circle3_basis((double[3]){0, 0, -1}, before, v);
    for (int k = 0; k < 3; k++) CHECK_NEAR(u[k], before[k], 3e-9);
}

static void test_pose_from_conic(void **state) {
    (void)state;
    /* r 40, T (120, -80, 900), n (.49690, -.19876, -.84474); its twin was worked out apart from this code. The normal's
     * five decimals limit the twin's. */
    ps_circle3 c = {.centre = {120, -80, 900}, .normal = {.49690, -.19876, -.84474}, .radius_mm = 40}, out[2];
    ps_ellipse e;
    assert_true(ps_circle3_ellipse(&c, 3000, &e));
    assert_int_equal(ps_circle3_from_ellipse(&e, 3000, 40, out), 2);
    int twin = out[0].normal[0] > 0;
    const double N[3] = {-.69358, .33017, -.64026}, C[3] = {118.429, -79.302, 900.270};
    for (int i = 0; i < 3; i++) {
        CHECK_NEAR(out[!twin].centre[i], c.centre[i], 2e-3);
        CHECK_NEAR(out[!twin].normal[i], c.normal[i], 1e-5);
        CHECK_NEAR(out[twin].centre[i], C[i], 2e-3);
        CHECK_NEAR(out[twin].normal[i], N[i], 2e-5);
    }
    for (int k = 0; k < 2; k++) { /* both look the same */
        ps_ellipse again;
        assert_true(ps_circle3_ellipse(&out[k], 3000, &again));
        CHECK_NEAR(again.cx, e.cx, PIXEL);
        CHECK_NEAR(again.cy, e.cy, PIXEL);
        CHECK_NEAR(again.a, e.a, PIXEL);
        CHECK_NEAR(again.b, e.b, PIXEL);
        CHECK_NEAR(again.angle, e.angle, PIXEL);
    }
}

static void test_pose_from_round_conic(void **state) {
    (void)state;
    ps_ellipse round = {.a = 250, .b = 250}, flat = {.a = 250, .b = 0}, swapped = {.a = 100, .b = 250};
    ps_circle3 out[2];
    assert_int_equal(ps_circle3_from_ellipse(&round, 3000, 50, out), 1);
    CHECK_NEAR(out[0].centre[2], 600, 1e-9);
    CHECK_NEAR(out[0].normal[2], -1, 1e-9);
    assert_int_equal(ps_circle3_from_ellipse(&flat, 3000, 50, out), 0);
    assert_int_equal(ps_circle3_from_ellipse(&swapped, 3000, 50, out), 0);
}

static void test_conic_round_trip(void **state) {
    (void)state;
    const ps_ellipse given[4] = {{3000, 2000, 120, 100, 0.3}, {-5, 7, 50, 2, -1.5}, {0, 0, 3, 3, 0}, {10, 0, 4, 1, 1.5}};
    for (int k = 0; k < 4; k++) {
        double Q[9], x[12][2];
        ps_ellipse e = {0}, fit = {0};
        ps_conic_from_ellipse(&given[k], Q);
        for (int sign = -1; sign <= 1; sign += 2) {
            double S[9];
            for (int i = 0; i < 9; i++) S[i] = sign * 7.0 * Q[i];
            assert_true(ps_conic_to_ellipse(S, &e));
            /* a constant of 1e3 beside a 1: three digits of the sixteen, and again for the axes' ratio squared */
            CHECK_NEAR(e.cx, given[k].cx, 1e-9);
            CHECK_NEAR(e.a, given[k].a, 1e-7);
            CHECK_NEAR(e.b, given[k].b, 1e-7);
            if (k != 2) CHECK_NEAR(e.angle, given[k].angle, 1e-9);
        }
        for (int i = 0; i < 12; i++) {
            double u = given[k].a * cos(i), v = given[k].b * sin(i), c = cos(given[k].angle), s = sin(given[k].angle);
            x[i][0] = given[k].cx + c * u - s * v;
            x[i][1] = given[k].cy + s * u + c * v;
        }
        assert_true(ps_conic_fit_ellipse((const double(*)[2])x, 12, &fit));
        CHECK_NEAR(fit.cx, given[k].cx, DIRECT);
        CHECK_NEAR(fit.cy, given[k].cy, DIRECT);
        CHECK_NEAR(fit.a, given[k].a, DIRECT);
        CHECK_NEAR(fit.b, given[k].b, DIRECT);
        assert_false(ps_conic_fit_ellipse((const double(*)[2])x, 4, &fit));
    }
    double hyperbola[9] = {1, 0, 0, 0, -1, 0, 0, 0, -1}, imaginary[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    double line[6][2] = {{0, 0}, {1, 1}, {2, 2}, {3, 3}, {4, 4}, {5, 5}};
    ps_ellipse e;
    assert_false(ps_conic_to_ellipse(hyperbola, &e));
    assert_false(ps_conic_to_ellipse(imaginary, &e));
    assert_false(ps_conic_fit_ellipse((const double(*)[2])line, 6, &e));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_centre_shift),     cmocka_unit_test(test_ellipse_runs_through_points),
        cmocka_unit_test(test_no_ellipse),       cmocka_unit_test(test_basis),
        cmocka_unit_test(test_pose_from_conic),  cmocka_unit_test(test_pose_from_round_conic),
        cmocka_unit_test(test_conic_round_trip),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
