/* The record as JSON, schema pinspan.measurement/1 (docs/result.md, docs/measurement.schema.json). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/report.h"
#include "report/json_parts.h"
#include "report/words.h"

static const double degrees_per_radian = 57.295779513082320877;

static json_t *notes_json(bool *ok, const ps_notes *notes) {
    json_t *array = json_array();
    for (int i = 0; i < notes->count; ++i) {
        json_t *note = json_object();
        ps_json_put(ok, note, "code", json_string(ps_code_word(notes->note[i].code)));
        ps_json_put(ok, note, "text", ps_json_text(notes->note[i].text));
        ps_json_append(ok, array, note);
    }
    return array;
}

static json_t *plan_photo_json(bool *ok, const ps_plan_photo *photo) {
    json_t *item = json_object();
    ps_json_put(ok, item, "from", json_string(photo->from));
    ps_json_put(ok, item, "tilt_deg", ps_json_number(photo->tilt_deg));
    ps_json_put(ok, item, "distance_mm", ps_json_number(photo->distance_mm));
    ps_json_put(ok, item, "fills", ps_json_number(photo->fills));
    return item;
}

static json_t *plan_json(bool *ok, const ps_record *record, const ps_plan *plan) {
    json_t *item = json_object(), *dimensions = json_array(), *bands = json_array(), *photos = json_array();
    ps_json_put(ok, item, "code", json_string(ps_plan_word(plan)));
    ps_json_put(ok, item, "text", ps_json_text(plan->text));
    for (int i = 0; i < plan->dimension_count; ++i) {
        ps_json_append(ok, dimensions, json_string(record->dimension[plan->dimension[i]].name));
        ps_json_append(ok, bands, ps_json_number(plan->U_mm[i]));
    }
    ps_json_put(ok, item, "dimensions", dimensions);
    ps_json_put(ok, item, "predicted_U_mm", bands);
    for (int i = 0; i < plan->photo_count; ++i) ps_json_append(ok, photos, plan_photo_json(ok, &plan->photo[i]));
    ps_json_put(ok, item, "photos", photos);
    json_t *piece = plan->piece_added ? json_object() : json_null();
    if (plan->piece_added) {
        ps_json_put(ok, piece, "name", json_string(ps_kit_piece(plan->piece)->name));
        ps_json_put(ok, piece, "beside", json_string(ps_role_word(plan->beside)));
    }
    ps_json_put(ok, item, "piece", piece);
    json_t *print = plan->print_read ? json_object() : json_null();
    if (plan->print_read) {
        ps_json_put(ok, print, "across_U_mm", ps_json_number(plan->across_U_mm));
        ps_json_put(ok, print, "along_U_mm", ps_json_number(plan->along_U_mm));
    }
    ps_json_put(ok, item, "print_check", print);
    return item;
}

static json_t *by_hand_json(bool *ok, const ps_record *record) {
    json_t *item = json_object(), *dimensions = json_array();
    ps_json_put(ok, item, "code", json_string("by-hand"));
    ps_json_put(ok, item, "text", ps_json_text(record->by_hand.text));
    for (int i = 0; i < record->by_hand.count; ++i)
        ps_json_append(ok, dimensions, json_string(record->dimension[record->by_hand.dimension[i]].name));
    ps_json_put(ok, item, "dimensions", dimensions);
    return item;
}

/* Plans first: they say what would do, the rest is general. */
static json_t *advice_json(bool *ok, const ps_record *record) {
    json_t *array = json_array(), *notes = notes_json(ok, &record->advice);
    for (int i = 0; i < record->plan_count; ++i) ps_json_append(ok, array, plan_json(ok, record, &record->plan[i]));
    if (record->by_hand.count > 0) ps_json_append(ok, array, by_hand_json(ok, record));
    *ok = *ok && json_array_extend(array, notes) == 0;
    json_decref(notes);
    return array;
}

static json_t *camera_json(bool *ok, const ps_record_photo *photo) {
    static const char *const source[] = {[PS_CAMERA_FREE] = "free", [PS_CAMERA_EXIF] = "exif", [PS_CAMERA_PROFILE] = "profile"};
    const ps_lens *lens = &photo->view.lens;
    double stored[2] = {lens->cx, lens->cy}, upright[2] = {NAN, NAN};
    if (photo->solved)
        ps_photo_stored_to_upright(photo->view.orientation, photo->view.stored_width, photo->view.stored_height, stored, upright);
    json_t *camera = json_object();
    ps_json_put(ok, camera, "source", json_string((unsigned)photo->camera_source < 3 ? source[photo->camera_source] : "free"));
    ps_json_put(ok, camera, "f_px", ps_json_number(photo->solved ? lens->f_px : NAN));
    ps_json_put(ok, camera, "cx", ps_json_number(upright[0]));
    ps_json_put(ok, camera, "cy", ps_json_number(upright[1]));
    ps_json_put(ok, camera, "k1", ps_json_number(photo->solved ? lens->k1 : NAN));
    ps_json_put(ok, camera, "k2", ps_json_number(photo->solved ? lens->k2 : NAN));
    ps_json_put(ok, camera, "k3", ps_json_number(photo->solved ? lens->k3 : NAN));
    return camera;
}

