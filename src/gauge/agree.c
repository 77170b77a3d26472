/* Photos that do not agree on where the pins stand. Where a sheet was moved or held, or a photo shows another machine, no pin explains all
 * photos and there is nothing to adjust; so it is looked for without each photo in turn, and in single photos. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "gauge/job.h"
#include "gauge/sentences.h"

/* Of a reading, in clear circles: as docs/verdicts.md has it, less is no pin. Single photos read less, since heights are open. */
static const double worth_least = 1.5, worth_alone_least = 1.0;
/* Pins that single photos show add up to what a pin and its bush show when they are seen, not all of it in one photo. */
static const double worth_alone_sum = 4;
static const double worth_alone_clear = 2; /* one pin alone, where the other is not read: such a one is read by two photos together too */
/* A pin's circle where it should show: proposed to a sample or two, through a camera that corners alone have placed. */
static const double place_mm = 3, radius_rel = 0.05;
/* Circles of the same two pins elsewhere in a photo: sizes and distance on one scale. */
static const double alike_rel = 0.03, support_least = 0.4, scale_least = 0.75, scale_most = 1.35;
/* The distance of the pins through a sheet that lies on their plate; a sheet off the plate changes it. A photo read alone guesses
 * the heights: 40 mm of them at half a metre are 8 %. */
static const double same_plane_rel = 0.02, alone_rel = 0.08;

/* Pins that some of the photos agree on. */
typedef struct agreement {
    int photos;
    ps_pin_models pins;
    double worth; /* of the fainter pin; negative: not both were found */
    double best;  /* of the clearer pin, 0 without one */
} agreement;

static double fainter(const ps_pin_models *pins) {
    return pins->count == PS_ROLE_COUNT ? fmin(pins->pin[0].evidence.worth, pins->pin[1].evidence.worth) : -1;
}

static double clearer(const ps_pin_models *pins) {
    double best = 0;
    for (int p = 0; p < pins->count; p++) best = fmax(best, pins->pin[p].evidence.worth);
    return best;
}

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
    *out = (agreement){.photos = n, .worth = -1};
    if (n == 0) return PS_OK;
    ps_status status = ps_rim_assign(ctx, n, lumas, views, candidates, toward_dipper, PS_DIRECTION_NONE, &out->pins);
    if (status == PS_OK) out->worth = fainter(&out->pins), out->best = clearer(&out->pins);
    return status == PS_NO_MEMORY ? status : PS_OK;
}

static ps_status read_alone(ps_context *ctx, const ps_job *job, int photo, agreement *out) {
    bool use[PS_ADJUST_PHOTOS_MAX] = {false};
    use[photo] = true;
    return read_some(ctx, job, use, out);
}

/* ---- what the odd photo has of these pins ---- */

/* A photo's stand over the world plane. */
typedef struct stand {
    double foot[2], rise;
} stand;

static stand stand_of(const ps_view *view) {
    ps_pose back;
    ps_pose_invert(&view->pose, &back);
    return (stand){{back.t[0], back.t[1]}, -back.t[2]};
}

/* How much larger a circle of that height shows in the world plane. */
static double swell(const stand *s, double height_mm) {
    return s->rise / (s->rise - height_mm);
}

static bool at_place(const ps_rim_candidate *c, const stand *s, const ps_pin_model *pin, const ps_pin_rim *rim) {
    double k = swell(s, rim->height_mm), at[2];
    for (int i = 0; i < 2; i++) at[i] = s->foot[i] + (pin->axis_point_mm[i] - s->foot[i]) * k;
    return hypot(c->x_mm - at[0], c->y_mm - at[1]) < place_mm;
}

/* How well a circle of the pin's size is supported where the photo should show it; 0: there is none. */
static double support_in_place(const ps_rim_candidates *c, const stand *s, const ps_pin_model *pin) {
    double best = 0;
    for (int r = 0; r < pin->rim_count; r++)
        for (int i = 0; i < c->count; i++)
            if (at_place(&c->item[i], s, pin, &pin->rim[r]) &&
                fabs(c->item[i].radius_mm / (swell(s, pin->rim[r].height_mm) * pin->rim[r].radius_mm) - 1) < radius_rel)
                best = fmax(best, c->item[i].support);
    return best < support_least ? 0 : best;
}

