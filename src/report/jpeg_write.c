/* A cairo RGB24 picture as JPEG bytes. */
#include "report/jpeg_write.h"

#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

typedef struct failing {
    struct jpeg_error_mgr base; /* first, so that the library's pointer is ours too */
    jmp_buf back;
    char message[JMSG_LENGTH_MAX];
} failing;

static void fail(j_common_ptr common) {
    failing *f = (failing *)common->err;
    common->err->format_message(common, f->message);
    longjmp(f->back, 1);
}

static void say_nothing(j_common_ptr common) {
    (void)common;
}

static void put_row(const unsigned char *from, int width, JSAMPLE *row) {
    for (int x = 0; x < width; ++x) {
        uint32_t pixel;
        memcpy(&pixel, from + 4 * (size_t)x, sizeof pixel);
        row[3 * x] = (JSAMPLE)(pixel >> 16 & 255);
        row[3 * x + 1] = (JSAMPLE)(pixel >> 8 & 255);
        row[3 * x + 2] = (JSAMPLE)(pixel & 255);
    }
}

/* All that libjpeg may leave by longjmp: holds no object of its own but what `c` owns. size: width, height, stride. */
static bool compress(struct jpeg_compress_struct *c, failing *f, const unsigned char *px, const int size[3], int quality, JSAMPLE *row,
                     unsigned char **out, unsigned long *length) {
    if (setjmp(f->back)) return false;
    jpeg_create_compress(c);
    jpeg_mem_dest(c, out, length);
    c->image_width = (JDIMENSION)size[0];
    c->image_height = (JDIMENSION)size[1];
    c->input_components = 3;
    c->in_color_space = JCS_RGB;
    jpeg_set_defaults(c);
    jpeg_set_quality(c, quality, TRUE);
    c->dct_method = JDCT_ISLOW; /* the same bytes on every machine */
    /* Coloured lines a pixel or two wide lose their colour when it is stored at half resolution. */
    c->comp_info[0].h_samp_factor = c->comp_info[0].v_samp_factor = 1;
    jpeg_start_compress(c, TRUE);
    while (c->next_scanline < c->image_height) {
        put_row(px + (size_t)size[2] * c->next_scanline, (int)c->image_width, row);
        (void)jpeg_write_scanlines(c, &row, 1);
    }
    jpeg_finish_compress(c);
    return true;
}

ps_status ps_jpeg_write(ps_context *ctx, const unsigned char *px, int width, int height, int stride, int quality, unsigned char **bytes,
                        size_t *size) {
    if (width < 1 || height < 1 || width > 65500 || height > 65500)
        return ps_context_fail(ctx, PS_TOO_LARGE, "a picture of %d x %d cannot be stored as JPEG", width, height);
    JSAMPLE *row = malloc(3 * (size_t)width);
    if (!row) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory while writing a picture");
    failing f;
    struct jpeg_compress_struct c;
    memset(&f, 0, sizeof f);
    memset(&c, 0, sizeof c);
    c.err = jpeg_std_error(&f.base);
    f.base.error_exit = fail;
    f.base.output_message = say_nothing;
    ps_status status = PS_OK;
    unsigned char *out = NULL;
    unsigned long length = 0;
    if (compress(&c, &f, px, (const int[]){width, height, stride}, quality, row, &out, &length)) {
        *bytes = out;
        *size = length;
    } else {
        free(out);
        status = ps_context_fail(ctx, PS_INTERNAL, "cannot store the picture: %s", f.message);
    }
    jpeg_destroy_compress(&c);
    free(row);
    return status;
}
