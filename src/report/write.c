/* A file appears whole or not at all. */
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "pinspan/report.h"
#include "report/text.h"

static bool write_all(int file, const char *bytes, size_t size) {
    while (size > 0) {
        ssize_t n = write(file, bytes, size);
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0) return false;
        bytes += n;
        size -= (size_t)n;
    }
    return true;
}

/* A device or a pipe cannot be replaced by a rename. */
static ps_status write_through(ps_context *ctx, const char *path, const void *bytes, size_t size) {
    int file = open(path, O_WRONLY);
    bool written = file >= 0 && write_all(file, bytes, size);
    int cause = errno;
    if (file >= 0 && close(file) != 0 && written) {
        written = false;
        cause = errno;
    }
    return written ? PS_OK : ps_context_fail(ctx, PS_IO, "cannot write: %s", strerror(cause));
}

/* Opens a new file beside `path`; its name into `part`. -1 with errno when that cannot be. */
static int open_part(const char *path, ps_text *part) {
    int file = -1;
    for (int i = 0; i < 100; ++i) {
        ps_text_clear(part);
        ps_text_add(part, "%s.part-%ld-%d", path, (long)getpid(), i);
        if (part->failed) {
            errno = ENOMEM;
            return -1;
        }
        file = open(part->bytes, O_WRONLY | O_CREAT | O_EXCL, 0666);
        if (file >= 0 || errno != EEXIST) break;
    }
    return file;
}

ps_status ps_report_write(ps_context *ctx, const char *path, const void *bytes, size_t size) {
    struct stat there;
    bool exists = stat(path, &there) == 0;
    if (exists && S_ISDIR(there.st_mode)) return ps_context_fail(ctx, PS_IO, "cannot write: is a folder");
    if (exists && !S_ISREG(there.st_mode)) return write_through(ctx, path, bytes, size);
    ps_text part = {0};
    int file = open_part(path, &part);
    bool made = file >= 0, written = made && write_all(file, bytes, size);
    int cause = errno;
    if (made && close(file) != 0 && written) {
        written = false;
        cause = errno;
    }
    if (written && rename(part.bytes, path) != 0) {
        written = false;
        cause = errno;
    }
    if (made && !written) (void)unlink(part.bytes);
    ps_text_clear(&part);
    return written ? PS_OK : ps_context_fail(ctx, PS_IO, "cannot write: %s", strerror(cause));
}

char *ps_report_clean(const char *bytes) {
    return ps_text_clean(bytes, true);
}
