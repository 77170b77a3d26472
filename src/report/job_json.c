/* A whole job as JSON, schema pinspan.record/1 (docs/job.md). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/report.h"
#include "report/json_parts.h"

static json_t *text_or_null(const char *bytes) {
    return bytes && *bytes ? ps_json_text(bytes) : json_null();
}

static json_t *yes_or_null(int yes) {
    return yes < 0 ? json_null() : json_boolean(yes);
}

/* ---- what went in ---- */

static json_t *files_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->file_count; i++) {
        const ps_forms_file *f = &result->file[i];
        json_t *item = json_object();
        ps_json_put(ok, item, "name", ps_json_text(f->name));
        ps_json_put(ok, item, "use", json_string(f->use));
        ps_json_put(ok, item, "side", f->side < 0 ? json_null() : json_string(ps_side_word((ps_side)f->side)));
        ps_json_put(ok, item, "bytes", json_integer(f->size));
        ps_json_put(ok, item, "sha256", json_string(f->sha256));
        ps_json_append(ok, array, item);
    }
    return array;
}

static json_t *order_json(bool *ok, const ps_forms_job *job) {
    json_t *order = json_object(), *machine = json_object(), *coupler = json_object(), *ears = json_object(), *h = json_object();
    ps_json_put(ok, machine, "make", text_or_null(job->machine.make));
    ps_json_put(ok, machine, "model", text_or_null(job->machine.model));
    ps_json_put(ok, machine, "year", job->machine.year ? json_integer(job->machine.year) : json_null());
    ps_json_put(ok, machine, "class_t", ps_json_number(job->machine.class_t));
    ps_json_put(ok, order, "machine", machine);
    ps_json_put(ok, order, "attachment_type", text_or_null(job->attachment_type));
    ps_json_put(ok, coupler, "style", job->coupler_given ? json_string(job->coupler == PS_COUPLER_GRAB ? "grab" : "fixed") : json_null());
    ps_json_put(ok, coupler, "tilt", yes_or_null(job->tilt));
    ps_json_put(ok, order, "coupler", coupler);
    ps_json_put(ok, order, "pin_retention", text_or_null(job->pin_retention));
    ps_json_put(ok, ears, "thickness_mm", ps_json_number(job->ear_thickness_mm));
    ps_json_put(ok, ears, "radius_mm", ps_json_number(job->ear_radius_mm));
    ps_json_put(ok, ears, "clearance_mm", ps_json_number(job->ear_clearance_mm));
    ps_json_put(ok, order, "ears", ears);
    ps_json_put(ok, order, "lifting_eye", yes_or_null(job->lifting_eye));
    ps_json_put(ok, order, "country", text_or_null(job->country));
    ps_json_put(ok, h, "lines", text_or_null(job->hydraulics.lines));
    ps_json_put(ok, h, "couplings", text_or_null(job->hydraulics.couplings));
    ps_json_put(ok, h, "pressure", text_or_null(job->hydraulics.pressure));
    ps_json_put(ok, h, "flow", text_or_null(job->hydraulics.flow));
    ps_json_put(ok, order, "hydraulics", h);
    return order;
}

