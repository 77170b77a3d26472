/* Photos of a gap as gradients, edge elements, and the support of circles in space. The faces are seen so slanted that a view squared up
 * to them would be mostly blur; so circles are projected into the photos instead. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "rim/gap.h"

enum { SECTORS_MAX = 96, COHERENT = 1 };
static const double alone = 0.5;          /* what one photo of several shows is of no known height */
static const double floor_support = 0.03; /* a photo that shows nothing does not veto a rim */

void ps_gap_image_clear(ps_gap_image *image) {
    free(image->gx);
    free(image->gy);
    memset(image, 0, sizeof *image);
}

static void shrink_rows(const ps_luma *luma, int n, int width, int height, float *out) {
    float table[256];
    const float *linear = ps_photo_linear_table();
    for (int i = 0; i < 256; i++) table[i] = linear[i];
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++) {
            float sum = 0;
            for (int j = 0; j < n; j++) {
                const uint8_t *p = luma->px + (size_t)(y * n + j) * luma->stride + (size_t)x * n;
                for (int i = 0; i < n; i++) sum += table[p[i]];
            }
            out[(size_t)y * width + x] = sqrtf(sum / (float)(n * n));
        }
}

/* 1 2 1 over 4 along rows and columns, twice: a Gaussian of one sample. */
static void smooth(float *value, float *work, int width, int height) {
    for (int pass = 0; pass < 2; pass++) {
        for (int y = 0; y < height; y++)
            for (int x = 0; x < width; x++) {
                const float *p = value + (size_t)y * width;
                work[(size_t)y * width + x] = 0.25f * (p[x > 0 ? x - 1 : x] + 2 * p[x] + p[x < width - 1 ? x + 1 : x]);
            }
        for (int y = 0; y < height; y++)
            for (int x = 0; x < width; x++) {
                size_t up = (size_t)(y > 0 ? y - 1 : y) * width + x, down = (size_t)(y < height - 1 ? y + 1 : y) * width + x;
                value[(size_t)y * width + x] = 0.25f * (work[up] + 2 * work[(size_t)y * width + x] + work[down]);
            }
    }
}

