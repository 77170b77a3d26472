/* From cameras to rims: pins are looked for, read, traced and solved for, and read again through the lens that their rims tie down. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "gauge/job.h"

enum { ROUNDS_MAX = 3, CHAMFER_ROUNDS = 2 };
static const double moved_px = 4;     /* of pins: as far as a rim is searched for */
static const double stirred_px = 0.5; /* enough to blur together the circles of several photos */
static const double worth_of_circle = 1;
static const double another_body_mm = 22; /* no axes of two pins stand so close, and no lens moves one so far */

/* The printed pieces as seen from this photo's world, so that they are not searched for rims. */
int ps_job_masks(const ps_job *job, ps_rim_mask masks[PS_ADJUST_PIECES_MAX]) {
    int count = 0;
    for (int k = 0; k < job->problem.piece_count; k++) {
        const ps_piece *piece = ps_kit_piece(job->piece[k].piece);
        ps_pose pose;
        ps_adjust_piece_pose(job->solution, k, &pose);
        double margin = 0.45 * piece->square_mm, w = piece->columns * piece->square_mm, h = piece->rows * piece->square_mm;
        const double at[4][2] = {{-margin, -margin}, {w + margin, -margin}, {w + margin, h + margin}, {-margin, h + margin}};
        for (int c = 0; c < 4; c++) {
            double X[3] = {at[c][0], at[c][1], 0}, Y[3];
            ps_pose_apply(&pose, X, Y);
            masks[count].corner_mm[c][0] = Y[0];
            masks[count].corner_mm[c][1] = Y[1];
        }
        count++;
    }
    return count;
}

typedef ps_status proposer(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_rim_mask *mask, int masks,
                           ps_rim_candidates *out);

static ps_status propose(ps_context *ctx, ps_job *job, int i, proposer *look, ps_rim_candidates *out) {
    ps_job_photo *p = &job->photo[i];
    double start = ps_job_cpu_s();
    ps_rim_mask masks[PS_ADJUST_PIECES_MAX];
    ps_view view;
    ps_adjust_view(job->solution, p->adjust_index, &view);
    ps_rim_candidates_clear(out);
    ps_status status = look(ctx, &p->photo.luma, &view, masks, ps_job_masks(job, masks), out);
    p->seconds[2] += ps_job_cpu_s() - start;
    return status;
}

void ps_job_propose(ps_context *ctx, ps_job *job, int i) {
    ps_job_photo *p = &job->photo[i];
    if (p->adjust_index >= 0) p->status = propose(ctx, job, i, ps_rim_propose, &p->candidates);
}

/* A photo that shows none so is none the worse. */
static void propose_beside(ps_context *ctx, ps_job *job, int i, proposer *look) {
    ps_job_photo *p = &job->photo[i];
    if (p->adjust_index >= 0 && propose(ctx, job, i, look, &p->coarser) == PS_NO_MEMORY) p->status = PS_NO_MEMORY;
}

static void propose_coarsely(ps_context *ctx, ps_job *job, int i) {
    propose_beside(ctx, job, i, ps_rim_propose_coarsely);
}

void ps_job_propose_beside(ps_context *ctx, ps_job *job, int i) {
    propose_beside(ctx, job, i, ps_rim_propose);
}

void ps_job_trace(ps_context *ctx, ps_job *job, int i) {
    ps_job_photo *p = &job->photo[i];
    if (p->adjust_index < 0) return;
    double start = ps_job_cpu_s();
    ps_view view;
    ps_adjust_view(job->solution, p->adjust_index, &view);
    ps_rim_traces_clear(&p->traces);
    p->status = ps_rim_trace_photo(ctx, &p->photo.luma, &view, &job->pins, &p->traces);
    p->seconds[3] += ps_job_cpu_s() - start;
}

/* ---- stages over all photos ---- */

void ps_job_views_by(const ps_job *job, const ps_adjust_solution *solution, const ps_luma **lumas, ps_view *views) {
    for (int i = 0; i < job->problem.photo_count; i++) {
        lumas[i] = &job->photo[job->photo_of[i]].photo.luma;
        ps_adjust_view(solution, i, &views[i]);
    }
}

void ps_job_views(const ps_job *job, const ps_luma **lumas, ps_view *views) {
    ps_job_views_by(job, job->solution, lumas, views);
}

