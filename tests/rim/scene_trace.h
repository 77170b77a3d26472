/* scene_trace.h: a rendered pin, the prediction of its rims, and traced points against the projected truth. */
#ifndef PINSPAN_TESTS_RIM_SCENE_TRACE_H
#define PINSPAN_TESTS_RIM_SCENE_TRACE_H

#include "check.h"

#include "scene_pin.h"

static const ps_edge all_edges[] = {PS_EDGE_PIN, PS_EDGE_PIN_FACE, PS_EDGE_BUSH, PS_EDGE_BUSH_FACE};

static inline ps_pin_models model_of(const pin_shape *shape, int rims, const ps_edge *edge) {
    ps_pin_models m = {.count = 1};
    m.pin[0].axis_point_mm[0] = shape->x;
    m.pin[0].axis_point_mm[1] = shape->y;
    m.pin[0].axis_direction[2] = -1;
    m.pin[0].rim_count = rims;
    for (int i = 0; i < rims; i++) {
        double h, r;
        pin_rim_truth(shape, edge[i], &h, &r);
        m.pin[0].rim[i] = (ps_pin_rim){edge[i], PS_EAR_NEAR, h, r, 0.5, 0.25, 0};
    }
    return m;
}

/* Mean and sd of the points' distances from the true curve, outward; px. */
static inline void compare(const ps_rim_trace *t, const pin_scene *scene, double *mean, double *sd) {
    double h, r, sum = 0, squares = 0;
    pin_rim_truth(&scene->shape[0], t->edge, &h, &r);
    for (int i = 0; i < t->point_count; i++) {
        const ps_edge_point *e = &t->point[i];
        double best = INFINITY, off = 0;
        for (int k = 0; k < 4000; k++) { /* nearest place of the true curve */
            double X[3] = {scene->shape[0].x + r * cos(k * pin_render_pi / 2000), scene->shape[0].y + r * sin(k * pin_render_pi / 2000),
                           -h},
                   px[2];
            assert_true(ps_view_project(&scene->view, X, px));
            double dx = e->x_px - px[0], dy = e->y_px - px[1], d = hypot(dx, dy);
            if (d < best) best = d, off = dx * e->nx + dy * e->ny;
        }
        sum += off, squares += off * off;
    }
    *mean = sum / t->point_count;
    *sd = sqrt(fmax(0, squares / t->point_count - *mean * *mean));
}

static inline pin_scene usual_scene(void) {
    pin_shape shape = pin_usual(0, 0);
    pin_scene s = pin_scene_close(&shape);
    const double at[2] = {0, 0};
    s.sub = 3;
    s.view = pin_view(s.width, s.height, 2600, at, 650, 20, 100, 8);
    return s;
}

#endif
