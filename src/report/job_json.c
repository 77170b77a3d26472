/* A whole job as JSON, schema pinspan.record/1 (docs/job.md). */
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/report.h"
#include "report/text.h"

enum { REAL_DIGITS = 9 }; /* as in json.c */

static json_t *number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

static json_t *text_value(const char *bytes) {
    char *clean = ps_text_clean(bytes ? bytes : "", false);
    json_t *value = clean ? json_string(clean) : NULL;
    free(clean);
    return value;
}

static json_t *text_or_null(const char *bytes) {
    return bytes && *bytes ? text_value(bytes) : json_null();
}

static json_t *yes_or_null(int yes) {
    return yes < 0 ? json_null() : json_boolean(yes);
}

static void put(bool *ok, json_t *object, const char *key, json_t *value) {
    if (json_object_set_new(object, key, value) != 0) *ok = false;
}

static void append(bool *ok, json_t *array, json_t *value) {
    if (json_array_append_new(array, value) != 0) *ok = false;
}

/* ---- what went in ---- */

static json_t *files_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->file_count; i++) {
        const ps_forms_file *f = &result->file[i];
        json_t *item = json_object();
        put(ok, item, "name", text_value(f->name));
        put(ok, item, "use", json_string(f->use));
        put(ok, item, "side", f->side < 0 ? json_null() : json_string(ps_side_word((ps_side)f->side)));
        put(ok, item, "bytes", json_integer(f->size));
        put(ok, item, "sha256", json_string(f->sha256));
        append(ok, array, item);
    }
    return array;
}

static json_t *order_json(bool *ok, const ps_forms_job *job) {
    json_t *order = json_object(), *machine = json_object(), *coupler = json_object(), *ears = json_object(), *h = json_object();
    put(ok, machine, "make", text_or_null(job->machine.make));
    put(ok, machine, "model", text_or_null(job->machine.model));
    put(ok, machine, "year", job->machine.year ? json_integer(job->machine.year) : json_null());
    put(ok, machine, "class_t", number(job->machine.class_t));
    put(ok, order, "machine", machine);
    put(ok, order, "attachment_type", text_or_null(job->attachment_type));
    put(ok, coupler, "style", job->coupler_given ? json_string(job->coupler == PS_COUPLER_GRAB ? "grab" : "fixed") : json_null());
    put(ok, coupler, "tilt", yes_or_null(job->tilt));
    put(ok, order, "coupler", coupler);
    put(ok, order, "pin_retention", text_or_null(job->pin_retention));
    put(ok, ears, "thickness_mm", number(job->ear_thickness_mm));
    put(ok, ears, "radius_mm", number(job->ear_radius_mm));
    put(ok, ears, "clearance_mm", number(job->ear_clearance_mm));
    put(ok, order, "ears", ears);
    put(ok, order, "lifting_eye", yes_or_null(job->lifting_eye));
    put(ok, order, "country", text_or_null(job->country));
    put(ok, h, "lines", text_or_null(job->hydraulics.lines));
    put(ok, h, "couplings", text_or_null(job->hydraulics.couplings));
    put(ok, h, "pressure", text_or_null(job->hydraulics.pressure));
    put(ok, h, "flow", text_or_null(job->hydraulics.flow));
    put(ok, order, "hydraulics", h);
    return order;
}

