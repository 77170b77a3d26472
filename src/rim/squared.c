/* Resampling onto a plane. The exact projection is computed on a coarse grid and interpolated between: lens distortion
 * and perspective are smooth over 16 samples (error below 0.01 px at phone focal lengths). */
#include "rim/squared.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "base/wide.h"
#include "photo/light.h"

enum { GRID = 16, SIDE_MAX = 6000, HALF_MAX = 16 };

ps_plane ps_plane_world(void) {
    ps_plane p = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, -1}};
    return p;
}

ps_plane ps_plane_square_to(const double origin[3], const double direction[3]) {
    ps_plane p;
    double length = sqrt(direction[0] * direction[0] + direction[1] * direction[1] + direction[2] * direction[2]);
    for (int i = 0; i < 3; i++) p.n[i] = direction[i] / length, p.origin[i] = origin[i];
    double along = p.n[0]; /* u = (1,0,0) less its part along n */
    for (int i = 0; i < 3; i++) p.u[i] = (i == 0) - along * p.n[i];
    double size = sqrt(p.u[0] * p.u[0] + p.u[1] * p.u[1] + p.u[2] * p.u[2]);
    for (int i = 0; i < 3; i++) p.u[i] /= size;
    /* v = u x n turned so that (u, v) reads like the world's (x right, y down) when n = -z */
    p.v[0] = -(p.n[1] * p.u[2] - p.n[2] * p.u[1]);
    p.v[1] = -(p.n[2] * p.u[0] - p.n[0] * p.u[2]);
    p.v[2] = -(p.n[0] * p.u[1] - p.n[1] * p.u[0]);
    return p;
}

void ps_plane_point(const ps_plane *p, double x, double y, double height, double X[3]) {
    for (int i = 0; i < 3; i++) X[i] = p->origin[i] + x * p->u[i] + y * p->v[i] + height * p->n[i];
}

void ps_squared_clear(ps_squared *s) {
    free(s->value);
    free(s->gx);
    free(s->gy);
    memset(s, 0, sizeof *s);
}

/* Camera centre in the plane's frame. */
static void camera_over_plane(const ps_view *view, const ps_plane *plane, double foot[2], double *rise) {
    const double *R = view->pose.R, *t = view->pose.t;
    double C[3], d[3];
    for (int i = 0; i < 3; i++) C[i] = -(R[i] * t[0] + R[3 + i] * t[1] + R[6 + i] * t[2]);
    for (int i = 0; i < 3; i++) d[i] = C[i] - plane->origin[i];
    foot[0] = d[0] * plane->u[0] + d[1] * plane->u[1] + d[2] * plane->u[2];
    foot[1] = d[0] * plane->v[0] + d[1] * plane->v[1] + d[2] * plane->v[2];
    *rise = d[0] * plane->n[0] + d[1] * plane->n[1] + d[2] * plane->n[2];
}

static double own_step(const ps_view *view, const ps_plane *plane, double x, double y) {
    double X[3], p[2], q[2], r[2];
    ps_plane_point(plane, x, y, 0, X);
    if (!ps_view_project(view, X, p)) return 0;
    ps_plane_point(plane, x + 1, y, 0, X);
    if (!ps_view_project(view, X, q)) return 0;
    ps_plane_point(plane, x, y + 1, 0, X);
    if (!ps_view_project(view, X, r)) return 0;
    double px = fmax(hypot(q[0] - p[0], q[1] - p[1]), hypot(r[0] - p[0], r[1] - p[1]));
    return px > 1e-6 ? 1 / px : 0;
}

void ps_squared_stand(const ps_view *view, const ps_plane *plane, double foot[2], double *rise, double *step) {
    camera_over_plane(view, plane, foot, rise);
    *step = own_step(view, plane, 0, 0);
}