static double apart_mm(const ps_pin_models *pins) {
    return hypot(pins->pin[0].axis_point_mm[0] - pins->pin[1].axis_point_mm[0],
                 pins->pin[0].axis_point_mm[1] - pins->pin[1].axis_point_mm[1]);
}

/* Scale of the two circles against the two rims, 0 where sizes and distance do not go together. */
static double common_scale(const ps_rim_candidate *a, const ps_rim_candidate *b, double radius_a, double radius_b, double apart_mm) {
    double sizes = (a->radius_mm + b->radius_mm) / (radius_a + radius_b), distance = hypot(a->x_mm - b->x_mm, a->y_mm - b->y_mm) / apart_mm;
    if (fabs(a->radius_mm / radius_a / distance - 1) > alike_rel || fabs(b->radius_mm / radius_b / distance - 1) > alike_rel) return 0;
    return fabs(sizes / distance - 1) < alike_rel && distance > scale_least && distance < scale_most ? distance : 0;
}

/* The same two pins elsewhere in the photo: support of the best pair of circles, 0 where there is none, and in *scale their distance
 * over what a sheet on the plate would show. */
static double support_elsewhere(const ps_rim_candidates *c, const stand *s, const ps_pin_models *pins, double *scale) {
    const ps_pin_model *p = &pins->pin[0], *q = &pins->pin[1];
    double apart = apart_mm(pins), best = 0;
    for (int i = 0; i < c->count; i++)
        for (int j = 0; j < c->count; j++) {
            const ps_rim_candidate *a = &c->item[i], *b = &c->item[j];
            double support = fmin(a->support, b->support);
            if (i == j || support < fmax(support_least, best)) continue;
            for (int k = 0; k < p->rim_count * q->rim_count; k++) {
                const ps_pin_rim *ra = &p->rim[k % p->rim_count], *rb = &q->rim[k / p->rim_count];
                if (ra->edge != rb->edge || at_place(a, s, p, ra) || at_place(b, s, q, rb)) continue;
                double common = common_scale(a, b, ra->radius_mm, rb->radius_mm, apart);
                if (common > 0) *scale = common / swell(s, 0.5 * (ra->height_mm + rb->height_mm)), best = support;
            }
        }
    return best;
}

/* Whether the photo by itself shows a bush of about a size that the others have: heights are open, so that pins are told less well. */
static bool shows_alike(const agreement *alone, const ps_pin_models *pins) {
    for (int p = 0; p < alone->pins.count; p++) {
        const ps_pin_model *own = &alone->pins.pin[p];
        if (own->evidence.worth < worth_alone_least) continue;
        for (int q = 0; q < pins->count; q++)
            for (int k = 0; k < own->rim_count * pins->pin[q].rim_count; k++) {
                const ps_pin_rim *a = &own->rim[k % own->rim_count], *b = &pins->pin[q].rim[k / own->rim_count];
                if (a->edge == PS_EDGE_BUSH && b->edge == PS_EDGE_BUSH && fabs(a->radius_mm / b->radius_mm - 1) < alone_rel) return true;
            }
    }
    return false;
}

static double radius_of(const ps_pin_model *pin, ps_edge edge) {
    for (int r = 0; r < pin->rim_count; r++)
        if (pin->rim[r].edge == edge) return pin->rim[r].radius_mm;
    return 0;
}

/* Whether a photo that shows two pins clearly by itself shows them of other sizes for their distance: a sheet that lies or is held
 * elsewhere changes all alike. */
