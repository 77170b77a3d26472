/* Naming the circles of a section, from plain numbers. */
#include "check.h"

#include <string.h>

#include "rim/reading.h"

static const ps_reading_scene scene = {5, 1, true, 0, false}; /* 5 px a mm, a settled axis, the sheet on the ear plate */

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

/* A chamfer of 60 degrees has its outer edge as far below the inner one as a shadow would lie that steeply. What photos see less aslant
 * shows no shadow so far aside, and the edge counts whole. */
static void test_steep_chamfer_is_no_shadow(void **state) {
    (void)state;
    ps_spot s[2] = {{26.5, 19.6, 0.9, 0.3, 3.4}, {20.9, 22.5, 0.8, 0.26, 1.8}};
    double clear[2];
    ps_reading_scene little = scene, much = scene;
    little.aslant = 0.3, much.aslant = 0.6;
    ps_reading_strengths(s, 2, &little, clear);
    CHECK_NEAR(clear[1], 1, 1e-9);
    ps_reading_strengths(s, 2, &much, clear);
    assert_true(clear[1] < 0.5);
    ps_reading_strengths(s, 2, &scene, clear); /* not known: the worst is thought */
    assert_true(clear[1] < 0.5);
    CHECK_NEAR(clear[0], 1, 1e-9);
    s[1].support = 0.7; /* a shadow may have that */
    ps_reading_strengths(s, 2, &little, clear);
    assert_true(clear[1] < 0.5);
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
    ps_reading plain = read_list(&l);
    for (int k = 0; k < 8; k++) put(&l, 18 + 0.1 * (k % 3 - 1), 8 + 2.3 * k, 0.95);
    ps_reading r = read_list(&l);
    check_usual(&r);
    assert_true(r.score > plain.score && r.pin_lead > 0.9); /* what lies on the face speaks for it */
}

/* ... or the outermost at the pin: the bore's edge, which lies in the plane of the bush's face. */
static void test_bore_is_not_the_pin(void **state) {
    (void)state;
    list l = usual();
    l.s[BORE].support = 0.95, l.s[BORE].prominence = 0.4, l.s[BORE].strength = 3;
    ps_reading r = read_list(&l);
    check_usual(&r);
    l.s[PIN].support = 0.55; /* far clearer than the pin's edge, and still no second end of a taper */
    r = read_list(&l);
    check_usual(&r);
    assert_true(r.pin_lead > 0.35);
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
    put(&l, 3.5, 51, 0.95);
    ps_reading r = read_list(&l);
    check_usual(&r);
    assert_true(r.beyond_bush == 0); /* a weld's toe is no stray */
}

/* A collar in front of the bush is read as the bush, and the bush itself lies where a weld may; but no weld has a chamfer's two edges. */
static void test_bush_behind_a_collar(void **state) {
    (void)state;
    list l = {0};
    put(&l, 27, 28, 0.8);
    put(&l, 25, 30, 0.8);
    put(&l, 18, 34, 0.8); /* the collar's edges */
    put(&l, 16.5, 35.5, 0.8);
    put(&l, 3.5, 40, 0.8); /* a weld's toe */
    ps_reading r = read_list(&l);
    assert_true(r.bush_lead > 0.45);
    l.s[4].height_mm = 6, l.s[4].radius_mm = 38.5; /* the bush's edges */
    put(&l, 4, 40.5, 0.8);
    r = read_list(&l);
    assert_int_equal(r.pin, 1);
    assert_true(r.bush == 3 && r.bush_lead < 0.45); /* docs/verdicts.md: the bush and the stand-out are doubted */
    assert_true(r.bush_lead > 0.2);                 /* ... and not the pin */
    CHECK_NEAR(r.bush_rival_mm, 5, 0.01);
    assert_true(r.proud_rival_mm >= 12 - 0.01);
    for (int i = 0; i < 4; i++) l.s[i].height_mm -= 3; /* as far as bushes stand out: they may stand on a flange */
    r = read_list(&l);
    assert_true(r.bush == 3 && r.bush_lead > 0.45);
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
    int ghost = put(&l, 12, 30.75, 0.7);
    l.s[ghost].strength = 1.25; /* weaker than both */
    double clear[PS_SPOTS_MAX];
    ps_reading_strengths(l.s, l.count, &scene, clear);
    assert_true(clear[ghost] < 0.35 && clear[PIN] > 0.9);
    ps_reading r = read_list(&l);
    check_usual(&r);
}

/* Grooves of an end lie in one plane on a flat face, and on a dome the higher the nearer to the middle: two of them look like a chamfer's
 * edges there. A rendered one was once read 0.9 mm too small, and good. */
