/* scene.h: made-up scenes in plain geometry: pieces, pins and cameras drawn from the same priors that the adjustment
 * assumes, observations with known noise. Written without the adjustment's own code: only the camera room's projection
 * (checked against OpenCV elsewhere) and the kit's corners are shared. All sizes are invented. */
#ifndef PINSPAN_TESTS_SCENE_H
#define PINSPAN_TESTS_SCENE_H

#include "pinspan/adjust.h"
#include "pinspan/photo.h"
#include "pinspan/target.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#ifndef SCENE_POINTS
#define SCENE_POINTS 40 /* edge points of a rim in a photo */
#endif
enum { SCENE_PHOTOS = 4, SCENE_PIECES = 2, SCENE_PINS = 2, SCENE_RIMS = 6 };
enum { SCENE_CORNERS = SCENE_PHOTOS * SCENE_PIECES * PS_PIECE_CORNERS_MAX, SCENE_EDGES = SCENE_PHOTOS * SCENE_RIMS * SCENE_POINTS };

typedef struct scene {
    /* Truth. */
    ps_view view[SCENE_PHOTOS];
    ps_pose piece_pose[SCENE_PIECES];
    double across, along, own[SCENE_PIECES][2], paper[SCENE_PIECES], bend[SCENE_PIECES][3];
    double axis_point[SCENE_PINS][3], axis_direction[SCENE_PINS][3];
    ps_circle3 circle[SCENE_RIMS];
    double oval[SCENE_RIMS][2]; /* radius + a cos 2t + b sin 2t, mm */
    double cubic[SCENE_PIECES]; /* an S along y: c y^3, 1/mm^2 */
    double height[SCENE_RIMS], shift_common[SCENE_RIMS], shift_photo[SCENE_RIMS][SCENE_PHOTOS];
    /* The problem that the adjustment gets. */
    ps_adjust_problem problem;
    ps_adjust_photo photo[SCENE_PHOTOS];
    ps_adjust_group group[1];
    ps_adjust_piece piece[SCENE_PIECES];
    ps_adjust_corner corner[SCENE_CORNERS];
    ps_adjust_pin pin[SCENE_PINS];
    ps_adjust_rim rim[SCENE_RIMS];
    ps_adjust_edge edge[SCENE_EDGES];
    uint64_t state;
} scene;

typedef struct scene_options {
    uint64_t seed;
    int pieces, photos;
    double centres_mm;
    double noise;       /* factor on every drawn error, 0 for a perfect scene */
    double print_sd;    /* of the check, relative */
    int orientation;    /* EXIF, all photos */
    double start_error; /* factor on the errors of the start values, 1 for about 1 degree, 5 mm */
    double oval_mm;     /* sd of the rims' out-of-roundness */
    bool may_be_oval;   /* rims may be out of round as ps_measure lets them */
    int worn_rim;       /* with wear_mm: that rim's radius + wear_mm cos 2t */
    double wear_mm;
    double cubic_sd;  /* of the sheets' S, 1/mm^2 */
    double own_sd;    /* of what each piece's print has of its own, across and along, beside the job's; not with noise */
    double unlike[2]; /* more of that for the second piece */
} scene_options;

static inline scene_options scene_options_default(uint64_t seed) {
    return (scene_options){
        .seed = seed, .pieces = 1, .photos = 4, .centres_mm = 320, .noise = 1, .print_sd = 0.0005, .orientation = 1, .start_error = 1};
}

/* splitmix64, public domain (Vigna 2015). */
static inline double scene_uniform(scene *s) {
    uint64_t z = (s->state += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    z ^= z >> 31;
    return ((double)(z >> 11) + 0.5) / 9007199254740992.0;
}

static inline double scene_normal(scene *s) {
    double u = scene_uniform(s), v = scene_uniform(s);
    return sqrt(-2 * log(u)) * cos(6.283185307179586 * v);
}

static inline void scene_unit(double v[3]) {
    double l = sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2]);
    for (int k = 0; k < 3; k++) v[k] /= l;
}

static inline void scene_cross(const double a[3], const double b[3], double out[3]) {
    for (int k = 0; k < 3; k++) out[k] = a[(k + 1) % 3] * b[(k + 2) % 3] - a[(k + 2) % 3] * b[(k + 1) % 3];
}

/* Camera at `from` looking at `at`, its x axis turned by `roll` out of the world's x. */
static inline void scene_look(const double from[3], const double at[3], double roll, ps_pose *pose) {
    double z[3] = {at[0] - from[0], at[1] - from[1], at[2] - from[2]}, right[3] = {cos(roll), sin(roll), 0}, y[3], x[3];
    scene_unit(z);
    scene_cross(z, right, y);
    scene_unit(y);
    scene_cross(y, z, x);
    for (int k = 0; k < 3; k++) pose->R[k] = x[k], pose->R[3 + k] = y[k], pose->R[6 + k] = z[k];
    for (int r = 0; r < 3; r++) pose->t[r] = -(pose->R[3 * r] * from[0] + pose->R[3 * r + 1] * from[1] + pose->R[3 * r + 2] * from[2]);
}

