/* Which circles are the two pins, and which pin is which, on rendered photos of a whole side. */
#include "check.h"

#include <string.h>

#include "scene_pin.h"

/* A start of the adjustment; the trace looks around by at least 4 px, 1.4 mm here. */
static const double PLACE_MM = 1.0;

typedef struct side {
    pin_photos photos;
    ps_rim_candidates seen[PIN_PHOTOS], few[PIN_PHOTOS]; /* few: those near the two pins, for speed */
} side;

/* Two pins 170 mm apart along +x with a sheet's place below, and a bolt's head on its washer between them. */
static pin_scene scene_of_side(void) {
    pin_scene s = pin_scene_plain(1200, 900);
    s.sub = 2;
    s.texture = 0.1;
    s.shapes = 3;
    s.shape[0] = pin_usual(0, 0);
    s.shape[1] = pin_usual(170, 12);
    s.shape[1].pin_r = 27.5, s.shape[1].bush_r = 42, s.shape[1].face_h = 18, s.shape[1].bush_h = 10;
    s.shape[2] = (pin_shape){.x = 92,
                             .y = -75,
                             .face_h = 15,
                             .pin_r = 12,
                             .chamfer = 1,
                             .chamfer_deg = 30,
                             .bush_h = 4,
                             .bush_r = 19,
                             .bush_chamfer = 0.5,
                             .bevel = 0.1};
    return s;
}

static const ps_rim_mask sheet = {{{40, 60}, {130, 60}, {130, 170}, {40, 170}}};

static void side_make(side *d, const pin_scene *scene) {
    const double at[2] = {85, 20};
    pin_photos_make(&d->photos, *scene, at, 1700, 600, 3);
    for (int k = 0; k < d->photos.count; k++) {
        d->seen[k] = (ps_rim_candidates){0, NULL};
        assert_int_equal(ps_rim_propose(NULL, &d->photos.luma[k], &d->photos.view[k], &sheet, 1, &d->seen[k]), PS_OK);
    }
}

static void side_free(side *d) {
    for (int k = 0; k < d->photos.count; k++) ps_rim_candidates_clear(&d->seen[k]), ps_rim_candidates_clear(&d->few[k]);
    pin_photos_free(&d->photos);
}

static void pick_few(side *d, const pin_scene *s) {
    for (int k = 0; k < d->photos.count; k++) {
        d->few[k] = (ps_rim_candidates){0, calloc((size_t)d->seen[k].count, sizeof *d->few[k].item)};
        for (int i = 0; i < d->seen[k].count; i++) {
            const ps_rim_candidate *c = &d->seen[k].item[i];
            bool near = false;
            for (int p = 0; p < 2; p++) near = near || hypot(c->x_mm - s->shape[p].x, c->y_mm - s->shape[p].y) < 9;
            if (near) d->few[k].item[d->few[k].count++] = *c;
        }
    }
}

static ps_status assign(const side *d, const ps_rim_candidates *seen, double dx, double dy, ps_direction dipper, ps_pin_models *m) {
    const double toward[2] = {dx, dy};
    return ps_rim_assign(NULL, d->photos.count, d->photos.lumas, d->photos.view, seen, toward, dipper, false, m);
}

static const ps_pin_rim *rim_of(const ps_pin_model *pin, ps_edge edge) {
    for (int r = 0; r < pin->rim_count; r++)
        if (pin->rim[r].edge == edge) return &pin->rim[r];
    return NULL;
}

static void check_pin(const ps_pin_model *pin, ps_role role, const pin_shape *shape) {
    assert_int_equal(pin->role, role);
    CHECK_NEAR(pin->axis_point_mm[0], shape->x, PLACE_MM);
    CHECK_NEAR(pin->axis_point_mm[1], shape->y, PLACE_MM);
    assert_true(pin->axis_direction[2] < -0.99);
    assert_non_null(rim_of(pin, PS_EDGE_PIN));
}

static side whole;
static pin_scene scene;

static int set_up(void **state) {
    (void)state;
    scene = scene_of_side();
    side_make(&whole, &scene);
    pick_few(&whole, &scene);
    return 0;
}

