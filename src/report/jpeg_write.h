/* jpeg_write.h: a cairo RGB24 picture as JPEG bytes. Private to the room. */
#ifndef PINSPAN_REPORT_JPEG_WRITE_H
#define PINSPAN_REPORT_JPEG_WRITE_H

#include "pinspan/base.h"

/* `px`: 32 bits a pixel, 0x00RRGGBB in the machine's byte order, rows `stride` bytes apart. *bytes is freed by the caller. */
ps_status ps_jpeg_write(ps_context *ctx, const unsigned char *px, int width, int height, int stride, int quality, unsigned char **bytes,
                        size_t *size);

#endif