static json_t *blur_json(bool *ok, const ps_blur *blur) {
    if (blur->edges <= 0) return json_null();
    json_t *item = json_object();
    ps_json_put(ok, item, "major_px", ps_json_number(blur->major_px));
    ps_json_put(ok, item, "minor_px", ps_json_number(blur->minor_px));
    ps_json_put(ok, item, "angle_deg", ps_json_number(blur->angle_deg));
    return item;
}

static json_t *pieces_json(bool *ok, const ps_record_photo *photo) {
    json_t *array = json_array();
    for (int i = 0; i < photo->sightings.count && i < PS_PIECES_MAX; ++i) {
        const ps_sighting *s = &photo->sightings.piece[i];
        const ps_piece *piece = ps_kit_piece(s->piece);
        json_t *item = json_object();
        ps_json_put(ok, item, "name", json_string(piece ? piece->name : "unknown"));
        ps_json_put(ok, item, "corners", json_integer(s->corner_count));
        ps_json_put(ok, item, "rms_px", ps_json_number(photo->solved ? photo->sighting_rms_px[i] : s->rms_px));
        ps_json_append(ok, array, item);
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
    ps_json_put(ok, item, "cx", ps_json_number(e->cx));
    ps_json_put(ok, item, "cy", ps_json_number(e->cy));
    ps_json_put(ok, item, "a", ps_json_number(swap ? e->b : e->a));
    ps_json_put(ok, item, "b", ps_json_number(swap ? e->a : e->b));
    ps_json_put(ok, item, "angle_deg", ps_json_number(angle_deg));
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
        ps_json_put(ok, item, "pin", json_string(ps_role_word(rim->pin)));
        ps_json_put(ok, item, "edge", json_string(ps_edge_word(rim->edge)));
        ps_json_put(ok, item, "ear", json_string(ps_ear_word(rim->ear)));
        ps_json_put(ok, item, "ellipse", ellipse_json(ok, &rim->ellipse));
        ps_json_put(ok, item, "arc", ps_json_number(rim->arc));
        ps_json_put(ok, item, "rms_px", ps_json_number(rim->rms_px));
        ps_json_put(ok, item, "used", json_boolean(rim->used));
        ps_json_append(ok, array, item);
    }
    return array;
}

static json_t *photo_json(bool *ok, const ps_record_photo *photo) {
    json_t *item = json_object();
    ps_json_put(ok, item, "file", ps_json_text(photo->file));
    ps_json_put(ok, item, "width", json_integer(photo->width));
    ps_json_put(ok, item, "height", json_integer(photo->height));
    ps_json_put(ok, item, "usable", json_boolean(photo->usable));
    ps_json_put(ok, item, "problems", notes_json(ok, &photo->problems));
    ps_json_put(ok, item, "blur", blur_json(ok, &photo->blur));
    ps_json_put(ok, item, "camera", camera_json(ok, photo));
    ps_json_put(ok, item, "pieces", pieces_json(ok, photo));
    ps_json_put(ok, item, "rims", rims_json(ok, photo));
    return item;
}

static json_t *budget_json(bool *ok, const ps_dimension *d) {
    json_t *array = json_array();
    for (int i = 0; i < PS_SOURCE_COUNT; ++i) {
        if (!(isfinite(d->budget_mm[i]) && d->budget_mm[i] > 0)) continue;
        json_t *item = json_object();
        ps_json_put(ok, item, "source", json_string(ps_source_word((ps_source)i)));
        ps_json_put(ok, item, "u_mm", ps_json_number(d->budget_mm[i]));
        ps_json_append(ok, array, item);
    }
    return array;
}

static json_t *monte_carlo_json(bool *ok, const ps_monte_carlo *m) {
    json_t *item = json_object();
    ps_json_put(ok, item, "samples", json_integer(m->samples));
    ps_json_put(ok, item, "failed", json_integer(m->failed));
    ps_json_put(ok, item, "mean_mm", ps_json_number(m->mean_mm));
    ps_json_put(ok, item, "u_mm", ps_json_number(m->u_mm));
    ps_json_put(ok, item, "low_mm", ps_json_number(m->low_mm));
    ps_json_put(ok, item, "high_mm", ps_json_number(m->high_mm));
    return item;
}