static int take_down(void **state) {
    (void)state;
    side_free(&whole);
    return 0;
}

/* The bolt is a circle too, and between the pins; it is not chosen. */
static void test_roles_by_direction(void **state) {
    (void)state;
    ps_pin_models m = {0};
    const double q = pin_render_pi / 180, line = atan2(12, 170); /* of the pins, off +x */
    assert_int_equal(assign(&whole, whole.seen, cos(line + 57 * q), sin(line + 57 * q), PS_DIRECTION_NONE, &m), PS_OK);
    assert_int_equal(m.count, 2);
    assert_false(m.roles_unsure);
    check_pin(&m.pin[PS_ROLE_DIPPER], PS_ROLE_DIPPER, &scene.shape[1]);
    check_pin(&m.pin[PS_ROLE_LINK], PS_ROLE_LINK, &scene.shape[0]);
    /* Unsure over 60 degrees from the line of the pins (docs/conventions.md). */
    assert_int_equal(assign(&whole, whole.few, cos(line + 63 * q), sin(line + 63 * q), PS_DIRECTION_NONE, &m), PS_OK);
    assert_true(m.roles_unsure);
}

/* In the first photo +x of the plate is to the right; the user's word goes before the sheet's. */
static void test_the_users_word(void **state) {
    (void)state;
    ps_pin_models m = {0};
    assert_int_equal(assign(&whole, whole.few, 1, 0, PS_DIRECTION_LEFT, &m), PS_OK);
    assert_false(m.roles_unsure);
    check_pin(&m.pin[PS_ROLE_DIPPER], PS_ROLE_DIPPER, &scene.shape[0]);
}

static void test_one_pin(void **state) {
    (void)state;
    pin_scene s = scene_of_side();
    side one = {0};
    ps_pin_models m = {0};
    s.shapes = 1;
    side_make(&one, &s);
    pick_few(&one, &s);
    assert_int_equal(assign(&one, one.few, 1, 0, PS_DIRECTION_NONE, &m), PS_OK);
    assert_int_equal(m.count, 1);
    assert_true(m.roles_unsure);
    CHECK_NEAR(m.pin[0].axis_point_mm[0], 0, PLACE_MM);
    side_free(&one);
}

/* A lone pin is the dipper's where it stands on that side of the sheets; the user's word goes before the arrow's. */
static void test_side_of_the_sheets(void **state) {
    (void)state;
    static const double right[2] = {1, 0}, left[2] = {-1, 0};
    ps_pin_models m = {.count = 1, .roles_unsure = true};
    m.pin[0].axis_point_mm[0] = 170;
    ps_rim_place_alone(&whole.photos.view[0], &sheet, 1, right, PS_DIRECTION_NONE, &m);
    assert_int_equal(m.pin[0].role, PS_ROLE_DIPPER);
    ps_rim_place_alone(&whole.photos.view[0], &sheet, 1, left, PS_DIRECTION_NONE, &m);
    assert_int_equal(m.pin[0].role, PS_ROLE_LINK);
    ps_rim_place_alone(&whole.photos.view[0], &sheet, 1, left, PS_DIRECTION_RIGHT, &m);
    assert_int_equal(m.pin[0].role, PS_ROLE_DIPPER);
    ps_rim_place_alone(&whole.photos.view[0], &sheet, 1, right, PS_DIRECTION_LEFT, &m);
    assert_int_equal(m.pin[0].role, PS_ROLE_LINK);
    assert_true(m.roles_unsure);
    ps_pin_models both = {.count = 2};
    both.pin[0].role = PS_ROLE_DIPPER, both.pin[1].role = PS_ROLE_LINK;
    ps_rim_place_alone(&whole.photos.view[0], &sheet, 1, left, PS_DIRECTION_NONE, &both);
    assert_int_equal(both.pin[0].role, PS_ROLE_DIPPER);
}