static int compare_float(const void *a, const void *b) {
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* The gradient below which a share of all lies, from a sparse sample. */
static float quantile(const ps_gap_image *im, double share) {
    enum { SAMPLES = 8000 };
    float value[SAMPLES];
    size_t n = (size_t)im->width * (size_t)im->height, step = n / SAMPLES + 1;
    int count = 0;
    for (size_t i = 0; i < n && count < SAMPLES; i += step) value[count++] = hypotf(im->gx[i], im->gy[i]);
    if (count == 0) return 0;
    qsort(value, (size_t)count, sizeof *value, compare_float);
    return value[(int)(share * (count - 1))];
}

ps_status ps_gap_image_make(ps_context *ctx, const ps_luma *luma, int side, ps_gap_image *out) {
    int longer = luma->width > luma->height ? luma->width : luma->height, n = (longer + side - 1) / side;
    if (n < 1) n = 1;
    ps_gap_image im = {luma->width / n, luma->height / n, n, 0, NULL, NULL};
    if (im.width < 16 || im.height < 16) return ps_context_fail(ctx, PS_NOT_FOUND, "the photo is too small");
    size_t count = (size_t)im.width * (size_t)im.height;
    float *value = malloc(count * sizeof *value), *work = malloc(count * sizeof *work);
    im.gx = calloc(count, sizeof *im.gx);
    im.gy = calloc(count, sizeof *im.gy);
    ps_status status = value && work && im.gx && im.gy ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for gradients");
    if (status == PS_OK) {
        shrink_rows(luma, n, im.width, im.height, value);
        smooth(value, work, im.width, im.height);
        for (int y = 1; y < im.height - 1; y++)
            for (int x = 1; x < im.width - 1; x++) {
                size_t i = (size_t)y * im.width + x;
                im.gx[i] = 0.5f * (value[i + 1] - value[i - 1]);
                im.gy[i] = 0.5f * (value[i + im.width] - value[i - im.width]);
            }
        /* As for profiles of end-on photos: three times the median, half of what strong edges have, never below noise. */
        im.full = fmaxf(fmaxf(3 * quantile(&im, 0.5), 0.5f * quantile(&im, 0.95)), 0.006f);
    }
    free(value);
    free(work);
    if (status == PS_OK)
        *out = im;
    else
        ps_gap_image_clear(&im);
    return status;
}

/* ---- edge elements ---- */

static bool masked(const ps_view *view, const ps_rim_mask *mask, int masks, const double at[2]) {
    double o[3], d[3];
    if (!ps_view_ray(view, at, o, d) || fabs(d[2]) < 1e-9) return true;
    double x = o[0] - d[0] * o[2] / d[2], y = o[1] - d[1] * o[2] / d[2];
    for (int m = 0; m < masks; m++) {
        bool left = true, right = true;
        for (int c = 0; c < 4; c++) {
            const double *p = mask[m].corner_mm[c], *q = mask[m].corner_mm[(c + 1) % 4];
            double side = (q[0] - p[0]) * (y - p[1]) - (q[1] - p[1]) * (x - p[0]);
            left = left && side >= 0;
            right = right && side <= 0;
        }
        if (left || right) return true;
    }
    return false;
}

void ps_gap_image_blank(ps_gap_image *im, const ps_view *view, const ps_rim_mask *mask, int masks) {
    for (int y = 0; y < im->height; y++)
        for (int x = 0; x < im->width; x++) {
            const double half = 0.5 * (im->shrink - 1), at[2] = {x * im->shrink + half, y * im->shrink + half};
            size_t i = (size_t)y * im->width + x;
            if (masked(view, mask, masks, at)) im->gx[i] = im->gy[i] = 0;
        }
}

int ps_gap_edgels(const ps_gap_image *im, const ps_view *view, const ps_rim_mask *mask, int masks, ps_gap_edgel *out, int room) {
    int count = 0, w = im->width;
    float least = fmaxf(quantile(im, 0.88), 0.004f);
    for (int y = 2; y < im->height - 2; y++)
        for (int x = 2; x < w - 2 && count < room; x++) {
            size_t i = (size_t)y * w + x;
            float gx = im->gx[i], gy = im->gy[i], g = hypotf(gx, gy);
            if (g < least) continue;
            int dx = gx > 0.4f * g ? 1 : gx < -0.4f * g ? -1 : 0, dy = gy > 0.4f * g ? 1 : gy < -0.4f * g ? -1 : 0;
            size_t ahead = (size_t)(y + dy) * w + x + dx, behind = (size_t)(y - dy) * w + x - dx;
            float a = hypotf(im->gx[behind], im->gy[behind]), b = hypotf(im->gx[ahead], im->gy[ahead]);
            if (a > g || b >= g) continue;
            double offset = 0.5 * (a - b) / (a - 2 * g + b - 1e-12), half = 0.5 * (im->shrink - 1);
            ps_gap_edgel e = {(x + offset * dx) * im->shrink + half, (y + offset * dy) * im->shrink + half, -gy / g, gx / g};
            const double at[2] = {e.x, e.y};
            if (!masked(view, mask, masks, at)) out[count++] = e;
        }
    return count;
}

/* ---- support ---- */

void ps_gap_frame_set(ps_gap_frame *f, double turn, double lean) {
    f->turn = turn;
    f->lean = lean;
    const double e1[3] = {cos(turn), sin(turn), 0}, e3[3] = {-sin(turn) * cos(lean), cos(turn) * cos(lean), -sin(lean)};
    memcpy(f->e1, e1, sizeof e1);
    memcpy(f->e3, e3, sizeof e3);
    ps_cross3(e3, e1, f->e2);
}

void ps_gap_station(const ps_view *view, const ps_gap_frame *f, double at[3]) {
    double C[3];
    ps_mat3_tmul_vec(view->pose.R, view->pose.t, C);
    at[0] = -ps_dot3(C, f->e1);
    at[1] = -ps_dot3(C, f->e2);
    at[2] = -ps_dot3(C, f->e3);
}

/* A view in a frame of the pins, for many points: camera coordinates of its axes, and the upright photo as an affine map of the stored
 * one, in samples of the shrunk photo. */
typedef struct looker {
    double axis[3][3], t[3];
    double map[2][3];
    const ps_lens *lens;
} looker;

static void looker_make(const ps_gap_image *im, const ps_view *view, const ps_gap_frame *f, looker *out) {
    const double *e[3] = {f->e1, f->e2, f->e3}, at[3][2] = {{0, 0}, {1, 0}, {0, 1}};
    double p[3][2];
    for (int i = 0; i < 3; i++) {
        ps_mat3_mul_vec(view->pose.R, e[i], out->axis[i]);
        out->t[i] = view->pose.t[i];
        ps_photo_stored_to_upright(view->orientation, view->stored_width, view->stored_height, at[i], p[i]);
    }
    for (int k = 0; k < 2; k++) {
        out->map[k][0] = (p[1][k] - p[0][k]) / im->shrink;
        out->map[k][1] = (p[2][k] - p[0][k]) / im->shrink;
        out->map[k][2] = (p[0][k] - 0.5 * (im->shrink - 1)) / im->shrink;
    }
    out->lens = &view->lens;
}

/* As ps_lens_project and ps_view_project have it; the lens is taken not to fold over within the photo. */
static bool look(const looker *v, double s, double h, double t, double p[2]) {
    double x[3];
    for (int i = 0; i < 3; i++) x[i] = v->t[i] + s * v->axis[0][i] + h * v->axis[1][i] + t * v->axis[2][i];
    if (!(x[2] > 1)) return false;
    const ps_lens *l = v->lens;
    double a = x[0] / x[2], b = x[1] / x[2], r2 = a * a + b * b, radial = 1 + r2 * (l->k1 + r2 * (l->k2 + r2 * l->k3));
    if (r2 > 4) return false;
    double u = l->f_px * (a * radial + 2 * l->p1 * a * b + l->p2 * (r2 + 2 * a * a)) + l->cx;
    double w = l->f_px * (b * radial + l->p1 * (r2 + 2 * b * b) + 2 * l->p2 * a * b) + l->cy;
    for (int k = 0; k < 2; k++) p[k] = v->map[k][0] * u + v->map[k][1] * w + v->map[k][2];
    return true;
}

double ps_gap_support(const ps_gap_image *im, const ps_view *view, const ps_gap_frame *f, double s, double h, double t, double r,
                      int inward, int sectors) {
    double p[SECTORS_MAX][2], g[SECTORS_MAX], sum = 0;
    bool in[SECTORS_MAX];
    int inside = 0;
    double at[3];
    ps_gap_station(view, f, at);
    if (inward * (at[2] - t) < 5) return NAN; /* the face is turned away */
    looker v;
    looker_make(im, view, f, &v);
    double c = 1, z = 0, dc = cos(2 * PS_PI / sectors), dz = sin(2 * PS_PI / sectors); /* turned on step by step */
    for (int k = 0; k < sectors; k++) {
        in[k] = look(&v, s + r * c, h + r * z, t, p[k]);
        double turned = c * dc - z * dz;
        z = z * dc + c * dz;
        c = turned;
        in[k] = in[k] && p[k][0] >= 1 && p[k][1] >= 1 && p[k][0] < im->width - 2 && p[k][1] < im->height - 2;
    }
    for (int k = 0; k < sectors; k++) {
        int last = (k + sectors - 1) % sectors, next = (k + 1) % sectors;
        g[k] = 0;
        if (!in[last] || !in[k] || !in[next]) continue;
        inside++;
        double tx = p[next][0] - p[last][0], ty = p[next][1] - p[last][1], length = sqrt(tx * tx + ty * ty) + 1e-9;
        int i = (int)p[k][0], j = (int)p[k][1];
        double a = p[k][0] - i, b = p[k][1] - j;
        const float *x = im->gx + (size_t)j * im->width + i, *y = im->gy + (size_t)j * im->width + i;
        int w = im->width;
        double gx = (1 - b) * ((1 - a) * x[0] + a * x[1]) + b * ((1 - a) * x[w] + a * x[w + 1]);
        double gy = (1 - b) * ((1 - a) * y[0] + a * y[1]) + b * ((1 - a) * y[w] + a * y[w + 1]);
        g[k] = (gx * ty - gy * tx) / length;
    }
    if (inside < sectors / 2) return NAN;
    for (int k = 0; k < sectors; k++) {
        double run = 0;
        for (int e = -COHERENT; e <= COHERENT; e++) run += g[(k + e + sectors) % sectors];
        sum += fmin(1, fabs(run) / ((2 * COHERENT + 1) * im->full));
    }
    return sum / inside;
}

double ps_gap_joint(const ps_gap_scene *scene, const ps_gap_frame *f, double s, double h, int ear, double t, double r, int sectors,
                    int *seen) {
    double product = 1;
    int count = 0;
    for (int i = 0; i < scene->photos; i++) {
        double one = ps_gap_support(&scene->images[i], &scene->views[i], f, s, h, t, r, ps_gap_inward(ear), sectors);
        if (isnan(one)) continue;
        product *= fmax(one, floor_support);
        count++;
    }
    if (seen) *seen = count;
    if (count == 0 || (scene->over && count < 2)) return 0;
    return pow(product, 1.0 / count) * (count < 2 && scene->photos > 1 ? alone : 1);
}
