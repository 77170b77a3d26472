/* Where circles of one height show in a photo, and what a body on the same axis hides of them. */
#include <math.h>

#include "rim/profile_rows.h"

static const double shade_from = 1.1; /* of the screen's radius */

ps_profile_level ps_profile_level_at(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height) {
    const ps_profile_view *v = &s->photo[photo];
    ps_profile_level at = {0, 0, 0, v->cell && height < v->rise};
    if (!at.below) return at;
    double k = v->rise / (v->rise - height);
    /* the guess may have moved since the views were made */
    at.x = v->foot[0] + (axis->slope_x * height - v->foot[0]) * k + axis->x_mm - s->plane.origin[0];
    at.y = v->foot[1] + (axis->slope_y * height - v->foot[1]) * k + axis->y_mm - s->plane.origin[1];
    at.x = (at.x - v->x0) / v->step;
    at.y = (at.y - v->y0) / v->step;
    at.per_mm = k / v->step;
    return at;
}

ps_profile_shade ps_profile_shade_at(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height) {
    const ps_profile_screen *screen = &s->screen;
    ps_profile_shade out = {.count = 0, .from_mm = screen->wall ? shade_from * screen->radius_mm : 0};
    if (!(screen->radius_mm > 0) || height > screen->height_mm - 0.5) return out;
    for (int i = 0; i < (screen->wall ? PS_PROFILE_DISCS : 1); i++) {
        ps_profile_level at = ps_profile_level_at(s, photo, axis, screen->height_mm - (screen->height_mm - height) * i / PS_PROFILE_DISCS);
        if (!at.below) return (ps_profile_shade){.count = 0};
        double r = screen->radius_mm * at.per_mm + 1.5; /* its own edge is blurred */
        out.x[out.count] = (float)at.x, out.y[out.count] = (float)at.y, out.r2[out.count++] = (float)(r * r);
    }
    return out;
}

bool ps_profile_met(const ps_profile_shade *by, const ps_profile_level *at, double radius) {
    if (radius < by->from_mm) return false;
    double r = radius * at->per_mm;
    for (int i = 0; i < by->count; i++) {
        double dx = at->x - (double)by->x[i], dy = at->y - (double)by->y[i], apart = sqrt(dx * dx + dy * dy) - r;
        if (apart * apart < (double)by->r2[i]) return true;
    }
    return false;
}
