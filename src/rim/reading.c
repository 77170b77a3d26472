/* Reading a half section from its circles. Every way to name four of them (the pin's end: face and cylinder; the bush's end: face
 * and cylinder) draws a surface: the pin's face, its chamfer, its wall down to the bush's face, that face, its chamfer, its wall. A
 * reading is worth the circles that lie on its surface, the corners most, less those that would stand in the air or inside the
 * steel. The worth of the next best reading with another pin says how sure the pin is.
 *
 * The numbers of this file are our own, common practice without a source: sizes of chamfers and bushes as makers turn them,
 * weights so that one clear circle out of place outweighs what grooves and texture add by chance. */
#include "rim/reading.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { CORNERS_MAX = 36, ENDS_MAX = 700 };

/* How sizes go together. */
static const double wall_min = 1.10, wall_max = 2.0; /* bush over pin, diameters */
static const double pin_radius_min_mm = 9;
static const double chamfer_min_mm = 0.3, pin_chamfer_max_mm = 6.5, bush_chamfer_max_mm = 3.4; /* radial */
static const double slope_min = 0.55, slope_max = 1.75;                                        /* axial over radial: 30 to 60 degrees */
static const double taper_max_mm = 30, taper_slope_max = 6;
static const double plate_mm = 3;      /* circles lower than this lie on the plate */
static const double wall_most_mm = 30; /* of a bush, below its face */
static const double recess_max_mm = 12, stands_usual_mm = 16;
static const double bore_max_mm = 3.2;                    /* play and inner chamfer of the bush: the bore's edge outside the pin */
static const double weld_ratio = 1.2, beyond_ratio = 2.5; /* of the bush: what lies farther out is another thing */

/* What circles are worth, in clear circles. */
static const double worth_face = 1.0, worth_pin = 1.2, worth_bush_face = 1.0, worth_bush = 1.0, worth_junction = 0.9;
static const double worth_groove = 0.5, grooves_most = 1.5, worth_wall = 0.2, worth_slope = -0.3, worth_taper = 0.3;
static const double cost_air = 1.2, cost_inside = 0.4, inside_most = 1.0, cost_over = 0.9, cost_beyond = 1.0;
static const double cost_taper = 1.0, cost_recessed = 0.3, cost_one_edge = 0.25, cost_high = 1.0, cost_on_plate = 2.0;
static const double shadow_none = 0.45, shadow_full = 0.75; /* strength of a spot over that of one whose shadow it may be */
static const double aslant_most = 0.5;     /* photos seen more aslant show a circle's shadow too faintly to matter; practice */
static const double shadow_support = 0.75; /* so much of a circle no shadow has that lies farther aside than the photos look aslant */
static const double same_mm = 2.5;
static const double chamfer_clear = 0.6;
/* A gap about a pin's end: how clear both its edges are, and what the ring outside it measures at least, as walls of the smallest machines'
 * bushes do. Its circles on a pin's face cost as much as those outside a bush: neither is explained. */
static const double gap_clear = 0.6, gap_wall_mm = 4, cost_gap = 1.0;
static const double ghost_most_mm = 15, ghost_share = 0.3; /* how far apart its two circles are at most; what it still counts */
static const double behind_clear = 0.4, behind_sum = 1.2, behind_least_mm = 2; /* a chamfer's edges behind what may be a collar */
static const double behind_lead = 0.3;     /* a doubt of the bush and the stand-out, none of the pin (docs/verdicts.md) */
static const double lead_radius_mm = 0.35; /* readings whose pins differ by less are the same */

typedef struct circle {
    double h, r, g; /* height, radius, strength 0..1 */
} circle;

/* One end: inner and outer corner of a chamfer, or the outer one alone (inner -1). */
typedef struct end {
    int inner, outer;
    bool taper;
    double cost;
    int gap[2]; /* in the plane of its face: what lies in a bore, and the bore's edge; -1 none */
} end;

