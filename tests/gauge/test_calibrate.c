/* Calibration from photo files to the lens: drawn photos (a pinhole, so that the truth is exact) of a plate, as JPEG. */
#include "check.h"

#include <stdlib.h>
#include <unistd.h>

#include <jpeglib.h>

#include "../target/render.h"
#include "pinspan/measure.h"

enum { WIDTH = 640, HEIGHT = 480, PHOTOS = 6, N = PS_LENS_COUNT };
static const double true_f = 560, true_cx = 323, true_cy = 236;
static char folder[64];

typedef struct view {
    double tilt_x, tilt_y, roll_deg, fill; /* tilts in degrees about the frame's axes; fill: part of the frame that the plate takes */
    double x, y;                           /* middle of the plate, px from the frame's middle */
} view;

/* Different sides, half of them with the phone turned. */
static const view slanted[PHOTOS] = {{28, 3, 2, 1.0, -60, 0},   {-30, 4, 91, 1.0, 0, 0},   {4, 33, -3, 1.0, 70, 0},
                                     {-3, -30, 88, 1.0, 0, 10}, {22, 24, 45, 0.95, 10, 0}, {-24, 20, -2, 1.0, 110, 0}};

/* The plate's plane through the pinhole: K [r1 r2 t]. */
static void place(render_piece *piece, const view *v) {
    const double rad = 0.017453292519943295;
    double w[3] = {v->tilt_x * rad, v->tilt_y * rad, 0}, spin[3] = {0, 0, v->roll_deg * rad}, A[9], B[9];
    ps_pose tilt = {{0}, {0}}, turn = {{0}, {0}}, both;
    ps_rotation_from_vector(w, A);
    ps_rotation_from_vector(spin, B);
    memcpy(tilt.R, A, sizeof A);
    memcpy(turn.R, B, sizeof B);
    ps_pose_compose(&tilt, &turn, &both);
    double mx = 0.5 * piece->piece->columns * piece->piece->square_mm, my = 0.5 * piece->piece->rows * piece->piece->square_mm;
    bool upright = fabs(sin(v->roll_deg * rad)) < 0.5;
    double long_side = 2 * my, room = upright ? HEIGHT : WIDTH, z = true_f * long_side / (room * v->fill) * 1.12;
    double t[3] = {v->x * z / true_f, v->y * z / true_f, z};
    for (int r = 0; r < 3; r++) t[r] -= both.R[3 * r] * mx + both.R[3 * r + 1] * my;
    for (int c = 0; c < 3; c++) {
        double X = c < 2 ? both.R[c] : t[0], Y = c < 2 ? both.R[3 + c] : t[1], Z = c < 2 ? both.R[6 + c] : t[2];
        piece->to_px[c] = true_f * X + true_cx * Z;
        piece->to_px[3 + c] = true_f * Y + true_cy * Z;
        piece->to_px[6 + c] = Z;
    }
}

static void write_jpeg(const char *path, const ps_luma *luma) {
    struct jpeg_compress_struct c;
    struct jpeg_error_mgr error;
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    c.err = jpeg_std_error(&error);
    jpeg_create_compress(&c);
    jpeg_stdio_dest(&c, file);
    c.image_width = (JDIMENSION)luma->width;
    c.image_height = (JDIMENSION)luma->height;
    c.input_components = 1;
    c.in_color_space = JCS_GRAYSCALE;
    jpeg_set_defaults(&c);
    jpeg_set_quality(&c, 95, TRUE);
    jpeg_start_compress(&c, TRUE);
    while (c.next_scanline < c.image_height) {
        JSAMPROW row = luma->px + (size_t)c.next_scanline * luma->stride;
        (void)jpeg_write_scanlines(&c, &row, 1);
    }
    jpeg_finish_compress(&c);
    jpeg_destroy_compress(&c);
    assert_int_equal(fclose(file), 0);
}

/* Draws the photos; last_bend: of the last one's sheet, mm across at 1 mm from its middle (render.h). */
static void draw(const view *v, int count, const char *stem, double last_bend, char (*file)[96]) {
    for (int i = 0; i < count; i++) {
        render_scene s = {.width = WIDTH, .height = HEIGHT, .pieces = 1, .blur_px = 0.7, .noise = 0.8};
        s.piece[0].piece = ps_kit_piece(ps_kit_find("plate-1"));
        place(&s.piece[0], &v[i]);
        s.piece[0].bend = i == count - 1 ? last_bend : 0;
        ps_luma luma = render(s, (uint64_t)i + 1);
        (void)snprintf(file[i], sizeof file[i], "%s/%s-%d.jpg", folder, stem, i);
        write_jpeg(file[i], &luma);
        free(luma.px);
    }
}

static ps_status calibrate(ps_context *ctx, char (*file)[96], int count, ps_camera_profile *profile, ps_calibration_photo *photo) {
    ps_measure_options options = ps_measure_options_default();
    const char *name[PS_ADJUST_PHOTOS_MAX];
    for (int i = 0; i < count; i++) name[i] = file[i];
    return ps_camera_calibrate(ctx, &options, name, count, profile, photo);
}

static char good[PHOTOS][96];

