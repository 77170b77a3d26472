/* ask.h: the shortest list of what to ask the customer. Private to the room. */
#ifndef PINSPAN_FORMS_ASK_H
#define PINSPAN_FORMS_ASK_H

#include "pinspan/forms.h"

/* Fills ready, answer, question and message_text from decisions, findings and joints. */
ps_status ps_forms_ask(ps_context *ctx, const ps_forms_job *job, ps_forms_result *result);

/* One more question; NULL when there are too many. */
ps_forms_question *ps_forms_question_add(ps_forms_result *result, const char *about, const char *format, ...) PS_PRINTF(3, 4);

/* Asks for photos or check lines where those are likely to settle pins and centres of a side that has sent photos; clears their
 * flags in open[PS_FORMS_DIMENSIONS], so that nobody is sent to measure them. */
void ps_forms_ask_photos(const ps_forms_job *job, ps_forms_result *result, ps_side side, bool *open);

#endif