/* Photo positions on the coarse grid; x = -1e6 marks 'not visible'. */
static void project_grid(const ps_view *view, const ps_plane *plane, const ps_squared *s, int columns, int rows, double (*grid)[2]) {
    for (int j = 0; j < rows; j++)
        for (int i = 0; i < columns; i++) {
            double X[3], *g = grid[j * columns + i];
            ps_plane_point(plane, s->x0 + i * GRID * s->step, s->y0 + j * GRID * s->step, 0, X);
            if (!ps_view_project(view, X, g)) g[0] = g[1] = -1e6;
        }
}

static inline float blend(const ps_luma *luma, const float table[256], double x, double y) {
    int i = (int)x, j = (int)y;
    float a = (float)(x - i), b = (float)(y - j);
    const uint8_t *p = luma->px + (size_t)j * luma->stride + i, *q = p + luma->stride;
    float top = table[p[0]] + a * (table[p[1]] - table[p[0]]), bottom = table[q[0]] + a * (table[q[1]] - table[q[0]]);
    return top + b * (bottom - top);
}

/* Samples from k on of the line from `from` in steps of (dx, dy), all of which lie in the photo. */
static void resample_inside(const ps_luma *luma, const float table[256], const double from[2], double dx, double dy, int k, int count,
                            float *out) {
    for (; k < count; k++) out[k] = blend(luma, table, from[0] + k * dx, from[1] + k * dy);
}

#ifdef PS_HAS_AVX2
/* Of the eight places from + k * step on, whole parts and what is left. */
PS_AVX2_WITHIN __m256i split8(double from, double step, int k, __m256 *rest) {
    const __m256d start = _mm256_set1_pd(from), slope = _mm256_set1_pd(step);
    __m256d low = _mm256_add_pd(start, _mm256_mul_pd(_mm256_set_pd(k + 3, k + 2, k + 1, k), slope));
    __m256d high = _mm256_add_pd(start, _mm256_mul_pd(_mm256_set_pd(k + 7, k + 6, k + 5, k + 4), slope));
    __m128i l = _mm256_cvttpd_epi32(low), h = _mm256_cvttpd_epi32(high);
    __m128 a = _mm256_cvtpd_ps(_mm256_sub_pd(low, _mm256_cvtepi32_pd(l))), b = _mm256_cvtpd_ps(_mm256_sub_pd(high, _mm256_cvtepi32_pd(h)));
    *rest = _mm256_insertf128_ps(_mm256_castps128_ps256(a), b, 1);
    return _mm256_inserti128_si256(_mm256_castsi128_si256(l), h, 1);
}

PS_AVX2_WITHIN __m256 looked_up8(const float table[256], __m256i four, int shift) {
    return _mm256_i32gather_ps(table, _mm256_and_si256(_mm256_srli_epi32(four, shift), _mm256_set1_epi32(255)), 4);
}

/* Eight samples at a time, the same operations in the same order. */
PS_AVX2 static void resample_inside8(const ps_luma *luma, const float table[256], const double from[2], double dx, double dy, int count,
                                     float *out) {
    int k = 0;
    for (; k + 8 <= count; k += 8) {
        int32_t column[8], row[8];
        uint32_t square[8]; /* two pixels of a row and two of the next */
        __m256 a, b;
        _mm256_storeu_si256((__m256i *)(void *)column, split8(from[0], dx, k, &a));
        _mm256_storeu_si256((__m256i *)(void *)row, split8(from[1], dy, k, &b));
        for (int i = 0; i < 8; i++) {
            const uint8_t *p = luma->px + (size_t)row[i] * luma->stride + column[i];
            uint16_t upper, lower;
            memcpy(&upper, p, sizeof upper);
            memcpy(&lower, p + luma->stride, sizeof lower);
            square[i] = upper | (uint32_t)lower << 16;
        }
        __m256i four = _mm256_loadu_si256((const __m256i *)(const void *)square);
        __m256 p0 = looked_up8(table, four, 0), p1 = looked_up8(table, four, 8);
        __m256 q0 = looked_up8(table, four, 16), q1 = looked_up8(table, four, 24);
        __m256 top = _mm256_add_ps(p0, _mm256_mul_ps(a, _mm256_sub_ps(p1, p0)));
        __m256 bottom = _mm256_add_ps(q0, _mm256_mul_ps(a, _mm256_sub_ps(q1, q0)));
        _mm256_storeu_ps(out + k, _mm256_add_ps(top, _mm256_mul_ps(b, _mm256_sub_ps(bottom, top))));
    }
    resample_inside(luma, table, from, dx, dy, k, count, out);
}
#endif

