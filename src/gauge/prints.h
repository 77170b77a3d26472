/* prints.h: what the readings of the check lines say of the prints of a job's pieces (docs/model.md, Prints of several pieces).
 * Private to the gauge room. */
#ifndef PINSPAN_GAUGE_PRINTS_H
#define PINSPAN_GAUGE_PRINTS_H

#include "pinspan/measure.h"

/* Of a reading's variance, what the readings of several pieces share: one rule, one hand, one eye. The rest is each one's own. And what is
 * known of a print whose lines nobody read, sd. (Practice, and the design.) */
#define PS_PRINT_READING_SHARED 0.5
#define PS_PRINT_UNREAD_REL     0.02

/* Start and prior of what `count` pieces (1 to PS_ADJUST_PIECES_MAX) have in common, and of what each has of its own (piece[].print). */
void ps_gauge_set_prints(const ps_measure_options *options, ps_adjust_piece piece[], int count, ps_adjust_scale *scale);
/* Which check lines were read of the piece of which most were: no other piece's line stands in for one of its own. */
void ps_gauge_prints_read(const ps_adjust_piece piece[], int count, bool *across, bool *along);

#endif
