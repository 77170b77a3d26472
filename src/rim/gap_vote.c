/* Circles of one photo on the plane of an ear's face, by voting, and what they can be in space. In one photo circles of an ear are voted
 * for on a plane square to the pins; how far away the ear is stays open there, so each circle found is moved along the pins until the other
 * photos show it too. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "rim/gap.h"

/* A photo between ears shows both, one of a boss one end amid more else. */
enum { PEAKS = 12, PEAKS_OVER = 36, RADII = 3, SECTORS = 32 };
static const double radius_min_mm = 14, radius_max_mm = PS_GAP_RADIUS_MAX_MM; /* of rims, from mini machines to 45 t */
static const double s_max_mm = 450, h_max_mm = 400;
static const double cell_mm = 3;
/* Of a boss: its axis over the plate; faces as far out as half of the widest and the piece beside its middle. */
static const double boss_low_mm = -170, boss_high_mm = 110, boss_reach_mm = 400;
static const double boss_plane_mm = 180;              /* where a face is at most but for the widest, for the first votes, */
static const double boss_plane_h_mm[2] = {-400, 300}; /* and how high it can seem to be there */

/* A circle on the plane at t0 as one photo sees it. */
typedef struct circle {
    double s, h, r, coverage;
} circle;

/* ---- circles of one photo on one ear's side ---- */

typedef struct dash { /* an edge element on the plane: place and unit normal */
    float s, h, ns, nh;
} dash;

typedef struct board {
    int columns, rows, count;
    double s0, h0, h1;
    float *votes, *work;
    dash *item;
} board;

static double lowest(bool over) {
    return over ? boss_plane_h_mm[0] : -40;
}

static double highest(bool over) {
    return over ? boss_plane_h_mm[1] : h_max_mm;
}

static bool onto_plane(const ps_view *view, const ps_gap_frame *f, double t0, const board *b, const double px[2], double out[2]) {
    double o[3], d[3];
    if (!ps_view_ray(view, px, o, d)) return false;
    double slope = ps_dot3(d, f->e3), way = (t0 - ps_dot3(o, f->e3)) / slope;
    if (!(fabs(slope) > 1e-6 && way > 0)) return false;
    out[0] = ps_dot3(o, f->e1) + way * ps_dot3(d, f->e1);
    out[1] = ps_dot3(o, f->e2) + way * ps_dot3(d, f->e2);
    return fabs(out[0]) < s_max_mm && out[1] > b->h0 && out[1] < b->h1;
}

static void lay_down(const ps_view *view, const ps_gap_edgel *e, int n, const ps_gap_frame *f, double t0, board *b) {
    b->count = 0;
    for (int i = 0; i < n; i++) {
        const double at[2] = {e[i].x, e[i].y}, next[2] = {e[i].x + 2 * e[i].tx, e[i].y + 2 * e[i].ty};
        double p[2], q[2];
        if (!onto_plane(view, f, t0, b, at, p) || !onto_plane(view, f, t0, b, next, q)) continue;
        double ds = q[0] - p[0], dh = q[1] - p[1], length = hypot(ds, dh);
        if (length > 1e-9) b->item[b->count++] = (dash){(float)p[0], (float)p[1], (float)(-dh / length), (float)(ds / length)};
    }
}

static void vote(board *b) {
    memset(b->votes, 0, (size_t)b->columns * (size_t)b->rows * sizeof *b->votes);
    for (int i = 0; i < b->count; i++)
        for (int side = -1; side <= 1; side += 2)
            for (double r = radius_min_mm; r < 1.5 * radius_max_mm; r += cell_mm) {
                int x = (int)((b->item[i].s + side * r * b->item[i].ns - b->s0) / cell_mm);
                int y = (int)((b->item[i].h + side * r * b->item[i].nh - b->h0) / cell_mm);
                if (x >= 1 && y >= 1 && x < b->columns - 1 && y < b->rows - 1) b->votes[y * b->columns + x] += 1;
            }
    for (int y = 1; y < b->rows - 1; y++)
        for (int x = 1; x < b->columns - 1; x++) {
            float sum = 0;
            for (int j = -1; j <= 1; j++)
                for (int i = -1; i <= 1; i++) sum += b->votes[(y + j) * b->columns + x + i];
            b->work[y * b->columns + x] = sum;
        }
}

static int sectors_in(uint64_t bits) {
    int n = 0;
    for (; bits; bits &= bits - 1) n++;
    return n;
}

/* The radii around a centre for which most of the way round has an edge of fitting direction. */
static int read_radii(const board *b, double s, double h, circle out[RADII]) {
    enum { BINS = 72, ROUND = 48 };
    uint64_t seen[BINS + 1] = {0};
    int found = 0;
    for (int i = 0; i < b->count; i++) {
        double ds = b->item[i].s - s, dh = b->item[i].h - h, r = hypot(ds, dh), aside = ds * b->item[i].nh - dh * b->item[i].ns;
        int bin = (int)(r / 2);
        if (r < radius_min_mm || bin >= BINS || fabs(aside) > 3 + 0.1 * r) continue;
        seen[bin] |= (uint64_t)1 << (int)((atan2(dh, ds) + PS_PI) / (2 * PS_PI) * ROUND * 0.9999);
    }
    for (int n = 0; n < RADII; n++) {
        int best = -1, most = ROUND / 4;
        for (int k = 0; k < BINS; k++) {
            int here = sectors_in(seen[k] | seen[k + 1]);
            bool taken = false;
            for (int m = 0; m < found; m++) taken = taken || fabs(out[m].r - 2 * (k + 1)) < 4;
            if (!taken && here > most) most = here, best = k;
        }
        if (best < 0) break;
        out[found++] = (circle){s, h, 2.0 * (best + 1), most / (double)ROUND};
    }
    return found;
}

