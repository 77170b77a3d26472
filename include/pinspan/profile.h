/* profile.h: a phone's lens, calibrated once from photos of a plate, for use with later photos of that phone.
 * The file and the numbers' grounds: docs/camera-profile.md. */
#ifndef PINSPAN_PROFILE_H
#define PINSPAN_PROFILE_H

#include "pinspan/base.h"
#include "pinspan/camera.h"
#include "pinspan/photo.h"

#ifdef __cplusplus
extern "C" {
#endif

/* The lens belongs to the stored (sensor) frame and is the mean over the photos: focus and stabilisation move focal length
 * and centre from photo to photo on top of it (docs/model.md). */
typedef struct ps_camera_profile {
    int width, height; /* stored */
    ps_lens lens;
    double covariance[PS_LENS_COUNT * PS_LENS_COUNT]; /* row-major, order of PS_LENS_*, units of ps_lens */
    /* From EXIF; only compared, never looked up. "" and 0 when absent. */
    char make[48], model[48];
    double focal_mm, focal_35mm_mm;
    /* Of the adjustment; 0 when the file does not tell. */
    int photos, corners;
    double rms_px; /* per corner and axis */
    double chi2;
    int dof;
} ps_camera_profile;

/* PS_BAD_FILE with the first thing that cannot be: sizes, a lens that folds over within its photo, a covariance that is not
 * positive definite, sds beyond any calibration. */
PS_API ps_status ps_camera_profile_check(ps_context *ctx, const ps_camera_profile *profile);

/* JSON, schema pinspan.camera/1. Unknown keys are ignored. Parsing checks as ps_camera_profile_check does.
 * PS_IO when the file cannot be read, PS_TOO_LARGE, PS_BAD_FILE; the message names the cause, not the path. */
PS_API ps_status ps_camera_profile_parse(ps_context *ctx, const char *text, size_t size, ps_camera_profile *profile);
PS_API ps_status ps_camera_profile_read(ps_context *ctx, const char *path, ps_camera_profile *profile);
/* Caller frees *text. PS_NO_MEMORY, or what the check says. */
PS_API ps_status ps_camera_profile_json(ps_context *ctx, const ps_camera_profile *profile, char **text);

/* Whether a photo (its stored size and EXIF are read) is of this camera, and if so its lens and covariance, scaled where the
 * photo is an exact resize. A photo without EXIF is taken at its size. Neither output is written when it is not; then *why (when
 * not NULL) is a plain half sentence ("it is of another size"), static. */
PS_API bool ps_camera_profile_for(const ps_camera_profile *profile, const ps_photo *photo, ps_lens *lens,
                                  double covariance[PS_LENS_COUNT * PS_LENS_COUNT], const char **why);

/* What became of one photo of a calibration. */
typedef struct ps_calibration_photo {
    bool used;
    int corners;
    double rms_px;
    char problem[256]; /* a plain sentence, "" when used */
} ps_calibration_photo;

/* Calibrates one camera from at least four photos of the printed kit. Of `options` it reads the print checks, limits and threads.
 * `photo`: NULL, or `count` entries, written in every case. Errors: PS_IO when no photo could be read; PS_BAD_ARGUMENT (the photos
 * are not of one camera, or too many); PS_NOT_FOUND when they do not tell the lens well enough, with the reason. */
struct ps_measure_options;
PS_API ps_status ps_camera_calibrate(ps_context *ctx, const struct ps_measure_options *options, const char *const *files, int count,
                                     ps_camera_profile *profile, ps_calibration_photo *photo);

#ifdef __cplusplus
}
#endif
#endif
