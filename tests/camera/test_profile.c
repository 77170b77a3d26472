/* Camera profiles: there and back, everything that cannot be is refused, and photos of other cameras are told. */
#include "check.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "pinspan/profile.h"

enum { N = PS_LENS_COUNT };

/* Invented. */
static ps_camera_profile sample(void) {
    static const double sd[N] = {6, 3, 2.5, 0.0007, 0.005, 0.00006, 0.00007, 0.01};
    ps_camera_profile p = {.width = 3264,
                           .height = 2448,
                           .lens = {2470, 1625.8, 1224.9, 0.105, -0.203, 0.0007, 0.0015, 0.118},
                           .make = "Example",
                           .model = "Phone A",
                           .focal_mm = 5.6,
                           .focal_35mm_mm = 26,
                           .photos = 8,
                           .corners = 280,
                           .rms_px = 0.04,
                           .chi2 = 500,
                           .dof = 483};
    for (int k = 0; k < N; k++) p.covariance[(N + 1) * k] = sd[k] * sd[k];
    p.covariance[N * PS_LENS_K1 + PS_LENS_K2] = p.covariance[N * PS_LENS_K2 + PS_LENS_K1] = -0.95 * sd[PS_LENS_K1] * sd[PS_LENS_K2];
    p.covariance[N * PS_LENS_K2 + PS_LENS_K3] = p.covariance[N * PS_LENS_K3 + PS_LENS_K2] = -0.98 * sd[PS_LENS_K2] * sd[PS_LENS_K3];
    p.covariance[N * PS_LENS_K1 + PS_LENS_K3] = p.covariance[N * PS_LENS_K3 + PS_LENS_K1] = 0.90 * sd[PS_LENS_K1] * sd[PS_LENS_K3];
    return p;
}

static char *text_of(const ps_camera_profile *p) {
    ps_context *ctx = ps_context_new();
    char *text = NULL;
    assert_int_equal(ps_camera_profile_json(ctx, p, &text), PS_OK);
    ps_context_free(ctx);
    char *copy = strdup(text); /* gcc 12 takes `text` itself for a pointer to this frame */
    free(text);
    assert_non_null(copy);
    return copy;
}

static void there_and_back(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_camera_profile p = sample(), back;
    char *text = text_of(&p);
    assert_non_null(strstr(text, "\"pinspan.camera/1\""));
    assert_int_equal(ps_camera_profile_parse(ctx, text, strlen(text), &back), PS_OK);
    const double digits = 1e-11; /* 12 are written */
    assert_int_equal(back.width, p.width);
    assert_int_equal(back.height, p.height);
    CHECK_NEAR(back.lens.f_px, p.lens.f_px, digits * p.lens.f_px);
    CHECK_NEAR(back.lens.k3, p.lens.k3, digits);
    for (int i = 0; i < N * N; i++) CHECK_NEAR(back.covariance[i], p.covariance[i], digits * fabs(p.covariance[i]));
    assert_string_equal(back.model, p.model);
    assert_string_equal(back.make, p.make);
    CHECK_NEAR(back.focal_mm, 5.6, 1e-9);
    assert_int_equal(back.corners, 280);
    free(text);

    /* A profile of a camera without EXIF, and unknown keys. */
    p.make[0] = p.model[0] = 0;
    p.focal_mm = p.focal_35mm_mm = 0;
    text = text_of(&p);
    char *more = malloc(strlen(text) + 40);
    (void)sprintf(more, "{\"remark\": [1, {\"a\": null}],%s", text + 1);
    assert_int_equal(ps_camera_profile_parse(ctx, more, strlen(more), &back), PS_OK);
    assert_string_equal(back.model, "");
    free(more);
    free(text);
    ps_context_free(ctx);
}

