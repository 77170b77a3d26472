/* How blurred a photo is at a piece, from the sides of its squares.
 *
 * A side's spread along its normal n is the blur's variance that way, n'Cn. Sides run in two directions only, and a shake
 * along the squares' diagonal widens both alike, as defocus does. What tells them apart are the corners: in the middle of
 * a checkerboard's corner the light is the mean of black and white, unless blur across one side goes with blur across the
 * other; then it is (2/pi) asin(rho) away from it (the sign correlation of two Gaussians, Sheppard 1899), one way at
 * corners with black squares top-left, the other way at the rest. So all three terms of C are had. */
#include <math.h>
#include <stdlib.h>

#include "base/linear.h"
#include "base/step.h"
#include "pinspan/target.h"

enum { BINS_MAX = 2048, SAMPLES_LEAST = 20, UNKNOWNS = 5, ROUNDS_MAX = 20, SIDES_LEAST = 2, SIDES_MAX = 2 * PS_PIECE_CORNERS_MAX };
enum { OFFSET = 0, INK, LOG_SIGMA, BLACK, WHITE };

static const double along_share = 0.3;    /* of a side, to each side of its middle: clear of its corners, beside its tag's ink */
static const double black_share = 0.4;    /* of a square: how far into the black */
static const double sigma_least_px = 0.2; /* below a pixel's own aperture (0.29): nothing is sharper */
static const double contrast_least = 0.02;
/* Pixels of about one distance from a side are taken together: their spread within a bin adds bin^2/12 to the blur's variance,
 * 0.001 px in the sharpest photo. */
static const double bin_px = 1.0 / 16;

typedef struct side {
    bool had;
    double variance, normal[2], black, white; /* px^2; unit, toward +x or +y of the piece; linear light */
} side;

typedef struct samples {
    int count, pixels;
    double d[BINS_MAX], value[BINS_MAX], weight[BINS_MAX]; /* px from the side toward the white square; linear light; pixels */
    double ink;                                            /* about where the tag's ink starts, same direction */
} samples;

/* Corners of a sighting by their place in the grid. */
typedef struct grid {
    int columns, rows; /* of corners */
    const ps_corner *at[PS_PIECE_CORNERS_MAX];
    double margin; /* share of a square */
} grid;

static bool grid_make(const ps_sighting *s, grid *g) {
    const ps_piece *piece = ps_kit_piece(s->piece);
    if (!piece) return false;
    *g = (grid){.columns = piece->columns - 1, .rows = piece->rows - 1, .margin = 0.5 * (1 - piece->tag_side_mm / piece->square_mm)};
    for (int i = 0; i < s->corner_count; i++)
        if (s->corner[i].index >= 0 && s->corner[i].index < piece->corner_count) g->at[s->corner[i].index] = &s->corner[i];
    return true;
}

static const ps_corner *corner_at(const grid *g, int column, int row) {
    if (column < 0 || row < 0 || column >= g->columns || row >= g->rows) return NULL;
    return g->at[row * g->columns + column];
}

/* Step of one square across a side: to the corner beside either of its ends. */
static bool step_across(const grid *g, int column, int row, bool along_y, double step[2]) {
    int dc = along_y ? 1 : 0, dr = along_y ? 0 : 1;
    for (int end = 0; end < 2; end++)
        for (int sign = -1; sign <= 1; sign += 2) {
            int c = column + (along_y ? 0 : end), r = row + (along_y ? end : 0);
            const ps_corner *from = corner_at(g, c, r), *to = corner_at(g, c + sign * dc, r + sign * dr);
            if (!from || !to) continue;
            step[0] = sign * (to->x_px - from->x_px);
            step[1] = sign * (to->y_px - from->y_px);
            return true;
        }
    return false;
}