typedef struct table {
    int count;
    circle c[PS_SPOTS_MAX];
    int corner_count, corner[CORNERS_MAX];
    bool plate_known;
    double tol_h, tol_r;
    end pin[ENDS_MAX], bush[ENDS_MAX];
    int pins, bushes;
} table;

static double clamp01(double x) {
    return fmin(fmax(x, 0), 1);
}

/* A circle counts fully when three quarters of it are there and it stands out from its neighbourhood. */
static double strength(const ps_spot *s) {
    return clamp01((s->support - 0.4) / 0.35) * clamp01((s->prominence - 0.06) / 0.15);
}

/* Two circles a height apart make a ghost between them: in each photo its near side falls on one of them, its far side on the
 * other. It is on the line from one to the other, and weaker than both. */
static bool is_ghost(const ps_spot *spots, int count, int i, double tol_r) {
    const ps_spot *s = &spots[i];
    for (int a = 0; a < count; a++)
        for (int b = 0; b < count; b++) {
            const ps_spot *p = &spots[a], *q = &spots[b];
            if (p->height_mm < s->height_mm + 1 || q->height_mm > s->height_mm - 1 || p->height_mm - q->height_mm > ghost_most_mm) continue;
            if (fmin(p->strength, q->strength) <= s->strength) continue;
            double along = (s->height_mm - q->height_mm) / (p->height_mm - q->height_mm);
            double r = q->radius_mm + along * (p->radius_mm - q->radius_mm);
            bool aslant = fabs(p->radius_mm - q->radius_mm) < 0.5 * (p->height_mm - q->height_mm);
            if (aslant && fabs(r - s->radius_mm) < 1.5 * tol_r) return true;
        }
    return false;
}

/* At another height a circle's images part, but arcs of theirs still touch circles of about its radius: a spot above or below a
 * clearer one, less to the side than the photos look aslant, is only its shadow. */
static double own_share(const ps_spot *spots, int count, int i, double tol_r, double aslant) {
    double share = 1, apart = aslant > 0 && spots[i].support > shadow_support ? fmin(aslant, aslant_most) : aslant_most;
    for (int k = 0; k < count; k++) {
        double up = fabs(spots[k].height_mm - spots[i].height_mm), aside = fabs(spots[k].radius_mm - spots[i].radius_mm);
        bool stronger = spots[k].strength > spots[i].strength || (spots[k].strength == spots[i].strength && k < i);
        if (k != i && stronger && up < same_mm && aside < 0.7 * tol_r) share = fmin(share, 0.5); /* one circle found twice */
        if (k == i || up > 10 || aside > apart * up + tol_r || spots[k].strength <= spots[i].strength) continue;
        share = fmin(share, clamp01((spots[i].strength / spots[k].strength - shadow_none) / (shadow_full - shadow_none)));
    }
    return share;
}

double ps_reading_tol_height_mm(const ps_reading_scene *scene) {
    return scene->loose * (0.35 + 1.2 / scene->px_per_mm);
}

double ps_reading_tol_radius_mm(const ps_reading_scene *scene) {
    return scene->loose * (0.12 + 0.6 / scene->px_per_mm);
}

void ps_reading_strengths(const ps_spot *spots, int count, const ps_reading_scene *scene, double *out) {
    double tol_r = ps_reading_tol_radius_mm(scene);
    for (int i = 0; i < count; i++)
        out[i] =
            strength(&spots[i]) * (is_ghost(spots, count, i, tol_r) ? ghost_share : 1) * own_share(spots, count, i, tol_r, scene->aslant);
}

/* ---- ends ---- */

double ps_reading_chamfer_cost(double across_mm, double down_mm, double across_most_mm, double tol_height_mm) {
    if (across_mm < chamfer_min_mm || across_mm > across_most_mm) return INFINITY;
    double off = fmax(slope_min * across_mm - down_mm, down_mm - slope_max * across_mm);
    if (off <= 0) return 0;
    double z = off / (0.55 * tol_height_mm);
    return z > 2.5 ? INFINITY : 0.4 * z * z;
}

