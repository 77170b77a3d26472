/* What the JSON writers share. */
#include "report/json_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/text.h"

/* Nine digits: 0.001 mm of a metre and 1e-5 px of 4000, and no digit that changes with the compiler's mood. */
enum { REAL_DIGITS = 9 };

json_t *ps_json_number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

json_t *ps_json_text(const char *bytes) {
    char *clean = ps_text_clean(bytes ? bytes : "", false);
    json_t *value = clean ? json_string(clean) : NULL;
    free(clean);
    return value;
}

json_t *ps_json_program(void) {
    char program[64] = "pinspan ";
    strncat(program, ps_version(), sizeof program - strlen(program) - 1);
    return json_string(program);
}

void ps_json_put(bool *ok, json_t *object, const char *key, json_t *value) {
    if (json_object_set_new(object, key, value) != 0) *ok = false;
}

void ps_json_append(bool *ok, json_t *array, json_t *value) {
    if (json_array_append_new(array, value) != 0) *ok = false;
}

json_t *ps_json_nominals(bool *ok, const ps_nominal_match *nominal, int count) {
    json_t *array = json_array();
    for (int i = 0; i < count; ++i) {
        json_t *item = json_object();
        ps_json_put(ok, item, "label", ps_json_text(nominal[i].label));
        ps_json_put(ok, item, "size_mm", ps_json_number(nominal[i].size_mm));
        ps_json_put(ok, item, "probability", ps_json_number(nominal[i].probability));
        ps_json_append(ok, array, item);
    }
    return array;
}

ps_status ps_json_write(ps_context *ctx, bool ok, json_t *root, const char *what, char **text) {
    char *dump = ok && root ? json_dumps(root, JSON_INDENT(1) | JSON_REAL_PRECISION(REAL_DIGITS)) : NULL;
    json_decref(root);
    if (!dump) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory while writing the %s as JSON", what);
    ps_text out = {0};
    ps_text_add(&out, "%s\n", dump);
    free(dump);
    return ps_text_take(ctx, &out, text);
}
