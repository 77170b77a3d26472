/* From the unknowns to cameras, pieces, axes and circles, with the derivatives that every row shares. */
#include "adjust/model.h"
#include "base/linear.h"

#include <math.h>
#include <string.h>

static double at(const double *x, int index) {
    return index >= 0 ? x[index] : 0;
}

/* exp(w + dw) = exp(Jl dw) exp(w) to first order. */
static void left_jacobian(const double w[3], double J[9]) {
    double angle2 = ps_dot3(w, w), angle = sqrt(angle2), a, b;
    if (angle < 1e-4) { /* series: the next terms are under 1e-17 */
        a = 0.5 - angle2 / 24;
        b = 1.0 / 6 - angle2 / 120;
    } else {
        double half = sin(angle / 2);
        a = 2 * half * half / angle2;
        b = (angle - sin(angle)) / (angle2 * angle);
    }
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) J[3 * i + j] = b * w[i] * w[j] + (i == j ? 1 - b * angle2 : 0);
    }
    J[1] -= a * w[2], J[2] += a * w[1], J[3] += a * w[2];
    J[5] -= a * w[0], J[6] -= a * w[1], J[7] += a * w[0];
}

static void set_frame(adjust_frame *f, const ps_pose *start, const double *x, int index) {
    double w[3] = {0}, turn[9];
    memcpy(f->t, start->t, sizeof f->t);
    if (index >= 0) {
        memcpy(w, x + index, sizeof w);
        for (int k = 0; k < 3; k++) f->t[k] += x[index + 3 + k];
    }
    ps_rotation_from_vector(w, turn);
    ps_mat3_mul(turn, start->R, f->R);
    left_jacobian(w, f->Jl);
}

static bool set_cameras(adjust_model *m, const double *x) {
    const ps_adjust_problem *p = &m->problem;
    const adjust_layout *l = &m->layout;
    for (int i = 0; i < p->photo_count; i++) {
        int g = p->photo[i].group;
        ps_lens *lens = &m->lens[i];
        *lens = p->group[g].start;
        lens->f_px *= exp(at(x, l->group_focal[g]) + at(x, l->photo_focal[i]));
        double *centre[2] = {&lens->cx, &lens->cy}, *term[ADJUST_LENS_TERMS] = {&lens->k1, &lens->k2, &lens->p1, &lens->p2, &lens->k3};
        for (int k = 0; k < 2; k++) {
            if (l->group_centre[g] >= 0) *centre[k] += x[l->group_centre[g] + k];
            if (l->photo_centre[i] >= 0) *centre[k] += x[l->photo_centre[i] + k];
        }
        for (int k = 0; k < ADJUST_LENS_TERMS; k++) *term[k] += at(x, l->group_term[g][k]);
        set_frame(&m->photo[i], &p->photo[i].start, x, l->photo_pose[i]);
        if (!(lens->f_px > 0) || !isfinite(lens->f_px)) return false;
    }
    return true;
}

static bool set_pieces(adjust_model *m, const double *x) {
    static const ps_pose identity = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}};
    const ps_adjust_problem *p = &m->problem;
    const adjust_layout *l = &m->layout;
    for (int i = 0; i < p->piece_count; i++) {
        m->across[i] = adjust_across_start(p, i) * (1 + at(x, l->scale_across) + at(x, l->scale_common) + at(x, l->own_across[i]));
        m->along[i] = adjust_along_start(p, i) * (1 + at(x, l->scale_along) + at(x, l->scale_common) + at(x, l->own_along[i]));
        set_frame(&m->piece[i], i == p->held_piece ? &identity : &p->piece[i].start, x, l->piece_pose[i]);
        m->paper[i] = 1 + at(x, l->paper[i]);
        for (int k = 0; k < ADJUST_BEND_TERMS; k++) m->bend[i][k] = l->bend[i] >= 0 ? x[l->bend[i] + k] : 0;
        if (!(m->paper[i] > 0 && m->across[i] > 0 && m->along[i] > 0)) return false;
    }
    return true;
}

