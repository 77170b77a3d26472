/* The adjustment on made-up scenes: exactness, rank, which piece is held, upright and stored frames, outliers, scatter
 * beyond the stated sd, corners alone, one photo, and what it must refuse. */
#include "check.h"
#include "scene.h"

static ps_adjust_solution *solve(ps_context *ctx, const scene *s) {
    ps_adjust_solution *sol = NULL;
    if (ps_adjust_solve(ctx, &s->problem, &sol) != PS_OK) fail_msg("%s", ps_context_message(ctx));
    return sol;
}

/* Without noise the truth comes back. */
static void test_perfect_scene(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    scene_options o = scene_options_default(5);
    o.noise = 0;
    o.pieces = 2;
    assert_true(scene_make(&s, &o));
    ps_adjust_solution *sol = solve(ctx, &s);
    /* Only the weak priors pull, toward starts some mm off: (sd from the photos / 1 m)^2 of that. */
    const double PULL_MM = 2e-5;
    ps_quantity q;
    for (int r = 0; r < SCENE_RIMS; r++) {
        assert_int_equal(ps_adjust_diameter(ctx, sol, r, &q), PS_OK);
        CHECK_NEAR(q.value_mm, 2 * s.circle[r].radius_mm, PULL_MM);
        ps_circle3 c;
        double height;
        ps_adjust_circle(sol, r, &c, &height);
        CHECK_NEAR(height, s.height[r], 10 * PULL_MM); /* heights carry the play of the whole sheet's plane */
        for (int k = 0; k < 3; k++) CHECK_NEAR(c.centre[k], s.circle[r].centre[k], 10 * PULL_MM);
    }
    assert_int_equal(ps_adjust_centres(ctx, sol, 0, 25, 1, 31, &q), PS_OK);
    CHECK_NEAR(q.value_mm, o.centres_mm == 320 ? hypot(320, 25) : NAN, PULL_MM);
    for (int i = 0; i < s.problem.corner_count; i++) CHECK_NEAR(ps_adjust_corner_residual(sol, i, i % 2), 0, 1e-4);
    double weight;
    for (int i = 0; i < s.problem.edge_count; i++) CHECK_NEAR(ps_adjust_edge_residual(sol, i, &weight), 0, 1e-4);
    ps_adjust_solution_free(sol);
    ps_context_free(ctx);
}

/* No direction is free, however little is seen: what the photos leave open comes out wide, not singular. */
static void test_rank(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    for (int photos = 1; photos <= 4; photos += 3) {
        scene_options o = scene_options_default(21);
        o.photos = photos;
        assert_true(scene_make(&s, &o));
        ps_adjust_solution *sol = solve(ctx, &s);
        ps_quantity pin, gap;
        assert_int_equal(ps_adjust_diameter(ctx, sol, 1, &pin), PS_OK);
        assert_int_equal(ps_adjust_height_difference(ctx, sol, 1, 2, &gap), PS_OK);
        print_message("%d photos: pin diameter u %.3f mm, height u %.3f mm\n", photos, pin.u_mm, gap.u_mm);
        assert_true(isfinite(pin.u_mm) && pin.u_mm > 0 && isfinite(gap.u_mm) && gap.u_mm > 0);
        if (photos == 1) assert_true(pin.u_mm > 5); /* no scale at an unknown height: over 10 % of 65 mm */
        if (photos == 4) assert_true(pin.u_mm < 0.1);
        ps_adjust_solution_free(sol);
    }
    ps_context_free(ctx);
}

/* With the stand-off declared one photo does give a size, and the plane is what its uncertainty comes from. */
static void test_one_photo_with_standoff(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    scene_options o = scene_options_default(22);
    o.photos = 1;
    assert_true(scene_make(&s, &o));
    for (int r = 0; r < SCENE_RIMS; r++) {
        s.rim[r].height_known = true;
        s.rim[r].height_prior_mm = s.height[r];
        s.rim[r].sigma_height_mm = 1;
    }
    ps_adjust_solution *sol = solve(ctx, &s);
    ps_quantity q;
    assert_int_equal(ps_adjust_diameter(ctx, sol, 1, &q), PS_OK);
    print_message("one photo, stand-off 1 mm: diameter %.3f (truth %.3f), u %.3f, of it plane %.3f\n", q.value_mm,
                  2 * s.circle[1].radius_mm, q.u_mm, q.source_mm[PS_SOURCE_PLANE]);
    CHECK_NEAR(q.value_mm, 2 * s.circle[1].radius_mm, 4 * q.u_mm);
    assert_true(q.source_mm[PS_SOURCE_PLANE] > 0.05 && q.u_mm < 0.5); /* 1 mm of 440 is .15 mm on 65 */
    ps_adjust_solution_free(sol);
    ps_context_free(ctx);
}

