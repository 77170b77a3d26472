/* Rows of the adjustment: corners, edge points, priors, each with its derivatives. */
#include "adjust/model.h"
#include "base/linear.h"

#include <math.h>

enum { ROW_MAX = 50 }; /* pose 6, lens 8 + 3, piece 6, scale 6, bend 7, axis 4, rim 6, shifts 4 */

static const double angle_settled = 1e-8; /* rad: of a point's foot on its circle */
static const double angle_near = 0.1;     /* rad: farther from the circle's affine picture it may be another foot */
static const double SQUARE_TAIL = 4;      /* a pin off square by a wear or a bent plate is rare, not impossible */

typedef struct row_builder {
    int n, index[ROW_MAX];
    double derivative[ROW_MAX];
} row_builder;

static void put(row_builder *b, int index, double derivative) {
    if (index < 0) return;
    b->index[b->n] = index;
    b->derivative[b->n++] = derivative;
}

static void put3(row_builder *b, int index, const double g[3], double factor) {
    for (int k = 0; k < 3 && index >= 0; k++) put(b, index + k, factor * g[k]);
}

/* Motion of a frame: y = R X moved, m the row's derivative along it. */
static void put_pose(row_builder *b, int index, const adjust_frame *f, const double y[3], const double m[3], double factor) {
    if (index < 0) return;
    double moment[3], g[3];
    ps_cross3(y, m, moment);
    ps_mat3_tmul_vec(f->Jl, moment, g);
    put3(b, index, g, factor);
    put3(b, index + 3, m, factor);
}

/* A projected point with the derivatives of its pixel. */
typedef struct image_point {
    double turned[3]; /* R X, before the translation */
    double pixel[2], d_point[6], d_lens[16];
} image_point;

static bool project(const adjust_model *m, int photo, const double X[3], image_point *p) {
    double x_cam[3];
    const adjust_frame *f = &m->photo[photo];
    ps_mat3_mul_vec(f->R, X, p->turned);
    for (int k = 0; k < 3; k++) x_cam[k] = p->turned[k] + f->t[k];
    return ps_lens_project(&m->lens[photo], x_cam, p->pixel, p->d_point, p->d_lens);
}

/* Camera's part of d (n . pixel), times factor; gives the derivative along the world point, unscaled. */
static void put_camera(row_builder *b, const adjust_model *m, int photo, const image_point *p, const double n[2], double factor,
                       double m_world[3]) {
    const adjust_layout *l = &m->layout;
    const adjust_frame *f = &m->photo[photo];
    int group = m->problem.photo[photo].group;
    double m_cam[3], lens[PS_LENS_COUNT];
    for (int k = 0; k < 3; k++) m_cam[k] = n[0] * p->d_point[k] + n[1] * p->d_point[3 + k];
    for (int k = 0; k < PS_LENS_COUNT; k++) lens[k] = factor * (n[0] * p->d_lens[k] + n[1] * p->d_lens[PS_LENS_COUNT + k]);
    double focal = lens[PS_LENS_F] * m->lens[photo].f_px; /* the unknown is its logarithm */
    put(b, l->group_focal[group], focal);
    put(b, l->photo_focal[photo], focal);
    for (int k = 0; k < 2; k++) {
        if (l->group_centre[group] >= 0) put(b, l->group_centre[group] + k, lens[PS_LENS_CX + k]);
        if (l->photo_centre[photo] >= 0) put(b, l->photo_centre[photo] + k, lens[PS_LENS_CX + k]);
    }
    for (int k = 0; k < ADJUST_LENS_TERMS; k++) put(b, l->group_term[group][k], lens[PS_LENS_K1 + k]);
    put_pose(b, l->photo_pose[photo], f, p->turned, m_cam, factor);
    ps_mat3_tmul_vec(f->R, m_cam, m_world);
}

/* Printed corner in its piece's frame and, through the piece's pose, in the world. */
static void corner_in_world(const adjust_model *m, int corner, double turned[3], double X[3]) {
    int piece = m->problem.corner[corner].piece;
    const double *mm = m->corner_mm[corner];
    double local[3] = {mm[0] * m->across[piece] * m->paper[piece], mm[1] * m->along[piece] * m->paper[piece], 0};
    for (int k = 0; k < ADJUST_BEND_TERMS; k++) local[2] += m->bend[piece][k] * m->corner_bend[corner][k];
    ps_mat3_mul_vec(m->piece[piece].R, local, turned);
    for (int k = 0; k < 3; k++) X[k] = turned[k] + m->piece[piece].t[k];
}