static json_t *options_json(bool *ok, const ps_forms_side *side) {
    static const char *const direction[] = {"left", "right", "up", "down"};
    const ps_measure_options *o = &side->options;
    json_t *item = json_object(), *checks = json_array(), *standoffs = json_object();
    ps_json_put(ok, item, "coupler", json_string(o->coupler == PS_COUPLER_GRAB ? "grab" : "fixed"));
    for (int i = 0; i < o->check_count; i++) {
        const ps_piece *piece = o->check[i].piece >= 0 ? ps_kit_piece(o->check[i].piece) : NULL;
        json_t *check = json_object();
        ps_json_put(ok, check, "piece", piece ? json_string(piece->name) : json_null());
        ps_json_put(ok, check, "line", json_string(o->check[i].along ? "along" : "across"));
        ps_json_put(ok, check, "read_mm", ps_json_number(o->check[i].read_mm));
        ps_json_put(ok, check, "U_mm", ps_json_number(o->check[i].U_mm));
        ps_json_append(ok, checks, check);
    }
    ps_json_put(ok, item, "print_checks", checks);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        if (!o->standoff[role].given) continue;
        json_t *standoff = json_object();
        ps_json_put(ok, standoff, "mm", ps_json_number(o->standoff[role].mm));
        ps_json_put(ok, standoff, "U_mm", ps_json_number(o->standoff[role].U_mm));
        ps_json_put(ok, standoffs, ps_role_word((ps_role)role), standoff);
    }
    ps_json_put(ok, item, "standoffs", standoffs);
    ps_json_put(ok, item, "roles", json_string(o->roles_unsure ? "unsure" : "sure"));
    bool given = o->dipper >= PS_DIRECTION_LEFT && o->dipper <= PS_DIRECTION_DOWN;
    ps_json_put(ok, item, "dipper", given ? json_string(direction[o->dipper - PS_DIRECTION_LEFT]) : json_null());
    ps_json_put(ok, item, "camera", text_or_null(side->camera));
    ps_json_put(ok, item, "serial_photo", text_or_null(side->serial_photo));
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
        if (json_object_set_new(json_array_get(photos, (size_t)i), "file", ps_json_text(side->photo[i])) != 0) break;
    return root;
}

static json_t *sides_json(ps_context *ctx, bool *ok, const ps_forms_job *job, const ps_forms_result *result) {
    json_t *sides = json_object();
    for (int s = 0; s < PS_FORMS_SIDES; s++) {
        json_t *side = json_object();
        ps_json_put(ok, side, "photos", json_integer(job->side[s].photo_count));
        ps_json_put(ok, side, "options", options_json(ok, &job->side[s]));
        ps_json_put(ok, side, "outcome", json_string(job->side[s].photo_count ? ps_status_text(result->status[s]) : "no photos"));
        ps_json_put(ok, side, "outcome_text", text_or_null(result->message[s]));
        ps_json_put(ok, side, "measurement", measurement_json(ctx, &job->side[s], &result->record[s]));
        ps_json_put(ok, sides, ps_side_word((ps_side)s), side);
    }
    return sides;
}

/* ---- what came of it ---- */

static json_t *reading_json(bool *ok, const ps_forms_reading *r) {
    json_t *item = json_object();
    ps_json_put(ok, item, "where", json_string(r->where));
    ps_json_put(ok, item, "written", ps_json_text(r->written));
    ps_json_put(ok, item, "unit", json_string(r->inch ? "in" : "mm"));
    ps_json_put(ok, item, "value_mm", ps_json_number(r->value_mm));
    ps_json_put(ok, item, "instrument", json_string(r->instrument == PS_INSTRUMENT_CALIPERS ? "calipers" : "tape"));
    ps_json_put(ok, item, "instrument_given", json_boolean(r->instrument_given));
    ps_json_put(ok, item, "way", json_string(ps_forms_way_word(r->way)));
    ps_json_put(ok, item, "way_given", json_boolean(r->way_given));
    if (r->kind == PS_KIND_CENTRES) ps_json_put(ok, item, "place", json_string(ps_forms_place_word(r->place)));
    if (r->kind == PS_KIND_GAP) {
        ps_json_put(ok, item, "shims", json_string(r->shims == PS_SHIMS_IN ? "in" : r->shims == PS_SHIMS_OUT ? "out" : "unknown"));
        ps_json_put(ok, item, "shim_total_mm", ps_json_number(r->shim_mm));
    }
    ps_json_put(ok, item, "note", text_or_null(r->note));
    return item;
}

