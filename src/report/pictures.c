/* One marked picture per usable photo, written as JPEG. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "pinspan/report.h"
#include "report/jpeg_write.h"
#include "report/overlay.h"
#include "report/text.h"

enum { PICTURE_SIDE = 2000, PICTURE_QUALITY = 88 };

static ps_status make_folder(ps_context *ctx, const char *folder) {
    struct stat there;
    if (mkdir(folder, 0777) == 0) return PS_OK;
    int cause = errno;
    if (stat(folder, &there) == 0 && S_ISDIR(there.st_mode)) return PS_OK;
    return ps_context_fail(ctx, PS_IO, "%s: cannot make this folder: %s", folder,
                           cause == EEXIST ? "a file has that name" : strerror(cause));
}

/* True where `name` is taken: by a picture of this run, or because it is one of the photos themselves. */
static bool taken(const ps_record *record, char *const *names, int before, const char *name) {
    struct stat there, photo;
    for (int i = 0; i < before; ++i)
        if (names[i] && strcmp(names[i], name) == 0) return true;
    if (stat(name, &there) != 0) return false;
    for (int i = 0; i < record->photo_count; ++i)
        if (record->photo[i].file && stat(record->photo[i].file, &photo) == 0 && photo.st_dev == there.st_dev &&
            photo.st_ino == there.st_ino)
            return true;
    return false;
}

/* folder/stem-marked.jpg, with -2, -3 ... where that is taken. */
static ps_status name_picture(ps_context *ctx, const ps_record *record, const char *folder, char *const *names, int photo, char **name) {
    const char *file = record->photo[photo].file ? record->photo[photo].file : "photo", *slash = strrchr(file, '/');
    const char *stem = slash ? slash + 1 : file, *dot = strrchr(stem, '.');
    int length = (int)(dot && dot > stem ? (size_t)(dot - stem) : strlen(stem));
    size_t end = strlen(folder);
    const char *join = end > 0 && folder[end - 1] == '/' ? "" : "/";
    for (int i = 1;; ++i) {
        ps_text path = {0};
        ps_text_add(&path, "%s%s%.*s-marked", folder, join, length, stem);
        if (i > 1) ps_text_add(&path, "-%d", i);
        ps_text_add(&path, ".jpg");
        ps_status status = ps_text_take(ctx, &path, name);
        if (status != PS_OK || !taken(record, names, photo, *name)) return status;
        free(*name);
        *name = NULL;
    }
}

/* Puts the name of the file concerned before the message. */
static ps_status fail_named(ps_context *ctx, ps_status status, const char *name) {
    char cause[400];
    (void)snprintf(cause, sizeof cause, "%s", ps_context_message(ctx));
    return ps_context_fail(ctx, status, "%s: %s", name, cause);
}

static ps_status write_picture(ps_context *ctx, const ps_record *record, int photo, const ps_photo_limits *limits, bool inch,
                               const char *name) {
    ps_colour colour = {0};
    cairo_surface_t *surface = NULL;
    unsigned char *bytes = NULL;
    size_t size = 0;
    ps_status status = ps_photo_read_colour(ctx, record->photo[photo].file, limits, PICTURE_SIDE, &colour);
    if (status != PS_OK) return fail_named(ctx, status, record->photo[photo].file);
    status = ps_overlay_draw(ctx, record, photo, &colour, inch, true, &surface);
    if (status == PS_OK) {
        cairo_surface_flush(surface);
        status =
            ps_jpeg_write(ctx, cairo_image_surface_get_data(surface), cairo_image_surface_get_width(surface),
                          cairo_image_surface_get_height(surface), cairo_image_surface_get_stride(surface), PICTURE_QUALITY, &bytes, &size);
    }
    if (status == PS_OK) status = ps_report_write(ctx, name, bytes, size);
    if (status != PS_OK) status = fail_named(ctx, status, name);
    free(bytes);
    cairo_surface_destroy(surface);
    ps_colour_clear(&colour);
    return status;
}

ps_status ps_report_pictures(ps_context *ctx, const ps_record *record, const ps_photo_limits *limits, const char *folder, bool inch,
                             char **names) {
    ps_status status = make_folder(ctx, folder);
    if (status != PS_OK) return status;
    char **made = calloc((size_t)record->photo_count + 1, sizeof *made);
    if (!made) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory while writing pictures");
    for (int i = 0; i < record->photo_count && status == PS_OK; ++i) {
        if (!record->photo[i].usable) continue;
        status = name_picture(ctx, record, folder, made, i, &made[i]);
        if (status == PS_OK) status = write_picture(ctx, record, i, limits, inch, made[i]);
    }
    for (int i = 0; i < record->photo_count; ++i) {
        if (names && status == PS_OK)
            names[i] = made[i];
        else
            free(made[i]);
    }
    free(made);
    return status;
}
