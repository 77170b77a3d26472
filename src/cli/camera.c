/* pinspan camera: photos of a plate to a phone's lens. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli.h"

typedef struct camera_options {
    ps_measure_options measure; /* print checks, limits and threads of it */
    const char *output;
} camera_options;

static bool take_output(void *target, const char *argument) {
    camera_options *o = target;
    if (!cli_output_named("camera", "output", argument)) return false;
    o->output = argument;
    return true;
}

static bool take_check(void *target, const char *argument) {
    return cli_take_check("camera", &((camera_options *)target)->measure, argument);
}

static bool take_threads(void *target, const char *argument) {
    return cli_take_threads("camera", argument, &((camera_options *)target)->measure.threads);
}

static const cli_option options[] = {
    {"output", 'o', "PROFILE", "where the profile goes (JSON); - is standard output, and then nothing else goes there", take_output},
    CLI_CHECK_OPTIONS(take_check),
    CLI_THREADS_OPTION(take_threads),
    CLI_LAST_OPTIONS,
};

static void say_bad_photos(char **file, int count, const ps_calibration_photo *photo) {
    for (int i = 0; i < count; ++i)
        if (!photo[i].used && photo[i].problem[0]) cli_say("%s: %s", file[i], photo[i].problem);
}

static double sd(const ps_camera_profile *p, int term) {
    return sqrt(p->covariance[(PS_LENS_COUNT + 1) * term]);
}

static void print_found(const ps_camera_profile *p, const char *output) {
    const ps_lens *l = &p->lens;
    const double term[PS_LENS_COUNT] = {l->f_px, l->cx, l->cy, l->k1, l->k2, l->p1, l->p2, l->k3};
    static const char *const name[PS_LENS_COUNT] = {"focal length", "centre x", "centre y", "k1", "k2", "p1", "p2", "k3"};
    (void)printf("Lens of %d x %d photos, from %d photos and %d corners (rms %.3f px)\n", p->width, p->height, p->photos, p->corners,
                 p->rms_px);
    for (int k = 0; k < PS_LENS_COUNT; ++k)
        (void)printf("  %-13s %12.*f  sd %.*f%s\n", name[k], k < 3 ? 1 : 5, term[k], k < 3 ? 1 : 5, sd(p, k), k < 3 ? "  px" : "");
    (void)printf("%s written. Use it with: pinspan measure --camera %s\n", output, output);
}

static int exit_of(ps_status status) {
    return status == PS_NOT_FOUND ? CLI_NOTHING : status == PS_IO ? CLI_UNREADABLE : status == PS_BAD_ARGUMENT ? CLI_WRONG_USE : CLI_FAILED;
}

static int write_profile(ps_context *ctx, const camera_options *o, const ps_camera_profile *profile) {
    char *text = NULL;
    bool to_stdout = strcmp(o->output, "-") == 0;
    ps_status status = ps_camera_profile_json(ctx, profile, &text);
    if (status == PS_OK && to_stdout) (void)fputs(text, stdout);
    if (status == PS_OK && !to_stdout) status = ps_report_write(ctx, o->output, text, strlen(text));
    free(text);
    if (status != PS_OK)
        cli_say("%s: %s", o->output, ps_context_message(ctx));
    else if (!to_stdout)
        print_found(profile, o->output);
    return status == PS_OK ? CLI_DONE : CLI_FAILED;
}

static int calibrate(const camera_options *o, char **file, int count) {
    ps_context *ctx = ps_context_new();
    ps_calibration_photo *photo = calloc((size_t)count, sizeof *photo);
    int result = CLI_FAILED;
    if (ctx && photo) {
        ps_camera_profile profile;
        ps_status status = ps_camera_calibrate(ctx, &o->measure, (const char *const *)file, count, &profile, photo);
        say_bad_photos(file, count, photo);
        if (status != PS_OK) cli_say("camera: %s", ps_context_message(ctx));
        result = status == PS_OK ? write_profile(ctx, o, &profile) : exit_of(status);
    } else
        cli_say("out of memory");
    free(photo);
    ps_context_free(ctx);
    return result;
}

static int run(const cli_command *command, int argc, char **argv) {
    camera_options o = {.measure = ps_measure_options_default()};
    int first = 0;
    cli_parsed parsed = cli_parse(command, argc, argv, &o, &first);
    if (parsed == CLI_WRONG) return CLI_WRONG_USE;
    if (parsed == CLI_HELPED) return cli_close_output(CLI_DONE);
    if (!cli_photos_given("camera", argv + first, argc - first)) return CLI_WRONG_USE;
    if (!o.output) {
        cli_say("camera: -o PROFILE is missing: where the profile goes");
        return CLI_WRONG_USE;
    }
    return cli_close_output(calibrate(&o, argv + first, argc - first));
}

const cli_command cli_camera = {"camera",
                                "camera [options] PHOTO... -o PROFILE",
                                "Finds the lens of a phone from photos of a printed plate, for pinspan measure --camera.",
                                options,
                                "Lay one plate on a flat table. Take at least four, better eight photos with the main lens, no zoom:\n"
                                "from different sides at a slant of 30 to 45 degrees, the phone also turned upright, the plate\n"
                                "filling most of the frame and once near each of its corners. Originals, not chat pictures.\n"
                                "Exit status: 0 done; 1 the profile could not be written; 2 wrong use, or photos of more than one\n"
                                "camera; 3 no photo could be read; 4 the photos do not tell the lens well enough.",
                                run};
