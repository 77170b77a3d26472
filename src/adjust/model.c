/* The problem copied, checked and prepared: what does not change while the unknowns do. */
#include "adjust/model.h"
#include "base/linear.h"
#include "pinspan/photo.h"
#include "pinspan/target.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool all_finite(const double *x, int n) {
    for (int i = 0; i < n; i++) {
        if (!isfinite(x[i])) return false;
    }
    return true;
}

static ps_status check_counts(ps_context *ctx, const ps_adjust_problem *p) {
    const struct {
        const char *what;
        int count, least, most;
        const void *array;
    } list[] = {
        {"photos", p->photo_count, 1, PS_ADJUST_PHOTOS_MAX, p->photo}, {"camera groups", p->group_count, 1, PS_ADJUST_PHOTOS_MAX, p->group},
        {"pieces", p->piece_count, 1, PS_ADJUST_PIECES_MAX, p->piece}, {"corners", p->corner_count, 4, 1000000, p->corner},
        {"pins", p->pin_count, 0, PS_ADJUST_PINS_MAX, p->pin},         {"rims", p->rim_count, 0, PS_ADJUST_RIMS_MAX, p->rim},
        {"edge points", p->edge_count, 0, 10000000, p->edge}};
    for (size_t i = 0; i < sizeof list / sizeof *list; i++) {
        if (list[i].count < list[i].least || list[i].count > list[i].most || (list[i].count > 0 && !list[i].array))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "%d %s: %d to %d are solved for", list[i].count, list[i].what, list[i].least,
                                   list[i].most);
    }
    if (p->held_piece < 0 || p->held_piece >= p->piece_count) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no piece is held");
    const ps_adjust_scale *s = &p->scale;
    if (!(s->across > 0 && s->along > 0) || !isfinite(s->across + s->along))
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "print scale %g x %g is not above 0", s->across, s->along);
    return PS_OK;
}

static ps_status check_cameras(ps_context *ctx, const ps_adjust_problem *p) {
    for (int i = 0; i < p->photo_count; i++) {
        const ps_adjust_photo *photo = &p->photo[i];
        if (photo->group < 0 || photo->group >= p->group_count)
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "photo %d has no camera group", i);
        if (!all_finite(photo->start.R, 9) || !all_finite(photo->start.t, 3))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "photo %d has no start pose", i);
    }
    for (int i = 0; i < p->group_count; i++) {
        const ps_lens *l = &p->group[i].start;
        if (!(l->f_px > 0) || !isfinite(l->f_px + l->cx + l->cy + l->k1 + l->k2 + l->p1 + l->p2 + l->k3))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "camera group %d has no start lens", i);
    }
    for (int i = 0; i < p->piece_count; i++) {
        const ps_adjust_line *line[2] = {&p->piece[i].print.across, &p->piece[i].print.along};
        for (int k = 0; k < 2; k++)
            if (!(line[k]->scale >= 0 && line[k]->sigma >= 0) || !isfinite(line[k]->scale + line[k]->sigma))
                return ps_context_fail(ctx, PS_BAD_ARGUMENT, "piece %d has a print of scale %g with sd %g", i, line[k]->scale,
                                       line[k]->sigma);
        if (!ps_kit_piece(p->piece[i].piece)) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "piece %d is not of the kit", i);
        if (i != p->held_piece && (!all_finite(p->piece[i].start.R, 9) || !all_finite(p->piece[i].start.t, 3)))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "piece %d has no start pose", i);
    }
    return PS_OK;
}

static ps_status check_pins(ps_context *ctx, const ps_adjust_problem *p) {
    for (int i = 0; i < p->pin_count; i++) {
        const ps_adjust_pin *pin = &p->pin[i];
        double d[3] = {pin->axis_direction[0], pin->axis_direction[1], pin->axis_direction[2]};
        /* Heights are counted from the world plane along the axis: an axis along that plane has no such place, and must stand on
         * no piece; its heights count from the point given. */
        if (!all_finite(pin->axis_point_mm, 3) || !all_finite(d, 3) || !ps_unit3(d) || (fabs(d[2]) < 0.1 && pin->piece >= 0))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "pin %d: axis does not meet the held piece's plane", i);
        if (pin->piece >= p->piece_count) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "pin %d stands on no piece", i);
    }
    for (int i = 0; i < p->rim_count; i++) {
        const ps_adjust_rim *rim = &p->rim[i];
        if (rim->pin < 0 || rim->pin >= p->pin_count) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "rim %d is on no pin", i);
        if (!(rim->radius_mm > 0) || !isfinite(rim->radius_mm + rim->height_mm))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "rim %d has no start radius and height", i);
        if (rim->height_known && !(rim->sigma_height_mm > 0 && isfinite(rim->height_prior_mm)))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "rim %d: declared height without uncertainty", i);
    }
    return PS_OK;
}

