/* Camera groups and their priors, and the adjustment of corners alone: where the cameras and the pieces stand. The values
 * of the priors and their grounds are in docs/model.md. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "gauge/contradictions.h"
#include "gauge/job.h"
#include "gauge/prints.h"

static const double contradicts_sd = 3.5; /* one in two thousand by chance */
static const double free_focal_rel = 0.5; /* prior sd where nothing names one */
/* 35 mm equivalents from wider than any phone's widest lens to beyond its longest; what is named outside is no lens. Practice. */
static const double exif_focal_least_mm = 8, exif_focal_most_mm = 400;
static const double exif_off_most = 0.15; /* ln: three sd of EXIF's rounding and conventions */
/* What corners alone are believed against EXIF: six of those sd, and beyond what they find by chance once in two thousand. A sheet bent
 * beyond the model bends the lens too, and is believed nothing. */
static const double exif_denied_least = 0.30, exif_denied_sd = 3.3;

/* ---- which photos share a camera ---- */

bool ps_job_same_camera(const ps_photo *a, const ps_photo *b) {
    const ps_exif *p = &a->exif, *q = &b->exif;
    return a->stored_width == b->stored_width && a->stored_height == b->stored_height && p->present == q->present &&
           strcmp(p->make, q->make) == 0 && strcmp(p->model, q->model) == 0 && p->focal_35mm_mm == q->focal_35mm_mm &&
           p->focal_mm == q->focal_mm && p->digital_zoom == q->digital_zoom;
}

/* Focal length in pixels from the 35 mm equivalent. Makers follow the width or the diagonal of the 36 x 24 frame; the mean
 * of both rules is off by 2 % at most for 4:3, well inside the prior. 0 when EXIF says nothing. */
static double exif_focal_px(const ps_photo *photo) {
    double f35 = photo->exif.focal_35mm_mm, w = photo->stored_width, h = photo->stored_height;
    if (!(f35 >= exif_focal_least_mm && f35 <= exif_focal_most_mm)) return 0;
    double by_width = f35 / 36 * fmax(w, h), by_diagonal = f35 / hypot(36, 24) * hypot(w, h);
    return sqrt(by_width * by_diagonal);
}

bool ps_job_focal_cannot_be(const ps_photo *photo) {
    return photo->exif.focal_35mm_mm > 0 && exif_focal_px(photo) == 0;
}

/* Radial terms: what they move at the photo's corner (radius rc = half diagonal over focal length) is about alike for
 * all lenses of one class, whatever the focal length: some percent for a main lens, whose terms partly cancel; for wide lenses
 * more, and nearly all in the first term (common practice without a source; docs/model.md). */
static void lens_priors(ps_adjust_group *g, double width, double height) {
    double rc = 0.5 * hypot(width, height) / g->start.f_px, r2 = rc * rc;
    bool wide = rc > 1.05; /* under about 20 mm equivalent */
    g->sigma_k1 = (wide ? 0.20 : 0.07) / r2;
    g->sigma_k2 = (wide ? 0.06 : 0.10) / (r2 * r2);
    g->sigma_k3 = (wide ? 0.02 : 0.03) / (r2 * r2 * r2);
    g->sigma_p = 0.001;
}

static ps_adjust_group group_of(const ps_photo *photo, bool no_exif, ps_camera_source *source) {
    double w = photo->stored_width, h = photo->stored_height, longer = fmax(w, h), exif = no_exif ? 0 : exif_focal_px(photo);
    bool zoomed = photo->exif.digital_zoom > 1.01 || (photo->exif.pixel_width > 0 && photo->exif.pixel_width != photo->stored_width &&
                                                      photo->exif.pixel_width != photo->stored_height);
    ps_adjust_group g = {0};
    *source = exif > 0 ? PS_CAMERA_EXIF : PS_CAMERA_FREE;
    g.start.f_px = exif > 0 ? exif : 0.8 * longer;
    g.start.cx = 0.5 * (w - 1);
    g.start.cy = 0.5 * (h - 1);
    g.sigma_focal_rel = exif > 0 ? (zoomed ? 0.10 : 0.05) : free_focal_rel;
    g.focal_tail = 3;
    g.sigma_centre_px = 0.01 * longer;
    lens_priors(&g, w, h);
    g.sigma_photo_focal_rel = 0.005;
    g.sigma_photo_centre_px = 10 * longer / 4032;
    return g;
}

