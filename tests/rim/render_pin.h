/* render_pin.h: pictures of pins in bushes on a plate, by casting rays against discs, cones and cylinders, with exactly
 * known rims. All sizes are invented. A pixel is the mean of sub x sub samples over its square, blurred in linear light,
 * with Gaussian noise, encoded as sRGB. Light: two lamps and some from everywhere, by the surface's normal; no shadows are
 * cast. Of the code under test only the lens (checked against OpenCV elsewhere) is used, to turn pixels into rays. */
#ifndef PINSPAN_TESTS_RIM_RENDER_PIN_H
#define PINSPAN_TESTS_RIM_RENDER_PIN_H

#include "pinspan/rim.h"

#include "../target/render.h"

/* A pin in a bush, square to the plate. Heights over the plate toward the viewer, chamfers as their radial width and their
 * angle to the end face (45: as deep as wide). What is 0 is not there. */
typedef struct pin_shape {
    double x, y;
    double face_h, pin_r, chamfer, chamfer_deg;
    double bush_h, bush_r, bush_chamfer; /* that one at 45 degrees */
    double bevel;                        /* of the bore at the bush's face */
    double grease_deg;                   /* of the circumference hidden by dark grease, in three patches */
    /* Ends whose edges mislead. */
    double dome;               /* length along the axis of a domed end in place of face and chamfer */
    bool round;                /* the dome runs into the cylinder without an edge */
    double drill_r;            /* bore in the end */
    double cap_r;              /* a cap in front of the end, its face at face_h */
    double collar_r, collar_h; /* a loose collar against the bush: outer radius, thickness */
    double ring;               /* a rubber ring against the bush: thickness */
    double grooves;            /* share of the light that each turning groove of the end loses */
    double boss_r, boss_h;     /* a painted boss that the bush stands in: outer radius, height over the plate */
} pin_shape;

enum { PIN_SHAPES = 4, PIN_SURFACES = 56 };
typedef struct pin_scene {
    ps_view view;
    int width, height, sub;
    double blur_px, noise; /* noise: sd in encoded levels */
    int shapes;
    pin_shape shape[PIN_SHAPES];
    double plate[2], split_x; /* paint (share of light that it returns) left and right of a line x = split_x */
    double texture;           /* relative, of paint and steel */
    int piece;                /* kit's piece whose frame is the world; -1: none drawn */
    render_ink ink;
    double print_scale; /* of the drawn piece, 0 = 1 */
} pin_scene;

typedef struct pin_surface { /* between two circles of the half section */
    double h0, r0, h1, r1, paint;
    bool turned;  /* on a lathe: with grooves */
    double flank; /* of a dome: half axis along the pin, the other is the pin's radius; its centre's height in `middle` */
    double middle, half;
} pin_surface;

typedef struct pin_body {
    const pin_shape *shape;
    int count;
    double top, widest, h, r; /* h, r: where the half section has come to */
    pin_surface surface[PIN_SURFACES];
} pin_body;

static const double pin_render_pi = 3.14159265358979323846;

/* True height and radius of a rim. */
static inline void pin_rim_truth(const pin_shape *s, ps_edge edge, double *h, double *r) {
    bool bush = edge == PS_EDGE_BUSH || edge == PS_EDGE_BUSH_FACE;
    *h = bush ? s->bush_h : s->face_h;
    *r = bush ? s->bush_r - s->bush_chamfer : s->pin_r - s->chamfer;
    if (edge == PS_EDGE_PIN) *r = s->pin_r, *h -= s->chamfer * tan(s->chamfer_deg * pin_render_pi / 180) + s->dome;
    if (edge == PS_EDGE_BUSH) *r = s->bush_r, *h -= s->bush_chamfer;
}

/* The half section goes on to a height and radius. */
static inline pin_surface *pin_to(pin_body *b, double h, double r, double paint) {
    pin_surface *s = &b->surface[b->count++];
    *s = (pin_surface){.h0 = b->h, .r0 = b->r, .h1 = h, .r1 = r, .paint = paint};
    b->h = h, b->r = r;
    b->top = fmax(b->top, h);
    b->widest = fmax(b->widest, r);
    return s;
}

