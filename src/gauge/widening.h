/* widening.h: how much wider than the adjustment's own a band must be for what is doubted of its value: the adjustment knows how well a
 * circle is measured, a doubt says that it may be another one. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_WIDENING_H
#define PINSPAN_GAUGE_WIDENING_H

#include "gauge/facts.h"

/* Adds a standard uncertainty that is independent of what is there to a value's band and budget. */
void ps_gauge_widen(ps_quantity *q, ps_source source, double u_mm);

/* The pin's diameter, read from `edge`, with `doubts`: moved by half of what another edge can be off, and widened. */
void ps_gauge_widen_pin(const ps_gauge_input *input, const ps_gauge_facts *facts, int role, ps_edge edge, const ps_notes *doubts,
                        ps_quantity *q);
/* The bush's; `lone`: from its face's edge, the only one had. */
void ps_gauge_widen_bush(const ps_gauge_input *input, const ps_gauge_facts *facts, int role, bool lone, const ps_notes *doubts,
                         ps_quantity *q);
/* The distance of the axes: the pins may be other bodies. */
void ps_gauge_widen_centres(const ps_gauge_input *input, ps_quantity *q);
/* The same of a single photo whose scale at the pins hangs on a declared stand-off: `doubts` say that another edge may have been taken for
 * the end that it speaks of, and no second direction would show. */
void ps_gauge_widen_end(const ps_gauge_input *input, const ps_notes *doubts, ps_quantity *q);
/* The stand-out, `edge` of the bush taken for its face's. */
void ps_gauge_widen_proud(const ps_gauge_input *input, const ps_gauge_facts *facts, int role, ps_edge edge, const ps_notes *doubts,
                          ps_quantity *q);
/* A size that fewer than three photos show: what an edge is off by in a photo is a guess that nothing checks. */
void ps_gauge_widen_few(ps_kind kind, int photos, ps_quantity *q);
/* Any value, where photos contradict each other and it could not be settled. */
void ps_gauge_widen_contradicted(const ps_gauge_input *input, ps_source source, double need_mm, ps_quantity *q);

#endif
