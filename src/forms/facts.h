/* facts.h: what the photos of a side say, in the form that comparing needs. Private to the room. */
#ifndef PINSPAN_FORMS_FACTS_H
#define PINSPAN_FORMS_FACTS_H

#include "pinspan/forms.h"

/* A size with its sd in two parts: its own, and that which all sizes of the side share because the print's scale is theirs. */
typedef struct ps_fact {
    bool had;
    double mm, own_mm, shared_mm;
} ps_fact;

typedef struct ps_side_facts {
    ps_fact gap[PS_ROLE_COUNT], pin[PS_ROLE_COUNT], bush[PS_ROLE_COUNT], face[PS_ROLE_COUNT]; /* face: diameter of the pin's end face */
    ps_fact centres;
    ps_fact rise;                    /* dipper pin's end face in front of the link pin's */
    ps_fact standout[PS_ROLE_COUNT]; /* bush face in front of the ear plate */
    bool taper[PS_ROLE_COUNT], cap[PS_ROLE_COUNT];
    bool over; /* the gaps are widths over a boss */
} ps_side_facts;

ps_side_facts ps_forms_facts(const ps_record *record);
/* The pins of a side for turning readings into centres: from the photos, else from readings of their diameter. */
void ps_forms_facts_pins(const ps_forms_job *job, ps_side side, const ps_side_facts *facts, ps_fact pin[PS_ROLE_COUNT]);
const ps_dimension *ps_forms_dimension(const ps_record *record, ps_kind kind, int role); /* NULL when none */
double ps_fact_u(const ps_fact *fact);

#endif
