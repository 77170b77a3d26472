/* Do the photos show the rims where the solution has them? A false lens, once rims were traced through it, confirms itself: every photo's
 * edges are looked for beside the prediction, and arcs of true rims, here and there, lie beside a false one. */
#include "gauge/job.h"

enum { ROUNDS_MAX = 3, STRAY_ROUNDS = 3 };
/* Agreement that is found elsewhere, of what there is here. Where cameras are right it is under 0.002, where they are not 0.004 to 0.25
 * (photos of the project's own generator). */
static const double stray_least = 0.003;
static const double lost_least = 0.7; /* of the agreement before, when rims are lost by following */
/* Of one photo alone: its part of what all photos gain, over all rounds and in the present one, and what each pin gains of its own. */
static const double alone_all = 0.6, alone_now = 0.8, alone_own = 0.02;

static void follow_photo(ps_context *ctx, ps_job *job, int i) {
    ps_job_photo *p = &job->photo[i];
    bool wanted[PS_ROLE_COUNT] = {false};
    if (p->adjust_index < 0) return;
    double start = ps_job_cpu_s();
    ps_view view;
    ps_adjust_view(job->solution, p->adjust_index, &view);
    /* A pin that can hardly be read has no rims that are worth following. */
    for (int k = 0; k < job->pins.count; k++) wanted[k] = job->pins.pin[k].evidence.worth >= PS_RIM_WORTH_LEAST;
    ps_rim_traces_clear(&p->followed);
    ps_status status = ps_rim_follow_photo(ctx, &p->photo.luma, &view, &job->pins, wanted, &p->followed, p->worth);
    for (int k = 0; k < PS_ROLE_COUNT && status != PS_OK; k++) p->worth[k] = (ps_rim_followed){0, 0};
    if (status == PS_NO_MEMORY) p->status = status;
    p->seconds[3] += ps_job_cpu_s() - start;
}

static double gain_of(const ps_job *job, int k) {
    double gain = 0;
    for (int p = 0; p < PS_ROLE_COUNT; p++)
        gain += job->photo[job->photo_of[k]].worth[p].there - job->photo[job->photo_of[k]].worth[p].here;
    return gain;
}

static double agreement_here(const ps_job *job) {
    double here = 0;
    for (int k = 0; k < job->problem.photo_count; k++)
        for (int p = 0; p < PS_ROLE_COUNT; p++) here += job->photo[job->photo_of[k]].worth[p].here;
    return here;
}

/* Whether rims lie elsewhere in the photos, taken together. */
static bool have_strayed(const ps_job *job) {
    double gain = 0;
    for (int k = 0; k < job->problem.photo_count; k++) gain += gain_of(job, k);
    return gain >= stray_least * agreement_here(job) && gain > 0;
}

/* Both pins, that is; one alone may be misread. */
static bool pins_stray(const ps_job_photo *photo) {
    for (int p = 0; p < PS_ROLE_COUNT; p++)
        if (!(photo->worth[p].there > (1 + alone_own) * photo->worth[p].here)) return false;
    return true;
}

/* Counts the round; the photo that strays alone whatever is solved. */
static int find_stray(ps_job *job) {
    double now = 0, all = 0;
    int odd = -1;
    for (int k = 0; k < job->problem.photo_count; k++) {
        now += gain_of(job, k);
        job->stray.gain[job->photo_of[k]] += gain_of(job, k);
    }
    for (int i = 0; i < job->count; i++) all += job->stray.gain[i];
    job->stray.rounds++;
    if (job->stray.rounds < STRAY_ROUNDS || job->problem.photo_count < PS_JOB_MAJORITY) return -1;
    for (int k = 0; k < job->problem.photo_count; k++) {
        int i = job->photo_of[k];
        bool alone = job->stray.gain[i] >= alone_all * all && gain_of(job, k) >= alone_now * now;
        if (alone && pins_stray(&job->photo[i])) odd = i;
    }
    return odd;
}

/* A pin that was not followed keeps its traces. */
static void keep_others(ps_rim_traces *from, ps_rim_traces *to) {
    bool followed[PS_ROLE_COUNT] = {false};
    for (int i = 0; i < to->count; i++) followed[to->trace[i].pin] = true;
    for (int i = 0; i < from->count; i++)
        if (!followed[from->trace[i].pin]) {
            to->trace[to->count++] = from->trace[i]; /* room for every rim of both */
            from->trace[i].point = NULL;
        }
}

static void take_followed(ps_job *job) {
    for (int k = 0; k < job->problem.photo_count; k++) {
        ps_job_photo *p = &job->photo[job->photo_of[k]];
        if (p->followed.count == 0) continue;
        keep_others(&p->traces, &p->followed);
        ps_rim_traces_clear(&p->traces);
        p->traces = p->followed;
        p->followed = (ps_rim_traces){0, NULL};
    }
}

static ps_status solve_followed(ps_context *ctx, ps_job *job) {
    take_followed(job);
    ps_status status = ps_job_solve_rims(ctx, job);
    return status == PS_OK ? ps_job_look_again(ctx, job, 0.3, 0.15) : status;
}

ps_status ps_job_follow(ps_context *ctx, ps_job *job, bool *strayed) {
    ps_status status = PS_OK;
    double before = 0;
    *strayed = false;
    for (int round = 0; round < ROUNDS_MAX && status == PS_OK; round++) {
        ps_job_predict(job, 0.3, 0.15);
        ps_job_each(job, follow_photo);
        job->stray.lost = agreement_here(job) < lost_least * before;
        if (job->stray.lost || !have_strayed(job)) break;
        *strayed = true;
        job->stray.photo = find_stray(job);
        if (job->stray.photo >= 0) break;
        before = agreement_here(job);
        status = solve_followed(ctx, job);
    }
    for (int i = 0; i < job->count; i++) ps_rim_traces_clear(&job->photo[i].followed);
    return status;
}