/* A part of a ball, or half an ellipsoid, in short pieces of a cone with the true normals. */
static inline void pin_dome_to(pin_body *b, const pin_shape *s, double paint) {
    enum { PIECES = 32 };
    double ball = s->round ? s->pin_r : (s->pin_r * s->pin_r + s->dome * s->dome) / (2 * s->dome), flank = s->round ? s->dome : ball;
    double all = s->round ? pin_render_pi / 2 : asin(s->pin_r / ball);
    for (int i = 1; i <= PIECES; i++) {
        double a = all * i / PIECES;
        pin_surface *piece = pin_to(b, s->face_h - flank * (1 - cos(a)), ball * sin(a), paint);
        piece->turned = true;
        piece->half = ball, piece->flank = flank, piece->middle = s->face_h - flank;
    }
}

static inline void pin_end_to(pin_body *b, const pin_shape *s, double steel, double dark) {
    const double deep = 20, cap_thick = 6, cap_chamfer = 1;
    double h, r;
    pin_rim_truth(s, PS_EDGE_PIN, &h, &r);
    b->h = s->face_h, b->r = 0, b->top = s->face_h;
    if (s->cap_r > 0) {
        pin_to(b, s->face_h, s->cap_r - cap_chamfer, steel)->turned = true;
        pin_to(b, s->face_h - cap_chamfer, s->cap_r, steel);
        pin_to(b, s->face_h - cap_thick, s->cap_r, steel);
        pin_to(b, s->face_h - cap_thick, s->pin_r, dark);
    } else if (s->dome > 0) {
        pin_dome_to(b, s, steel);
    } else {
        if (s->drill_r > 0) {
            b->h = s->face_h - deep;
            pin_to(b, b->h, s->drill_r, dark);
            pin_to(b, s->face_h, s->drill_r, dark);
        }
        pin_to(b, s->face_h, s->pin_r - s->chamfer, steel)->turned = true;
        pin_to(b, h, r, steel);
    }
}

/* What lies about the pin, against the bush. */
static inline void pin_neighbour_to(pin_body *b, const pin_shape *s, double bronze, double rubber) {
    const double chamfer = 0.8, seam = 0.3;
    if (s->collar_r > 0) {
        pin_to(b, s->bush_h + s->collar_h, s->pin_r, bronze);
        pin_to(b, s->bush_h + s->collar_h, s->collar_r - chamfer, bronze);
        pin_to(b, s->bush_h + s->collar_h - chamfer, s->collar_r, bronze);
        pin_to(b, s->bush_h + seam, s->collar_r, bronze);
        pin_to(b, s->bush_h + seam, s->pin_r, bronze);
    }
    if (s->ring > 0) {
        double half = s->ring / 2, middle = s->bush_h + half;
        pin_to(b, middle, s->pin_r, bronze);
        for (int i = 1; i <= 16; i++) {
            double a = pin_render_pi * i / 16;
            pin_to(b, middle + half * sin(a), s->pin_r + half * (1 - cos(a)), rubber);
        }
        pin_to(b, s->bush_h, s->pin_r + s->ring, rubber);
        pin_to(b, s->bush_h, s->pin_r, rubber);
    }
}

static inline pin_body pin_body_of(const pin_shape *s) {
    const double steel = 0.5, bronze = 0.4, dark = 0.1, rubber = 0.03, paint = 0.3, slot = 0.25, deep = 5;
    pin_body b = {.shape = s};
    double h, r;
    pin_rim_truth(s, PS_EDGE_PIN, &h, &r);
    double low = fmin(h, s->bush_h) - deep, bore = s->pin_r + slot;
    pin_end_to(&b, s, steel, dark);
    pin_neighbour_to(&b, s, steel, rubber);
    pin_to(&b, low, s->pin_r, steel);
    pin_to(&b, low, bore, dark);
    pin_to(&b, s->bush_h - s->bevel, bore, bronze);
    pin_to(&b, s->bush_h, bore + s->bevel, bronze);
    pin_to(&b, s->bush_h, s->bush_r - s->bush_chamfer, bronze);
    pin_to(&b, s->bush_h - s->bush_chamfer, s->bush_r, bronze);
    pin_to(&b, s->boss_h, s->bush_r, bronze);
    if (s->boss_r > 0) {
        pin_to(&b, s->boss_h, s->boss_r, paint);
        pin_to(&b, 0, s->boss_r, paint);
    }
    return b;
}

/* ---- rays; coordinates x, y, height ---- */

