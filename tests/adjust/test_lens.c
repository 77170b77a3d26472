/* The prior of a calibrated lens (one covariance for all eight terms) and the lens' own covariance. */
#include "check.h"

#include "scene.h"

enum { N = PS_LENS_COUNT };

static void joint_of_sigmas(ps_adjust_group *g) {
    const double sigma[N] = {g->sigma_focal_rel * g->start.f_px,
                             g->sigma_centre_px,
                             g->sigma_centre_px,
                             g->sigma_k1,
                             g->sigma_k2,
                             g->sigma_p,
                             g->sigma_p,
                             g->sigma_k3};
    g->joint = true;
    memset(g->joint_covariance, 0, sizeof g->joint_covariance);
    for (int k = 0; k < N; k++) g->joint_covariance[(N + 1) * k] = sigma[k] * sigma[k];
}

static scene *job_scene(void) {
    scene_options o = scene_options_default(7);
    scene *s = malloc(sizeof *s);
    assert_non_null(s);
    assert_true(scene_make(s, &o));
    s->group[0].sigma_k3 = 0.1;
    s->group[0].focal_tail = 0;
    return s;
}

/* A covariance without correlations is the same knowledge as eight single sds. */
static void a_diagonal_joint_prior_is_the_single_priors(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_adjust_solution *single = NULL, *joint = NULL;
    scene *s = job_scene();
    ps_lens lens[2];
    double C[2][N * N];
    ps_quantity q[2];
    assert_int_equal(ps_adjust_solve(ctx, &s->problem, &single), PS_OK);
    joint_of_sigmas(&s->group[0]);
    assert_int_equal(ps_adjust_solve(ctx, &s->problem, &joint), PS_OK);
    assert_int_equal(ps_adjust_lens(ctx, single, 0, &lens[0], C[0]), PS_OK);
    assert_int_equal(ps_adjust_lens(ctx, joint, 0, &lens[1], C[1]), PS_OK);
    assert_int_equal(ps_adjust_centres(ctx, single, 0, 0, 1, 0, &q[0]), PS_OK);
    assert_int_equal(ps_adjust_centres(ctx, joint, 0, 0, 1, 0, &q[1]), PS_OK);
    const double last_step = 1e-3; /* of an sd: both stop when a step is under 1e-4 of it */
    CHECK_NEAR(lens[1].f_px, lens[0].f_px, last_step * sqrt(C[0][0]));
    CHECK_NEAR(lens[1].k1, lens[0].k1, last_step * sqrt(C[0][(N + 1) * PS_LENS_K1]));
    CHECK_NEAR(lens[1].p2, lens[0].p2, last_step * sqrt(C[0][(N + 1) * PS_LENS_P2]));
    for (int k = 0; k < N; k++) CHECK_NEAR(C[1][(N + 1) * k] / C[0][(N + 1) * k], 1, 1e-3); /* as the steps */
    CHECK_NEAR(q[1].value_mm, q[0].value_mm, last_step * q[0].u_mm);
    CHECK_NEAR(q[1].u_mm / q[0].u_mm, 1, 1e-3);
    ps_adjust_solution_free(single);
    ps_adjust_solution_free(joint);
    free(s);
    ps_context_free(ctx);
}

/* A strongly correlated prior, as k1, k2, k3 of a calibration are. */
static void correlated(ps_adjust_group *g) {
    joint_of_sigmas(g);
    static const struct {
        int a, b;
        double r;
    } pair[] = {
        {PS_LENS_K1, PS_LENS_K2, -0.9}, {PS_LENS_K2, PS_LENS_K3, -0.9}, {PS_LENS_K1, PS_LENS_K3, 0.8}, {PS_LENS_F, PS_LENS_CX, 0.4}};
    double *C = g->joint_covariance;
    for (size_t i = 0; i < sizeof pair / sizeof *pair; i++) {
        int a = pair[i].a, b = pair[i].b;
        C[N * a + b] = C[N * b + a] = pair[i].r * sqrt(C[(N + 1) * a] * C[(N + 1) * b]);
    }
}

