/* The support of a circle by all photos together: their geometric mean, so that each of them has to show it. */
#include <math.h>

#include "rim/profile_rows.h"

const double ps_profile_floor = 0.03; /* a photo that shows nothing does not veto a rim */

static bool support_one(const ps_profile_view *v, const ps_profile_shade *by, const ps_profile_level *at, double radius,
                        const ps_profile_turn *t, double *joint, double *strength) {
    const ps_profile_row w = {v, t, *at, *by, radius, 0, 1};
    ps_profile_row_read(&w, joint, strength);
    return *joint >= 0;
}

double ps_profile_support(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height, double radius, int sectors) {
    ps_profile_turn own;
    ps_profile_level at = ps_profile_level_at(s, photo, axis, height);
    ps_profile_shade by = ps_profile_shade_at(s, photo, axis, height);
    double joint, strength;
    return support_one(&s->photo[photo], &by, &at, radius, ps_profile_turn_of(s, sectors, &own), &joint, &strength) ? joint : NAN;
}

double ps_profile_mean_of(const ps_profile_source *s, double product, int photos) {
    if (photos == 1 && s->photos > 1 && s->screen.radius_mm > 0) product *= ps_profile_floor, photos = 2;
    return photos ? pow(product, 1.0 / photos) : 0;
}

/* The joint support of `count` circles of one height, radii r0, r0 + step, ...; a photo at a time, which keeps its samples at
 * hand. */
void ps_profile_joint_row(const ps_profile_source *s, const ps_axis_guess *axis, double height, double r0, double step, int count,
                          const ps_profile_turn *t, double *joint) {
    double one[PS_PROFILE_ROW_MAX];
    int photos[PS_PROFILE_ROW_MAX];
    for (int i = 0; i < count; i++) joint[i] = 1, photos[i] = 0;
    for (int p = 0; p < s->photos; p++) {
        const ps_profile_row w = {&s->photo[p], t,    ps_profile_level_at(s, p, axis, height), ps_profile_shade_at(s, p, axis, height), r0,
                                  step,         count};
        if (!w.at.below) continue;
        ps_profile_row_read(&w, one, NULL);
        for (int i = 0; i < count; i++) {
            if (one[i] < 0) continue;
            joint[i] *= fmax(one[i], ps_profile_floor);
            photos[i]++;
        }
    }
    for (int i = 0; i < count; i++) joint[i] = ps_profile_mean_of(s, joint[i], photos[i]);
}

double ps_profile_joint(const ps_profile_source *s, const ps_axis_guess *axis, double height, double radius, int sectors) {
    ps_profile_turn own;
    double joint;
    ps_profile_joint_row(s, axis, height, radius, 0, 1, ps_profile_turn_of(s, sectors, &own), &joint);
    return joint;
}

double ps_profile_joint_strength(const ps_profile_source *s, const ps_axis_guess *axis, double height, double radius, int sectors,
                                 double *strength) {
    ps_profile_turn own;
    const ps_profile_turn *t = ps_profile_turn_of(s, sectors, &own);
    double joint = 1, strong = 1;
    int photos = 0;
    for (int p = 0; p < s->photos; p++) {
        ps_profile_level at = ps_profile_level_at(s, p, axis, height);
        ps_profile_shade by = ps_profile_shade_at(s, p, axis, height);
        double one, its_strength;
        if (!support_one(&s->photo[p], &by, &at, radius, t, &one, &its_strength)) continue;
        joint *= fmax(one, ps_profile_floor);
        strong *= fmax(its_strength, ps_profile_floor);
        photos++;
    }
    *strength = ps_profile_mean_of(s, strong, photos);
    return ps_profile_mean_of(s, joint, photos);
}
