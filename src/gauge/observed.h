/* observed.h: the ellipse of a rim as one photo shows it. Private to the room. */
#ifndef PINSPAN_GAUGE_OBSERVED_H
#define PINSPAN_GAUGE_OBSERVED_H

#include "pinspan/camera.h"
#include "pinspan/rim.h"

/* The best ellipse of the points (upright px) among those that a circle in this place can have: the circle as adjusted over all
 * photos gives the shape, the points of this photo move and scale it. Five free numbers of an ellipse wander by pixels where half
 * of the rim is hidden; these three do not. Robust (Huber). rms_px: root mean square distance of the points that count fully or in
 * part, weighted. False, and nothing written, where the circle has no ellipse or points are fewer than 8. */
bool ps_gauge_observed_ellipse(const ps_view *view, const ps_circle3 *circle, const ps_edge_point *point, int count, ps_ellipse *ellipse,
                               double *rms_px);

#endif
