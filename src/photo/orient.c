/* orient.c: the eight EXIF orientations (CIPA DC-008, tag Orientation: which sides the stored row 0 and column 0 are).
 * Each is: exchange x and y or not, then turn round the upright x or not, then the upright y or not. */
#include "photo/orient.h"

#include "pinspan/photo.h"

typedef struct rule {
    bool swap, flip_x, flip_y;
} rule;

static rule rule_of(int orientation) {
    static const rule rules[9] = {
        {false, false, false}, {false, false, false}, {false, true, false}, {false, true, true}, {false, false, true},
        {true, false, false},  {true, true, false},   {true, true, true},   {true, false, true},
    };
    return rules[orientation >= 1 && orientation <= 8 ? orientation : 1];
}

void ps_photo_stored_to_upright(int orientation, int stored_width, int stored_height, const double stored[2], double upright[2]) {
    rule r = rule_of(orientation);
    double x = r.swap ? stored[1] : stored[0], y = r.swap ? stored[0] : stored[1];
    int width = r.swap ? stored_height : stored_width, height = r.swap ? stored_width : stored_height;
    upright[0] = r.flip_x ? width - 1 - x : x;
    upright[1] = r.flip_y ? height - 1 - y : y;
}

void ps_photo_upright_to_stored(int orientation, int stored_width, int stored_height, const double upright[2], double stored[2]) {
    rule r = rule_of(orientation);
    int width = r.swap ? stored_height : stored_width, height = r.swap ? stored_width : stored_height;
    double x = r.flip_x ? width - 1 - upright[0] : upright[0];
    double y = r.flip_y ? height - 1 - upright[1] : upright[1];
    stored[0] = r.swap ? y : x;
    stored[1] = r.swap ? x : y;
}

ps_turn ps_turn_of(int orientation, int stored_width, int stored_height) {
    rule r = rule_of(orientation);
    ps_turn t = {.width = r.swap ? stored_height : stored_width, .height = r.swap ? stored_width : stored_height, .swapped = r.swap};
    ptrdiff_t right = r.flip_x ? -1 : 1, down = r.flip_y ? -(ptrdiff_t)t.width : (ptrdiff_t)t.width;
    t.step_x = r.swap ? down : right;
    t.step_y = r.swap ? right : down;
    t.first = (r.flip_x ? (ptrdiff_t)t.width - 1 : 0) + (r.flip_y ? (ptrdiff_t)t.width * (t.height - 1) : 0);
    return t;
}

void ps_turn_rows(const ps_turn *turn, int stored_width, const uint8_t *rows, int y, int count, uint8_t *upright) {
    uint8_t *to = upright + turn->first + y * turn->step_y;
    if (!turn->swapped) {
        for (int j = 0; j < count; j++)
            for (int x = 0; x < stored_width; x++)
                to[x * turn->step_x + j * turn->step_y] = rows[(size_t)j * (size_t)stored_width + (size_t)x];
        return;
    }
    /* Down the columns, so that the writes are consecutive; the strip is low enough to stay in cache. */
    for (int x = 0; x < stored_width; x++)
        for (int j = 0; j < count; j++) to[x * turn->step_x + j * turn->step_y] = rows[(size_t)j * (size_t)stored_width + (size_t)x];
}
