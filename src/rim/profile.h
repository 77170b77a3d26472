/* profile.h: how much edge all photos together show for a circle of a given height and radius on one axis: the half
 * section of a body of revolution, read from photos. */
#ifndef PINSPAN_RIM_PROFILE_H
#define PINSPAN_RIM_PROFILE_H

#include "rim/axes.h"
#include "rim/squared.h"

enum { PS_PROFILE_SECTORS_MAX = 256, PS_PROFILE_TURNS = 3 };

/* One photo squared up around the axis. Samples, mm and the camera's place as in ps_squared. */
typedef struct ps_profile_view {
    int width, height;
    double x0, y0, step;
    double foot[2], rise;
    float full;     /* gradient at which an edge counts fully, in the unit of derivatives looked up */
    int rows;       /* of a strip of cells */
    uint32_t *cell; /* in strips, owned: gradient of each sample, packed; NULL where the axis is out of view */
} ps_profile_view;

/* Directions around a circle. */
typedef struct ps_profile_turn {
    int sectors;
    float c[PS_PROFILE_SECTORS_MAX], s[PS_PROFILE_SECTORS_MAX];
    uint32_t packed[PS_PROFILE_SECTORS_MAX]; /* both in 1/32767, c low and s high */
} ps_profile_turn;

/* A body on the axis that hides what lies behind and below it: a pin's end, a cap. A radius of 0: none. */
typedef struct ps_profile_screen {
    double height_mm, radius_mm; /* of its upper edge */
    bool wall;                   /* goes on down, as a pin does; a cap is a disc */
} ps_profile_screen;

/* Of the last map, for the next one. */
typedef struct ps_profile_kept ps_profile_kept;

/* The photos around one axis. */
typedef struct ps_profile_source {
    ps_plane plane;
    int photos;
    ps_profile_screen screen;                             /* may be set at any time */
    ps_profile_view *photo;                               /* photos entries, owned */
    ps_profile_turn turn[PS_PROFILE_TURNS];               /* the usual numbers of sectors */
    ps_profile_kept *kept;                                /* owned */
    double height_low_mm, height_high_mm, radius_high_mm; /* what the squared views cover */
} ps_profile_source;

/* `coarse`: samples a photo pixel's width times this. */
ps_status ps_profile_open(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_axis_guess *axis,
                          double height_low_mm, double height_high_mm, double radius_high_mm, double coarse, ps_profile_source *out);
void ps_profile_close(ps_profile_source *s);

/* Support 0..1 of one circle in one photo: mean over the circumference of the edge strength along the radius, capped,
 * after averaging neighbouring directions so that texture cancels. `sectors` (angles) is at most 256. NAN when less than
 * half of the circle is in view. Below a screen: of the part that it leaves free; a little less where that is under a half, NAN
 * under a quarter. */
double ps_profile_support(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height, double radius, int sectors);

/* Geometric mean over the photos (missing photos left out). */
double ps_profile_joint(const ps_profile_source *s, const ps_axis_guess *axis, double height, double radius, int sectors);

/* The same, and its *strength, in which edges count up to five times as much where they are that strong: tells a circle from one that
 * only touches it, where both have full support. */
double ps_profile_joint_strength(const ps_profile_source *s, const ps_axis_guess *axis, double height, double radius, int sectors,
                                 double *strength);

/* Moves the axis to where the profile is sharpest. False where no circles stand out about it: it is then left anywhere. */
bool ps_profile_focus(const ps_profile_source *s, ps_axis_guess *axis, double height_low, double height_high, double radius_low,
                      double radius_high, double reach_mm);

/* The profile on a grid: value[h * radii + r]. */
typedef struct ps_profile_map {
    int heights, radii;
    double height0, height_step, radius0, radius_step;
    float *value; /* owned */
} ps_profile_map;
ps_status ps_profile_map_make(ps_context *ctx, const ps_profile_source *s, const ps_axis_guess *axis, double height_step,
                              double radius_step, double radius_low, int sectors, ps_profile_map *out);
void ps_profile_map_clear(ps_profile_map *m);
double ps_profile_map_at(const ps_profile_map *m, double height, double radius); /* bilinear, 0 outside */

#endif
