/* How much edge a photo shows along circles of one height: derivatives along the radius, neighbouring directions added up so that texture
 * cancels, their strength capped so that no highlight stands for a circle. */
#include "rim/profile_rows.h"

#include <math.h>

#include "rim/profile_look.h"

enum { SECTORS_MAX = PS_PROFILE_SECTORS_MAX, COHERENT_DEG = 11, COHERENT_MAX = SECTORS_MAX * COHERENT_DEG / 360 + 1 };
static const float strength_most = 5;                   /* no highlight counts for more */
static const double free_least = 0.25, free_full = 0.5; /* share of a circle that a screen leaves free */

/* Adds up the `half` neighbours to both sides of each direction. `g` has half entries to spare at both ends, which are filled. */
PS_WITHIN void add_neighbours(float *g, int sectors, int half, float *run) {
    for (int k = 1; k <= half; k++) g[-k] = g[sectors - k], g[sectors + k - 1] = g[k - 1];
    for (int k = 0; k < sectors; k++) run[k] = g[k];
    for (int e = 1; e <= half; e++)
        for (int k = 0; k < sectors; k++) run[k] += g[k - e] + g[k + e];
}

/* Sum of |size| up to a cap, `part` of each; eight sums, so that compilers may keep them side by side. */
PS_WITHIN float capped_sum(const float *size, const float *part, int sectors, float scale, float cap) {
    float sum[8] = {0};
    int k = 0;
    for (; k + 8 <= sectors; k += 8)
        for (int i = 0; i < 8; i++) {
            float one = fabsf(size[k + i]) * scale;
            sum[i] += (one < cap ? one : cap) * (part ? part[k + i] : 1);
        }
    for (; k < sectors; k++) {
        float one = fabsf(size[k]) * scale;
        sum[0] += (one < cap ? one : cap) * (part ? part[k] : 1);
    }
    return ((sum[0] + sum[4]) + (sum[2] + sum[6])) + ((sum[1] + sum[5]) + (sum[3] + sum[7]));
}

/* Mean over the directions of the strength of 2*half+1 neighbours together, capped; `strength`, with a higher cap, may be NULL. */
PS_WITHIN void coherent(float *g, int sectors, int half, float scale, double *joint, double *strength) {
    float run[SECTORS_MAX];
    add_neighbours(g, sectors, half, run);
    *joint = (double)(capped_sum(run, NULL, sectors, scale, 1) / (float)sectors);
    if (strength) *strength = (double)(capped_sum(run, NULL, sectors, scale, strength_most) / (float)sectors);
}

/* The same as below of a circle that a screen (`met`) or the picture's border partly hides: the mean of the directions that are free alone.
 * g has its derivatives and room for neighbours at both ends. */
PS_WIDE static bool partly_hidden(const ps_profile_view *v, const ps_profile_shade *by, bool met, const ps_profile_level *at, double radius,
                                  const ps_profile_turn *t, float *g, double *joint, double *strength) {
    float room[SECTORS_MAX + 2 * COHERENT_MAX], *open = room + COHERENT_MAX, run[SECTORS_MAX], near[SECTORS_MAX], count = 0;
    float cx = (float)at->x, cy = (float)at->y, r = (float)(radius * at->per_mm), scale = 1 / v->full;
    int half = t->sectors * COHERENT_DEG / 360;
    for (int k = 0; k < t->sectors; k++) open[k] = in_view(v, cx + r * t->c[k], cy + r * t->s[k]) ? 1 : 0;
    for (int i = 0; met && i < by->count; i++)
        for (int k = 0; k < t->sectors; k++) {
            float x = cx + r * t->c[k] - by->x[i], y = cy + r * t->s[k] - by->y[i];
            open[k] = x * x + y * y < by->r2[i] ? 0 : open[k];
        }
    for (int k = 0; k < t->sectors; k++) g[k] *= open[k], count += open[k];
    double free_share = (double)count / t->sectors, sure = fmin(1, 0.5 + 0.5 * free_share / free_full);
    if (free_share < free_least) return false;
    add_neighbours(g, t->sectors, half, run);
    add_neighbours(open, t->sectors, half, near);
    for (int k = 0; k < t->sectors; k++) run[k] = run[k] / (near[k] > 1 ? near[k] : 1);
    *joint = sure * (double)(capped_sum(run, open, t->sectors, scale, 1) / count);
    if (strength) *strength = sure * (double)(capped_sum(run, open, t->sectors, scale, strength_most) / count);
    return true;
}

/* A circle of one photo in samples, where it can be asked for. */
typedef struct ring {
    float x, y, r;
} ring;

static bool ring_at(const ps_profile_view *v, const ps_profile_level *at, double radius, ring *out) {
    if (!at->below || !(fabs(at->x) + fabs(at->y) + fabs(radius) * at->per_mm < 1e5)) return false; /* far outside */
    *out = (ring){(float)at->x, (float)at->y, (float)(radius * at->per_mm)};
    return v->cell != NULL;
}

enum { ROOM = SECTORS_MAX + 2 * COHERENT_MAX };

/* Support and strength from the derivatives in g, of which `seen` are in view; false where too little of the circle can be seen: less than
 * half of it is in view, or a screen hides it. */
PS_WITHIN bool judge(const ps_profile_view *v, const ps_profile_shade *by, const ps_profile_level *at, double radius,
                     const ps_profile_turn *t, int seen, float *g, double *joint, double *strength) {
    int half = t->sectors * COHERENT_DEG / 360;
    if (seen < t->sectors / 2) return false;
    bool met = by->count && ps_profile_met(by, at, radius);
    if (met || seen < t->sectors) return partly_hidden(v, by, met, at, radius, t, g, joint, strength);
    coherent(g, t->sectors, half, 1 / (v->full * (float)(2 * half + 1)), joint, strength);
    return true;
}

static void row_plain(const ps_profile_row *w, double *joint, double *strength) {
    float room[ROOM], *g = room + COHERENT_MAX;
    for (int i = 0; i < w->count; i++) {
        double radius = w->r0 + i * w->step;
        ring c;
        bool had = ring_at(w->view, &w->at, radius, &c);
        int seen = had ? radial(w->view, w->turn, 0, c.x, c.y, c.r, g) : 0;
        if (!had || !judge(w->view, &w->by, &w->at, radius, w->turn, seen, g, &joint[i], strength ? &strength[i] : NULL)) joint[i] = -1;
    }
}

#ifdef PS_HAS_AVX2
PS_AVX2 static void row_avx2(const ps_profile_row *w, double *joint, double *strength) {
    float room[ROOM], *g = room + COHERENT_MAX;
    for (int i = 0; i < w->count; i++) {
        double radius = w->r0 + i * w->step;
        ring c;
        bool had = ring_at(w->view, &w->at, radius, &c);
        int seen = had ? radial8(w->view, w->turn, c.x, c.y, c.r, g) : 0;
        if (!had || !judge(w->view, &w->by, &w->at, radius, w->turn, seen, g, &joint[i], strength ? &strength[i] : NULL)) joint[i] = -1;
    }
}
#endif

void ps_profile_row_read(const ps_profile_row *w, double *joint, double *strength) {
#ifdef PS_HAS_AVX2
    if (PS_AVX2_HERE) {
        row_avx2(w, joint, strength);
        return;
    }
#endif
    row_plain(w, joint, strength);
}
