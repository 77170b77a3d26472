/* The error function and its bell from a table. */
#include "base/step.h"
#include "check.h"

static const double TABLE = 2e-9; /* h^4/384 of the largest fourth derivative, 12, at h = 1/64 */
static const double TAIL = 2e-7;  /* what is left beyond 4: exp(-16) */

static void test_against_libm(void **state) {
    (void)state;
    const ps_step_node *table = ps_step_table();
    double step, bell;
    for (double e = -3.9999; e < 4; e += 0.000917) {
        ps_step_at(table, e, &step, &bell);
        CHECK_NEAR(step, erf(e), TABLE);
        CHECK_NEAR(bell, exp(-e * e), TABLE);
    }
}

static void test_beyond_the_table(void **state) {
    (void)state;
    const double far[] = {-1e300, -5, -4, 4, 4.5, 1e300};
    double step, bell;
    for (int i = 0; i < 6; i++) {
        ps_step_at(ps_step_table(), far[i], &step, &bell);
        CHECK_NEAR(step, erf(far[i]), TAIL);
        CHECK_NEAR(bell, exp(-far[i] * far[i]), TAIL);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_against_libm), cmocka_unit_test(test_beyond_the_table)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
