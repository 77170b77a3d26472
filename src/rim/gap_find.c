/* Finding the pins' axes between two ears. In one photo circles of an ear are voted for on a plane square to the pins; how far away the ear
 * is stays open there, so each circle found is moved along the pins until the other photos show it too. On its axis the other
 * ear's circle is looked for, and axis and direction are then improved on both together. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "rim/gap.h"

enum { PEAKS = 12, RADII = 3, FOUND_MAX = 40, FOCUSED = 6, SECTORS = 32 };
static const double radius_min_mm = 14, radius_max_mm = 95; /* of rims, from mini machines to 45 t */
static const double along_max_mm = 450;                     /* faces lie nearer to the piece than this */
static const double s_max_mm = 450, h_max_mm = 400;
static const double cell_mm = 3;
static const double clear_mm = 15; /* a camera is at least so far in front of a face */
static const double clear_min = 0.1, beside_mm = 2.5;
static const double accept = 0.36;      /* joint support that a circle must have on either ear */
static const double pins_apart_mm = 60; /* axes of the two pins */

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
    double s0, h0;
    float *votes, *work;
    dash *item;
} board;

static bool onto_plane(const ps_view *view, const ps_gap_frame *f, double t0, const double px[2], double out[2]) {
    double o[3], d[3];
    if (!ps_view_ray(view, px, o, d)) return false;
    double slope = ps_dot3(d, f->e3), way = (t0 - ps_dot3(o, f->e3)) / slope;
    if (!(fabs(slope) > 1e-6 && way > 0)) return false;
    out[0] = ps_dot3(o, f->e1) + way * ps_dot3(d, f->e1);
    out[1] = ps_dot3(o, f->e2) + way * ps_dot3(d, f->e2);
    return fabs(out[0]) < s_max_mm && out[1] > -40 && out[1] < h_max_mm;
}

