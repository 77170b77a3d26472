/* The record as JSON, schema pinspan.measurement/1 (docs/result.md, docs/measurement.schema.json). */
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/report.h"
#include "report/text.h"
#include "report/words.h"

/* Nine digits: 0.001 mm of a metre and 1e-5 px of 4000, and no digit that changes with the compiler's mood. */
enum { REAL_DIGITS = 9 };

static const double degrees_per_radian = 57.295779513082320877;

/* A number that is not finite becomes null: JSON has no NaN. */
static json_t *number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

static json_t *text_value(const char *bytes) {
    char *clean = ps_text_clean(bytes ? bytes : "", false);
    json_t *value = clean ? json_string(clean) : NULL;
    free(clean);
    return value;
}

/* The ..._new calls of jansson that ran out of memory give NULL, and setting NULL fails: `ok` collects that. */
static void put(bool *ok, json_t *object, const char *key, json_t *value) {
    if (json_object_set_new(object, key, value) != 0) *ok = false;
}

static void append(bool *ok, json_t *array, json_t *value) {
    if (json_array_append_new(array, value) != 0) *ok = false;
}

static json_t *notes_json(bool *ok, const ps_notes *notes) {
    json_t *array = json_array();
    for (int i = 0; i < notes->count; ++i) {
        json_t *note = json_object();
        put(ok, note, "code", json_string(ps_code_word(notes->note[i].code)));
        put(ok, note, "text", text_value(notes->note[i].text));
        append(ok, array, note);
    }
    return array;
}

static json_t *camera_json(bool *ok, const ps_record_photo *photo) {
    static const char *const source[] = {[PS_CAMERA_FREE] = "free", [PS_CAMERA_EXIF] = "exif", [PS_CAMERA_PROFILE] = "profile"};
    const ps_lens *lens = &photo->view.lens;
    double stored[2] = {lens->cx, lens->cy}, upright[2] = {NAN, NAN};
    if (photo->solved)
        ps_photo_stored_to_upright(photo->view.orientation, photo->view.stored_width, photo->view.stored_height, stored, upright);
    json_t *camera = json_object();
    put(ok, camera, "source", json_string((unsigned)photo->camera_source < 3 ? source[photo->camera_source] : "free"));
    put(ok, camera, "f_px", number(photo->solved ? lens->f_px : NAN));
    put(ok, camera, "cx", number(upright[0]));
    put(ok, camera, "cy", number(upright[1]));
    put(ok, camera, "k1", number(photo->solved ? lens->k1 : NAN));
    put(ok, camera, "k2", number(photo->solved ? lens->k2 : NAN));
    put(ok, camera, "k3", number(photo->solved ? lens->k3 : NAN));
    return camera;
}

static json_t *blur_json(bool *ok, const ps_blur *blur) {
    if (blur->edges <= 0) return json_null();
    json_t *item = json_object();
    put(ok, item, "major_px", number(blur->major_px));
    put(ok, item, "minor_px", number(blur->minor_px));
    put(ok, item, "angle_deg", number(blur->angle_deg));
    return item;
}

static json_t *pieces_json(bool *ok, const ps_record_photo *photo) {
    json_t *array = json_array();
    for (int i = 0; i < photo->sightings.count && i < PS_PIECES_MAX; ++i) {
        const ps_sighting *s = &photo->sightings.piece[i];
        const ps_piece *piece = ps_kit_piece(s->piece);
        json_t *item = json_object();
        put(ok, item, "name", json_string(piece ? piece->name : "unknown"));
        put(ok, item, "corners", json_integer(s->corner_count));
        put(ok, item, "rms_px", number(photo->solved ? photo->sighting_rms_px[i] : s->rms_px));
        append(ok, array, item);
    }
    return array;
}

static bool ellipse_finite(const ps_ellipse *e) {
    return isfinite(e->cx) && isfinite(e->cy) && isfinite(e->a) && isfinite(e->b) && isfinite(e->angle) && e->a > 0 && e->b > 0;
}