/* The profile in place of EXIF where the photo is of its camera. Without EXIF only the caller's word says so: then the prior yields
 * to photos that say otherwise (tail). */
static void use_profile(const ps_photo *photo, const ps_measure_options *options, ps_adjust_group *g, ps_camera_source *source) {
    ps_lens lens;
    if (!options->has_profile || !ps_camera_profile_for(&options->profile, photo, &lens, g->joint_covariance, NULL)) return;
    g->start = lens;
    g->joint = true;
    g->sigma_focal_rel = sqrt(g->joint_covariance[0]) / lens.f_px;
    g->focal_tail = photo->exif.present ? 0 : 3;
    *source = PS_CAMERA_PROFILE;
}

static void gather_photos(ps_job *job) {
    ps_adjust_problem *q = &job->problem;
    for (int i = 0; i < job->count; i++) {
        ps_job_photo *p = &job->photo[i];
        p->adjust_index = -1;
        if (!p->photo.luma.px || p->status != PS_OK || p->sightings.count == 0 || p->copy || p->elsewhere || p->out) continue;
        int group = -1;
        for (int k = 0; k < q->photo_count && group < 0; k++)
            if (ps_job_same_camera(&job->photo[job->photo_of[k]].photo, &p->photo)) group = job->adjust_photo[k].group;
        if (group < 0) {
            group = q->group_count++;
            job->group[group] = group_of(&p->photo, job->no_exif, &job->group_source[group]);
            if (!job->no_profile) use_profile(&p->photo, job->options, &job->group[group], &job->group_source[group]);
        }
        p->adjust_index = q->photo_count++;
        job->photo_of[p->adjust_index] = i;
        job->adjust_photo[p->adjust_index] =
            (ps_adjust_photo){p->photo.stored_width, p->photo.stored_height, p->photo.exif.orientation, group, {{0}, {0}}};
    }
}

/* ---- pieces and corners ---- */

/* The piece most seen is held; ties go to the one with more corners, then to the first in the kit. */
static void gather_pieces(ps_job *job) {
    int photos[PS_PIECES_MAX] = {0}, corners[PS_PIECES_MAX] = {0};
    ps_adjust_problem *q = &job->problem;
    for (int k = 0; k < q->photo_count; k++) {
        const ps_sightings *s = &job->photo[job->photo_of[k]].sightings;
        for (int i = 0; i < s->count; i++) photos[s->piece[i].piece]++, corners[s->piece[i].piece] += s->piece[i].corner_count;
    }
    for (int kit = 0; kit < PS_PIECES_MAX; kit++) {
        if (!photos[kit] || q->piece_count == PS_ADJUST_PIECES_MAX) continue;
        int at = q->piece_count++;
        /* sagitta 0.5 mm over 200 mm: z = a x^2 with a = 0.5 / 100^2 */
        job->piece[at] = (ps_adjust_piece){.piece = kit, .start = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}}, .sigma_bend = 5e-5};
        int held = job->piece[q->held_piece].piece;
        if (photos[kit] > photos[held] || (photos[kit] == photos[held] && corners[kit] > corners[held])) q->held_piece = at;
    }
}

static int piece_place(const ps_job *job, int kit) {
    for (int k = 0; k < job->problem.piece_count; k++)
        if (job->piece[k].piece == kit) return k;
    return -1;
}

