/* Following rims: where a pin is in a photo, whatever the prediction says within some fifteen pixels. All its rims move together there, by
 * a shift, a scale, what a false view squeezes or shears, and a lean, by which the upper ones are shifted against the lower: seven numbers
 * in all; several rims at their own distances fit in one place only. Where the prediction is right the search comes back to it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/wide.h"
#include "rim/course.h"

enum { TERMS = PS_COURSE_TERMS, OWN = 5, LOT = 64 }; /* OWN: of one rim by itself, for which a lean is a shift */
static const double reach_px = 18;
/* sd of what a camera may be off by at the outermost rim: both ways, in scale, in the two ways of being squeezed, and leaning both ways.
 * Practice. */
static const double prior_px[TERMS] = {6, 6, 5, 3, 3, 3, 3};
static const double prior_weight = 0.03; /* of agreement, a unit of squared sd */
/* The grid: steps and how many of them to a side; an edge within grid_width_px of its curve speaks for it. */
static const double grid_step_px[TERMS] = {3, 3, 2.5, 2.5, 2.5, 0, 0}, grid_width_px = 4;
static const int grid_side[TERMS] = {4, 4, 3, 1, 1, 0, 0}, grid_stride = 4;

typedef struct follow_rim {
    int rim;
    double strength, lift; /* -1 the lowest rim, 1 the highest */
    ps_course course;
} follow_rim;

typedef struct follow_pin {
    int count;
    follow_rim rim[PS_RIMS_PER_PIN];
} follow_pin;

/* Places to be compared, all at once. */
typedef struct lot {
    int count;
    float q[TERMS][LOT], sum[LOT];
} lot;

static void put(lot *l, const double q[TERMS]) {
    for (int k = 0; k < TERMS; k++) l->q[k][l->count] = (float)q[k];
    l->count++;
}

/* Each place of each rim counts by its best edge: nearer and stronger ones more. */
PS_WIDE static void agreement(const follow_pin *p, double width_px, int stride, lot *l) {
    float best[LOT], want[LOT], narrow = (float)(1 / width_px);
    int count = (l->count + 7) & ~7; /* whole eights; LOT is */
    for (int j = 0; j < count; j++) l->sum[j] = 0;
    for (int r = 0; r < p->count; r++)
        for (int i = 0; i < p->rim[r].course.count; i += stride) {
            const ps_course_place *at = &p->rim[r].course.place[i];
            for (int j = 0; j < count; j++) want[j] = best[j] = 0;
            for (int k = 0; k < TERMS && at->count; k++) {
                float term = (float)at->term[k];
                for (int j = 0; j < count; j++) want[j] += term * l->q[k][j];
            }
            for (int e = 0; e < at->count; e++) {
                double s = fabs(at->item[e].strength) / p->rim[r].strength;
                float offset = (float)at->item[e].offset, weight = (float)(s < 1 ? 0.4 + 0.6 * s : 1);
                for (int j = 0; j < count; j++) {
                    float u = (offset - want[j]) * narrow, v = (1 - u * u) * weight;
                    best[j] = v > best[j] ? v : best[j];
                }
            }
            for (int j = 0; j < count; j++) l->sum[j] += best[j];
        }
}

static double prior(const double q[TERMS]) {
    double far = 0;
    for (int k = 0; k < TERMS; k++) far += (q[k] / prior_px[k]) * (q[k] / prior_px[k]);
    return exp(-prior_weight * far);
}

/* The best of a lot, if better than *best: into q. The lot is empty then. */
static bool take_best(const follow_pin *p, double width_px, int stride, lot *l, double q[TERMS], double *best) {
    bool better = false;
    for (int j = l->count; j < LOT; j++)
        for (int k = 0; k < TERMS; k++) l->q[k][j] = 0; /* so that nothing undefined is computed */
    agreement(p, width_px, stride, l);
    for (int j = 0; j < l->count; j++) {
        double at[TERMS];
        for (int k = 0; k < TERMS; k++) at[k] = (double)l->q[k][j];
        double value = (double)l->sum[j] * prior(at);
        if (value > *best) *best = value, better = true, memcpy(q, at, sizeof at);
    }
    l->count = 0;
    return better;
}

static void search_grid(const follow_pin *p, double q[TERMS]) {
    lot l = {.count = 0};
    double best = 0, at[TERMS];
    int n[TERMS], total = 1;
    for (int k = 0; k < TERMS; k++) total *= 2 * grid_side[k] + 1;
    for (int c = 0; c < total; c++) {
        int rest = c;
        for (int k = 0; k < TERMS; k++) {
            n[k] = rest % (2 * grid_side[k] + 1) - grid_side[k];
            rest /= 2 * grid_side[k] + 1;
            at[k] = n[k] * grid_step_px[k];
        }
        put(&l, at);
        if (l.count == LOT || c == total - 1) (void)take_best(p, grid_width_px, grid_stride, &l, q, &best);
    }
}

