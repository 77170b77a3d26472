/* From photos of a gap to pin models: roles, near and far, and the edges of the bushes by name. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "rim/gap.h"

enum { ROUGH = 500, SHARP = 1000, EDGELS_MAX = 60000, SECTORS = 64 };
static const double spot_min = 0.3;
static const double beside_mm = 1.8, foot_mm = 10;
static const double beside_least = 0.45; /* a photo of a boss's end stands so far beside the piece, over its height: 24 degrees */
static const double boss_radius_mm = 95;

/* ---- photos as gradients ---- */

static void clear_images(ps_gap_image *images, int count) {
    for (int i = 0; images && i < count; i++) ps_gap_image_clear(&images[i]);
    free(images);
}

static ps_status make_images(ps_context *ctx, int photos, const ps_luma *const *lumas, int side, ps_gap_image **out) {
    ps_gap_image *images = calloc((size_t)photos, sizeof *images);
    ps_status status = images ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for gradients");
    for (int i = 0; status == PS_OK && i < photos; i++) status = ps_gap_image_make(ctx, lumas[i], side, &images[i]);
    if (status == PS_OK)
        *out = images;
    else
        clear_images(images, photos);
    return status;
}

/* ---- axes into pin models ---- */

static void world_of(const ps_gap_frame *f, double s, double h, double t, double X[3]) {
    for (int i = 0; i < 3; i++) X[i] = s * f->e1[i] + h * f->e2[i] + t * f->e3[i];
}

/* Whether ear 1 stands lower in a photo. */
static bool high_is_near(const ps_view *view, const ps_gap_frame *f, const ps_gap_axis *a) {
    double X[3], low[2], high[2];
    world_of(f, a->s, a->h, a->face[0], X);
    if (!ps_view_project(view, X, low)) return true;
    world_of(f, a->s, a->h, a->face[1], X);
    return !ps_view_project(view, X, high) || high[1] >= low[1];
}

static void model_of(const ps_gap_frame *f, const ps_gap_axis *a, bool high_near, bool over, ps_pin_model *out) {
    double sign = high_near != over ? 1 : -1, middle = 0.5 * (a->face[0] + a->face[1]);
    *out = (ps_pin_model){.rim_count = 0, .outward = over};
    world_of(f, a->s, a->h, middle, out->axis_point_mm);
    for (int i = 0; i < 3; i++) out->axis_direction[i] = sign * f->e3[i];
    double clearest[2] = {0, 0};
    for (int k = 0; k < a->count; k++) clearest[a->circle[k].ear] = fmax(clearest[a->circle[k].ear], ps_gap_weight(&a->circle[k]));
    for (int k = 0; k < a->count && out->rim_count < PS_RIMS_PER_PIN; k++) {
        const ps_gap_circle *c = &a->circle[k];
        if (ps_gap_weight(c) < 0.4 * clearest[c->ear]) continue; /* texture */
        out->rim[out->rim_count++] =
            (ps_pin_rim){PS_EDGE_OTHER, (c->ear == 1) == high_near ? PS_EAR_NEAR : PS_EAR_FAR, sign * (c->t - middle), c->r, 1.0, 0.6, 0};
    }
}

/* The direction in the world plane that points toward the dipper pin. */
static void toward_of(const ps_view *view, const double arrow[2], ps_direction dipper, double out[2]) {
    static const double way[][2] = {{0, 0}, {-1, 0}, {1, 0}, {0, -1}, {0, 1}};
    out[0] = arrow[0], out[1] = arrow[1];
    if (dipper == PS_DIRECTION_NONE) return;
    const double X[3][3] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}};
    double p[3][2];
    for (int i = 0; i < 3; i++)
        if (!ps_view_project(view, X[i], p[i])) return;
    for (int i = 0; i < 2; i++) out[i] = (p[i + 1][0] - p[0][0]) * way[dipper][0] + (p[i + 1][1] - p[0][1]) * way[dipper][1];
}

