/* A job's report as PDF: its chapters in their order. */
#include "report/job_pdf.h"

#include <stdio.h>
#include <stdlib.h>

#include "report/jpeg_write.h"
#include "report/text.h"

enum { PICTURE_QUALITY = 85 };

const char *ps_pdf_photo_name(const ps_pdf *pdf, int side, int photo) {
    const ps_forms_side *s = &pdf->job->side[side];
    if (photo < s->photo_count && s->photo[photo]) return s->photo[photo];
    const char *file = pdf->result->record[side].photo[photo].file;
    return file ? file : "photo";
}

void ps_pdf_no_picture(ps_pdf *pdf, const double box[4], const char *why) {
    ps_doc *doc = &pdf->doc;
    ps_doc_box(doc, box[0], box[1], box[2], box[3], 0.15);
    (void)ps_doc_put(doc, box[0] + 3, box[1] + box[3] / 3, box[2] - 6, PS_DOC_SMALL, PS_DOC_MIDDLE, 4, why);
}

void ps_pdf_picture(ps_pdf *pdf, cairo_surface_t *picture, const double box[4], double at[4]) {
    unsigned char *bytes = NULL;
    size_t size = 0;
    cairo_t *cr = pdf->doc.cr;
    int width = cairo_image_surface_get_width(picture), height = cairo_image_surface_get_height(picture);
    double scale = box[2] / width < box[3] / height ? box[2] / width : box[3] / height;
    at[2] = width * scale;
    at[3] = height * scale;
    at[0] = box[0] + (box[2] - at[2]) / 2;
    at[1] = box[1] + (box[3] - at[3]) / 2;
    cairo_surface_flush(picture);
    if (ps_jpeg_write(pdf->ctx, cairo_image_surface_get_data(picture), width, height, cairo_image_surface_get_stride(picture),
                      PICTURE_QUALITY, &bytes, &size) == PS_OK &&
        cairo_surface_set_mime_data(picture, CAIRO_MIME_TYPE_JPEG, bytes, size, free, bytes) != CAIRO_STATUS_SUCCESS)
        free(bytes); /* the picture goes in as it is */
    cairo_save(cr);
    cairo_translate(cr, at[0], at[1]);
    cairo_scale(cr, scale, scale);
    cairo_set_source_surface(cr, picture, 0, 0);
    cairo_paint(cr);
    cairo_restore(cr);
    cairo_set_source_rgb(cr, 0, 0, 0);
}

/* One round. `pages`: 0 counts them; else as counted. */
static ps_status draw(ps_pdf *pdf, ps_paper paper, int pages) {
    const ps_forms_job *job = pdf->job;
    char running[160];
    const char *title = *job->title ? job->title : "a job";
    (void)snprintf(running, sizeof running, "pinspan %s · %s%s", ps_version(), job->invented ? "invented example · " : "", title);
    ps_doc_open(&pdf->doc, paper, title, running, pages);
    pdf->doc.inch = job->inch;
    ps_pdf_front(pdf);
    ps_pdf_reasons(pdf);
    for (int side = 0; side < PS_FORMS_SIDES; side++) ps_pdf_side(pdf, side);
    ps_pdf_inputs(pdf);
    return ps_doc_close(pdf->ctx, &pdf->doc);
}

ps_status ps_report_job_pdf(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, ps_paper paper, unsigned char **bytes,
                            size_t *size) {
    ps_pdf pdf = {.ctx = ctx, .job = job, .result = result};
    ps_status status = draw(&pdf, paper, 0);
    if (status == PS_OK) status = draw(&pdf, paper, pdf.doc.page);
    if (status != PS_OK) return status;
    *bytes = pdf.doc.bytes;
    *size = pdf.doc.size;
    return PS_OK;
}
