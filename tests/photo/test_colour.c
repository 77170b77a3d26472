/* The picture for people: colours, shrinking, turning. */
#include "check.h"

#include "make_jpeg.h"
#include "photo/decode.h"

static bytes picture(int width, int height, J_COLOR_SPACE in, J_COLOR_SPACE stored, int orientation) {
    make_options o = {.width = width, .height = height, .in = in, .stored = stored, .orientation = orientation, .quality = 95};
    uint8_t *px = make_pixels(width, height, channels_of(in));
    bytes f = make_jpeg(&o, px);
    free(px);
    return f;
}

static ps_colour decode(bytes f, int max_side) {
    ps_photo_limits l = ps_photo_limits_default();
    ps_colour c = {0};
    assert_int_equal(ps_colour_decode(NULL, f.data, f.size, &l, max_side, &c), PS_OK);
    return c;
}

static void full_size_is_libjpegs_rgb(void **state) {
    (void)state;
    bytes f = picture(83, 61, JCS_RGB, JCS_YCbCr, 0);
    int w, h;
    uint8_t *rgb = plain_decode(f.data, f.size, JCS_RGB, &w, &h);
    for (int max_side = 0; max_side <= 166; max_side += 83) { /* 0 and anything not smaller: full size */
        ps_colour c = decode(f, max_side);
        assert_int_equal(c.width, w);
        assert_int_equal(c.height, h);
        assert_true(c.scale == 1.0);
        assert_memory_equal(c.px, rgb, (size_t)w * (size_t)h * 3);
        ps_colour_clear(&c);
    }
    free(rgb);
    free(f.data);
}

/* Mean of the source over output pixel (x, y) with fractional borders, in doubles. */
static double area_mean(const uint8_t *rgb, int w, int h, int ow, int oh, int x, int y, int channel) {
    double x0 = (double)x * w / ow, x1 = (double)(x + 1) * w / ow, y0 = (double)y * h / oh, y1 = (double)(y + 1) * h / oh, sum = 0;
    for (int j = (int)y0; j < h && j < y1; j++)
        for (int i = (int)x0; i < w && i < x1; i++)
            sum += (fmin(x1, i + 1) - fmax(x0, i)) * (fmin(y1, j + 1) - fmax(y0, j)) * rgb[3 * (j * w + i) + channel];
    return sum / ((x1 - x0) * (y1 - y0));
}

/* Above seven eighths libjpeg does not shrink, so that the result is the exact area average, rounded. */
static void rest_is_the_area_average(void **state) {
    (void)state;
    const double rounding = 0.5 + 1e-9; /* of the mean, and of the doubles here */
    bytes f = picture(97, 61, JCS_RGB, JCS_YCbCr, 0);
    int w, h;
    uint8_t *rgb = plain_decode(f.data, f.size, JCS_RGB, &w, &h);
    ps_colour c = decode(f, 90);
    assert_int_equal(c.width, 90);
    assert_int_equal(c.height, 57); /* 61*90/97 = 56.6 */
    CHECK_NEAR(c.scale, 90.0 / 97.0, 1e-15);
    for (int y = 0; y < c.height; y++)
        for (int x = 0; x < c.width; x++)
            for (int k = 0; k < 3; k++) CHECK_NEAR(c.px[3 * (y * c.width + x) + k], area_mean(rgb, w, h, 90, 57, x, y, k), rounding);
    ps_colour_clear(&c);
    free(rgb);
    free(f.data);
}

/* Where eighths fit, libjpeg's own shrinking is all that is done. */
static void eighths_are_libjpegs(void **state) {
    (void)state;
    bytes f = read_file(PS_TEST_DATA "/orientation/landscape-1.jpg");
    assert_non_null(f.data);
    for (unsigned n = 1; n <= 8; n++) {
        int w, h;
        uint8_t *rgb = plain_shrunk(f.data, f.size, JCS_RGB, n, &w, &h);
        ps_colour c = decode(f, (int)n * 30);
        assert_int_equal(c.width, w);
        assert_int_equal(c.height, h);
        CHECK_NEAR(c.scale, n / 8.0, 0);
        assert_memory_equal(c.px, rgb, 3 * (size_t)w * (size_t)h);
        ps_colour_clear(&c);
        free(rgb);
    }
    free(f.data);
}

/* On a ramp whose value is x (or y), an output pixel's value says where it lies: pixel X of the shrunk picture has its centre
 * at (X + 0.5)/scale - 0.5. Tolerance: 1.5 for the coding and libjpeg's shrinking, 0.5 for rounding. */
#define RAMP_TOLERANCE 2.0

static void shrinking_keeps_places(void **state) {
    (void)state;
    enum { SIDE = 250 };
    uint8_t *px = malloc(3 * SIDE * SIDE);
    assert_non_null(px);
    for (int i = 0; i < SIDE * SIDE; i++) {
        px[3 * i] = (uint8_t)(i % SIDE);
        px[3 * i + 1] = (uint8_t)(i / SIDE);
        px[3 * i + 2] = 128;
    }
    make_options o = {.width = SIDE, .height = SIDE, .in = JCS_RGB, .stored = JCS_RGB, .quality = 100};
    bytes f = make_jpeg(&o, px);
    for (int side = 11; side <= SIDE; side += 13) {
        ps_colour c = decode(f, side);
        for (int y = 0; y < c.height; y++)
            for (int x = 0; x < c.width; x++) {
                CHECK_NEAR(c.px[3 * (y * c.width + x)], (x + 0.5) / c.scale - 0.5, RAMP_TOLERANCE);
                CHECK_NEAR(c.px[3 * (y * c.width + x) + 1], (y + 0.5) / c.scale - 0.5, RAMP_TOLERANCE);
            }
        ps_colour_clear(&c);
    }
    free(f.data);
    free(px);
}