/* Up to GRID samples on the line from `from` to `to`, which are GRID samples apart. A line lies in the photo where its ends do. */
static void resample_run(const ps_luma *luma, const float table[256], const double from[2], const double to[2], int count, float *out) {
    double dx = (to[0] - from[0]) / GRID, dy = (to[1] - from[1]) / GRID;
    if (!ps_light_inside(luma, from[0], from[1]) || !ps_light_inside(luma, to[0], to[1])) {
        for (int k = 0; k < count; k++) {
            double x = from[0] + k * dx, y = from[1] + k * dy;
            out[k] = ps_light_inside(luma, x, y) ? blend(luma, table, x, y) : -1;
        }
        return;
    }
#ifdef PS_HAS_AVX2
    if (PS_AVX2_HERE) {
        resample_inside8(luma, table, from, dx, dy, count, out);
        return;
    }
#endif
    resample_inside(luma, table, from, dx, dy, 0, count, out);
}

/* Row y of the view. */
static void resample_row(const ps_luma *luma, const float table[256], const ps_squared *s, int columns, double (*grid)[2], int y,
                         float *out) {
    int j = y / GRID;
    double b = (y - j * GRID) / (double)GRID, end[2][2];
    for (int i = 0; i * GRID < s->width; i++) {
        double(*g)[2] = grid + (size_t)j * columns + i;
        for (int e = 0; e < 2; e++)
            for (int k = 0; k < 2; k++) end[e][k] = (1 - b) * g[e][k] + b * g[columns + e][k];
        int count = s->width - i * GRID < GRID ? s->width - i * GRID : GRID;
        resample_run(luma, table, end[0], end[1], count, out + i * GRID);
    }
}

typedef struct gauss {
    int half;
    float tap[HALF_MAX + 1]; /* of the middle and outward */
} gauss;

static gauss gauss_make(double sigma) {
    gauss g = {(int)ceil(3 * sigma), {0}};
    float sum = 0;
    if (g.half < 1) g.half = 1;
    if (g.half > HALF_MAX) g.half = HALF_MAX;
    for (int k = 0; k <= g.half; k++) sum += (k ? 2 : 1) * (g.tap[k] = (float)exp(-0.5 * k * k / (sigma * sigma)));
    for (int k = 0; k <= g.half; k++) g.tap[k] /= sum;
    return g;
}

/* The filter over 2*half+1 neighbours at[-half..half] of each place; the usual length without a loop over its taps. */
PS_WITHIN void filter(const float *const *at, float *out, int from, int to, const gauss *g) {
    const float *t = g->tap, *m = at[0];
    if (g->half == 4) {
        const float *a = at[-1], *b = at[1], *c = at[-2], *d = at[2], *e = at[-3], *f = at[3], *h = at[-4], *i = at[4];
        for (int x = from; x < to; x++)
            out[x] = t[0] * m[x] + t[1] * (a[x] + b[x]) + t[2] * (c[x] + d[x]) + t[3] * (e[x] + f[x]) + t[4] * (h[x] + i[x]);
        return;
    }
    for (int x = from; x < to; x++) out[x] = t[0] * m[x];
    for (int k = 1; k <= g->half; k++)
        for (int x = from; x < to; x++) out[x] += t[k] * (at[-k][x] + at[k][x]);
}

