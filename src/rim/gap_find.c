/* Finding the pins' axes between two ears. On the axis of a circle of one ear the other ear's circle is looked for, and axis and direction
 * are then improved on both together. What tells an axis from texture is that several circles stand out about it on both ears. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rim/gap.h"

enum { FOUND_MAX = 40, FOCUSED = 6, SECTORS = 32 };
static const double clear_min = 0.1;
static const double pins_apart_mm = 60; /* axes of the two pins */

/* The best circle on the other ear, about as large, on the same axis. */
static void other_ear(const ps_gap_scene *sc, const ps_gap_frame *f, ps_gap_guess *g) {
    int other = 1 - g->ear;
    double best = 0, nearest = INFINITY;
    for (int i = 0; i < sc->photos; i++) { /* some camera sees it */
        double at[3];
        ps_gap_station(&sc->views[i], f, at);
        nearest = fmin(nearest, -ps_gap_inward(other) * at[2]);
    }
    for (double t = nearest + PS_GAP_CLEAR_MM; t < PS_GAP_ALONG_MAX_MM; t += 2.5)
        for (int k = -2; k <= 2; k++) {
            double value = ps_gap_joint(sc, f, g->s, g->h, other, -ps_gap_inward(other) * t, g->r * (1 + 0.08 * k), SECTORS, NULL);
            if (value > best) best = value, g->t[other] = -ps_gap_inward(other) * t;
        }
}

/* ---- the axes among the guesses ---- */

/* A bush has several circles about its axis on either ear, texture has none in common: what stands out in both sections. */
static double sharpness(const ps_gap_scene *sc, const ps_gap_frame *f, const ps_gap_guess *g) {
    double product = 1;
    for (int ear = 0; ear < 2; ear++) {
        ps_gap_window w = {g->t[ear] - 6, g->t[ear] + 6, 1.5, 16, ps_gap_widest(sc, g->h), 1.5};
        product *= ps_gap_sharpness(sc, f, g->s, g->h, ear, &w);
    }
    return sqrt(product);
}

static void focus(const ps_gap_scene *sc, const ps_gap_frame *f, ps_gap_guess *g) {
    for (double step = 3; step > 0.5; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 4; k++) {
                ps_gap_guess trial = *g;
                *(k < 2 ? &trial.s : &trial.h) += k % 2 ? step : -step;
                trial.value = sharpness(sc, f, &trial);
                if (trial.value > 1.0005 * g->value) *g = trial, moved = true;
            }
        }
}

/* The clearest axis that the guesses lead to, with the direction that suits it. */
static bool clearest(const ps_gap_scene *rough, const ps_gap_scene *sc, ps_gap_frame *frame, const ps_gap_guess *g, int count,
                     ps_gap_axis *out) {
    const ps_gap_frame start = *frame;
    out->value = clear_min;
    bool found = false;
    for (int i = 0; i < count; i++) {
        ps_gap_frame own = start;
        ps_gap_axis axis = {.s = g[i].s, .h = g[i].h, .face = {g[i].t[0], g[i].t[1]}};
        ps_gap_settle(rough, sc, &own, &axis, 1);
        if (!(axis.value > out->value)) continue;
        *out = axis;
        *frame = own;
        found = true;
    }
    return found;
}

/* Guesses apart from an axis, put to its ears: both pins go through the same two plates. */
static int beside(const ps_gap_scene *sc, const ps_gap_frame *f, const ps_gap_axis *first, const ps_gap_guess *from, int count,
                  ps_gap_guess *out) {
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
    size_t room = (size_t)sc->photos * PS_GAP_GUESSES_A_PHOTO;
    ps_gap_guess *g = malloc(2 * room * sizeof *g), *second = g + room;
    int count = 0;
    if (!g) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory to look for axes");
    ps_status status = ps_gap_guesses(ctx, rough, edgels, counts, frame, g, &count);
    count = status == PS_OK ? ps_gap_thin_out(g, count, 5, FOUND_MAX) : 0;
    int all = count;
    memcpy(second, g, (size_t)count * sizeof *g);
    for (int i = 0; i < count; i++) {
        other_ear(rough, frame, &g[i]);
        g[i].value = sharpness(rough, frame, &g[i]);
    }
    count = ps_gap_thin_out(g, count, 10, FOCUSED);
    for (int i = 0; i < count; i++) focus(rough, frame, &g[i]);
    count = ps_gap_thin_out(g, count, 10, FOCUSED);
    *found = clearest(rough, sc, frame, g, count, &out[0]);
    if (*found) {
        ps_gap_try_around(rough, sc, frame, &out[0]);
        ps_gap_face_places(&out[0]);
        memcpy(g, second, (size_t)all * sizeof *g);
        count = beside(rough, frame, &out[0], g, all, second);
        count = ps_gap_thin_out(second, count, 8, FOCUSED);
        for (int i = 0; i < count; i++) focus(rough, frame, &second[i]);
        count = ps_gap_thin_out(second, count, 8, FOCUSED);
        ps_gap_frame own = *frame;
        *found += clearest(rough, sc, &own, second, count, &out[1]);
        ps_gap_settle(rough, sc, frame, out, *found);
    }
    free(g);
    if (status != PS_OK) return status;
    return *found ? PS_OK : ps_context_fail(ctx, PS_NOT_FOUND, "no pair of bush faces was found");
}