/* From circle i (inner, higher) to o. */
static double chamfer_cost(const table *t, int i, int o, double radial_max_mm) {
    return ps_reading_chamfer_cost(t->c[o].r - t->c[i].r, t->c[i].h - t->c[o].h, radial_max_mm, t->tol_h);
}

/* A taper has no clear circle where a chamfer's outer edge would be. */
static bool has_chamfer(const table *t, int i) {
    for (int k = 0; k < t->count; k++)
        if (t->c[k].g > chamfer_clear && chamfer_cost(t, i, k, pin_chamfer_max_mm) < 1) return true;
    return false;
}

static bool is_taper(const table *t, int i, int o) {
    double across = t->c[o].r - t->c[i].r, down = t->c[i].h - t->c[o].h;
    return across >= 1 && across < 9 && down > slope_max * across && down < taper_slope_max * across && down < taper_max_mm && down > 5 &&
           !has_chamfer(t, i);
}

static void add_end(end *list, int *count, end e) {
    if (*count < ENDS_MAX) list[(*count)++] = e;
}

static const circle *face_of(const table *t, const end *e) {
    return &t->c[e->inner >= 0 ? e->inner : e->outer];
}

static bool in_plane(const table *t, const circle *c, const circle *face) {
    return fabs(c->h - face->h) < 2 * t->tol_h;
}

/* A bore's edge lies in the plane of the bush's face: about where the end's face is read, and above its outer edge by a chamfer's depth at
 * most. */
static bool in_face(const table *t, const end *e, const circle *bore) {
    double rim = t->c[e->outer].h;
    return bore->h > rim - 2 * t->tol_h && bore->h < fmax(face_of(t, e)->h, rim + bush_chamfer_max_mm) + 2 * t->tol_h;
}

/* Two clear circles on a face, as a pin's end lies in a bore, flush or sunk: the pin's chamfer, the play and the bore's bevel are between
 * them, the wall of a bush around them, plain in its plane. */
static bool is_gap(const table *t, const end *e, int in, int out) {
    const circle *a = &t->c[in], *b = &t->c[out], *rim = &t->c[e->outer], *face = face_of(t, e);
    if (fmin(a->g, b->g) < gap_clear || a->r < pin_radius_min_mm || !in_face(t, e, b)) return false;
    double wide = b->r - a->r, deep = b->h - a->h;
    if (wide < fmax(chamfer_min_mm, 2 * t->tol_r) || wide > pin_chamfer_max_mm + bore_max_mm) return false;
    if (deep < -2 * t->tol_h || deep > recess_max_mm || rim->r < b->r + gap_wall_mm || rim->r > wall_max * a->r) return false;
    for (int i = 0; i < t->count; i++)
        if (t->c[i].g >= gap_clear && in_plane(t, &t->c[i], b) && t->c[i].r > b->r && t->c[i].r < face->r - t->tol_r) return false;
    return true;
}

/* The clearest gap on the face of an end. */
static void find_gap(const table *t, end *e) {
    double best = 0;
    for (int in = 0; in < t->count; in++)
        for (int out = 0; out < t->count; out++) {
            double g = fmin(t->c[in].g, t->c[out].g);
            if (t->c[in].r >= t->c[out].r || g <= best || !is_gap(t, e, in, out)) continue;
            best = g;
            e->gap[0] = in, e->gap[1] = out;
        }
}