/* Replaces the first `from` by `to` in the sample's text and reads it; the message must have `says` in it. */
static void refused(ps_context *ctx, const char *from, const char *to, const char *says) {
    ps_camera_profile p = sample(), back, before;
    memset(&back, 0x5a, sizeof back);
    before = back;
    char *text = text_of(&p), *at = strstr(text, from), *changed = malloc(strlen(text) + strlen(to) + 1);
    assert_non_null(at);
    (void)sprintf(changed, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    ps_status status = ps_camera_profile_parse(ctx, changed, strlen(changed), &back);
    if (status != PS_BAD_FILE || !strstr(ps_context_message(ctx), says)) {
        print_error("'%s' to '%s': status %d, message: %s\n", from, to, (int)status, ps_context_message(ctx));
        fail();
    }
    assert_memory_equal(&back, &before, sizeof back); /* unchanged on failure */
    free(changed);
    free(text);
}

static void text_that_cannot_be_is_refused(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    refused(ctx, "pinspan.camera/1", "pinspan.camera/2", "schema");
    refused(ctx, "\"schema\"", "\"scheme\"", "schema");
    refused(ctx, "\"width\": 3264", "\"width\": 0", "no photo is");
    refused(ctx, "\"width\": 3264", "\"width\": -3264", "width");
    refused(ctx, "\"width\": 3264", "\"width\": 3264.5", "width");
    refused(ctx, "\"width\": 3264", "\"width\": 99999999999", "width");
    refused(ctx, "\"width\": 3264", "\"width\": 70000", "no photo is");
    refused(ctx, "\"width\": 3264", "\"breadth\": 3264", "width is missing");
    refused(ctx, "\"height\": 2448", "\"height\": \"2448\"", "height");
    refused(ctx, "\"f_px\": 2470.0", "\"f_px\": 0", "focal length");
    refused(ctx, "\"f_px\": 2470.0", "\"f_px\": -2470", "focal length");
    refused(ctx, "\"f_px\": 2470.0", "\"f_px\": 24", "focal length");
    refused(ctx, "\"f_px\": 2470.0", "\"f_px\": 1e300", "focal length");
    refused(ctx, "\"f_px\": 2470.0", "\"f_px\": null", "f_px");
    refused(ctx, "\"f_px\": 2470.0", "\"f_px\": NaN", "no JSON");
    refused(ctx, "\"f_px\": 2470.0", "\"f_px\": 1e999", "no JSON");
    refused(ctx, "\"cx\": 1625", "\"cx\": 16250", "centre");
    refused(ctx, "\"k1\": 0.105", "\"k1\": 105", "too large");
    refused(ctx, "\"k3\": 0.118", "\"k3\": -2.0", "fold");
    refused(ctx, "\"p1\":", "\"q1\":", "p1 is missing");
    refused(ctx, "\"covariance\": [", "\"covariance\": [1, ", "covariance");
    refused(ctx, "\"covariance\": [", "\"covariance\": 3, \"old\": [", "covariance");
    refused(ctx, "Phone A", "0123456789012345678901234567890123456789012345678", "model");
    refused(ctx, "Phone A", "Phone\\u001b[31m", "printable");
    refused(ctx, "\"focal_mm\": 5.6", "\"focal_mm\": -5.6, \"x\": 5", "focal length in mm");
    refused(ctx, "\"photos\": 8", "\"photos\": -8", "photos");
    refused(ctx, "{", "[", "no JSON");
    ps_context_free(ctx);
}

static void not_a_profile_at_all(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_camera_profile p;
    static const char *const text[] = {
        "", " ", "{}", "[]", "3", "null", "\"pinspan.camera/1\"", "{\"schema\": 1}", "{\"schema\": \"pinspan.camera/1\"}", "\xff\xd8\xff"};
    for (size_t i = 0; i < sizeof text / sizeof *text; i++)
        assert_int_equal(ps_camera_profile_parse(ctx, text[i], strlen(text[i]), &p), PS_BAD_FILE);
    char *large = calloc(1, 100000);
    assert_int_equal(ps_camera_profile_parse(ctx, large, 100000, &p), PS_TOO_LARGE);
    free(large);
    assert_int_equal(ps_camera_profile_read(ctx, "no-such-file", &p), PS_IO);
    assert_int_equal(ps_camera_profile_read(ctx, ".", &p), PS_IO);
    /* Every cut of a whole text is told. */
    ps_camera_profile whole = sample();
    char *good = text_of(&whole);
    for (size_t size = 0; size + 2 < strlen(good); size++) assert_int_equal(ps_camera_profile_parse(ctx, good, size, &p), PS_BAD_FILE);
    free(good);
    ps_context_free(ctx);
}

static void numbers_that_cannot_be_are_refused(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    const struct {
        int at;
        double value;
    } wrong[] = {{0, 0},
                 {0, -1},
                 {0, NAN},
                 {0, INFINITY},
                 {0, 1e-30},           /* knows the focal length to 1e-18 */
                 {0, 1e6},             /* sd of 1000 px */
                 {N + 1, 1e7},         /* sd of the centre beyond the photo */
                 {3 * (N + 1), 1e4},   /* k1 */
                 {5 * (N + 1), 1},     /* p1 */
                 {1, 5},               /* not symmetric */
                 {3 * (N + 1), 1e-9}}; /* smaller than its own covariances allow: not positive definite */
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        ps_camera_profile p = sample();
        char *text = NULL;
        p.covariance[wrong[i].at] = wrong[i].value;
        assert_int_equal(ps_camera_profile_check(ctx, &p), PS_BAD_FILE);
        assert_int_equal(ps_camera_profile_json(ctx, &p, &text), PS_BAD_FILE); /* nor is such a one written */
        assert_null(text);
    }
    ps_camera_profile p = sample();
    assert_int_equal(ps_camera_profile_check(ctx, &p), PS_OK);
    ps_context_free(ctx);
}