static int read_circles(board *b, int peaks, circle *out) {
    int found = 0;
    vote(b);
    for (int n = 0; n < peaks; n++) {
        int best = 0;
        for (int i = 0; i < b->columns * b->rows; i++)
            if (b->work[i] > b->work[best]) best = i;
        int x = best % b->columns, y = best / b->columns;
        if (!(b->work[best] > 0)) break;
        found += read_radii(b, b->s0 + (x + 0.5) * cell_mm, b->h0 + (y + 0.5) * cell_mm, out + found);
        for (int j = y - 4; j <= y + 4; j++)
            for (int i = x - 4; i <= x + 4; i++)
                if (i >= 0 && j >= 0 && i < b->columns && j < b->rows) b->work[j * b->columns + i] = 0;
    }
    return found;
}

/* ---- from a circle of one photo to circles in space ---- */

static bool possible(const ps_gap_guess *g, bool over) {
    bool high = over ? g->h > boss_low_mm && g->h < boss_high_mm : g->h > 0.6 * g->r && g->h < 0.8 * h_max_mm;
    return g->r > radius_min_mm && g->r < radius_max_mm && high && fabs(g->s) < s_max_mm;
}

/* The plane on which a photo's circles are voted for. */
static double first_plane(const ps_gap_scene *sc, int ear, double station) {
    double way = sc->over ? fmax(100, ps_gap_inward(ear) * station - boss_plane_mm) : 150;
    return station - ps_gap_inward(ear) * way;
}

/* The circle moved along the pins, with the size and place that its photo then gives it. */
static void slide(const ps_gap_scene *sc, const ps_gap_frame *f, int photo, int ear, double t0, const circle *c, ps_gap_guess *out) {
    double at[3];
    ps_gap_station(&sc->views[photo], f, at);
    out->value = 0;
    double reach = sc->over ? boss_reach_mm : PS_GAP_ALONG_MAX_MM, far = sc->over ? fabs(at[2]) + 0.5 * reach : reach;
    for (double way = 2; way < far; way += 2) {
        double t = at[2] - ps_gap_inward(ear) * (PS_GAP_CLEAR_MM + way), k = (t - at[2]) / (t0 - at[2]);
        ps_gap_guess g = {.s = at[0] + (c->s - at[0]) * k, .h = at[1] + (c->h - at[1]) * k, .r = c->r * k, .ear = ear};
        if (fabs(t) > reach || !possible(&g, sc->over)) continue;
        g.t[ear] = t;
        g.value = ps_gap_joint(sc, f, g.s, g.h, ear, t, g.r, SECTORS, NULL);
        if (g.value > out->value) *out = g;
    }
}

static int compare_guess(const void *a, const void *b) {
    double x = ((const ps_gap_guess *)a)->value, y = ((const ps_gap_guess *)b)->value;
    return (x < y) - (x > y);
}

/* Guesses in order of their value, those close to a better one left out. */
int ps_gap_thin_out(ps_gap_guess *g, int count, double apart_mm, int most) {
    int kept = 0;
    qsort(g, (size_t)count, sizeof *g, compare_guess);
    for (int i = 0; i < count && kept < most; i++) {
        bool close = false;
        for (int k = 0; k < kept; k++) close = close || hypot(g[k].s - g[i].s, g[k].h - g[i].h) < apart_mm;
        if (!close) g[kept++] = g[i];
    }
    return kept;
}

ps_status ps_gap_guesses(ps_context *ctx, const ps_gap_scene *sc, const ps_gap_edgel *const *edgels, const int *counts,
                         const ps_gap_frame *f, ps_gap_guess *out, int *count) {
    int most = 0;
    for (int p = 0; p < sc->photos; p++) most = counts[p] > most ? counts[p] : most;
    board b = {.columns = (int)(2 * s_max_mm / cell_mm), .s0 = -s_max_mm, .h0 = lowest(sc->over), .h1 = highest(sc->over)};
    b.rows = (int)((b.h1 - b.h0) / cell_mm);
    b.votes = malloc((size_t)b.columns * (size_t)b.rows * sizeof *b.votes);
    b.work = calloc((size_t)b.columns * (size_t)b.rows, sizeof *b.work);
    b.item = malloc(((size_t)most + 1) * sizeof *b.item);
    ps_status status = b.votes && b.work && b.item ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory to vote for circles");
    *count = 0;
    for (int p = 0; status == PS_OK && p < sc->photos; p++)
        for (int ear = 0; ear < 2; ear++) {
            circle c[PEAKS_OVER * RADII];
            double at[3];
            ps_gap_station(&sc->views[p], f, at);
            if (sc->over && ps_gap_inward(ear) * at[2] < PS_GAP_CLEAR_MM) continue; /* it stands on the other side */
            double t0 = first_plane(sc, ear, at[2]);
            lay_down(&sc->views[p], edgels[p], counts[p], f, t0, &b);
            int n = read_circles(&b, sc->over ? PEAKS_OVER : PEAKS, c);
            for (int i = 0; i < n; i++) {
                ps_gap_guess g;
                slide(sc, f, p, ear, t0, &c[i], &g);
                if (g.value > 0) out[(*count)++] = g;
            }
        }
    free(b.votes);
    free(b.work);
    free(b.item);
    return status;
}