/* Candidates, but nothing behind them in the photos; and no candidates. */
static void test_no_pin(void **state) {
    (void)state;
    side empty = {0};
    pin_scene s = scene_of_side();
    s.shapes = 0;
    s.sub = 1;
    const double at[2] = {85, 20};
    pin_photos_make(&empty.photos, s, at, 1700, 600, 3);
    for (int k = 0; k < PIN_PHOTOS; k++) empty.seen[k] = whole.seen[k];
    ps_pin_models m = {.count = -5};
    assert_int_equal(assign(&empty, empty.seen, 1, 0, PS_DIRECTION_NONE, &m), PS_NOT_FOUND);
    for (int k = 0; k < PIN_PHOTOS; k++) empty.seen[k] = (ps_rim_candidates){0, NULL};
    assert_int_equal(assign(&empty, empty.seen, 1, 0, PS_DIRECTION_NONE, &m), PS_NOT_FOUND);
    assert_int_equal(m.count, -5);
    pin_photos_free(&empty.photos);
}

/* Rims that were a millimetre off are read again about a settled axis; a pin where nothing can be read keeps its rims. */
static const double BUSH_MM = 0.5; /* handed on as known to 0.25 mm (sd) */
static void test_reread(void **state) {
    (void)state;
    ps_pin_models m = {.count = 2};
    for (int p = 0; p < 2; p++) {
        m.pin[p] = (ps_pin_model){.axis_point_mm = {p ? 5000 : 170, p ? 0 : 12, 0}, .axis_direction = {0, 0, -1}, .rim_count = 1};
        m.pin[p].rim[0] = (ps_pin_rim){PS_EDGE_PIN, PS_EAR_NEAR, 15, 26.5, 0.5, 0.25, 0};
    }
    assert_int_equal(ps_rim_reread(NULL, whole.photos.count, whole.photos.lumas, whole.photos.view, &m), PS_OK);
    assert_true(m.pin[0].rim_count > 1);
    const ps_pin_rim *bush = rim_of(&m.pin[0], PS_EDGE_BUSH);
    assert_non_null(bush);
    CHECK_NEAR(bush->radius_mm, scene.shape[1].bush_r, BUSH_MM);
    assert_int_equal(m.pin[1].rim_count, 1);
    CHECK_NEAR(m.pin[1].rim[0].radius_mm, 26.5, 0);
}

/* A pin that was misread is looked at as if for the first time, about the place where it stands and as far as the other pin's bush reaches;
 * where nothing is, its model stays. */
static void test_look_near(void **state) {
    (void)state;
    ps_pin_model other = {.axis_point_mm = {0, 0, 0}, .axis_direction = {0, 0, -1}, .rim_count = 1};
    other.rim[0] = (ps_pin_rim){PS_EDGE_BUSH, PS_EAR_NEAR, 10, 40, 0.5, 0.25, 0};
    for (int there = 0; there < 2; there++) {
        ps_pin_model m = {.role = PS_ROLE_LINK, .axis_point_mm = {there ? 171 : 5000, 11, 0}, .axis_direction = {0, 0, -1}, .rim_count = 1};
        m.rim[0] = (ps_pin_rim){PS_EDGE_CAP, PS_EAR_NEAR, 15, 17, 0.5, 0.25, 0};
        const ps_pin_model was = m;
        ps_status status = ps_rim_look_near(NULL, whole.photos.count, whole.photos.lumas, whole.photos.view, &other, &m);
        assert_int_equal(status, there ? PS_OK : PS_NOT_FOUND);
        if (there) {
            check_pin(&m, PS_ROLE_LINK, &scene.shape[1]);
            assert_non_null(rim_of(&m, PS_EDGE_BUSH));
            CHECK_NEAR(rim_of(&m, PS_EDGE_BUSH)->radius_mm, scene.shape[1].bush_r, BUSH_MM);
        } else {
            assert_memory_equal(&m, &was, sizeof m);
        }
    }
}

/* The bolt's head was taken for the link pin, or no link pin was found: of all places the one is taken where a pin stands that goes with
 * the dipper pin. Not one that explains too little. */