static ps_status assign_rims(ps_context *ctx, ps_job *job, bool closely) {
    int n = job->problem.photo_count;
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    ps_rim_candidates candidates[PS_ADJUST_PHOTOS_MAX];
    const double toward_dipper[2] = {1, 0}; /* the held piece's +x */
    ps_rim_mask masks[PS_ADJUST_PIECES_MAX];
    double start = ps_job_cpu_s();
    ps_job_views(job, lumas, views);
    for (int i = 0; i < n; i++) candidates[i] = job->photo[job->photo_of[i]].candidates;
    ps_status status = ps_rim_assign(ctx, n, lumas, views, candidates, toward_dipper, job->options->dipper, closely, &job->pins);
    if (status == PS_OK) ps_rim_place_alone(&views[0], masks, ps_job_masks(job, masks), toward_dipper, job->options->dipper, &job->pins);
    job->section_s += ps_job_cpu_s() - start;
    return status;
}

/* Circles of both looks of each photo. */
static ps_status assign_both(ps_context *ctx, ps_job *job) {
    ps_rim_candidates fine[PS_ADJUST_PHOTOS_MAX];
    int n = job->problem.photo_count;
    ps_status status = PS_OK;
    for (int i = 0; i < n; i++) {
        ps_job_photo *p = &job->photo[job->photo_of[i]];
        size_t count = (size_t)p->candidates.count, more = (size_t)p->coarser.count;
        ps_rim_candidate *both = malloc((count + more + 1) * sizeof *both);
        fine[i] = p->candidates;
        if (!both) status = ps_context_fail(ctx, PS_NO_MEMORY, "no memory for circle candidates");
        if (both && count) memcpy(both, fine[i].item, count * sizeof *both);
        if (both && more) memcpy(both + count, p->coarser.item, more * sizeof *both);
        p->candidates = (ps_rim_candidates){both ? (int)(count + more) : 0, both};
    }
    if (status == PS_OK) status = assign_rims(ctx, job, true);
    for (int i = 0; i < n; i++) {
        ps_job_photo *p = &job->photo[job->photo_of[i]];
        free(p->candidates.item);
        p->candidates = fine[i];
    }
    return status;
}

static ps_status reread_rims(ps_context *ctx, ps_job *job) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    ps_job_views(job, lumas, views);
    ps_job_predict(job, 0.3, 0.15);
    double start = ps_job_cpu_s();
    ps_status status = ps_rim_reread(ctx, job->problem.photo_count, lumas, views, &job->pins);
    job->section_s += ps_job_cpu_s() - start;
    return status;
}

static void look_at_walls(ps_job *job) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    ps_job_views(job, lumas, views);
    ps_job_predict(job, 0.15, 0.1);
    for (int p = 0; p < job->pins.count; p++) {
        ps_pin_wall wall = ps_rim_wall(job->problem.photo_count, lumas, views, &job->pins.pin[p]);
        job->pins.pin[p].evidence.wall_sides = wall.sides;
        job->pins.pin[p].evidence.wall = wall.agreement;
    }
}

static ps_status trace_and_solve(ps_context *ctx, ps_job *job) {
    ps_job_each(job, ps_job_trace);
    return ps_job_solve_rims(ctx, job);
}

ps_status ps_job_look_again(ps_context *ctx, ps_job *job, double sigma_height_mm, double sigma_radius_mm) {
    ps_job_predict(job, sigma_height_mm, sigma_radius_mm);
    return trace_and_solve(ctx, job);
}

/* How well the pins found can be read: worth of both sections; a pin that is not there counts nothing. */
static double worth_of_pins(const ps_job *job, ps_status found) {
    double worth = 0;
    for (int p = 0; found == PS_OK && p < job->pins.count; p++) worth += 1 + fmax(0, job->pins.pin[p].evidence.worth);
    return worth;
}

/* How many pins have a reading worth so much. */
static int pins_worth(const ps_job *job, double least) {
    int count = 0;
    for (int p = 0; p < job->pins.count; p++) count += job->pins.pin[p].evidence.worth >= least;
    return count;
}

static bool both_readable(const ps_job *job, ps_status found) {
    return found == PS_OK && pins_worth(job, PS_RIM_WORTH_LEAST) == PS_ROLE_COUNT;
}

static double axes_apart_mm(const ps_pin_model *a, const ps_pin_model *b) {
    return hypot(a->axis_point_mm[0] - b->axis_point_mm[0], a->axis_point_mm[1] - b->axis_point_mm[1]);
}

static bool stands_among(const ps_pin_model *pin, const ps_pin_models *m) {
    for (int p = 0; p < m->count; p++)
        if (axes_apart_mm(pin, &m->pin[p]) < another_body_mm) return true;
    return false;
}

/* Two looks that took different bodies for the pins, and are worth nearly the same: nobody knows which is right, and the pins' distance is
 * the one or the other. */
