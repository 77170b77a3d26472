/* The photos of both sides measured, and what went in noted with its SHA-256. */
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "photo/file.h"
#include "pinspan/forms.h"

enum { JOB_MOST = 1 << 20, OTHER_MOST = 64 << 20, FILES_MOST = 1 + PS_FORMS_SIDES * (PS_ADJUST_PHOTOS_MAX + 2) };

static char *path_of(const ps_forms_job *job, const char *name) {
    const char *folder = job->folder && name[0] != '/' ? job->folder : "";
    size_t room = strlen(folder) + strlen(name) + 2;
    char *path = malloc(room);
    if (path) (void)snprintf(path, room, "%s%s%s", folder, *folder ? "/" : "", name);
    return path;
}

static void digest_of(const ps_file *file, char text[65]) {
    struct sha256_ctx sha;
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_init(&sha);
    sha256_update(&sha, file->size, file->data);
    sha256_digest(&sha, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) (void)snprintf(text + 2 * i, 3, "%02x", digest[i]);
}

/* `path`: where the file is; `name`: what the record calls it. */
static ps_status note_file(ps_context *ctx, const char *path, const char *name, const char *use, int side, int64_t most,
                           ps_forms_result *to) {
    ps_file file;
    ps_forms_file *f = &to->file[to->file_count];
    ps_status status = ps_file_read(ctx, path, most, &file);
    if (status != PS_OK) {
        char cause[200];
        (void)snprintf(cause, sizeof cause, "%s", ps_context_message(ctx));
        return ps_context_fail(ctx, status, "'%.200s' %s", name, cause);
    }
    *f = (ps_forms_file){.name = strdup(name), .side = side, .size = (int64_t)file.size};
    (void)snprintf(f->use, sizeof f->use, "%s", use);
    digest_of(&file, f->sha256);
    ps_file_clear(&file);
    if (!f->name) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the files' names");
    to->file_count++;
    return PS_OK;
}

static ps_status note_named(ps_context *ctx, const ps_forms_job *job, const char *name, const char *use, int side, int64_t most,
                            ps_forms_result *to) {
    if (!name) return PS_OK;
    char *path = path_of(job, name);
    if (!path) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a file's name");
    ps_status status = note_file(ctx, path, name, use, side, most, to);
    free(path);
    return status;
}

static ps_status note_files(ps_context *ctx, const ps_forms_job *job, ps_forms_result *to) {
    to->file = calloc(FILES_MOST, sizeof *to->file);
    if (!to->file) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the files' names");
    const char *slash = job->path ? strrchr(job->path, '/') : NULL;
    ps_status status = job->path ? note_file(ctx, job->path, slash ? slash + 1 : job->path, "job", -1, JOB_MOST, to) : PS_OK;
    for (int side = 0; side < PS_FORMS_SIDES; side++) {
        const ps_forms_side *s = &job->side[side];
        for (int i = 0; i < s->photo_count && status == PS_OK; i++)
            status = note_named(ctx, job, s->photo[i], "photo", side, s->options.limits.max_file, to);
        if (status == PS_OK) status = note_named(ctx, job, s->serial_photo, "serial", side, OTHER_MOST, to);
        if (status == PS_OK) status = note_named(ctx, job, s->camera, "camera", side, OTHER_MOST, to);
    }
    return status;
}

/* A copy under another name would count as a further photo and make the band too narrow. */
static ps_status refuse_copies(ps_context *ctx, const ps_forms_result *to) {
    for (int i = 0; i < to->file_count; i++)
        for (int k = 0; k < i; k++) {
            const ps_forms_file *a = &to->file[k], *b = &to->file[i];
            if (strcmp(a->use, "photo") != 0 || strcmp(b->use, "photo") != 0 || strcmp(a->sha256, b->sha256) != 0) continue;
            return ps_context_fail(ctx, PS_BAD_FILE, "'%.200s' is a copy of '%.200s'; each photo counts once", b->name, a->name);
        }
    return PS_OK;
}

static ps_status read_profile(ps_context *ctx, const ps_forms_job *job, const char *name, ps_measure_options *options) {
    if (!name) return PS_OK;
    char *path = path_of(job, name), cause[300];
    if (!path) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a file's name");
    ps_status status = ps_camera_profile_read(ctx, path, &options->profile);
    free(path);
    options->has_profile = status == PS_OK;
    if (status == PS_OK) return PS_OK;
    (void)snprintf(cause, sizeof cause, "%s", ps_context_message(ctx));
    return ps_context_fail(ctx, status, "'%.200s' %s", name, cause);
}

/* The record has the photos' paths, so that pictures can be drawn; JSON and tables call them as the job does. */
static ps_status measure_side(ps_context *ctx, const ps_forms_job *job, int side, int threads, ps_forms_result *to) {
    const ps_forms_side *s = &job->side[side];
    ps_measure_options options = s->options;
    char *path[PS_ADJUST_PHOTOS_MAX] = {NULL};
    options.threads = threads;
    ps_status status = read_profile(ctx, job, s->camera, &options);
    for (int i = 0; i < s->photo_count && status == PS_OK; i++)
        if (!(path[i] = path_of(job, s->photo[i]))) status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a file's name");
    if (status == PS_OK) {
        to->status[side] = ps_measure(ctx, &options, (const char *const *)path, s->photo_count, &to->record[side]);
        to->measured[side] = to->status[side] == PS_OK;
        if (!to->measured[side]) (void)snprintf(to->message[side], sizeof to->message[side], "%.199s", ps_context_message(ctx));
        if (to->status[side] == PS_NO_MEMORY) status = PS_NO_MEMORY;
    }
    for (int i = 0; i < s->photo_count; i++) free(path[i]);
    return status;
}

ps_status ps_forms_measure(ps_context *ctx, const ps_forms_job *job, int threads, ps_forms_result *result) {
    ps_status status = note_files(ctx, job, result);
    if (status == PS_OK) status = refuse_copies(ctx, result);
    for (int side = 0; side < PS_FORMS_SIDES && status == PS_OK; side++)
        if (job->side[side].photo_count > 0) status = measure_side(ctx, job, side, threads, result);
    return status;
}

void ps_forms_result_clear(ps_forms_result *result) {
    if (!result) return;
    for (int side = 0; side < PS_FORMS_SIDES; side++) ps_record_clear(&result->record[side]);
    for (int i = 0; i < result->file_count; i++) free(result->file[i].name);
    free(result->file);
    free(result->message_text);
    memset(result, 0, sizeof *result);
}
