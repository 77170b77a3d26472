/* First page: what the job is, the answer, the ten decisions, what to ask, who signs. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "report/job_pdf.h"
#include "report/words.h"

/* ---- what the job is ---- */

enum { FACTS_MAX = 14, FACT = 560 };
typedef struct facts {
    int count;
    const char *label[FACTS_MAX];
    char text[FACTS_MAX][FACT];
} facts;

static void add_fact(facts *f, const char *label, const char *text) {
    if (f->count >= FACTS_MAX) return;
    f->label[f->count] = label;
    (void)snprintf(f->text[f->count++], FACT, "%s", *text ? text : "not told");
}

static void add_length(char *text, size_t size, const char *name, double mm) {
    size_t n = strlen(text);
    if (isfinite(mm)) (void)snprintf(text + n, size - n, "%s%s %.4g mm", n ? ", " : "", name, mm);
}

static void add_words(char *text, size_t size, const char *words) {
    size_t n = strlen(text);
    if (*words) (void)snprintf(text + n, size - n, "%s%s", n ? ", " : "", words);
}

static void gather(const ps_forms_job *job, facts *f) {
    char text[FACT] = "", number[40];
    add_words(text, sizeof text, job->machine.make);
    add_words(text, sizeof text, job->machine.model);
    if (job->machine.year > 0) {
        (void)snprintf(number, sizeof number, "%d", job->machine.year);
        add_words(text, sizeof text, number);
    }
    if (isfinite(job->machine.class_t)) {
        (void)snprintf(number, sizeof number, "class %.3g t", job->machine.class_t);
        add_words(text, sizeof text, number);
    }
    add_fact(f, "Machine", text);
    add_fact(f, "Attachment", job->attachment_type);
    (void)snprintf(text, sizeof text, "%s%s%s", job->coupler == PS_COUPLER_GRAB ? "grab" : "fixed",
                   job->coupler_given ? "" : " (not told; taken)",
                   job->tilt < 0 ? ""
                   : job->tilt   ? ", tilting"
                                 : ", straight");
    add_fact(f, "Coupler", text);
    add_fact(f, "Pin retention", job->pin_retention);
    text[0] = 0;
    add_length(text, sizeof text, "thickness", job->ear_thickness_mm);
    add_length(text, sizeof text, "radius", job->ear_radius_mm);
    add_length(text, sizeof text, "clearance", job->ear_clearance_mm);
    add_fact(f, "Ears", text);
    add_fact(f, "Lifting eye", job->lifting_eye < 0 ? "" : job->lifting_eye ? "yes" : "no");
    text[0] = 0;
    add_words(text, sizeof text, job->hydraulics.lines);
    add_words(text, sizeof text, job->hydraulics.couplings);
    add_words(text, sizeof text, job->hydraulics.pressure);
    add_words(text, sizeof text, job->hydraulics.flow);
    add_fact(f, "Hydraulics", text);
    add_fact(f, "Country", job->country);
}

/* Two columns of label and text; a row is as high as its higher half. Nothing is cut short: it is what will be ordered by. */
static void draw_facts(ps_doc *doc, const facts *f) {
    double half = (doc->right - doc->left) / 2, label_w = 24;
    for (int i = 0; i < f->count; i += 2) {
        double height = 0;
        for (int k = i; k < i + 2 && k < f->count; k++)
            height = fmax(height, ps_doc_height(doc, half - label_w - 3, PS_DOC_SMALL, 0, f->text[k]));
        ps_doc_need(doc, height);
        for (int k = i; k < i + 2 && k < f->count; k++) {
            double x = doc->left + (k - i) * half;
            (void)ps_doc_put(doc, x, doc->y, label_w, PS_DOC_SMALL_STRONG, PS_DOC_LEFT, 1, f->label[k]);
            (void)ps_doc_put(doc, x + label_w, doc->y, half - label_w - 3, PS_DOC_SMALL, PS_DOC_LEFT, 0, f->text[k]);
        }
        doc->y += height + 0.6;
    }
}

static void title(ps_pdf *pdf) {
    ps_doc *doc = &pdf->doc;
    const ps_forms_job *job = pdf->job;
    facts f = {0};
    double width = doc->right - doc->left;
    doc->y += ps_doc_put(doc, doc->left, doc->y, width, PS_DOC_TITLE, PS_DOC_LEFT, 1, "Pin sizes for a made-to-order coupler") + 1;
    doc->y +=
        ps_doc_put(doc, doc->left, doc->y, width, PS_DOC_SUBHEAD, PS_DOC_LEFT, 3, *job->title ? job->title : "A job without a title") + 1;
    if (job->invented) ps_doc_paragraph(doc, PS_DOC_STRONG, 0, "An invented example: no real machine, firm or person.");
    ps_doc_line(doc, doc->left, doc->y, doc->right, doc->y, 0.5);
    doc->y += 2;
    gather(job, &f);
    draw_facts(doc, &f);
    if (*job->note) {
        char note[700];
        (void)snprintf(note, sizeof note, "Note: %s", job->note);
        ps_doc_paragraph(doc, PS_DOC_SMALL, 0, note);
    }
}

