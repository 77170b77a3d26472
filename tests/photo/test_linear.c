/* The inverse sRGB table against the formula of IEC 61966-2-1. */
#include "check.h"

#include "pinspan/photo.h"

#define FLOAT_ROUNDING 6e-8 /* half a unit in the last place of a float just under 1 */

static void table_is_the_formula(void **state) {
    (void)state;
    const float *t = ps_photo_linear_table();
    for (int i = 0; i < 256; i++) {
        double c = i / 255.0, linear = c <= 0.04045 ? c / 12.92 : pow((c + 0.055) / 1.055, 2.4);
        CHECK_NEAR(t[i], linear, FLOAT_ROUNDING);
        if (i > 0) assert_true(t[i] > t[i - 1]);
    }
    assert_true(t[0] == 0.0F && t[255] == 1.0F);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(table_is_the_formula)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