static ps_status gather_corners(ps_context *ctx, ps_job *job) {
    ps_adjust_problem *q = &job->problem;
    size_t room = (size_t)q->photo_count * PS_PIECES_MAX * PS_PIECE_CORNERS_MAX;
    free(job->corner);
    job->corner = malloc((room + 1) * sizeof *job->corner);
    q->corner_count = 0;
    if (!job->corner) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for corners");
    for (int k = 0; k < q->photo_count; k++) {
        const ps_sightings *s = &job->photo[job->photo_of[k]].sightings;
        for (int i = 0; i < s->count; i++) {
            int piece = piece_place(job, s->piece[i].piece);
            for (int c = 0; piece >= 0 && c < s->piece[i].corner_count; c++) {
                const ps_corner *from = &s->piece[i].corner[c];
                job->corner[q->corner_count++] = (ps_adjust_corner){k, piece, from->index, from->x_px, from->y_px, from->sigma_px};
            }
        }
    }
    return q->corner_count > 0 ? PS_OK : ps_context_fail(ctx, PS_NOT_FOUND, "no printed piece was found in any photo");
}

/* ---- start values; photos and pieces that do not connect are left out ---- */

void ps_job_keep(ps_job *job, const bool keep_photo[PS_ADJUST_PHOTOS_MAX], const bool keep_piece[PS_ADJUST_PIECES_MAX]) {
    ps_adjust_problem *q = &job->problem;
    int place[PS_ADJUST_PHOTOS_MAX], piece_now[PS_ADJUST_PIECES_MAX], photos = 0, pieces = 0, corners = 0;
    for (int k = 0; k < q->photo_count; k++) {
        place[k] = keep_photo[k] ? photos : -1;
        job->photo[job->photo_of[k]].adjust_index = place[k];
        if (!keep_photo[k]) continue;
        job->adjust_photo[photos] = job->adjust_photo[k];
        job->photo_of[photos++] = job->photo_of[k];
    }
    for (int k = 0; k < q->piece_count; k++) {
        piece_now[k] = keep_piece[k] ? pieces : -1;
        if (!keep_piece[k]) continue;
        if (q->held_piece == k) q->held_piece = pieces;
        job->piece[pieces++] = job->piece[k];
    }
    for (int c = 0; c < q->corner_count; c++) {
        ps_adjust_corner *from = &job->corner[c];
        if (place[from->photo] < 0 || piece_now[from->piece] < 0) continue;
        ps_adjust_corner kept = *from;
        kept.photo = place[from->photo];
        kept.piece = piece_now[from->piece];
        job->corner[corners++] = kept;
    }
    q->photo_count = photos;
    q->piece_count = pieces;
    q->corner_count = corners;
}

static void point_problem(ps_job *job) {
    ps_adjust_problem *q = &job->problem;
    q->photo = job->adjust_photo;
    q->group = job->group;
    q->piece = job->piece;
    q->corner = job->corner;
    q->pin = job->pin;
    q->rim = job->rim;
    q->edge = job->edge;
    q->sigma_parallel = 0.2 * 3.14159265358979323846 / 180;
    q->sigma_shift_common_px = q->sigma_shift_photo_px = 0.15;
    q->sigma_shift_side_px = job->lens_settled ? 0.3 : 0;
    q->sigma_round_pin_mm = 0.03, q->sigma_round_other_mm = 0.05;
    q->bend = q->distortion = true;
    q->near_start = job->near_start;
}

static ps_status solve_once(ps_context *ctx, ps_job *job) {
    ps_adjust_solution *solution = NULL;
    double start = ps_job_cpu_s();
    point_problem(job);
    ps_status status = ps_adjust_solve(ctx, &job->problem, &solution);
    job->adjust_s += ps_job_cpu_s() - start;
    if (status != PS_OK) return status;
    ps_adjust_solution_free(job->solution);
    job->solution = solution;
    return PS_OK;
}

/* Whether the photos speak against the profile's lens: its mean over the group's photos lies farther from the profile than both
 * and the changes from photo to photo allow. Per-photo unknowns would take up most of a wrong focal length in silence. */
