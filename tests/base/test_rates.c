/* Intervals for rates, and risks of conformity decisions, against published and recomputed examples. */
#include "base/stats.h"
#include "check.h"

static const double FOUR_DIGITS = 0.6e-4; /* half the last digit given */

/* 81 of 263, 15 of 148 and 0 of 20 are the examples of Newcombe, Statistics in Medicine 17 (1998), 857-872 (data from memory);
 * limits to four digits recomputed with an independent program. */
static void test_rates(void **state) {
    (void)state;
    const struct {
        double k, n, wilson[2], exact[2];
    } example[] = {{81, 263, {.2553, .3662}, {.2527, .3676}},
                   {15, 148, {.0624, .1605}, {.0578, .1617}},
                   {0, 20, {0, .1611}, {0, .1684}},
                   {95, 100, {.8883, .9785}, {.8872, .9836}}};
    for (size_t i = 0; i < sizeof example / sizeof example[0]; i++) {
        double low, high;
        assert_true(ps_proportion_wilson(example[i].k, example[i].n, 0.95, &low, &high));
        CHECK_NEAR(low, example[i].wilson[0], FOUR_DIGITS);
        CHECK_NEAR(high, example[i].wilson[1], FOUR_DIGITS);
        assert_true(ps_proportion_exact(example[i].k, example[i].n, 0.95, &low, &high));
        CHECK_NEAR(low, example[i].exact[0], FOUR_DIGITS);
        CHECK_NEAR(high, example[i].exact[1], FOUR_DIGITS);
    }
    /* 59 of 59: with 95 % confidence on one side over 95 %; the classic of acceptance sampling. Two-sided 90 %. */
    double low, high;
    assert_true(ps_proportion_exact(59, 59, 0.90, &low, &high));
    CHECK_NEAR(low, 0.9505, FOUR_DIGITS);
    CHECK_NEAR(high, 1, 0);
}

/* The exact limits are where the binomial's own tails are 2.5 %. */
static void test_exact_tails(void **state) {
    (void)state;
    double low, high, at_most = 0, at_least = 0;
    assert_true(ps_proportion_exact(3, 17, 0.95, &low, &high));
    for (int k = 0; k <= 17; k++) {
        double choose = exp(lgamma(18) - lgamma(k + 1) - lgamma(18 - k));
        if (k <= 3) at_most += choose * pow(high, k) * pow(1 - high, 17 - k);
        if (k >= 3) at_least += choose * pow(low, k) * pow(1 - low, 17 - k);
    }
    const double IDENTITY = 1e-9;
    CHECK_NEAR(at_most, 0.025, IDENTITY);
    CHECK_NEAR(at_least, 0.025, IDENTITY);
}

static void test_rates_wrong_use(void **state) {
    (void)state;
    double low = 7, high = 8;
    assert_false(ps_proportion_exact(3, 2, 0.95, &low, &high));
    assert_false(ps_proportion_exact(-1, 2, 0.95, &low, &high));
    assert_false(ps_proportion_exact(0, 0, 0.95, &low, &high));
    assert_false(ps_proportion_wilson(1, 2, 1, &low, &high));
    assert_false(ps_proportion_wilson(NAN, 2, 0.95, &low, &high));
    assert_true(low == 7 && high == 8);
}

/* JCGM 106:2012, clause 9 (inputs from memory): resistors of 1500 ohm, process sd 0.12, measured with u 0.04, tolerance 0.2 on
 * either side, accepted within 0.18: risks of consumer and producer, by Simpson's rule over the true value. The expected
 * figures come from a sum over 2.4 million places by another program. */
static void risks(double accept, double *consumer, double *producer) {
    enum { STEPS = 4000 };
    const double process = 0.12, u = 0.04, tolerance = 0.2;
    *consumer = *producer = 0;
    for (int part = 0; part < 2; part++) { /* inside and outside the tolerance, one half of the line */
        double from = part ? tolerance : 0, to = part ? 8 * process : tolerance, h = (to - from) / STEPS;
        for (int i = 0; i <= STEPS; i++) {
            double y = from + h * i, density = exp(-0.5 * y * y / (process * process)) / (process * sqrt(2 * 3.14159265358979323846));
            double taken = ps_normal_cdf((accept - y) / u) - ps_normal_cdf((-accept - y) / u);
            double weight = 2 * h / 3 * (i == 0 || i == STEPS ? 1 : i % 2 ? 4 : 2);
            *(part ? consumer : producer) += weight * density * (part ? taken : 1 - taken);
        }
    }
}

static void test_jcgm_106(void **state) {
    (void)state;
    const double DIGIT = 1e-6; /* the last digit given */
    double consumer, producer;
    risks(0.18, &consumer, &producer);
    CHECK_NEAR(consumer, 0.009878, DIGIT);
    CHECK_NEAR(producer, 0.069027, DIGIT);
    risks(0.2, &consumer, &producer); /* no guard band */
    CHECK_NEAR(consumer, 0.018942, DIGIT);
    CHECK_NEAR(producer, 0.037208, DIGIT);
    /* A lower limit of 100, u 2 % of the value, conformity with 99.9 %: what must be read. */
    CHECK_NEAR(100 / (1 - 0.02 * ps_normal_quantile(0.999)), 106.588, 0.6e-3);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_rates), cmocka_unit_test(test_exact_tails),
                                       cmocka_unit_test(test_rates_wrong_use), cmocka_unit_test(test_jcgm_106)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
