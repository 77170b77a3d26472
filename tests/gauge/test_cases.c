/* Pin ends whose naive reading gives a wrong diameter, the whole way from JPEG files to dimensions: rendered with exactly known sizes
 * (invented, small pins at the 6 px a mm that a phone has of larger ones, no EXIF). docs/reading.md lists which guard each case is for,
 * and the tests of plain numbers beside these. */
#include "check.h"

#include <stdlib.h>
#include <string.h>

#include "pinspan/measure.h"

#include "find.h"
#include "pin_files.h"

/* As in test_measure.c: the stated edge shift of 0.15 px, twice that on a diameter, is 0.05 mm, noise and corners add less. */
static const double DIAMETER_MM = 0.1;

static pin_files photos;
static pin_shape link_end, dipper_end; /* of the case at hand */

static int set_up(void **state) {
    (void)state;
    return pin_files_make(&photos, PIN_PHOTOS);
}

static int take_down(void **state) {
    (void)state;
    return pin_files_remove(&photos);
}

/* Two plain ends, to be changed by the case. */
static void start_case(void) {
    link_end = pin_files_link(16), dipper_end = pin_files_dipper(17);
}

static double truth_of(const char *dimension) {
    const pin_shape *end = strstr(dimension, "link") ? &link_end : &dipper_end;
    if (strstr(dimension, ".pin")) return 2 * end->pin_r;
    if (strstr(dimension, ".bush")) return 2 * end->bush_r;
    if (strstr(dimension, ".proud")) return end->face_h - end->bush_h;
    return hypot(link_end.x - dipper_end.x, link_end.y - dipper_end.y);
}

static void show(const ps_dimension *d) {
    print_message("%-24s %+6.2f U %.2f verdict %d:", d->name, d->value_mm - truth_of(d->name), d->U_mm, d->verdict);
    for (int k = 0; k < d->reasons.count; k++) print_message(" %s", ps_code_word(d->reasons.note[k].code));
    print_message("\n");
}

/* Whatever the case: nothing good is wrong. */
static ps_record measure(void) {
    static const int place[PIN_PHOTOS] = {0, 1, 2};
    ps_measure_options o = pin_files_checked(2);
    pin_scene scene = pin_files_scene(link_end, dipper_end);
    ps_record r = {0};
    pin_files_photos(&photos, &scene, place);
    assert_int_equal(ps_measure(NULL, &o, photos.file, PIN_PHOTOS, &r), PS_OK);
    for (int i = 0; i < r.dimension_count; i++) {
        const ps_dimension *d = &r.dimension[i];
        if (d->kind == PS_KIND_GAP) continue;
        if (getenv("PIN_SHOW")) show(d);
        if (d->verdict == PS_VERDICT_GOOD && fabs(d->value_mm - truth_of(d->name)) > d->need_mm) {
            show(d);
            fail_msg("%s is good and wrong", d->name);
        }
    }
    return r;
}

/* Not good, and for this reason; with a value its band holds the truth. */
static void check_doubted(const ps_record *r, const char *dimension, ps_code code) {
    const ps_dimension *d = job_find(r, dimension);
    assert_non_null(d);
    if (d->verdict == PS_VERDICT_GOOD || !ps_notes_have(&d->reasons, code)) {
        show(d);
        fail_msg("%s lacks %s", dimension, ps_code_word(code));
    }
}

static void check_held(const ps_record *r, const char *dimension) {
    const ps_dimension *d = job_find(r, dimension);
    assert_non_null(d);
    if (d->verdict != PS_VERDICT_MISSING) CHECK_NEAR(d->value_mm, truth_of(dimension), d->U_mm);
}

static void check_good(const ps_record *r, const char *dimension) {
    const ps_dimension *d = job_find(r, dimension);
    assert_non_null(d);
    if (d->verdict != PS_VERDICT_GOOD) show(d);
    assert_int_equal(d->verdict, PS_VERDICT_GOOD);
    CHECK_NEAR(d->value_mm, truth_of(dimension), DIAMETER_MM);
}

/* The edge where a dome begins is the pin's. */
static void dome_with_an_edge(void **state) {
    (void)state;
    start_case();
    link_end.dome = 4, link_end.chamfer = 0;
    dipper_end.dome = 6, dipper_end.chamfer = 0;
    ps_record r = measure();
    check_doubted(&r, "attachment.link.pin", PS_CODE_PIN_DOME);
    check_doubted(&r, "attachment.dipper.pin", PS_CODE_PIN_DOME);
    CHECK_NEAR(job_find(&r, "attachment.link.pin")->value_mm, 2 * link_end.pin_r, DIAMETER_MM);
    CHECK_NEAR(job_find(&r, "attachment.dipper.pin")->value_mm, 2 * dipper_end.pin_r, DIAMETER_MM);
    ps_record_clear(&r);
}

