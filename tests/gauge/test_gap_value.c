/* Gaps: value, band, doubts and verdict from solved faces. Each guard is tested with what it is for, so that the test fails without it. */
#include "check.h"

#include "../adjust/gap_scene.h"
#include "gauge/dimensions.h"
#include "gauge/job.h"

#include <stdlib.h>
#include <string.h>

typedef struct job {
    gap_scene s;
    ps_context *ctx;
    ps_adjust_solution *solution;
    ps_measure_options options;
    ps_gauge_input gap, input;
    ps_record record;
} job;

static const double TRUE_MM = 160.9;

static ps_gauge_face sound_face(const gap_scene *s, int rim) {
    return (ps_gauge_face){.rim = rim,
                           .photos = GAP_PHOTOS,
                           .arc = 0.9,
                           .misfit = 0.5,
                           .radius_mm = s->radius[rim],
                           .height_mm = s->height[rim],
                           .flat = true,
                           .stepped = true,
                           .bore_radius_mm = s->radius[rim + 1],
                           .uneven_mm = 0.1};
}

static job *job_new(void) {
    job *j = calloc(1, sizeof *j);
    assert_non_null(j);
    j->ctx = ps_context_new();
    assert_true(gap_scene_make(&j->s));
    for (int i = 0; i < GAP_RIMS; i++) j->s.rim[i].height_mm += 0.4; /* a start as it comes from reading */
    assert_int_equal(ps_adjust_solve(j->ctx, &j->s.problem, &j->solution), PS_OK);
    j->options = ps_measure_options_default();
    j->gap = (ps_gauge_input){.options = &j->options,
                              .solution = j->solution,
                              .photos_used = GAP_PHOTOS,
                              .direction_spread_deg = 30,
                              .print_checked_across = true,
                              .print_checked_along = true,
                              .lens_known = true};
    ps_gauge_prints(j->solution, &j->gap);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        j->gap.gap[role].found = true;
        j->gap.gap[role].face[PS_EAR_FAR] = sound_face(&j->s, 4 * role);
        j->gap.gap[role].face[PS_EAR_NEAR] = sound_face(&j->s, 4 * role + 2);
    }
    j->input = (ps_gauge_input){.options = &j->options, .gap_job = &j->gap};
    for (int role = 0; role < PS_ROLE_COUNT; role++)
        for (int e = 0; e < PS_EDGE_COUNT; e++) j->input.pin[role].rim[e] = j->gap.pin[role].rim[e] = -1;
    return j;
}

static void job_delete(job *j) {
    ps_adjust_solution_free(j->solution);
    ps_context_free(j->ctx);
    free(j);
}

static const ps_dimension *dipper_gap(job *j) {
    assert_int_equal(ps_gauge_dimensions(j->ctx, &j->input, &j->record), PS_OK);
    const ps_dimension *d = &j->record.dimension[0];
    assert_string_equal(d->name, "attachment.dipper.gap");
    assert_false(d->over);
    return d;
}

static void test_sound_gap_is_good(void **state) {
    (void)state;
    job *j = job_new();
    const ps_dimension *d = dipper_gap(j);
    assert_int_equal(d->verdict, PS_VERDICT_GOOD);
    assert_true(fabs(d->value_mm - TRUE_MM) < 0.02); /* perfect observations; see test_lying.c */
    assert_true(d->u_mm > 0.35 && d->u_mm < 0.6);    /* never under what dressed edges leave */
    double sum = 0;
    for (int k = 0; k < PS_SOURCE_COUNT; k++) sum += d->budget_mm[k] * d->budget_mm[k];
    assert_true(fabs(sqrt(sum) - d->u_mm) < 1e-9);
    assert_int_equal(j->record.dimension[1].verdict, PS_VERDICT_GOOD);
    /* No end-on photo: the others are said to be missing. */
    for (int i = 2; i < j->record.dimension_count; i++) assert_int_equal(j->record.dimension[i].verdict, PS_VERDICT_MISSING);
    job_delete(j);
}

/* `alone`: the other pair stays good; an edge that is taken for another bends the lens of all. */
static void expect_confirm(job *j, ps_code code, bool alone) {
    const ps_dimension *d = dipper_gap(j);
    assert_int_equal(d->verdict, PS_VERDICT_CONFIRM);
    assert_true(ps_notes_have(&d->reasons, code));
    assert_int_equal(d->confirm_with, PS_INSTRUMENT_TAPE);
    assert_true(d->how[0] != '\0');
    assert_int_equal(j->record.dimension[1].verdict, alone ? PS_VERDICT_GOOD : PS_VERDICT_CONFIRM);
    assert_true(alone || ps_notes_have(&j->record.dimension[1].reasons, PS_CODE_BAND_WIDE));
    job_delete(j);
}

