/* What a photo that was left out, or should be, has against the pins that the others have measured: its circles say where they may be in
 * it (circles.c), its edges whether they are there (elsewhere.c). */
#include <math.h>

#include "gauge/elsewhere.h"
#include "gauge/hearing.h"
#include "gauge/job.h"
#include "gauge/quality.h"

enum { ODD_EDGES_LEAST = 2 };

/* What photos that are part of the adjustment show of the pins where they are; `but`: not this job photo. */
static double usual_fit(const ps_job *job, int but) {
    double sum = 0, most = 0;
    int n = 0;
    ps_circles_fit fit[PS_ADJUST_PHOTOS_MAX];
    for (int k = 0; k < job->problem.photo_count; k++) {
        ps_view view;
        ps_adjust_view(job->solution, k, &view);
        ps_stand stand = ps_stand_of(&view);
        ps_circles_here(&job->photo[job->photo_of[k]].candidates, &stand, &job->pins, &fit[k]);
        if (job->photo_of[k] != but) most = fmax(most, fit[k].here);
    }
    for (int k = 0; k < job->problem.photo_count; k++)
        if (job->photo_of[k] != but && !ps_circles_silent(&fit[k], most)) sum += fit[k].here, n++;
    return n > 0 ? sum / n : 0;
}

/* Whether the photo has a plain circle in common with one that is part of the adjustment. */
static bool meets_any(const ps_job *job, int photo, const ps_rim_candidates *own, const ps_stand *stand) {
    for (int k = 0; k < job->problem.photo_count; k++) {
        ps_view view;
        bool plain;
        ps_adjust_view(job->solution, k, &view);
        ps_stand other = ps_stand_of(&view);
        if (job->photo_of[k] != photo && ps_circles_meet(own, stand, &job->photo[job->photo_of[k]].candidates, &other, &plain)) return true;
    }
    return false;
}

/* What sound photos show of the pins, each pin's mean; `but`: not this job photo. */
static ps_status usual_shown(ps_context *ctx, const ps_job *job, int but, ps_pins_shown *out) {
    int n = 0;
    *out = (ps_pins_shown){{0}};
    for (int k = 0; k < job->problem.photo_count; k++) {
        ps_view view;
        ps_pins_shown own;
        if (job->photo_of[k] == but) continue;
        ps_adjust_view(job->solution, k, &view);
        ps_status status = ps_pins_show(ctx, &job->photo[job->photo_of[k]].photo.luma, &view, &job->pins, &own);
        if (status != PS_OK) return status;
        for (int p = 0; p < PS_ROLE_COUNT; p++) out->share[p] += own.share[p];
        n++;
    }
    for (int p = 0; p < PS_ROLE_COUNT && n > 0; p++) out->share[p] /= n;
    return PS_OK;
}

/* Where sound photos have the pins when they are looked at as the odd one is: by their sheets alone. */
static ps_status usual_places(ps_context *ctx, const ps_job *job, int but, const ps_pins_shown *usual, ps_elsewhere *to) {
    const ps_circles_guesses none = {.count = 0};
    for (int k = 0; k < job->problem.photo_count; k++) {
        ps_view view;
        ps_elsewhere e;
        int photo = job->photo_of[k];
        if (photo == but || ps_job_place(ctx, job, photo, &view) != PS_OK) continue;
        ps_status status = ps_elsewhere_seek(ctx, &job->photo[photo].photo.luma, &view, &job->pins, usual, &none, &e);
        if (status != PS_OK) return status;
        if (e.found) ps_elsewhere_compare(to, &e);
    }
    return PS_OK;
}

static ps_status look_elsewhere(ps_context *ctx, const ps_job *job, int photo, const ps_view *view, const ps_circles_guesses *guesses,
                                ps_elsewhere *out) {
    ps_pins_shown usual;
    ps_status status = usual_shown(ctx, job, photo, &usual);
    if (status == PS_OK) status = ps_elsewhere_seek(ctx, &job->photo[photo].photo.luma, view, &job->pins, &usual, guesses, out);
    if (status == PS_OK && out->found) status = usual_places(ctx, job, photo, &usual, out);
    return status;
}

/* Whether the picture would show both pins where they should be: else that they are not there says nothing. */
static bool would_show(const ps_job *job, const ps_luma *luma, const ps_view *view) {
    for (int p = 0; p < job->pins.count; p++) {
        const ps_pin_model *pin = &job->pins.pin[p];
        ps_pin_rim foot = {.radius_mm = pin->rim_count > 0 ? pin->rim[0].radius_mm : 0};
        ps_circle3 circle = ps_rim_circle(pin, &foot);
        if (ps_gauge_cut_off(luma, view, &circle)) return false;
    }
    return true;
}