static bool profile_contradicted(const ps_job *job, int group) {
    const ps_adjust_group *g = &job->group[group];
    double sum[3] = {0}, n = 0;
    for (int k = 0; k < job->problem.photo_count; k++) {
        if (job->adjust_photo[k].group != group) continue;
        ps_view view;
        ps_adjust_view(job->solution, k, &view);
        sum[PS_LENS_F] += view.lens.f_px;
        sum[PS_LENS_CX] += view.lens.cx;
        sum[PS_LENS_CY] += view.lens.cy;
        n++;
    }
    const double mean[3] = {g->start.f_px, g->start.cx, g->start.cy};
    const double own[3] = {g->sigma_photo_focal_rel * g->start.f_px, g->sigma_photo_centre_px, g->sigma_photo_centre_px};
    for (int k = 0; k < 3 && n > 0; k++) {
        double sd = sqrt(g->joint_covariance[(PS_LENS_COUNT + 1) * k] + own[k] * own[k] / n);
        if (fabs(sum[k] / n - mean[k]) > contradicts_sd * sd) return true;
    }
    return false;
}

/* Groups whose photos contradict the profile go back to EXIF. */
static bool drop_profile(ps_job *job) {
    bool dropped = false;
    for (int group = 0; group < job->problem.group_count; group++) {
        if (job->group_source[group] != PS_CAMERA_PROFILE || !profile_contradicted(job, group)) continue;
        for (int k = 0; k < job->problem.photo_count; k++)
            if (job->adjust_photo[k].group == group) {
                job->photo[job->photo_of[k]].profile_off = true;
                job->group[group] = group_of(&job->photo[job->photo_of[k]].photo, job->no_exif, &job->group_source[group]);
            }
        job->profile_contradicted = dropped = true;
        job->profile_restart = job->profile_restart || job->problem.rim_count > 0;
    }
    return dropped;
}

/* Rims tell more of the lens than corners alone, so that a wrong profile may show only now. */
ps_status ps_job_solve(ps_context *ctx, ps_job *job) {
    ps_status status = solve_once(ctx, job);
    if (status != PS_OK || !drop_profile(job)) return status;
    job->near_start = false; /* another lens */
    return solve_once(ctx, job);
}

/* How far, as ln, a group's focal length as solved lies from what EXIF names, and its u. False where EXIF names none. */
static bool off_exif(ps_context *ctx, const ps_job *job, int group, double *off, double *u) {
    ps_lens lens;
    double covariance[PS_LENS_COUNT * PS_LENS_COUNT], exif = 0;
    for (int k = 0; k < job->problem.photo_count; k++)
        if (job->adjust_photo[k].group == group) exif = exif_focal_px(&job->photo[job->photo_of[k]].photo);
    if (!(exif > 0) || ps_adjust_lens(ctx, job->solution, group, &lens, covariance) != PS_OK) return false;
    *off = log(lens.f_px / exif), *u = sqrt(covariance[0]) / lens.f_px;
    return true;
}

static bool bent_beyond(const ps_job *job) {
    for (int k = 0; k < job->problem.piece_count; k++)
        if (ps_adjust_bend_chance(job->solution, k) < PS_BEND_CHANCE_LEAST) return true;
    return false;
}

/* Goes on without the EXIF of groups whose focal length is off by more than `least` and `sd` times its u. */
static bool drop_exif(ps_context *ctx, ps_job *job, double least, double sd) {
    bool dropped = false;
    for (int group = 0; group < job->problem.group_count && job->problem.photo_count > 1 && !job->keep_exif; group++) {
        double off, u;
        if (job->group_source[group] != PS_CAMERA_EXIF || !off_exif(ctx, job, group, &off, &u) || fabs(off) - least <= sd * u) continue;
        for (int k = 0; k < job->problem.photo_count; k++)
            if (job->adjust_photo[k].group == group) {
                job->photo[job->photo_of[k]].exif_off = true;
                job->group[group] = group_of(&job->photo[job->photo_of[k]].photo, true, &job->group_source[group]);
            }
        job->exif_out = dropped = true;
    }
    return dropped;
}

ps_status ps_job_leave_exif(ps_context *ctx, ps_job *job) {
    double solved_px[PS_ADJUST_PHOTOS_MAX];
    if (!ps_notes_have(&job->doubts, PS_CODE_FOCAL_CONTRADICTS)) return PS_OK;
    for (int group = 0; group < job->problem.group_count; group++) {
        double off, u;
        bool named = job->group_source[group] == PS_CAMERA_EXIF && off_exif(ctx, job, group, &off, &u);
        solved_px[group] = named ? job->group[group].start.f_px * exp(off) : 0;
    }
    if (!drop_exif(ctx, job, exif_denied_least, 2)) return PS_OK;
    for (int group = 0; group < job->problem.group_count; group++)
        if (job->group_source[group] == PS_CAMERA_FREE && solved_px[group] > 0) job->group[group].start.f_px = solved_px[group];
    return ps_job_solve(ctx, job);
}