static void put_piece(row_builder *b, const adjust_model *m, int corner, const double turned[3], const double m_world[3], double factor) {
    const adjust_layout *l = &m->layout;
    int piece = m->problem.corner[corner].piece;
    const double *mm = m->corner_mm[corner];
    double local[3];
    ps_mat3_tmul_vec(m->piece[piece].R, m_world, local);
    put_pose(b, l->piece_pose[piece], &m->piece[piece], turned, m_world, factor);
    double across = factor * local[0] * mm[0], along = factor * local[1] * mm[1];
    double across_unit = across * adjust_across_start(&m->problem, piece) * m->paper[piece];
    double along_unit = along * adjust_along_start(&m->problem, piece) * m->paper[piece];
    put(b, l->scale_across, across_unit);
    put(b, l->scale_along, along_unit);
    put(b, l->scale_common, across_unit + along_unit);
    put(b, l->own_across[piece], across_unit);
    put(b, l->own_along[piece], along_unit);
    put(b, l->paper[piece], across * m->across[piece] + along * m->along[piece]);
    for (int k = 0; k < ADJUST_BEND_TERMS && l->bend[piece] >= 0; k++)
        put(b, l->bend[piece] + k, factor * local[2] * m->corner_bend[corner][k]);
}

static bool corner_rows(adjust_model *m, int i, bool derivatives, void *sink, ps_lsq_emit emit) {
    static const double unit[2][2] = {{1, 0}, {0, 1}};
    const ps_adjust_corner *c = &m->problem.corner[i];
    double turned[3], X[3], m_world[3];
    image_point p;
    corner_in_world(m, i, turned, X);
    if (!project(m, c->photo, X, &p)) return false;
    for (int k = 0; k < 2; k++) {
        row_builder b = {.n = 0};
        double factor = -1 / c->sigma_px;
        if (derivatives) {
            put_camera(&b, m, c->photo, &p, unit[k], factor, m_world);
            put_piece(&b, m, i, turned, m_world, factor);
        }
        ps_lsq_row row = {(m->corner_stored[i][k] - p.pixel[k]) / c->sigma_px, b.n, b.index, b.derivative, true, 0};
        emit(sink, &row);
    }
    return true;
}

/* A rim as one photo sees it; kept between the edge points of one rim and photo. */
typedef struct rim_view {
    int photo, rim;
    double centre[3], u[3], v[3]; /* camera frame */
    double radius, oval[2];
    double pixel[2], a[2], b[2]; /* projected centre; derivative of the pixel along radius u and v there */
} rim_view;

static bool see_rim(const adjust_model *m, int photo, int rim, rim_view *view) {
    const adjust_circle *c = &m->circle[rim];
    const adjust_frame *f = &m->photo[photo];
    double J[6];
    ps_mat3_mul_vec(f->R, c->centre, view->centre);
    ps_mat3_mul_vec(f->R, c->u, view->u);
    ps_mat3_mul_vec(f->R, c->v, view->v);
    for (int k = 0; k < 3; k++) view->centre[k] += f->t[k];
    if (!ps_lens_project(&m->lens[photo], view->centre, view->pixel, J, NULL)) return false;
    for (int k = 0; k < 2; k++) {
        view->a[k] = c->radius * ps_dot3(J + 3 * k, view->u);
        view->b[k] = c->radius * ps_dot3(J + 3 * k, view->v);
    }
    view->radius = c->radius;
    for (int k = 0; k < 2; k++) view->oval[k] = c->oval[k];
    view->photo = photo;
    view->rim = rim;
    return true;
}

/* A place on a circle, and the pixel there with its derivative along theta. */
typedef struct circle_place {
    double theta, cosine, sine, pixel[2], tangent[2];
} circle_place;

