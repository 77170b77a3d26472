/* What is asked before a boss is looked for: two photos at least well off to either side of the piece. No photo is read for that. */
#include "check.h"

#include "../adjust/gap_scene.h"
#include "pinspan/gap.h"

static const ps_rim_mask piece = {{{0, 0}, {80, 0}, {80, 100}, {0, 100}}};

static ps_view from(double x, double y, double above) {
    const double at[3] = {x, y, -above}, to[3] = {40, 50, 0};
    ps_view v = {.lens = {800, 399.5, 299.5, 0, 0, 0, 0, 0}, .orientation = 1, .stored_width = 800, .stored_height = 600};
    gap_look(at, to, &v.pose);
    return v;
}

static void test_sides(void **state) {
    (void)state;
    int left, right;
    /* 45 degrees off the plate's normal; 20 degrees, as end-on photos are taken, is neither side. */
    const ps_view both[] = {from(0, -350, 400), from(90, 450, 400), from(120, -350, 400), from(-20, 450, 400), from(40, 195, 400)};
    assert_true(ps_rim_boss_sides(5, both, &piece, 1, &left, &right));
    assert_int_equal(left, 2);
    assert_int_equal(right, 2);
    assert_false(ps_rim_boss_sides(3, both, &piece, 1, &left, &right)); /* one of the right end only */
    assert_int_equal(right, 1);
    assert_false(ps_rim_boss_sides(4, both + 1, &piece, 1, &left, &right));
    assert_false(ps_rim_boss_sides(0, both, &piece, 1, NULL, NULL));
}

static void test_no_search_without_both(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_pin_models out;
    const double toward[2] = {1, 0};
    const ps_view one[] = {from(0, -350, 400), from(60, -350, 400), from(120, -350, 400), from(40, 50, 500)};
    const ps_luma *none[4] = {NULL}; /* would be read by a search */
    assert_int_equal(ps_rim_boss_find(ctx, 4, none, one, &piece, 1, toward, PS_DIRECTION_NONE, &out), PS_NOT_FOUND);
    assert_int_equal(ps_rim_boss_find(ctx, 0, none, one, &piece, 1, toward, PS_DIRECTION_NONE, &out), PS_BAD_ARGUMENT);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_sides), cmocka_unit_test(test_no_search_without_both)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
