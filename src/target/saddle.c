/* A checkerboard corner as the product of two edge-spread functions (error functions), fitted by damped Gauss-Newton.
 *
 * The model is point-symmetric about the corner, and so is every effect of blur, of a tone curve and of sharpening on a
 * true corner: they spoil the fit's shape but not its place. Only what is odd under a half turn about the corner moves
 * it. The standard deviation therefore comes from the odd part of the residuals, with their correlation (denoising and
 * JPEG smear noise over neighbours) taken from the same residuals. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "base/step.h"
#include "target/saddle.h"

enum { REACH_MAX = 24, SIDE = 2 * REACH_MAX + 1, POINTS_MAX = SIDE * SIDE, UNKNOWNS = 9, ROUNDS_MAX = 14, POINTS_MIN = 24 };
enum { CX = 0, CY, T1, T2, LOG_BLUR, LEVEL, SWING, TILT_X, TILT_Y };

static const double SIGMA_FLOOR_PX = 0.02; /* published target location in photogrammetry ends at 1/50 px */
static const double ARM_SQUARES = 1.0 / 6.0, ARM_MIN_PX = 7.0;
/* Pixel aperture (a box of 1 px: sd 0.29 px) and diffraction of a phone lens (f/1.8, 0.55 um, 1.4 um pixels: about 0.3 px).
 * What a phone shows as sharper is its sharpening. */
static const double BLUR_MIN_PX = 0.42;
static const double BLUR_MAX_PX = 8.0;
static const double FIT_MIN = 0.80;   /* less explained variance means that something else is in the window */
static const double SWING_MIN = 0.01; /* linear light: half of 2 % of full scale, a few grey levels in the dark */
static const double TURN_MAX = 0.35;  /* an edge may differ from the prediction by 20 degrees */

typedef struct window {
    int count;
    double reach;                        /* px */
    double x[POINTS_MAX], y[POINTS_MAX]; /* offsets from the guess */
    double value[POINTS_MAX];            /* linear light */
    double residual[POINTS_MAX];
    int16_t place[SIDE][SIDE]; /* index into the above, -1 outside */
    int left, top;             /* photo pixel of place[0][0] */
} window;

static double clamp(double v, double low, double high) {
    return v < low ? low : v > high ? high : v;
}

/* Half-length of the window's arms. The sd falls with the root of their length; past a sixth of a square the gain is small
 * against the risk of dirt and curvature. Never past 45 % of the way to the next corner. */
static double window_reach(const ps_saddle_guess *g, double square_px) {
    double wanted = fmax(ARM_SQUARES * square_px, fmax(ARM_MIN_PX, 5.0 * g->blur_px));
    return fmin(fmin(wanted, 0.45 * square_px), REACH_MAX - 1.0);
}

/* Half-width of the arms, px: wide enough for the edge and a sharpening halo, two blur sigmas clear of the tag's ink, but
 * never thinner than about a pixel to each side. */
static double strip_width(const ps_saddle_guess *g, double side_px) {
    double clear = g->margin * side_px - 2.0 * g->blur_px;
    return fmax(fmin(clear, fmax(5.0, 4.0 * g->blur_px + 2.0)), 1.2);
}

/* Takes the pixels of the cross |u| <= reach and |v| <= reach, min(|u|, |v|) <= strip around the centre, where u and v
 * count squares along the piece. Tag ink starts at min(|u|, |v|) = margin. */
static bool window_take(const ps_luma *luma, const ps_saddle_guess *g, const double centre[2], window *w) {
    double a = g->along_x[0], b = g->along_y[0], c = g->along_x[1], d = g->along_y[1];
    double det = a * d - b * c, lx = hypot(a, c), ly = hypot(b, d), square = fmin(lx, ly);
    if (!(fabs(det) > 0.05 * lx * ly) || !(square > 6.0)) return false;
    const float *linear = ps_photo_linear_table();
    w->reach = window_reach(g, square);
    double strip_x = strip_width(g, lx), strip_y = strip_width(g, ly);
    w->left = (int)lround(centre[0]) - REACH_MAX;
    w->top = (int)lround(centre[1]) - REACH_MAX;
    w->count = 0;
    for (int j = 0; j < SIDE; j++)
        for (int i = 0; i < SIDE; i++) {
            w->place[j][i] = -1;
            double x = w->left + i - centre[0], y = w->top + j - centre[1];
            double u = fabs(d * x - b * y) / fabs(det), v = fabs(a * y - c * x) / fabs(det);
            if (u * lx > w->reach || v * ly > w->reach) continue;
            if (u * lx > strip_x && v * ly > strip_y) continue;
            int px = w->left + i, py = w->top + j;
            if (px < 0 || py < 0 || px >= luma->width || py >= luma->height) return false;
            w->x[w->count] = px - g->x_px;
            w->y[w->count] = py - g->y_px;
            w->value[w->count] = (double)linear[luma->px[(size_t)py * luma->stride + (size_t)px]];
            w->place[j][i] = (int16_t)w->count++;
        }
    return w->count >= POINTS_MIN;
}

