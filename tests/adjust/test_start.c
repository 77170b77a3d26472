/* Start poses: from corners alone, against the made-up scene's truth; and what they must refuse or flag. */
#include "check.h"
#include "scene.h"

static double angle_between(const ps_pose *a, const ps_pose *b) {
    double trace = 0;
    for (int i = 0; i < 9; i++) trace += a->R[i] * b->R[i];
    return acos(fmax(-1, fmin(1, (trace - 1) / 2)));
}

static void spoil_starts(scene *s, int photos) {
    for (int i = 0; i < photos; i++) memset(&s->photo[i].start, 0, sizeof s->photo[i].start);
    for (int i = 1; i < SCENE_PIECES; i++) memset(&s->piece[i].start, 0, sizeof s->piece[i].start);
}

/* Print, bend, principal point and lens terms are off as priors allow: a start within 3 degrees and 4 % of the distance
 * is what the adjustment was tried from (it copes with more); a twin is tens of degrees off. */
static const double START_ANGLE = 0.052, START_SHARE = 0.04;

static void test_two_pieces(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    for (uint64_t seed = 1; seed <= 10; seed++) {
        static scene s;
        scene_options o = scene_options_default(seed);
        o.pieces = 2;
        o.orientation = seed % 2 ? 6 : 1;
        assert_true(scene_make(&s, &o));
        spoil_starts(&s, o.photos);
        s.group[0].start.f_px = s.view[0].lens.f_px; /* known focal here; searched below */
        ps_adjust_start found;
        assert_int_equal(ps_adjust_start_poses(ctx, &s.problem, s.photo, s.group, s.piece, &found), PS_OK);
        for (int i = 0; i < o.photos; i++) {
            assert_true(found.photo[i]);
            CHECK_NEAR(angle_between(&s.photo[i].start, &s.view[i].pose), 0, START_ANGLE);
            const double middle[3] = {90, 120, 0}; /* of the held piece */
            double got[3], truth[3];
            ps_pose_apply(&s.photo[i].start, middle, got);
            ps_pose_apply(&s.view[i].pose, middle, truth);
            CHECK_NEAR(got[2] / truth[2], 1, START_SHARE);
        }
        assert_true(found.piece[0] && found.piece[1]);
        CHECK_NEAR(angle_between(&s.piece[1].start, &s.piece_pose[1]), 0, 2 * START_ANGLE); /* a patch: a third of the size */
        ps_adjust_solution *sol = NULL;
        assert_int_equal(ps_adjust_solve(ctx, &s.problem, &sol), PS_OK); /* and the adjustment goes on from there */
        double chi2;
        int dof;
        ps_adjust_fit(sol, &chi2, &dof);
        const double FIVE_SD = 5 * sqrt(2.0 / dof); /* of the mean of chi-square */
        CHECK_NEAR(chi2 / dof, 1, FIVE_SD);
        ps_adjust_solution_free(sol);
    }
    ps_context_free(ctx);
}

/* Focal length unknown: the start lens is wrong by 1.8 either way. */
static void test_free_focal(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    for (uint64_t seed = 1; seed <= 6; seed++) {
        static scene s;
        scene_options o = scene_options_default(100 + seed);
        assert_true(scene_make(&s, &o));
        spoil_starts(&s, o.photos);
        s.group[0].start.f_px = s.view[0].lens.f_px * (seed % 2 ? 1.8 : 1 / 1.8);
        s.group[0].sigma_focal_rel = 0.5;
        s.group[0].focal_tail = 0;
        ps_adjust_start found;
        assert_int_equal(ps_adjust_start_poses(ctx, &s.problem, s.photo, s.group, s.piece, &found), PS_OK);
        double ratio = s.group[0].start.f_px / s.view[0].lens.f_px;
        print_message("focal start %.4f of the truth\n", ratio);
        /* Four views 20 degrees apart of a bent sheet through an uncorrected lens. */
        const double FOCAL_SHARE = 0.08;
        CHECK_NEAR(ratio, 1, FOCAL_SHARE);
        ps_adjust_solution *sol = NULL;
        assert_int_equal(ps_adjust_solve(ctx, &s.problem, &sol), PS_OK);
        ps_view view;
        ps_adjust_view(sol, 0, &view);
        const double SOLVED_SHARE = 0.01; /* its sd in these scenes is .2 % */
        CHECK_NEAR(view.lens.f_px / s.view[0].lens.f_px, 1, SOLVED_SHARE);
        ps_adjust_solution_free(sol);
    }
    ps_context_free(ctx);
}

/* A photo without any corner, one that shows only the second piece, and a held piece that no photo shows. */
static void test_connections(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    scene_options o = scene_options_default(7);
    o.pieces = 2;
    assert_true(scene_make(&s, &o));
    spoil_starts(&s, o.photos);
    int n = 0;
    for (int i = 0; i < s.problem.corner_count; i++) {
        ps_adjust_corner c = s.corner[i];
        if (c.photo == 3 || (c.photo == 2 && c.piece == 0)) continue;
        s.corner[n++] = c;
    }
    s.problem.corner_count = n;
    ps_adjust_start found;
    assert_int_equal(ps_adjust_start_poses(ctx, &s.problem, s.photo, s.group, s.piece, &found), PS_OK);
    assert_true(found.photo[0] && found.photo[1]);
    assert_true(found.photo[2]); /* through the second piece */
    CHECK_NEAR(angle_between(&s.photo[2].start, &s.view[2].pose), 0, 2 * START_ANGLE);
    assert_false(found.photo[3]);
    n = 0;
    for (int i = 0; i < s.problem.corner_count; i++) {
        if (s.corner[i].piece == 1) s.corner[n++] = s.corner[i];
    }
    s.problem.corner_count = n;
    assert_int_equal(ps_adjust_start_poses(ctx, &s.problem, s.photo, s.group, s.piece, &found), PS_NOT_FOUND);
    s.corner[0].x_px = NAN;
    assert_int_equal(ps_adjust_start_poses(ctx, &s.problem, s.photo, s.group, s.piece, &found), PS_BAD_ARGUMENT);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_two_pieces), cmocka_unit_test(test_free_focal),
                                       cmocka_unit_test(test_connections)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
