/* The whole sighting on rendered pictures with known corners. */
#include "check.h"

#include "pinspan/target.h"
#include "target/tags.h"

#include "render.h"

typedef struct {
    int corners, truth;
    double rms_px, ratio; /* of the error per axis; of error / sigma */
    double mean[2];
    ps_sightings seen;
    ps_status status;
} outcome;

static void compare(const render_piece *p, const ps_sighting *s, outcome *o) {
    double squares = 0.0, ratios = 0.0;
    for (int i = 0; i < s->corner_count; i++) {
        double true_px[2];
        render_corner(p, s->corner[i].index, true_px);
        double dx = s->corner[i].x_px - true_px[0], dy = s->corner[i].y_px - true_px[1];
        squares += dx * dx + dy * dy;
        ratios += (dx * dx + dy * dy) / (s->corner[i].sigma_px * s->corner[i].sigma_px);
        o->mean[0] += dx / s->corner_count, o->mean[1] += dy / s->corner_count;
    }
    o->corners = s->corner_count, o->truth = p->piece->corner_count;
    o->rms_px = sqrt(squares / (2.0 * s->corner_count));
    o->ratio = sqrt(ratios / (2.0 * s->corner_count));
}

static outcome sight(const render_scene *scene, uint64_t seed) {
    static outcome o; /* large */
    memset(&o, 0, sizeof o);
    ps_luma luma = render(*scene, seed);
    ps_context *ctx = ps_context_new();
    o.status = ps_target_sight(ctx, &luma, &o.seen);
    if (o.status == PS_OK) compare(&scene->piece[0], &o.seen.piece[0], &o);
    ps_context_free(ctx);
    free(luma.px);
    return o;
}

static render_scene one_piece(const char *name, double square_px, double turn, double slant, double blur_px) {
    render_scene s = {.blur_px = blur_px, .noise = 2.0, .pieces = 1};
    s.piece[0].piece = ps_kit_piece(ps_kit_find(name));
    double side = (1.2 * s.piece[0].piece->rows + 1.0) * square_px;
    s.width = s.height = (int)side + 40;
    render_place(&s.piece[0], square_px, turn, slant, 0.5 * s.width + 0.3, 0.5 * s.height + 0.2);
    return s;
}

/* Tolerance: a corner's least possible sd by Fisher information of two straight edges that reach L px to either side. The
 * noise of 2 levels is 0.0104 in linear light at the middle of an edge between 0.04 and 0.75, 0.0147 of its contrast; an
 * edge of blur b then gives sd = 0.0147 sqrt(2 b sqrt(pi)) / sqrt(2 L'), where L' = L - 1.5 b because at the crossing itself
 * the edges have no slope: 0.006 px for b = 1, L = 20; 0.010 for b = 2, L = 10. Twice that for the other unknowns (angles,
 * light, blur), and 0.01 px for the renderer's five samples a pixel. */
static double tolerance_px(double blur_px, double square_px) {
    double length = fmin(fmax(fmax(square_px / 6.0, 7.0), 5.0 * blur_px), fmin(0.45 * square_px, 23.0));
    return 2.0 * 0.0147 * sqrt(2.0 * blur_px * 1.7725) / sqrt(2.0 * (length - 1.5 * blur_px)) + 0.01;
}

static void corners_are_where_they_are(void **state) {
    (void)state;
    static const struct {
        const char *piece;
        double square_px, blur_px, turn, slant;
    } view[] = {
        {"plate-1", 14, 0.5, 0.10, 0.0}, {"plate-1", 24, 0.5, 0.40, 0.1}, {"plate-2", 24, 1.0, -0.3, 0.1}, {"plate-1", 40, 1.0, 0.85, 0.3},
        {"plate-2", 40, 2.0, 2.00, 0.2}, {"patch-1", 60, 0.5, 3.10, 0.4}, {"patch-2", 60, 2.0, -1.6, 0.4}, {"mini-1", 120, 1.0, 0.5, 0.3},
        {"patch-4", 200, 0.5, 0.2, 0.2}, {"mini-2", 200, 2.0, -0.7, 0.2},
    };
    for (size_t i = 0; i < sizeof view / sizeof view[0]; i++) {
        render_scene s = one_piece(view[i].piece, view[i].square_px, view[i].turn, view[i].slant, view[i].blur_px);
        outcome o = sight(&s, i + 1);
        assert_int_equal(o.status, PS_OK);
        assert_int_equal(o.seen.count, 1);
        assert_int_equal(o.seen.piece[0].piece, ps_kit_find(view[i].piece));
        assert_int_equal(o.corners, o.truth);
        CHECK_NEAR(o.rms_px, 0.0, tolerance_px(view[i].blur_px, view[i].square_px));
        /* The floor of 0.02 px makes small errors look better than stated, never worse. With 24 numbers or more, a ratio
         * of 1.4 is more than three sd of it above 1. */
        CHECK_NEAR(o.ratio, 0.7, 0.7);
        CHECK_NEAR(o.seen.piece[0].blur_px, view[i].blur_px, 0.15 * view[i].blur_px + 0.1);
        CHECK_NEAR(o.seen.piece[0].square_px / view[i].square_px, 1.0, 0.1);
        /* Levels need a flat of paper between the edge and the tag's ink; 6 levels are 5 % in linear light. */
        if (0.15 * view[i].square_px < 4.0 * view[i].blur_px + 2.0) continue;
        CHECK_NEAR(o.seen.piece[0].white, render_encode(0.75), 6.0);
        CHECK_NEAR(o.seen.piece[0].black, render_encode(0.04), 6.0);
    }
}

