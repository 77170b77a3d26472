/* reading.h: which of the circles on one axis are a pin's end, which a bush's. Plain numbers in and out, no pixels. */
#ifndef PINSPAN_RIM_READING_H
#define PINSPAN_RIM_READING_H

#include "pinspan/rim.h"

/* A circle on the axis that the photos support. */
typedef struct ps_spot {
    double height_mm, radius_mm;
    double support;    /* joint, 0..1 */
    double prominence; /* over its neighbourhood */
    double strength;   /* joint, not capped at 1: between circles of one place the stronger is the real one */
} ps_spot;

enum { PS_SPOTS_MAX = 80 };

/* Indices into the spots, -1 where there is none. */
typedef struct ps_reading {
    int pin_face, pin; /* inner and outer edge of the pin's end; only `pin` where one edge was found */
    int bush_face, bush;
    int junction;     /* where the pin enters the bush: the bore's edge in the plane of the bush's face */
    int in_gap, bore; /* where gaps are looked for: the edge of what lies in the bush's bore, flush or sunk, and the bore's; -1 none */
    bool taper;       /* the end is longer than a chamfer */
    double score;
    double pin_lead, bush_lead; /* over the best reading with another pin, another bush; how much of one clear circle's worth */
    /* By how much the edge's radius and the stand-out are another in the best reading with another pin, another bush; 0: there is none. */
    double pin_rival_mm, bush_rival_mm, proud_rival_mm;
    double beside_pin;     /* strength 0..1 of the clearest circle that stands in the air beside the pin, over the bush */
    double beyond_bush;    /* ... outside the bush, above the plate */
    double over_face;      /* ... above the pin's end */
    double domed;          /* clear circles that a dome explains and a flat end does not; below 0 the other way round */
    double ring_mm;        /* from the pin's edge in to the outer of two clear circles on its face, as of a pin in a bore; 0: none */
    double clear[4];       /* strength of the named circles: pin_face, pin, bush_face, bush; 0 where there is none */
    double junction_clear; /* ... of the junction's */
} ps_reading;

/* How well the spots are known. */
typedef struct ps_reading_scene {
    double px_per_mm; /* how finely the photos show the axis */
    double loose;     /* tolerances times this, 1 for a settled axis */
    bool plate_known; /* heights count from about the ear plate; otherwise only differences of heights mean anything */
    double aslant;    /* tangent of the axis with the view, mean over the photos; 0: not known */
    bool gaps;        /* a ring about a gap is a bush's, and no pin's end */
} ps_reading_scene;

/* What each spot is worth as a circle of its own, 0..1: less where it is faint, a ghost or a shadow of others. `strength`: count entries.
 */
void ps_reading_strengths(const ps_spot *spots, int count, const ps_reading_scene *scene, double *strength);

/* A cap hides the pin and part of the bush: the clearest large circle well above the plate. PS_NOT_FOUND when there is none. */
ps_status ps_reading_cap(ps_context *ctx, const ps_spot *spots, int count, const ps_reading_scene *scene, int *cap);

/* What may be the end of something that stands out and hides what is behind it; less clear than a cap's edge must be. PS_NOT_FOUND when
 * there is none. */
ps_status ps_reading_end(ps_context *ctx, const ps_spot *spots, int count, const ps_reading_scene *scene, int *end);

/* The bush under a cap, from spots found with the cap as a screen: bush_face, bush, score, bush_lead and clear are filled, the rest
 * is -1 or 0. PS_NOT_FOUND when no circle can be the bush's. */
ps_status ps_reading_under_cap(ps_context *ctx, const ps_spot *spots, int count, const ps_reading_scene *scene, const ps_spot *cap,
                               ps_reading *out);

/* What speaks against a chamfer from an inner, higher circle to an outer, lower one; infinite when it is none. */
double ps_reading_chamfer_cost(double across_mm, double down_mm, double across_most_mm, double tol_height_mm);

/* How many more clear circles inside the pin's edge (index into the spots) lie on a dome than in one plane. `clear`: count strengths. */
double ps_reading_dome(const ps_spot *spots, const double *clear, int count, int pin, double tol_height_mm);

/* How well heights and radii of spots are known. */
double ps_reading_tol_height_mm(const ps_reading_scene *scene);
double ps_reading_tol_radius_mm(const ps_reading_scene *scene);

/* PS_NOT_FOUND when the circles are no pin in a bush. */
ps_status ps_reading_choose(ps_context *ctx, const ps_spot *spots, int count, const ps_reading_scene *scene, ps_reading *out);

#endif
