/* What a doubt adds to a band, from plain numbers: a made-up side of two 60 mm pins in 90 mm bushes, every edge seen. Each step is another
 * thing that may be so, and the band must reach what the value would then be off by. */
#include "check.h"

#include <math.h>

#include "gauge/doubts.h"
#include "gauge/widening.h"

static ps_gauge_input input;
static ps_gauge_facts facts;

static int reset(void **state) {
    (void)state;
    static const double size_mm[] = {[PS_EDGE_PIN_FACE] = 56, [PS_EDGE_PIN] = 60, [PS_EDGE_BUSH_FACE] = 86, [PS_EDGE_BUSH] = 90};
    static const double height_mm[] = {[PS_EDGE_PIN_FACE] = 20, [PS_EDGE_PIN] = 18, [PS_EDGE_BUSH_FACE] = 8, [PS_EDGE_BUSH] = 6};
    static const ps_edge edge[] = {PS_EDGE_PIN_FACE, PS_EDGE_PIN, PS_EDGE_BUSH_FACE, PS_EDGE_BUSH};
    input = (ps_gauge_input){0};
    facts = (ps_gauge_facts){.solved = true};
    for (int role = 0; role < PS_ROLE_COUNT; role++)
        for (size_t i = 0; i < sizeof edge / sizeof edge[0]; i++)
            facts.rim[role][edge[i]] = (ps_rim_fact){.had = true,
                                                     .photos = 3,
                                                     .arc = 0.95,
                                                     .arc_mean = 0.95,
                                                     .height_mm = height_mm[edge[i]],
                                                     .diameter = {.value_mm = size_mm[edge[i]], .u_mm = 0.1}};
    return 0;
}

static double pin_u_mm(ps_code doubt) {
    ps_quantity q = facts.rim[PS_ROLE_DIPPER][PS_EDGE_PIN].diameter;
    ps_notes doubts = {0};
    if (doubt != PS_CODE_COUNT) ps_notes_add(&doubts, doubt, "Made up.");
    ps_gauge_widen_pin(&input, &facts, PS_ROLE_DIPPER, PS_EDGE_PIN, &doubts, &q);
    return q.u_mm;
}

static double bush_u_mm(int role) {
    ps_quantity q = facts.rim[role][PS_EDGE_BUSH].diameter;
    ps_gauge_widen_bush(&input, &facts, role, false, &(ps_notes){0}, &q);
    return q.u_mm;
}

static double proud_u_mm(int role, ps_code doubt) {
    ps_quantity q = {.value_mm = 12, .u_mm = 0.1};
    ps_notes doubts = {0};
    if (doubt != PS_CODE_COUNT) ps_notes_add(&doubts, doubt, "Made up.");
    ps_gauge_widen_proud(&input, &facts, role, PS_EDGE_BUSH_FACE, &doubts, &q);
    return q.u_mm;
}

static void no_doubt_adds_nothing(void **state) {
    (void)state;
    CHECK_NEAR(pin_u_mm(PS_CODE_COUNT), 0.1, 1e-9);
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9);
    CHECK_NEAR(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_COUNT), 0.1, 1e-9);
}

/* The bevel's inner edge taken for an end that lies some 3 mm deeper. */
static void a_sunk_end_may_lie_deeper(void **state) {
    (void)state;
    input.pin[PS_ROLE_DIPPER].sunk = true;
    CHECK_NEAR(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_COUNT), hypot(0.1, 3 / sqrt(2)), 0.03);
    CHECK_NEAR(proud_u_mm(PS_ROLE_LINK, PS_CODE_COUNT), 0.1, 1e-9);
}