static bool circle_pixel(const ps_lens *lens, const rim_view *view, double theta, circle_place *at) {
    double c = cos(theta), s = sin(theta), c2 = c * c - s * s, s2 = 2 * c * s, x[3], dx[3], J[6];
    double radius = view->radius + view->oval[0] * c2 + view->oval[1] * s2, slope = 2 * (view->oval[1] * c2 - view->oval[0] * s2);
    for (int k = 0; k < 3; k++) {
        x[k] = view->centre[k] + radius * (c * view->u[k] + s * view->v[k]);
        dx[k] = radius * (c * view->v[k] - s * view->u[k]) + slope * (c * view->u[k] + s * view->v[k]);
    }
    at->theta = theta, at->cosine = c, at->sine = s;
    if (!ps_lens_project(lens, x, at->pixel, J, NULL)) return false;
    for (int k = 0; k < 2; k++) at->tangent[k] = ps_dot3(J + 3 * k, dx);
    return true;
}

/* Angle to start from: the affine picture of the circle, or what is known if that is near; where the circle is seen edge-on, the best of
 * 32 places. */
static bool start_angle(const ps_lens *lens, const rim_view *view, const double seen[2], double known, double *theta) {
    double det = view->a[0] * view->b[1] - view->a[1] * view->b[0], dx = seen[0] - view->pixel[0], dy = seen[1] - view->pixel[1];
    double size = view->a[0] * view->a[0] + view->a[1] * view->a[1] + view->b[0] * view->b[0] + view->b[1] * view->b[1];
    if (fabs(det) > 0.02 * size) {
        *theta = atan2(view->a[0] * dy - view->a[1] * dx, dx * view->b[1] - dy * view->b[0]);
        if (det < 0) *theta = atan2(-(view->a[0] * dy - view->a[1] * dx), -(dx * view->b[1] - dy * view->b[0]));
        if (fabs(remainder(known - *theta, 2 * PS_PI)) < angle_near) *theta = known;
        return true;
    }
    double best = INFINITY;
    *theta = 0;
    for (int i = 0; i < 32; i++) {
        circle_place at;
        if (!circle_pixel(lens, view, 2 * PS_PI * i / 32, &at)) return false;
        double distance = hypot(seen[0] - at.pixel[0], seen[1] - at.pixel[1]);
        if (distance < best) best = distance, *theta = at.theta;
    }
    return true;
}

/* Foot of the normal from the observed pixel onto the projected circle: n points away from the projected centre. *known: where the
 * foot was for the last state, NAN at first; then where it is now. */
static bool nearest_point(const ps_lens *lens, const rim_view *view, const double seen[2], double *known, circle_place *at, double n[2]) {
    double theta;
    if (!start_angle(lens, view, seen, *known, &theta)) return false;
    for (int i = 0; i < 20; i++) {
        if (!circle_pixel(lens, view, theta, at)) return false;
        double ex = seen[0] - at->pixel[0], ey = seen[1] - at->pixel[1];
        double length2 = at->tangent[0] * at->tangent[0] + at->tangent[1] * at->tangent[1];
        if (!(length2 > 0)) return false;
        /* Second derivative along theta of an ellipse: minus the vector from its centre. */
        double bend = length2 + ex * (at->pixel[0] - view->pixel[0]) + ey * (at->pixel[1] - view->pixel[1]);
        double step = (ex * at->tangent[0] + ey * at->tangent[1]) / fmax(bend, 0.2 * length2);
        if (fabs(step) < angle_settled) break; /* the distance is off by the square of this, its derivative by this */
        theta += fmax(-0.4, fmin(0.4, step));
    }
    *known = at->theta;
    double length = hypot(at->tangent[0], at->tangent[1]);
    n[0] = at->tangent[1] / length;
    n[1] = -at->tangent[0] / length;
    if (n[0] * (at->pixel[0] - view->pixel[0]) + n[1] * (at->pixel[1] - view->pixel[1]) < 0) n[0] = -n[0], n[1] = -n[1];
    return true;
}

/* q: unit vector from the centre to the point at theta, radius its distance, double_angle cosine and sine of 2 theta. Where the rim is
 * out of round, a twist about the axis brings another radius to theta: a move along the edge by r t is one inward by (dr/dtheta) q. */