static json_t *suspects_json(bool *ok, const ps_forms_comparison *c) {
    json_t *array = json_array();
    for (int i = 0; i < c->suspect_count; i++) {
        const ps_forms_suspect *s = &c->suspect[i];
        json_t *item = json_object();
        ps_json_put(ok, item, "mistake", json_string(ps_mistake_word(s->mistake)));
        ps_json_put(ok, item, "probability", ps_json_number(s->probability));
        ps_json_put(ok, item, "predicted_mm", ps_json_number(s->predicted_mm));
        ps_json_put(ok, item, "u_mm", ps_json_number(s->u_mm));
        ps_json_put(ok, item, "inside", json_boolean(s->inside));
        ps_json_put(ok, item, "named", json_boolean(s->named));
        ps_json_put(ok, item, "evidence", ps_json_text(s->evidence));
        ps_json_append(ok, array, item);
    }
    return array;
}

static json_t *comparisons_json(bool *ok, const ps_forms_job *job, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->comparison_count; i++) {
        const ps_forms_comparison *c = &result->comparison[i];
        json_t *item = json_object();
        ps_json_put(ok, item, "name", json_string(c->name));
        ps_json_put(ok, item, "reading", reading_json(ok, &job->reading[c->reading]));
        ps_json_put(ok, item, "u_read_mm", ps_json_number(c->u_read_mm));
        ps_json_put(ok, item, "expected_mm", ps_json_number(c->expected_mm));
        ps_json_put(ok, item, "u_expected_mm", ps_json_number(c->u_expected_mm));
        ps_json_put(ok, item, "difference_mm", ps_json_number(c->difference_mm));
        ps_json_put(ok, item, "u_difference_mm", ps_json_number(c->u_difference_mm));
        ps_json_put(ok, item, "normalised_error", ps_json_number(c->normalised_error));
        ps_json_put(ok, item, "size_mm", ps_json_number(c->size_mm));
        ps_json_put(ok, item, "u_size_mm", ps_json_number(c->u_size_mm));
        ps_json_put(ok, item, "match", json_string(ps_match_word(c->match)));
        ps_json_put(ok, item, "probability_none", ps_json_number(c->probability_none));
        ps_json_put(ok, item, "probability_other", ps_json_number(c->probability_other));
        ps_json_put(ok, item, "probability_joint", ps_json_number(c->probability_joint));
        ps_json_put(ok, item, "suspects", suspects_json(ok, c));
        ps_json_put(ok, item, "text", ps_json_text(c->text));
        ps_json_append(ok, array, item);
    }
    return array;
}

static json_t *joints_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->joint_count; i++) {
        const ps_forms_joint *j = &result->joint[i];
        json_t *item = json_object();
        ps_json_put(ok, item, "mistake", json_string(ps_mistake_word(j->mistake)));
        ps_json_put(ok, item, "side", j->side < 0 ? json_null() : json_string(ps_side_word((ps_side)j->side)));
        ps_json_put(ok, item, "probability", ps_json_number(j->probability));
        ps_json_put(ok, item, "ratio", ps_json_number(j->ratio));
        ps_json_put(ok, item, "chi2", ps_json_number(j->chi2));
        ps_json_put(ok, item, "chi2_none", ps_json_number(j->chi2_none));
        ps_json_put(ok, item, "readings", json_integer(j->readings));
        ps_json_put(ok, item, "named", json_boolean(j->named));
        ps_json_put(ok, item, "evidence", ps_json_text(j->evidence));
        ps_json_append(ok, array, item);
    }
    return array;
}

static json_t *source_json(bool *ok, double mm, double U_mm, const char *word_key, const char *word) {
    json_t *item = json_object();
    ps_json_put(ok, item, "value_mm", ps_json_number(mm));
    ps_json_put(ok, item, "U_mm", ps_json_number(U_mm));
    ps_json_put(ok, item, word_key, isfinite(mm) ? json_string(word) : json_null());
    return item;
}

