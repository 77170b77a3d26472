/* Photo problems: none for a sound photo, the right one for each fault. */
#include "check.h"

#include "gauge/quality.h"

#include <math.h>
#include <string.h>

static const ps_luma luma = {.width = 4032, .height = 3024};

/* Plate, 40 px a square, straight on. */
static ps_sightings sound(void) {
    ps_sightings s = {.count = 1};
    s.piece[0] = (ps_sighting){.piece = ps_kit_find("plate-1"), .square_px = 40, .blur_px = 1, .white = 200, .black = 40};
    const ps_piece *p = ps_kit_piece(s.piece[0].piece);
    s.piece[0].corner_count = p->corner_count;
    double scale = 40 / p->square_mm;
    const double h[9] = {scale, 0, 2000, 0, scale, 1500, 0, 0, 1};
    memcpy(s.piece[0].homography, h, sizeof h);
    return s;
}

static ps_notes judge(const ps_sightings *s, const ps_view *view) {
    ps_notes n = {0};
    ps_gauge_photo_problems(&luma, s, view, false, &n);
    return n;
}

static void only(const ps_sightings *s, ps_code code) {
    ps_notes n = judge(s, NULL);
    if (n.count != 1 || n.note[0].code != code) fail_msg("%d problems, expected %s only", n.count, ps_code_word(code));
    assert_true(strlen(n.note[0].text) > 20);
}

static void faults(void **state) {
    (void)state;
    ps_sightings s = sound();
    assert_int_equal(judge(&s, NULL).count, 0);
    s = sound(), s.piece[0].square_px = 15;
    only(&s, PS_CODE_PIECE_SMALL);
    s = sound(), s.piece[0].blur_px = 3.2; /* its sides not to be read: what the corners say */
    only(&s, PS_CODE_DEFOCUS);
    s = sound(), s.piece[0].white = 252;
    only(&s, PS_CODE_EXPOSURE);
    s = sound(), s.piece[0].white = 55, s.piece[0].black = 5;
    only(&s, PS_CODE_EXPOSURE);
    s = sound(), s.piece[0].black = 170;
    only(&s, PS_CODE_EXPOSURE);
    s = sound(), s.piece[0].corner_count = (int)(0.69 * ps_kit_piece(s.piece[0].piece)->corner_count);
    only(&s, PS_CODE_PIECE_HIDDEN);
    s = sound(), s.hidden_count = 1;
    only(&s, PS_CODE_PIECE_HIDDEN);
    s = (ps_sightings){0};
    only(&s, PS_CODE_NO_PIECE);
}

/* Which blur it is, by its two directions; and the larger piece speaks. */
static void blurs(void **state) {
    (void)state;
    static const struct {
        double major_px, minor_px;
        bool shaken, soft;
    } one[] = {{2.9, 1.0, false, false}, {3.2, 3.0, false, true}, {3.2, 1.2, true, false}, {6, 3.2, true, true}, {6, 5, false, true}};
    for (size_t i = 0; i < sizeof one / sizeof one[0]; i++) {
        ps_sightings s = sound();
        s.piece[0].blur = (ps_blur){.edges = 50, .major_px = one[i].major_px, .minor_px = one[i].minor_px};
        s.piece[s.count] = s.piece[0];
        s.piece[s.count].square_px = 20, s.piece[s.count++].blur.major_px = 9;
        ps_notes n = judge(&s, NULL);
        assert_int_equal(ps_notes_have(&n, PS_CODE_MOTION_BLUR), one[i].shaken);
        assert_int_equal(ps_notes_have(&n, PS_CODE_DEFOCUS), one[i].soft);
        assert_int_equal(n.count, one[i].shaken + one[i].soft);
    }
}

