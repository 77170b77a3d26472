/* A file appears whole or not at all. */
#include "check.h"
#include "pinspan/report.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[64];

static int set_up(void **state) {
    (void)state;
    (void)snprintf(folder, sizeof folder, "/tmp/pinspan-write-XXXXXX");
    return mkdtemp(folder) ? 0 : 1;
}

static int tear_down(void **state) {
    (void)state;
    char path[128];
    (void)snprintf(path, sizeof path, "%s/a", folder);
    (void)unlink(path);
    return rmdir(folder); /* fails when anything else was left behind */
}

static void check_content(const char *path, const char *wanted) {
    char got[64] = "";
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    got[fread(got, 1, sizeof got - 1, file)] = 0;
    assert_int_equal(fclose(file), 0);
    assert_string_equal(got, wanted);
}

static void writes_and_replaces(void **state) {
    (void)state;
    char path[128];
    struct stat about;
    (void)snprintf(path, sizeof path, "%s/a", folder);
    assert_int_equal(ps_report_write(NULL, path, "one", 3), PS_OK);
    check_content(path, "one");
    assert_int_equal(ps_report_write(NULL, path, "second", 6), PS_OK);
    check_content(path, "second");
    assert_int_equal(ps_report_write(NULL, path, "", 0), PS_OK);
    check_content(path, "");
    mode_t mask = umask(0);
    (void)umask(mask);
    assert_int_equal(stat(path, &about), 0);
    assert_int_equal(about.st_mode & 0777, 0666 & ~mask); /* as any new file, not a private one */
}

static void refuses_and_leaves_nothing(void **state) {
    (void)state;
    char path[128];
    ps_context *ctx = ps_context_new();
    (void)snprintf(path, sizeof path, "%s/none/a", folder);
    assert_int_equal(ps_report_write(ctx, path, "one", 3), PS_IO);
    assert_true(strstr(ps_context_message(ctx), "cannot write: ") != NULL);
    assert_int_equal(ps_report_write(ctx, folder, "one", 3), PS_IO);
    assert_true(strstr(ps_context_message(ctx), "is a folder") != NULL);
    if (access("/dev/full", W_OK) == 0) assert_int_equal(ps_report_write(ctx, "/dev/full", "one", 3), PS_IO);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(writes_and_replaces, set_up, tear_down),
        cmocka_unit_test_setup_teardown(refuses_and_leaves_nothing, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
