/* spots.h: circles on one axis that all photos support: bright spots of the joint profile. */
#ifndef PINSPAN_RIM_SPOTS_H
#define PINSPAN_RIM_SPOTS_H

#include "rim/profile.h"
#include "rim/reading.h"

/* The most prominent spots of the profile between the heights and radii given (mm), the most prominent first, each climbed to its top.
 * Steps of the map in mm. Returns their number in `count`. */
ps_status ps_spots_find(ps_context *ctx, const ps_profile_source *source, const ps_axis_guess *axis, double height_step, double radius_step,
                        ps_spot out[PS_SPOTS_MAX], int *count);

/* What a spot's place is climbed by: the joint support, and a little of the strength. */
double ps_spot_merit(const ps_profile_source *source, const ps_axis_guess *axis, double height_mm, double radius_mm);

/* Tangent of the axis with the view, mean over the photos that see it, as if it were square to the plane. */
double ps_spots_aslant(const ps_profile_source *source, const ps_axis_guess *axis);

/* Samples a mm of the finest photo of the source. */
double ps_spots_px_per_mm(const ps_profile_source *source);

#endif
