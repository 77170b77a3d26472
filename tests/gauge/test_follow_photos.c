/* Rims are followed to where photos show them (src/gauge/follow.c), the whole way from photos. testimages/followed: three photos whose
 * lens, as corners and the edges beside the first prediction have it, is false. testimages/misuse/moved: in the first of three photos the
 * sheet had moved, by so little that only its rims tell, which lie elsewhere however the cameras are solved. */
#include "check.h"

#include <math.h>

#include "photo_set.h"

static photo_set followed, moved;

static int set_up(void **state) {
    (void)state;
    return set_measure(&followed, "followed") && set_measure(&moved, "misuse/moved") ? 0 : -1;
}

static int take_down(void **state) {
    (void)state;
    set_clear(&followed);
    set_clear(&moved);
    return 0;
}

static const char *const names[] = {"attachment.dipper.pin", "attachment.link.pin", "attachment.centres"};
enum { NAMES = 3 };

/* When this set was chosen, measured beside the first prediction alone its pins were missing, and the centres, to be confirmed, 0.7 mm off;
 * a change in the last digits of the cameras has undone that since, and that rims are followed is shown by test_follow.c. What verdict they
 * get is not asked: the link pin's bush is so poor that the last digits of the cameras decide how it is read. */
static void sizes_are_had(void **state) {
    (void)state;
    for (int i = 0; i < NAMES; i++) set_check_sound(&followed, names[i]);
}

/* Root mean square distance from the ellipse of a circle's true points that can be seen. */
static double off_px(const ps_ellipse *e, const json_t *circle) {
    const json_t *points = json_object_get(circle, "points"), *visible = json_object_get(circle, "visible");
    double sum = 0, n = 0, turn = e->angle;
    for (size_t i = 0; i < json_array_size(points); i++) {
        if (json_integer_value(json_array_get(visible, i)) == 0) continue; /* 1 or 0 */
        double x = json_number_value(json_array_get(json_array_get(points, i), 0)) - e->cx;
        double y = json_number_value(json_array_get(json_array_get(points, i), 1)) - e->cy;
        double r = hypot((x * cos(turn) + y * sin(turn)) / e->a, (y * cos(turn) - x * sin(turn)) / e->b);
        double off = hypot(x, y) * (1 - 1 / r); /* along the ray from the middle: within a tenth of it where the ellipse is so round */
        sum += off * off, n++;
    }
    return sqrt(sum / n);
}

static const json_t *circle_of(const json_t *photo, const char *pin, const char *edge) {
    const json_t *circles = json_object_get(photo, "circles"), *c;
    size_t k;
    json_array_foreach(circles, k, c) {
        if (strcmp(json_string_value(json_object_get(c, "pin")), pin) != 0) continue;
        if (strcmp(json_string_value(json_object_get(c, "edge")), edge) != 0) continue;
        if (strcmp(json_string_value(json_object_get(c, "ear")), "near") == 0) return c;
    }
    return NULL;
}

/* What was followed to are the rims themselves. */
static void rims_are_where_they_are(void **state) {
    (void)state;
    static const double NEAR_PX = 3; /* as testimages/score.py counts rims */
    int found = 0;
    for (int i = 0; i < SET_FILES; i++) {
        const ps_record_photo *photo = &followed.record.photo[i];
        for (int r = 0; r < photo->rim_count; r++) {
            const ps_record_rim *rim = &photo->rim[r];
            if (rim->edge != PS_EDGE_PIN || !rim->used) continue;
            const json_t *seen = json_array_get(json_object_get(followed.truth, "photos"), (size_t)i);
            const json_t *c = circle_of(seen, ps_role_word(rim->pin), "pin");
            assert_non_null(c);
            CHECK_NEAR(off_px(&rim->ellipse, c), 0, NEAR_PX);
            found++;
        }
    }
    assert_int_equal(found, SET_FILES * PS_ROLE_COUNT);
}

/* The photo that never rests is named and left out, and what the others say of the sizes holds; two are too few to be believed unasked.
 * Where nobody looks for it, no photo is named, the link pin is missing and its bush is read 14 mm too small. */
static void photo_that_never_rests(void **state) {
    (void)state;
    const ps_record_photo *photo = moved.record.photo;
    assert_true(!photo[0].usable && ps_notes_have(&photo[0].problems, PS_CODE_PIECE_MOVED));
    for (int i = 1; i < SET_FILES; i++) assert_true(photo[i].usable && !ps_notes_have(&photo[i].problems, PS_CODE_PIECE_MOVED));
    for (int i = 0; i < NAMES; i++) {
        const ps_dimension *d = set_check_sound(&moved, names[i]);
        assert_true(d->verdict == PS_VERDICT_CONFIRM && ps_notes_have(&d->reasons, PS_CODE_PIECE_MOVED));
    }
    set_check_sound(&moved, "attachment.link.bush");
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(sizes_are_had), cmocka_unit_test(rims_are_where_they_are),
                                       cmocka_unit_test(photo_that_never_rests)};
    return cmocka_run_group_tests(tests, set_up, take_down);
}