static ps_status check_observations(ps_context *ctx, const ps_adjust_problem *p) {
    for (int i = 0; i < p->corner_count; i++) {
        const ps_adjust_corner *c = &p->corner[i];
        if (c->photo < 0 || c->photo >= p->photo_count || c->piece < 0 || c->piece >= p->piece_count || c->index < 0 ||
            c->index >= ps_kit_piece(p->piece[c->piece].piece)->corner_count)
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "corner %d is of no known photo and piece", i);
        if (!isfinite(c->x_px + c->y_px) || !(c->sigma_px > 0) || !isfinite(c->sigma_px))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "corner %d is not a finite observation", i);
    }
    for (int i = 0; i < p->edge_count; i++) {
        const ps_adjust_edge *e = &p->edge[i];
        if (e->photo < 0 || e->photo >= p->photo_count || e->rim < 0 || e->rim >= p->rim_count)
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "edge point %d is of no known photo and rim", i);
        if (!isfinite(e->x_px + e->y_px) || !(e->sigma_px > 0) || !isfinite(e->sigma_px))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "edge point %d is not a finite observation", i);
    }
    return PS_OK;
}

/* Copies `count` items; NULL with *failed set when memory is out, NULL when there are none. */
static void *copy_of(const void *from, int count, size_t size, bool *failed) {
    if (count <= 0) return NULL;
    void *to = malloc((size_t)count * size);
    if (to) memcpy(to, from, (size_t)count * size);
    *failed = *failed || !to;
    return to;
}

static bool copy_problem(const ps_adjust_problem *from, adjust_model *m) {
    bool failed = false;
    ps_adjust_problem *p = &m->problem;
    *p = *from;
    p->from = NULL; /* it need not live on */
    p->photo = copy_of(from->photo, from->photo_count, sizeof *from->photo, &failed);
    p->group = copy_of(from->group, from->group_count, sizeof *from->group, &failed);
    p->piece = copy_of(from->piece, from->piece_count, sizeof *from->piece, &failed);
    p->corner = copy_of(from->corner, from->corner_count, sizeof *from->corner, &failed);
    p->pin = copy_of(from->pin, from->pin_count, sizeof *from->pin, &failed);
    p->rim = copy_of(from->rim, from->rim_count, sizeof *from->rim, &failed);
    p->edge = copy_of(from->edge, from->edge_count, sizeof *from->edge, &failed);
    size_t corners = (size_t)from->corner_count, edges = (size_t)from->edge_count + 1;
    m->corner_mm = calloc(corners, sizeof *m->corner_mm);
    m->corner_bend = calloc(corners, sizeof *m->corner_bend);
    m->corner_stored = calloc(corners, sizeof *m->corner_stored);
    m->edge_stored = calloc(edges, sizeof *m->edge_stored);
    m->edge_theta = calloc(edges, sizeof *m->edge_theta);
    return !failed && m->corner_mm && m->corner_bend && m->corner_stored && m->edge_stored && m->edge_theta;
}

void adjust_model_clear(adjust_model *m) {
    const void *arrays[] = {m->problem.photo, m->problem.group, m->problem.piece, m->problem.corner, m->problem.pin,
                            m->problem.rim,   m->problem.edge,  m->prior,         m->corner_mm,      m->corner_bend,
                            m->corner_stored, m->edge_stored,   m->edge_theta};
    for (size_t i = 0; i < sizeof arrays / sizeof *arrays; i++) free((void *)(uintptr_t)arrays[i]);
    memset(m, 0, sizeof *m);
}

static void bend_terms(const ps_piece *piece, int corner, double place[3], double term[ADJUST_BEND_TERMS]) {
    double mm[2];
    ps_piece_corner(piece, corner, mm);
    double x = mm[0] - 0.5 * piece->columns * piece->square_mm, y = mm[1] - 0.5 * piece->rows * piece->square_mm;
    place[0] = 1, place[1] = x, place[2] = y;
    term[0] = x * x, term[1] = x * y, term[2] = y * y;
    term[3] = x * x * x, term[4] = x * x * y, term[5] = x * y * y, term[6] = y * y * y;
}

/* Bend functions at a corner: second and third order about the middle, less their best plane over the corner grid. What is left
 * moves and tilts no piece as a whole, so that bend and pose never compete. */
static bool bend_planes(const ps_piece *piece, double plane[ADJUST_BEND_TERMS][3]) {
    for (int k = 0; k < ADJUST_BEND_TERMS; k++) {
        double A[9] = {0}, b[3] = {0};
        for (int c = 0; c < piece->corner_count; c++) {
            double place[3], term[ADJUST_BEND_TERMS];
            bend_terms(piece, c, place, term);
            for (int i = 0; i < 3; i++) {
                b[i] += place[i] * term[k];
                for (int j = 0; j < 3; j++) A[3 * i + j] += place[i] * place[j];
            }
        }
        if (!ps_linear_solve(A, b, 3)) return false;
        memcpy(plane[k], b, sizeof b);
    }
    return true;
}

