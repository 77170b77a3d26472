/* json_parts.h: what the JSON writers share. Private to the room.
 *
 * jansson's constructors that ran out of memory give NULL, and setting NULL fails: `ok` collects that, so that a writer need not
 * look after every call. */
#ifndef PINSPAN_REPORT_JSON_PARTS_H
#define PINSPAN_REPORT_JSON_PARTS_H

#include <jansson.h>

#include "pinspan/measure.h"

/* A number that is not finite becomes null: JSON has no NaN. */
json_t *ps_json_number(double value);
/* Valid UTF-8 whatever the bytes are; NULL is the empty text. */
json_t *ps_json_text(const char *bytes);
/* "pinspan" and its version. */
json_t *ps_json_program(void);
json_t *ps_json_nominals(bool *ok, const ps_nominal_match *nominal, int count);

/* Both take `value` over. */
void ps_json_put(bool *ok, json_t *object, const char *key, json_t *value);
void ps_json_append(bool *ok, json_t *array, json_t *value);

/* Takes `root` over; the caller frees *text. `what` is named where memory ran out. */
ps_status ps_json_write(ps_context *ctx, bool ok, json_t *root, const char *what, char **text);

#endif
