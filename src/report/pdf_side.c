/* One side: its sizes, its photos, pictures, budget and advice. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "report/job_pdf.h"
#include "report/text.h"
#include "report/words.h"

static const char *instrument(const ps_dimension *d) {
    return d->confirm_with == PS_INSTRUMENT_CALIPERS ? "calipers" : d->confirm_with == PS_INSTRUMENT_TAPE ? "tape" : "";
}

static void size_row(ps_pdf *pdf, const ps_doc_table *table, const ps_dimension *d) {
    char name[80], value[40] = "-", need[24], inches[48] = "";
    bool has = ps_words_has_value(d);
    ps_words_dimension(d, name, sizeof name);
    if (has) ps_words_band(d->value_mm, d->U_mm, false, value, sizeof value);
    if (has && pdf->job->inch) {
        ps_words_band(d->value_mm, d->U_mm, true, inches, sizeof inches);
        (void)snprintf(inches + strlen(inches), sizeof inches - strlen(inches), " in");
    }
    (void)snprintf(need, sizeof need, "± %.2g", d->need_mm);
    ps_verdict verdict = has ? d->verdict : PS_VERDICT_MISSING;
    const ps_doc_cell cell[] = {{name, d->name, PS_DOC_BODY, false},
                                {value, inches, PS_DOC_STRONG, false},
                                {need, NULL, PS_DOC_BODY, false},
                                {ps_verdict_word(verdict), NULL, PS_DOC_STRONG, verdict != PS_VERDICT_GOOD},
                                {verdict == PS_VERDICT_GOOD ? "" : instrument(d), NULL, PS_DOC_BODY, false}};
    ps_doc_row(&pdf->doc, table, cell);
}

/* NULL: none of the ten. */
static const ps_forms_decision *decision_of(const ps_pdf *pdf, const ps_dimension *d) {
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++)
        if (strcmp(pdf->result->decision[i].name, d->name) == 0) return &pdf->result->decision[i];
    return NULL;
}

static void sizes(ps_pdf *pdf, const ps_record *record) {
    static const ps_doc_table table = {
        .columns = 5, .width_mm = {66, 42, 24, 24, 0}, .head = {"Size", "Value ± U, mm", "needed, mm", "verdict", "confirm with"}};
    ps_doc_table_head(&pdf->doc, &table);
    for (int i = 0; i < record->dimension_count; i++) size_row(pdf, &table, &record->dimension[i]);
    for (int i = 0; i < record->dimension_count; i++) {
        const ps_dimension *d = &record->dimension[i];
        const ps_forms_decision *decided = decision_of(pdf, d);
        if (!decided || !ps_words_has_value(d) || !(decided->photo_U_mm > 1.001 * d->U_mm)) continue;
        ps_doc_paragraph(
            &pdf->doc, PS_DOC_SMALL, 0,
            "A size that one or two photos carry has a wider band on the first page: so few photos cannot show by themselves how "
            "far they scatter.");
        break;
    }
}

/* A reason that several sizes share is told once, with all their names before it. */
static void tell_reason(ps_pdf *pdf, const ps_record *record, int first, const ps_note *note) {
    ps_text label = {0};
    ps_text_add(&label, "%s", ps_code_word(note->code));
    const char *join = ": ";
    for (int i = first; i < record->dimension_count; i++)
        for (int k = 0; k < record->dimension[i].reasons.count; k++) {
            char name[80];
            if (!ps_words_same_note(&record->dimension[i].reasons.note[k], note)) continue;
            ps_words_short(&record->dimension[i], name, sizeof name);
            ps_text_add(&label, "%s%s", join, name);
            join = ", ";
        }
    if (!label.failed) ps_doc_entry(&pdf->doc, label.bytes, note->text);
    ps_text_clear(&label);
}

/* What photos and readings have settled together is not asked for again. */
static bool settled(const ps_pdf *pdf, const ps_dimension *d) {
    const ps_forms_decision *decided = decision_of(pdf, d);
    return decided && decided->settled;
}