/* Nearest meeting with a surface in front of `near`, its distance, and its normal toward the viewer. */
static inline double pin_meet(const pin_surface *s, const double o[3], const double d[3], double near, double n[3]) {
    if (s->h0 == s->h1) {
        double t = (s->h0 - o[2]) / d[2], x = o[0] + t * d[0], y = o[1] + t * d[1], r2 = x * x + y * y;
        double low = fmin(s->r0, s->r1), high = fmax(s->r0, s->r1);
        if (!(t > 0 && t < near && r2 >= low * low && r2 < high * high)) return near;
        n[0] = n[1] = 0, n[2] = 1;
        return t;
    }
    double m = (s->r1 - s->r0) / (s->h1 - s->h0), q = s->r0 + m * (o[2] - s->h0), w = m * d[2];
    double a = d[0] * d[0] + d[1] * d[1] - w * w, b = o[0] * d[0] + o[1] * d[1] - q * w, c = o[0] * o[0] + o[1] * o[1] - q * q;
    double inside = b * b - a * c;
    if (!(inside >= 0) || a == 0) return near;
    for (int k = -1; k <= 1; k += 2) {
        double t = (-b + k * sqrt(inside)) / a, h = o[2] + t * d[2], r = s->r0 + m * (h - s->h0);
        if (!(t > 0 && t < near && r > 0 && h >= fmin(s->h0, s->h1) && h <= fmax(s->h0, s->h1))) continue;
        near = t;
        double length = sqrt(1 + m * m), sign = 1;
        n[0] = (o[0] + t * d[0]) / r / length, n[1] = (o[1] + t * d[1]) / r / length, n[2] = -m / length;
        if (n[0] * d[0] + n[1] * d[1] + n[2] * d[2] > 0) sign = -1;
        for (int i = 0; i < 3; i++) n[i] *= sign;
    }
    return near;
}

static inline double pin_hash(int i, int j, int k) {
    uint32_t v = (uint32_t)i * 0x9E3779B1u ^ (uint32_t)j * 0x85EBCA77u ^ (uint32_t)k * 0xC2B2AE3Du;
    v ^= v >> 15, v *= 0x2C1B3C6Du, v ^= v >> 12, v *= 0x297A2D39u, v ^= v >> 15;
    return v / 2147483648.0 - 1;
}

/* Smooth random pattern of about 2.5 mm, -1..1. */
static inline double pin_texture(double x, double y, int k) {
    x /= 2.5, y /= 2.5;
    int i = (int)floor(x), j = (int)floor(y);
    double a = x - i, b = y - j;
    a = a * a * (3 - 2 * a), b = b * b * (3 - 2 * b);
    return (1 - b) * ((1 - a) * pin_hash(i, j, k) + a * pin_hash(i + 1, j, k)) +
           b * ((1 - a) * pin_hash(i, j + 1, k) + a * pin_hash(i + 1, j + 1, k));
}

static inline double pin_light(const double n[3]) {
    static const double lamp[2][4] = {{-0.6, -0.64, 0.48, 1.1}, {0.8, 0.22, 0.558, 0.4}};
    double sum = 0.2;
    for (int i = 0; i < 2; i++) sum += lamp[i][3] * fmax(0, n[0] * lamp[i][0] + n[1] * lamp[i][1] + n[2] * lamp[i][2]);
    return sum;
}

/* A dome's normal, in place of its piece's. */
static inline void pin_dome_normal(const pin_surface *s, double x, double y, double h, double n[3]) {
    double v[3] = {x / (s->half * s->half), y / (s->half * s->half), (h - s->middle) / (s->flank * s->flank)};
    double length = sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2]);
    for (int i = 0; i < 3; i++) n[i] = v[i] / length;
}

/* Grooves 0.4 mm wide, 2.6 mm apart. */
static inline double pin_groove(const pin_surface *s, const pin_shape *shape, double r) {
    return s->turned && fmod(r + 1.1, 2.6) < 0.4 ? 1 - shape->grooves : 1;
}

/* Three patches about the axis, their borders wavy. */
static inline bool pin_greasy(const pin_shape *s, double x, double y) {
    if (!(s->grease_deg > 0) || hypot(x, y) > s->bush_r + 6) return false;
    double turn = fmod(atan2(y, x) / (2 * pin_render_pi) * 3 + 3 + 0.1 * sin(0.35 * hypot(x, y)), 1);
    return turn < s->grease_deg / 360;
}

typedef struct pin_stage { /* what does not change from pixel to pixel */
    const pin_scene *scene;
    pin_body body[PIN_SHAPES];
    render_scene paper;
    render_piece sheet;
    render_codes codes;
} pin_stage;

