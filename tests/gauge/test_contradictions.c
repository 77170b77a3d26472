/* Contradictions in plain geometry (tests/bench/coverage_scene.h), both ways: each is found and named, and none is claimed where
 * photos are honest. */
#include "../bench/coverage_scene.h"
#include "check.h"

#include "gauge/contradictions.h"

enum { STRIDE = 4 }; /* every fourth edge point with half the sd: says as much, runs faster */

/* Each held sheet is compared with every cause, two seconds a job, and three times that with sanitizers: there a few jobs do, and the
 * rate is asked of the other builds. */
#ifdef __SANITIZE_ADDRESS__
enum { HELD_JOBS = 4 };
#else
enum { HELD_JOBS = 16 };
#endif

static job_scene scene;

/* Solves as the gauge room does (corners first) and looks for contradictions. */
static ps_status look(ps_context *ctx, ps_contradictions *found) {
    ps_adjust_problem *q = &scene.problem;
    ps_adjust_start start;
    ps_adjust_solution *solution = NULL;
    int pins = q->pin_count, rims = q->rim_count, edges = q->edge_count;
    ps_status status = ps_adjust_start_poses(ctx, q, scene.photo, scene.group, scene.piece, &start);
    for (int i = 0; status == PS_OK && i < q->photo_count; i++)
        if (!start.photo[i]) return PS_NOT_FOUND;
    q->pin_count = q->rim_count = q->edge_count = 0;
    if (status == PS_OK) status = ps_adjust_solve(ctx, q, &solution);
    if (status == PS_NO_CONVERGENCE) return ps_gauge_contradictions(ctx, q, found); /* corners that part: as the gauge room */
    if (status != PS_OK) return status;
    for (int i = 0; i < q->photo_count; i++) {
        ps_view view;
        ps_adjust_view(solution, i, &view);
        scene.photo[i].start = view.pose;
    }
    for (int i = 0; i < q->piece_count; i++) ps_adjust_piece_pose(solution, i, &scene.piece[i].start);
    double covariance[PS_LENS_COUNT * PS_LENS_COUNT];
    scene.group[0].guessed = ps_adjust_lens(ctx, solution, 0, &scene.group[0].guess, covariance) == PS_OK;
    ps_adjust_solution_free(solution);
    q->pin_count = pins, q->rim_count = rims, q->edge_count = edges;
    return ps_gauge_contradictions(ctx, q, found);
}

typedef struct tally {
    int jobs, unsolved, any, doubted, last_out, other_out, code[PS_CODE_COUNT];
    int two_left_in_peace; /* a photo is out for an unknown fault, two are left, and nothing is doubted */
} tally;

static tally run(job_contradiction contradiction, uint64_t seed, int jobs) {
    tally t = {0};
    job_options o = {0, STRIDE, contradiction, false, 0.3, true};
    ps_context *ctx = ps_context_new();
    for (int n = 0; n < jobs; n++) {
        ps_contradictions found;
        if (!job_make(&scene, &o, seed, (uint64_t)n)) continue;
        t.jobs++;
        ps_status status = look(ctx, &found);
        if (status != PS_OK) {
            t.unsolved++;
            print_message("  job %d unsolved: %s\n", n, ps_context_message(ctx));
            continue;
        }
        int last = scene.problem.photo_count - 1;
        bool sheet = false, said[PS_CODE_COUNT] = {false};
        for (int i = 0; i <= last; i++) {
            bool out = found.photo_out[i];
            if (out) said[found.photo_code[i]] = true;
            for (int q = 0; q < scene.problem.piece_count; q++)
                if (found.sheet_out[i][q]) sheet = out = said[found.sheet_code[i]] = true;
            t.last_out += out && i == last;
            t.other_out += out && i != last;
        }
        t.two_left_in_peace += last == 2 && said[PS_CODE_FIT_BAD] && found.doubts.count == 0;
        for (int k = 0; k < found.doubts.count; k++) said[found.doubts.note[k].code] = true;
        for (int k = 0; k < PS_CODE_COUNT; k++) {
            t.code[k] += said[k];
            if (said[k])
                print_message("  job %d, %d photos, %d pieces: %s%s\n", n, last + 1, scene.problem.piece_count, ps_code_word((ps_code)k),
                              sheet ? " (sheet)" : "");
        }
        t.any += found.any || found.doubts.count > 0;
        t.doubted += found.doubts.count > 0;
    }
    ps_context_free(ctx);
    print_message("%d jobs, %d unsolved, %d with a contradiction, %d doubted; last photo out %d, others %d\n", t.jobs, t.unsolved, t.any,
                  t.doubted, t.last_out, t.other_out);
    return t;
}

