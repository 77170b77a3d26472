/* sample_job.h: a job and its result built by hand, for the tests of this room. All sizes and texts are invented. */
#ifndef PINSPAN_TESTS_REPORT_SAMPLE_JOB_H
#define PINSPAN_TESTS_REPORT_SAMPLE_JOB_H

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/report.h"
#include "pinspan/trade.h"

typedef struct sample_job {
    ps_forms_job job;
    ps_forms_result result;
    ps_forms_file file[1];
    char message[40];
} sample_job;

/* The caller frees it with free(). */
static inline sample_job *sample_job_make(void) {
    sample_job *s = calloc(1, sizeof *s);
    assert_non_null(s);
    s->job.machine.class_t = s->job.ear_thickness_mm = s->job.ear_radius_mm = s->job.ear_clearance_mm = NAN;
    s->job.tilt = s->job.lifting_eye = -1;
    memset(s->job.title, 'W', sizeof s->job.title - 1);
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) {
        ps_forms_decision *d = &s->result.decision[i];
        d->side = (ps_side)(i / 5),
        d->kind = i % 5 == 4  ? PS_KIND_CENTRES
                  : i % 5 < 2 ? PS_KIND_GAP
                              : PS_KIND_PIN,
        d->role = i % 5 == 4 ? -1 : i & 1;
        ps_trade_name(d->side, d->kind, d->role, d->name);
        d->value_mm = d->u_mm = d->U_mm = d->photo_mm = d->photo_U_mm = d->form_mm = d->form_U_mm = d->tape_mm = d->tape_U_mm = NAN;
        d->enters_mm = d->shims_mm = NAN, d->need_mm = 1;
        (void)snprintf(d->why, sizeof d->why, "why %d", i);
        (void)snprintf(d->ask, sizeof d->ask, "=ask \"%d\"\r\n", i);
    }
    ps_forms_decision *d = &s->result.decision[2];
    d->settled = true, d->source = PS_FROM_COMBINED, d->ask[0] = 0;
    d->value_mm = 64.753125, d->u_mm = 0.0625, d->U_mm = 0.125, d->photo_mm = 64.7, d->photo_U_mm = 0.2, d->form_mm = 64.9,
    d->form_U_mm = 0.3;
    d->nominal_count = 1, d->nominal[0] = (ps_nominal_match){.label = "65 mm", .size_mm = 65, .probability = 0.97};
    d->photo_verdict = PS_VERDICT_GOOD, d->form_match = PS_MATCH_AGREES;
    s->job.reading_count = s->result.comparison_count = 1;
    s->job.reading[0] =
        (ps_forms_reading){.kind = PS_KIND_PIN, .value_mm = 64.9, .shim_mm = NAN, .way = PS_WAY_DIAMETER, .where = "form[0]"};
    ps_forms_comparison *c = &s->result.comparison[0];
    *c = (ps_forms_comparison){
        .name = "attachment.dipper.pin", .read_mm = 64.9, .u_read_mm = 0.15, .expected_mm = NAN, .match = PS_MATCH_DIFFERS};
    c->suspect_count = 1;
    c->suspect[0] = (ps_forms_suspect){.mistake = PS_MISTAKE_CHAMFER, .probability = 0.875, .predicted_mm = 61, .u_mm = 0.4, .named = true};
    (void)snprintf(c->text, sizeof c->text, "the outcome");
    s->result.file = s->file, s->result.file_count = 1;
    s->file[0] = (ps_forms_file){.name = s->message, .side = -1, .use = "job"};
    s->result.message_text = s->message;
    (void)snprintf(s->message, sizeof s->message, "caf\xe9 \x1b[31m"); /* no UTF-8, and an escape */
    (void)snprintf(s->result.answer, sizeof s->result.answer, "the answer");
    return s;
}

#endif
