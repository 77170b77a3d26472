/* Reading a section: the circles that all photos support about an axis, and which of them are what. Unsettled axes are read
 * coarsely first, and moved to where that reading is sharpest. */
#include "rim/section.h"

#include <math.h>
#include <string.h>

#include "rim/spots.h"

enum { SECTORS = 96 };
static const double radius_low_mm = 8, radius_limit_mm = 110;
static const double height_low_mm = -8;
static const double coarse_mm = 0.4; /* samples of the first reading */
static const double first_height_mm = 0.8, first_radius_mm = 0.3;
static const double loose_first = 1.5;   /* tolerances before the axis is settled */
static const double screen_least_mm = 4; /* a pin that stands out more hides part of its bush */
static const double pin_over_cap = 0.6;  /* a guess to rank by */
static const double ring_lead = 0.35;    /* circles: by so much an end with a gap on its face has to lead over what lies in the gap */
static const double both_clear = 0.6;    /* both edges of a pin's chamfer in a gap, so that its cylinder is the outer one; practice */
static const double clear_support = 0.55, clear_prominence = 0.12;

/* Climbs with two circles at once on one axis: place of the axis, and height and radius of each circle. */
static void climb_together(const ps_profile_source *fine, ps_axis_guess *axis, double reach, const ps_spot *p, const ps_spot *b) {
    double x[6] = {axis->x_mm, axis->y_mm, p->height_mm, p->radius_mm, b->height_mm, b->radius_mm}, start[6];
    memcpy(start, x, sizeof start);
    double best = -1;
    for (double step = reach / 2; step > 0.02; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = best < 0 ? -1 : 0; k < 12; k++) {
                double t[6];
                memcpy(t, x, sizeof t);
                if (k >= 0) t[k / 2] += (k % 2 ? step : -step) * (k / 4 == 0 ? 0.5 : 1);
                if (k >= 0 && fabs(t[k / 2] - start[k / 2]) > reach) continue;
                ps_axis_guess trial = *axis;
                trial.x_mm = t[0];
                trial.y_mm = t[1];
                double v = ps_spot_merit(fine, &trial, t[2], t[3]) + ps_spot_merit(fine, &trial, t[4], t[5]);
                if (v > best + 1e-6) {
                    moved = k >= 0;
                    best = v;
                    memcpy(x, t, sizeof x);
                }
            }
        }
    axis->x_mm = x[0], axis->y_mm = x[1];
}

/* What the fine view must hold: heights and radii of all clear circles. */
typedef struct extent {
    double low_mm, high_mm, radius_mm;
} extent;

static extent extent_of(const ps_spot *s, int count, const ps_reading *r) {
    extent e = {height_low_mm, s[r->pin].height_mm + 4, 1.15 * s[r->bush].radius_mm};
    for (int i = 0; i < count; i++) {
        if (s[i].support < clear_support || s[i].prominence < clear_prominence || s[i].height_mm < 2) continue;
        e.high_mm = fmax(e.high_mm, s[i].height_mm);
        e.radius_mm = fmax(e.radius_mm, s[i].radius_mm);
    }
    return (extent){e.low_mm, fmin(e.high_mm + 6, 100), fmin(e.radius_mm + 5, radius_limit_mm)};
}

static ps_section_corner corner_of(const ps_spot *s, int i, double clear) {
    if (i < 0) return (ps_section_corner){false, 0, 0, 0, 0, 0};
    return (ps_section_corner){true, s[i].height_mm, s[i].radius_mm, s[i].support, s[i].prominence, clear};
}

