/* The JSON of a record: keys, nulls, the schema, the same bytes again. */
#include "check.h"
#include "sample.h"

#include <jansson.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

static json_t *json_of(const ps_record *record) {
    char *text = NULL;
    ps_context *ctx = ps_context_new();
    assert_int_equal(ps_report_json(ctx, record, &text), PS_OK);
    json_error_t error;
    json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, &error);
    if (!root) fail_msg("not JSON: %s", error.text);
    free(text);
    ps_context_free(ctx);
    return root;
}

static json_t *dimension_named(json_t *root, const char *name) {
    size_t i;
    json_t *d;
    json_array_foreach(json_object_get(root, "dimensions"), i,
                       d) if (strcmp(json_string_value(json_object_get(d, "name")), name) == 0) return d;
    fail_msg("no dimension %s", name);
    return NULL;
}

static void keys_as_documented(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    json_t *root = json_of(&s.record);
    assert_string_equal(json_string_value(json_object_get(root, "schema")), "pinspan.measurement/1");
    assert_string_equal(json_string_value(json_object_get(root, "side")), "attachment");
    json_t *photos = json_object_get(root, "photos"), *first = json_array_get(photos, 0), *second = json_array_get(photos, 1);
    assert_int_equal(json_array_size(photos), 2); /* the unreadable one too */
    assert_true(json_is_true(json_object_get(first, "usable")));
    assert_true(json_is_false(json_object_get(second, "usable")));
    assert_string_equal(json_string_value(json_object_get(json_array_get(json_object_get(second, "problems"), 0), "code")), "unreadable");
    json_t *camera = json_object_get(first, "camera");
    assert_string_equal(json_string_value(json_object_get(camera, "source")), "exif");
    CHECK_NEAR(json_number_value(json_object_get(camera, "f_px")), 600, 0); /* nothing is computed on the way */
    CHECK_NEAR(json_number_value(json_object_get(camera, "cx")), 320, 0);
    assert_true(json_is_null(json_object_get(json_object_get(second, "camera"), "f_px")));
    json_t *pin = dimension_named(root, "attachment.dipper.pin");
    CHECK_NEAR(json_number_value(json_object_get(pin, "value_mm")), 65.02, 1e-9); /* nine digits are kept */
    CHECK_NEAR(json_number_value(json_object_get(pin, "U_mm")), 0.2, 1e-9);
    assert_true(json_is_null(json_object_get(pin, "confirm_with")));
    assert_int_equal(json_array_size(json_object_get(pin, "budget")), 2);
    assert_string_equal(json_string_value(json_object_get(json_array_get(json_object_get(pin, "budget"), 0), "source")), "print-scale");
    json_t *print = json_object_get(root, "print_scale"), *second_print = json_array_get(json_object_get(print, "pieces"), 1);
    CHECK_NEAR(json_number_value(json_object_get(print, "across")), 0.9976, 1e-9);
    assert_int_equal(json_array_size(json_object_get(print, "pieces")), 2);
    assert_string_equal(json_string_value(json_object_get(second_print, "name")), "patch-2");
    CHECK_NEAR(json_number_value(json_object_get(second_print, "along")), 0.9943, 1e-9);
    assert_true(json_is_true(json_object_get(second_print, "across_read")) && json_is_false(json_object_get(second_print, "along_read")));
    json_t *gap = dimension_named(root, "attachment.dipper.gap");
    assert_true(json_is_null(json_object_get(gap, "value_mm")) && json_is_null(json_object_get(gap, "u_mm")) &&
                json_is_null(json_object_get(gap, "U_mm")));
    assert_string_equal(json_string_value(json_object_get(gap, "verdict")), "missing");
    assert_string_equal(json_string_value(json_object_get(gap, "kind")), "inside");
    assert_string_equal(json_string_value(json_object_get(dimension_named(root, "attachment.link.pin"), "confirm_with")), "calipers");
    json_decref(root);
}

/* The principal point of a photo held upright is told in the upright photo: turned by EXIF's orientation 6, a stored (x, y)
 * of a picture h high lies at (h - 1 - y, x). */
static void camera_is_upright(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    s.photo[0].view.orientation = 6;
    s.photo[0].view.lens.cx = 330;
    s.photo[0].view.lens.cy = 200;
    json_t *root = json_of(&s.record), *camera = json_object_get(json_array_get(json_object_get(root, "photos"), 0), "camera");
    CHECK_NEAR(json_number_value(json_object_get(camera, "cx")), 480 - 1 - 200, 0); /* whole numbers: exact */
    CHECK_NEAR(json_number_value(json_object_get(camera, "cy")), 330, 0);
    json_decref(root);
}