/* One photo and no stand-off: what it shows could as well be smaller and nearer, and edges out of round or bushes aside do not tell:
 * the solution stays at the height that it started from. */
static void test_one_photo_leans_to_no_side(void **state) {
    (void)state;
    enum { SCENES = 40 };
    /* The start heights are off by 4 mm (sd) a rim, of which u is over ten times as much; the prior lies about them and pulls back to them.
     * With out-of-round and play in plain millimetres the mean was -0.91 and the worst 1.89. */
    const double MEAN_MOST = 0.1, WORST_MOST = 0.4;
    ps_context *ctx = ps_context_new();
    static scene s;
    double mean = 0, worst = 0;
    for (int n = 0; n < SCENES; n++) {
        scene_options o = scene_options_default(700 + (uint64_t)n);
        o.photos = 1, o.may_be_oval = true, o.oval_mm = 0.05;
        assert_true(scene_make(&s, &o));
        ps_adjust_solution *sol = solve(ctx, &s);
        ps_quantity q;
        assert_int_equal(ps_adjust_centres(ctx, sol, 0, s.height[2], 1, s.height[5], &q), PS_OK);
        double ratio = (q.value_mm - scene_centres(&s, s.height[2], s.height[5])) / q.u_mm;
        mean += ratio / SCENES, worst = fmax(worst, fabs(ratio));
        ps_adjust_solution_free(sol);
    }
    print_message("one photo, no stand-off: error of the centres over u %.2f in the mean, %.2f at most\n", mean, worst);
    assert_true(fabs(mean) < MEAN_MOST && worst < WORST_MOST);
    ps_context_free(ctx);
}

/* The same scene in the frame of piece 1. */
static void hold_other(scene *s, double height_shift[SCENE_PINS]) {
    ps_pose to_new, old_photo, other = s->piece[1].start;
    ps_pose_invert(&other, &to_new);
    for (int i = 0; i < s->problem.photo_count; i++) {
        old_photo = s->photo[i].start;
        ps_pose_compose(&old_photo, &other, &s->photo[i].start);
    }
    s->piece[0].start = to_new;
    for (int i = 0; i < SCENE_PINS; i++) {
        double point[3], zero[3] = {0, 0, 0}, tip[3], base[3];
        ps_pose_apply(&to_new, s->pin[i].axis_point_mm, point);
        ps_pose_apply(&to_new, s->pin[i].axis_direction, tip);
        ps_pose_apply(&to_new, zero, base);
        for (int k = 0; k < 3; k++) {
            s->pin[i].axis_point_mm[k] = point[k];
            s->pin[i].axis_direction[k] = tip[k] - base[k];
        }
        height_shift[i] = point[2] / s->pin[i].axis_direction[2]; /* heights count from the new plane */
    }
    for (int r = 0; r < SCENE_RIMS; r++) s->rim[r].height_mm += height_shift[s->rim[r].pin];
    s->problem.held_piece = 1;
}

