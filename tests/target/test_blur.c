/* Blur from the sides of squares: rendered pieces of known Gaussian blur and known straight shakes. */
#include "check.h"

#include "render.h"

/* A pixel's own aperture is a box of 1 px: variance 1/12. */
static const double aperture = 1.0 / 12.0;
/* Noise of 2 levels over some 50 sides, pixels as samples, and the shape of a Gaussian cut into pixels: 4 %. */
static const double gaussian_share = 0.04;
/* The edge of a straight, even shake is a ramp, no error function. Fitted by least squares to a ramp of 6 px softened by 0.85 px, an
 * error function is 1.07 times as wide as the ramp's own spread (worked out apart, on a line, without noise). The rest is the
 * ink's far side coming near: a tenth. The short spread is a difference of long ones and takes twice that. */
static const double ramp = 1.07, shake_share = 0.10, short_share = 0.20;
static const double angle_most_deg = 6; /* a tenth of a variance that is five times the other's turns the axes by 4 degrees */

static ps_blur blur_of(double square_px, double turn, double blur_px, double shake_px, double shake_deg) {
    render_scene s = {
        .width = 620, .height = 760, .pieces = 1, .blur_px = blur_px, .noise = 2.0, .shake_px = shake_px, .shake_deg = shake_deg};
    s.piece[0].piece = ps_kit_piece(0);
    render_place(&s.piece[0], square_px, turn, 0.2, 310, 380);
    ps_luma luma = render(s, 7);
    ps_context *ctx = ps_context_new();
    ps_sightings seen;
    ps_status status = ps_target_sight(ctx, &luma, &seen);
    ps_blur blur = {.edges = 0};
    if (status == PS_OK) blur = seen.piece[0].blur;
    free(luma.px);
    ps_context_free(ctx);
    return blur;
}

static void out_of_focus(void **state) {
    (void)state;
    static const double sigma[] = {0.8, 1.2, 1.8, 2.6};
    for (size_t i = 0; i < sizeof sigma / sizeof sigma[0]; i++) {
        double truth = sqrt(sigma[i] * sigma[i] + aperture);
        ps_blur b = blur_of(64, 0.3 * (double)i, sigma[i], 0, 0);
        assert_true(b.edges > 40);
        CHECK_NEAR(b.major_px, truth, gaussian_share * truth + 0.02);
        CHECK_NEAR(b.minor_px, truth, gaussian_share * truth + 0.02);
    }
}

/* Along the squares, aslant, and along their diagonals, where the sides alone cannot tell a shake from defocus. */
static void shaken(void **state) {
    (void)state;
    static const double turn = 0.2;
    for (int deg = -90; deg < 90; deg += 30)
        for (int diagonal = 0; diagonal < 2; diagonal++) {
            double direction = diagonal ? turn * 180 / 3.14159265358979323846 + 45 + 90 * (deg > 0) : deg, length = 6;
            double across = sqrt(0.64 + aperture), along = ramp * sqrt(across * across + length * length / 12);
            ps_blur b = blur_of(64, turn, 0.8, length, direction);
            assert_true(b.edges > 40);
            CHECK_NEAR(b.minor_px, across, short_share * across);
            CHECK_NEAR(b.major_px, along, shake_share * along);
            CHECK_NEAR(remainder(b.angle_deg - direction, 180), 0, angle_most_deg);
        }
}

/* What is read comes from the pixels: a sighting laid on an even ground has no sides. */
static void nothing_there(void **state) {
    (void)state;
    render_scene s = {.width = 620, .height = 760, .pieces = 1, .blur_px = 1.0, .noise = 2.0};
    s.piece[0].piece = ps_kit_piece(0);
    render_place(&s.piece[0], 64, 0, 0.2, 310, 380);
    ps_luma luma = render(s, 7);
    ps_context *ctx = ps_context_new();
    ps_sightings seen;
    ps_blur b;
    assert_int_equal(ps_target_sight(ctx, &luma, &seen), PS_OK);
    assert_true(ps_target_blur(&luma, &seen.piece[0], &b));
    seen.piece[0].corner_count = 2;
    assert_false(ps_target_blur(&luma, &seen.piece[0], &b));
    assert_int_equal(b.edges, 0);
    seen.piece[0].corner_count = ps_kit_piece(0)->corner_count;
    memset(luma.px, 128, luma.stride * (size_t)luma.height);
    assert_false(ps_target_blur(&luma, &seen.piece[0], &b));
    free(luma.px);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(out_of_focus), cmocka_unit_test(shaken), cmocka_unit_test(nothing_there)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