static inline double pin_plate_light(const pin_stage *g, double x, double y) {
    static const double up[3] = {0, 0, 1};
    const pin_scene *s = g->scene;
    if (s->piece >= 0) {
        double scale = s->print_scale > 0 ? s->print_scale : 1, v = render_at(&g->paper, &g->sheet, &g->codes, x / scale, y / scale);
        if (v >= 0) return v * pin_light(up);
    }
    double paint = s->plate[x > s->split_x] * (1 + s->texture * pin_texture(x, y, 0));
    for (int i = 0; i < s->shapes; i++)
        if (pin_greasy(&s->shape[i], x - s->shape[i].x, y - s->shape[i].y)) paint = 0.02;
    return paint * pin_light(up);
}

static inline double pin_ray_light(const pin_stage *g, const double o[3], const double d[3]) {
    if (!(d[2] < 0)) return 0.3;
    double near = -o[2] / d[2], floor_x = o[0] + near * d[0], floor_y = o[1] + near * d[1], light = -1;
    for (int i = 0; i < g->scene->shapes; i++) {
        const pin_body *b = &g->body[i];
        double t = (b->top - o[2]) / d[2], foot[3] = {o[0] - b->shape->x, o[1] - b->shape->y, o[2]};
        /* From the height of its top down to the plate the ray must come near the axis. */
        double x0 = foot[0] + t * d[0], y0 = foot[1] + t * d[1], x1 = floor_x - b->shape->x, y1 = floor_y - b->shape->y;
        if (fmin(hypot(x0, y0), hypot(x1, y1)) > b->widest + hypot(x1 - x0, y1 - y0)) continue;
        for (int k = 0; k < b->count; k++) {
            double n[3] = {0, 0, 1}, hit = pin_meet(&b->surface[k], foot, d, near, n);
            if (!(hit < near)) continue;
            near = hit;
            double x = foot[0] + hit * d[0], y = foot[1] + hit * d[1], h = foot[2] + hit * d[2];
            double paint = b->surface[k].paint * (1 + g->scene->texture * pin_texture(x + 0.7 * h, y - 0.7 * h, k + 1));
            if (b->surface[k].flank > 0) pin_dome_normal(&b->surface[k], x, y, h, n);
            paint *= pin_groove(&b->surface[k], b->shape, hypot(x, y));
            light = (pin_greasy(b->shape, x, y) ? 0.02 : paint) * pin_light(n);
        }
    }
    return light >= 0 ? light : pin_plate_light(g, floor_x, floor_y);
}

/* Undistorted directions at the middles of a row of pixels and one beyond. */
static inline void pin_directions(const ps_view *view, int width, int y, double (*xy)[2]) {
    for (int x = 0; x <= width; x++) {
        double px[2] = {x, y};
        if (!ps_lens_unproject(&view->lens, px, xy[x])) xy[x][0] = xy[x][1] = 0;
    }
}

static inline void pin_row(const pin_stage *g, const double eye[3], double (*xy)[2], double (*below)[2], double *out) {
    const pin_scene *s = g->scene;
    const double *R = s->view.pose.R;
    for (int x = 0; x < s->width; x++) {
        double sum = 0;
        for (int j = 0; j < s->sub; j++)
            for (int i = 0; i < s->sub; i++) {
                double a = (i + 0.5) / s->sub - 0.5, b = (j + 0.5) / s->sub - 0.5, c[3] = {0, 0, 1}, d[3];
                for (int k = 0; k < 2; k++) c[k] = xy[x][k] + a * (xy[x + 1][k] - xy[x][k]) + b * (below[x][k] - xy[x][k]);
                for (int k = 0; k < 3; k++) d[k] = R[k] * c[0] + R[3 + k] * c[1] + R[6 + k] * c[2];
                d[2] = -d[2]; /* height is against z */
                sum += pin_ray_light(g, eye, d);
            }
        out[x] = sum / (s->sub * s->sub);
    }
}