static json_t *ellipse_json(bool *ok, const ps_ellipse *e) {
    bool swap = e->b > e->a;
    double angle_deg = remainder(e->angle * degrees_per_radian + (swap ? 90 : 0), 180); /* -90 .. 90 */
    json_t *item = json_object();
    put(ok, item, "cx", number(e->cx));
    put(ok, item, "cy", number(e->cy));
    put(ok, item, "a", number(swap ? e->b : e->a));
    put(ok, item, "b", number(swap ? e->a : e->b));
    put(ok, item, "angle_deg", number(angle_deg));
    return item;
}

/* True where rim `i` is the one to tell of its pin, edge and ear: a used one before others, then the longer arc. */
static bool rim_chosen(const ps_record_photo *photo, int i) {
    const ps_record_rim *a = &photo->rim[i];
    if (!ellipse_finite(&a->ellipse)) return false;
    for (int k = 0; k < photo->rim_count; ++k) {
        const ps_record_rim *b = &photo->rim[k];
        if (k == i || b->pin != a->pin || b->edge != a->edge || b->ear != a->ear || !ellipse_finite(&b->ellipse)) continue;
        bool better = b->used != a->used ? b->used : b->arc != a->arc ? b->arc > a->arc : k < i;
        if (better) return false;
    }
    return true;
}

static json_t *rims_json(bool *ok, const ps_record_photo *photo) {
    json_t *array = json_array();
    for (int i = 0; i < photo->rim_count; ++i) {
        const ps_record_rim *rim = &photo->rim[i];
        if (!rim_chosen(photo, i)) continue;
        json_t *item = json_object();
        put(ok, item, "pin", json_string(ps_role_word(rim->pin)));
        put(ok, item, "edge", json_string(ps_edge_word(rim->edge)));
        put(ok, item, "ear", json_string(ps_ear_word(rim->ear)));
        put(ok, item, "ellipse", ellipse_json(ok, &rim->ellipse));
        put(ok, item, "arc", number(rim->arc));
        put(ok, item, "rms_px", number(rim->rms_px));
        put(ok, item, "used", json_boolean(rim->used));
        append(ok, array, item);
    }
    return array;
}

static json_t *photo_json(bool *ok, const ps_record_photo *photo) {
    json_t *item = json_object();
    put(ok, item, "file", text_value(photo->file));
    put(ok, item, "width", json_integer(photo->width));
    put(ok, item, "height", json_integer(photo->height));
    put(ok, item, "usable", json_boolean(photo->usable));
    put(ok, item, "problems", notes_json(ok, &photo->problems));
    put(ok, item, "blur", blur_json(ok, &photo->blur));
    put(ok, item, "camera", camera_json(ok, photo));
    put(ok, item, "pieces", pieces_json(ok, photo));
    put(ok, item, "rims", rims_json(ok, photo));
    return item;
}

static json_t *nominals_json(bool *ok, const ps_dimension *d) {
    json_t *array = json_array();
    for (int i = 0; i < d->nominal_count; ++i) {
        json_t *item = json_object();
        put(ok, item, "label", text_value(d->nominal[i].label));
        put(ok, item, "size_mm", number(d->nominal[i].size_mm));
        put(ok, item, "probability", number(d->nominal[i].probability));
        append(ok, array, item);
    }
    return array;
}

static json_t *budget_json(bool *ok, const ps_dimension *d) {
    json_t *array = json_array();
    for (int i = 0; i < PS_SOURCE_COUNT; ++i) {
        if (!(isfinite(d->budget_mm[i]) && d->budget_mm[i] > 0)) continue;
        json_t *item = json_object();
        put(ok, item, "source", json_string(ps_source_word((ps_source)i)));
        put(ok, item, "u_mm", number(d->budget_mm[i]));
        append(ok, array, item);
    }
    return array;
}

static json_t *monte_carlo_json(bool *ok, const ps_monte_carlo *m) {
    json_t *item = json_object();
    put(ok, item, "samples", json_integer(m->samples));
    put(ok, item, "failed", json_integer(m->failed));
    put(ok, item, "mean_mm", number(m->mean_mm));
    put(ok, item, "u_mm", number(m->u_mm));
    put(ok, item, "low_mm", number(m->low_mm));
    put(ok, item, "high_mm", number(m->high_mm));
    return item;
}

