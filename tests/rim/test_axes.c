/* Axes from circles seen in several photos: geometry alone, candidates made from known circles. */
#include "check.h"

#include "render_pin.h"
#include "rim/axes.h"

enum { PHOTOS = 3, ROOM = 12 };
static const double ALONE_MM = 10;

typedef struct views {
    ps_view view[PHOTOS];
    ps_rim_candidate item[PHOTOS][ROOM];
    ps_rim_candidates seen[PHOTOS];
} views;

/* Eyes at 25 degrees in three directions, 600 mm off. */
static void make_views(views *v) {
    static const double at[2] = {150, 0}, toward[PHOTOS] = {-90, 30, 150};
    for (int k = 0; k < PHOTOS; k++) {
        v->view[k] = pin_view(1200, 900, 1000, at, 600, 25, toward[k], 0);
        v->seen[k] = (ps_rim_candidates){0, v->item[k]};
    }
}

/* A circle as photo k sees it in the plane: rays through it, met with the plane. The three points, not the formula under
 * test, give the circle. */
static void see(views *v, int k, double x, double y, double height, double radius, double support) {
    double p[3][2];
    for (int i = 0; i < 3; i++) {
        double X[3] = {x + radius * cos(2.1 * i), y + radius * sin(2.1 * i), -height}, px[2], o[3], d[3];
        assert_true(ps_view_project(&v->view[k], X, px));
        assert_true(ps_view_ray(&v->view[k], px, o, d));
        for (int j = 0; j < 2; j++) p[i][j] = o[j] - o[2] / d[2] * d[j];
    }
    double ax = p[1][0] - p[0][0], ay = p[1][1] - p[0][1], bx = p[2][0] - p[0][0], by = p[2][1] - p[0][1];
    double a2 = ax * ax + ay * ay, b2 = bx * bx + by * by, det = 2 * (ax * by - ay * bx);
    double cx = (by * a2 - ay * b2) / det, cy = (ax * b2 - bx * a2) / det;
    assert_true(v->seen[k].count < ROOM);
    v->item[k][v->seen[k].count++] = (ps_rim_candidate){p[0][0] + cx, p[0][1] + cy, hypot(cx, cy), support, 0.1, 0};
}

static void see_all(views *v, double x, double y, double height, double radius) {
    for (int k = 0; k < PHOTOS; k++) see(v, k, x, y, height, radius, 0.9);
}

/* Unprojecting the lens settles to about 1e-9 px; the slope's weak pull to zero (a prior of 50 mm against heights of 10 mm)
 * does not move upright axes. */
static const double GEOMETRY_MM = 1e-4;

static void test_places_and_heights(void **state) {
    (void)state;
    views v;
    make_views(&v);
    see_all(&v, 10, -20, 22, 28);
    see_all(&v, 10, -20, 20, 30);
    see_all(&v, 10, -20, 10, 45);
    see_all(&v, 300, 30, -4, 25);
    see_all(&v, 300, 30, 8, 40);
    ps_axis_guess axis[PS_AXES_MAX];
    int count = -1;
    assert_int_equal(ps_axes_find(NULL, PHOTOS, v.view, v.seen, ALONE_MM, axis, &count), PS_OK);
    assert_int_equal(count, 2);
    CHECK_NEAR(axis[0].x_mm, 10, GEOMETRY_MM);
    CHECK_NEAR(axis[0].y_mm, -20, GEOMETRY_MM);
    CHECK_NEAR(axis[0].height_min_mm, 10, GEOMETRY_MM);
    CHECK_NEAR(axis[0].height_max_mm, 22, GEOMETRY_MM);
    CHECK_NEAR(axis[0].radius_max_mm, 45, GEOMETRY_MM);
    assert_int_equal(axis[0].photos, PHOTOS);
    CHECK_NEAR(axis[1].x_mm, 300, GEOMETRY_MM);
    CHECK_NEAR(axis[1].y_mm, 30, GEOMETRY_MM);
    CHECK_NEAR(axis[1].height_min_mm, -4, GEOMETRY_MM);
    CHECK_NEAR(axis[1].radius_max_mm, 40, GEOMETRY_MM);
    CHECK_NEAR(axis[0].slope_x, 0, 1e-6);
    assert_true(axis[0].weight > axis[1].weight);
}

