/* A camera profile: whether it can be, and whether a photo is of its camera. Grounds of the limits: docs/camera-profile.md. */
#include "pinspan/profile.h"

#include <math.h>
#include <string.h>

#include "base/linear.h"

enum { N = PS_LENS_COUNT, SIDE_LEAST = 100, SIDE_MOST = 65500 }; /* the photo room's own limit of a side */
/* Focal length over the longer side: from fish-eye to a long tele lens. Centre off the middle, of the longer side. */
static const double focal_least = 0.2, focal_most = 30, centre_most = 0.2;
/* What one term moves at the photo's corner, of its distance from the centre; beyond that no phone's lens can be. */
static const double radial_most = 2, tangential_most = 0.1;
/* Sd: of the focal length relative, of the centre over the longer side, of a radial term as above. The least is far below what
 * any print or phone allows, and keeps a made-up file from fixing the lens. */
static const double sd_least = 1e-6, focal_sd_most = 0.05, centre_sd_most = 0.1;
static const double reach_least = 0.8; /* of the half diagonal: the lens must not fold over within */
static const double symmetric_rel = 1e-6;

static const char *const term_name[N] = {"f_px", "cx", "cy", "k1", "k2", "p1", "p2", "k3"};

static ps_status check_lens(ps_context *ctx, const ps_camera_profile *p) {
    const ps_lens *l = &p->lens;
    const double term[N] = {l->f_px, l->cx, l->cy, l->k1, l->k2, l->p1, l->p2, l->k3};
    double longer = fmax(p->width, p->height), middle[2] = {0.5 * (p->width - 1), 0.5 * (p->height - 1)};
    for (int k = 0; k < N; k++)
        if (!isfinite(term[k])) return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: %s is not a number", term_name[k]);
    if (!(l->f_px >= focal_least * longer && l->f_px <= focal_most * longer))
        return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: a focal length of %g px cannot be in a photo of %d x %d", l->f_px,
                               p->width, p->height);
    if (!(fabs(l->cx - middle[0]) <= centre_most * longer && fabs(l->cy - middle[1]) <= centre_most * longer))
        return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: the centre (%g, %g) is too far from the photo's middle", l->cx, l->cy);
    double corner = 0.5 * hypot(p->width, p->height) / l->f_px, r2 = corner * corner;
    if (!(fabs(l->k1) * r2 <= radial_most && fabs(l->k2) * r2 * r2 <= radial_most && fabs(l->k3) * r2 * r2 * r2 <= radial_most &&
          fabs(l->p1) <= tangential_most && fabs(l->p2) <= tangential_most))
        return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: the lens terms are too large to be of a phone");
    for (int k = 0; k < 4; k++) {
        double at[2] = {middle[0] * (1 + (k % 2 ? reach_least : -reach_least)), middle[1] * (1 + (k / 2 ? reach_least : -reach_least))},
               xy[2];
        if (!ps_lens_unproject(l, at, xy))
            return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: the lens terms fold the photo over near its corner");
    }
    return PS_OK;
}

static ps_status check_covariance(ps_context *ctx, const ps_camera_profile *p) {
    const double *C = p->covariance;
    double scaled[N * N], longer = fmax(p->width, p->height);
    for (int a = 0; a < N; a++)
        if (!isfinite(C[(N + 1) * a]) || !(C[(N + 1) * a] > 0))
            return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: the variance of %s is not above 0", term_name[a]);
    for (int a = 0; a < N; a++)
        for (int b = 0; b < N; b++) {
            double both = sqrt(C[(N + 1) * a]) * sqrt(C[(N + 1) * b]);
            scaled[N * a + b] = C[N * a + b] / both;
            if (!isfinite(scaled[N * a + b]) || !(fabs(C[N * a + b] - C[N * b + a]) <= symmetric_rel * both))
                return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: the covariance is not symmetric");
        }
    if (!ps_cholesky(scaled, N)) return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: the covariance is not positive definite");
    double corner = 0.5 * hypot(p->width, p->height) / p->lens.f_px, r2 = corner * corner;
    const double unit[N] = {p->lens.f_px, longer, longer, 1 / r2, 1 / (r2 * r2), 1, 1, 1 / (r2 * r2 * r2)};
    const double most[N] = {focal_sd_most, centre_sd_most,  centre_sd_most,  radial_most,
                            radial_most,   tangential_most, tangential_most, radial_most};
    for (int a = 0; a < N; a++) {
        double sd = sqrt(C[(N + 1) * a]) / unit[a];
        if (!(sd >= sd_least && sd <= most[a]))
            return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: the variance of %s, %g, cannot be", term_name[a], C[(N + 1) * a]);
    }
    return PS_OK;
}

