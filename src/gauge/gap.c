/* Photos that look into the gap between the ears: an adjustment of their own, since no photo joins the piece on the cross plate to those on
 * the ears. Cameras first, then the pins' axes, then their bushes' edges, each reading finer than the last. */
#include "pinspan/gap.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "gauge/job.h"

/* One reading of the bushes: the size that the photos are read at, how far around, and how well the trace then knows the rims. */
typedef struct reading {
    int side_px;
    double reach_mm;
} reading;
static const reading readings[] = {{1000, 8}, {1000, 6}, {2000, 4}};

void ps_job_forget(ps_job *job) {
    ps_adjust_solution_free(job->solution);
    free(job->corner);
    free(job->edge);
    job->solution = NULL;
    job->corner = NULL;
    job->edge = NULL;
    job->problem = (ps_adjust_problem){.photo_count = 0};
    job->pins = (ps_pin_models){.count = 0};
    job->lens_settled = false;
    for (int i = 0; i < job->count; i++) {
        job->photo[i].adjust_index = -1;
        if (job->photo[i].photo.luma.px) job->photo[i].status = PS_OK; /* that no rim was traced was said of a solution that is gone */
        ps_rim_candidates_clear(&job->photo[i].candidates);
        ps_rim_traces_clear(&job->photo[i].traces);
    }
}

/* A job over the same files whose photos are borrowed. */
static ps_job *borrow(ps_context *ctx, const ps_job *job, bool placed, ps_status *status) {
    ps_job *gap = calloc(1, sizeof *gap);
    int members = 0;
    *status = PS_OK;
    if (gap) gap->photo = calloc((size_t)job->count, sizeof *gap->photo);
    if (!gap || !gap->photo) {
        *status = ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the photos of a gap");
        free(gap);
        return NULL;
    }
    gap->options = job->options;
    gap->no_profile = job->no_profile;
    gap->keep_exif = true; /* nothing asks its rims whether it cannot be */
    gap->files = job->files;
    gap->count = job->count;
    for (int i = 0; i < job->count; i++) {
        const ps_job_photo *from = &job->photo[i];
        gap->photo[i] = *from;
        gap->photo[i].candidates = (ps_rim_candidates){.count = 0};
        gap->photo[i].traces = (ps_rim_traces){.count = 0};
        memset(gap->photo[i].seconds, 0, sizeof gap->photo[i].seconds);
        gap->photo[i].status = PS_OK;
        gap->photo[i].adjust_index = -1;
        bool member = from->photo.luma.px && from->sightings.count > 0 && !from->copy && (from->adjust_index >= 0) == placed && !from->out;
        gap->photo[i].elsewhere = !member;
        members += member;
    }
    if (members == 0) *status = ps_context_fail(ctx, PS_NOT_FOUND, "no photos for a gap");
    return gap;
}

void ps_job_gap_free(ps_job *gap) {
    if (!gap) return;
    ps_job_forget(gap);
    free(gap->photo);
    free(gap);
}

const ps_job *ps_job_of(const ps_job *job, int photo) {
    return job->gap && job->gap->photo[photo].adjust_index >= 0 ? job->gap : job;
}

/* ---- stages ---- */

static ps_status find_axes(ps_context *ctx, ps_job *gap, bool over) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    ps_rim_mask masks[PS_ADJUST_PIECES_MAX];
    const double toward_dipper[2] = {1, 0}; /* the held piece's +x */
    double start = ps_job_cpu_s();
    ps_job_views(gap, lumas, views);
    ps_status status = (over ? ps_rim_boss_find : ps_rim_gap_find)(
        ctx, gap->problem.photo_count, lumas, views, masks, ps_job_masks(gap, masks), toward_dipper, gap->options->dipper, &gap->pins);
    gap->section_s += ps_job_cpu_s() - start;
    return status;
}

static ps_status read_bushes(ps_context *ctx, ps_job *gap, const reading *how) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    double start = ps_job_cpu_s();
    ps_job_views(gap, lumas, views);
    ps_status status = ps_rim_gap_reread(ctx, gap->problem.photo_count, lumas, views, how->side_px, how->reach_mm, &gap->pins);
    gap->section_s += ps_job_cpu_s() - start;
    return status;
}

static void narrow(ps_pin_models *pins, double factor) {
    for (int p = 0; p < pins->count; p++)
        for (int r = 0; r < pins->pin[p].rim_count; r++) {
            pins->pin[p].rim[r].sigma_height_mm *= factor;
            pins->pin[p].rim[r].sigma_radius_mm *= factor;
        }
}

