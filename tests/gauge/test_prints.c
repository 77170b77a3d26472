/* What readings of the check lines say of the prints of one job's pieces: what they have in common, and what each has of its own. */
#include "check.h"

#include "../adjust/scene.h"
#include "gauge/doubts.h"
#include "gauge/job.h"
#include "gauge/prints.h"

#include <stdarg.h>

static const double REL = 1e-12;

static struct {
    ps_context *ctx;
    scene s;
    ps_measure_options options;
    ps_job_photo photo[SCENE_PHOTOS];
    uint8_t luma[1];
    ps_job job;
} f;

static void read_line(const char *piece, bool along, double read_mm, double U_mm) {
    ps_measure_options *o = &f.options;
    o->check[o->check_count++] = (ps_print_check){piece ? ps_kit_find(piece) : -1, along, read_mm, U_mm};
}

/* The scene's corners as sightings of three photos; its pieces are plate-1 and patch-1. */
static void sight(const scene_options *o) {
    memset(&f, 0, sizeof f);
    f.ctx = ps_context_new();
    f.options = ps_measure_options_default();
    assert_true(f.ctx && scene_make(&f.s, o));
    for (int i = 0; i < o->photos; i++) {
        ps_photo *photo = &f.photo[i].photo;
        photo->stored_width = photo->luma.width = 4032, photo->stored_height = photo->luma.height = 3024;
        photo->exif.orientation = 1;
        photo->luma.px = f.luma; /* only asked whether it is there */
        f.photo[i].sightings.count = o->pieces;
        for (int q = 0; q < o->pieces; q++) f.photo[i].sightings.piece[q].piece = f.s.piece[q].piece;
    }
    for (int k = 0; k < f.s.problem.corner_count; k++) {
        const ps_adjust_corner *c = &f.s.corner[k];
        ps_sighting *s = &f.photo[c->photo].sightings.piece[c->piece];
        s->corner[s->corner_count++] = (ps_corner){.index = c->index, .x_px = c->x_px, .y_px = c->y_px, .sigma_px = c->sigma_px};
    }
    f.job = (ps_job){.options = &f.options, .photo = f.photo, .count = o->photos};
}

static void solve(void) {
    ps_status status = ps_job_cameras(f.ctx, &f.job);
    if (status != PS_OK) fail_msg("%s", ps_context_message(f.ctx));
}

static void done(void) {
    free(f.job.corner);
    ps_adjust_solution_free(f.job.solution);
    ps_context_free(f.ctx);
}

static const ps_adjust_print *print_of(const char *piece) {
    for (int k = 0; k < f.job.problem.piece_count; k++)
        if (f.job.piece[k].piece == ps_kit_find(piece)) return &f.job.piece[k].print;
    fail_msg("no %s in the adjustment", piece);
    return NULL;
}

static scene_options sheets(int pieces) {
    scene_options o = scene_options_default(21);
    o.pieces = pieces, o.photos = 3;
    return o;
}

/* sd of a reading, relative. */
static double sd(double U_mm, double nominal_mm) {
    return 0.5 * U_mm / nominal_mm;
}

static void one_sheet_has_nothing_of_its_own(void **state) {
    (void)state;
    scene_options o = sheets(1);
    sight(&o);
    read_line("plate-1", false, 139.8, 0.15);
    read_line("patch-1", true, 195, 0.7); /* of no sheet in the photos: says nothing */
    solve();
    const ps_adjust_scale *s = &f.job.problem.scale;
    CHECK_NEAR(s->across, 139.8 / 140, REL);
    CHECK_NEAR(s->sigma_across, sd(0.15, 140), REL);
    CHECK_NEAR(s->along, 139.8 / 140, REL); /* printers seldom differ by over half a percent */
    CHECK_NEAR(s->sigma_along, hypot(0.005, sd(0.15, 140)), REL);
    assert_true(print_of("plate-1")->across.sigma == 0 && print_of("plate-1")->along.sigma == 0);
    bool across, along;
    ps_gauge_prints_read(f.job.piece, f.job.problem.piece_count, &across, &along);
    assert_true(across && !along);
    done();
}

