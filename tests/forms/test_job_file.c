/* The job file: what is read, and that each fault is one line with its line and place. */
#include "check.h"

#include <string.h>

#include "pinspan/forms.h"

#define HEAD "{ \"schema\": \"pinspan.job/1\",\n"
static const double exact = 1e-9; /* mm; decimals of a few digits, times 25.4 */

static ps_status parse(ps_context *ctx, const char *text, ps_forms_job *job) {
    return ps_forms_job_parse(ctx, text, strlen(text), NULL, job);
}

static void test_good(void **state) {
    (void)state;
    static const char text[] =
        HEAD "\"about\": \"x\", \"title\": \"T\", \"invented\": true, \"inch\": true, \"country\": \"C\", \"lifting_eye\": false,\n"
             "\"machine\": {\"make\": \"M\", \"model\": null, \"year\": 2019, \"class_t\": 22.5},\n"
             "\"coupler\": {\"style\": \"grab\", \"tilt\": true}, \"ears\": {\"thickness\": \"1 in\", \"radius\": 80},\n"
             "\"sides\": {\"machine\": {\"photos\": [\"a.jpg\", \"b.jpg\"], \"roles\": \"unsure\", \"dipper\": \"left\",\n"
             "  \"print_checks\": [{\"line\": \"along\", \"read\": 199.5}, {\"piece\": \"plate-1\", \"line\": \"across\", \"read\": 139.9, "
             "\"U\": 0.2}],\n"
             "  \"standoffs\": [{\"pin\": \"link\", \"value\": -3, \"U\": 1}]}},\n"
             "\"form\": [{\"dimension\": \"attachment.dipper.pin\", \"value\": 64.70, \"instrument\": \"calipers\"},\n"
             "  {\"dimension\": \"attachment.centres\", \"value\": \"17 5/8 in\", \"way\": \"inside-inside\", \"place\": \"ends\"},\n"
             "  {\"dimension\": \"machine.link.gap\", \"value\": null},\n"
             "  {\"dimension\": \"machine.dipper.gap\", \"value\": 12, \"unit\": \"in\", \"shims\": \"in\", \"shim_total\": 4}],\n"
             "\"tape\": [{\"dimension\": \"attachment.centres\", \"value\": \"449.5\", \"way\": \"backs\"}] }";
    ps_context *ctx = ps_context_new();
    ps_forms_job job;
    assert_int_equal(parse(ctx, text, &job), PS_OK);
    assert_true(job.invented && job.inch && job.lifting_eye == 0 && job.tilt == 1 && job.coupler_given);
    assert_int_equal(job.side[1].options.coupler, PS_COUPLER_GRAB);
    assert_int_equal(job.side[0].photo_count, 0);
    assert_int_equal(job.side[1].photo_count, 2);
    assert_string_equal(job.side[1].photo[1], "b.jpg");
    assert_int_equal(job.side[1].options.check_count, 2);
    CHECK_NEAR(job.side[1].options.check[0].U_mm, 0.7, exact); /* as --print-check has it */
    assert_int_equal(job.side[1].options.side, PS_SIDE_MACHINE);
    assert_true(job.side[1].options.roles_unsure && job.side[1].options.dipper == PS_DIRECTION_LEFT);
    assert_true(!job.side[1].options.standoff[PS_ROLE_DIPPER].given && job.side[1].options.standoff[PS_ROLE_LINK].given);
    CHECK_NEAR(job.ear_thickness_mm, 25.4, exact);
    assert_true(isnan(job.ear_clearance_mm));
    assert_int_equal(job.reading_count, 4); /* the one without a value is passed over */
    assert_string_equal(job.reading[0].written, "64.70");
    CHECK_NEAR(job.reading[0].step_mm, 0.01, exact);
    CHECK_NEAR(job.reading[1].value_mm, 17.625 * 25.4, exact);
    CHECK_NEAR(job.reading[1].step_mm, 25.4 / 8, exact);
    assert_true(job.reading[1].inch && job.reading[1].way == PS_WAY_INSIDE && job.reading[1].place == PS_PLACE_ENDS);
    assert_int_equal(job.reading[1].instrument, PS_INSTRUMENT_TAPE); /* as usual for centres */
    assert_false(job.reading[1].instrument_given);
    CHECK_NEAR(job.reading[2].value_mm, 304.8, exact);
    assert_int_equal(job.reading[2].shims, PS_SHIMS_IN);
    CHECK_NEAR(job.reading[2].shim_mm, 4, exact);
    assert_true(job.reading[3].tape && job.reading[3].way == PS_WAY_BACKS && job.reading[3].step_mm < 0.11);
    assert_string_equal(job.reading[3].where, "tape[0]");
    ps_forms_job_clear(&job);
    ps_context_free(ctx);
}

