/* Photo problems: none for a sound photo, the right one for each fault. */
#include "check.h"

#include "gauge/quality.h"

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
    ps_gauge_photo_problems(&luma, s, view, &n);
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
    s = sound(), s.piece[0].blur_px = 3.2;
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
    const struct CMUnitTest tests[] = {cmocka_unit_test(faults), cmocka_unit_test(small_beside_large), cmocka_unit_test(angle)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
