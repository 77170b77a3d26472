/* Every sentence that a person may read: there, whole, and never telling anyone to touch a pin that holds. */
#include "check.h"

#include "gauge/how.h"
#include "gauge/sentences.h"

#include <ctype.h>
#include <string.h>

/* Words of orders that this program must not give; whole verbs, so that no phrase slips by. */
static const char *const banned[] = {"loosen", "drive",    "driving",  "remove",       "pull",         "knock",    "hammer",
                                     "push",   "release",  "undo",     "unscrew",      "raise",        "lift ",    "swing",
                                     "climb",  "take out", "reach in", "move the pin", "turn the pin", "under the"};

static void check_words(const char *text) {
    char low[4096];
    size_t length = strlen(text);
    assert_true(length < sizeof low);
    for (size_t i = 0; i <= length; i++) low[i] = (char)tolower((unsigned char)text[i]);
    for (size_t i = 0; i < sizeof banned / sizeof banned[0]; i++)
        if (strstr(low, banned[i])) fail_msg("'%s' in: %s", banned[i], text);
}

static void check_text(const char *text, size_t room) {
    assert_non_null(text);
    size_t length = strlen(text);
    assert_true(length >= 12);
    assert_true(length < room - 1); /* not cut off */
    assert_true(isupper((unsigned char)text[0]));
    assert_true(text[length - 1] == '.');
    assert_null(strstr(text, "%s")); /* no format left open */
    check_words(text);
}

static void sentences(void **state) {
    (void)state;
    for (int code = 0; code < PS_CODE_COUNT; code++) {
        for (int subject = 0; subject < PS_SUBJECT_COUNT; subject++) {
            const char *text = ps_gauge_sentence((ps_subject)subject, (ps_code)code);
            if (text || subject != PS_SUBJECT_ADVICE) check_text(text, sizeof((ps_note *)0)->text);
        }
    }
    assert_null(ps_gauge_sentence(PS_SUBJECT_VALUE, PS_CODE_COUNT));
}

static void hows(void **state) {
    (void)state;
    for (int side = 0; side < 2; side++)
        for (int kind = 0; kind < PS_KIND_COUNT; kind++)
            for (int role = 0; role < PS_ROLE_COUNT; role++)
                for (int equal = 0; equal < 2; equal++) {
                    char how[320] = "";
                    ps_gauge_how((ps_side)side, (ps_kind)kind, kind == PS_KIND_CENTRES ? -1 : role, equal, false, how);
                    check_text(how, sizeof how);
                    assert_non_null(strstr(how, "engine off, key out"));
                    if (kind == PS_KIND_PIN) assert_non_null(strstr(how, "licensed service"));
                    if (kind == PS_KIND_GAP) assert_non_null(strstr(how, "No hand, head or body between the ears"));
                    if (kind != PS_KIND_GAP) continue;
                    ps_gauge_how((ps_side)side, PS_KIND_GAP, role, equal, true, how);
                    check_text(how, sizeof how);
                    assert_non_null(strstr(how, "engine off, key out"));
                    assert_non_null(strstr(how, "manual"));
                    assert_non_null(strstr(how, "over the outward bush faces"));
                    assert_null(strstr(how, "between the ears"));
                }
}

/* Sentences with numbers stand in the code: every string literal of the room is read, line by line. */
static void literals(void **state) {
    (void)state;
    static const char *const file[] = {"advice",  "dimensions", "doubts",    "facts",      "how",     "measure",
                                       "outcome", "plan",       "plan_text", "plan_views", "quality", "sentences"};
    int read = 0;
    for (size_t i = 0; i < sizeof file / sizeof file[0]; i++) {
        char path[1024], line[1024];
        (void)snprintf(path, sizeof path, "%s/src/gauge/%s.c", PS_SOURCE_ROOT, file[i]);
        FILE *in = fopen(path, "r");
        if (!in) fail_msg("cannot read %s", path);
        while (in && fgets(line, sizeof line, in)) {
            char *from = strchr(line, '"'), *to = strrchr(line, '"');
            if (line[0] == '#' || !from || to <= from) continue;
            *to = 0;
            check_words(from + 1);
            read++;
        }
        if (in) (void)fclose(in);
    }
    assert_true(read > 100); /* the table alone has some ninety */
}

/* The words fixed by docs/design.md, and no two alike. */
static void words(void **state) {
    (void)state;
    static const char *const fixed =
        " print-unchecked print-scaled no-piece piece-hidden piece-small piece-moved piece-bent piece-held oblique motion-blur defocus "
        "exposure one-photo one-direction other-scene pin-cut-off pin-hidden pin-chamfer pin-taper pin-dome pin-cap pin-collar bush-hidden "
        "arc-short lens-unknown focal-contradicts fit-bad roles-unsure ";
    for (int code = 0; code < PS_CODE_COUNT; code++) {
        char word[64];
        assert_string_not_equal(ps_code_word((ps_code)code), "unknown");
        (void)snprintf(word, sizeof word, " %s ", ps_code_word((ps_code)code));
        assert_true((strstr(fixed, word) != NULL) == (code <= PS_CODE_ROLES_UNSURE));
        for (int other = 0; other < code; other++) assert_string_not_equal(ps_code_word((ps_code)code), ps_code_word((ps_code)other));
    }
    assert_string_equal(ps_code_word(PS_CODE_COUNT), "unknown");
    assert_string_equal(ps_verdict_word(PS_VERDICT_GOOD), "good");
    assert_string_equal(ps_verdict_word(PS_VERDICT_CONFIRM), "confirm");
    assert_string_equal(ps_verdict_word(PS_VERDICT_MISSING), "missing");
}

static void notes(void **state) {
    (void)state;
    ps_notes n = {0};
    ps_notes_add(&n, PS_CODE_DEFOCUS, "First, %d.", 1);
    ps_notes_add(&n, PS_CODE_DEFOCUS, "Second.");
    assert_int_equal(n.count, 1);
    assert_string_equal(n.note[0].text, "First, 1.");
    assert_true(ps_notes_have(&n, PS_CODE_DEFOCUS) && !ps_notes_have(&n, PS_CODE_OBLIQUE));
    for (int code = 0; code < PS_CODE_COUNT; code++) ps_gauge_say(&n, PS_SUBJECT_VALUE, (ps_code)code);
    assert_int_equal(n.count, PS_NOTES_MAX); /* full: the rest is dropped, nothing is overrun */
    ps_notes longest = {0};
    ps_notes_add(&longest, PS_CODE_DEFOCUS, "%0500d", 0);
    assert_int_equal(strlen(longest.note[0].text), sizeof longest.note[0].text - 1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sentences), cmocka_unit_test(hows), cmocka_unit_test(literals), cmocka_unit_test(words), cmocka_unit_test(notes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