/* Another reading explains the photos nearly as well: the band reaches what it says, and its square is half of theirs. */
static void a_rival_is_within_the_band(void **state) {
    (void)state;
    input.pin[PS_ROLE_DIPPER].rival_mm = 20;                               /* the bush's chamfer taken for the pin's */
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), hypot(0.1, 20 / sqrt(2)), 1e-9); /* a weld's toe for the bush's, then */
    input.pin[PS_ROLE_DIPPER].rival_mm = 8;                                /* 4 mm of radius: a chamfer */
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9);
    input.pin[PS_ROLE_DIPPER].rival_mm = 20;
    input.pin[PS_ROLE_DIPPER].bush_rival_mm = 22;
    input.pin[PS_ROLE_DIPPER].proud_rival_mm = 5;
    CHECK_NEAR(pin_u_mm(PS_CODE_COUNT), hypot(0.1, 20 / sqrt(2)), 1e-9);
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), hypot(0.1, 22 / sqrt(2)), 1e-9);
    CHECK_NEAR(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_COUNT), hypot(0.1, 5 / sqrt(2)), 1e-9);
    CHECK_NEAR(bush_u_mm(PS_ROLE_LINK), 0.1, 1e-9);
}

/* A cap taken for a pin is wider by more on a large pin: 108 for 90 mm was 4.6 mm when one number stood for all. */
static void other_parts_grow_with_the_pin(void **state) {
    (void)state;
    static const ps_code code[] = {PS_CODE_PIN_CAP, PS_CODE_PIN_COLLAR, PS_CODE_PIN_TAPER, PS_CODE_PIN_DOME};
    for (size_t i = 0; i < sizeof code / sizeof code[0]; i++) {
        facts.rim[PS_ROLE_DIPPER][PS_EDGE_PIN].diameter.value_mm = 108;
        assert_true(pin_u_mm(code[i]) > 10);
        facts.rim[PS_ROLE_DIPPER][PS_EDGE_PIN].diameter.value_mm = 30;
        assert_true(pin_u_mm(code[i]) >= 4);
    }
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_PIN].diameter.value_mm = 60;
    ps_notes_add(&input.pin[PS_ROLE_DIPPER].bush_doubts, PS_CODE_PIN_CAP, "A cap hides part of it.");
    assert_true(bush_u_mm(PS_ROLE_DIPPER) > 9);
    CHECK_NEAR(bush_u_mm(PS_ROLE_LINK), 0.1, 1e-9);
}

/* A collar adds its thickness: the bush that stands out further may be one, and its pin's end is then nearer than it should be. The other
 * bush is as it was. */
static void the_higher_bush_may_be_a_collar(void **state) {
    (void)state;
    facts.rim[PS_ROLE_LINK][PS_EDGE_BUSH_FACE].height_mm += 7;
    facts.rim[PS_ROLE_LINK][PS_EDGE_BUSH].height_mm += 7;
    assert_true(bush_u_mm(PS_ROLE_LINK) > 9);
    CHECK_NEAR(proud_u_mm(PS_ROLE_LINK, PS_CODE_PIN_COLLAR), hypot(0.1, 7 / sqrt(2)), 1e-9);
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9);
    CHECK_NEAR(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_PIN_COLLAR), 0.1, 1e-9);
}

/* Pins of 60 and 100 mm are no pair: one is another part. A bush's edge may be its face's. */
static void sizes_that_do_not_go_together(void **state) {
    (void)state;
    ps_notes hidden = {0};
    ps_quantity q = facts.rim[PS_ROLE_DIPPER][PS_EDGE_BUSH].diameter;
    ps_notes_add(&hidden, PS_CODE_BUSH_HIDDEN, "One edge.");
    ps_gauge_widen_bush(&input, &facts, PS_ROLE_DIPPER, false, &hidden, &q);
    assert_true(q.u_mm > 1.6);
    facts.rim[PS_ROLE_LINK][PS_EDGE_PIN].diameter.value_mm = 100;
    CHECK_NEAR(pin_u_mm(PS_CODE_COUNT), hypot(0.1, 20), 1e-9);
    assert_true(bush_u_mm(PS_ROLE_DIPPER) > 20);
}

