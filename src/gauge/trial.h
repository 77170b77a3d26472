/* trial.h: a problem solved with some observations left out or otherwise explained, to look for contradictions. Private to the gauge
 * room: contradictions.c (whether something is wrong, and in which photo), cause.c (what), shifts.c (what it does to the values). */
#ifndef PINSPAN_GAUGE_TRIAL_H
#define PINSPAN_GAUGE_TRIAL_H

#include "gauge/contradictions.h"

/* A problem of its own and its solution. */
typedef struct ps_trial {
    ps_adjust_problem problem;
    ps_adjust_corner *corner;
    ps_adjust_edge *edge;
    ps_adjust_solution *solution; /* NULL: did not settle */
    ps_group_test *test;
    const bool *passed; /* photos that are suspected no more */
    double usual;       /* scatter of sound photos, by which causes are compared (ps_cause_find) */
} ps_trial;

/* A search for contradictions in a problem. */
typedef struct ps_search {
    ps_context *ctx;
    const ps_adjust_problem *problem;
    ps_contradictions *found;
    bool shown[PS_ADJUST_PHOTOS_MAX], passed[PS_ADJUST_PHOTOS_MAX];
    int photos; /* that show anything at all */
} ps_search;

/* What stays away from a trial beside what was left out before; -1: nothing, of edges with pin -1: the photo's corners too. */
typedef struct ps_trial_less {
    int photo, pin;
    bool edges; /* all edge points of all photos: corners alone */
} ps_trial_less;

/* A copy of the problem with room of its own; fails out of memory. Each trial is to be cleared. */
ps_status ps_trial_new(ps_context *ctx, const ps_adjust_problem *p, ps_trial *t);
/* PS_OK too where it does not settle; then there is no solution. */
ps_status ps_trial_solve(ps_context *ctx, ps_trial *t);
void ps_trial_clear(ps_trial *t);
/* All that is still in, without `less`: the problem alone, and solved. */
ps_status ps_trial_part(const ps_search *s, ps_trial_less less, ps_trial *t);
ps_status ps_trial_without(const ps_search *s, ps_trial_less less, ps_trial *t);

int ps_trial_width(const ps_adjust_problem *p); /* groups of a photo: its pieces and its edges */
bool ps_trial_shows(const ps_trial *t, int photo);
/* Weighted sum of squares, and over its degrees of freedom. */
double ps_trial_chi2(const ps_trial *t);
double ps_trial_fit(const ps_trial *t);
/* How much groups of a kind scatter: the lower middle one, at least as their sd say; so one bad group of two or three is no excuse
 * for itself. */
double ps_trial_usual_misfit(const ps_trial *t, bool edges);
double ps_trial_usual(const ps_trial *t); /* the larger of both kinds */
int ps_search_photos_left(const ps_search *s);

/* What explains a photo. */
typedef struct ps_cause {
    ps_code code; /* PS_CODE_FIT_BAD: two explain it about as well; PS_CODE_OTHER_SCENE: none does */
    double cost;  /* sum of squares of all photos, over the usual misfit, and a price for what is freed; INFINITY: none settles */
} ps_cause;

/* cause.c: what the photo has against the rest; `with`: the problem with it still in, its scatter set. */
ps_status ps_cause_find(const ps_search *s, const ps_trial *with, int photo, ps_cause *found);

/* The same of all photos at once: the sheets were elsewhere in each, or, where their bends are out of the model even so, bent. */
ps_status ps_cause_held(const ps_search *s, const ps_trial *with, ps_cause *found);

/* shifts.c: doubts photos that speak too softly against the rest to be left out, and yet would shift a value. */
ps_status ps_shifts_doubt(const ps_search *s, const ps_trial *now);

#endif
