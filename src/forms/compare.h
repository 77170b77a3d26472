/* compare.h: readings against photos. Private to the room. */
#ifndef PINSPAN_FORMS_COMPARE_H
#define PINSPAN_FORMS_COMPARE_H

#include "forms/facts.h"

/* Fills comparisons and joints of the result. */
ps_status ps_forms_compare(ps_context *ctx, const ps_forms_job *job, const ps_side_facts facts[PS_FORMS_SIDES], ps_forms_result *result);

/* The likeliest named mistake of a reading, NULL when none. */
const ps_forms_suspect *ps_forms_accused(const ps_forms_comparison *c);
/* The named joint mistake that touches this reading, NULL when none. */
const ps_forms_joint *ps_forms_accused_joint(const ps_forms_result *result, const ps_forms_reading *r);

#endif