/* A bush taken for its pin is a third larger: pins of 60 and 78 mm may be that, pins of 60 and 74 mm are two steps of size. */
static void a_bush_may_stand_for_a_pin(void **state) {
    (void)state;
    facts.rim[PS_ROLE_LINK][PS_EDGE_PIN].diameter.value_mm = 74;
    CHECK_NEAR(pin_u_mm(PS_CODE_COUNT), 0.1, 1e-9);
    facts.rim[PS_ROLE_LINK][PS_EDGE_PIN].diameter.value_mm = 78;
    CHECK_NEAR(pin_u_mm(PS_CODE_COUNT), hypot(0.1, 9), 1e-9);
    input.pin[PS_ROLE_DIPPER].sure = input.pin[PS_ROLE_LINK].sure = true;
    CHECK_NEAR(pin_u_mm(PS_CODE_COUNT), 0.1, 1e-9);
}

/* A weld's toe taken for a bush: 110 mm about a pin that is like the other, whose bush has 90. A bush of 110 mm about a larger pin is none.
 */
static void a_bush_unlike_the_other(void **state) {
    (void)state;
    facts.rim[PS_ROLE_LINK][PS_EDGE_BUSH].diameter.value_mm = 107;
    CHECK_NEAR(bush_u_mm(PS_ROLE_LINK), 0.1, 1e-9);
    facts.rim[PS_ROLE_LINK][PS_EDGE_BUSH].diameter.value_mm = 110;
    CHECK_NEAR(bush_u_mm(PS_ROLE_LINK), hypot(0.1, 10), 1e-9);
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), hypot(0.1, 10), 1e-9);
    /* That the pins are beyond doubt says nothing of their bushes. */
    input.pin[PS_ROLE_DIPPER].sure = input.pin[PS_ROLE_LINK].sure = true;
    CHECK_NEAR(bush_u_mm(PS_ROLE_LINK), hypot(0.1, 10), 1e-9);
    input.pin[PS_ROLE_DIPPER].bush_sure = input.pin[PS_ROLE_LINK].bush_sure = true;
    CHECK_NEAR(bush_u_mm(PS_ROLE_LINK), 0.1, 1e-9);
    input.pin[PS_ROLE_DIPPER].bush_sure = input.pin[PS_ROLE_LINK].bush_sure = false;
    facts.rim[PS_ROLE_LINK][PS_EDGE_PIN].diameter.value_mm = 70;
    CHECK_NEAR(bush_u_mm(PS_ROLE_LINK), 0.1, 1e-9);
}

/* Without a pin the bushes alone are compared, and nothing tells which circle is the bush's: one of 39 mm was the pin's face, and the bush
 * had 69. */
static void a_bush_without_a_pin(void **state) {
    (void)state;
    facts.rim[PS_ROLE_LINK][PS_EDGE_PIN].had = facts.rim[PS_ROLE_LINK][PS_EDGE_PIN_FACE].had = false;
    assert_true(2 * bush_u_mm(PS_ROLE_LINK) > 0.33 * 90);
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9);
    facts.rim[PS_ROLE_LINK][PS_EDGE_BUSH].diameter.value_mm = 50;
    assert_true(2 * bush_u_mm(PS_ROLE_LINK) >= 90 - 50);
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9); /* of a pin that was read */
    input.pin[PS_ROLE_DIPPER].unread = true;
    assert_true(2 * bush_u_mm(PS_ROLE_DIPPER) >= 90 - 50);
}

/* An edge that runs half round may be a weld's or a shadow's, or light on a taper. */
static void edges_in_pieces(void **state) {
    (void)state;
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_BUSH].arc_mean = 0.5;
    assert_true(bush_u_mm(PS_ROLE_DIPPER) >= 9);
    CHECK_NEAR(bush_u_mm(PS_ROLE_LINK), 0.1, 1e-9);
    assert_true(pin_u_mm(PS_CODE_ARC_SHORT) >= 1.2);
    /* A weld's toe two thirds round, what was taken for the face's edge half round: 11 mm too large in two photos, with a band of 0.7. */
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_BUSH].arc_mean = 0.67, facts.rim[PS_ROLE_DIPPER][PS_EDGE_BUSH_FACE].arc_mean = 0.55;
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9);
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_BUSH].photos = 2;
    assert_true(bush_u_mm(PS_ROLE_DIPPER) >= 9);
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_BUSH_FACE].arc_mean = 0.7;
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9);
    /* Another toe 0.61 round outside a face's edge that is well seen: 1.5 mm too large. */
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_BUSH].arc_mean = 0.61, facts.rim[PS_ROLE_DIPPER][PS_EDGE_BUSH_FACE].arc_mean = 0.84;
    assert_true(bush_u_mm(PS_ROLE_DIPPER) >= 9);
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_BUSH].photos = 3;
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9);
}

