/* Very pins elsewhere (src/gauge/elsewhere.c): first in plain numbers, then on the photos of testimages/small, whose sheet is said to lie
 * elsewhere, or whose pins are said to be others. */
#include "check.h"

#include "gauge/elsewhere.h"
#include "measured_job.h"

#include <math.h>

enum { PHOTO = 1 };

/* ---- plain numbers ---- */

static ps_elsewhere both_found(double shift_mm, double off_plane_mm, double tilt_rad) {
    return (ps_elsewhere){.pin = {true, true},
                          .found = true,
                          .shown = 0.9,
                          .shift_mm = shift_mm,
                          .off_plane_mm = fabs(off_plane_mm),
                          .behind_mm = off_plane_mm,
                          .tilt_rad = tilt_rad};
}

static void a_slip_is_more_than_sound_photos_are_off(void **state) {
    (void)state;
    ps_elsewhere e = both_found(1.2, 0.3, 0.004), sound = both_found(0.3, 0.4, 0.005);
    ps_elsewhere_compare(&e, &sound);
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_PIECE_MOVED);
    e.shift_mm = 0.9; /* within four sd of what is off in honest photos */
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_NO_PIN);
    sound.shift_mm = 0.45; /* here photos are off by more */
    e.shift_mm = 1.2;
    ps_elsewhere_compare(&e, &sound);
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_NO_PIN);
    e = both_found(2.5, 0.3, 0.004); /* of no sound photo is known how far it is off */
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_NO_PIN);
    e.shift_mm = 3.1;
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_PIECE_MOVED);
    e.off_plane_mm = e.behind_mm = 4.6; /* farther across than along: it did not slip */
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_NO_PIN);
}

static void held_is_before_the_plate(void **state) {
    (void)state;
    ps_elsewhere e = both_found(20, 40, 0.1), sound = both_found(0.3, 0.4, 0.005);
    ps_elsewhere_compare(&e, &sound);
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_PIECE_HELD);
    e.behind_mm = -40;
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_OTHER_SCENE);
    sound.off_plane_mm = 9; /* then photos of this job tell nothing of planes */
    ps_elsewhere_compare(&e, &sound);
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_COUNT);
}

static void one_pin_tells_of_its_plane_only(void **state) {
    (void)state;
    ps_elsewhere e = both_found(20, 0.5, 0.01);
    e.pin[1] = false;
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_PIECE_MOVED);
    e.off_plane_mm = e.behind_mm = 4; /* looks as a smaller one does */
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_COUNT);
    e.found = false;
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_COUNT);
}

static void another_machine_has_neither_pin(void **state) {
    (void)state;
    ps_elsewhere e = {.pin = {true, true}, .shown = 0.3};
    assert_int_equal(ps_elsewhere_judge(&e, PS_CODE_PIECE_HELD, true), PS_CODE_OTHER_SCENE);
    assert_int_equal(ps_elsewhere_judge(&e, PS_CODE_PIECE_MOVED, true), PS_CODE_OTHER_SCENE);
    assert_int_equal(ps_elsewhere_judge(&e, PS_CODE_PIECE_MOVED, false), PS_CODE_COUNT); /* shows too little */
    assert_int_equal(ps_elsewhere_judge(&e, PS_CODE_NO_PIN, true), PS_CODE_NO_PIN);      /* circles are in place: blurred, or dirty */
    e.one_is_here = true;                                                                /* and the other is covered */
    assert_int_equal(ps_elsewhere_judge(&e, PS_CODE_OTHER_SCENE, true), PS_CODE_COUNT);
    e = (ps_elsewhere){.shown = 0}; /* pins that are not known: circles say what they can */
    assert_int_equal(ps_elsewhere_judge(&e, PS_CODE_PIECE_HELD, true), PS_CODE_PIECE_HELD);
}

/* ---- photos ---- */

/* The photo's view when its sheet lies so much elsewhere: turned about x and z through the pins' middle, and shifted, in the world. */
static ps_view view_beside(const double turn[3], const double shift_mm[3]) {
    ps_view view;
    ps_pose moved, back;
    double middle[3], turned[3];
    ps_adjust_view(f.job.solution, PHOTO, &view);
    for (int k = 0; k < 3; k++) middle[k] = 0.5 * (f.job.pins.pin[0].axis_point_mm[k] + f.job.pins.pin[1].axis_point_mm[k]);
    moved = (ps_pose){.t = {0, 0, 0}};
    ps_rotation_from_vector(turn, moved.R);
    ps_pose_apply(&moved, middle, turned);
    for (int k = 0; k < 3; k++) moved.t[k] = middle[k] - turned[k] + shift_mm[k];
    ps_pose_invert(&moved, &back);
    ps_view out = view;
    ps_pose_compose(&view.pose, &back, &out.pose);
    return out;
}