static json_t *dimension_json(bool *ok, const ps_dimension *d) {
    bool has = ps_words_has_value(d);
    ps_instrument with = has && d->verdict == PS_VERDICT_GOOD ? PS_INSTRUMENT_NONE : d->confirm_with;
    json_t *item = json_object(), *empty = json_array();
    ps_json_put(ok, item, "name", ps_json_text(d->name));
    ps_json_put(ok, item, "value_mm", ps_json_number(has ? d->value_mm : NAN));
    ps_json_put(ok, item, "u_mm", ps_json_number(has ? d->u_mm : NAN));
    ps_json_put(ok, item, "U_mm", ps_json_number(has ? d->U_mm : NAN));
    ps_json_put(ok, item, "verdict", json_string(ps_verdict_word(has ? d->verdict : PS_VERDICT_MISSING)));
    ps_json_put(ok, item, "need_mm", ps_json_number(d->need_mm));
    if (d->kind == PS_KIND_GAP) ps_json_put(ok, item, "kind", json_string(d->over ? "over" : "inside"));
    ps_json_put(ok, item, "reasons", notes_json(ok, &d->reasons));
    ps_json_put(ok, item, "confirm_with",
                with == PS_INSTRUMENT_CALIPERS ? json_string("calipers")
                : with == PS_INSTRUMENT_TAPE   ? json_string("tape")
                                               : json_null());
    ps_json_put(ok, item, "how", d->how[0] && with != PS_INSTRUMENT_NONE ? ps_json_text(d->how) : json_null());
    if (d->long_mm > 0) {
        json_t *axes = json_object();
        ps_json_put(ok, axes, "long_mm", ps_json_number(d->long_mm));
        ps_json_put(ok, axes, "short_mm", ps_json_number(d->short_mm));
        ps_json_put(ok, item, "out_of_round", axes);
    }
    ps_json_put(ok, item, "nominal", has ? ps_json_nominals(ok, d->nominal, d->nominal_count) : json_incref(empty));
    ps_json_put(ok, item, "budget", has ? budget_json(ok, d) : json_incref(empty));
    if (has && d->monte_carlo.samples > 0) ps_json_put(ok, item, "monte_carlo", monte_carlo_json(ok, &d->monte_carlo));
    json_decref(empty);
    return item;
}

static json_t *prints_json(bool *ok, const ps_record *record) {
    json_t *list = json_array();
    for (int i = 0; i < record->print_count; ++i) {
        const struct ps_record_print *print = &record->print[i];
        json_t *item = json_object();
        ps_json_put(ok, item, "name", json_string(ps_kit_piece(print->piece)->name));
        ps_json_put(ok, item, "across", ps_json_number(print->across));
        ps_json_put(ok, item, "along", ps_json_number(print->along));
        ps_json_put(ok, item, "across_read", json_boolean(print->read_across));
        ps_json_put(ok, item, "along_read", json_boolean(print->read_along));
        ps_json_append(ok, list, item);
    }
    return list;
}

static json_t *record_json(bool *ok, const ps_record *record) {
    json_t *root = json_object(), *photos = json_array(), *dimensions = json_array(), *scale = json_object(), *fit = json_object();
    ps_json_put(ok, root, "schema", json_string("pinspan.measurement/1"));
    ps_json_put(ok, root, "program", ps_json_program());
    ps_json_put(ok, root, "side", json_string(ps_side_word(record->side)));
    for (int i = 0; i < record->photo_count; ++i) ps_json_append(ok, photos, photo_json(ok, &record->photo[i]));
    ps_json_put(ok, root, "photos", photos);
    for (int i = 0; i < record->dimension_count; ++i) ps_json_append(ok, dimensions, dimension_json(ok, &record->dimension[i]));
    ps_json_put(ok, root, "dimensions", dimensions);
    ps_json_put(ok, scale, "across", ps_json_number(record->fitted ? record->scale_across : NAN));
    ps_json_put(ok, scale, "along", ps_json_number(record->fitted ? record->scale_along : NAN));
    ps_json_put(ok, scale, "pieces", prints_json(ok, record));
    ps_json_put(ok, root, "print_scale", scale);
    ps_json_put(ok, fit, "chi2", ps_json_number(record->fitted ? record->chi2 : NAN));
    ps_json_put(ok, fit, "dof", record->fitted ? json_integer(record->dof) : json_null());
    ps_json_put(ok, root, "fit", fit);
    if (record->monte_carlo > 0) {
        json_t *run = json_object();
        ps_json_put(ok, run, "samples", json_integer(record->monte_carlo));
        ps_json_put(ok, run, "seed", json_integer((json_int_t)record->seed));
        ps_json_put(ok, root, "monte_carlo", run);
    }
    ps_json_put(ok, root, "advice", advice_json(ok, record));
    return root;
}

ps_status ps_report_json(ps_context *ctx, const ps_record *record, char **text) {
    bool ok = true;
    json_t *root = record_json(&ok, record);
    return ps_json_write(ctx, ok, root, "result", text);
}