static void reasons(ps_pdf *pdf, const ps_record *record) {
    bool headed = false;
    for (int i = 0; i < record->dimension_count; i++)
        for (int k = 0; k < record->dimension[i].reasons.count; k++) {
            const ps_note *note = &record->dimension[i].reasons.note[k];
            if (ps_words_said_before(record, i, note)) continue;
            if (!headed) ps_doc_subhead(&pdf->doc, "Reasons");
            headed = true;
            tell_reason(pdf, record, i, note);
        }
    headed = false;
    for (int i = 0; i < record->dimension_count; i++) {
        const ps_dimension *d = &record->dimension[i];
        char name[80];
        if (!d->how[0] || (ps_words_has_value(d) && d->verdict == PS_VERDICT_GOOD) || settled(pdf, d)) continue;
        if (!headed) ps_doc_subhead(&pdf->doc, "To confirm by hand");
        headed = true;
        ps_words_dimension(d, name, sizeof name);
        ps_doc_entry(&pdf->doc, name, d->how);
    }
    if (headed) ps_doc_paragraph(&pdf->doc, PS_DOC_SMALL, 0, ps_words_cautions());
}

/* ---- photos ---- */

static void piece_words(const ps_record_photo *photo, ps_text *text) {
    for (int i = 0; i < photo->sightings.count; i++) {
        const ps_sighting *s = &photo->sightings.piece[i];
        ps_text_add(text, "%s%s, %d corners", i ? "; " : "", ps_kit_piece(s->piece)->name, s->corner_count);
        if (photo->solved && isfinite(photo->sighting_rms_px[i])) ps_text_add(text, ", rms %.2f px", photo->sighting_rms_px[i]);
    }
    if (photo->sightings.count == 0) ps_text_add(text, "none");
}

static void rim_words(const ps_record_photo *photo, ps_text *text) {
    bool any = false;
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        const char *join = "";
        for (int i = 0; i < photo->rim_count; i++) {
            if ((int)photo->rim[i].pin != role || !photo->rim[i].used) continue;
            if (!*join) ps_text_add(text, "%s%s: ", any ? "; " : "", ps_role_word((ps_role)role));
            ps_text_add(text, "%s%s", join, ps_edge_word(photo->rim[i].edge));
            join = ", ";
            any = true;
        }
    }
    if (!any) ps_text_add(text, "none");
}

static void problem_words(const ps_record_photo *photo, ps_text *text) {
    if (!photo->usable) ps_text_add(text, "Not used. ");
    for (int i = 0; i < photo->problems.count; i++)
        ps_text_add(text, "%s%s: %s", i ? " " : "", ps_code_word(photo->problems.note[i].code), photo->problems.note[i].text);
}

static void photo_row(ps_pdf *pdf, const ps_doc_table *table, int side, int i) {
    static const char *const source[] = {[PS_CAMERA_FREE] = "free", [PS_CAMERA_EXIF] = "EXIF", [PS_CAMERA_PROFILE] = "profile"};
    const ps_record_photo *photo = &pdf->result->record[side].photo[i];
    char number[24], camera[80] = "-";
    ps_text pieces = {0}, rims = {0}, problems = {0};
    (void)snprintf(number, sizeof number, "%d, %d × %d px", i + 1, photo->width, photo->height);
    if (photo->solved) (void)snprintf(camera, sizeof camera, "%s, f %.0f px", source[photo->camera_source], photo->view.lens.f_px);
    piece_words(photo, &pieces);
    rim_words(photo, &rims);
    problem_words(photo, &problems);
    const ps_doc_cell cell[] = {{ps_pdf_photo_name(pdf, side, i), number, PS_DOC_SMALL, false},
                                {camera, NULL, PS_DOC_SMALL, false},
                                {pieces.bytes, NULL, PS_DOC_SMALL, false},
                                {rims.bytes, NULL, PS_DOC_SMALL, false},
                                {problems.bytes, NULL, PS_DOC_SMALL, false}};
    ps_doc_row(&pdf->doc, table, cell);
    ps_text_clear(&pieces);
    ps_text_clear(&rims);
    ps_text_clear(&problems);
}

