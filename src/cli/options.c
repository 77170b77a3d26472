/* Options from one table: parsing and help. */
#include <getopt.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "cli.h"

enum { OPTIONS_MAX = 32, HELP_COLUMNS = 88, HELP_INDENT = 34 };

void cli_say(const char *format, ...) {
    char line[1500];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(line, sizeof line, format, arguments);
    va_end(arguments);
    char *clean = ps_report_clean(line);
    (void)fprintf(stderr, "pinspan: %s\n", clean ? clean : "out of memory");
    free(clean);
}

static void print_wrapped(FILE *to, const char *body, int column) {
    while (*body) {
        size_t length = strcspn(body, " ");
        if (column + (int)length + 1 > HELP_COLUMNS) {
            (void)fprintf(to, "\n%*s", HELP_INDENT, "");
            column = HELP_INDENT;
        }
        (void)fprintf(to, "%s%.*s", column > HELP_INDENT ? " " : "", (int)length, body);
        column += (int)length + (column > HELP_INDENT);
        body += length + (body[length] == ' ');
    }
    (void)fprintf(to, "\n");
}

void cli_help(const cli_command *command, FILE *to) {
    (void)fprintf(to, "Usage: pinspan %s\n\n%s\n\nOptions:\n", command->usage, command->about);
    for (const cli_option *o = command->option; o->name; ++o) {
        char head[80];
        (void)snprintf(head, sizeof head, "  %s%c%s--%s%s%s", o->letter ? "-" : "", o->letter ? o->letter : ' ', o->letter ? ", " : "   ",
                       o->name, o->argument ? " " : "", o->argument ? o->argument : "");
        int width = fprintf(to, "%s", head);
        if (width >= HELP_INDENT) {
            (void)fprintf(to, "\n");
            width = 0;
        }
        (void)fprintf(to, "%*s", HELP_INDENT - width, "");
        print_wrapped(to, o->help, HELP_INDENT);
    }
    if (command->after) (void)fprintf(to, "\n%s\n", command->after);
}

static int fill_tables(const cli_command *command, struct option *longs, char *letters) {
    int n = 0;
    *letters++ = ':'; /* getopt stays silent and tells a missing argument apart */
    for (const cli_option *o = command->option; o->name && n < OPTIONS_MAX; ++o, ++n) {
        longs[n] = (struct option){.name = o->name, .has_arg = o->argument ? required_argument : no_argument, .val = 256 + n};
        if (o->letter) *letters++ = o->letter;
        if (o->letter && o->argument) *letters++ = ':';
    }
    longs[n] = (struct option){0};
    *letters = 0;
    return n;
}

/* Place in the table of what getopt_long returned; -1 when it is none. */
static int place_of(const cli_command *command, int n, int value) {
    if (value >= 256 && value < 256 + n) return value - 256;
    for (int i = 0; i < n; ++i)
        if (command->option[i].letter && command->option[i].letter == value) return i;
    return -1;
}

static cli_parsed refuse(const cli_command *command, int value, char **argv) {
    char letter[3] = {'-', (char)optopt, 0};
    /* For a long option optopt is 0 or beyond a letter, and the word itself stands before optind. */
    const char *word = optopt > 0 && optopt < 256 ? letter : argv[optind - 1];
    const char *cause = value == ':' ? "wants a value" : optopt >= 256 ? "takes no value" : "is unknown or could mean several options";
    cli_say("%s: option %s %s (try: pinspan %s --help)", command->name, word, cause, command->name);
    return CLI_WRONG;
}

cli_parsed cli_parse(const cli_command *command, int argc, char **argv, void *target, int *first) {
    struct option longs[OPTIONS_MAX + 1];
    char letters[2 * OPTIONS_MAX + 2];
    int n = fill_tables(command, longs, letters), value;
    bool version = false;
    opterr = 0;
    optind = 1;
    while ((value = getopt_long(argc, argv, letters, longs, NULL)) != -1) {
        int i = place_of(command, n, value);
        if (i < 0) return refuse(command, value, argv);
        const cli_option *o = &command->option[i];
        if (!o->apply && o->letter == 'h') {
            cli_help(command, stdout);
            return CLI_HELPED;
        }
        if (!o->apply)
            version = true; /* said when all else is in order */
        else if (!o->apply(target, o->argument ? optarg : NULL))
            return CLI_WRONG;
    }
    *first = optind;
    if (version) (void)printf("pinspan %s\n", ps_version());
    return version ? CLI_HELPED : CLI_PARSED;
}

int cli_close_output(int status) {
    if (fflush(stdout) == 0 && !ferror(stdout)) return status;
    cli_say("cannot write to standard output");
    return CLI_FAILED;
}
