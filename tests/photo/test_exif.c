/* EXIF: what four phones wrote, both byte orders, values that must count as absent, and damage at every byte. */
#include "check.h"

#include "make_jpeg.h"
#include "photo/exif.h"

#define EXACT 1e-12 /* rationals of small numbers, one division */

static ps_exif of_file(const char *name) {
    char path[512];
    ps_photo p;
    (void)snprintf(path, sizeof path, "%s/exif/%s", PS_TEST_DATA, name);
    assert_int_equal(ps_photo_read(NULL, path, NULL, &p), PS_OK);
    ps_exif exif = p.exif;
    ps_photo_clear(&p);
    return exif;
}

/* Expected values: exiftool's, as the source notes beside the files say. */
static void phones(void **state) {
    (void)state;
    ps_exif a = of_file("exif-a.jpg"), b = of_file("exif-b.jpg"), c = of_file("exif-c.jpg"), d = of_file("exif-d.jpg");
    assert_true(a.present && b.present && c.present && d.present);
    CHECK_NEAR(a.focal_mm, 3.85, EXACT);
    CHECK_NEAR(a.focal_35mm_mm, 0, 0);
    assert_int_equal(a.pixel_width, 1296);
    assert_int_equal(a.pixel_height, 968);
    assert_int_equal(a.orientation, 1);
    CHECK_NEAR(b.focal_mm, 4.31, EXACT);
    CHECK_NEAR(b.focal_35mm_mm, 0, 0);
    CHECK_NEAR(c.focal_mm, 3.82, EXACT);
    CHECK_NEAR(c.focal_35mm_mm, 28, 0);
    assert_int_equal(d.orientation, 6);
    CHECK_NEAR(d.focal_35mm_mm, 0, 0); /* written as 0: unknown */
    assert_int_equal(d.pixel_width, 640);
    assert_int_equal(d.pixel_height, 480);
    assert_int_equal(strlen(a.date), 19);
    assert_true(a.model[0] != '\0');
}

/* ---- segments made here ---- */

typedef struct segment {
    uint8_t data[1024];
    size_t size;
    int big;
    size_t directory; /* where the entries of the open directory start */
    size_t extra;     /* where the next long value goes */
} segment;

static void put(segment *s, size_t at, uint32_t value, int count) {
    for (int i = 0; i < count; i++) s->data[at + (size_t)i] = (uint8_t)(value >> 8 * (s->big ? count - 1 - i : i));
}

/* A segment with room for `n` entries in each directory; the second starts at 200, long values at 400 (from TIFF's start). */
static segment start(int big) {
    segment s = {.big = big, .size = 6 + 600, .extra = 400};
    memcpy(s.data, "Exif\0", 6);
    memcpy(s.data + 6, big ? "MM" : "II", 2);
    put(&s, 6 + 2, 42, 2);
    put(&s, 6 + 4, 8, 4);
    s.directory = 8;
    return s;
}

static size_t add(segment *s, unsigned tag, unsigned type, uint32_t count, uint32_t value) {
    size_t n = s->big ? (size_t)s->data[6 + s->directory] << 8 | s->data[7 + s->directory]
                      : (size_t)s->data[7 + s->directory] << 8 | s->data[6 + s->directory];
    size_t at = 6 + s->directory + 2 + 12 * n;
    put(s, 6 + s->directory, (uint32_t)n + 1, 2);
    put(s, at, tag, 2);
    put(s, at + 2, type, 2);
    put(s, at + 4, count, 4);
    put(s, at + 8, value, type == 3 ? 2 : 4);
    return at + 8;
}

static void add_rational(segment *s, unsigned tag, unsigned type, uint32_t over, uint32_t under) {
    (void)add(s, tag, type, 1, (uint32_t)s->extra);
    put(s, 6 + s->extra, over, 4);
    put(s, 6 + s->extra + 4, under, 4);
    s->extra += 8;
}