static bool other_proportions(const agreement *alone, const ps_pin_models *pins) {
    bool other = false;
    if (alone->worth < worth_alone_clear || pins->count < PS_ROLE_COUNT) return false;
    double apart = apart_mm(&alone->pins) / apart_mm(pins);
    for (int p = 0; p < PS_ROLE_COUNT; p++) {
        double own = radius_of(&alone->pins.pin[p], PS_EDGE_BUSH), seen = radius_of(&pins->pin[p], PS_EDGE_BUSH);
        other = other || (own > 0 && seen > 0 && fabs(own / seen / apart - 1) > alone_rel);
    }
    return other;
}

static ps_code name(const ps_rim_candidates *c, const stand *s, const ps_pin_models *pins, const agreement *alone, bool *same) {
    double place[PS_ROLE_COUNT] = {0}, scale = 1, here = INFINITY, any = 0;
    double elsewhere = pins->count == PS_ROLE_COUNT ? support_elsewhere(c, s, pins, &scale) : 0;
    for (int p = 0; p < pins->count; p++) {
        place[p] = support_in_place(c, s, &pins->pin[p]);
        here = fmin(here, place[p]);
        any = fmax(any, place[p]);
    }
    if (here > 0 && here >= elsewhere) return PS_CODE_NO_PIN; /* it agrees, and its edges were no help */
    *same = elsewhere > 0 && !other_proportions(alone, pins);
    if (elsewhere > 0) return fabs(scale - 1) < same_plane_rel ? PS_CODE_PIECE_MOVED : PS_CODE_PIECE_HELD;
    if (any > 0) return PS_CODE_COUNT;
    if (pins->count < PS_ROLE_COUNT || alone->worth < worth_alone_least)
        return shows_alike(alone, pins) ? PS_CODE_PIECE_MOVED : PS_CODE_COUNT;
    return fabs(apart_mm(&alone->pins) / apart_mm(pins) - 1) < alone_rel ? PS_CODE_PIECE_MOVED : PS_CODE_OTHER_SCENE;
}

/* What a photo that is left out has against the pins that the others have measured. */
ps_status ps_job_accuse(ps_context *ctx, const ps_job *job, int photo, ps_code *code, bool *same) {
    const ps_luma *luma = &job->photo[photo].photo.luma;
    const double toward_dipper[2] = {1, 0};
    ps_view view;
    ps_rim_mask masks[PS_ADJUST_PIECES_MAX];
    ps_rim_candidates candidates = {.count = 0};
    agreement alone = {.worth = -1};
    *code = PS_CODE_COUNT;
    *same = false;
    ps_status status = ps_job_place(ctx, job, photo, &view);
    if (status == PS_OK) status = ps_rim_propose(ctx, luma, &view, masks, ps_job_masks(job, masks), &candidates);
    if (status == PS_OK) {
        stand s = stand_of(&view);
        if (ps_rim_assign(ctx, 1, &luma, &view, &candidates, toward_dipper, PS_DIRECTION_NONE, &alone.pins) == PS_OK)
            alone.worth = fainter(&alone.pins);
        else
            alone.pins.count = 0;
        *code = name(&candidates, &s, &job->pins, &alone, same);
    }
    ps_rim_candidates_clear(&candidates);
    return status == PS_NO_MEMORY ? status : PS_OK;
}

/* ---- over all photos ---- */

/* What photos show together and alone. */
typedef struct hearing {
    int photos;
    agreement alone[PS_ADJUST_PHOTOS_MAX], without[PS_ADJUST_PHOTOS_MAX]; /* each photo by itself; all photos but it */
    double all;                                                           /* of the clearer pin, by all photos */
} hearing;

static ps_status hear(ps_context *ctx, const ps_job *job, hearing *h) {
    ps_status status = PS_OK;
    h->photos = job->problem.photo_count;
    h->all = clearer(&job->pins);
    for (int i = 0; i < h->photos && status == PS_OK; i++) {
        bool use[PS_ADJUST_PHOTOS_MAX];
        for (int k = 0; k < h->photos; k++) use[k] = k != i;
        status = read_alone(ctx, job, i, &h->alone[i]);
        h->without[i] = (agreement){.worth = -1};
        if (status == PS_OK && h->photos > 2) status = read_some(ctx, job, use, &h->without[i]);
    }
    return status;
}

