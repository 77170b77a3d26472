/* Monte Carlo after JCGM 101 against the linear u, and itself on another number of threads. */
#define SCENE_POINTS 16
#include "check.h"
#include "scene.h"

enum { ASKS = 4, SAMPLES = 200 };
static const ps_ask asks[ASKS] = {
    {PS_ASK_CENTRES, 0, 1, 25, 31}, {PS_ASK_DIAMETER, 1, 0, 0, 0}, {PS_ASK_DIAMETER, 5, 0, 0, 0}, {PS_ASK_HEIGHT_DIFFERENCE, 1, 2, 0, 0}};

static void linear(ps_context *ctx, const ps_adjust_solution *s, ps_quantity q[ASKS]) {
    assert_int_equal(ps_adjust_centres(ctx, s, 0, 25, 1, 31, &q[0]), PS_OK);
    assert_int_equal(ps_adjust_diameter(ctx, s, 1, &q[1]), PS_OK);
    assert_int_equal(ps_adjust_diameter(ctx, s, 5, &q[2]), PS_OK);
    assert_int_equal(ps_adjust_height_difference(ctx, s, 1, 2, &q[3]), PS_OK);
}

static ps_adjust_solution *solved(ps_context *ctx, uint64_t seed, int photos) {
    static scene s;
    scene_options o = scene_options_default(seed);
    o.photos = photos;
    assert_true(scene_make(&s, &o));
    s.problem.sigma_round_pin_mm = 0.03, s.problem.sigma_round_other_mm = 0.05;
    ps_adjust_solution *solution = NULL;
    assert_int_equal(ps_adjust_solve(ctx, &s.problem, &solution), PS_OK);
    return solution;
}

static void test_agrees_with_linear(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_adjust_solution *s = solved(ctx, 77, 3);
    ps_quantity q[ASKS];
    ps_monte_carlo mc[ASKS];
    linear(ctx, s, q);
    assert_int_equal(ps_adjust_monte_carlo(ctx, s, SAMPLES, 5, 2, asks, ASKS, mc), PS_OK);
    for (int k = 0; k < ASKS; k++) {
        print_message("linear %.4f u %.4f; %d samples: mean %.4f u %.4f, %.4f to %.4f, %d failed\n", q[k].value_mm, q[k].u_mm, SAMPLES,
                      mc[k].mean_mm, mc[k].u_mm, mc[k].low_mm, mc[k].high_mm, mc[k].failed);
        /* The sd of 200 samples is itself known to 5 % (1 / sqrt(2 n)), their mean to u / 14, their 2.5 %
         * points to 0.19 u (sqrt(0.025 x 0.975 / n) over the density there): three sd of each, and 5 % for what the linear u
         * leaves out. */
        const double SD = 0.2, MEAN = 0.25, POINT = 0.67;
        CHECK_NEAR(mc[k].u_mm / q[k].u_mm, 1, SD);
        CHECK_NEAR((mc[k].mean_mm - q[k].value_mm) / q[k].u_mm, 0, MEAN);
        CHECK_NEAR((mc[k].high_mm - mc[k].mean_mm) / q[k].u_mm, 1.96, POINT);
        CHECK_NEAR((mc[k].mean_mm - mc[k].low_mm) / q[k].u_mm, 1.96, POINT);
        assert_int_equal(mc[k].samples + mc[k].failed, SAMPLES);
        assert_true(mc[k].failed <= SAMPLES / 100);
    }
    ps_adjust_solution_free(s);
    ps_context_free(ctx);
}

static void test_same_on_threads(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_adjust_solution *s = solved(ctx, 78, 2);
    ps_monte_carlo one[ASKS], two[ASKS], other[ASKS];
    memset(one, 0, sizeof one), memset(two, 0, sizeof two);
    assert_int_equal(ps_adjust_monte_carlo(ctx, s, 20, 9, 1, asks, ASKS, one), PS_OK);
    assert_int_equal(ps_adjust_monte_carlo(ctx, s, 20, 9, 2, asks, ASKS, two), PS_OK);
    assert_int_equal(ps_adjust_monte_carlo(ctx, s, 20, 10, 2, asks, ASKS, other), PS_OK);
    assert_memory_equal(one, two, sizeof one);
    assert_true(one[0].mean_mm != other[0].mean_mm); /* another seed, other draws */
    ps_adjust_solution_free(s);
    ps_context_free(ctx);
}

static void test_wrong_use(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_adjust_solution *s = solved(ctx, 79, 2);
    ps_monte_carlo mc[1];
    const ps_ask no_rim = {PS_ASK_DIAMETER, 99, 0, 0, 0}, one_pin = {PS_ASK_CENTRES, 0, 0, 1, 1},
                 two_pins = {PS_ASK_HEIGHT_DIFFERENCE, 0, 5, 0, 0};
    assert_int_equal(ps_adjust_monte_carlo(ctx, s, 10, 1, 1, &no_rim, 1, mc), PS_BAD_ARGUMENT);
    assert_int_equal(ps_adjust_monte_carlo(ctx, s, 10, 1, 1, &one_pin, 1, mc), PS_BAD_ARGUMENT);
    assert_int_equal(ps_adjust_monte_carlo(ctx, s, 10, 1, 1, &two_pins, 1, mc), PS_BAD_ARGUMENT);
    assert_int_equal(ps_adjust_monte_carlo(ctx, s, 1, 1, 1, asks, 1, mc), PS_BAD_ARGUMENT);
    assert_int_equal(ps_adjust_monte_carlo(ctx, s, 10, 1, 1, asks, 0, mc), PS_BAD_ARGUMENT);
    assert_int_equal(ps_adjust_monte_carlo(ctx, NULL, 10, 1, 1, asks, 1, mc), PS_BAD_ARGUMENT);
    ps_adjust_solution_free(s);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_agrees_with_linear), cmocka_unit_test(test_same_on_threads),
                                       cmocka_unit_test(test_wrong_use)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