/* Turning commutes with shrinking by area: each orientation's picture is the stored one's, pixel for pixel. */
static void turned_like_the_luma(void **state) {
    (void)state;
    for (int side = 0; side <= 80; side += 40)
        for (int orientation = 1; orientation <= 8; orientation++) {
            bytes f = picture(83, 61, JCS_RGB, JCS_YCbCr, orientation), g = picture(83, 61, JCS_RGB, JCS_YCbCr, 0);
            ps_colour c = decode(f, side), stored = decode(g, side);
            assert_int_equal(c.width, orientation < 5 ? stored.width : stored.height);
            CHECK_NEAR(c.scale, (double)c.width / (orientation < 5 ? 83 : 61), 1e-15);
            for (int y = 0; y < c.height; y++)
                for (int x = 0; x < c.width; x++) {
                    double up[2] = {x, y}, at[2];
                    ps_photo_upright_to_stored(orientation, stored.width, stored.height, up, at);
                    assert_memory_equal(c.px + 3 * (y * c.width + x), stored.px + 3 * ((int)at[1] * stored.width + (int)at[0]), 3);
                }
            ps_colour_clear(&c);
            ps_colour_clear(&stored);
            free(f.data);
            free(g.data);
        }
}

static void other_colour_spaces(void **state) {
    (void)state;
    const uint8_t inks[4] = {220, 130, 60, 200};
    uint8_t px[16 * 16 * 4];
    for (size_t i = 0; i < sizeof px; i++) px[i] = inks[i % 4];
    make_options o = {.width = 16, .height = 16, .in = JCS_CMYK, .stored = JCS_YCCK, .quality = 100};
    bytes f = make_jpeg(&o, px);
    ps_colour c = decode(f, 8);
    assert_int_equal(c.width, 8);
    for (int k = 0; k < 3; k++) CHECK_NEAR(c.px[k], inks[k] * inks[3] / 255.0, 3); /* rounding of conversion, DCT, product */
    ps_colour_clear(&c);
    free(f.data);
    bytes grey = picture(40, 30, JCS_GRAYSCALE, JCS_GRAYSCALE, 0);
    c = decode(grey, 20);
    for (int i = 0; i < c.width * c.height; i++) assert_true(c.px[3 * i] == c.px[3 * i + 1] && c.px[3 * i] == c.px[3 * i + 2]);
    ps_colour_clear(&c);
    free(grey.data);
}

static void thin_pictures(void **state) {
    (void)state;
    for (int orientation = 1; orientation <= 6; orientation += 5) {
        bytes f = picture(400, 1, JCS_RGB, JCS_YCbCr, orientation);
        ps_colour c = decode(f, 50);
        assert_int_equal(c.width, orientation == 1 ? 50 : 1);
        assert_int_equal(c.height, orientation == 1 ? 1 : 50);
        ps_colour_clear(&c);
        free(f.data);
    }
}

static void from_a_path(void **state) {
    (void)state;
    ps_colour c;
    assert_int_equal(ps_photo_read_colour(NULL, PS_TEST_DATA "/orientation/landscape-6.jpg", NULL, 60, &c), PS_OK);
    assert_int_equal(c.width, 60);
    assert_int_equal(c.height, 40);
    ps_colour_clear(&c);
    assert_int_equal(ps_photo_read_colour(NULL, PS_TEST_DATA "/orientation/landscape-6.jpg", NULL, -1, &c), PS_BAD_ARGUMENT);
    assert_int_equal(ps_photo_read_colour(NULL, PS_TEST_DATA "/exif/SOURCE.txt", NULL, 60, &c), PS_BAD_FILE);
}

static void memory_is_capped(void **state) {
    (void)state;
    bytes f = picture(83, 61, JCS_RGB, JCS_YCbCr, 0);
    ps_photo_limits l = ps_photo_limits_default();
    ps_colour c = {0};
    l.max_memory = 83 * 61 * 3 - 1;
    assert_int_equal(ps_colour_decode(NULL, f.data, f.size, &l, 0, &c), PS_TOO_LARGE);
    assert_null(c.px);
    assert_int_equal(ps_colour_decode(NULL, f.data, f.size, &l, 40, &c), PS_OK);
    ps_colour_clear(&c);
    free(f.data);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(full_size_is_libjpegs_rgb),
        cmocka_unit_test(rest_is_the_area_average),
        cmocka_unit_test(eighths_are_libjpegs),
        cmocka_unit_test(shrinking_keeps_places),
        cmocka_unit_test(turned_like_the_luma),
        cmocka_unit_test(other_colour_spaces),
        cmocka_unit_test(thin_pictures),
        cmocka_unit_test(from_a_path),
        cmocka_unit_test(memory_is_capped),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