static void one_rim_per_pin_edge_and_ear(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    sample_rim(&s, PS_ROLE_DIPPER, PS_EDGE_PIN, 521, 40, 37, -1);
    s.rim[3].used = false;
    s.rim[3].arc = 1.0;                                           /* longer, but not the one that was used */
    sample_rim(&s, PS_ROLE_LINK, PS_EDGE_BUSH, 100, NAN, 37, -1); /* not a number: not told */
    json_t *root = json_of(&s.record), *rims = json_object_get(json_array_get(json_object_get(root, "photos"), 0), "rims");
    assert_int_equal(json_array_size(rims), 3);
    CHECK_NEAR(json_number_value(json_object_get(json_object_get(json_array_get(rims, 0), "ellipse"), "cx")), 520, 0);
    json_decref(root);
}

/* a is the longer semi-axis whatever the record says, and the angle goes with it. */
static void longer_axis_first(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    s.rim[0].ellipse = (ps_ellipse){520, 240, 30, 40, 0};
    json_t *root = json_of(&s.record), *rims = json_object_get(json_array_get(json_object_get(root, "photos"), 0), "rims");
    json_t *e = json_object_get(json_array_get(rims, 0), "ellipse");
    CHECK_NEAR(json_number_value(json_object_get(e, "a")), 40, 0);
    CHECK_NEAR(fabs(json_number_value(json_object_get(e, "angle_deg"))), 90, 1e-9); /* 90 and -90 are one direction */
    json_decref(root);
}

static void same_record_same_bytes(void **state) {
    (void)state;
    sample s, t;
    sample_make(&s, NULL);
    sample_make(&t, NULL);
    t.record.times.read_s = 3.5; /* how long it took is no part of the result */
    char *a = NULL, *b = NULL, *c = NULL;
    assert_int_equal(ps_report_json(NULL, &s.record, &a), PS_OK);
    assert_int_equal(ps_report_json(NULL, &t.record, &b), PS_OK);
    assert_string_equal(a, b);
    t.record.dimension[2].value_mm += 0.001;
    assert_int_equal(ps_report_json(NULL, &t.record, &c), PS_OK);
    assert_string_not_equal(a, c);
    free(a);
    free(b);
    free(c);
}

/* A value without a band is no value; and no NaN or infinity ever reaches the text. */
static void broken_numbers_become_null(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    s.record.dimension[2].u_mm = NAN;
    s.record.dimension[4].value_mm = INFINITY;
    s.record.dimension[5].U_mm = 0;
    s.record.chi2 = NAN;
    s.photo[0].view.lens.k2 = NAN;
    s.photo[0].sighting_rms_px[0] = NAN;
    s.rim[0].arc = NAN;
    s.record.dimension[3].nominal_count = 1;
    s.record.dimension[3].nominal[0] = (ps_nominal_match){.label = "60 mm", .size_mm = 60, .probability = NAN};
    char *text = NULL;
    assert_int_equal(ps_report_json(NULL, &s.record, &text), PS_OK);
    assert_null(strstr(text, "nan"));
    assert_null(strstr(text, "NaN"));
    assert_null(strstr(text, "inf,"));
    assert_null(strstr(text, "Infinity"));
    free(text);
    json_t *root = json_of(&s.record);
    const char *const names[] = {"attachment.dipper.pin", "attachment.centres", "attachment.dipper.bush"};
    for (int i = 0; i < 3; ++i) {
        json_t *d = dimension_named(root, names[i]);
        assert_true(json_is_null(json_object_get(d, "value_mm")) && json_is_null(json_object_get(d, "U_mm")));
        assert_string_equal(json_string_value(json_object_get(d, "verdict")), "missing");
    }
    json_decref(root);
}

static void file_names_of_any_bytes(void **state) {
    (void)state;
    sample s;
    sample_make(&s, "a\xFF\xC3\xA9\n\x01.jpg");
    json_t *root = json_of(&s.record);
    assert_string_equal(json_string_value(json_object_get(json_array_get(json_object_get(root, "photos"), 0), "file")),
                        "a\xEF\xBF\xBD\xC3\xA9\n\x01.jpg");
    json_decref(root);
}