static void put_rim(row_builder *b, const adjust_model *m, int photo, int rim, const double q[3], const double double_angle[2],
                    double radius, const double m_world[3], const double n[2], double factor) {
    const adjust_layout *l = &m->layout;
    const adjust_circle *c = &m->circle[rim];
    int pin = m->problem.rim[rim].pin, axis = l->axis[pin];
    double outward = factor * ps_dot3(m_world, q), slope = 2 * (c->oval[1] * double_angle[0] - c->oval[0] * double_angle[1]);
    for (int k = 0; k < 2; k++) {
        const double *turn = m->axis[pin].tilt[k];
        double d[3], sink = radius * ps_dot3(q, turn); /* the circle turns with its axis; twist runs along the edge */
        for (int j = 0; j < 3; j++) d[j] = c->tilt[k][j] - sink * c->normal[j];
        put(b, axis + k, factor * ps_dot3(m_world, m->pin_offset[pin][k]));
        put(b, axis + 2 + k, factor * ps_dot3(m_world, d) - outward * slope * c->twist[k]);
        if (l->lateral[rim] >= 0) put(b, l->lateral[rim] + k, factor * ps_dot3(m_world, c->lateral[k]));
    }
    put(b, l->height[rim], factor * ps_dot3(m_world, c->normal));
    put(b, l->radius[rim], outward);
    for (int k = 0; k < 2 && l->round[rim] >= 0; k++) put(b, l->round[rim] + k, outward * double_angle[k]);
    put(b, l->shift_common[rim], factor); /* a shift moves the edge outward, as the circle's growth does */
    put(b, l->shift_photo[rim][photo], factor);
    for (int k = 0; k < 2 && l->shift_side[rim][photo] >= 0; k++) put(b, l->shift_side[rim][photo] + k, factor * n[k]);
}

static bool edge_row(adjust_model *m, int i, rim_view *view, const double *x, bool derivatives, void *sink, ps_lsq_emit emit) {
    const ps_adjust_edge *e = &m->problem.edge[i];
    const adjust_circle *c = &m->circle[e->rim];
    int common = m->layout.shift_common[e->rim], own = m->layout.shift_photo[e->rim][e->photo];
    int side = m->layout.shift_side[e->rim][e->photo];
    double seen[2] = {m->edge_stored[i][0], m->edge_stored[i][1]};
    for (int k = 0; k < 2 && side >= 0; k++) seen[k] -= x[side + k]; /* where the point would lie without the shift to a side */
    if ((view->photo != e->photo || view->rim != e->rim) && !see_rim(m, e->photo, e->rim, view)) return false;
    circle_place at;
    double n[2], q[3], X[3], m_world[3];
    if (!nearest_point(&m->lens[e->photo], view, seen, &m->edge_theta[i], &at, n)) return false;
    const double double_angle[2] = {at.cosine * at.cosine - at.sine * at.sine, 2 * at.cosine * at.sine};
    double shift = (common >= 0 ? x[common] : 0) + (own >= 0 ? x[own] : 0);
    double distance = n[0] * (seen[0] - at.pixel[0]) + n[1] * (seen[1] - at.pixel[1]) - shift;
    row_builder b = {.n = 0};
    double factor = -1 / e->sigma_px;
    if (derivatives) {
        image_point p;
        double radius = c->radius + c->oval[0] * double_angle[0] + c->oval[1] * double_angle[1];
        for (int k = 0; k < 3; k++) {
            q[k] = at.cosine * c->u[k] + at.sine * c->v[k];
            X[k] = c->centre[k] + radius * q[k];
        }
        if (!project(m, e->photo, X, &p)) return false;
        put_camera(&b, m, e->photo, &p, n, factor, m_world);
        put_rim(&b, m, e->photo, e->rim, q, double_angle, radius, m_world, n, factor);
    }
    ps_lsq_row row = {distance / e->sigma_px, b.n, b.index, b.derivative, true, 0};
    emit(sink, &row);
    return true;
}

static void prior_rows(adjust_model *m, const double *x, void *sink, ps_lsq_emit emit) {
    for (int i = 0; i < m->prior_count; i++) {
        const adjust_prior *p = &m->prior[i];
        double start = p->grows ? m->problem.rim[p->rim].radius_mm : 1, grown = p->grows ? m->circle[p->rim].radius / start : 1;
        double sigma = p->sigma * grown, residual = (x[p->index] - p->mean) / sigma;
        const int index[2] = {p->index, p->grows ? m->layout.radius[p->rim] : -1};
        const double derivative[2] = {1 / sigma, -residual / (grown * start)};
        ps_lsq_row row = {residual, p->grows ? 2 : 1, index, derivative, false, p->tail};
        m->source = p->source;
        emit(sink, &row);
    }
}