static bool set_axes(adjust_model *m, const double *x) {
    for (int i = 0; i < m->problem.pin_count; i++) {
        const double *u = x + m->layout.axis[i], *e[2] = {m->pin_u[i], m->pin_v[i]};
        adjust_axis *a = &m->axis[i];
        double q[3];
        for (int k = 0; k < 3; k++) {
            a->point[k] = m->pin_start[i][k] + u[0] * m->pin_offset[i][0][k] + u[1] * m->pin_offset[i][1][k];
            q[k] = m->pin_direction[i][k] + u[2] * e[0][k] + u[3] * e[1][k];
        }
        double length = ps_norm3(q);
        for (int k = 0; k < 3; k++) a->direction[k] = q[k] / length;
        for (int t = 0; t < 2; t++) {
            double along = ps_dot3(a->direction, e[t]);
            for (int k = 0; k < 3; k++) a->tilt[t][k] = (e[t][k] - a->direction[k] * along) / length;
        }
        if (!m->pin_lying[i] && fabs(a->direction[2]) < 0.05) return false; /* height 0 would run away along the world plane */
    }
    return true;
}

static bool set_circles(adjust_model *m, const double *x) {
    const adjust_layout *l = &m->layout;
    for (int i = 0; i < m->problem.rim_count; i++) {
        const ps_adjust_rim *rim = &m->problem.rim[i];
        const adjust_axis *a = &m->axis[rim->pin];
        const double *d = a->direction, *e[2] = {m->pin_u[rim->pin], m->pin_v[rim->pin]};
        adjust_circle *c = &m->circle[i];
        double aside[3] = {0}; /* lateral offset in the axis' start frame; its part along the axis is taken out */
        for (int t = 0; t < 2 && l->lateral[i] >= 0; t++) {
            for (int k = 0; k < 3; k++) aside[k] += x[l->lateral[i] + t] * e[t][k];
        }
        m->height[i] = rim->height_mm + x[l->height[i]];
        c->radius = rim->radius_mm + x[l->radius[i]];
        for (int t = 0; t < 2; t++) c->oval[t] = l->round[i] >= 0 ? x[l->round[i] + t] : 0;
        if (!(c->radius > 2 * hypot(c->oval[0], c->oval[1]))) return false;
        double along = ps_dot3(d, aside);
        for (int k = 0; k < 3; k++) {
            c->normal[k] = d[k];
            c->centre[k] = a->point[k] + (m->height[i] - along) * d[k] + aside[k];
        }
        for (int t = 0; t < 2; t++) {
            double e_along = ps_dot3(d, e[t]), turn_along = ps_dot3(a->tilt[t], aside);
            for (int k = 0; k < 3; k++) {
                c->lateral[t][k] = e[t][k] - e_along * d[k];
                c->tilt[t][k] = (m->height[i] - along) * a->tilt[t][k] - turn_along * d[k];
            }
        }
        /* The start's u, made square to the axis as it is now. */
        double slope = ps_dot3(d, e[0]);
        for (int k = 0; k < 3; k++) c->u[k] = e[0][k] - slope * d[k];
        double length = ps_norm3(c->u);
        if (!(length > 0.1)) return false; /* an axis that has turned over by nearly a right angle */
        for (int k = 0; k < 3; k++) c->u[k] /= length;
        ps_cross3(d, c->u, c->v);
        for (int t = 0; t < 2; t++) c->twist[t] = -ps_dot3(a->tilt[t], c->v) * slope / length;
    }
    return true;
}

bool adjust_state_set(adjust_model *m, const double *x) {
    return set_cameras(m, x) && set_pieces(m, x) && set_axes(m, x) && set_circles(m, x);
}

void adjust_state_forget(adjust_model *m) {
    for (int i = 0; i < m->problem.edge_count; i++) m->edge_theta[i] = NAN;
}
