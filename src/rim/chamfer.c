/* The other edge of a chamfer. Where a reading found one circle at the end of a pin or a bush, it is either of the chamfer's two edges; and
 * of a low bush the outline of its wall, the foot on the near side and the edge on the far side, passes for a circle of its own, too large
 * and too low. Once cameras and axis rest, the second edge can be asked for finely: it lies on a cone through the known one, as wide and
 * steep as chamfers are turned, in all photos at once. Edges along normals are read once for each photo; each cone's circle then has an
 * offset from them that goes with width and depth in first order.
 *
 * The numbers of this file are our own, common practice without a source: chamfers as makers turn them, and limits between what true and
 * chance edges gave on rendered scenes (docs/reading.md). */
#include <math.h>
#include <stdlib.h>

#include "base/linear.h"
#include "base/stats.h"
#include "rim/course.h"

enum { WIDTHS = 22, SLOPES = 13 };
static const double width_first_mm = 0.3, width_step_mm = 0.15; /* radial */
static const double slope_first = 0.3, slope_step = 0.15;       /* axial over radial */
/* Of 45 degrees mostly, seldom of 30 or 60: what that takes from a cone's share, so much at 60. */
static const double usual_slope = 1, slope_spread = 0.75, slope_cost = 0.15;
static const double middle_mm = 1.6, reach_mm = 2, reach_more_px = 3; /* where edges are read: about the middle of all cones */
static const double near_px = 1.1;                                    /* of an edge that is the circle's */
static const double own_px = 1;                                       /* ... of the known circle, whose edges count for no other */
static const double apart_px = 2;                                     /* circles nearer than this share their edge */
static const double foot_px = 1.2;                                    /* from an edge to its wall's foot: from there on they are two */
static const double low_mm = 6;                                       /* bushes that stand lower have their foot within the cones */
static const double places_least = 0.4;                               /* of the circumference, where the circle would show by itself */
static const double photos_least = 0.6;                               /* of the photos */
static const double edge_blur_mm = 0.3;                               /* what hides an edge blurs it a little farther */
static const double floor_share = 0.05;                               /* a photo without any leaves the others a say */
static const double stands_out = 0.1, over_other = 2; /* a cone's share over that of all: enough, and against the other way */
static const double stands_least_mm = 1.5;            /* before its floor: an edge that lies there is the floor's, or a bore's */
static const double settle_step_mm = 0.2, settle_least_mm = 0.02, settle_most_mm = 0.8;
enum { PHOTOS_LEAST = 3 };             /* two agree on many a cone by chance: a stand-out came out 4 mm too large */
static const double clear_over = 0.25; /* a share over that of all cones that nobody would miss */
static const double too_steep = 1.4;   /* that may be a wall's outline */

/* Edges of one photo about the middle of the cones. */
typedef struct look {
    ps_course course;
    double cosine[PS_COURSE_PLACES], sine[PS_COURSE_PLACES];           /* of its places */
    double per_radius[PS_COURSE_PLACES], per_height[PS_COURSE_PLACES]; /* px of a circle's offset, a mm */
    double typical;                                                    /* strength of an edge */
    double eye[3];                                                     /* of the camera, from the axis: across, and up */
} look;

/* One end of a body, with a chamfer: the pin's, or its bush's. */
typedef struct turned_end {
    ps_edge inner, outer;
    double floor_mm;                     /* where the wall below the outer edge ends */
    double pin_radius_mm, pin_height_mm; /* what stands before it */
} turned_end;

/* Cones through a known circle, in all photos. */
typedef struct cones {
    int photos;
    look *look;
    double radius_mm, height_mm, outward; /* of the known circle; 1: the other edge is wider, -1 narrower */
    const turned_end *end;
    bool low; /* where its wall is seen the outer edge is not asked for: its foot would be counted */
} cones;

typedef struct cone {
    double width_mm, slope, share, over; /* share of the circumference, 0..1; by how much more than the median cone */
} cone;

static double offset_px(const ps_view *view, const ps_course_place *p, const ps_circle3 *c) {
    double X[3], at[2];
    ps_circle3_point(c, p->theta, X);
    if (!ps_view_project(view, X, at)) return NAN;
    return (at[0] - p->at[0]) * p->normal[0] + (at[1] - p->at[1]) * p->normal[1];
}

