/* colour.c: a picture to look at and draw on, never to measure: libjpeg shrinks by eighths while decoding, an exact
 * area average does the rest, row by row. */
#include <stdlib.h>
#include <string.h>

#include "photo/decode.h"
#include "photo/jpeg.h"
#include "photo/orient.h"

typedef struct colour_state {
    int max_side;
    ps_colour colour;
} colour_state;

/* The area average from libjpeg's picture, `eighths` eighths of the stored size, to width x height. That picture's sides are
 * rounded up, and its last column and row reach beyond the photo: what they stand for is eighths/8 of the photo, neither
 * more nor less, so that places keep their places. In units of 1/(8*width) of the photo's `eighths` eighths, input pixel i
 * covers [8*i*width, 8*(i + 1)*width) and output pixel o covers [o*extent_x, (o + 1)*extent_x): whole numbers, so that the
 * mean is exact. */
typedef struct shrink {
    int in_width, in_height, width, height;
    int64_t extent_x, extent_y; /* stored side * eighths */
    uint32_t *line;             /* 3*width: one input row, summed over x */
    uint64_t *sum;              /* 3*width: the output row under way */
} shrink;

/* How much of input pixel i falls into output pixel *o and how much into the one after. */
typedef struct share {
    uint32_t here, next;
    bool closes; /* the output pixel is complete */
} share;

static share share_of(int64_t i, int64_t o, int64_t size, int64_t extent) {
    int64_t from = 8 * i * size, to = from + 8 * size, edge = (o + 1) * extent;
    if (to > size * extent) to = size * extent;
    return (share){.here = (uint32_t)((to < edge ? to : edge) - from), .next = (uint32_t)(to > edge ? to - edge : 0), .closes = to >= edge};
}

static void shrink_line(const shrink *k, const uint8_t *rgb) {
    memset(k->line, 0, 3 * (size_t)k->width * sizeof *k->line);
    for (int64_t i = 0, o = 0; i < k->in_width; i++) {
        share s = share_of(i, o, k->width, k->extent_x); /* an input pixel is no wider than an output pixel */
        for (int c = 0; c < 3; c++) k->line[3 * o + c] += s.here * rgb[3 * i + c];
        if (s.closes) o++;
        if (s.next)
            for (int c = 0; c < 3; c++) k->line[3 * o + c] += s.next * rgb[3 * i + c];
    }
}

static void add_line(const shrink *k, uint64_t weight) {
    for (int i = 0; i < 3 * k->width; i++) k->sum[i] += weight * k->line[i];
}

/* The finished output row goes upright into the picture; the sums start anew. */
static void put_row(const shrink *k, const ps_turn *turn, int y, uint8_t *px) {
    uint64_t area = (uint64_t)k->extent_x * (uint64_t)k->extent_y;
    for (int x = 0; x < k->width; x++) {
        uint8_t *to = px + 3 * (turn->first + x * turn->step_x + y * turn->step_y);
        for (int c = 0; c < 3; c++) to[c] = (uint8_t)((k->sum[3 * x + c] + area / 2) / area);
    }
    memset(k->sum, 0, 3 * (size_t)k->width * sizeof *k->sum);
}

/* The longer side becomes `most`; nothing grows. */
static void fit(int width, int height, int most, int *to_width, int *to_height) {
    int longer = width > height ? width : height;
    *to_width = width;
    *to_height = height;
    if (most <= 0 || longer <= most) return;
    *to_width = (int)(((int64_t)width * most + longer / 2) / longer);
    *to_height = (int)(((int64_t)height * most + longer / 2) / longer);
    if (*to_width < 1) *to_width = 1;
    if (*to_height < 1) *to_height = 1;
}

/* The smallest number of eighths that leaves both sides at least as long as wanted. */
static unsigned eighths(unsigned in_width, unsigned in_height, int width, int height) {
    unsigned n = 1;
    while (n < 8 && ((uint64_t)in_width * n / 8 < (uint64_t)width || (uint64_t)in_height * n / 8 < (uint64_t)height)) n++;
    return n;
}

static void allocate(ps_jpeg *jpeg, colour_state *s, const ps_turn *turn) {
    size_t bytes = 3 * (size_t)turn->width * (size_t)turn->height;
    if (bytes > (uint64_t)jpeg->limits.max_memory) ps_jpeg_stop(jpeg, PS_TOO_LARGE, "the picture needs more memory than allowed");
    int full_width = (int)(turn->swapped ? jpeg->d.image_height : jpeg->d.image_width);
    s->colour = (ps_colour){.width = turn->width, .height = turn->height, .scale = (double)turn->width / full_width, .px = malloc(bytes)};
    if (!s->colour.px) ps_jpeg_stop(jpeg, PS_NO_MEMORY, "out of memory for the picture's pixels");
}

static void read_rows(ps_jpeg *jpeg, const shrink *k, const ps_turn *turn, uint8_t *px) {
    size_t in = (size_t)k->in_width;
    uint8_t *inks = jpeg->d.out_color_space == JCS_CMYK ? ps_jpeg_scratch(jpeg, 4 * in) : NULL;
    uint8_t *rgb = ps_jpeg_scratch(jpeg, 3 * in);
    for (int64_t i = 0, o = 0; i < k->in_height; i++) {
        share part = share_of(i, o, k->height, k->extent_y);
        ps_jpeg_read_row(jpeg, inks, rgb);
        shrink_line(k, rgb);
        add_line(k, part.here);
        if (!part.closes) continue;
        put_row(k, turn, (int)o++, px);
        if (part.next) add_line(k, part.next);
    }
}

static void colour_job(ps_jpeg *jpeg, void *state) {
    colour_state *s = state;
    struct jpeg_decompress_struct *d = &jpeg->d;
    bool four = d->jpeg_color_space == JCS_CMYK || d->jpeg_color_space == JCS_YCCK;
    shrink k = {0};
    fit((int)d->image_width, (int)d->image_height, s->max_side, &k.width, &k.height);
    d->out_color_space = four ? JCS_CMYK : JCS_RGB;
    d->scale_num = eighths(d->image_width, d->image_height, k.width, k.height);
    d->scale_denom = 8;
    (void)jpeg_start_decompress(d);
    k.in_width = (int)d->output_width;
    k.in_height = (int)d->output_height;
    k.extent_x = (int64_t)d->image_width * d->scale_num;
    k.extent_y = (int64_t)d->image_height * d->scale_num;
    k.line = (uint32_t *)(void *)ps_jpeg_scratch(jpeg, 3 * (size_t)k.width * sizeof *k.line);
    k.sum = (uint64_t *)(void *)ps_jpeg_scratch(jpeg, 3 * (size_t)k.width * sizeof *k.sum);
    memset(k.sum, 0, 3 * (size_t)k.width * sizeof *k.sum);
    ps_turn turn = ps_turn_of(jpeg->exif.orientation, k.width, k.height);
    allocate(jpeg, s, &turn);
    read_rows(jpeg, &k, &turn, s->colour.px);
}

ps_status ps_colour_decode(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits, int max_side,
                           ps_colour *colour) {
    colour_state s = {.max_side = max_side};
    ps_status status = ps_jpeg_run(ctx, data, size, limits, colour_job, &s);
    if (status == PS_OK)
        *colour = s.colour;
    else
        ps_colour_clear(&s.colour);
    return status;
}
