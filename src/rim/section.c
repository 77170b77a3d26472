/* Reading a section. The corners are bright spots of the joint profile; which is which follows from the shape that every
 * pin in a bush has: going outward the section only descends, a chamfer of 0.4-3.5 mm stands at each outer corner, and
 * the bush is wider than the pin. Nothing lies above and outside the outermost corners. */
#include "rim/section.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SPOTS = 40, SECTORS = 96 };
static const double radius_low_mm = 8, radius_limit_mm = 100;
static const double bush_ratio_min = 1.10, bush_ratio_max = 2.0; /* outer diameters, common practice without a source */
static const double recess_max_mm = 12;
static const double chamfer_min_mm = 0.35;
static const double pin_chamfer_max_mm = 7, bush_chamfer_max_mm = 3.4; /* radial */
static const double slope_min = 0.6, slope_max = 1.73;                 /* of a chamfer as found, axial over radial */
static const double dent_min = 0.075;                                  /* support between the two edges of a chamfer, under the lesser */
static const double level_mm = 0.45;                                   /* heights closer than this are one height */
static const double bush_stands_mm = 20; /* a bush's face seldom stands higher over the ear plate (common practice) */
static const double stands_least_mm = 3; /* over the plate: pin or bush, or there is neither (common practice) */
static const double beyond_mm = 20;      /* what lies farther out is another thing */

typedef struct spot {
    double h, r, v, w; /* support, prominence */
    double g;          /* weight: a rim is both well supported and prominent */
} spot;

static int by_prominence(const void *a, const void *b) {
    const spot *p = a, *q = b;
    if (p->w != q->w) return p->w < q->w ? 1 : -1;
    return (p->r > q->r) - (p->r < q->r);
}

static bool is_peak(const ps_profile_map *m, int i, int u) {
    float v = m->value[i * m->radii + u];
    for (int di = -2; di <= 2; di++)
        for (int du = -3; du <= 3; du++) {
            float other = m->value[(i + di) * m->radii + u + du];
            if (other > v || (other == v && (di < 0 || (di == 0 && du < 0)))) return false;
        }
    return true;
}

static int find_spots(const ps_profile_map *m, spot out[SPOTS]) {
    enum { ROOM = 4096 };
    spot *all = malloc(ROOM * sizeof *all);
    int count = 0, reach = (int)(1.8 / m->radius_step + 0.5);
    if (!all) return 0;
    for (int i = 2; i < m->heights - 2; i++)
        for (int u = reach; u < m->radii - reach; u++) {
            if (count == ROOM || !is_peak(m, i, u)) continue;
            double mean = 0;
            for (int e = -reach; e <= reach; e++) mean += m->value[i * m->radii + u + e] / (2 * reach + 1);
            double v = m->value[i * m->radii + u];
            all[count++] = (spot){m->height0 + i * m->height_step, m->radius0 + u * m->radius_step, v, v - mean, 0};
        }
    qsort(all, (size_t)count, sizeof *all, by_prominence);
    if (count > SPOTS) count = SPOTS;
    memcpy(out, all, (size_t)count * sizeof *out);
    free(all);
    return count;
}

/* Climbs to the top of the joint support near (h, r). */
static double climb(const ps_profile_source *fine, const ps_axis_guess *axis, double reach, double *h, double *r) {
    double best = ps_profile_joint(fine, axis, *h, *r, SECTORS), h0 = *h, r0 = *r;
    for (double step = reach / 2; step > 0.03; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 8; k++) {
                static const int way[8][2] = {{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, -1}, {1, -1}, {-1, 1}};
                double th = *h + way[k][0] * step, tr = *r + way[k][1] * step * 0.5;
                if (fabs(th - h0) > reach || fabs(tr - r0) > reach * 0.6) continue;
                double v = ps_profile_joint(fine, axis, th, tr, SECTORS);
                if (v > best + 1e-6) best = v, *h = th, *r = tr, moved = true;
            }
        }
    return best;
}

