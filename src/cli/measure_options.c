/* The options of `pinspan measure`. */
#include "measure_options.h"

#include <math.h>
#include <string.h>

/* Check lines of every page of the kit, mm, and the band of a reading when none is given (calipers, tape). */
static const double nominal_across_mm = 140, nominal_along_mm = 200, default_across_U_mm = 0.15, default_along_U_mm = 0.7;
/* A reading with a wider band is no reading; above all it is a decimal comma: 139,6 reads as 139 and a band of 6. */
static const double largest_check_U_mm = 5;
static const double default_standoff_U_mm = 2, largest_standoff_mm = 500;

static bool choose(const char *option, const char *argument, const char *const *words, int count, int *chosen) {
    char list[120] = "";
    for (int i = 0; i < count; ++i) {
        if (strcmp(argument, words[i]) == 0) {
            *chosen = i;
            return true;
        }
        (void)snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", i == 0 ? "" : i + 1 == count ? " or " : ", ", words[i]);
    }
    cli_say("measure: --%s is %s, not '%s'", option, list, argument);
    return false;
}

static bool take_side(void *target, const char *argument) {
    static const char *const words[] = {"attachment", "machine"};
    int chosen = 0;
    if (!choose("side", argument, words, 2, &chosen)) return false;
    ((measure_options *)target)->measure.side = (ps_side)chosen;
    return true;
}

static bool take_coupler(void *target, const char *argument) {
    static const char *const words[] = {"fixed", "grab"};
    int chosen = 0;
    if (!choose("coupler", argument, words, 2, &chosen)) return false;
    ((measure_options *)target)->measure.coupler = (ps_coupler)chosen;
    return true;
}

static bool take_roles(void *target, const char *argument) {
    static const char *const words[] = {"sure", "unsure"};
    int chosen = 0;
    if (!choose("roles", argument, words, 2, &chosen)) return false;
    ((measure_options *)target)->measure.roles_unsure = chosen == 1;
    return true;
}

static bool take_dipper(void *target, const char *argument) {
    static const char *const words[] = {"left", "right", "up", "down"};
    int chosen = 0;
    if (!choose("dipper", argument, words, 4, &chosen)) return false;
    ((measure_options *)target)->measure.dipper = (ps_direction)(PS_DIRECTION_LEFT + chosen);
    return true;
}

/* The kit index that stands before the colon, -1 for all; *rest: what follows it. */
static bool piece_before(const char *argument, int *piece, const char **rest) {
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
    cli_say("measure: --print-check: no piece '%.*s' in the kit (it has: %s)", (int)(length < 60 ? length : 60), argument, list);
    return false;
}

static bool believable_check(const char *argument, const ps_print_check *c) {
    double nominal = c->along ? nominal_along_mm : nominal_across_mm;
    if (!(c->read_mm >= 0.5 * nominal && c->read_mm <= 2 * nominal)) {
        cli_say("measure: --print-check %s: the line is %g mm on paper, a reading of %g mm cannot be", argument, nominal, c->read_mm);
        return false;
    }
    if (!(c->U_mm > 0 && c->U_mm <= largest_check_U_mm)) {
        cli_say(
            "measure: --print-check %s: the band after the comma must be above 0 and at most %g mm (decimals take a point, not a comma)",
            argument, largest_check_U_mm);
        return false;
    }
    return true;
}

static bool take_check(void *target, const char *argument) {
    ps_measure_options *m = &((measure_options *)target)->measure;
    ps_print_check c = {0};
    const char *rest = NULL;
    if (!piece_before(argument, &c.piece, &rest)) return false;
    bool across = strncmp(rest, "across=", 7) == 0;
    c.along = strncmp(rest, "along=", 6) == 0;
    c.U_mm = c.along ? default_along_U_mm : default_across_U_mm;
    if ((!across && !c.along) || !cli_length_band(rest + (across ? 7 : 6), &c.read_mm, &c.U_mm)) {
        cli_say("measure: --print-check is [PIECE:]across=MM[,U] or [PIECE:]along=MM[,U], not '%s'", argument);
        return false;
    }
    if (!believable_check(argument, &c)) return false;
    for (int i = 0; i < m->check_count; ++i)
        if (m->check[i].piece == c.piece && m->check[i].along == c.along) {
            cli_say("measure: --print-check %s: this line was given before", argument);
            return false;
        }
    if (m->check_count == PS_CHECKS_MAX) {
        cli_say("measure: --print-check: more than %d", PS_CHECKS_MAX);
        return false;
    }
    m->check[m->check_count++] = c;
    return true;
}

