/* report.h: a record as table, JSON, and marked pictures. */
#ifndef PINSPAN_REPORT_H
#define PINSPAN_REPORT_H

#include <stdio.h>

#include "pinspan/forms.h"
#include "pinspan/measure.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Plain-text table for people. `inch`: inches beside millimetres. Caller frees *text. */
PS_API ps_status ps_report_table(ps_context *ctx, const ps_record *record, bool inch, char **text);
/* JSON, schema pinspan.measurement/1; same record, same bytes. Caller frees *text. */
PS_API ps_status ps_report_json(ps_context *ctx, const ps_record *record, char **text);
/* Writes one marked picture per usable photo into `folder` (made when missing) as <photo name>-marked.jpg, with -2, -3 ... behind
 * it where two photos share a name; a photo is never overwritten. names[] (when not NULL, record->photo_count entries, NULL where
 * none) are owned by the caller. The message of a failure names the file. */
PS_API ps_status ps_report_pictures(ps_context *ctx, const ps_record *record, const ps_photo_limits *limits, const char *folder, bool inch,
                                    char **names);

/* A whole job: plain-text table, JSON (schema pinspan.record/1, docs/job.md) and CSV (one line a dimension, RFC 4180). Same job and
 * result, same bytes. Caller frees *text. */
PS_API ps_status ps_report_job_table(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, char **text);
PS_API ps_status ps_report_job_json(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, char **text);
PS_API ps_status ps_report_job_csv(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, char **text);

/* The same as a PDF to be read and signed: decisions and questions first, then the reasons, a chapter a side with marked photos,
 * close-ups of every measured edge, its residuals and the budget, then what went in. Fonts are embedded. The photos are read
 * again; one that cannot be is a frame with the cause. Same job, result, photos and fonts, same bytes. Caller frees *bytes. */
PS_API ps_status ps_report_job_pdf(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, ps_paper paper,
                                   unsigned char **bytes, size_t *size);

/* Writes a file whole or not at all (a part beside it, then a rename). PS_IO; the message names the cause, not the path. */
PS_API ps_status ps_report_write(ps_context *ctx, const char *path, const void *bytes, size_t size);

/* A file name or text made safe for a terminal: valid UTF-8, one line, no control characters. Caller frees; NULL when out
 * of memory. */
PS_API char *ps_report_clean(const char *bytes);

#ifdef __cplusplus
}
#endif
#endif
