/* The whole way from photos to dimensions. Reads as the list of stages; each stage takes plain data from those before. */
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "gauge/job.h"
#include "gauge/sentences.h"

enum { THREADS_MAX = 64, ROUNDS_MAX = 3, MAJORITY = 3 };
static const double moved_px = 4;     /* of pins: as far as a rim is searched for */
static const double stirred_px = 0.5; /* enough to blur together the circles of several photos */
static const double worth_of_circle = 1;

double ps_job_cpu_s(void) {
    struct timespec t;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* ---- a pool that hands out photos ---- */

typedef struct pool {
    ps_job *job;
    void (*work)(ps_context *, ps_job *, int);
    pthread_mutex_t lock;
    int next;
} pool;

static void *worker(void *user) {
    pool *p = user;
    ps_context *ctx = ps_context_new();
    for (;;) {
        pthread_mutex_lock(&p->lock);
        int i = p->next < p->job->count ? p->next++ : -1;
        pthread_mutex_unlock(&p->lock);
        if (i < 0) break;
        ps_job_photo *photo = &p->job->photo[i];
        ps_status before = photo->status;
        p->work(ctx, p->job, i);
        /* A photo that had failed before is passed over: the context then still speaks of another one. */
        if (photo->status != PS_OK && photo->status != before && ctx) {
            strncpy(photo->message, ps_context_message(ctx), sizeof photo->message - 1);
            photo->message[sizeof photo->message - 1] = '\0';
        }
    }
    ps_context_free(ctx);
    return NULL;
}

void ps_job_each(ps_job *job, void (*work)(ps_context *ctx, ps_job *job, int i)) {
    pool p = {job, work, PTHREAD_MUTEX_INITIALIZER, 0};
    pthread_t thread[THREADS_MAX];
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    int wanted = job->options->threads > 0 ? job->options->threads : (int)(cores > 0 ? cores : 1), started = 0;
    if (wanted > job->count) wanted = job->count;
    if (wanted > THREADS_MAX) wanted = THREADS_MAX;
    while (started < wanted - 1 && pthread_create(&thread[started], NULL, worker, &p) == 0) started++;
    worker(&p); /* this thread takes part, and is enough when no other could be started */
    for (int i = 0; i < started; i++) pthread_join(thread[i], NULL);
    pthread_mutex_destroy(&p.lock);
}

/* ---- stages of one photo ---- */

static void read_photo(ps_context *ctx, ps_job *job, int i) {
    double start = ps_job_cpu_s();
    ps_job_photo *p = &job->photo[i];
    p->status = ps_photo_read(ctx, job->files[i], &job->options->limits, &p->photo);
    p->seconds[0] = ps_job_cpu_s() - start;
}

static void sight_photo(ps_context *ctx, ps_job *job, int i) {
    double start = ps_job_cpu_s();
    ps_job_photo *p = &job->photo[i];
    if (p->photo.luma.px) p->status = ps_target_sight(ctx, &p->photo.luma, &p->sightings);
    p->seconds[1] = ps_job_cpu_s() - start;
}

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

static void propose_rims(ps_context *ctx, ps_job *job, int i) {
    ps_job_photo *p = &job->photo[i];
    if (p->adjust_index >= 0) p->status = propose(ctx, job, i, ps_rim_propose, &p->candidates);
}

/* A photo that shows none so is none the worse. */
static void propose_coarsely(ps_context *ctx, ps_job *job, int i) {
    ps_job_photo *p = &job->photo[i];
    if (p->adjust_index >= 0 && propose(ctx, job, i, ps_rim_propose_coarsely, &p->coarser) == PS_NO_MEMORY) p->status = PS_NO_MEMORY;
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

static bool any_readable(const ps_job *job) {
    for (int i = 0; i < job->count; i++)
        if (job->photo[i].photo.luma.px) return true;
    return false;
}

/* Predict, look again, solve again: the first solution places every rim to about a pixel. */
static ps_status look_again(ps_context *ctx, ps_job *job, double sigma_height_mm, double sigma_radius_mm) {
    ps_job_predict(job, sigma_height_mm, sigma_radius_mm);
    ps_job_each(job, ps_job_trace);
    return ps_job_solve_rims(ctx, job);
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

/* Not both pins, or hardly to be read: perhaps the lens was bent by too few corners. */
static ps_status try_plain_lens(ps_context *ctx, ps_job *job, ps_status status) {
    double worth = worth_of_pins(job, status);
    ps_pin_models first = job->pins;
    if (ps_job_cameras_plain(ctx, job) != PS_OK) return status;
    ps_job_each(job, propose_rims);
    ps_status again = assign_rims(ctx, job, false);
    if (worth_of_pins(job, again) > worth || again == PS_NO_MEMORY) return again;
    job->pins = first;
    return status == PS_OK ? ps_job_solve(ctx, job) : status;
}

/* Perhaps rust and dirt drowned the rims' edges: a coarser look passes over them. */
static ps_status look_coarsely(ps_context *ctx, ps_job *job, ps_status status) {
    double worth = worth_of_pins(job, status);
    ps_pin_models first = job->pins;
    ps_job_each(job, propose_coarsely);
    ps_status again = assign_both(ctx, job);
    for (int i = 0; i < job->count; i++) ps_rim_candidates_clear(&job->photo[i].coarser);
    if (worth_of_pins(job, again) > worth || again == PS_NO_MEMORY) return again;
    job->pins = first;
    return status;
}

static ps_status find_pins(ps_context *ctx, ps_job *job) {
    ps_job_each(job, propose_rims);
    ps_status status = assign_rims(ctx, job, false);
    if (status != PS_OK && status != PS_NOT_FOUND) return status;
    if (worth_of_pins(job, status) < PS_ROLE_COUNT * PS_JOB_WORTH_PLAIN) status = try_plain_lens(ctx, job, status);
    return status == PS_NO_MEMORY || both_readable(job, status) ? status : look_coarsely(ctx, job, status);
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
        ps_job_each(job, ps_job_trace);
        status = ps_job_solve_rims(ctx, job);
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
    if (status != PS_OK || !moved || worth_of_pins(job, PS_OK) > worth - worth_of_circle) return status;
    ps_pin_models reread = job->pins;
    double had = worth_of_pins(job, PS_OK);
    ps_job_each(job, propose_rims);
    status = assign_rims(ctx, job, false);
    if (status == PS_NO_MEMORY) return status;
    if (status != PS_OK || job->pins.count < kept.count || worth_of_pins(job, PS_OK) < had) job->pins = reread;
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
    ps_job_each(job, ps_job_trace);
    status = ps_job_solve_rims(ctx, job);
    if (status != PS_NO_CONVERGENCE) return status;
    *kept = true;
    job->pins = before;
    ps_job_each(job, ps_job_trace);
    return ps_job_solve_rims(ctx, job);
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
        if (status != PS_OK || kept) return status;
        double by_px = pins_moved_px(job, before);
        moved = by_px >= moved_px;
        if (by_px < (poorly_read(job) ? stirred_px : moved_px)) break;
    }
    if (status == PS_OK) status = ps_job_second_look(ctx, job, &better);
    return status == PS_OK && better ? read_once(ctx, job, false, &kept) : status;
}

static ps_status measure_rims(ps_context *ctx, ps_job *job) {
    bool moved = false;
    ps_status status = first_solution(ctx, job, &moved);
    if (status == PS_NO_CONVERGENCE) status = leave_out(ctx, job, status);
    if (status == PS_OK) status = look_again(ctx, job, 0.3, 0.15); /* rims have tied down the lens at the photos' border */
    if (status != PS_OK) return status;
    status = final_readings(ctx, job, moved);
    if (status == PS_OK) status = look_again(ctx, job, 0.15, 0.1);
    int photos = job->problem.photo_count;
    status = leave_out(ctx, job, status);
    bool again = status == PS_OK && ps_job_name_bores(job);
    if (status == PS_OK && (again || job->problem.photo_count < photos)) status = look_again(ctx, job, 0.15, 0.1);
    if (status == PS_OK) status = ps_job_leave_exif(ctx, job);
    if (status == PS_OK) status = ps_job_drop_odd_edges(ctx, job);
    if (status == PS_OK) look_at_walls(job);
    if (status == PS_OK) ps_job_name_bushes(job);
    return status;
}

/* From the corners on, without one photo (-1: with all) and without those that stay out; what a false reading may have said of the photos
 * is forgotten. */
static ps_status measure_anew(ps_context *ctx, ps_job *job, int without) {
    ps_job_forget(job);
    job->doubts = (ps_notes){.count = 0};
    for (int i = 0; i < job->count; i++) job->photo[i].odd = false, job->photo[i].out = i == without || job->photo[i].stays_out;
    ps_status status = ps_job_cameras(ctx, job);
    return status == PS_OK ? measure_rims(ctx, job) : status;
}

/* Pins that can hardly be read say nothing of where others are. */
static bool any_readable_pin(const ps_job *job) {
    bool any = false;
    for (int p = 0; p < job->pins.count; p++)
        any = any || (job->pins.pin[p].evidence.read && job->pins.pin[p].evidence.worth >= PS_RIM_WORTH_LEAST);
    return any;
}

/* Measures without a photo that shows the pins elsewhere. *done: it does, and that was named; else all is as it was. */
static ps_status measure_without(ps_context *ctx, ps_job *job, int odd, bool *done) {
    ps_code code = PS_CODE_COUNT;
    bool same = false;
    ps_status status = measure_anew(ctx, job, odd);
    if (status == PS_OK && any_readable_pin(job)) status = ps_job_accuse(ctx, job, odd, &code, &same);
    if (status == PS_NO_MEMORY) return status;
    *done = code != PS_CODE_COUNT;
    job->photo[odd].out_code = code;
    if (!*done) return measure_anew(ctx, job, -1);
    job->photo[odd].stays_out = true;
    /* Two photos are no majority that checks itself, since any two can agree on a wrong circle, but where the third has the same sizes. */
    if (job->problem.photo_count < MAJORITY && !same && code != PS_CODE_NO_PIN) ps_gauge_say(&job->doubts, PS_SUBJECT_VALUE, code);
    return PS_OK;
}

/* No two pins explain all photos: perhaps they do without one. They are asked through the lens as it is, and as corners alone have it. */
static ps_status measure_agreed(ps_context *ctx, ps_job *job, bool *done) {
    ps_agreement agreed;
    *done = false;
    ps_status status = ps_job_agree(ctx, job, &agreed);
    if (status != PS_OK || !agreed.pins || (agreed.odd < 0 && agreed.nobody)) return status;
    if (agreed.odd < 0) {
        ps_job_forget(job);
        status = ps_job_cameras(ctx, job);
        if (status == PS_OK) ps_job_each(job, propose_rims);
        if (status == PS_OK) status = ps_job_agree(ctx, job, &agreed);
        if (status == PS_NO_MEMORY) return status;
    }
    if (agreed.odd >= 0) return measure_without(ctx, job, agreed.odd, done);
    status = measure_anew(ctx, job, -1); /* to where it was */
    return status == PS_NO_MEMORY ? status : PS_OK;
}

/* Both pins were read, but poorly: perhaps one photo shows others. */
static ps_status check_agreement(ps_context *ctx, ps_job *job) {
    int odd;
    bool done;
    ps_status status = ps_job_doubt_agreement(ctx, job, &odd);
    if (status != PS_OK || odd < 0) return status;
    return measure_without(ctx, job, odd, &done);
}

/* The same where EXIF names the focal length of another lens, or of a picture that was zoomed since. */
static ps_status measure_without_exif(ps_context *ctx, ps_job *job, ps_status status) {
    bool exif = false;
    for (int g = 0; g < job->problem.group_count; g++) exif = exif || job->group_source[g] == PS_CAMERA_EXIF;
    if (!exif || job->problem.photo_count < 2) return status;
    job->no_exif = true;
    ps_status again = measure_anew(ctx, job, -1);
    if (again == PS_OK && job->pins.count == PS_ROLE_COUNT) {
        ps_job_doubt_exif(ctx, job);
        return PS_OK;
    }
    job->no_exif = false;
    return again == PS_NO_MEMORY ? again : measure_anew(ctx, job, -1);
}

/* What was left out as another scene may show these very pins beside a sheet that lies elsewhere; pins in place are no other scene. */
static ps_status name_anew(ps_context *ctx, ps_job *job) {
    for (int i = 0; i < job->count; i++) {
        ps_job_photo *photo = &job->photo[i];
        ps_code code = PS_CODE_COUNT;
        if (!photo->out || photo->stays_out || photo->out_code != PS_CODE_OTHER_SCENE) continue;
        bool same;
        ps_status status = ps_job_accuse(ctx, job, i, &code, &same);
        if (status != PS_OK) return status;
        if (code == PS_CODE_NO_PIN)
            photo->out_code = PS_CODE_FIT_BAD;
        else if (code != PS_CODE_COUNT)
            photo->out_code = code;
    }
    return PS_OK;
}

/* Photos that show nothing where the pins are say nothing against them: their sheets stand in the adjustment all the same, and what was
 * traced there is chance. Where something names what they show instead, all is measured without them. */
static ps_status leave_silent_out(ps_context *ctx, ps_job *job) {
    ps_status status = PS_OK;
    for (bool done = true; done && status == PS_OK && job->problem.photo_count > 2;) {
        bool same;
        ps_code code;
        int silent = ps_job_silent(job);
        if (silent < 0) break;
        status = ps_job_accuse(ctx, job, silent, &code, &same);
        if (status != PS_OK || code == PS_CODE_COUNT || code == PS_CODE_NO_PIN) break;
        status = measure_without(ctx, job, silent, &done);
    }
    return status;
}

static bool names_a_place(ps_code code) {
    return code == PS_CODE_OTHER_SCENE || code == PS_CODE_PIECE_MOVED || code == PS_CODE_PIECE_HELD;
}

/* As many photos elsewhere as in place, or with sheets that do not join them: which of them are right nobody can say. */
static void doubt_parted(ps_job *job) {
    int out = 0;
    ps_code code = PS_CODE_OTHER_SCENE;
    if (!job->solution || job->problem.rim_count == 0) return;
    for (int i = 0; i < job->count; i++) {
        ps_code own = ps_job_left_out_for(job, i);
        if (names_a_place(own)) out++, code = own;
    }
    if (ps_job_parted(job)) ps_gauge_say(&job->doubts, PS_SUBJECT_VALUE, PS_CODE_OTHER_SCENE);
    if (out > 0 && out >= job->problem.photo_count) ps_gauge_say(&job->doubts, PS_SUBJECT_VALUE, code);
}

/* End-on photos first: they are told by the pins that they show. What shows none, or cannot be joined to them, may look into a gap. */
static ps_status sort_scenes(ps_context *ctx, ps_job *job, ps_status status) {
    if (status == PS_NO_MEMORY) return status;
    bool end_on = status == PS_OK && job->pins.count == PS_ROLE_COUNT;
    if (end_on)
        status = check_agreement(ctx, job);
    else
        status = measure_agreed(ctx, job, &end_on);
    if (status == PS_NO_MEMORY) return status;
    if (end_on && status == PS_OK) status = leave_silent_out(ctx, job);
    if (status == PS_NO_MEMORY) return status;
    if (end_on && name_anew(ctx, job) == PS_NO_MEMORY) return PS_NO_MEMORY;
    ps_status gap = ps_job_gap(ctx, job, !end_on);
    if (gap == PS_NO_MEMORY) return gap;
    if (gap != PS_OK) return end_on ? status : measure_without_exif(ctx, job, status);
    if (!end_on) { /* what is left over may be end-on */
        status = measure_anew(ctx, job, -1);
        if (status != PS_OK) ps_job_forget(job);
    }
    return status == PS_NO_MEMORY ? status : PS_OK;
}

/* The cause is what end-on photos lack; that no gap was found either is none. */
static ps_status measure_scenes(ps_context *ctx, ps_job *job) {
    char cause[300];
    ps_status end_on = measure_rims(ctx, job);
    (void)snprintf(cause, sizeof cause, "%s", ps_context_message(ctx));
    ps_status status = sort_scenes(ctx, job, end_on);
    doubt_parted(job);
    if (end_on == PS_OK || status == PS_OK || status == PS_NO_MEMORY) return status;
    return ps_context_fail(ctx, status, "%s", cause);
}

/* All over again: rims may have been taken for others through a false lens. */
static ps_status restart(ps_context *ctx, ps_job *job) {
    ps_job_gap_free(job->gap);
    job->gap = NULL;
    ps_job_forget(job);
    for (int i = 0; i < job->count; i++) {
        job->photo[i].elsewhere = job->photo[i].out = job->photo[i].odd = job->photo[i].stays_out = job->photo[i].exif_off = false;
        if (job->photo[i].photo.luma.px) job->photo[i].status = PS_OK;
    }
    job->doubts = job->early = (ps_notes){.count = 0};
    job->exif_out = false;
    ps_status status = ps_job_cameras(ctx, job);
    return status == PS_OK ? measure_scenes(ctx, job) : status;
}

/* The focal length that EXIF names was left out by what corners alone say: the whole adjustment is to say so too, else EXIF is believed
 * after all. Without pins nothing is measured, and what corners say stands. */
static ps_status judge_exif(ps_context *ctx, ps_job *job, ps_status status) {
    if (!job->exif_out || !job->solution || status == PS_NO_MEMORY) return status;
    ps_job_doubt_exif(ctx, job);
    if (ps_notes_have(&job->doubts, PS_CODE_FOCAL_CONTRADICTS) || status != PS_OK) return status;
    job->keep_exif = true;
    return restart(ctx, job);
}

static void job_clear(ps_job *job) {
    ps_job_gap_free(job->gap);
    for (int i = 0; job->photo && i < job->count; i++) {
        ps_photo_clear(&job->photo[i].photo);
        ps_rim_candidates_clear(&job->photo[i].candidates);
        ps_rim_traces_clear(&job->photo[i].traces);
    }
    free(job->photo);
    free(job->corner);
    free(job->edge);
    ps_adjust_solution_free(job->solution);
}

static bool any_value(const ps_record *record) {
    for (int i = 0; i < record->dimension_count; i++)
        if (record->dimension[i].verdict != PS_VERDICT_MISSING) return true;
    return false;
}

ps_status ps_measure(ps_context *ctx, const ps_measure_options *options, const char *const *files, int count, ps_record *record) {
    if (count < 1 || count > PS_ADJUST_PHOTOS_MAX)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "between 1 and %d photos can be measured together", PS_ADJUST_PHOTOS_MAX);
    ps_job *job = calloc(1, sizeof *job);
    if (!job) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the job");
    job->options = options;
    job->files = files;
    job->count = count;
    job->photo = calloc((size_t)count, sizeof *job->photo);
    ps_status status = job->photo ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the photos");
    if (status == PS_OK) {
        ps_job_each(job, read_photo);
        ps_job_each(job, sight_photo);
        ps_job_mark_copies(job);
        status = any_readable(job) ? ps_job_cameras(ctx, job) : ps_context_fail(ctx, PS_IO, "no photo could be read");
        if (status == PS_OK) status = measure_scenes(ctx, job);
        if (job->profile_restart && status != PS_NO_MEMORY) job->no_profile = true, status = restart(ctx, job);
        status = judge_exif(ctx, job, status);
        ps_status recorded = ps_job_record(ctx, job, record);
        if (recorded != PS_OK)
            status = recorded;
        else if (status != PS_OK && status != PS_IO && status != PS_NO_MEMORY)
            status = PS_NOT_FOUND;
        else if (status == PS_OK && !any_value(record)) /* what was found gave no size after all */
            status = ps_context_fail(ctx, PS_NOT_FOUND, "no size could be had from these photos");
    }
    job_clear(job);
    free(job);
    return status;
}
