/* quality.h: what is wrong with a photo, for the customer. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_QUALITY_H
#define PINSPAN_GAUGE_QUALITY_H

#include "pinspan/measure.h"

/* Share of a piece's corners below which it counts as hidden. */
#define PS_GAUGE_CORNERS_LEAST 0.7

/* Blur at the largest piece; of the whole photo where there is none. */
ps_blur ps_gauge_photo_blur(const ps_luma *luma, const ps_sightings *s);

/* Adds a shake or lack of focus beyond what edges may have in a photo of this size. */
void ps_gauge_judge_blur(const ps_luma *luma, const ps_blur *blur, bool at_sheet, ps_notes *problems);

/* Adds problems of sheet size, angle, sharpness, light and cover. `view` (world to photo): NULL when not solved. `aside`: the photo shows
 * what can be seen from the side only, a boss's end beside the sheet, so that its angle is no problem. */
void ps_gauge_photo_problems(const ps_luma *luma, const ps_sightings *s, const ps_view *view, bool aside, ps_notes *problems);

/* Whether the picture's border cuts so much of a circle off that this is a doubt. */
bool ps_gauge_cut_off(const ps_luma *luma, const ps_view *view, const ps_circle3 *edge);

/* A pin in a solved photo: where its edge lies in the world, and how it shows. Adds pin-cut-off, pin-hidden and exposure; `cut` and
 * `clipped` say which of them speak against values. `seen`: an edge of the pin was traced and used in this photo. */
void ps_gauge_pin_problems(const ps_luma *luma, const ps_view *view, const ps_circle3 *edge, ps_role role, bool seen, bool *cut,
                           bool *clipped, ps_notes *problems);

#endif