static void note_rival(const ps_pin_models *other, ps_pin_models *m) {
    if (m->count < PS_ROLE_COUNT || other->count < PS_ROLE_COUNT) return;
    if (stands_among(&m->pin[0], other) && stands_among(&m->pin[1], other)) return;
    double one = axes_apart_mm(&m->pin[0], &m->pin[1]), another = axes_apart_mm(&other->pin[0], &other->pin[1]);
    m->rival_mm = fmax(m->rival_mm, fabs(one - another));
}

/* Whether a later look, `found` now in the job, holds against the first, worth so much; else the first one is put back. */
static bool later_holds(ps_job *job, const ps_pin_models *first, double worth, ps_status found) {
    ps_pin_models later = job->pins;
    double now = worth_of_pins(job, found);
    bool holds = now > worth, close = found == PS_OK && fabs(now - worth) < worth_of_circle;
    if (!holds) job->pins = *first;
    if (close && holds) job->pins.rival_mm = fmax(job->pins.rival_mm, first->rival_mm); /* what was close to that one still is */
    if (close) note_rival(holds ? first : &later, &job->pins);
    return holds;
}

/* Not both pins, or hardly to be read: perhaps the lens was bent by too few corners. */
static ps_status try_plain_lens(ps_context *ctx, ps_job *job, ps_status status) {
    double worth = worth_of_pins(job, status);
    ps_pin_models first = job->pins;
    if (ps_job_cameras_plain(ctx, job) != PS_OK) return status;
    ps_job_each(job, ps_job_propose);
    ps_status again = assign_rims(ctx, job, false);
    if (again == PS_NO_MEMORY || later_holds(job, &first, worth, again)) return again;
    return status == PS_OK ? ps_job_solve(ctx, job) : status;
}

/* Perhaps rust and dirt drowned the rims' edges: a coarser look passes over them. */
static ps_status look_coarsely(ps_context *ctx, ps_job *job, ps_status status) {
    double worth = worth_of_pins(job, status);
    ps_pin_models first = job->pins;
    ps_job_each(job, propose_coarsely);
    ps_status again = assign_both(ctx, job);
    for (int i = 0; i < job->count; i++) ps_rim_candidates_clear(&job->photo[i].coarser);
    return again == PS_NO_MEMORY || later_holds(job, &first, worth, again) ? again : status;
}

static ps_status find_pins(ps_context *ctx, ps_job *job) {
    ps_job_each(job, ps_job_propose);
    ps_status status = assign_rims(ctx, job, false);
    if (status != PS_OK && status != PS_NOT_FOUND) return status;
    if (worth_of_pins(job, status) < PS_ROLE_COUNT * PS_JOB_WORTH_PLAIN) status = try_plain_lens(ctx, job, status);
    return status == PS_NO_MEMORY || both_readable(job, status) ? status : look_coarsely(ctx, job, status);
}

/* A single photo has nothing to compare its reading with: read through another of the cameras that explain it, it shows the same. */
static bool several(const ps_job *job) {
    return job->problem.photo_count > 1;
}

/* How far the pins have moved in the photos, px, from one state of the cameras to the present one. */
static double pins_moved_px(const ps_job *job, const ps_view *before) {
    double most = 0;
    for (int k = 0; k < job->problem.photo_count; k++) {
        ps_view now;
        ps_adjust_view(job->solution, k, &now);
        for (int p = 0; p < job->pins.count; p++) {
            double X[3], direction[3], was[2], is[2];
            ps_adjust_axis(job->solution, p, X, direction);
            if (ps_view_project(&before[k], X, was) && ps_view_project(&now, X, is))
                most = fmax(most, hypot(is[0] - was[0], is[1] - was[1]));
        }
    }
    return most;
}

/* Rims are traced and solved for until the cameras rest: the rims may change the lens by much. *moved: they did. */
static ps_status first_solution(ps_context *ctx, ps_job *job, bool *moved) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view before[PS_ADJUST_PHOTOS_MAX];
    ps_status status = find_pins(ctx, job);
    for (int round = 0; status == PS_OK && round < ROUNDS_MAX; round++) {
        if (round > 0) ps_job_predict(job, 0.5, 0.25);
        ps_job_views(job, lumas, before);
        status = trace_and_solve(ctx, job);
        if (status != PS_OK || pins_moved_px(job, before) < moved_px) break;
        *moved = true;
    }
    return status;
}

/* Reads the rims anew. What had been read through another lens may be wrong: where the new reading loses a clear circle, pins are looked
 * for anew. */
