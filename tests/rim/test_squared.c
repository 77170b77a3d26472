/* The squared view: circles parallel to the plane are circles in it, whatever their height. */
#include "check.h"

#include <string.h>

#include "render_pin.h"
#include "rim/squared.h"

/* Interpolated projection is stated to be within 0.01 px. In the root of light an edge of blur b seems shifted to its dark
 * side by b (v'/2v): for a disc 1.18 times as light as the plate and b = 1.5 (1 px of blur and the view's smoothing) that is
 * 0.04 px outward. A sector of 26 degrees has some 40 px of edge in noise. */
static const double MEAN_PX = 0.06, SECTOR_PX = 0.15;

/* A flat white disc on a dark plate, at a height: a pin without chamfer in no bush. Here the bush is the disc. */
static pin_scene disc_scene(double height, double radius, double tilt, double toward) {
    pin_scene s = pin_scene_plain(420, 400);
    const double at[2] = {0, 0};
    s.view = pin_view(s.width, s.height, 1500, at, 600, tilt, toward, 12);
    s.noise = 0.5;
    s.texture = 0;
    s.plate[0] = s.plate[1] = 0.34; /* the disc returns 0.4 */
    s.shapes = 1;
    s.shape[0] = (pin_shape){.face_h = height, .pin_r = 5, .bush_h = height, .bush_r = radius};
    return s;
}

/* How far outside `seen` the strongest edge along the radius is, averaged over directions from..to; samples. */
static double edge_offset(const ps_squared *s, const double seen[3], double from, double to) {
    enum { REACH = 30, DIRECTIONS = 40 };
    double sum[2 * REACH + 1] = {0};
    for (int n = 0; n < DIRECTIONS; n++) {
        double theta = from + (to - from) * (n + 0.5) / DIRECTIONS, c = cos(theta), d = sin(theta);
        for (int e = -REACH; e <= REACH; e++) {
            double r = seen[2] / s->step + 0.1 * e, x = (seen[0] - s->x0) / s->step + r * c, y = (seen[1] - s->y0) / s->step + r * d;
            int i = (int)x, j = (int)y;
            for (int k = 0; k < 4; k++) {
                size_t m = (size_t)(j + k / 2) * (size_t)s->width + (size_t)(i + k % 2);
                double w = (k % 2 ? x - i : 1 - x + i) * (k / 2 ? y - j : 1 - y + j);
                sum[e + REACH] -= w * ((double)s->gx[m] * c + (double)s->gy[m] * d); /* darker outside */
            }
        }
    }
    int best = 1;
    for (int e = 1; e < 2 * REACH; e++)
        if (sum[e] > sum[best]) best = e;
    double a = sum[best - 1], b = sum[best], c = sum[best + 1];
    return 0.1 * (best - REACH + 0.5 * (a - c) / (a - 2 * b + c));
}

static void test_circles_of_any_height(void **state) {
    (void)state;
    static const double height[] = {0.5, 15, 45}, tilt[] = {3, 25, 25}, toward[] = {0, 40, 200};
    const double radius = 40, box[4] = {-75, 75, -75, 75};
    for (int k = 0; k < 3; k++) {
        pin_scene scene = disc_scene(height[k], radius, tilt[k], toward[k]);
        ps_luma luma = pin_render(&scene, 3);
        ps_plane plane = ps_plane_world();
        ps_squared s;
        assert_int_equal(ps_squared_render(NULL, &luma, &scene.view, &plane, box, 0, 1, &s), PS_OK);
        double seen[3];
        ps_squared_circle(&s, 0, 0, height[k], radius, seen);
        /* Away from the camera's foot the disc's edge stands against the plate; on the other side its own wall shows. */
        double away = atan2(seen[1] - s.foot[1], seen[0] - s.foot[0]), mean = 0;
        for (int i = -3; i <= 2; i++) {
            double off = edge_offset(&s, seen, away + i * 0.45, away + (i + 1) * 0.45);
            CHECK_NEAR(off, 0, SECTOR_PX);
            mean += off / 6;
        }
        CHECK_NEAR(mean, 0, MEAN_PX);
        ps_squared_clear(&s);
        free(luma.px);
    }
}