/* Along a row; -1 within reach of a sample < 0 or of an end. True when that concerns more than the ends. */
PS_WIDE static bool smooth_row(const float *in, float *restrict out, int width, const gauss *g) {
    const float *at[2 * HALF_MAX + 1] = {NULL};
    int from = g->half, to = width - g->half;
    for (int k = -g->half; k <= g->half; k++) at[HALF_MAX + k] = in + k;
    int gaps = 0;
    for (int x = 0; x < width; x++) gaps |= in[x] < 0;
    for (int x = 0; x < from && x < width; x++) out[x] = out[width - 1 - x] = -1;
    filter(at + HALF_MAX, out, from, to, g);
    if (!gaps) return false;
    for (int x = 0, free_from = 0; x < width; x++) {
        if (in[x] >= 0) continue;
        for (int i = x - g->half > free_from ? x - g->half : free_from; i <= x + g->half && i < width; i++) out[i] = -1;
        free_from = x + g->half + 1 < width ? x + g->half + 1 : width;
    }
    return true;
}

/* The rows that the filters have in hand: row y as resampled is value[y % (taps + 1)], smoothed along it is along[y % taps], smoothed
 * both ways both[y % 3]. */
typedef struct window {
    int width, taps;
    float *value, *along, *both, *gx, *gy, *none;
    bool gaps[2 * HALF_MAX + 1];
} window;

static float *row_value(const window *w, int y) {
    return w->value + (size_t)(y % (w->taps + 1)) * (size_t)w->width;
}
static float *row_along(const window *w, int y) {
    return w->along + (size_t)(y % w->taps) * (size_t)w->width;
}
static float *row_both(const window *w, int y) {
    return w->both + (size_t)(y % 3) * (size_t)w->width;
}

PS_WIDE static void smooth_column(const window *w, int y, const gauss *g) {
    float *restrict out = row_both(w, y);
    const float *at[2 * HALF_MAX + 1] = {NULL};
    for (int k = -g->half; k <= g->half; k++) at[HALF_MAX + k] = row_along(w, y + k);
    filter(at + HALF_MAX, out, 0, w->width, g);
    for (int x = 0; x < g->half && x < w->width; x++) out[x] = out[w->width - 1 - x] = -1;
    for (int k = -g->half; k <= g->half; k++) {
        const float *row = row_along(w, y + k);
        if (!w->gaps[(y + k) % w->taps]) continue;
        for (int x = 0; x < w->width; x++) out[x] = row[x] < 0 ? -1 : out[x];
    }
}

PS_WIDE static void gradient_row(const window *w, int y) {
    const float *up = row_both(w, y - 1), *here = row_both(w, y), *down = row_both(w, y + 1);
    float *restrict gx = w->gx, *restrict gy = w->gy;
    for (int x = 1; x < w->width - 1; x++) {
        float least = here[x - 1] < here[x + 1] ? here[x - 1] : here[x + 1], other = up[x] < down[x] ? up[x] : down[x];
        bool usable = (least < other ? least : other) >= 0;
        gx[x] = usable ? 0.5f * (here[x + 1] - here[x - 1]) : 0;
        gy[x] = usable ? 0.5f * (down[x] - up[x]) : 0;
    }
}

static bool window_make(const ps_squared *s, const gauss *g, window *w) {
    size_t width = (size_t)s->width, rows = 2 * (2 * (size_t)g->half + 1) + 1 + 3 + 3;
    *w = (window){.width = s->width, .taps = 2 * g->half + 1};
    w->value = calloc(rows * width, sizeof *w->value);
    if (!w->value) return false;
    w->along = w->value + (size_t)(w->taps + 1) * width;
    w->both = w->along + (size_t)w->taps * width;
    w->gx = w->both + 3 * width, w->gy = w->gx + width, w->none = w->gy + width;
    return true;
}