static bool take_standoff(void *target, const char *argument) {
    ps_measure_options *m = &((measure_options *)target)->measure;
    ps_standoff s = {.given = true, .U_mm = default_standoff_U_mm};
    bool dipper = strncmp(argument, "dipper=", 7) == 0, link = strncmp(argument, "link=", 5) == 0;
    if (!cli_length_band(argument + (dipper ? 7 : link ? 5 : 0), &s.mm, &s.U_mm)) {
        cli_say("measure: --standoff is [dipper=|link=]MM[,U], not '%s'", argument);
        return false;
    }
    if (!(fabs(s.mm) <= largest_standoff_mm) || !(s.U_mm > 0 && s.U_mm <= largest_standoff_mm)) {
        cli_say("measure: --standoff %s: at most %g mm either way, and a band above 0", argument, largest_standoff_mm);
        return false;
    }
    for (int role = 0; role < PS_ROLE_COUNT; ++role) {
        if ((dipper && role != PS_ROLE_DIPPER) || (link && role != PS_ROLE_LINK)) continue;
        if (m->standoff[role].given) {
            cli_say("measure: --standoff %s: the %s pin's stand-off was given before", argument, ps_role_word((ps_role)role));
            return false;
        }
        m->standoff[role] = s;
    }
    return true;
}

static bool take_camera(void *target, const char *argument) {
    (void)target;
    cli_say("measure: --camera %s: camera profiles are not part of this version", argument);
    return false;
}

static bool take_json(void *target, const char *argument) {
    const char *dot = strrchr(argument, '.');
    static const char *const photo[] = {".jpg", ".jpeg", ".JPG", ".JPEG", ".heic", ".HEIC"};
    for (int i = 0; dot && i < 6; ++i)
        if (strcmp(dot, photo[i]) == 0) {
            cli_say("measure: --json wants a file for the result, and '%s' is named like a photo", argument);
            return false;
        }
    if (!*argument) {
        cli_say("measure: --json wants the name of a file, or - for standard output");
        return false;
    }
    ((measure_options *)target)->json = argument;
    return true;
}

static bool take_pictures(void *target, const char *argument) {
    if (!*argument) {
        cli_say("measure: --pictures wants the name of a folder");
        return false;
    }
    ((measure_options *)target)->pictures = argument;
    return true;
}

static bool take_threads(void *target, const char *argument) {
    if (cli_whole(argument, 1, 256, &((measure_options *)target)->measure.threads)) return true;
    cli_say("measure: --threads is a whole number from 1 to 256, not '%s'", argument);
    return false;
}

static bool take_inch(void *target, const char *argument) {
    (void)argument;
    ((measure_options *)target)->inch = true;
    return true;
}

static bool take_version(void *target, const char *argument) {
    (void)argument;
    ((measure_options *)target)->version = true;
    return true;
}

/* A NULL help keeps an option out of the help: it is refused. */
const cli_option measure_option_table[] = {
    {"side", 0, "attachment|machine", "which side the photos show (default attachment)", take_side},
    {"coupler", 0, "fixed|grab", "what the sizes are for; grab needs the centre distance less closely (default fixed)", take_coupler},
    {"print-check", 0, "[PIECE:]across=MM[,U]",
     "the check line across as measured on the paper, 140 mm by drawing; U: the band of the reading, k=2 (default 0.15). Without PIECE it "
     "holds for all "
     "pieces. Repeatable",
     take_check},
    {"print-check", 0, "[PIECE:]along=MM[,U]", "the check line along, 200 mm by drawing (default U 0.7)", take_check},
    {"standoff", 0, "[dipper=|link=]MM[,U]",
     "how far the pin's end face stands in front of the piece's plane, negative behind it (default U 2). Without a pin it holds for both. "
     "Repeatable",
     take_standoff},
    {"roles", 0, "sure|unsure", "whether it is known which pin is the dipper's (default sure)", take_roles},
    {"dipper", 0, "left|right|up|down", "where the dipper pin is in the first photo, whatever the pieces' arrows say", take_dipper},
    {"json", 0, "FILE", "writes the result as JSON; - is standard output, and then nothing else goes there", take_json},
    {"pictures", 0, "DIR", "writes the photos with what was measured drawn in, as DIR/<photo>-marked.jpg", take_pictures},
    {"inch", 0, NULL, "inches beside millimetres in texts and pictures; JSON stays in mm", take_inch},
    {"threads", 0, "N", "how many photos are worked on at once (default: as many as cores); the result is the same", take_threads},
    {"help", 'h', NULL, "this text", NULL},
    {"version", 0, NULL, "the version", take_version},
    {"camera", 0, "PROFILE", NULL, take_camera},
    {NULL, 0, NULL, NULL, NULL},
};
