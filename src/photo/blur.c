/* How blurred a photo is, from its own sharpest edges: an edge of contrast D whose steepest slope is g has the spread
 * D / (sqrt(2 pi) g). Sorted by direction, since a shake leaves edges along it sharp; in each direction the sharpest fifth is
 * taken, since shadows, bends of steel and what lies far behind are soft in any photo. */
#include <math.h>
#include <stdlib.h>

#include "base/linear.h"
#include "photo/light.h"
#include "pinspan/photo.h"

enum { DIRECTIONS = 8, WALK_MAX = 24, EDGES_LEAST = 60, EDGES_ENOUGH = 600, SPREADS = 400, PIXELS_ENOUGH = 4000000, DIRECTIONS_LEAST = 5 };

static const double slope_least = 0.006;   /* linear light a pixel: three times the noise of a phone by day, practice */
static const double contrast_least = 0.12; /* linear light */
static const double plateau_share = 0.08;  /* of the steepest slope: there the edge has ended */
static const double spread_bin_px = 0.05;  /* of the histogram, up to 20 px */
static const double sharpest_share = 0.2;

typedef struct edges {
    int count[DIRECTIONS], of_spread[DIRECTIONS][SPREADS];
} edges;

/* Light gained along one way of the normal until the edge has ended; NaN where it does not end. */
static double gained(const ps_luma *luma, const float *linear, int x, int y, const double step[2], double slope) {
    double last = (double)linear[luma->px[(size_t)y * luma->stride + (size_t)x]], first = last;
    for (int k = 1; k <= WALK_MAX; k++) {
        double px = x + k * step[0], py = y + k * step[1];
        if (!ps_light_inside(luma, px, py)) return NAN;
        double v = ps_light_at(luma, linear, px, py);
        if (v - last < plateau_share * slope) return fmax(v, last) - first;
        last = v;
    }
    return NAN;
}

static void look_at(const ps_luma *luma, const float *linear, int x, int y, edges *out) {
    const uint8_t *p = luma->px + (size_t)y * luma->stride + x;
    double gx = 0.5 * (double)(linear[p[1]] - linear[p[-1]]), gy = 0.5 * (double)(linear[p[luma->stride]] - linear[*(p - luma->stride)]);
    double slope = hypot(gx, gy);
    if (!(slope >= slope_least)) return;
    double up[2] = {gx / slope, gy / slope}, down[2] = {-gx / slope, -gy / slope};
    if (!ps_light_inside(luma, x + 2 * up[0], y + 2 * up[1]) || !ps_light_inside(luma, x - 2 * up[0], y - 2 * up[1])) return;
    /* The steepest place of the edge: slopes half a pixel and more to both sides are less. */
    double here = ps_light_at(luma, linear, x + up[0], y + up[1]) - ps_light_at(luma, linear, x + down[0], y + down[1]);
    double ahead = ps_light_at(luma, linear, x + 2 * up[0], y + 2 * up[1]) - (double)linear[*p];
    double behind = (double)linear[*p] - ps_light_at(luma, linear, x + 2 * down[0], y + 2 * down[1]);
    if (ahead > here || behind >= here) return;
    double above = gained(luma, linear, x, y, up, slope), below = 0;
    double back = (double)linear[*p];
    for (int k = 1; k <= WALK_MAX + 1; k++) {
        double px = x + k * down[0], py = y + k * down[1];
        if (k > WALK_MAX || !ps_light_inside(luma, px, py)) return;
        double v = ps_light_at(luma, linear, px, py);
        below = (double)linear[*p] - fmin(v, back);
        if (back - v < plateau_share * slope) break;
        back = v;
    }
    double contrast = above + below;
    if (!(contrast >= contrast_least)) return;
    double turn = atan2(gy, gx) / PS_PI * DIRECTIONS;
    int direction = ((int)lround(turn) % DIRECTIONS + DIRECTIONS) % DIRECTIONS;
    int bin = (int)(contrast / (sqrt(2 * PS_PI) * slope) / spread_bin_px);
    out->count[direction]++;
    out->of_spread[direction][bin < SPREADS ? bin : SPREADS - 1]++;
}

/* Spread that the sharpest fifth stays under, px; the slope is taken over two pixels, which adds a third of a px^2. */
static double sharpest(const edges *e, int direction) {
    int sum = 0, bin = 0;
    while (bin < SPREADS && sum < sharpest_share * e->count[direction]) sum += e->of_spread[direction][bin++];
    double spread = bin * spread_bin_px;
    return sqrt(fmax(spread * spread - 1.0 / 3, 0.04));
}

bool ps_photo_blur(const ps_luma *luma, ps_blur *out) {
    *out = (ps_blur){.edges = 0};
    edges *e = calloc(1, sizeof *e);
    if (!e || !luma->px || luma->width < 8 || luma->height < 8) {
        free(e);
        return false;
    }
    const float *linear = ps_photo_linear_table();
    /* Rows are left out of large photos: a few million places are enough. */
    int stride = 1 + (int)((double)luma->width * luma->height / PIXELS_ENOUGH);
    for (int y = 1; y < luma->height - 2; y += stride)
        for (int i = 1; i < luma->width - 2; i++) look_at(luma, linear, i, y, e);
    /* Variance along the normal at angle a: m + c cos 2a + s sin 2a, by least squares; a direction counts by its edges, up to a point. */
    double N[9] = {0}, x[3] = {0};
    int had = 0;
    for (int k = 0; k < DIRECTIONS; k++) {
        if (e->count[k] < EDGES_LEAST) continue;
        double spread = sharpest(e, k), twice = 2 * PS_PI * k / DIRECTIONS;
        double row[3] = {1, cos(twice), sin(twice)}, weight = fmin(e->count[k], EDGES_ENOUGH);
        had++;
        out->edges += e->count[k];
        for (int i = 0; i < 3; i++) {
            x[i] += weight * row[i] * spread * spread;
            for (int j = 0; j < 3; j++) N[3 * i + j] += weight * row[i] * row[j];
        }
    }
    free(e);
    if (had < DIRECTIONS_LEAST || !ps_linear_solve(N, x, 3)) {
        *out = (ps_blur){.edges = 0};
        return false;
    }
    double half = hypot(x[1], x[2]);
    out->major_px = sqrt(fmax(x[0] + half, 0)), out->minor_px = sqrt(fmax(x[0] - half, 0.04));
    out->angle_deg = 0.5 * atan2(x[2], x[1]) * 180 / PS_PI;
    return true;
}