static void name_corners(const ps_spot *s, const ps_reading *r, ps_section *out) {
    out->pin_face = corner_of(s, r->pin_face, r->clear[0]);
    out->pin = corner_of(s, r->pin, r->clear[1]);
    out->bush_face = corner_of(s, r->bush_face, r->clear[2]);
    out->bush = corner_of(s, r->bush, r->clear[3]);
    out->in_gap = r->bore >= 0;
    out->wall_mm = out->in_gap ? s[r->bush].radius_mm - s[r->bore].radius_mm : 0;
    if (out->in_gap && (r->pin == r->bore || fmin(r->clear[0], r->clear[1]) < both_clear)) {
        out->bore = corner_of(s, r->bore, r->junction_clear);
        out->pin_face = corner_of(s, r->in_gap, 1);
        out->pin.found = false;
    }
    out->evidence = (ps_pin_evidence){.read = true,
                                      .taper = r->taper,
                                      .ring_mm = r->ring_mm,
                                      .junction = r->junction >= 0,
                                      .junction_clear = r->junction_clear,
                                      .worth = r->score,
                                      .over_bore_mm = r->junction >= 0 ? s[r->pin].height_mm - s[r->junction].height_mm : 0,
                                      .pin_clear = r->clear[1],
                                      .bush_clear = r->clear[3],
                                      .pin_lead = r->pin_lead,
                                      .bush_lead = r->bush_lead,
                                      .pin_rival_mm = r->pin_rival_mm,
                                      .bush_rival_mm = r->bush_rival_mm,
                                      .proud_rival_mm = r->proud_rival_mm,
                                      .beside_pin = r->beside_pin,
                                      .beyond_bush = r->beyond_bush,
                                      .over_face = r->over_face,
                                      .domed = r->domed,
                                      .face_clear = r->clear[0]};
    out->size_mm = s[r->pin].radius_mm;
    out->score = r->score * sqrt(s[r->bush].radius_mm);
}

static void name_cap(const ps_spot *cap, const ps_spot *s, const ps_reading *r, ps_section *out) {
    out->cap = (ps_section_corner){true, cap->height_mm, cap->radius_mm, cap->support, cap->prominence, 1};
    out->bush_face = corner_of(s, r->bush_face, r->clear[2]);
    out->bush = corner_of(s, r->bush, r->clear[3]);
    out->evidence = (ps_pin_evidence){.read = false, .worth = r->score};
    out->size_mm = pin_over_cap * cap->radius_mm;
    out->score = r->score * sqrt(s[r->bush].radius_mm);
}

/* A view of an axis: spots, and how they are known. */
typedef struct fine_view {
    ps_profile_source source;
    ps_reading_scene scene;
    double step;
    ps_spot spot[PS_SPOTS_MAX];
    int count;
} fine_view;

static ps_status find_spots(ps_context *ctx, const ps_axis_guess *axis, fine_view *v) {
    return ps_spots_find(ctx, &v->source, axis, fmin(2.5 * v->step, 0.5), v->step, v->spot, &v->count);
}

/* Whether a gap on the pin's face speaks against that pin, or nearly so: reading the same circles once more is cheap, other than finding
 * them once more. */
static bool is_ring(ps_context *ctx, const fine_view *v, const ps_reading *r) {
    int bush = r->bush_face >= 0 ? r->bush_face : r->bush;
    if (!v->scene.plate_known || v->spot[r->pin].height_mm - v->spot[bush].height_mm > PS_RIM_BUSH_STANDS_MOST_MM) return false;
    ps_reading_scene scene = v->scene;
    ps_reading other = *r;
    scene.gaps = true;
    if (!v->scene.gaps && ps_reading_choose(ctx, v->spot, v->count, &scene, &other) != PS_OK) return true;
    return other.bore >= 0 || other.pin_lead < ring_lead;
}

/* A pin that stands out hides part of its bush: what is free of it is looked at again. */
static ps_status read_pin(ps_context *ctx, const ps_axis_guess *axis, fine_view *v, ps_section *out) {
    ps_reading r;
    ps_status status = ps_reading_choose(ctx, v->spot, v->count, &v->scene, &r);
    if (status == PS_OK && v->scene.plate_known && v->spot[r.pin].height_mm - v->spot[r.bush].height_mm > screen_least_mm) {
        v->source.screen = (ps_profile_screen){v->spot[r.pin].height_mm, v->spot[r.pin].radius_mm, true};
        status = find_spots(ctx, axis, v);
        if (status == PS_OK) status = ps_reading_choose(ctx, v->spot, v->count, &v->scene, &r);
    }
    if (status == PS_OK && r.ring_mm > 0 && !is_ring(ctx, v, &r)) r.ring_mm = 0;
    if (status == PS_OK) name_corners(v->spot, &r, out);
    return status;
}

