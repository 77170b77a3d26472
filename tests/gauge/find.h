/* find.h: a dimension of a record by its name. */
#ifndef PINSPAN_TESTS_GAUGE_FIND_H
#define PINSPAN_TESTS_GAUGE_FIND_H

#include <string.h>

#include "pinspan/measure.h"

/* NULL where the record has none of that name. */
static inline const ps_dimension *job_find(const ps_record *r, const char *name) {
    for (int i = 0; i < r->dimension_count; i++)
        if (strcmp(r->dimension[i].name, name) == 0) return &r->dimension[i];
    return NULL;
}

#endif