/* Pixels up to `half` along the side t from its middle and `low` to `high` across it, gathered by their distance. */
static void take(const ps_luma *luma, const double middle[2], const double t[2], const double n[2], double half, double low, double high,
                 samples *out) {
    const float *linear = ps_photo_linear_table();
    double reach = half + fmax(-low, high);
    int left = (int)fmax(0, floor(middle[0] - reach)), right = (int)fmin(luma->width - 1, ceil(middle[0] + reach));
    int top = (int)fmax(0, floor(middle[1] - reach)), bottom = (int)fmin(luma->height - 1, ceil(middle[1] + reach));
    int bins = (int)fmin(BINS_MAX, (high - low) / bin_px + 1);
    for (int i = 0; i < bins; i++) out->d[i] = out->value[i] = out->weight[i] = 0;
    for (int y = top; y <= bottom; y++)
        for (int x = left; x <= right; x++) {
            double dx = x - middle[0], dy = y - middle[1], d = dx * n[0] + dy * n[1];
            if (fabs(dx * t[0] + dy * t[1]) > half || d < low || d > high) continue;
            int i = (int)((d - low) / bin_px);
            if (i >= bins) continue;
            out->d[i] += d;
            out->value[i] += (double)linear[luma->px[(size_t)y * luma->stride + (size_t)x]];
            out->weight[i]++;
        }
    out->count = out->pixels = 0;
    for (int i = 0; i < bins; i++) {
        double weight = out->weight[i];
        if (!(weight > 0)) continue;
        out->pixels += (int)weight;
        out->d[out->count] = out->d[i] / weight;
        out->value[out->count] = out->value[i] / weight;
        out->weight[out->count++] = weight;
    }
}

typedef struct equations {
    double N[UNKNOWNS * UNKNOWNS], gradient[UNKNOWNS];
} equations;

/* Black square, clear paper, ink: two edges of one blur. Sum of squares and normal equations. */
static double sum_squares(const samples *s, const double q[UNKNOWNS], equations *out) {
    const ps_step_node *table = ps_step_table();
    double sigma = exp(q[LOG_SIGMA]), swing = q[WHITE] - q[BLACK], rss = 0, k = 1 / (sigma * sqrt(2)), bell = 1 / sqrt(2 * PS_PI);
    *out = (equations){{0}, {0}};
    for (int n = 0; n < s->count; n++) {
        double e = (s->d[n] - q[OFFSET]) / sigma, f = (s->d[n] - q[INK]) / sigma, up, down, at_up, at_down;
        ps_step_at(table, (s->d[n] - q[OFFSET]) * k, &up, &at_up);
        ps_step_at(table, (s->d[n] - q[INK]) * k, &down, &at_down);
        double white = 0.5 * (up - down), r = s->value[n] - q[BLACK] - swing * white, w = s->weight[n];
        at_up *= bell, at_down *= bell;
        rss += w * r * r;
        const double row[UNKNOWNS] = {-swing * at_up / sigma, swing * at_down / sigma, swing * (f * at_down - e * at_up), 1 - white, white};
        for (int i = 0; i < UNKNOWNS; i++) {
            out->gradient[i] += w * row[i] * r;
            for (int j = 0; j <= i; j++) out->N[i * UNKNOWNS + j] += w * row[i] * row[j];
        }
    }
    return rss;
}

static bool fit(const samples *s, double sigma_px, double q[UNKNOWNS]) {
    equations now, then;
    double low = INFINITY, high = -INFINITY, step[UNKNOWNS], damping = 1e-3;
    for (int k = 0; k < s->count; k++) low = fmin(low, s->value[k]), high = fmax(high, s->value[k]);
    q[OFFSET] = 0, q[INK] = s->ink, q[LOG_SIGMA] = log(fmax(sigma_px, 0.5)), q[BLACK] = low, q[WHITE] = high;
    double rss = sum_squares(s, q, &now), tried_rss = rss;
    for (int round = 0; round < ROUNDS_MAX; round++) {
        double tried[UNKNOWNS];
        bool better = false;
        for (int attempt = 0; attempt < 6 && !better; attempt++) {
            if (!ps_damped_solve(now.N, now.gradient, UNKNOWNS, damping, step)) return false;
            for (int i = 0; i < UNKNOWNS; i++) tried[i] = q[i] + step[i];
            better = tried[LOG_SIGMA] > log(sigma_least_px) && tried[LOG_SIGMA] < 4;
            better = better && (tried_rss = sum_squares(s, tried, &then)) <= rss;
            damping *= better ? 0.1 : 10;
        }
        if (!better) return true;
        for (int i = 0; i < UNKNOWNS; i++) q[i] = tried[i];
        now = then, rss = tried_rss;
        if (fabs(step[LOG_SIGMA]) < 1e-4) return true;
    }
    return true;
}

