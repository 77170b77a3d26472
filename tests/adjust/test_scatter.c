/* Do the errors scatter as the uncertainties say? Sixty made-up scenes, everything drawn from the priors. */
#include "check.h"
#include "scene.h"

enum { SCENES = 60, KINDS = 5 };
static const char *const kind_word[KINDS] = {"centres", "pin diameter", "bush diameter", "pin-face diameter", "bush height"};

static void test_errors_agree_with_uncertainty(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    double sum[KINDS] = {0};
    int beyond = 0;
    for (uint64_t seed = 1; seed <= SCENES; seed++) {
        static scene s;
        scene_options o = scene_options_default(1000 + seed);
        o.pieces = 1 + (int)(seed % 2);
        o.photos = seed % 3 ? 4 : 3;
        o.orientation = seed % 5 ? 1 : 6;
        assert_true(scene_make(&s, &o));
        ps_adjust_solution *sol = NULL;
        if (ps_adjust_solve(ctx, &s.problem, &sol) != PS_OK) fail_msg("scene %d: %s", (int)seed, ps_context_message(ctx));
        ps_quantity q[KINDS];
        assert_int_equal(ps_adjust_centres(ctx, sol, 0, 25, 1, 31, &q[0]), PS_OK);
        assert_int_equal(ps_adjust_diameter(ctx, sol, 1, &q[1]), PS_OK);
        assert_int_equal(ps_adjust_diameter(ctx, sol, 5, &q[2]), PS_OK);
        assert_int_equal(ps_adjust_diameter(ctx, sol, 0, &q[3]), PS_OK);
        assert_int_equal(ps_adjust_height_difference(ctx, sol, 1, 2, &q[4]), PS_OK);
        const double truth[KINDS] = {scene_centres(&s, 25, 31), 2 * s.circle[1].radius_mm, 2 * s.circle[5].radius_mm,
                                     2 * s.circle[0].radius_mm, s.height[1] - s.height[2]};
        for (int k = 0; k < KINDS; k++) {
            double e = (q[k].value_mm - truth[k]) / q[k].u_mm, parts = 0;
            sum[k] += e * e;
            beyond += fabs(e) > 2;
            for (int i = 0; i < PS_SOURCE_COUNT; i++) parts += q[k].source_mm[i] * q[k].source_mm[i];
            const double ROUNDING = 1e-9;
            CHECK_NEAR(parts / (q[k].u_mm * q[k].u_mm), 1, ROUNDING);
        }
        ps_adjust_solution_free(sol);
    }
    for (int k = 0; k < KINDS; k++) {
        double rms = sqrt(sum[k] / SCENES);
        print_message("%s: rms of error/u %.3f over %d scenes\n", kind_word[k], rms, SCENES);
        /* Chi-square with 60 degrees of freedom: the rms lies in 0.8..1.2 with a probability of 97 %; scenes are fixed by
         * their seeds, so that this can only fail when the code changes. */
        assert_true(rms > 0.8 && rms < 1.2);
    }
    /* Share beyond 2u: 4.6 % expected, 14 of 300; five kinds in a scene share errors, so 60 independent draws at least:
     * binomial, 99.9 %: at most 9 of 60, that is 45 of 300. */
    print_message("%d of %d beyond 2u\n", beyond, SCENES * KINDS);
    assert_true(beyond <= 45);
    ps_context_free(ctx);
}

/* Rms of error over u, centres and diameters together, over scenes whose rims are out of round and whose sheets are bent to
 * an S. `known`: the adjustment is told that rims may be so. */