/* A mark of the byte order, as some editors write it, is passed over; lines count as before. */
static void test_byte_order_mark(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_forms_job job;
    assert_int_equal(parse(ctx, "\xef\xbb\xbf" HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": 449.5}]}", &job), PS_OK);
    CHECK_NEAR(job.reading[0].step_mm, 0.1, exact);
    ps_forms_job_clear(&job);
    assert_int_equal(parse(ctx, "\xef\xbb\xbf" HEAD "\"titel\": 1}", &job), PS_BAD_FILE);
    assert_non_null(strstr(ps_context_message(ctx), "line 2: titel"));
    ps_context_free(ctx);
}

/* Text and what the message must have in it. */
static const char *const wrong[][2] = {
    {"[]", "line 1: is not an object"},
    {"{ \"schema\": \"pinspan.job/1\",\n\"title\" }", "line 2: no JSON"},
    {"{}", "schema: is not \"pinspan.job/1\""},
    {"{\"schema\": \"pinspan.job/2\"}", "schema"},
    {HEAD "\"titel\": \"x\"}", "line 2: titel: is no key"},
    {HEAD "\"title\": 3}", "line 2: title: is not a text"},
    {HEAD "\"machine\": []}", "line 2: machine: is not an object"},
    {HEAD "\"machine\": {\n\"year\": 1066}}", "line 3: machine.year: 1066 cannot be"},
    {HEAD "\"machine\": {\n\"year\": 2019.5}}", "line 3: machine.year: 2019.5 is not a whole year"},
    {HEAD "\"machine\": {\"class_t\": \"22\"}}", "machine.class_t: is not a number"},
    {HEAD "\"machine\": {\"class_t\": -1}}", "machine.class_t: -1 cannot be"},
    {HEAD "\"coupler\": {\"style\": \"tilt\"}}", "coupler.style: is fixed or grab, not 'tilt'"},
    {HEAD "\"coupler\": {\"tilt\": \"yes\"}}", "coupler.tilt: is not true or false"},
    {HEAD "\"ears\": {\"thickness\": \"thick\"}}", "ears.thickness: is no length"},
    {HEAD "\"ears\": {\"thickness\": 4000}}", "ears.thickness: 4000 mm cannot be"},
    {HEAD "\"sides\": {\"left\": {}}}", "sides.left: is no key"},
    {HEAD "\"sides\": {\"machine\": {\"photos\": \"a.jpg\"}}}", "sides.machine.photos: is not a list"},
    {HEAD "\"sides\": {\"machine\": {\"photos\": [\"a.jpg\",\n7]}}}", "line 3: sides.machine.photos[1]: is not a text"},
    {HEAD "\"sides\": {\"machine\": {\"photos\": [\"\"]}}}", "photos[0]: is an empty name"},
    {HEAD "\"sides\": {\"machine\": {\"print_checks\": [{\"line\": \"across\", \"read\": 14}]}}}", "print_checks[0].read: 14 mm cannot be"},
    {HEAD "\"sides\": {\"machine\": {\"print_checks\": [{\"line\": \"up\", \"read\": 140}]}}}", "print_checks[0].line: is across or along"},
    {HEAD "\"sides\": {\"machine\": {\"print_checks\": [{\"read\": 140}]}}}", "print_checks[0]: line is missing"},
    {HEAD "\"sides\": {\"machine\": {\"print_checks\": [{\"piece\": \"plate-9\", \"line\": \"across\", \"read\": 140}]}}}",
     "no piece of the kit"},
    {HEAD "\"sides\": {\"machine\": {\"print_checks\": [{\"line\": \"across\", \"read\": 140}, {\"line\": \"across\", \"read\": 141}]}}}",
     "print_checks[1]: this line was given before"},
    {HEAD "\"sides\": {\"machine\": {\"standoffs\": [{\"value\": 3000}]}}}", "standoffs[0].value: 3000 cannot be"},
    {HEAD "\"sides\": {\"machine\": {\"standoffs\": [{\"value\": 3}, {\"pin\": \"link\", \"value\": 3}]}}}", "given before"},
    {HEAD "\"form\": {}}", "form: is not a list"},
    {HEAD "\"form\": [3]}", "form[0]: is not an object"},
    {HEAD "\"form\": [{\"value\": 3}]}", "form[0]: dimension is missing"},
    {HEAD "\"form\": [{\"dimension\": \"bucket.pin\", \"value\": 3}]}", "form[0].dimension: 'bucket.pin' is none"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\"}]}", "form[0]: value is missing"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": 449,\n\"unit\": \"cm\"}]}",
     "line 3: form[0].unit: is mm or in, not 'cm'"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": \"17 in\", \"unit\": \"mm\"}]}", "another unit"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": -449}]}", "form[0].value: -449 mm cannot be"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": 0}]}", "cannot be"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": 1e300}]}", "cannot be"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": 1e999}]}", "no JSON"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": \"17 9/8 in\"}]}", "is no length"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": \"17 5/7 in\"}]}", "is no length"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": \"17.5 5/8 in\"}]}", "is no length"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": \"449mmm\"}]}", "is no length"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": \"4.4.9\"}]}", "is no length"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": true}]}", "is no length"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": 449, \"way\": \"diameter\"}]}", "form[0].way: is centre-to-centre"},
    {HEAD "\"form\": [{\"dimension\": \"machine.link.pin\", \"value\": 49, \"place\": \"ends\"}]}", "place: is told of centres only"},
    {HEAD "\"form\": [{\"dimension\": \"machine.link.pin\", \"value\": 49, \"shims\": \"in\"}]}", "shims: is told of gaps only"},
    {HEAD "\"form\": [{\"dimension\": \"machine.centres\", \"value\": 1}, {\"dimension\": \"machine.centres\", \"value\": 2}]}",
     "form[1]: this dimension was given before, by form[0]"},
    {HEAD "\"note\": \"alone\"}", "neither photos nor readings"},
    {HEAD "\"note\": \"a\", \"note\": \"b\"}", "no JSON"},
};

