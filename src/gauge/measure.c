/* The whole way from photos to dimensions. Reads as the list of stages; each stage takes plain data from those before. */
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "gauge/contradictions.h"
#include "gauge/job.h"
#include "gauge/sentences.h"

enum { THREADS_MAX = 64 };

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

static bool any_readable(const ps_job *job) {
    for (int i = 0; i < job->count; i++)
        if (job->photo[i].photo.luma.px) return true;
    return false;
}

/* From the corners on, without one photo (-1: with all) and without those that stay out; what a false reading may have said of the photos
 * is forgotten. */
static ps_status measure_anew(ps_context *ctx, ps_job *job, int without) {
    bool out[PS_ADJUST_PHOTOS_MAX];
    for (int i = 0; i < job->count; i++) out[i] = i == without || job->photo[i].stays_out;
    ps_status status = ps_job_cameras_anew(ctx, job, out);
    return status == PS_OK ? ps_job_measure_rims(ctx, job) : status;
}

/* Measures without a photo that shows the pins elsewhere. *done: it does, and that was named; else all is as it was. `strays`: that was
 * found more finely than its circles tell, so that in place by them it is where a sheet was moved by a little. */
static ps_status measure_without(ps_context *ctx, ps_job *job, int odd, bool strays, bool *done) {
    ps_code code = PS_CODE_COUNT;
    bool same = false;
    ps_status status = measure_anew(ctx, job, odd);
    if (status == PS_OK) status = ps_job_accuse_fairly(ctx, job, odd, &code, &same);
    if (status == PS_NO_MEMORY) return status;
    if (strays) same = false; /* nobody can say which photo of three it is */
    if (strays && code == PS_CODE_NO_PIN) code = PS_CODE_PIECE_MOVED;
    *done = code != PS_CODE_COUNT;
    job->photo[odd].out_code = code;
    if (!*done) return measure_anew(ctx, job, -1);
    job->photo[odd].stays_out = true;
    /* Two photos are no majority that checks itself, since any two can agree on a wrong circle, but where the third has the same sizes. */
    if (job->problem.photo_count < PS_JOB_MAJORITY && !same && code != PS_CODE_NO_PIN) ps_gauge_say(&job->doubts, PS_SUBJECT_VALUE, code);
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
        if (status == PS_OK) ps_job_each(job, ps_job_propose);
        if (status == PS_OK) status = ps_job_agree(ctx, job, &agreed);
        if (status == PS_NO_MEMORY) return status;
    }
    if (agreed.odd >= 0) return measure_without(ctx, job, agreed.odd, false, done);
    status = measure_anew(ctx, job, -1); /* to where it was */
    return status == PS_NO_MEMORY ? status : PS_OK;
}

/* Both pins were read, but poorly: perhaps one photo shows others. */
static ps_status check_agreement(ps_context *ctx, ps_job *job) {
    int odd;
    bool done;
    ps_status status = ps_job_doubt_agreement(ctx, job, &odd);
    if (status != PS_OK || odd < 0) return status;
    return measure_without(ctx, job, odd, false, &done);
}

/* One photo showed the pins elsewhere however all was solved, and nothing else says why. What it is may stay open: every value is doubted
 * then. */
static ps_status check_stray(ps_context *ctx, ps_job *job) {
    int odd = job->stray.photo;
    bool done, all_in = job->problem.photo_count >= PS_JOB_MAJORITY;
    for (int i = 0; i < job->count; i++) all_in = all_in && ps_job_left_out_for(job, i) == PS_CODE_COUNT;
    if (odd < 0 || !all_in || ps_gauge_contradicted(&job->doubts)) return PS_OK;
    ps_status status = measure_without(ctx, job, odd, true, &done);
    if (status != PS_NO_MEMORY && !done) ps_gauge_say(&job->doubts, PS_SUBJECT_VALUE, PS_CODE_FIT_BAD);
    return status;
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

/* What was left out as another scene may show these very pins beside a sheet that lies elsewhere, what was left out for its sheet's place
 * may show none of them, and what was left out without a name may get one; pins in place are no other scene. */
static ps_code named_anew(ps_code was, ps_code code) {
    bool place = was == PS_CODE_PIECE_MOVED || was == PS_CODE_PIECE_HELD;
    if (code == PS_CODE_COUNT || (place && code != PS_CODE_OTHER_SCENE)) return was; /* all edges together tell a place best */
    return code == PS_CODE_NO_PIN ? PS_CODE_FIT_BAD : code;
}

static ps_status name_anew(ps_context *ctx, ps_job *job) {
    for (int i = 0; i < job->count; i++) {
        ps_job_photo *photo = &job->photo[i];
        ps_code code = PS_CODE_COUNT;
        if (!photo->out || photo->stays_out || photo->out_code == PS_CODE_FOCAL_CONTRADICTS || photo->out_code == PS_CODE_PIECE_BENT)
            continue;
        bool same;
        ps_status status = ps_job_accuse(ctx, job, i, &code, &same);
        if (status != PS_OK) return status;
        photo->out_code = named_anew(photo->out_code, code);
    }
    return PS_OK;
}

/* Photos that show nothing where the pins are say nothing against them: their sheets stand in the adjustment all the same, and what was
 * traced there is chance. Nor do those of which edges were left out, once they were. Where something names what they show instead, all is
 * measured without them. */
static ps_status leave_mute_out(ps_context *ctx, ps_job *job) {
    ps_status status = PS_OK;
    for (int i = 0; i < job->count && status == PS_OK && job->problem.photo_count > 2; i++) {
        bool same, done;
        ps_code code;
        if (!ps_job_mute(job, i)) continue;
        status = ps_job_accuse(ctx, job, i, &code, &same);
        if (status == PS_OK && code != PS_CODE_COUNT && code != PS_CODE_NO_PIN) status = measure_without(ctx, job, i, false, &done);
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
    if (end_on) {
        status = check_agreement(ctx, job);
        if (status == PS_OK) status = check_stray(ctx, job);
    } else
        status = measure_agreed(ctx, job, &end_on);
    if (status == PS_NO_MEMORY) return status;
    if (end_on && status == PS_OK) status = leave_mute_out(ctx, job);
    if (status == PS_NO_MEMORY) return status;
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
    ps_status end_on = ps_job_measure_rims(ctx, job);
    (void)snprintf(cause, sizeof cause, "%s", ps_context_message(ctx));
    ps_status status = sort_scenes(ctx, job, end_on);
    if (status == PS_OK && job->solution && name_anew(ctx, job) == PS_NO_MEMORY) return PS_NO_MEMORY;
    doubt_parted(job);
    if (end_on == PS_OK || status == PS_OK || status == PS_NO_MEMORY) return status;
    return ps_context_fail(ctx, status, "%s", cause);
}

/* All over again: rims may have been taken for others through a false lens. */
static ps_status restart(ps_context *ctx, ps_job *job) {
    ps_job_gap_free(job->gap);
    job->gap = NULL;
    ps_job_forget(job);
    for (int i = 0; i < job->count; i++)
        job->photo[i].elsewhere = job->photo[i].out = job->photo[i].odd = job->photo[i].stays_out = job->photo[i].exif_off = false;
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