/* A pin that stands far out hides so much of its bush that none could be read: what may be its end screens what is behind it. */
static ps_status choose_behind_end(ps_context *ctx, const ps_axis_guess *axis, double height_step, double radius_step, fine_view *v,
                                   ps_reading *out) {
    int end;
    ps_status status = ps_reading_end(ctx, v->spot, v->count, &v->scene, &end);
    if (status != PS_OK) return status;
    v->source.screen = (ps_profile_screen){v->spot[end].height_mm, v->spot[end].radius_mm, true};
    status = ps_spots_find(ctx, &v->source, axis, height_step, radius_step, v->spot, &v->count);
    return status == PS_OK ? ps_reading_choose(ctx, v->spot, v->count, &v->scene, out) : status;
}

static ps_status read_behind_end(ps_context *ctx, const ps_axis_guess *axis, fine_view *v, ps_section *out) {
    ps_reading r;
    if (v->source.screen.radius_mm > 0) return PS_NOT_FOUND; /* it was looked behind */
    ps_status status = choose_behind_end(ctx, axis, fmin(2.5 * v->step, 0.5), v->step, v, &r);
    if (status == PS_OK) name_corners(v->spot, &r, out);
    return status;
}

static ps_status read_cap(ps_context *ctx, const ps_axis_guess *axis, fine_view *v, ps_section *out) {
    ps_reading r;
    int index;
    ps_status status = ps_reading_cap(ctx, v->spot, v->count, &v->scene, &index);
    if (status != PS_OK) return status;
    ps_spot cap = v->spot[index];
    v->source.screen = (ps_profile_screen){cap.height_mm, cap.radius_mm, false};
    status = find_spots(ctx, axis, v);
    if (status == PS_OK) status = ps_reading_under_cap(ctx, v->spot, v->count, &v->scene, &cap, &r);
    if (status == PS_OK) name_cap(&cap, v->spot, &r, out);
    return status;
}

/* Then an end that hides more, and a cap, are thought of. */
static bool is_poor(ps_status status, const ps_section *s) {
    return status == PS_NOT_FOUND || (status == PS_OK && s->evidence.worth < PS_RIM_WORTH_LEAST);
}

static void keep_better(ps_status read, const ps_section *other, ps_status *status, ps_section *best) {
    if (read == PS_OK && (*status != PS_OK || other->evidence.worth > best->evidence.worth)) *best = *other, *status = PS_OK;
    if (read == PS_NO_MEMORY) *status = read;
}

static ps_status read_fine(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const extent *e, bool gaps,
                           const ps_axis_guess *axis, ps_section *out) {
    fine_view v = {.count = 0};
    ps_section behind = {0}, capped = {0};
    ps_status status = ps_profile_open(ctx, photos, lumas, views, axis, e->low_mm, e->high_mm, e->radius_mm + 3, 1, &v.source);
    if (status != PS_OK) return status;
    v.scene = (ps_reading_scene){ps_spots_px_per_mm(&v.source), 1, photos > 1, photos > 1 ? ps_spots_aslant(&v.source, axis) : 0, gaps};
    v.step = fmin(fmax(0.8 / v.scene.px_per_mm, 0.1), 0.3);
    status = find_spots(ctx, axis, &v);
    if (status == PS_OK) status = read_pin(ctx, axis, &v, out);
    if (photos > 1 && is_poor(status, out)) keep_better(read_behind_end(ctx, axis, &v, &behind), &behind, &status, out);
    if (photos > 1 && is_poor(status, out)) keep_better(read_cap(ctx, axis, &v, &capped), &capped, &status, out);
    ps_profile_close(&v.source);
    return status;
}