/* Each by its own reading; half of a reading's variance is common to both, and the sum of both parts is the reading's. */
static void each_by_its_own_reading(void **state) {
    (void)state;
    scene_options o = sheets(2);
    o.unlike[1] = -0.0075;
    sight(&o);
    read_line("plate-1", false, 140, 0.15);
    read_line("plate-1", true, 200, 0.7);
    read_line("patch-1", false, 140.1, 0.3);
    read_line("patch-1", true, 198.5, 0.7);
    solve();
    const ps_adjust_scale *s = &f.job.problem.scale;
    const ps_adjust_print *plate = print_of("plate-1"), *patch = print_of("patch-1");
    CHECK_NEAR(plate->along.scale, 1, REL);
    CHECK_NEAR(patch->along.scale, 198.5 / 200, REL);
    CHECK_NEAR(patch->across.scale, 140.1 / 140, REL);
    CHECK_NEAR(s->sigma_along, sqrt(0.5) * sd(0.7, 200), REL);
    CHECK_NEAR(hypot(s->sigma_across, plate->across.sigma), sd(0.15, 140), REL);
    CHECK_NEAR(hypot(s->sigma_across, patch->across.sigma), sd(0.3, 140), REL);
    assert_true(s->sigma_common == 0 && !plate->along.guessed && !patch->along.guessed);
    bool across, along;
    ps_gauge_prints_read(f.job.piece, f.job.problem.piece_count, &across, &along);
    assert_true(across && along);
    /* And so the photos find them, which as one print fit badly. */
    double x, y;
    for (int k = 0; k < 2; k++) {
        ps_adjust_piece_scale(f.job.solution, k, &x, &y);
        CHECK_NEAR(y, f.s.along * f.s.own[f.job.piece[k].piece == f.s.piece[0].piece ? 0 : 1][1], 4 * sd(0.7, 200));
    }
    double ratio, other;
    ps_adjust_piece_scale(f.job.solution, f.job.piece[0].piece == f.s.piece[0].piece ? 0 : 1, &x, &ratio);
    ps_adjust_piece_scale(f.job.solution, f.job.piece[0].piece == f.s.piece[0].piece ? 1 : 0, &x, &other);
    CHECK_NEAR(other / ratio, 1 - 0.0075, 0.0015); /* paper of two pieces 0.04 %, corners of 0.1 px 0.03 %: three sd */
    done();
}

static void unread_beside_read(void **state) {
    (void)state;
    scene_options o = sheets(2);
    sight(&o);
    read_line("patch-1", false, 139.6, 0.15);
    read_line("patch-1", true, 199, 0.7);
    solve();
    const ps_adjust_print *plate = print_of("plate-1");
    assert_true(plate->across.guessed && plate->along.guessed);
    CHECK_NEAR(plate->across.scale, 139.6 / 140, REL); /* sheets of a job are mostly alike, */
    CHECK_NEAR(plate->along.scale, 199.0 / 200, REL);
    CHECK_NEAR(plate->along.sigma, 0.02, REL); /* and this one may be any */
    bool across, along;
    ps_gauge_prints_read(f.job.piece, f.job.problem.piece_count, &across, &along); /* the larger sheet is held, the smaller one was read */
    assert_true(across && along);
    done();
}

/* One line of each makes no sheet whose both lines were read. */
static void one_line_of_each(void **state) {
    (void)state;
    scene_options o = sheets(2);
    sight(&o);
    read_line("patch-1", false, 139.6, 0.15);
    read_line("plate-1", true, 199, 0.7);
    solve();
    bool across, along;
    ps_gauge_prints_read(f.job.piece, f.job.problem.piece_count, &across, &along);
    assert_true(across + along == 1);
    done();
    /* Nothing read along: as across, to half a percent. */
    sight(&o);
    read_line("patch-1", false, 139.3, 0.15);
    read_line("plate-1", false, 139.9, 0.15);
    solve();
    CHECK_NEAR(print_of("patch-1")->along.scale, 139.3 / 140, REL);
    CHECK_NEAR(print_of("plate-1")->along.scale, 139.9 / 140, REL);
    CHECK_NEAR(hypot(f.job.problem.scale.sigma_along, print_of("plate-1")->along.sigma), hypot(0.005, sqrt(0.5) * sd(0.15, 140)), REL);
    ps_gauge_prints_read(f.job.piece, f.job.problem.piece_count, &across, &along);
    assert_true(across && !along);
    done();
    sight(&o);
    solve();
    CHECK_NEAR(f.job.problem.scale.sigma_common, 0.02, REL);
    assert_true(print_of("plate-1")->across.guessed && print_of("patch-1")->along.guessed);
    done();
}

/* ---- the doubts ---- */

/* Prints of the job as solved, whatever else: codes of a value that nothing of unread sheets carries, or that much. */
static bool read_each; /* by a plan */

