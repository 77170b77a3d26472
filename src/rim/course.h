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

ps_circle3 ps_course_circle(const ps_pin_model *pin, const ps_pin_rim *rim);
/* Millimetres to pixels at a circle's centre; 0 when it is not seen. */
double ps_course_scale(const ps_view *view, const ps_circle3 *c);
/* Edges up to reach_px (PS_COURSE_REACH_PX at most) around the prediction. The terms are for the caller to set. */
void ps_course_survey(const ps_luma *luma, const ps_view *view, const ps_circle3 *c, double reach_px, ps_course *out);
/* Where the pin's other rims run beside this one. */
void ps_course_find_others(const ps_view *view, const ps_pin_model *pin, int rim, ps_course *c);
/* Of the strongest edge at a place, in the median. */
double ps_course_strength(const ps_course *c);
/* Least squares for the curve's coefficients q over the edges within the window; false when there are too few. */
bool ps_course_refine(const ps_course *c, double window_px, double *q);
/* The edges that the curve takes, as a trace of the rim: PS_NOT_FOUND when they are too few to be one. */
ps_status ps_course_take(ps_context *ctx, const ps_course *c, const double *q, const ps_pin_model *pin, int rim, ps_rim_trace *out);

#endif