static ps_pins_shown usual_of_photos(void) {
    ps_pins_shown sum = {{0}};
    for (int k = 0; k < FILES; k++) {
        ps_view view;
        ps_pins_shown one;
        ps_adjust_view(f.job.solution, k, &view);
        assert_int_equal(ps_pins_show(f.ctx, &f.photo[k].photo.luma, &view, &f.job.pins, &one), PS_OK);
        for (int p = 0; p < PS_ROLE_COUNT; p++) sum.share[p] += one.share[p] / FILES;
    }
    return sum;
}

/* As what the circles that the photo shows so tell of these pins, and its edges then. */
static ps_elsewhere sought(const ps_view *view, const ps_pin_models *pins, const ps_pins_shown *usual) {
    ps_rim_mask masks[PS_ADJUST_PIECES_MAX];
    ps_rim_candidates c = {.count = 0};
    ps_circles_fit fit;
    ps_circles_guesses guesses;
    ps_elsewhere e;
    ps_stand stand = ps_stand_of(view);
    assert_int_equal(ps_rim_propose(f.ctx, &f.photo[PHOTO].photo.luma, view, masks, ps_job_masks(&f.job, masks), &c), PS_OK);
    ps_circles_seek(&c, &stand, pins, &fit, &guesses);
    ps_rim_candidates_clear(&c);
    assert_int_equal(ps_elsewhere_seek(f.ctx, &f.photo[PHOTO].photo.luma, view, pins, usual, &guesses, &e), PS_OK);
    return e;
}

static ps_elsewhere sought_in_place(const ps_pin_models *pins, const ps_pins_shown *usual) {
    const double none[3] = {0, 0, 0};
    ps_view view = view_beside(none, none);
    return sought(&view, pins, usual);
}

static ps_elsewhere sought_beside(const double turn[3], const double shift_mm[3]) {
    ps_view view = view_beside(turn, shift_mm);
    ps_pins_shown usual = usual_of_photos();
    ps_elsewhere e = sought(&view, &f.job.pins, &usual), sound = both_found(0.2, 0.3, 0.003);
    ps_elsewhere_compare(&e, &sound);
    return e;
}

static void sheets_are_found_where_they_lie(void **state) {
    (void)state;
    const double none[3] = {0, 0, 0}, bump[3] = {1.2, -1.0, 0}, turn[3] = {0, 0, 0.1}, shift[3] = {25, -14, 0};
    ps_elsewhere e = sought_beside(none, none);
    assert_true(e.found && e.shift_mm < 0.3);
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_NO_PIN);
    e = sought_beside(none, bump);
    assert_true(e.found && e.off_plane_mm < 1);
    assert_float_equal(e.shift_mm, 1.56, 0.25);
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_PIECE_MOVED);
    e = sought_beside(turn, shift);
    assert_true(e.found && e.tilt_rad < 0.02);
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_PIECE_MOVED);
}

/* Before the plate and tilted, as in a hand. */
static void a_held_sheet_is_before_them(void **state) {
    (void)state;
    const double turn[3] = {0.05, 0.07, 0.05}, back[3] = {8, -6, 30};
    ps_elsewhere e = sought_beside(turn, back);
    assert_true(e.found);
    assert_float_equal(e.tilt_rad, hypot(turn[0], turn[1]), 0.03);
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_PIECE_HELD);
}

/* A circle tells no turn about itself. One pin alone is found beside a held sheet all the same, where it stands: as far from where the
 * sheet has it as the sheet was moved. (Left free, the turn runs away with the motion.) */
static void one_pin_is_found_beside_a_held_sheet(void **state) {
    (void)state;
    static const double place_mm = 1; /* three sd of a pin across its plane, on photos of this size */
    static const double turn[3][3] = {{0.05, 0.07, 0.05}, {-0.05, 0.07, -0.1}, {0.06, -0.05, 0.1}}, back[3] = {8, -6, 30};
    ps_pins_shown usual = usual_of_photos();
    usual.share[0] = 0.35; /* the other is hardly known */
    for (int k = 0; k < 3; k++) {
        ps_view honest, view = view_beside(turn[k], back);
        ps_pose sheet, moved;
        double is[3];
        ps_adjust_view(f.job.solution, PHOTO, &honest);
        ps_pose_invert(&view.pose, &sheet);
        ps_pose_compose(&sheet, &honest.pose, &moved); /* where the sheet has it to where it is */
        ps_pose_apply(&moved, f.job.pins.pin[1].axis_point_mm, is);
        ps_elsewhere e = sought(&view, &f.job.pins, &usual);
        assert_true(e.found && !e.pin[0] && e.pin[1]);
        assert_float_equal(e.behind_mm, is[2] - f.job.pins.pin[1].axis_point_mm[2], place_mm);
        assert_int_equal(ps_elsewhere_name(&e), PS_CODE_COUNT); /* looks as a larger or smaller one does */
    }
}

