/* Circles proposed in one photo of a rendered pin. */
#include "check.h"

#include <stdlib.h>

#include "render_pin.h"
#include "rim/squared.h"

/* The squared view has 1500 samples along the photo's longer side: about the photo's own pixel of 0.5 mm here. A proposal is
 * refined on edge elements of whole samples and only starts the search: one sample. */
static const double SAMPLE_MM = 0.7;

static pin_scene plain(double tilt, double toward) {
    pin_scene s = pin_scene_plain(1200, 900);
    const double at[2] = {60, 0};
    s.view = pin_view(s.width, s.height, 1000, at, 600, tilt, toward, 5);
    s.sub = 2;
    return s;
}

static ps_luma render_usual(pin_scene *s, double tilt, double toward) {
    *s = plain(tilt, toward);
    s->shapes = 1;
    s->shape[0] = pin_usual(0, 10);
    return pin_render(s, 5);
}

/* A mask where a sheet would lie. */
static const ps_rim_mask sheet = {{{150, -50}, {260, -50}, {260, 90}, {150, 90}}};

static double nearest(const ps_rim_candidates *c, const double seen[3]) {
    double best = INFINITY;
    for (int i = 0; i < c->count; i++)
        best = fmin(best, fmax(hypot(c->item[i].x_mm - seen[0], c->item[i].y_mm - seen[1]), fabs(c->item[i].radius_mm - seen[2])));
    return best;
}

static void seen_from(const pin_scene *s, const pin_shape *pin, ps_edge edge, double seen[3]) {
    const double *R = s->view.pose.R, *t = s->view.pose.t;
    double C[3], h, r;
    for (int i = 0; i < 3; i++) C[i] = -(R[i] * t[0] + R[3 + i] * t[1] + R[6 + i] * t[2]);
    pin_rim_truth(pin, edge, &h, &r);
    double k = C[2] / (C[2] + h); /* the eye stands at z = C[2] < 0 */
    seen[0] = C[0] + (pin->x - C[0]) * k;
    seen[1] = C[1] + (pin->y - C[1]) * k;
    seen[2] = r * k;
}

static void test_pin_and_bush_are_proposed(void **state) {
    (void)state;
    static const double tilt[] = {8, 25}, toward[] = {20, 200};
    for (int k = 0; k < 2; k++) {
        pin_scene s;
        ps_luma luma = render_usual(&s, tilt[k], toward[k]);
        ps_rim_candidates c = {0, NULL};
        assert_int_equal(ps_rim_propose(NULL, &luma, &s.view, &sheet, 1, &c), PS_OK);
        /* Of each chamfer's two edges, 1 px apart here, one at least. */
        double a[3], b[3];
        seen_from(&s, &s.shape[0], PS_EDGE_PIN, a);
        seen_from(&s, &s.shape[0], PS_EDGE_PIN_FACE, b);
        /* Seen aslant the pin's end is shifted against the bush, whose centre wins; the axis needs one of the two only. */
        if (tilt[k] < 10) CHECK_NEAR(fmin(nearest(&c, a), nearest(&c, b)), 0, SAMPLE_MM);
        seen_from(&s, &s.shape[0], PS_EDGE_BUSH, a);
        seen_from(&s, &s.shape[0], PS_EDGE_BUSH_FACE, b);
        CHECK_NEAR(fmin(nearest(&c, a), nearest(&c, b)), 0, SAMPLE_MM);
        for (int i = 0; i < c.count; i++) {
            assert_true(c.item[i].support > 0 && c.item[i].support <= 1 && c.item[i].radius_mm > 5);
            if (i) assert_true(c.item[i].support <= c.item[i - 1].support); /* best first */
        }
        ps_rim_candidates_clear(&c);
        assert_null(c.item);
        free(luma.px);
    }
}

/* At twice the grain: as sharp as its samples, and other input is refused alike. */
static void test_coarsely(void **state) {
    (void)state;
    pin_scene s;
    ps_luma luma = render_usual(&s, 8, 20);
    ps_rim_candidates c = {0, NULL};
    assert_int_equal(ps_rim_propose_coarsely(NULL, &luma, &s.view, &sheet, 1, &c), PS_OK);
    double a[3], b[3];
    seen_from(&s, &s.shape[0], PS_EDGE_BUSH, a);
    seen_from(&s, &s.shape[0], PS_EDGE_BUSH_FACE, b);
    CHECK_NEAR(fmin(nearest(&c, a), nearest(&c, b)), 0, 2 * SAMPLE_MM);
    ps_rim_candidates_clear(&c);
    assert_int_equal(ps_rim_propose_coarsely(NULL, &luma, &s.view, &sheet, 0, &c), PS_BAD_ARGUMENT);
    free(luma.px);
}

/* A pin under the mask is not looked for: there lies the sheet. */
static void test_mask_hides(void **state) {
    (void)state;
    pin_scene s;
    ps_luma luma = render_usual(&s, 15, 20);
    ps_rim_mask over = {{{-90, -80}, {100, -80}, {100, 100}, {-90, 100}}};
    ps_rim_candidates c = {0, NULL};
    ps_status status = ps_rim_propose(NULL, &luma, &s.view, &over, 1, &c);
    double seen[3];
    seen_from(&s, &s.shape[0], PS_EDGE_BUSH, seen);
    assert_true(status == PS_NOT_FOUND || nearest(&c, seen) > 5);
    ps_rim_candidates_clear(&c);
    free(luma.px);
}

static void test_empty_plate(void **state) {
    (void)state;
    pin_scene s = plain(15, 20);
    s.plate[1] = 0.4; /* a paint's straight edge is no circle */
    ps_luma luma = pin_render(&s, 5);
    ps_rim_candidates c = {0, NULL};
    assert_int_equal(ps_rim_propose(NULL, &luma, &s.view, &sheet, 1, &c), PS_NOT_FOUND);
    assert_null(c.item);
    free(luma.px);
}

static void test_wrong_input(void **state) {
    (void)state;
    uint8_t *px = calloc(100 * 100, 1);
    ps_luma luma = {100, 100, 100, px};
    const double at[2] = {0, 0};
    ps_view view = pin_view(100, 100, 100, at, 500, 10, 0, 0), away = view;
    ps_rim_candidates c = {0, NULL};
    assert_int_equal(ps_rim_propose(NULL, &luma, &view, &sheet, 0, &c), PS_BAD_ARGUMENT);
    for (int i = 0; i < 9; i++) away.pose.R[i] = i % 4 == 0 ? 1 : 0; /* behind the plate, looking on */
    away.pose.t[0] = away.pose.t[1] = 0, away.pose.t[2] = -500;
    assert_int_equal(ps_rim_propose(NULL, &luma, &away, &sheet, 1, &c), PS_NOT_FOUND);
    assert_int_equal(ps_rim_propose(NULL, &luma, &view, &sheet, 1, &c), PS_NOT_FOUND); /* all black */
    assert_null(c.item);
    free(px);
}

static void test_clearing_nothing(void **state) {
    (void)state;
    ps_rim_candidates c = {0, NULL};
    ps_rim_traces t = {0, NULL};
    ps_rim_candidates_clear(&c);
    ps_rim_traces_clear(&t);
    assert_int_equal(c.count + t.count, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pin_and_bush_are_proposed),
        cmocka_unit_test(test_coarsely),
        cmocka_unit_test(test_mask_hides),
        cmocka_unit_test(test_empty_plate),
        cmocka_unit_test(test_wrong_input),
        cmocka_unit_test(test_clearing_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
