/* The smooth local model by which corners judge each other. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "target/smooth.h"

/* Enough corners to leave as many again for judging. */
enum { CUBIC_MIN = 24, QUADRATIC_MIN = 12, LENS_MIN = 8 };
/* sd of k1 and k2 with r in half-diagonals: wide lenses of phones stay within it. */
static const double LENS_PRIOR = 0.2;

static void terms_at(const ps_smooth *s, const double mm[2], double t[PS_SMOOTH_TERMS_MAX]) {
    double u = (mm[0] - s->middle_mm[0]) / s->half_mm, v = (mm[1] - s->middle_mm[1]) / s->half_mm;
    const double all[PS_SMOOTH_TERMS_MAX] = {1.0, u, v, u * u, u * v, v * v, u * u * u, u * u * v, u * v * v, v * v * v};
    memcpy(t, all, sizeof all);
}

static bool fit_homography(const ps_piece *piece, const ps_corner *corner, int n, double H[9]) {
    double from[PS_PIECE_CORNERS_MAX][2], to[PS_PIECE_CORNERS_MAX][2];
    for (int i = 0; i < n; i++) {
        ps_piece_corner(piece, corner[i].index, from[i]);
        to[i][0] = corner[i].x_px, to[i][1] = corner[i].y_px;
    }
    return ps_homography_fit((const double(*)[2])from, (const double(*)[2])to, n, H);
}

static bool fit_polynomial(const ps_piece *piece, const ps_corner *corner, int n, ps_smooth *s) {
    double N[PS_SMOOTH_TERMS_MAX * PS_SMOOTH_TERMS_MAX] = {0}, g[2][PS_SMOOTH_TERMS_MAX] = {{0}};
    int m = s->terms;
    for (int i = 0; i < n; i++) {
        double mm[2], t[PS_SMOOTH_TERMS_MAX], r[2];
        ps_piece_corner(piece, corner[i].index, mm);
        terms_at(s, mm, t);
        ps_smooth_residual(s, piece, &corner[i], r);
        if (!isfinite(r[0]) || !isfinite(r[1])) return false;
        double weight = 1.0 / (corner[i].sigma_px * corner[i].sigma_px);
        for (int a = 0; a < m; a++) {
            for (int b = 0; b <= a; b++) N[a * m + b] += weight * t[a] * t[b];
            for (int k = 0; k < 2; k++) g[k][a] += weight * t[a] * r[k];
        }
    }
    /* A corner half hidden piece may not carry every term; a hair of damping keeps those at 0. */
    for (int a = 0; a < m; a++) N[a * m + a] *= 1.0 + 1e-6;
    if (!ps_cholesky(N, m)) return false;
    for (int k = 0; k < 2; k++) {
        ps_cholesky_solve(N, m, g[k]);
        memcpy(s->coefficient[k], g[k], sizeof g[k]);
    }
    return true;
}

/* Place and its derivatives by the eight entries of the homography (H[8] = 1) and k1, k2. False past the horizon. */
static bool distorted(const double H[9], double k1, double k2, const double mm[2], double place[2], double J[2][10]) {
    double w = H[6] * mm[0] + H[7] * mm[1] + H[8];
    if (!(w > 1e-9)) return false;
    double x = (H[0] * mm[0] + H[1] * mm[1] + H[2]) / w, y = (H[3] * mm[0] + H[4] * mm[1] + H[5]) / w;
    double rr = x * x + y * y, gain = 1.0 + k1 * rr + k2 * rr * rr, slope = 2.0 * (k1 + 2.0 * k2 * rr);
    place[0] = x * gain, place[1] = y * gain;
    if (!J) return true;
    double D[2][2] = {{gain + slope * x * x, slope * x * y}, {slope * x * y, gain + slope * y * y}};
    double dx[8] = {mm[0] / w, mm[1] / w, 1.0 / w, 0, 0, 0, -x * mm[0] / w, -x * mm[1] / w};
    double dy[8] = {0, 0, 0, mm[0] / w, mm[1] / w, 1.0 / w, -y * mm[0] / w, -y * mm[1] / w};
    for (int k = 0; k < 2; k++) {
        for (int p = 0; p < 8; p++) J[k][p] = D[k][0] * dx[p] + D[k][1] * dy[p];
        J[k][8] = (k ? y : x) * rr;
        J[k][9] = (k ? y : x) * rr * rr;
    }
    return true;
}

