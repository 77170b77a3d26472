/* A reading by hand: limits of tapes, identities of centre distances, combining. */
#include "check.h"

#include <string.h>

#include "forms/combine.h"

static const double exact = 1e-9; /* mm; plain arithmetic on doubles */

/* Directive 2014/32/EU, annex X, MI-008: a + b L with L in whole metres rounded up; class I 0.1 and 0.1, II 0.3 and 0.2, III 0.6 and
 * 0.4. Figures from memory. */
static void test_tape_limits(void **state) {
    (void)state;
    CHECK_NEAR(ps_tape_limit_mm(2, 449), 0.5, exact);
    CHECK_NEAR(ps_tape_limit_mm(2, 1000), 0.5, exact);
    CHECK_NEAR(ps_tape_limit_mm(2, 1001), 0.7, exact);
    CHECK_NEAR(ps_tape_limit_mm(2, 5000), 1.3, exact);
    CHECK_NEAR(ps_tape_limit_mm(1, 2000), 0.3, exact);
    CHECK_NEAR(ps_tape_limit_mm(3, 300), 1.0, exact);
    assert_true(isnan(ps_tape_limit_mm(4, 300)) && isnan(ps_tape_limit_mm(2, 0)));
}

static ps_forms_reading reading(ps_kind kind, ps_forms_way way, double mm) {
    return (ps_forms_reading){.kind = kind,
                              .role = kind == PS_KIND_CENTRES ? -1 : 0,
                              .value_mm = mm,
                              .step_mm = 0.1,
                              .way = way,
                              .instrument = PS_INSTRUMENT_TAPE,
                              .instrument_given = true,
                              .shim_mm = NAN};
}

/* Two circles on a line, 400 apart, radii 32.5 and 25: the distances of their edges, worked out on paper. */
static void test_ways(void **state) {
    (void)state;
    static const struct {
        ps_forms_way way;
        double read;
    } row[] = {{PS_WAY_CENTRES, 400}, {PS_WAY_INSIDE, 342.5}, {PS_WAY_OUTSIDE, 457.5}, {PS_WAY_FRONTS, 407.5}, {PS_WAY_BACKS, 392.5}};
    ps_side_facts f = {.centres = {true, 400, 0.1, 0.1}};
    const ps_fact pin[2] = {{true, 65, 0.1, 0}, {true, 50, 0.1, 0}}, none[2] = {{0}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        ps_forms_reading r = reading(PS_KIND_CENTRES, row[i].way, row[i].read);
        ps_turned t;
        CHECK_NEAR(ps_reading_expected(&f, pin, PS_KIND_CENTRES, -1, row[i].way, false).mm, row[i].read, exact);
        assert_true(ps_reading_turn(&r, &f, pin, &t));
        CHECK_NEAR(t.mm, 400, exact);
        /* Without the pins only the centres themselves can be told. */
        assert_int_equal(ps_reading_turn(&r, &f, none, &t), row[i].way == PS_WAY_CENTRES);
    }
}

/* 300, 400, 500. */
static void test_diagonal(void **state) {
    (void)state;
    ps_side_facts f = {.centres = {true, 400, 0.1, 0}, .rise = {true, -300, 1, 0}};
    const ps_fact pin[2] = {{true, 65, 0.1, 0}, {true, 50, 0.1, 0}};
    ps_expected e = ps_reading_expected(&f, pin, PS_KIND_CENTRES, -1, PS_WAY_CENTRES, true);
    CHECK_NEAR(e.mm, 500, exact);
    CHECK_NEAR(e.own_mm, hypot(0.8 * 0.1, 0.6 * 1), exact);
    f.rise.mm = 30;
    ps_forms_reading r = reading(PS_KIND_CENTRES, PS_WAY_CENTRES, hypot(400, 30));
    r.place = PS_PLACE_ENDS;
    ps_turned t;
    assert_true(ps_reading_turn(&r, &f, pin, &t));
    CHECK_NEAR(t.mm, 400, exact);
    CHECK_NEAR(t.by_rise, -30 / 400.0, exact);
    r.place = PS_PLACE_PLATE; /* lay parallel to the plate: nothing to correct */
    assert_true(ps_reading_turn(&r, &f, pin, &t));
    CHECK_NEAR(t.mm, hypot(400, 30), exact);
    r.value_mm = 50, r.place = PS_PLACE_ENDS; /* shorter than the pins' heights allow */
    assert_false(ps_reading_turn(&r, &f, pin, &t));
}