/* Turned a little, so that the renderer's five samples a pixel average out along the edges. A convention off by half a pixel would show as
 * a mean of 0.5 (0.25 at half size ...). 35 corners of sd 0.02 px average to 0.004 px; four of these. */
static void no_half_pixel(void **state) {
    (void)state;
    render_scene s = one_piece("plate-1", 50, 0.06, 0.0, 0.8);
    outcome o = sight(&s, 3);
    assert_int_equal(o.status, PS_OK);
    CHECK_NEAR(o.mean[0], 0.0, 0.016);
    CHECK_NEAR(o.mean[1], 0.0, 0.016);
}

/* Tag centres at every scale of search: methods give .03-.07 px for refined corners of large tags, times the shrink. */
static void no_half_pixel_in_tags(void **state) {
    (void)state;
    static const double tolerance[] = {0.15, 0.1, 0.2, 0.3};
    render_scene s = one_piece("patch-1", 100, 0.06, 0.0, 0.8);
    ps_luma luma = render(s, 4);
    for (int shrink = 0; shrink <= 3; shrink++) {
        static ps_tags tags;
        tags.count = 0;
        assert_int_equal(ps_tags_find(NULL, &luma, shrink, &tags), PS_OK);
        assert_int_equal(tags.count, 10);
        double mean[2] = {0.0, 0.0};
        for (int i = 0; i < tags.count; i++) {
            int n;
            double mm[2], px[2];
            assert_int_equal(ps_kit_piece_of_tag(tags.tag[i].id, &n), 2);
            ps_piece_tag_centre(s.piece[0].piece, n, mm);
            ps_homography_apply(s.piece[0].to_px, mm, px);
            for (int k = 0; k < 2; k++) mean[k] += (tags.tag[i].centre_px[k] - px[k]) / tags.count;
        }
        CHECK_NEAR(mean[0], 0.0, tolerance[shrink]);
        CHECK_NEAR(mean[1], 0.0, tolerance[shrink]);
    }
    free(luma.px);
}

/* A sheet that was printed almost without ink, or lies in mist: ten levels between black and white, less than clear contrast. */
static void faint_tags_are_found(void **state) {
    (void)state;
    render_scene s = one_piece("patch-1", 60, 0.06, 0.0, 0.8);
    s.noise = 0;
    ps_luma luma = render(s, 6);
    uint8_t low = 255, high = 0;
    for (size_t i = 0; i < (size_t)luma.width * (size_t)luma.height; i++) {
        luma.px[i] = (uint8_t)(120 + luma.px[i] / 20);
        if (luma.px[i] < low) low = luma.px[i];
        if (luma.px[i] > high) high = luma.px[i];
    }
    assert_true(high - low < 15 && high - low >= 8);
    static ps_tags tags;
    assert_int_equal(ps_tags_find_scales(NULL, &luma, &tags), PS_OK);
    assert_int_equal(tags.count, 10);
    free(luma.px);
}

static void half_hidden_still_measures(void **state) {
    (void)state;
    render_scene s = one_piece("plate-1", 50, 0.3, 0.2, 1.0);
    s.piece[0].hidden_from_mm = 100.0; /* corners at 30, 60, 90 stay */
    outcome o = sight(&s, 5);
    assert_int_equal(o.status, PS_OK);
    /* Three of five columns; those at 90 mm have 10 mm of print beyond them. */
    assert_true(o.corners >= 14 && o.corners <= 21);
    CHECK_NEAR(o.rms_px, 0.0, tolerance_px(1.0, 50));
}

