/* A search that begins where that of a like problem ended. Unknowns are increments on start values: they can be taken over where both
 * problems start alike, whatever else the problems have or lack. */
#include <string.h>

#include "adjust/model.h"

typedef struct carrying {
    const double *from;
    double *to;
} carrying;

static void carry(const carrying *c, int from, int to, int width) {
    if (from >= 0 && to >= 0) memcpy(c->to + to, c->from + from, (size_t)width * sizeof *c->to);
}

static bool same_pose(const ps_pose *a, const ps_pose *b) {
    return memcmp(a->R, b->R, sizeof a->R) == 0 && memcmp(a->t, b->t, sizeof a->t) == 0;
}

static bool same_lens(const ps_lens *a, const ps_lens *b) {
    return a->f_px == b->f_px && a->cx == b->cx && a->cy == b->cy && a->k1 == b->k1 && a->k2 == b->k2 && a->p1 == b->p1 && a->p2 == b->p2 &&
           a->k3 == b->k3;
}

static void carry_cameras(const carrying *c, const adjust_model *a, const adjust_model *b) {
    const adjust_layout *la = &a->layout, *lb = &b->layout;
    const ps_adjust_problem *p = &a->problem, *q = &b->problem;
    for (int g = 0; g < p->group_count && g < q->group_count; g++) {
        int from[PS_LENS_COUNT], to[PS_LENS_COUNT];
        if (!same_lens(&p->group[g].start, &q->group[g].start)) continue;
        adjust_layout_lens(a, g, from);
        adjust_layout_lens(b, g, to);
        for (int k = 0; k < PS_LENS_COUNT; k++) carry(c, from[k], to[k], 1);
    }
    for (int i = 0; i < p->photo_count && i < q->photo_count; i++) {
        if (p->photo[i].group != q->photo[i].group || !same_pose(&p->photo[i].start, &q->photo[i].start)) continue;
        carry(c, la->photo_pose[i], lb->photo_pose[i], 6);
        carry(c, la->photo_focal[i], lb->photo_focal[i], 1);
        carry(c, la->photo_centre[i], lb->photo_centre[i], 2);
    }
}

static void carry_pieces(const carrying *c, const adjust_model *a, const adjust_model *b) {
    const adjust_layout *la = &a->layout, *lb = &b->layout;
    const ps_adjust_problem *p = &a->problem, *q = &b->problem;
    if (p->scale.across != q->scale.across || p->scale.along != q->scale.along) return;
    carry(c, la->scale_across, lb->scale_across, 1);
    carry(c, la->scale_along, lb->scale_along, 1);
    carry(c, la->scale_common, lb->scale_common, 1);
    for (int i = 0; i < p->piece_count && i < q->piece_count; i++) {
        if (adjust_across_start(p, i) != adjust_across_start(q, i) || adjust_along_start(p, i) != adjust_along_start(q, i)) continue;
        if (p->piece[i].piece != q->piece[i].piece || !same_pose(&p->piece[i].start, &q->piece[i].start)) continue;
        carry(c, la->own_across[i], lb->own_across[i], 1);
        carry(c, la->own_along[i], lb->own_along[i], 1);
        carry(c, la->paper[i], lb->paper[i], 1);
        carry(c, la->piece_pose[i], lb->piece_pose[i], 6);
        carry(c, la->bend[i], lb->bend[i], ADJUST_BEND_TERMS);
    }
}

static void carry_rims(const carrying *c, const adjust_model *a, const adjust_model *b, const bool *pin) {
    const adjust_layout *la = &a->layout, *lb = &b->layout;
    const ps_adjust_problem *p = &a->problem, *q = &b->problem;
    for (int r = 0; r < p->rim_count && r < q->rim_count; r++) {
        const ps_adjust_rim *m = &p->rim[r], *n = &q->rim[r];
        if (m->pin != n->pin || !pin[m->pin] || m->edge != n->edge || m->ear != n->ear) continue;
        if (m->height_mm != n->height_mm || m->radius_mm != n->radius_mm) continue;
        carry(c, la->height[r], lb->height[r], 1);
        carry(c, la->radius[r], lb->radius[r], 1);
        carry(c, la->round[r], lb->round[r], 2);
        carry(c, la->lateral[r], lb->lateral[r], 2);
        carry(c, la->shift_common[r], lb->shift_common[r], 1);
        for (int i = 0; i < p->photo_count && i < q->photo_count; i++) {
            carry(c, la->shift_photo[r][i], lb->shift_photo[r][i], 1);
            carry(c, la->shift_side[r][i], lb->shift_side[r][i], 2);
        }
    }
}

void adjust_carry(const ps_adjust_solution *from, const adjust_model *to, double *x) {
    const adjust_model *a = &from->model;
    const carrying c = {from->x, x};
    bool pin[PS_ADJUST_PINS_MAX] = {false};
    carry_cameras(&c, a, to);
    carry_pieces(&c, a, to);
    for (int i = 0; i < a->problem.pin_count && i < to->problem.pin_count; i++) {
        const ps_adjust_pin *p = &a->problem.pin[i], *q = &to->problem.pin[i];
        pin[i] = memcmp(p->axis_point_mm, q->axis_point_mm, sizeof p->axis_point_mm) == 0 &&
                 memcmp(p->axis_direction, q->axis_direction, sizeof p->axis_direction) == 0;
        if (pin[i]) carry(&c, a->layout.axis[i], to->layout.axis[i], 4);
    }
    carry_rims(&c, a, to, pin);
}
