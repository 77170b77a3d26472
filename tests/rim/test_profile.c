/* Support of circles of given heights and radii on one axis: brightest at the true ones. */
#include "check.h"

#include "rim/profile.h"
#include "scene_pin.h"

static const ps_axis_guess axis0 = {.weight = 1, .radius_max_mm = 46, .height_max_mm = 22, .photos = PIN_PHOTOS};
enum { SECTORS = 96 };

/* An edge of 1 px blur is smoothed by 1.2 samples more, and the root of light moves its strongest place by up to 0.4 px where
 * one side is ten times as light (squared view): 0.5 px is 0.13 mm in radius. Height shows by parallax, tan 20 degrees = 0.36
 * of a height, and by which part of a rim is lit: three times as much. */
static const double RADIUS_MM = 0.15, HEIGHT_MM = 0.45;

static void open_close(ps_profile_source *s, pin_photos *p, const pin_shape *shape) {
    pin_scene scene = pin_scene_close(shape);
    pin_photos_close(p, &scene, 7);
    assert_int_equal(ps_profile_open(NULL, p->count, p->lumas, p->view, &axis0, 0, 32, 50, 1, s), PS_OK);
}

static void shut(ps_profile_source *s, pin_photos *p) {
    ps_profile_close(s);
    ps_profile_close(s); /* twice is harmless */
    pin_photos_free(p);
}

static void peak_near(const ps_profile_source *s, double h, double r, double at[2]) {
    double best = -1;
    for (double dh = -4; dh <= 4; dh += 0.1)
        for (double dr = -0.9; dr <= 0.9; dr += 0.05) {
            double v = ps_profile_joint(s, &axis0, h + dh, r + dr, SECTORS);
            if (v > best) best = v, at[0] = h + dh, at[1] = r + dr;
        }
}

static void test_peaks_at_the_rims(void **state) {
    (void)state;
    static const ps_edge edge[] = {PS_EDGE_PIN, PS_EDGE_PIN_FACE, PS_EDGE_BUSH};
    pin_shape shape = pin_usual(0, 0);
    ps_profile_source s;
    pin_photos p;
    open_close(&s, &p, &shape);
    for (int k = 0; k < 3; k++) {
        double h, r, at[2] = {0, 0};
        pin_rim_truth(&shape, edge[k], &h, &r);
        peak_near(&s, h, r, at);
        CHECK_NEAR(at[0], h, HEIGHT_MM);
        CHECK_NEAR(at[1], r, RADIUS_MM);
        double there = ps_profile_joint(&s, &axis0, h, r, SECTORS);
        for (int i = 0; i < p.count; i++) {
            double one = ps_profile_support(&s, i, &axis0, h, r, SECTORS);
            assert_true(one > 0 && one <= 1);
        }
        assert_true(there > 0 && there <= 1);
    }
    shut(&s, &p);
}

static void test_focus_finds_the_axis(void **state) {
    (void)state;
    const double FOCUS_MM = 0.25; /* its last step is 0.12 mm to a side */
    pin_shape shape = pin_usual(0, 0);
    ps_profile_source s;
    pin_photos p;
    open_close(&s, &p, &shape);
    ps_axis_guess axis = axis0;
    axis.x_mm = 0.9, axis.y_mm = -0.7;
    assert_true(ps_profile_focus(&s, &axis, 2, 24, 12, 46, 1.6));
    CHECK_NEAR(axis.x_mm, 0, FOCUS_MM);
    CHECK_NEAR(axis.y_mm, 0, FOCUS_MM);
    shut(&s, &p);
}