/* How one spot speaks for (positive) or against the reading 'pin's end at p, bush at b'. */
static double speaks(const spot *q, const spot *p, const spot *b) {
    double up_p = q->h - p->h, up_b = q->h - b->h;
    bool recessed = b->h > p->h - level_mm;
    if (q->r <= p->r + 0.4 && up_p > -0.7 && up_p < fmin(0.9 + 1.8 * fmax(0, p->r - q->r), 8))
        return 1;                                                     /* the pin's end face, its corners */
    if (fabs(q->r - p->r) < 1.2 && up_p < 0 && up_b > -3) return 0.5; /* along the pin */
    if (q->r > p->r && q->r <= b->r + 0.4 && up_b > -0.7 && up_b < fmin(0.9 + 1.8 * fmax(0, b->r - q->r), 4.2))
        return 1;                                                       /* the bush's face */
    if (fabs(q->r - b->r) < 1.5 && up_b < 0) return 0.5;                /* along the bush */
    if (q->r <= b->r && up_b < 0) return -0.3;                          /* inside the body: chance */
    if (q->r > b->r + beyond_mm) return 0;                              /* another thing */
    if (q->r > b->r && up_b < -level_mm) return -0.7;                   /* weld and plate, or this is not the bush */
    if (q->r < p->r && up_p > 0) return q->r < 0.45 * p->r ? -0.3 : -1; /* over the face: grease nipple, or wrong */
    if (recessed && q->r <= b->r) return -0.3;
    return -1.5; /* in the air outside */
}

/* A corner near the level of the bush's face with another just inside and above it is the bore, and that other the pin. */
static double seems_bore(const spot *s, int count, const spot *p, const spot *b) {
    double worst = 0;
    if (p->h > b->h + 5 || p->h < b->h - level_mm) return 0;
    for (int i = 0; i < count; i++)
        if (s[i].r < p->r - 0.3 && s[i].r > p->r - 3.2 && s[i].h > p->h + 1 && s[i].g > worst) worst = s[i].g;
    return worst;
}

/* A circle with another of the same radius straight above it is where the bush meets the plate; one low down with a
 * clearer one just inside and well above it is the weld. */
static double seems_foot(const spot *s, int count, const spot *b) {
    double worst = 0;
    for (int i = 0; i < count; i++) {
        double in = b->r - s[i].r, up = s[i].h - b->h;
        bool straight = fabs(in) < 0.8 && up > 1.2 && up<25, weld = in> 0 && in < 5 && s[i].h > 3 && b->h < 0.35 * s[i].h && s[i].g > b->g;
        if ((straight || weld) && s[i].g > worst) worst = s[i].g;
    }
    return worst;
}

/* The pair of corners (of the pin's end, of the bush) that explains the spots best. */
static bool choose_pair(const spot *s, int count, int *pin, int *bush, double *score) {
    *score = 0;
    for (int p = 0; p < count; p++)
        for (int b = 0; b < count; b++) {
            if (s[b].r < bush_ratio_min * s[p].r || s[b].r > bush_ratio_max * s[p].r || s[p].r < 10) continue;
            if (s[b].h > s[p].h + recess_max_mm || s[b].v < 0.3 || s[p].v < 0.3) continue;
            double value = 2 * s[p].g + 2 * s[b].g;
            for (int i = 0; i < count; i++) value += s[i].g * speaks(&s[i], &s[p], &s[b]);
            value -= 2 * seems_bore(s, count, &s[p], &s[b]) + 2 * seems_foot(s, count, &s[b]);
            if (s[b].h > s[p].h) value *= 0.8; /* recessed pins are seldom */
            double high = fmax(0, s[b].h - bush_stands_mm) / bush_stands_mm;
            value *= exp(-2 * high * high);
            if (fmax(s[p].h, s[b].h) < stands_least_mm) value *= 0.4; /* a hole, or paint on the plate */
            if (value > *score) *score = value, *pin = p, *bush = b;
        }
    return *score > 0.1;
}

/* Climbs with both corners at once on one axis: place of the axis, and height and radius of each corner. */
static void climb_together(const ps_profile_source *fine, ps_axis_guess *axis, double reach, spot *p, spot *b) {
    double x[6] = {axis->x_mm, axis->y_mm, p->h, p->r, b->h, b->r}, start[6];
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
                double vp = ps_profile_joint(fine, &trial, t[2], t[3], SECTORS), vb = ps_profile_joint(fine, &trial, t[4], t[5], SECTORS);
                if (vp + vb > best + 1e-6) {
                    moved = k >= 0;
                    best = vp + vb;
                    memcpy(x, t, sizeof x);
                    p->v = vp;
                    b->v = vb;
                }
            }
        }
    axis->x_mm = x[0], axis->y_mm = x[1];
    p->h = x[2], p->r = x[3], b->h = x[4], b->r = x[5];
}

