/* A capped pin. The cap's edge is the one clear circle on the axis, high above the plate; of the bush behind it each photo shows the part
 * that the cap leaves free. The numbers are our own, common practice without a source. */
#include <math.h>

#include "rim/reading.h"

static const double cap_radius_least_mm = 15, cap_height_least_mm = 5, cap_clear_least = 0.75, cap_strength_least = 1.0;
static const double above_bush_least_mm = 3; /* a cap sits on a pin that stands out */
static const double bush_over_cap_least = 0.6, bush_over_cap_most = 1.7;
static const double bush_height_least_mm = 1.5, bush_height_most_mm = 25; /* of the face above the plate */
static const double bush_chamfer_most_mm = 3.4, bush_clear_least = 0.5;
static const double same_radius_mm = 0.35;

ps_status ps_reading_cap(ps_context *ctx, const ps_spot *spots, int count, const ps_reading_scene *scene, int *cap) {
    double clear[PS_SPOTS_MAX], best = 0;
    if (count > PS_SPOTS_MAX || !(scene->px_per_mm > 0)) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "reading of a senseless section");
    ps_reading_strengths(spots, count, scene, clear);
    *cap = -1;
    for (int i = 0; i < count; i++) {
        const ps_spot *s = &spots[i];
        if (clear[i] < cap_clear_least || s->strength < cap_strength_least || s->radius_mm < cap_radius_least_mm) continue;
        if (s->height_mm < cap_height_least_mm || s->strength * s->radius_mm <= best) continue;
        best = s->strength * s->radius_mm;
        *cap = i;
    }
    return *cap >= 0 ? PS_OK : ps_context_fail(ctx, PS_NOT_FOUND, "no cap on this axis");
}

static bool may_be_bush(const ps_spot *s, const ps_spot *cap) {
    double ratio = s->radius_mm / cap->radius_mm;
    return s->height_mm >= bush_height_least_mm && s->height_mm <= bush_height_most_mm &&
           s->height_mm <= cap->height_mm - above_bush_least_mm && ratio >= bush_over_cap_least && ratio <= bush_over_cap_most;
}

ps_status ps_reading_under_cap(ps_context *ctx, const ps_spot *spots, int count, const ps_reading_scene *scene, const ps_spot *cap,
                               ps_reading *out) {
    double clear[PS_SPOTS_MAX], worth[PS_SPOTS_MAX], tol_h = ps_reading_tol_height_mm(scene);
    int inner[PS_SPOTS_MAX], best = -1;
    if (count > PS_SPOTS_MAX || !(scene->px_per_mm > 0)) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "reading of a senseless section");
    ps_reading_strengths(spots, count, scene, clear);
    for (int o = 0; o < count; o++) {
        worth[o] = may_be_bush(&spots[o], cap) && clear[o] >= bush_clear_least ? clear[o] : 0;
        inner[o] = -1;
        for (int i = 0; worth[o] > 0 && i < count; i++) {
            double across = spots[o].radius_mm - spots[i].radius_mm, down = spots[i].height_mm - spots[o].height_mm;
            double both = clear[o] + clear[i] - ps_reading_chamfer_cost(across, down, bush_chamfer_most_mm, tol_h);
            if (both > worth[o]) worth[o] = both, inner[o] = i;
        }
        if (worth[o] > 0 && (best < 0 || worth[o] > worth[best])) best = o;
    }
    if (best < 0) return ps_context_fail(ctx, PS_NOT_FOUND, "no bush under the cap");
    double other = 0;
    for (int o = 0; o < count; o++)
        if (fabs(spots[o].radius_mm - spots[best].radius_mm) > same_radius_mm && o != inner[best]) other = fmax(other, worth[o]);
    *out = (ps_reading){.pin_face = -1,
                        .pin = -1,
                        .bush_face = inner[best],
                        .bush = best,
                        .junction = -1,
                        .score = 1 + worth[best],
                        .bush_lead = worth[best] - other};
    out->clear[2] = inner[best] >= 0 ? clear[inner[best]] : 0;
    out->clear[3] = clear[best];
    return PS_OK;
}
