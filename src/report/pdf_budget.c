/* Where the uncertainty of each size comes from, as bars. */
#include <math.h>
#include <stdio.h>

#include "report/job_pdf.h"
#include "report/words.h"

static const double bar_mm = 3.6, label_mm = 22, number_mm = 26, gap_mm = 8, least_share = 0.005;

/* Shares of the variance add up to the whole; sources under half a percent are left out. */
static double share(const ps_dimension *d, int source) {
    double s = d->budget_mm[source] / d->u_mm;
    return isfinite(s) ? s * s : 0;
}

static int bars(const ps_dimension *d) {
    int count = 0;
    for (int s = 0; s < PS_SOURCE_COUNT; s++) count += share(d, s) >= least_share;
    return count;
}

/* Largest first. */
static int sorted(const ps_dimension *d, int order[PS_SOURCE_COUNT]) {
    int count = 0;
    for (int s = 0; s < PS_SOURCE_COUNT; s++) {
        int k = count;
        if (share(d, s) < least_share) continue;
        for (; k > 0 && share(d, order[k - 1]) < share(d, s); k--) order[k] = order[k - 1];
        order[k] = s;
        count++;
    }
    return count;
}

static void draw(ps_doc *doc, const ps_dimension *d, double x, double y, double width) {
    char text[160], name[80], band[40];
    int order[PS_SOURCE_COUNT], count = sorted(d, order);
    double room = width - label_mm - number_mm;
    ps_words_dimension(d, name, sizeof name);
    ps_words_band(d->value_mm, d->U_mm, false, band, sizeof band);
    (void)snprintf(text, sizeof text, "%s: %s mm", name, band);
    (void)ps_doc_put(doc, x, y, width, PS_DOC_SMALL_STRONG, PS_DOC_LEFT, 1, text);
    y += 4.2;
    for (int i = 0; i < count; i++, y += bar_mm) {
        double s = share(d, order[i]);
        (void)ps_doc_put(doc, x, y, label_mm, PS_DOC_SMALL, PS_DOC_LEFT, 1, ps_source_word((ps_source)order[i]));
        cairo_rectangle(doc->cr, x + label_mm, y + 0.4, room * fmin(s, 1), bar_mm - 1.2);
        cairo_set_source_rgb(doc->cr, 0.35, 0.35, 0.35);
        cairo_fill(doc->cr);
        cairo_set_source_rgb(doc->cr, 0, 0, 0);
        ps_doc_box(doc, x + label_mm, y + 0.4, room, bar_mm - 1.2, 0.08);
        (void)snprintf(text, sizeof text, "%.0f %%  %.3f mm", 100 * s, d->budget_mm[order[i]]);
        (void)ps_doc_put(doc, x + label_mm + room + 1, y, number_mm - 1, PS_DOC_SMALL, PS_DOC_LEFT, 1, text);
    }
}

void ps_pdf_budget(ps_pdf *pdf, int side) {
    const ps_record *record = &pdf->result->record[side];
    ps_doc *doc = &pdf->doc;
    double width = (doc->right - doc->left - gap_mm) / 2;
    const ps_dimension *pair[2];
    int shown = 0, waiting = 0;
    for (int i = 0; i <= record->dimension_count; i++) {
        bool last = i == record->dimension_count;
        if (!last && (!ps_words_has_value(&record->dimension[i]) || bars(&record->dimension[i]) == 0)) continue;
        if (!last) pair[waiting++] = &record->dimension[i];
        if (waiting == 0 || (waiting < 2 && !last)) continue;
        double height = 6 + bar_mm * fmax(bars(pair[0]), waiting > 1 ? bars(pair[1]) : 0);
        if (shown++ == 0) {
            ps_doc_need(doc, height + 18); /* the heading stays with the first row */
            ps_doc_subhead(doc, "Where the uncertainty comes from");
            ps_doc_paragraph(doc, PS_DOC_SMALL, 0,
                             "Share of each source in the variance, and its standard uncertainty. U = 2 u; the shares of a size add up to "
                             "the whole.");
        }
        ps_doc_need(doc, height);
        for (int k = 0; k < waiting; k++) draw(doc, pair[k], doc->left + k * (width + gap_mm), doc->y, width);
        doc->y += height;
        waiting = 0;
    }
}