/* A partner is first of all a clear edge, and then parted from the corner by a dent. */
static double partner_merit(const spot *s) {
    return s->v * s->v * cbrt(fmax(0, s->w));
}

/* A corner's partner across a chamfer, outward and down (way +1) or inward and up (-1). */
static bool partner(const ps_profile_source *fine, const ps_axis_guess *axis, const spot *corner, int way, double chamfer_max_mm,
                    spot *out) {
    enum { STEPS = 128 };
    static const double slope[] = {0.58, 0.8, 1, 1.35, 1.73}; /* axial over radial: chamfers of 30 to 60 degrees */
    const double apart = 0.06;
    bool found = false;
    double best = 0.12; /* hardly a dent between the two, or hardly an edge */
    for (size_t k = 0; k < sizeof slope / sizeof *slope; k++) {
        double v[STEPS], valley = 1;
        int n = 0;
        for (double c = 0; c <= chamfer_max_mm && n < STEPS; c += apart)
            v[n++] = ps_profile_joint(fine, axis, corner->h - way * c * slope[k], corner->r + way * c, SECTORS);
        for (int i = 1; i + 2 < n; i++) {
            valley = fmin(valley, v[i]);
            if (i * apart < chamfer_min_mm || v[i] < v[i - 1] || v[i] < v[i + 1]) continue;
            double rise = v[i] - valley;
            if (v[i] < 0.4 * corner->v) continue;
            spot trial = {corner->h - way * i * apart * slope[k], corner->r + way * i * apart, v[i], rise, 0};
            trial.v = climb(fine, axis, 1.3, &trial.h, &trial.r);
            if (trial.v < 0.45 * corner->v) continue;
            double across = way * (trial.r - corner->r), down = way * (corner->h - trial.h);
            if (across < chamfer_min_mm || down < slope_min * across || down > slope_max * across + level_mm)
                continue; /* a groove of the same face */
            double merit = partner_merit(&trial);
            if (merit > best) best = merit, *out = trial, found = true;
        }
    }
    return found;
}

static ps_section_corner as_corner(const spot *s) {
    return (ps_section_corner){true, s->h, s->r, s->v, s->w};
}

/* Names a corner and its partner: (inner, outer) of a chamfer. `outward` favours the reading that the corner is the inner
 * one; an outer partner under `lowest` is a weld bead or the plate. */
static void resolve(const ps_profile_source *fine, const ps_axis_guess *axis, const spot *corner, double chamfer_max_mm, double outward,
                    double lowest, ps_section_corner *inner, ps_section_corner *outer) {
    spot in = {0, 0, 0, 0, 0}, out = {0, 0, 0, 0, 0};
    bool has_out = partner(fine, axis, corner, +1, chamfer_max_mm, &out) && out.h > lowest,
         has_in = partner(fine, axis, corner, -1, chamfer_max_mm, &in);
    memset(inner, 0, sizeof *inner);
    memset(outer, 0, sizeof *outer);
    if (has_out && has_in && in.v > 0.55 && out.w < dent_min) has_out = false; /* no chamfer, but the bore close by */
    if (has_out && (!has_in || outward * partner_merit(&out) > partner_merit(&in))) {
        *inner = as_corner(corner);
        *outer = as_corner(&out);
    } else {
        *outer = as_corner(corner);
        if (has_in) *inner = as_corner(&in);
    }
}

/* Whether a corner lies on a face: other circles (grooves, a bore, wear) at its own height inside it speak for the face's
 * edge; such circles a chamfer higher speak for the outer edge. 0.5 .. 2, 1 when nothing is known. */
static double on_face(const spot *s, int count, const spot *corner, double inside_radius) {
    double level = 0.05, above = 0.05;
    for (int i = 0; i < count; i++) {
        double up = s[i].h - corner->h;
        if (s[i].r < inside_radius || s[i].r > corner->r - 0.6) continue;
        if (fabs(up) < level_mm)
            level += s[i].g;
        else if (up > 0 && up < 4)
            above += s[i].g;
    }
    return fmin(2, fmax(0.5, level / above));
}