/* What the model needs of the unknowns at every pixel alike. */
typedef struct shape {
    const ps_step_node *step;
    const double *q;
    double s1, c1, s2, c2, k, per_reach;
} shape;

static shape shape_of(const double q[UNKNOWNS], double reach) {
    return (shape){ps_step_table(), q, sin(q[T1]), cos(q[T1]), sin(q[T2]), cos(q[T2]), 1.0 / (exp(q[LOG_BLUR]) * sqrt(2.0)), 1.0 / reach};
}

/* Model value at (x, y) and its derivatives. */
static double model(const shape *s, double x, double y, double row[UNKNOWNS]) {
    const double *q = s->q;
    double dx = x - q[CX], dy = y - q[CY], f1, f2, b1, b2;
    double e1 = (-s->s1 * dx + s->c1 * dy) * s->k, e2 = (s->s2 * dx - s->c2 * dy) * s->k; /* toward +y of the piece, toward +x */
    ps_step_at(s->step, e1, &f1, &b1);
    ps_step_at(s->step, e2, &f2, &b2);
    double light = 1.0 + (q[TILT_X] * dx + q[TILT_Y] * dy) * s->per_reach, plain = q[LEVEL] + q[SWING] * f1 * f2;
    double g1 = PS_STEP_SLOPE * b1 * f2 * q[SWING] * light, g2 = PS_STEP_SLOPE * b2 * f1 * q[SWING] * light;
    row[CX] = (g1 * s->s1 - g2 * s->s2) * s->k - plain * q[TILT_X] * s->per_reach;
    row[CY] = (-g1 * s->c1 + g2 * s->c2) * s->k - plain * q[TILT_Y] * s->per_reach;
    row[T1] = g1 * (-s->c1 * dx - s->s1 * dy) * s->k;
    row[T2] = g2 * (s->c2 * dx + s->s2 * dy) * s->k;
    row[LOG_BLUR] = -(g1 * e1 + g2 * e2);
    row[LEVEL] = light;
    row[SWING] = f1 * f2 * light;
    row[TILT_X] = plain * dx * s->per_reach;
    row[TILT_Y] = plain * dy * s->per_reach;
    return plain * light;
}

/* Residuals, their sum of squares, normal equations and gradient at q. */
static double normals(window *w, const double q[UNKNOWNS], double N[UNKNOWNS * UNKNOWNS], double g[UNKNOWNS]) {
    double rss = 0.0, row[UNKNOWNS];
    shape s = shape_of(q, w->reach);
    memset(N, 0, sizeof *N * UNKNOWNS * UNKNOWNS);
    memset(g, 0, sizeof *g * UNKNOWNS);
    for (int n = 0; n < w->count; n++) {
        double r = w->value[n] - model(&s, w->x[n], w->y[n], row);
        w->residual[n] = r;
        rss += r * r;
        for (int i = 0; i < UNKNOWNS; i++) {
            g[i] += row[i] * r;
            for (int j = 0; j < UNKNOWNS; j++) N[i * UNKNOWNS + j] += row[i] * row[j]; /* all: compilers then take several at a time */
        }
    }
    return rss;
}

typedef struct equations {
    double N[UNKNOWNS * UNKNOWNS], g[UNKNOWNS];
} equations;

/* Levenberg-Marquardt on the window. False when it does not settle. */
static bool fit_window(window *w, double q[UNKNOWNS]) {
    equations now, then;
    double step[UNKNOWNS], damping = 1e-3, rss = normals(w, q, now.N, now.g);
    for (int round = 0; round < ROUNDS_MAX; round++) {
        double tried[UNKNOWNS], tried_rss = rss;
        bool better = false;
        for (int attempt = 0; attempt < 5 && !better; attempt++) {
            if (!ps_damped_solve(now.N, now.g, UNKNOWNS, damping, step)) return false;
            for (int i = 0; i < UNKNOWNS; i++) tried[i] = q[i] + step[i];
            tried[LOG_BLUR] = clamp(tried[LOG_BLUR], log(BLUR_MIN_PX), log(BLUR_MAX_PX));
            tried_rss = normals(w, tried, then.N, then.g);
            better = tried_rss <= rss;
            damping = better ? damping * 0.1 : damping * 10.0;
        }
        if (!better) return true; /* at the numerical bottom */
        memcpy(q, tried, sizeof tried);
        now = then, rss = tried_rss;
        if (hypot(q[CX], q[CY]) > w->reach) return false;
        if (hypot(step[CX], step[CY]) < 1e-4) return true;
    }
    return true;
}