static void list_ends(table *t, bool gaps) {
    for (int a = 0; a < t->corner_count; a++) {
        int o = t->corner[a];
        add_end(t->pin, &t->pins, (end){-1, o, false, cost_one_edge, {-1, -1}});
        add_end(t->bush, &t->bushes, (end){-1, o, false, cost_one_edge, {-1, -1}});
        for (int b = 0; b < t->corner_count; b++) {
            int i = t->corner[b];
            if (i == o) continue;
            double pin = chamfer_cost(t, i, o, pin_chamfer_max_mm), bush = chamfer_cost(t, i, o, bush_chamfer_max_mm);
            if (isfinite(pin)) add_end(t->pin, &t->pins, (end){i, o, false, pin, {-1, -1}});
            if (isfinite(bush)) add_end(t->bush, &t->bushes, (end){i, o, false, bush, {-1, -1}});
            if (is_taper(t, i, o)) add_end(t->pin, &t->pins, (end){i, o, true, cost_taper, {-1, -1}});
        }
    }
    for (int p = 0; gaps && p < t->pins; p++) find_gap(t, &t->pin[p]);
    for (int b = 0; gaps && b < t->bushes; b++) find_gap(t, &t->bush[b]);
}

/* ---- the surface of a reading ---- */

typedef struct surface {
    double face_h, face_r, pin_h, pin_r, bush_face_h, bush_face_r, bush_h, bush_r;
} surface;

/* What is read as the pin's end is what lies in the gap that the bush's face shows. */
static bool lies_in_gap(const end *p, const end *b) {
    return b->gap[0] >= 0 && (p->outer == b->gap[0] || p->outer == b->gap[1] || p->inner == b->gap[0]);
}

static surface surface_of(const table *t, const end *p, const end *b) {
    const circle *po = &t->c[p->outer], *pi = p->inner >= 0 ? &t->c[p->inner] : po;
    const circle *bo = &t->c[b->outer], *bi = b->inner >= 0 ? &t->c[b->inner] : bo;
    double bush_face_h = b->inner < 0 && lies_in_gap(p, b) ? t->c[b->gap[1]].h : bi->h;
    return (surface){pi->h, pi->r, po->h, po->r, bush_face_h, bi->r, bo->h, bo->r};
}

/* Squared distance to the segment (h0, r0)-(h1, r1) in tolerances. */
static double to_segment(const table *t, const circle *c, double h0, double r0, double h1, double r1) {
    double ax = (c->h - h0) / t->tol_h, ay = (c->r - r0) / t->tol_r, bx = (h1 - h0) / t->tol_h, by = (r1 - r0) / t->tol_r;
    double length = bx * bx + by * by, k = length > 0 ? clamp01((ax * bx + ay * by) / length) : 0;
    double x = ax - k * bx, y = ay - k * by;
    return x * x + y * y;
}

/* Height of the surface at a radius. */
static double surface_height(const surface *s, double r) {
    if (r <= s->face_r) return s->face_h;
    if (r < s->pin_r) return s->face_h + (s->pin_h - s->face_h) * (r - s->face_r) / (s->pin_r - s->face_r);
    if (r <= s->bush_face_r) return s->bush_face_h;
    if (r < s->bush_r) return s->bush_face_h + (s->bush_h - s->bush_face_h) * (r - s->bush_face_r) / (s->bush_r - s->bush_face_r);
    return -INFINITY;
}

/* Circles along a wall seen aslant spread: the wall's outline is not a circle's. */
static bool on_wall(const table *t, const circle *c, double r, double high, double low) {
    return fabs(c->r - r) < fmax(1.4, 2.5 * t->tol_r) && c->h < high + t->tol_h && c->h > low - 2 * t->tol_h;
}

typedef enum place { ON_FACE, ON_BUSH_FACE, ON_WALL, ON_SLOPE, BESIDE, BEYOND, OVER, INSIDE, ELSEWHERE } place;