static int make_folder(void **state) {
    (void)state;
    (void)snprintf(folder, sizeof folder, "pinspan-calibrate-%ld", (long)getpid());
    char command[100];
    (void)snprintf(command, sizeof command, "mkdir %s", folder);
    if (system(command) != 0) return 1;
    draw(slanted, PHOTOS, "good", 0, good);
    return 0;
}

static int remove_folder(void **state) {
    (void)state;
    char command[100];
    (void)snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command);
}

static void the_lens_is_found(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_camera_profile p;
    ps_calibration_photo photo[PHOTOS];
    ps_status status = calibrate(ctx, good, PHOTOS, &p, photo);
    if (status != PS_OK) fail_msg("%s", ps_context_message(ctx));
    const double truth[N] = {true_f, true_cx, true_cy, 0, 0, 0, 0, 0};
    const double found[N] = {p.lens.f_px, p.lens.cx, p.lens.cy, p.lens.k1, p.lens.k2, p.lens.p1, p.lens.p2, p.lens.k3};
    for (int k = 0; k < N; k++) CHECK_NEAR(found[k], truth[k], 3 * sqrt(p.covariance[(N + 1) * k])); /* three sd: 1 in 370 by chance each */
    CHECK_NEAR(p.lens.f_px / true_f, 1, 0.01); /* and the sd are no excuse: two of the largest that is let pass */
    assert_int_equal(p.photos, PHOTOS);
    assert_int_equal(p.width, WIDTH);
    assert_true(p.corners > 180 && p.corners <= 35 * PHOTOS);
    assert_true(p.rms_px > 0 && p.rms_px < 0.2); /* noise of 0.8 levels over edges of 150: hundredths; a wrong lens is off by more */
    for (int i = 0; i < PHOTOS; i++) assert_true(photo[i].used && photo[i].corners > 20 && photo[i].problem[0] == 0);
    assert_string_equal(p.model, "");
    ps_context_free(ctx);
}

static void weak_sets_are_refused_with_the_reason(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_camera_profile p;
    char file[PHOTOS][96];
    assert_int_equal(calibrate(ctx, good, 3, &p, NULL), PS_NOT_FOUND);
    assert_non_null(strstr(ps_context_message(ctx), "at least 4"));

    /* All square on, only turned: no focal length. */
    static const view square[5] = {
        {0, 0, 0, 1, -100, 0}, {0, 0, 90, 1, 0, 0}, {0, 0, 180, 1, 100, 0}, {0, 0, 45, 0.9, 0, 0}, {0, 0, -88, 1, 0, 0}};
    draw(square, 5, "square", 0, file);
    assert_int_equal(calibrate(ctx, file, 5, &p, NULL), PS_NOT_FOUND);
    assert_non_null(strstr(ps_context_message(ctx), "slant"));

    /* The sheet always in the same small part of the frame. */
    view small[5];
    for (int i = 0; i < 5; i++) small[i] = slanted[i], small[i].fill = 0.55, small[i].x = small[i].y = 0;
    draw(small, 5, "small", 0, file);
    assert_int_equal(calibrate(ctx, file, 5, &p, NULL), PS_NOT_FOUND);
    assert_non_null(strstr(ps_context_message(ctx), "of the frame"));

    /* The sheet bent in one photo, its ends 0.7 mm (over 1 px) off to the side: it is no longer the same sheet, and that photo is named. */
    draw(slanted, 5, "bent", 5e-5, file);
    assert_int_equal(calibrate(ctx, file, 5, &p, NULL), PS_NOT_FOUND);
    assert_non_null(strstr(ps_context_message(ctx), file[4]));
    assert_non_null(strstr(ps_context_message(ctx), "do not fit"));
    ps_context_free(ctx);
}

static void bad_and_foreign_photos(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_camera_profile p;
    ps_calibration_photo photo[PHOTOS + 1];
    char file[PHOTOS + 1][96];
    memcpy(file, good, sizeof good);
    (void)snprintf(file[PHOTOS], sizeof file[PHOTOS], "%s/none.jpg", folder);
    /* One that cannot be read is named, the others serve. */
    assert_int_equal(calibrate(ctx, file, PHOTOS + 1, &p, photo), PS_OK);
    assert_int_equal(p.photos, PHOTOS);
    assert_false(photo[PHOTOS].used);
    assert_true(photo[PHOTOS].problem[0] != 0);
    assert_int_equal(calibrate(ctx, file + PHOTOS, 1, &p, photo), PS_IO);
    /* Another size is another camera. */
    render_scene s = {.width = 400, .height = 300, .pieces = 0};
    ps_luma luma = render(s, 1);
    (void)snprintf(file[PHOTOS], sizeof file[PHOTOS], "%s/other.jpg", folder);
    write_jpeg(file[PHOTOS], &luma);
    free(luma.px);
    assert_int_equal(calibrate(ctx, file, PHOTOS + 1, &p, photo), PS_BAD_ARGUMENT);
    assert_non_null(strstr(ps_context_message(ctx), "other.jpg"));
    assert_non_null(strstr(ps_context_message(ctx), "same camera"));
    assert_int_equal(calibrate(ctx, file, 0, &p, NULL), PS_BAD_ARGUMENT);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_lens_is_found),
        cmocka_unit_test(weak_sets_are_refused_with_the_reason),
        cmocka_unit_test(bad_and_foreign_photos),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
