/* Two sheets printed 0.73 % unlike along, each read by itself, the whole way from photos: testimages/unlike. As one print they put the
 * centres 8 mm off, and photos were said to be of another lens, and sheets to be held. */
#include "check.h"

#include "photo_set.h"

static photo_set unlike;

static int set_up(void **state) {
    (void)state;
    return set_measure(&unlike, "unlike") ? 0 : -1;
}

static int take_down(void **state) {
    (void)state;
    set_clear(&unlike);
    return 0;
}

static void centres_are_right(void **state) {
    (void)state;
    set_check_sound(&unlike, "attachment.centres");
    set_check_sound(&unlike, "attachment.dipper.pin");
    set_check_sound(&unlike, "attachment.link.pin");
}

static void nothing_is_claimed(void **state) {
    (void)state;
    static const ps_code codes[] = {PS_CODE_PIECE_MOVED, PS_CODE_PIECE_HELD,        PS_CODE_PIECE_BENT,   PS_CODE_OTHER_SCENE,
                                    PS_CODE_FIT_BAD,     PS_CODE_FOCAL_CONTRADICTS, PS_CODE_PRINT_SCALED, PS_CODE_PRINT_UNCHECKED};
    for (size_t c = 0; c < sizeof codes / sizeof *codes; c++) {
        for (int i = 0; i < SET_FILES; i++)
            assert_true(unlike.record.photo[i].usable && !ps_notes_have(&unlike.record.photo[i].problems, codes[c]));
        for (int i = 0; i < unlike.record.dimension_count; i++) assert_false(ps_notes_have(&unlike.record.dimension[i].reasons, codes[c]));
    }
}

/* Each sheet's scale is found: the one against the other far better than a rule reads them. */
static void scales_are_found(void **state) {
    (void)state;
    static const double RATIO = 0.001; /* paper of two sheets, 0.03 % each, and corners; twice */
    const json_t *pieces = json_object_get(unlike.truth, "pieces");
    double found[2] = {0, 0}, is[2];
    assert_int_equal(unlike.record.print_count, 2);
    for (size_t i = 0; i < 2; i++) {
        const json_t *piece = json_array_get(pieces, i);
        is[i] = set_number(piece, "scale_y");
        for (int k = 0; k < 2; k++) {
            const struct ps_record_print *print = &unlike.record.print[k];
            if (print->piece != ps_kit_find(json_string_value(json_object_get(piece, "name")))) continue;
            assert_true(print->read_across && print->read_along);
            found[i] = print->along;
        }
        CHECK_NEAR(found[i], is[i], 0.7 / 200); /* two sd of a reading */
    }
    assert_true(is[1] / is[0] > 1.007);
    CHECK_NEAR(found[1] / found[0], is[1] / is[0], RATIO);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(centres_are_right), cmocka_unit_test(nothing_is_claimed),
                                       cmocka_unit_test(scales_are_found)};
    return cmocka_run_group_tests(tests, set_up, take_down);
}