/* The picture; the caller frees luma.px. Upright photos only. */
static inline ps_luma pin_render(const pin_scene *scene, uint64_t seed) {
    pin_stage *g = calloc(1, sizeof *g);
    g->scene = scene;
    g->paper = (render_scene){.white = 0.6, .black = 0.03, .ground = 0.2};
    if (scene->piece >= 0) {
        apriltag_family_t *family = tag36h11_create();
        render_codes_make(family, &g->codes);
        tag36h11_destroy(family);
        g->sheet = (render_piece){.piece = ps_kit_piece(scene->piece), .ink = scene->ink};
    }
    for (int i = 0; i < scene->shapes; i++) g->body[i] = pin_body_of(&scene->shape[i]);
    const double *R = scene->view.pose.R, *t = scene->view.pose.t;
    double eye[3];
    for (int k = 0; k < 3; k++) eye[k] = -(R[k] * t[0] + R[3 + k] * t[1] + R[6 + k] * t[2]) * (k == 2 ? -1 : 1);
    size_t n = (size_t)scene->width * (size_t)scene->height;
    double *px = malloc(n * sizeof *px);
    double(*row)[2] = malloc(((size_t)scene->width + 1) * sizeof *row), (*next)[2] = malloc(((size_t)scene->width + 1) * sizeof *next);
    pin_directions(&scene->view, scene->width, 0, row);
    for (int y = 0; y < scene->height; y++) {
        pin_directions(&scene->view, scene->width, y + 1, next);
        pin_row(g, eye, row, next, px + (size_t)y * (size_t)scene->width);
        double(*swap)[2] = row;
        row = next, next = swap;
    }
    if (scene->blur_px > 0) render_blur(px, scene->width, scene->height, scene->blur_px);
    ps_luma out = {scene->width, scene->height, (size_t)scene->width, malloc(n)};
    uint64_t state = seed * 0x9E3779B97F4A7C15ull + 1;
    for (size_t i = 0; i < n; i++) {
        double v = render_encode(px[i]) + scene->noise * render_normal(&state);
        out.px[i] = (uint8_t)(v < 0 ? 0 : v > 255 ? 255 : v + 0.5);
    }
    free(px);
    free(row);
    free(next);
    free(g);
    return out;
}

/* A camera whose middle looks at `at` on the plate from `distance` mm, `tilt_deg` off the plate's normal toward the compass
 * direction `toward_deg` (0: +x, 90: +y), turned by roll_deg, with a main lens' distortion. */
static inline ps_view pin_view(int width, int height, double f_px, const double at[2], double distance, double tilt_deg, double toward_deg,
                               double roll_deg) {
    double q = pin_render_pi / 180, s = sin(tilt_deg * q), c = cos(tilt_deg * q), u = toward_deg * q, w = roll_deg * q;
    double back[3] = {s * cos(u), s * sin(u), -c}; /* from the place looked at to the eye */
    double right[3] = {1 - back[0] * back[0], -back[0] * back[1], -back[0] * back[2]};
    double size = sqrt(right[0] * right[0] + right[1] * right[1] + right[2] * right[2]), down[3];
    for (int i = 0; i < 3; i++) right[i] /= size;
    for (int i = 0; i < 3; i++) { /* down = forward x right */
        int j = (i + 1) % 3, k = (i + 2) % 3;
        down[i] = -(back[j] * right[k] - back[k] * right[j]);
    }
    ps_view v = {.lens = {f_px, 0.5 * (width - 1) + 6, 0.5 * (height - 1) - 4, 0.04, -0.06, 0.0004, -0.0003, 0},
                 .orientation = 1,
                 .stored_width = width,
                 .stored_height = height};
    for (int i = 0; i < 3; i++) {
        v.pose.R[i] = cos(w) * right[i] + sin(w) * down[i];
        v.pose.R[3 + i] = -sin(w) * right[i] + cos(w) * down[i];
        v.pose.R[6 + i] = -back[i];
    }
    const double eye[3] = {at[0] + distance * back[0], at[1] + distance * back[1], distance * back[2]};
    for (int r = 0; r < 3; r++) v.pose.t[r] = -(v.pose.R[3 * r] * eye[0] + v.pose.R[3 * r + 1] * eye[1] + v.pose.R[3 * r + 2] * eye[2]);
    return v;
}

/* The usual pin: 60 mm in a bush of 90 mm. */
static inline pin_shape pin_usual(double x, double y) {
    return (pin_shape){.x = x,
                       .y = y,
                       .face_h = 22,
                       .pin_r = 30,
                       .chamfer = 2,
                       .chamfer_deg = 45,
                       .bush_h = 12,
                       .bush_r = 45,
                       .bush_chamfer = 2,
                       .bevel = 0.8};
}

/* A plate with paint, no piece, no pin: the rest is filled in by the test. */
static inline pin_scene pin_scene_plain(int width, int height) {
    return (pin_scene){
        .width = width, .height = height, .sub = 3, .blur_px = 1, .noise = 1.5, .plate = {0.2, 0.2}, .texture = 0.06, .piece = -1};
}

#endif
