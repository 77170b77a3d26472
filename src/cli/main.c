/* pinspan: the command line. Each command has a file of its own. */
#include <string.h>

#include "cli.h"

static const cli_command *const commands[] = {&cli_measure, &cli_print, &cli_camera, &cli_job};
enum { COMMANDS = sizeof commands / sizeof commands[0] };

static void help(FILE *to) {
    (void)fprintf(to, "Usage: pinspan COMMAND [options]\n\n"
                      "Measures pins, bushes and their distances from photos with a printed piece in them.\n\nCommands:\n");
    for (int i = 0; i < COMMANDS; ++i) (void)fprintf(to, "  %-10s%s\n", commands[i]->name, commands[i]->about);
    (void)fprintf(to, "\nOptions:\n  --help    this text; pinspan COMMAND --help tells a command's options\n  --version  the version\n");
}

static int wrong_command(const char *word) {
    if (word[0] == '-')
        cli_say("unknown option %s (try: pinspan --help)", word);
    else
        cli_say("unknown command '%s' (try: pinspan --help)", word);
    return CLI_WRONG_USE;
}

int main(int argc, char **argv) {
    if (argc < 2) {
        cli_say("a command is missing (try: pinspan --help)");
        return CLI_WRONG_USE;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0) {
        help(stdout);
        return cli_close_output(CLI_DONE);
    }
    if (strcmp(argv[1], "--version") == 0) {
        (void)printf("pinspan %s\n", ps_version());
        return cli_close_output(CLI_DONE);
    }
    for (int i = 0; i < COMMANDS; ++i)
        if (strcmp(argv[1], commands[i]->name) == 0) return commands[i]->run(commands[i], argc - 1, argv + 1);
    return wrong_command(argv[1]);
}