/* Ends within its array, printable. */
static bool text_fine(const char *text, size_t room) {
    size_t length = 0;
    while (length < room && text[length]) {
        if (text[length] < 0x20 || text[length] > 0x7e) return false;
        length++;
    }
    return length < room;
}

static bool known_length(double mm) {
    return isfinite(mm) && mm >= 0 && mm <= 10000;
}

ps_status ps_camera_profile_check(ps_context *ctx, const ps_camera_profile *p) {
    if (p->width < SIDE_LEAST || p->height < SIDE_LEAST || p->width > SIDE_MOST || p->height > SIDE_MOST)
        return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: no photo is %d x %d", p->width, p->height);
    if (!text_fine(p->make, sizeof p->make) || !text_fine(p->model, sizeof p->model))
        return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: make and model are up to 47 printable ASCII characters");
    if (!known_length(p->focal_mm) || !known_length(p->focal_35mm_mm))
        return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: a focal length in mm is not a length");
    if (p->photos < 0 || p->corners < 0 || p->dof < 0 || !(isfinite(p->rms_px) && p->rms_px >= 0) || !(isfinite(p->chi2) && p->chi2 >= 0))
        return ps_context_fail(ctx, PS_BAD_FILE, "camera profile: a number of the fit is negative");
    ps_status status = check_lens(ctx, p);
    return status == PS_OK ? check_covariance(ctx, p) : status;
}

/* Equal as EXIF fractions go; what one side does not tell is no difference. */
static bool lengths_differ(double a, double b) {
    return a > 0 && b > 0 && fabs(a - b) > 1e-3 * fmax(a, b);
}

static bool texts_differ(const char *a, const char *b) {
    return *a && *b && strcmp(a, b) != 0;
}

static const char *why_not(const ps_camera_profile *p, const ps_photo *photo) {
    const ps_exif *e = &photo->exif;
    if (photo->stored_width < 1 || photo->stored_height < 1) return "it has no size";
    /* An exact resize keeps the shape to the rounding of one side. */
    double other = (double)p->height * photo->stored_width / p->width;
    if (!(fabs(other - photo->stored_height) < 1)) return "it is of another size";
    if (texts_differ(e->make, p->make) || texts_differ(e->model, p->model)) return "it is of another camera";
    if (lengths_differ(e->focal_mm, p->focal_mm) || lengths_differ(e->focal_35mm_mm, p->focal_35mm_mm)) return "it is of another lens";
    if (e->digital_zoom > 1.01) return "it was taken with digital zoom";
    bool named = e->pixel_width > 0 && e->pixel_height > 0;
    if (named && !(e->pixel_width == photo->stored_width && e->pixel_height == photo->stored_height) &&
        !(e->pixel_width == photo->stored_height && e->pixel_height == photo->stored_width))
        return "it was cut or resized after it was taken";
    return NULL;
}

bool ps_camera_profile_for(const ps_camera_profile *p, const ps_photo *photo, ps_lens *lens, double covariance[N * N], const char **why) {
    const char *reason = why_not(p, photo);
    if (reason) {
        if (why) *why = reason;
        return false;
    }
    double s = photo->stored_width == p->width ? 1 : (double)photo->stored_width / p->width;
    *lens = p->lens;
    lens->f_px *= s;
    lens->cx = (p->lens.cx + 0.5) * s - 0.5; /* a pixel's centre is half a pixel from the photo's edge in both */
    lens->cy = (p->lens.cy + 0.5) * s - 0.5;
    for (int a = 0; a < N; a++)
        for (int b = 0; b < N; b++)
            covariance[N * a + b] = p->covariance[N * a + b] * (a <= PS_LENS_CY ? s : 1) * (b <= PS_LENS_CY ? s : 1);
    return true;
}