static void test_gap(void **state) {
    (void)state;
    ps_side_facts f = {.standout = {{true, 7, 1, 0}, {0}}, .gap = {{true, 300, 0.5, 0}, {0}}};
    const ps_fact pin[2] = {{0}};
    ps_forms_reading r = reading(PS_KIND_GAP, PS_WAY_EAR_PLATES, 314);
    ps_turned t;
    assert_true(ps_reading_turn(&r, &f, pin, &t));
    CHECK_NEAR(t.mm, 300, exact);
    CHECK_NEAR(t.extra_u_mm, 2, exact);
    r = reading(PS_KIND_GAP, PS_WAY_BUSH_FACES, 295);
    r.shims = PS_SHIMS_IN, r.shim_mm = 5;
    assert_true(ps_reading_turn(&r, &f, pin, &t));
    CHECK_NEAR(t.mm, 300, exact);
    CHECK_NEAR(t.extra_u_mm, 0, exact);
    r.shim_mm = NAN; /* unknown shims: a guess, and a band for it */
    assert_true(ps_reading_turn(&r, &f, pin, &t) && t.extra_u_mm > 1);
    /* A width over a boss says nothing of a gap between faces. */
    assert_true(ps_reading_expected(&f, pin, PS_KIND_GAP, 0, PS_WAY_BUSH_FACES, false).had);
    assert_false(ps_reading_expected(&f, pin, PS_KIND_GAP, 0, PS_WAY_OVER, false).had);
}

static void test_u(void **state) {
    (void)state;
    ps_forms_reading r = reading(PS_KIND_CENTRES, PS_WAY_INSIDE, 400);
    double close = ps_reading_u(&r);
    CHECK_NEAR(ps_reading_u_common(&r), 0.5 / sqrt(3), exact); /* rectangular, JCGM 100, 4.3.7 */
    r.step_mm = 10;
    assert_true(ps_reading_u(&r) > 10 / sqrt(12.0) && ps_reading_u(&r) > close);
    r.step_mm = 0.1, r.way = PS_WAY_CENTRES;
    assert_true(ps_reading_u(&r) > close); /* centres are judged by eye */
    r.way = PS_WAY_INSIDE, r.instrument_given = false;
    assert_true(ps_reading_u(&r) > close);
    r = reading(PS_KIND_PIN, PS_WAY_DIAMETER, 65);
    double tape = ps_reading_u(&r);
    r.instrument = PS_INSTRUMENT_CALIPERS;
    assert_true(ps_reading_u(&r) < 0.5 * tape);
}

/* Two independent values: the weighted mean of every textbook. Correlated ones: w1 = (u2^2 - c) / (u1^2 + u2^2 - 2c). */
static void test_combine(void **state) {
    (void)state;
    ps_estimate e[2] = {{.mm = 400}, {.mm = 401}};
    double mm, u, w[2];
    e[0].by_mm[PS_CAUSE_PHOTO] = 0.3, e[1].by_mm[PS_CAUSE_READING] = 0.6;
    assert_true(ps_estimate_combine(e, 2, &mm, &u, w));
    CHECK_NEAR(mm, 400.2, exact);
    CHECK_NEAR(u, 0.3 * 0.6 / hypot(0.3, 0.6), exact);
    CHECK_NEAR(ps_estimate_u_difference(&e[0], &e[1]), hypot(0.3, 0.6), exact);
    e[0].by_mm[PS_CAUSE_SCALE] = 0.4, e[1].by_mm[PS_CAUSE_SCALE] = 0.1;
    double a = 0.25, b = 0.37, c = 0.04, w1 = (b - c) / (a + b - 2 * c);
    assert_true(ps_estimate_combine(e, 2, &mm, &u, w));
    CHECK_NEAR(w[0], w1, exact);
    CHECK_NEAR(u * u, (a * b - c * c) / (a + b - 2 * c), exact);
    CHECK_NEAR(ps_estimate_u_difference(&e[0], &e[1]), sqrt(a + b - 2 * c), exact);
    assert_false(ps_estimate_combine(e, 0, &mm, &u, NULL));
    memset(e, 0, sizeof e); /* no uncertainty at all cannot be weighed */
    assert_false(ps_estimate_combine(e, 2, &mm, &u, NULL));
}

/* Inner and outer edges: their mean is free of the pins' diameters, whatever these are taken for. */
static void test_inner_and_outer(void **state) {
    (void)state;
    ps_side_facts f = {0};
    double mm[2], u;
    for (int k = 0; k < 2; k++) {
        const ps_fact pin[2] = {{true, 65 + 4 * k, 5, 0}, {true, 50, 5, 0}}; /* hardly known */
        ps_forms_reading r[2] = {reading(PS_KIND_CENTRES, PS_WAY_INSIDE, 342.5), reading(PS_KIND_CENTRES, PS_WAY_OUTSIDE, 457.5)};
        ps_estimate e[2];
        for (int i = 0; i < 2; i++) assert_true(ps_estimate_reading(&r[i], i, &f, pin, &e[i]));
        assert_true(ps_estimate_combine(e, 2, &mm[k], &u, NULL));
        assert_true(u < 0.6 && ps_estimate_u(&e[0]) > 3);
    }
    static const double by_weights_mm = 0.01; /* placing grows with nothing, but weights stop just short of one half */
    CHECK_NEAR(mm[0], 400, by_weights_mm);
    CHECK_NEAR(mm[1], 400, by_weights_mm);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_tape_limits),
                                       cmocka_unit_test(test_ways),
                                       cmocka_unit_test(test_diagonal),
                                       cmocka_unit_test(test_gap),
                                       cmocka_unit_test(test_u),
                                       cmocka_unit_test(test_combine),
                                       cmocka_unit_test(test_inner_and_outer)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