static ps_status prepare_corners(ps_context *ctx, adjust_model *m) {
    const ps_adjust_problem *p = &m->problem;
    double plane[PS_ADJUST_PIECES_MAX][ADJUST_BEND_TERMS][3];
    for (int i = 0; i < p->piece_count; i++) {
        const ps_piece *piece = ps_kit_piece(p->piece[i].piece);
        if (!bend_planes(piece, plane[i])) return ps_context_fail(ctx, PS_INTERNAL, "piece %s has its corners in a line", piece->name);
    }
    for (int i = 0; i < p->corner_count; i++) {
        const ps_adjust_corner *c = &p->corner[i];
        const ps_adjust_photo *photo = &p->photo[c->photo];
        const ps_piece *piece = ps_kit_piece(p->piece[c->piece].piece);
        double place[3], term[ADJUST_BEND_TERMS], upright[2] = {c->x_px, c->y_px};
        ps_piece_corner(piece, c->index, m->corner_mm[i]);
        bend_terms(piece, c->index, place, term);
        for (int k = 0; k < ADJUST_BEND_TERMS; k++) m->corner_bend[i][k] = term[k] - ps_dot3(plane[c->piece][k], place);
        ps_photo_upright_to_stored(photo->orientation, photo->stored_width, photo->stored_height, upright, m->corner_stored[i]);
    }
    return PS_OK;
}

static void prepare_edges_and_pins(adjust_model *m) {
    const ps_adjust_problem *p = &m->problem;
    for (int i = 0; i < p->edge_count; i++) {
        const ps_adjust_photo *photo = &p->photo[p->edge[i].photo];
        double upright[2] = {p->edge[i].x_px, p->edge[i].y_px};
        ps_photo_upright_to_stored(photo->orientation, photo->stored_width, photo->stored_height, upright, m->edge_stored[i]);
    }
    adjust_state_forget(m);
    for (int i = 0; i < p->pin_count; i++) {
        double *d = m->pin_direction[i];
        memcpy(d, p->pin[i].axis_direction, 3 * sizeof *d);
        ps_unit3(d);
        m->pin_lying[i] = fabs(d[2]) < 0.5 && p->pin[i].piece < 0;
        double along = m->pin_lying[i] ? 0 : p->pin[i].axis_point_mm[2] / d[2]; /* slide to height 0; a lying pin has none */
        for (int k = 0; k < 3; k++) m->pin_start[i][k] = p->pin[i].axis_point_mm[k] - along * d[k];
        if (!m->pin_lying[i]) m->pin_start[i][2] = 0;
        ps_circle3_basis(d, m->pin_u[i], m->pin_v[i]);
        const double *way[2] = {m->pin_u[i], m->pin_v[i]};
        for (int t = 0; t < 2; t++)
            for (int k = 0; k < 3; k++) m->pin_offset[i][t][k] = m->pin_lying[i] ? way[t][k] : (k == t ? 1 : 0);
    }
}

/* Inverse of the joint prior's Cholesky factor, its focal column on the logarithm that is the unknown. */
static ps_status prepare_joint(ps_context *ctx, adjust_model *m) {
    enum { N = PS_LENS_COUNT };
    for (int g = 0; g < m->problem.group_count; g++) {
        const ps_adjust_group *group = &m->problem.group[g];
        double L[N * N], *root = m->joint_root[g];
        if (!group->joint) continue;
        memcpy(L, group->joint_covariance, sizeof L);
        if (!all_finite(L, N * N) || !ps_cholesky(L, N))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "camera group %d: the lens covariance is not positive definite", g);
        for (int k = 0; k < N; k++) {
            double column[N] = {0};
            column[k] = k == PS_LENS_F ? group->start.f_px : 1;
            ps_cholesky_forward(L, N, column);
            for (int i = 0; i < N; i++) root[N * i + k] = column[i];
        }
    }
    return PS_OK;
}

ps_status adjust_model_new(ps_context *ctx, const ps_adjust_problem *problem, adjust_model *m) {
    memset(m, 0, sizeof *m);
    ps_status status = check_counts(ctx, problem);
    if (status == PS_OK) status = check_cameras(ctx, problem);
    if (status == PS_OK) status = check_pins(ctx, problem);
    if (status == PS_OK) status = check_observations(ctx, problem);
    if (status != PS_OK) return status;
    if (!copy_problem(problem, m)) status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the observations");
    if (status == PS_OK) status = prepare_joint(ctx, m);
    if (status == PS_OK) status = prepare_corners(ctx, m);
    if (status == PS_OK) {
        prepare_edges_and_pins(m);
        status = adjust_layout_make(ctx, m);
    }
    if (status != PS_OK) adjust_model_clear(m);
    return status;
}