/* Two grooves of a rounded end look like a chamfer's two edges: read so, the pin comes out a millimetre small. */
static void rounded_dome_with_grooves(void **state) {
    (void)state;
    start_case();
    link_end.dome = 4, dipper_end.dome = 6;
    link_end.round = dipper_end.round = true;
    link_end.chamfer = dipper_end.chamfer = 0;
    link_end.grooves = dipper_end.grooves = 0.3;
    ps_record r = measure();
    static const char *const all[] = {"attachment.link.pin", "attachment.dipper.pin", "attachment.link.proud", "attachment.dipper.proud"};
    for (int i = 0; i < 4; i++) check_doubted(&r, all[i], PS_CODE_PIN_DOME);
    check_held(&r, "attachment.link.pin");
    check_held(&r, "attachment.dipper.pin");
    ps_record_clear(&r);
}

/* A rounded end without any edge: what shows is its outline, another one in each photo, and half round. */
static void smooth_rounded_dome(void **state) {
    (void)state;
    start_case();
    link_end.dome = 4, dipper_end.dome = 6;
    link_end.round = dipper_end.round = true;
    link_end.chamfer = dipper_end.chamfer = 0;
    ps_record r = measure();
    assert_int_not_equal(job_find(&r, "attachment.link.pin")->verdict, PS_VERDICT_GOOD);
    assert_int_not_equal(job_find(&r, "attachment.dipper.pin")->verdict, PS_VERDICT_GOOD);
    check_held(&r, "attachment.link.pin");
    check_held(&r, "attachment.dipper.pin");
    check_held(&r, "attachment.centres");
    ps_record_clear(&r);
}

/* A cap 14 mm wider than its pin, and a loose collar that looks like a bush that stands out more. */
static void cap_and_collar(void **state) {
    (void)state;
    start_case();
    link_end.cap_r = 22, link_end.face_h = 24;
    dipper_end.collar_r = 24, dipper_end.collar_h = 7;
    ps_record r = measure();
    check_doubted(&r, "attachment.link.pin", PS_CODE_PIN_CAP);
    check_doubted(&r, "attachment.centres", PS_CODE_PIN_CAP);
    check_doubted(&r, "attachment.dipper.bush", PS_CODE_PIN_COLLAR);
    check_doubted(&r, "attachment.dipper.proud", PS_CODE_PIN_COLLAR);
    check_held(&r, "attachment.dipper.pin");
    ps_record_clear(&r);
}

/* A taper of 3 mm over 12, whose face is 6 mm too small, and a rubber ring against the bush. */
static void taper_and_rubber_ring(void **state) {
    (void)state;
    start_case();
    link_end.face_h = 26, link_end.chamfer = 3, link_end.chamfer_deg = 76;
    dipper_end.ring = 4;
    ps_record r = measure();
    check_doubted(&r, "attachment.link.pin", PS_CODE_PIN_TAPER);
    CHECK_NEAR(job_find(&r, "attachment.link.pin")->value_mm, 2 * link_end.pin_r, DIAMETER_MM);
    check_doubted(&r, "attachment.dipper.bush", PS_CODE_BUSH_HIDDEN);
    check_held(&r, "attachment.dipper.pin");
    ps_record_clear(&r);
}

/* A taper that runs down to the bush: the next clear edge below the end's is the bore's, larger than the pin by bevel and play. */
static void taper_down_to_the_bush(void **state) {
    (void)state;
    start_case();
    link_end.face_h = 30, link_end.chamfer = 6, link_end.chamfer_deg = 75, link_end.bevel = 1.2;
    ps_record r = measure();
    check_doubted(&r, "attachment.link.pin", PS_CODE_PIN_TAPER);
    check_held(&r, "attachment.link.pin");
    for (int i = 0; i < r.photo_count; i++)
        for (int k = 0; k < r.photo[i].rim_count; k++) {
            const ps_record_rim *rim = &r.photo[i].rim[k];
            if (rim->pin == PS_ROLE_LINK && rim->used && rim->edge == PS_EDGE_PIN)
                CHECK_NEAR(2 * rim->circle.radius_mm, 2 * link_end.pin_r, 2 * DIAMETER_MM);
        }
    check_good(&r, "attachment.dipper.pin"); /* the end's small edge does not make the other pin unlike it */
    ps_record_clear(&r);
}

