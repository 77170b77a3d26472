/* Luma from every kind of JPEG that is read, and one clear refusal for all others. */
#include "check.h"

#include "make_jpeg.h"
#include "pinspan/photo.h"

static ps_context *ctx;

static int setup(void **state) {
    (void)state;
    ctx = ps_context_new();
    return ctx ? 0 : -1;
}

static int teardown(void **state) {
    (void)state;
    ps_context_free(ctx);
    return 0;
}

static const make_options kinds[] = {
    {.width = 83, .height = 61, .in = JCS_GRAYSCALE, .stored = JCS_GRAYSCALE},
    {.width = 83, .height = 61, .in = JCS_RGB, .stored = JCS_YCbCr, .h = 1, .v = 1},
    {.width = 83, .height = 61, .in = JCS_RGB, .stored = JCS_YCbCr, .h = 2, .v = 1},
    {.width = 83, .height = 61, .in = JCS_RGB, .stored = JCS_YCbCr, .h = 2, .v = 2},
    {.width = 83, .height = 61, .in = JCS_RGB, .stored = JCS_YCbCr, .h = 4, .v = 1},
    {.width = 83, .height = 61, .in = JCS_RGB, .stored = JCS_YCbCr, .h = 2, .v = 2, .progressive = 1},
    {.width = 83, .height = 61, .in = JCS_RGB, .stored = JCS_YCbCr, .h = 2, .v = 2, .restart_rows = 1},
    {.width = 83, .height = 61, .in = JCS_RGB, .stored = JCS_RGB, .h = 1, .v = 1},
    {.width = 1, .height = 1, .in = JCS_RGB, .stored = JCS_YCbCr},
};
enum { KINDS = sizeof kinds / sizeof kinds[0] };

static bytes make_kind(const make_options *o) {
    uint8_t *px = make_pixels(o->width, o->height, channels_of(o->in));
    bytes f = make_jpeg(o, px);
    free(px);
    return f;
}

static void check_message(const char *part) {
    const char *message = ps_context_message(ctx);
    if (!strstr(message, part)) fail_msg("message \"%s\" lacks \"%s\"", message, part);
    assert_null(strchr(message, '\n'));
}

/* Refused with that status and a line that holds `part`; the output stays as it was. */
static void refused(const unsigned char *data, unsigned long size, const ps_photo_limits *limits, ps_status status, const char *part) {
    ps_photo p, kept;
    memset(&p, 0x5A, sizeof p);
    kept = p;
    ps_status got = ps_photo_decode(ctx, data, size, limits, &p);
    if (got != status) fail_msg("status %d (%s), not %d", got, ps_context_message(ctx), status);
    assert_memory_equal(&p, &kept, sizeof p);
    check_message(part);
}

static void same_pixels(const ps_luma *a, const uint8_t *px, int width, int height) {
    assert_int_equal(a->width, width);
    assert_int_equal(a->height, height);
    for (int y = 0; y < height; y++) assert_memory_equal(a->px + (size_t)y * a->stride, px + (size_t)y * (size_t)width, (size_t)width);
}

/* The luma plane is libjpeg's own grey output, bit for bit, in whichever order the rows were stored. */
static void luma_is_libjpegs_grey(void **state) {
    (void)state;
    for (int i = 0; i < KINDS; i++) {
        bytes f = make_kind(&kinds[i]);
        int w, h;
        uint8_t *grey = plain_decode(f.data, f.size, JCS_GRAYSCALE, &w, &h);
        ps_photo p;
        assert_int_equal(ps_photo_decode(ctx, f.data, f.size, NULL, &p), PS_OK);
        same_pixels(&p.luma, grey, w, h);
        assert_int_equal(p.stored_width, kinds[i].width);
        assert_int_equal(p.stored_height, kinds[i].height);
        assert_false(p.exif.present);
        assert_int_equal(p.exif.orientation, 1);
        ps_photo_clear(&p);
        assert_null(p.luma.px);
        free(grey);
        free(f.data);
    }
}

/* One flat colour, so that only rounding is left: of the codec (1 each for colour conversion, DCT and our product). */
#define FLAT_TOLERANCE 3