static void photos(ps_pdf *pdf, int side) {
    static const ps_doc_table table = {
        .columns = 5, .width_mm = {36, 24, 32, 38, 0}, .head = {"Photo", "Camera", "Printed pieces", "Edges used", "Remarks"}};
    ps_doc_subhead(&pdf->doc, "Photos");
    ps_doc_table_head(&pdf->doc, &table);
    for (int i = 0; i < pdf->result->record[side].photo_count; i++) photo_row(pdf, &table, side, i);
}

/* ---- print, fit, advice ---- */

static void print_and_fit(ps_pdf *pdf, int side) {
    const ps_record *record = &pdf->result->record[side];
    const ps_measure_options *o = &pdf->job->side[side].options;
    char text[400];
    ps_doc_subhead(&pdf->doc, "Print and fit");
    for (int i = 0; i < o->check_count; i++) {
        const ps_print_check *c = &o->check[i];
        (void)snprintf(text, sizeof text, "Check line %s, %s: read as %.2f ± %.2f mm (nominal %s).", c->along ? "along" : "across",
                       c->piece < 0 ? "all pieces" : ps_kit_piece(c->piece)->name, c->read_mm, c->U_mm, c->along ? "200 mm" : "140 mm");
        ps_doc_paragraph(&pdf->doc, PS_DOC_BODY, 0, text);
    }
    if (o->check_count == 0)
        ps_doc_paragraph(&pdf->doc, PS_DOC_BODY, 0, "The check lines of the print were not read: nothing from it is good.");
    if (!record->fitted) return;
    for (int i = 0; i < record->print_count && record->print_count > 1; i++) {
        const struct ps_record_print *print = &record->print[i];
        (void)snprintf(text, sizeof text, "Print scale found, %s: across %.2f %%, along %.2f %% of nominal%s.",
                       ps_kit_piece(print->piece)->name, 100 * print->across, 100 * print->along,
                       print->read_across && print->read_along ? "" : " (check lines not both read)");
        ps_doc_paragraph(&pdf->doc, PS_DOC_BODY, 0, text);
    }
    if (record->print_count < 2 && isfinite(record->scale_across) && isfinite(record->scale_along)) {
        (void)snprintf(text, sizeof text, "Print scale found: across %.2f %%, along %.2f %% of nominal.", 100 * record->scale_across,
                       100 * record->scale_along);
        ps_doc_paragraph(&pdf->doc, PS_DOC_BODY, 0, text);
    }
    if (isfinite(record->chi2) && record->dof > 0) {
        (void)snprintf(text, sizeof text,
                       "Adjustment: chi-square %.1f for %d degrees of freedom (ratio %.2f; near or under 1 where the assumed noise is "
                       "right or too large).",
                       record->chi2, record->dof, record->chi2 / record->dof);
        ps_doc_paragraph(&pdf->doc, PS_DOC_BODY, 0, text);
    }
}

static void advice(ps_pdf *pdf, const ps_record *record) {
    if (record->advice.count + record->plan_count + record->by_hand.count == 0) return;
    ps_doc_subhead(&pdf->doc, "What would help");
    for (int i = 0; i < record->plan_count; i++) ps_doc_entry(&pdf->doc, ps_plan_word(&record->plan[i]), record->plan[i].text);
    if (record->by_hand.count > 0) ps_doc_entry(&pdf->doc, "by-hand", record->by_hand.text);
    for (int i = 0; i < record->advice.count; i++)
        ps_doc_entry(&pdf->doc, ps_code_word(record->advice.note[i].code), record->advice.note[i].text);
}

void ps_pdf_side(ps_pdf *pdf, int side) {
    const ps_record *record = &pdf->result->record[side];
    if (record->photo_count == 0) return;
    ps_doc_page(&pdf->doc);
    ps_doc_head(&pdf->doc, side == PS_SIDE_MACHINE ? "Machine side, from photos" : "Attachment side, from photos");
    if (!pdf->result->measured[side]) ps_doc_paragraph(&pdf->doc, PS_DOC_STRONG, 0, pdf->result->message[side]);
    sizes(pdf, record);
    reasons(pdf, record);
    photos(pdf, side);
    ps_pdf_marked(pdf, side);
    ps_pdf_closeups(pdf, side);
    ps_pdf_budget(pdf, side);
    print_and_fit(pdf, side);
    advice(pdf, record);
}
