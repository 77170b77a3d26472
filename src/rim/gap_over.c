/* Finding the axis of a single boss. A photo shows one of its ends, so that nothing ties the ends together but that they lie on one axis:
 * each is found by itself, from the photos before it, and the line from one to the other tells the axis' direction better than straight
 * edges do. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "rim/gap.h"

enum { FOUND_MAX = 60, FOCUSED = 16, ENDS = 12, PAIRS = 8, TRIED = 3 };
static const double least_mm = 80, most_mm = 450; /* of a boss' width */
static const double reach_mm = 6;
static const double off_rad = 2.5 * PS_PI / 180, off_most_rad = 6 * PS_PI / 180; /* of the axis from the direction of straight edges */
static const double start_min = 0.1, clear_min = 0.25;

/* What stands out about the axis of one end. */
static double sharpness(const ps_gap_scene *sc, const ps_gap_frame *f, const ps_gap_guess *g) {
    ps_gap_window w = {g->t[g->ear] - reach_mm, g->t[g->ear] + reach_mm, 1.5, 16, ps_gap_widest(sc, g->h), 1.5};
    return ps_gap_sharpness(sc, f, g->s, g->h, g->ear, &w);
}

static void focus(const ps_gap_scene *sc, const ps_gap_frame *f, ps_gap_guess *g) {
    for (double step = 4; step > 0.5; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 6; k++) {
                ps_gap_guess trial = *g;
                double *what[] = {&trial.s, &trial.h, &trial.t[g->ear]};
                *what[k / 2] += k % 2 ? step : -step;
                trial.value = sharpness(sc, f, &trial);
                if (trial.value > 1.0005 * g->value) *g = trial, moved = true;
            }
        }
}

/* The ends that look along t (ear 0) or against it, best first. `g` is changed. */
static int find_ends(const ps_gap_scene *sc, const ps_gap_frame *f, ps_gap_guess *g, int count, int ear, ps_gap_guess out[ENDS]) {
    int own = 0;
    for (int i = 0; i < count; i++)
        if (g[i].ear == ear) g[own++] = g[i];
    own = ps_gap_thin_out(g, own, 5, FOUND_MAX);
    for (int i = 0; i < own; i++) g[i].value = sharpness(sc, f, &g[i]);
    own = ps_gap_thin_out(g, own, 8, FOCUSED);
    for (int i = 0; i < own; i++) focus(sc, f, &g[i]);
    own = ps_gap_thin_out(g, own, 5, ENDS);
    memcpy(out, g, (size_t)own * sizeof *g);
    return own;
}

typedef struct couple {
    ps_gap_frame frame;
    ps_gap_axis axis;
    double value;
} couple;

/* Two ends that can be one boss': the axis through them. */
static bool join(const ps_gap_frame *f, const ps_gap_guess *high, const ps_gap_guess *low, couple *out) {
    double ds = high->s - low->s, dh = high->h - low->h, wide = high->t[0] - low->t[1], off = hypot(ds, dh) / wide, d[3], X[3];
    if (!(wide > least_mm && wide < most_mm && off < off_most_rad)) return false;
    for (int i = 0; i < 3; i++) {
        d[i] = ds * f->e1[i] + dh * f->e2[i] + wide * f->e3[i];
        X[i] = 0.5 * ((high->s + low->s) * f->e1[i] + (high->h + low->h) * f->e2[i] + (high->t[0] + low->t[1]) * f->e3[i]);
    }
    if (!ps_unit3(d)) return false;
    ps_gap_frame_set(&out->frame, atan2(-d[0], d[1]), asin(-d[2]));
    double middle = ps_dot3(X, out->frame.e3), half = 0.5 * sqrt(ds * ds + dh * dh + wide * wide);
    out->axis = (ps_gap_axis){.s = ps_dot3(X, out->frame.e1), .h = ps_dot3(X, out->frame.e2), .face = {middle + half, middle - half}};
    out->value = sqrt(high->value * low->value) * exp(-0.5 * (off / off_rad) * (off / off_rad));
    return true;
}

/* Keeps the `most` best, best first. */
static int insert(couple *list, int count, int most, const couple *c) {
    int at = count < most ? count++ : most;
    for (; at > 0 && list[at - 1].value < c->value; at--)
        if (at < most) list[at] = list[at - 1];
    if (at < most) list[at] = *c;
    return count;
}

static int join_all(const ps_gap_frame *f, ps_gap_guess end[2][ENDS], const int count[2], couple out[PAIRS]) {
    int found = 0;
    for (int i = 0; i < count[0]; i++)
        for (int k = 0; k < count[1]; k++) {
            couple c;
            if (join(f, &end[0][i], &end[1][k], &c)) found = insert(out, found, PAIRS, &c);
        }
    return found;
}

/* The axis about which most stands out on the poorer end. What stands out of a bush hides some of it, so that the best start is not always
 * the one that looks best at first. */
static bool clearest(const ps_gap_scene *rough, const ps_gap_scene *sc, couple *pair, int count, ps_gap_frame *frame, ps_gap_axis *out) {
    couple best[TRIED];
    int tried = 0;
    for (int i = 0; i < count; i++) {
        ps_gap_settle(rough, sc, &pair[i].frame, &pair[i].axis, 1);
        pair[i].value = pair[i].axis.value;
        if (pair[i].value > start_min) tried = insert(best, tried, TRIED, &pair[i]);
    }
    out->value = clear_min;
    bool found = false;
    for (int i = 0; i < tried; i++) {
        for (int round = 0; round < 2; round++) ps_gap_try_around(rough, sc, &best[i].frame, &best[i].axis);
        if (!(best[i].axis.value > out->value)) continue;
        *out = best[i].axis;
        *frame = best[i].frame;
        found = true;
    }
    return found;
}

ps_status ps_gap_boss_axis(ps_context *ctx, const ps_gap_scene *rough, const ps_gap_scene *sc, const ps_gap_edgel *const *edgels,
                           const int *counts, ps_gap_frame *frame, ps_gap_axis *out, int *found) {
    size_t room = (size_t)sc->photos * PS_GAP_GUESSES_A_PHOTO;
    ps_gap_guess *g = malloc(2 * room * sizeof *g), *own = g + room, end[2][ENDS];
    couple pair[PAIRS];
    int count = 0, ends[2] = {0, 0};
    if (!g) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory to look for a boss");
    ps_status status = ps_gap_guesses(ctx, rough, edgels, counts, frame, g, &count);
    for (int ear = 0; status == PS_OK && ear < 2; ear++) {
        memcpy(own, g, (size_t)count * sizeof *g);
        ends[ear] = find_ends(rough, frame, own, count, ear, end[ear]);
    }
    free(g);
    if (status != PS_OK) return status;
    bool had = clearest(rough, sc, pair, join_all(frame, end, ends, pair), frame, out);
    *found = had;
    if (!had) return ps_context_fail(ctx, PS_NOT_FOUND, "no pair of outward bush faces was found");
    ps_gap_face_places(out);
    ps_gap_settle(rough, sc, frame, out, 1);
    return PS_OK;
}