static json_t *decisions_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) {
        const ps_forms_decision *d = &result->decision[i];
        json_t *item = json_object();
        ps_json_put(ok, item, "name", json_string(d->name));
        ps_json_put(ok, item, "settled", json_boolean(d->settled));
        ps_json_put(ok, item, "source", json_string(ps_forms_source_word(d->source)));
        ps_json_put(ok, item, "value_mm", ps_json_number(d->value_mm));
        ps_json_put(ok, item, "u_mm", ps_json_number(d->u_mm));
        ps_json_put(ok, item, "U_mm", ps_json_number(d->U_mm));
        ps_json_put(ok, item, "need_mm", ps_json_number(d->need_mm));
        if (d->kind == PS_KIND_GAP) {
            ps_json_put(ok, item, "kind", json_string(d->over ? "over" : "inside"));
            ps_json_put(ok, item, "enters_mm", ps_json_number(d->enters_mm));
            ps_json_put(ok, item, "shims_mm", ps_json_number(d->shims_mm));
        }
        ps_json_put(ok, item, "photo", source_json(ok, d->photo_mm, d->photo_U_mm, "verdict", ps_verdict_word(d->photo_verdict)));
        ps_json_put(ok, item, "form", source_json(ok, d->form_mm, d->form_U_mm, "match", ps_match_word(d->form_match)));
        ps_json_put(ok, item, "tape", source_json(ok, d->tape_mm, d->tape_U_mm, "match", ps_match_word(d->tape_match)));
        ps_json_put(ok, item, "nominal", ps_json_nominals(ok, d->nominal, d->nominal_count));
        ps_json_put(ok, item, "why", ps_json_text(d->why));
        ps_json_put(ok, item, "ask", text_or_null(d->ask));
        ps_json_put(ok, item, "ask_with",
                    d->settled                              ? json_null()
                    : d->ask_with == PS_INSTRUMENT_CALIPERS ? json_string("calipers")
                                                            : json_string("tape"));
        ps_json_append(ok, array, item);
    }
    return array;
}

static json_t *findings_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->finding_count; i++) {
        const ps_forms_finding *f = &result->finding[i];
        json_t *item = json_object();
        ps_json_put(ok, item, "code", json_string(f->code));
        ps_json_put(ok, item, "weight", json_string(ps_forms_weight_word(f->weight)));
        ps_json_put(ok, item, "text", ps_json_text(f->text));
        ps_json_put(ok, item, "ground", ps_json_text(f->ground));
        ps_json_append(ok, array, item);
    }
    return array;
}

static json_t *questions_json(bool *ok, const ps_forms_result *result) {
    json_t *array = json_array();
    for (int i = 0; i < result->question_count; i++) {
        json_t *item = json_object();
        ps_json_put(ok, item, "about", ps_json_text(result->question[i].about));
        ps_json_put(ok, item, "text", ps_json_text(result->question[i].text));
        ps_json_append(ok, array, item);
    }
    return array;
}

static json_t *job_json(ps_context *ctx, bool *ok, const ps_forms_job *job, const ps_forms_result *result) {
    json_t *root = json_object();
    ps_json_put(ok, root, "schema", json_string("pinspan.record/1"));
    ps_json_put(ok, root, "program", ps_json_program());
    ps_json_put(ok, root, "title", text_or_null(job->title));
    ps_json_put(ok, root, "note", text_or_null(job->note));
    ps_json_put(ok, root, "invented", json_boolean(job->invented));
    ps_json_put(ok, root, "ready", json_boolean(result->ready));
    ps_json_put(ok, root, "answer", ps_json_text(result->answer));
    ps_json_put(ok, root, "questions", questions_json(ok, result));
    ps_json_put(ok, root, "message", text_or_null(result->message_text));
    ps_json_put(ok, root, "dimensions", decisions_json(ok, result));
    ps_json_put(ok, root, "findings", findings_json(ok, result));
    ps_json_put(ok, root, "mistakes_of_several_values", joints_json(ok, result));
    ps_json_put(ok, root, "readings", comparisons_json(ok, job, result));
    ps_json_put(ok, root, "order", order_json(ok, job));
    ps_json_put(ok, root, "sides", sides_json(ctx, ok, job, result));
    ps_json_put(ok, root, "files", files_json(ok, result));
    return root;
}

ps_status ps_report_job_json(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, char **text) {
    bool ok = true;
    json_t *root = job_json(ctx, &ok, job, result);
    return ps_json_write(ctx, ok, root, "job", text);
}