/* The noise of a bare plate has circles nowhere, and everywhere a little. In a single photo that is not held against an axis. */
static void test_focus_on_nothing(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    pin_scene scene = pin_scene_close(&shape);
    scene.shapes = 0;
    scene.texture = 0, scene.noise = 6;
    pin_photos p;
    pin_photos_close(&p, &scene, 7);
    for (int photos = p.count; photos > 0; photos -= p.count - 1) {
        ps_profile_source s;
        ps_axis_guess axis = axis0;
        assert_int_equal(ps_profile_open(NULL, photos, p.lumas, p.view, &axis0, -8, 45, 66, 1.6, &s), PS_OK);
        assert_int_equal(ps_profile_focus(&s, &axis, -3, 33, 8, 60, 1.6), photos == 1);
        axis = axis0, axis.patient = true; /* it is looked at to the end where that was asked for */
        assert_true(ps_profile_focus(&s, &axis, -3, 33, 8, 60, 1.6));
        ps_profile_close(&s);
    }
    pin_photos_free(&p);
}

static void test_map_is_the_joint_support(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    ps_profile_source s;
    ps_profile_map m;
    pin_photos p;
    open_close(&s, &p, &shape);
    assert_int_equal(ps_profile_map_make(NULL, &s, &axis0, 2, 1, 20, SECTORS, &m), PS_OK);
    assert_int_equal(m.heights, 17);
    assert_int_equal(m.radii, 31);
    CHECK_NEAR(ps_profile_map_at(&m, 12, 43), ps_profile_joint(&s, &axis0, 12, 43, SECTORS), 1e-6);
    double mean = 0.5 * (ps_profile_map_at(&m, 12, 43) + ps_profile_map_at(&m, 12, 44));
    CHECK_NEAR(ps_profile_map_at(&m, 12, 43.5), mean, 1e-6);
    assert_true(ps_profile_map_at(&m, 12, 19) == 0 && ps_profile_map_at(&m, 40, 30) == 0);
    ps_profile_map_clear(&m);
    assert_int_equal(ps_profile_map_make(NULL, &s, &axis0, 1e-3, 1e-3, 20, SECTORS, &m), PS_BAD_ARGUMENT);
    shut(&s, &p);
}

/* Photos that do not show the axis are left out; when none does, there is nothing. */
static void test_axis_out_of_view(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    pin_scene scene = pin_scene_close(&shape);
    pin_photos p;
    ps_profile_source s;
    const double elsewhere[2] = {2000, 0};
    pin_photos_close(&p, &scene, 7);
    p.view[1] = pin_view(scene.width, scene.height, 2600, elsewhere, 650, 20, 0, 0);
    assert_int_equal(ps_profile_open(NULL, p.count, p.lumas, p.view, &axis0, 0, 32, 50, 1, &s), PS_OK);
    assert_true(isnan(ps_profile_support(&s, 1, &axis0, 12, 43, SECTORS)));
    double one = ps_profile_support(&s, 0, &axis0, 12, 43, SECTORS), other = ps_profile_support(&s, 2, &axis0, 12, 43, SECTORS);
    CHECK_NEAR(ps_profile_joint(&s, &axis0, 12, 43, SECTORS), sqrt(one * other), 1e-9); /* geometric mean */
    ps_profile_close(&s);
    for (int k = 0; k < p.count; k++) { /* looking away from the plate */
        for (int i = 0; i < 9; i++) p.view[k].pose.R[i] = i % 4 == 0 ? 1 : 0;
        p.view[k].pose.t[0] = p.view[k].pose.t[1] = 0, p.view[k].pose.t[2] = -500;
    }
    assert_int_equal(ps_profile_open(NULL, p.count, p.lumas, p.view, &axis0, 0, 32, 50, 1, &s), PS_NOT_FOUND);
    pin_photos_free(&p);
}

/* A pin that stands out 45 mm hides a good part of its bush from photos 20 degrees aslant. What it leaves free is nearly a whole
 * circle's support; of the rest nothing is counted. */