static place place_of(const table *t, const surface *s, const circle *c) {
    static const double near2 = 4; /* two tolerances */
    if (to_segment(t, c, s->face_h, 0, s->face_h, s->face_r) < near2) return ON_FACE;
    if (to_segment(t, c, s->bush_face_h, s->pin_r, s->bush_face_h, s->bush_face_r) < near2) return ON_BUSH_FACE;
    if (to_segment(t, c, s->face_h, s->face_r, s->pin_h, s->pin_r) < near2) return ON_SLOPE;
    if (to_segment(t, c, s->bush_face_h, s->bush_face_r, s->bush_h, s->bush_r) < near2) return ON_SLOPE;
    if (on_wall(t, c, s->pin_r, fmax(s->pin_h, s->bush_face_h), fmin(s->pin_h, s->bush_face_h))) return ON_WALL;
    if (on_wall(t, c, s->bush_r, s->bush_h, s->bush_h - wall_most_mm)) return ON_WALL;
    double top = surface_height(s, c->r);
    if (c->r > s->bush_r) {
        bool weld = c->r < weld_ratio * s->bush_r && c->h < (t->plate_known ? 0.5 * s->bush_face_h : s->bush_h - 1);
        if (weld || c->r > beyond_ratio * s->bush_r || (t->plate_known && c->h < plate_mm)) return ELSEWHERE;
        return BEYOND;
    }
    if (c->h < top) return INSIDE;
    return c->r <= s->pin_r ? OVER : BESIDE;
}

/* The clearest circle where the pin enters the bush, -1 none. */
static int find_junction(const table *t, const surface *s) {
    int best = -1;
    for (int i = 0; i < t->count; i++) {
        double out = t->c[i].r - s->pin_r;
        if (fabs(t->c[i].h - s->bush_face_h) > 2.2 * t->tol_h || out < -t->tol_r || out > bore_max_mm + t->tol_r) continue;
        if (t->c[i].r > s->bush_face_r - 1 || fabs(t->c[i].h - s->pin_h) + fabs(out) < 1e-9) continue;
        if (best < 0 || t->c[i].g > t->c[best].g) best = i;
    }
    return best;
}

typedef struct worth {
    double total, beside, beyond, over;
    int junction;
} worth;

static bool plausible(const surface *s) {
    if (s->pin_r < pin_radius_min_mm || s->bush_r < wall_min * s->pin_r || s->bush_r > wall_max * s->pin_r) return false;
    if (s->bush_face_r < s->pin_r + 0.8) return false;
    return s->bush_face_h < s->face_h + recess_max_mm;
}

static worth worth_of(const table *t, const end *p, const end *b) {
    worth w = {0, 0, 0, 0, -1};
    surface s = surface_of(t, p, b);
    double grooves[2] = {0, 0}, inside = 0;
    w.total = worth_pin * t->c[p->outer].g + worth_bush * t->c[b->outer].g - p->cost - b->cost;
    if (p->inner >= 0) w.total += worth_face * t->c[p->inner].g;
    if (b->inner >= 0) w.total += worth_bush_face * t->c[b->inner].g;
    w.junction = find_junction(t, &s);
    if (w.junction == p->outer || w.junction == p->inner) w.junction = -1;
    if (w.junction >= 0) w.total += worth_junction * t->c[w.junction].g;
    for (int i = 0; i < t->count; i++) {
        const circle *c = &t->c[i];
        if (i == p->outer || i == p->inner || i == b->outer || i == b->inner || i == w.junction) continue;
        if (i == p->gap[0] || i == p->gap[1]) continue;
        switch (place_of(t, &s, c)) {
        case ON_FACE:
            grooves[0] += worth_groove * c->g;
            break;
        case ON_BUSH_FACE:
            grooves[1] += worth_groove * c->g;
            break;
        case ON_WALL:
            w.total += worth_wall * c->g;
            break;
        case ON_SLOPE:
            w.total += (p->taper ? worth_taper : worth_slope) * c->g;
            break;
        case BESIDE:
            w.total -= cost_air * c->g, w.beside = fmax(w.beside, c->g);
            break;
        case BEYOND:
            w.total -= cost_beyond * c->g, w.beyond = fmax(w.beyond, c->g);
            break;
        case OVER:
            w.total -= cost_over * c->g, w.over = fmax(w.over, c->g);
            break;
        case INSIDE:
            inside += cost_inside * c->g;
            break;
        case ELSEWHERE:
            break;
        }
    }
    if (p->gap[0] >= 0) w.total -= cost_gap * (t->c[p->gap[0]].g + t->c[p->gap[1]].g);
    w.total += fmin(grooves[0], grooves_most) + fmin(grooves[1], grooves_most) - fmin(inside, inside_most);
    double proud = s.face_h - s.bush_face_h, high = fmax(0, s.bush_face_h - stands_usual_mm) / stands_usual_mm;
    if (proud < 0) w.total -= cost_recessed;
    if (!t->plate_known) return w;
    w.total -= cost_high * high * high;
    if (s.bush_face_h < 2.5) w.total -= cost_on_plate * (2.5 - fmax(s.bush_face_h, -2)) / 4.5;
    return w;
}

