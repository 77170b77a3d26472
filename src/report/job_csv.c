/* A job's dimensions as CSV (RFC 4180: CRLF, quotes doubled), for a spreadsheet. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "pinspan/report.h"
#include "report/text.h"

static void add_number(ps_text *out, double value, int decimals) {
    if (isfinite(value))
        ps_text_add(out, ",%.*f", decimals, value);
    else
        ps_text_add(out, ",");
}

/* A text that a spreadsheet could take for a formula gets an apostrophe before it. */
static void add_quoted(ps_text *out, const char *text) {
    char *clean = ps_text_clean(text, true);
    if (!clean) {
        out->failed = true;
        return;
    }
    ps_text_add(out, ",\"%s", *clean == '=' || *clean == '+' || *clean == '-' || *clean == '@' ? "'" : "");
    for (const char *p = clean; *p; p++) ps_text_add(out, *p == '"' ? "\"\"" : "%c", *p);
    ps_text_add(out, "\"");
    free(clean);
}

static void add_row(ps_text *out, const ps_forms_decision *d) {
    ps_text_add(out, "%s,%s,%s", d->name, d->settled ? "settled" : "open", ps_forms_source_word(d->source));
    const double number[] = {d->value_mm,  d->U_mm,    d->need_mm,   d->photo_mm,  d->photo_U_mm, d->form_mm,
                             d->form_U_mm, d->tape_mm, d->tape_U_mm, d->enters_mm, d->shims_mm};
    for (size_t i = 0; i < sizeof number / sizeof number[0]; i++) add_number(out, number[i], 3);
    add_quoted(out, isfinite(d->photo_mm) ? ps_verdict_word(d->photo_verdict) : "");
    add_quoted(out, isfinite(d->form_mm) ? ps_match_word(d->form_match) : "");
    add_quoted(out, isfinite(d->tape_mm) ? ps_match_word(d->tape_match) : "");
    add_quoted(out, d->why);
    add_quoted(out, d->ask);
    ps_text_add(out, "\r\n");
}

ps_status ps_report_job_csv(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, char **text) {
    (void)job;
    ps_text out = {0};
    ps_text_add(&out, "name,state,source,value_mm,U_mm,need_mm,photo_mm,photo_U_mm,form_mm,form_U_mm,tape_mm,tape_U_mm,enters_mm,shims_mm,"
                      "photo_verdict,form_match,tape_match,why,ask\r\n");
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) add_row(&out, &result->decision[i]);
    return ps_text_take(ctx, &out, text);
}