/* Start values of corners alone. `free_focal`: poses are sought with any focal length, whatever EXIF names; it stays the prior. */
static ps_status start_corners(ps_context *ctx, ps_job *job, bool free_focal) {
    ps_adjust_start start;
    ps_adjust_group named[PS_ADJUST_PHOTOS_MAX];
    memcpy(named, job->group, sizeof named);
    for (int g = 0; g < job->problem.group_count && free_focal; g++)
        if (job->group_source[g] == PS_CAMERA_EXIF) job->group[g].sigma_focal_rel = free_focal_rel;
    point_problem(job);
    ps_status status = ps_adjust_start_poses(ctx, &job->problem, job->adjust_photo, job->group, job->piece, &start);
    if (free_focal) memcpy(job->group, named, sizeof named);
    if (status == PS_OK) ps_job_keep(job, start.photo, start.piece);
    return status;
}

/* Through a focal length that EXIF names falsely, or some percent off where a sheet is nearly square to the view, a sheet may start as its
 * own mirror image, and from there nothing settles. */
static ps_status solve_corners(ps_context *ctx, ps_job *job) {
    ps_status status = start_corners(ctx, job, false);
    if (status == PS_OK) status = solve_once(ctx, job);
    if (status != PS_NO_CONVERGENCE) return status;
    status = start_corners(ctx, job, true);
    if (status == PS_OK) status = solve_once(ctx, job);
    if (status != PS_NO_CONVERGENCE) return status;
    ps_status as_before = start_corners(ctx, job, false); /* for whoever looks for sheets that contradict each other */
    return as_before == PS_OK ? status : as_before;
}

ps_status ps_job_cameras(ps_context *ctx, ps_job *job) {
    gather_photos(job);
    if (job->problem.photo_count == 0) return ps_context_fail(ctx, PS_NOT_FOUND, "no printed piece was found in any photo");
    gather_pieces(job);
    ps_status status = gather_corners(ctx, job);
    if (status != PS_OK) return status;
    ps_gauge_set_prints(job->options, job->piece, job->problem.piece_count, &job->problem.scale);
    status = solve_corners(ctx, job);
    if (status == PS_OK && drop_profile(job)) status = solve_corners(ctx, job);
    if (status == PS_OK && !bent_beyond(job) && drop_exif(ctx, job, exif_denied_least, exif_denied_sd)) status = solve_corners(ctx, job);
    if (status != PS_OK && status != PS_NO_CONVERGENCE) return status;
    /* Sheets that do not lie alike in all photos; of one sheet alone corners tell a bend or a lens, and rims will tell it better. */
    bool changed = false, alone = status == PS_OK && job->problem.piece_count < 2;
    ps_status looked = ps_job_leave_out(ctx, job, alone ? &job->early : &job->doubts, &changed);
    if (looked != PS_OK) return looked;
    return changed ? ps_job_solve(ctx, job) : status;
}

ps_status ps_job_cameras_plain(ps_context *ctx, ps_job *job) {
    ps_adjust_group full[PS_ADJUST_PHOTOS_MAX];
    const double stiff = 0.2;
    memcpy(full, job->group, sizeof full);
    for (int k = 0; k < job->problem.group_count; k++) {
        ps_adjust_group *g = &job->group[k];
        g->sigma_k1 *= stiff;
        g->sigma_k2 *= stiff;
        g->sigma_k3 *= stiff;
        g->sigma_p *= stiff;
    }
    job->problem.pin_count = job->problem.rim_count = job->problem.edge_count = 0;
    ps_status status = ps_job_solve(ctx, job);
    memcpy(job->group, full, sizeof full);
    return status;
}