static json_t *options_json(bool *ok, const ps_forms_side *side) {
    static const char *const direction[] = {"left", "right", "up", "down"};
    const ps_measure_options *o = &side->options;
    json_t *item = json_object(), *checks = json_array(), *standoffs = json_object();
    put(ok, item, "coupler", json_string(o->coupler == PS_COUPLER_GRAB ? "grab" : "fixed"));
    for (int i = 0; i < o->check_count; i++) {
        const ps_piece *piece = o->check[i].piece >= 0 ? ps_kit_piece(o->check[i].piece) : NULL;
        json_t *check = json_object();
        put(ok, check, "piece", piece ? json_string(piece->name) : json_null());
        put(ok, check, "line", json_string(o->check[i].along ? "along" : "across"));
        put(ok, check, "read_mm", number(o->check[i].read_mm));
        put(ok, check, "U_mm", number(o->check[i].U_mm));
        append(ok, checks, check);
    }
    put(ok, item, "print_checks", checks);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        if (!o->standoff[role].given) continue;
        json_t *standoff = json_object();
        put(ok, standoff, "mm", number(o->standoff[role].mm));
        put(ok, standoff, "U_mm", number(o->standoff[role].U_mm));
        put(ok, standoffs, ps_role_word((ps_role)role), standoff);
    }
    put(ok, item, "standoffs", standoffs);
    put(ok, item, "roles", json_string(o->roles_unsure ? "unsure" : "sure"));
    bool given = o->dipper >= PS_DIRECTION_LEFT && o->dipper <= PS_DIRECTION_DOWN;
    put(ok, item, "dipper", given ? json_string(direction[o->dipper - PS_DIRECTION_LEFT]) : json_null());
    put(ok, item, "camera", text_or_null(side->camera));
    put(ok, item, "serial_photo", text_or_null(side->serial_photo));
    return item;
}

/* The measurement as `pinspan measure --json` writes it, the photos called as the job calls them. */
static json_t *measurement_json(ps_context *ctx, const ps_forms_side *side, const ps_record *record) {
    char *text = NULL;
    if (side->photo_count == 0 || record->dimension_count == 0) return json_null();
    if (ps_report_json(ctx, record, &text) != PS_OK) return NULL;
    json_t *root = json_loads(text, 0, NULL), *photos = root ? json_object_get(root, "photos") : NULL;
    free(text);
    for (int i = 0; photos && i < side->photo_count; i++)
        if (json_object_set_new(json_array_get(photos, (size_t)i), "file", text_value(side->photo[i])) != 0) break;
    return root;
}

static json_t *sides_json(ps_context *ctx, bool *ok, const ps_forms_job *job, const ps_forms_result *result) {
    json_t *sides = json_object();
    for (int s = 0; s < PS_FORMS_SIDES; s++) {
        json_t *side = json_object();
        put(ok, side, "photos", json_integer(job->side[s].photo_count));
        put(ok, side, "options", options_json(ok, &job->side[s]));
        put(ok, side, "outcome", json_string(job->side[s].photo_count ? ps_status_text(result->status[s]) : "no photos"));
        put(ok, side, "outcome_text", text_or_null(result->message[s]));
        put(ok, side, "measurement", measurement_json(ctx, &job->side[s], &result->record[s]));
        put(ok, sides, ps_side_word((ps_side)s), side);
    }
    return sides;
}

/* ---- what came of it ---- */

static json_t *reading_json(bool *ok, const ps_forms_reading *r) {
    json_t *item = json_object();
    put(ok, item, "where", json_string(r->where));
    put(ok, item, "written", text_value(r->written));
    put(ok, item, "unit", json_string(r->inch ? "in" : "mm"));
    put(ok, item, "value_mm", number(r->value_mm));
    put(ok, item, "instrument", json_string(r->instrument == PS_INSTRUMENT_CALIPERS ? "calipers" : "tape"));
    put(ok, item, "instrument_given", json_boolean(r->instrument_given));
    put(ok, item, "way", json_string(ps_forms_way_word(r->way)));
    put(ok, item, "way_given", json_boolean(r->way_given));
    if (r->kind == PS_KIND_CENTRES) put(ok, item, "place", json_string(ps_forms_place_word(r->place)));
    if (r->kind == PS_KIND_GAP) {
        put(ok, item, "shims", json_string(r->shims == PS_SHIMS_IN ? "in" : r->shims == PS_SHIMS_OUT ? "out" : "unknown"));
        put(ok, item, "shim_total_mm", number(r->shim_mm));
    }
    put(ok, item, "note", text_or_null(r->note));
    return item;
}

