/* make_jpeg.h: JPEG files made in memory with libjpeg itself, and a direct decoding to compare with. */
#ifndef PINSPAN_TESTS_MAKE_JPEG_H
#define PINSPAN_TESTS_MAKE_JPEG_H

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

typedef struct make_options {
    int width, height;
    J_COLOR_SPACE in, stored; /* what the pixels are, what the file holds */
    int h, v;                 /* sampling of the first component */
    int quality;
    int progressive, restart_rows, no_adobe;
    int orientation; /* 0: no EXIF */
} make_options;

typedef struct bytes {
    unsigned char *data;
    unsigned long size;
} bytes;

static inline int channels_of(J_COLOR_SPACE space) {
    return space == JCS_GRAYSCALE ? 1 : space == JCS_CMYK ? 4 : 3;
}

/* A smooth picture with a structure of its own in every corner and channel. */
static inline uint8_t *make_pixels(int width, int height, int channels) {
    uint8_t *px = malloc((size_t)width * (size_t)height * (size_t)channels);
    if (!px) abort();
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++)
            for (int c = 0; c < channels; c++)
                px[((size_t)y * (size_t)width + (size_t)x) * (size_t)channels + (size_t)c] =
                    (uint8_t)((x * (3 + c) + y * (5 - c) + (x * y >> (4 + c))) % 256);
    return px;
}

static inline void write_orientation(struct jpeg_compress_struct *c, int orientation) {
    /* "Exif", little-endian TIFF header, one entry: tag 0x0112, SHORT, count 1; then no next directory. */
    unsigned char exif[32] = "Exif\0\0II\x2A\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01";
    exif[24] = (unsigned char)orientation;
    jpeg_write_marker(c, JPEG_APP0 + 1, exif, sizeof exif);
}

static inline bytes make_jpeg(const make_options *o, const uint8_t *px) {
    struct jpeg_compress_struct c;
    struct jpeg_error_mgr errors; /* the standard one exits: a mistake in the test itself */
    bytes out = {NULL, 0};
    c.err = jpeg_std_error(&errors);
    jpeg_create_compress(&c);
    jpeg_mem_dest(&c, &out.data, &out.size);
    c.image_width = (JDIMENSION)o->width;
    c.image_height = (JDIMENSION)o->height;
    c.in_color_space = o->in;
    c.input_components = channels_of(o->in);
    jpeg_set_defaults(&c);
    jpeg_set_colorspace(&c, o->stored);
    jpeg_set_quality(&c, o->quality ? o->quality : 90, TRUE);
    c.dct_method = JDCT_ISLOW;
    if (o->h) c.comp_info[0].h_samp_factor = o->h;
    if (o->v) c.comp_info[0].v_samp_factor = o->v;
    if (o->progressive) jpeg_simple_progression(&c);
    c.restart_in_rows = o->restart_rows;
    if (o->no_adobe) c.write_Adobe_marker = FALSE;
    jpeg_start_compress(&c, TRUE);
    if (o->orientation) write_orientation(&c, o->orientation);
    while (c.next_scanline < c.image_height) {
        size_t row = (size_t)o->width * (size_t)channels_of(o->in);
        JSAMPROW rows[1] = {(JSAMPROW)(uintptr_t)(px + c.next_scanline * row)};
        (void)jpeg_write_scanlines(&c, rows, 1);
    }
    jpeg_finish_compress(&c);
    jpeg_destroy_compress(&c);
    return out;
}

/* The stored picture as libjpeg gives it in `space`, shrunk to `eighths`/8, no turning, no limits. The caller frees. */
static inline uint8_t *plain_shrunk(const unsigned char *data, unsigned long size, J_COLOR_SPACE space, unsigned eighths, int *width,
                                    int *height) {
    struct jpeg_decompress_struct d;
    struct jpeg_error_mgr errors;
    d.err = jpeg_std_error(&errors);
    jpeg_create_decompress(&d);
    jpeg_mem_src(&d, data, size);
    (void)jpeg_read_header(&d, TRUE);
    d.out_color_space = space;
    d.dct_method = JDCT_ISLOW;
    d.scale_num = eighths;
    d.scale_denom = 8;
    (void)jpeg_start_decompress(&d);
    size_t row = (size_t)d.output_width * (size_t)d.output_components;
    uint8_t *px = malloc(row * d.output_height);
    if (!px) abort();
    while (d.output_scanline < d.output_height) {
        JSAMPROW rows[1] = {px + d.output_scanline * row};
        (void)jpeg_read_scanlines(&d, rows, 1);
    }
    *width = (int)d.output_width;
    *height = (int)d.output_height;
    (void)jpeg_finish_decompress(&d);
    jpeg_destroy_decompress(&d);
    return px;
}

static inline uint8_t *plain_decode(const unsigned char *data, unsigned long size, J_COLOR_SPACE space, int *width, int *height) {
    return plain_shrunk(data, size, space, 8, width, height);
}

/* Offset of the n-th marker of that code (0xDA: start of scan), n from 0, or of the last one for n = -1; 0 if none.
 * In entropy-coded data 0xFF is followed by 0 or a restart marker, so that a plain search finds scans and the end. */
static inline unsigned long find_marker(bytes f, unsigned char code, int n) {
    unsigned long last = 0;
    for (unsigned long i = 2; i + 1 < f.size; i++)
        if (f.data[i] == 0xFF && f.data[i + 1] == code) {
            last = i;
            if (n-- == 0) return i;
        }
    return n < 0 ? last : 0;
}

/* The file with `count` bytes of `add` put in at `at`. */
static inline bytes insert_bytes(bytes f, unsigned long at, const unsigned char *add, unsigned long count) {
    bytes out = {malloc(f.size + count), f.size + count};
    if (!out.data) abort();
    memcpy(out.data, f.data, at);
    memcpy(out.data + at, add, count);
    memcpy(out.data + at + count, f.data + at, f.size - at);
    return out;
}

static inline bytes read_file(const char *path) {
    bytes out = {NULL, 0};
    FILE *f = fopen(path, "rb");
    if (!f) return out;
    (void)fseek(f, 0, SEEK_END);
    long size = ftell(f);
    rewind(f);
    out.data = malloc(size > 0 ? (size_t)size : 1);
    if (out.data && size > 0) out.size = fread(out.data, 1, (size_t)size, f);
    (void)fclose(f);
    return out;
}

#endif