/* Pins a tenth larger and nearer to each other: some circles are always found for those, and never their edges. */
static void pins_of_another_machine_are_nowhere(void **state) {
    (void)state;
    ps_pins_shown usual = usual_of_photos();
    for (int k = 0; k < 4; k++) {
        double larger = k % 2 ? 1.1 : 0.88, apart = k < 2 ? 0.94 : 1.06;
        ps_pin_models other = f.job.pins;
        for (int p = 0; p < PS_ROLE_COUNT; p++) {
            const double *beside = f.job.pins.pin[1 - p].axis_point_mm;
            for (int x = 0; x < 2; x++) other.pin[p].axis_point_mm[x] += 0.5 * (apart - 1) * (other.pin[p].axis_point_mm[x] - beside[x]);
            for (int r = 0; r < other.pin[p].rim_count; r++) other.pin[p].rim[r].radius_mm *= larger;
        }
        ps_elsewhere e = sought_in_place(&other, &usual);
        assert_true(e.pin[0] && e.pin[1]);
        assert_false(e.found);
        assert_int_equal(ps_elsewhere_name(&e), PS_CODE_OTHER_SCENE);
    }
}

/* One pin by itself in place: the photo is of this machine, whatever covers the other. */
static void a_pin_in_place_is_no_other_machine(void **state) {
    (void)state;
    ps_pins_shown usual = usual_of_photos();
    ps_pin_models half = f.job.pins;
    for (int r = 0; r < half.pin[0].rim_count; r++) half.pin[0].rim[r].radius_mm *= 0.8;
    ps_elsewhere e = sought_in_place(&half, &usual);
    assert_false(e.found);
    assert_true(e.one_is_here);
    assert_int_equal(ps_elsewhere_name(&e), PS_CODE_COUNT);
}

/* A pin of which sound photos show little is not asked for. */
static void a_pin_that_hardly_shows_is_not_known(void **state) {
    (void)state;
    ps_pins_shown usual = usual_of_photos();
    usual.share[0] = 0.35;
    ps_elsewhere e = sought_in_place(&f.job.pins, &usual);
    assert_true(!e.pin[0] && e.pin[1] && e.found);
    usual.share[1] = 0.35;
    e = sought_in_place(&f.job.pins, &usual);
    assert_false(e.pin[0] || e.pin[1] || e.found);
}

/* ---- who is asked ---- */

static void two_odd_edges_make_a_photo_mute(void **state) {
    (void)state;
    ps_rim_traces *t = &f.photo[PHOTO].traces;
    assert_true(t->count >= 2);
    assert_false(ps_job_mute(&f.job, PHOTO));
    t->trace[0].odd = true;
    assert_false(ps_job_mute(&f.job, PHOTO));
    t->trace[1].odd = true;
    assert_true(ps_job_mute(&f.job, PHOTO));
    t->trace[0].odd = t->trace[1].odd = false;
}

/* That no rim was traced in a photo is no reason to lose it when all begins anew. */
static void no_photo_is_lost(void **state) {
    (void)state;
    const bool none[FILES] = {false};
    f.photo[PHOTO].status = PS_NOT_FOUND;
    assert_int_equal(ps_job_cameras_anew(f.ctx, &f.job, none), PS_OK);
    assert_int_equal(f.job.problem.photo_count, FILES);
    assert_true(f.photo[PHOTO].adjust_index >= 0);
}

int main(void) {
    const struct CMUnitTest plain[] = {cmocka_unit_test(a_slip_is_more_than_sound_photos_are_off),
                                       cmocka_unit_test(held_is_before_the_plate), cmocka_unit_test(one_pin_tells_of_its_plane_only),
                                       cmocka_unit_test(another_machine_has_neither_pin)};
    const struct CMUnitTest photos[] = {cmocka_unit_test(sheets_are_found_where_they_lie),
                                        cmocka_unit_test(a_held_sheet_is_before_them),
                                        cmocka_unit_test(one_pin_is_found_beside_a_held_sheet),
                                        cmocka_unit_test(pins_of_another_machine_are_nowhere),
                                        cmocka_unit_test(a_pin_in_place_is_no_other_machine),
                                        cmocka_unit_test(a_pin_that_hardly_shows_is_not_known),
                                        cmocka_unit_test(two_odd_edges_make_a_photo_mute),
                                        cmocka_unit_test(no_photo_is_lost)}; /* last: nothing is measured after it */
    int failed = cmocka_run_group_tests(plain, NULL, NULL);
    return failed + cmocka_run_group_tests(photos, measured_job_set_up, measured_job_take_down);
}