static ps_status read_anew(ps_context *ctx, ps_job *job, bool moved) {
    ps_pin_models kept = job->pins;
    double worth = worth_of_pins(job, PS_OK);
    ps_status status = reread_rims(ctx, job);
    if (status != PS_OK || !moved || !several(job) || worth_of_pins(job, PS_OK) > worth - worth_of_circle) return status;
    ps_pin_models reread = job->pins;
    double had = worth_of_pins(job, PS_OK);
    ps_job_each(job, ps_job_propose);
    status = assign_rims(ctx, job, false);
    if (status == PS_NO_MEMORY) return status;
    if (status != PS_OK || job->pins.count < kept.count || worth_of_pins(job, PS_OK) < had)
        job->pins = reread;
    else
        job->pins.rival_mm = fmax(job->pins.rival_mm, reread.rival_mm);
    return PS_OK;
}

/* Photos that speak against the rest are left out, and the rest is solved anew with the rims as they are traced. */
static ps_status leave_out(ps_context *ctx, ps_job *job, ps_status status) {
    bool changed = false;
    if (status != PS_OK && status != PS_NO_CONVERGENCE) return status;
    ps_status looked = ps_job_leave_out(ctx, job, &job->doubts, &changed);
    if (looked != PS_OK) return looked;
    if (!changed) return status;
    status = ps_job_solve(ctx, job);
    return status == PS_OK ? ps_job_solve_rims(ctx, job) : status;
}

static bool poorly_read(const ps_job *job) {
    return pins_worth(job, PS_JOB_WORTH_PLAIN) < job->pins.count;
}

/* One reading of both pins through the lens as it is, traced and solved for. A reading that does not go together leaves the one before. */
static ps_status read_once(ps_context *ctx, ps_job *job, bool moved, bool *kept) {
    ps_pin_models before = job->pins;
    *kept = false;
    ps_status status = read_anew(ctx, job, moved);
    if (status != PS_OK) return status;
    job->lens_settled = true;
    status = trace_and_solve(ctx, job);
    if (status != PS_NO_CONVERGENCE) return status;
    *kept = true;
    job->pins = before;
    return trace_and_solve(ctx, job);
}

/* Reads the rims through the lens that they have tied down, and again where that moves it by much, or at all and a pin can hardly be read:
 * then circles of the photos may not lie on each other yet, and the other pin's, however clear, may be taken for their neighbours. */
static ps_status final_readings(ps_context *ctx, ps_job *job, bool moved) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view before[PS_ADJUST_PHOTOS_MAX];
    ps_status status = PS_OK;
    bool kept = false, better = false;
    for (int round = 0; status == PS_OK && round < ROUNDS_MAX; round++) {
        ps_job_views(job, lumas, before);
        status = read_once(ctx, job, moved, &kept);
        if (status != PS_OK || kept || !several(job)) return status;
        double by_px = pins_moved_px(job, before);
        moved = by_px >= moved_px;
        if (by_px < (poorly_read(job) ? stirred_px : moved_px)) break;
    }
    if (status == PS_OK) status = ps_job_second_look(ctx, job, &better);
    return status == PS_OK && better ? read_once(ctx, job, false, &kept) : status;
}

static bool gave_up(const ps_job *job) {
    return job->stray.lost || job->stray.photo >= 0;
}

/* Cameras that were false even so are set right, and what was read through them is read anew. */
static ps_status read_what_strayed(ps_context *ctx, ps_job *job) {
    ps_status status = PS_OK;
    bool strayed = true, kept;
    for (int round = 0; round < ROUNDS_MAX && status == PS_OK && strayed; round++) {
        status = ps_job_follow(ctx, job, &strayed);
        if (gave_up(job)) break;
        if (status == PS_OK && strayed) status = read_once(ctx, job, false, &kept);
    }
    return status;
}

/* Both edges of every chamfer, as far as they show. *found: some that were not there. */
static ps_status complete_chamfers(ps_context *ctx, ps_job *job, bool *found) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    double start = ps_job_cpu_s();
    *found = false;
    ps_job_views(job, lumas, views);
    for (int p = 0; p < job->pins.count; p++) {
        ps_status status = ps_rim_complete_chamfers(ctx, job->problem.photo_count, lumas, views, &job->pins.pin[p]);
        if (status == PS_NO_MEMORY) return status;
        *found = *found || status == PS_OK;
    }
    job->section_s += ps_job_cpu_s() - start;
    return PS_OK;
}

/* Ends are to have both edges of their chamfers, twice where some are found: what was one edge had held the cameras a little off. This
 * comes after photos that contradict the rest are out: by those nothing can be told apart so finely. */