static void test_look_elsewhere(void **state) {
    (void)state;
    const double toward[2] = {-1, 0};
    ps_pin_models m = {0};
    assert_int_equal(assign(&whole, whole.few, -1, 0, PS_DIRECTION_NONE, &m), PS_OK);
    assert_int_equal(m.count, 2);
    const ps_pin_model dipper = m.pin[PS_ROLE_DIPPER];
    for (int step = 0; step < 3; step++) {
        m = (ps_pin_models){.count = step == 0 ? 1 : 2,
                            .pin = {dipper, {.role = PS_ROLE_LINK, .axis_direction = {0, 0, -1}, .rim_count = 1}}};
        m.pin[1].axis_point_mm[0] = scene.shape[2].x, m.pin[1].axis_point_mm[1] = scene.shape[2].y;
        m.pin[1].rim[0] = (ps_pin_rim){PS_EDGE_PIN, PS_EAR_NEAR, 15, 12, 0.5, 0.25, 0};
        const ps_pin_models was = m;
        const double least = step < 2 ? PS_RIM_WORTH_LEAST : 50; /* more circles than any pin has */
        ps_status status = ps_rim_look_elsewhere(NULL, whole.photos.count, whole.photos.lumas, whole.photos.view,
                                                 step == 1 ? whole.seen : whole.few, toward, PS_DIRECTION_NONE, least, 1, &m);
        assert_int_equal(status, step < 2 ? PS_OK : PS_NOT_FOUND);
        if (step == 2) {
            assert_memory_equal(&m, &was, sizeof m);
            continue;
        }
        assert_int_equal(m.count, 2);
        check_pin(&m.pin[PS_ROLE_DIPPER], PS_ROLE_DIPPER, &scene.shape[0]);
        check_pin(&m.pin[PS_ROLE_LINK], PS_ROLE_LINK, &scene.shape[1]);
        assert_false(m.roles_unsure);
    }
}

/* What was read as a cap through a lens not yet tied down is a pin where a later reading explains a circle more; else it stays. */
static void test_reread_cap(void **state) {
    (void)state;
    for (int sure = 0; sure < 2; sure++) {
        ps_pin_models m = {.count = 1};
        m.pin[0] = (ps_pin_model){.axis_point_mm = {170, 12, 0}, .axis_direction = {0, 0, -1}, .rim_count = 1};
        m.pin[0].rim[0] = (ps_pin_rim){PS_EDGE_CAP, PS_EAR_NEAR, 15, 27, 0.5, 0.25, 0};
        m.pin[0].evidence.worth = sure ? 50 : 0.5; /* circles: more than any reading has, and hardly one */
        assert_int_equal(ps_rim_reread(NULL, whole.photos.count, whole.photos.lumas, whole.photos.view, &m), PS_OK);
        assert_int_equal(rim_of(&m.pin[0], PS_EDGE_CAP) != NULL, sure);
        assert_int_equal(rim_of(&m.pin[0], PS_EDGE_PIN) == NULL, sure);
    }
}

/* A bush that stands in a boss was taken for its pin, which lies flush in it. */
static ps_status look_into(const pin_shape *shape, ps_pin_model *m) {
    const double at[2] = {0, 0};
    pin_scene close = pin_scene_close(shape);
    pin_photos p;
    pin_photos_make(&p, close, at, 1900, 300, 5);
    ps_status status = ps_rim_look_into_bush(NULL, p.count, p.lumas, p.view, m);
    pin_photos_free(&p);
    return status;
}

static pin_shape flush_in_boss(double bush_r) {
    return (pin_shape){.face_h = 9,
                       .pin_r = 15,
                       .chamfer = 1.5,
                       .chamfer_deg = 45,
                       .bush_h = 9,
                       .bush_r = bush_r,
                       .bush_chamfer = 1.2,
                       .bevel = 0.3,
                       .boss_r = 34,
                       .boss_h = 4};
}

static ps_pin_model taken_for_pin(double bush_r) {
    return (ps_pin_model){.axis_direction = {0, 0, -1},
                          .rim_count = 3,
                          .rim = {{PS_EDGE_PIN, PS_EAR_NEAR, 7.8, bush_r, 0.5, 0.25, 0},
                                  {PS_EDGE_PIN_FACE, PS_EAR_NEAR, 9, bush_r - 1.2, 0.5, 0.25, 0},
                                  {PS_EDGE_BUSH_FACE, PS_EAR_NEAR, 4, 34, 0.5, 0.25, 0}},
                          .evidence = {.ring_mm = bush_r - 15.5}};
}

