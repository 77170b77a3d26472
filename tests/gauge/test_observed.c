/* The ellipse of a rim as one photo shows it: held by the adjusted circle's shape where half of the rim is hidden. */
#include "check.h"

#include <string.h>

#include "base/linear.h"
#include "camera/conic.h"
#include "gauge/observed.h"

enum { POINTS = 120 };

/* An ellipse that a person takes for the rim's is off by less than this (a line drawn in a picture is 1.5 px wide). */
static const double seen_px = 0.6;

static const ps_view view = {.orientation = 1,
                             .stored_width = 4000,
                             .stored_height = 3000,
                             .lens = {.f_px = 3000, .cx = 2000, .cy = 1500, .k1 = 0.05},
                             .pose = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}, .t = {20, -10, 700}}};

static ps_circle3 circle(double radius_mm) {
    return (ps_circle3){.centre = {60, 30, 0}, .normal = {0.5, 0.1, -0.86}, .radius_mm = radius_mm};
}

static uint64_t state_of_noise = 7;
static double noise(void) { /* sum of twelve uniform numbers less six: sd 1 */
    double sum = -6;
    for (int i = 0; i < 12; i++) {
        state_of_noise = state_of_noise * 6364136223846793005u + 1442695040888963407u;
        sum += (double)(state_of_noise >> 11) / 9007199254740992.0;
    }
    return sum;
}

/* `arc` of the rim from 40 degrees on, moved by (dx, dy), noise of 0.4 px; every fifth point is 3 px outside. */
static int points_of(double radius_mm, double arc, double dx, double dy, ps_edge_point *point) {
    ps_circle3 c = circle(radius_mm);
    for (int i = 0; i < POINTS; i++) {
        double X[3], px[2], theta = 0.7 + arc * 2 * PS_PI * i / POINTS, mid[2];
        ps_circle3_point(&c, theta, X);
        assert_true(ps_view_project(&view, X, px) && ps_view_project(&view, c.centre, mid));
        double n[2] = {px[0] - mid[0], px[1] - mid[1]}, length = hypot(n[0], n[1]), off = 0.4 * noise() + (i % 5 == 0 ? 3 : 0);
        memset(&point[i], 0, sizeof point[i]);
        point[i].x_px = px[0] + dx + off * n[0] / length;
        point[i].y_px = px[1] + dy + off * n[1] / length;
        point[i].theta = theta;
    }
    return POINTS;
}

/* Largest distance of the true rim, moved by (dx, dy), from the ellipse, along the direction from its middle. */
static double worst(const ps_ellipse *e, double radius_mm, double dx, double dy) {
    ps_circle3 c = circle(radius_mm);
    double most = 0;
    for (int i = 0; i < 72; i++) {
        double X[3], px[2];
        ps_circle3_point(&c, i * 2 * PS_PI / 72, X);
        assert_true(ps_view_project(&view, X, px));
        double x = px[0] + dx - e->cx, y = px[1] + dy - e->cy, u = x * cos(e->angle) + y * sin(e->angle),
               v = -x * sin(e->angle) + y * cos(e->angle);
        most = fmax(most, fabs(1 - 1 / hypot(u / e->a, v / e->b)) * hypot(u, v));
    }
    return most;
}

/* The adjusted circle is 0.05 mm small; this photo's edge stands 0.8 px aside of it. Half of the rim is hidden. */
static void test_half_a_rim(void **state) {
    (void)state;
    ps_edge_point point[POINTS];
    ps_ellipse e;
    double rms_px = -1;
    ps_circle3 adjusted = circle(39.95);
    int count = points_of(40, 0.5, 0.7, -0.4, point);
    assert_true(ps_gauge_observed_ellipse(&view, &adjusted, point, count, &e, &rms_px));
    assert_true(worst(&e, 40, 0.7, -0.4) < seen_px);
    assert_true(rms_px > 0.3 && rms_px < 1.5);
    /* Neither the adjusted circle alone nor five free numbers would do: what the function is for. */
    ps_ellipse plain, direct;
    double x[POINTS][2];
    for (int i = 0; i < count; i++) x[i][0] = point[i].x_px, x[i][1] = point[i].y_px;
    assert_true(ps_view_ellipse(&view, &adjusted, &plain));
    assert_true(worst(&plain, 40, 0.7, -0.4) > seen_px);
    assert_true(ps_conic_fit_ellipse((const double(*)[2])x, count, &direct));
    assert_true(worst(&direct, 40, 0.7, -0.4) > seen_px);
}

/* A tenth of the rim says nothing of the other side: the ellipse stays by the adjusted one. */
static void test_short_arc(void **state) {
    (void)state;
    ps_edge_point point[POINTS];
    ps_ellipse e;
    double rms_px;
    ps_circle3 adjusted = circle(40);
    int count = points_of(40, 0.1, 0, 0, point);
    assert_true(ps_gauge_observed_ellipse(&view, &adjusted, point, count, &e, &rms_px));
    assert_true(worst(&e, 40, 0, 0) < 2); /* within two of the prior's sd */
}

static void test_refuses(void **state) {
    (void)state;
    ps_edge_point point[POINTS];
    ps_ellipse e = {1, 2, 3, 4, 5};
    double rms_px = 6;
    int count = points_of(40, 0.5, 0, 0, point);
    ps_circle3 behind = circle(40), nan = circle(NAN), good = circle(40);
    behind.centre[2] = -2000;
    assert_false(ps_gauge_observed_ellipse(&view, &behind, point, count, &e, &rms_px));
    assert_false(ps_gauge_observed_ellipse(&view, &nan, point, count, &e, &rms_px));
    assert_false(ps_gauge_observed_ellipse(&view, &good, point, 7, &e, &rms_px));
    assert_true(e.cx == 1 && e.angle == 5 && rms_px == 6);
    point[3].x_px = NAN; /* passed over */
    assert_true(ps_gauge_observed_ellipse(&view, &good, point, count, &e, &rms_px));
    assert_true(worst(&e, 40, 0, 0) < seen_px);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_half_a_rim), cmocka_unit_test(test_short_arc), cmocka_unit_test(test_refuses)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
