/* light.h: linear light between pixels. */
#ifndef PINSPAN_PHOTO_LIGHT_H
#define PINSPAN_PHOTO_LIGHT_H

#include "pinspan/photo.h"

#include <math.h>

/* Whether a place lies between four pixels. */
static inline bool ps_light_inside(const ps_luma *luma, double x, double y) {
    return x >= 0 && y >= 0 && x < luma->width - 1 && y < luma->height - 1;
}

/* Bilinear, of a place inside. `table`: ps_photo_linear_table(), which callers in loops have at hand. */
static inline double ps_light_at(const ps_luma *luma, const float *table, double x, double y) {
    int i = (int)x, j = (int)y;
    double a = x - i, b = y - j;
    const uint8_t *p = luma->px + (size_t)j * luma->stride + i, *q = p + luma->stride;
    return (1 - b) * ((1 - a) * (double)table[p[0]] + a * (double)table[p[1]]) +
           b * ((1 - a) * (double)table[q[0]] + a * (double)table[q[1]]);
}

/* The same; NaN outside. */
static inline double ps_light_or_nan(const ps_luma *luma, const float *table, double x, double y) {
    return ps_light_inside(luma, x, y) ? ps_light_at(luma, table, x, y) : NAN;
}

#endif