static json_t *dimension_json(bool *ok, const ps_dimension *d) {
    bool has = ps_words_has_value(d);
    ps_instrument with = has && d->verdict == PS_VERDICT_GOOD ? PS_INSTRUMENT_NONE : d->confirm_with;
    json_t *item = json_object(), *empty = json_array();
    put(ok, item, "name", text_value(d->name));
    put(ok, item, "value_mm", number(has ? d->value_mm : NAN));
    put(ok, item, "u_mm", number(has ? d->u_mm : NAN));
    put(ok, item, "U_mm", number(has ? d->U_mm : NAN));
    put(ok, item, "verdict", json_string(ps_verdict_word(has ? d->verdict : PS_VERDICT_MISSING)));
    put(ok, item, "need_mm", number(d->need_mm));
    if (d->kind == PS_KIND_GAP) put(ok, item, "kind", json_string(d->over ? "over" : "inside"));
    put(ok, item, "reasons", notes_json(ok, &d->reasons));
    put(ok, item, "confirm_with",
        with == PS_INSTRUMENT_CALIPERS ? json_string("calipers")
        : with == PS_INSTRUMENT_TAPE   ? json_string("tape")
                                       : json_null());
    put(ok, item, "how", d->how[0] && with != PS_INSTRUMENT_NONE ? text_value(d->how) : json_null());
    if (d->long_mm > 0) {
        json_t *axes = json_object();
        put(ok, axes, "long_mm", number(d->long_mm));
        put(ok, axes, "short_mm", number(d->short_mm));
        put(ok, item, "out_of_round", axes);
    }
    put(ok, item, "nominal", has ? nominals_json(ok, d) : json_incref(empty));
    put(ok, item, "budget", has ? budget_json(ok, d) : json_incref(empty));
    if (has && d->monte_carlo.samples > 0) put(ok, item, "monte_carlo", monte_carlo_json(ok, &d->monte_carlo));
    json_decref(empty);
    return item;
}

static json_t *record_json(bool *ok, const ps_record *record) {
    char program[64] = "pinspan ";
    strncat(program, ps_version(), sizeof program - strlen(program) - 1);
    json_t *root = json_object(), *photos = json_array(), *dimensions = json_array(), *scale = json_object(), *fit = json_object();
    put(ok, root, "schema", json_string("pinspan.measurement/1"));
    put(ok, root, "program", json_string(program));
    put(ok, root, "side", json_string(ps_side_word(record->side)));
    for (int i = 0; i < record->photo_count; ++i) append(ok, photos, photo_json(ok, &record->photo[i]));
    put(ok, root, "photos", photos);
    for (int i = 0; i < record->dimension_count; ++i) append(ok, dimensions, dimension_json(ok, &record->dimension[i]));
    put(ok, root, "dimensions", dimensions);
    put(ok, scale, "across", number(record->fitted ? record->scale_across : NAN));
    put(ok, scale, "along", number(record->fitted ? record->scale_along : NAN));
    put(ok, root, "print_scale", scale);
    put(ok, fit, "chi2", number(record->fitted ? record->chi2 : NAN));
    put(ok, fit, "dof", record->fitted ? json_integer(record->dof) : json_null());
    put(ok, root, "fit", fit);
    if (record->monte_carlo > 0) {
        json_t *run = json_object();
        put(ok, run, "samples", json_integer(record->monte_carlo));
        put(ok, run, "seed", json_integer((json_int_t)record->seed));
        put(ok, root, "monte_carlo", run);
    }
    put(ok, root, "advice", notes_json(ok, &record->advice));
    return root;
}

ps_status ps_report_json(ps_context *ctx, const ps_record *record, char **text) {
    bool ok = true;
    json_t *root = record_json(&ok, record);
    char *dump = ok && root ? json_dumps(root, JSON_INDENT(1) | JSON_REAL_PRECISION(REAL_DIGITS)) : NULL;
    json_decref(root);
    if (!dump) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory while writing the result as JSON");
    ps_text out = {0};
    ps_text_add(&out, "%s\n", dump);
    free(dump);
    return ps_text_take(ctx, &out, text);
}
