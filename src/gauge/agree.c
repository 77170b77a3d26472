/* Photos that do not agree on where the pins stand. Where a sheet was moved or held, or a photo shows another machine, no pin explains all
 * photos and there is nothing to adjust; so it is looked for without each photo in turn, and in single photos. */
#include "gauge/circles.h"
#include "gauge/hearing.h"
#include "gauge/job.h"
#include "gauge/sentences.h"

/* Pins that some of the photos agree on. */
typedef struct agreement {
    ps_pin_models pins;
    double worth; /* of the fainter pin; negative: not both were found */
    double best;  /* of the clearer pin, 0 without one */
} agreement;

static ps_status read_some(ps_context *ctx, const ps_job *job, const bool use[PS_ADJUST_PHOTOS_MAX], agreement *out) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    ps_rim_candidates candidates[PS_ADJUST_PHOTOS_MAX];
    const double toward_dipper[2] = {1, 0};
    int n = 0;
    ps_job_views(job, lumas, views);
    for (int i = 0; i < job->problem.photo_count; i++) {
        if (!use[i]) continue;
        lumas[n] = lumas[i], views[n] = views[i];
        candidates[n++] = job->photo[job->photo_of[i]].candidates;
    }
    *out = (agreement){.worth = -1};
    if (n == 0) return PS_OK;
    ps_status status = ps_rim_assign(ctx, n, lumas, views, candidates, toward_dipper, PS_DIRECTION_NONE, false, &out->pins);
    if (status == PS_OK) out->worth = ps_heard_fainter(&out->pins), out->best = ps_heard_clearer(&out->pins);
    return status == PS_NO_MEMORY ? status : PS_OK;
}

static ps_status read_alone(ps_context *ctx, const ps_job *job, int photo, agreement *out) {
    bool use[PS_ADJUST_PHOTOS_MAX] = {false};
    use[photo] = true;
    return read_some(ctx, job, use, out);
}

static void meetings_of(const ps_job *job, ps_meetings *m) {
    ps_view view;
    ps_stand stand[PS_ADJUST_PHOTOS_MAX];
    *m = (ps_meetings){.photos = job->problem.photo_count};
    for (int i = 0; i < m->photos; i++) {
        ps_adjust_view(job->solution, i, &view);
        stand[i] = ps_stand_of(&view);
        for (int k = 0; k < i; k++) {
            bool plain;
            m->met[i][k] = m->met[k][i] = ps_circles_meet(&job->photo[job->photo_of[i]].candidates, &stand[i],
                                                          &job->photo[job->photo_of[k]].candidates, &stand[k], &plain);
            if (plain) m->plain[i] = m->plain[k] = true;
        }
    }
}

bool ps_job_parted(const ps_job *job) {
    ps_meetings m;
    ps_meetings_verdict v;
    if (!job->solution) return false;
    meetings_of(job, &m);
    ps_meetings_judge(&m, &v);
    return v.parted;
}

/* ---- over all photos ---- */

static ps_heard heard_of(const agreement *a) {
    return (ps_heard){a->worth, a->best};
}

static ps_status hear(ps_context *ctx, const ps_job *job, ps_hearing *h) {
    ps_status status = PS_OK;
    *h = (ps_hearing){.photos = job->problem.photo_count, .all = ps_heard_clearer(&job->pins)};
    for (int i = 0; i < h->photos && status == PS_OK; i++) {
        agreement part;
        bool use[PS_ADJUST_PHOTOS_MAX];
        for (int k = 0; k < h->photos; k++) use[k] = k != i;
        status = read_alone(ctx, job, i, &part);
        h->alone[i] = heard_of(&part);
        h->without[i] = (ps_heard){-1, 0};
        if (status != PS_OK || h->photos <= 2) continue;
        status = read_some(ctx, job, use, &part);
        h->without[i] = heard_of(&part);
    }
    return status;
}

/* Whether the sheet moved or the machine is another nobody can say. */
static void say_nobody_agrees(ps_job *job) {
    ps_notes_add(&job->early, PS_CODE_PIECE_HELD,
                 "The photos show the pins, but not in one place beside the sheet: it was held by hand or moved between the photos.");
    ps_notes_add(&job->early, PS_CODE_OTHER_SCENE, "Or the photos do not all show the same machine.");
}

/* What plain circles tell where pins are not read. Where they join all photos, these show one place, however little can be read of it. */
static void hear_circles(ps_job *job, ps_agreement *out) {
    ps_meetings m;
    ps_meetings_verdict v;
    meetings_of(job, &m);
    ps_meetings_judge(&m, &v);
    if (v.joined) out->nobody = false;
    if (v.odd >= 0 && out->odd < 0) out->odd = job->photo_of[v.odd], out->pins = true;
    if (v.nobody || v.parted) out->pins = out->nobody = true;
    if (v.odd >= 0 && job->pins.count == 0) say_nobody_agrees(job); /* counts where the others show no pins by themselves either */
}

ps_status ps_job_agree(ps_context *ctx, ps_job *job, ps_agreement *out) {
    ps_hearing h = {.photos = 0};
    *out = (ps_agreement){.odd = -1};
    ps_status status = job->solution && job->problem.photo_count >= 2 ? hear(ctx, job, &h) : PS_OK;
    if (status == PS_OK && ps_hearing_any_pin(&h)) { /* else no pins to agree on: dirt, or photos of something else */
        out->pins = true;
        int odd = ps_hearing_odd_of_two(&h);
        if (odd < 0) odd = ps_hearing_odd(&h, h.all);
        if (odd >= 0) out->odd = job->photo_of[odd];
        out->nobody = ps_hearing_nobody(&h);
    }
    if (status == PS_OK && job->solution) hear_circles(job, out);
    if (out->nobody) say_nobody_agrees(job);
    return status;
}

ps_status ps_job_doubt_agreement(ps_context *ctx, const ps_job *job, int *odd) {
    *odd = -1;
    double faint = ps_heard_fainter(&job->pins);
    ps_hearing h;
    if (job->problem.photo_count < 3 || faint < 0 || faint >= PS_HEARD_LEAST) return PS_OK;
    ps_status status = hear(ctx, job, &h);
    int one = status == PS_OK ? ps_hearing_odd(&h, faint) : -1;
    if (one >= 0 && h.without[one].fainter > PS_HEARD_LEAST) *odd = job->photo_of[one];
    return status;
}