static double flat_luma(J_COLOR_SPACE in, J_COLOR_SPACE stored, int no_adobe, const uint8_t *colour) {
    make_options o = {.width = 24, .height = 24, .in = in, .stored = stored, .no_adobe = no_adobe, .quality = 100};
    int n = channels_of(in);
    uint8_t *px = malloc((size_t)(24 * 24 * n));
    assert_non_null(px);
    for (int i = 0; i < 24 * 24 * n; i++) px[i] = colour[i % n];
    bytes f = make_jpeg(&o, px);
    ps_photo p;
    assert_int_equal(ps_photo_decode(ctx, f.data, f.size, NULL, &p), PS_OK);
    double value = p.luma.px[12 * p.luma.stride + 12];
    ps_photo_clear(&p);
    free(f.data);
    free(px);
    return value;
}

static double bt601(double r, double g, double b) {
    return 0.299 * r + 0.587 * g + 0.114 * b;
}

/* BT.601 weights; inks per libjpeg's libjpeg.txt: Adobe's files hold 255 - ink, others the ink. */
static void colours_become_bt601_luma(void **state) {
    (void)state;
    const uint8_t rgb[3] = {200, 90, 30}, inks[4] = {220, 130, 60, 200};
    CHECK_NEAR(flat_luma(JCS_RGB, JCS_RGB, 0, rgb), bt601(200, 90, 30), FLAT_TOLERANCE);
    CHECK_NEAR(flat_luma(JCS_RGB, JCS_YCbCr, 0, rgb), bt601(200, 90, 30), FLAT_TOLERANCE);
    double turned = bt601(220 * 200 / 255.0, 130 * 200 / 255.0, 60 * 200 / 255.0);
    double plain = bt601(35 * 55 / 255.0, 125 * 55 / 255.0, 195 * 55 / 255.0);
    assert_true(fabs(turned - plain) > 20); /* the two readings differ by far */
    CHECK_NEAR(flat_luma(JCS_CMYK, JCS_CMYK, 0, inks), turned, FLAT_TOLERANCE);
    CHECK_NEAR(flat_luma(JCS_CMYK, JCS_YCCK, 0, inks), turned, FLAT_TOLERANCE);
    CHECK_NEAR(flat_luma(JCS_CMYK, JCS_CMYK, 1, inks), plain, FLAT_TOLERANCE);
}

/* Cut anywhere, a file is refused, but for the loss of its two last bytes where one scan holds the whole picture. */
static void every_cut_is_noticed(void **state) {
    (void)state;
    for (int i = 0; i < KINDS; i++) {
        bytes f = make_kind(&kinds[i]);
        ps_photo whole, p;
        assert_int_equal(ps_photo_decode(ctx, f.data, f.size, NULL, &whole), PS_OK);
        for (unsigned long size = 0; size < f.size; size++) {
            unsigned char *cut = malloc(size ? size : 1); /* of that size only, for the sanitizers */
            assert_non_null(cut);
            memcpy(cut, f.data, size);
            if (size + 2 >= f.size && !kinds[i].progressive) {
                assert_int_equal(ps_photo_decode(ctx, cut, size, NULL, &p), PS_OK);
                same_pixels(&p.luma, whole.luma.px, whole.luma.width, whole.luma.height);
                ps_photo_clear(&p);
            } else {
                refused(cut, size, NULL, PS_BAD_FILE, size == 0 ? "empty" : size < 3 ? "not a JPEG" : "JPEG");
            }
            free(cut);
        }
        ps_photo_clear(&whole);
        free(f.data);
    }
}

static void a_cut_says_so(void **state) {
    (void)state;
    bytes f = make_kind(&kinds[3]);
    refused(f.data, f.size / 2 + 200, NULL, PS_BAD_FILE, "truncated");
    refused(f.data, 100, NULL, PS_BAD_FILE, "truncated");
    free(f.data);
}

/* The first scans of a progressive file, properly ended: a picture, but not the whole one. */
static void missing_scans_are_noticed(void **state) {
    (void)state;
    bytes f = make_kind(&kinds[5]);
    int scans = 0;
    for (int n = 1;; n++) {
        unsigned long at = find_marker(f, 0xDA, n);
        if (!at) break;
        bytes part = insert_bytes(f, at, (const unsigned char *)"\xFF\xD9", 2);
        refused(part.data, at + 2, NULL, PS_BAD_FILE, "scans are missing");
        free(part.data);
        scans++;
    }
    assert_true(scans >= 5);
    free(f.data);
}