static void give_roles(const double toward[2], ps_pin_models *m) {
    double side[2], size = hypot(toward[0], toward[1]);
    if (m->count < 2) { /* one pair alone: on which side of the piece is all there is */
        double along = m->pin[0].axis_point_mm[0] * toward[0] + m->pin[0].axis_point_mm[1] * toward[1];
        m->pin[0].role = along > 0 ? PS_ROLE_DIPPER : PS_ROLE_LINK;
        m->roles_unsure = true;
        return;
    }
    for (int p = 0; p < 2; p++) side[p] = m->pin[p].axis_point_mm[0] * toward[0] + m->pin[p].axis_point_mm[1] * toward[1];
    double dx = m->pin[0].axis_point_mm[0] - m->pin[1].axis_point_mm[0], dy = m->pin[0].axis_point_mm[1] - m->pin[1].axis_point_mm[1];
    double across = fabs(dx * m->pin[0].axis_direction[1] - dy * m->pin[0].axis_direction[0]); /* apart square to the pins */
    m->pin[0].role = side[0] >= side[1] ? PS_ROLE_DIPPER : PS_ROLE_LINK;
    m->pin[1].role = m->pin[0].role == PS_ROLE_DIPPER ? PS_ROLE_LINK : PS_ROLE_DIPPER;
    m->roles_unsure = !(size > 0) || fabs(side[0] - side[1]) < 0.5 * size * across;
    if (m->pin[0].role == PS_ROLE_LINK) {
        ps_pin_model swap = m->pin[0];
        m->pin[0] = m->pin[1];
        m->pin[1] = swap;
    }
}

/* Wider than the masks: tape holds the paper's corners. */
static void widen(const ps_rim_mask *mask, int masks, ps_rim_mask *out) {
    for (int m = 0; m < masks; m++) {
        double middle[2] = {0, 0};
        for (int c = 0; c < 4; c++)
            for (int i = 0; i < 2; i++) middle[i] += 0.25 * mask[m].corner_mm[c][i];
        for (int c = 0; c < 4; c++)
            for (int i = 0; i < 2; i++) out[m].corner_mm[c][i] = middle[i] + 1.35 * (mask[m].corner_mm[c][i] - middle[i]);
    }
}

static ps_status find_axes(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_rim_mask *mask,
                           int masks, bool over, ps_gap_frame *frame, ps_gap_axis axes[2], int *found) {
    ps_gap_image *rough = NULL, *sharp = NULL;
    ps_rim_mask *wide = malloc(((size_t)masks + 1) * sizeof *wide);
    ps_gap_edgel *all = malloc((size_t)photos * EDGELS_MAX * sizeof *all);
    const ps_gap_edgel **edgels = malloc((size_t)photos * sizeof *edgels);
    int *counts = malloc((size_t)photos * sizeof *counts);
    ps_status status = wide && all && edgels && counts ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for edges");
    if (status == PS_OK) status = make_images(ctx, photos, lumas, ROUGH, &rough);
    if (status == PS_OK) status = make_images(ctx, photos, lumas, SHARP, &sharp);
    if (status == PS_OK) {
        double turn = 0;
        ps_gap_scene low = {photos, rough, views, over}, high = {photos, sharp, views, over};
        widen(mask, masks, wide);
        for (int i = 0; i < photos; i++) {
            edgels[i] = all + (size_t)i * EDGELS_MAX;
            if (over) ps_gap_image_blank(&rough[i], &views[i], wide, masks), ps_gap_image_blank(&sharp[i], &views[i], wide, masks);
            counts[i] = ps_gap_edgels(&sharp[i], &views[i], wide, masks, all + (size_t)i * EDGELS_MAX, EDGELS_MAX);
        }
        status = ps_gap_direction(ctx, photos, views, edgels, counts, &turn);
        if (status == PS_OK) {
            ps_gap_frame_set(frame, turn, 0);
            status = (over ? ps_gap_boss_axis : ps_gap_axes)(ctx, &low, &high, edgels, counts, frame, axes, found);
        }
    }
    clear_images(rough, photos);
    clear_images(sharp, photos);
    free(counts);
    free(edgels);
    free(all);
    free(wide);
    return status;
}

static ps_status find(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_rim_mask *mask, int masks,
                      const double toward_dipper[2], ps_direction dipper, bool over, ps_pin_models *out) {
    ps_gap_frame frame;
    ps_gap_axis axes[2];
    int found = 0;
    ps_status status = find_axes(ctx, photos, lumas, views, mask, masks, over, &frame, axes, &found);
    if (status != PS_OK) return status;
    ps_pin_models m = {.count = found};
    double toward[2];
    bool high_near = high_is_near(&views[0], &frame, &axes[0]);
    for (int i = 0; i < found; i++) model_of(&frame, &axes[i], high_near, over, &m.pin[i]);
    toward_of(&views[0], toward_dipper, dipper, toward);
    give_roles(toward, &m);
    *out = m;
    return PS_OK;
}

ps_status ps_rim_gap_find(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_rim_mask *mask,
                          int masks, const double toward_dipper[2], ps_direction dipper, ps_pin_models *out) {
    if (photos < 1) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no photos of a gap");
    return find(ctx, photos, lumas, views, mask, masks, toward_dipper, dipper, false, out);
}

