/* pinspan job: a whole job from its file. */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli.h"

typedef struct job_options {
    const char *folder; /* for the results; NULL: none given */
    const char *fresh;  /* --new: where a starting point goes */
    bool pictures, inch;
    ps_paper paper;
    int threads;
} job_options;

static bool take_folder(void *target, const char *argument) {
    if (!*argument) {
        cli_say("job: -o wants the name of a folder");
        return false;
    }
    ((job_options *)target)->folder = argument;
    return true;
}

static bool take_new(void *target, const char *argument) {
    if (!cli_output_named("job", "new", argument)) return false;
    ((job_options *)target)->fresh = argument;
    return true;
}

static bool take_pictures(void *target, const char *argument) {
    (void)argument;
    ((job_options *)target)->pictures = true;
    return true;
}

static bool take_paper(void *target, const char *argument) {
    return cli_take_paper("job", argument, &((job_options *)target)->paper);
}

static bool take_inch(void *target, const char *argument) {
    (void)argument;
    ((job_options *)target)->inch = true;
    return true;
}

static bool take_threads(void *target, const char *argument) {
    return cli_take_threads("job", argument, &((job_options *)target)->threads);
}

static const cli_option option_table[] = {
    {"output", 'o', "DIR", "folder for the results: job-report.pdf, job-record.json and job-decisions.csv; made when missing", take_folder},
    {"pictures", 0, NULL, "also the photos with what was measured drawn in, under DIR/attachment and DIR/machine", take_pictures},
    {"paper", 0, "a4|letter", "paper of the report (default a4)", take_paper},
    {"inch", 0, NULL, "inches beside millimetres in texts, as the job file's \"inch\"; JSON and CSV stay in mm", take_inch},
    {"new", 0, "FILE", "writes a job file that explains itself, to be filled in; an existing file is left alone", take_new},
    CLI_THREADS_OPTION(take_threads),
    CLI_LAST_OPTIONS,
};

/* O_EXCL: nobody's filled-in job is overwritten. */
static int write_new(const char *path) {
    const char *text = ps_forms_job_new();
    if (strcmp(path, "-") == 0) {
        (void)fputs(text, stdout);
        return CLI_DONE;
    }
    int file = open(path, O_WRONLY | O_CREAT | O_EXCL, 0666);
    if (file < 0) {
        cli_say("job: --new %s: %s", path, strerror(errno));
        return CLI_FAILED;
    }
    size_t size = strlen(text);
    bool written = write(file, text, size) == (ssize_t)size;
    written = close(file) == 0 && written;
    if (!written) cli_say("job: --new %s: cannot be written", path);
    return written ? CLI_DONE : CLI_FAILED;
}

static bool make_folder(const char *path) {
    struct stat about;
    if (mkdir(path, 0777) == 0 || (errno == EEXIST && stat(path, &about) == 0 && S_ISDIR(about.st_mode))) return true;
    cli_say("job: -o %s: %s", path, errno == EEXIST ? "is no folder" : strerror(errno));
    return false;
}

/* Writes what `render` makes as DIR/name; to standard output when name is NULL. */
static bool write_one(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, const char *folder, const char *name,
                      ps_status (*render)(ps_context *, const ps_forms_job *, const ps_forms_result *, char **)) {
    char path[4200], *text = NULL;
    ps_status status = render(ctx, job, result, &text);
    (void)snprintf(path, sizeof path, "%s/%s", folder, name ? name : "");
    if (status == PS_OK && !name)
        (void)fputs(text, stdout);
    else if (status == PS_OK)
        status = ps_report_write(ctx, path, text, strlen(text));
    if (status != PS_OK) cli_say("%s: %s", name ? path : "job", ps_context_message(ctx));
    free(text);
    return status == PS_OK;
}

static bool write_report(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, const job_options *o) {
    char path[4200];
    unsigned char *bytes = NULL;
    size_t size = 0;
    (void)snprintf(path, sizeof path, "%s/job-report.pdf", o->folder);
    ps_status status = ps_report_job_pdf(ctx, job, result, o->paper, &bytes, &size);
    if (status == PS_OK) status = ps_report_write(ctx, path, bytes, size);
    if (status != PS_OK) cli_say("%s: %s", path, ps_context_message(ctx));
    free(bytes);
    return status == PS_OK;
}

static bool write_pictures(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, const char *folder) {
    bool written = true;
    for (int side = 0; side < PS_FORMS_SIDES; side++) {
        char path[4200];
        if (result->record[side].photo_count == 0) continue;
        (void)snprintf(path, sizeof path, "%s/%s", folder, ps_side_word((ps_side)side));
        if (ps_report_pictures(ctx, &result->record[side], &job->side[side].options.limits, path, job->inch, NULL) == PS_OK) continue;
        cli_say("job: %s", ps_context_message(ctx));
        written = false;
    }
    return written;
}