/* ---- choosing ---- */

static void pick_corners(table *t) {
    bool taken[PS_SPOTS_MAX] = {false};
    while (t->corner_count < CORNERS_MAX) {
        int best = -1;
        for (int i = 0; i < t->count; i++)
            if (!taken[i] && t->c[i].g > 0.08 && (best < 0 || t->c[i].g > t->c[best].g)) best = i;
        if (best < 0) return;
        taken[best] = true;
        t->corner[t->corner_count++] = best;
    }
}

static double *worths(const table *t) {
    double *all = malloc((size_t)t->pins * (size_t)t->bushes * sizeof *all);
    for (int p = 0; all && p < t->pins; p++)
        for (int b = 0; b < t->bushes; b++) {
            surface s = surface_of(t, &t->pin[p], &t->bush[b]);
            bool apart = t->pin[p].outer != t->bush[b].outer && t->pin[p].outer != t->bush[b].inner;
            all[p * t->bushes + b] = apart && plausible(&s) ? worth_of(t, &t->pin[p], &t->bush[b]).total : -INFINITY;
        }
    return all;
}

/* Stand-out of a reading: from the bush's face to the pin's end. */
static double proud_of(const table *t, int reading) {
    surface s = surface_of(t, &t->pin[reading / t->bushes], &t->bush[reading % t->bushes]);
    return s.face_h - s.bush_face_h;
}

/* How far the best reading leads over those with another pin and over those with another bush, and how unlike it they are. */
static void find_leads(const table *t, const double *all, int best, ps_reading *out) {
    double pin_r = t->c[out->pin].r, bush_r = t->c[out->bush].r, other_pin = 0, other_bush = 0;
    int rival[2] = {-1, -1};
    for (int i = 0; i < t->pins * t->bushes; i++) {
        double pr = t->c[t->pin[i / t->bushes].outer].r, br = t->c[t->bush[i % t->bushes].outer].r;
        if (fabs(pr - pin_r) > lead_radius_mm && all[i] > other_pin) other_pin = all[i], rival[0] = i;
        if (fabs(br - bush_r) > lead_radius_mm && all[i] > other_bush) other_bush = all[i], rival[1] = i;
    }
    out->pin_lead = all[best] - other_pin;
    out->bush_lead = all[best] - other_bush;
    if (rival[0] >= 0) out->pin_rival_mm = fabs(t->c[t->pin[rival[0] / t->bushes].outer].r - pin_r);
    if (rival[1] >= 0) out->bush_rival_mm = fabs(t->c[t->bush[rival[1] % t->bushes].outer].r - bush_r);
    for (int k = 0; k < 2; k++)
        if (rival[k] >= 0) out->proud_rival_mm = fmax(out->proud_rival_mm, fabs(proud_of(t, rival[k]) - proud_of(t, best)));
}

/* Two clear edges of a chamfer, low and just outside a bush that stands out further than bushes do: no weld has them. A collar was taken
 * for the bush, or it stands on a flange; nobody can say which. */
