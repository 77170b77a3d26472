/* Triangulating circles: a circle parallel to the world plane at height h shows in the squared view of a camera at foot F
 * and height H with centre F + (X - F) H/(H - h) and radius r H/(H - h). Two views give X and h by linear least
 * squares, and the radii must then agree. Circles that meet on one line square to the plane are one axis. */
#include "rim/axes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double height_low_mm = -25, height_high_mm = 95; /* of rims over the piece: recessed pins to long stand-outs */
static const double miss_max_mm = 1.6;                        /* two circles of one rim, proposed to a sample or two */
static const double parallax_min = 0.06;                      /* difference of viewing directions, tangent */
static const double cluster_mm = 2.2, apart_mm = 22, closely_mm = 6;

typedef struct station { /* a camera over the plane */
    double foot[2], rise;
} station;

typedef struct meeting { /* a circle in space that two photos agree on */
    double x, y, h, r, weight;
    uint64_t photos;
} meeting;

typedef struct meetings {
    int count, room;
    meeting *item;
} meetings;

static station stand(const ps_view *view) {
    const double *R = view->pose.R, *t = view->pose.t;
    double C[3];
    for (int i = 0; i < 3; i++) C[i] = -(R[i] * t[0] + R[3 + i] * t[1] + R[6 + i] * t[2]);
    return (station){{C[0], C[1]}, -C[2]};
}

static bool meet(const station *a, const ps_rim_candidate *p, const station *b, const ps_rim_candidate *q, meeting *out) {
    /* X = c - (c - F) h/H on both sides: (ca - cb) = (ga - gb) h, with g = (c - F)/H */
    double ga[2] = {(p->x_mm - a->foot[0]) / a->rise, (p->y_mm - a->foot[1]) / a->rise};
    double gb[2] = {(q->x_mm - b->foot[0]) / b->rise, (q->y_mm - b->foot[1]) / b->rise};
    double d[2] = {p->x_mm - q->x_mm, p->y_mm - q->y_mm}, g[2] = {ga[0] - gb[0], ga[1] - gb[1]};
    double gg = g[0] * g[0] + g[1] * g[1];
    if (gg < parallax_min * parallax_min) return false;
    double h = (d[0] * g[0] + d[1] * g[1]) / gg;
    if (h < height_low_mm || h > height_high_mm) return false;
    double miss = hypot(d[0] - g[0] * h, d[1] - g[1] * h);
    double ra = p->radius_mm * (1 - h / a->rise), rb = q->radius_mm * (1 - h / b->rise);
    if (miss > miss_max_mm || fabs(ra - rb) > miss_max_mm) return false;
    out->x = 0.5 * (p->x_mm - ga[0] * h + q->x_mm - gb[0] * h);
    out->y = 0.5 * (p->y_mm - ga[1] * h + q->y_mm - gb[1] * h);
    out->h = h;
    out->r = 0.5 * (ra + rb);
    /* Evidence grows with the circle's size: large circles seldom arise by chance. */
    out->weight = p->support * q->support * (1 - miss / miss_max_mm * 0.5) * sqrt(out->r);
    return true;
}

static ps_status add(ps_context *ctx, meetings *m, const meeting *one) {
    if (m->count == m->room) {
        int room = m->room ? 2 * m->room : 1024;
        meeting *more = room > 4000000 ? NULL : realloc(m->item, (size_t)room * sizeof *more);
        if (!more) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for circles in space");
        m->item = more;
        m->room = room;
    }
    m->item[m->count++] = *one;
    return PS_OK;
}

static ps_status meet_all(ps_context *ctx, int photos, const station *at, const ps_rim_candidates *c, meetings *out) {
    ps_status status = PS_OK;
    for (int a = 0; a < photos; a++)
        for (int b = a + 1; b < photos; b++)
            for (int i = 0; i < c[a].count && status == PS_OK; i++)
                for (int j = 0; j < c[b].count && status == PS_OK; j++) {
                    meeting one;
                    if (!meet(&at[a], &c[a].item[i], &at[b], &c[b].item[j], &one)) continue;
                    one.photos = (uint64_t)1 << a | (uint64_t)1 << b;
                    status = add(ctx, out, &one);
                }
    return status;
}

/* No two directions: every circle stands at the assumed height. */
static ps_status stand_alone(ps_context *ctx, int photos, const station *at, const ps_rim_candidates *c, double h, meetings *out) {
    ps_status status = PS_OK;
    for (int a = 0; a < photos; a++)
        for (int i = 0; i < c[a].count && status == PS_OK; i++) {
            const ps_rim_candidate *p = &c[a].item[i];
            double k = 1 - h / at[a].rise;
            meeting one = {at[a].foot[0] + (p->x_mm - at[a].foot[0]) * k,
                           at[a].foot[1] + (p->y_mm - at[a].foot[1]) * k,
                           h,
                           p->radius_mm * k,
                           p->support * p->support * sqrt(p->radius_mm),
                           (uint64_t)1 << a};
            status = add(ctx, out, &one);
        }
    return status;
}