static inline void scene_cameras(scene *s, const scene_options *o) {
    /* Three views 22 degrees off to different sides and one about square; the phone held at any roll. */
    static const double tilt[SCENE_PHOTOS][2] = {{0.40, 0.05}, {-0.22, 0.34}, {-0.18, -0.36}, {0.03, -0.05}};
    s->group[0] = (ps_adjust_group){.start = {3000, 2015.5, 1511.5, 0, 0, 0, 0, 0},
                                    .sigma_focal_rel = 0.05,
                                    .focal_tail = 3,
                                    .sigma_centre_px = 40,
                                    .sigma_k1 = 0.1,
                                    .sigma_k2 = 0.1,
                                    .sigma_p = 0.001,
                                    .sigma_k3 = 0,
                                    .sigma_photo_focal_rel = 0.005,
                                    .sigma_photo_centre_px = 10};
    ps_lens lens = s->group[0].start;
    double e = o->noise;
    lens.f_px *= exp(0.05 * e * scene_normal(s));
    lens.cx += 40 * e * scene_normal(s), lens.cy += 40 * e * scene_normal(s);
    lens.k1 = 0.05 * e * scene_normal(s), lens.k2 = 0.05 * e * scene_normal(s);
    lens.p1 = 0.001 * e * scene_normal(s), lens.p2 = 0.001 * e * scene_normal(s);
    double width = o->centres_mm + 180, middle[3] = {90, 120, -20};
    for (int i = 0; i < o->photos; i++) {
        double distance = 3000 * width / 3400, from[3];
        from[0] = middle[0] + distance * sin(tilt[i][0]);
        from[1] = middle[1] + distance * sin(tilt[i][1]);
        from[2] = -distance * cos(hypot(tilt[i][0], tilt[i][1]));
        ps_view *v = &s->view[i];
        v->lens = lens;
        v->lens.f_px *= exp(0.005 * e * scene_normal(s));
        v->lens.cx += 10 * e * scene_normal(s), v->lens.cy += 10 * e * scene_normal(s);
        scene_look(from, middle, 0.1 * scene_normal(s), &v->pose);
        v->orientation = o->orientation, v->stored_width = 4032, v->stored_height = 3024;
        s->photo[i] = (ps_adjust_photo){.stored_width = 4032, .stored_height = 3024, .orientation = o->orientation, .start = v->pose};
    }
}

static inline void scene_print(scene *s, const scene_options *o) {
    double e = o->noise;
    s->across = 1 + o->print_sd * e * scene_normal(s), s->along = 1 + o->print_sd * e * scene_normal(s);
    for (int i = 0; i < o->pieces; i++) {
        s->paper[i] = 1 + 0.0003 * e * scene_normal(s);
        for (int k = 0; k < 3; k++) s->bend[i][k] = 5e-5 * e * scene_normal(s);
        for (int k = 0; k < 2; k++) s->own[i][k] = 1 + (o->own_sd > 0 ? o->own_sd * scene_normal(s) : 0) + (i ? o->unlike[k] : 0);
        static const ps_pose identity = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}};
        s->piece_pose[i] = identity;
        if (i > 0) { /* lower down, a few mm nearer, a little turned */
            double w[3] = {0.03, -0.02, 0.06};
            ps_rotation_from_vector(w, s->piece_pose[i].R);
            s->piece_pose[i].t[0] = 50, s->piece_pose[i].t[1] = 245, s->piece_pose[i].t[2] = -6;
        }
        s->piece[i] = (ps_adjust_piece){.piece = ps_kit_find(i ? "patch-1" : "plate-1"), .start = s->piece_pose[i], .sigma_bend = 5e-5};
    }
}

