/* --print-check: the check lines of a page as measured. */
#include <string.h>

#include "cli.h"

/* The band of a reading when none is given (calipers, tape). */
static const double default_across_U_mm = 0.15, default_along_U_mm = 0.7;
/* A reading with a wider band is no reading; above all it is a decimal comma: 139,6 reads as 139 and a band of 6. */
static const double largest_check_U_mm = 5;

/* The kit index that stands before the colon, -1 for all; *rest: what follows it. */
static bool piece_before(const char *command, const char *argument, int *piece, const char **rest) {
    const char *colon = strchr(argument, ':');
    char name[40];
    *piece = -1;
    *rest = argument;
    if (!colon) return true;
    size_t length = (size_t)(colon - argument);
    if (length < sizeof name) {
        memcpy(name, argument, length);
        name[length] = 0;
        *piece = ps_kit_find(name);
        *rest = colon + 1;
    }
    if (*piece >= 0) return true;
    char list[400] = "";
    for (int i = 0; i < ps_kit_count(); ++i)
        (void)snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", i ? " " : "", ps_kit_piece(i)->name);
    cli_say("%s: --print-check: no piece '%.*s' in the kit (it has: %s)", command, (int)(length < 60 ? length : 60), argument, list);
    return false;
}

static bool believable_check(const char *command, const char *argument, const ps_print_check *c) {
    double nominal = c->along ? PS_CHECK_ALONG_MM : PS_CHECK_ACROSS_MM;
    if (!(c->read_mm >= 0.5 * nominal && c->read_mm <= 2 * nominal)) {
        cli_say("%s: --print-check %s: the line is %g mm on paper, a reading of %g mm cannot be", command, argument, nominal, c->read_mm);
        return false;
    }
    if (!(c->U_mm >= PS_READING_U_LEAST_MM && c->U_mm <= largest_check_U_mm)) {
        cli_say("%s: --print-check %s: the band after the comma must be at least %g and at most %g mm (decimals take a point, not a comma)",
                command, argument, PS_READING_U_LEAST_MM, largest_check_U_mm);
        return false;
    }
    return true;
}

bool cli_take_check(const char *command, ps_measure_options *m, const char *argument) {
    ps_print_check c = {0};
    const char *rest = NULL;
    if (!piece_before(command, argument, &c.piece, &rest)) return false;
    bool across = strncmp(rest, "across=", 7) == 0;
    c.along = strncmp(rest, "along=", 6) == 0;
    c.U_mm = c.along ? default_along_U_mm : default_across_U_mm;
    if ((!across && !c.along) || !cli_length_band(rest + (across ? 7 : 6), &c.read_mm, &c.U_mm)) {
        cli_say("%s: --print-check is [PIECE:]across=MM[,U] or [PIECE:]along=MM[,U], not '%s'", command, argument);
        return false;
    }
    if (!believable_check(command, argument, &c)) return false;
    for (int i = 0; i < m->check_count; ++i)
        if (m->check[i].piece == c.piece && m->check[i].along == c.along) {
            cli_say("%s: --print-check %s: this line was given before", command, argument);
            return false;
        }
    if (m->check_count == PS_CHECKS_MAX) {
        cli_say("%s: --print-check: more than %d", command, PS_CHECKS_MAX);
        return false;
    }
    m->check[m->check_count++] = c;
    return true;
}