static ps_status finish_chamfers(ps_context *ctx, ps_job *job) {
    ps_status status = PS_OK;
    for (int round = 0; status == PS_OK && round < CHAMFER_ROUNDS; round++) {
        bool found;
        ps_job_predict(job, 0.15, 0.1);
        status = complete_chamfers(ctx, job, &found);
        if (status != PS_OK || !found) break;
        status = trace_and_solve(ctx, job);
    }
    return status;
}

static bool any_gap(const ps_job *job) {
    for (int p = 0; p < job->pins.count; p++)
        if (job->pins.pin[p].evidence.ring_mm > 0) return true;
    return false;
}

/* A pin that lies in its bush, flush or sunk, may have been overlooked: its bush, standing in a boss, was taken for it. That is asked last,
 * for the bush's edges had held the cameras well, and what shows in the gap holds them worse. */
static ps_status look_into_bushes(ps_context *ctx, ps_job *job) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    ps_pin_models before = job->pins;
    bool found = false;
    if (!any_gap(job)) return PS_OK;
    ps_job_views(job, lumas, views);
    ps_job_predict(job, 0.3, 0.15);
    double start = ps_job_cpu_s();
    for (int p = 0; p < job->pins.count; p++) {
        ps_status status = ps_rim_look_into_bush(ctx, job->problem.photo_count, lumas, views, &job->pins.pin[p]);
        if (status == PS_NO_MEMORY) return status;
        found = found || status == PS_OK;
        before.pin[p].evidence.ring_mm = job->pins.pin[p].evidence.ring_mm; /* what was found out of it */
    }
    job->section_s += ps_job_cpu_s() - start;
    if (!found) {
        job->pins = before;
        return PS_OK;
    }
    ps_status status = trace_and_solve(ctx, job);
    if (status == PS_OK) status = ps_job_look_again(ctx, job, 0.15, 0.1);
    if (status != PS_NO_CONVERGENCE) return status;
    job->pins = before;
    return trace_and_solve(ctx, job);
}

static ps_status measure_by(ps_context *ctx, ps_job *job, bool follow) {
    bool moved = false, strayed;
    ps_status status = first_solution(ctx, job, &moved);
    if (status == PS_NO_CONVERGENCE) status = leave_out(ctx, job, status);
    if (status == PS_OK) status = ps_job_look_again(ctx, job, 0.3, 0.15); /* rims have tied down the lens at the photos' border */
    if (status == PS_OK && follow) status = ps_job_follow(ctx, job, &strayed);
    if (status != PS_OK || (follow && gave_up(job))) return status;
    status = final_readings(ctx, job, moved);
    if (status == PS_OK && follow) status = read_what_strayed(ctx, job);
    if (follow && gave_up(job)) return status;
    if (status == PS_OK) status = ps_job_look_again(ctx, job, 0.15, 0.1);
    int photos = job->problem.photo_count;
    status = leave_out(ctx, job, status);
    if (status == PS_OK) status = look_into_bushes(ctx, job);
    bool again = status == PS_OK && ps_job_name_bores(job);
    if (status == PS_OK && (again || job->problem.photo_count < photos)) status = ps_job_look_again(ctx, job, 0.15, 0.1);
    if (status == PS_OK) status = ps_job_leave_exif(ctx, job);
    if (status == PS_OK) status = finish_chamfers(ctx, job);
    if (status == PS_OK) status = ps_job_drop_odd_edges(ctx, job);
    if (status == PS_OK) look_at_walls(job);
    if (status == PS_OK) ps_job_name_bushes(job);
    return status;
}

ps_status ps_job_cameras_anew(ps_context *ctx, ps_job *job, const bool *out) {
    ps_job_forget(job);
    job->doubts = (ps_notes){.count = 0};
    for (int i = 0; i < job->count; i++) job->photo[i].odd = false, job->photo[i].out = out[i];
    return ps_job_cameras(ctx, job);
}

/* Rims of several photos are followed, but not where that leads to no rest: there photos contradict each other, and what bends to all of
 * them hides which. */
ps_status ps_job_measure_rims(ps_context *ctx, ps_job *job) {
    bool out[PS_ADJUST_PHOTOS_MAX];
    for (int i = 0; i < job->count; i++) out[i] = job->photo[i].out;
    memset(&job->stray, 0, sizeof job->stray);
    job->stray.photo = -1;
    ps_status status = measure_by(ctx, job, several(job));
    if (status == PS_NO_MEMORY || !(gave_up(job) || (status != PS_OK && job->stray.rounds > 0))) return status;
    status = ps_job_cameras_anew(ctx, job, out);
    return status == PS_OK ? measure_by(ctx, job, false) : status;
}
