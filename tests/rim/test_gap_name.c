/* Naming a bush's circles. The wrong answers that a naive reading gives are tested by name: the chamfer's foot, the bush's foot on the ear
 * plate, texture on the pin. Sizes are invented. */
#include "check.h"
#include "rim/gap.h"

#include <math.h>
#include <string.h>

/* An ear at t = 100 that looks toward lower t (ear 1), or one at t = -100 (ear 0); `deep`: behind the face, mm. */
static ps_gap_circle circle(int ear, double deep, double r, double support, double over) {
    return (ps_gap_circle){ear, (ear ? 1 : -1) * (100 + deep), r, support, over};
}

static void name(const ps_gap_circle *low, int lows, const ps_gap_circle *high, int highs, ps_gap_bush out[2]) {
    const ps_gap_circle *const both[2] = {low, high};
    const int count[2] = {lows, highs};
    ps_gap_name(both, count, 0.5, false, out);
}

/* Ends of a boss look outward: as ears do that are turned about, so that the circles are those of an ear. */
static void name_ends(const ps_gap_circle *low, int lows, const ps_gap_circle *high, int highs, ps_gap_bush out[2]) {
    const ps_gap_circle *const both[2] = {low, high};
    const int count[2] = {lows, highs};
    ps_gap_name(both, count, 0.5, true, out);
}

static void check_face(const ps_gap_bush *b, double deep, double r) {
    assert_true(b->has_face);
    assert_true(fabs(fabs(b->face.t) - (100 + deep)) < 1e-9); /* one of the circles given, unchanged */
    assert_true(fabs(b->face.r - r) < 1e-9);
}

/* Chamfer and inner bevel of one depth: their feet are as flat a pair as face and bore, and lie 1.5 mm behind. */
static void test_chamfer_foot_is_no_face(void **state) {
    (void)state;
    for (int ear = 0; ear < 2; ear++) {
        const ps_gap_circle c[] = {circle(ear, 1.5, 40, 0.75, 0.33), circle(ear, 1.5, 27, 0.66, 0.25), circle(ear, 0, 38.5, 0.7, 0.3),
                                   circle(ear, 0.1, 28.5, 0.6, 0.22)};
        ps_gap_bush out[2];
        name(ear ? NULL : c, ear ? 0 : 4, ear ? c : NULL, ear ? 4 : 0, out);
        check_face(&out[ear], 0, 38.5);
        assert_true(out[ear].has_bore && fabs(out[ear].bore.r - 28.5) < 1e-9);
        assert_true(out[ear].has_outer && fabs(out[ear].outer.r - 40) < 1e-9);
        assert_false(out[1 - ear].has_face);
    }
}

/* The foot on the painted plate is often the strongest circle of all, of the same radius and 6 mm behind. */
static void test_bush_foot_is_no_face(void **state) {
    (void)state;
    const ps_gap_circle with_bore[] = {circle(1, 6, 40.2, 0.8, 0.4), circle(1, 0, 39.4, 0.6, 0.2), circle(1, 0.1, 27, 0.55, 0.12)};
    const ps_gap_circle alone[] = {circle(0, 6, 40.2, 0.8, 0.4), circle(0, 0, 39.4, 0.65, 0.25)};
    ps_gap_bush out[2];
    name(alone, 2, with_bore, 3, out);
    check_face(&out[1], 0, 39.4);
    check_face(&out[0], 0, 39.4);
    assert_false(out[0].has_bore);
}

/* Glints on a pin in the bore gather high support and stand out little. */
static void test_pin_texture_is_no_face(void **state) {
    (void)state;
    const ps_gap_circle c[] = {circle(1, -3, 17, 0.85, 0.1), circle(1, -3.2, 13, 0.85, 0.12), circle(1, 0, 39, 0.6, 0.25),
                               circle(1, 0.2, 28, 0.6, 0.15), circle(1, -4, 22, 0.8, 0.08)};
    ps_gap_bush out[2];
    name(NULL, 0, c, 5, out);
    check_face(&out[1], 0, 39);
    assert_true(out[1].has_bore && fabs(out[1].bore.r - 28) < 1e-9);
}

/* Bushes of a pair are alike: of two readings of one ear the one that suits the other ear is taken. */
static void test_pair_is_alike(void **state) {
    (void)state;
    const ps_gap_circle low[] = {circle(0, 0, 39, 0.7, 0.3), circle(0, 0, 28, 0.6, 0.25)};
    const ps_gap_circle high[] = {circle(1, -1, 57, 0.6, 0.26), circle(1, -1, 46, 0.6, 0.26), circle(1, 0, 39, 0.6, 0.24),
                                  circle(1, 0, 28, 0.6, 0.24)};
    ps_gap_bush out[2];
    name(low, 2, high, 4, out);
    check_face(&out[1], 0, 39);
    /* Without the other ear the larger pair wins: the guard is what decides above. */
    name(NULL, 0, high, 4, out);
    check_face(&out[1], -1, 57);
}

static void test_nothing_is_nothing(void **state) {
    (void)state;
    const ps_gap_circle dull = circle(1, 0, 39, 0.6, -0.05); /* fainter than what lies beside it */
    ps_gap_bush out[2];
    name(NULL, 0, &dull, 1, out);
    assert_false(out[0].has_face);
    assert_false(out[1].has_face);
}

/* The boss's own end with the bush's foot is a flat ring too, far clearer, and lies behind; the pin's end that stands out is no ring. */
static void test_boss_end_is_no_face(void **state) {
    (void)state;
    for (int ear = 0; ear < 2; ear++) {
        const ps_gap_circle c[] = {circle(ear, 6, 61, 0.89, 0.46), circle(ear, 6, 47.5, 0.45, 0.22), circle(ear, 0, 46.8, 0.5, 0.2),
                                   circle(ear, 0.1, 38.9, 0.5, 0.22), circle(ear, -9, 36, 0.6, 0.3)};
        ps_gap_bush out[2];
        name_ends(ear ? NULL : c, ear ? 0 : 5, ear ? c : NULL, ear ? 5 : 0, out);
        check_face(&out[ear], 0, 46.8);
        assert_true(out[ear].has_bore && fabs(out[ear].bore.r - 38.9) < 1e-9);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_boss_end_is_no_face),  cmocka_unit_test(test_chamfer_foot_is_no_face),
                                       cmocka_unit_test(test_bush_foot_is_no_face), cmocka_unit_test(test_pin_texture_is_no_face),
                                       cmocka_unit_test(test_pair_is_alike),        cmocka_unit_test(test_nothing_is_nothing)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