/* Photos that say nothing (corners with an sd of 1e5 px) leave exactly what was known before, correlations and all. */
static void without_data_the_prior_comes_back(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_adjust_solution *solution = NULL;
    scene *s = job_scene();
    ps_lens lens;
    double C[N * N];
    correlated(&s->group[0]);
    for (int i = 0; i < s->problem.corner_count; i++) s->corner[i].sigma_px = 1e5;
    s->problem.rim_count = s->problem.edge_count = s->problem.pin_count = 0;
    assert_int_equal(ps_adjust_solve(ctx, &s->problem, &solution), PS_OK);
    assert_int_equal(ps_adjust_lens(ctx, solution, 0, &lens, C), PS_OK);
    const double *prior = s->group[0].joint_covariance;
    const double little = 1e-3; /* what corners of 1e5 px still tell; the focal length's logarithm is linear to its square, 0.0025 */
    for (int a = 0; a < N; a++)
        for (int b = 0; b < N; b++) {
            double both = sqrt(prior[(N + 1) * a] * prior[(N + 1) * b]);
            CHECK_NEAR(C[N * a + b] / both, prior[N * a + b] / both, little);
        }
    CHECK_NEAR(lens.f_px / s->group[0].start.f_px, 1, little * s->group[0].sigma_focal_rel);
    ps_adjust_solution_free(solution);
    free(s);
    ps_context_free(ctx);
}

static void a_covariance_that_cannot_be_is_refused(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_adjust_solution *solution = NULL;
    for (int wrong = 0; wrong < 3; wrong++) {
        scene *s = job_scene();
        joint_of_sigmas(&s->group[0]);
        double *C = s->group[0].joint_covariance;
        if (wrong == 0) C[(N + 1) * PS_LENS_K1] = -1;
        if (wrong == 1) C[(N + 1) * PS_LENS_P1] = NAN;
        if (wrong == 2)
            C[N * PS_LENS_K2 + PS_LENS_K1] = C[N * PS_LENS_K1 + PS_LENS_K2] = 1.1 * sqrt(C[(N + 1) * PS_LENS_K1] * C[(N + 1) * PS_LENS_K2]);
        assert_int_equal(ps_adjust_solve(ctx, &s->problem, &solution), PS_BAD_ARGUMENT);
        assert_null(solution);
        free(s);
    }
    ps_context_free(ctx);
}

/* Errors over sd of the lens in made-up scenes whose everything is drawn from the priors: their mean square is 1. */
static void the_lens_is_as_far_off_as_its_sd_says(void **state) {
    (void)state;
    enum { SCENES = 40 };
    ps_context *ctx = ps_context_new();
    double sum[N] = {0};
    for (int seed = 1; seed <= SCENES; seed++) {
        scene_options o = scene_options_default((uint64_t)seed);
        scene *s = malloc(sizeof *s);
        ps_adjust_solution *solution = NULL;
        ps_lens lens;
        double C[N * N], mean[N] = {0};
        assert_non_null(s);
        assert_true(scene_make(s, &o));
        s->group[0].sigma_k1 = s->group[0].sigma_k2 = 0.05; /* as drawn */
        s->group[0].focal_tail = 0;
        assert_int_equal(ps_adjust_solve(ctx, &s->problem, &solution), PS_OK);
        assert_int_equal(ps_adjust_lens(ctx, solution, 0, &lens, C), PS_OK);
        mean[0] = s->view[0].lens.k1, mean[1] = s->view[0].lens.k2, mean[2] = s->view[0].lens.p1, mean[3] = s->view[0].lens.p2;
        const double got[4] = {lens.k1, lens.k2, lens.p1, lens.p2};
        for (int k = 0; k < 4; k++) sum[k] += pow(got[k] - mean[k], 2) / C[(N + 1) * (PS_LENS_K1 + k)];
        ps_adjust_solution_free(solution);
        free(s);
    }
    /* chi-square of 40: sd of the mean square is sqrt(2/40) = 0.22; three of them. */
    for (int k = 0; k < 4; k++) CHECK_NEAR(sum[k] / SCENES, 1, 0.67);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_diagonal_joint_prior_is_the_single_priors),
        cmocka_unit_test(without_data_the_prior_comes_back),
        cmocka_unit_test(a_covariance_that_cannot_be_is_refused),
        cmocka_unit_test(the_lens_is_as_far_off_as_its_sd_says),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