/* A rim that was traced along two edges can keep the adjustment from settling; traced closer to its prediction it takes one. */
static ps_status solve(ps_context *ctx, ps_job *gap) {
    ps_pin_models wanted = gap->pins;
    ps_status status = PS_NO_CONVERGENCE;
    for (int attempt = 0; status == PS_NO_CONVERGENCE && attempt < 3; attempt++) {
        gap->pins = wanted;
        ps_job_each(gap, ps_job_trace);
        status = ps_job_solve_rims(ctx, gap);
        narrow(&wanted, 0.6);
    }
    return status;
}

static ps_status solve_again(ps_context *ctx, ps_job *gap, double sigma_height_mm, double sigma_radius_mm) {
    ps_job_predict(gap, sigma_height_mm, sigma_radius_mm);
    return solve(ctx, gap);
}

static ps_status measure(ps_context *ctx, ps_job *gap, bool over) {
    ps_status status = ps_job_cameras(ctx, gap);
    if (status == PS_OK) status = find_axes(ctx, gap, over);
    if (status == PS_OK) status = solve(ctx, gap);
    if (status == PS_OK) status = solve_again(ctx, gap, 0.8, 0.5);
    for (size_t i = 0; status == PS_OK && i < sizeof readings / sizeof readings[0]; i++) {
        ps_job_predict(gap, 0.15, 0.1);
        status = read_bushes(ctx, gap, &readings[i]);
        if (status == PS_OK) status = solve(ctx, gap);
    }
    for (int i = 0; status == PS_OK && i < 2; i++) status = solve_again(ctx, gap, 0.15, 0.1);
    return status;
}

/* Whether some pin has both faces, the right way round. */
static bool has_faces(const ps_job *gap) {
    for (int p = 0; p < gap->pins.count; p++) {
        double height[2] = {NAN, NAN};
        for (int ear = 0; ear < 2; ear++) {
            int at = ps_rim_find(&gap->pins.pin[p], PS_EDGE_BUSH_FACE, (ps_ear)ear);
            ps_circle3 circle;
            if (at >= 0) ps_adjust_circle(gap->solution, gap->rim_of[p][at], &circle, &height[ear]);
        }
        if (height[PS_EAR_NEAR] > height[PS_EAR_FAR]) return true;
    }
    return false;
}

/* Whether the photos stand as photos of a boss do; asked before anything is looked for. *one_side: each of them does, but not both ends
 * can be seen twice. */
static bool from_both_sides(const ps_job *gap, bool *one_side) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    ps_rim_mask masks[PS_ADJUST_PIECES_MAX];
    int left, right, photos = gap->problem.photo_count;
    *one_side = false;
    if (!gap->solution) return false;
    ps_job_views(gap, lumas, views);
    bool both = ps_rim_boss_sides(photos, views, masks, ps_job_masks(gap, masks), &left, &right);
    *one_side = !both && photos >= 2 && left + right == photos;
    return both;
}

/* Where no pair of inward faces is to be had: the outward ones of a single boss, instead. *gap and *status stay where there is none. */
static void try_over(ps_context *ctx, ps_job *job, bool placed, ps_job **gap, ps_status *status) {
    ps_status own;
    if (!from_both_sides(*gap, &job->boss_one_side)) return;
    ps_job *boss = borrow(ctx, job, placed, &own);
    if (own == PS_OK) own = measure(ctx, boss, true);
    if (own == PS_OK && !has_faces(boss)) own = PS_NOT_FOUND;
    if (own == PS_OK) {
        ps_job *was = *gap;
        *gap = boss, boss = was;
    }
    if (own == PS_OK || own == PS_NO_MEMORY) *status = own;
    ps_job_gap_free(boss);
}

ps_status ps_job_gap(ps_context *ctx, ps_job *job, bool placed) {
    ps_status status;
    ps_job *gap = borrow(ctx, job, placed, &status);
    job->boss_one_side = false;
    if (status == PS_OK) {
        status = measure(ctx, gap, false);
        if (status != PS_NO_MEMORY && !(status == PS_OK && has_faces(gap))) try_over(ctx, job, placed, &gap, &status);
    }
    if (status != PS_OK) {
        ps_job_gap_free(gap);
        return status;
    }
    job->gap = gap;
    for (int i = 0; i < job->count; i++)
        if (gap->photo[i].adjust_index >= 0) job->photo[i].elsewhere = true;
    return PS_OK;
}
