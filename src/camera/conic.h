/* conic.h: conics of the plane as symmetric 3x3 matrices Q, (x, y, 1) Q (x, y, 1)' = 0. Private to the library. */
#ifndef PINSPAN_CAMERA_CONIC_H
#define PINSPAN_CAMERA_CONIC_H

#include "pinspan/camera.h"

void ps_conic_from_ellipse(const ps_ellipse *e, double Q[9]);
/* False when Q is no real ellipse. The angle lies in (-pi/2, pi/2]; of a circle it is arbitrary. */
bool ps_conic_to_ellipse(const double Q[9], ps_ellipse *e);
/* Direct least-squares ellipse through n >= 5 points (Halir & Flusser 1998 on normalised points): exact where the
 * points lie on an ellipse, biased small where they are noisy and few. False when degenerate. */
bool ps_conic_fit_ellipse(const double (*x)[2], int n, ps_ellipse *e);

#endif