/* A corner at the level of the bush's face may be the bore: a clear edge just inside and above it is the pin then. */
static void leave_bore(const ps_profile_source *fine, const ps_axis_guess *axis, double face, spot *p) {
    if (fabs(p->h - face) > 1.3) return;
    spot best = *p;
    best.v = 0.75 * p->v;
    for (double up = 1; up <= 4.5; up += 0.5)
        for (double in = 0.3; in <= 3; in += 0.3) {
            double v = ps_profile_joint(fine, axis, p->h + up, p->r - in, SECTORS);
            if (v > best.v) best.v = v, best.h = p->h + up, best.r = p->r - in;
        }
    if (best.h > p->h) {
        best.v = climb(fine, axis, 0.6, &best.h, &best.r);
        if (best.h > p->h + 0.8) *p = best;
    }
}

static ps_status coarse_reading(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, bool settled,
                                ps_axis_guess *axis, spot *s, int *count) {
    double high = fmin(fmax(axis->height_max_mm + 20, 45), 90), radius = fmin(radius_limit_mm, 1.75 * axis->radius_max_mm + 8);
    ps_profile_source coarse = {0};
    ps_profile_map map = {0};
    ps_status status = ps_profile_open(ctx, photos, lumas, views, axis, -10, high, radius, 2, &coarse);
    if (status != PS_OK) return status;
    if (!settled) ps_profile_focus(&coarse, axis, -3, high - 12, radius_low_mm, fmin(radius - 3, 1.3 * axis->radius_max_mm), 1.6);
    status = ps_profile_map_make(ctx, &coarse, axis, 0.8, 0.3, radius_low_mm, 64, &map);
    if (status == PS_OK) *count = find_spots(&map, s);
    for (int i = 0; status == PS_OK && i < *count; i++) {
        s[i].v = fmax(s[i].v, climb(&coarse, axis, 0.8, &s[i].h, &s[i].r));
        s[i].g = s[i].w * s[i].v * s[i].v;
    }
    ps_profile_map_clear(&map);
    ps_profile_close(&coarse);
    return status;
}

ps_status ps_section_read(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, bool settled, ps_axis_guess *axis,
                          ps_section *out) {
    spot s[SPOTS];
    int count = 0, pin = -1, bush = -1;
    double score = 0;
    ps_section section = {0};
    ps_profile_source fine = {0};
    ps_status status = coarse_reading(ctx, photos, lumas, views, settled, axis, s, &count);
    if (status != PS_OK) return status;
    if (!choose_pair(s, count, &pin, &bush, &score)) return ps_context_fail(ctx, PS_NOT_FOUND, "no pin in a bush on this axis");
    spot p = s[pin], b = s[bush];
    double low = fmin(p.h, b.h) - 8, high = fmax(p.h, b.h) + 8;
    status = ps_profile_open(ctx, photos, lumas, views, axis, low, high, b.r + 6, 1, &fine);
    if (status != PS_OK) return status;
    if (settled) {
        p.v = climb(&fine, axis, 0.8, &p.h, &p.r);
        b.v = climb(&fine, axis, 0.8, &b.h, &b.r);
    } else {
        climb_together(&fine, axis, 1.0, &p, &b);
    }
    resolve(&fine, axis, &b, bush_chamfer_max_mm, 1.4 * on_face(s, count, &b, p.r + 0.6), 0.35 * b.h, &section.bush_face, &section.bush);
    double face = section.bush_face.found ? section.bush_face.height_mm : b.h;
    leave_bore(&fine, axis, face, &p);
    /* A chamfer of a pin that stands out ends above the bush's face: lower down is the bush's bore. */
    double lowest = p.h > face + 2 ? face + 0.6 : -INFINITY;
    resolve(&fine, axis, &p, pin_chamfer_max_mm, 1.4 * on_face(s, count, &p, 0), lowest, &section.pin_face, &section.pin);
    section.score = score * sqrt(b.r);
    ps_profile_close(&fine);
    *out = section;
    return PS_OK;
}