static inline void scene_pins(scene *s, const scene_options *o) {
    static const double radius[3] = {29.0, 32.5, 44.0}, height[3] = {42, 38, 25};
    static const ps_edge edge[3] = {PS_EDGE_PIN_FACE, PS_EDGE_PIN, PS_EDGE_BUSH};
    double e = o->noise, degree = 0.017453292519943295, common[2] = {2 * degree * e * scene_normal(s), 2 * degree * e * scene_normal(s)};
    for (int i = 0; i < SCENE_PINS; i++) {
        double d[3] = {common[0] + 0.14 * degree * e * scene_normal(s), common[1] + 0.14 * degree * e * scene_normal(s), -1};
        scene_unit(d);
        memcpy(s->axis_direction[i], d, sizeof d);
        s->axis_point[i][0] = 90 + (i ? -0.5 : 0.5) * o->centres_mm, s->axis_point[i][1] = i ? 110 : 135, s->axis_point[i][2] = 0;
        s->pin[i] = (ps_adjust_pin){.piece = 0, .axis_direction = {0, 0, -1}, .sigma_square = 2 * degree};
        for (int j = 0; j < 3; j++) {
            int r = 3 * i + j;
            s->height[r] = height[j] + 6 * i;
            s->circle[r].radius_mm = radius[j] + 4 * i;
            double side[3] = {0.5 * e * scene_normal(s), 0.5 * e * scene_normal(s), 0};
            side[2] = -(side[0] * d[0] + side[1] * d[1]) / d[2]; /* aside, not along the axis */
            for (int k = 0; k < 3; k++) {
                s->circle[r].normal[k] = d[k];
                s->circle[r].centre[k] = s->axis_point[i][k] + s->height[r] * d[k] + (j == 2 ? side[k] : 0);
            }
            s->rim[r] = (ps_adjust_rim){.pin = i, .edge = edge[j], .on_axis = j < 2, .sigma_play_mm = 0.5};
            s->shift_common[r] = 0.15 * e * scene_normal(s);
            for (int p = 0; p < o->photos; p++) s->shift_photo[r][p] = 0.15 * e * scene_normal(s);
        }
    }
}

/* Printed point in the world: x^2, xy, y^2 about the middle, their means over the (symmetric) corner grid taken off. */
static inline void scene_corner(const scene *s, int piece, int index, double X[3]) {
    const ps_piece *p = ps_kit_piece(s->piece[piece].piece);
    double mm[2], mean[2] = {0, 0}, fourth = 0, middle[2] = {p->columns * p->square_mm / 2, p->rows * p->square_mm / 2};
    for (int c = 0; c < p->corner_count; c++) {
        ps_piece_corner(p, c, mm);
        for (int k = 0; k < 2; k++) mean[k] += (mm[k] - middle[k]) * (mm[k] - middle[k]) / p->corner_count;
        fourth += pow(mm[1] - middle[1], 4) / p->corner_count;
    }
    ps_piece_corner(p, index, mm);
    double x = mm[0] - middle[0], y = mm[1] - middle[1];
    const double *b = s->bend[piece];
    double local[3] = {mm[0] * s->across * s->own[piece][0] * s->paper[piece], mm[1] * s->along * s->own[piece][1] * s->paper[piece],
                       b[0] * (x * x - mean[0]) + b[1] * x * y + b[2] * (y * y - mean[1]) +
                           s->cubic[piece] * (y * y * y - y * fourth / mean[1])};
    ps_pose_apply(&s->piece_pose[piece], local, X);
}

static inline bool scene_observe_corners(scene *s, const scene_options *o) {
    int n = 0;
    for (int i = 0; i < o->photos; i++) {
        for (int q = 0; q < o->pieces; q++) {
            for (int c = 0; c < ps_kit_piece(s->piece[q].piece)->corner_count; c++) {
                double X[3], px[2];
                scene_corner(s, q, c, X);
                if (!ps_view_project(&s->view[i], X, px)) return false;
                s->corner[n++] =
                    (ps_adjust_corner){i, q, c, px[0] + 0.1 * o->noise * scene_normal(s), px[1] + 0.1 * o->noise * scene_normal(s), 0.1};
            }
        }
    }
    s->problem.corner_count = n;
    return true;
}

/* Edge points at even angles; noise and shift along the normal of the projected circle, away from its centre. */
static inline bool scene_observe_edges(scene *s, const scene_options *o) {
    int n = 0;
    for (int i = 0; i < o->photos; i++) {
        for (int r = 0; r < SCENE_RIMS; r++) {
            double centre[2];
            if (!ps_view_project(&s->view[i], s->circle[r].centre, centre)) return false;
            for (int k = 0; k < SCENE_POINTS; k++) {
                double t = 6.283185307179586 * (k + 0.3) / SCENE_POINTS, X[3], px[2], next[2], last[2];
                ps_circle3 there = s->circle[r];
                there.radius_mm += s->oval[r][0] * cos(2 * t) + s->oval[r][1] * sin(2 * t);
                ps_circle3_point(&there, t, X);
                if (!ps_view_project(&s->view[i], X, px)) return false;
                ps_circle3_point(&s->circle[r], t + 1e-4, X);
                if (!ps_view_project(&s->view[i], X, next)) return false;
                ps_circle3_point(&s->circle[r], t - 1e-4, X);
                if (!ps_view_project(&s->view[i], X, last)) return false;
                double nx = next[1] - last[1], ny = last[0] - next[0], l = hypot(nx, ny);
                if (nx * (px[0] - centre[0]) + ny * (px[1] - centre[1]) < 0) l = -l;
                double off = 0.25 * o->noise * scene_normal(s) + s->shift_common[r] + s->shift_photo[r][i];
                s->edge[n++] = (ps_adjust_edge){i, r, px[0] + off * nx / l, px[1] + off * ny / l, 0.25};
            }
        }
    }
    s->problem.edge_count = n;
    return true;
}

