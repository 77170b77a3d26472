/* cli.h: what the files of the command line share. Uses the public headers only. */
#ifndef PINSPAN_CLI_CLI_H
#define PINSPAN_CLI_CLI_H

#include <stdio.h>

#include "pinspan/pinspan.h"

/* Exit statuses (docs/pinspan.1). */
enum { CLI_DONE = 0, CLI_FAILED = 1, CLI_WRONG_USE = 2, CLI_UNREADABLE = 3, CLI_NOTHING = 4 };

/* One line "pinspan: ..." on standard error, control characters made harmless. */
void cli_say(const char *format, ...) PS_PRINTF(1, 2);

/* ---- numbers.c: strict numbers; false when the whole text is not one ---- */
/* A plain decimal number: no hexadecimal, no inf, no NaN, no spaces. */
bool cli_number(const char *text, double *value);
/* A length that may end in mm or in; to millimetres. */
bool cli_length(const char *text, double *mm);
/* "MM[,U]": a length and the half-width of its band; U keeps its value when not given. */
bool cli_length_band(const char *text, double *mm, double *U_mm);
/* A whole number within [low, high]. */
bool cli_whole(const char *text, int low, int high, int *value);

/* ---- options.c: options from one table, which is also the help ---- */
typedef struct cli_option {
    const char *name;     /* without the dashes */
    char letter;          /* 0: none */
    const char *argument; /* what the help calls it; NULL: takes none */
    const char *help;
    /* Takes the argument (NULL when none) into `target`; false after saying one line about it. NULL: the option is --help. */
    bool (*apply)(void *target, const char *argument);
} cli_option;

typedef struct cli_command {
    const char *name, *usage, *about;
    const cli_option *option;                                             /* ends with a NULL name */
    const char *after;                                                    /* further help text */
    int (*run)(const struct cli_command *command, int argc, char **argv); /* argv[0] is the command's name */
} cli_command;

extern const cli_command cli_measure, cli_print;

typedef enum cli_parsed { CLI_PARSED, CLI_HELPED, CLI_WRONG } cli_parsed;
/* Reads the options into `target`; *first: index of the first operand (operands are moved to the end). CLI_WRONG after one line. */
cli_parsed cli_parse(const cli_command *command, int argc, char **argv, void *target, int *first);
void cli_help(const cli_command *command, FILE *to);

/* Flushes standard output; CLI_FAILED after one line when something could not be written, else `status`. */
int cli_close_output(int status);

#endif
