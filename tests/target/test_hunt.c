/* Tags of one piece must agree: misplaced, doubled and foreign ones are left out. */
#include "check.h"

#include <string.h>

#include "target/hunt.h"

#include "render.h"

static void put(ps_tags *tags, const render_piece *p, int n, int id, double dx_px) {
    double centre[2], half = 0.5 * p->piece->tag_side_mm;
    ps_tag_seen *t = &tags->tag[tags->count++];
    memset(t, 0, sizeof *t);
    t->id = id;
    ps_piece_tag_centre(p->piece, n, centre);
    ps_homography_apply(p->to_px, centre, t->centre_px);
    for (int i = 0; i < 4; i++) {
        double mm[2] = {centre[0] + (i == 1 || i == 2 ? half : -half), centre[1] + (i >= 2 ? half : -half)};
        ps_homography_apply(p->to_px, mm, t->corner_px[i]);
        t->corner_px[i][0] += dx_px;
    }
    t->centre_px[0] += dx_px;
}

static render_piece plate(void) {
    render_piece p = {.piece = ps_kit_piece(0)};
    render_place(&p, 60, 0.4, 0.4, 400, 500);
    return p;
}

/* The homography must put the piece's far corner where it is: 0.01 px is rounding of exact input. */
static void check_place(const ps_hunt *h, const render_piece *p) {
    double px[2], mm[2] = {180.0, 240.0}, truth[2];
    ps_homography_apply(p->to_px, mm, truth);
    assert_true(ps_homography_apply(h->homography, mm, px));
    CHECK_NEAR(px[0], truth[0], 0.01);
    CHECK_NEAR(px[1], truth[1], 0.01);
}

static void strays_are_left_out(void **state) {
    (void)state;
    static ps_tags tags;
    static ps_hunt hunt;
    render_piece p = plate();
    tags.count = 0;
    put(&tags, &p, 3, 17, 0.0);  /* id 17 on the square of id 3 */
    put(&tags, &p, 5, 5, 300.0); /* the right id elsewhere, before the right one */
    put(&tags, &p, 8, 50, 0.0);  /* of another piece */
    put(&tags, &p, 9, 400, 0.0); /* of none */
    for (int n = 0; n < 6; n++) put(&tags, &p, n, n, 0.0);
    assert_true(ps_hunt_tags(&tags, 0, &hunt));
    assert_int_equal(hunt.tag_count, 6);
    for (int i = 0; i < 6; i++) assert_true(hunt.tag[i] >= &tags.tag[4]);
    check_place(&hunt, &p);
}

static void one_tag_is_a_start_and_none_is_not(void **state) {
    (void)state;
    static ps_tags tags;
    static ps_hunt hunt;
    render_piece p = plate();
    tags.count = 0;
    assert_false(ps_hunt_tags(&tags, 0, &hunt));
    put(&tags, &p, 7, 7, 0.0);
    assert_true(ps_hunt_tags(&tags, 0, &hunt));
    assert_int_equal(hunt.tag_count, 1);
    check_place(&hunt, &p);
    assert_false(ps_hunt_tags(&tags, 1, &hunt));
}

/* A tag without saddles around it is no piece, however well it was read. */
static void tags_without_corners_are_no_piece(void **state) {
    (void)state;
    static ps_tags tags;
    static ps_hunt hunt;
    static ps_sighting out;
    render_piece p = plate();
    render_scene s = {.width = 800, .height = 1000, .blur_px = 1.0, .noise = 3.0};
    ps_luma luma = render(s, 1);
    tags.count = 0;
    for (int n = 0; n < 12; n++) put(&tags, &p, n, n, 0.0);
    assert_true(ps_hunt_tags(&tags, 0, &hunt));
    assert_false(ps_hunt_corners(&luma, &hunt, &out));
    free(luma.px);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(strays_are_left_out),
        cmocka_unit_test(one_tag_is_a_start_and_none_is_not),
        cmocka_unit_test(tags_without_corners_are_no_piece),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
