/* The outline of a pin's wall on rendered photos: it agrees with the pin's own edge and with no other. */
#include "check.h"

#include "pinspan/rim.h"
#include "scene_pin.h"

/* The one that src/gauge/outcome.c asks for. */
static const double WALL_LEAST = 0.35;

/* The model that a reading would hand on, with the edge at `height` and `radius` taken for the pin's. */
static ps_pin_wall wall_of(const pin_shape *shape, double height, double radius, uint64_t seed) {
    pin_scene scene = pin_scene_close(shape);
    pin_photos p;
    pin_photos_close(&p, &scene, seed);
    ps_pin_model pin = {.axis_direction = {0, 0, -1}, .rim_count = 2};
    double h, r;
    pin_rim_truth(shape, PS_EDGE_BUSH_FACE, &h, &r);
    pin.rim[0] = (ps_pin_rim){.edge = PS_EDGE_BUSH_FACE, .height_mm = h, .radius_mm = r};
    pin.rim[1] = (ps_pin_rim){.edge = PS_EDGE_PIN, .height_mm = height, .radius_mm = radius};
    ps_pin_wall wall = ps_rim_wall(p.count, p.lumas, p.view, &pin);
    pin_photos_free(&p);
    return wall;
}

static void test_true_pins_agree(void **state) {
    (void)state;
    static const double stands_out[] = {16, 24, 40}, radius[] = {25, 30, 33};
    for (int k = 0; k < 3; k++) {
        pin_shape shape = pin_usual(0, 0);
        double h, r;
        shape.pin_r = radius[k], shape.face_h = shape.bush_h + stands_out[k];
        pin_rim_truth(&shape, PS_EDGE_PIN, &h, &r);
        ps_pin_wall wall = wall_of(&shape, h, r, 60 + (uint64_t)k);
        assert_int_equal(wall.sides, 2 * PIN_PHOTOS);
        assert_true(wall.agreement > WALL_LEAST);
    }
}

/* 7 degrees steep: too gentle for a chamfer and hardly an edge where it begins. The end's edge is 2.6 mm inside the wall. */
static void test_gentle_taper_does_not(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    shape.face_h = shape.bush_h + 25, shape.chamfer = 2.6, shape.chamfer_deg = 82.8;
    ps_pin_wall wall = wall_of(&shape, shape.face_h, shape.pin_r - shape.chamfer, 70);
    assert_int_equal(wall.sides, 2 * PIN_PHOTOS);
    assert_true(wall.agreement < WALL_LEAST);
}

/* What is not seen says nothing: no wall between the pin's edge and the bush, no bush, no pin. */
static void test_nothing_to_see(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    shape.face_h = shape.bush_h + 2.5;
    double h, r;
    pin_rim_truth(&shape, PS_EDGE_PIN, &h, &r);
    assert_int_equal(wall_of(&shape, h, r, 80).sides, 0);
    ps_pin_model pin = {.axis_direction = {0, 0, -1}, .rim_count = 1, .rim = {{.edge = PS_EDGE_PIN, .height_mm = 20, .radius_mm = 30}}};
    assert_int_equal(ps_rim_wall(0, NULL, NULL, &pin).sides, 0);
    pin.rim[0].edge = PS_EDGE_BUSH;
    assert_int_equal(ps_rim_wall(0, NULL, NULL, &pin).sides, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_true_pins_agree),
        cmocka_unit_test(test_gentle_taper_does_not),
        cmocka_unit_test(test_nothing_to_see),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
