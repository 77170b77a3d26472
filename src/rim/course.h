/* course.h: what light does across a circle's predicted projection: edges along its normals, and a curve near the prediction through
 * those that go together. The curve's offset is a sum of terms, each with its value at every place. */
#ifndef PINSPAN_RIM_COURSE_H
#define PINSPAN_RIM_COURSE_H

#include "pinspan/rim.h"

enum {
    PS_COURSE_PLACES = 200,
    PS_COURSE_EDGES = 6,
    PS_COURSE_TERMS = 7,
    PS_COURSE_REACH_PX = 24,
    PS_COURSE_RADIUS_PX = 8, /* of smaller circles nothing is asked */
    PS_COURSE_POINTS_MIN = 12,
    PS_COURSE_OTHERS = PS_RIMS_PER_PIN
};

typedef struct ps_course_edge {
    double offset, strength; /* px outward from the prediction; signed, outside minus inside */
} ps_course_edge;

typedef struct ps_course_place { /* on the predicted rim */
    double theta, at[2], normal[2];
    double term[PS_COURSE_TERMS];
    int count;
    ps_course_edge item[PS_COURSE_EDGES];
    bool covered;                   /* by a rim before it: what edge there is is that one's */
    double other[PS_COURSE_OTHERS]; /* offsets of the pin's other rims here, as predicted; far ones are INFINITY */
} ps_course_place;

typedef struct ps_course { /* of a rim around its prediction */
    int count, others, terms;
    double reach_px, inside; /* share of the circumference in the photo */
    ps_course_place place[PS_COURSE_PLACES];
} ps_course;

/* Share of the circumference in the photo, and of it with an edge, from which on a rim counts. */
extern const double ps_course_least_arc;

/* Whether a rim of a boss's end looks away from the camera, so that the boss itself hides it. */
bool ps_course_turned_away(const ps_view *view, const ps_pin_model *pin, const ps_pin_rim *rim);
/* Millimetres to pixels at a circle's centre; 0 when it is not seen. */
double ps_course_scale(const ps_view *view, const ps_circle3 *c);
/* Edges up to reach_px (PS_COURSE_REACH_PX at most) around the prediction. The terms are for the caller to set. */
void ps_course_survey(const ps_luma *luma, const ps_view *view, const ps_circle3 *c, double reach_px, ps_course *out);
/* Where the pin's other rims run beside this one. */
void ps_course_find_others(const ps_view *view, const ps_pin_model *pin, int rim, ps_course *c);
/* Of the strongest edge at a place, in the median. */
double ps_course_strength(const ps_course *c);
/* Least squares for the curve's coefficients, from q on; the edges that it takes are put behind the traces, which have room, as of that rim
 * of pins->pin[index]. Where they are too few to be one nothing is put, which is no error. */
ps_status ps_course_take(ps_context *ctx, const ps_course *c, double *q, const ps_pin_models *pins, int index, int rim, ps_rim_traces *out);
/* The traces to the caller, or, with an error or none of them, freed. */
ps_status ps_course_hand_over(ps_context *ctx, ps_status status, ps_rim_traces *made, ps_rim_traces *out);

#endif