static void filling_passes_and_leftovers_do_not(void **state) {
    (void)state;
    bytes f = make_kind(&kinds[3]);
    ps_photo whole, p;
    assert_int_equal(ps_photo_decode(ctx, f.data, f.size, NULL, &whole), PS_OK);
    bytes filled = insert_bytes(f, f.size - 2, (const unsigned char *)"\0\0\0\xFF\xFF", 5);
    bytes header = insert_bytes(f, find_marker(f, 0xC0, 0), (const unsigned char *)"junk", 4);
    bytes after = insert_bytes(f, f.size, (const unsigned char *)"\xFF\xD8 another picture", 18);
    bytes good[] = {filled, header, after};
    for (int i = 0; i < 3; i++) {
        assert_int_equal(ps_photo_decode(ctx, good[i].data, good[i].size, NULL, &p), PS_OK);
        same_pixels(&p.luma, whole.luma.px, whole.luma.width, whole.luma.height);
        ps_photo_clear(&p);
        free(good[i].data);
    }
    /* Up to eight bytes can vanish in libjpeg's bit buffer (docs/photo.md). */
    bytes left = insert_bytes(f, f.size - 2, (const unsigned char *)"twelve bytes", 12);
    refused(left.data, left.size, NULL, PS_BAD_FILE, "damaged");
    free(left.data);
    ps_photo_clear(&whole);
    free(f.data);
}

/* A lost restart interval: libjpeg would go on with a grey band. */
static void lost_interval_is_noticed(void **state) {
    (void)state;
    bytes f = make_kind(&kinds[6]);
    unsigned long from = find_marker(f, 0xD0, 0), to = find_marker(f, 0xD1, 0);
    assert_true(from > 0 && to > from);
    memmove(f.data + from, f.data + to, f.size - to);
    refused(f.data, f.size - (to - from), NULL, PS_BAD_FILE, "damaged");
    free(f.data);
}

static void set_size(bytes f, int width, int height) {
    unsigned long at = find_marker(f, 0xC0, 0);
    assert_true(at > 0);
    f.data[at + 5] = (unsigned char)(height >> 8);
    f.data[at + 6] = (unsigned char)height;
    f.data[at + 7] = (unsigned char)(width >> 8);
    f.data[at + 8] = (unsigned char)width;
}

static void header_alone_allocates_nothing(void **state) {
    (void)state;
    bytes f = make_kind(&kinds[3]);
    ps_photo_limits wide = ps_photo_limits_default();
    wide.max_pixels = (int64_t)1 << 40;
    wide.max_memory = (int64_t)1 << 40;
    set_size(f, 65500, 65500);
    refused(f.data, f.size, NULL, PS_TOO_LARGE, "65500 x 65500");
    refused(f.data, f.size, &wide, PS_BAD_FILE, "cannot hold 65500 x 65500");
    set_size(f, 65501, 16);
    refused(f.data, f.size, &wide, PS_TOO_LARGE, "larger than allowed");
    set_size(f, 0, 61);
    refused(f.data, f.size, NULL, PS_BAD_FILE, "damaged");
    set_size(f, 83, 0);
    refused(f.data, f.size, NULL, PS_BAD_FILE, "damaged");
    set_size(f, 83, 61);
    ps_photo p;
    assert_int_equal(ps_photo_decode(ctx, f.data, f.size, NULL, &p), PS_OK);
    ps_photo_clear(&p);
    free(f.data);
}

static void each_limit_holds(void **state) {
    (void)state;
    bytes plain = make_kind(&kinds[3]), progressive = make_kind(&kinds[5]);
    const ps_photo_limits exact = {.max_pixels = 83 * 61, .max_scans = 10, .max_memory = 200000, .max_file = (int64_t)progressive.size};
    ps_photo_limits l = exact;
    ps_photo p;
    assert_int_equal(ps_photo_decode(ctx, progressive.data, progressive.size, &l, &p), PS_OK);
    ps_photo_clear(&p);
    l.max_pixels--;
    refused(progressive.data, progressive.size, &l, PS_TOO_LARGE, "83 x 61");
    l = exact;
    l.max_scans = 9; /* jpeg_simple_progression makes ten for YCbCr */
    refused(progressive.data, progressive.size, &l, PS_TOO_LARGE, "9 scans");
    l = exact;
    l.max_file = (int64_t)plain.size;
    l.max_memory = 83 * 61 - 1;
    refused(plain.data, plain.size, &l, PS_TOO_LARGE, "memory");
    l = exact;
    l.max_file--;
    refused(progressive.data, progressive.size, &l, PS_TOO_LARGE, "file is larger");
    l = exact;
    l.max_scans = 0;
    refused(progressive.data, progressive.size, &l, PS_BAD_ARGUMENT, "limit");
    free(plain.data);
    free(progressive.data);
}

