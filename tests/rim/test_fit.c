/* Geometric fits against Gander, Golub & Strebel, Least-squares fitting of circles and ellipses, BIT 34 (1994). */
#include <string.h>

#include "check.h"
#include "pinspan/rim.h"

static const double PI = 3.14159265358979323846;

/* The paper's points (quoted from memory); figures to seven digits, from an independent minimisation of the same sums. */
static const double points[8][2] = {{1, 7}, {2, 6}, {5, 8}, {7, 7}, {9, 5}, {3, 7}, {6, 2}, {8, 4}};
static const double SIX_DECIMALS = 0.6e-6;

static void test_published_circle(void **state) {
    (void)state;
    double centre[2], radius, rms;
    assert_int_equal(ps_circle_fit(NULL, points, 6, centre, &radius, &rms), PS_OK);
    CHECK_NEAR(centre[0], 4.739782, SIX_DECIMALS);
    CHECK_NEAR(centre[1], 2.983533, SIX_DECIMALS);
    CHECK_NEAR(radius, 4.714226, SIX_DECIMALS);
    CHECK_NEAR(rms * rms * 6, 1.227599, SIX_DECIMALS);
}

static void test_published_ellipse(void **state) {
    (void)state;
    ps_ellipse e;
    double rms;
    assert_int_equal(ps_ellipse_fit(NULL, points, 8, &e, &rms), PS_OK);
    CHECK_NEAR(e.cx, 2.699612, SIX_DECIMALS);
    CHECK_NEAR(e.cy, 3.815957, SIX_DECIMALS);
    CHECK_NEAR(e.a, 6.518722, SIX_DECIMALS);
    CHECK_NEAR(e.b, 3.031886, SIX_DECIMALS);
    CHECK_NEAR(e.angle, .3596, 0.5e-4);
    CHECK_NEAR(rms * rms * 8, 1.373306, SIX_DECIMALS);
}

/* A generator of our own, so that every platform sees the same errors: sum of 12 uniform numbers, sd 1. */
static double normal(uint64_t *seed) {
    double sum = -6;
    for (int i = 0; i < 12; i++) {
        *seed = *seed * 6364136223846793005u + 1442695040888963407u;
        sum += (double)(*seed >> 11) / 9007199254740992.0;
    }
    return sum;
}

enum { POINTS = 200 };
/* Points of an arc of e, from the long axis' end on, each with errors of sd both ways. */
static void arc(const ps_ellipse *e, double degrees, double sd, uint64_t *seed, double (*x)[2]) {
    for (int i = 0; i < POINTS; i++) {
        double t = degrees * PI / 180 * (i + 0.5) / POINTS, u = e->a * cos(t), v = e->b * sin(t), c = cos(e->angle), s = sin(e->angle);
        x[i][0] = e->cx + c * u - s * v + sd * normal(seed);
        x[i][1] = e->cy + s * u + c * v + sd * normal(seed);
    }
}

static void test_exact_points(void **state) {
    (void)state;
    const ps_ellipse given[3] = {{2000, 1500, 120, 100, 0.7}, {1000, 800, 90, 20, -1.2}, {500, 700, 80, 80, 0}};
    const double degrees[3] = {360, 200, 120};
    uint64_t seed = 1;
    for (int k = 0; k < 3; k++)
        for (int d = 0; d < 3; d++) {
            double x[POINTS][2], rms, centre[2], radius;
            ps_ellipse e;
            arc(&given[k], degrees[d], 0, &seed, x);
            assert_int_equal(ps_ellipse_fit(NULL, (const double(*)[2])x, POINTS, &e, &rms), PS_OK);
            /* Pixels near 2000 carry 2e-13; a third of the round multiplies that by about 1000. */
            CHECK_NEAR(e.cx, given[k].cx, 1e-8);
            CHECK_NEAR(e.cy, given[k].cy, 1e-8);
            CHECK_NEAR(e.a, given[k].a, 1e-8);
            CHECK_NEAR(e.b, given[k].b, 1e-8);
            if (k < 2) CHECK_NEAR(e.angle, given[k].angle, 1e-9);
            CHECK_NEAR(rms, 0, 1e-10);
            if (k < 2) continue;
            assert_int_equal(ps_circle_fit(NULL, (const double(*)[2])x, POINTS, centre, &radius, &rms), PS_OK);
            CHECK_NEAR(radius, 80, 1e-8);
        }
}

