/* Photos that do not agree on where the pins stand. Where a sheet was moved or held, or a photo shows another machine, no pin explains all
 * photos and there is nothing to adjust; so it is looked for without each photo in turn, and in single photos. */
#include <math.h>
#include <string.h>

#include "gauge/job.h"
#include "gauge/sentences.h"

/* Of a reading, in clear circles: as docs/verdicts.md has it, less is no pin. Single photos read less, since heights are open. */
static const double worth_least = 1.5, worth_alone_least = 1.0;
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

static ps_code name(const ps_rim_candidates *c, const stand *s, const ps_pin_models *pins, const agreement *alone) {
    double place[PS_ROLE_COUNT], scale = 1, elsewhere = support_elsewhere(c, s, pins, &scale);
    for (int p = 0; p < PS_ROLE_COUNT; p++) place[p] = support_in_place(c, s, &pins->pin[p]);
    double here = fmin(place[0], place[1]);
    if (here > 0 && here >= elsewhere) return PS_CODE_NO_PIN; /* it agrees, and its edges were no help */
    if (elsewhere > 0) return fabs(scale - 1) < same_plane_rel ? PS_CODE_PIECE_MOVED : PS_CODE_PIECE_HELD;
    if (fmax(place[0], place[1]) > 0 || alone->worth < worth_alone_least) return PS_CODE_COUNT;
    return fabs(apart_mm(&alone->pins) / apart_mm(pins) - 1) < alone_rel ? PS_CODE_PIECE_MOVED : PS_CODE_OTHER_SCENE;
}

/* What a photo that is left out has against the pins that the others have measured. */
ps_status ps_job_accuse(ps_context *ctx, const ps_job *job, int photo, ps_code *code) {
    const ps_luma *luma = &job->photo[photo].photo.luma;
    const double toward_dipper[2] = {1, 0};
    ps_view view;
    ps_rim_mask masks[PS_ADJUST_PIECES_MAX];
    ps_rim_candidates candidates = {.count = 0};
    agreement alone = {.worth = -1};
    *code = PS_CODE_COUNT;
    ps_status status = ps_job_place(ctx, job, photo, &view);
    if (status == PS_OK) status = ps_rim_propose(ctx, luma, &view, masks, ps_job_masks(job, masks), &candidates);
    if (status == PS_OK) {
        stand s = stand_of(&view);
        if (ps_rim_assign(ctx, 1, &luma, &view, &candidates, toward_dipper, PS_DIRECTION_NONE, &alone.pins) == PS_OK)
            alone.worth = fainter(&alone.pins);
        *code = name(&candidates, &s, &job->pins, &alone);
    }
    ps_rim_candidates_clear(&candidates);
    return status == PS_NO_MEMORY ? status : PS_OK;
}

/* ---- over all photos ---- */

/* The photo without which the others agree best on two pins; in *clear how clearly any pin is read by several photos. */
static ps_status without_one(ps_context *ctx, const ps_job *job, int *odd, double *clear) {
    int n = job->problem.photo_count;
    double best = worth_least;
    *odd = -1;
    *clear = clearer(&job->pins);
    for (int i = 0; i < n && n > 2; i++) {
        bool use[PS_ADJUST_PHOTOS_MAX];
        agreement a;
        for (int k = 0; k < n; k++) use[k] = k != i;
        ps_status status = read_some(ctx, job, use, &a);
        if (status != PS_OK) return status;
        if (a.worth > best) best = a.worth, *odd = i;
        *clear = fmax(*clear, a.best);
    }
    return PS_OK;
}

/* How many photos, each read alone, show two pins, and how many show at least one clearly; in *best how clear a pin is at best. */
static ps_status count_alone(ps_context *ctx, const ps_job *job, int *two, int *any, double *best) {
    *two = *any = 0, *best = 0;
    for (int i = 0; i < job->problem.photo_count; i++) {
        agreement alone;
        ps_status status = read_alone(ctx, job, i, &alone);
        if (status != PS_OK) return status;
        *two += alone.worth >= worth_alone_least;
        *any += alone.worth >= worth_alone_least || alone.best >= worth_alone_clear;
        *best = fmax(*best, alone.best);
    }
    return PS_OK;
}

/* Single photos show pins, and no photos together the same. Whether the sheet moved or the machine is another nobody can say. */
static void say_nobody_agrees(ps_job *job) {
    ps_notes_add(&job->early, PS_CODE_PIECE_HELD,
                 "The photos show the pins, but not in one place beside the sheet: it was held by hand or moved between the photos.");
    ps_notes_add(&job->early, PS_CODE_OTHER_SCENE, "Or the photos do not all show the same machine.");
}

ps_status ps_job_agree(ps_context *ctx, ps_job *job, int *odd) {
    double clear, best;
    int at, two, any;
    *odd = -1;
    if (!job->solution || job->problem.photo_count < 2) return PS_OK;
    ps_status status = count_alone(ctx, job, &two, &any, &best);
    if (status != PS_OK || best < worth_least) return status; /* no pins to agree on: dirt, or photos of something else */
    status = without_one(ctx, job, &at, &clear);
    if (status != PS_OK) return status;
    if (at >= 0) *odd = job->photo_of[at];
    if (two >= 2 || (any >= 2 && clear < worth_least)) say_nobody_agrees(job);
    return PS_OK;
}
