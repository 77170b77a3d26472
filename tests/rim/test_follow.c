/* Following rims from false predictions in rendered photos, against the projected truth. */
#include "check.h"

#include "scene_trace.h"

/* As of traces (test_trace.c): 0.1 px is 0.05 mm of a diameter of 60 mm at 4 px a mm. */
static const double BIAS_PX = 0.1;
/* The search ends on steps of 0.4 px, with edges within 1.6 px: what agrees here or a step aside differs by less than this. */
static const double CONFIRMED = 0.002;

static const bool both[PS_ROLE_COUNT] = {true, true};

static ps_status follow(const pin_scene *scene, const ps_view *view, const ps_pin_models *m, const bool *wanted, ps_rim_traces *t,
                        ps_rim_followed *worth) {
    ps_luma luma = pin_render(scene, 31);
    ps_status status = ps_rim_follow_photo(NULL, &luma, view, m, wanted, t, worth);
    free(luma.px);
    return status;
}

static double off_by(const ps_rim_traces *t, const pin_scene *scene) {
    double worst = 0;
    for (int i = 0; i < t->count; i++) {
        double mean, sd;
        compare(&t->trace[i], scene, &mean, &sd);
        worst = fmax(worst, fabs(mean));
    }
    return worst;
}

/* All rims of the pin, where they are. */
static void check_followed(const pin_scene *s, const ps_view *view, ps_rim_traces *t, ps_rim_followed *worth) {
    ps_pin_models m = model_of(&s->shape[0], 4, all_edges);
    assert_int_equal(follow(s, view, &m, both, t, worth), PS_OK);
    assert_int_equal(t->count, 4);
    CHECK_NEAR(off_by(t, s), 0, BIAS_PX);
}

static void test_right_prediction_is_confirmed(void **state) {
    (void)state;
    pin_scene s = usual_scene();
    ps_rim_traces t = {0, NULL};
    ps_rim_followed worth[PS_ROLE_COUNT];
    check_followed(&s, &s.view, &t, worth);
    assert_true(worth[0].here > 0);
    CHECK_NEAR(worth[0].there / worth[0].here, 1, CONFIRMED);
    ps_rim_traces_clear(&t);
}

/* A camera that stands elsewhere and is turned: rims lie some 10 px off, and not alike all round. */
static ps_view false_view(const pin_scene *s) {
    ps_view v = s->view;
    v.lens.cx += 6, v.lens.cy -= 5;
    v.pose.t[2] *= 1.02;
    double turn = 0.05, c = cos(turn), sn = sin(turn), R[9];
    for (int k = 0; k < 3; k++) { /* about the camera's own x axis through the world's origin */
        R[k] = v.pose.R[k];
        R[3 + k] = c * v.pose.R[3 + k] - sn * v.pose.R[6 + k];
        R[6 + k] = sn * v.pose.R[3 + k] + c * v.pose.R[6 + k];
    }
    for (int k = 0; k < 9; k++) v.pose.R[k] = R[k];
    return v;
}

static void test_false_camera(void **state) {
    (void)state;
    pin_scene s = usual_scene();
    ps_view v = false_view(&s);
    ps_rim_traces t = {0, NULL};
    ps_rim_followed worth[PS_ROLE_COUNT];
    check_followed(&s, &v, &t, worth);
    for (int i = 0; i < t.count; i++) assert_true(t.trace[i].arc > 0.7);
    assert_true(worth[0].there > 1.2 * worth[0].here); /* it says so: most of the rims agree there, arcs by chance here */
    ps_rim_traces_clear(&t);
}

/* What the search is for: a trace beside the prediction, with what is left of its uncertainty, ends on the false curve. */
static void test_trace_alone_is_misled(void **state) {
    (void)state;
    pin_scene s = usual_scene();
    ps_pin_models m = model_of(&s.shape[0], 4, all_edges);
    for (int r = 0; r < 4; r++) m.pin[0].rim[r].sigma_height_mm = 0.3, m.pin[0].rim[r].sigma_radius_mm = 0.15;
    ps_view v = false_view(&s);
    ps_rim_traces t = {0, NULL};
    ps_luma luma = pin_render(&s, 31);
    ps_status status = ps_rim_trace_photo(NULL, &luma, &v, &m, &t);
    free(luma.px);
    assert_true(status == PS_NOT_FOUND || t.count < 4 || off_by(&t, &s) > 5 * BIAS_PX);
    ps_rim_traces_clear(&t);
}

static void test_a_third_under_grease(void **state) {
    (void)state;
    pin_scene s = usual_scene();
    s.shape[0].grease_deg = 120;
    ps_view v = false_view(&s);
    ps_rim_traces t = {0, NULL};
    ps_rim_followed worth[PS_ROLE_COUNT];
    check_followed(&s, &v, &t, worth);
    ps_rim_traces_clear(&t);
}

static void test_nothing_to_follow(void **state) {
    (void)state;
    static const bool none[PS_ROLE_COUNT] = {false, false};
    pin_scene s = usual_scene(), plain = s;
    ps_pin_models m = model_of(&s.shape[0], 4, all_edges);
    ps_rim_traces t = {0, NULL};
    ps_rim_followed worth[PS_ROLE_COUNT];
    plain.shapes = 0;
    assert_int_equal(follow(&s, &s.view, &m, none, &t, worth), PS_NOT_FOUND);
    assert_null(t.trace);
    assert_int_equal(follow(&plain, &s.view, &m, both, &t, worth), PS_NOT_FOUND);
    m.pin[0].axis_point_mm[0] = 400; /* out of the picture */
    assert_int_equal(follow(&s, &s.view, &m, both, &t, worth), PS_NOT_FOUND);
    assert_null(t.trace);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_right_prediction_is_confirmed),
        cmocka_unit_test(test_false_camera),
        cmocka_unit_test(test_trace_alone_is_misled),
        cmocka_unit_test(test_a_third_under_grease),
        cmocka_unit_test(test_nothing_to_follow),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
