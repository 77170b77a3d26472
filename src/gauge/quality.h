/* quality.h: what is wrong with a photo, for the customer. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_QUALITY_H
#define PINSPAN_GAUGE_QUALITY_H

#include "pinspan/measure.h"

/* Share of a piece's corners below which it counts as hidden. */
#define PS_GAUGE_CORNERS_LEAST 0.7

/* Adds problems of sheet size, angle, sharpness, light and cover. `view` (world to photo): NULL when not solved. */
void ps_gauge_photo_problems(const ps_luma *luma, const ps_sightings *s, const ps_view *view, ps_notes *problems);

#endif
