/* The other edge of a chamfer on rendered photos: found where it is, not found where there is none, and a wall's outline set right. */
#include "check.h"

#include "pinspan/rim.h"
#include "scene_pin.h"

/* Where tracing takes over: it looks 2.5 times its prediction's 0.1 mm of radius and 0.15 mm of height about. */
static const double NEAR_MM = 0.25, NEAR_HEIGHT_MM = 0.4;

static ps_pin_rim rim_of(const pin_shape *shape, ps_edge edge, ps_edge named) {
    ps_pin_rim rim = {.edge = named};
    pin_rim_truth(shape, edge, &rim.height_mm, &rim.radius_mm);
    return rim;
}

static const ps_edge all[] = {PS_EDGE_PIN, PS_EDGE_PIN_FACE, PS_EDGE_BUSH, PS_EDGE_BUSH_FACE};

static ps_pin_model model_of(const pin_shape *shape) {
    ps_pin_model pin = {.axis_direction = {0, 0, -1}};
    for (int i = 0; i < 4; i++) pin.rim[pin.rim_count++] = rim_of(shape, all[i], all[i]);
    return pin;
}

/* A model of all rims of a shape but one. Its chamfer's other edge is called `named`. */
static ps_pin_model model_without(const pin_shape *shape, ps_edge left_out, ps_edge named) {
    static const ps_edge other[PS_EDGE_COUNT] = {[PS_EDGE_PIN] = PS_EDGE_PIN_FACE,
                                                 [PS_EDGE_PIN_FACE] = PS_EDGE_PIN,
                                                 [PS_EDGE_BUSH] = PS_EDGE_BUSH_FACE,
                                                 [PS_EDGE_BUSH_FACE] = PS_EDGE_BUSH};
    ps_pin_model pin = {.axis_direction = {0, 0, -1}};
    for (int i = 0; i < 4; i++)
        if (all[i] != left_out) pin.rim[pin.rim_count++] = rim_of(shape, all[i], all[i] == other[left_out] ? named : all[i]);
    return pin;
}

static ps_status complete(const pin_shape *shape, ps_pin_model *pin, uint64_t seed) {
    pin_scene scene = pin_scene_close(shape);
    pin_photos p;
    pin_photos_close(&p, &scene, seed);
    ps_context *ctx = ps_context_new();
    ps_status status = ps_rim_complete_chamfers(ctx, p.count, p.lumas, p.view, pin);
    ps_context_free(ctx);
    pin_photos_free(&p);
    return status;
}

static void assert_rim_there(const ps_pin_model *pin, const pin_shape *shape, ps_edge edge) {
    int at = ps_rim_find(pin, edge, PS_EAR_NEAR);
    ps_pin_rim true_rim = rim_of(shape, edge, edge);
    assert_true(at >= 0);
    CHECK_NEAR(pin->rim[at].radius_mm, true_rim.radius_mm, NEAR_MM);
    CHECK_NEAR(pin->rim[at].height_mm, true_rim.height_mm, NEAR_HEIGHT_MM);
}

/* Either edge of either chamfer, whatever the one that is there is called. */
static void test_finds_the_missing_edge(void **state) {
    (void)state;
    static const ps_edge pair[2][2] = {{PS_EDGE_PIN_FACE, PS_EDGE_PIN}, {PS_EDGE_BUSH_FACE, PS_EDGE_BUSH}};
    pin_shape shape = pin_usual(0, 0);
    for (int end = 0; end < 2; end++)
        for (int missing = 0; missing < 2; missing++)
            for (int named = 0; named < 2; named++) {
                ps_pin_model pin = model_without(&shape, pair[end][missing], pair[end][named]);
                assert_int_equal(complete(&shape, &pin, 20 + (uint64_t)(4 * end + 2 * missing + named)), PS_OK);
                assert_int_equal(pin.rim_count, 4);
                for (int i = 0; i < 2; i++) assert_rim_there(&pin, &shape, pair[end][i]);
                /* An outer edge that was alone may have been traced along both; one that stands free of the floor was not there. */
                double mixed = end == 0 ? pin.evidence.pin_mixed_mm : pin.evidence.bush_mixed_mm;
                if (missing == 0) assert_true(mixed > 0);
            }
}