static void lay_down(const ps_view *view, const ps_gap_edgel *e, int n, const ps_gap_frame *f, double t0, board *b) {
    b->count = 0;
    for (int i = 0; i < n; i++) {
        const double at[2] = {e[i].x, e[i].y}, next[2] = {e[i].x + 2 * e[i].tx, e[i].y + 2 * e[i].ty};
        double p[2], q[2];
        if (!onto_plane(view, f, t0, at, p) || !onto_plane(view, f, t0, next, q)) continue;
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

static int read_circles(board *b, circle out[PEAKS * RADII]) {
    int found = 0;
    vote(b);
    for (int n = 0; n < PEAKS; n++) {
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

/* ---- from a circle of one photo to an axis ---- */

typedef struct guess {
    double s, h, t[2], r, value;
    int ear; /* that it comes from */
} guess;

static bool possible(const guess *g) {
    return g->r > radius_min_mm && g->r < radius_max_mm && g->h > 0.6 * g->r && g->h < 0.8 * h_max_mm && fabs(g->s) < s_max_mm;
}

/* The circle moved along the pins, with the size and place that its photo then gives it. */
static void slide(const ps_gap_scene *sc, const ps_gap_frame *f, int photo, int ear, double t0, const circle *c, guess *out) {
    double at[3];
    ps_gap_station(&sc->views[photo], f, at);
    out->value = 0;
    for (double way = 2; way < along_max_mm; way += 2) {
        double t = at[2] - ps_gap_inward(ear) * (clear_mm + way), k = (t - at[2]) / (t0 - at[2]);
        guess g = {.s = at[0] + (c->s - at[0]) * k, .h = at[1] + (c->h - at[1]) * k, .r = c->r * k, .ear = ear};
        if (fabs(t) > along_max_mm || !possible(&g)) continue;
        g.t[ear] = t;
        g.value = ps_gap_joint(sc, f, g.s, g.h, ear, t, g.r, SECTORS, NULL);
        if (g.value > out->value) *out = g;
    }
}

/* The best circle on the other ear, about as large, on the same axis. */
static void other_ear(const ps_gap_scene *sc, const ps_gap_frame *f, guess *g) {
    int other = 1 - g->ear;
    double best = 0, nearest = INFINITY;
    for (int i = 0; i < sc->photos; i++) { /* some camera sees it */
        double at[3];
        ps_gap_station(&sc->views[i], f, at);
        nearest = fmin(nearest, -ps_gap_inward(other) * at[2]);
    }
    for (double t = nearest + clear_mm; t < along_max_mm; t += 2.5)
        for (int k = -2; k <= 2; k++) {
            double value = ps_gap_joint(sc, f, g->s, g->h, other, -ps_gap_inward(other) * t, g->r * (1 + 0.08 * k), SECTORS, NULL);
            if (value > best) best = value, g->t[other] = -ps_gap_inward(other) * t;
        }
}

static int compare_guess(const void *a, const void *b) {
    double x = ((const guess *)a)->value, y = ((const guess *)b)->value;
    return (x < y) - (x > y);
}

/* Guesses in order of their value, those close to a better one left out. */
static int thin_out(guess *g, int count, double apart_mm, int most) {
    int kept = 0;
    qsort(g, (size_t)count, sizeof *g, compare_guess);
    for (int i = 0; i < count && kept < most; i++) {
        bool close = false;
        for (int k = 0; k < kept; k++) close = close || hypot(g[k].s - g[i].s, g[k].h - g[i].h) < apart_mm;
        if (!close) g[kept++] = g[i];
    }
    return kept;
}

static ps_status gather(ps_context *ctx, const ps_gap_scene *sc, const ps_gap_edgel *const *edgels, const int *counts,
                        const ps_gap_frame *f, guess *out, int *count) {
    int most = 0;
    for (int p = 0; p < sc->photos; p++) most = counts[p] > most ? counts[p] : most;
    board b = {.columns = (int)(2 * s_max_mm / cell_mm), .rows = (int)((h_max_mm + 40) / cell_mm), .s0 = -s_max_mm, .h0 = -40};
    b.votes = malloc((size_t)b.columns * (size_t)b.rows * sizeof *b.votes);
    b.work = calloc((size_t)b.columns * (size_t)b.rows, sizeof *b.work);
    b.item = malloc(((size_t)most + 1) * sizeof *b.item);
    ps_status status = b.votes && b.work && b.item ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory to vote for circles");
    *count = 0;
    for (int p = 0; status == PS_OK && p < sc->photos; p++)
        for (int ear = 0; ear < 2; ear++) {
            circle c[PEAKS * RADII];
            double at[3];
            ps_gap_station(&sc->views[p], f, at);
            double t0 = at[2] - ps_gap_inward(ear) * 150;
            lay_down(&sc->views[p], edgels[p], counts[p], f, t0, &b);
            int n = read_circles(&b, c);
            for (int i = 0; i < n; i++) {
                guess g;
                slide(sc, f, p, ear, t0, &c[i], &g);
                if (g.value > 0) out[(*count)++] = g;
            }
        }
    free(b.votes);
    free(b.work);
    free(b.item);
    return status;
}

/* ---- the axes among the guesses ---- */

/* A bush has several circles about its axis on either ear, texture has none in common: what stands out in both sections. */
static double sharpness(const ps_gap_scene *sc, const ps_gap_frame *f, const guess *g) {
    double product = 1;
    for (int ear = 0; ear < 2; ear++) {
        ps_gap_window w = {g->t[ear] - 6, g->t[ear] + 6, 1.5, 16, fmin(90, g->h), 1.5};
        product *= ps_gap_sharpness(sc, f, g->s, g->h, ear, &w);
    }
    return sqrt(product);
}

static void focus(const ps_gap_scene *sc, const ps_gap_frame *f, guess *g) {
    for (double step = 3; step > 0.5; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 4; k++) {
                guess trial = *g;
                *(k < 2 ? &trial.s : &trial.h) += k % 2 ? step : -step;
                trial.value = sharpness(sc, f, &trial);
                if (trial.value > 1.0005 * g->value) *g = trial, moved = true;
            }
        }
}

static void read_axis(const ps_gap_scene *sc, const ps_gap_frame *f, double reach_mm, ps_gap_axis *a) {
    a->count = 0;
    for (int ear = 0; ear < 2; ear++) {
        ps_gap_window w = {a->face[ear] - reach_mm, a->face[ear] + reach_mm, 1, 14, fmin(90, a->h), 1};
        ps_gap_circle spot[4];
        int n = ps_gap_spots(sc, f, a->s, a->h, ear, &w, accept, spot, 4);
        for (int i = 0; i < n; i++) a->circle[a->count++] = spot[i];
    }
}

static double stands_out(const ps_gap_scene *sc, const ps_gap_frame *f, const ps_gap_axis *a, const ps_gap_circle *c) {
    double beside = 0;
    for (int side = -1; side <= 1; side += 2)
        beside += 0.5 * ps_gap_joint(sc, f, a->s, a->h, c->ear, c->t, c->r + side * beside_mm, SECTORS, NULL);
    return c->support - beside;
}

/* The two circles of each ear that stand out most; the poorer ear counts. */
static double clearness(const ps_gap_axis *a) {
    double sum[2] = {0, 0};
    for (int ear = 0; ear < 2; ear++) {
        double first = 0, second = 0;
        for (int i = 0; i < a->count; i++) {
            double v = a->circle[i].ear == ear ? ps_gap_weight(&a->circle[i]) : 0;
            if (v > first)
                second = first, first = v;
            else if (v > second)
                second = v;
        }
        sum[ear] = first + second;
    }
    return fmin(sum[0], sum[1]);
}

/* Rough photos first: what is sharp draws only from near by. */
static void settle(const ps_gap_scene *rough, const ps_gap_scene *sc, ps_gap_frame *f, ps_gap_axis *axes, int count) {
    for (int round = 0; round < 4; round++) {
        const ps_gap_scene *use = round < 2 ? rough : sc;
        for (int i = 0; i < count; i++) read_axis(use, f, 8, &axes[i]);
        ps_gap_improve(use, f, axes, count, round < 2 ? 2 : 1, round < 2 ? 0.4 : 0.1);
    }
    for (int i = 0; i < count; i++) {
        for (int k = 0; k < axes[i].count; k++) axes[i].circle[k].over = stands_out(sc, f, &axes[i], &axes[i].circle[k]);
        axes[i].value = clearness(&axes[i]);
    }
}

/* The clearest axis that the guesses lead to, with the direction that suits it. */
static bool clearest(const ps_gap_scene *rough, const ps_gap_scene *sc, ps_gap_frame *frame, const guess *g, int count, ps_gap_axis *out) {
    const ps_gap_frame start = *frame;
    out->value = clear_min;
    bool found = false;
    for (int i = 0; i < count; i++) {
        ps_gap_frame own = start;
        ps_gap_axis axis = {.s = g[i].s, .h = g[i].h, .face = {g[i].t[0], g[i].t[1]}};
        settle(rough, sc, &own, &axis, 1);
        if (!(axis.value > out->value)) continue;
        *out = axis;
        *frame = own;
        found = true;
    }
    return found;
}

/* The same from directions around: straight edges tell the direction to a degree, circles need it better. */
static void try_around(const ps_gap_scene *rough, const ps_gap_scene *sc, ps_gap_frame *frame, ps_gap_axis *axis) {
    static const double degree = PS_PI / 180, way[][2] = {{-1.2, 0}, {1.2, 0}, {0, 1}, {0, -1}, {-0.6, 0}, {0.6, 0}};
    const ps_gap_frame start = *frame;
    const ps_gap_axis first = *axis;
    for (size_t i = 0; i < sizeof way / sizeof way[0]; i++) {
        ps_gap_frame own = start;
        ps_gap_axis trial = first;
        ps_gap_turn(&own, start.turn + way[i][0] * degree, start.lean + way[i][1] * degree, &trial, 1);
        settle(rough, sc, &own, &trial, 1);
        if (trial.value <= axis->value) continue;
        *axis = trial;
        *frame = own;
    }
}

/* About the middle of an axis' circles, per ear. */
static void face_places(ps_gap_axis *a) {
    for (int ear = 0; ear < 2; ear++) {
        double sum = 0, weight = 0;
        for (int i = 0; i < a->count; i++)
            if (a->circle[i].ear == ear) {
                double w = fmax(a->circle[i].over, 0.01);
                sum += w * a->circle[i].t;
                weight += w;
            }
        if (weight > 0) a->face[ear] = sum / weight;
    }
}

/* Guesses apart from an axis, put to its ears: both pins go through the same two plates. */
static int beside(const ps_gap_scene *sc, const ps_gap_frame *f, const ps_gap_axis *first, const guess *from, int count, guess *out) {
    int n = 0;
    for (int i = 0; i < count; i++) {
        if (hypot(from[i].s - first->s, from[i].h - first->h) < pins_apart_mm) continue;
        out[n] = from[i];
        for (int ear = 0; ear < 2; ear++) out[n].t[ear] = first->face[ear];
        out[n].value = sharpness(sc, f, &out[n]);
        n++;
    }
    return n;
}

ps_status ps_gap_axes(ps_context *ctx, const ps_gap_scene *rough, const ps_gap_scene *sc, const ps_gap_edgel *const *edgels,
                      const int *counts, ps_gap_frame *frame, ps_gap_axis out[2], int *found) {
    size_t room = (size_t)sc->photos * 2 * PEAKS * RADII;
    guess *g = malloc(2 * room * sizeof *g), *second = g + room;
    int count = 0;
    if (!g) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory to look for axes");
    ps_status status = gather(ctx, rough, edgels, counts, frame, g, &count);
    count = status == PS_OK ? thin_out(g, count, 5, FOUND_MAX) : 0;
    int all = count;
    memcpy(second, g, (size_t)count * sizeof *g);
    for (int i = 0; i < count; i++) {
        other_ear(rough, frame, &g[i]);
        g[i].value = sharpness(rough, frame, &g[i]);
    }
    count = thin_out(g, count, 10, FOCUSED);
    for (int i = 0; i < count; i++) focus(rough, frame, &g[i]);
    count = thin_out(g, count, 10, FOCUSED);
    *found = clearest(rough, sc, frame, g, count, &out[0]);
    if (*found) {
        try_around(rough, sc, frame, &out[0]);
        face_places(&out[0]);
        memcpy(g, second, (size_t)all * sizeof *g);
        count = beside(rough, frame, &out[0], g, all, second);
        count = thin_out(second, count, 8, FOCUSED);
        for (int i = 0; i < count; i++) focus(rough, frame, &second[i]);
        count = thin_out(second, count, 8, FOCUSED);
        ps_gap_frame own = *frame;
        *found += clearest(rough, sc, &own, second, count, &out[1]);
        settle(rough, sc, frame, out, *found);
    }
    free(g);
    if (status != PS_OK) return status;
    return *found ? PS_OK : ps_context_fail(ctx, PS_NOT_FOUND, "no pair of bush faces was found");
}
