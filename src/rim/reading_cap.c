/* A capped pin. The cap's edge is the one clear circle on the axis, high above the plate; of the bush behind it each photo shows the part
 * that the cap leaves free. The numbers are our own, common practice without a source. */
#include <math.h>

#include "rim/reading.h"

static const double cap_radius_least_mm = 15, cap_height_least_mm = 5, cap_clear_least = 0.75, cap_strength_least = 1.0;
static const double end_clear_least = 0.5, end_strength_least = 0.7; /* to look behind it once more costs little where it is none */
static const double above_bush_least_mm = 3;                         /* a cap sits on a pin that stands out */
static const double above_alike_least_mm = 7, alike_ratio = 1.1; /* a circle nearer and of its size is its own other edge, a chamfer's */
static const double bush_over_cap_least = 0.6, bush_over_cap_most = 1.7;
static const double bush_height_least_mm = 1.5, bush_height_most_mm = 25; /* of the face above the plate */
static const double bush_chamfer_most_mm = 3.4, bush_clear_least = 0.5;
static const double same_radius_mm = 0.35;

/* The clearest large circle well above the plate, -1 none. */
static int clearest_high(const ps_spot *spots, const double *clear, int count, double clear_least, double strength_least) {
    double best = 0;
    int at = -1;
    for (int i = 0; i < count; i++) {
        const ps_spot *s = &spots[i];
        if (clear[i] < clear_least || s->strength < strength_least || s->radius_mm < cap_radius_least_mm) continue;
        if (s->height_mm < cap_height_least_mm || s->strength * s->radius_mm <= best) continue;
        best = s->strength * s->radius_mm;
        at = i;
    }
    return at;
}

ps_status ps_reading_cap(ps_context *ctx, const ps_spot *spots, int count, const ps_reading_scene *scene, int *cap) {
    double clear[PS_SPOTS_MAX];
    if (count > PS_SPOTS_MAX || !(scene->px_per_mm > 0)) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "reading of a senseless section");
    ps_reading_strengths(spots, count, scene, clear);
    *cap = clearest_high(spots, clear, count, cap_clear_least, cap_strength_least);
    return *cap >= 0 ? PS_OK : ps_context_fail(ctx, PS_NOT_FOUND, "no cap on this axis");
}

ps_status ps_reading_end(ps_context *ctx, const ps_spot *spots, int count, const ps_reading_scene *scene, int *end) {
    double clear[PS_SPOTS_MAX];
    if (count > PS_SPOTS_MAX || !(scene->px_per_mm > 0)) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "reading of a senseless section");
    ps_reading_strengths(spots, count, scene, clear);
    *end = clearest_high(spots, clear, count, end_clear_least, end_strength_least);
    return *end >= 0 ? PS_OK : ps_context_fail(ctx, PS_NOT_FOUND, "nothing stands out on this axis");
}

static bool may_be_bush(const ps_spot *s, const ps_spot *cap) {
    double ratio = s->radius_mm / cap->radius_mm, above = cap->height_mm - s->height_mm;
    if (above < above_alike_least_mm && ratio < alike_ratio && ratio > 1 / alike_ratio) return false;
    return s->height_mm >= bush_height_least_mm && s->height_mm <= bush_height_most_mm && above >= above_bush_least_mm &&
           ratio >= bush_over_cap_least && ratio <= bush_over_cap_most;
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