void ps_job_doubt_exif(ps_context *ctx, ps_job *job) {
    for (int g = 0; g < job->problem.group_count; g++) {
        double off, u;
        if (!off_exif(ctx, job, g, &off, &u) || fabs(off) - exif_off_most <= 2 * u) continue;
        ps_notes_add(&job->doubts, PS_CODE_FOCAL_CONTRADICTS,
                     "The photos name a focal length that cannot be: what they show asks for %.2f times as much, and only so do they fit "
                     "together. They may be zoomed, cropped or taken with another lens.",
                     exp(off));
    }
}

/* ---- a photo that stands beside the adjustment ---- */

/* Its lens as solved for its camera, else as it says itself. */
static ps_adjust_group lens_of(ps_context *ctx, const ps_job *job, int photo) {
    const ps_photo *own = &job->photo[photo].photo;
    ps_camera_source source;
    ps_adjust_group g = group_of(own, job->no_exif, &source);
    for (int k = 0; k < job->problem.photo_count; k++) {
        double covariance[PS_LENS_COUNT * PS_LENS_COUNT];
        int group = job->adjust_photo[k].group;
        if (!ps_job_same_camera(&job->photo[job->photo_of[k]].photo, own)) continue;
        if (ps_adjust_lens(ctx, job->solution, group, &g.start, covariance) != PS_OK) continue;
        g.sigma_focal_rel = g.sigma_k1 = g.sigma_k2 = g.sigma_k3 = g.sigma_p = 1e-4; /* the photo has its own changes beside it */
        g.sigma_centre_px = 1;
        break;
    }
    return g;
}

/* The piece of the photo that the adjustment has too; the held one rather than another. */
static const ps_sighting *known_piece(const ps_job *job, int photo, int *place) {
    const ps_sightings *s = &job->photo[photo].sightings;
    const ps_sighting *best = NULL;
    for (int i = 0; i < s->count; i++) {
        int at = piece_place(job, s->piece[i].piece);
        if (at >= 0 && (!best || at == job->problem.held_piece)) best = &s->piece[i], *place = at;
    }
    return best;
}

ps_status ps_job_place(ps_context *ctx, const ps_job *job, int photo, ps_view *view) {
    const ps_photo *own = &job->photo[photo].photo;
    int place = -1;
    const ps_sighting *seen = job->solution ? known_piece(job, photo, &place) : NULL;
    if (!seen) return ps_context_fail(ctx, PS_NOT_FOUND, "the photo shows no piece of the others");
    ps_adjust_photo one = {own->stored_width, own->stored_height, own->exif.orientation, 0, {{0}, {0}}};
    ps_adjust_group group = lens_of(ctx, job, photo);
    ps_adjust_piece piece = {.piece = seen->piece,
                             .start = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}},
                             .sigma_bend = job->piece[place].sigma_bend,
                             .print = job->piece[place].print};
    ps_adjust_corner corner[PS_PIECE_CORNERS_MAX];
    ps_adjust_problem q = {.photo_count = 1, .photo = &one, .group_count = 1, .group = &group, .piece_count = 1, .piece = &piece};
    ps_adjust_start start;
    ps_adjust_solution *solution = NULL;
    for (int c = 0; c < seen->corner_count; c++)
        corner[c] = (ps_adjust_corner){0, 0, seen->corner[c].index, seen->corner[c].x_px, seen->corner[c].y_px, seen->corner[c].sigma_px};
    q.corner = corner, q.corner_count = seen->corner_count;
    q.scale = job->problem.scale;
    q.bend = q.distortion = true;
    ps_status status = ps_adjust_start_poses(ctx, &q, &one, &group, &piece, &start);
    if (status == PS_OK) status = ps_adjust_solve(ctx, &q, &solution);
    if (status != PS_OK) return status;
    ps_pose in_world = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}}, back, pose;
    if (place != job->problem.held_piece) ps_adjust_piece_pose(job->solution, place, &in_world);
    ps_adjust_view(solution, 0, view);
    ps_pose_invert(&in_world, &back);
    ps_pose_compose(&view->pose, &back, &pose);
    view->pose = pose;
    ps_adjust_solution_free(solution);
    return PS_OK;
}
