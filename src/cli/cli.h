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
    /* Takes the argument (NULL when none) into `target`; false after saying one line about it. NULL: one of CLI_LAST_OPTIONS. */
    bool (*apply)(void *target, const char *argument);
} cli_option;

typedef struct cli_command {
    const char *name, *usage, *about;
    const cli_option *option;                                             /* ends with a NULL name */
    const char *after;                                                    /* further help text */
    int (*run)(const struct cli_command *command, int argc, char **argv); /* argv[0] is the command's name */
} cli_command;

extern const cli_command cli_camera, cli_job, cli_measure, cli_print;

/* ---- numbers.c: --threads of any command; false after one line ---- */
bool cli_take_threads(const char *command, const char *argument, int *threads);
/* Its row in an option table. */
#define CLI_THREADS_OPTION(take)                                                                                                           \
    { "threads", 0, "N", "how many photos are worked on at once (default: as many as cores); the result is the same", take }
/* What every command has, and the end of its table. */
#define CLI_LAST_OPTIONS                                                                                                                   \
    {"help", 'h', NULL, "this text", NULL}, {"version", 0, NULL, "the version", NULL}, {                                                   \
        NULL, 0, NULL, NULL, NULL                                                                                                          \
    }

/* ---- files.c: names of files; false after one line ---- */
/* At least one photo, not too many, none twice. */
bool cli_photos_given(const char *command, char **file, int count);
/* A name for a result: not empty, and not that of a photo given in the wrong place. */
bool cli_output_named(const char *command, const char *option, const char *name);

/* ---- print_check.c: --print-check of any command; false after one line ---- */
bool cli_take_check(const char *command, ps_measure_options *options, const char *argument);
/* Its rows in an option table. */
#define CLI_CHECK_OPTIONS(take)                                                                                                            \
    {"print-check", 0, "[PIECE:]across=MM[,U]",                                                                                            \
     "the check line across as measured on the paper, 140 mm by drawing; U: the band of the reading, k=2 (default 0.15). Without PIECE "   \
     "it holds for all pieces. Repeatable",                                                                                                \
     take},                                                                                                                                \
    {                                                                                                                                      \
        "print-check", 0, "[PIECE:]along=MM[,U]", "the check line along, 200 mm by drawing (default U 0.7)", take                          \
    }

/* CLI_HELPED: help or version was asked for and printed. */
typedef enum cli_parsed { CLI_PARSED, CLI_HELPED, CLI_WRONG } cli_parsed;
/* Reads the options into `target`; *first: index of the first operand (operands are moved to the end). CLI_WRONG after one line. */
cli_parsed cli_parse(const cli_command *command, int argc, char **argv, void *target, int *first);
void cli_help(const cli_command *command, FILE *to);

/* Flushes standard output; CLI_FAILED after one line when something could not be written, else `status`. */
int cli_close_output(int status);

/* --paper a4|letter of any command; false after one line. */
bool cli_take_paper(const char *command, const char *argument, ps_paper *paper);

#endif