static double rms_of_odd_scenes(double oval_mm, double cubic_sd, bool known, double *worst_fit) {
    enum { ODD = 24 };
    ps_context *ctx = ps_context_new();
    double sum = 0;
    *worst_fit = 0;
    for (uint64_t seed = 1; seed <= ODD; seed++) {
        static scene s;
        scene_options o = scene_options_default(3000 + seed);
        o.oval_mm = oval_mm, o.cubic_sd = cubic_sd;
        assert_true(scene_make(&s, &o));
        if (known) s.problem.sigma_round_pin_mm = s.problem.sigma_round_other_mm = oval_mm;
        ps_adjust_solution *sol = NULL;
        if (ps_adjust_solve(ctx, &s.problem, &sol) != PS_OK) fail_msg("scene %d: %s", (int)seed, ps_context_message(ctx));
        double chi2;
        int dof;
        ps_adjust_fit(sol, &chi2, &dof);
        *worst_fit = fmax(*worst_fit, chi2 / dof);
        ps_quantity q[3];
        assert_int_equal(ps_adjust_centres(ctx, sol, 0, 25, 1, 31, &q[0]), PS_OK);
        assert_int_equal(ps_adjust_diameter(ctx, sol, 1, &q[1]), PS_OK);
        assert_int_equal(ps_adjust_diameter(ctx, sol, 5, &q[2]), PS_OK);
        const double truth[3] = {scene_centres(&s, 25, 31), 2 * s.circle[1].radius_mm, 2 * s.circle[5].radius_mm};
        for (int k = 0; k < 3; k++) sum += pow((q[k].value_mm - truth[k]) / q[k].u_mm, 2) / (3 * ODD);
        ps_adjust_solution_free(sol);
    }
    ps_context_free(ctx);
    return sqrt(sum);
}

static void test_rims_out_of_round(void **state) {
    (void)state;
    /* 24 scenes with three values that go together: the rms of about 40 independent ones, known to 11 %; three sd. A perfect
     * circle's aspect tells the camera's tilt: ovals taken for circles must miss by much more than u. */
    const double NOISE = 1.35, MISSED = 1.7;
    double fit, told = rms_of_odd_scenes(0.1, 0, true, &fit), untold = rms_of_odd_scenes(0.1, 0, false, &fit);
    print_message("ovals: rms of error/u %.2f, taken for circles %.2f\n", told, untold);
    assert_true(told < NOISE);
    assert_true(untold > MISSED);
}

static void test_sheets_bent_to_an_s(void **state) {
    (void)state;
    const double NOISE = 1.35; /* as above */
    /* Over 1000 rows: chi-square over dof is 1 within 0.045; three sd. Sheets bent to an S of a quarter of a millimetre that
     * have to pass for bows leave several times that. */
    const double FIT = 1.15;
    double fit, rms = rms_of_odd_scenes(0, 5e-7, false, &fit);
    print_message("S: rms of error/u %.2f, worst chi-square over dof %.2f\n", rms, fit);
    assert_true(fit < FIT);
    assert_true(rms < NOISE);
}

/* The focal length's prior alone carries a scale: u must be that of the Student-t it is, not of its middle. */
static void test_heavy_tail_counts_in_full(void **state) {
    (void)state;
    static scene s;
    ps_context *ctx = ps_context_new();
    double u[2];
    for (int tail = 0; tail < 2; tail++) {
        scene_options o = scene_options_default(11);
        o.photos = 1;
        assert_true(scene_make(&s, &o));
        s.group[0].focal_tail = tail ? 3 : 0;
        ps_adjust_solution *sol = NULL;
        ps_lens lens;
        double covariance[PS_LENS_COUNT * PS_LENS_COUNT];
        for (int i = 0; i < s.problem.corner_count; i++) s.corner[i].sigma_px = 50; /* they say nothing of the focal length */
        s.problem.edge_count = s.problem.rim_count = s.problem.pin_count = 0;
        assert_int_equal(ps_adjust_solve(ctx, &s.problem, &sol), PS_OK);
        assert_int_equal(ps_adjust_lens(ctx, sol, 0, &lens, covariance), PS_OK);
        u[tail] = sqrt(covariance[0]) / lens.f_px;
        ps_adjust_solution_free(sol);
    }
    /* 0.05 for a normal prior; times 3.182 / 2, the 97.5 % point of t with 3 degrees of freedom over that of 2u. The corners
     * are let off. */
    const double CORNERS = 0.1;
    print_message("focal length: u %.4f, with the tail %.4f\n", u[0], u[1]);
    assert_true(u[0] < 0.0501 && u[0] > 0.05 * (1 - CORNERS));
    CHECK_NEAR(u[1] / u[0], 3.182 / 2, 3.182 / 2 * CORNERS);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_errors_agree_with_uncertainty), cmocka_unit_test(test_rims_out_of_round),
                                       cmocka_unit_test(test_sheets_bent_to_an_s), cmocka_unit_test(test_heavy_tail_counts_in_full)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
