/* calibrate.h: a plane's points in several photographs, one lens, by our lens model and solver. C and C++. */
#ifndef PINSPAN_TESTS_CALIBRATE_H
#define PINSPAN_TESTS_CALIBRATE_H

#include "pinspan/adjust.h"

#include <math.h>
#include <string.h>

enum { CALIBRATE_VIEWS = 16, CALIBRATE_POINTS = 256, CALIBRATE_LENS = 8 };

typedef struct calibration {
    int views, points, lens_terms; /* lens_terms: the first of f cx cy k1 k2 p1 p2 k3 that are free */
    double plane[CALIBRATE_POINTS][2], image[CALIBRATE_VIEWS][CALIBRATE_POINTS][2];
    ps_pose pose[CALIBRATE_VIEWS];
    ps_lens lens;  /* start, then solution */
    double rms_px; /* per point, as OpenCV counts it */
} calibration;

static inline void calibrate_lens(const double *x, ps_lens *lens) {
    double *term[CALIBRATE_LENS] = {&lens->f_px, &lens->cx, &lens->cy, &lens->k1, &lens->k2, &lens->p1, &lens->p2, &lens->k3};
    for (int k = 0; k < CALIBRATE_LENS; k++) *term[k] = x[k];
}

/* Six unknowns of pose for each view: a turn and a shift on its start pose. d(R X) = w x (R X) at w = 0 only: the
 * solution is folded into the start until no turn is left. */
static inline bool calibrate_rows(void *user, const double *x, bool want_derivatives, void *sink, ps_lsq_emit emit) {
    const calibration *c = (const calibration *)user;
    int terms = c->lens_terms;
    double lens_x[CALIBRATE_LENS] = {0};
    ps_lens lens;
    (void)want_derivatives;
    memcpy(lens_x, x, (size_t)terms * sizeof *x);
    calibrate_lens(lens_x, &lens);
    for (int v = 0; v < c->views; v++) {
        const double *p = x + terms + 6 * v;
        double turn[9];
        ps_rotation_from_vector(p, turn);
        for (int i = 0; i < c->points; i++) {
            double X[3] = {c->plane[i][0], c->plane[i][1], 0}, start[3], turned[3], x_cam[3], px[2], dX[6], dl[16];
            ps_pose_apply(&c->pose[v], X, start);
            for (int k = 0; k < 3; k++) start[k] -= c->pose[v].t[k];
            for (int k = 0; k < 3; k++) {
                turned[k] = turn[3 * k] * start[0] + turn[3 * k + 1] * start[1] + turn[3 * k + 2] * start[2];
                x_cam[k] = turned[k] + c->pose[v].t[k] + p[3 + k];
            }
            if (!ps_lens_project(&lens, x_cam, px, dX, dl)) return false;
            for (int a = 0; a < 2; a++) {
                const double *m = dX + 3 * a;
                int index[CALIBRATE_LENS + 6];
                double d[CALIBRATE_LENS + 6];
                for (int k = 0; k < terms; k++) index[k] = k, d[k] = dl[PS_LENS_COUNT * a + k];
                for (int k = 0; k < 3; k++) {
                    index[terms + k] = terms + 6 * v + k;
                    index[terms + 3 + k] = terms + 6 * v + 3 + k;
                    d[terms + k] = turned[(k + 1) % 3] * m[(k + 2) % 3] - turned[(k + 2) % 3] * m[(k + 1) % 3];
                    d[terms + 3 + k] = m[k];
                }
                ps_lsq_row row = {px[a] - c->image[v][i][a], terms + 6, index, d, false, 0};
                emit(sink, &row);
            }
        }
    }
    return true;
}

/* Start poses from the start lens, then solve and fold. */
static inline ps_status calibrate(ps_context *ctx, calibration *c) {
    double x[CALIBRATE_LENS + 6 * CALIBRATE_VIEWS] = {c->lens.f_px, c->lens.cx, c->lens.cy, c->lens.k1,
                                                      c->lens.k2,   c->lens.p1, c->lens.p2, c->lens.k3};
    int terms = c->lens_terms;
    for (int v = 0; v < c->views; v++) {
        double xy[CALIBRATE_POINTS][2], rms[2];
        ps_pose pose[2];
        for (int i = 0; i < c->points; i++) {
            if (!ps_lens_unproject(&c->lens, c->image[v][i], xy[i])) return PS_NO_CONVERGENCE;
        }
        if (ps_pose_from_plane((const double(*)[2])c->plane, (const double(*)[2])xy, c->points, pose, rms) < 1) return PS_SINGULAR;
        c->pose[v] = pose[0];
    }
    memset(x + terms, 0, sizeof x - (size_t)terms * sizeof *x);
    for (int round = 0; round < 4; round++) {
        ps_lsq_result result;
        memset(&result, 0, sizeof result);
        ps_status status = ps_lsq_solve(ctx, terms + 6 * c->views, x, calibrate_rows, c, NULL, &result);
        if (status != PS_OK) return status;
        c->rms_px = sqrt(result.chi2 / (c->views * c->points));
        ps_lsq_result_clear(&result);
        for (int v = 0; v < c->views; v++) {
            double *p = x + terms + 6 * v, t[3] = {c->pose[v].t[0] + p[3], c->pose[v].t[1] + p[4], c->pose[v].t[2] + p[5]};
            ps_pose turn, before = c->pose[v];
            memset(&turn, 0, sizeof turn);
            ps_rotation_from_vector(p, turn.R);
            ps_pose_compose(&turn, &before, &c->pose[v]);
            memcpy(c->pose[v].t, t, sizeof t);
            memset(p, 0, 6 * sizeof *p);
        }
    }
    double lens_x[CALIBRATE_LENS] = {0};
    memcpy(lens_x, x, (size_t)terms * sizeof *x);
    calibrate_lens(lens_x, &c->lens);
    return PS_OK;
}

#endif