static void look_at(const ps_luma *luma, const ps_view *view, const ps_pin_model *pin, const cones *k, look *l) {
    ps_pin_rim middle = {.radius_mm = k->radius_mm + k->outward * middle_mm, .height_mm = k->height_mm - k->outward * middle_mm};
    ps_circle3 c = ps_rim_circle(pin, &middle), wider = c, higher = c;
    double u[3], v[3], from[3];
    ps_pose back;
    wider.radius_mm += 1;
    for (int i = 0; i < 3; i++) higher.centre[i] += pin->axis_direction[i];
    ps_course_survey(luma, view, &c, fmin(PS_COURSE_REACH_PX, reach_mm * ps_course_scale(view, &c) + reach_more_px), &l->course);
    l->typical = ps_course_strength(&l->course);
    for (int i = 0; i < l->course.count; i++) {
        l->per_radius[i] = offset_px(view, &l->course.place[i], &wider);
        l->per_height[i] = offset_px(view, &l->course.place[i], &higher);
        l->cosine[i] = cos(l->course.place[i].theta), l->sine[i] = sin(l->course.place[i].theta);
    }
    ps_pose_invert(&view->pose, &back);
    ps_circle3_basis(pin->axis_direction, u, v);
    for (int i = 0; i < 3; i++) from[i] = back.t[i] - pin->axis_point_mm[i];
    l->eye[0] = ps_dot3(from, u), l->eye[1] = ps_dot3(from, v), l->eye[2] = ps_dot3(from, pin->axis_direction);
}

/* Whether the pin's end hides a circle's place: the ray to the camera passes it within its radius. */
static bool hidden(const cones *k, const look *l, int place, double radius, double height) {
    if (k->end->pin_height_mm <= height || l->eye[2] <= k->end->pin_height_mm) return false;
    double x = radius * l->cosine[place], y = radius * l->sine[place], up = (k->end->pin_height_mm - height) / (l->eye[2] - height);
    double dx = (l->eye[0] - x) * up, dy = (l->eye[1] - y) * up, length2 = dx * dx + dy * dy;
    double t = length2 > 0 ? fmin(1, fmax(0, -(x * dx + y * dy) / length2)) : 0;
    return hypot(x + t * dx, y + t * dy) < k->end->pin_radius_mm + edge_blur_mm;
}

/* How well a place's best edge fits a circle that passes it at `want` px; those at `other` are another circle's. */
static double best_edge(const ps_course_place *p, double want, double other, double typical) {
    double best = 0;
    for (int e = 0; e < p->count; e++) {
        double off = (p->item[e].offset - want) / near_px, strength = fmin(1, fabs(p->item[e].strength) / typical);
        if (fabs(p->item[e].offset - other) >= own_px) best = fmax(best, (1 - off * off) * (0.4 + 0.6 * strength));
    }
    return best;
}

/* A circle by what it is wider and higher than the known one, mm. */
typedef struct offset {
    double wider, higher;
} offset;

static double pass_px(const cones *k, const look *l, int place, const offset *o) {
    double middle = k->outward * middle_mm;
    return l->per_radius[place] * (o->wider - middle) + l->per_height[place] * (o->higher + middle);
}

/* Share of a circle in one photo beside another one, NAN where too little of it would show by itself. */
static double share_in(const cones *k, const look *l, const offset *o, const offset *other, bool far_only) {
    double sum = 0, height = k->height_mm + o->higher;
    int asked = 0;
    for (int i = 0; i < l->course.count; i++) {
        const ps_course_place *p = &l->course.place[i];
        double want = pass_px(k, l, i, o), beside = pass_px(k, l, i, other);
        if (!(fabs(want) < l->course.reach_px - 1) || fabs(want - beside) < apart_px) continue;
        if (far_only && (k->end->floor_mm - height) * l->per_height[i] > foot_px) continue;
        if (hidden(k, l, i, k->radius_mm + o->wider, height)) continue;
        sum += best_edge(p, want, beside, l->typical);
        asked++;
    }
    return asked >= PS_COURSE_POINTS_MIN && asked > places_least * l->course.count ? sum / asked : NAN;
}

/* Geometric mean over the photos. */
static double share_of(const cones *k, const offset *o, const offset *other, bool far_only) {
    double sum = 0;
    int asked = 0;
    for (int i = 0; i < k->photos; i++) {
        double share = share_in(k, &k->look[i], o, other, far_only);
        if (!isnan(share)) sum += log(share + floor_share), asked++;
    }
    return asked >= photos_least * k->photos && asked > 0 ? exp(sum / asked) : 0;
}

/* What a slope takes from a share. */
static double usual_part(double slope) {
    double unusual = (slope - usual_slope) / slope_spread;
    return 1 - slope_cost * unusual * unusual;
}

