/* place.h: where in a JSON text a value stands. Private to the room. */
#ifndef PINSPAN_FORMS_PLACE_H
#define PINSPAN_FORMS_PLACE_H

#include <stddef.h>

/* One step down: into a member (`key`) or an element (`index`, key NULL). The outermost has no parent and is the whole text. */
typedef struct ps_place {
    const struct ps_place *parent;
    const char *key;
    int index;
} ps_place;

/* First byte of the value, or of the nearest one around it that can be found. `text` must have been parsed without a fault. */
const char *ps_place_find(const char *text, size_t size, const ps_place *place);
/* Counted from 1. */
int ps_place_line(const char *text, const char *at);
/* "form[2].unit"; "" for the whole text; cut when too small. */
void ps_place_name(const ps_place *place, char *name, size_t size);

#endif
