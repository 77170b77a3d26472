/* The table for people. */
#include "check.h"
#include "sample.h"

#include <stdlib.h>

#include "report/text.h"
#include "report/words.h"

static char *table_of(const ps_record *record, bool inch) {
    char *text = NULL;
    assert_int_equal(ps_report_table(NULL, record, inch, &text), PS_OK);
    return text;
}

static void has(const char *text, const char *part) {
    if (!strstr(text, part)) fail_msg("the table lacks '%s':\n%s", part, text);
}

static void hasnt(const char *text, const char *part) {
    if (strstr(text, part)) fail_msg("the table should not have '%s':\n%s", part, text);
}

static int times(const char *text, const char *part) {
    int n = 0;
    for (size_t i = 0; text[i]; ++i) n += strncmp(text + i, part, strlen(part)) == 0;
    return n;
}

/* Every run of spaces and line ends one space. */
static void unwrap(char *text) {
    char *to = text;
    for (const char *from = text; *from; ++from) {
        bool space = *from == ' ' || *from == '\n';
        if (!space || to == text || to[-1] != ' ') *to++ = space ? ' ' : *from;
    }
    *to = 0;
}

/* Sizes that are both likely are said to be so; a runner-up under one in twenty is no question. */
static void ambiguous_sizes_are_said(void **state) {
    (void)state;
    static const char which[] = "this diameter does not tell which";
    sample s;
    sample_make(&s, NULL);
    ps_dimension *d = NULL;
    for (int i = 0; i < s.record.dimension_count && !d; ++i)
        if (s.record.dimension[i].nominal_count > 0) d = &s.record.dimension[i];
    assert_non_null(d);
    for (int likely = 0; likely < 2; ++likely) {
        d->nominal_count = 2;
        d->nominal[0] = (ps_nominal_match){.label = "70 mm", .size_mm = 70, .probability = likely ? 0.6 : 0.97};
        d->nominal[1] = (ps_nominal_match){.label = "2 3/4 in", .size_mm = 69.85, .probability = likely ? 0.4 : 0.03};
        char *text = table_of(&s.record, false);
        unwrap(text);
        assert_int_equal(times(text, which), likely);
        free(text);
    }
}

static void every_dimension_and_reason(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    char *text = table_of(&s.record, false);
    for (int i = 0; i < s.record.dimension_count; ++i) {
        const ps_dimension *d = &s.record.dimension[i];
        has(text, d->name);
        for (int k = 0; k < d->reasons.count; ++k) has(text, ps_code_word(d->reasons.note[k].code));
    }
    assert_int_equal(times(text, "The inward bush faces"), 1); /* two gaps, one text */
    has(text, "bush-hidden: as above");
    has(text, "dipper pin diameter");
    has(text, "centre distance");
    has(text, "65.02 mm");
    has(text, "0.20 mm");
    has(text, "65 mm (99.8 %)");
    has(text, "measure with calipers");
    has(text, "How: Calipers over the free end");
    has(text, "(not used)"); /* the unreadable photo */
    has(text, "The file is cut short.");
    has(text, "blurred by movement");
    has(text, "20 to 30 degrees");
    has(text, "further-photo: Take one more photo from the left.");
    has(text, "by-hand: The instrument decides: link pin.");
    has(text, "plate-1: across 99.76 %, along 99.87 % of nominal\n");
    has(text, "patch-2: across 99.79 %, along 99.43 % of nominal (check lines not both read)");
    has(text, "chi-square 512.2 for 498 degrees of freedom"); /* 512.25 rounds to even */
    has(text, "engine off");
    hasnt(text, "2.560");
    hasnt(text, "nan");
    free(text);
}

/* The way to measure by hand comes with cautions, and only then. */
static void cautions_only_where_someone_measures(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    for (int i = 0; i < s.record.dimension_count; ++i) {
        ps_dimension *d = &s.record.dimension[i];
        if (d->verdict == PS_VERDICT_MISSING) d->value_mm = 100, d->u_mm = 0.1, d->U_mm = 0.2;
        d->verdict = PS_VERDICT_GOOD;
    }
    char *text = table_of(&s.record, false);
    hasnt(text, "engine off");
    hasnt(text, "How:");
    free(text);
}