/* Samples of the coarse view, in photo pixels. */
static double coarse_for(int photos, const ps_view *views, const ps_axis_guess *axis) {
    double finest = INFINITY;
    ps_plane plane = ps_plane_world();
    ps_plane_point(&plane, axis->x_mm, axis->y_mm, 0, plane.origin);
    for (int i = 0; i < photos; i++) {
        double foot[2], rise, step;
        ps_squared_stand(&views[i], &plane, foot, &rise, &step);
        if (rise > 1 && step > 0) finest = fmin(finest, step);
    }
    return fmin(fmax(coarse_mm / finest, 1), 3);
}

/* Moves the axis to where the section is sharpest and says how far the body reaches. */
static ps_status settle(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, ps_axis_guess *axis, extent *e) {
    double high = fmin(fmax(axis->height_max_mm + 20, 45), 90), radius = fmin(radius_limit_mm, 1.75 * axis->radius_max_mm + 8);
    fine_view v = {.count = 0};
    const ps_spot *s = v.spot;
    ps_reading reading;
    double coarsening = coarse_for(photos, views, axis);
    ps_status status = ps_profile_open(ctx, photos, lumas, views, axis, height_low_mm, high, radius, coarsening, &v.source);
    if (status != PS_OK) return status;
    if (!ps_profile_focus(&v.source, axis, -3, high - 12, radius_low_mm, fmin(radius - 3, 1.3 * axis->radius_max_mm), 1.6)) {
        ps_profile_close(&v.source);
        return ps_context_fail(ctx, PS_NOT_FOUND, "no circles about an axis");
    }
    status = ps_spots_find(ctx, &v.source, axis, first_height_mm, first_radius_mm, v.spot, &v.count);
    v.scene = (ps_reading_scene){ps_spots_px_per_mm(&v.source), loose_first, photos > 1, photos > 1 ? ps_spots_aslant(&v.source, axis) : 0,
                                 false};
    if (status == PS_OK) status = ps_reading_choose(ctx, s, v.count, &v.scene, &reading);
    int cap = -1;
    bool capped = status == PS_NOT_FOUND && photos > 1 && ps_reading_cap(ctx, s, v.count, &v.scene, &cap) == PS_OK;
    ps_spot edge = capped ? s[cap] : s[0];
    if (status == PS_NOT_FOUND && photos > 1) status = choose_behind_end(ctx, axis, first_height_mm, first_radius_mm, &v, &reading);
    if (status == PS_OK) {
        *e = extent_of(s, v.count, &reading);
        climb_together(&v.source, axis, 1.0, &s[reading.pin], &s[reading.bush]);
    } else if (status == PS_NOT_FOUND && capped) {
        v.source.screen = (ps_profile_screen){0};
        *e = (extent){height_low_mm, fmin(edge.height_mm + 6, 100), fmin(1.6 * edge.radius_mm + 5, radius_limit_mm)};
        climb_together(&v.source, axis, 1.0, &edge, &edge);
        status = PS_OK;
    }
    ps_profile_close(&v.source);
    return status;
}

static extent extent_about(const ps_axis_guess *axis) {
    return (extent){fmin(axis->height_min_mm - 8, height_low_mm), fmin(axis->height_max_mm + 10, 100),
                    fmin(1.35 * axis->radius_max_mm + 6, radius_limit_mm)};
}

ps_status ps_section_read(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, bool settled, ps_axis_guess *axis,
                          ps_section *out) {
    extent e = extent_about(axis);
    ps_status status = settled ? PS_OK : settle(ctx, photos, lumas, views, axis, &e);
    ps_section section = {0};
    if (status == PS_OK) status = read_fine(ctx, photos, lumas, views, &e, false, axis, &section);
    if (status == PS_OK) *out = section;
    return status;
}

ps_status ps_section_read_gap(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, ps_axis_guess *axis,
                              ps_section *out) {
    extent e = extent_about(axis);
    ps_section section = {0};
    ps_status status = read_fine(ctx, photos, lumas, views, &e, true, axis, &section);
    if (status == PS_OK) *out = section;
    return status;
}