static json_t *suspects_json(bool *ok, const ps_forms_comparison *c) {
    json_t *array = json_array();
    for (int i = 0; i < c->suspect_count; i++) {
        const ps_forms_suspect *s = &c->suspect[i];
        json_t *item = json_object();
        put(ok, item, "mistake", json_string(ps_mistake_word(s->mistake)));
        put(ok, item, "probability", number(s->probability));
        put(ok, item, "predicted_mm", number(s->predicted_mm));
        put(ok, item, "u_mm", number(s->u_mm));
        put(ok, item, "inside", json_boolean(s->inside));
        put(ok, item, "named", json_boolean(s->named));
        put(ok, item, "evidence", text_value(s->evidence));
        append(ok, array, item);
    }
    return array;
}

static json_t *comparisons_json(bool *ok, const ps_forms_job *job, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->comparison_count; i++) {
        const ps_forms_comparison *c = &result->comparison[i];
        json_t *item = json_object();
        put(ok, item, "name", json_string(c->name));
        put(ok, item, "reading", reading_json(ok, &job->reading[c->reading]));
        put(ok, item, "u_read_mm", number(c->u_read_mm));
        put(ok, item, "expected_mm", number(c->expected_mm));
        put(ok, item, "u_expected_mm", number(c->u_expected_mm));
        put(ok, item, "difference_mm", number(c->difference_mm));
        put(ok, item, "u_difference_mm", number(c->u_difference_mm));
        put(ok, item, "normalised_error", number(c->normalised_error));
        put(ok, item, "size_mm", number(c->size_mm));
        put(ok, item, "u_size_mm", number(c->u_size_mm));
        put(ok, item, "match", json_string(ps_match_word(c->match)));
        put(ok, item, "probability_none", number(c->probability_none));
        put(ok, item, "probability_other", number(c->probability_other));
        put(ok, item, "probability_joint", number(c->probability_joint));
        put(ok, item, "suspects", suspects_json(ok, c));
        put(ok, item, "text", text_value(c->text));
        append(ok, array, item);
    }
    return array;
}

static json_t *joints_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->joint_count; i++) {
        const ps_forms_joint *j = &result->joint[i];
        json_t *item = json_object();
        put(ok, item, "mistake", json_string(ps_mistake_word(j->mistake)));
        put(ok, item, "side", j->side < 0 ? json_null() : json_string(ps_side_word((ps_side)j->side)));
        put(ok, item, "probability", number(j->probability));
        put(ok, item, "ratio", number(j->ratio));
        put(ok, item, "chi2", number(j->chi2));
        put(ok, item, "chi2_none", number(j->chi2_none));
        put(ok, item, "readings", json_integer(j->readings));
        put(ok, item, "named", json_boolean(j->named));
        put(ok, item, "evidence", text_value(j->evidence));
        append(ok, array, item);
    }
    return array;
}

static json_t *nominals_json(bool *ok, const ps_forms_decision *d) {
    json_t *array = json_array();
    for (int i = 0; i < d->nominal_count; i++) {
        json_t *item = json_object();
        put(ok, item, "label", text_value(d->nominal[i].label));
        put(ok, item, "size_mm", number(d->nominal[i].size_mm));
        put(ok, item, "probability", number(d->nominal[i].probability));
        append(ok, array, item);
    }
    return array;
}

static json_t *source_json(bool *ok, double mm, double U_mm, const char *word_key, const char *word) {
    json_t *item = json_object();
    put(ok, item, "value_mm", number(mm));
    put(ok, item, "U_mm", number(U_mm));
    put(ok, item, word_key, isfinite(mm) ? json_string(word) : json_null());
    return item;
}

