/* Tracing predicted rims in rendered photos, against the projected truth. */
#include "check.h"

#include <string.h>

#include "scene_pin.h"

/* A mean offset from the true curve of 0.1 px shifts a diameter of 60 mm by 0.05 mm at 4 px a mm; the measurement model
 * allows 0.15 px (sd) for such shifts. The trace says of a point that it is known to 0.25 px at best, and the adjustment takes it
 * for twice that, because neighbours err alike. */
static const double BIAS_PX = 0.1, POINT_SD_PX = 0.5;

static ps_pin_models model_of(const pin_shape *shape, int rims, const ps_edge *edge) {
    ps_pin_models m = {.count = 1};
    m.pin[0].axis_point_mm[0] = shape->x;
    m.pin[0].axis_point_mm[1] = shape->y;
    m.pin[0].axis_direction[2] = -1;
    m.pin[0].rim_count = rims;
    for (int i = 0; i < rims; i++) {
        double h, r;
        pin_rim_truth(shape, edge[i], &h, &r);
        m.pin[0].rim[i] = (ps_pin_rim){edge[i], PS_EAR_NEAR, h, r, 0.5, 0.25, 0};
    }
    return m;
}

/* Mean and sd of the points' distances from the true curve, outward; px. */
static void compare(const ps_rim_trace *t, const pin_scene *scene, double *mean, double *sd) {
    double h, r, sum = 0, squares = 0;
    pin_rim_truth(&scene->shape[0], t->edge, &h, &r);
    for (int i = 0; i < t->point_count; i++) {
        const ps_edge_point *e = &t->point[i];
        double best = INFINITY, off = 0;
        for (int k = 0; k < 4000; k++) { /* nearest place of the true curve */
            double X[3] = {scene->shape[0].x + r * cos(k * pin_render_pi / 2000), scene->shape[0].y + r * sin(k * pin_render_pi / 2000),
                           -h},
                   px[2];
            assert_true(ps_view_project(&scene->view, X, px));
            double dx = e->x_px - px[0], dy = e->y_px - px[1], d = hypot(dx, dy);
            if (d < best) best = d, off = dx * e->nx + dy * e->ny;
        }
        sum += off, squares += off * off;
    }
    *mean = sum / t->point_count;
    *sd = sqrt(fmax(0, squares / t->point_count - *mean * *mean));
}

static pin_scene usual_scene(void) {
    pin_shape shape = pin_usual(0, 0);
    pin_scene s = pin_scene_close(&shape);
    const double at[2] = {0, 0};
    s.sub = 3;
    s.view = pin_view(s.width, s.height, 2600, at, 650, 20, 100, 8);
    return s;
}

static const ps_edge all_edges[] = {PS_EDGE_PIN, PS_EDGE_PIN_FACE, PS_EDGE_BUSH, PS_EDGE_BUSH_FACE};

static ps_status trace(const pin_scene *scene, const ps_pin_models *m, ps_rim_traces *t) {
    ps_luma luma = pin_render(scene, 31);
    ps_status status = ps_rim_trace_photo(NULL, &luma, &scene->view, m, t);
    free(luma.px);
    return status;
}

/* arc_least: share of the rim that must have been found. */
static void check_traces(const pin_scene *scene, const ps_pin_models *m, double arc_least) {
    ps_rim_traces t = {0, NULL};
    assert_int_equal(trace(scene, m, &t), PS_OK);
    assert_int_equal(t.count, m->pin[0].rim_count);
    for (int i = 0; i < t.count; i++) {
        double mean, sd;
        compare(&t.trace[i], scene, &mean, &sd);
        CHECK_NEAR(mean, 0, BIAS_PX);
        CHECK_NEAR(sd, 0, POINT_SD_PX);
        assert_true(t.trace[i].arc >= arc_least && t.trace[i].arc <= 1);
        assert_int_equal(t.trace[i].edge, m->pin[0].rim[t.trace[i].rim].edge);
        /* The ellipse is that of the true circle, lens included. */
        ps_circle3 c = {{scene->shape[0].x, scene->shape[0].y, 0}, {0, 0, -1}, 0};
        ps_ellipse e;
        double h;
        pin_rim_truth(&scene->shape[0], t.trace[i].edge, &h, &c.radius_mm);
        c.centre[2] = -h;
        assert_true(ps_view_ellipse(&scene->view, &c, &e));
        CHECK_NEAR(t.trace[i].ellipse.a, e.a, 2 * BIAS_PX);
        CHECK_NEAR(t.trace[i].ellipse.b, e.b, 2 * BIAS_PX);
        CHECK_NEAR(t.trace[i].ellipse.cx, e.cx, 2 * BIAS_PX);
        CHECK_NEAR(t.trace[i].ellipse.cy, e.cy, 2 * BIAS_PX);
    }
    ps_rim_traces_clear(&t);
    assert_null(t.trace);
}

static void test_exact_prediction(void **state) {
    (void)state;
    pin_scene s = usual_scene();
    ps_pin_models m = model_of(&s.shape[0], 4, all_edges);
    check_traces(&s, &m, 0.7);
}

/* One sd off in place, height and radius, all rims together as an axis errs. */
static void test_prediction_off(void **state) {
    (void)state;
    pin_scene s = usual_scene();
    ps_pin_models m = model_of(&s.shape[0], 4, all_edges);
    m.pin[0].axis_point_mm[0] += 0.2;
    m.pin[0].axis_point_mm[1] -= 0.15;
    for (int i = 0; i < 4; i++) m.pin[0].rim[i].height_mm += i % 2 ? 0.4 : -0.3, m.pin[0].rim[i].radius_mm += 0.1;
    check_traces(&s, &m, 0.7);
}

static void test_a_third_under_grease(void **state) {
    (void)state;
    pin_scene s = usual_scene();
    s.shape[0].grease_deg = 120;
    ps_pin_models m = model_of(&s.shape[0], 4, all_edges);
    check_traces(&s, &m, 0.45);
}

/* Half of the plate lighter, half darker than the bush: the edge's sign changes round the circle. */
static void test_edge_sign_changes(void **state) {
    (void)state;
    pin_scene s = usual_scene();
    ps_pin_models m = model_of(&s.shape[0], 4, all_edges);
    s.plate[0] = 0.06, s.plate[1] = 0.75, s.split_x = 8;
    check_traces(&s, &m, 0.6);
    s.plate[0] = 0.75, s.plate[1] = 0.06;
    check_traces(&s, &m, 0.6);
}

static void test_nothing_there(void **state) {
    (void)state;
    pin_scene s = usual_scene();
    ps_pin_models m = model_of(&s.shape[0], 4, all_edges);
    ps_rim_traces t = {0, NULL};
    pin_scene plain = s;
    plain.shapes = 0;
    assert_int_equal(trace(&plain, &m, &t), PS_NOT_FOUND);
    assert_null(t.trace);
    m.pin[0].axis_point_mm[0] = 400; /* out of the picture */
    assert_int_equal(trace(&s, &m, &t), PS_NOT_FOUND);
    m.count = 0;
    assert_int_equal(trace(&s, &m, &t), PS_NOT_FOUND);
    assert_null(t.trace);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_exact_prediction),  cmocka_unit_test(test_prediction_off), cmocka_unit_test(test_a_third_under_grease),
        cmocka_unit_test(test_edge_sign_changes), cmocka_unit_test(test_nothing_there),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