static void add_text(segment *s, unsigned tag, const char *text) {
    size_t length = strlen(text) + 1;
    (void)add(s, tag, 2, (uint32_t)length, (uint32_t)s->extra);
    memcpy(s->data + 6 + s->extra, text, length);
    s->extra += length;
}

static void second_directory(segment *s) {
    (void)add(s, 0x8769, 4, 1, 200);
    s->directory = 200;
}

static segment full(int big) {
    segment s = start(big);
    add_text(&s, 0x010F, "  Maker of things ");
    add_text(&s, 0x0110, "Model\xC3\xA9 5");
    (void)add(&s, 0x0112, 3, 1, 6);
    second_directory(&s);
    add_text(&s, 0x9003, "2024:05:06 07:08:09");
    add_rational(&s, 0x920A, 5, 425, 100);
    (void)add(&s, 0xA002, 4, 1, 4032);
    (void)add(&s, 0xA003, 3, 1, 3024);
    add_rational(&s, 0xA404, 5, 3, 2);
    (void)add(&s, 0xA405, 3, 1, 26);
    add_text(&s, 0xA434, "wide");
    return s;
}

static void both_byte_orders(void **state) {
    (void)state;
    for (int big = 0; big < 2; big++) {
        segment s = full(big);
        ps_exif e;
        assert_true(ps_exif_read(s.data, s.size, &e));
        assert_true(e.present);
        assert_int_equal(e.orientation, 6);
        assert_string_equal(e.make, "Maker of things");
        assert_string_equal(e.model, "Model?? 5");
        assert_string_equal(e.lens, "wide");
        assert_string_equal(e.date, "2024:05:06 07:08:09");
        CHECK_NEAR(e.focal_mm, 4.25, EXACT);
        CHECK_NEAR(e.focal_35mm_mm, 26, 0);
        CHECK_NEAR(e.digital_zoom, 1.5, EXACT);
        assert_int_equal(e.pixel_width, 4032);
        assert_int_equal(e.pixel_height, 3024);
    }
}

static void orientation_out_of_range_is_1(void **state) {
    (void)state;
    static const unsigned values[] = {0, 9, 255, 65535};
    for (unsigned i = 1; i <= 8; i++) {
        segment s = start(0);
        ps_exif e;
        (void)add(&s, 0x0112, 3, 1, i);
        assert_true(ps_exif_read(s.data, s.size, &e));
        assert_int_equal(e.orientation, i);
    }
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
        segment s = start(0);
        ps_exif e;
        (void)add(&s, 0x0112, 3, 1, values[i]);
        assert_true(ps_exif_read(s.data, s.size, &e));
        assert_int_equal(e.orientation, 1);
    }
}

static double focal(unsigned type, uint32_t over, uint32_t under) {
    segment s = start(1);
    ps_exif e;
    second_directory(&s);
    add_rational(&s, 0x920A, type, over, under);
    assert_true(ps_exif_read(s.data, s.size, &e));
    return e.focal_mm;
}

static void absurd_numbers_are_absent(void **state) {
    (void)state;
    CHECK_NEAR(focal(5, 4, 1), 4, 0); /* the same way gives a value where there is one */
    CHECK_NEAR(focal(10, 4, 1), 4, 0);
    CHECK_NEAR(focal(5, 0, 0), 0, 0);
    CHECK_NEAR(focal(5, 4, 0), 0, 0);
    CHECK_NEAR(focal(5, 0, 10), 0, 0);
    CHECK_NEAR(focal(5, 0xFFFFFFFFu, 1), 0, 0);
    CHECK_NEAR(focal(10, 0xFFFFFFFCu, 1), 0, 0); /* -4 */
    CHECK_NEAR(focal(10, 4, 0xFFFFFFFFu), 0, 0);
    CHECK_NEAR(focal(7, 4, 1), 0, 0); /* a type that is no number */
}

