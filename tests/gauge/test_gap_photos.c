/* Gaps the whole way from photos, in one job with end-on photos of another part, in mixed order: testimages/gap and testimages/small. */
#include "check.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/measure.h"

#include "find.h"

/* docs/gap.md: what a fitter needs is 2 mm; a face that was read for what it is lies within half of that. */
static const double SOUND_MM = 1.0;

static const char *const files[] = {PS_SOURCE_ROOT "/testimages/gap/photo-1.jpg",   PS_SOURCE_ROOT "/testimages/small/photo-1.jpg",
                                    PS_SOURCE_ROOT "/testimages/small/photo-2.jpg", PS_SOURCE_ROOT "/testimages/gap/photo-2.jpg",
                                    PS_SOURCE_ROOT "/testimages/small/photo-3.jpg", PS_SOURCE_ROOT "/testimages/gap/photo-3.jpg"};
enum { FILES = 6 };
static const char *const alone[] = {PS_SOURCE_ROOT "/testimages/small/photo-1.jpg", PS_SOURCE_ROOT "/testimages/small/photo-2.jpg",
                                    PS_SOURCE_ROOT "/testimages/small/photo-3.jpg"};
/* The same computation on the same photos: nothing but the check lines' place in a list differs. */
static const double SAME_MM = 1e-6;

static json_t *truth, *truth_small;
static ps_record record, record_alone;

/* The check lines as read: each sheet is a print of its own. */
static void read_checks(const json_t *of, ps_measure_options *o) {
    const json_t *piece = json_array_get(json_object_get(of, "pieces"), 0);
    int index = ps_kit_find(json_string_value(json_object_get(piece, "name")));
    o->check[o->check_count++] = (ps_print_check){index, false, json_number_value(json_object_get(piece, "read_across_mm")), 0.15};
    o->check[o->check_count++] = (ps_print_check){index, true, json_number_value(json_object_get(piece, "read_along_mm")), 0.7};
}

static int set_up(void **state) {
    (void)state;
    truth = json_load_file(PS_SOURCE_ROOT "/testimages/gap/truth.json", 0, NULL);
    truth_small = json_load_file(PS_SOURCE_ROOT "/testimages/small/truth.json", 0, NULL);
    if (!truth || !truth_small) return -1;
    ps_measure_options o = ps_measure_options_default();
    o.threads = 2;
    read_checks(truth_small, &o);
    if (ps_measure(NULL, &o, alone, 3, &record_alone) != PS_OK) return -1;
    read_checks(truth, &o);
    return ps_measure(NULL, &o, files, FILES, &record) == PS_OK ? 0 : -1;
}

static int take_down(void **state) {
    (void)state;
    json_decref(truth);
    json_decref(truth_small);
    ps_record_clear(&record);
    ps_record_clear(&record_alone);
    return 0;
}

static double wanted(const json_t *of, const char *name) {
    return json_number_value(json_object_get(json_object_get(of, "wanted"), name));
}

/* Along the pin between the circles of that name on the two ears; the axis is within a degree of z, which is under 0.03 mm here. */
static double between(const char *role, const char *edge) {
    const json_t *circles = json_object_get(json_array_get(json_object_get(truth, "photos"), 0), "circles"), *c;
    double z[2] = {NAN, NAN};
    size_t i;
    json_array_foreach(circles, i, c) {
        if (strcmp(json_string_value(json_object_get(c, "pin")), role) != 0) continue;
        if (strcmp(json_string_value(json_object_get(c, "edge")), edge) != 0) continue;
        z[strcmp(json_string_value(json_object_get(c, "ear")), "far") == 0] =
            json_number_value(json_array_get(json_object_get(c, "centre"), 2));
    }
    return z[1] - z[0];
}

static void check_gap(const char *role, const char *name, int pin) {
    const ps_dimension *d = job_find(&record, name);
    double face = wanted(truth, name), foot = between(role, "bush");
    double plates = json_number_value(json_object_get(json_array_get(json_object_get(truth, "pins"), (size_t)pin), "ear_to_ear_mm"));
    CHECK_NEAR(between(role, "bush-face"), face, 0.1); /* this test's own reading of the truth */
    assert_true(foot > face + 2 && plates > foot + 2); /* else the photos could not tell them apart */
    assert_non_null(d);
    if (getenv("PIN_SHOW")) print_message("%s %+.2f U %.2f\n", name, d->value_mm - face, d->U_mm);
    assert_int_equal(d->kind, PS_KIND_GAP);
    assert_false(d->over);
    assert_int_not_equal(d->verdict, PS_VERDICT_MISSING);
    CHECK_NEAR(d->value_mm, face, d->U_mm);
    assert_true(fabs(d->value_mm - face) < fabs(d->value_mm - foot)); /* the face's, not the foot of its chamfer */
    assert_true(d->value_mm + d->U_mm < plates);                      /* never ear plate to ear plate, and surely not */
    assert_int_equal(d->verdict == PS_VERDICT_GOOD, d->reasons.count == 0);
    assert_false(ps_notes_have(&d->reasons, PS_CODE_PRINT_SCALED)); /* the other print is the other photos' */
    if (d->verdict == PS_VERDICT_GOOD)
        CHECK_NEAR(d->value_mm, face, d->need_mm);
    else
        assert_int_equal(d->confirm_with, PS_INSTRUMENT_TAPE);
}

static void test_gaps(void **state) {
    (void)state;
    check_gap("dipper", "attachment.dipper.gap", 0);
    check_gap("link", "attachment.link.gap", 1);
    /* The pair whose chamfers both show, and the pin across: it is read for what it is. */
    CHECK_NEAR(job_find(&record, "attachment.link.gap")->value_mm, wanted(truth, "attachment.link.gap"), SOUND_MM);
}

/* The photos are sorted by what they show: every one is used, and the end-on ones give what they give alone. */
static void test_end_on_photos_beside(void **state) {
    (void)state;
    static const char *const name[] = {"attachment.dipper.pin", "attachment.link.pin", "attachment.centres"};
    int good = 0;
    for (int i = 0; i < FILES; i++) assert_true(record.photo[i].usable);
    for (int i = 0; i < 3; i++) {
        const ps_dimension *d = job_find(&record, name[i]), *own = job_find(&record_alone, name[i]);
        assert_true(d && own);
        assert_int_equal(d->verdict, own->verdict);
        CHECK_NEAR(d->value_mm, own->value_mm, SAME_MM);
        CHECK_NEAR(d->value_mm, wanted(truth_small, name[i]), fmin(d->need_mm, 1.5 * d->U_mm));
        good += d->verdict == PS_VERDICT_GOOD;
    }
    assert_true(good >= 2); /* else there was little to compare */
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_gaps), cmocka_unit_test(test_end_on_photos_beside)};
    return cmocka_run_group_tests(tests, set_up, take_down);
}