/* What was found says how clear the end's edges are, of which the reading had one. */
static void test_notes_how_clear(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    ps_pin_model pin = model_without(&shape, PS_EDGE_PIN, PS_EDGE_PIN);
    pin.evidence.pin_clear = 0.9;
    assert_int_equal(complete(&shape, &pin, 30), PS_OK);
    CHECK_NEAR(pin.evidence.face_clear, 0.9, 0);
    assert_true(pin.evidence.pin_clear > 0.4 && pin.evidence.pin_clear <= 1);
}

/* Sharp ends have no other edge. */
static void test_leaves_sharp_ends(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    shape.chamfer = 0, shape.bush_chamfer = 0;
    static const ps_edge kept[] = {PS_EDGE_PIN, PS_EDGE_BUSH};
    ps_pin_model pin = {.axis_direction = {0, 0, -1}};
    for (int i = 0; i < 2; i++) pin.rim[pin.rim_count++] = rim_of(&shape, kept[i], kept[i]);
    ps_pin_model before = pin;
    assert_int_equal(complete(&shape, &pin, 40), PS_NOT_FOUND);
    assert_memory_equal(&pin, &before, sizeof pin);
}

/* A low bush's wall: its foot on the near side and its edge on the far side lie nearly on a circle of half the height, as much too large as
 * the photos look aslant. */
static void test_sets_a_wall_right(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    shape.bush_h = 4, shape.bush_chamfer = 1;
    ps_pin_model pin = model_of(&shape);
    int outer = ps_rim_find(&pin, PS_EDGE_BUSH, PS_EAR_NEAR);
    double height = pin.rim[outer].height_mm, aslant = tan(20 * pin_render_pi / 180);
    pin.rim[outer].radius_mm += 0.5 * height * aslant, pin.rim[outer].height_mm = 0.5 * height;
    assert_int_equal(complete(&shape, &pin, 50), PS_OK);
    assert_int_equal(pin.rim_count, 4);
    assert_rim_there(&pin, &shape, PS_EDGE_BUSH);
    /* One that lies right is not touched. */
    ps_pin_model right = model_of(&shape), before = right;
    assert_int_equal(complete(&shape, &right, 51), PS_NOT_FOUND);
    assert_memory_equal(&right, &before, sizeof right);
}

/* Two photos agree on too much; without a bush there is no floor; a full model has no room. */
static void test_asks_nothing(void **state) {
    (void)state;
    pin_shape shape = pin_usual(0, 0);
    pin_scene scene = pin_scene_close(&shape);
    pin_photos p;
    pin_photos_close(&p, &scene, 60);
    ps_context *ctx = ps_context_new();
    ps_pin_model pin = model_without(&shape, PS_EDGE_PIN_FACE, PS_EDGE_PIN);
    assert_int_equal(ps_rim_complete_chamfers(ctx, 2, p.lumas, p.view, &pin), PS_NOT_FOUND);
    ps_pin_model bare = {.axis_direction = {0, 0, -1}, .rim_count = 1, .rim = {rim_of(&shape, PS_EDGE_PIN, PS_EDGE_PIN)}};
    assert_int_equal(ps_rim_complete_chamfers(ctx, p.count, p.lumas, p.view, &bare), PS_NOT_FOUND);
    while (pin.rim_count < PS_RIMS_PER_PIN) pin.rim[pin.rim_count++] = (ps_pin_rim){.edge = PS_EDGE_OTHER, .height_mm = 1, .radius_mm = 9};
    assert_int_equal(ps_rim_complete_chamfers(ctx, p.count, p.lumas, p.view, &pin), PS_NOT_FOUND);
    ps_context_free(ctx);
    pin_photos_free(&p);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_finds_the_missing_edge), cmocka_unit_test(test_notes_how_clear), cmocka_unit_test(test_leaves_sharp_ends),
        cmocka_unit_test(test_sets_a_wall_right),      cmocka_unit_test(test_asks_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
