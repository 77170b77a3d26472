/* contradictions.h: photos and pieces that speak against the rest, found by the statistics of the adjustment, named and left out
 * or doubted. docs/verdicts.md says by which limits. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_CONTRADICTIONS_H
#define PINSPAN_GAUGE_CONTRADICTIONS_H

#include "pinspan/measure.h"

/* How likely the bend terms of a sheet that lies as its prior has it are, at least (ps_adjust_bend_chance); practice. */
#define PS_BEND_CHANCE_LEAST 1e-7

typedef struct ps_contradictions {
    bool photo_out[PS_ADJUST_PHOTOS_MAX]; /* left out for photo_code */
    ps_code photo_code[PS_ADJUST_PHOTOS_MAX];
    bool sheet_out[PS_ADJUST_PHOTOS_MAX][PS_ADJUST_PIECES_MAX]; /* one piece's corners in one photo are left out */
    ps_code sheet_code[PS_ADJUST_PHOTOS_MAX];
    ps_notes doubts; /* of every value: nothing says which photo is right, or the sheet or lens is out of the model */
    bool any;        /* something is left out */
} ps_contradictions;

/* Whether a code says what contradicts the rest; `fit-bad` says only that something does. Whether any of the notes says either. */
bool ps_gauge_names_a_cause(ps_code code);
bool ps_gauge_contradicted(const ps_notes *notes);

/* Solves the problem (and again without what is left out), looks and names. What is left out leaves a majority of the photos, or a
 * doubt of every value says that there is none. PS_OK whatever is found, also where nothing settles; fails out of memory. */
ps_status ps_gauge_contradictions(ps_context *ctx, const ps_adjust_problem *problem, ps_contradictions *found);

#endif