static cone best_cone(const cones *k) {
    cone best = {.share = -1};
    double all[WIDTHS * SLOPES];
    size_t shown = 0;
    for (int i = 0; i < WIDTHS * SLOPES; i++) {
        double width = width_first_mm + i / SLOPES * width_step_mm, slope = slope_first + i % SLOPES * slope_step;
        double share = share_of(k, &(offset){k->outward * width, -k->outward * slope * width}, &(offset){0, 0}, k->low && k->outward > 0);
        if (!(share > 0)) continue;
        all[shown++] = share;
        double worth = share * usual_part(slope);
        if (worth > best.share) best = (cone){width, slope, worth, 0};
    }
    if (shown > 0) best.over = best.share - ps_stats_median(all, shown);
    return best;
}

/* Shares of both circles together; 0 where they are no chamfer. */
static double worth_of_pair(const cones *k, const offset pair[2]) {
    double width = pair[1].wider - pair[0].wider, down = pair[0].higher - pair[1].higher;
    if (width < width_first_mm || down < slope_first * width || down > (slope_first + SLOPES * slope_step) * width) return 0;
    return share_of(k, &pair[0], &pair[1], false) * share_of(k, &pair[1], &pair[0], k->low) * usual_part(down / width);
}

/* Where both edges of the chamfer fit best, near the known circle and the one on the cone: what was traced as one edge may have taken
 * points of both. pair: inner, outer. */
static void settle_pair(const cones *k, offset pair[2]) {
    offset first[2] = {pair[0], pair[1]};
    double best = worth_of_pair(k, pair);
    for (double step = settle_step_mm; step > settle_least_mm; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int way = 0; way < 8; way++) {
                offset t[2] = {pair[0], pair[1]};
                double by = way % 2 ? step : -step;
                if (way / 2 % 2)
                    t[way / 4].wider += by;
                else
                    t[way / 4].higher += by;
                offset *is = &t[way / 4], *was = &first[way / 4];
                if (fabs(is->wider - was->wider) > settle_most_mm || fabs(is->higher - was->higher) > settle_most_mm) continue;
                double worth = worth_of_pair(k, t);
                if (worth > best * (1 + 1e-6)) best = worth, pair[0] = t[0], pair[1] = t[1], moved = true;
            }
        }
}

/* Photos, and a pin whose ends are asked. */
typedef struct view_of_pin {
    ps_context *ctx;
    int photos;
    const ps_luma *const *lumas;
    const ps_view *views;
    const ps_pin_model *pin;
} view_of_pin;

/* The clearest cone from one of the end's edges. The cones are the caller's to close. */
static ps_status ask(const view_of_pin *v, const turned_end *end, const ps_pin_rim *known, bool outward, cones *k, cone *best) {
    *k = (cones){.photos = v->photos,
                 .look = calloc((size_t)v->photos, sizeof *k->look),
                 .radius_mm = known->radius_mm,
                 .height_mm = known->height_mm,
                 .outward = outward ? 1 : -1,
                 .end = end,
                 .low = known->height_mm - end->floor_mm < low_mm};
    if (!k->look) return ps_context_fail(v->ctx, PS_NO_MEMORY, "no memory for a chamfer's edges");
    for (int i = 0; i < v->photos; i++) look_at(v->lumas[i], &v->views[i], v->pin, k, &k->look[i]);
    *best = best_cone(k);
    return PS_OK;
}

static void close(cones *k) {
    free(k->look);
    k->look = NULL;
}

static offset on_cone(const cones *k, const cone *c) {
    return (offset){k->outward * c->width_mm, -k->outward * c->width_mm * c->slope};
}

static ps_pin_rim moved(const ps_pin_rim *known, const offset *by, ps_edge edge) {
    ps_pin_rim rim = *known;
    rim.edge = edge;
    rim.radius_mm += by->wider;
    rim.height_mm += by->higher;
    return rim;
}

typedef struct chamfer {
    ps_pin_rim inner, outer;
    bool was_inner; /* the known one */
    bool mixed;     /* the outer edge was, or is, hard to tell from another */
    double over;    /* how clear the other is */
} chamfer;

