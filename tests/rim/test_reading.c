/* Naming the circles of a section, from plain numbers. */
#include "check.h"

#include <string.h>

#include "rim/reading.h"

static const ps_reading_scene scene = {5, 1, true}; /* 5 px a mm, a settled axis, the sheet on the ear plate */

typedef struct list {
    int count;
    ps_spot s[PS_SPOTS_MAX];
} list;

static int put(list *l, double height, double radius, double support) {
    l->s[l->count] = (ps_spot){height, radius, support, 0.25, 2 * support};
    return l->count++;
}

enum { FACE, PIN, BORE, BUSH_FACE, BUSH };

/* A 60 mm pin with a chamfer of 2 mm, 10 mm proud of a 90 mm bush that stands 8 mm out. Invented. */
static list usual(void) {
    list l = {0};
    put(&l, 18, 28, 0.8);
    put(&l, 16, 30, 0.8);
    put(&l, 8, 31.5, 0.65);
    put(&l, 8, 43, 0.75);
    put(&l, 6, 45, 0.75);
    return l;
}

static ps_reading read_list(const list *l) {
    ps_reading r = {0};
    assert_int_equal(ps_reading_choose(NULL, l->s, l->count, &scene, &r), PS_OK);
    return r;
}

static void check_usual(const ps_reading *r) {
    assert_int_equal(r->pin_face, FACE);
    assert_int_equal(r->pin, PIN);
    assert_int_equal(r->junction, BORE);
    assert_int_equal(r->bush_face, BUSH_FACE);
    assert_int_equal(r->bush, BUSH);
    assert_false(r->taper);
}

static void test_usual(void **state) {
    (void)state;
    list l = usual();
    ps_reading r = read_list(&l);
    check_usual(&r);
    assert_true(r.pin_lead > 0.8 && r.bush_lead > 0.8); /* nearly a whole circle's worth: nothing else is there */
    assert_true(r.beside_pin == 0 && r.beyond_bush == 0 && r.over_face == 0);
}

/* A naive reading takes the clearest circle for the pin: turning grooves of the end face are clearer than the pin's edge. */
static void test_grooves_are_not_the_pin(void **state) {
    (void)state;
    list l = usual();
    for (int k = 0; k < 8; k++) put(&l, 18 + 0.1 * (k % 3 - 1), 8 + 2.3 * k, 0.95);
    ps_reading r = read_list(&l);
    check_usual(&r);
}

/* ... or the outermost at the pin: the bore's edge, which lies in the plane of the bush's face. */
static void test_bore_is_not_the_pin(void **state) {
    (void)state;
    list l = usual();
    l.s[BORE].support = 0.95, l.s[BORE].prominence = 0.4, l.s[BORE].strength = 3;
    ps_reading r = read_list(&l);
    check_usual(&r);
}

/* A ring against the bush stands in the air beside the pin: the pin stays the pin, and the ring is said. */
static void test_ring_is_said(void **state) {
    (void)state;
    list l = usual();
    put(&l, 12, 37, 0.85);
    ps_reading r = read_list(&l);
    assert_int_equal(r.pin, PIN);
    assert_true(r.beside_pin > 0.6);
}

static void test_weld_is_not_the_bush(void **state) {
    (void)state;
    list l = usual();
    put(&l, 2.5, 51, 0.95);
    ps_reading r = read_list(&l);
    check_usual(&r);
}

static void test_taper(void **state) {
    (void)state;
    list l = usual();
    l.s[FACE].height_mm = 30, l.s[FACE].radius_mm = 25;
    ps_reading r = read_list(&l);
    assert_int_equal(r.pin, PIN);
    assert_true(r.taper);
}

/* Midway between two circles each photo shows half of one and half of the other. */
static void test_ghost_is_not_the_pin(void **state) {
    (void)state;
    list l = usual();
    put(&l, 12, 30.75, 0.7);
    ps_reading r = read_list(&l);
    check_usual(&r);
}

static void test_recessed(void **state) {
    (void)state;
    list l = usual();
    l.s[FACE].height_mm = 4, l.s[PIN].height_mm = 2;
    ps_reading r = read_list(&l);
    check_usual(&r);
}

/* Two circles at the pin that serve equally well: no lead. */
static void test_doubtful_pin_has_no_lead(void **state) {
    (void)state;
    list l = {0};
    put(&l, 16, 30, 0.7);
    put(&l, 16.4, 31.2, 0.7);
    put(&l, 8, 43, 0.75);
    put(&l, 6, 45, 0.75);
    ps_reading r = read_list(&l);
    assert_true(r.pin_lead < 0.35);
}

static void test_heights_without_a_plate(void **state) {
    (void)state;
    list l = usual();
    for (int i = 0; i < l.count; i++) l.s[i].height_mm -= 25;
    const ps_reading_scene floating = {5, 1, false};
    ps_reading r = {0};
    assert_int_equal(ps_reading_choose(NULL, l.s, l.count, &floating, &r), PS_OK);
    check_usual(&r);
}

static void test_refused(void **state) {
    (void)state;
    list l = usual();
    ps_reading r = {.pin = -7};
    assert_int_equal(ps_reading_choose(NULL, l.s, 0, &scene, &r), PS_NOT_FOUND);
    assert_int_equal(ps_reading_choose(NULL, l.s, 2, &scene, &r), PS_NOT_FOUND); /* a pin without a bush */
    assert_int_equal(ps_reading_choose(NULL, l.s, PS_SPOTS_MAX + 1, &scene, &r), PS_BAD_ARGUMENT);
    assert_int_equal(ps_reading_choose(NULL, l.s, l.count, &(ps_reading_scene){0, 1, true}, &r), PS_BAD_ARGUMENT);
    assert_int_equal(r.pin, -7);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_usual),
        cmocka_unit_test(test_grooves_are_not_the_pin),
        cmocka_unit_test(test_bore_is_not_the_pin),
        cmocka_unit_test(test_ring_is_said),
        cmocka_unit_test(test_weld_is_not_the_bush),
        cmocka_unit_test(test_taper),
        cmocka_unit_test(test_ghost_is_not_the_pin),
        cmocka_unit_test(test_recessed),
        cmocka_unit_test(test_doubtful_pin_has_no_lead),
        cmocka_unit_test(test_heights_without_a_plate),
        cmocka_unit_test(test_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
