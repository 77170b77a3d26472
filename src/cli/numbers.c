/* Strict numbers: what a person types is taken whole or refused. */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli.h"

bool cli_number(const char *text, double *value) {
    /* strtod also takes spaces, hexadecimal, inf and nan. */
    if (!*text || strspn(text, "0123456789.+-eE") != strlen(text)) return false;
    char *end = NULL;
    errno = 0;
    double number = strtod(text, &end);
    if (*end || errno == ERANGE || !isfinite(number)) return false;
    *value = number;
    return true;
}

bool cli_length(const char *text, double *mm) {
    size_t length = strlen(text);
    char number[64];
    double factor = 1;
    if (length >= sizeof number) return false;
    memcpy(number, text, length + 1);
    if (length > 2 && strcmp(number + length - 2, "mm") == 0) {
        number[length - 2] = 0;
    } else if (length > 2 && strcmp(number + length - 2, "in") == 0) {
        number[length - 2] = 0;
        factor = 25.4;
    }
    if (!cli_number(number, mm)) return false;
    *mm *= factor;
    return true;
}

bool cli_length_band(const char *text, double *mm, double *U_mm) {
    const char *comma = strchr(text, ',');
    if (!comma) return cli_length(text, mm);
    char first[64];
    size_t length = (size_t)(comma - text);
    if (length >= sizeof first) return false;
    memcpy(first, text, length);
    first[length] = 0;
    return cli_length(first, mm) && cli_length(comma + 1, U_mm);
}

bool cli_whole(const char *text, int low, int high, int *value) {
    if (!*text || strspn(text, "0123456789") != strlen(text)) return false;
    errno = 0;
    long number = strtol(text, NULL, 10);
    if (errno != 0 || number < low || number > high) return false;
    *value = (int)number;
    return true;
}

bool cli_take_threads(const char *command, const char *argument, int *threads) {
    if (cli_whole(argument, 1, 256, threads)) return true;
    cli_say("%s: --threads is a whole number from 1 to 256, not '%s'", command, argument);
    return false;
}

bool cli_take_paper(const char *command, const char *argument, ps_paper *paper) {
    *paper = strcmp(argument, "letter") == 0 ? PS_PAPER_LETTER : PS_PAPER_A4;
    if (*paper == PS_PAPER_LETTER || strcmp(argument, "a4") == 0) return true;
    cli_say("%s: --paper is a4 or letter, not '%s'", command, argument);
    return false;
}