/* Gaussian, then central differences: one run down the rows. Rows that the filters do not reach have derivatives 0. */
static void run_rows(const ps_luma *luma, const ps_squared *s, int columns, double (*grid)[2], const gauss *g, window *w,
                     ps_squared_sink sink, void *user) {
    float table[256];
    const float *linear = ps_photo_linear_table();
    for (int i = 0; i < 256; i++) table[i] = sqrtf(linear[i]);
    for (int y = 0; y < s->height + g->half + 1; y++) {
        int middle = y - g->half, ready = middle - 1;
        bool reached = y < s->height && ready > g->half;
        if (y < s->height) {
            resample_row(luma, table, s, columns, grid, y, row_value(w, y));
            w->gaps[y % w->taps] = smooth_row(row_value(w, y), row_along(w, y), s->width, g);
            if (middle >= g->half) smooth_column(w, middle, g);
        }
        if (reached) gradient_row(w, ready);
        if (ready >= 0) sink(user, ready, row_value(w, ready), reached ? w->gx : w->none, reached ? w->gy : w->none);
    }
}

ps_status ps_squared_frame(ps_context *ctx, const ps_view *view, const ps_plane *plane, const double box[4], double step, ps_squared *out) {
    ps_squared s = {0};
    camera_over_plane(view, plane, s.foot, &s.rise);
    if (!(s.rise > 1)) return ps_context_fail(ctx, PS_NOT_FOUND, "the plane is not in front of the camera");
    s.x0 = box[0];
    s.y0 = box[2];
    s.step = step > 0 ? step : own_step(view, plane, 0.5 * (box[0] + box[1]), 0.5 * (box[2] + box[3]));
    double width = (box[1] - box[0]) / s.step, height = (box[3] - box[2]) / s.step;
    if (!(s.step > 0 && width >= 8 && height >= 8)) return ps_context_fail(ctx, PS_NOT_FOUND, "nothing of the plane is in the photo");
    if (width > SIDE_MAX || height > SIDE_MAX) return ps_context_fail(ctx, PS_TOO_LARGE, "the squared view is too large");
    s.width = (int)width;
    s.height = (int)height;
    *out = s;
    return PS_OK;
}

ps_status ps_squared_rows(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_plane *plane, const ps_squared *frame,
                          double smooth, ps_squared_sink sink, void *user) {
    gauss g = gauss_make(smooth);
    window w = {0};
    int columns = (frame->width + GRID - 1) / GRID + 2, rows = (frame->height + GRID - 1) / GRID + 2;
    double(*grid)[2] = malloc((size_t)columns * (size_t)rows * sizeof *grid);
    bool enough = grid && window_make(frame, &g, &w);
    if (enough) {
        project_grid(view, plane, frame, columns, rows, grid);
        run_rows(luma, frame, columns, grid, &g, &w, sink, user);
    }
    free(w.value);
    free(grid);
    return enough ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the squared view");
}

static void keep_row(void *user, int y, const float *value, const float *gx, const float *gy) {
    ps_squared *s = user;
    size_t at = (size_t)y * (size_t)s->width, size = (size_t)s->width * sizeof *value;
    memcpy(s->value + at, value, size);
    memcpy(s->gx + at, gx, size);
    memcpy(s->gy + at, gy, size);
}

ps_status ps_squared_render(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_plane *plane, const double box[4],
                            double step, double smooth, ps_squared *out) {
    ps_squared s = {0};
    ps_status status = ps_squared_frame(ctx, view, plane, box, step, &s);
    if (status != PS_OK) return status;
    size_t n = (size_t)s.width * (size_t)s.height;
    s.value = malloc(n * sizeof *s.value);
    s.gx = malloc(n * sizeof *s.gx);
    s.gy = malloc(n * sizeof *s.gy);
    if (!s.value || !s.gx || !s.gy) status = ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the squared view");
    if (status == PS_OK) status = ps_squared_rows(ctx, luma, view, plane, &s, smooth, keep_row, &s);
    if (status == PS_OK)
        *out = s;
    else
        ps_squared_clear(&s);
    return status;
}
