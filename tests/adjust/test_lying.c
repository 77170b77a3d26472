/* Pins that run along the piece, as photos between the ears show them: their axes never meet the world plane, so heights count from the
 * point given. Outside check: plain geometry (gap_scene.h), drawn without the adjustment's code. */
#include "adjust/model.h"
#include "check.h"
#include "gap_scene.h"

static ps_quantity gap_of(const ps_adjust_solution *solution, int far, int near) {
    ps_context *ctx = ps_context_new();
    ps_quantity q = {0};
    assert_int_equal(ps_adjust_height_difference(ctx, solution, near, far, &q), PS_OK);
    ps_context_free(ctx);
    return q;
}

/* Start values off by some 2 mm and half a degree: the faces' distance comes back. */
static void test_gap_comes_back(void **state) {
    (void)state;
    static gap_scene s;
    assert_true(gap_scene_make(&s));
    ps_context *ctx = ps_context_new();
    ps_adjust_solution *solution = NULL;
    for (int p = 0; p < GAP_PINS; p++) {
        s.pin[p].axis_point_mm[0] += 1.5, s.pin[p].axis_point_mm[2] -= 2;
        s.pin[p].axis_direction[0] += 0.008, s.pin[p].axis_direction[2] -= 0.006;
    }
    for (int i = 0; i < GAP_RIMS; i++) s.rim[i].height_mm += i % 2 ? 1 : -1.2, s.rim[i].radius_mm += 0.7;
    assert_int_equal(ps_adjust_solve(ctx, &s.problem, &solution), PS_OK);
    for (int p = 0; p < GAP_PINS; p++) {
        ps_quantity q = gap_of(solution, 4 * p, 4 * p + 2);
        /* Perfect observations: what is left is the pull of the priors whose mean is not the truth (lens terms start at
         * it; only rounding and the weak ones act): a hundredth of u, which is some tenths of a millimetre. */
        const double PULL = 0.01;
        assert_true(q.u_mm > 0.02 && q.u_mm < 1);
        assert_true(fabs(q.value_mm - 160.9) < PULL * q.u_mm);
        assert_true(q.source_mm[PS_SOURCE_PRINT_SCALE] > 0.02 && q.source_mm[PS_SOURCE_CAMERA] > 0);
    }
    ps_adjust_solution_free(solution);
    ps_context_free(ctx);
}

/* The gap goes with the print's scale: 1 % more scale is 1 % more gap. */
static void test_scale_carries(void **state) {
    (void)state;
    static gap_scene s;
    assert_true(gap_scene_make(&s));
    ps_context *ctx = ps_context_new();
    ps_adjust_solution *solution = NULL;
    s.problem.scale.across = s.problem.scale.along = 1.01;
    assert_int_equal(ps_adjust_solve(ctx, &s.problem, &solution), PS_OK);
    ps_quantity q = gap_of(solution, 0, 2);
    assert_true(fabs(q.value_mm / 160.9 - 1.01) < 2e-4); /* the paper's own 0.03 % and weak priors share the rest */
    ps_adjust_solution_free(solution);
    ps_context_free(ctx);
}

/* An axis along the plane that claims to stand on a piece has no height 0 and is refused. */
static void test_standing_is_refused(void **state) {
    (void)state;
    static gap_scene s;
    assert_true(gap_scene_make(&s));
    ps_context *ctx = ps_context_new();
    ps_adjust_solution *solution = NULL;
    s.pin[1].piece = 0;
    assert_int_equal(ps_adjust_solve(ctx, &s.problem, &solution), PS_BAD_ARGUMENT);
    assert_non_null(strstr(ps_context_message(ctx), "pin 1"));
    assert_null(solution);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_gap_comes_back), cmocka_unit_test(test_scale_carries),
                                       cmocka_unit_test(test_standing_is_refused)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
