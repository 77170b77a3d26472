/* reading.h: a reading by hand: its own uncertainty, and what it should be by what the photos say. Private to the room. */
#ifndef PINSPAN_FORMS_READING_H
#define PINSPAN_FORMS_READING_H

#include "forms/facts.h"

#define PS_PI_ROUND 3.14159265358979323846 /* circumference over diameter */

/* Largest error (mm) of a tape of accuracy class 1, 2 or 3 over `length_mm`, both ways, hook not counted: a + b L, L rounded up to
 * whole metres. Directive 2014/32/EU (measuring instruments), annex X, MI-008, material measures of length; from memory. */
double ps_tape_limit_mm(int accuracy_class, double length_mm);

/* Standard uncertainty of a reading as read: instrument, placing by the way, rounding. ..._common: the part that further
 * readings with the same instrument share (its own error). */
double ps_reading_u(const ps_forms_reading *r);
double ps_reading_u_common(const ps_forms_reading *r);
/* The same without the rounding to the written digits. */
double ps_reading_u_taken(const ps_forms_reading *r);

/* A value with its sd in the parts of ps_fact. */
typedef ps_fact ps_expected;

/* What would be read of `f` in a way and place, without the reading's own error; had: false where the photos do not tell.
 * `pin`: see ps_forms_facts_pins. */
ps_expected ps_reading_expected(const ps_side_facts *f, const ps_fact pin[PS_ROLE_COUNT], ps_kind kind, int role, ps_forms_way way,
                                bool on_ends);
/* How the way shifts centres: reading - centres; the derivative by the pins. */
void ps_way_shift(ps_forms_way way, double by_pin[PS_ROLE_COUNT]);

/* A reading turned into the dimension. Sensitivities: by the reading, each pin, the rise; false where a pin is not known. */
typedef struct ps_turned {
    double mm, by_reading, by_pin[PS_ROLE_COUNT], by_rise, extra_u_mm; /* extra: what is not known (bush stand-out, shims) */
} ps_turned;
bool ps_reading_turn(const ps_forms_reading *r, const ps_side_facts *f, const ps_fact pin[PS_ROLE_COUNT], ps_turned *turned);

#endif