/* First place: where the gradients in the window are square to the offsets (Foerstner & Guelch 1987), a few rounds. */
static bool first_place(const ps_luma *luma, const ps_saddle_guess *g, double square_px, double centre[2]) {
    const float *linear = ps_photo_linear_table();
    int reach = (int)clamp(ceil(fmax(3.0 * g->blur_px, 3.0)), 3.0, fmax(3.0, 0.3 * square_px));
    for (int round = 0; round < 6; round++) {
        double a = 0, b = 0, c = 0, p = 0, q = 0;
        int x0 = (int)lround(centre[0]), y0 = (int)lround(centre[1]);
        if (x0 - reach < 1 || y0 - reach < 1 || x0 + reach > luma->width - 2 || y0 + reach > luma->height - 2) return false;
        for (int y = y0 - reach; y <= y0 + reach; y++)
            for (int x = x0 - reach; x <= x0 + reach; x++) {
                const uint8_t *at = luma->px + (size_t)y * luma->stride + x;
                double gx = (double)(linear[at[1]] - linear[at[-1]]);
                double gy = (double)(linear[at[luma->stride]] - linear[*(at - luma->stride)]);
                double dx = x - centre[0], dy = y - centre[1], weight = exp(-2.0 * (dx * dx + dy * dy) / (reach * reach));
                double xx = weight * gx * gx, xy = weight * gx * gy, yy = weight * gy * gy;
                a += xx, b += xy, c += yy;
                p += xx * dx + xy * dy, q += xy * dx + yy * dy;
            }
        double det = a * c - b * b;
        if (!(det > 1e-3 * a * c) || !(det > 0.0)) return false;
        double sx = (c * p - b * q) / det, sy = (a * q - b * p) / det;
        if (!(hypot(sx, sy) <= 2.0 * reach)) return false;
        centre[0] += sx, centre[1] += sy;
        if (hypot(centre[0] - g->x_px, centre[1] - g->y_px) > fmax(2.0, 0.25 * square_px)) return false;
        if (hypot(sx, sy) < 0.05) break;
    }
    return true;
}

/* Variance of the mean-like sums that drive the corner: odd residuals and their products with near neighbours. Returns
 * the factor by which white noise of the same variance would be multiplied, and that variance. */
static double odd_noise(const window *w, const double q[UNKNOWNS], const ps_saddle_guess *g, double *correlation) {
    enum { LAG = 3 };
    static const int lag[][2] = {{1, 0}, {0, 1}, {1, 1}, {1, -1}, {2, 0}, {0, 2}, {2, 1}, {1, 2}, {2, -1}, {1, -2}};
    double mx = 2.0 * (g->x_px + q[CX]) - 2.0 * w->left, my = 2.0 * (g->y_px + q[CY]) - 2.0 * w->top;
    static const double missing = 1e9;
    double odd[SIDE][SIDE], sum = 0.0;
    int n = 0;
    for (int j = 0; j < SIDE; j++)
        for (int i = 0; i < SIDE; i++) {
            odd[j][i] = missing;
            int here = w->place[j][i], mi = (int)lround(mx) - i, mj = (int)lround(my) - j;
            if (here < 0 || mi < 0 || mj < 0 || mi >= SIDE || mj >= SIDE || w->place[mj][mi] < 0) continue;
            odd[j][i] = 0.5 * (w->residual[here] - w->residual[w->place[mj][mi]]);
            sum += odd[j][i] * odd[j][i];
            n++;
        }
    if (n < POINTS_MIN / 2) return -1.0;
    double variance = sum / n, total = 1.0;
    for (size_t k = 0; k < sizeof lag / sizeof lag[0] && variance > 0.0; k++) {
        double products = 0.0;
        int pairs = 0;
        for (int j = 0; j < SIDE; j++)
            for (int i = 0; i < SIDE; i++) {
                int i2 = i + lag[k][0], j2 = j + lag[k][1];
                if (i2 >= SIDE || j2 >= SIDE || j2 < 0 || odd[j][i] >= missing || odd[j2][i2] >= missing) continue;
                products += odd[j][i] * odd[j2][i2];
                pairs++;
            }
        if (pairs > 0) total += 2.0 * fmax(0.0, products / pairs / variance) * (1.0 - hypot(lag[k][0], lag[k][1]) / (LAG + 1.0));
    }
    *correlation = total;
    return 2.0 * variance; /* the odd part of white noise carries half its variance */
}