static double weight_near(const meetings *m, double x, double y, double reach) {
    double sum = 0;
    for (int i = 0; i < m->count; i++) {
        double d2 = (m->item[i].x - x) * (m->item[i].x - x) + (m->item[i].y - y) * (m->item[i].y - y);
        if (d2 < reach * reach) sum += m->item[i].weight * (1 - d2 / (reach * reach));
    }
    return sum;
}

static int seed(const meetings *m, double reach, double *weight) {
    int best = -1;
    *weight = 0;
    for (int i = 0; i < m->count; i++) {
        double w = m->item[i].weight > 0 ? weight_near(m, m->item[i].x, m->item[i].y, reach) : 0;
        if (w > *weight) *weight = w, best = i;
    }
    return best;
}

/* Mean place and slope over height of the meetings near a seed, by weighted regression. */
static void settle(const meetings *m, double reach, ps_axis_guess *axis) {
    for (int pass = 0; pass < 4; pass++) {
        double s = 0, sh = 0, shh = 0, sx = 0, sy = 0, sxh = 0, syh = 0;
        uint64_t photos = 0;
        axis->radius_max_mm = 0;
        axis->height_min_mm = INFINITY;
        axis->height_max_mm = -INFINITY;
        for (int i = 0; i < m->count; i++) {
            const meeting *q = &m->item[i];
            double dx = q->x - axis->x_mm - axis->slope_x * q->h, dy = q->y - axis->y_mm - axis->slope_y * q->h;
            double u2 = (dx * dx + dy * dy) / (reach * reach);
            if (u2 >= 1 || q->weight <= 0) continue;
            double w = q->weight * (1 - u2) * (1 - u2);
            s += w, sh += w * q->h, shh += w * q->h * q->h, sx += w * q->x, sy += w * q->y, sxh += w * q->x * q->h, syh += w * q->y * q->h;
            photos |= q->photos;
            if (q->r > axis->radius_max_mm) axis->radius_max_mm = q->r;
            if (q->h < axis->height_min_mm) axis->height_min_mm = q->h;
            if (q->h > axis->height_max_mm) axis->height_max_mm = q->h;
        }
        if (!(s > 0)) return;
        double mh = sh / s, spread = shh / s - mh * mh,
               trust = s * 2500; /* slope pulled to 0: a few mm of height tell little against 2 degrees */
        axis->slope_x = (sxh - sx * mh) / (s * spread + trust);
        axis->slope_y = (syh - sy * mh) / (s * spread + trust);
        axis->x_mm = sx / s - axis->slope_x * mh;
        axis->y_mm = sy / s - axis->slope_y * mh;
        axis->photos = __builtin_popcountll(photos);
    }
}

static ps_status find(ps_context *ctx, int photos, const ps_view *views, const ps_rim_candidates *candidates, double height_alone_mm,
                      double apart, ps_axis_guess out[PS_AXES_MAX], int *count) {
    station *at = malloc((size_t)photos * sizeof *at);
    meetings all = {0, 0, NULL};
    *count = 0;
    if (!at) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for camera places");
    for (int i = 0; i < photos; i++) at[i] = stand(&views[i]);
    ps_status status = meet_all(ctx, photos, at, candidates, &all);
    bool alone = all.count == 0;
    if (status == PS_OK && alone) status = stand_alone(ctx, photos, at, candidates, height_alone_mm, &all);
    double reach = alone ? 3 * cluster_mm : cluster_mm, weight = 0;
    while (status == PS_OK && *count < PS_AXES_MAX) {
        int first = seed(&all, reach, &weight);
        if (first < 0 || (*count && weight < 0.02 * out[0].weight)) break;
        ps_axis_guess axis = {all.item[first].x, all.item[first].y, 0, 0, weight, 0, 0, 0, 0, false};
        settle(&all, reach, &axis);
        for (int i = 0; i < all.count; i++)
            if (hypot(all.item[i].x - axis.x_mm, all.item[i].y - axis.y_mm) < apart) all.item[i].weight = 0;
        out[(*count)++] = axis;
    }
    free(at);
    free(all.item);
    if (status == PS_OK && *count == 0) status = ps_context_fail(ctx, PS_NOT_FOUND, "no circles of the photos meet in space");
    return status;
}

ps_status ps_axes_find(ps_context *ctx, int photos, const ps_view *views, const ps_rim_candidates *candidates, double height_alone_mm,
                       ps_axis_guess out[PS_AXES_MAX], int *count) {
    return find(ctx, photos, views, candidates, height_alone_mm, apart_mm, out, count);
}

ps_status ps_axes_find_closely(ps_context *ctx, int photos, const ps_view *views, const ps_rim_candidates *candidates,
                               double height_alone_mm, ps_axis_guess out[PS_AXES_MAX], int *count) {
    return find(ctx, photos, views, candidates, height_alone_mm, closely_mm, out, count);
}
