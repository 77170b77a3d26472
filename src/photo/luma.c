/* luma.c: the measured picture. Orientation 1 is decoded straight into place; the others through a strip of rows. */
#include <stdlib.h>

#include "photo/decode.h"
#include "photo/jpeg.h"
#include "photo/orient.h"

enum { STRIP_ROWS = 64 }; /* one cache line of upright pixels per column when x and y are exchanged */

typedef struct luma_state {
    ps_photo photo;
} luma_state;

static void allocate(ps_jpeg *jpeg, luma_state *s, const ps_turn *turn) {
    size_t bytes = (size_t)turn->width * (size_t)turn->height;
    if (bytes > (uint64_t)jpeg->limits.max_memory) ps_jpeg_stop(jpeg, PS_TOO_LARGE, "the photo needs more memory than allowed");
    s->photo.luma = (ps_luma){.width = turn->width, .height = turn->height, .stride = (size_t)turn->width, .px = malloc(bytes)};
    if (!s->photo.luma.px) ps_jpeg_stop(jpeg, PS_NO_MEMORY, "out of memory for the photo's pixels");
}

static void read_luma_row(ps_jpeg *jpeg, uint8_t *inks, uint8_t *rgb, uint8_t *row) {
    if (!inks) {
        ps_jpeg_read_row(jpeg, NULL, row);
        return;
    }
    ps_jpeg_read_row(jpeg, inks, rgb);
    for (size_t x = 0; x < jpeg->d.output_width; x++) row[x] = ps_luma_of(rgb + 3 * x);
}

static void luma_job(ps_jpeg *jpeg, void *state) {
    luma_state *s = state;
    struct jpeg_decompress_struct *d = &jpeg->d;
    bool four = d->jpeg_color_space == JCS_CMYK || d->jpeg_color_space == JCS_YCCK;
    int width = (int)d->image_width, height = (int)d->image_height;
    ps_turn turn = ps_turn_of(jpeg->exif.orientation, width, height);

    s->photo.stored_width = width;
    s->photo.stored_height = height;
    s->photo.exif = jpeg->exif;
    d->out_color_space = four ? JCS_CMYK : JCS_GRAYSCALE;
    (void)jpeg_start_decompress(d); /* progressive files are unpacked here, under max_memory and max_scans */
    allocate(jpeg, s, &turn);

    bool straight = jpeg->exif.orientation == 1;
    size_t row_bytes = (size_t)width;
    uint8_t *inks = four ? ps_jpeg_scratch(jpeg, 4 * row_bytes) : NULL;
    uint8_t *rgb = four ? ps_jpeg_scratch(jpeg, 3 * row_bytes) : NULL;
    uint8_t *strip = straight ? NULL : ps_jpeg_scratch(jpeg, STRIP_ROWS * row_bytes);
    for (int y = 0; y < height;) {
        int count = height - y < STRIP_ROWS ? height - y : STRIP_ROWS;
        uint8_t *rows = straight ? s->photo.luma.px + (size_t)y * row_bytes : strip;
        for (int j = 0; j < count; j++) read_luma_row(jpeg, inks, rgb, rows + (size_t)j * row_bytes);
        if (!straight) ps_turn_rows(&turn, width, rows, y, count, s->photo.luma.px);
        y += count;
    }
}

ps_status ps_luma_decode(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits, ps_photo *photo) {
    luma_state s = {0};
    ps_status status = ps_jpeg_run(ctx, data, size, limits, luma_job, &s);
    if (status == PS_OK)
        *photo = s.photo;
    else
        ps_photo_clear(&s.photo);
    return status;
}