static void test_screen(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    shape.face_h = 57;
    ps_profile_source s;
    pin_photos p;
    pin_scene scene = pin_scene_close(&shape);
    pin_photos_close(&p, &scene, 7);
    assert_int_equal(ps_profile_open(NULL, p.count, p.lumas, p.view, &axis0, 0, 62, 50, 1, &s), PS_OK);
    double h, r, open_h, open_r;
    pin_rim_truth(&shape, PS_EDGE_BUSH, &h, &r);
    pin_rim_truth(&shape, PS_EDGE_PIN, &open_h, &open_r);
    double hidden = ps_profile_joint(&s, &axis0, h, r, SECTORS), above = ps_profile_joint(&s, &axis0, open_h, open_r, SECTORS);
    double inner = ps_profile_joint(&s, &axis0, h, 1.05 * open_r, SECTORS);
    s.screen = (ps_profile_screen){open_h, open_r, true};
    double seen = ps_profile_joint(&s, &axis0, h, r, SECTORS);
    print_message("support of the bush: %.2f in all, %.2f of what is free\n", hidden, seen);
    assert_true(seen > 1.1 * hidden); /* a sixth of the circle and more is hidden, by construction */
    assert_true(seen > 0 && seen <= 1);
    /* Circles above the screen, or within its own outline, are what they were. */
    CHECK_NEAR(ps_profile_joint(&s, &axis0, open_h, open_r, SECTORS), above, 1e-12);
    CHECK_NEAR(ps_profile_joint(&s, &axis0, h, 1.05 * open_r, SECTORS), inner, 1e-12);
    /* A screen over all of it leaves nothing. */
    s.screen = (ps_profile_screen){open_h, 3 * open_r, false};
    assert_true(isnan(ps_profile_support(&s, 0, &axis0, h, r, SECTORS)));
    CHECK_NEAR(ps_profile_joint(&s, &axis0, h, r, SECTORS), 0, 1e-12);
    shut(&s, &p);
}

/* A third of a pin's edge lies outside the picture: what is in it is judged, and not found wanting for the rest. */
static void test_cut_by_the_border(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    ps_profile_source s;
    pin_photos p;
    double h, r;
    pin_rim_truth(&shape, PS_EDGE_PIN, &h, &r);
    open_close(&s, &p, &shape);
    double whole = ps_profile_joint(&s, &axis0, h, r, SECTORS), wrong = ps_profile_joint(&s, &axis0, h, r - 5, SECTORS);
    ps_profile_close(&s);
    for (int k = 0; k < p.count; k++) {
        double X[3] = {0, 0, -h}, px[2];
        assert_true(ps_view_project(&p.view[k], X, px));
        p.luma[k].width = (int)(px[0] + 0.5 * r * 4); /* 4 px a mm: cut at half the radius, a third of the way round */
    }
    assert_int_equal(ps_profile_open(NULL, p.count, p.lumas, p.view, &axis0, 0, 32, 50, 1, &s), PS_OK);
    double cut = ps_profile_joint(&s, &axis0, h, r, SECTORS), cut_wrong = ps_profile_joint(&s, &axis0, h, r - 5, SECTORS);
    print_message("support of the pin's edge: %.2f, cut off %.2f; beside it %.2f and %.2f\n", whole, cut, wrong, cut_wrong);
    assert_true(cut > 0.85 * whole); /* light differs round the edge; a third of it missing would leave two thirds */
    assert_true(cut_wrong < 0.5 * cut);
    /* Of less than half a circle nothing is said. */
    ps_profile_close(&s);
    for (int k = 0; k < p.count; k++) p.luma[k].width -= (int)(0.6 * r * 4);
    if (ps_profile_open(NULL, p.count, p.lumas, p.view, &axis0, 0, 32, 50, 1, &s) == PS_OK) {
        assert_true(isnan(ps_profile_support(&s, 0, &axis0, h, r, SECTORS)));
        ps_profile_close(&s);
    }
    pin_photos_free(&p);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_peaks_at_the_rims), cmocka_unit_test(test_focus_finds_the_axis),
        cmocka_unit_test(test_focus_on_nothing),  cmocka_unit_test(test_map_is_the_joint_support),
        cmocka_unit_test(test_axis_out_of_view),  cmocka_unit_test(test_screen),
        cmocka_unit_test(test_cut_by_the_border),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