/* Two pins, or circles enough for two; one by itself where the picture would show both: it may have been taken for another part. */
static bool is_legible(const ps_job *job, const ps_luma *luma, const ps_view *view, const ps_pin_models *alone, const ps_circles_fit *fit,
                       double usual) {
    if (ps_heard_fainter(alone) >= PS_HEARD_ALONE_LEAST || ps_circles_legible(fit, usual)) return true;
    return ps_heard_clearer(alone) >= PS_HEARD_ALONE_LEAST && would_show(job, luma, view);
}

static ps_status accuse(ps_context *ctx, const ps_job *job, int photo, const ps_view *view, ps_code *code) {
    const ps_luma *luma = &job->photo[photo].photo.luma;
    const double toward_dipper[2] = {1, 0};
    ps_rim_mask masks[PS_ADJUST_PIECES_MAX];
    ps_rim_candidates candidates = {.count = 0};
    ps_pin_models alone = {.count = 0};
    ps_status status = ps_rim_propose(ctx, luma, view, masks, ps_job_masks(job, masks), &candidates);
    if (status == PS_OK) {
        ps_stand stand = ps_stand_of(view);
        ps_circles_fit fit;
        ps_circles_guesses guesses;
        ps_elsewhere e;
        if (ps_rim_assign(ctx, 1, &luma, view, &candidates, toward_dipper, PS_DIRECTION_NONE, false, &alone) != PS_OK) alone.count = 0;
        ps_circles_seek(&candidates, &stand, &job->pins, &fit, &guesses);
        double usual = usual_fit(job, photo);
        *code = ps_circles_name(&fit, usual, ps_heard_clearer(&alone) >= PS_HEARD_ALONE_LEAST, meets_any(job, photo, &candidates, &stand));
        status = look_elsewhere(ctx, job, photo, view, &guesses, &e);
        if (status == PS_OK) *code = ps_elsewhere_judge(&e, *code, is_legible(job, luma, view, &alone, &fit, usual));
    }
    ps_rim_candidates_clear(&candidates);
    return status;
}

ps_status ps_job_accuse(ps_context *ctx, const ps_job *job, int photo, ps_code *code, bool *same) {
    ps_view view;
    *code = PS_CODE_COUNT;
    ps_status status = ps_job_place(ctx, job, photo, &view);
    if (status == PS_OK) status = accuse(ctx, job, photo, &view, code);
    *same = *code == PS_CODE_PIECE_MOVED || *code == PS_CODE_PIECE_HELD;
    return status == PS_NO_MEMORY ? status : PS_OK;
}

/* Pins that can hardly be read say nothing of where others are. */
static bool any_readable_pin(const ps_job *job) {
    bool any = false;
    for (int p = 0; p < job->pins.count; p++)
        any = any || (job->pins.pin[p].evidence.read && job->pins.pin[p].evidence.worth >= PS_RIM_WORTH_LEAST);
    return any;
}

ps_status ps_job_accuse_fairly(ps_context *ctx, const ps_job *job, int photo, ps_code *code, bool *same) {
    *code = PS_CODE_COUNT;
    *same = false;
    return any_readable_pin(job) ? ps_job_accuse(ctx, job, photo, code, same) : PS_OK;
}

/* Nothing where the pins are, and no plain circle in common with the others. */
static bool is_silent(const ps_job *job, int photo, const ps_view *view) {
    ps_circles_fit fit;
    const ps_rim_candidates *own = &job->photo[photo].candidates;
    ps_stand stand = ps_stand_of(view);
    ps_circles_here(own, &stand, &job->pins, &fit);
    return ps_circles_silent(&fit, usual_fit(job, photo)) && !meets_any(job, photo, own, &stand);
}

/* One edge may have been taken for its neighbour; two are seldom. */
static bool is_silenced(const ps_job *job, int photo) {
    const ps_rim_traces *t = &job->photo[photo].traces;
    int odd = 0;
    for (int i = 0; i < t->count; i++) odd += t->trace[i].odd;
    return odd >= ODD_EDGES_LEAST;
}

bool ps_job_mute(const ps_job *job, int photo) {
    ps_view view;
    int at = job->photo[photo].adjust_index;
    if (at < 0 || job->pins.count < PS_ROLE_COUNT) return false;
    ps_adjust_view(job->solution, at, &view);
    return is_silenced(job, photo) || is_silent(job, photo, &view);
}