/* Every contradiction is found, and something comes of it: the odd photo is left out, or every value is doubted. `named`: how many at
 * least carry one of the two codes. */
static void found_all(job_contradiction contradiction, int jobs, int named, ps_code one, ps_code other) {
    tally t = run(contradiction, 31, jobs);
    assert_int_equal(t.unsolved, 0);
    assert_int_equal(t.any, t.jobs);
    assert_true(t.jobs >= jobs - 1);
    assert_true(t.code[one] + (other != one ? t.code[other] : 0) >= named);
}

static void sheet_moved(void **state) {
    (void)state;
    found_all(JOB_MOVED, 4, 3, PS_CODE_PIECE_MOVED, PS_CODE_PIECE_HELD);
}

static void other_machine(void **state) {
    (void)state;
    found_all(JOB_OTHER, 4, 3, PS_CODE_OTHER_SCENE, PS_CODE_OTHER_SCENE);
}

static void sheet_held(void **state) {
    (void)state;
    /* No majority: every value is doubted, but where the photos left happen to agree. Such a job has no one solution, and rounding decides
     * which the search falls into. */
    tally t = run(JOB_HELD, 31, HELD_JOBS);
    assert_true(t.doubted >= t.jobs - 1);
    if (HELD_JOBS >= 16) assert_true(t.code[PS_CODE_PIECE_HELD] >= 14);
}

static void sheet_bent(void **state) {
    (void)state;
    found_all(JOB_BENT, 20, 18, PS_CODE_PIECE_BENT, PS_CODE_PIECE_BENT);
}

/* Two sheets that flap: 1 mm (sd) over 200 mm, otherwise in each photo. */
static void two_sheets_flap(void **state) {
    (void)state;
    int jobs = 0, named = 0, others = 0;
    job_options o = {0, STRIDE, JOB_FLAPPING, false, 0.3, true};
    ps_context *ctx = ps_context_new();
    for (uint64_t n = 0; n < 200 && jobs < 8; n++) {
        ps_contradictions found;
        if (!job_make(&scene, &o, 37, n) || scene.problem.piece_count < 2) continue;
        jobs++;
        assert_int_equal(look(ctx, &found), PS_OK);
        named += ps_notes_have(&found.doubts, PS_CODE_PIECE_BENT);
        bool other = false;
        for (int k = 0; k < found.doubts.count; k++) other = other || found.doubts.note[k].code != PS_CODE_PIECE_BENT;
        for (int i = 0; i < scene.problem.photo_count; i++) other = other || found.photo_out[i];
        others += other;
        print_message("  job %d: %s%s\n", (int)n, ps_notes_have(&found.doubts, PS_CODE_PIECE_BENT) ? "piece-bent" : "",
                      other ? " and other" : "");
    }
    ps_context_free(ctx);
    print_message("%d jobs, %d named, %d something else\n", jobs, named, others);
    assert_int_equal(jobs, 8);
    assert_true(named >= 6);
}

static void exif_cannot_be(void **state) {
    (void)state;
    found_all(JOB_EXIF, 20, 17, PS_CODE_FOCAL_CONTRADICTS, PS_CODE_FOCAL_CONTRADICTS);
}

