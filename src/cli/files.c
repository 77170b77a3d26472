/* File names on the command line. */
#include <string.h>
#include <sys/stat.h>

#include "cli.h"

/* The same file twice would count as two photos and make the band too narrow. */
static bool photos_differ(const char *command, char **file, int count) {
    for (int i = 0; i < count; ++i)
        for (int k = 0; k < i; ++k) {
            struct stat a, b;
            if (stat(file[i], &a) != 0 || stat(file[k], &b) != 0 || a.st_dev != b.st_dev || a.st_ino != b.st_ino) continue;
            cli_say("%s: %s: the same file as %s; each photo counts once", command, file[i], file[k]);
            return false;
        }
    return true;
}

bool cli_photos_given(const char *command, char **file, int count) {
    if (count < 1) {
        cli_say("%s: no photo given (try: pinspan %s --help)", command, command);
        return false;
    }
    if (count > PS_ADJUST_PHOTOS_MAX) {
        cli_say("%s: %d photos given, at most %d are taken together", command, count, PS_ADJUST_PHOTOS_MAX);
        return false;
    }
    return photos_differ(command, file, count);
}

bool cli_output_named(const char *command, const char *option, const char *name) {
    const char *dot = strrchr(name, '.');
    static const char *const photo[] = {".jpg", ".jpeg", ".JPG", ".JPEG", ".heic", ".HEIC"};
    for (int i = 0; dot && i < 6; ++i)
        if (strcmp(dot, photo[i]) == 0) {
            cli_say("%s: --%s wants a file for the result, and '%s' is named like a photo", command, option, name);
            return false;
        }
    if (*name) return true;
    cli_say("%s: --%s wants the name of a file, or - for standard output", command, option);
    return false;
}