/* Steps to a side in one number while that is better. Returns the agreement there. */
static double climb(const follow_pin *p, double width_px, double step_px, double q[TERMS]) {
    lot l = {.count = 0};
    double best = 0;
    put(&l, q);
    (void)take_best(p, width_px, 1, &l, q, &best);
    do {
        for (int k = 0; k < TERMS; k++)
            for (int s = -1; s <= 1; s += 2) {
                double t[TERMS];
                memcpy(t, q, sizeof t);
                t[k] += s * step_px;
                put(&l, t);
            }
    } while (take_best(p, width_px, 1, &l, q, &best));
    return best;
}

static const double fine_width_px = 1.6, fine_step_px = 0.4;

/* The best place of the pin; of equal ones the predicted. */
static void search(const follow_pin *p, double q[TERMS], ps_rim_followed *worth) {
    double near[TERMS] = {0};
    double here = climb(p, fine_width_px, fine_step_px, near);
    search_grid(p, q);
    (void)climb(p, 3, 1.5, q);
    (void)climb(p, 2.2, 0.7, q);
    double there = climb(p, fine_width_px, fine_step_px, q);
    if (!(there > here)) memcpy(q, near, sizeof near);
    worth->here = here;
    worth->there = fmax(here, there);
}

/* Shift, scale and squeeze of the picture about the pin's middle, each in pixels at the outermost rim, and lean of the highest rim against
 * the middle, along the normals. */
static bool set_terms(const ps_view *view, const ps_circle3 *c, double outermost_px, double lift, ps_course *course) {
    double middle[2];
    course->terms = TERMS;
    if (!ps_view_project(view, c->centre, middle)) return false;
    for (int i = 0; i < course->count; i++) {
        ps_course_place *p = &course->place[i];
        double dx = (p->at[0] - middle[0]) / outermost_px, dy = (p->at[1] - middle[1]) / outermost_px, *n = p->normal, *t = p->term;
        t[0] = n[0], t[1] = n[1];
        t[2] = n[0] * dx + n[1] * dy;
        t[3] = n[0] * dx - n[1] * dy;
        t[4] = n[0] * dy + n[1] * dx;
        t[5] = lift * n[0], t[6] = lift * n[1];
    }
    return true;
}

static void survey(const ps_luma *luma, const ps_view *view, const ps_pin_model *pin, follow_pin *p) {
    double outermost = 0, low = INFINITY, high = -INFINITY, px[PS_RIMS_PER_PIN];
    p->count = 0;
    for (int r = 0; r < pin->rim_count; r++) {
        ps_circle3 circle = ps_rim_circle(pin, &pin->rim[r]);
        px[r] = ps_course_scale(view, &circle) * circle.radius_mm;
        outermost = fmax(outermost, px[r]);
        low = fmin(low, pin->rim[r].height_mm), high = fmax(high, pin->rim[r].height_mm);
    }
    for (int r = 0; r < pin->rim_count; r++) {
        ps_circle3 circle = ps_rim_circle(pin, &pin->rim[r]);
        follow_rim *f = &p->rim[p->count];
        if (!(px[r] >= PS_COURSE_RADIUS_PX)) continue;
        ps_course_survey(luma, view, &circle, reach_px, &f->course);
        f->lift = high > low ? 2 * (pin->rim[r].height_mm - low) / (high - low) - 1 : 0;
        if (f->course.inside < ps_course_least_arc || !set_terms(view, &circle, outermost, f->lift, &f->course)) continue;
        ps_course_find_others(view, pin, r, &f->course);
        f->strength = ps_course_strength(&f->course);
        f->rim = r;
        p->count++;
    }
}

/* Each rim's own curve from the pin's place on. */
static ps_status take_rims(ps_context *ctx, follow_pin *p, const ps_pin_models *pins, int index, const double q[TERMS],
                           ps_rim_traces *out) {
    ps_status status = PS_OK;
    for (int r = 0; r < p->count && status == PS_OK; r++) {
        const double lift = p->rim[r].lift;
        double own[TERMS] = {q[0] + lift * q[5], q[1] + lift * q[6], q[2], q[3], q[4]};
        p->rim[r].course.terms = OWN;
        status = ps_course_take(ctx, &p->rim[r].course, own, pins, index, p->rim[r].rim, out);
    }
    return status;
}

ps_status ps_rim_follow_photo(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins,
                              const bool wanted[PS_ROLE_COUNT], ps_rim_traces *out, ps_rim_followed worth[PS_ROLE_COUNT]) {
    ps_rim_traces t = {0, calloc(PS_ROLE_COUNT * PS_RIMS_PER_PIN, sizeof *t.trace)};
    follow_pin *p = malloc(sizeof *p);
    ps_status status = t.trace && p ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for rims");
    for (int i = 0; i < PS_ROLE_COUNT; i++) worth[i] = (ps_rim_followed){0, 0};
    for (int i = 0; status == PS_OK && i < pins->count; i++) {
        double q[TERMS] = {0};
        if (!wanted[i]) continue;
        survey(luma, view, &pins->pin[i], p);
        if (p->count == 0) continue;
        search(p, q, &worth[i]);
        status = take_rims(ctx, p, pins, i, q, &t);
    }
    free(p);
    return ps_course_hand_over(ctx, status, &t, out);
}