static void test_held_piece_does_not_matter(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    for (uint64_t seed = 31; seed <= 34; seed++) {
        static scene s;
        scene_options o = scene_options_default(seed);
        o.pieces = 2;
        assert_true(scene_make(&s, &o));
        double shift[SCENE_PINS];
        ps_quantity q[2][4];
        for (int held = 0; held < 2; held++) {
            if (held) hold_other(&s, shift);
            ps_adjust_solution *sol = solve(ctx, &s);
            ps_circle3 c;
            double a, b;
            ps_adjust_circle(sol, 2, &c, &a); /* the bushes' heights, solved, in either frame */
            ps_adjust_circle(sol, 5, &c, &b);
            assert_int_equal(ps_adjust_centres(ctx, sol, 0, a, 1, b, &q[held][0]), PS_OK);
            assert_int_equal(ps_adjust_diameter(ctx, sol, 1, &q[held][1]), PS_OK);
            assert_int_equal(ps_adjust_diameter(ctx, sol, 5, &q[held][2]), PS_OK);
            assert_int_equal(ps_adjust_height_difference(ctx, sol, 1, 2, &q[held][3]), PS_OK);
            ps_adjust_solution_free(sol);
        }
        for (int k = 0; k < 4; k++) {
            /* The play's heavy tail counts in two directions that turn with the frame, and the weak priors' starts
             * differ: both are under a hundredth of u. */
            const double SHARE_OF_U = 0.01;
            print_message("seed %d quantity %d: %.6f and %.6f, u %.6f and %.6f\n", (int)seed, k, q[0][k].value_mm, q[1][k].value_mm,
                          q[0][k].u_mm, q[1][k].u_mm);
            CHECK_NEAR(q[1][k].value_mm, q[0][k].value_mm, SHARE_OF_U * q[0][k].u_mm);
            CHECK_NEAR(q[1][k].u_mm / q[0][k].u_mm, 1, SHARE_OF_U);
        }
    }
    ps_context_free(ctx);
}

static void expect_same(const ps_adjust_solution *a, const ps_adjust_solution *b) {
    const double SHARE_OF_U = 0.01; /* each search ends within a thousandth of the uncertainty, IRLS some steps behind */
    for (int rim = 0; rim < 6; rim++) {
        ps_quantity p, q;
        assert_int_equal(ps_adjust_diameter(NULL, a, rim, &p), PS_OK);
        assert_int_equal(ps_adjust_diameter(NULL, b, rim, &q), PS_OK);
        CHECK_NEAR(p.value_mm, q.value_mm, SHARE_OF_U * q.u_mm);
        CHECK_NEAR(p.u_mm / q.u_mm, 1, SHARE_OF_U);
    }
    const double COST = 1e-4; /* a hundredth of u, squared */
    CHECK_NEAR(ps_adjust_cost(a), ps_adjust_cost(b), COST);
}

/* Where the search begins is no part of the result: at the solution without one photo's corners, which starts alike; at one whose pins
 * start elsewhere; at that of another scene, which has nothing in common. */
static void test_begins_at_another(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    for (uint64_t seed = 41; seed <= 43; seed++) {
        static scene s, other;
        scene_options o = scene_options_default(seed), unlike = scene_options_default(seed + 100);
        assert_true(scene_make(&s, &o) && scene_make(&other, &unlike));
        ps_adjust_solution *cold = solve(ctx, &s), *foreign = solve(ctx, &other), *from, *warm;
        int all = s.problem.corner_count;
        while (s.problem.corner[s.problem.corner_count - 1].photo == s.problem.corner[all - 1].photo) s.problem.corner_count--;
        from = solve(ctx, &s);
        s.problem.corner_count = all;
        s.problem.from = from;
        warm = solve(ctx, &s);
        expect_same(warm, cold);
        ps_adjust_solution_free(warm);
        s.problem.from = foreign;
        warm = solve(ctx, &s);
        expect_same(warm, cold);
        ps_adjust_solution_free(warm);
        s.pin[0].axis_point_mm[0] += 0.5;
        s.rim[1].radius_mm += 0.5;
        s.problem.from = from;
        warm = solve(ctx, &s);
        s.problem.from = NULL;
        ps_adjust_solution_free(from);
        from = solve(ctx, &s);
        expect_same(warm, from);
        ps_adjust_solution_free(warm);
        ps_adjust_solution_free(from);
        ps_adjust_solution_free(cold);
        ps_adjust_solution_free(foreign);
    }
    ps_context_free(ctx);
}

/* Nor is how the search begins: hardly damped, where the starts are said to be near, and where they are not. */
static void test_begins_undamped(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    for (int off = 0; off < 2; off++) {
        static scene s;
        scene_options o = scene_options_default(44);
        assert_true(scene_make(&s, &o));
        s.pin[0].axis_point_mm[0] += 4 * off;
        s.rim[1].radius_mm += 3 * off;
        ps_adjust_solution *damped = solve(ctx, &s);
        s.problem.near_start = true;
        ps_adjust_solution *near = solve(ctx, &s);
        s.problem.near_start = false;
        expect_same(near, damped);
        ps_adjust_solution_free(near);
        ps_adjust_solution_free(damped);
    }
    ps_context_free(ctx);
}

