/* What the numbers may be used for, and what went in: readings, files, program. */
#include <math.h>
#include <stdio.h>

#include "report/job_pdf.h"
#include "report/words.h"

static void limits(ps_doc *doc) {
    static const char *const text[] = {
        "± U is an expanded uncertainty (k=2): it is meant to hold the true size in about 95 of 100 cases. How often it does, and where "
        "it falls short, was measured on made photos and simulated jobs; docs/accuracy.md and docs/rims.md of the program tell.",
        "'good' means: the size is known within what an order needs with at least 99 % probability, and nothing speaks against it. It "
        "speaks of the size as photographed, not of wear inside a bore, of fit, of strength or of safety.",
        "Photos show the ends of pins and bushes. Whether the pin has the same diameter inside, they do not show.",
        "Nominal sizes beside a diameter are what it may stand for. No value is moved to one.",
        "Gaps can be shimmed, centres cannot: what a difference does is said, and no rating of a machine or coupler is computed.",
    };
    ps_doc_head(doc, "Cautions and limits");
    ps_doc_paragraph(doc, PS_DOC_BODY, 0, ps_words_cautions());
    for (size_t i = 0; i < sizeof text / sizeof text[0]; i++) ps_doc_paragraph(doc, PS_DOC_BODY, 0, text[i]);
}

static void reading_row(ps_pdf *pdf, const ps_doc_table *table, const ps_forms_comparison *c) {
    const ps_forms_reading *r = &pdf->job->reading[c->reading];
    char written[48], how[120], read[40], expected[40], error[24] = "-";
    (void)snprintf(written, sizeof written, "%s %s", r->written, r->inch ? "in" : "mm");
    (void)snprintf(how, sizeof how, "%s%s, %s%s", r->instrument == PS_INSTRUMENT_CALIPERS ? "calipers" : "tape",
                   r->instrument_given ? "" : " (taken)", ps_forms_way_word(r->way), r->way_given ? "" : " (taken)");
    ps_words_band(c->read_mm, 2 * c->u_read_mm, false, read, sizeof read);
    ps_words_band(c->expected_mm, 2 * c->u_expected_mm, false, expected, sizeof expected);
    if (isfinite(c->normalised_error)) (void)snprintf(error, sizeof error, "%.2f", c->normalised_error);
    const ps_doc_cell cell[] = {
        {c->name, r->where, PS_DOC_SMALL, false}, {written, how, PS_DOC_SMALL, false},
        {read, NULL, PS_DOC_SMALL, false},        {expected, NULL, PS_DOC_SMALL, false},
        {error, NULL, PS_DOC_SMALL, false},       {ps_match_word(c->match), NULL, PS_DOC_SMALL_STRONG, c->match == PS_MATCH_DIFFERS}};
    ps_doc_row(&pdf->doc, table, cell);
}

static void readings(ps_pdf *pdf) {
    static const ps_doc_table table = {.columns = 6,
                                       .width_mm = {44, 46, 26, 26, 16, 0},
                                       .head = {"Reading", "as written, how taken", "in mm, ± U", "photos expect", "error / U", "match"}};
    const ps_forms_result *r = pdf->result;
    if (r->comparison_count == 0) return;
    ps_doc_head(&pdf->doc, "Readings by hand");
    ps_doc_paragraph(
        &pdf->doc, PS_DOC_SMALL, 0,
        "'photos expect': what would have been read in that way if the photos are right. Error over its expanded uncertainty: up to "
        "1 agrees.");
    ps_doc_table_head(&pdf->doc, &table);
    for (int i = 0; i < r->comparison_count; i++) reading_row(pdf, &table, &r->comparison[i]);
}

static void files(ps_pdf *pdf) {
    static const ps_doc_table table = {.columns = 3, .width_mm = {52, 28, 0}, .head = {"File", "use, bytes", "SHA-256"}};
    const ps_forms_result *r = pdf->result;
    ps_doc_head(&pdf->doc, "What went in");
    ps_doc_table_head(&pdf->doc, &table);
    for (int i = 0; i < r->file_count; i++) {
        const ps_forms_file *f = &r->file[i];
        char use[80], size[32];
        (void)snprintf(use, sizeof use, "%s%s%s", f->side < 0 ? "" : ps_side_word((ps_side)f->side), f->side < 0 ? "" : " ", f->use);
        (void)snprintf(size, sizeof size, "%lld", (long long)f->size);
        const ps_doc_cell cell[] = {
            {f->name, NULL, PS_DOC_SMALL, false}, {use, size, PS_DOC_SMALL, false}, {f->sha256, NULL, PS_DOC_FIXED, false}};
        ps_doc_row(&pdf->doc, &table, cell);
    }
    char text[120];
    (void)snprintf(text, sizeof text, "Computed by pinspan %s. The whole record is in job-record.json beside this report.", ps_version());
    ps_doc_space(&pdf->doc, 2);
    ps_doc_paragraph(&pdf->doc, PS_DOC_SMALL, 0, text);
}

void ps_pdf_inputs(ps_pdf *pdf) {
    ps_doc_page(&pdf->doc);
    limits(&pdf->doc);
    readings(pdf);
    files(pdf);
}