static double misfit(const ps_smooth *s, const ps_piece *piece, const ps_corner *corner, int n, double N[100], double g[10]) {
    const double prior = 1.0 / (LENS_PRIOR * LENS_PRIOR);
    double sum = prior * (s->k1 * s->k1 + s->k2 * s->k2);
    if (N) {
        memset(N, 0, 100 * sizeof *N), memset(g, 0, 10 * sizeof *g);
        N[88] = N[99] = prior;
        g[8] = -prior * s->k1, g[9] = -prior * s->k2;
    }
    for (int i = 0; i < n; i++) {
        double mm[2], place[2], J[2][10], weight = s->scale_px / corner[i].sigma_px;
        const double at[2] = {(corner[i].x_px - s->centre_px[0]) / s->scale_px, (corner[i].y_px - s->centre_px[1]) / s->scale_px};
        ps_piece_corner(piece, corner[i].index, mm);
        if (!distorted(s->homography, s->k1, s->k2, mm, place, N ? J : NULL)) return INFINITY;
        for (int k = 0; k < 2; k++) {
            double r = weight * (at[k] - place[k]);
            sum += r * r;
            for (int p = 0; N && p < 10; p++) {
                g[p] += weight * J[k][p] * r;
                for (int q = 0; q <= p; q++) N[10 * p + q] += weight * weight * J[k][p] * J[k][q];
            }
        }
    }
    return sum;
}

/* Homography and lens together; stays with the homography alone where that does not settle. */
static void fit_lens(const ps_piece *piece, const ps_corner *corner, int n, ps_smooth *s) {
    enum { STEPS = 12 };
    double N[100], g[10], d[10], damping = 1e-4;
    for (int step = 0; step < STEPS; step++) {
        double now = misfit(s, piece, corner, n, N, g);
        if (!isfinite(now) || !ps_damped_solve(N, g, 10, damping, d)) return;
        ps_smooth next = *s;
        for (int p = 0; p < 8; p++) next.homography[p] += d[p];
        next.k1 += d[8], next.k2 += d[9];
        double then = misfit(&next, piece, corner, n, NULL, NULL);
        if (then <= now) *s = next;
        damping = then <= now ? damping * 0.1 : damping * 10.0;
        if (then <= now && now - then < 1e-6 * now) return;
    }
}

bool ps_smooth_fit(const ps_piece *piece, int width, int height, const ps_corner *corner, int n, ps_smooth *out) {
    ps_smooth s = {.centre_px = {0.5 * (width - 1), 0.5 * (height - 1)}, .scale_px = 0.5 * hypot(width, height)};
    if (n < 4 || !fit_homography(piece, corner, n, s.plain)) return false;
    if (!(fabs(s.plain[8]) > 1e-9)) return false;
    for (int k = 0; k < 3; k++) {
        s.homography[k] = (s.plain[k] - s.centre_px[0] * s.plain[6 + k]) / s.scale_px / s.plain[8];
        s.homography[3 + k] = (s.plain[3 + k] - s.centre_px[1] * s.plain[6 + k]) / s.scale_px / s.plain[8];
        s.homography[6 + k] = s.plain[6 + k] / s.plain[8];
    }
    s.middle_mm[0] = 0.5 * piece->columns * piece->square_mm;
    s.middle_mm[1] = 0.5 * piece->rows * piece->square_mm;
    s.half_mm = 0.5 * fmax(piece->columns, piece->rows) * piece->square_mm;
    if (n >= LENS_MIN) fit_lens(piece, corner, n, &s);
    *out = s;
    s.terms = n >= CUBIC_MIN ? 10 : n >= QUADRATIC_MIN ? 6 : 0;
    if (s.terms && fit_polynomial(piece, corner, n, &s)) *out = s;
    return true;
}

bool ps_smooth_apply(const ps_smooth *s, const double mm[2], double px[2]) {
    double t[PS_SMOOTH_TERMS_MAX], place[2];
    if (!distorted(s->homography, s->k1, s->k2, mm, place, NULL)) return false;
    terms_at(s, mm, t);
    for (int k = 0; k < 2; k++) {
        px[k] = s->centre_px[k] + s->scale_px * place[k];
        for (int a = 0; a < s->terms; a++) px[k] += s->coefficient[k][a] * t[a];
    }
    return true;
}

void ps_smooth_residual(const ps_smooth *s, const ps_piece *piece, const ps_corner *corner, double r[2]) {
    double mm[2], px[2];
    ps_piece_corner(piece, corner->index, mm);
    bool reached = ps_smooth_apply(s, mm, px);
    r[0] = reached ? corner->x_px - px[0] : NAN;
    r[1] = reached ? corner->y_px - px[1] : NAN;
}

int ps_smooth_freedom(const ps_smooth *s, int n) {
    /* The polynomial's first order is the homography's affine part: its two projective terms and the lens's come on top. */
    int unknowns = (s->terms ? 2 * s->terms + 2 : 8) + (n >= LENS_MIN ? 2 : 0);
    return 2 * n - unknowns > 1 ? 2 * n - unknowns : 1;
}