/* The EXIF orientation turns the observations, not the result. */
static void test_orientation(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    double value[9] = {0};
    for (int orientation = 1; orientation <= 8; orientation++) {
        scene_options o = scene_options_default(41);
        o.orientation = orientation;
        assert_true(scene_make(&s, &o));
        if (orientation == 6) { /* one corner shifted by 3 px along upright x: its residual says so in upright axes */
            s.corner[17].x_px += 0.3;
        }
        ps_adjust_solution *sol = solve(ctx, &s);
        ps_view view;
        ps_adjust_view(sol, 0, &view);
        assert_int_equal(view.orientation, orientation);
        double px[2], X[3];
        scene_corner(&s, 0, 17, X);
        assert_true(ps_view_project(&view, X, px));
        CHECK_NEAR(px[0], s.corner[17].x_px, 1); /* the view belongs to upright pixels */
        CHECK_NEAR(px[1], s.corner[17].y_px, 1);
        if (orientation == 6) {
            CHECK_NEAR(ps_adjust_corner_residual(sol, 17, 0), 0.3, 0.3); /* noise .1, less what the fit takes */
            s.corner[17].x_px -= 0.3;
        } else {
            ps_quantity q;
            assert_int_equal(ps_adjust_diameter(ctx, sol, 1, &q), PS_OK);
            value[orientation] = q.value_mm;
        }
        ps_adjust_solution_free(sol);
    }
    /* The noise is drawn in upright axes, so results differ by noise, not by frames: u is .05. */
    for (int orientation = 2; orientation <= 8; orientation++)
        if (orientation != 6) CHECK_NEAR(value[orientation], value[1], 0.15);
    ps_context_free(ctx);
}

static void test_corners_only(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    scene_options o = scene_options_default(51);
    o.pieces = 2;
    assert_true(scene_make(&s, &o));
    s.problem.pin_count = s.problem.rim_count = s.problem.edge_count = 0;
    s.problem.pin = NULL, s.problem.rim = NULL, s.problem.edge = NULL;
    ps_adjust_solution *sol = solve(ctx, &s);
    double chi2;
    int dof;
    ps_adjust_fit(sol, &chi2, &dof);
    const double FIVE_SD = 5 * sqrt(2.0 / dof);
    CHECK_NEAR(chi2 / dof, 1, FIVE_SD);
    CHECK_NEAR(ps_adjust_corner_rms(sol, 0, 0), 0.1, 0.02); /* 70 residuals of .1 px: 2.4 sd */
    ps_quantity q;
    assert_int_equal(ps_adjust_diameter(ctx, sol, 0, &q), PS_BAD_ARGUMENT);
    assert_int_equal(ps_adjust_centres(ctx, sol, 0, 0, 1, 0, &q), PS_BAD_ARGUMENT);
    ps_adjust_solution_free(sol);
    ps_context_free(ctx);
}

/* A tenth of one rim's points lies 5 px off: weights go down, the diameter stays. */
static void test_outliers(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    scene_options o = scene_options_default(61);
    assert_true(scene_make(&s, &o));
    int spoiled = 0;
    for (int i = 0; i < s.problem.edge_count; i += 10) {
        if (s.edge[i].rim != 1) continue;
        s.edge[i].x_px += 5, s.edge[i].y_px += 5, spoiled++;
    }
    ps_adjust_solution *sol = solve(ctx, &s);
    ps_quantity q;
    assert_int_equal(ps_adjust_diameter(ctx, sol, 1, &q), PS_OK);
    CHECK_NEAR(q.value_mm, 2 * s.circle[1].radius_mm, 4 * q.u_mm);
    int light = 0;
    for (int i = 0; i < s.problem.edge_count; i += 10) {
        double weight;
        ps_adjust_edge_residual(sol, i, &weight);
        light += s.edge[i].rim == 1 && weight < 0.5;
    }
    print_message("%d of %d spoiled points weigh under a half; pin off by %.3f, u %.3f\n", light, spoiled,
                  q.value_mm - 2 * s.circle[1].radius_mm, q.u_mm);
    assert_true(light >= spoiled * 3 / 4); /* the rest moved along the edge */
    ps_adjust_solution_free(sol);
    ps_context_free(ctx);
}

