/* jpeg.h: libjpeg held on a lead: its errors become statuses, its warnings are judged, its appetite is capped.
 * The only setjmp of the library is in jpeg.c. */
#ifndef PINSPAN_PHOTO_JPEG_H
#define PINSPAN_PHOTO_JPEG_H

#include <setjmp.h>
#include <stdio.h>
/* jpeglib.h wants stdio.h first. */
#include <jpeglib.h>

#include "pinspan/photo.h"

typedef struct ps_jpeg {
    struct jpeg_decompress_struct d;
    struct jpeg_error_mgr errors;
    struct jpeg_progress_mgr progress;
    jmp_buf back;
    ps_context *ctx;
    ps_status status;
    ps_photo_limits limits;
    const uint8_t *data;
    size_t size;
    ps_exif exif;
    bool decoding;    /* the header is behind us */
    bool ended_early; /* the file ended before its end marker */
} ps_jpeg;

/* Decodes into what `state` owns. Runs between the header's checks and the final ones; may be left by ps_jpeg_stop
 * or by libjpeg at any call, so that whatever it allocates must be reachable from `state` at once. */
typedef void ps_jpeg_job(ps_jpeg *jpeg, void *state);

/* Opens `data`, checks header and limits, runs the job, checks that the file was whole. On failure the caller frees
 * what `state` holds. */
ps_status ps_jpeg_run(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits, ps_jpeg_job *job, void *state);

/* Leaves the job with a status and a message. Does not return. */
void ps_jpeg_stop(ps_jpeg *jpeg, ps_status status, const char *format, ...) PS_PRINTF(3, 4) __attribute__((noreturn));

/* Memory that goes with the decoder. Does not return on failure. */
uint8_t *ps_jpeg_scratch(ps_jpeg *jpeg, size_t size);

/* One row of the output colour space; CMYK rows come as R, G, B with the ink polarity undone. `inks` is scratch of
 * 4*output_width for CMYK output, else NULL; `row` holds 1 or 3 bytes a pixel. */
void ps_jpeg_read_row(ps_jpeg *jpeg, uint8_t *inks, uint8_t *row);

#endif