static inline void scene_turn(scene *s, double angle, ps_pose *pose) {
    double w[3] = {angle * scene_normal(s), angle * scene_normal(s), angle * scene_normal(s)}, turn[9];
    ps_pose motion = {.t = {0}}, before = *pose;
    ps_rotation_from_vector(w, turn);
    memcpy(motion.R, turn, sizeof turn);
    ps_pose_compose(&motion, &before, pose);
}

static inline void scene_starts(scene *s, const scene_options *o) {
    double e = o->start_error;
    for (int i = 0; i < o->photos; i++) {
        scene_turn(s, 0.01 * e, &s->photo[i].start);
        for (int k = 0; k < 3; k++) s->photo[i].start.t[k] += 5 * e * scene_normal(s);
    }
    for (int i = 1; i < o->pieces; i++) {
        scene_turn(s, 0.01 * e, &s->piece[i].start);
        for (int k = 0; k < 3; k++) s->piece[i].start.t[k] += 3 * e * scene_normal(s);
    }
    for (int i = 0; i < SCENE_PINS; i++)
        for (int k = 0; k < 2; k++) s->pin[i].axis_point_mm[k] = s->axis_point[i][k] + 3 * e * scene_normal(s);
    for (int r = 0; r < SCENE_RIMS; r++) {
        s->rim[r].height_mm = s->height[r] + 4 * e * scene_normal(s);
        s->rim[r].radius_mm = s->circle[r].radius_mm + e * scene_normal(s);
    }
}

/* False when a point does not project (a broken scene). */
static inline bool scene_make(scene *s, const scene_options *o) {
    memset(s, 0, sizeof *s);
    /* Not the generator's own increment: streams of neighbouring seeds would be one stream, shifted. */
    s->state = (o->seed + 1) * (o->seed + 1) * 0xd1342543de82ef95u;
    s->state ^= s->state >> 29;
    scene_cameras(s, o);
    scene_print(s, o);
    scene_pins(s, o);
    for (int r = 0; r < SCENE_RIMS && o->oval_mm > 0; r++)
        for (int k = 0; k < 2; k++) s->oval[r][k] = o->oval_mm * scene_normal(s);
    if (o->wear_mm > 0) s->oval[o->worn_rim][0] += o->wear_mm;
    for (int i = 0; i < o->pieces && o->cubic_sd > 0; i++) s->cubic[i] = o->cubic_sd * scene_normal(s);
    if (!scene_observe_corners(s, o) || !scene_observe_edges(s, o)) return false;
    scene_starts(s, o);
    ps_adjust_problem *p = &s->problem;
    p->photo_count = o->photos, p->group_count = 1, p->piece_count = o->pieces, p->pin_count = SCENE_PINS, p->rim_count = SCENE_RIMS;
    p->photo = s->photo, p->group = s->group, p->piece = s->piece, p->corner = s->corner, p->pin = s->pin, p->rim = s->rim,
    p->edge = s->edge;
    p->scale = (ps_adjust_scale){1, 1, o->print_sd, o->print_sd, 0, 0.0003};
    p->sigma_parallel = 0.2 * 0.017453292519943295;
    p->sigma_shift_common_px = p->sigma_shift_photo_px = 0.15;
    p->bend = p->distortion = true;
    if (o->may_be_oval) p->sigma_round_pin_mm = 0.03, p->sigma_round_other_mm = 0.05;
    return true;
}

/* True distance of the axes, as the adjustment's header defines it. */
static inline double scene_centres(const scene *s, double height_a, double height_b) {
    double mean[3], middle[3], meets[2][3], heights[2] = {height_a, height_b};
    for (int k = 0; k < 3; k++) {
        mean[k] = s->axis_direction[0][k] + s->axis_direction[1][k];
        middle[k] = 0;
        for (int i = 0; i < 2; i++) middle[k] += 0.5 * (s->axis_point[i][k] + heights[i] * s->axis_direction[i][k]);
    }
    scene_unit(mean);
    for (int i = 0; i < 2; i++) {
        double up = 0, down = 0;
        for (int k = 0; k < 3; k++) up += (middle[k] - s->axis_point[i][k]) * mean[k], down += s->axis_direction[i][k] * mean[k];
        for (int k = 0; k < 3; k++) meets[i][k] = s->axis_point[i][k] + up / down * s->axis_direction[i][k];
    }
    return sqrt(pow(meets[0][0] - meets[1][0], 2) + pow(meets[0][1] - meets[1][1], 2) + pow(meets[0][2] - meets[1][2], 2));
}

#endif
