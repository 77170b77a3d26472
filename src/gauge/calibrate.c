/* A phone's lens from photos of the printed kit: the first stages of a measurement, corners only. What a set must have and why:
 * docs/camera-profile.md. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "gauge/job.h"

enum { PHOTOS_LEAST = 4, GRID = 6 };
static const double focal_sd_most_rel = 0.005; /* no better than the change from photo to photo: such a profile helps nobody */
static const double covered_least = 0.5;       /* of the frame's GRID x GRID fields, with a corner in some photo */
static const double fit_ratio_most = 2;
static const double loosened = 3; /* terms of this very lens are asked for: the class' priors only keep them finite */

/* ---- photos ---- */

static void sight_photo(ps_context *ctx, ps_job *job, int i) {
    ps_job_photo *p = &job->photo[i];
    p->status = ps_photo_read(ctx, job->files[i], &job->options->limits, &p->photo);
    if (p->status != PS_OK) return;
    p->status = ps_target_sight(ctx, &p->photo.luma, &p->sightings);
}

static ps_status check_readable(ps_context *ctx, const ps_job *job) {
    for (int i = 0; i < job->count; i++)
        if (job->photo[i].photo.luma.px) return PS_OK;
    return ps_context_fail(ctx, PS_IO, "no photo could be read");
}

static ps_status check_one_camera(ps_context *ctx, const ps_job *job) {
    int first = -1;
    for (int i = 0; i < job->count; i++) {
        const ps_photo *photo = &job->photo[i].photo;
        if (!photo->luma.px) continue;
        if (first < 0) first = i;
        const ps_camera_profile size = {.width = photo->stored_width, .height = photo->stored_height};
        const char *why = NULL;
        ps_lens lens;
        double covariance[PS_LENS_COUNT * PS_LENS_COUNT];
        if (!ps_camera_profile_for(&size, photo, &lens, covariance, &why))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "%s cannot serve: %s", job->files[i], why);
        if (!ps_job_same_camera(&job->photo[first].photo, photo))
            return ps_context_fail(
                ctx, PS_BAD_ARGUMENT,
                "%s: not of the same camera as %s (size, model, focal length and zoom must agree); calibrate one at a time", job->files[i],
                job->files[first]);
    }
    return PS_OK;
}

/* ---- what the photos tell ---- */

static ps_status solve(ps_context *ctx, ps_job *job) {
    ps_status status = ps_job_cameras(ctx, job);
    if (status == PS_SINGULAR || status == PS_NO_CONVERGENCE || status == PS_NOT_FOUND)
        return ps_context_fail(
            ctx, PS_NOT_FOUND,
            "no lens could be found that fits the photos: take them at a slant, 30 to 45 degrees from different sides, of a "
            "sheet that does not move or bend");
    if (status != PS_OK) return status;
    ps_adjust_group *g = &job->group[0];
    g->sigma_k1 *= loosened;
    g->sigma_k2 *= loosened;
    g->sigma_k3 *= loosened;
    g->sigma_p *= loosened;
    return ps_job_solve(ctx, job);
}

/* Part of the stored frame's fields that some photo has a corner in. */
static double covered(const ps_job *job) {
    bool hit[GRID][GRID] = {{false}};
    int count = 0;
    for (int i = 0; i < job->problem.corner_count; i++) {
        const ps_adjust_corner *c = &job->corner[i];
        const ps_adjust_photo *photo = &job->adjust_photo[c->photo];
        double upright[2] = {c->x_px, c->y_px}, stored[2];
        ps_photo_upright_to_stored(photo->orientation, photo->stored_width, photo->stored_height, upright, stored);
        int column = (int)floor((stored[0] + 0.5) / photo->stored_width * GRID),
            row = (int)floor((stored[1] + 0.5) / photo->stored_height * GRID);
        if (column < 0 || row < 0 || column >= GRID || row >= GRID || hit[row][column]) continue;
        hit[row][column] = true;
        count++;
    }
    return (double)count / (GRID * GRID);
}

static double photo_rms(const ps_job *job, int adjust_photo, int *corners) {
    double sum = 0;
    int n = 0;
    for (int i = 0; i < job->problem.corner_count; i++) {
        if (adjust_photo >= 0 && job->corner[i].photo != adjust_photo) continue;
        sum += pow(ps_adjust_corner_residual(job->solution, i, 0), 2) + pow(ps_adjust_corner_residual(job->solution, i, 1), 2);
        n++;
    }
    *corners = n;
    return n ? sqrt(sum / (2.0 * n)) : 0;
}

static const char *worst_file(const ps_job *job) {
    double most = -1;
    const char *file = "";
    for (int k = 0; k < job->problem.photo_count; k++) {
        int n;
        double rms = photo_rms(job, k, &n);
        if (rms > most) most = rms, file = job->files[job->photo_of[k]];
    }
    return file;
}

