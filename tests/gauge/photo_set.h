/* photo_set.h: a set of test photos measured the whole way, beside its truth. */
#ifndef PINSPAN_TESTS_GAUGE_PHOTO_SET_H
#define PINSPAN_TESTS_GAUGE_PHOTO_SET_H

#include <jansson.h>
#include <stdio.h>
#include <string.h>

#include "pinspan/measure.h"

#include "find.h"

enum { SET_FILES = 3 };

typedef struct photo_set {
    json_t *truth;
    ps_record record;
} photo_set;

static inline double set_number(const json_t *of, const char *key) {
    return json_number_value(json_object_get(of, key));
}

/* All photos that the truth in that folder of testimages lists, with the check lines of each piece as a fitter read them. */
static inline bool set_measure(photo_set *s, const char *folder) {
    char path[SET_FILES][400];
    const char *files[SET_FILES];
    (void)snprintf(path[0], sizeof path[0], "%s/testimages/%s/truth.json", PS_SOURCE_ROOT, folder);
    s->truth = json_load_file(path[0], 0, NULL);
    const json_t *photos = json_object_get(s->truth, "photos"), *piece;
    if (json_array_size(photos) != SET_FILES) return false;
    for (size_t i = 0; i < SET_FILES; i++) {
        const char *name = json_string_value(json_object_get(json_array_get(photos, i), "file"));
        (void)snprintf(path[i], sizeof path[i], "%s/testimages/%s/%s", PS_SOURCE_ROOT, folder, name);
        files[i] = path[i];
    }
    ps_measure_options o = ps_measure_options_default();
    size_t k;
    json_array_foreach(json_object_get(s->truth, "pieces"), k, piece) {
        int kit = ps_kit_find(json_string_value(json_object_get(piece, "name")));
        o.check[o.check_count++] = (ps_print_check){kit, false, set_number(piece, "read_across_mm"), 0.15};
        o.check[o.check_count++] = (ps_print_check){kit, true, set_number(piece, "read_along_mm"), 0.7};
    }
    return ps_measure(NULL, &o, files, SET_FILES, &s->record) == PS_OK;
}

static inline void set_clear(photo_set *s) {
    json_decref(s->truth);
    ps_record_clear(&s->record);
}

/* It is had, and its band holds the truth. */
static inline const ps_dimension *set_check_held(const photo_set *s, const char *name, double *true_mm) {
    const ps_dimension *d = job_find(&s->record, name);
    *true_mm = set_number(json_object_get(s->truth, "wanted"), name);
    assert_non_null(d);
    assert_int_not_equal(d->verdict, PS_VERDICT_MISSING);
    assert_true(*true_mm > 0);
    CHECK_NEAR(d->value_mm, *true_mm, d->U_mm);
    return d;
}

/* The same, and as near to the truth as an order needs it. */
static inline const ps_dimension *set_check_sound(const photo_set *s, const char *name) {
    double true_mm;
    const ps_dimension *d = set_check_held(s, name, &true_mm);
    CHECK_NEAR(d->value_mm, true_mm, d->need_mm);
    return d;
}

#endif