static void answer(ps_pdf *pdf) {
    ps_doc *doc = &pdf->doc;
    double width = doc->right - doc->left - 6, height = ps_doc_height(doc, width, PS_DOC_SUBHEAD, 0, pdf->result->answer);
    ps_doc_space(doc, 2);
    ps_doc_need(doc, height + 6);
    ps_doc_box(doc, doc->left, doc->y, doc->right - doc->left, height + 4, pdf->result->ready ? 0.4 : 0.8);
    (void)ps_doc_put(doc, doc->left + 3, doc->y + 2, width, PS_DOC_SUBHEAD, PS_DOC_LEFT, 0, pdf->result->answer);
    doc->y += height + 6;
}

/* ---- decisions ---- */

static void size_name(const ps_forms_decision *d, char *text, size_t size) {
    static const char *const what[PS_KIND_COUNT] = {"gap between bush faces", "pin diameter", "distance of the pin axes", "bush",
                                                    "stand-out"};
    const char *words = d->kind == PS_KIND_GAP && d->over ? "width over the boss" : what[d->kind];
    (void)snprintf(text, size, "%s%s%s", d->role < 0 ? "" : ps_role_word((ps_role)d->role), d->role < 0 ? "" : " ", words);
}

static void nominal_words(const ps_forms_decision *d, char *text, size_t size) {
    size_t n = strlen(text);
    for (int i = 0; i < d->nominal_count && i < 3 && n < size; i++, n = strlen(text))
        (void)snprintf(text + n, size - n, "%s%s (%.0f %%)",
                       i   ? ", "
                       : n ? "; nom. "
                           : "nominal ",
                       d->nominal[i].label, 100 * d->nominal[i].probability);
}

/* What stands under the value: inches, nominal sizes, what surely enters; of an open size what is known. */
static void below(const ps_forms_decision *d, bool inch, char *text, size_t size) {
    char band[40];
    text[0] = 0;
    if (inch && isfinite(d->value_mm) && d->settled) {
        ps_words_band(d->value_mm, d->U_mm, true, band, sizeof band);
        (void)snprintf(text, size, "%s in", band);
    }
    size_t n = strlen(text);
    if (!d->settled && isfinite(d->value_mm)) {
        ps_words_band(d->value_mm, d->U_mm, false, band, sizeof band);
        (void)snprintf(text, size, "known so far %s", band);
    } else if (d->settled && isfinite(d->enters_mm)) {
        n += (size_t)snprintf(text + n, size - n, "%s%s %.1f mm", n ? "; " : "", d->over ? "surely goes over at" : "surely enters up to",
                              d->enters_mm);
        if (isfinite(d->shims_mm) && n < size) (void)snprintf(text + n, size - n, "; shims about %.1f mm", d->shims_mm);
    } else if (d->settled)
        nominal_words(d, text, size);
}

static void decision_row(ps_pdf *pdf, const ps_doc_table *table, const ps_forms_decision *d) {
    char name[80], use[40], under[200], photo[40], form[40], tape[40];
    size_name(d, name, sizeof name);
    ps_words_band(d->value_mm, d->U_mm, false, use, sizeof use);
    below(d, pdf->job->inch, under, sizeof under);
    ps_words_band(d->photo_mm, d->photo_U_mm, false, photo, sizeof photo);
    ps_words_band(d->form_mm, d->form_U_mm, false, form, sizeof form);
    ps_words_band(d->tape_mm, d->tape_U_mm, false, tape, sizeof tape);
    const char *form_match = isfinite(d->form_mm) && isfinite(d->photo_mm) ? ps_match_word(d->form_match) : NULL;
    const char *tape_match = isfinite(d->tape_mm) && isfinite(d->photo_mm) ? ps_match_word(d->tape_match) : NULL;
    const ps_doc_cell cell[] = {
        {name, NULL, PS_DOC_BODY, false},
        {d->settled ? use : "OPEN", under, PS_DOC_STRONG, !d->settled},
        {d->settled ? ps_forms_source_word(d->source) : "", NULL, PS_DOC_SMALL, false},
        {photo, isfinite(d->photo_mm) ? ps_verdict_word(d->photo_verdict) : NULL, PS_DOC_SMALL, false},
        {form, form_match, PS_DOC_SMALL, false},
        {tape, tape_match, PS_DOC_SMALL, false},
    };
    ps_doc_row(&pdf->doc, table, cell);
}

