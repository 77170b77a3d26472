/* axes.h: where circles of several photos meet in space. */
#ifndef PINSPAN_RIM_AXES_H
#define PINSPAN_RIM_AXES_H

#include "pinspan/rim.h"

/* A place where concentric circles stand over the world plane. Drawn from candidates alone, no pixels. */
typedef struct ps_axis_guess {
    double x_mm, y_mm;       /* at height 0 */
    double slope_x, slope_y; /* change of x, y for each mm of height */
    double weight;           /* of the evidence */
    double radius_max_mm;    /* largest well-supported circle */
    double height_min_mm, height_max_mm;
    int photos;   /* that see it */
    bool patient; /* it is read however little its circles stand out at first: which costs time */
} ps_axis_guess;

enum { PS_AXES_MAX = 10 };

/* Best first. Returns their number. One photo alone: heights are not known; circles are taken at `height_alone_mm`. */
ps_status ps_axes_find(ps_context *ctx, int photos, const ps_view *views, const ps_rim_candidates *candidates, double height_alone_mm,
                       ps_axis_guess out[PS_AXES_MAX], int *count);
/* The same, but axes that stand close to each other are listed too: dirt and rust can make a false axis within a pin. */
ps_status ps_axes_find_closely(ps_context *ctx, int photos, const ps_view *views, const ps_rim_candidates *candidates,
                               double height_alone_mm, ps_axis_guess out[PS_AXES_MAX], int *count);

#endif
