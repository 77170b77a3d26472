/* gap_scene.h: a made-up pair of ears in plain geometry: a patch on the cross plate, two pins that run along it some 70 mm above, bush
 * faces at both ears, three cameras that look down between. Observations without noise. All sizes are invented. */
#ifndef PINSPAN_TESTS_GAP_SCENE_H
#define PINSPAN_TESTS_GAP_SCENE_H

#include "pinspan/adjust.h"
#include "pinspan/photo.h"
#include "pinspan/target.h"

#include <math.h>
#include <string.h>

enum { GAP_PHOTOS = 3, GAP_PINS = 2, GAP_RIMS = 8, GAP_POINTS = 24, GAP_CORNERS = GAP_PHOTOS * PS_PIECE_CORNERS_MAX };

typedef struct gap_scene {
    double height[GAP_RIMS], radius[GAP_RIMS]; /* truth; heights from the axis point */
    ps_view view[GAP_PHOTOS];
    ps_adjust_problem problem;
    ps_adjust_photo photo[GAP_PHOTOS];
    ps_adjust_group group[1];
    ps_adjust_piece piece[1];
    ps_adjust_corner corner[GAP_CORNERS];
    ps_adjust_pin pin[GAP_PINS];
    ps_adjust_rim rim[GAP_RIMS];
    ps_adjust_edge edge[GAP_PHOTOS * GAP_RIMS * GAP_POINTS];
} gap_scene;

static inline void gap_cross(const double a[3], const double b[3], double c[3]) {
    c[0] = a[1] * b[2] - a[2] * b[1], c[1] = a[2] * b[0] - a[0] * b[2], c[2] = a[0] * b[1] - a[1] * b[0];
}

/* From `at` toward `to`, x of the photo along +x of the world. */
static inline void gap_look(const double at[3], const double to[3], ps_pose *pose) {
    double z[3], y[3], x[3], right[3] = {1, 0, 0}, size = 0;
    for (int k = 0; k < 3; k++) z[k] = to[k] - at[k], size += z[k] * z[k];
    for (int k = 0; k < 3; k++) z[k] /= sqrt(size);
    gap_cross(z, right, y);
    size = sqrt(y[0] * y[0] + y[1] * y[1] + y[2] * y[2]);
    for (int k = 0; k < 3; k++) y[k] /= size;
    gap_cross(y, z, x);
    const double *row[3] = {x, y, z};
    for (int i = 0; i < 3; i++) {
        pose->t[i] = 0;
        for (int k = 0; k < 3; k++) pose->R[3 * i + k] = row[i][k], pose->t[i] -= row[i][k] * at[k];
    }
}

static inline void gap_cameras(gap_scene *s) {
    static const double at[GAP_PHOTOS][3] = {{40, 100, -330}, {120, 0, -350}, {-60, 90, -360}};
    for (int i = 0; i < GAP_PHOTOS; i++) {
        const double to[3] = {50, 45, -30};
        s->view[i] = (ps_view){.lens = {1600, 799.5, 599.5, 0.05, -0.08, 0.0002, -0.0001, 0.02},
                               .orientation = 1,
                               .stored_width = 1600,
                               .stored_height = 1200};
        gap_look(at[i], to, &s->view[i].pose);
        s->photo[i] = (ps_adjust_photo){1600, 1200, 1, 0, s->view[i].pose};
    }
    s->group[0] = (ps_adjust_group){.start = s->view[0].lens,
                                    .sigma_focal_rel = 0.05,
                                    .sigma_centre_px = 16,
                                    .sigma_k1 = 0.1,
                                    .sigma_k2 = 0.1,
                                    .sigma_k3 = 0.1,
                                    .sigma_p = 0.001,
                                    .sigma_photo_focal_rel = 0.005,
                                    .sigma_photo_centre_px = 4};
}

static inline bool gap_corners(gap_scene *s) {
    int kit = ps_kit_find("patch-1");
    if (kit < 0) return false;
    const ps_piece *piece = ps_kit_piece(kit);
    s->piece[0] = (ps_adjust_piece){.piece = kit, .start = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}}, .sigma_bend = 5e-5};
    for (int i = 0; i < GAP_PHOTOS; i++)
        for (int c = 0; c < piece->corner_count; c++) {
            double X[3] = {0}, p[2];
            ps_piece_corner(piece, c, X);
            if (!ps_view_project(&s->view[i], X, p)) return false;
            s->corner[s->problem.corner_count++] = (ps_adjust_corner){i, 0, c, p[0], p[1], 0.05};
        }
    return true;
}

/* Pin p's rims 4p..4p+3: far face, far bore, near face, near bore; heights from far to near. */
static inline bool gap_rims(gap_scene *s) {
    for (int p = 0; p < GAP_PINS; p++) {
        double d[3] = {0.06, 0.998, 0.012}, size = sqrt(0.06 * 0.06 + 0.998 * 0.998 + 0.012 * 0.012);
        s->pin[p] = (ps_adjust_pin){{p ? 170 : -80, 48, p ? -72 : -66}, {0}, -1, 0};
        for (int k = 0; k < 3; k++) s->pin[p].axis_direction[k] = d[k] / size;
        for (int r = 0; r < 4; r++) {
            int i = 4 * p + r;
            s->height[i] = (r < 2 ? -81.3 : 79.6) + 1.5 * p;
            s->radius[i] = (r % 2 ? 27 : 38) + 2.0 * p;
            s->rim[i] = (ps_adjust_rim){p,
                                        r % 2 ? PS_EDGE_BUSH_BORE : PS_EDGE_BUSH_FACE,
                                        r < 2 ? PS_EAR_FAR : PS_EAR_NEAR,
                                        s->height[i],
                                        s->radius[i],
                                        false,
                                        0.5,
                                        false,
                                        0,
                                        0};
            ps_circle3 c = {.radius_mm = s->radius[i]};
            for (int k = 0; k < 3; k++)
                c.centre[k] = s->pin[p].axis_point_mm[k] + s->height[i] * s->pin[p].axis_direction[k],
                c.normal[k] = s->pin[p].axis_direction[k];
            for (int v = 0; v < GAP_PHOTOS; v++)
                for (int k = 0; k < GAP_POINTS; k++) {
                    double X[3], at[2];
                    ps_circle3_point(&c, 6.283185307179586 * k / GAP_POINTS, X);
                    if (!ps_view_project(&s->view[v], X, at)) return false;
                    s->edge[s->problem.edge_count++] = (ps_adjust_edge){v, i, at[0], at[1], 0.3};
                }
        }
    }
    return true;
}

static inline bool gap_scene_make(gap_scene *s) {
    memset(s, 0, sizeof *s);
    ps_adjust_problem *q = &s->problem;
    gap_cameras(s);
    if (!gap_corners(s) || !gap_rims(s)) return false;
    q->photo_count = GAP_PHOTOS, q->group_count = 1, q->piece_count = 1, q->pin_count = GAP_PINS, q->rim_count = GAP_RIMS;
    q->photo = s->photo, q->group = s->group, q->piece = s->piece, q->corner = s->corner, q->pin = s->pin, q->rim = s->rim,
    q->edge = s->edge;
    q->scale = (ps_adjust_scale){1, 1, 0.0005, 0.0005, 0, 0.0003};
    q->sigma_parallel = 0.0035;
    q->sigma_shift_common_px = q->sigma_shift_photo_px = 0.15;
    q->sigma_round_pin_mm = 0.03, q->sigma_round_other_mm = 0.05;
    q->bend = q->distortion = true;
    return true;
}

#endif