static void say_sides(const ps_forms_job *job, const ps_forms_result *result) {
    for (int side = 0; side < PS_FORMS_SIDES; side++) {
        const char *word = ps_side_word((ps_side)side);
        const ps_record *record = &result->record[side];
        for (int i = 0; i < record->photo_count && i < job->side[side].photo_count; i++)
            if (!record->photo[i].usable)
                cli_say("%s side, %s: %s", word, job->side[side].photo[i],
                        record->photo[i].problems.count ? record->photo[i].problems.note[0].text : "cannot be used");
        if (job->side[side].photo_count > 0 && !result->measured[side]) cli_say("%s side: %s", word, result->message[side]);
    }
}

static int run_job(ps_context *ctx, const job_options *o, const ps_forms_job *job, const char *path, ps_forms_result *result) {
    ps_status status = ps_forms_measure(ctx, job, o->threads, result);
    if (status != PS_OK) {
        cli_say("%s: %s", path, ps_context_message(ctx));
        return status == PS_NO_MEMORY ? CLI_FAILED : CLI_UNREADABLE;
    }
    say_sides(job, result);
    if (ps_forms_decide(ctx, job, result) != PS_OK) {
        cli_say("job: %s", ps_context_message(ctx));
        return CLI_FAILED;
    }
    bool written = write_one(ctx, job, result, o->folder, "job-record.json", ps_report_job_json);
    written = write_one(ctx, job, result, o->folder, "job-decisions.csv", ps_report_job_csv) && written;
    written = write_one(ctx, job, result, o->folder, NULL, ps_report_job_table) && written;
    written = write_report(ctx, job, result, o) && written;
    if (o->pictures) written = write_pictures(ctx, job, result, o->folder) && written;
    return written ? CLI_DONE : CLI_FAILED;
}

static int start(const job_options *o, const char *path) {
    int status = CLI_FAILED;
    ps_context *ctx = ps_context_new();
    ps_forms_job *job = calloc(1, sizeof *job);
    ps_forms_result *result = calloc(1, sizeof *result);
    if (!ctx || !job || !result)
        cli_say("out of memory");
    else if (ps_forms_job_read(ctx, path, job) != PS_OK) {
        cli_say("%s: %s", path, ps_context_message(ctx));
        status = CLI_UNREADABLE;
    } else if (make_folder(o->folder)) {
        job->inch = job->inch || o->inch;
        status = run_job(ctx, o, job, path, result);
    }
    ps_forms_result_clear(result);
    ps_forms_job_clear(job);
    free(result);
    free(job);
    ps_context_free(ctx);
    return status;
}

static int run(const cli_command *command, int argc, char **argv) {
    job_options o = {0};
    int first = 0;
    cli_parsed parsed = cli_parse(command, argc, argv, &o, &first);
    if (parsed == CLI_WRONG) return CLI_WRONG_USE;
    if (parsed == CLI_HELPED) return cli_close_output(CLI_DONE);
    int files = argc - first;
    if (o.fresh && (files > 0 || o.folder || o.pictures || o.inch)) {
        cli_say("job: --new FILE stands alone (try: pinspan job --help)");
        return CLI_WRONG_USE;
    }
    if (o.fresh) return cli_close_output(write_new(o.fresh));
    if (files != 1) {
        cli_say(files == 0 ? "job: no job file given (try: pinspan job --help)" : "job: one job file, but %d were given", files);
        return CLI_WRONG_USE;
    }
    if (!o.folder) {
        cli_say("job: -o DIR is missing: the folder for the results");
        return CLI_WRONG_USE;
    }
    return cli_close_output(start(&o, argv[first]));
}

const cli_command cli_job = {"job",
                             "job FILE -o DIR | job --new FILE",
                             "Runs a whole job: photos of both sides against the form and tape readings; decides.",
                             option_table,
                             "The job file is JSON (job.md); --new writes one to fill in. Decisions and questions go to\n"
                             "standard output.\n"
                             "Exit status: 0 done, whatever the answer; 1 a result could not be written; 2 wrong use;\n"
                             "3 the job file, or a file that it names, could not be read: one line tells the place.\n\n"
                             "Before anyone measures or takes photos: attachment flat on firm ground, arm lowered, engine off,\n"
                             "key out, hands out of joints. The machine's manual and local rules come first.",
                             run};
