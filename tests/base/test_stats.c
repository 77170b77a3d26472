/* Statistics against published tables. */
#include <stdlib.h>

#include "base/stats.h"
#include "check.h"

/* Half a unit of the tables' last printed digit. */
static const double FOUR_DIGITS = 0.5e-4, THREE_DIGITS = 0.5e-3;
/* Identities between our own functions, which end on continued fractions of a few dozen terms. */
static const double IDENTITY = 1e-12;

static void test_normal_table(void **state) {
    (void)state;
    /* z for .80 .90 .95 .99 .999, one side, as every table of the normal distribution has them. */
    const double level[5] = {.80, .90, .95, .99, .999}, z[5] = {.8416, 1.2816, 1.6449, 2.3263, 3.0902};
    for (int i = 0; i < 5; i++) {
        CHECK_NEAR(ps_normal_quantile(level[i]), z[i], FOUR_DIGITS);
        CHECK_NEAR(ps_normal_quantile(1 - level[i]), -z[i], FOUR_DIGITS);
    }
    /* JCGM 106 examples (inputs from memory): Phi(1.4) and the interval probability. */
    CHECK_NEAR(ps_normal_cdf(1.4), .919243, 0.5e-6);
    CHECK_NEAR(ps_normal_cdf((16.3 - 13.6) / 1.8) - ps_normal_cdf((12.5 - 13.6) / 1.8), .662630, 0.5e-6);
    for (double p = 1e-12; p < 1; p = p < 0.1 ? p * 10 : p + 0.1) CHECK_NEAR(ps_normal_cdf(ps_normal_quantile(p)) / p, 1, IDENTITY);
    assert_true(isnan(ps_normal_quantile(1.1)) && isnan(ps_normal_quantile(-0.1)) && isnan(ps_normal_quantile(NAN)));
    assert_true(ps_normal_quantile(0) < -1e300 && ps_normal_quantile(1) > 1e300);
    CHECK_NEAR(PS_MAD_TO_SD * ps_normal_quantile(0.75), 1, IDENTITY);
}

static void test_chi2_table(void **state) {
    (void)state;
    /* Upper critical values, NIST/SEMATECH e-Handbook 1.3.6.7.4; quoted from memory. */
    CHECK_NEAR(ps_chi2_value(.05, 1), 3.841, THREE_DIGITS);
    CHECK_NEAR(ps_chi2_value(.05, 10), 18.307, THREE_DIGITS);
    CHECK_NEAR(ps_chi2_value(.01, 5), 15.086, THREE_DIGITS);
    CHECK_NEAR(ps_chi2_value(.95, 10), 3.940, THREE_DIGITS);
    CHECK_NEAR(ps_chi2_value(.05, 100), 124.342, THREE_DIGITS);
    /* Two degrees of freedom have the closed form exp(-x / 2); one is two normal tails. */
    for (double x = 0.01; x < 60; x *= 1.7) {
        CHECK_NEAR(ps_chi2_tail(x, 2) / exp(-x / 2), 1, IDENTITY);
        CHECK_NEAR(ps_chi2_tail(x, 1) / (2 * ps_normal_cdf(-sqrt(x))), 1, IDENTITY);
    }
    /* Wilson-Hilferty at 20000: the tails are then normal to four digits. */
    double v = 20000, cube = 1 - 2 / (9 * v) + 1.6449 * sqrt(2 / (9 * v));
    CHECK_NEAR(ps_chi2_tail(v * cube * cube * cube, v), 0.05, FOUR_DIGITS);
    assert_true(isnan(ps_chi2_tail(1, 0)) && isnan(ps_chi2_value(0, 3)));
    CHECK_NEAR(ps_chi2_tail(-1, 3), 1, 0);
}

static void test_t_table(void **state) {
    (void)state;
    /* Upper critical values, NIST/SEMATECH e-Handbook 1.3.6.7.2; quoted from memory. */
    CHECK_NEAR(ps_t_value(.025, 1), 12.706, THREE_DIGITS);
    CHECK_NEAR(ps_t_value(.025, 10), 2.228, THREE_DIGITS);
    CHECK_NEAR(ps_t_value(.005, 16), 2.921, THREE_DIGITS);
    CHECK_NEAR(ps_t_value(.05, 30), 1.697, THREE_DIGITS);
    /* GUM (JCGM 100) H.1: u 31.7 nm with 16 degrees of freedom, U99 = 93 nm. */
    CHECK_NEAR(31.7 * ps_t_value(.005, 16), 93, 0.5);
    /* One degree is Cauchy's distribution, two have a closed form. */
    for (double t = -20; t < 21; t += 2.5) {
        CHECK_NEAR(ps_t_tail(t, 1), 0.5 - atan(t) / 3.14159265358979323846, IDENTITY);
        CHECK_NEAR(ps_t_tail(t, 2), 0.5 - t / (2 * sqrt(2 + t * t)), IDENTITY);
        CHECK_NEAR(ps_t_tail(t, HUGE_VAL), ps_normal_cdf(-t), IDENTITY);
    }
    CHECK_NEAR(ps_t_value(.9, 7), -ps_t_value(.1, 7), IDENTITY);
    assert_true(isnan(ps_t_tail(1, -1)) && isnan(ps_t_value(1, 3)));
}

static void test_median(void **state) {
    (void)state;
    double odd[5] = {9, 1, 5, 5, -3}, even[4] = {4, 1, 3, 2}, one[1] = {7}, nan[3] = {1, NAN, 2}, mad[7] = {1, 1, 2, 2, 4, 6, 9};
    CHECK_NEAR(ps_stats_median(odd, 5), 5, 0);
    CHECK_NEAR(ps_stats_median(even, 4), 2.5, 0);
    CHECK_NEAR(ps_stats_median(one, 1), 7, 0);
    assert_true(isnan(ps_stats_median(nan, 3)) && isnan(ps_stats_median(one, 0)));
    CHECK_NEAR(ps_stats_mad(mad, 7, 2), 1, 0);
}

static int compare(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void test_median_against_sorting(void **state) {
    (void)state;
    unsigned seed = 1;
    for (int n = 1; n < 60; n++)
        for (int trial = 0; trial < 20; trial++) {
            double x[60], y[60];
            for (int i = 0; i < n; i++) {
                seed = seed * 1664525u + 1013904223u;
                x[i] = y[i] = (seed >> 16) % (trial % 2 ? 7 : 30000); /* with many ties and with few */
            }
            qsort(y, (size_t)n, sizeof *y, compare);
            CHECK_NEAR(ps_stats_median(x, (size_t)n), n % 2 ? y[n / 2] : (y[n / 2 - 1] + y[n / 2]) / 2, 0);
        }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_normal_table),
        cmocka_unit_test(test_chi2_table),
        cmocka_unit_test(test_t_table),
        cmocka_unit_test(test_median),
        cmocka_unit_test(test_median_against_sorting),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