/* The side from corner (column, row) to the next along y, or along x. */
static side read_side(const ps_luma *luma, const grid *g, int column, int row, bool along_y, double guess_px, samples *s) {
    side out = {.had = false};
    const ps_corner *a = corner_at(g, column, row), *b = corner_at(g, column + !along_y, row + along_y);
    double across[2], q[UNKNOWNS];
    if (!a || !b || !step_across(g, column, row, along_y, across)) return out;
    double t[2] = {b->x_px - a->x_px, b->y_px - a->y_px}, length = hypot(t[0], t[1]);
    if (!(length > 4)) return out;
    t[0] /= length, t[1] /= length;
    double n[2] = {-t[1], t[0]}, depth = n[0] * across[0] + n[1] * across[1];
    if (depth < 0) n[0] = -n[0], n[1] = -n[1], depth = -depth;
    /* The square right of or below the side is (column + 1, row + 1): white where their sum is odd. */
    double toward = (column + row) % 2 ? 1 : -1, white[2] = {toward * n[0], toward * n[1]};
    const double middle[2] = {0.5 * (a->x_px + b->x_px), 0.5 * (a->y_px + b->y_px)};
    s->ink = g->margin * depth;
    take(luma, middle, t, white, along_share * length, -black_share * depth, s->ink, s);
    if (s->pixels < SAMPLES_LEAST || s->count < UNKNOWNS || !fit(s, guess_px, q)) return out;
    if (!(q[WHITE] - q[BLACK] > contrast_least) || !(fabs(q[OFFSET]) < 0.5 * s->ink) || !(q[INK] - q[OFFSET] > 0.5 * s->ink)) return out;
    return (side){true, exp(2 * q[LOG_SIGMA]), {n[0], n[1]}, q[BLACK], q[WHITE]};
}

static int ascending(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *v, int n) {
    qsort(v, (size_t)n, sizeof *v, ascending);
    return n % 2 ? v[n / 2] : 0.5 * (v[n / 2 - 1] + v[n / 2]);
}

/* Median variance and mean normal of all sides of one direction. */
static bool family(const side *sides, double *variance, double normal[2]) {
    double v[PS_PIECE_CORNERS_MAX];
    int n = 0;
    normal[0] = normal[1] = 0;
    for (int i = 0; i < PS_PIECE_CORNERS_MAX; i++) {
        if (!sides[i].had) continue;
        v[n++] = sides[i].variance;
        for (int k = 0; k < 2; k++) normal[k] += sides[i].normal[k];
    }
    double length = hypot(normal[0], normal[1]);
    if (n < SIDES_LEAST || !(length > 0)) return false;
    *variance = median(v, n);
    normal[0] /= length, normal[1] /= length;
    return true;
}

/* Light in the middle of a corner, -1 black to 1 white. NaN where no side beside it was read. */
static double corner_light(const ps_luma *luma, const grid *g, const side sides[2][PS_PIECE_CORNERS_MAX], int column, int row) {
    const ps_corner *at = corner_at(g, column, row);
    double black = 0, white = 0, value = 0;
    int n = 0, index = row * g->columns + column;
    const int beside[4] = {index, column > 0 ? index - 1 : -1, index, row > 0 ? index - g->columns : -1};
    for (int k = 0; k < 4; k++) {
        if (beside[k] < 0 || !sides[k / 2][beside[k]].had) continue;
        black += sides[k / 2][beside[k]].black, white += sides[k / 2][beside[k]].white;
        n++;
    }
    int x = at ? (int)floor(at->x_px) : -1, y = at ? (int)floor(at->y_px) : -1;
    if (!n || x < 0 || y < 0 || x + 1 >= luma->width || y + 1 >= luma->height) return NAN;
    const float *linear = ps_photo_linear_table();
    for (int k = 0; k < 4; k++) {
        double wx = k % 2 ? at->x_px - x : 1 - at->x_px + x, wy = k / 2 ? at->y_px - y : 1 - at->y_px + y;
        value += wx * wy * (double)linear[luma->px[(size_t)(y + k / 2) * luma->stride + (size_t)(x + k % 2)]];
    }
    return (2 * value - (white + black) / n) / ((white - black) / n);
}

