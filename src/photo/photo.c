/* photo.c: from a path or bytes to the decoders. */
#include <stdlib.h>
#include <string.h>

#include "photo/decode.h"
#include "photo/file.h"

ps_photo_limits ps_photo_limits_default(void) {
    return (ps_photo_limits){.max_pixels = 120000000, .max_scans = 100, .max_memory = (int64_t)1 << 30, .max_file = 200000000};
}

/* Pictures in an ISO base media file (ISO/IEC 14496-12): 'ftyp' after the box's size, then the brand. */
static bool is_heif(const uint8_t *data, size_t size) {
    static const char brands[][5] = {"heic", "heix", "heim", "heis", "hevc", "hevx", "mif1", "mif2", "msf1", "avif", "avis"};
    if (size < 12 || memcmp(data + 4, "ftyp", 4) != 0) return false;
    for (size_t i = 0; i < sizeof brands / sizeof brands[0]; i++)
        if (memcmp(data + 8, brands[i], 4) == 0) return true;
    return false;
}

ps_status ps_photo_check(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits) {
    if (limits->max_pixels <= 0 || limits->max_scans <= 0 || limits->max_memory <= 0 || limits->max_file <= 0)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "a limit for photos is not above 0");
    if (size > (uint64_t)limits->max_file) return ps_file_too_large(ctx, limits->max_file);
    if (size == 0) return ps_context_fail(ctx, PS_BAD_FILE, "the file is empty");
    if (is_heif(data, size)) return ps_context_fail(ctx, PS_UNSUPPORTED, "a HEIF or AVIF picture; send the photo as JPEG");
    if (size < 3 || data[0] != 0xFF || data[1] != 0xD8 || data[2] != 0xFF) return ps_context_fail(ctx, PS_BAD_FILE, "not a JPEG file");
    return PS_OK;
}

ps_status ps_photo_decode(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits, ps_photo *photo) {
    ps_photo_limits l = limits ? *limits : ps_photo_limits_default();
    if (!photo || (!data && size > 0)) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no photo to decode");
    ps_status status = ps_photo_check(ctx, data, size, &l);
    return status == PS_OK ? ps_luma_decode(ctx, data, size, &l, photo) : status;
}

ps_status ps_photo_read(ps_context *ctx, const char *path, const ps_photo_limits *limits, ps_photo *photo) {
    ps_photo_limits l = limits ? *limits : ps_photo_limits_default();
    ps_file file = {0};
    if (!photo || !path) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no photo to read");
    ps_status status = ps_file_read(ctx, path, l.max_file, &file);
    if (status == PS_OK) status = ps_photo_decode(ctx, file.data, file.size, &l, photo);
    ps_file_clear(&file);
    return status;
}

ps_status ps_photo_read_colour(ps_context *ctx, const char *path, const ps_photo_limits *limits, int max_side, ps_colour *colour) {
    ps_photo_limits l = limits ? *limits : ps_photo_limits_default();
    ps_file file = {0};
    if (!colour || !path || max_side < 0) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no picture to read, or a negative size");
    ps_status status = ps_file_read(ctx, path, l.max_file, &file);
    if (status == PS_OK) status = ps_photo_check(ctx, file.data, file.size, &l);
    if (status == PS_OK) status = ps_colour_decode(ctx, file.data, file.size, &l, max_side, colour);
    ps_file_clear(&file);
    return status;
}

void ps_photo_clear(ps_photo *photo) {
    if (!photo) return;
    free(photo->luma.px);
    memset(photo, 0, sizeof *photo);
}

void ps_colour_clear(ps_colour *colour) {
    if (!colour) return;
    free(colour->px);
    memset(colour, 0, sizeof *colour);
}