/* ---- over a boss ---- */

bool ps_rim_boss_sides(int photos, const ps_view *views, const ps_rim_mask *mask, int masks, int *left, int *right) {
    int count[2] = {0, 0};
    double middle = 0, at[3];
    ps_gap_frame f;
    ps_gap_frame_set(&f, 0, 0);
    for (int m = 0; m < masks; m++)
        for (int c = 0; c < 4; c++) middle += mask[m].corner_mm[c][1] / (4 * masks);
    for (int i = 0; i < photos; i++) {
        ps_gap_station(&views[i], &f, at);
        if (at[1] > 0 && fabs(at[2] - middle) > beside_least * at[1]) count[at[2] > middle]++;
    }
    if (left) *left = count[0];
    if (right) *right = count[1];
    return count[0] >= 2 && count[1] >= 2;
}

ps_status ps_rim_boss_find(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_rim_mask *mask,
                           int masks, const double toward_dipper[2], ps_direction dipper, ps_pin_models *out) {
    if (photos < 1) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no photos of a boss");
    if (!ps_rim_boss_sides(photos, views, mask, masks, NULL, NULL))
        return ps_context_fail(ctx, PS_NOT_FOUND, "a boss needs two photos at least from either side");
    return find(ctx, photos, lumas, views, mask, masks, toward_dipper, dipper, true, out);
}

/* ---- reading again ---- */

/* A frame along one pin's own axis; false when the pin stands across the piece. `sign`: of the pin's direction along t. */
static bool frame_of(const ps_pin_model *pin, ps_gap_frame *f, double *sign) {
    const double *d = pin->axis_direction;
    if (!(hypot(d[0], d[1]) > 0.5)) return false;
    *sign = d[1] >= 0 ? 1 : -1;
    ps_gap_frame_set(f, atan2(-*sign * d[0], *sign * d[1]), asin(fmax(-1, fmin(1, -*sign * d[2]))));
    return true;
}

/* Steps ever finer around a spot. */
static void sharpen(const ps_gap_scene *sc, const ps_gap_frame *f, double s, double h, double step, ps_gap_circle *c) {
    c->support = ps_gap_joint(sc, f, s, h, c->ear, c->t, c->r, SECTORS, NULL);
    for (; step > 0.04; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 8; k++) {
                static const int way[8][2] = {{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, -1}, {1, -1}, {-1, 1}};
                double t = c->t + step * way[k][0], r = c->r + step * way[k][1];
                double value = ps_gap_joint(sc, f, s, h, c->ear, t, r, SECTORS, NULL);
                if (value > c->support + 1e-4) c->t = t, c->r = r, c->support = value, moved = true;
            }
        }
}

/* Spots that ran together are one. */
static int merge(ps_gap_circle *c, int count, double apart) {
    int kept = 0;
    for (int i = 0; i < count; i++) {
        bool same = false;
        for (int k = 0; k < kept; k++) same = same || hypot(c[k].t - c[i].t, c[k].r - c[i].r) < apart;
        if (!same) c[kept++] = c[i];
    }
    return kept;
}

static void add_rim(ps_pin_model *pin, ps_edge edge, ps_ear ear, double height, double radius, double sigma) {
    if (pin->rim_count < PS_RIMS_PER_PIN) pin->rim[pin->rim_count++] = (ps_pin_rim){edge, ear, height, radius, sigma, 0.7 * sigma, 0};
}

static void keep_ear(const ps_pin_model *from, ps_ear ear, ps_pin_model *to) {
    for (int r = 0; r < from->rim_count; r++)
        if (from->rim[r].ear == ear && to->rim_count < PS_RIMS_PER_PIN) to->rim[to->rim_count++] = from->rim[r];
}

/* Where the bush's edges are along t by the rims that there are. */
static bool about(const ps_pin_model *pin, ps_ear ear, double *height) {
    double sum = 0;
    int n = 0;
    for (int r = 0; r < pin->rim_count; r++) {
        if (pin->rim[r].ear != ear) continue;
        if (pin->rim[r].edge == PS_EDGE_BUSH_FACE) {
            *height = pin->rim[r].height_mm;
            return true;
        }
        sum += pin->rim[r].height_mm;
        n++;
    }
    if (n) *height = sum / n;
    return n > 0;
}

static bool backed(const ps_pin_model *pin, ps_ear ear) {
    return ps_rim_find(pin, PS_EDGE_BUSH_BORE, ear) >= 0 || ps_rim_find(pin, PS_EDGE_BUSH, ear) >= 0;
}

