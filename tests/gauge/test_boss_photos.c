/* The width over a single boss the whole way from photos: testimages/boss, two photos of either end; and photos of one end alone. */
#include "check.h"

#include <jansson.h>
#include <string.h>

#include "pinspan/measure.h"

#include "find.h"

/* docs/gap.md: a face that was read for what it is lies within a millimetre. */
static const double SOUND_MM = 1.0;

static const char *const files[] = {PS_SOURCE_ROOT "/testimages/boss/photo-1.jpg", PS_SOURCE_ROOT "/testimages/boss/photo-2.jpg",
                                    PS_SOURCE_ROOT "/testimages/boss/photo-3.jpg", PS_SOURCE_ROOT "/testimages/boss/photo-4.jpg"};
static const char *const one_end[] = {PS_SOURCE_ROOT "/testimages/boss/photo-1.jpg", PS_SOURCE_ROOT "/testimages/boss/photo-3.jpg"};

static json_t *truth;
static ps_measure_options options;

static int set_up(void **state) {
    (void)state;
    truth = json_load_file(PS_SOURCE_ROOT "/testimages/boss/truth.json", 0, NULL);
    const json_t *piece = json_array_get(json_object_get(truth, "pieces"), 0);
    if (!piece) return -1;
    options = ps_measure_options_default();
    options.side = PS_SIDE_MACHINE;
    options.threads = 2;
    int index = ps_kit_find(json_string_value(json_object_get(piece, "name")));
    options.check[options.check_count++] =
        (ps_print_check){index, false, json_number_value(json_object_get(piece, "read_across_mm")), 0.15};
    options.check[options.check_count++] = (ps_print_check){index, true, json_number_value(json_object_get(piece, "read_along_mm")), 0.7};
    return 0;
}

static int take_down(void **state) {
    (void)state;
    json_decref(truth);
    return 0;
}

/* Along the pin between the ends' circles of that name; the axis is within a degree of z. */
static double between(const char *edge) {
    const json_t *circles = json_object_get(json_array_get(json_object_get(truth, "photos"), 0), "circles"), *c;
    double z[2] = {NAN, NAN};
    size_t i;
    json_array_foreach(circles, i, c) {
        if (strcmp(json_string_value(json_object_get(c, "edge")), edge) != 0) continue;
        z[strcmp(json_string_value(json_object_get(c, "ear")), "far") == 0] =
            json_number_value(json_array_get(json_object_get(c, "centre"), 2));
    }
    return z[1] - z[0];
}

static void test_width_over_the_boss(void **state) {
    (void)state;
    ps_record record;
    assert_int_equal(ps_measure(NULL, &options, files, 4, &record), PS_OK);
    const ps_dimension *d = job_find(&record, "machine.dipper.gap");
    double face = json_number_value(json_object_get(json_object_get(truth, "wanted"), "machine.dipper.gap"));
    double ends = json_number_value(json_object_get(json_array_get(json_object_get(truth, "pins"), 0), "ear_to_ear_mm"));
    CHECK_NEAR(between("bush-face"), face, 0.1); /* this test's own reading of the truth */
    assert_true(face > ends + 2 * SOUND_MM);     /* else the photos could not tell faces and the boss's own ends apart */
    assert_non_null(d);
    assert_true(d->over);
    assert_int_equal(d->verdict, PS_VERDICT_CONFIRM); /* until it is shown to work */
    assert_true(ps_notes_have(&d->reasons, PS_CODE_BOSS_OVER));
    assert_true(ps_notes_have(&d->reasons, PS_CODE_ROLES_UNSURE)); /* one pair alone */
    CHECK_NEAR(d->value_mm, face, SOUND_MM);
    CHECK_NEAR(d->value_mm, face, d->U_mm);
    const ps_dimension *link = job_find(&record, "machine.link.gap");
    assert_int_equal(link->verdict, PS_VERDICT_MISSING);
    assert_false(link->over);
    /* A boss's ends are seen from the sides only: nobody is told to come to the front. */
    for (int i = 0; i < record.photo_count; i++) assert_false(ps_notes_have(&record.photo[i].problems, PS_CODE_OBLIQUE));
    /* No photo says anything of the end that it does not show. */
    for (int i = 0; i < record.photo_count; i++)
        for (int k = 1; k < record.photo[i].rim_count; k++) assert_int_equal(record.photo[i].rim[k].ear, record.photo[i].rim[0].ear);
    ps_record_clear(&record);
}

static void test_one_end_is_no_width(void **state) {
    (void)state;
    ps_record record;
    assert_int_equal(ps_measure(NULL, &options, one_end, 2, &record), PS_NOT_FOUND);
    const ps_dimension *d = job_find(&record, "machine.dipper.gap");
    assert_int_equal(d->verdict, PS_VERDICT_MISSING);
    assert_true(ps_notes_have(&d->reasons, PS_CODE_BOSS_ONE_SIDE));
    assert_true(ps_notes_have(&record.advice, PS_CODE_BOSS_ONE_SIDE));
    ps_record_clear(&record);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_width_over_the_boss), cmocka_unit_test(test_one_end_is_no_width)};
    return cmocka_run_group_tests(tests, set_up, take_down);
}