/* The prior of a calibrated lens, made independent rows by its Cholesky factor: inverse(L) x with C = L L'. */
static void joint_rows(adjust_model *m, const double *x, void *sink, ps_lsq_emit emit) {
    m->source = PS_SOURCE_CAMERA;
    for (int g = 0; g < m->problem.group_count; g++) {
        if (!m->problem.group[g].joint) continue;
        int index[PS_LENS_COUNT];
        adjust_layout_lens(m, g, index);
        for (int i = 0; i < PS_LENS_COUNT; i++) {
            const double *root = m->joint_root[g] + PS_LENS_COUNT * i;
            double residual = 0;
            for (int k = 0; k <= i; k++) residual += root[k] * x[index[k]];
            ps_lsq_row row = {residual, i + 1, index, root, false, m->problem.group[g].focal_tail};
            emit(sink, &row);
        }
    }
}

/* Pin about square to the piece it stands by: its direction's parts along the piece's x and y. */
static void square_rows(adjust_model *m, void *sink, ps_lsq_emit emit) {
    m->source = PS_SOURCE_PLANE;
    for (int i = 0; i < m->problem.pin_count; i++) {
        const ps_adjust_pin *pin = &m->problem.pin[i];
        if (pin->piece < 0 || !(pin->sigma_square > 0)) continue;
        const adjust_frame *f = &m->piece[pin->piece];
        const double *d = m->axis[i].direction;
        for (int k = 0; k < 2; k++) {
            double side[3] = {f->R[k], f->R[3 + k], f->R[6 + k]}, moment[3], g[3];
            row_builder b = {.n = 0};
            for (int t = 0; t < 2; t++) put(&b, m->layout.axis[i] + 2 + t, ps_dot3(m->axis[i].tilt[t], side) / pin->sigma_square);
            ps_cross3(side, d, moment);
            ps_mat3_tmul_vec(f->Jl, moment, g);
            put3(&b, m->layout.piece_pose[pin->piece], g, 1 / pin->sigma_square);
            ps_lsq_row row = {ps_dot3(d, side) / pin->sigma_square, b.n, b.index, b.derivative, false, SQUARE_TAIL};
            emit(sink, &row);
        }
    }
}

/* Pins of one side are about parallel: each against the first. */
static void parallel_rows(adjust_model *m, void *sink, ps_lsq_emit emit) {
    double sigma = m->problem.sigma_parallel;
    m->source = PS_SOURCE_AXES;
    for (int i = 1; i < m->problem.pin_count && sigma > 0; i++) {
        const double *side[2] = {m->pin_u[0], m->pin_v[0]};
        for (int k = 0; k < 2; k++) {
            row_builder b = {.n = 0};
            for (int t = 0; t < 2; t++) {
                put(&b, m->layout.axis[i] + 2 + t, ps_dot3(m->axis[i].tilt[t], side[k]) / sigma);
                put(&b, m->layout.axis[0] + 2 + t, -ps_dot3(m->axis[0].tilt[t], side[k]) / sigma);
            }
            double apart = ps_dot3(m->axis[i].direction, side[k]) - ps_dot3(m->axis[0].direction, side[k]);
            ps_lsq_row row = {apart / sigma, b.n, b.index, b.derivative, false, 0};
            emit(sink, &row);
        }
    }
}

bool adjust_rows(void *user, const double *x, bool want_derivatives, void *sink, ps_lsq_emit emit) {
    adjust_model *m = user;
    if (!adjust_state_set(m, x)) return false;
    m->source = PS_SOURCE_CORNERS;
    for (int i = 0; i < m->problem.corner_count; i++) {
        if (!corner_rows(m, i, want_derivatives, sink, emit)) return false;
    }
    m->source = PS_SOURCE_EDGES;
    rim_view view = {.photo = -1, .rim = -1};
    for (int i = 0; i < m->problem.edge_count; i++) {
        if (!edge_row(m, i, &view, x, want_derivatives, sink, emit)) return false;
    }
    prior_rows(m, x, sink, emit);
    joint_rows(m, x, sink, emit);
    square_rows(m, sink, emit);
    parallel_rows(m, sink, emit);
    return true;
}
