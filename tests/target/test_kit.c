/* The built-in kit against its published description (kit.json, a copy beside this file). */
#include "check.h"

#include <string.h>

#include <jansson.h>

#include "pinspan/target.h"

/* Both are decimal fractions of a millimetre held as doubles. */
#define GEOMETRY_TOLERANCE_MM 1e-9

static json_t *kit_json(void) {
    json_error_t error;
    json_t *root = json_load_file(PS_TEST_DATA "/kit.json", 0, &error);
    assert_non_null(root);
    return root;
}

static void check_place(json_t *pair, const double mm[2]) {
    for (size_t k = 0; k < 2; k++) CHECK_NEAR(mm[k], json_number_value(json_array_get(pair, k)), GEOMETRY_TOLERANCE_MM);
}

static void check_piece(int index, json_t *j) {
    const ps_piece *p = ps_kit_piece(index);
    double mm[2];
    assert_non_null(p);
    assert_string_equal(p->name, json_string_value(json_object_get(j, "name")));
    assert_int_equal(p->columns, json_integer_value(json_object_get(j, "columns")));
    assert_int_equal(p->rows, json_integer_value(json_object_get(j, "rows")));
    CHECK_NEAR(p->square_mm, json_number_value(json_object_get(j, "square_mm")), GEOMETRY_TOLERANCE_MM);
    CHECK_NEAR(p->tag_side_mm, json_number_value(json_object_get(j, "tag_side_mm")), GEOMETRY_TOLERANCE_MM);
    json_t *tags = json_object_get(j, "tags"), *corners = json_object_get(j, "corners");
    assert_int_equal(p->tag_count, json_array_size(tags));
    assert_int_equal(p->corner_count, json_array_size(corners));
    assert_true(p->corner_count <= PS_PIECE_CORNERS_MAX);
    for (int n = 0; n < p->tag_count; n++) {
        json_t *tag = json_array_get(tags, (size_t)n);
        int place = -1;
        assert_int_equal(ps_kit_piece_of_tag((int)json_integer_value(json_object_get(tag, "id")), &place), index);
        assert_int_equal(place, n);
        ps_piece_tag_centre(p, n, mm);
        check_place(json_object_get(tag, "centre"), mm);
    }
    for (int i = 0; i < p->corner_count; i++) {
        ps_piece_corner(p, i, mm);
        check_place(json_array_get(corners, (size_t)i), mm);
    }
}

static void kit_is_as_described(void **state) {
    (void)state;
    json_t *root = kit_json(), *pieces = json_object_get(root, "pieces");
    assert_int_equal(ps_kit_count(), json_array_size(pieces));
    for (int i = 0; i < ps_kit_count(); i++) check_piece(i, json_array_get(pieces, (size_t)i));
    json_decref(root);
}

static void names_and_ids_outside_are_refused(void **state) {
    (void)state;
    assert_int_equal(ps_kit_find("patch-3"), 4);
    assert_int_equal(ps_kit_find("patch-9"), -1);
    assert_int_equal(ps_kit_find(""), -1);
    assert_int_equal(ps_kit_find(NULL), -1);
    assert_null(ps_kit_piece(-1));
    assert_null(ps_kit_piece(ps_kit_count()));
    assert_int_equal(ps_kit_piece_of_tag(-1, NULL), -1);
    assert_int_equal(ps_kit_piece_of_tag(107, NULL), 7);
    assert_int_equal(ps_kit_piece_of_tag(108, NULL), -1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(kit_is_as_described),
        cmocka_unit_test(names_and_ids_outside_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
