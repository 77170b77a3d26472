/* Edges out of round, in geometry: a worn one is said with both axes, true circles never are. */
#include "check.h"
#include "job.h"

static const double sd_most = 4; /* of values that the test looks at: eight of them, 0.05 % of chance */

static int rim_of(const job *j, int role, ps_edge edge) {
    return j->input.pin[role].rim[edge];
}

static void make(job *j, uint64_t seed, int worn_rim, double wear_mm) {
    scene_options o = scene_options_default(seed);
    o.photos = 3, o.may_be_oval = true, o.worn_rim = worn_rim, o.wear_mm = wear_mm;
    assert_true(job_make(j, &o));
    assert_int_equal(ps_gauge_dimensions(j->ctx, &j->input, &j->record), PS_OK);
}

static bool said(const job *j, const char *name) {
    return ps_notes_have(&job_find(&j->record, name)->reasons, PS_CODE_OUT_OF_ROUND);
}

static void worn(void **state) {
    (void)state;
    static const double wear_mm = 0.25; /* 1 mm between the widest and the narrowest diameter */
    static job sound, j;
    make(&sound, 5, 0, 0);
    static const struct {
        ps_edge edge;
        const char *name;
    } part[] = {{PS_EDGE_PIN, "attachment.dipper.pin"}, {PS_EDGE_BUSH, "attachment.link.bush"}};
    for (int i = 0; i < 2; i++) {
        int rim = rim_of(&sound, i ? PS_ROLE_LINK : PS_ROLE_DIPPER, part[i].edge);
        make(&j, 5, rim, wear_mm);
        const ps_dimension *d = job_find(&j.record, part[i].name);
        ps_oval oval;
        assert_int_equal(ps_adjust_oval(j.ctx, j.solution, rim, &oval), PS_OK);
        CHECK_NEAR(oval.difference.value_mm, 4 * wear_mm, sd_most * oval.difference.u_mm);
        assert_true(oval.difference.u_mm < wear_mm);
        CHECK_NEAR(d->value_mm, 2 * j.s.circle[rim].radius_mm, sd_most * d->u_mm); /* the mean diameter */
        CHECK_NEAR(d->long_mm - d->short_mm, oval.difference.value_mm, 1e-9);
        CHECK_NEAR(0.5 * (d->long_mm + d->short_mm), d->value_mm, 1e-9);
        assert_int_equal(d->verdict, PS_VERDICT_CONFIRM);
        for (int k = 0; k < j.record.dimension_count; k++)
            assert_int_equal(said(&j, j.record.dimension[k].name), strcmp(j.record.dimension[k].name, part[i].name) == 0);
        job_free(&j);
    }
    job_free(&sound);
}

static void true_circles(void **state) {
    (void)state;
    static job j;
    for (uint64_t seed = 20; seed < 32; seed++) {
        make(&j, seed, 0, 0);
        for (int k = 0; k < j.record.dimension_count; k++) {
            assert_false(said(&j, j.record.dimension[k].name));
            assert_true(j.record.dimension[k].long_mm == 0);
        }
        job_free(&j);
    }
}

static void held_round(void **state) {
    (void)state;
    static job j;
    scene_options o = scene_options_default(3);
    ps_oval oval;
    assert_true(job_make(&j, &o));
    assert_int_equal(ps_adjust_oval(j.ctx, j.solution, 0, &oval), PS_NOT_FOUND);
    assert_int_equal(ps_adjust_oval(j.ctx, j.solution, 99, &oval), PS_BAD_ARGUMENT);
    job_free(&j);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(worn), cmocka_unit_test(true_circles), cmocka_unit_test(held_round)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