static void pointers_outside_are_absent(void **state) {
    (void)state;
    static const uint32_t offsets[] = {0xFFFFFFFFu, 0xFFFFFFF8u, 599, 600, 593};
    for (size_t i = 0; i < sizeof offsets / sizeof offsets[0]; i++) {
        segment s = start(0);
        ps_exif e;
        (void)add(&s, 0x010F, 2, 20, offsets[i]);
        second_directory(&s);
        (void)add(&s, 0x920A, 5, 1, offsets[i]);
        assert_true(ps_exif_read(s.data, s.size, &e));
        assert_string_equal(e.make, "");
        CHECK_NEAR(e.focal_mm, 0, 0);
        s = start(0);
        (void)add(&s, 0x8769, 4, 1, offsets[i]); /* the second directory itself */
        assert_true(ps_exif_read(s.data, s.size, &e));
    }
    segment s = start(0); /* counts whose product with the size overflows 32 bits */
    ps_exif e;
    (void)add(&s, 0x0110, 2, 0xFFFFFFFFu, 400);
    second_directory(&s);
    (void)add(&s, 0x920A, 5, 0x20000000u, 400);
    (void)add(&s, 0xA405, 3, 0x80000001u, 400);
    assert_true(ps_exif_read(s.data, s.size, &e));
    assert_string_equal(e.model, "");
    CHECK_NEAR(e.focal_mm, 0, 0);
    CHECK_NEAR(e.focal_35mm_mm, 0, 0);
}

/* A directory that points to itself, or to the first one, costs one more reading and no loop. */
static void circles_end(void **state) {
    (void)state;
    for (uint32_t at = 8; at <= 200; at += 192) {
        segment s = start(0);
        ps_exif e;
        (void)add(&s, 0x8769, 4, 1, at);
        s.directory = 200;
        (void)add(&s, 0x8769, 4, 1, 200);
        assert_true(ps_exif_read(s.data, s.size, &e));
    }
}

static void other_segments_are_none(void **state) {
    (void)state;
    ps_exif e;
    segment s = full(0);
    s.data[8] = 43;
    assert_false(ps_exif_read(s.data, s.size, &e));
    assert_false(e.present);
    s = full(0);
    s.data[7] = 'M';
    assert_false(ps_exif_read(s.data, s.size, &e));
    assert_false(ps_exif_read((const uint8_t *)"http://ns.adobe.com/xap/1.0/", 29, &e));
    assert_false(ps_exif_read((const uint8_t *)"Exif", 4, &e));
    assert_int_equal(e.orientation, 1);
}

/* Cut at every length and each byte changed, in a buffer of just that size, for the sanitizers to watch. */
static void damage_is_safe(void **state) {
    (void)state;
    for (int big = 0; big < 2; big++) {
        segment s = full(big);
        for (size_t size = 1; size <= s.size; size++) {
            uint8_t *copy = malloc(size);
            ps_exif e;
            assert_non_null(copy);
            memcpy(copy, s.data, size);
            (void)ps_exif_read(copy, size, &e);
            assert_in_range(e.orientation, 1, 8);
            for (int k = 0; k < 8; k++) {
                uint8_t kept = copy[size - 1];
                copy[size - 1] = (uint8_t)(kept ^ 1 << k);
                (void)ps_exif_read(copy, size, &e);
                assert_in_range(e.orientation, 1, 8);
                assert_true(e.focal_mm >= 0 && e.focal_35mm_mm >= 0 && e.digital_zoom >= 0);
                copy[size - 1] = kept;
            }
            free(copy);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(phones),
        cmocka_unit_test(both_byte_orders),
        cmocka_unit_test(orientation_out_of_range_is_1),
        cmocka_unit_test(absurd_numbers_are_absent),
        cmocka_unit_test(pointers_outside_are_absent),
        cmocka_unit_test(circles_end),
        cmocka_unit_test(other_segments_are_none),
        cmocka_unit_test(damage_is_safe),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