static void test_look_into_bush(void **state) {
    (void)state;
    const pin_shape shape = flush_in_boss(25);
    ps_pin_model m = taken_for_pin(25);
    assert_int_equal(look_into(&shape, &m), PS_OK);
    assert_non_null(rim_of(&m, PS_EDGE_BUSH));
    CHECK_NEAR(rim_of(&m, PS_EDGE_BUSH)->radius_mm, shape.bush_r, BUSH_MM);
    const ps_pin_rim *pin = rim_of(&m, PS_EDGE_PIN), *bore = rim_of(&m, PS_EDGE_BUSH_BORE), *face = rim_of(&m, PS_EDGE_PIN_FACE);
    assert_true((pin != NULL) != (bore != NULL)); /* its own edge where that is clear, else the bore's about it */
    if (pin) CHECK_NEAR(pin->radius_mm, shape.pin_r, BUSH_MM);
    if (bore) CHECK_NEAR(bore->radius_mm, shape.pin_r + 0.25 + shape.bevel, BUSH_MM); /* with the play of the picture's bores */
    assert_non_null(face);
    CHECK_NEAR(face->radius_mm, shape.pin_r - shape.chamfer, BUSH_MM);
    CHECK_NEAR(m.evidence.ring_mm, 0, 0);
    assert_true(m.evidence.junction && m.evidence.over_bore_mm < 2); /* so that it is doubted */
}

/* Not asked where no gap was seen, or what was taken for the pin stands out farther than a bush does; what would be another circle, or a
 * bush of a wall too thin, is a doubt; and a pin that stands out of a bush, whatever was seen on it, is none. */
static void test_no_bush_to_look_into(void **state) {
    (void)state;
    const pin_shape shape = flush_in_boss(25), thin = flush_in_boss(22);
    pin_shape proud = flush_in_boss(25);
    proud.face_h = 20, proud.pin_r = 17, proud.boss_r = 0;
    ps_pin_model m = taken_for_pin(25);
    m.evidence.ring_mm = 0;
    assert_int_equal(look_into(&shape, &m), PS_NOT_FOUND);
    m = taken_for_pin(25), m.rim[0].height_mm = 24;
    assert_int_equal(look_into(&shape, &m), PS_NOT_FOUND);
    CHECK_NEAR(m.evidence.ring_mm, 0, 0);
    m = taken_for_pin(25), m.rim[0].radius_mm = 29;
    assert_int_equal(look_into(&shape, &m), PS_NOT_FOUND);
    CHECK_NEAR(m.evidence.ring_mm, 9.5, 1e-9);
    m = taken_for_pin(22);
    assert_int_equal(look_into(&thin, &m), PS_NOT_FOUND);
    CHECK_NEAR(m.evidence.ring_mm, 6.5, 1e-9);
    assert_int_equal(m.rim_count, 3);
    m = taken_for_pin(17), m.rim[0].height_mm = 18.5, m.rim[2].radius_mm = 25, m.evidence.ring_mm = 5;
    assert_int_equal(look_into(&proud, &m), PS_NOT_FOUND);
    CHECK_NEAR(m.evidence.ring_mm, 0, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_roles_by_direction),
        cmocka_unit_test(test_the_users_word),

        cmocka_unit_test(test_one_pin),
        cmocka_unit_test(test_side_of_the_sheets),
        cmocka_unit_test(test_no_pin),
        cmocka_unit_test(test_reread),
        cmocka_unit_test(test_reread_cap),
        cmocka_unit_test(test_look_near),
        cmocka_unit_test(test_look_elsewhere),
        cmocka_unit_test(test_look_into_bush),
        cmocka_unit_test(test_no_bush_to_look_into),
    };
    return cmocka_run_group_tests(tests, set_up, take_down);
}