/* A false axis within a pin, made by dirt, hides the pin's own from a list of axes far apart. */
static void test_closely(void **state) {
    (void)state;
    views v;
    make_views(&v);
    see_all(&v, 10, -20, 22, 28);
    see_all(&v, 10, -20, 10, 45);
    see_all(&v, 22, -20, 4, 60);
    see_all(&v, 22, -20, 6, 70);
    see_all(&v, 22, -20, 8, 65);
    ps_axis_guess axis[PS_AXES_MAX];
    int count = -1;
    assert_int_equal(ps_axes_find(NULL, PHOTOS, v.view, v.seen, ALONE_MM, axis, &count), PS_OK);
    assert_int_equal(count, 1);
    CHECK_NEAR(axis[0].x_mm, 22, GEOMETRY_MM);
    assert_int_equal(ps_axes_find_closely(NULL, PHOTOS, v.view, v.seen, ALONE_MM, axis, &count), PS_OK);
    assert_int_equal(count, 2);
    CHECK_NEAR(axis[1].x_mm, 10, GEOMETRY_MM);
    CHECK_NEAR(axis[1].y_mm, -20, GEOMETRY_MM);
}

/* A leaning axis: the pull to upright takes most of a slope over 12 mm of height, and then shifts the place by as much as
 * the axis leans over half of that height. */
static void test_leaning_axis(void **state) {
    (void)state;
    views v;
    make_views(&v);
    const double lean = 0.03; /* 1.7 degrees */
    for (int h = 8; h <= 20; h += 6) see_all(&v, 50 + lean * h, 0, h, 30);
    ps_axis_guess axis[PS_AXES_MAX];
    int count;
    assert_int_equal(ps_axes_find(NULL, PHOTOS, v.view, v.seen, ALONE_MM, axis, &count), PS_OK);
    assert_int_equal(count, 1);
    CHECK_NEAR(axis[0].x_mm + 14 * axis[0].slope_x, 50 + 14 * lean, 0.01); /* in the middle of the circles */
    assert_true(axis[0].slope_x >= 0 && axis[0].slope_x <= lean);
}

static void one_fails(double x, double y, double radius_factor) {
    views v;
    make_views(&v);
    see(&v, 0, 10, 0, 15, 30, 0.9);
    see(&v, 1, 10, 0, 15, 30, 0.9);
    v.item[1][0].x_mm += x;
    v.item[1][0].y_mm += y;
    v.item[1][0].radius_mm *= radius_factor;
    ps_axis_guess axis[PS_AXES_MAX];
    int count;
    /* They do not meet, so that each is taken alone at the height assumed: no height was triangulated. */
    assert_int_equal(ps_axes_find(NULL, 2, v.view, v.seen, ALONE_MM, axis, &count), PS_OK);
    for (int k = 0; k < count; k++) {
        CHECK_NEAR(axis[k].height_min_mm, ALONE_MM, 1e-12);
        CHECK_NEAR(axis[k].height_max_mm, ALONE_MM, 1e-12);
    }
}

static void test_contradicting_circles_do_not_meet(void **state) {
    (void)state;
    one_fails(0, 0, 1.1);  /* other radius: 3 mm */
    one_fails(60, 35, 1);  /* they would meet over 95 mm high or under the plate */
    one_fails(-5, 5.2, 1); /* off the line along which height moves it */
}

static void test_alike_directions_tell_no_height(void **state) {
    (void)state;
    views v;
    make_views(&v);
    v.view[1] = v.view[0];
    v.view[1].pose.t[0] += 20; /* 2 degrees */
    see(&v, 0, 10, 0, 30, 30, 0.9);
    see(&v, 1, 10, 0, 30, 30, 0.9);
    ps_axis_guess axis[PS_AXES_MAX];
    int count;
    assert_int_equal(ps_axes_find(NULL, 2, v.view, v.seen, ALONE_MM, axis, &count), PS_OK);
    assert_true(count >= 1);
    CHECK_NEAR(axis[0].height_max_mm, ALONE_MM, 1e-12);
}

static void test_one_photo(void **state) {
    (void)state;
    views v;
    make_views(&v);
    see(&v, 0, 10, 0, ALONE_MM, 30, 0.9);
    ps_axis_guess axis[PS_AXES_MAX];
    int count;
    assert_int_equal(ps_axes_find(NULL, 1, v.view, v.seen, ALONE_MM, axis, &count), PS_OK);
    assert_int_equal(count, 1);
    CHECK_NEAR(axis[0].x_mm, 10, GEOMETRY_MM);
    CHECK_NEAR(axis[0].radius_max_mm, 30, GEOMETRY_MM);
    assert_int_equal(axis[0].photos, 1);
}

static void test_nothing(void **state) {
    (void)state;
    views v;
    make_views(&v);
    ps_axis_guess axis[PS_AXES_MAX];
    int count = 7;
    assert_int_equal(ps_axes_find(NULL, PHOTOS, v.view, v.seen, ALONE_MM, axis, &count), PS_NOT_FOUND);
    assert_int_equal(count, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_places_and_heights),
        cmocka_unit_test(test_closely),
        cmocka_unit_test(test_leaning_axis),
        cmocka_unit_test(test_contradicting_circles_do_not_meet),
        cmocka_unit_test(test_alike_directions_tell_no_height),
        cmocka_unit_test(test_one_photo),
        cmocka_unit_test(test_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
