/* The printed kit's geometry. Every number follows from the pieces' table and one rule: white squares in row-major order
 * hold consecutive tags of family 36h11 (the codes themselves are libapriltag's). */
#include <string.h>

#include "pinspan/target.h"

#define CHECKERBOARD(title, wide, high, square, tag, first)                                                                                \
    {                                                                                                                                      \
        .name = (title), .columns = (wide), .rows = (high), .square_mm = (square), .tag_side_mm = (tag), .first_tag = (first),             \
        .tag_count = (wide) * (high) / 2, .corner_count = ((wide)-1) * ((high)-1)                                                          \
    }

static const ps_piece kit[] = {
    CHECKERBOARD("plate-1", 6, 8, 30.0, 21.0, 0),  CHECKERBOARD("plate-2", 6, 8, 30.0, 21.0, 24),
    CHECKERBOARD("patch-1", 4, 5, 20.0, 14.0, 48), CHECKERBOARD("patch-2", 4, 5, 20.0, 14.0, 58),
    CHECKERBOARD("patch-3", 4, 5, 20.0, 14.0, 68), CHECKERBOARD("patch-4", 4, 5, 20.0, 14.0, 78),
    CHECKERBOARD("mini-1", 4, 5, 10.0, 7.0, 88),   CHECKERBOARD("mini-2", 4, 5, 10.0, 7.0, 98),
};
enum { KIT_COUNT = sizeof kit / sizeof kit[0] };
_Static_assert((int)KIT_COUNT <= (int)PS_PIECES_MAX, "a sighting per piece must fit");

int ps_kit_count(void) {
    return KIT_COUNT;
}

const ps_piece *ps_kit_piece(int piece) {
    return piece >= 0 && piece < KIT_COUNT ? &kit[piece] : NULL;
}

int ps_kit_find(const char *name) {
    for (int i = 0; name && i < KIT_COUNT; i++)
        if (strcmp(kit[i].name, name) == 0) return i;
    return -1;
}

void ps_piece_corner(const ps_piece *piece, int index, double mm[2]) {
    int columns = piece->columns - 1;
    mm[0] = (index % columns + 1) * piece->square_mm;
    mm[1] = (index / columns + 1) * piece->square_mm;
}

void ps_piece_tag_centre(const ps_piece *piece, int n, double mm[2]) {
    /* The columns are even in number, so each row has columns/2 white squares; in even rows they start at column 1. */
    int per_row = piece->columns / 2;
    int row = n / per_row;
    int column = 2 * (n % per_row) + (row % 2 == 0 ? 1 : 0);
    mm[0] = (column + 0.5) * piece->square_mm;
    mm[1] = (row + 0.5) * piece->square_mm;
}

int ps_kit_piece_of_tag(int id, int *n) {
    for (int i = 0; i < KIT_COUNT; i++) {
        int place = id - kit[i].first_tag;
        if (place < 0 || place >= kit[i].tag_count) continue;
        if (n) *n = place;
        return i;
    }
    return -1;
}