/* One circle at an end: both edges, where one way is clear and the other is not. */
static ps_status complete(const view_of_pin *v, const turned_end *end, const ps_pin_rim *lone, chamfer *c) {
    cones out = {.look = NULL}, in = {.look = NULL};
    cone outer = {0}, inner = {0};
    ps_status status = ask(v, end, lone, true, &out, &outer);
    if (status == PS_OK) status = ask(v, end, lone, false, &in, &inner);
    double most = fmax(outer.over, inner.over), least = fmin(outer.over, inner.over);
    if (status == PS_OK && (most < stands_out || most < over_other * least)) status = PS_NOT_FOUND;
    if (status == PS_OK) {
        bool was_inner = outer.over > inner.over;
        const cones *k = was_inner ? &out : &in;
        offset here = {0, 0}, there = on_cone(k, was_inner ? &outer : &inner),
               pair[2] = {was_inner ? here : there, was_inner ? there : here};
        settle_pair(k, pair);
        *c = (chamfer){moved(lone, &pair[0], end->inner), moved(lone, &pair[1], end->outer), was_inner, !was_inner || k->low, most};
    }
    close(&out);
    close(&in);
    return status;
}

/* The outer edge anew where it lies so far below the inner one that it may be the wall's outline. */
static ps_status straighten(const view_of_pin *v, const turned_end *end, const ps_pin_rim *inner, ps_pin_rim *outer) {
    double width = outer->radius_mm - inner->radius_mm, down = inner->height_mm - outer->height_mm;
    if (!(width > 0) || down < too_steep * width) return PS_NOT_FOUND;
    cones k;
    cone c;
    ps_status status = ask(v, end, inner, true, &k, &c);
    if (status == PS_OK && c.over < stands_out) status = PS_NOT_FOUND;
    offset by = status == PS_OK ? on_cone(&k, &c) : (offset){0, 0};
    if (status == PS_OK) *outer = moved(inner, &by, end->outer);
    close(&k);
    return status;
}

/* What the reading did not know: strengths of a pin's edges, of which one is found and the other was alone; and an outer edge that may have
 * been mixed with the inner one. */
static void note(const turned_end *end, const chamfer *c, ps_pin_evidence *e) {
    bool pin = end->outer == PS_EDGE_PIN;
    double strength = fmin(1, c->over / clear_over);
    if (pin) e->face_clear = c->was_inner ? e->pin_clear : strength;
    if (pin && c->was_inner) e->pin_clear = strength;
    if (c->mixed) *(pin ? &e->pin_mixed_mm : &e->bush_mixed_mm) = c->outer.radius_mm - c->inner.radius_mm;
}

static ps_status finish(const view_of_pin *v, const turned_end *end, bool tapers, ps_pin_model *pin) {
    int inner = ps_rim_find(pin, end->inner, PS_EAR_NEAR), outer = ps_rim_find(pin, end->outer, PS_EAR_NEAR);
    if (inner >= 0 && outer >= 0) return tapers ? PS_NOT_FOUND : straighten(v, end, &pin->rim[inner], &pin->rim[outer]);
    int lone = inner >= 0 ? inner : outer;
    if (lone < 0 || pin->rim_count == PS_RIMS_PER_PIN || pin->rim[lone].height_mm - end->floor_mm < stands_least_mm) return PS_NOT_FOUND;
    chamfer c;
    ps_status status = complete(v, end, &pin->rim[lone], &c);
    if (status != PS_OK) return status;
    pin->rim[lone] = c.inner, pin->rim[pin->rim_count++] = c.outer;
    note(end, &c, &pin->evidence);
    return PS_OK;
}

static int either(const ps_pin_model *pin, ps_edge first, ps_edge second) {
    int found = ps_rim_find(pin, first, PS_EAR_NEAR);
    return found >= 0 ? found : ps_rim_find(pin, second, PS_EAR_NEAR);
}

ps_status ps_rim_complete_chamfers(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, ps_pin_model *pin) {
    int tip = either(pin, PS_EDGE_PIN, PS_EDGE_PIN_FACE), bush = either(pin, PS_EDGE_BUSH_FACE, PS_EDGE_BUSH);
    view_of_pin v = {ctx, photos, lumas, views, pin};
    turned_end of_bush = {PS_EDGE_BUSH_FACE, PS_EDGE_BUSH, 0, 0, -INFINITY};
    if (tip >= 0) of_bush.pin_radius_mm = pin->rim[tip].radius_mm, of_bush.pin_height_mm = pin->rim[tip].height_mm;
    if (photos < PHOTOS_LEAST || bush < 0) return PS_NOT_FOUND;
    turned_end of_pin = {PS_EDGE_PIN_FACE, PS_EDGE_PIN, pin->rim[bush].height_mm, 0, -INFINITY};
    ps_status first = finish(&v, &of_bush, false, pin);
    if (first != PS_OK && first != PS_NOT_FOUND) return first;
    ps_status second = tip >= 0 ? finish(&v, &of_pin, true, pin) : PS_NOT_FOUND;
    return second == PS_NOT_FOUND ? first : second;
}
