/* Which photos go together by what is read of pins from some and from each: each rule by what fits it and by what just does not. */
#include "check.h"

#include "gauge/hearing.h"

static const ps_heard none = {-1, 0};

static ps_heard one_pin(double worth) {
    return (ps_heard){-1, worth};
}
static ps_heard two_pins(double fainter, double clearer) {
    return (ps_heard){fainter, clearer};
}

static void test_odd_of_two(void **state) {
    (void)state;
    ps_hearing h = {.photos = 3, .without = {none, two_pins(2.8, 3.1), two_pins(1.6, 4)}};
    assert_int_equal(ps_hearing_odd_of_two(&h), 1);
    h.without[1] = one_pin(5); /* one pin is no agreement on two */
    assert_int_equal(ps_hearing_odd_of_two(&h), 2);
    h.without[2] = two_pins(PS_HEARD_LEAST, 4);
    assert_int_equal(ps_hearing_odd_of_two(&h), -1);
}

static void test_odd_one(void **state) {
    (void)state;
    ps_hearing h = {.photos = 3, .alone = {one_pin(2), one_pin(2), one_pin(1.2)}, .without = {none, none, one_pin(2.5)}};
    assert_int_equal(ps_hearing_odd(&h, 0), 2);
    assert_int_equal(ps_hearing_odd(&h, 2.6), -1); /* all photos together show as much */
    h.alone[2] = one_pin(0.9);                     /* a photo that shows no pin is not at odds with the others */
    assert_int_equal(ps_hearing_odd(&h, 0), -1);
    h.alone[2] = one_pin(1.2), h.without[0] = one_pin(1.2); /* between a pin and none: nothing plain */
    assert_int_equal(ps_hearing_odd(&h, 0), -1);
    h.without[0] = one_pin(2); /* either of two could be the one */
    assert_int_equal(ps_hearing_odd(&h, 0), -1);
}

static void test_nobody(void **state) {
    (void)state;
    ps_hearing h = {.photos = 3, .alone = {two_pins(1.1, 2), two_pins(1.4, 2), none}};
    for (int i = 0; i < 3; i++) h.without[i] = none;
    assert_true(ps_hearing_nobody(&h)); /* two photos show two pins each */
    h.alone[1] = two_pins(0.9, 1.9);
    assert_false(ps_hearing_nobody(&h));
    h.alone[1] = one_pin(2.1); /* a clear pin, and no photos together show any */
    assert_true(ps_hearing_nobody(&h));
    h.without[0] = one_pin(1.6); /* two photos do */
    assert_false(ps_hearing_nobody(&h));
    h.without[0] = none, h.all = 1.6;
    assert_false(ps_hearing_nobody(&h));
}

static void test_nobody_in_sum(void **state) {
    (void)state;
    ps_hearing h = {.photos = 3, .alone = {one_pin(1.5), one_pin(1.3), one_pin(1.3)}};
    for (int i = 0; i < 3; i++) h.without[i] = none;
    assert_true(ps_hearing_nobody(&h));
    h.alone[2] = one_pin(1.1); /* 3.9 in sum */
    assert_false(ps_hearing_nobody(&h));
    h.alone[0] = one_pin(3), h.alone[1] = one_pin(1.2), h.alone[2] = none; /* nearly all of it in one photo */
    assert_false(ps_hearing_nobody(&h));
}

static void test_dirt_shows_no_pin(void **state) {
    (void)state;
    ps_hearing h = {.photos = 2, .alone = {one_pin(1.4), none}};
    assert_false(ps_hearing_any_pin(&h));
    h.alone[1] = one_pin(1.5);
    assert_true(ps_hearing_any_pin(&h));
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_odd_of_two), cmocka_unit_test(test_odd_one), cmocka_unit_test(test_nobody),
                                       cmocka_unit_test(test_nobody_in_sum), cmocka_unit_test(test_dirt_shows_no_pin)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
