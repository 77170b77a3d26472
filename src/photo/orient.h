/* orient.h: where a stored pixel lands in the upright picture. */
#ifndef PINSPAN_PHOTO_ORIENT_H
#define PINSPAN_PHOTO_ORIENT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Stored pixel (x, y) is pixel number first + x*step_x + y*step_y of the upright picture of width x height. */
typedef struct ps_turn {
    int width, height; /* upright */
    bool swapped;      /* stored rows become upright columns */
    ptrdiff_t first, step_x, step_y;
} ps_turn;

ps_turn ps_turn_of(int orientation, int stored_width, int stored_height);

/* Puts `rows` stored rows of 8-bit pixels, the first being stored row y, into the upright picture. */
void ps_turn_rows(const ps_turn *turn, int stored_width, const uint8_t *rows, int y, int count, uint8_t *upright);

#endif