static void test_spread_of_fits(void **state) {
    (void)state;
    /* Centre and diameter sd in units of edge sd / sqrt(n): 1.4 and 2.0 for the whole round of a circle (textbook). An
     * edge error both ways has the one sd along the normal. 400 trials know an sd to 3.5 %; 4 of these are allowed. */
    enum { TRIALS = 400 };
    const ps_ellipse round = {1000, 700, 100, 100, 0};
    uint64_t seed = 7;
    double x[POINTS][2], sum[4] = {0}, unit = 0.2 / sqrt(POINTS);
    for (int t = 0; t < TRIALS; t++) {
        double centre[2], radius, rms;
        ps_ellipse e;
        arc(&round, 360, 0.2, &seed, x);
        assert_int_equal(ps_circle_fit(NULL, (const double(*)[2])x, POINTS, centre, &radius, &rms), PS_OK);
        assert_int_equal(ps_ellipse_fit(NULL, (const double(*)[2])x, POINTS, &e, &rms), PS_OK);
        sum[0] += pow(centre[0] - 1000, 2);
        sum[1] += pow(2 * (radius - 100), 2);
        sum[2] += pow(e.cx - 1000, 2);
        sum[3] += pow(e.a + e.b - 200, 2);
    }
    const double expected[4] = {sqrt(2), 2, sqrt(2), 2};
    for (int k = 0; k < 4; k++) CHECK_NEAR(sqrt(sum[k] / TRIALS) / unit, expected[k], 0.14 * expected[k]);
}

static void test_short_arcs_are_refused(void **state) {
    (void)state;
    const ps_ellipse oblique = {1000, 700, 120, 100, 0.6}, round = {1000, 700, 100, 100, 0};
    uint64_t seed = 3;
    int refused = 0, given = 0;
    for (int t = 0; t < 40; t++) {
        double x[POINTS][2], centre[2] = {-1, -1}, radius = -1, rms = -1;
        ps_ellipse e = {.cx = -1};
        arc(&oblique, 15 + t, 0.2, &seed, x);
        assert_int_equal(ps_ellipse_fit(NULL, (const double(*)[2])x, POINTS, &e, &rms), PS_SINGULAR);
        CHECK_NEAR(e.cx, -1, 0); /* outputs unchanged */
        /* A circle of 15 to 54 degrees is weak but there; what is given must be the right size within 5 of the 5 % that
         * the limit allows as sd. */
        arc(&round, 15 + t, 0.2, &seed, x);
        ps_status s = ps_circle_fit(NULL, (const double(*)[2])x, POINTS, centre, &radius, &rms);
        refused += s == PS_SINGULAR;
        given += s == PS_OK;
        if (s == PS_OK) CHECK_NEAR(radius, 100, 25);
        arc(&round, 6, 0.2, &seed, x);
        assert_int_equal(ps_circle_fit(NULL, (const double(*)[2])x, POINTS, centre, &radius, &rms), PS_SINGULAR);
    }
    assert_int_equal(refused + given, 40);
    assert_true(given > 30);
}

static void test_degenerate(void **state) {
    (void)state;
    const double line[6][2] = {{0, 0}, {1, 2}, {2, 4}, {3, 6}, {4, 8}, {5, 10}},
                 same[6][2] = {{1, 1}, {1, 1}, {1, 1}, {1, 1}, {1, 1}, {1, 1}};
    const double bad[6][2] = {{0, 0}, {1, 0}, {NAN, 1}, {0, 1}, {2, 2}, {3, 1}};
    const double(*const sets[3])[2] = {line, same, bad};
    ps_context *ctx = ps_context_new();
    double centre[2], radius, rms;
    ps_ellipse e;
    for (int k = 0; k < 3; k++) {
        assert_int_equal(ps_circle_fit(ctx, sets[k], 6, centre, &radius, &rms), PS_SINGULAR);
        assert_true(strlen(ps_context_message(ctx)) > 0);
        assert_int_equal(ps_ellipse_fit(ctx, sets[k], 6, &e, &rms), PS_SINGULAR);
    }
    assert_int_equal(ps_circle_fit(ctx, points, 2, centre, &radius, &rms), PS_SINGULAR);
    assert_int_equal(ps_ellipse_fit(ctx, points, 4, &e, &rms), PS_SINGULAR);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published_circle), cmocka_unit_test(test_published_ellipse),      cmocka_unit_test(test_exact_points),
        cmocka_unit_test(test_spread_of_fits),   cmocka_unit_test(test_short_arcs_are_refused), cmocka_unit_test(test_degenerate),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
