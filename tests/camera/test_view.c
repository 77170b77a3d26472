/* World to upright photo and back, through every orientation. */
#include <string.h>

#include "base/linear.h"
#include "check.h"
#include "pinspan/camera.h"
#include "pinspan/photo.h"

/* Newton's end, carried out to a metre. */
static const double RAY_MM = 1e-8;
static const double PIXEL = 1e-8;

static ps_view view_at(int orientation) {
    ps_view v = {.lens = {.f_px = 3000, .cx = 2010, .cy = 1490, .k1 = 0.1, .k2 = -0.2, .p1 = 1e-3, .p2 = -5e-4, .k3 = 0.05},
                 .orientation = orientation,
                 .stored_width = 4032,
                 .stored_height = 3024,
                 .pose = {.t = {-60, 40, 800}}};
    ps_rotation_from_vector((double[3]){0.3, -0.4, 0.1}, v.pose.R);
    return v;
}

static void test_ray_meets_point(void **state) {
    (void)state;
    for (int orientation = 1; orientation <= 8; orientation++) {
        ps_view v = view_at(orientation);
        double X[3] = {120, -35, 18}, p[2], origin[3], direction[3], to[3], across[3], eye[3];
        assert_true(ps_view_project(&v, X, p));
        assert_true(ps_view_ray(&v, p, origin, direction));
        CHECK_NEAR(ps_norm3(direction), 1, 1e-14);
        for (int i = 0; i < 3; i++) to[i] = X[i] - origin[i];
        ps_cross3(to, direction, across);
        CHECK_NEAR(ps_norm3(across), 0, RAY_MM);
        assert_true(ps_dot3(to, direction) > 0);
        ps_pose_apply(&v.pose, origin, eye); /* the camera's centre is its own origin */
        CHECK_NEAR(ps_norm3(eye), 0, 1e-11);
    }
}

static void test_orientation(void **state) {
    (void)state;
    /* EXIF 6: the stored photo is turned by 90 degrees clockwise to stand upright, so the stored top left corner comes
     * to the top right, and stored +x runs down (CIPA DC-008: row 0 is the visual right, column 0 the visual top). */
    ps_view stored = view_at(1), turned = view_at(6);
    double X[3] = {10, 20, 0}, s[2], u[2];
    assert_true(ps_view_project(&stored, X, s) && ps_view_project(&turned, X, u));
    CHECK_NEAR(u[0], 3023 - s[1], PIXEL);
    CHECK_NEAR(u[1], s[0], PIXEL);
}

static void test_behind(void **state) {
    (void)state;
    ps_view v = view_at(1);
    double p[2];
    assert_false(ps_view_project(&v, (double[3]){0, 0, -5000}, p));
}

/* Value of the ellipse's equation, times the short axis: about a distance in px. */
static double off_ellipse(const ps_ellipse *e, double x, double y) {
    double c = cos(e->angle), s = sin(e->angle), u = c * (x - e->cx) + s * (y - e->cy), v = c * (y - e->cy) - s * (x - e->cx);
    return (hypot(u / e->a, v / e->b) - 1) * e->b;
}

static void test_view_ellipse(void **state) {
    (void)state;
    for (int orientation = 1; orientation <= 8; orientation++) {
        ps_view v = view_at(orientation);
        ps_circle3 c = {.centre = {120, -35, 18}, .normal = {0.05, -0.02, -1}, .radius_mm = 35};
        ps_ellipse e;
        ps_unit3(c.normal);
        assert_true(ps_view_ellipse(&v, &c, &e));
        double sum = 0;
        for (int i = 0; i < 48; i++) {
            double X[3], p[2];
            ps_circle3_point(&c, i * 0.13, X);
            assert_true(ps_view_project(&v, X, p));
            /* Over 260 px this lens bends a circle by less than .1 px away from any ellipse. */
            CHECK_NEAR(off_ellipse(&e, p[0], p[1]), 0, 0.1);
            sum += off_ellipse(&e, p[0], p[1]);
        }
        CHECK_NEAR(sum / 48, 0, 0.01);
    }
}

static void test_view_ellipse_without_distortion(void **state) {
    (void)state;
    ps_view v = view_at(1);
    v.lens = (ps_lens){.f_px = 3000, .cx = 2010, .cy = 1490};
    ps_circle3 c = {.centre = {120, -35, 18}, .normal = {0, 0, -1}, .radius_mm = 35}, in_camera = c;
    ps_ellipse e, closed;
    ps_pose_apply(&v.pose, c.centre, in_camera.centre);
    ps_mat3_mul_vec(v.pose.R, c.normal, in_camera.normal);
    assert_true(ps_view_ellipse(&v, &c, &e) && ps_circle3_ellipse(&in_camera, 3000, &closed));
    CHECK_NEAR(e.cx, closed.cx + 2010, PIXEL);
    CHECK_NEAR(e.cy, closed.cy + 1490, PIXEL);
    CHECK_NEAR(e.a, closed.a, PIXEL);
    CHECK_NEAR(e.b, closed.b, PIXEL);
    CHECK_NEAR(e.angle, closed.angle, PIXEL);
    c.centre[2] = -5000;
    assert_false(ps_view_ellipse(&v, &c, &e));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ray_meets_point),
        cmocka_unit_test(test_orientation),
        cmocka_unit_test(test_behind),
        cmocka_unit_test(test_view_ellipse),
        cmocka_unit_test(test_view_ellipse_without_distortion),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
