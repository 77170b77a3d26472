/* jpeg.c: error manager, warnings, limits, and what counts as a whole file (docs/photo.md). */
#include "photo/jpeg.h"

#include <limits.h>
#include <stdarg.h>
#include <string.h>

#include <jerror.h>

#include "photo/exif.h"

static ps_jpeg *of(j_common_ptr d) {
    return d->client_data;
}

void ps_jpeg_stop(ps_jpeg *jpeg, ps_status status, const char *format, ...) {
    char line[JMSG_LENGTH_MAX + 64];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(line, sizeof line, format, arguments);
    va_end(arguments);
    jpeg->status = ps_context_fail(jpeg->ctx, status, "%s", line);
    longjmp(jpeg->back, 1);
}

static ps_status status_of(int code) {
    switch (code) {
    case JERR_OUT_OF_MEMORY:
        return PS_NO_MEMORY;
    case JERR_IMAGE_TOO_BIG:
    case JERR_WIDTH_OVERFLOW:
    case JERR_NO_BACKING_STORE:
        return PS_TOO_LARGE; /* the last one: max_memory_to_use would be exceeded */
    case JERR_ARITH_NOTIMPL:
    case JERR_BAD_PRECISION:
    case JERR_CCIR601_NOTIMPL:
    case JERR_CONVERSION_NOTIMPL:
    case JERR_FRACT_SAMPLE_NOTIMPL:
    case JERR_NOT_COMPILED:
    case JERR_SOF_UNSUPPORTED:
        return PS_UNSUPPORTED;
    default:
        return PS_BAD_FILE;
    }
}

static void on_error(j_common_ptr d) {
    ps_jpeg *jpeg = of(d);
    char why[JMSG_LENGTH_MAX];
    ps_status status = status_of(d->err->msg_code);
    d->err->format_message(d, why);
    switch (status) {
    case PS_NO_MEMORY:
        ps_jpeg_stop(jpeg, status, "out of memory while decoding the photo");
    case PS_TOO_LARGE:
        ps_jpeg_stop(jpeg, status, "the photo needs more memory or is larger than allowed");
    case PS_UNSUPPORTED:
        ps_jpeg_stop(jpeg, status, "this kind of JPEG is not supported (%s)", why);
    default:
        ps_jpeg_stop(jpeg, status, "damaged JPEG (%s)", why);
    }
}

/* Bytes left over within the picture's data are harmless only if they are filling, which encoders may add; anything
 * else means that the decoder lost its place. Between the header's segments they touch no pixel. */
static bool only_filling(const ps_jpeg *jpeg) {
    const uint8_t *end = jpeg->d.src->next_input_byte;
    int count = jpeg->errors.msg_parm.i[0];
    if (!jpeg->decoding) return true;
    if (count < 0 || end < jpeg->data || end > jpeg->data + jpeg->size || end - jpeg->data < count) return false;
    for (const uint8_t *p = end - count; p < end; p++)
        if (*p != 0 && *p != 0xFF) return false;
    return true;
}

/* Level -1 is a warning: libjpeg would go on with invented data. Higher levels are traces. */
static void on_message(j_common_ptr d, int level) {
    ps_jpeg *jpeg = of(d);
    char why[JMSG_LENGTH_MAX];
    if (level >= 0) return;
    switch (d->err->msg_code) {
    case JWRN_ADOBE_XFORM:
    case JWRN_JFIF_MAJOR:
    case JWRN_NOT_SEQUENTIAL:
        return;
    case JWRN_EXTRANEOUS_DATA:
        if (only_filling(jpeg)) return;
        break;
    case JWRN_JPEG_EOF:
        /* Judged at the end: the data may all have been there and only the end marker lost. */
        jpeg->ended_early = true;
        if (jpeg->decoding) return;
        ps_jpeg_stop(jpeg, PS_BAD_FILE, "truncated JPEG: the file ends in its header");
    case JWRN_HIT_MARKER:
        if (jpeg->ended_early) ps_jpeg_stop(jpeg, PS_BAD_FILE, "truncated JPEG: the picture's data ends early");
        break;
    default:
        break;
    }
    d->err->format_message(d, why);
    ps_jpeg_stop(jpeg, PS_BAD_FILE, "damaged JPEG (%s)", why);
}

static void no_output(j_common_ptr d) {
    (void)d;
}

/* A small file can hold thousands of scans, each of which costs a pass over the whole picture. */
static void on_progress(j_common_ptr d) {
    ps_jpeg *jpeg = of(d);
    if (jpeg->d.input_scan_number > jpeg->limits.max_scans)
        ps_jpeg_stop(jpeg, PS_TOO_LARGE, "the JPEG has more than %d scans", jpeg->limits.max_scans);
}

static void open_decoder(ps_jpeg *jpeg) {
    jpeg_create_decompress(&jpeg->d);
    jpeg->progress.progress_monitor = on_progress;
    jpeg->d.progress = &jpeg->progress;
    jpeg->d.mem->max_memory_to_use = jpeg->limits.max_memory < LONG_MAX ? (long)jpeg->limits.max_memory : LONG_MAX;
    jpeg_save_markers(&jpeg->d, JPEG_APP0 + 1, 0xFFFF);
    jpeg_mem_src(&jpeg->d, jpeg->data, (unsigned long)jpeg->size);
}