static json_t *decisions_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) {
        const ps_forms_decision *d = &result->decision[i];
        json_t *item = json_object();
        put(ok, item, "name", json_string(d->name));
        put(ok, item, "settled", json_boolean(d->settled));
        put(ok, item, "source", json_string(ps_forms_source_word(d->source)));
        put(ok, item, "value_mm", number(d->value_mm));
        put(ok, item, "u_mm", number(d->u_mm));
        put(ok, item, "U_mm", number(d->U_mm));
        put(ok, item, "need_mm", number(d->need_mm));
        if (d->kind == PS_KIND_GAP) {
            put(ok, item, "kind", json_string(d->over ? "over" : "inside"));
            put(ok, item, "enters_mm", number(d->enters_mm));
            put(ok, item, "shims_mm", number(d->shims_mm));
        }
        put(ok, item, "photo", source_json(ok, d->photo_mm, d->photo_U_mm, "verdict", ps_verdict_word(d->photo_verdict)));
        put(ok, item, "form", source_json(ok, d->form_mm, d->form_U_mm, "match", ps_match_word(d->form_match)));
        put(ok, item, "tape", source_json(ok, d->tape_mm, d->tape_U_mm, "match", ps_match_word(d->tape_match)));
        put(ok, item, "nominal", nominals_json(ok, d));
        put(ok, item, "why", text_value(d->why));
        put(ok, item, "ask", text_or_null(d->ask));
        put(ok, item, "ask_with",
            d->settled                              ? json_null()
            : d->ask_with == PS_INSTRUMENT_CALIPERS ? json_string("calipers")
                                                    : json_string("tape"));
        append(ok, array, item);
    }
    return array;
}

static json_t *findings_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->finding_count; i++) {
        const ps_forms_finding *f = &result->finding[i];
        json_t *item = json_object();
        put(ok, item, "code", json_string(f->code));
        put(ok, item, "weight", json_string(ps_forms_weight_word(f->weight)));
        put(ok, item, "text", text_value(f->text));
        put(ok, item, "ground", text_value(f->ground));
        append(ok, array, item);
    }
    return array;
}

static json_t *questions_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->question_count; i++) {
        json_t *item = json_object();
        put(ok, item, "about", text_value(result->question[i].about));
        put(ok, item, "text", text_value(result->question[i].text));
        append(ok, array, item);
    }
    return array;
}

static json_t *job_json(ps_context *ctx, bool *ok, const ps_forms_job *job, const ps_forms_result *result) {
    char program[64] = "pinspan ";
    strncat(program, ps_version(), sizeof program - strlen(program) - 1);
    json_t *root = json_object();
    put(ok, root, "schema", json_string("pinspan.record/1"));
    put(ok, root, "program", json_string(program));
    put(ok, root, "title", text_or_null(job->title));
    put(ok, root, "note", text_or_null(job->note));
    put(ok, root, "invented", json_boolean(job->invented));
    put(ok, root, "ready", json_boolean(result->ready));
    put(ok, root, "answer", text_value(result->answer));
    put(ok, root, "questions", questions_json(ok, result));
    put(ok, root, "message", text_or_null(result->message_text));
    put(ok, root, "dimensions", decisions_json(ok, result));
    put(ok, root, "findings", findings_json(ok, result));
    put(ok, root, "mistakes_of_several_values", joints_json(ok, result));
    put(ok, root, "readings", comparisons_json(ok, job, result));
    put(ok, root, "order", order_json(ok, job));
    put(ok, root, "sides", sides_json(ctx, ok, job, result));
    put(ok, root, "files", files_json(ok, result));
    return root;
}

ps_status ps_report_job_json(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, char **text) {
    bool ok = true;
    json_t *root = job_json(ctx, &ok, job, result);
    char *dump = ok && root ? json_dumps(root, JSON_INDENT(1) | JSON_REAL_PRECISION(REAL_DIGITS)) : NULL;
    json_decref(root);
    if (!dump) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory while writing the job as JSON");
    ps_text out = {0};
    ps_text_add(&out, "%s\n", dump);
    free(dump);
    return ps_text_take(ctx, &out, text);
}