static void a_line_of_corners_is_hidden(void **state) {
    (void)state;
    render_scene s = one_piece("plate-1", 50, 0.3, 0.2, 1.0);
    s.piece[0].hidden_from_mm = 52.0; /* one column of corners */
    outcome o = sight(&s, 6);
    assert_int_equal(o.status, PS_NOT_FOUND);
    assert_int_equal(o.seen.count, 0);
    assert_int_equal(o.seen.hidden_count, 1);
    assert_int_equal(o.seen.hidden[0], 0);
}

static void nothing_there(void **state) {
    (void)state;
    render_scene s = {.width = 640, .height = 480, .blur_px = 1.0, .noise = 4.0};
    assert_int_equal(sight(&s, 7).status, PS_NOT_FOUND);
    render_scene tiny = {.width = 9, .height = 7, .blur_px = 0.5};
    assert_int_equal(sight(&tiny, 8).status, PS_NOT_FOUND);
}

static void foreign_print_is_refused(void **state) {
    (void)state;
    static const render_ink ink[] = {INK_MIRRORED, INK_OTHER_FAMILY, INK_NONE};
    for (size_t i = 0; i < sizeof ink / sizeof ink[0]; i++) {
        render_scene s = one_piece("plate-1", 50, 0.2, 0.1, 0.8);
        s.piece[0].ink = ink[i];
        outcome o = sight(&s, 9 + i);
        assert_int_equal(o.status, PS_NOT_FOUND);
        assert_int_equal(o.seen.hidden_count, 0);
    }
}

static void bad_arguments(void **state) {
    (void)state;
    static ps_sightings seen;
    uint8_t px[4] = {0};
    ps_luma none = {.width = 0, .height = 2, .stride = 2, .px = px}, narrow = {.width = 2, .height = 2, .stride = 1, .px = px};
    assert_int_equal(ps_target_sight(NULL, NULL, &seen), PS_BAD_ARGUMENT);
    assert_int_equal(ps_target_sight(NULL, &none, &seen), PS_BAD_ARGUMENT);
    assert_int_equal(ps_target_sight(NULL, &narrow, &seen), PS_BAD_ARGUMENT);
}

/* Two pieces, uneven light, a bent plate: each found with its own name; the bend costs no corner and no precision. */
static void two_pieces_bent_and_unevenly_lit(void **state) {
    (void)state;
    render_scene s = {.width = 760, .height = 560, .blur_px = 1.0, .noise = 2.0, .pieces = 2, .light_x = 0.6};
    s.piece[0].piece = ps_kit_piece(ps_kit_find("plate-2"));
    s.piece[1].piece = ps_kit_piece(ps_kit_find("patch-3"));
    s.piece[0].bend = 1.2e-4; /* 1.7 mm over 120 mm: at 40 px a square 2.3 px off the flat print */
    render_place(&s.piece[0], 40, 0.2, 0.2, 230, 290);
    render_place(&s.piece[1], 45, -0.4, -0.2, 580, 300);
    outcome o = sight(&s, 12);
    assert_int_equal(o.status, PS_OK);
    assert_int_equal(o.seen.count, 2);
    assert_int_equal(o.seen.piece[0].piece, ps_kit_find("plate-2"));
    assert_int_equal(o.seen.piece[1].piece, ps_kit_find("patch-3"));
    assert_int_equal(o.corners, 35);
    assert_int_equal(o.seen.piece[1].corner_count, 12);
    /* Contrast falls to 40 % at the right: tolerance over the darkest part. */
    CHECK_NEAR(o.rms_px, 0.0, 2.0 * tolerance_px(1.0, 40));
    CHECK_NEAR(o.seen.piece[0].rms_px, 0.0, 2.0 * tolerance_px(1.0, 40));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(corners_are_where_they_are),
        cmocka_unit_test(no_half_pixel),
        cmocka_unit_test(no_half_pixel_in_tags),
        cmocka_unit_test(faint_tags_are_found),
        cmocka_unit_test(half_hidden_still_measures),
        cmocka_unit_test(a_line_of_corners_is_hidden),
        cmocka_unit_test(nothing_there),
        cmocka_unit_test(foreign_print_is_refused),
        cmocka_unit_test(bad_arguments),
        cmocka_unit_test(two_pieces_bent_and_unevenly_lit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
