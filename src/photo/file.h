/* file.h: a whole file in memory, its size checked first. */
#ifndef PINSPAN_PHOTO_FILE_H
#define PINSPAN_PHOTO_FILE_H

#include "pinspan/base.h"

typedef struct ps_file {
    uint8_t *data; /* owned; at least one byte is allocated */
    size_t size;
} ps_file;

/* Regular files only, since a photo is read again for its colours. Errors: PS_IO, PS_TOO_LARGE, PS_NO_MEMORY. */
ps_status ps_file_read(ps_context *ctx, const char *path, int64_t max_size, ps_file *file);
void ps_file_clear(ps_file *file);

ps_status ps_file_too_large(ps_context *ctx, int64_t max_size);

#endif
