/* The pins' direction from straight edges. An edge in a photo and the camera span a plane; where the edge lies parallel to the cross plate,
 * at whatever height, its direction is where that plane cuts the plate's. The pins' flanks and the plate's ends run along the
 * pins, the ears' feet and rims square to them, so one direction and its square gather the votes of all photos. */
#include <math.h>
#include <stdlib.h>

#include "base/linear.h"
#include "rim/gap.h"

enum { BINS = 360 }; /* over a half turn, half a degree each */

static bool turn_of(const ps_view *view, const ps_gap_edgel *e, double *turn) {
    const double at[2] = {e->x, e->y}, next[2] = {e->x + 2 * e->tx, e->y + 2 * e->ty};
    double o[3], a[3], b[3], m[3];
    if (!ps_view_ray(view, at, o, a) || !ps_view_ray(view, next, o, b)) return false;
    ps_cross3(a, b, m);
    if (!ps_unit3(m) || hypot(m[0], m[1]) < 0.2) return false; /* seen along the plate: says nothing */
    *turn = atan2(-m[1], -m[0]);                               /* the cut has direction m x z; turned from +y */
    *turn = fmod(*turn + 4 * PS_PI, PS_PI);
    return true;
}

ps_status ps_gap_direction(ps_context *ctx, int photos, const ps_view *views, const ps_gap_edgel *const *edgels, const int *counts,
                           double *turn) {
    double bin[BINS] = {0}, smooth[BINS], best = 0, mean = 0;
    int at = -1;
    for (int p = 0; p < photos; p++)
        for (int i = 0; i < counts[p]; i++) {
            double one;
            if (turn_of(&views[p], &edgels[p][i], &one)) bin[(int)(one / PS_PI * BINS) % BINS] += 1.0 / (counts[p] + 1);
        }
    for (int k = 0; k < BINS; k++) {
        smooth[k] = bin[k] + 0.5 * (bin[(k + 1) % BINS] + bin[(k + BINS - 1) % BINS]);
        mean += smooth[k] / BINS;
    }
    for (int k = 0; k < BINS; k++) { /* within 45 degrees of +y; its square counts as much */
        double both = smooth[k] + smooth[(k + BINS / 2) % BINS];
        if ((k > BINS / 4 && k < BINS * 3 / 4) || both <= best) continue;
        best = both;
        at = k;
    }
    if (at < 0 || best < 0) return ps_context_fail(ctx, PS_NOT_FOUND, "no straight edges along the plate");
    double sum = 0, weight = 0;
    for (int d = -2; d <= 2; d++)
        for (int q = 0; q < 2; q++) {
            double w = bin[(at + d + q * BINS / 2 + BINS) % BINS];
            sum += w * d;
            weight += w;
        }
    double middle = (at + 0.5 + sum / (weight + 1e-12)) / BINS * PS_PI;
    *turn = middle > PS_PI / 2 ? middle - PS_PI : middle;
    return PS_OK;
}
