/* ask.h: the shortest list of what to ask the customer. Private to the room. */
#ifndef PINSPAN_FORMS_ASK_H
#define PINSPAN_FORMS_ASK_H

#include "pinspan/forms.h"

/* Fills ready, answer, question and message_text from decisions, findings and joints. */
ps_status ps_forms_ask(ps_context *ctx, const ps_forms_job *job, ps_forms_result *result);

#endif
