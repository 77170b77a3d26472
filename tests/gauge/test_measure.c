/* The whole way from JPEG files to dimensions, on photos rendered with exactly known sizes (invented, and small, so that a
 * small photo has the 6 px a mm that a phone's has of larger pins). The sheet is printed true and was checked. */
#include "check.h"

#include <stdlib.h>
#include <string.h>

#include "pinspan/measure.h"
#include "pinspan/report.h"

#include "pin_files.h"

/* The stated edge shift of 0.15 px, twice that on a diameter, is 0.05 mm; noise over hundreds of edge points and the sheet's
 * corners add less. Pins are made to 0.1 mm, and centres need 1 mm. */
static const double DIAMETER_MM = 0.1, CENTRES_MM = 0.2;

enum { FILES = 4 }; /* three photos, and a file that is none as the second */
static pin_files photos;
static pin_shape link_pin, dipper_pin;

static pin_scene side_scene(void) {
    link_pin = pin_files_link(12), dipper_pin = pin_files_dipper(13);
    return pin_files_scene(link_pin, dipper_pin);
}

static void write_photos(const pin_scene *scene) {
    static const int place[PIN_PHOTOS] = {0, 2, 3};
    pin_files_photos(&photos, scene, place);
    pin_files_write(&photos, 1, "no photo", 8);
}

static int set_up(void **state) {
    (void)state;
    return pin_files_make(&photos, FILES);
}

static int take_down(void **state) {
    (void)state;
    return pin_files_remove(&photos);
}

static void check_dimension(const ps_record *r, const char *dimension, double truth, double tolerance) {
    for (int i = 0; i < r->dimension_count; i++) {
        const ps_dimension *d = &r->dimension[i];
        if (strcmp(d->name, dimension) != 0) continue;
        if (getenv("PIN_SHOW")) print_message("%s %+.3f U %.3f\n", dimension, d->value_mm - truth, d->U_mm);
        CHECK_NEAR(d->value_mm, truth, tolerance);
        CHECK_NEAR(d->value_mm, truth, d->U_mm);
        assert_true(d->U_mm < d->need_mm && d->u_mm > 0);
        return;
    }
    fail_msg("no %s", dimension);
}

static void check_record(const ps_record *r) {
    check_dimension(r, "attachment.dipper.pin", 2 * dipper_pin.pin_r, DIAMETER_MM);
    check_dimension(r, "attachment.link.pin", 2 * link_pin.pin_r, DIAMETER_MM);
    check_dimension(r, "attachment.dipper.bush", 2 * dipper_pin.bush_r, DIAMETER_MM);
    check_dimension(r, "attachment.centres", hypot(link_pin.x - dipper_pin.x, link_pin.y - dipper_pin.y), CENTRES_MM);
    assert_int_equal(r->photo_count, FILES);
    for (int k = 0; k < FILES; k++) {
        assert_string_equal(r->photo[k].file, photos.name[k]);
        assert_int_equal(r->photo[k].usable, k != 1);
        assert_int_equal(ps_notes_have(&r->photo[k].problems, PS_CODE_UNREADABLE), k == 1);
    }
}

/* A file that is no photo among good ones is named and the rest measured; one thread or two, the same bytes. */
static void test_sizes_from_files(void **state) {
    (void)state;
    char *json[2] = {NULL, NULL};
    pin_scene scene = side_scene();
    write_photos(&scene);
    for (int k = 0; k < 2; k++) {
        ps_measure_options o = pin_files_checked(k + 1);
        ps_record r = {0};
        assert_int_equal(ps_measure(NULL, &o, photos.file, FILES, &r), PS_OK);
        if (k == 0) check_record(&r);
        assert_int_equal(ps_report_json(NULL, &r, &json[k]), PS_OK);
        ps_record_clear(&r);
    }
    assert_string_equal(json[0], json[1]);
    assert_non_null(strstr(json[0], "\"unreadable\""));
    free(json[0]);
    free(json[1]);
}

/* A sheet on a plate without pins: the cause that is told is of the pins, not of gaps that nobody photographed. */
static void test_no_pins(void **state) {
    (void)state;
    pin_scene scene = side_scene();
    scene.shapes = 0;
    write_photos(&scene);
    ps_measure_options o = pin_files_checked(1);
    ps_context *ctx = ps_context_new();
    ps_record r = {0};
    assert_int_equal(ps_measure(ctx, &o, photos.file, FILES, &r), PS_NOT_FOUND);
    assert_null(strstr(ps_context_message(ctx), "bush faces"));
    assert_true(strlen(ps_context_message(ctx)) > 0);
    /* The broken file keeps its own cause; what failed in another photo is not said of it. */
    assert_true(ps_notes_have(&r.photo[1].problems, PS_CODE_UNREADABLE));
    assert_null(strstr(r.photo[1].problems.note[0].text, "printed sheet"));
    ps_record_clear(&r);
    ps_context_free(ctx);
}

/* Without a sheet nothing is known, and the record says so of every photo. */
static void test_no_sheet(void **state) {
    (void)state;
    pin_scene scene = side_scene();
    scene.piece = -1;
    write_photos(&scene);
    ps_measure_options o = pin_files_checked(1);
    ps_record r = {0};
    assert_int_equal(ps_measure(NULL, &o, photos.file, FILES, &r), PS_NOT_FOUND);
    assert_int_equal(r.photo_count, FILES);
    assert_true(r.dimension_count >= 5);
    for (int i = 0; i < r.dimension_count; i++) {
        assert_int_equal(r.dimension[i].verdict, PS_VERDICT_MISSING);
        assert_true(isnan(r.dimension[i].value_mm));
    }
    for (int k = 0; k < FILES; k++) {
        assert_false(r.photo[k].usable);
        assert_true(ps_notes_have(&r.photo[k].problems, k == 1 ? PS_CODE_UNREADABLE : PS_CODE_NO_PIECE));
    }
    ps_record_clear(&r);
}

static void test_no_readable_file(void **state) {
    (void)state;
    pin_files_write(&photos, 0, "no photo", 8);
    ps_measure_options o = pin_files_checked(2);
    ps_record r = {0};
    const char *none[2] = {photos.name[0], photos.name[1]};
    assert_int_equal(ps_measure(NULL, &o, none, 2, &r), PS_IO);
    assert_int_equal(r.photo_count, 2);
    ps_record_clear(&r);
    assert_int_equal(ps_measure(NULL, &o, none, 0, &r), PS_BAD_ARGUMENT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sizes_from_files),
        cmocka_unit_test(test_no_pins),
        cmocka_unit_test(test_no_sheet),
        cmocka_unit_test(test_no_readable_file),
    };
    return cmocka_run_group_tests(tests, set_up, take_down);
}