/* What was taken for a taper 14 mm long may be a groove of the end, misplaced: then the end is at the pin's edge. */
static void a_taper_may_be_none(void **state) {
    (void)state;
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_PIN_FACE].height_mm = facts.rim[PS_ROLE_DIPPER][PS_EDGE_PIN].height_mm + 14;
    CHECK_NEAR(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_COUNT), 0.1, 1e-9);
    assert_true(2 * proud_u_mm(PS_ROLE_DIPPER, PS_CODE_PIN_TAPER) > 14);
}

/* A bush hardly told, near the plate, with its pin flush: it may be the boss about a bush, and the pin that bush, whose wall is some 8 to
 * 30 % of the pin (a flush pin's bush was taken for a pin of 110 mm, 18 mm too large at u 0.35). Each of the three alone is nothing odd. */
static void a_low_bush_hardly_told_may_be_a_boss(void **state) {
    (void)state;
    ps_measure_options options = ps_measure_options_default();
    ps_rim_fact *rim = facts.rim[PS_ROLE_DIPPER];
    input.options = &options;
    for (int without = 0; without < 4; without++) {
        ps_notes doubts = {0};
        input.pin[PS_ROLE_DIPPER].bush_doubts = (ps_notes){0};
        if (without != 1) ps_notes_add(&input.pin[PS_ROLE_DIPPER].bush_doubts, PS_CODE_BUSH_HIDDEN, "Made up.");
        rim[PS_EDGE_BUSH_FACE].height_mm = without == 2 ? 8 : 3, rim[PS_EDGE_BUSH].height_mm = rim[PS_EDGE_BUSH_FACE].height_mm - 2;
        rim[PS_EDGE_PIN_FACE].height_mm = rim[PS_EDGE_BUSH_FACE].height_mm + (without == 3 ? 14 : 4);
        rim[PS_EDGE_PIN].height_mm = rim[PS_EDGE_PIN_FACE].height_mm - 2;
        ps_gauge_doubts_pin(&input, &facts, PS_ROLE_DIPPER, &doubts);
        assert_int_equal(ps_gauge_may_be_bush(&input, &facts, PS_ROLE_DIPPER), without == 0);
        assert_int_equal(ps_notes_have(&doubts, PS_CODE_PIN_HIDDEN), without == 0);
        if (without == 0)
            assert_true(2 * pin_u_mm(PS_CODE_COUNT) > 18);
        else
            CHECK_NEAR(pin_u_mm(PS_CODE_COUNT), 0.1, 1e-9);
    }
}

/* Two looks took different bodies for the pins, 70 mm nearer: the distance is the one or the other. */
static void another_pair_of_bodies(void **state) {
    (void)state;
    ps_quantity q = {.value_mm = 100, .u_mm = 0.1};
    ps_gauge_widen_centres(&input, &q);
    CHECK_NEAR(q.u_mm, 0.1, 1e-12);
    input.centres_rival_mm = 70;
    ps_gauge_widen_centres(&input, &q);
    CHECK_NEAR(q.u_mm, hypot(0.1, 70 / sqrt(2)), 1e-9);
}

/* One photo, the end declared to stand 20 mm before the sheet (U 2): u is 0.9 of the centres' 1.0 by that, and the edge taken for the end
 * may be another one, 10 mm nearer or farther. */
