/* job_pdf.h: the chapters of a job's report. Private to the room. */
#ifndef PINSPAN_REPORT_JOB_PDF_H
#define PINSPAN_REPORT_JOB_PDF_H

#include "report/doc.h"

typedef struct ps_pdf {
    ps_context *ctx;
    const ps_forms_job *job;
    const ps_forms_result *result;
    ps_doc doc;
} ps_pdf;

void ps_pdf_front(ps_pdf *pdf);          /* answer, decisions, questions, signature */
void ps_pdf_reasons(ps_pdf *pdf);        /* why, likely mistakes, both sides together, the message */
void ps_pdf_side(ps_pdf *pdf, int side); /* sizes, photos, pictures, budget, advice of one side */
void ps_pdf_marked(ps_pdf *pdf, int side);
void ps_pdf_closeups(ps_pdf *pdf, int side);
void ps_pdf_budget(ps_pdf *pdf, int side);
void ps_pdf_inputs(ps_pdf *pdf); /* limits, readings, files */

/* A picture (RGB24) in a box, its shape kept, in the box's middle; kept as JPEG in the file. at: where it came to stand and its
 * width and height, mm. */
void ps_pdf_picture(ps_pdf *pdf, cairo_surface_t *picture, const double box[4], double at[4]);
/* A frame with a text in place of a picture. */
void ps_pdf_no_picture(ps_pdf *pdf, const double box[4], const char *why);

/* The name of a photo as the job file has it. */
const char *ps_pdf_photo_name(const ps_pdf *pdf, int side, int photo);

#endif
