/* Resampling onto a plane. The exact projection is computed on a coarse grid and interpolated between: lens distortion
 * and perspective are smooth over 16 samples (error below 0.01 px at phone focal lengths). */
#include "rim/squared.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"

enum { GRID = 16, SIDE_MAX = 6000 };

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

static float sample(const ps_luma *luma, const float table[256], double x, double y) {
    if (!(x >= 0 && y >= 0 && x < luma->width - 1 && y < luma->height - 1)) return -1;
    int i = (int)x, j = (int)y;
    float a = (float)(x - i), b = (float)(y - j);
    const uint8_t *p = luma->px + (size_t)j * luma->stride + i, *q = p + luma->stride;
    return (1 - b) * ((1 - a) * table[p[0]] + a * table[p[1]]) + b * ((1 - a) * table[q[0]] + a * table[q[1]]);
}

static void resample(const ps_luma *luma, ps_squared *s, int columns, double (*grid)[2]) {
    float table[256];
    const float *linear = ps_photo_linear_table();
    for (int i = 0; i < 256; i++) table[i] = sqrtf(linear[i]);
    for (int y = 0; y < s->height; y++) {
        int j = y / GRID;
        double b = (y - j * GRID) / (double)GRID;
        for (int x = 0; x < s->width; x++) {
            int i = x / GRID;
            double a = (x - i * GRID) / (double)GRID;
            double(*g)[2] = grid + (size_t)j * columns + i;
            double px = (1 - b) * ((1 - a) * g[0][0] + a * g[1][0]) + b * ((1 - a) * g[columns][0] + a * g[columns + 1][0]);
            double py = (1 - b) * ((1 - a) * g[0][1] + a * g[1][1]) + b * ((1 - a) * g[columns][1] + a * g[columns + 1][1]);
            s->value[(size_t)y * s->width + x] = sample(luma, table, px, py);
        }
    }
}

/* Separable Gaussian on `in` (values < 0 spread as 'unusable'). */
static void smooth_rows(const float *in, float *out, int width, int height, const float *kernel, int half) {
    for (int y = 0; y < height; y++) {
        const float *row = in + (size_t)y * width;
        for (int x = 0; x < width; x++) {
            float sum = 0;
            bool usable = x >= half && x < width - half;
            for (int k = -half; usable && k <= half; k++) {
                if (row[x + k] < 0) usable = false;
                sum += kernel[k + half] * row[x + k];
            }
            out[(size_t)y * width + x] = usable ? sum : -1;
        }
    }
}

static void smooth_columns(const float *in, float *out, int width, int height, const float *kernel, int half) {
    for (int y = 0; y < height; y++) {
        float *row = out + (size_t)y * width;
        if (y < half || y >= height - half) {
            for (int x = 0; x < width; x++) row[x] = -1;
            continue;
        }
        memset(row, 0, (size_t)width * sizeof *row);
        for (int k = -half; k <= half; k++) {
            const float *from = in + (size_t)(y + k) * width;
            for (int x = 0; x < width; x++) row[x] = from[x] < 0 || row[x] < -0.5f ? -1 : row[x] + kernel[k + half] * from[x];
        }
    }
}

static void gradients(ps_squared *s, const float *smooth) {
    int w = s->width;
    for (int y = 1; y < s->height - 1; y++)
        for (int x = 1; x < w - 1; x++) {
            const float *p = smooth + (size_t)y * w + x;
            bool usable = p[-1] >= 0 && p[1] >= 0 && p[-w] >= 0 && p[w] >= 0;
            s->gx[(size_t)y * w + x] = usable ? 0.5f * (p[1] - p[-1]) : 0;
            s->gy[(size_t)y * w + x] = usable ? 0.5f * (p[w] - p[-w]) : 0;
        }
}

static ps_status differentiate(ps_context *ctx, ps_squared *s, double sigma) {
    enum { HALF_MAX = 16 };
    float kernel[2 * HALF_MAX + 1], sum = 0;
    int half = (int)ceil(3 * sigma);
    if (half < 1) half = 1;
    if (half > HALF_MAX) half = HALF_MAX;
    for (int k = -half; k <= half; k++) sum += kernel[k + half] = (float)exp(-0.5 * k * k / (sigma * sigma));
    for (int k = 0; k <= 2 * half; k++) kernel[k] /= sum;
    size_t n = (size_t)s->width * (size_t)s->height;
    float *a = malloc(n * sizeof *a), *b = malloc(n * sizeof *b);
    if (a && b) {
        smooth_rows(s->value, a, s->width, s->height, kernel, half);
        smooth_columns(a, b, s->width, s->height, kernel, half);
        gradients(s, b);
    }
    bool enough = a && b;
    free(a);
    free(b);
    return enough ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the squared view");
}

ps_status ps_squared_render(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_plane *plane, const double box[4],
                            double step, double smooth, ps_squared *out) {
    ps_squared s = {0};
    double(*grid)[2] = NULL;
    ps_status status = PS_OK;
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
    size_t n = (size_t)s.width * (size_t)s.height;
    int columns = (s.width + GRID - 1) / GRID + 2, rows = (s.height + GRID - 1) / GRID + 2;
    s.value = malloc(n * sizeof *s.value);
    s.gx = calloc(n, sizeof *s.gx);
    s.gy = calloc(n, sizeof *s.gy);
    grid = malloc((size_t)columns * (size_t)rows * sizeof *grid);
    if (!s.value || !s.gx || !s.gy || !grid) {
        status = ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the squared view");
        goto out;
    }
    project_grid(view, plane, &s, columns, rows, grid);
    resample(luma, &s, columns, grid);
    status = differentiate(ctx, &s, smooth);
out:
    free(grid);
    if (status == PS_OK)
        *out = s;
    else
        ps_squared_clear(&s);
    return status;
}
