/* decode.h: the decoders on bytes in memory; photo.c checks what comes in and reads files. */
#ifndef PINSPAN_PHOTO_DECODE_H
#define PINSPAN_PHOTO_DECODE_H

#include "pinspan/photo.h"

/* Both leave the output untouched on failure. `data` is a JPEG file, checked by ps_photo_check. */
ps_status ps_luma_decode(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits, ps_photo *photo);
ps_status ps_colour_decode(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits, int max_side,
                           ps_colour *colour);

/* Are the limits sensible, is the size allowed, do the first bytes say JPEG? */
ps_status ps_photo_check(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits);

/* Luma of ITU-R BT.601 in 16-bit fixed point, rounded as libjpeg does. */
static inline uint8_t ps_luma_of(const uint8_t rgb[3]) {
    return (uint8_t)((19595u * rgb[0] + 38470u * rgb[1] + 7471u * rgb[2] + 32768u) >> 16);
}

#endif
