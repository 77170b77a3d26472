/* A job as JSON, CSV and table: every value is in them, missing ones and hostile texts do no harm. */
#include "check.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "sample_job.h"

static const double digits = 1e-6; /* JSON has nine digits of values under 1000 */

static void test_json(void **state) {
    (void)state;
    sample_job *s = sample_job_make();
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
    sample_job *s = sample_job_make();
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
    sample_job *s = sample_job_make();
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
