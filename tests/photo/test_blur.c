/* Blur from a photo's own edges: drawn polygons of known Gaussian blur and straight shakes. */
#include "check.h"

#include "pinspan/photo.h"

#include <math.h>
#include <stdlib.h>

enum { SIDE = 500, SHAPES = 40, STEPS = 16 };
/* The estimate says whether a photo is sharp, in classes a factor of two apart: a quarter. */
static const double share = 0.25;

typedef struct drawing {
    double x[SHAPES], y[SHAPES], turn[SHAPES], size[SHAPES], light[SHAPES];
} drawing;

static drawing draw(void) {
    drawing d;
    uint32_t state = 12345;
    double *all = d.x;
    for (int i = 0; i < 5 * SHAPES; i++) {
        state = state * 1664525u + 1013904223u;
        double u = (double)(state >> 8) / 16777216.0;
        int k = i % SHAPES;
        all = i / SHAPES == 0 ? d.x : i / SHAPES == 1 ? d.y : i / SHAPES == 2 ? d.turn : i / SHAPES == 3 ? d.size : d.light;
        all[k] = i / SHAPES < 2    ? u * SIDE
                 : i / SHAPES == 2 ? u * 3
                 : i / SHAPES == 3 ? 25 + 30 * u
                 : k % 2           ? 0.05 + 0.1 * u
                                   : 0.6 + 0.2 * u;
    }
    return d;
}

static double erf_step(double e) {
    return 0.5 * erfc(-e / sqrt(2.0));
}

/* Squares with soft sides: near a straight side a Gaussian blur is exactly that. */
static double light_at(const drawing *d, double x, double y, double sigma) {
    double v = 0.3;
    for (int i = 0; i < SHAPES; i++) {
        double c = cos(d->turn[i]), s = sin(d->turn[i]), dx = x - d->x[i], dy = y - d->y[i];
        double u = fabs(c * dx + s * dy), w = fabs(c * dy - s * dx);
        if (u > d->size[i] + 5 * sigma || w > d->size[i] + 5 * sigma) continue;
        double in = erf_step((d->size[i] - u) / sigma) * erf_step((d->size[i] - w) / sigma);
        v += in * (d->light[i] - v);
    }
    return v;
}

static ps_blur blur_of(double sigma, double shake_px, double shake_deg) {
    drawing d = draw();
    ps_luma luma = {.width = SIDE, .height = SIDE, .stride = SIDE, .px = malloc((size_t)SIDE * SIDE)};
    assert_non_null(luma.px);
    double dx = cos(shake_deg * 3.14159265358979323846 / 180), dy = sin(shake_deg * 3.14159265358979323846 / 180);
    int steps = shake_px > 0 ? STEPS : 1;
    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) {
            double v = 0;
            for (int k = 0; k < steps; k++) {
                double t = ((k + 0.5) / steps - 0.5) * shake_px;
                v += light_at(&d, x + t * dx, y + t * dy, sigma) / steps;
            }
            luma.px[(size_t)y * SIDE + (size_t)x] = (uint8_t)(255 * (v <= 0.0031308 ? 12.92 * v : 1.055 * pow(v, 1 / 2.4) - 0.055) + 0.5);
        }
    ps_blur b;
    assert_true(ps_photo_blur(&luma, &b));
    free(luma.px);
    return b;
}

static void out_of_focus(void **state) {
    (void)state;
    for (double sigma = 1; sigma < 5; sigma *= 2) {
        ps_blur b = blur_of(sigma, 0, 0);
        CHECK_NEAR(b.major_px, sigma, share * sigma);
        CHECK_NEAR(b.minor_px, sigma, share * sigma);
    }
}

static void shaken(void **state) {
    (void)state;
    for (int deg = -60; deg < 90; deg += 50) {
        ps_blur b = blur_of(1, 14, deg);
        CHECK_NEAR(b.major_px, sqrt(1 + 14 * 14 / 12.0), share * sqrt(1 + 14 * 14 / 12.0));
        assert_true(b.minor_px < 0.6 * b.major_px);
        CHECK_NEAR(remainder(b.angle_deg - deg, 180), 0, 22.5); /* one of eight directions */
    }
}

static void nothing_to_tell(void **state) {
    (void)state;
    ps_blur b;
    ps_luma luma = {.width = SIDE, .height = SIDE, .stride = SIDE, .px = calloc(SIDE, SIDE)};
    assert_non_null(luma.px);
    assert_false(ps_photo_blur(&luma, &b));
    assert_int_equal(b.edges, 0);
    free(luma.px);
    assert_false(ps_photo_blur(&(ps_luma){.width = SIDE, .height = SIDE, .stride = SIDE}, &b));
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(out_of_focus), cmocka_unit_test(shaken), cmocka_unit_test(nothing_to_tell)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
