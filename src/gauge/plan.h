/* plan.h: what would turn a 'confirm' into 'good': one or two further photos, the print read more finely, a piece nearer to the pins.
 * Judged by the same model and the same doubts as the values. docs/verdicts.md, 'Advice'. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_PLAN_H
#define PINSPAN_GAUGE_PLAN_H

#include "gauge/asks.h"
#include "gauge/facts.h"
#include "pinspan/predict.h"

/* ---- plan_views.c: where a further photo could be taken from ---- */

enum { PS_GAUGE_WAYS = 9 }; /* left, right, higher, lower, between them, straight ahead */
typedef struct ps_gauge_way {
    bool possible;
    ps_adjust_photo photo;
    ps_plan_photo told;
    double direction[3]; /* from the middle of the held piece to the camera, unit */
} ps_gauge_way;
void ps_gauge_ways(const ps_predictor *p, ps_gauge_way way[PS_GAUGE_WAYS]);
/* Largest angle between these directions and those of the solution's photos, and among themselves. */
double ps_gauge_spread_deg(const ps_adjust_solution *s, const double (*direction)[3], int count);

/* ---- plan.c ---- */

/* Fills record->plan[]: the cheapest plans, each with the dimensions that it cures; and record->by_hand: values that no plan cures,
 * which are left to the instrument. `among`: the PS_GAUGE_WAYS places to choose from, NULL for those of ps_gauge_ways. Fails only out of
 * memory. */
ps_status ps_gauge_plans(ps_context *ctx, const ps_gauge_input *input, const ps_gauge_facts *facts, const ps_gauge_asks *asks,
                         const ps_gauge_way *among, ps_record *record);

/* ---- plan_text.c ---- */
/* Writes plan->text from the rest of it. `plan` stands in record->plan[], behind what was told before. */
void ps_gauge_plan_text(const ps_record *record, ps_plan *plan);
void ps_gauge_by_hand_text(ps_record *record);

#endif
