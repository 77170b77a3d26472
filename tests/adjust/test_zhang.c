/* Our lens and solver on Zhang's calibration points against his published intrinsics and against OpenCV's (zhang/). */
#include "check.h"

#include "calibrate.h"

static void read_points(const char *name, double (*xy)[2]) {
    char path[1024];
    snprintf(path, sizeof path, "%s/zhang/%s", PS_TEST_DATA, name);
    FILE *file = fopen(path, "r");
    if (!file) fail_msg("cannot read %s", path);
    for (int i = 0; i < 256; i++) assert_int_equal(fscanf(file, "%lf %lf", &xy[i][0], &xy[i][1]), 2);
    double more;
    assert_int_equal(fscanf(file, "%lf", &more), EOF);
    fclose(file);
}

static void test_published_intrinsics(void **state) {
    (void)state;
    static calibration c;
    c.views = 5, c.points = 256, c.lens_terms = 5;
    c.lens = (ps_lens){.f_px = 800, .cx = 320, .cy = 240}; /* a start from nothing: 640 x 480 photographs */
    read_points("Model.txt", c.plane);
    for (int v = 0; v < c.views; v++) {
        char name[32];
        snprintf(name, sizeof name, "data%d.txt", v + 1);
        read_points(name, c.image[v]);
    }
    ps_context *ctx = ps_context_new();
    if (calibrate(ctx, &c) != PS_OK) fail_msg("%s", ps_context_message(ctx));
    print_message("f %.3f c (%.3f, %.3f) k %.6f %.6f rms %.4f px\n", c.lens.f_px, c.lens.cx, c.lens.cy, c.lens.k1, c.lens.k2, c.rms_px);
    /* Zhang's model has skew and two focal lengths, ours neither: half a pixel, a percent of k1. */
    const double MODELS_PX = 0.5, MODELS_K = 0.0025;
    CHECK_NEAR(c.lens.f_px, 832.5, MODELS_PX);
    CHECK_NEAR(c.lens.cx, 303.959, MODELS_PX);
    CHECK_NEAR(c.lens.cy, 206.585, MODELS_PX);
    CHECK_NEAR(c.lens.k1, -0.228601, MODELS_K);
    CHECK_NEAR(c.lens.k2, 0.190353, MODELS_K);
    /* OpenCV 4.6's calibrateCamera on the same files with CALIB_FIX_ASPECT_RATIO, CALIB_ZERO_TANGENT_DIST, CALIB_FIX_K3,
     * run for this test: the very model of ours. It stops at a relative change, hence not all digits; its points are
     * floats. (With two focal lengths it gives 832.207 and 832.243.) */
    const double SAME_MODEL_PX = 1e-3, SAME_MODEL_K = 1e-5;
    CHECK_NEAR(c.lens.f_px, 832.37630, SAME_MODEL_PX);
    CHECK_NEAR(c.lens.cx, 304.07475, SAME_MODEL_PX);
    CHECK_NEAR(c.lens.cy, 206.37353, SAME_MODEL_PX);
    CHECK_NEAR(c.lens.k1, -0.22866942, SAME_MODEL_K);
    CHECK_NEAR(c.lens.k2, 0.19159305, SAME_MODEL_K);
    CHECK_NEAR(c.rms_px, 0.33690146, SAME_MODEL_K);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_published_intrinsics)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
