/* Pins that can hardly be read accuse no photo, the whole way from photos: testimages/poor, three honest photos of one pin that stands 53
 * mm out and one that is recessed. When the set was chosen, two pins were read without its last photo so poorly that they are none, and had
 * they been believed that photo's sheet would have moved. Since then the cameras' last digits have changed and none is asked for without
 * that photo; the guard by itself is shown by test_accuse.c. */
#include "check.h"

#include "photo_set.h"

static photo_set poor;

static int set_up(void **state) {
    (void)state;
    return set_measure(&poor, "poor") ? 0 : -1;
}

static int take_down(void **state) {
    (void)state;
    set_clear(&poor);
    return 0;
}

static bool accuses(const ps_notes *notes) {
    static const ps_code codes[] = {PS_CODE_PIECE_MOVED, PS_CODE_PIECE_HELD,        PS_CODE_PIECE_BENT,
                                    PS_CODE_OTHER_SCENE, PS_CODE_FOCAL_CONTRADICTS, PS_CODE_FIT_BAD};
    bool any = false;
    for (size_t i = 0; i < sizeof codes / sizeof *codes; i++) any = any || ps_notes_have(notes, codes[i]);
    return any;
}

static void honest_photos_are_not_accused(void **state) {
    (void)state;
    for (int i = 0; i < SET_FILES; i++) assert_true(poor.record.photo[i].usable && !accuses(&poor.record.photo[i].problems));
    for (int i = 0; i < poor.record.dimension_count; i++) assert_false(accuses(&poor.record.dimension[i].reasons));
}

/* What can be read is, poorly: some mm are open, and the last digits of the cameras decide which. */
static void the_other_pin_is_measured(void **state) {
    (void)state;
    double true_mm;
    set_check_held(&poor, "attachment.link.pin", &true_mm);
    set_check_held(&poor, "attachment.link.bush", &true_mm);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(honest_photos_are_not_accused), cmocka_unit_test(the_other_pin_is_measured)};
    return cmocka_run_group_tests(tests, set_up, take_down);
}
