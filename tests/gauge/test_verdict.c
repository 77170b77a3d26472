/* Conformity probabilities against JCGM 106 and tables; the verdict turns at 1 %. */
#include "check.h"

#include "gauge/verdict.h"

/* JCGM 106:2012, worked examples; their inputs from memory, results computed independently to six digits. */
static void jcgm_106(void **state) {
    (void)state;
    /* One-sided: limit 1.4 u away. */
    CHECK_NEAR(ps_gauge_probability_within(0, 1, 0, -INFINITY, 1.4), 0.919243, 5e-7);
    CHECK_NEAR(ps_gauge_probability_within(13.6, 1.8, 0, 12.5, 16.3), 0.662630, 5e-7);
    /* Limit 100, u 2 % of the value, 99.9 %: 106.588. */
    CHECK_NEAR(ps_gauge_probability_within(106.588, 0.02 * 106.588, 0, 100, INFINITY), 0.999, 1e-6);
    assert_true(ps_gauge_probability_within(106.58, 0.02 * 106.58, 0, 100, INFINITY) < 0.999);
}

/* Consumer's and producer's risk: y0 1500, u0 .12, um .04, T +-.2, acceptance +-.18 and +-.2 (inputs from memory). */
static double integral(double from, double to, double accept, bool accepted) {
    enum { STEPS = 2000 };
    double sum = 0, step = (to - from) / STEPS;
    for (int i = 0; i < STEPS; i++) {
        double y = from + (i + 0.5) * step, z = y / 0.12, density = exp(-z * z / 2) / (0.12 * sqrt(2 * 3.14159265358979323846));
        double inside = ps_gauge_probability_within(y, 0.04, 0, -accept, accept);
        sum += density * (accepted ? inside : 1 - inside) * step;
    }
    return sum;
}

static void risks(double accept, double *consumer, double *producer) {
    *consumer = 2 * integral(0.2, 1.2, accept, true); /* to 10 sd */
    *producer = integral(-0.2, 0.2, accept, false);
}

static void guard_band(void **state) {
    (void)state;
    /* `trial`: Monte Carlo, 10^6 trials, held to four of its sd, sqrt(p (1 - p) / 10^6). `rule`: the same integrals by an
     * independent program (numpy, midpoint rule of 20 000 steps), six decimals. */
    static const struct {
        double accept, trial[2], rule[2];
    } want[] = {{0.18, {0.00992, 0.06893}, {0.009878, 0.069027}}, {0.20, {0.01901, 0.03714}, {0.018942, 0.037208}}};
    for (int i = 0; i < 2; i++) {
        double risk[2];
        risks(want[i].accept, &risk[0], &risk[1]);
        for (int k = 0; k < 2; k++) {
            CHECK_NEAR(risk[k], want[i].trial[k], 4 * sqrt(risk[k] / 1e6));
            CHECK_NEAR(risk[k], want[i].rule[k], 2e-6);
        }
    }
}

static void turns_at_one_percent(void **state) {
    (void)state;
    const double z = 2.5758293035489; /* two-sided 1 % point of the normal distribution, tables */
    assert_true(ps_gauge_within_need(0.5 / z * (1 - 1e-9), 0.5, 0));
    assert_false(ps_gauge_within_need(0.5 / z * (1 + 1e-9), 0.5, 0));
    CHECK_NEAR(ps_gauge_risk(1.0, z, 0), 0.01, 1e-12);
    const double t = 3.0545; /* two-sided 1 % point of Student's t, 12 degrees of freedom, tables to four decimals */
    assert_true(ps_gauge_within_need(1 / (t + 1e-4), 1, 12));
    assert_false(ps_gauge_within_need(1 / (t - 1e-4), 1, 12));
}

static void refuses_nonsense(void **state) {
    (void)state;
    assert_false(ps_gauge_within_need(NAN, 0.5, 0));
    assert_false(ps_gauge_within_need(0, 0.5, 0)); /* a value without uncertainty is no measurement */
    assert_false(ps_gauge_within_need(-1, 0.5, 0));
    assert_false(ps_gauge_within_need(0.1, 0, 0));
    assert_false(ps_gauge_within_need(0.1, NAN, 0));
    assert_false(ps_gauge_within_need(INFINITY, INFINITY, 0));
    assert_true(isnan(ps_gauge_probability_within(1, 0, 0, 0, 2)));
    CHECK_NEAR(ps_gauge_probability_within(1, 1, 0, 2, 0), 0, 0);
}

static void fewer_photos_ask_more(void **state) {
    (void)state;
    double last = 1;
    for (int photos = 1; photos <= 4; photos++) {
        double risk = ps_gauge_risk(0.2, 0.5, ps_gauge_photo_dof(photos));
        assert_true(photos > 3 ? risk == last : risk < last);
        last = risk;
    }
    /* Two photos, and one: Student's t with 4 and 3 degrees of freedom, two-sided 1 % points 4.604 and 5.841 in tables. */
    static const double point[] = {5.8409, 4.6041};
    for (int photos = 1; photos <= 2; photos++) {
        assert_true(ps_gauge_within_need(1 / (point[photos - 1] + 1e-3), 1, ps_gauge_photo_dof(photos)));
        assert_false(ps_gauge_within_need(1 / (point[photos - 1] - 1e-3), 1, ps_gauge_photo_dof(photos)));
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(jcgm_106),
        cmocka_unit_test(guard_band),
        cmocka_unit_test(turns_at_one_percent),
        cmocka_unit_test(refuses_nonsense),
        cmocka_unit_test(fewer_photos_ask_more),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
