/* The photos of a side with what was measured drawn in, two in a row. */
#include <math.h>
#include <stdio.h>

#include "report/job_pdf.h"
#include "report/marks.h"
#include "report/overlay.h"

enum { PICTURE_SIDE = 1300, IN_A_ROW = 2 };
static const double gap_mm = 5, caption_mm = 5, highest_mm = 105;

static const ps_photo_limits *limits_of(const ps_pdf *pdf, int side) {
    return &pdf->job->side[side].options.limits;
}

static void draw_photo(ps_pdf *pdf, int side, int photo, const double box[4]) {
    ps_colour colour = {0};
    cairo_surface_t *surface = NULL;
    double at[4];
    const ps_record *record = &pdf->result->record[side];
    if (pdf->doc.dry) return;
    ps_status status = ps_photo_read_colour(pdf->ctx, record->photo[photo].file, limits_of(pdf, side), PICTURE_SIDE, &colour);
    if (status == PS_OK) status = ps_overlay_draw(pdf->ctx, record, photo, &colour, pdf->job->inch, false, &surface);
    if (status == PS_OK)
        ps_pdf_picture(pdf, surface, box, at);
    else
        ps_pdf_no_picture(pdf, box, ps_context_message(pdf->ctx));
    cairo_surface_destroy(surface);
    ps_colour_clear(&colour);
}

/* The photo keeps its shape within the column and a height that leaves room for others. */
static double height_of(const ps_record_photo *photo, double width) {
    if (photo->width < 1 || photo->height < 1) return 0.5 * width;
    return fmin(width * photo->height / photo->width, highest_mm);
}

static double column_mm(const ps_pdf *pdf) {
    return (pdf->doc.right - pdf->doc.left - (IN_A_ROW - 1) * gap_mm) / IN_A_ROW;
}

static void draw_row(ps_pdf *pdf, int side, const int *photo, int count) {
    ps_doc *doc = &pdf->doc;
    const ps_record *record = &pdf->result->record[side];
    double width = column_mm(pdf), height = 0;
    for (int i = 0; i < count; i++) height = fmax(height, height_of(&record->photo[photo[i]], width));
    ps_doc_need(doc, height + caption_mm);
    for (int i = 0; i < count; i++) {
        char caption[300];
        const double box[4] = {doc->left + i * (width + gap_mm), doc->y, width, height};
        draw_photo(pdf, side, photo[i], box);
        (void)snprintf(caption, sizeof caption, "%d: %.280s", photo[i] + 1, ps_pdf_photo_name(pdf, side, photo[i]));
        (void)ps_doc_put(doc, box[0], box[1] + height + 0.8, width, PS_DOC_SMALL, PS_DOC_LEFT, 1, caption);
    }
    doc->y += height + caption_mm;
}

/* Sample lines with their meaning; every kind of line has a style of its own, so that black and white will do. */
static void legend(ps_pdf *pdf) {
    ps_doc *doc = &pdf->doc;
    double x = doc->left, sample = 9, line = 4.2;
    ps_doc_need(doc, 2 * line);
    for (int mark = 0; mark < PS_MARK_COUNT; mark++) {
        double width = ps_doc_width(doc, PS_DOC_SMALL, ps_mark_text((ps_mark)mark));
        if (x + sample + 1.5 + width > doc->right) {
            x = doc->left;
            doc->y += line;
        }
        cairo_move_to(doc->cr, x, doc->y + 1.7);
        cairo_line_to(doc->cr, x + sample, doc->y + 1.7);
        ps_mark_stroke(doc->cr, (ps_mark)mark, 0.2);
        cairo_set_source_rgb(doc->cr, 0, 0, 0);
        (void)ps_doc_put(doc, x + sample + 1.5, doc->y, width + 1, PS_DOC_SMALL, PS_DOC_LEFT, 1, ps_mark_text((ps_mark)mark));
        x += sample + width + 6;
    }
    doc->y += line + 1;
}

void ps_pdf_marked(ps_pdf *pdf, int side) {
    const ps_record *record = &pdf->result->record[side];
    int row[IN_A_ROW], count = 0;
    bool headed = false;
    for (int i = 0; i < record->photo_count; i++) {
        if (!record->photo[i].usable) continue;
        if (!headed) {
            ps_doc_need(&pdf->doc, column_mm(pdf) + 25); /* the heading stays with the first row */
            ps_doc_subhead(&pdf->doc, "What was measured, drawn into the photos");
            legend(pdf);
        }
        headed = true;
        row[count++] = i;
        if (count == IN_A_ROW) draw_row(pdf, side, row, count);
        if (count == IN_A_ROW) count = 0;
    }
    if (count > 0) draw_row(pdf, side, row, count);
}
