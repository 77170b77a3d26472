/* Names, needs, nominal sizes, shaft limits. */
#include "check.h"

#include "pinspan/trade.h"

#include <string.h>

static void names(void **state) {
    (void)state;
    char name[40];
    ps_trade_name(PS_SIDE_ATTACHMENT, PS_KIND_GAP, PS_ROLE_DIPPER, name);
    assert_string_equal(name, "attachment.dipper.gap");
    ps_trade_name(PS_SIDE_MACHINE, PS_KIND_PIN, PS_ROLE_LINK, name);
    assert_string_equal(name, "machine.link.pin");
    ps_trade_name(PS_SIDE_MACHINE, PS_KIND_CENTRES, -1, name);
    assert_string_equal(name, "machine.centres");
    ps_trade_name(PS_SIDE_ATTACHMENT, PS_KIND_PROUD, PS_ROLE_LINK, name);
    assert_string_equal(name, "attachment.link.proud");
    ps_trade_name(PS_SIDE_ATTACHMENT, PS_KIND_BUSH, PS_ROLE_DIPPER, name);
    assert_string_equal(name, "attachment.dipper.bush");
}

/* docs/conventions.md, 'Verdicts, needs, uncertainty'. */
static void needs(void **state) {
    (void)state;
    const struct {
        ps_kind kind;
        double fixed, grab;
    } want[] = {{PS_KIND_PIN, 0.5, 0.5}, {PS_KIND_CENTRES, 1, 3}, {PS_KIND_GAP, 2, 2}, {PS_KIND_BUSH, 1, 1}, {PS_KIND_PROUD, 2, 2}};
    for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
        CHECK_NEAR(ps_trade_need_mm(want[i].kind, PS_COUPLER_FIXED), want[i].fixed, 0);
        CHECK_NEAR(ps_trade_need_mm(want[i].kind, PS_COUPLER_GRAB), want[i].grab, 0);
    }
    CHECK_NEAR(ps_trade_need_mm(PS_KIND_COUNT, PS_COUPLER_FIXED), 0, 0);
}

/* An inch is 25.4 mm exactly; labels say what the number is. */
static void sizes(void **state) {
    (void)state;
    double last = 0;
    for (int i = 0; i < ps_trade_size_count(); i++) {
        const ps_size *s = ps_trade_size(i);
        assert_true(s->size_mm > last);
        last = s->size_mm;
        int whole = 0, top = 0, bottom = 1;
        if (s->source == PS_SIZE_INCH) {
            if (sscanf(s->label, "%d %d/%d in", &whole, &top, &bottom) != 3) top = 0, bottom = 1;
            CHECK_NEAR(s->size_mm, 25.4 * (whole + (double)top / bottom), 1e-9);
            assert_non_null(strstr(s->label, " in"));
        } else {
            char label[24];
            (void)snprintf(label, sizeof label, "%.0f mm", s->size_mm);
            assert_string_equal(s->label, label);
        }
    }
    assert_null(ps_trade_size(-1));
    assert_null(ps_trade_size(ps_trade_size_count()));
}

static double probability(const ps_nominal_match *m, int n, const char *label) {
    for (int i = 0; i < n; i++)
        if (strcmp(m[i].label, label) == 0) return m[i].probability;
    return 0;
}

static void nominals(void **state) {
    (void)state;
    ps_nominal_match m[PS_NOMINALS_MAX];
    int n = ps_trade_nominals(64.93, 0.1, m);
    assert_true(n >= 1);
    assert_string_equal(m[0].label, "65 mm");
    CHECK_NEAR(m[0].size_mm, 65, 0);
    assert_true(m[0].probability > 0.95 && m[0].probability < 1); /* 'none of these' keeps a share */
    /* 2 3/4 in is 69.85 mm: beside 70 mm, no photo can tell them apart. */
    n = ps_trade_nominals(69.85, 0.1, m);
    double inch = probability(m, n, "2 3/4 in"), metric = probability(m, n, "70 mm");
    assert_true(inch > 0.2 && metric > 0.2 && inch + metric > 0.9);
    /* Nor with an exact value: wear and tolerance are in it. */
    n = ps_trade_nominals(69.85, 0.001, m);
    assert_true(probability(m, n, "2 3/4 in") > 0.2 && probability(m, n, "70 mm") > 0.2);
    /* Between sizes: none of these. */
    n = ps_trade_nominals(72.6, 0.1, m);
    assert_int_equal(n, 0);
    /* A wide band has many candidates, each weak, in falling order. */
    n = ps_trade_nominals(60, 10, m);
    assert_int_equal(n, PS_NOMINALS_MAX);
    for (int i = 0; i < n; i++) {
        assert_true(m[i].probability < 0.2);
        if (i) assert_true(m[i].probability <= m[i - 1].probability);
    }
    assert_int_equal(ps_trade_nominals(NAN, 0.1, m), 0);
    assert_int_equal(ps_trade_nominals(65, 0, m), 0);
    assert_int_equal(ps_trade_nominals(65, NAN, m), 0);
    assert_int_equal(ps_trade_nominals(-65, 0.1, m), 0);
}

/* Probabilities of all candidates and 'none' add up to one: never more, whatever the value. */
static void sums(void **state) {
    (void)state;
    ps_nominal_match m[PS_NOMINALS_MAX];
    for (double d = 15; d < 170; d += 0.37) {
        double sum = 0;
        int n = ps_trade_nominals(d, 0.15, m);
        for (int i = 0; i < n; i++) sum += m[i].probability;
        assert_true(sum >= 0 && sum < 1);
    }
}

/* ISO 286-2, as published: h11 of 50-80 mm is 0/-190 um. */
static void limits(void **state) {
    (void)state;
    CHECK_NEAR(ps_trade_shaft_limit_mm(70, "h11"), -0.190, 1e-12);
    CHECK_NEAR(ps_trade_shaft_limit_mm(50, "h9"), -0.062, 1e-12); /* 'over 30 up to and including 50' */
    CHECK_NEAR(ps_trade_shaft_limit_mm(50.8, "h9"), -0.074, 1e-12);
    CHECK_NEAR(ps_trade_shaft_limit_mm(120, "h6"), -0.022, 1e-12);
    CHECK_NEAR(ps_trade_shaft_limit_mm(45, "h7"), -0.025, 1e-12);
    assert_true(isnan(ps_trade_shaft_limit_mm(30, "h11")));
    assert_true(isnan(ps_trade_shaft_limit_mm(121, "h11")));
    assert_true(isnan(ps_trade_shaft_limit_mm(70, "f7")));
    assert_true(isnan(ps_trade_shaft_limit_mm(NAN, "h9")));
    assert_true(isnan(ps_trade_shaft_limit_mm(70, NULL)));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names),    cmocka_unit_test(needs), cmocka_unit_test(sizes),
        cmocka_unit_test(nominals), cmocka_unit_test(sums),  cmocka_unit_test(limits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
