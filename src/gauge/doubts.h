/* doubts.h: what a careful fitter would doubt of a value. Each doubt forces 'confirm'. */
#ifndef PINSPAN_GAUGE_DOUBTS_H
#define PINSPAN_GAUGE_DOUBTS_H

#include "gauge/facts.h"

#define PS_GAUGE_BUSH_OVER_PIN_LEAST 1.18 /* a bush's wall is seldom under 9 % of the pin */

/* Mean arc of either edge of a pin's or bush's end: where both are broken, each may be a piece of the other (docs/verdicts.md). */
#define PS_GAUGE_ARC_MEAN_LEAST 0.65

/* Print, photos, lens, fit, roles: what touches any value. `role` -1 for centres: then both pins matter.
 * `q` is the value at hand with its budget. */
void ps_gauge_doubts_common(const ps_gauge_input *input, const ps_gauge_facts *facts, ps_kind kind, int role, const ps_quantity *q,
                            ps_notes *doubts);

/* A print that cannot be, or that the check lines as read speak against: of a value that was not had a likely cause, too, since all that is
 * seen past such a sheet is squeezed. */
void ps_gauge_doubts_print(const ps_gauge_input *input, ps_notes *doubts);

/* Too few photos or directions: of a value that was not had a likely cause. */
void ps_gauge_doubts_views(const ps_gauge_input *input, ps_notes *doubts);

/* Of one kind of value. */
void ps_gauge_doubts_pin(const ps_gauge_input *input, const ps_gauge_facts *facts, int role, ps_notes *doubts);
void ps_gauge_doubts_centres(const ps_gauge_input *input, const ps_gauge_facts *facts, ps_notes *doubts);
void ps_gauge_doubts_bush(const ps_gauge_input *input, const ps_gauge_facts *facts, int role, ps_notes *doubts);
void ps_gauge_doubts_proud(const ps_gauge_input *input, const ps_gauge_facts *facts, int role, ps_notes *doubts);

/* How far the diameters of both pins are apart where they are too unlike for a pair and not both were read beyond doubt; else 0. */
double ps_gauge_pins_apart_mm(const ps_gauge_input *input, const ps_gauge_facts *facts);

/* How far the diameters of both bushes are apart where they are less alike than bushes of one side are, each against its pin if both are
 * had, and not both pins and bushes were read beyond doubt; else 0. Where one pin was read and the other was not, it is that one's bush
 * alone. */
double ps_gauge_bushes_unlike_mm(const ps_gauge_input *input, const ps_gauge_facts *facts, int role);

/* By how much another circle's diameter differs that explains the photos nearly as well as the one taken for the pin's, where it is so far
 * from it that one of them may be the bush's; else 0. */
double ps_gauge_pin_or_bush_mm(const ps_gauge_input *input, const ps_gauge_facts *facts, int role);
/* Whether the bush may be the boss or weld about a true bush whose edge was taken for the pin's: hardly told, near the sheet's plane, with
 * a pin that stands out no more than bushes do. */
bool ps_gauge_may_be_bush(const ps_gauge_input *input, const ps_gauge_facts *facts, int role);

/* How much more the bush stands out than the other pin's, where that is more than bushes of one plate do; else 0: a collar or washer. */
double ps_gauge_bush_higher_mm(const ps_gauge_facts *facts, int role);

/* Whether what was taken for the bush may be a cap, collar or washer. Of two bushes that stand out unequally the higher one. */
bool ps_gauge_other_part(const ps_gauge_input *input, const ps_gauge_facts *facts, int role);

/* Both edges of a pin's end run only in part where a circle would: each may be pieces of several. `rim`: PS_EDGE_COUNT of one pin. */
bool ps_gauge_end_broken(const ps_rim_fact *rim);

/* The edges of a bush run only in part where a circle would: a weld or shadow outside it runs along one half round. */
bool ps_gauge_bush_broken(const ps_rim_fact *rim);

/* Both edges of the pin's end do, and no edge of its bush is seen so far round that it holds the axis. */
bool ps_gauge_axis_loose(const ps_rim_fact *rim);

/* Whether a rim is visibly out of round: beyond chance and beyond what turned steel may have. */
bool ps_gauge_out_of_round(const ps_rim_fact *rim);

#endif