static void test_dome_is_told_from_a_flat_end(void **state) {
    (void)state;
    static const double radius[] = {9.2, 11.8, 14.4, 17, 19.6, 22.2};
    for (int rounded = 0; rounded < 2; rounded++)
        for (double length = 0; length <= 15; length += 3) { /* 0: flat */
            list l = usual();
            double ball = length > 0 ? (30 * 30 + length * length) / (2 * length) : 0;
            for (size_t k = 0; k < sizeof radius / sizeof radius[0]; k++) {
                double share = radius[k] / 30, down = length * (1 - sqrt(1 - share * share));
                if (!rounded && length > 0) down = ball - sqrt(ball * ball - radius[k] * radius[k]);
                put(&l, (length > 0 ? 16 + length - down : 18) + 0.1 * (double)((int)k % 3 - 1), radius[k], 0.95);
            }
            if (length > 0) l.s[FACE].support = 0.3; /* no face */
            double clear[PS_SPOTS_MAX];
            ps_reading_strengths(l.s, l.count, &scene, clear);
            double domed = ps_reading_dome(l.s, clear, l.count, PIN, ps_reading_tol_height_mm(&scene));
            assert_int_equal(domed > 0.6, length > 0);
            if (length == 0) assert_true(domed < 0);
        }
}

/* The worst that grooves of a dome can do: one of them is read as the pin. The pin's own edge, or the bush's, then stands in the air
 * and is said (docs/verdicts.md); or nothing is read. */
static void test_groove_of_a_dome_leaves_the_pin_unexplained(void **state) {
    (void)state;
    int misread = 0;
    for (double length = 2; length <= 15; length += 0.5) {
        list l = usual();
        l.s[FACE].support = 0.3;
        for (int k = 0; k < 6; k++) {
            double r = 9.2 + 2.6 * k;
            put(&l, 16 + length * (1 - r * r / 900), r, 0.95);
        }
        ps_context *ctx = ps_context_new();
        ps_reading r;
        ps_status status = ps_reading_choose(ctx, l.s, l.count, &scene, &r);
        ps_context_free(ctx);
        if (status == PS_NOT_FOUND) continue;
        assert_int_equal(status, PS_OK);
        misread += r.pin != PIN;
        if (r.pin != PIN && !(fmax(r.beside_pin, r.beyond_bush) > 0.6)) fail_msg("a dome %g mm long: a groove is the pin", length);
        if (r.pin == PIN && !(r.domed > 0.6)) fail_msg("a dome %g mm long is not told", length);
    }
    assert_true(misread > 0); /* else this test has no case */
}

/* A step, a bolt's head or a nut in front of the end has edges like a chamfer's, clearer than the pin's: the pin's would then stand in
 * the air beside it. */
static void test_step_in_front_is_not_the_pin(void **state) {
    (void)state;
    list l = usual();
    put(&l, 23, 20.8, 0.95);
    put(&l, 21.2, 22.6, 0.95);
    ps_reading r = read_list(&l);
    check_usual(&r);
    assert_true(r.over_face > 0.6);
}

/* A bored end has another clear circle on its face, and one deep inside. */
static void test_drilled_end_is_no_dome_and_no_pin(void **state) {
    (void)state;
    list l = usual();
    put(&l, 18, 14, 0.95);
    put(&l, 3, 14, 0.7);
    ps_reading r = read_list(&l);
    check_usual(&r);
    assert_true(r.domed < 0);
}