static void look_behind_collar(const table *t, const end *p, const end *b, ps_reading *out) {
    surface s = surface_of(t, p, b);
    double best = behind_sum;
    if (!(t->plate_known && s.bush_face_h > stands_usual_mm)) return;
    for (int o = 0; o < t->count; o++)
        for (int i = 0; i < t->count; i++) {
            const circle *inner = &t->c[i], *outer = &t->c[o];
            bool near = inner->r > s.bush_r && outer->r < weld_ratio * s.bush_r && inner->h < s.bush_h - behind_least_mm;
            if (!near || fmin(inner->g, outer->g) < behind_clear || inner->g + outer->g <= best) continue;
            if (!(chamfer_cost(t, i, o, bush_chamfer_max_mm) < 1)) continue;
            best = inner->g + outer->g;
            out->bush_lead = fmin(out->bush_lead, behind_lead);
            out->bush_rival_mm = outer->r - s.bush_r;
            out->proud_rival_mm = fmax(out->proud_rival_mm, s.bush_face_h - inner->h);
        }
}

static void fill(const table *t, const double *all, int best, ps_reading *out) {
    const end *p = &t->pin[best / t->bushes], *b = &t->bush[best % t->bushes];
    worth w = worth_of(t, p, b);
    *out = (ps_reading){.pin_face = p->inner,
                        .pin = p->outer,
                        .bush_face = b->inner,
                        .bush = b->outer,
                        .junction = w.junction,
                        .taper = p->taper,
                        .score = w.total,
                        .beside_pin = w.beside,
                        .beyond_bush = w.beyond,
                        .over_face = w.over};
    const int named[4] = {p->inner, p->outer, b->inner, b->outer};
    for (int i = 0; i < 4; i++) out->clear[i] = named[i] >= 0 ? t->c[named[i]].g : 0;
    end own = *p;
    find_gap(t, &own);
    out->ring_mm = own.gap[1] >= 0 ? t->c[p->outer].r - t->c[own.gap[1]].r : 0;
    bool gap = lies_in_gap(p, b);
    out->in_gap = gap ? b->gap[0] : -1, out->bore = gap ? b->gap[1] : -1;
    if (gap && p->outer != b->gap[1]) w.junction = out->junction = b->gap[1]; /* however far the pin's edge lies from it */
    out->junction_clear = w.junction >= 0 ? t->c[w.junction].g : 0;
    find_leads(t, all, best, out);
    look_behind_collar(t, p, b, out);
}

ps_status ps_reading_choose(ps_context *ctx, const ps_spot *spots, int count, const ps_reading_scene *scene, ps_reading *out) {
    if (count > PS_SPOTS_MAX || !(scene->px_per_mm > 0)) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "reading of a senseless section");
    table *t = calloc(1, sizeof *t);
    if (!t) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory to read a section");
    t->count = count;
    t->plate_known = scene->plate_known;
    t->tol_h = ps_reading_tol_height_mm(scene);
    t->tol_r = ps_reading_tol_radius_mm(scene);
    double clear[PS_SPOTS_MAX];
    ps_reading_strengths(spots, count, scene, clear);
    for (int i = 0; i < count; i++) t->c[i] = (circle){spots[i].height_mm, spots[i].radius_mm, clear[i]};
    pick_corners(t);
    list_ends(t, scene->gaps);
    double *all = worths(t);
    int best = -1;
    for (int i = 0; all && i < t->pins * t->bushes; i++)
        if (all[i] > 0.5 && (best < 0 || all[i] > all[best])) best = i;
    ps_status status = all || t->pins * t->bushes == 0 ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory to read a section");
    if (status == PS_OK && best < 0) status = ps_context_fail(ctx, PS_NOT_FOUND, "no pin in a bush on this axis");
    if (status == PS_OK) {
        fill(t, all, best, out);
        out->domed = ps_reading_dome(spots, clear, count, out->pin, t->tol_h);
    }
    free(all);
    free(t);
    return status;
}
