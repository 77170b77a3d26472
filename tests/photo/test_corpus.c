/* The fuzzers' corpus as an ordinary test: 150 damaged files come back with a status and a line, and nothing else. */
#include "check.h"

#include "make_jpeg.h"
#include "photo/decode.h"
#include "photo/exif.h"

enum { FILES = 150 };

static void corpus_returns(void **state) {
    (void)state;
    int count[PS_STATUS_COUNT] = {0};
    ps_photo_limits l = ps_photo_limits_default();
    for (int i = 0; i < FILES; i++) {
        char path[512];
        (void)snprintf(path, sizeof path, "%s/tests/fuzz/corpus-jpeg/%03d.jpg", PS_SOURCE_ROOT, i);
        bytes f = read_file(path);
        assert_non_null(f.data);
        ps_context *ctx = ps_context_new();
        assert_non_null(ctx);
        ps_photo p = {0};
        ps_colour c = {0};
        ps_exif e;
        ps_status status = ps_photo_decode(ctx, f.data, f.size, &l, &p);
        assert_in_range(status, 0, PS_STATUS_COUNT - 1);
        count[status]++;
        assert_int_equal(status == PS_OK, p.luma.px != NULL);
        assert_int_equal(status == PS_OK, ps_context_message(ctx)[0] == '\0');
        if (status == PS_OK) assert_true(p.luma.width > 0 && p.luma.height > 0);
        ps_status coloured = ps_colour_decode(ctx, f.data, f.size, &l, 50, &c);
        assert_int_equal(status == PS_OK, coloured == PS_OK);
        (void)ps_exif_read(f.data, f.size, &e);
        ps_photo_clear(&p);
        ps_colour_clear(&c);
        ps_context_free(ctx);
        free(f.data);
    }
    /* No other failure may come from the contents of a file, and nearly all of these files are damaged. */
    assert_int_equal(count[PS_OK] + count[PS_BAD_FILE] + count[PS_UNSUPPORTED] + count[PS_TOO_LARGE], FILES);
    assert_in_range(count[PS_BAD_FILE], FILES / 2, FILES);
    assert_true(count[PS_UNSUPPORTED] > 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(corpus_returns)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
