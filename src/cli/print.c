/* pinspan print: writes the kit. */
#include <stdlib.h>
#include <string.h>

#include "cli.h"

typedef struct print_options {
    ps_paper paper;
    const char *output;
} print_options;

static bool take_paper(void *target, const char *argument) {
    return cli_take_paper("print", argument, &((print_options *)target)->paper);
}

static bool take_output(void *target, const char *argument) {
    if (!*argument || strcmp(argument, "-") == 0) {
        cli_say("print: --output wants the name of a file");
        return false;
    }
    ((print_options *)target)->output = argument;
    return true;
}

static const cli_option options[] = {
    {"paper", 0, "a4|letter", "paper of the printer (default a4)", take_paper},
    {"output", 'o', "FILE", "where the PDF goes (default kit.pdf)", take_output},
    CLI_LAST_OPTIONS,
};

static int run(const cli_command *command, int argc, char **argv) {
    print_options o = {.paper = PS_PAPER_A4, .output = "kit.pdf"};
    int first = 0;
    cli_parsed parsed = cli_parse(command, argc, argv, &o, &first);
    if (parsed == CLI_WRONG) return CLI_WRONG_USE;
    if (parsed == CLI_HELPED) return cli_close_output(CLI_DONE);
    if (first < argc) {
        cli_say("print: takes no file but after -o, got '%s'", argv[first]);
        return CLI_WRONG_USE;
    }
    ps_context *ctx = ps_context_new();
    ps_status status = ctx ? ps_kit_write_pdf(ctx, o.paper, o.output) : PS_NO_MEMORY;
    if (status == PS_OK)
        (void)printf("%s written. Print it at 100 %%, not fitted to the page, and measure both check lines of each page.\n", o.output);
    else
        cli_say("%s: %s", o.output, ctx ? ps_context_message(ctx) : "out of memory");
    ps_context_free(ctx);
    return cli_close_output(status == PS_OK ? CLI_DONE : CLI_FAILED);
}

const cli_command cli_print = {"print", "print [options]", "Writes the kit to print: plates, patches and minis, as PDF.", options, NULL,
                               run};
