/* What a photo has against the pins of the others (ps_job_accuse_fairly of src/gauge/agree.c), on the photos of testimages/small: the sheet
 * is said to lie elsewhere in one of them. Pins that can hardly be read accuse nobody. */
#include "check.h"

#include "measured_job.h"

enum { ODD = 0 };

static ps_code accused(void) {
    ps_code code;
    bool same;
    assert_int_equal(ps_job_accuse_fairly(f.ctx, &f.job, ODD, &code, &same), PS_OK);
    return code;
}

static void set_worth(double worth) {
    for (int p = 0; p < PS_ROLE_COUNT; p++) f.job.pins.pin[p].evidence.worth = worth;
}

static void only_pins_that_are_read_accuse(void **state) {
    (void)state;
    ps_sighting *s = &f.photo[ODD].sightings.piece[0];
    for (int i = 0; i < s->corner_count; i++) s->corner[i].x_px += 40; /* half a centimetre and more */
    assert_int_equal(accused(), PS_CODE_PIECE_MOVED);
    set_worth(PS_RIM_WORTH_LEAST + 0.01);
    assert_int_equal(accused(), PS_CODE_PIECE_MOVED);
    set_worth(PS_RIM_WORTH_LEAST - 0.01);
    assert_int_equal(accused(), PS_CODE_COUNT);
    f.job.pins.pin[PS_ROLE_LINK].evidence.worth = PS_RIM_WORTH_LEAST + 0.01; /* one is enough */
    assert_int_equal(accused(), PS_CODE_PIECE_MOVED);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(only_pins_that_are_read_accuse, measured_job_set_up, measured_job_take_down)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