static void test_camera_over_the_plane(void **state) {
    (void)state;
    const double at[2] = {100, -50}, box[4] = {80, 120, -70, -30}, EXACT = 1e-9;
    ps_view view = pin_view(300, 300, 800, at, 500, 30, 90, 33);
    uint8_t *px = calloc(300 * 300, 1);
    ps_luma luma = {300, 300, 300, px};
    ps_plane plane = ps_plane_world();
    ps_squared s;
    assert_int_equal(ps_squared_render(NULL, &luma, &view, &plane, box, 0.5, 1, &s), PS_OK);
    CHECK_NEAR(s.foot[0], 100, EXACT);
    CHECK_NEAR(s.foot[1], -50 + 500 * sin(pin_render_pi / 6), EXACT);
    CHECK_NEAR(s.rise, 500 * cos(pin_render_pi / 6), EXACT);
    double seen[3]; /* a circle half way up the camera's height looks twice as large, twice as far from the foot */
    ps_squared_circle(&s, 110, -50, 0.5 * s.rise, 7, seen);
    CHECK_NEAR(seen[0], 120, 1e-6);
    CHECK_NEAR(seen[1], 200 - 2 * 250, 1e-6);
    CHECK_NEAR(seen[2], 14, 1e-6);
    ps_squared_clear(&s);
    ps_squared_clear(&s); /* twice is harmless */
    free(px);
}

/* A plane of its own origin and direction: the same numbers in its frame. */
static void test_plane_frames(void **state) {
    (void)state;
    const double origin[3] = {10, 20, -30}, tilted[3] = {0.1, -0.2, -0.9};
    ps_plane p = ps_plane_square_to(origin, tilted);
    const double *axis[3] = {p.u, p.v, p.n};
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) CHECK_NEAR(axis[i][0] * axis[j][0] + axis[i][1] * axis[j][1] + axis[i][2] * axis[j][2], i == j, 1e-12);
    assert_true(p.u[0] > 0.9 && p.v[1] > 0.9); /* reads like the world's */
    const double down[3] = {0, 0, -1};
    ps_plane level = ps_plane_square_to(origin, down), world = ps_plane_world();
    for (int i = 0; i < 3; i++) {
        CHECK_NEAR(level.u[i], world.u[i], 1e-12);
        CHECK_NEAR(level.v[i], world.v[i], 1e-12);
        CHECK_NEAR(level.n[i], world.n[i], 1e-12);
    }
    double X[3];
    ps_plane_point(&level, 1, 2, 3, X);
    CHECK_NEAR(X[0], 11, 1e-12);
    CHECK_NEAR(X[1], 22, 1e-12);
    CHECK_NEAR(X[2], -33, 1e-12);
}

static void test_outside_and_behind(void **state) {
    (void)state;
    const double at[2] = {0, 0}, wide[4] = {-400, 400, -400, 400}, huge[4] = {-1e5, 1e5, -1e5, 1e5};
    uint8_t *px = malloc(200 * 200);
    memset(px, 90, 200 * 200);
    ps_luma luma = {200, 200, 200, px};
    ps_view view = pin_view(200, 200, 500, at, 500, 10, 0, 0);
    ps_plane plane = ps_plane_world(), behind = {{0, 0, -600}, {1, 0, 0}, {0, 1, 0}, {0, 0, -1}};
    ps_squared s;
    assert_int_equal(ps_squared_render(NULL, &luma, &view, &plane, wide, 2, 1, &s), PS_OK);
    assert_true(s.value[0] == -1 && s.gx[0] == 0); /* outside the photo: unusable, and no edge at its border */
    float inside = s.value[(size_t)(s.height / 2) * (size_t)s.width + (size_t)(s.width / 2)];
    CHECK_NEAR((double)inside * (double)inside, (double)ps_photo_linear_table()[90], 1e-6);
    for (int i = 0; i < s.width * s.height; i++) assert_true(fabsf(s.gx[i]) < 1e-6f && fabsf(s.gy[i]) < 1e-6f);
    ps_squared_clear(&s);
    assert_int_equal(ps_squared_render(NULL, &luma, &view, &behind, wide, 2, 1, &s), PS_NOT_FOUND);
    assert_int_equal(ps_squared_render(NULL, &luma, &view, &plane, huge, 2, 1, &s), PS_TOO_LARGE);
    free(px);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_circles_of_any_height),
        cmocka_unit_test(test_camera_over_the_plane),
        cmocka_unit_test(test_plane_frames),
        cmocka_unit_test(test_outside_and_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
