/* smooth.h: a piece's corners against a smooth surface seen through a smooth lens. */
#ifndef PINSPAN_TARGET_SMOOTH_H
#define PINSPAN_TARGET_SMOOTH_H

#include "pinspan/target.h"

enum { PS_SMOOTH_TERMS_MAX = 7 };

/* Homography, radial lens distortion about the photo's middle, and on top a polynomial of low order in the place on the
 * piece, which carries its bend and the lens's lesser terms. */
typedef struct ps_smooth {
    double plain[9];               /* mm -> px, homography alone, lens left in */
    double centre_px[2], scale_px; /* photo's middle and half-diagonal */
    double homography[9];          /* mm -> undistorted place, unit: half-diagonals from the middle */
    double k1, k2;                 /* of that place, r in half-diagonals */
    double middle_mm[2], half_mm;
    int terms;                                  /* of the polynomial per axis: 0, 3 (quadratic), 7 (cubic) */
    double coefficient[2][PS_SMOOTH_TERMS_MAX]; /* half-diagonals */
} ps_smooth;

/* Least squares, weighted by sigma_px. False when the corners do not span a plane view (fewer than 4, on a line). */
bool ps_smooth_fit(const ps_piece *piece, int width, int height, const ps_corner *corner, int n, ps_smooth *out);
bool ps_smooth_apply(const ps_smooth *s, const double mm[2], double px[2]);
/* Corner minus model, px; NaN where the model does not reach. */
void ps_smooth_residual(const ps_smooth *s, const ps_piece *piece, const ps_corner *corner, double r[2]);
/* Observations minus unknowns, at least 1. */
int ps_smooth_freedom(const ps_smooth *s, int n);

#endif