static void test_face_or_chamfer(void **state) {
    (void)state;
    job *j = job_new();
    ps_gauge_face *f = &j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_FAR];
    f->flat = f->stepped = false, f->uneven_mm = NAN;
    assert_true(dipper_gap(j)->u_mm > 1); /* the chamfer is in the band */
    expect_confirm(j, PS_CODE_BUSH_HIDDEN, false);
}

static void test_no_one_plane(void **state) {
    (void)state;
    job *j = job_new();
    ps_gauge_face *f = &j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_NEAR];
    f->flat = false, f->uneven_mm = 1.4;
    expect_confirm(j, PS_CODE_BUSH_HIDDEN, false);
}

static void test_one_photo_of_three(void **state) {
    (void)state;
    job *j = job_new();
    j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_NEAR].photos = 1;
    assert_true(dipper_gap(j)->U_mm > 6); /* what one photo shows can be another edge */
    expect_confirm(j, PS_CODE_BUSH_HIDDEN, true);
}

static void test_unlike_faces(void **state) {
    (void)state;
    job *j = job_new();
    j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_NEAR].radius_mm += 2.5;
    expect_confirm(j, PS_CODE_BUSH_HIDDEN, false);
}

/* One pin goes through both bores: a streak on a pin's flank taken for the far bore once gave a gap 6 mm too small. */
static void test_unlike_bores(void **state) {
    (void)state;
    job *j = job_new();
    j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_NEAR].bore_radius_mm -= 2.5;
    assert_true(dipper_gap(j)->U_mm > 6);
    expect_confirm(j, PS_CODE_BUSH_HIDDEN, false);
    j = job_new(); /* a bore that is not seen is no contradiction */
    j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_NEAR].bore_radius_mm = NAN;
    assert_int_equal(dipper_gap(j)->verdict, PS_VERDICT_GOOD);
    job_delete(j);
}

/* Faces as ps_measure reads them: photos whose points scatter about the solved circle, as those of several edges do, count as none. */
static int photos_with_face(int scattered) {
    gap_scene *s = calloc(1, sizeof *s);
    ps_context *ctx = ps_context_new();
    ps_job_photo photo[GAP_PHOTOS] = {0};
    ps_record_rim rim[GAP_PHOTOS][GAP_RIMS];
    ps_record_photo shown[GAP_PHOTOS] = {0};
    ps_gauge_gap faces[PS_ROLE_COUNT];
    assert_true(s && gap_scene_make(s));
    for (int e = 0; e < s->problem.edge_count; e++) /* 3 px to and fro, on the dipper's far face */
        if (s->edge[e].rim == 0 && s->edge[e].photo < scattered) s->edge[e].y_px += e % 2 ? 3 : -3;
    ps_job gap = {.count = GAP_PHOTOS, .photo = photo, .problem = s->problem, .edge = s->edge};
    assert_int_equal(ps_adjust_solve(ctx, &s->problem, &gap.solution), PS_OK);
    gap.pins.count = GAP_PINS;
    for (int r = 0; r < GAP_RIMS; r++) {
        ps_pin_model *m = &gap.pins.pin[s->rim[r].pin];
        m->role = (ps_role)s->rim[r].pin;
        gap.rim_of[s->rim[r].pin][m->rim_count] = r;
        m->rim[m->rim_count++] = (ps_pin_rim){.edge = s->rim[r].edge, .ear = s->rim[r].ear};
    }
    for (int i = 0; i < GAP_PHOTOS; i++) {
        photo[i].adjust_index = i, photo[i].photo.luma.width = 1600, photo[i].photo.luma.height = 1200;
        shown[i].rim = rim[i], shown[i].rim_count = GAP_RIMS;
        for (int r = 0; r < GAP_RIMS; r++)
            rim[i][r] =
                (ps_record_rim){.pin = (ps_role)s->rim[r].pin, .edge = s->rim[r].edge, .ear = s->rim[r].ear, .arc = 0.9, .used = true};
    }
    const ps_record record = {.photo_count = GAP_PHOTOS, .photo = shown};
    ps_job_gap_faces(&gap, &record, faces);
    assert_int_equal(faces[PS_ROLE_LINK].face[PS_EAR_NEAR].photos, GAP_PHOTOS);
    assert_true(fabs(faces[PS_ROLE_LINK].face[PS_EAR_NEAR].bore_radius_mm - s->radius[7]) < 0.1);
    int photos = faces[PS_ROLE_DIPPER].face[PS_EAR_FAR].photos;
    ps_adjust_solution_free(gap.solution);
    ps_context_free(ctx);
    free(s);
    return photos;
}

static void test_scattered_points_are_no_face(void **state) {
    (void)state;
    assert_int_equal(photos_with_face(0), 3);
    assert_int_equal(photos_with_face(1), 2);
    assert_int_equal(photos_with_face(2), 1);
}

