/* file.c: one read of a regular file. */
#include "photo/file.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

ps_status ps_file_too_large(ps_context *ctx, int64_t max_size) {
    return ps_context_fail(ctx, PS_TOO_LARGE, "the file is larger than the %" PRId64 " bytes allowed", max_size);
}

/* All `size` bytes; false with errno, 0 if the file shrank meanwhile. */
static bool read_all(int descriptor, uint8_t *data, size_t size) {
    for (size_t got = 0; got < size;) {
        ssize_t n = read(descriptor, data + got, size - got);
        if (n < 0 && errno == EINTR) continue;
        if (n == 0) errno = 0;
        if (n <= 0) return false;
        got += (size_t)n;
    }
    return true;
}

static ps_status read_open(ps_context *ctx, int descriptor, int64_t max_size, ps_file *file) {
    struct stat about;
    if (fstat(descriptor, &about) != 0) return ps_context_fail(ctx, PS_IO, "cannot be read: %s", strerror(errno));
    if (S_ISDIR(about.st_mode)) return ps_context_fail(ctx, PS_IO, "is a directory");
    if (!S_ISREG(about.st_mode)) return ps_context_fail(ctx, PS_IO, "is not a regular file");
    if (about.st_size > max_size) return ps_file_too_large(ctx, max_size);
    size_t size = (size_t)about.st_size;
    uint8_t *data = malloc(size ? size : 1);
    if (!data) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the file");
    if (!read_all(descriptor, data, size)) {
        ps_status status = ps_context_fail(ctx, PS_IO, "cannot be read: %s", errno ? strerror(errno) : "it became shorter meanwhile");
        free(data);
        return status;
    }
    *file = (ps_file){.data = data, .size = size};
    return PS_OK;
}

ps_status ps_file_read(ps_context *ctx, const char *path, int64_t max_size, ps_file *file) {
    /* O_NONBLOCK: opening a pipe by mistake must not hang. */
    int descriptor = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
    if (descriptor < 0) return ps_context_fail(ctx, PS_IO, "cannot be opened: %s", strerror(errno));
    ps_status status = read_open(ctx, descriptor, max_size, file);
    (void)close(descriptor);
    return status;
}

void ps_file_clear(ps_file *file) {
    free(file->data);
    *file = (ps_file){0};
}