/* The photo without which the others agree best on two pins; -1: none. */
static int odd_of_two_pins(const hearing *h) {
    double best = worth_least;
    int odd = -1;
    for (int i = 0; i < h->photos; i++)
        if (h->without[i].worth > best) best = h->without[i].worth, odd = i;
    return odd;
}

/* The one photo without which any pin is read while with it there is none, and which shows pins by itself; -1: none. What joins and what
 * parts photos must be plain: one photo that shows no pin, or two photos that do not go together, tell nothing of the others. */
static int odd_one_out(const hearing *h, double worth_of_all) {
    int odd = -1;
    for (int i = 0; i < h->photos; i++) {
        if (h->without[i].best < worth_least) {
            if (h->without[i].best >= worth_alone_least) return -1;
            continue;
        }
        if (odd >= 0) return -1;
        odd = i;
    }
    return odd >= 0 && h->without[odd].best > worth_of_all && h->alone[odd].best >= worth_alone_least ? odd : -1;
}

/* Whether photos show pins each for itself and no photos together the same. */
static bool nobody_agrees(const hearing *h) {
    int two = 0, any = 0;
    double clear = h->all, sum = 0, best = 0;
    for (int i = 0; i < h->photos; i++) {
        clear = fmax(clear, h->without[i].best);
        two += h->alone[i].worth >= worth_alone_least;
        any += h->alone[i].worth >= worth_alone_least || h->alone[i].best >= worth_alone_clear;
        sum += h->alone[i].best;
        best = fmax(best, h->alone[i].best);
    }
    return two >= 2 || (any >= 2 && clear < worth_least) || (clear <= 0 && sum >= worth_alone_sum && sum - best >= worth_least);
}

/* Whether the sheet moved or the machine is another nobody can say. */
static void say_nobody_agrees(ps_job *job) {
    ps_notes_add(&job->early, PS_CODE_PIECE_HELD,
                 "The photos show the pins, but not in one place beside the sheet: it was held by hand or moved between the photos.");
    ps_notes_add(&job->early, PS_CODE_OTHER_SCENE, "Or the photos do not all show the same machine.");
}

static bool any_pin_alone(const hearing *h) {
    double best = 0;
    for (int i = 0; i < h->photos; i++) best = fmax(best, h->alone[i].best);
    return best >= worth_least;
}

ps_status ps_job_agree(ps_context *ctx, ps_job *job, ps_agreement *out) {
    hearing *h = calloc(1, sizeof *h);
    *out = (ps_agreement){.odd = -1};
    if (!h) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory to compare photos");
    ps_status status = job->solution && job->problem.photo_count >= 2 ? hear(ctx, job, h) : PS_OK;
    if (status == PS_OK && any_pin_alone(h)) { /* else no pins to agree on: dirt, or photos of something else */
        out->pins = true;
        int odd = odd_of_two_pins(h);
        if (odd < 0) odd = odd_one_out(h, h->all);
        if (odd >= 0) out->odd = job->photo_of[odd];
        out->nobody = nobody_agrees(h);
        if (out->nobody) say_nobody_agrees(job);
    }
    free(h);
    return status;
}

ps_status ps_job_doubt_agreement(ps_context *ctx, const ps_job *job, int *odd) {
    *odd = -1;
    double faint = fainter(&job->pins);
    if (job->problem.photo_count < 3 || faint < 0 || faint >= worth_least) return PS_OK;
    hearing *h = calloc(1, sizeof *h);
    if (!h) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory to compare photos");
    ps_status status = hear(ctx, job, h);
    int one = status == PS_OK ? odd_one_out(h, faint) : -1;
    if (one >= 0 && h->without[one].worth > worth_least) *odd = job->photo_of[one];
    free(h);
    return status;
}
