/* The chance of a sheet's bend, corners alone: small sheets show few of their bend terms, and are judged as strictly as large ones. */
#include "../bench/coverage_scene.h"
#include "check.h"

static job_scene scene;

/* Chance of the first piece's bend; -1 where the job is none of that kind or corners alone are not solved. */
static double chance(ps_context *ctx, job_contradiction contradiction, uint64_t job, const char *piece) {
    job_options o = {0, 4, contradiction, false, 0.3, true};
    ps_adjust_problem *q = &scene.problem;
    ps_adjust_start start;
    ps_adjust_solution *solution = NULL;
    if (!job_make(&scene, &o, 47, job) || scene.piece[0].piece != ps_kit_find(piece) || q->photo_count < 3) return -1;
    if (ps_adjust_start_poses(ctx, q, scene.photo, scene.group, scene.piece, &start) != PS_OK) return -1;
    q->pin_count = q->rim_count = q->edge_count = 0;
    if (ps_adjust_solve(ctx, q, &solution) != PS_OK) return -1;
    double out = ps_adjust_bend_chance(solution, 0);
    ps_adjust_solution_free(solution);
    return out;
}

/* Of `jobs` jobs with the piece: how many have a chance under `least`. */
static int under(job_contradiction contradiction, const char *piece, int jobs, double least) {
    ps_context *ctx = ps_context_new();
    int count = 0, found = 0;
    double lowest = 1;
    for (uint64_t n = 0; n < 3000 && count < jobs; n++) {
        double p = chance(ctx, contradiction, n, piece);
        if (p < 0) continue;
        count++;
        found += p < least;
        lowest = p < lowest ? p : lowest;
    }
    ps_context_free(ctx);
    print_message("%s: %d of %d under %g, lowest %g\n", piece, found, count, least, lowest);
    assert_int_equal(count, jobs);
    return found;
}

static void flat_sheets_are_as_their_priors(void **state) {
    (void)state;
    assert_true(under(JOB_HONEST, "mini-1", 60, 0.01) <= 4); /* 0.6 by chance; 4 and more once in a hundred tests */
    assert_true(under(JOB_HONEST, "plate-1", 60, 0.01) <= 4);
}

/* Sheets as bent as that show it; a small one's sum of squares is that of the few terms which it shows. */
static void bent_sheets_are_not(void **state) {
    (void)state;
    assert_true(under(JOB_BENT, "mini-1", 30, 1e-7) >= 27);
    assert_true(under(JOB_BENT, "plate-1", 30, 1e-7) >= 25);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(flat_sheets_are_as_their_priors), cmocka_unit_test(bent_sheets_are_not)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
