/* render.h: pictures of the printed kit made from its geometry and libapriltag's codes, with exactly known corners.
 * A pixel is the mean of 5 x 5 samples over its square (its centre has whole coordinates), blurred in linear light, with
 * Gaussian noise, encoded as sRGB (IEC 61966-2-1). Nothing here uses the code under test but the kit's own geometry. */
#ifndef PINSPAN_TESTS_TARGET_RENDER_H
#define PINSPAN_TESTS_TARGET_RENDER_H

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h10.h>
#include <apriltag/tag36h11.h>

#include "pinspan/target.h"

typedef enum { INK_TAGS = 0, INK_MIRRORED, INK_OTHER_FAMILY, INK_NONE, INK_HALF_BLANK } render_ink;

typedef struct {
    const ps_piece *piece;
    double to_px[9]; /* piece mm -> px */
    render_ink ink;
    double hidden_from_mm; /* everything at x >= this is covered by grey; 0 = nothing */
    double bend;           /* not flat: px shift of (bend * (y - middle)^2) along x, 1/mm * px/mm; 0 = flat */
} render_piece;

typedef struct {
    int width, height, pieces;
    render_piece piece[3];
    double blur_px, noise;       /* noise: sd in encoded levels */
    double shake_px, shake_deg;  /* length of an even, straight movement while the picture is taken; from +x toward +y */
    double light_x;              /* light falls from 1 to 1 - light_x across the width */
    double white, black, ground; /* linear light; 0 0 0 = 0.75, 0.04, 0.25 */
} render_scene;

enum { RENDER_CELLS = 10, RENDER_TAGS = 108 };
typedef struct {
    uint8_t cell[RENDER_TAGS][RENDER_CELLS][RENDER_CELLS];
} render_codes;

static inline void render_codes_make(apriltag_family_t *family, render_codes *codes) {
    for (uint32_t id = 0; id < RENDER_TAGS; id++) {
        image_u8_t *image = apriltag_to_image(family, id);
        for (int y = 0; y < RENDER_CELLS; y++)
            for (int x = 0; x < RENDER_CELLS; x++) codes->cell[id][y][x] = image->buf[y * image->stride + x];
        free(image->buf); /* Debian's library does not export image_u8_destroy */
        free(image);
    }
}

static inline bool render_tag_black(const render_piece *p, const render_codes *codes, int c, int r, double x, double y) {
    const ps_piece *k = p->piece;
    double cell = k->tag_side_mm / 8.0;
    int n = r * (k->columns / 2) + c / 2;
    double u = (x - (c + 0.5) * k->square_mm) / cell, v = (y - (r + 0.5) * k->square_mm) / cell;
    if (p->ink == INK_NONE || (p->ink == INK_HALF_BLANK && r % 2)) return false;
    if (p->ink == INK_MIRRORED) u = -u;
    int i = (int)floor(u + 5.0), j = (int)floor(v + 5.0);
    if (i < 1 || j < 1 || i > 8 || j > 8) return false;
    return codes->cell[k->first_tag + n][j][i] < 128;
}

/* Linear light at a place on the piece, or -1 off its paper (half a square of white around it). */
static inline double render_at(const render_scene *s, const render_piece *p, const render_codes *codes, double x, double y) {
    const ps_piece *k = p->piece;
    double margin = 0.5 * k->square_mm;
    if (x < -margin || y < -margin || x > k->columns * k->square_mm + margin || y > k->rows * k->square_mm + margin) return -1.0;
    if (p->hidden_from_mm > 0.0 && x >= p->hidden_from_mm) return s->ground;
    int c = (int)floor(x / k->square_mm), r = (int)floor(y / k->square_mm);
    if (c < 0 || r < 0 || c >= k->columns || r >= k->rows) return s->white;
    if ((c + r) % 2 == 0) return s->black;
    return render_tag_black(p, codes, c, r, x, y) ? s->black : s->white;
}

static inline void render_blur(double *px, int width, int height, double sigma) {
    int reach = (int)ceil(4.0 * sigma);
    double kernel[64], sum = 0.0;
    double *line = malloc(sizeof(double) * (size_t)(width > height ? width : height));
    for (int i = -reach; i <= reach; i++) sum += kernel[i + reach] = exp(-0.5 * i * i / (sigma * sigma));
    for (int axis = 0; axis < 2; axis++) {
        int lines = axis ? width : height, length = axis ? height : width;
        size_t step = axis ? (size_t)width : 1, next = axis ? 1 : (size_t)width;
        for (int l = 0; l < lines; l++) {
            double *row = px + (size_t)l * next;
            for (int i = 0; i < length; i++) {
                double total = 0.0;
                for (int k = -reach; k <= reach; k++) {
                    int at = i + k < 0 ? 0 : i + k >= length ? length - 1 : i + k;
                    total += kernel[k + reach] * row[(size_t)at * step];
                }
                line[i] = total / sum;
            }
            for (int i = 0; i < length; i++) row[(size_t)i * step] = line[i];
        }
    }
    free(line);
}

/* Mean of the picture along a straight line of `length` px about each pixel, eight samples a pixel. */
static inline void render_shake(double *px, int width, int height, double length, double deg) {
    int n = (int)ceil(8.0 * length);
    double dx = cos(deg * 3.14159265358979323846 / 180.0), dy = sin(deg * 3.14159265358979323846 / 180.0);
    double *out = malloc(sizeof *out * (size_t)width * (size_t)height);
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++) {
            double sum = 0.0;
            for (int k = 0; k < n; k++) {
                double t = ((k + 0.5) / n - 0.5) * length;
                double u = fmin(fmax(x + t * dx, 0.0), width - 1.001), v = fmin(fmax(y + t * dy, 0.0), height - 1.001);
                int i = (int)u, j = (int)v;
                double a = u - i, b = v - j;
                const double *p = px + (size_t)j * (size_t)width + i;
                sum += (1 - b) * ((1 - a) * p[0] + a * p[1]) + b * ((1 - a) * p[width] + a * p[width + 1]);
            }
            out[(size_t)y * (size_t)width + (size_t)x] = sum / n;
        }
    memcpy(px, out, sizeof *out * (size_t)width * (size_t)height);
    free(out);
}