/* All from the header, before anything of the picture's size is allocated. */
static void check_header(ps_jpeg *jpeg) {
    const struct jpeg_decompress_struct *d = &jpeg->d;
    const ps_photo_limits *limits = &jpeg->limits;
    int64_t pixels = (int64_t)d->image_width * (int64_t)d->image_height;
    if (d->image_width > JPEG_MAX_DIMENSION || d->image_height > JPEG_MAX_DIMENSION || pixels > limits->max_pixels)
        ps_jpeg_stop(jpeg, PS_TOO_LARGE, "the photo has %u x %u pixels, more than the %.0f million allowed", d->image_width,
                     d->image_height, (double)limits->max_pixels / 1e6);
    if (d->data_precision != 8 || d->jpeg_color_space == JCS_UNKNOWN)
        ps_jpeg_stop(jpeg, PS_UNSUPPORTED, "this kind of JPEG is not supported (%d components of %d bits)", d->num_components,
                     d->data_precision);
    /* No camera writes it, and its decoder makes up what is missing without a word: a cut file would pass. */
    if (d->arith_code) ps_jpeg_stop(jpeg, PS_UNSUPPORTED, "this kind of JPEG is not supported (arithmetic coding)");
    /* A Huffman code has at least one bit and each block of the first component at least one code. */
    int64_t blocks = (int64_t)d->comp_info[0].width_in_blocks * (int64_t)d->comp_info[0].height_in_blocks;
    if (blocks / 8 > (int64_t)jpeg->size)
        ps_jpeg_stop(jpeg, PS_BAD_FILE, "truncated JPEG: %zu bytes cannot hold %u x %u pixels", jpeg->size, d->image_width,
                     d->image_height);
}

static void read_exif(ps_jpeg *jpeg) {
    jpeg->exif = ps_exif_none();
    for (jpeg_saved_marker_ptr m = jpeg->d.marker_list; m; m = m->next) {
        if (m->marker != JPEG_APP0 + 1 || !ps_exif_is(m->data, m->data_length)) continue;
        (void)ps_exif_read(m->data, m->data_length, &jpeg->exif);
        return;
    }
}

/* After the last row, before the decoder forgets: every component came, with all bits of every coefficient. */
static void check_whole(ps_jpeg *jpeg) {
    const struct jpeg_decompress_struct *d = &jpeg->d;
    for (int c = 0; c < d->num_components; c++) {
        bool whole = d->comp_info[c].quant_table != NULL; /* libjpeg latches it at the component's first scan */
        for (int k = 0; whole && d->coef_bits && k < DCTSIZE2; k++) whole = d->coef_bits[c][k] == 0;
        if (!whole) ps_jpeg_stop(jpeg, PS_BAD_FILE, "truncated JPEG: some of its scans are missing");
    }
}

static void decode(ps_jpeg *jpeg, ps_jpeg_job *job, void *state) {
    open_decoder(jpeg);
    (void)jpeg_read_header(&jpeg->d, TRUE);
    check_header(jpeg);
    read_exif(jpeg);
    jpeg->decoding = true;
    jpeg->d.dct_method = JDCT_ISLOW;    /* the same pixels on every machine */
    jpeg->d.do_block_smoothing = FALSE; /* no invented coefficients in what is measured */
    job(jpeg, state);
    bool several = jpeg_has_multiple_scans(&jpeg->d);
    check_whole(jpeg);
    (void)jpeg_finish_decompress(&jpeg->d); /* on to the end marker */
    if (jpeg->ended_early && several) ps_jpeg_stop(jpeg, PS_BAD_FILE, "truncated JPEG: the file ends before its last scan is closed");
}

/* Apart from ps_jpeg_run so that no local of the function that calls setjmp changes after it (C11 7.13.2.1). */
static void guarded(ps_jpeg *jpeg, ps_jpeg_job *job, void *state) {
    if (setjmp(jpeg->back) == 0) decode(jpeg, job, state);
    jpeg_destroy_decompress(&jpeg->d);
}

ps_status ps_jpeg_run(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits, ps_jpeg_job *job, void *state) {
    ps_jpeg jpeg;
    memset(&jpeg, 0, sizeof jpeg);
    jpeg.ctx = ctx;
    jpeg.status = PS_OK;
    jpeg.limits = *limits;
    jpeg.data = data;
    jpeg.size = size;
    jpeg.d.err = jpeg_std_error(&jpeg.errors);
    jpeg.errors.error_exit = on_error;
    jpeg.errors.emit_message = on_message;
    jpeg.errors.output_message = no_output;
    jpeg.d.client_data = &jpeg; /* jpeg_create_decompress keeps it and may already fail */
    guarded(&jpeg, job, state);
    return jpeg.status;
}

uint8_t *ps_jpeg_scratch(ps_jpeg *jpeg, size_t size) {
    return jpeg->d.mem->alloc_large((j_common_ptr)&jpeg->d, JPOOL_IMAGE, size);
}

/* Adobe writes inks turned round, 255 for none (libjpeg.txt, 'Special color spaces'). */
static void inks_to_rgb(const uint8_t *inks, int width, bool turned, uint8_t *rgb) {
    const unsigned turn = turned ? 0 : 255;
    for (int x = 0; x < width; x++) {
        unsigned k = inks[4 * x + 3] ^ turn;
        for (int c = 0; c < 3; c++) rgb[3 * x + c] = (uint8_t)(((inks[4 * x + c] ^ turn) * k + 127) / 255);
    }
}

void ps_jpeg_read_row(ps_jpeg *jpeg, uint8_t *inks, uint8_t *row) {
    JSAMPROW rows[1] = {inks ? inks : row};
    if (jpeg_read_scanlines(&jpeg->d, rows, 1) != 1) ps_jpeg_stop(jpeg, PS_INTERNAL, "the decoder gave no row");
    if (inks) inks_to_rgb(inks, (int)jpeg->d.output_width, jpeg->d.saw_Adobe_marker, row);
}