/* A pin's axis in its own frame. */
typedef struct stand {
    ps_gap_frame frame;
    double s, h, t, sign; /* place of the axis point; the pin's direction along t */
} stand;

/* The clear circles of one ear. `further_mm`: how much farther inward to look. */
static int read_spots(const ps_gap_scene *sc, const stand *at, double height, int ear, double reach_mm, double further_mm,
                      ps_gap_circle *spot) {
    double middle = at->t + at->sign * height, step = reach_mm / 12;
    ps_gap_window w = {middle - reach_mm, middle + reach_mm, step, 12, sc->over ? boss_radius_mm : fmin(90, fmax(30, at->h)), step};
    *(ear ? &w.t0 : &w.t1) += ps_gap_inward(ear) * further_mm;
    int count = ps_gap_spots(sc, &at->frame, at->s, at->h, ear, &w, spot_min, spot, PS_GAP_SPOTS_MAX);
    for (int i = 0; i < count; i++) sharpen(sc, &at->frame, at->s, at->h, 0.5 * step, &spot[i]);
    count = merge(spot, count, 0.6 * step);
    for (int i = 0; i < count; i++) {
        double beside = 0;
        for (int side = -1; side <= 1; side += 2)
            beside += 0.5 * ps_gap_joint(sc, &at->frame, at->s, at->h, ear, spot[i].t, spot[i].r + side * beside_mm, SECTORS, NULL);
        spot[i].over = spot[i].support - beside;
    }
    return count;
}

static void add_bush(const stand *at, const ps_gap_bush *b, ps_ear ear, double sigma, ps_pin_model *out) {
    add_rim(out, PS_EDGE_BUSH_FACE, ear, at->sign * (b->face.t - at->t), b->face.r, sigma);
    if (b->has_bore) add_rim(out, PS_EDGE_BUSH_BORE, ear, at->sign * (b->bore.t - at->t), b->bore.r, sigma);
    if (b->has_outer) add_rim(out, PS_EDGE_BUSH, ear, at->sign * (b->outer.t - at->t), b->outer.r, sigma);
}

static ps_ear ear_of(const stand *at, const ps_pin_model *pin, int side) {
    return (side == 1) == ((at->sign > 0) != pin->outward) ? PS_EAR_NEAR : PS_EAR_FAR;
}

static void reread_pin(const ps_gap_scene *sc, double reach_mm, double flat_mm, ps_pin_model *pin) {
    stand at;
    ps_gap_circle spot[2][PS_GAP_SPOTS_MAX];
    const ps_gap_circle *circle[2] = {spot[0], spot[1]};
    ps_gap_bush bush[2];
    ps_pin_model out = *pin;
    int count[2] = {0, 0};
    if (!frame_of(pin, &at.frame, &at.sign)) return;
    at.s = ps_dot3(pin->axis_point_mm, at.frame.e1);
    at.h = ps_dot3(pin->axis_point_mm, at.frame.e2);
    at.t = ps_dot3(pin->axis_point_mm, at.frame.e3);
    for (int side = 0; side < 2; side++) {
        double height;
        ps_ear ear = ear_of(&at, pin, side);
        /* What no other edge backs may be the bush's foot: the face is then farther inward. */
        if (about(pin, ear, &height))
            count[side] = read_spots(sc, &at, height, side, reach_mm, backed(pin, ear) && !sc->over ? 0 : foot_mm, spot[side]);
    }
    ps_gap_name(circle, count, flat_mm, pin->outward, bush);
    out.rim_count = 0;
    for (int side = 0; side < 2; side++) {
        ps_ear ear = ear_of(&at, pin, side);
        if (bush[side].has_face)
            add_bush(&at, &bush[side], ear, fmax(reach_mm / 24, 0.2), &out);
        else
            keep_ear(pin, ear, &out);
    }
    *pin = out;
}

ps_status ps_rim_gap_reread(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, int side, double reach_mm,
                            ps_pin_models *pins) {
    ps_gap_image *images = NULL;
    ps_status status = make_images(ctx, photos, lumas, side, &images);
    if (status != PS_OK) return status;
    ps_gap_scene sc = {photos, images, views, pins->count > 0 && pins->pin[0].outward};
    for (int p = 0; p < pins->count; p++) reread_pin(&sc, reach_mm, reach_mm > 5 ? 1.0 : 0.5, &pins->pin[p]);
    clear_images(images, photos);
    return PS_OK;
}