static ps_status fill(ps_context *ctx, const ps_job *job, ps_camera_profile *p) {
    const ps_photo *photo = &job->photo[job->photo_of[0]].photo;
    memset(p, 0, sizeof *p);
    p->width = photo->stored_width;
    p->height = photo->stored_height;
    memcpy(p->make, photo->exif.make, sizeof p->make);
    memcpy(p->model, photo->exif.model, sizeof p->model);
    p->focal_mm = photo->exif.focal_mm;
    p->focal_35mm_mm = ps_job_focal_cannot_be(photo) ? 0 : photo->exif.focal_35mm_mm;
    p->photos = job->problem.photo_count;
    p->rms_px = photo_rms(job, -1, &p->corners);
    ps_adjust_fit(job->solution, &p->chi2, &p->dof);
    return ps_adjust_lens(ctx, job->solution, 0, &p->lens, p->covariance);
}

/* ---- sets that are too weak ---- */

static ps_status check_count(ps_context *ctx, const ps_job *job) {
    int usable = 0;
    for (int i = 0; i < job->count; i++) usable += job->photo[i].status == PS_OK && job->photo[i].sightings.count > 0;
    if (job->solution) usable = job->problem.photo_count; /* those that were connected */
    if (usable >= PHOTOS_LEAST) return PS_OK;
    return ps_context_fail(ctx, PS_NOT_FOUND,
                           "only %d of the photos can be used, at least %d are needed: the whole sheet, sharp, from different directions",
                           usable, PHOTOS_LEAST);
}

static ps_status check_strength(ps_context *ctx, const ps_job *job, const ps_camera_profile *p) {
    double part = covered(job), sd = sqrt(p->covariance[0]) / p->lens.f_px, ratio = p->dof > 0 ? p->chi2 / p->dof : INFINITY;
    if (!(ratio <= fit_ratio_most))
        return ps_context_fail(
            ctx, PS_NOT_FOUND,
            "the photos do not fit one lens and one flat sheet (corners are off by %.2f px): the sheet moved or bent between "
            "photos, or a photo is blurred; worst is %s",
            p->rms_px, worst_file(job));
    if (!(part >= covered_least))
        return ps_context_fail(
            ctx, PS_NOT_FOUND,
            "the sheet was seen in %.0f %% of the frame only, at least %.0f %% is needed: more photos with the sheet near "
            "the frame's sides and corners, or larger",
            100 * part, 100 * covered_least);
    if (!(sd <= focal_sd_most_rel))
        return ps_context_fail(
            ctx, PS_NOT_FOUND,
            "the focal length stays uncertain by %.1f %% (at most %.1f %% is of use): take photos at a slant, 30 to 45 degrees "
            "from different sides",
            100 * sd, 100 * focal_sd_most_rel);
    ps_context *inner = ps_context_new(); /* what the check says is of a file; here the photos are the cause */
    ps_status status = inner ? ps_camera_profile_check(inner, p) : PS_NO_MEMORY;
    if (status != PS_OK)
        status = ps_context_fail(ctx, inner ? PS_NOT_FOUND : PS_NO_MEMORY, "the photos do not tell the lens (%s)",
                                 inner ? ps_context_message(inner) : "out of memory");
    ps_context_free(inner);
    return status;
}

/* ---- the whole ---- */

static void tell_photos(const ps_job *job, ps_calibration_photo *told) {
    for (int i = 0; told && i < job->count; i++) {
        const ps_job_photo *p = &job->photo[i];
        ps_calibration_photo *t = &told[i];
        memset(t, 0, sizeof *t);
        t->used = p->adjust_index >= 0 && job->solution;
        if (t->used)
            t->rms_px = photo_rms(job, p->adjust_index, &t->corners);
        else if (p->status != PS_OK && p->message[0])
            memcpy(t->problem, p->message, sizeof t->problem);
        else if (job->solution)
            strcpy(t->problem, "shows no piece that the other photos show too");
    }
}

static void job_clear(ps_job *job) {
    for (int i = 0; job->photo && i < job->count; i++) ps_photo_clear(&job->photo[i].photo);
    free(job->photo);
    free(job->corner);
    ps_adjust_solution_free(job->solution);
    free(job);
}

ps_status ps_camera_calibrate(ps_context *ctx, const ps_measure_options *options, const char *const *files, int count,
                              ps_camera_profile *profile, ps_calibration_photo *photo) {
    if (count < 1 || count > PS_ADJUST_PHOTOS_MAX)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "between 1 and %d photos can be calibrated together", PS_ADJUST_PHOTOS_MAX);
    ps_measure_options plain = *options;
    plain.has_profile = false;
    ps_job *job = calloc(1, sizeof *job);
    if (!job) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the job");
    ps_camera_profile found;
    ps_status status = PS_OK;
    job->options = &plain;
    job->keep_exif = true;
    job->files = files;
    job->count = count;
    job->photo = calloc((size_t)count, sizeof *job->photo);
    if (!job->photo) {
        status = ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the photos");
        goto out;
    }
    for (int i = 0; i < count; i++) job->photo[i].adjust_index = -1;
    ps_job_each(job, sight_photo);
    status = check_readable(ctx, job);
    if (status == PS_OK) status = check_one_camera(ctx, job);
    if (status == PS_OK) status = check_count(ctx, job);
    if (status == PS_OK) status = solve(ctx, job);
    tell_photos(job, photo);
    if (status == PS_OK) status = check_count(ctx, job);
    if (status == PS_OK) status = fill(ctx, job, &found);
    if (status == PS_OK) status = check_strength(ctx, job, &found);
    if (status == PS_OK) *profile = found;
out:
    job_clear(job);
    return status;
}