static void test_short_arc_and_misfit(void **state) {
    (void)state;
    job *j = job_new();
    j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_NEAR].arc = 0.2;
    expect_confirm(j, PS_CODE_ARC_SHORT, true);
    j = job_new();
    j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_FAR].misfit = 5;
    expect_confirm(j, PS_CODE_FIT_BAD, true);
}

static void test_print_and_roles(void **state) {
    (void)state;
    job *j = job_new();
    j->gap.print_checked_along = false;
    assert_true(ps_notes_have(&dipper_gap(j)->reasons, PS_CODE_PRINT_UNCHECKED));
    j->gap.print_checked_along = true;
    j->gap.roles_unsure = true;
    assert_true(ps_notes_have(&dipper_gap(j)->reasons, PS_CODE_ROLES_UNSURE));
    job_delete(j);
}

/* A boss's value is a value, and never good: not even with perfect faces. The other pair is a gap as ever. */
static void test_over_is_never_good(void **state) {
    (void)state;
    job *j = job_new();
    j->gap.gap[PS_ROLE_DIPPER].over = true;
    assert_int_equal(ps_gauge_dimensions(j->ctx, &j->input, &j->record), PS_OK);
    const ps_dimension *d = &j->record.dimension[0], *link = &j->record.dimension[1];
    assert_true(d->over);
    assert_int_equal(d->verdict, PS_VERDICT_CONFIRM);
    assert_true(ps_notes_have(&d->reasons, PS_CODE_BOSS_OVER));
    assert_true(fabs(d->value_mm - TRUE_MM) < 0.02); /* near less far, positive */
    assert_true(d->u_mm > 4.5);                      /* the boss's own end for the bush's */
    assert_true(strstr(d->how, "over the outward bush faces") && !strstr(d->how, "inward"));
    assert_false(link->over);
    assert_int_equal(link->verdict, PS_VERDICT_GOOD);
    assert_false(ps_notes_have(&link->reasons, PS_CODE_BOSS_OVER));
    /* Even where the need is wide enough for the band. */
    j->options.coupler = PS_COUPLER_GRAB;
    assert_int_equal(ps_gauge_dimensions(j->ctx, &j->input, &j->record), PS_OK);
    assert_int_equal(j->record.dimension[0].verdict, PS_VERDICT_CONFIRM);
    /* Faces the wrong way round are no boss. */
    ps_gauge_face swap = j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_NEAR];
    j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_NEAR] = j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_FAR];
    j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_FAR] = swap;
    assert_int_equal(ps_gauge_dimensions(j->ctx, &j->input, &j->record), PS_OK);
    assert_int_equal(j->record.dimension[0].verdict, PS_VERDICT_MISSING);
    job_delete(j);
}

static void test_one_side_is_said(void **state) {
    (void)state;
    job *j = job_new();
    j->input.gap_job = NULL;
    j->input.boss_one_side = true;
    const ps_dimension *d = dipper_gap(j);
    assert_int_equal(d->verdict, PS_VERDICT_MISSING);
    assert_true(ps_notes_have(&d->reasons, PS_CODE_BOSS_ONE_SIDE));
    assert_true(ps_notes_have(&j->record.advice, PS_CODE_BOSS_ONE_SIDE)); /* with the photos that are wanted */
    job_delete(j);
}

static void test_missing_face_is_missing(void **state) {
    (void)state;
    job *j = job_new();
    j->gap.gap[PS_ROLE_DIPPER].face[PS_EAR_NEAR].rim = -1;
    const ps_dimension *d = dipper_gap(j);
    assert_int_equal(d->verdict, PS_VERDICT_MISSING);
    assert_true(isnan(d->value_mm));
    assert_true(ps_notes_have(&d->reasons, PS_CODE_GAP_NOT_SHOWN));
    j->input.gap_job = NULL;
    d = dipper_gap(j);
    assert_int_equal(d->verdict, PS_VERDICT_MISSING);
    job_delete(j);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_sound_gap_is_good),
                                       cmocka_unit_test(test_face_or_chamfer),
                                       cmocka_unit_test(test_no_one_plane),
                                       cmocka_unit_test(test_one_photo_of_three),
                                       cmocka_unit_test(test_unlike_faces),
                                       cmocka_unit_test(test_unlike_bores),
                                       cmocka_unit_test(test_scattered_points_are_no_face),
                                       cmocka_unit_test(test_short_arc_and_misfit),
                                       cmocka_unit_test(test_print_and_roles),
                                       cmocka_unit_test(test_over_is_never_good),
                                       cmocka_unit_test(test_one_side_is_said),
                                       cmocka_unit_test(test_missing_face_is_missing)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
