/* Moving an axis to where its profile is sharpest. */
#include <math.h>
#include <string.h>

#include "rim/profile_rows.h"

enum { TRIED_MAX = 256, HEIGHTS_MAX = 64, RADII_MAX = 256, APART = 3 }; /* RADII_MAX: at most PS_PROFILE_ROW_MAX */
static const double height_step_mm = 1.5, radius_step_mm = 0.5;
/* Where all was looked at, most of the sharpness lies in few places; the rest is the texture of the ground. A place of the axis nearby is
 * judged by those, and by what they can move to: a step of the axis at most, and of a height by parallax about as much. */
static const double telling_share = 0.7;
enum { REACH_HEIGHTS = 2, REACH_RADII = 6 };
/* Where circles stand about an axis, half of the sharpness lies close together, after a first step toward it at the latest; in mere texture
 * it lies all about, and in a single photo a circle could stand at any height. Of 264 axes that were read as pins in scenes of our own
 * none asked for more than 0.3 of the grid, of 708 that were not read seven in ten asked for more than this. */
static const double dull_half = 0.5, dull_share = 0.45;

/* A grid of circles about the axis: how much each adds to the sharpness, and which are to be looked at. */
typedef struct grid {
    double height0, radius0;
    int heights, radii;
    float part[HEIGHTS_MAX][RADII_MAX];
    bool wanted[HEIGHTS_MAX][RADII_MAX];
} grid;

/* Contrast of the joint profile: how far it stands out from its neighbours in radius, over a coarse grid. A broad bright
 * region (texture, a shadow's border) adds nothing; a rim that all photos agree on does. */
static double sharpness_of_run(const ps_profile_source *s, const ps_axis_guess *axis, grid *g, int h, int from, int to) {
    double row[RADII_MAX], sum = 0;
    ps_profile_turn own;
    int first = from - APART;
    ps_profile_joint_row(s, axis, g->height0 + h * height_step_mm, g->radius0 + first * radius_step_mm, radius_step_mm,
                         to - from + 2 * APART, ps_profile_turn_of(s, 48, &own), row);
    for (int u = from; u < to; u++) {
        const double *at = row + u - first;
        double over = fmax(0, at[0] - 0.5 * (at[-APART] + at[APART]));
        g->part[h][u] = (float)(over * over * over);
        sum += over * over * over;
    }
    return sum;
}

/* Over the circles wanted, which lie at least APART from the grid's border. */
static double sharpness(const ps_profile_source *s, const ps_axis_guess *axis, grid *g) {
    double sum = 0;
    for (int h = 0; h < g->heights; h++)
        for (int u = APART; u < g->radii - APART; u++) {
            int from = u;
            while (u < g->radii - APART && g->wanted[h][u]) u++;
            if (u > from) sum += sharpness_of_run(s, axis, g, h, from, u);
        }
    return sum;
}

static double sum_from(const grid *g, float least) {
    double sum = 0;
    for (int h = 0; h < g->heights; h++)
        for (int u = APART; u < g->radii - APART; u++) sum += g->part[h][u] >= least ? (double)g->part[h][u] : 0;
    return sum;
}

/* How large those parts are, to a thousandth, that together make up so much. */
static float part_of(const grid *g, double much) {
    float low = 0, high = 1; /* a support's contrast, cubed */
    while (high - low > 1e-3F * high) {
        float middle = 0.5F * (low + high);
        if (sum_from(g, middle) >= much)
            low = middle;
        else
            high = middle;
        if (high < 1e-12F) break;
    }
    return low;
}

/* Asks for circles whose parts are at least so large, and for those around them. Returns their part of the grid. */
static double want_around(grid *g, float least) {
    int wanted = 0, all = 0;
    memset(g->wanted, false, sizeof g->wanted);
    for (int h = 0; h < g->heights; h++)
        for (int u = APART; u < g->radii - APART; u++) {
            if (!(g->part[h][u] >= least && g->part[h][u] > 0)) continue;
            for (int i = h - REACH_HEIGHTS; i <= h + REACH_HEIGHTS; i++)
                for (int k = u - REACH_RADII; k <= u + REACH_RADII; k++)
                    if (i >= 0 && i < g->heights && k >= APART && k < g->radii - APART) g->wanted[i][k] = true;
        }
    for (int h = 0; h < g->heights; h++)
        for (int u = APART; u < g->radii - APART; u++) wanted += g->wanted[h][u], all++;
    return all ? (double)wanted / all : 1;
}

/* Looks at all circles about an axis, and asks for the telling ones. Returns the sharpness of what is asked for; *dull: no circles stand
 * out. */
static double look_all_over(const ps_profile_source *s, const ps_axis_guess *axis, grid *g, bool *dull) {
    memset(g->wanted, true, sizeof g->wanted);
    double all = sharpness(s, axis, g), sum = 0;
    *dull = want_around(g, part_of(g, dull_half * all)) > dull_share;
    want_around(g, part_of(g, telling_share * all));
    for (int h = 0; h < g->heights; h++)
        for (int u = APART; u < g->radii - APART; u++)
            if (g->wanted[h][u]) sum += (double)g->part[h][u];
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

bool ps_profile_focus(const ps_profile_source *s, ps_axis_guess *axis, double height_low, double height_high, double radius_low,
                      double radius_high, double reach_mm) {
    grid g = {.height0 = height_low,
              .radius0 = radius_low,
              .heights = (int)fmin(fmax(0, (height_high - height_low) / height_step_mm + 1), HEIGHTS_MAX),
              .radii = (int)fmin(fmax(0, (radius_high - radius_low) / radius_step_mm), RADII_MAX)};
    tried before = {1, {{axis->x_mm, axis->y_mm}}};
    double best = 0;
    bool looked = false, dull = true;
    for (double step = reach_mm; step > 0.12; step *= 0.5) {
        if (!looked) best = look_all_over(s, axis, &g, &dull);
        looked = true;
        if (s->photos > 1 && !axis->patient && step < reach_mm && dull) return false;
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 4; k++) {
                ps_axis_guess trial = *axis;
                if (k < 2)
                    trial.x_mm += k ? step : -step;
                else
                    trial.y_mm += k == 3 ? step : -step;
                if (!try_first(&before, &trial)) continue; /* it was no better */
                double value = sharpness(s, &trial, &g);
                if (value > best * 1.0005) best = value, *axis = trial, moved = true, looked = false;
            }
        }
    }
    return true;
}