static void one_photo_may_take_another_edge_for_the_end(void **state) {
    (void)state;
    ps_measure_options options = ps_measure_options_default();
    ps_notes sure = {0}, doubted = {0};
    ps_quantity q = {.value_mm = 300, .u_mm = 1};
    q.source_mm[PS_SOURCE_PLANE] = 0.9;
    input.options = &options;
    input.photos_used = 1;
    ps_notes_add(&sure, PS_CODE_LENS_UNKNOWN, "Made up.");
    ps_notes_add(&doubted, PS_CODE_PIN_CAP, "Made up.");
    ps_gauge_widen_end(&input, &doubted, &q); /* none declared: the height is wide as it is */
    CHECK_NEAR(q.u_mm, 1, 1e-12);
    for (int role = 0; role < PS_ROLE_COUNT; role++) options.standoff[role] = (ps_standoff){true, 20, 2};
    ps_gauge_widen_end(&input, &sure, &q);
    CHECK_NEAR(q.u_mm, 1, 1e-12);
    input.photos_used = 2;
    ps_gauge_widen_end(&input, &doubted, &q);
    CHECK_NEAR(q.u_mm, 1, 1e-12);
    input.photos_used = 1;
    ps_gauge_widen_end(&input, &doubted, &q); /* both ends 10 mm off, as each mm declared moves the value: 9 mm */
    CHECK_NEAR(q.u_mm, hypot(1, 9 / sqrt(2)), 1e-9);
}

/* Too little shows to tell pin from bush: the band reaches from one to the other, a third of the diameter. */
static void an_unread_end_may_be_any_circle(void **state) {
    (void)state;
    input.pin[PS_ROLE_DIPPER].unread = true;
    assert_true(2 * pin_u_mm(PS_CODE_COUNT) > 0.33 * 60);
    assert_true(2 * bush_u_mm(PS_ROLE_DIPPER) > 0.33 * 90);
    /* The bush's circles taken for the pin's: one 30 mm out of a bush was 19 mm off. */
    assert_true(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_COUNT) >= 0.18 * 60);
    reset(NULL);
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_CAP] = facts.rim[PS_ROLE_DIPPER][PS_EDGE_PIN];
    facts.rim[PS_ROLE_DIPPER][PS_EDGE_PIN].had = facts.rim[PS_ROLE_DIPPER][PS_EDGE_PIN_FACE].had = false;
    assert_true(2 * bush_u_mm(PS_ROLE_DIPPER) > 0.33 * 90); /* nor is there a pin to tell the bush by */
}

/* Another edge in some photos moves the common circle in part. */
static void an_edge_that_is_two_circles(void **state) {
    (void)state;
    input.pin[PS_ROLE_DIPPER].split = true;
    assert_true(pin_u_mm(PS_CODE_COUNT) > 0.5);
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9);
    input.pin[PS_ROLE_DIPPER].bush_split = true;
    assert_true(bush_u_mm(PS_ROLE_DIPPER) > 0.8);
}

/* Points of both edges of a chamfer 2 mm wide: an edge wholly the inner one would be 4 mm of diameter off. */
static void an_edge_mixed_with_its_chamfers_other(void **state) {
    (void)state;
    input.pin[PS_ROLE_DIPPER].mixed_mm = 2;
    CHECK_NEAR(pin_u_mm(PS_CODE_COUNT), hypot(0.1, 0.6), 1e-9);
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), 0.1, 1e-9);
    input.pin[PS_ROLE_DIPPER].bush_mixed_mm = 2;
    CHECK_NEAR(bush_u_mm(PS_ROLE_DIPPER), hypot(0.1, 0.6), 1e-9);
}

static void the_place_of_a_doubtful_end(void **state) {
    (void)state;
    assert_true(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_BUSH_HIDDEN) >= 1); /* a chamfer for the face */
    assert_true(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_PIN_DOME) >= 4);
    assert_true(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_PIN_TAPER) >= 4);
    ps_notes_add(&input.pin[PS_ROLE_DIPPER].doubts, PS_CODE_PIN_CAP, "An edge in front of the end.");
    assert_true(proud_u_mm(PS_ROLE_DIPPER, PS_CODE_COUNT) >= 4);
}

