/* Millimetres in sentences with inches behind them. */
#include "check.h"

#include <stdlib.h>
#include <string.h>

#include "report/words.h"

static void test_inches(void **state) {
    (void)state;
    static const struct {
        const char *text, *wanted;
    } cases[] = {
        {"", ""},
        {"No length here, 5 photos of 12 Mpx, mm alone.", "No length here, 5 photos of 12 Mpx, mm alone."},
        {"From 720 mm away.", "From 720 mm (28.3 in) away."},
        {"254.0 mm", "254.0 mm (10.00 in)"},
        {"further than the 0.5 mm that", "further than the 0.5 mm (0.02 in) that"},
        {"a chamfer of 1 to 3 mm", "a chamfer of 1 to 3 mm (0.0 to 0.1 in)"},
        {"12.7 ± 2.54 mm", "12.7 ± 2.54 mm (0.50 ± 0.100 in)"},
        {"off by +25.4 mm, or -50.8 mm", "off by +25.4 mm (+1.00 in), or -50.8 mm (-2.00 in)"},
        {"446.1 mm ± 2.2, the value", "446.1 mm ± 2.2, the value"},
        {"plate-1 mm, v1.2 mm, 3. mm, 4 mm2, 5 mmx", "plate-1 mm, v1.2 mm, 3. mm, 4 mm2, 5 mmx"},
        {"1..2 mm", "1..2 mm"},
        {"8 mm and 9 mm", "8 mm (0.3 in) and 9 mm (0.4 in)"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *got = ps_words_inches(cases[i].text);
        assert_non_null(got);
        assert_string_equal(got, cases[i].wanted);
        free(got);
    }
}

static void test_band(void **state) {
    (void)state;
    char text[40];
    ps_words_band(64.753125, 0.125, false, text, sizeof text);
    assert_string_equal(text, "64.75 ± 0.13"); /* a band is rounded up */
    ps_words_band(64.753125, 0.125, true, text, sizeof text);
    assert_string_equal(text, "2.549 ± 0.005");
    ps_words_band(NAN, 0.1, false, text, sizeof text);
    assert_string_equal(text, "-");
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_inches), cmocka_unit_test(test_band)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