static void one_photo_zoomed(void **state) {
    (void)state;
    tally t = run(JOB_ZOOM, 31, 10);
    assert_int_equal(t.any, t.jobs);
    assert_true(t.last_out + t.doubted >= t.jobs); /* never averaged in */
    assert_true(t.code[PS_CODE_FOCAL_CONTRADICTS] >= 9);
}

/* Where every sheet of a photo slipped, the odd photo is still found, and no other is blamed; two sheets tell it to each other. */
static void sheets_slipped(void **state) {
    (void)state;
    tally t = run(JOB_SLIPPED, 31, 12);
    assert_int_equal(t.unsolved, 0);
    assert_int_equal(t.any, t.jobs);
    assert_true(t.code[PS_CODE_PIECE_MOVED] >= 9);
    assert_int_equal(t.code[PS_CODE_OTHER_SCENE] + t.code[PS_CODE_FOCAL_CONTRADICTS], 0);
}

/* Corners alone of two sheets that slipped, as they are asked before rims are looked for: what one sheet has against the other is a move.
 */
static void sheets_slipped_corners(void **state) {
    (void)state;
    int jobs = 0, moved = 0, others = 0;
    job_options o = {0, STRIDE, JOB_SLIPPED, false, 0.3, true};
    ps_context *ctx = ps_context_new();
    for (uint64_t n = 0; n < 400 && jobs < 12; n++) {
        ps_contradictions found;
        ps_adjust_start start;
        ps_adjust_problem *q = &scene.problem;
        if (!job_make(&scene, &o, 33, n) || q->piece_count < 2) continue;
        q->pin_count = q->rim_count = q->edge_count = 0;
        if (ps_adjust_start_poses(ctx, q, scene.photo, scene.group, scene.piece, &start) != PS_OK) continue;
        jobs++;
        assert_int_equal(ps_gauge_contradictions(ctx, q, &found), PS_OK);
        int last = q->photo_count - 1;
        ps_code code = found.photo_out[last] ? found.photo_code[last] : PS_CODE_COUNT;
        if (found.sheet_out[last][0] || found.sheet_out[last][1]) code = found.sheet_code[last];
        moved += code == PS_CODE_PIECE_MOVED;
        for (int i = 0; i < last; i++) others += found.photo_out[i];
    }
    ps_context_free(ctx);
    print_message("%d jobs, %d named, %d other photos out\n", jobs, moved, others);
    assert_int_equal(jobs, 12);
    assert_true(moved >= 9);
    assert_int_equal(others, 0);
}

/* An edge taken for another in one photo says nothing of sheet, lens or machine, however clear it is. */
static void none_accused_of_a_misread_edge(void **state) {
    (void)state;
    tally t = run(JOB_MISREAD, 31, 12);
    assert_true(t.jobs >= 11);
    assert_true(t.any >= 9);
    assert_int_equal(t.two_left_in_peace, 0);
    assert_int_equal(
        t.code[PS_CODE_PIECE_MOVED] + t.code[PS_CODE_PIECE_HELD] + t.code[PS_CODE_OTHER_SCENE] + t.code[PS_CODE_FOCAL_CONTRADICTS], 0);
}

static void none_claimed_of_honest_photos(void **state) {
    (void)state;
    tally t = run(JOB_HONEST, 31, 200);
    assert_true(t.jobs >= 190 && t.unsolved <= 2); /* a job now and then shows too little to be solved */
    assert_int_equal(t.any, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sheet_moved),
        cmocka_unit_test(other_machine),
        cmocka_unit_test(sheet_held),
        cmocka_unit_test(sheet_bent),
        cmocka_unit_test(two_sheets_flap),
        cmocka_unit_test(exif_cannot_be),
        cmocka_unit_test(one_photo_zoomed),
        cmocka_unit_test(sheets_slipped),
        cmocka_unit_test(sheets_slipped_corners),
        cmocka_unit_test(none_accused_of_a_misread_edge),
        cmocka_unit_test(none_claimed_of_honest_photos),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