/* A pin of radius 100 px about (x, 300) in a grey photo of 800 by 600, `level` on its end over `share` of the round. */
static ps_notes pin_at(double x, int level, double share, bool seen, bool *cut, bool *clipped) {
    enum { WIDTH = 800, HEIGHT = 600 };
    static uint8_t px[WIDTH * HEIGHT];
    const ps_luma photo = {.width = WIDTH, .height = HEIGHT, .stride = WIDTH, .px = px};
    memset(px, 100, sizeof px);
    for (int j = 0; j < HEIGHT; j++)
        for (int i = 0; i < WIDTH; i++) {
            double r = hypot(i - x, j - 300), turn = atan2(j - 300, i - x) / (2 * 3.14159265358979323846) + 0.5;
            if (r < 120 && turn < share) px[j * WIDTH + i] = (uint8_t)level;
        }
    ps_view view = {.lens = {.f_px = 1000, .cx = 400, .cy = 300}, .orientation = 1, .stored_width = WIDTH, .stored_height = HEIGHT};
    const double none[3] = {0, 0, 0};
    ps_rotation_from_vector(none, view.pose.R);
    view.pose.t[2] = 1000;
    const ps_circle3 edge = {.centre = {x - 400, 0, 0}, .normal = {0, 0, -1}, .radius_mm = 100};
    ps_notes n = {0};
    ps_gauge_pin_problems(&photo, &view, &edge, PS_ROLE_LINK, seen, cut, clipped, &n);
    return n;
}

static void pins(void **state) {
    (void)state;
    bool cut, clipped;
    ps_notes n = pin_at(400, 100, 1, true, &cut, &clipped);
    assert_true(n.count == 0 && !cut && !clipped);
    n = pin_at(740, 100, 1, true, &cut, &clipped); /* said; but 71 % of it is in the picture, and those may do */
    assert_true(n.count == 1 && !cut && ps_notes_have(&n, PS_CODE_PIN_CUT_OFF));
    n = pin_at(760, 100, 1, true, &cut, &clipped); /* 63 % */
    assert_true(n.count == 1 && cut && ps_notes_have(&n, PS_CODE_PIN_CUT_OFF) && strstr(n.note[0].text, "link pin"));
    n = pin_at(695, 100, 1, true, &cut, &clipped);
    assert_true(n.count == 0 && !cut);
    n = pin_at(400, 255, 0.5, true, &cut, &clipped);
    assert_true(n.count == 1 && clipped && ps_notes_have(&n, PS_CODE_EXPOSURE) && strstr(n.note[0].text, "bright"));
    n = pin_at(400, 0, 0.5, true, &cut, &clipped);
    assert_true(n.count == 1 && clipped && strstr(n.note[0].text, "dark"));
    n = pin_at(400, 255, 0.1, true, &cut, &clipped);
    assert_true(n.count == 0 && !clipped);
    n = pin_at(400, 100, 1, false, &cut, &clipped);
    assert_true(n.count == 1 && ps_notes_have(&n, PS_CODE_PIN_HIDDEN));
}

/* A second piece far away and small takes nothing from a large one. */
static void small_beside_large(void **state) {
    (void)state;
    ps_sightings s = sound();
    s.piece[s.count++] = s.piece[0];
    s.piece[1].square_px = 10;
    assert_int_equal(judge(&s, NULL).count, 0);
}

static void angle(void **state) {
    (void)state;
    for (int degrees = 0; degrees < 90; degrees += 10) {
        ps_sightings s = sound();
        ps_view view = {.lens = {.f_px = 3000, .cx = 2015.5, .cy = 1511.5}, .orientation = 1, .stored_width = 4032, .stored_height = 3024};
        double turn[3] = {0, degrees * 3.14159265358979323846 / 180, 0};
        ps_rotation_from_vector(turn, view.pose.R);
        view.pose.t[2] = 800;
        /* The piece's middle on the camera's axis, so that the angle is the turn. */
        const ps_piece *p = ps_kit_piece(s.piece[0].piece);
        double *h = s.piece[0].homography;
        h[2] = 2015.5 - h[0] * p->columns * p->square_mm / 2, h[5] = 1511.5 - h[4] * p->rows * p->square_mm / 2;
        ps_notes n = judge(&s, &view);
        assert_int_equal(ps_notes_have(&n, PS_CODE_OBLIQUE), degrees > 60);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(faults), cmocka_unit_test(blurs), cmocka_unit_test(pins),
                                       cmocka_unit_test(small_beside_large), cmocka_unit_test(angle)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