/* Observations twice as bad as they say: their part of u grows back to what it is with the right sd. All sd in
 * pixels are halved alike, those of the shifts too, so that the fit weighs one against the other as before. */
static void test_inflation(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    scene_options o = scene_options_default(71);
    double part[2][2];
    for (int k = 0; k < 2; k++) {
        assert_true(scene_make(&s, &o));
        for (int i = 0; i < s.problem.edge_count && k; i++) s.edge[i].sigma_px /= 2;
        for (int i = 0; i < s.problem.corner_count && k; i++) s.corner[i].sigma_px /= 2;
        if (k) s.problem.sigma_shift_common_px /= 2, s.problem.sigma_shift_photo_px /= 2;
        ps_adjust_solution *sol = solve(ctx, &s);
        ps_quantity q;
        assert_int_equal(ps_adjust_diameter(ctx, sol, 1, &q), PS_OK);
        part[k][0] = q.source_mm[PS_SOURCE_EDGES];
        part[k][1] = q.source_mm[PS_SOURCE_CORNERS];
        ps_adjust_solution_free(sol);
    }
    for (int i = 0; i < 2; i++) {
        print_message("part of u: %.4f mm as stated, %.4f with sd stated at half\n", part[0][i], part[1][i]);
        /* Without inflation about half. Huber trims at half the place and priors weigh half against the data. */
        CHECK_NEAR(part[1][i] / part[0][i], 1, 0.2);
    }
    ps_context_free(ctx);
}

/* Check lines that disagree: the print's part of u grows with the disagreement. Both off alike: nothing can tell. */
static void test_readings_disagree(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    scene_options o = scene_options_default(72);
    o.print_sd = 0.002; /* far over what the photos tell of across against along */
    static const double off[3][2] = {{0, 0}, {6, 0}, {6, 6}};
    double part[3];
    for (int k = 0; k < 3; k++) {
        assert_true(scene_make(&s, &o));
        s.problem.scale.across = s.across + off[k][0] * o.print_sd, s.problem.scale.along = s.along + off[k][1] * o.print_sd;
        ps_adjust_solution *sol = solve(ctx, &s);
        ps_quantity q;
        assert_int_equal(ps_adjust_centres(ctx, sol, 0, 25, 1, 31, &q), PS_OK);
        part[k] = q.source_mm[PS_SOURCE_PRINT_SCALE];
        ps_adjust_solution_free(sol);
    }
    print_message("print-scale's part: %.3f mm, %.3f with one line 6 sd off, %.3f with both\n", part[0], part[1], part[2]);
    /* 6 sd between two readings of equal sd are 6 / sqrt(2) = 4.24 of their difference's; what the photos do not tell exactly
     * takes a little of it. */
    const double EXPECTED = 4.24, SHARE = 0.1, ALIKE = 0.02;
    CHECK_NEAR(part[1] / part[0], EXPECTED, SHARE * EXPECTED);
    CHECK_NEAR(part[2] / part[0], 1, ALIKE);
    ps_context_free(ctx);
}

/* Edges that run beside their circle, as where a trace took its neighbour: in one photo one rim lies 4 px to a side. Where each rim
 * may lie to a side, the lens is bent by less than half as much. */
static void test_side_shift_spares_the_lens(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    scene_options o = scene_options_default(91);
    double bent[2];
    for (int k = 0; k < 2; k++) {
        double sound[2];
        for (int wrong = 0; wrong < 2; wrong++) {
            assert_true(scene_make(&s, &o));
            s.problem.sigma_shift_side_px = k ? 0.3 : 0;
            for (int i = 0; i < s.problem.edge_count && wrong; i++)
                if (s.edge[i].photo == 1 && s.edge[i].rim == 2) s.edge[i].x_px += 4;
            ps_adjust_solution *sol = solve(ctx, &s);
            ps_view view;
            ps_adjust_view(sol, 1, &view);
            sound[wrong] = log(view.lens.f_px);
            ps_adjust_solution_free(sol);
        }
        bent[k] = fabs(sound[1] - sound[0]);
    }
    print_message("focal length bent by %.4f, with the side free by %.4f\n", bent[0], bent[1]);
    assert_true(bent[0] > 1e-4); /* else nothing is shown */
    assert_true(bent[1] < 0.5 * bent[0]);
    ps_context_free(ctx);
}