/* A progressive file's coefficients, 2 bytes x 1.5 x 400 x 400, are the decoder's own and are capped too. */
static void coefficients_are_capped(void **state) {
    (void)state;
    make_options o = {.width = 400, .height = 400, .in = JCS_RGB, .stored = JCS_YCbCr, .h = 2, .v = 2, .progressive = 1};
    bytes f = make_kind(&o);
    ps_photo_limits l = ps_photo_limits_default();
    ps_photo p;
    l.max_memory = 1000000;
    assert_int_equal(ps_photo_decode(ctx, f.data, f.size, &l, &p), PS_OK);
    ps_photo_clear(&p);
    l.max_memory = 400000; /* enough for the pixels */
    refused(f.data, f.size, &l, PS_TOO_LARGE, "memory");
    free(f.data);
}

static void other_files_are_named(void **state) {
    (void)state;
    static const char *const brands[] = {"heic", "heix", "mif1", "avif"};
    for (int i = 0; i < 4; i++) {
        unsigned char box[24] = {0, 0, 0, 24, 'f', 't', 'y', 'p'};
        memcpy(box + 8, brands[i], 4);
        refused(box, sizeof box, NULL, PS_UNSUPPORTED, "send the photo as JPEG");
    }
    const unsigned char film[24] = {0, 0, 0, 24, 'f', 't', 'y', 'p', 'i', 's', 'o', 'm'};
    refused(film, sizeof film, NULL, PS_BAD_FILE, "not a JPEG file");
    refused((const unsigned char *)"\x89PNG\r\n\x1A\n", 8, NULL, PS_BAD_FILE, "not a JPEG file");
    refused((const unsigned char *)"\xFF\xD8\xFF", 3, NULL, PS_BAD_FILE, "truncated");
    bytes f = make_kind(&kinds[3]);
    unsigned long at = find_marker(f, 0xC0, 0);
    f.data[at + 1] = 0xC9; /* arithmetic coding */
    refused(f.data, f.size, NULL, PS_UNSUPPORTED, "not supported");
    f.data[at + 1] = 0xC3; /* lossless */
    refused(f.data, f.size, NULL, PS_UNSUPPORTED, "not supported");
    f.data[at + 1] = 0xC1; /* 12 bits */
    f.data[at + 4] = 12;
    refused(f.data, f.size, NULL, PS_UNSUPPORTED, "not supported");
    free(f.data);
}

static void paths_that_cannot_be_read(void **state) {
    (void)state;
    ps_photo p;
    ps_colour c;
    assert_int_equal(ps_photo_read(ctx, PS_TEST_DATA "/no-such.jpg", NULL, &p), PS_IO);
    check_message("cannot be opened");
    assert_null(strstr(ps_context_message(ctx), "no-such"));
    assert_int_equal(ps_photo_read(ctx, PS_TEST_DATA, NULL, &p), PS_IO);
    check_message("directory");
    assert_int_equal(ps_photo_read_colour(ctx, PS_TEST_DATA "/no-such.jpg", NULL, 0, &c), PS_IO);
    assert_int_equal(ps_photo_read(ctx, PS_TEST_DATA "/exif/SOURCE.txt", NULL, &p), PS_BAD_FILE);
    check_message("not a JPEG file");
    ps_photo_limits l = ps_photo_limits_default();
    l.max_file = 100;
    assert_int_equal(ps_photo_read(ctx, PS_TEST_DATA "/exif/exif-a.jpg", &l, &p), PS_TOO_LARGE);
    assert_int_equal(ps_photo_read(ctx, NULL, NULL, &p), PS_BAD_ARGUMENT);
    assert_int_equal(ps_photo_decode(ctx, NULL, 5, NULL, &p), PS_BAD_ARGUMENT);
    ps_photo_clear(NULL);
    ps_colour_clear(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(luma_is_libjpegs_grey),     cmocka_unit_test(colours_become_bt601_luma),
        cmocka_unit_test(every_cut_is_noticed),      cmocka_unit_test(a_cut_says_so),
        cmocka_unit_test(missing_scans_are_noticed), cmocka_unit_test(filling_passes_and_leftovers_do_not),
        cmocka_unit_test(lost_interval_is_noticed),  cmocka_unit_test(header_alone_allocates_nothing),
        cmocka_unit_test(each_limit_holds),          cmocka_unit_test(coefficients_are_capped),
        cmocka_unit_test(other_files_are_named),     cmocka_unit_test(paths_that_cannot_be_read),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
