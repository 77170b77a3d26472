/* saddle.h: one checkerboard corner to a few hundredths of a pixel. */
#ifndef PINSPAN_TARGET_SADDLE_H
#define PINSPAN_TARGET_SADDLE_H

#include "pinspan/photo.h"

/* Where to look. All px of the upright photo. */
typedef struct ps_saddle_guess {
    double x_px, y_px;
    double along_x[2], along_y[2]; /* one square's step along the piece's x and y at this corner */
    bool black_first;              /* the squares top-left and bottom-right of the corner are black */
    double margin;                 /* clear paper between a square's side and its tag's ink, share of a square */
    double blur_px;                /* expected edge blur */
} ps_saddle_guess;

typedef struct ps_saddle {
    double x_px, y_px, sigma_px; /* sd per axis, mean of both axes */
    double blur_px;              /* Gaussian sigma of the edges, pixel aperture included */
    double white, black;         /* levels in linear light, 0..1 */
    double fit;                  /* share of the window's variance that the model explains, 0..1 */
} ps_saddle;

/* Fits two crossing blurred edges in linear light inside a cross-shaped window that stays clear of tag ink and of the
 * next corners. PS_NOT_FOUND when there is no such corner near the guess (hidden, too faint, wrong way round, too near
 * the border). No message is left: a missing corner is ordinary. */
ps_status ps_saddle_fit(const ps_luma *luma, const ps_saddle_guess *guess, ps_saddle *out);

#endif