/* Photos that contradict each other and stay: values are then off by a good part of the need, whatever the adjustment says. */
static void unsettled_contradictions(void **state) {
    (void)state;
    static const ps_code code[] = {PS_CODE_FIT_BAD, PS_CODE_PIECE_MOVED, PS_CODE_PIECE_HELD, PS_CODE_PIECE_BENT, PS_CODE_OTHER_SCENE};
    ps_quantity q = {.value_mm = 300, .u_mm = 0.1};
    ps_gauge_widen_contradicted(&input, PS_SOURCE_PLANE, 1, &q);
    CHECK_NEAR(q.u_mm, 0.1, 1e-9);
    for (size_t i = 0; i < sizeof code / sizeof code[0]; i++) {
        input.doubts.count = 0;
        ps_notes_add(&input.doubts, code[i], "Made up.");
        q = (ps_quantity){.value_mm = 300, .u_mm = 0.1};
        ps_gauge_widen_contradicted(&input, PS_SOURCE_PLANE, 1, &q);
        assert_true(2 * q.u_mm > 0.6);
        CHECK_NEAR(q.source_mm[PS_SOURCE_PLANE], sqrt(q.u_mm * q.u_mm - 0.01), 1e-9);
    }
}

/* Two photos: what their edges are off by is wider by 2.776 / 2, the t's 97.5 % point of 4 degrees of freedom over the normal's 2. */
static void few_photos_widen_edges(void **state) {
    (void)state;
    static const double factor[] = {[1] = 3.1824 / 2, [2] = 2.7764 / 2, [3] = 1};
    for (int photos = 1; photos <= 3; photos++) {
        ps_quantity q = {.value_mm = 60, .u_mm = 0.1, .source_mm = {[PS_SOURCE_EDGE_SHIFT] = 0.08, [PS_SOURCE_PRINT_SCALE] = 0.06}};
        ps_gauge_widen_few(PS_KIND_PIN, photos, &q);
        CHECK_NEAR(q.source_mm[PS_SOURCE_EDGE_SHIFT], 0.08 * factor[photos], 1e-5);
        CHECK_NEAR(q.u_mm, hypot(0.06, 0.08 * factor[photos]), 1e-5);
        q.u_mm = 0.1;
        ps_gauge_widen_few(PS_KIND_CENTRES, photos, &q);
        CHECK_NEAR(q.u_mm, 0.1, 1e-12);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(no_doubt_adds_nothing, reset),
        cmocka_unit_test_setup(a_sunk_end_may_lie_deeper, reset),
        cmocka_unit_test_setup(a_rival_is_within_the_band, reset),
        cmocka_unit_test_setup(other_parts_grow_with_the_pin, reset),
        cmocka_unit_test_setup(the_higher_bush_may_be_a_collar, reset),
        cmocka_unit_test_setup(sizes_that_do_not_go_together, reset),
        cmocka_unit_test_setup(an_unread_end_may_be_any_circle, reset),
        cmocka_unit_test_setup(an_edge_that_is_two_circles, reset),
        cmocka_unit_test_setup(an_edge_mixed_with_its_chamfers_other, reset),
        cmocka_unit_test_setup(the_place_of_a_doubtful_end, reset),
        cmocka_unit_test_setup(few_photos_widen_edges, reset),
        cmocka_unit_test_setup(unsettled_contradictions, reset),
        cmocka_unit_test_setup(a_bush_may_stand_for_a_pin, reset),
        cmocka_unit_test_setup(a_bush_unlike_the_other, reset),
        cmocka_unit_test_setup(a_bush_without_a_pin, reset),
        cmocka_unit_test_setup(edges_in_pieces, reset),
        cmocka_unit_test_setup(a_taper_may_be_none, reset),
        cmocka_unit_test_setup(another_pair_of_bodies, reset),
        cmocka_unit_test_setup(a_low_bush_hardly_told_may_be_a_boss, reset),
        cmocka_unit_test_setup(one_photo_may_take_another_edge_for_the_end, reset),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