/* 7 degrees steep over 20 mm: where it begins hardly an edge shows, and the small edge of its end is the clearest. */
static void gentle_taper(void **state) {
    (void)state;
    start_case();
    link_end.face_h = 31, link_end.chamfer = 2.6, link_end.chamfer_deg = 82.8;
    ps_record r = measure();
    check_doubted(&r, "attachment.link.pin", PS_CODE_PIN_TAPER);
    check_held(&r, "attachment.link.pin");
    ps_record_clear(&r);
}

/* A bore of 20 mm in the end, and turning grooves clearer than the pin's own edge: neither keeps a pin from being good. */
static void drilled_and_grooved(void **state) {
    (void)state;
    start_case();
    link_end.drill_r = 10;
    dipper_end.grooves = 0.4;
    ps_record r = measure();
    check_good(&r, "attachment.link.pin");
    check_good(&r, "attachment.dipper.pin");
    ps_record_clear(&r);
}

/* Flush with a bush whose bore is bevelled by 1.5 mm, and 4 mm behind its face: the bevel's edge is beside the pin's. */
static void flush_and_recessed(void **state) {
    (void)state;
    start_case();
    link_end.face_h = link_end.bush_h, link_end.bevel = 1.5;
    dipper_end.face_h = dipper_end.bush_h - 4, dipper_end.bevel = 1;
    ps_record r = measure();
    check_held(&r, "attachment.link.pin");
    check_held(&r, "attachment.dipper.pin");
    ps_record_clear(&r);
}

/* Flush in a bush that stands in a painted boss: the bush's edges are the clear ones, and the pin came out as large as its bush. The other
 * pin stands far out. */
static void flush_in_a_boss(void **state) {
    (void)state;
    start_case();
    link_end.bush_h = link_end.face_h = 9, link_end.boss_h = 4, link_end.boss_r = 34, link_end.bush_r = 25;
    dipper_end.face_h = dipper_end.bush_h + 30;
    ps_record r = measure();
    check_held(&r, "attachment.link.pin");
    check_held(&r, "attachment.link.bush");
    const ps_dimension *pin = job_find(&r, "attachment.link.pin"), *bush = job_find(&r, "attachment.link.bush");
    assert_int_equal(pin->verdict, PS_VERDICT_CONFIRM); /* the gap hides where its chamfer ends */
    CHECK_NEAR(pin->value_mm, 2 * link_end.pin_r, 2 * link_end.chamfer);
    CHECK_NEAR(bush->value_mm, 2 * link_end.bush_r, DIAMETER_MM);
    ps_record_clear(&r);
}

/* A thinner wall, as on small machines, where the bush's edges lead or follow by little: never good. */
static void flush_in_a_boss_thin(void **state) {
    (void)state;
    start_case();
    link_end.bush_h = link_end.face_h = 9, link_end.boss_h = 4, link_end.boss_r = 33, link_end.bush_r = 23.4;
    ps_record r = measure();
    check_held(&r, "attachment.link.pin");
    check_doubted(&r, "attachment.link.pin", PS_CODE_PIN_CHAMFER);
    ps_record_clear(&r);
}

/* Plain ends that are hardly brighter than their bushes, without a shadow: one pin was read half from one circle and half from another,
 * which moved its axis by over a millimetre, and the centres were good. */
static void end_read_in_pieces(void **state) {
    (void)state;
    start_case();
    ps_record r = measure();
    check_held(&r, "attachment.dipper.pin");
    ps_record_clear(&r);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(dome_with_an_edge),  cmocka_unit_test(rounded_dome_with_grooves), cmocka_unit_test(smooth_rounded_dome),
        cmocka_unit_test(cap_and_collar),     cmocka_unit_test(taper_and_rubber_ring),     cmocka_unit_test(taper_down_to_the_bush),
        cmocka_unit_test(gentle_taper),       cmocka_unit_test(drilled_and_grooved),       cmocka_unit_test(flush_and_recessed),
        cmocka_unit_test(end_read_in_pieces), cmocka_unit_test(flush_in_a_boss),           cmocka_unit_test(flush_in_a_boss_thin),
    };
    return cmocka_run_group_tests(tests, set_up, take_down);
}
