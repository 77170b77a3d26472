/* The options of `pinspan measure`. */
#include "measure_options.h"

#include <math.h>
#include <string.h>

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

static bool take_check(void *target, const char *argument) {
    return cli_take_check("measure", &((measure_options *)target)->measure, argument);
}

static bool take_standoff(void *target, const char *argument) {
    ps_measure_options *m = &((measure_options *)target)->measure;
    ps_standoff s = {.given = true, .U_mm = default_standoff_U_mm};
    bool dipper = strncmp(argument, "dipper=", 7) == 0, link = strncmp(argument, "link=", 5) == 0;
    if (!cli_length_band(argument + (dipper ? 7 : link ? 5 : 0), &s.mm, &s.U_mm)) {
        cli_say("measure: --standoff is [dipper=|link=]MM[,U], not '%s'", argument);
        return false;
    }
    if (!(fabs(s.mm) <= largest_standoff_mm) || !(s.U_mm >= PS_READING_U_LEAST_MM && s.U_mm <= largest_standoff_mm)) {
        cli_say("measure: --standoff %s: at most %g mm either way, and a band of %g mm at least", argument, largest_standoff_mm,
                PS_READING_U_LEAST_MM);
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
    measure_options *o = target;
    if (!*argument || o->camera) {
        cli_say(*argument ? "measure: --camera: one profile, but a second was given" : "measure: --camera wants the name of a profile");
        return false;
    }
    o->camera = argument;
    return true;
}

static bool take_json(void *target, const char *argument) {
    if (!cli_output_named("measure", "json", argument)) return false;
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
    return cli_take_threads("measure", argument, &((measure_options *)target)->measure.threads);
}

static bool take_monte_carlo(void *target, const char *argument) {
    if (cli_whole(argument, 100, 1000000, &((measure_options *)target)->measure.monte_carlo)) return true;
    cli_say("measure: --monte-carlo is a whole number from 100 to 1000000, not '%s'", argument);
    return false;
}

static bool take_seed(void *target, const char *argument) {
    int seed = 0;
    if (!cli_whole(argument, 0, 2147483647, &seed)) {
        cli_say("measure: --seed is a whole number from 0 to 2147483647, not '%s'", argument);
        return false;
    }
    ((measure_options *)target)->measure.seed = (uint64_t)seed;
    ((measure_options *)target)->seeded = true;
    return true;
}

static bool take_inch(void *target, const char *argument) {
    (void)argument;
    ((measure_options *)target)->inch = true;
    return true;
}

const cli_option measure_option_table[] = {
    {"side", 0, "attachment|machine", "which side the photos show (default attachment)", take_side},
    {"coupler", 0, "fixed|grab", "what the sizes are for; grab needs the centre distance less closely (default fixed)", take_coupler},
    CLI_CHECK_OPTIONS(take_check),
    {"standoff", 0, "[dipper=|link=]MM[,U]",
     "how far the pin's end face stands in front of the piece's plane, negative behind it (default U 2). Without a pin it holds for both. "
     "Repeatable",
     take_standoff},
    {"roles", 0, "sure|unsure", "whether it is known which pin is the dipper's (default sure)", take_roles},
    {"dipper", 0, "left|right|up|down", "where the dipper pin is in the first photo, whatever the pieces' arrows say", take_dipper},
    {"camera", 0, "PROFILE", "what pinspan camera found of this phone; used for the photos that are of it", take_camera},
    {"json", 0, "FILE", "writes the result as JSON; - is standard output, and then nothing else goes there", take_json},
    {"pictures", 0, "DIR", "writes the photos with what was measured drawn in, as DIR/<photo>-marked.jpg", take_pictures},
    {"inch", 0, NULL, "inches beside millimetres in texts and pictures; JSON stays in mm", take_inch},
    CLI_THREADS_OPTION(take_threads),
    {"monte-carlo", 0, "N",
     "draws all readings anew N times (100 to 1000000; 1000 take a minute or some) and says beside each band what holds 95 of 100 samples",
     take_monte_carlo},
    {"seed", 0, "S", "another draw for --monte-carlo (default 1); the same seed gives the same result", take_seed},
    CLI_LAST_OPTIONS,
};
