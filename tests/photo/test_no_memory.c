/* Memory runs out at every allocation in turn: PS_NO_MEMORY, nothing leaked, nothing touched. The C library's allocator is replaced
 * for the whole program, libjpeg included; not under sanitizers, which need it for themselves. */
#include "check.h"

#include "make_jpeg.h"
#include "photo/decode.h"

#if defined(__SANITIZE_ADDRESS__) || !defined(__GLIBC__)
#define REPLACED 0
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(memory_sanitizer) || __has_feature(thread_sanitizer)
#define REPLACED 0
#endif
#elif defined(__SANITIZE_THREAD__)
#define REPLACED 0
#endif
#ifndef REPLACED
#define REPLACED 1
#endif

#if REPLACED
/* glibc's own entry points, kept by it for this purpose. */
extern void *__libc_malloc(size_t);
extern void *__libc_calloc(size_t, size_t);
extern void *__libc_realloc(void *, size_t);
extern void __libc_free(void *);

static int armed;
static long left, live; /* allocations until memory runs out (libjpeg tries again with less); blocks not yet freed while armed */
static size_t largest;

static int refuse(size_t size) {
    if (!armed) return 0;
    if (size > largest) largest = size;
    return left-- <= 0;
}

/* Visible, so that the shared libraries find them too. */
PS_API void *malloc(size_t size) {
    void *p = refuse(size) ? NULL : __libc_malloc(size);
    live += armed && p;
    return p;
}

PS_API void *calloc(size_t n, size_t size) {
    void *p = refuse(n * size) ? NULL : __libc_calloc(n, size);
    live += armed && p;
    return p;
}

PS_API void *realloc(void *old, size_t size) {
    return refuse(size) ? NULL : __libc_realloc(old, size);
}

PS_API void free(void *p) {
    live -= armed && p;
    __libc_free(p);
}

static ps_status run(bytes f, int colour, long fail_at, long *allocations) {
    ps_photo p = {0};
    ps_colour c = {0};
    ps_photo_limits l = ps_photo_limits_default();
    left = fail_at;
    live = 0;
    largest = 0;
    armed = 1;
    ps_status status = colour ? ps_colour_decode(NULL, f.data, f.size, &l, 40, &c) : ps_photo_decode(NULL, f.data, f.size, &l, &p);
    if (status != PS_OK && (p.luma.px || c.px)) status = PS_INTERNAL;
    ps_photo_clear(&p);
    ps_colour_clear(&c);
    armed = 0;
    *allocations = fail_at - left;
    return status;
}

static void memory_may_run_out_anywhere(void **state) {
    (void)state;
    for (int kind = 0; kind < 6; kind++) {
        make_options o = {
            .width = 131, .height = 77, .in = kind % 3 == 2 ? JCS_CMYK : JCS_RGB, .stored = kind % 3 == 2 ? JCS_YCCK : JCS_YCbCr};
        o.progressive = kind % 3 == 1;
        o.orientation = 6;
        uint8_t *px = make_pixels(o.width, o.height, channels_of(o.in));
        bytes f = make_jpeg(&o, px);
        long needed, used;
        assert_int_equal(run(f, kind >= 3, 1000000, &needed), PS_OK);
        assert_int_equal(live, 0);
        assert_true(needed >= 4);
        for (long i = 0; i < needed; i++) {
            assert_int_equal(run(f, kind >= 3, i, &used), PS_NO_MEMORY);
            assert_int_equal(live, 0);
        }
        free(f.data);
        free(px);
    }
}

/* A header that asks for 4.3 billion pixels, and one just under the limit: no block of a picture's size is asked for. */
static void nothing_large_for_a_lying_header(void **state) {
    (void)state;
    make_options o = {.width = 64, .height = 64, .in = JCS_RGB, .stored = JCS_YCbCr};
    uint8_t *px = make_pixels(64, 64, 3);
    bytes f = make_jpeg(&o, px);
    unsigned long at = find_marker(f, 0xC0, 0);
    static const unsigned char sizes[2][4] = {{0xFF, 0xDC, 0xFF, 0xDC}, {0x27, 0x10, 0x2E, 0xE0}}; /* 65500 x 65500, 10000 x 12000 */
    long used;
    for (int i = 0; i < 2; i++) {
        memcpy(f.data + at + 5, sizes[i], 4);
        assert_int_equal(run(f, 0, 1000000, &used), i == 0 ? PS_TOO_LARGE : PS_BAD_FILE);
        assert_true(largest < 100000);
        assert_int_equal(live, 0);
    }
    free(f.data);
    free(px);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(memory_may_run_out_anywhere),
        cmocka_unit_test(nothing_large_for_a_lying_header),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#else
int main(void) {
    puts("not run: the allocator belongs to a sanitizer, or is not glibc's");
    return 0;
}
#endif
