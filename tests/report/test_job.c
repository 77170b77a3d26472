/* A job as JSON, CSV and table: every value is in them, missing ones and hostile texts do no harm. */
#include "check.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/report.h"
#include "pinspan/trade.h"

static const double digits = 1e-6; /* JSON has nine digits of values under 1000 */

typedef struct sample {
    ps_forms_job job;
    ps_forms_result result;
    ps_forms_file file[1];
    char message[40];
} sample;

static sample *make(void) {
    sample *s = calloc(1, sizeof *s);
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

static void test_json(void **state) {
    (void)state;
    sample *s = make();
    ps_context *ctx = ps_context_new();
    char *text = NULL, *again = NULL;
    assert_int_equal(ps_report_job_json(ctx, &s->job, &s->result, &text), PS_OK);
    assert_int_equal(ps_report_job_json(ctx, &s->job, &s->result, &again), PS_OK);
    assert_string_equal(text, again);
    json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(root);
    const json_t *d = json_array_get(json_object_get(root, "dimensions"), 2);
    CHECK_NEAR(json_real_value(json_object_get(d, "value_mm")), 64.753125, digits);
    assert_string_equal(json_string_value(json_object_get(json_object_get(d, "photo"), "verdict")), "good");
    assert_true(json_is_null(json_object_get(d, "ask")));
    d = json_array_get(json_object_get(root, "dimensions"), 0);
    assert_true(json_is_null(json_object_get(d, "value_mm")) && json_is_null(json_object_get(json_object_get(d, "tape"), "match")));
    const json_t *c = json_array_get(json_object_get(root, "readings"), 0);
    assert_true(json_is_null(json_object_get(c, "expected_mm")));
    const json_t *suspect = json_array_get(json_object_get(c, "suspects"), 0);
    assert_string_equal(json_string_value(json_object_get(suspect, "mistake")), "chamfer");
    CHECK_NEAR(json_real_value(json_object_get(suspect, "probability")), 0.875, digits);
    assert_true(json_is_null(json_object_get(json_object_get(json_object_get(root, "sides"), "machine"), "measurement")));
    json_decref(root);
    free(text);
    free(again);
    ps_context_free(ctx);
    free(s);
}

static void test_csv(void **state) {
    (void)state;
    sample *s = make();
    ps_context *ctx = ps_context_new();
    char *text = NULL;
    assert_int_equal(ps_report_job_csv(ctx, &s->job, &s->result, &text), PS_OK);
    int lines = 0;
    for (const char *p = text; *p; p++) {
        lines += *p == '\n';
        if (*p == '\n') assert_true(p[-1] == '\r');
    }
    assert_int_equal(lines, 11); /* a line feed inside a text would make more */
    assert_non_null(strstr(
        text, "\r\nattachment.dipper.pin,settled,combined,64.753,0.125,1.000,64.700,0.200,64.900,0.300,,,,,\"good\",\"agrees\",\"\","));
    assert_non_null(strstr(text, "\"'=ask \"\"0\"\"")); /* no formula, quotes doubled */
    free(text);
    ps_context_free(ctx);
    free(s);
}

static void test_table(void **state) {
    (void)state;
    sample *s = make();
    ps_context *ctx = ps_context_new();
    char *text = NULL;
    for (int inch = 0; inch < 2; inch++) {
        s->job.inch = inch;
        assert_int_equal(ps_report_job_table(ctx, &s->job, &s->result, &text), PS_OK);
        assert_non_null(strstr(text, "64.75 ± 0.13"));
        assert_non_null(strstr(text, "OPEN"));
        assert_non_null(strstr(text, "the outcome"));
        assert_non_null(strstr(text, "the answer"));
        assert_null(strchr(text, '\x1b'));
        assert_int_equal(strstr(text, "2.549 ± 0.005 in") != NULL, inch);
        free(text);
    }
    ps_context_free(ctx);
    free(s);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_json), cmocka_unit_test(test_csv), cmocka_unit_test(test_table)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
