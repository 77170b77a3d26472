/* Axes, circles and direction of the pins improved together on the support of all circles: a coordinate search, because support has no
 * useful derivative and each coordinate touches a few circles only. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "rim/gap.h"

enum { SECTORS = 48, ROUNDS_MAX = 40 };
static const double lever_mm = 120; /* what a turn of the frame is worth in millimetres, about where the ears are */

static double value_of(const ps_gap_scene *sc, const ps_gap_frame *f, const ps_gap_axis *a, const ps_gap_circle *c) {
    return ps_gap_joint(sc, f, a->s, a->h, c->ear, c->t, c->r, SECTORS, NULL);
}

static double measure(const ps_gap_scene *sc, const ps_gap_frame *f, ps_gap_axis *a) {
    double sum = 0;
    for (int i = 0; i < a->count; i++) sum += a->circle[i].support = value_of(sc, f, a, &a->circle[i]);
    return sum;
}

static double total(const ps_gap_axis *axes, int count) {
    double sum = 0;
    for (int i = 0; i < count; i++)
        for (int k = 0; k < axes[i].count; k++) sum += axes[i].circle[k].support;
    return sum;
}

/* The axis in a turned frame, turned about the middle between its ears. */
static void turn_axis(const ps_gap_frame *from, const ps_gap_frame *to, ps_gap_axis *a) {
    double middle = 0.5 * (a->face[0] + a->face[1]), X[3];
    for (int i = 0; i < 3; i++) X[i] = a->s * from->e1[i] + a->h * from->e2[i] + middle * from->e3[i];
    a->s = ps_dot3(X, to->e1);
    a->h = ps_dot3(X, to->e2);
    double shift = ps_dot3(X, to->e3) - middle;
    for (int k = 0; k < 2; k++) a->face[k] += shift;
    for (int k = 0; k < a->count; k++) a->circle[k].t += shift;
}

void ps_gap_turn(ps_gap_frame *frame, double turn, double lean, ps_gap_axis *axes, int count) {
    const ps_gap_frame from = *frame;
    ps_gap_frame_set(frame, turn, lean);
    for (int i = 0; i < count; i++) turn_axis(&from, frame, &axes[i]);
}

static bool try_circles(const ps_gap_scene *sc, const ps_gap_frame *f, ps_gap_axis *a, double size) {
    bool moved = false;
    for (int i = 0; i < a->count; i++)
        for (int k = 0; k < 4; k++) {
            ps_gap_circle trial = a->circle[i];
            *(k < 2 ? &trial.t : &trial.r) += k % 2 ? size : -size;
            trial.support = value_of(sc, f, a, &trial);
            if (trial.r > 5 && trial.support > a->circle[i].support + 1e-4) a->circle[i] = trial, moved = true;
        }
    return moved;
}

static bool try_place(const ps_gap_scene *sc, const ps_gap_frame *f, ps_gap_axis *a, double size) {
    bool moved = false;
    for (int k = 0; k < 4; k++) {
        ps_gap_axis trial = *a;
        *(k < 2 ? &trial.s : &trial.h) += k % 2 ? size : -size;
        if (measure(sc, f, &trial) > total(a, 1) + 1e-4) *a = trial, moved = true;
    }
    return moved;
}

static bool try_turns(const ps_gap_scene *sc, ps_gap_frame *frame, ps_gap_axis *axes, int count, double size) {
    bool moved = false;
    for (int k = 0; k < 4; k++) {
        ps_gap_axis trial[2];
        ps_gap_frame f;
        double angle = (k % 2 ? size : -size) / lever_mm, sum = 0;
        ps_gap_frame_set(&f, frame->turn + (k < 2 ? angle : 0), frame->lean + (k < 2 ? 0 : angle));
        memcpy(trial, axes, (size_t)count * sizeof *trial);
        for (int i = 0; i < count; i++) {
            turn_axis(frame, &f, &trial[i]);
            sum += measure(sc, &f, &trial[i]);
        }
        if (sum <= total(axes, count) + 1e-4) continue;
        *frame = f;
        memcpy(axes, trial, (size_t)count * sizeof *trial);
        moved = true;
    }
    return moved;
}

double ps_gap_improve(const ps_gap_scene *sc, ps_gap_frame *frame, ps_gap_axis *axes, int count, double size, double finest) {
    for (int i = 0; i < count; i++) measure(sc, frame, &axes[i]);
    for (int round = 0; round < ROUNDS_MAX && size >= finest; round++) {
        bool moved = false;
        for (int i = 0; i < count; i++) {
            moved = try_circles(sc, frame, &axes[i], size) || moved;
            moved = try_place(sc, frame, &axes[i], size) || moved;
        }
        moved = try_turns(sc, frame, axes, count, size) || moved;
        if (!moved) size *= 0.5;
    }
    return total(axes, count);
}
