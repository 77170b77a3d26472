/* Moving an axis to where its profile is sharpest. */
#include <math.h>

#include "rim/profile_rows.h"

enum { TRIED_MAX = 256 };

/* Contrast of the joint profile: how far it stands out from its neighbours in radius, over a coarse grid. A broad bright
 * region (texture, a shadow's border) adds nothing; a rim that all photos agree on does. */
static double sharpness(const ps_profile_source *s, const ps_axis_guess *axis, double h0, double h1, double r0, double r1) {
    enum { ROW = 256, APART = 3 }; /* ROW: at most PS_PROFILE_ROW_MAX */
    const double step = 0.5;
    double row[ROW], sum = 0;
    ps_profile_turn own;
    const ps_profile_turn *turn = ps_profile_turn_of(s, 48, &own);
    int n = (int)fmin((r1 - r0) / step, ROW);
    for (double h = h0; h <= h1; h += 1.5) {
        ps_profile_joint_row(s, axis, h, r0, step, n, turn, row);
        for (int i = APART; i + APART < n; i++) {
            double over = row[i] - 0.5 * (row[i - APART] + row[i + APART]);
            if (over > 0) sum += over * over * over;
        }
    }
    return sum;
}

/* Places of the axis that were tried, so that none is tried twice. */
typedef struct tried {
    int count;
    double at[TRIED_MAX][2];
} tried;

static bool try_first(tried *t, const ps_axis_guess *axis) {
    for (int i = 0; i < t->count; i++)
        if (fabs(t->at[i][0] - axis->x_mm) < 1e-6 && fabs(t->at[i][1] - axis->y_mm) < 1e-6) return false;
    if (t->count == TRIED_MAX) return true;
    t->at[t->count][0] = axis->x_mm;
    t->at[t->count++][1] = axis->y_mm;
    return true;
}

void ps_profile_focus(const ps_profile_source *s, ps_axis_guess *axis, double height_low, double height_high, double radius_low,
                      double radius_high, double reach_mm) {
    double best = sharpness(s, axis, height_low, height_high, radius_low, radius_high);
    tried before = {1, {{axis->x_mm, axis->y_mm}}};
    for (double step = reach_mm; step > 0.12; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 4; k++) {
                ps_axis_guess trial = *axis;
                if (k < 2)
                    trial.x_mm += k ? step : -step;
                else
                    trial.y_mm += k == 3 ? step : -step;
                if (!try_first(&before, &trial)) continue; /* it was no better */
                double value = sharpness(s, &trial, height_low, height_high, radius_low, radius_high);
                if (value > best * 1.0005) best = value, *axis = trial, moved = true;
            }
        }
}