static void decisions(ps_pdf *pdf) {
    static const ps_doc_table table = {
        .columns = 6, .width_mm = {49, 51, 16, 21, 20, 0}, .head = {"Size", "To use, mm", "from", "photos", "form", "tape"}};
    ps_doc *doc = &pdf->doc;
    ps_doc_table_head(doc, &table);
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) {
        const ps_forms_decision *d = &pdf->result->decision[i];
        if (i == 0 || d->side != pdf->result->decision[i - 1].side) {
            const ps_doc_cell side[6] = {{d->side == PS_SIDE_MACHINE ? "Machine" : "Attachment", NULL, PS_DOC_SMALL_STRONG, false}};
            ps_doc_row(doc, &table, side);
        }
        decision_row(pdf, &table, d);
    }
    ps_doc_paragraph(
        doc, PS_DOC_SMALL, 0,
        "± holds the true size in about 95 of 100 cases (expanded uncertainty, k=2). 'good' and 'confirm' are the photos' own "
        "verdicts; 'agrees' and 'differs' compare a reading with the photos; 'cannot tell': both bands together are too wide for "
        "that, or the reading lies in between.");
}

/* What was found wrong, a line each: whoever reads no further must see which values were not used as they stand. */
static void mistakes(ps_pdf *pdf) {
    const ps_forms_result *r = pdf->result;
    char text[400];
    bool headed = false;
    for (int i = 0; i < r->joint_count; i++) {
        const ps_forms_joint *j = &r->joint[i];
        if (!j->named) continue;
        if (!headed) ps_doc_subhead(&pdf->doc, "Likely mistakes");
        headed = true;
        (void)snprintf(text, sizeof text, "%s%s: %s (%.0f %%)", j->side < 0 ? "Both sides" : ps_side_word((ps_side)j->side),
                       j->side < 0 ? "" : " side", ps_mistake_text(j->mistake), 100 * j->probability);
        ps_doc_paragraph(&pdf->doc, PS_DOC_SMALL, 0, text);
    }
    for (int i = 0; i < r->comparison_count; i++) {
        const ps_forms_comparison *c = &r->comparison[i];
        if (c->suspect_count == 0 || !c->suspect[0].named) continue;
        if (!headed) ps_doc_subhead(&pdf->doc, "Likely mistakes");
        headed = true;
        (void)snprintf(text, sizeof text, "%s, %s: %.1f mm is as if %s (%.0f %%)", c->name, pdf->job->reading[c->reading].where, c->read_mm,
                       ps_mistake_text(c->suspect[0].mistake), 100 * c->suspect[0].probability);
        ps_doc_paragraph(&pdf->doc, PS_DOC_SMALL, 0, text);
    }
}

/* ---- what to ask, and who signs ---- */

static void questions(ps_pdf *pdf) {
    const ps_forms_result *r = pdf->result;
    if (r->question_count == 0) return;
    ps_doc_subhead(&pdf->doc, "Open questions");
    for (int i = 0; i < r->question_count; i++) {
        char label[120];
        (void)snprintf(label, sizeof label, "%d. %s", i + 1, r->question[i].about);
        ps_doc_entry(&pdf->doc, label, r->question[i].text);
    }
    ps_doc_paragraph(&pdf->doc, PS_DOC_SMALL, 0, ps_words_cautions());
}

/* What is signed: the program and the job file, whose digest the record has too. */
static void signature(ps_pdf *pdf) {
    ps_doc *doc = &pdf->doc;
    const ps_forms_result *r = pdf->result;
    const ps_forms_file *job = r->file_count > 0 && strcmp(r->file[0].use, "job") == 0 ? &r->file[0] : NULL;
    char text[400];
    static const char *const label[] = {"Decided by", "Signature", "Date"};
    double width = (doc->right - doc->left) / 3;
    ps_doc_space(doc, 2);
    ps_doc_need(doc, 16);
    for (int i = 0; i < 3; i++) {
        double x = doc->left + i * width;
        ps_doc_line(doc, x, doc->y + 7, x + width - 6, doc->y + 7, 0.2);
        (void)ps_doc_put(doc, x, doc->y + 7.6, width - 6, PS_DOC_SMALL, PS_DOC_LEFT, 1, label[i]);
    }
    doc->y += 12;
    (void)snprintf(text, sizeof text, "Computed by pinspan %s%s%.120s%s%s", ps_version(), job ? " from " : "", job ? job->name : "",
                   job ? ", SHA-256 " : "", job ? job->sha256 : "");
    ps_doc_paragraph(doc, PS_DOC_SMALL, 0, text);
}

void ps_pdf_front(ps_pdf *pdf) {
    title(pdf);
    answer(pdf);
    decisions(pdf);
    mistakes(pdf);
    questions(pdf);
    signature(pdf);
}
