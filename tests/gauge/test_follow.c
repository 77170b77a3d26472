/* Rims are followed (src/gauge/follow.c) on the photos of testimages/small, whose cameras are right, once edges traced elsewhere, as beside
 * a false prediction they are, have made them false. */
#include "check.h"

#include <math.h>

#include "measured_job.h"

typedef struct places {
    double px[FILES][PS_ROLE_COUNT][2];
} places;

/* Where the middle of each pin's edge is predicted in each photo. */
static places predicted(void) {
    places p;
    for (int i = 0; i < FILES; i++)
        for (int pin = 0; pin < PS_ROLE_COUNT; pin++) {
            ps_circle3 circle;
            ps_view view;
            int rim = 0;
            while (f.job.pins.pin[pin].rim[rim].edge != PS_EDGE_PIN) rim++;
            ps_adjust_circle(f.job.solution, f.job.rim_of[pin][rim], &circle, NULL);
            ps_adjust_view(f.job.solution, i, &view);
            assert_true(ps_view_project(&view, circle.centre, p.px[i][pin]));
        }
    return p;
}

static double farthest_px(const places *a, const places *b) {
    double most = 0;
    for (int i = 0; i < FILES; i++)
        for (int pin = 0; pin < PS_ROLE_COUNT; pin++)
            most = fmax(most, hypot(a->px[i][pin][0] - b->px[i][pin][0], a->px[i][pin][1] - b->px[i][pin][1]));
    return most;
}

/* Every edge farther from the photo's middle by that much, as through another lens. */
static void trace_falsely(double factor) {
    for (int i = 0; i < FILES; i++) {
        const ps_luma *luma = &f.photo[i].photo.luma;
        ps_rim_traces *traces = &f.photo[i].traces;
        for (int t = 0; t < traces->count; t++)
            for (int k = 0; k < traces->trace[t].point_count; k++) {
                ps_edge_point *at = &traces->trace[t].point[k];
                at->x_px += (factor - 1) * (at->x_px - 0.5 * luma->width);
                at->y_px += (factor - 1) * (at->y_px - 0.5 * luma->height);
            }
    }
}

/* Cameras that were false, by pixels, are right again, to a part of one. */
static void false_cameras_are_set_right(void **state) {
    (void)state;
    static const double FALSE_PX = 4, RIGHT_PX = 1; /* beside a prediction that is right to a pixel an edge is traced as itself */
    places right = predicted();
    bool strayed;
    trace_falsely(1.015);
    assert_int_equal(ps_job_solve_rims(f.ctx, &f.job), PS_OK);
    places wrong = predicted();
    assert_int_equal(ps_job_follow(f.ctx, &f.job, &strayed), PS_OK);
    places after = predicted();
    print_message("pins were predicted %.2f px off, now %.2f\n", farthest_px(&right, &wrong), farthest_px(&right, &after));
    assert_true(farthest_px(&right, &wrong) > FALSE_PX);
    assert_true(strayed && f.job.stray.photo < 0 && !f.job.stray.lost);
    assert_true(farthest_px(&right, &after) < RIGHT_PX);
}

/* Right ones stay as they are. */
static void right_cameras_rest(void **state) {
    (void)state;
    places right = predicted();
    bool strayed;
    assert_int_equal(ps_job_follow(f.ctx, &f.job, &strayed), PS_OK);
    places after = predicted();
    assert_false(strayed);
    assert_true(farthest_px(&right, &after) == 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(false_cameras_are_set_right, measured_job_set_up, measured_job_take_down),
        cmocka_unit_test_setup_teardown(right_cameras_rest, measured_job_set_up, measured_job_take_down)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
