/* Axes made sharper on what circles about them the photos show, and how clear they are then. */
#include <math.h>

#include "base/linear.h"
#include "rim/gap.h"

enum { SECTORS = 32 };
static const double beside_mm = 2.5;
static const double accept = 0.36; /* joint support that a circle must have on either ear */

static void read_axis(const ps_gap_scene *sc, const ps_gap_frame *f, double reach_mm, ps_gap_axis *a) {
    a->count = 0;
    for (int ear = 0; ear < 2; ear++) {
        ps_gap_window w = {a->face[ear] - reach_mm, a->face[ear] + reach_mm, 1, 14, ps_gap_widest(sc, a->h), 1};
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
void ps_gap_settle(const ps_gap_scene *rough, const ps_gap_scene *sc, ps_gap_frame *f, ps_gap_axis *axes, int count) {
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

/* The same from directions around: straight edges tell the direction to a degree, circles need it better. */
void ps_gap_try_around(const ps_gap_scene *rough, const ps_gap_scene *sc, ps_gap_frame *frame, ps_gap_axis *axis) {
    static const double degree = PS_PI / 180, way[][2] = {{-1.2, 0}, {1.2, 0}, {0, 1}, {0, -1}, {-0.6, 0}, {0.6, 0}};
    const ps_gap_frame start = *frame;
    const ps_gap_axis first = *axis;
    for (size_t i = 0; i < sizeof way / sizeof way[0]; i++) {
        ps_gap_frame own = start;
        ps_gap_axis trial = first;
        ps_gap_turn(&own, start.turn + way[i][0] * degree, start.lean + way[i][1] * degree, &trial, 1);
        ps_gap_settle(rough, sc, &own, &trial, 1);
        if (trial.value <= axis->value) continue;
        *axis = trial;
        *frame = own;
    }
}

/* About the middle of an axis' circles, per ear. */
void ps_gap_face_places(ps_gap_axis *a) {
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