static ps_photo photo_of(const ps_camera_profile *p) {
    ps_photo photo = {.stored_width = p->width, .stored_height = p->height};
    photo.exif = (ps_exif){.present = true, .orientation = 1, .focal_mm = 5.6, .focal_35mm_mm = 26, .make = "Example", .model = "Phone A"};
    return photo;
}

static bool fits(const ps_camera_profile *p, const ps_photo *photo) {
    ps_lens lens = {0};
    double C[N * N] = {0};
    const char *why = NULL;
    bool yes = ps_camera_profile_for(p, photo, &lens, C, &why);
    assert_true(yes == (why == NULL));
    assert_true(yes == (lens.f_px > 0)); /* written only when it fits */
    return yes;
}

static void only_photos_of_the_camera_fit(void **state) {
    (void)state;
    ps_camera_profile p = sample();
    ps_photo photo = photo_of(&p);
    assert_true(fits(&p, &photo));
    photo.exif.orientation = 6; /* held upright: the sensor is the same */
    assert_true(fits(&p, &photo));

    photo = photo_of(&p);
    strcpy(photo.exif.model, "Phone B");
    assert_false(fits(&p, &photo));
    photo = photo_of(&p);
    strcpy(photo.exif.make, "Sample");
    assert_false(fits(&p, &photo));
    photo = photo_of(&p);
    photo.exif.focal_35mm_mm = 13; /* the same phone's wide lens */
    assert_false(fits(&p, &photo));
    photo = photo_of(&p);
    photo.exif.focal_mm = 2.2;
    assert_false(fits(&p, &photo));
    photo = photo_of(&p);
    photo.exif.digital_zoom = 1.5;
    assert_false(fits(&p, &photo));
    photo = photo_of(&p);
    photo.stored_width = 3264, photo.stored_height = 1836; /* cut to 16:9 */
    assert_false(fits(&p, &photo));
    photo.stored_width = 2448, photo.stored_height = 3264; /* turned: which way is not known */
    assert_false(fits(&p, &photo));
    photo = photo_of(&p);
    photo.exif.pixel_width = 4032, photo.exif.pixel_height = 3024; /* cut to this size after it was taken, or made smaller */
    assert_false(fits(&p, &photo));
    photo.exif.pixel_width = 2448, photo.exif.pixel_height = 3264; /* turned tags, same photo */
    assert_true(fits(&p, &photo));

    /* No EXIF, as chat apps leave photos: the size decides. */
    photo = (ps_photo){.stored_width = 1600, .stored_height = 1200, .exif = {.orientation = 1}};
    assert_true(fits(&p, &photo));
    photo.stored_height = 1199; /* 1200 by the shape */
    assert_false(fits(&p, &photo));
    photo.stored_width = photo.stored_height = 0;
    assert_false(fits(&p, &photo));
}

/* A pixel at (x, y) of the large photo lies at ((x + 0.5) s - 0.5, ...) of the small one, whatever its direction. */
static void a_smaller_photo_gets_the_same_lens(void **state) {
    (void)state;
    ps_camera_profile p = sample();
    ps_photo photo = photo_of(&p);
    ps_lens lens;
    double C[N * N], s = 0.5;
    photo.stored_width = 1632, photo.stored_height = 1224;
    assert_true(ps_camera_profile_for(&p, &photo, &lens, C, NULL));
    const double ray[3][3] = {{0, 0, 1}, {0.3, -0.2, 1}, {-0.5, 0.4, 1}};
    for (int i = 0; i < 3; i++) {
        double large[2], small[2];
        assert_true(ps_lens_project(&p.lens, ray[i], large, NULL, NULL));
        assert_true(ps_lens_project(&lens, ray[i], small, NULL, NULL));
        for (int k = 0; k < 2; k++) CHECK_NEAR(small[k], (large[k] + 0.5) * s - 0.5, 1e-9); /* rounding */
    }
    CHECK_NEAR(C[0], p.covariance[0] * s * s, 1e-12);
    CHECK_NEAR(C[(N + 1) * PS_LENS_K1], p.covariance[(N + 1) * PS_LENS_K1], 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(there_and_back),
        cmocka_unit_test(text_that_cannot_be_is_refused),
        cmocka_unit_test(not_a_profile_at_all),
        cmocka_unit_test(numbers_that_cannot_be_are_refused),
        cmocka_unit_test(only_photos_of_the_camera_fit),
        cmocka_unit_test(a_smaller_photo_gets_the_same_lens),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
