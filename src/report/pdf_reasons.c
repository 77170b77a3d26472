/* Why each size was decided as it was, what the form may have wrong, what both sides say together, the message. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "report/job_pdf.h"
#include "report/words.h"

static void why(ps_pdf *pdf) {
    ps_doc *doc = &pdf->doc;
    ps_doc_head(doc, "Why, size by size");
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) {
        const ps_forms_decision *d = &pdf->result->decision[i];
        char label[160], band[40], text[2 * PS_FORMS_SENTENCE + 8];
        ps_words_band(d->value_mm, d->U_mm, false, band, sizeof band);
        if (d->settled)
            (void)snprintf(label, sizeof label, "%s: %s mm, %s", d->name, band, ps_forms_source_word(d->source));
        else
            (void)snprintf(label, sizeof label, "%s: open", d->name);
        (void)snprintf(text, sizeof text, "%s%s%s", d->why, *d->ask ? " " : "", d->ask);
        ps_doc_entry(doc, label, text);
    }
}

static void mistakes(ps_pdf *pdf) {
    const ps_forms_result *r = pdf->result;
    bool headed = false;
    for (int i = 0; i < r->joint_count; i++) {
        char label[200];
        if (!r->joint[i].named) continue;
        if (!headed) ps_doc_head(&pdf->doc, "Likely mistakes");
        headed = true;
        (void)snprintf(label, sizeof label, "%s (%.0f %%)", ps_mistake_text(r->joint[i].mistake), 100 * r->joint[i].probability);
        ps_doc_entry(&pdf->doc, label, r->joint[i].evidence);
    }
    for (int i = 0; i < r->comparison_count; i++) {
        const ps_forms_comparison *c = &r->comparison[i];
        bool named = c->suspect_count > 0 && c->suspect[0].named;
        if (!named && c->match != PS_MATCH_DIFFERS) continue;
        if (!headed) ps_doc_head(&pdf->doc, "Likely mistakes");
        headed = true;
        ps_doc_entry(&pdf->doc, c->name, c->text);
        for (int k = 1; named && k < c->suspect_count; k++) {
            char other[200];
            if (c->suspect[k].probability < 0.05) continue;
            (void)snprintf(other, sizeof other, "or %s (%.0f %%)", ps_mistake_text(c->suspect[k].mistake), 100 * c->suspect[k].probability);
            ps_doc_paragraph(&pdf->doc, PS_DOC_SMALL, 4, other);
        }
    }
}

static void findings(ps_pdf *pdf) {
    static const ps_doc_table table = {.columns = 4, .width_mm = {12, 30, 88, 0}, .head = {"", "Rule", "What it says here", "Ground"}};
    const ps_forms_result *r = pdf->result;
    if (r->finding_count == 0) return;
    ps_doc_head(&pdf->doc, "Both sides together");
    ps_doc_table_head(&pdf->doc, &table);
    for (int i = 0; i < r->finding_count; i++) {
        const ps_forms_finding *f = &r->finding[i];
        const ps_doc_cell cell[] = {{ps_forms_weight_word(f->weight), NULL, PS_DOC_SMALL_STRONG, f->weight == PS_WEIGHT_ASK},
                                    {f->code, NULL, PS_DOC_SMALL, false},
                                    {f->text, NULL, PS_DOC_SMALL, false},
                                    {f->ground, NULL, PS_DOC_SMALL, false}};
        ps_doc_row(&pdf->doc, &table, cell);
    }
}

static void message(ps_pdf *pdf) {
    const char *text = pdf->result->message_text;
    if (!text || !*text) return;
    ps_doc_head(&pdf->doc, "To ask, as a message");
    for (const char *line = text; *line;) {
        size_t length = strcspn(line, "\n");
        char *one = strndup(line, length);
        if (one && length > 0) ps_doc_paragraph(&pdf->doc, PS_DOC_BODY, 4, one);
        free(one);
        line += length + (line[length] == '\n');
    }
}

void ps_pdf_reasons(ps_pdf *pdf) {
    if (pdf->doc.page == 1) ps_doc_page(&pdf->doc); /* the first page stands alone; what ran over it does not */
    why(pdf);
    mistakes(pdf);
    findings(pdf);
    message(pdf);
}