static bool doubted_as(ps_code code, double unread_mm, const char *word) {
    ps_gauge_input in = {
        .options = &f.options, .solution = f.job.solution, .photos_used = 3, .direction_spread_deg = 35, .lens_known = true};
    ps_gauge_facts facts = {.chi2 = 100, .dof = 100};
    ps_quantity q = {.value_mm = 320, .u_mm = 0.2, .unread_mm = unread_mm};
    ps_notes doubts = {0};
    ps_gauge_prints(f.job.solution, &in);
    in.print_each = read_each;
    ps_gauge_prints_read(f.job.piece, f.job.problem.piece_count, &in.print_checked_across, &in.print_checked_along);
    ps_gauge_doubts_common(&in, &facts, PS_KIND_CENTRES, -1, &q, &doubts);
    for (int i = 0; i < doubts.count; i++)
        if (doubts.note[i].code == code && strstr(doubts.note[i].text, word)) return true;
    return false;
}

static bool doubted(ps_code code, double unread_mm) {
    return doubted_as(code, unread_mm, "");
}

static void doubts_of_unread_sheets(void **state) {
    (void)state;
    scene_options o = sheets(2);
    sight(&o);
    read_line("plate-1", false, 140, 0.15);
    read_line("plate-1", true, 200, 0.7);
    solve();
    assert_false(doubted(PS_CODE_PRINT_UNCHECKED, 0));
    assert_false(doubted(PS_CODE_PRINT_UNCHECKED, 0.09));              /* of a need of 1 mm */
    assert_true(doubted_as(PS_CODE_PRINT_UNCHECKED, 0.11, "patch-1")); /* it is said which */
    assert_false(doubted(PS_CODE_PRINT_SCALED, 0));
    done();
}

/* A reading for all says that the sheets are alike. */
static void one_reading_for_unlike_sheets(void **state) {
    (void)state;
    for (int unlike = 0; unlike < 2; unlike++)
        for (int each = 0; each < 2; each++) {
            scene_options o = sheets(2);
            o.unlike[1] = unlike ? 0.006 : 0;
            sight(&o);
            read_line(NULL, false, 140, 0.15);
            read_line(NULL, true, 200, 0.2); /* nor is either sheet as it says, then */
            if (each) read_line("patch-1", true, 200 + 200 * o.unlike[1], 0.7);
            solve();
            if (!each) CHECK_NEAR(f.job.problem.scale.sigma_along, sd(0.2, 200), REL); /* one reading is off alike for both */
            assert_int_equal(doubted(PS_CODE_PRINT_SCALED, 0), unlike && !each);
            assert_int_equal(doubted_as(PS_CODE_PRINT_SCALED, 0, "each must be read"), unlike && !each);
            read_each = true; /* which is what would settle it */
            assert_false(doubted(PS_CODE_PRINT_SCALED, 0));
            read_each = false;
            assert_false(doubted(PS_CODE_PRINT_UNCHECKED, 0));
            done();
        }
}

/* Each sheet is judged by its own scale: what lies far from its reading, or out of proportion, doubts all. */
static void any_sheet_out_of_proportion(void **state) {
    (void)state;
    static const struct {
        double unlike_across, unlike_along, misread_mm;
        bool doubt;
    } cases[] = {{0, 0, 0, false}, {-0.06, -0.06, 0, false}, {0, 0.013, 0, true}, {-0.12, -0.12, 0, true}, {0, 0, 2, true}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        scene_options o = sheets(2);
        o.unlike[0] = cases[i].unlike_across, o.unlike[1] = cases[i].unlike_along;
        sight(&o);
        read_line("plate-1", false, 140, 0.1);
        read_line("plate-1", true, 200, 0.1);
        read_line("patch-1", false, 140 * (1 + o.unlike[0]), 0.1);
        read_line("patch-1", true, 200 * (1 + o.unlike[1]) + cases[i].misread_mm, 0.1);
        solve();
        if (doubted(PS_CODE_PRINT_SCALED, 0) != cases[i].doubt) fail_msg("case %zu", i);
        done();
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(one_sheet_has_nothing_of_its_own),
                                       cmocka_unit_test(each_by_its_own_reading),
                                       cmocka_unit_test(unread_beside_read),
                                       cmocka_unit_test(one_line_of_each),
                                       cmocka_unit_test(doubts_of_unread_sheets),
                                       cmocka_unit_test(one_reading_for_unlike_sheets),
                                       cmocka_unit_test(any_sheet_out_of_proportion)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