static inline double render_normal(uint64_t *state) { /* xorshift64*, sum of 12: enough for noise */
    double sum = -6.0;
    for (int i = 0; i < 12; i++) {
        *state ^= *state >> 12, *state ^= *state << 25, *state ^= *state >> 27;
        sum += (double)((*state * 2685821657736338717ull) >> 11) / 9007199254740992.0;
    }
    return sum;
}

static inline double render_encode(double v) {
    v = v < 0.0 ? 0.0 : v > 1.0 ? 1.0 : v;
    return 255.0 * (v <= 0.0031308 ? 12.92 * v : 1.055 * pow(v, 1.0 / 2.4) - 0.055);
}

static inline double render_sample(const render_scene *s, const double inverse[][9], const render_codes codes[2], double x, double y) {
    for (int i = 0; i < s->pieces; i++) {
        double mm[2];
        if (!ps_homography_apply(inverse[i], (double[2]){x, y}, mm)) continue;
        double middle = 0.5 * s->piece[i].piece->rows * s->piece[i].piece->square_mm;
        mm[0] -= s->piece[i].bend * (mm[1] - middle) * (mm[1] - middle);
        double v = render_at(s, &s->piece[i], &codes[s->piece[i].ink == INK_OTHER_FAMILY], mm[0], mm[1]);
        if (v >= 0.0) return v;
    }
    return s->ground;
}

/* The picture; the caller frees luma.px. */
static inline ps_luma render(render_scene scene, uint64_t seed) {
    enum { SUB = 5 };
    render_codes codes[2];
    double inverse[3][9];
    apriltag_family_t *ours = tag36h11_create(), *other = tag36h10_create();
    ps_luma out = {.width = scene.width, .height = scene.height, .stride = (size_t)scene.width};
    double *px = malloc(sizeof *px * (size_t)scene.width * (size_t)scene.height);
    render_codes_make(ours, &codes[0]);
    render_codes_make(other, &codes[1]);
    if (scene.white == 0.0) scene.white = 0.75, scene.black = 0.04, scene.ground = 0.25;
    for (int i = 0; i < scene.pieces; i++) ps_homography_invert(scene.piece[i].to_px, inverse[i]);
    for (int y = 0; y < scene.height; y++)
        for (int x = 0; x < scene.width; x++) {
            double sum = 0.0;
            for (int j = 0; j < SUB; j++)
                for (int i = 0; i < SUB; i++)
                    sum += render_sample(&scene, (const double(*)[9])inverse, codes, x + (i - 2) / 5.0, y + (j - 2) / 5.0);
            px[(size_t)y * (size_t)scene.width + (size_t)x] = sum / (SUB * SUB) * (1.0 - scene.light_x * x / scene.width);
        }
    if (scene.blur_px > 0.0) render_blur(px, scene.width, scene.height, scene.blur_px);
    if (scene.shake_px > 0.0) render_shake(px, scene.width, scene.height, scene.shake_px, scene.shake_deg);
    out.px = malloc((size_t)scene.width * (size_t)scene.height);
    uint64_t state = seed * 0x9E3779B97F4A7C15ull + 1;
    for (size_t i = 0; i < (size_t)scene.width * (size_t)scene.height; i++) {
        double v = render_encode(px[i]) + scene.noise * render_normal(&state);
        out.px[i] = (uint8_t)(v < 0.0 ? 0.0 : v > 255.0 ? 255.0 : v + 0.5);
    }
    free(px);
    tag36h11_destroy(ours);
    tag36h10_destroy(other);
    return out;
}

/* True place of a corner. */
static inline void render_corner(const render_piece *p, int index, double px[2]) {
    double mm[2], middle = 0.5 * p->piece->rows * p->piece->square_mm;
    ps_piece_corner(p->piece, index, mm);
    mm[0] += p->bend * (mm[1] - middle) * (mm[1] - middle);
    ps_homography_apply(p->to_px, mm, px);
}

/* A view of the piece: squares about `square_px`, turned by `turn`, with perspective `slant` (relative change of scale
 * from end to end), its middle at (x, y). */
static inline void render_place(render_piece *p, double square_px, double turn, double slant, double x, double y) {
    double s = square_px / p->piece->square_mm, c = cos(turn), d = sin(turn);
    double mx = 0.5 * p->piece->columns * p->piece->square_mm, my = 0.5 * p->piece->rows * p->piece->square_mm;
    double g = slant / (2.0 * my), h = 0.5 * slant / (2.0 * mx);
    double A[9] = {s * c, -s * d, 0.0, s * d, s * c, 0.0, h, g, 1.0}; /* about the middle */
    double shifted[9];
    for (int r = 0; r < 3; r++) {
        shifted[3 * r] = A[3 * r], shifted[3 * r + 1] = A[3 * r + 1];
        shifted[3 * r + 2] = A[3 * r + 2] - A[3 * r] * mx - A[3 * r + 1] * my;
    }
    for (int k = 0; k < 3; k++) {
        p->to_px[k] = shifted[k] + x * shifted[6 + k];
        p->to_px[3 + k] = shifted[3 + k] + y * shifted[6 + k];
        p->to_px[6 + k] = shifted[6 + k];
    }
}

#endif