/* The order of size that design's covariance study gives: three photos, .33 mm expanded on 320 mm, .13 on 130. */
static void test_planning_figures(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    const double centres[2] = {130, 320}, expanded[2] = {0.13, 0.33};
    for (int k = 0; k < 2; k++) {
        scene_options o = scene_options_default(81);
        o.photos = 3;
        o.centres_mm = centres[k];
        assert_true(scene_make(&s, &o));
        ps_adjust_solution *sol = solve(ctx, &s);
        ps_quantity q;
        assert_int_equal(ps_adjust_centres(ctx, sol, 0, 25, 1, 31, &q), PS_OK);
        print_message("%g mm centres: U %.3f mm, study %.2f\n", centres[k], 2 * q.u_mm, expanded[k]);
        /* Another layout and number of edge points than the study's: the same within a third. */
        CHECK_NEAR(2 * q.u_mm / expanded[k], 1, 0.35);
        ps_adjust_solution_free(sol);
    }
    ps_context_free(ctx);
}

static void expect_refused(ps_context *ctx, const ps_adjust_problem *p) {
    ps_adjust_solution *sol = NULL;
    assert_int_equal(ps_adjust_solve(ctx, p, &sol), PS_BAD_ARGUMENT);
    assert_null(sol);
    assert_true(strlen(ps_context_message(ctx)) > 5);
}

static void test_refusals(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    static scene s;
    scene_options o = scene_options_default(91);
    assert_true(scene_make(&s, &o));
    scene t = s;
#define TRY(change)                                                                                                                        \
    do {                                                                                                                                   \
        change;                                                                                                                            \
        expect_refused(ctx, &s.problem);                                                                                                   \
        s = t;                                                                                                                             \
    } while (0)
    TRY(s.corner[3].x_px = NAN);
    TRY(s.corner[3].sigma_px = 0);
    TRY(s.corner[3].index = 35);
    TRY(s.corner[3].photo = 4);
    TRY(s.edge[7].rim = SCENE_RIMS);
    TRY(s.edge[7].y_px = INFINITY);
    TRY(s.rim[0].radius_mm = 0);
    TRY(s.rim[0].pin = 2);
    TRY(s.pin[0].axis_direction[2] = 0);
    TRY(s.photo[1].group = 1);
    TRY(s.group[0].start.f_px = 0);
    TRY(s.problem.held_piece = 1);
    TRY(s.problem.photo_count = 0);
    TRY(s.problem.scale.across = 0);
    TRY(s.photo[0].start.t[2] = -400); /* the piece behind the camera */
#undef TRY
    ps_adjust_solution *sol = solve(ctx, &s); /* and unchanged it is fine */
    ps_quantity q;
    assert_int_equal(ps_adjust_height_difference(ctx, sol, 0, 3, &q), PS_BAD_ARGUMENT); /* of two pins */
    assert_int_equal(ps_adjust_diameter(ctx, sol, SCENE_RIMS, &q), PS_BAD_ARGUMENT);
    assert_int_equal(ps_adjust_centres(ctx, sol, 1, 0, 1, 0, &q), PS_BAD_ARGUMENT);
    ps_adjust_solution_free(sol);
    ps_adjust_solution_free(NULL);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_perfect_scene),
        cmocka_unit_test(test_rank),
        cmocka_unit_test(test_one_photo_with_standoff),
        cmocka_unit_test(test_one_photo_leans_to_no_side),
        cmocka_unit_test(test_held_piece_does_not_matter),
        cmocka_unit_test(test_begins_at_another),
        cmocka_unit_test(test_begins_undamped),
        cmocka_unit_test(test_orientation),
        cmocka_unit_test(test_corners_only),
        cmocka_unit_test(test_outliers),
        cmocka_unit_test(test_inflation),
        cmocka_unit_test(test_readings_disagree),
        cmocka_unit_test(test_side_shift_spares_the_lens),
        cmocka_unit_test(test_planning_figures),
        cmocka_unit_test(test_refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