static long allocations_left;

static void *scarce_malloc(size_t size) {
    return allocations_left-- > 0 ? malloc(size) : NULL;
}

/* Wherever memory ends, the call says so and gives nothing back (the sanitizers see what would be lost). */
static void lack_of_memory_is_told(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    ps_context *ctx = ps_context_new();
    ps_status status = PS_NO_MEMORY;
    long n = 0;
    json_set_alloc_funcs(scarce_malloc, free);
    for (; status != PS_OK && n < 100000; n += 1 + n / 50) {
        char *text = NULL;
        allocations_left = n;
        status = ps_report_json(ctx, &s.record, &text);
        if (status != PS_OK) {
            assert_int_equal(status, PS_NO_MEMORY);
            assert_null(text);
        }
        free(text);
    }
    json_set_alloc_funcs(malloc, free);
    assert_int_equal(status, PS_OK);
    assert_true(n > 100); /* the failing allocator was asked indeed */
    ps_context_free(ctx);
}

static void check_schema(const ps_record *record) {
    char path[] = "/tmp/pinspan-json-XXXXXX", command[1024], *text = NULL;
    int file = mkstemp(path);
    assert_true(file >= 0);
    assert_int_equal(close(file), 0);
    assert_int_equal(ps_report_json(NULL, record, &text), PS_OK);
    assert_int_equal(ps_report_write(NULL, path, text, strlen(text)), PS_OK);
    free(text);
    (void)snprintf(command, sizeof command,
                   "p=/usr/bin/python3; [ -x $p ] || p=python3; $p '%s/validate.py' '%s/docs/measurement.schema.json' '%s'", PS_TEST_DATA,
                   PS_SOURCE_ROOT, path);
    int result = system(command);
    (void)unlink(path);
    if (WIFEXITED(result) && WEXITSTATUS(result) == 77) skip();
    assert_true(WIFEXITED(result));
    assert_int_equal(WEXITSTATUS(result), 0);
}

static void fits_the_schema(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    check_schema(&s.record);
}

static void monte_carlo_only_where_asked_for(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    json_t *root = json_of(&s.record);
    assert_null(json_object_get(root, "monte_carlo"));
    assert_null(json_object_get(dimension_named(root, "attachment.dipper.pin"), "monte_carlo"));
    json_decref(root);
    s.record.monte_carlo = 500, s.record.seed = 12;
    s.record.dimension[2].monte_carlo =
        (ps_monte_carlo){.samples = 498, .failed = 2, .mean_mm = 65.02, .u_mm = 0.1, .low_mm = 64.829, .high_mm = 65.211};
    root = json_of(&s.record);
    json_t *pin = json_object_get(dimension_named(root, "attachment.dipper.pin"), "monte_carlo");
    assert_int_equal(json_integer_value(json_object_get(json_object_get(root, "monte_carlo"), "seed")), 12);
    assert_int_equal(json_integer_value(json_object_get(pin, "samples")), 498);
    CHECK_NEAR(json_number_value(json_object_get(pin, "low_mm")), 64.829, 1e-9); /* nine digits are kept */
    assert_null(json_object_get(dimension_named(root, "attachment.link.pin"), "monte_carlo"));
    json_decref(root);
    check_schema(&s.record);
}

static void machine_side_fits_the_schema(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    s.record.side = PS_SIDE_MACHINE;
    for (int i = 0; i < s.record.dimension_count; ++i) {
        char *name = s.record.dimension[i].name, rest[40];
        (void)snprintf(rest, sizeof rest, "%s", strchr(name, '.'));
        (void)snprintf(name, sizeof s.record.dimension[i].name, "machine%.32s", rest);
    }
    s.record.dimension[0].over = true;
    s.record.fitted = false; /* nothing fitted: scale and fit are null */
    check_schema(&s.record);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(keys_as_documented),
        cmocka_unit_test(camera_is_upright),
        cmocka_unit_test(longer_axis_first),
        cmocka_unit_test(one_rim_per_pin_edge_and_ear),
        cmocka_unit_test(same_record_same_bytes),
        cmocka_unit_test(broken_numbers_become_null),
        cmocka_unit_test(file_names_of_any_bytes),
        cmocka_unit_test(fits_the_schema),
        cmocka_unit_test(machine_side_fits_the_schema),
        cmocka_unit_test(monte_carlo_only_where_asked_for),
        cmocka_unit_test(lack_of_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
