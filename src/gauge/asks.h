/* asks.h: which quantity of the adjustment each dimension of a record stands on, for whoever looks at it another way: Monte
 * Carlo, and what one more photo would give. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_ASKS_H
#define PINSPAN_GAUGE_ASKS_H

#include "pinspan/measure.h"

typedef struct ps_gauge_asks {
    bool had[PS_DIMENSIONS_MAX];
    ps_ask ask[PS_DIMENSIONS_MAX];
    double own_u_mm[PS_DIMENSIONS_MAX]; /* of the adjustment alone, before any widening */
    double few_u_mm[PS_DIMENSIONS_MAX]; /* what fewer than three photos add to that */
    int photos[PS_DIMENSIONS_MAX];      /* that the value rests on */
} ps_gauge_asks;

/* Propagation of distributions beside the linear u (JCGM 101), into record->dimension[].monte_carlo. What a doubt adds to u is
 * no part of the adjustment: it is added to the samples' spread as the budget has it. */
ps_status ps_gauge_monte_carlo(ps_context *ctx, const ps_measure_options *options, const ps_adjust_solution *solution,
                               const ps_gauge_asks *asks, ps_record *record);

#endif
