/* Whether a rim is one circle in all photos that show it. What each photo's edge is moved by beside the circle common to all, as a whole
 * and to a side, are unknowns with priors; where the photos' edges are of one circle these stay within them. A neighbouring edge taken in
 * one photo pulls them far out, though every point lies well on its own curve. (Data snooping for a group: Baarda 1968; the rows' share in
 * the redundancy is 1 - q p of each, as in Foerstner & Wrobel, Photogrammetric Computer Vision, 2016, section 4.6.) */
#include "adjust/model.h"

#include <math.h>

/* Square of an unknown over its prior's sd, and what it takes of the redundancy. */
static double row(const ps_adjust_solution *s, int index, double sigma, double *dof) {
    size_t n = (size_t)s->model.layout.count, i = (size_t)index;
    double left = 1 - s->covariance[i * n + i] / (sigma * sigma);
    *dof += fmin(fmax(left, 0), 1);
    return s->x[index] * s->x[index] / (sigma * sigma);
}

void ps_adjust_rim_agreement(const ps_adjust_solution *s, int rim, ps_rim_agreement *out) {
    const ps_adjust_problem *p = &s->model.problem;
    *out = (ps_rim_agreement){0, 0, -1, 0};
    double most = 0;
    for (int k = 0; k < p->photo_count; k++) {
        int own = s->model.layout.shift_photo[rim][k], side = s->model.layout.shift_side[rim][k];
        double part = 0;
        if (own >= 0) part += row(s, own, p->sigma_shift_photo_px, &out->dof);
        for (int a = 0; a < 2 && side >= 0; a++) part += row(s, side + a, p->sigma_shift_side_px, &out->dof);
        out->chi2 += part;
        out->photos += own >= 0 || side >= 0;
        if (part > most) most = part, out->photo = k;
    }
}