/* The inner bevel of a bush stands beside the pin, as high as a chamfer of it would: two circles 2 mm apart outside the pin's edge. */
static void test_bevel_of_the_bore_is_not_the_pin(void **state) {
    (void)state;
    list l = usual();
    l.s[BORE].radius_mm = 33;
    put(&l, 6, 30.4, 0.75);
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

/* A 60 mm pin flush in its bush of 85 mm, which stands 4.5 mm out of a boss of 112 mm, itself 4 mm high. Invented. */
enum { IN_GAP, EDGE_OF_BORE, RING_FACE, RING, RING_FOOT, BOSS };
static list flush_in_boss(void) {
    list l = {0};
    put(&l, 8.4, 28, 0.8);
    put(&l, 8.4, 30.8, 0.8);
    put(&l, 8.4, 40.9, 0.8);
    put(&l, 6.9, 42.5, 0.8);
    put(&l, 4.4, 42.9, 0.8);
    put(&l, 4, 56, 0.62);
    return l;
}

static ps_reading read_gaps(const list *l) {
    ps_reading_scene gaps = scene;
    ps_reading r = {0};
    gaps.gaps = true;
    assert_int_equal(ps_reading_choose(NULL, l->s, l->count, &gaps, &r), PS_OK);
    return r;
}

/* The bush's circles are the clearest, and what lies in it looks like turning: it is read as the pin, the boss as its bush, 25 mm too
 * large. Only where gaps are looked for is it the bush. */
static void test_bush_in_a_boss(void **state) {
    (void)state;
    list l = flush_in_boss();
    ps_reading r = read_list(&l);
    assert_int_equal(r.pin, RING);
    assert_int_equal(r.bush, BOSS);
    CHECK_NEAR(r.ring_mm, 42.5 - 30.8, 1e-9);
    r = read_gaps(&l);
    assert_int_equal(r.bush_face, RING_FACE);
    assert_int_equal(r.bush, RING);
    assert_int_equal(r.in_gap, IN_GAP);
    assert_int_equal(r.bore, EDGE_OF_BORE);
}

/* One edge of the bush: its face is in the bore's plane, and the bore stands in no air. */
static void test_bush_of_one_edge_in_a_boss(void **state) {
    (void)state;
    list l = flush_in_boss();
    l.s[RING_FACE].support = 0;
    l.s[IN_GAP].height_mm = 6; /* sunk */
    ps_reading r = read_gaps(&l);
    assert_int_equal(r.bush_face, -1);
    assert_int_equal(r.bush, RING);
    assert_int_equal(r.in_gap, IN_GAP);
    assert_int_equal(r.bore, EDGE_OF_BORE);
}

/* What is turned into a pin's end is no gap: more than one ring of it, or one so near the edge that no bush has such a wall, or a faint
 * one. And a pin that stands out of its bush stays one whatever is turned into it. */
static void test_turning_is_no_gap(void **state) {
    (void)state;
    list l = flush_in_boss();
    put(&l, 8.4, 39, 0.8);
    CHECK_NEAR(read_list(&l).ring_mm, 0, 0);
    assert_int_equal(read_gaps(&l).bore, -1);
    l = flush_in_boss();
    l.s[EDGE_OF_BORE].radius_mm = 36, l.s[IN_GAP].radius_mm = 33;
    CHECK_NEAR(read_list(&l).ring_mm, 6.5, 1e-9); /* small machines have such walls */
    l.s[EDGE_OF_BORE].radius_mm = 39, l.s[IN_GAP].radius_mm = 36;
    CHECK_NEAR(read_list(&l).ring_mm, 0, 0);
    l = flush_in_boss();
    l.s[EDGE_OF_BORE].support = 0.6;
    CHECK_NEAR(read_list(&l).ring_mm, 0, 0);
    l = usual();
    put(&l, 18, 15, 0.8);
    put(&l, 18, 17.5, 0.8);
    assert_int_equal(read_gaps(&l).pin, PIN);
    assert_int_equal(read_gaps(&l).bush, BUSH);
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
    CHECK_NEAR(r.pin_rival_mm, 1.2, 1e-9); /* what the other one says */
    CHECK_NEAR(r.proud_rival_mm, 0.4, 1e-9);
}

static void test_heights_without_a_plate(void **state) {
    (void)state;
    list l = usual();
    for (int i = 0; i < l.count; i++) l.s[i].height_mm -= 25;
    const ps_reading_scene floating = {5, 1, false, 0, false};
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
    assert_int_equal(ps_reading_choose(NULL, l.s, l.count, &(ps_reading_scene){0, 1, true, 0, false}, &r), PS_BAD_ARGUMENT);
    assert_int_equal(r.pin, -7);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_usual),
        cmocka_unit_test(test_steep_chamfer_is_no_shadow),
        cmocka_unit_test(test_grooves_are_not_the_pin),
        cmocka_unit_test(test_bore_is_not_the_pin),
        cmocka_unit_test(test_ring_is_said),
        cmocka_unit_test(test_weld_is_not_the_bush),
        cmocka_unit_test(test_bush_behind_a_collar),
        cmocka_unit_test(test_taper),
        cmocka_unit_test(test_ghost_is_not_the_pin),
        cmocka_unit_test(test_dome_is_told_from_a_flat_end),
        cmocka_unit_test(test_groove_of_a_dome_leaves_the_pin_unexplained),
        cmocka_unit_test(test_step_in_front_is_not_the_pin),
        cmocka_unit_test(test_drilled_end_is_no_dome_and_no_pin),
        cmocka_unit_test(test_bevel_of_the_bore_is_not_the_pin),
        cmocka_unit_test(test_recessed),
        cmocka_unit_test(test_bush_in_a_boss),
        cmocka_unit_test(test_bush_of_one_edge_in_a_boss),
        cmocka_unit_test(test_turning_is_no_gap),
        cmocka_unit_test(test_doubtful_pin_has_no_lead),
        cmocka_unit_test(test_heights_without_a_plate),
        cmocka_unit_test(test_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