static void inches_beside(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    char *text = table_of(&s.record, true);
    has(text, "65.02 mm");
    has(text, "2.560 ± 0.008 in");                      /* 65.02/25.4 = 2.55984; 0.2/25.4 = 0.00787, up */
    has(text, "The band of 0.7 mm (0.03 in) is wider"); /* in sentences too */
    free(text);
}

static void lines_are_short(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    char *text = table_of(&s.record, true);
    for (char *line = strtok(text, "\n"); line; line = strtok(NULL, "\n"))
        if (ps_text_columns(line) > 100) fail_msg("%d columns: %s", ps_text_columns(line), line);
    free(text);
}

static void no_escape_sequences_from_file_names(void **state) {
    (void)state;
    sample s;
    sample_make(&s, "bad\x1b[2Jname.jpg");
    char *text = table_of(&s.record, false);
    hasnt(text, "\x1b");
    has(text, "bad?[2Jname.jpg");
    free(text);
}

static void bands_never_narrow_by_rounding(void **state) {
    (void)state;
    CHECK_NEAR(ps_words_round_up(0.2, 2), 0.2, 1e-12); /* binary fractions are not exact */
    CHECK_NEAR(ps_words_round_up(0.201, 2), 0.21, 1e-12);
    CHECK_NEAR(ps_words_round_up(1.23, 1), 1.3, 1e-12);
    CHECK_NEAR(ps_words_round_up(15.02, 0), 16, 1e-12);
    assert_int_equal(ps_words_decimals(0.2), 2);
    assert_int_equal(ps_words_decimals(1.5), 1);
    assert_int_equal(ps_words_decimals(15), 0);
}

static void wrapping_and_cleaning(void **state) {
    (void)state;
    ps_text text = {0};
    char *bytes = NULL;
    ps_text_wrap(&text, 10, "a: ", 3, "bb cc  dd ± averyverylongword e");
    assert_int_equal(ps_text_take(NULL, &text, &bytes), PS_OK);
    assert_string_equal(bytes, "a: bb cc\n   dd ±\n   averyverylongword\n   e\n");
    free(bytes);
    bytes = ps_text_clean("ok \xC0\xAF \xED\xA0\x80 \xC2\x9B \xF0\x9F\x94\xA7\t", true); /* overlong, surrogate, control, a sign, tab */
    assert_string_equal(bytes, "ok \xEF\xBF\xBD\xEF\xBF\xBD \xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD ? \xF0\x9F\x94\xA7?");
    free(bytes);
}

static void monte_carlo_ends_go_outward(void **state) {
    (void)state;
    sample s;
    sample_make(&s, NULL);
    char *text = table_of(&s.record, false);
    hasnt(text, "Monte Carlo");
    free(text);
    s.record.monte_carlo = 500;
    for (int i = 0; i < s.record.dimension_count; ++i)
        if (strstr(s.record.dimension[i].name, "dipper.pin"))
            s.record.dimension[i].monte_carlo =
                (ps_monte_carlo){.samples = 498, .failed = 2, .mean_mm = 65.02, .u_mm = 0.1, .low_mm = 64.829, .high_mm = 65.211};
    text = table_of(&s.record, true);
    has(text, "Monte Carlo: 64.82 to 65.22 mm, 2.552 to 2.568 in (2 of 500 samples did not settle)");
    has(text, "middle 95 of 100 samples");
    assert_int_equal(times(text, "Monte Carlo:"), 2); /* one row, and what it means */
    free(text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_dimension_and_reason),
        cmocka_unit_test(ambiguous_sizes_are_said),
        cmocka_unit_test(cautions_only_where_someone_measures),
        cmocka_unit_test(inches_beside),
        cmocka_unit_test(lines_are_short),
        cmocka_unit_test(wrapping_and_cleaning),
        cmocka_unit_test(no_escape_sequences_from_file_names),
        cmocka_unit_test(bands_never_narrow_by_rounding),
        cmocka_unit_test(monte_carlo_ends_go_outward),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
