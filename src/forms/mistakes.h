/* mistakes.h: the known mistakes: words, chances beforehand, and what each would have made of a reading. Private to the room. */
#ifndef PINSPAN_FORMS_MISTAKES_H
#define PINSPAN_FORMS_MISTAKES_H

#include "forms/reading.h"

/* Chances before anything was seen (common practice, no source; docs/forms.md). Single: that a value has the mistake. Joint: that a
 * form has it. */
double ps_mistake_prior(ps_mistake mistake);
double ps_mistake_prior_other(void); /* a mistake that is in no list: any length is then about as likely, by its logarithm */
double ps_mistake_density_other(double read_mm);

/* One thing that may have been read: the reading is normal about mm with sd own_mm, and moves by shared_mm with the scale that the
 * photos of the side have in common. The reading's own error is in own_mm. */
typedef struct ps_branch {
    int mistake; /* ps_mistake; -1: none */
    double weight, mm, own_mm, shared_mm;
    char detail[60]; /* for the evidence: "494 for 449" */
} ps_branch;
enum { PS_BRANCHES_MAX = 72 };

/* What the comparison knows beside the reading; the other side may be NULL. */
typedef struct ps_branch_view {
    const ps_side_facts *facts, *other_side;
    const ps_fact *pin, *other_pin; /* of ps_forms_facts_pins */
    double ear_thickness_mm;        /* NaN when not told */
    bool exchanged;                 /* joint: the roles of pins and gaps are exchanged */
    bool inches;                    /* joint: written in inches, given as millimetres */
} ps_branch_view;

/* Fills `branch`; the first is 'none'. 0 where the photos say nothing of the dimension. Branches that would hardly change the
 * reading (under its own sd) are left out: they are no mistake that matters. */
int ps_mistake_branches(const ps_forms_reading *r, const ps_branch_view *view, ps_branch branch[PS_BRANCHES_MAX]);

/* The evidence sentence. */
void ps_mistake_evidence(const ps_forms_reading *r, const ps_branch_view *view, const ps_branch *branch, char *text, size_t size);

#endif