static void test_wrong(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        ps_forms_job job;
        memset(&job, 0x5a, sizeof job);
        ps_forms_job before = job;
        if (parse(ctx, wrong[i][0], &job) != PS_BAD_FILE || !strstr(ps_context_message(ctx), wrong[i][1]) ||
            strchr(ps_context_message(ctx), '\n'))
            fail_msg("%s\nsaid: %s\nwanted: %s", wrong[i][0], ps_context_message(ctx), wrong[i][1]);
        assert_memory_equal(&job, &before, sizeof job); /* unchanged on failure */
    }
    ps_context_free(ctx);
}

/* The starting point is a job file but for having nothing in it. */
static void test_new(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_forms_job job;
    assert_int_equal(parse(ctx, ps_forms_job_new(), &job), PS_BAD_FILE);
    assert_non_null(strstr(ps_context_message(ctx), "neither photos nor readings"));
    /* One value put in, and it is a job. */
    char text[16384];
    (void)snprintf(text, sizeof text, "%s", ps_forms_job_new());
    char *value = strstr(text, "\"value\": null");
    assert_non_null(value);
    memcpy(value, "\"value\": 65.2", 13);
    assert_int_equal(parse(ctx, text, &job), PS_OK);
    assert_int_equal(job.reading_count, 1);
    CHECK_NEAR(job.reading[0].value_mm, 65.2, exact);
    ps_forms_job_clear(&job);
    ps_context_free(ctx);
}

static void test_damaged(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    const char *whole = ps_forms_job_new();
    size_t size = strlen(whole);
    for (size_t cut = 0; cut < size - 2; cut += 7) { /* cut short anywhere: no JSON any more */
        ps_forms_job job;
        assert_int_equal(ps_forms_job_parse(ctx, whole, cut, NULL, &job), PS_BAD_FILE);
    }
    char deep[5000];
    memset(deep, '[', sizeof deep);
    ps_forms_job job;
    assert_int_equal(ps_forms_job_parse(ctx, deep, sizeof deep, NULL, &job), PS_BAD_FILE);
    assert_int_equal(ps_forms_job_read(ctx, PS_TEST_DATA "/no-such-job.json", &job), PS_IO);
    assert_int_equal(ps_forms_job_read(ctx, PS_TEST_DATA, &job), PS_IO);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_good), cmocka_unit_test(test_byte_order_mark), cmocka_unit_test(test_wrong),
                                       cmocka_unit_test(test_new), cmocka_unit_test(test_damaged)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
