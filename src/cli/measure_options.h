/* measure_options.h: what `pinspan measure` was asked for. Private to the command line. */
#ifndef PINSPAN_CLI_MEASURE_OPTIONS_H
#define PINSPAN_CLI_MEASURE_OPTIONS_H

#include "cli.h"

typedef struct measure_options {
    ps_measure_options measure;
    const char *json;     /* NULL: none; "-": standard output */
    const char *pictures; /* NULL: none */
    const char *camera;   /* profile; NULL: none */
    bool inch, seeded;
} measure_options;

extern const cli_option measure_option_table[];

#endif
