/* profile_rows.h: circles of one height in one photo. Private to profile*.c. */
#ifndef PINSPAN_RIM_PROFILE_ROWS_H
#define PINSPAN_RIM_PROFILE_ROWS_H

#include "rim/profile.h"

enum { PS_PROFILE_DISCS = 6, PS_PROFILE_ROW_MAX = 2048 };

/* Where circles of one height show in a photo: centre in samples, and samples a millimetre of radius. */
typedef struct ps_profile_level {
    double x, y, per_mm;
    bool below; /* the camera */
} ps_profile_level;

/* Discs that hide circles of one height in a photo, in samples. */
typedef struct ps_profile_shade {
    int count;
    double from_mm; /* circles from this radius on; nearer ones lie in the wall's own outline */
    float x[PS_PROFILE_DISCS], y[PS_PROFILE_DISCS], r2[PS_PROFILE_DISCS];
} ps_profile_shade;

/* Circles of radii r0, r0 + step, ... */
typedef struct ps_profile_row {
    const ps_profile_view *view;
    const ps_profile_turn *turn;
    ps_profile_level at;
    ps_profile_shade by;
    double r0, step;
    int count;
} ps_profile_row;

ps_profile_level ps_profile_level_at(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height_mm);

/* What the source's screen hides of circles of a height. */
ps_profile_shade ps_profile_shade_at(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height_mm);

/* Whether the screen meets a circle's line. A circle wholly under a disc is met too; one in the outline of the wall itself is not. */
bool ps_profile_met(const ps_profile_shade *by, const ps_profile_level *at, double radius_mm);

/* Support of each circle, -1 where too little can be seen: less than half of it is in view, or a screen hides it. `strength`, with a
 * higher cap, may be NULL. Both have w->count entries. */
void ps_profile_row_read(const ps_profile_row *w, double *joint, double *strength);

/* The joint support of `count` circles of one height, radii r0, r0 + step, ... */
void ps_profile_joint_row(const ps_profile_source *s, const ps_axis_guess *axis, double height, double r0, double step, int count,
                          const ps_profile_turn *t, double *joint);

/* Directions around a circle: those that the source keeps, or `own` filled. */
const ps_profile_turn *ps_profile_turn_of(const ps_profile_source *s, int sectors, ps_profile_turn *own);

/* The geometric mean of some photos' supports from their product, each at least ps_profile_floor. A circle that a screen leaves to a
 * single photo of several is no joint one. */
double ps_profile_mean_of(const ps_profile_source *s, double product, int photos);
extern const double ps_profile_floor;

/* NULL without memory. */
ps_profile_kept *ps_profile_kept_new(void);
void ps_profile_kept_free(ps_profile_kept *kept);

#endif
