/* pinspan measure: photos of one side to its sizes. */
#include <stdlib.h>
#include <string.h>

#include "measure_options.h"

/* One line for each photo that could not be used. */
static void say_bad_photos(const ps_record *record) {
    for (int i = 0; i < record->photo_count; ++i) {
        const ps_record_photo *photo = &record->photo[i];
        if (photo->usable) continue;
        char line[1000] = "";
        for (int k = 0; k < photo->problems.count; ++k)
            (void)snprintf(line + strlen(line), sizeof line - strlen(line), "%s%s", k ? " " : "", photo->problems.note[k].text);
        cli_say("%s: %s", photo->file ? photo->file : "?", line[0] ? line : "cannot be used");
    }
}

static bool write_json(ps_context *ctx, const char *path, const ps_record *record) {
    char *text = NULL;
    ps_status status = ps_report_json(ctx, record, &text);
    if (status == PS_OK && strcmp(path, "-") == 0)
        (void)fputs(text, stdout);
    else if (status == PS_OK)
        status = ps_report_write(ctx, path, text, strlen(text));
    if (status != PS_OK) cli_say("%s: %s", path, ps_context_message(ctx));
    free(text);
    return status == PS_OK;
}

static bool write_table(ps_context *ctx, const ps_record *record, bool inch) {
    char *text = NULL;
    ps_status status = ps_report_table(ctx, record, inch, &text);
    if (status == PS_OK)
        (void)fputs(text, stdout);
    else
        cli_say("%s", ps_context_message(ctx));
    free(text);
    return status == PS_OK;
}

/* `listed`: the pictures' names go to standard output. */
static bool write_pictures(ps_context *ctx, const measure_options *o, const ps_record *record, bool listed) {
    char **names = calloc((size_t)record->photo_count + 1, sizeof *names);
    ps_status status = names ? ps_report_pictures(ctx, record, &o->measure.limits, o->pictures, o->inch, names) : PS_NO_MEMORY;
    if (status != PS_OK) cli_say("measure: %s", names ? ps_context_message(ctx) : "out of memory");
    bool headed = false;
    for (int i = 0; names && i < record->photo_count; ++i) {
        if (names[i] && listed) {
            char *clean = ps_report_clean(names[i]);
            (void)printf("%s%s\n", headed ? "" : "\nMarked pictures\n", clean ? clean : "?");
            headed = true;
            free(clean);
        }
        free(names[i]);
    }
    free(names);
    return status == PS_OK;
}

/* One line for each photo that the profile was not used for. */
static void say_profile(const measure_options *o, const ps_record *record) {
    for (int i = 0; o->measure.has_profile && i < record->photo_count; ++i) {
        const ps_record_photo *photo = &record->photo[i];
        if (photo->solved && photo->camera_source != PS_CAMERA_PROFILE)
            cli_say("%s: the profile %s is not used: the photo is of another camera or size, or speaks against it", photo->file, o->camera);
    }
}

static bool shows(const ps_record *record, int piece) {
    for (int i = 0; i < record->photo_count; ++i)
        for (int j = 0; j < record->photo[i].sightings.count; ++j)
            if (piece < 0 || record->photo[i].sightings.piece[j].piece == piece) return true;
    return false;
}

/* A line for each reading of a piece that no photo shows, though they show others: it counts for nothing, and may be another's. */
static void say_idle_checks(const measure_options *o, const ps_record *record) {
    for (int i = 0; shows(record, -1) && i < o->measure.check_count; ++i) {
        const ps_print_check *c = &o->measure.check[i];
        if (!shows(record, c->piece))
            cli_say("measure: --print-check %s:%s=%g: no photo shows that piece, so the reading is not used", ps_kit_piece(c->piece)->name,
                    c->along ? "along" : "across", c->read_mm);
    }
}

static int exit_of(ps_status status) {
    return status == PS_OK ? CLI_DONE : status == PS_NOT_FOUND ? CLI_NOTHING : status == PS_IO ? CLI_UNREADABLE : CLI_FAILED;
}

static bool read_profile(ps_context *ctx, measure_options *o) {
    if (!o->camera) return true;
    o->measure.has_profile = ps_camera_profile_read(ctx, o->camera, &o->measure.profile) == PS_OK;
    if (!o->measure.has_profile) cli_say("%s: %s", o->camera, ps_context_message(ctx));
    return o->measure.has_profile;
}

static int measure(measure_options *o, char **file, int count) {
    ps_record record = {0};
    ps_context *ctx = ps_context_new();
    if (!ctx) {
        cli_say("out of memory");
        return CLI_FAILED;
    }
    if (!read_profile(ctx, o)) {
        ps_context_free(ctx);
        return CLI_UNREADABLE;
    }
    bool to_stdout = o->json && strcmp(o->json, "-") == 0;
    ps_status status = ps_measure(ctx, &o->measure, (const char *const *)file, count, &record);
    int result = exit_of(status);
    if (result == CLI_FAILED)
        cli_say("measure: %s", ps_context_message(ctx));
    else {
        say_bad_photos(&record);
        say_profile(o, &record);
        say_idle_checks(o, &record);
        if (result == CLI_UNREADABLE) cli_say("measure: no photo could be read");
        if (result == CLI_NOTHING) cli_say("measure: nothing could be measured in any photo");
        bool written = to_stdout || write_table(ctx, &record, o->inch);
        if (o->json) written = write_json(ctx, o->json, &record) && written;
        if (o->pictures) written = write_pictures(ctx, o, &record, !to_stdout) && written;
        if (!written && result == CLI_DONE) result = CLI_FAILED;
    }
    ps_record_clear(&record);
    ps_context_free(ctx);
    return result;
}

static int run(const cli_command *command, int argc, char **argv) {
    measure_options o = {.measure = ps_measure_options_default()};
    int first = 0;
    cli_parsed parsed = cli_parse(command, argc, argv, &o, &first);
    if (parsed == CLI_WRONG) return CLI_WRONG_USE;
    if (parsed == CLI_HELPED) return cli_close_output(CLI_DONE);
    if (o.seeded && o.measure.monte_carlo == 0) {
        cli_say("measure: --seed goes with --monte-carlo");
        return CLI_WRONG_USE;
    }
    if (!cli_photos_given("measure", argv + first, argc - first)) return CLI_WRONG_USE;
    return cli_close_output(measure(&o, argv + first, argc - first));
}

const cli_command cli_measure = {"measure",
                                 "measure [options] PHOTO...",
                                 "Measures one side from photos (JPEG) that show a printed piece beside the pins.",
                                 measure_option_table,
                                 "Lengths may end in mm or in; without, they are millimetres. -- ends the options.\n"
                                 "Exit status: 0 done, whatever the verdicts; 1 a result could not be written; 2 wrong use;\n"
                                 "3 no photo, or not the profile, could be read; 4 nothing measurable (the JSON is still written).\n\n"
                                 "Before photos: attachment flat on firm ground, arm lowered, engine off, key out, nobody\n"
                                 "under or in the swing of anything raised, and no photo from under a raised attachment.",
                                 run};
