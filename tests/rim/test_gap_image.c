/* Support of circles in photos of a gap, and the pins' direction from straight edges. The photo is drawn here: a light bush face on a dark
 * ear, seen slanted, point by point along each pixel's ray. */
#include "check.h"
#include "rim/gap.h"

#include "../adjust/gap_scene.h"
#include "base/linear.h"

#include <stdlib.h>

static const double FACE_T = -60, RADIUS = 38, BORE = 27;

static ps_view camera(const double at[3]) {
    ps_view v = {.lens = {800, 399.5, 299.5, 0, 0, 0, 0, 0}, .orientation = 1, .stored_width = 800, .stored_height = 600};
    const double to[3] = {100, -20, -60};
    gap_look(at, to, &v.pose);
    return v;
}

/* The face's plane is square to e3 at FACE_T; 4 rays a pixel. */
static ps_luma draw(const ps_view *view, const ps_gap_frame *f, double s, double h) {
    ps_luma luma = {800, 600, 800, malloc(800 * 600)};
    assert_non_null(luma.px);
    for (int y = 0; y < 600; y++)
        for (int x = 0; x < 800; x++) {
            double sum = 0;
            for (int k = 0; k < 4; k++) {
                const double at[2] = {x + (k % 2 ? 0.25 : -0.25), y + (k / 2 ? 0.25 : -0.25)};
                double o[3], d[3];
                assert_true(ps_view_ray(view, at, o, d));
                double way = (FACE_T - ps_dot3(o, f->e3)) / ps_dot3(d, f->e3);
                double r = hypot(ps_dot3(o, f->e1) + way * ps_dot3(d, f->e1) - s, ps_dot3(o, f->e2) + way * ps_dot3(d, f->e2) - h);
                sum += way > 0 && r < RADIUS && r > BORE ? 66 : 60; /* faint: a full edge is no plateau */
            }
            luma.px[y * 800 + x] = (uint8_t)(sum / 4);
        }
    return luma;
}

static void test_support_peaks_at_the_circle(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_gap_frame f;
    ps_gap_frame_set(&f, 0.05, 0.01);
    const double at[2][3] = {{60, 90, -330}, {150, 60, -300}}, s = 95, h = 70;
    ps_view views[2];
    ps_gap_image images[2];
    for (int i = 0; i < 2; i++) {
        views[i] = camera(at[i]);
        ps_luma luma = draw(&views[i], &f, s, h);
        assert_int_equal(ps_gap_image_make(ctx, &luma, 800, &images[i]), PS_OK);
        free(luma.px);
    }
    ps_gap_scene scene = {2, images, views, false};
    double best = ps_gap_joint(&scene, &f, s, h, 0, FACE_T, RADIUS, 48, NULL);
    assert_true(best > 0.9); /* an edge all round, at full strength */
    /* The next circles, 3 mm (some 7 px) off in every way, find nothing of it. */
    const double off[5][4] = {{3, 0, 0, 0}, {0, 3, 0, 0}, {0, 0, 3, 0}, {0, 0, 0, 3}, {0, 0, 0, -3}};
    for (int i = 0; i < 5; i++)
        assert_true(ps_gap_joint(&scene, &f, s + off[i][0], h + off[i][1], 0, FACE_T + off[i][2], RADIUS + off[i][3], 48, NULL) <
                    0.6 * best);
    int seen;
    ps_gap_joint(&scene, &f, s, h, 0, FACE_T, RADIUS, 48, &seen);
    assert_int_equal(seen, 2);
    /* A face that looks away from the camera is not in view, nor one behind the photo's edge. */
    assert_true(isnan(ps_gap_support(&images[0], &views[0], &f, s, h, FACE_T, RADIUS, -1, 48)));
    assert_true(isnan(ps_gap_support(&images[0], &views[0], &f, s + 900, h, FACE_T, RADIUS, 1, 48)));
    /* The section shows boundary and bore of the face, and nothing stronger. */
    ps_gap_window w = {FACE_T - 6, FACE_T + 6, 0.5, 15, 60, 0.5};
    ps_gap_circle spot[2];
    assert_int_equal(ps_gap_spots(&scene, &f, s, h, 0, &w, 0.4, spot, 2), 2);
    const double STEP = 0.75; /* a step of the section and half one */
    for (int i = 0; i < 2; i++) {
        assert_true(fabs(spot[i].t - FACE_T) <= STEP);
        assert_true(fmin(fabs(spot[i].r - RADIUS), fabs(spot[i].r - BORE)) <= STEP);
    }
    assert_true(fabs(spot[0].r - spot[1].r) > 9);
    for (int i = 0; i < 2; i++) ps_gap_image_clear(&images[i]);
    ps_context_free(ctx);
}

static void add_line(const ps_view *view, const double from[3], const double way[3], ps_gap_edgel *out, int *count) {
    for (int i = 0; i < 40; i++) {
        double X[3], Y[3], p[2], q[2];
        for (int k = 0; k < 3; k++) X[k] = from[k] + 3 * i * way[k], Y[k] = X[k] + 0.1 * way[k];
        if (!ps_view_project(view, X, p) || !ps_view_project(view, Y, q)) continue;
        double l = hypot(q[0] - p[0], q[1] - p[1]);
        out[(*count)++] = (ps_gap_edgel){p[0], p[1], (q[0] - p[0]) / l, (q[1] - p[1]) / l};
    }
}

/* Lines along the pins at three heights and one square to them; then lines in all directions. */
static void test_direction(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    const double at[3] = {60, 90, -330}, degree = PS_PI / 180;
    for (int turn = -30; turn <= 30; turn += 12) {
        ps_view view = camera(at);
        ps_gap_edgel e[400];
        const ps_gap_edgel *edgels[1] = {e};
        int count = 0;
        double found = 9, c = cos(turn * degree), s = sin(turn * degree);
        const double along[3] = {-s, c, 0}, across[3] = {c, s, 0}, from[3][3] = {{20, -50, 0}, {60, -50, -40}, {100, -60, -90}};
        for (int i = 0; i < 3; i++) add_line(&view, from[i], along, e, &count);
        add_line(&view, from[0], across, e, &count);
        assert_int_equal(ps_gap_direction(ctx, 1, &view, edgels, &count, &found), PS_OK);
        assert_true(fabs(found - turn * degree) < 0.5 * degree); /* a bin of the histogram */
    }
    ps_context_free(ctx);
}

/* The direction is square to the ears' normal: turn 0, lean 0 is +y, with h up from the sheet (-z). */
static void test_frame(void **state) {
    (void)state;
    ps_gap_frame f;
    ps_gap_frame_set(&f, 0, 0);
    const double EXACT = 1e-12;
    assert_true(fabs(f.e1[0] - 1) < EXACT && fabs(f.e2[2] + 1) < EXACT && fabs(f.e3[1] - 1) < EXACT);
    ps_gap_frame_set(&f, 0.3, -0.1);
    assert_true(fabs(ps_dot3(f.e1, f.e2)) < EXACT && fabs(ps_dot3(f.e1, f.e3)) < EXACT && fabs(ps_norm3(f.e2) - 1) < EXACT);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_support_peaks_at_the_circle), cmocka_unit_test(test_direction),
                                       cmocka_unit_test(test_frame)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