/* Correlation of the blur across the two directions of sides; 0 where corners of one sort are wanting. A tone curve's or
 * halo's bias is alike at both sorts of corners and drops out of their difference. */
static double correlation(const ps_luma *luma, const grid *g, const side sides[2][PS_PIECE_CORNERS_MAX]) {
    double light[2][PS_PIECE_CORNERS_MAX];
    int n[2] = {0, 0};
    for (int row = 0; row < g->rows; row++)
        for (int column = 0; column < g->columns; column++) {
            double v = corner_light(luma, g, sides, column, row);
            int sort = (column + row) % 2;
            if (isfinite(v)) light[sort][n[sort]++] = v;
        }
    if (n[0] < SIDES_LEAST || n[1] < SIDES_LEAST) return 0;
    double away = 0.5 * (median(light[1], n[1]) - median(light[0], n[0])); /* where black is top-left, black wins */
    return sin(0.5 * PS_PI * fmax(-1, fmin(1, away)));
}

/* C from its variances across two directions and their correlation: C = M^-T [a c; c b] M^-1 with the normals as columns of M. */
static bool spread(double a, const double n[2], double b, const double m[2], double rho, ps_blur *out) {
    double det = n[0] * m[1] - m[0] * n[1], c = rho * sqrt(a * b);
    if (!(fabs(det) > 0.2)) return false;
    const double i[2][2] = {{m[1] / det, -m[0] / det}, {-n[1] / det, n[0] / det}};
    double xx = i[0][0] * i[0][0] * a + 2 * i[0][0] * i[1][0] * c + i[1][0] * i[1][0] * b;
    double xy = i[0][0] * i[0][1] * a + (i[0][0] * i[1][1] + i[1][0] * i[0][1]) * c + i[1][0] * i[1][1] * b;
    double yy = i[0][1] * i[0][1] * a + 2 * i[0][1] * i[1][1] * c + i[1][1] * i[1][1] * b;
    double mean = 0.5 * (xx + yy), half = hypot(0.5 * (xx - yy), xy);
    out->major_px = sqrt(mean + half);
    out->minor_px = sqrt(fmax(mean - half, 0));
    out->angle_deg = 0.5 * atan2(2 * xy, xx - yy) * 180 / PS_PI;
    return isfinite(out->major_px);
}

bool ps_target_blur(const ps_luma *luma, const ps_sighting *s, ps_blur *out) {
    grid g;
    side sides[2][PS_PIECE_CORNERS_MAX] = {{{.had = false}}}; /* along x, along y; by the corner where they start */
    double variance[2], normal[2][2];
    *out = (ps_blur){.edges = 0};
    samples *room = malloc(sizeof *room);
    if (!room) return false;
    bool had = grid_make(s, &g);
    for (int row = 0; had && row < g.rows; row++)
        for (int column = 0; column < g.columns; column++)
            for (int k = 0; k < 2; k++) {
                side *one = &sides[k][row * g.columns + column];
                *one = read_side(luma, &g, column, row, k == 1, s->blur_px, room);
                out->edges += one->had;
            }
    free(room);
    had = had && family(sides[0], &variance[0], normal[0]) && family(sides[1], &variance[1], normal[1]);
    had = had &&
          spread(variance[0], normal[0], variance[1], normal[1], correlation(luma, &g, (const side(*)[PS_PIECE_CORNERS_MAX])sides), out);
    if (!had) *out = (ps_blur){.edges = 0};
    return had;
}
