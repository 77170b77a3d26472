/* The smooth local model by which corners judge each other. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "target/smooth.h"

/* Enough corners to leave as many again for judging. */
enum { CUBIC_MIN = 24, QUADRATIC_MIN = 12 };

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

bool ps_smooth_fit(const ps_piece *piece, const ps_corner *corner, int n, ps_smooth *out) {
    ps_smooth s = {.terms = 0};
    if (n < 4 || !fit_homography(piece, corner, n, s.homography)) return false;
    s.middle_mm[0] = 0.5 * piece->columns * piece->square_mm;
    s.middle_mm[1] = 0.5 * piece->rows * piece->square_mm;
    s.half_mm = 0.5 * fmax(piece->columns, piece->rows) * piece->square_mm;
    int terms = n >= CUBIC_MIN ? 10 : n >= QUADRATIC_MIN ? 6 : 0;
    *out = s;
    if (terms == 0) return true;
    s.terms = terms;
    memset(s.coefficient, 0, sizeof s.coefficient);
    if (fit_polynomial(piece, corner, n, &s)) *out = s;
    return true;
}

bool ps_smooth_apply(const ps_smooth *s, const double mm[2], double px[2]) {
    double t[PS_SMOOTH_TERMS_MAX];
    if (!ps_homography_apply(s->homography, mm, px)) return false;
    terms_at(s, mm, t);
    for (int k = 0; k < 2; k++)
        for (int a = 0; a < s->terms; a++) px[k] += s->coefficient[k][a] * t[a];
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
    /* The polynomial's first order is the homography's affine part: only its two projective terms come on top. */
    int unknowns = s->terms ? 2 * s->terms + 2 : 8;
    return 2 * n - unknowns > 1 ? 2 * n - unknowns : 1;
}