static bool corner_sigma(window *w, const double q[UNKNOWNS], const ps_saddle_guess *g, double *sigma_px, double *rss_at_q) {
    double N[UNKNOWNS * UNKNOWNS], gradient[UNKNOWNS], correlation = 1.0, variance = 0.0;
    double rss = *rss_at_q = normals(w, q, N, gradient);
    double odd = odd_noise(w, q, g, &correlation);
    if (odd < 0.0) odd = rss / (w->count - UNKNOWNS);
    if (!ps_cholesky(N, UNKNOWNS)) return false;
    for (int axis = CX; axis <= CY; axis++) {
        double column[UNKNOWNS] = {0};
        column[axis] = 1.0;
        ps_cholesky_solve(N, UNKNOWNS, column);
        variance += 0.5 * column[axis];
    }
    *sigma_px = sqrt(variance * odd * correlation + SIGMA_FLOOR_PX * SIGMA_FLOOR_PX);
    return isfinite(*sigma_px);
}

static double turn_between(double a, double b) {
    return fabs(remainder(a - b, 2.0 * PS_PI));
}

/* The first levels: mean and spread of the window. */
static void first_levels(const window *w, bool black_first, double *level, double *swing) {
    double sum = 0.0, squares = 0.0;
    for (int n = 0; n < w->count; n++) sum += w->value[n], squares += w->value[n] * w->value[n];
    *level = sum / w->count;
    *swing = sqrt(fmax(squares / w->count - *level * *level, 1e-6));
    if (black_first) *swing = -*swing;
}

static double explained(const window *w, double rss) {
    double sum = 0.0, squares = 0.0;
    for (int n = 0; n < w->count; n++) sum += w->value[n], squares += w->value[n] * w->value[n];
    double total = squares - sum * sum / w->count;
    return total > 0.0 ? 1.0 - rss / total : 0.0;
}

ps_status ps_saddle_fit(const ps_luma *luma, const ps_saddle_guess *guess, ps_saddle *out) {
    window w;
    double centre[2] = {guess->x_px, guess->y_px}, q[UNKNOWNS] = {0};
    double square = fmin(hypot(guess->along_x[0], guess->along_x[1]), hypot(guess->along_y[0], guess->along_y[1]));
    double t1 = atan2(guess->along_x[1], guess->along_x[0]), t2 = atan2(guess->along_y[1], guess->along_y[0]);
    if (!isfinite(square) || !isfinite(centre[0]) || !isfinite(centre[1]) || fabs(centre[0]) > 1e6 || fabs(centre[1]) > 1e6)
        return PS_NOT_FOUND;
    if (!first_place(luma, guess, square, centre)) return PS_NOT_FOUND;
    ps_saddle_guess at = *guess;
    /* The second window is centred on the first result, and its size follows the blur found. */
    for (int pass = 0; pass < 2; pass++) {
        if (!window_take(luma, &at, centre, &w)) return PS_NOT_FOUND;
        if (pass == 0) {
            q[T1] = t1, q[T2] = t2, q[LOG_BLUR] = log(clamp(guess->blur_px, BLUR_MIN_PX, BLUR_MAX_PX));
            first_levels(&w, guess->black_first, &q[LEVEL], &q[SWING]);
            q[CX] = centre[0] - guess->x_px, q[CY] = centre[1] - guess->y_px;
        }
        if (!fit_window(&w, q)) return PS_NOT_FOUND;
        if (turn_between(q[T1], t1) > TURN_MAX || turn_between(q[T2], t2) > TURN_MAX) return PS_NOT_FOUND;
        centre[0] = guess->x_px + q[CX], centre[1] = guess->y_px + q[CY];
        at.blur_px = clamp(exp(q[LOG_BLUR]), 0.5, 4.0);
    }
    double sigma, rss;
    if ((q[SWING] < 0.0) != guess->black_first || fabs(q[SWING]) < SWING_MIN) return PS_NOT_FOUND;
    if (!corner_sigma(&w, q, guess, &sigma, &rss)) return PS_NOT_FOUND;
    double fit = explained(&w, rss);
    if (!(fit >= FIT_MIN)) return PS_NOT_FOUND;
    out->x_px = centre[0], out->y_px = centre[1], out->sigma_px = sigma;
    out->blur_px = exp(q[LOG_BLUR]);
    out->white = q[LEVEL] + fabs(q[SWING]), out->black = q[LEVEL] - fabs(q[SWING]);
    out->fit = fit;
    return PS_OK;
}
