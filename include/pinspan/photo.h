/* photo.h: a JPEG file becomes an upright luma image and what its EXIF says. */
#ifndef PINSPAN_PHOTO_H
#define PINSPAN_PHOTO_H

#include "pinspan/base.h"

#ifdef __cplusplus
extern "C" {
#endif

/* 8-bit luma as the file has it (gamma encoded, BT.601), upright; row y starts at px + y*stride. */
typedef struct ps_luma {
    int width, height;
    size_t stride;
    uint8_t *px; /* owned by whoever holds the struct */
} ps_luma;

/* How blurred a photo is: sd of the blur, in linear light, a pixel's own aperture included, along the direction in which it is
 * longest and square to that. A shaken photo has one much longer than the other, one out of focus has both alike. */
typedef struct ps_blur {
    int edges; /* pieces of edge that it rests on; 0: not known */
    double major_px, minor_px;
    double angle_deg; /* of the longest, from +x toward +y, -90 to 90 */
} ps_blur;

/* Interleaved 8-bit R,G,B; upright; row y starts at px + 3*width*y. */
typedef struct ps_colour {
    int width, height;
    double scale; /* this picture's width / the full upright width */
    uint8_t *px;
} ps_colour;

typedef struct ps_exif {
    bool present;
    int orientation;                              /* 1..8; 1 when absent or out of range */
    double focal_35mm_mm;                         /* FocalLengthIn35mmFilm as written, 0 when absent or 0 (EXIF's 'unknown') */
    double focal_mm;                              /* FocalLength, 0 when absent */
    double digital_zoom;                          /* DigitalZoomRatio, 0 when absent or 0 */
    char make[48], model[48], lens[64], date[24]; /* printable ASCII, "" when absent; only group photos */
    int pixel_width, pixel_height;                /* PixelX/YDimension, 0 when absent */
} ps_exif;

typedef struct ps_photo_limits {
    int64_t max_pixels; /* default 120e6 */
    int max_scans;      /* progressive files, default 100 */
    int64_t max_memory; /* bytes for the decoder, default 1 GiB */
    int64_t max_file;   /* bytes, default 200e6 */
} ps_photo_limits;
PS_API ps_photo_limits ps_photo_limits_default(void);

typedef struct ps_photo {
    int stored_width, stored_height; /* as in the file */
    ps_luma luma;                    /* upright */
    ps_exif exif;
} ps_photo;

/* Reads a JPEG into upright luma. `limits` NULL means the defaults. Errors: PS_IO, PS_BAD_FILE (truncated, corrupt),
 * PS_TOO_LARGE, PS_UNSUPPORTED, PS_NO_MEMORY. The message names the cause, not the path. */
PS_API ps_status ps_photo_read(ps_context *ctx, const char *path, const ps_photo_limits *limits, ps_photo *photo);
PS_API ps_status ps_photo_decode(ps_context *ctx, const uint8_t *data, size_t size, const ps_photo_limits *limits, ps_photo *photo);
PS_API void ps_photo_clear(ps_photo *photo);

/* Reads the photo again in colour, upright, shrunk so that its longer side is at most max_side (0: full size). */
PS_API ps_status ps_photo_read_colour(ps_context *ctx, const char *path, const ps_photo_limits *limits, int max_side, ps_colour *colour);
PS_API void ps_colour_clear(ps_colour *colour);

/* Inverse sRGB transfer (IEC 61966-2-1): 256 values, 0..1. Edges are located in linear light. */
PS_API const float *ps_photo_linear_table(void);

/* Upright pixel <-> stored pixel for EXIF orientation 1..8; sizes are the stored ones; exact, the centre of the
 * top-left pixel is (0, 0) in both. */
PS_API void ps_photo_upright_to_stored(int orientation, int stored_width, int stored_height, const double upright[2], double stored[2]);
PS_API void ps_photo_stored_to_upright(int orientation, int stored_width, int stored_height, const double stored[2], double upright[2]);

/* Blur from the photo's own sharpest edges, for photos in which nothing of known shape is found. False, with edges 0, where it has
 * too few edges of good contrast to tell, or memory is short. */
PS_API bool ps_photo_blur(const ps_luma *luma, ps_blur *out);

#ifdef __cplusplus
}
#endif
#endif
