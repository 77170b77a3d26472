/* The smooth local model by which corners judge each other. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "target/smooth.h"

/* Enough corners to leave as many again for judging. */
enum { CUBIC_MIN = 24, QUADRATIC_MIN = 12, LENS_MIN = 8, UNKNOWNS_MAX = 10 + 2 * PS_SMOOTH_TERMS_MAX };
/* sd of k1 and k2 with r in half-diagonals: wide lenses of phones stay within it. */
static const double LENS_PRIOR = 0.2;
/* sd of the polynomial's coefficients, half-diagonals: 25 px in a 12 MP photo, far more than paper bends unseen. */
static const double BEND_PRIOR = 0.01;

/* The polynomial's terms at a place: orders 2 and 3; the lower ones are the homography's. */
static void terms_at(const ps_smooth *s, const double mm[2], double t[PS_SMOOTH_TERMS_MAX]) {
    double u = (mm[0] - s->middle_mm[0]) / s->half_mm, v = (mm[1] - s->middle_mm[1]) / s->half_mm;
    const double all[PS_SMOOTH_TERMS_MAX] = {u * u, u * v, v * v, u * u * u, u * u * v, u * v * v, v * v * v};
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

/* The model's place (half-diagonals from the middle); derivatives by homography, k1, k2, then x and y coefficients. */
static bool model(const ps_smooth *s, const double mm[2], double place[2], double J[2][UNKNOWNS_MAX]) {
    double lens[2][10], t[PS_SMOOTH_TERMS_MAX];
    if (!distorted(s->homography, s->k1, s->k2, mm, place, J ? lens : NULL)) return false;
    terms_at(s, mm, t);
    for (int k = 0; k < 2; k++) {
        for (int a = 0; a < s->terms; a++) place[k] += s->coefficient[k][a] * t[a];
        if (!J) continue;
        memset(J[k], 0, sizeof J[k]);
        memcpy(J[k], lens[k], sizeof lens[k]);
        memcpy(J[k] + 10 + k * s->terms, t, sizeof *t * (size_t)s->terms);
    }
    return true;
}

/* Weighted sum of squares with the priors; normal equations (m x m, lower triangle) and gradient where N is not NULL. */
static double misfit(const ps_smooth *s, const ps_piece *piece, const ps_corner *corner, int n, double *N, double *g) {
    int m = 10 + 2 * s->terms;
    const double lens = 1.0 / (LENS_PRIOR * LENS_PRIOR), bend = 1.0 / (BEND_PRIOR * BEND_PRIOR);
    double sum = lens * (s->k1 * s->k1 + s->k2 * s->k2);
    if (N) {
        memset(N, 0, sizeof *N * (size_t)(m * m)), memset(g, 0, sizeof *g * (size_t)m);
        for (int p = 8; p < m; p++) N[p * m + p] = p < 10 ? lens : bend;
        g[8] = -lens * s->k1, g[9] = -lens * s->k2;
    }
    for (int p = 0; p < 2 * s->terms; p++) {
        double c = s->coefficient[p / s->terms][p % s->terms];
        sum += bend * c * c;
        if (N) g[10 + p] = -bend * c;
    }
    for (int i = 0; i < n; i++) {
        double mm[2], place[2], J[2][UNKNOWNS_MAX], weight = s->scale_px / corner[i].sigma_px;
        const double at[2] = {(corner[i].x_px - s->centre_px[0]) / s->scale_px, (corner[i].y_px - s->centre_px[1]) / s->scale_px};
        ps_piece_corner(piece, corner[i].index, mm);
        if (!model(s, mm, place, N ? J : NULL)) return INFINITY;
        for (int k = 0; k < 2; k++) {
            double r = weight * (at[k] - place[k]);
            sum += r * r;
            for (int p = 0; N && p < m; p++) {
                g[p] += weight * J[k][p] * r;
                for (int q = 0; q <= p; q++) N[p * m + q] += weight * weight * J[k][p] * J[k][q];
            }
        }
    }
    return sum;
}

static ps_smooth stepped(const ps_smooth *s, const double *d) {
    ps_smooth next = *s;
    for (int p = 0; p < 8; p++) next.homography[p] += d[p];
    next.k1 += d[8], next.k2 += d[9];
    for (int p = 0; p < 2 * s->terms; p++) next.coefficient[p / s->terms][p % s->terms] += d[10 + p];
    return next;
}

/* All unknowns together, damped; the start (the homography alone) stays where nothing better is found. */
static void fit_all(const ps_piece *piece, const ps_corner *corner, int n, ps_smooth *s) {
    enum { STEPS = 15 };
    double N[UNKNOWNS_MAX * UNKNOWNS_MAX], g[UNKNOWNS_MAX], damping = 1e-4;
    int m = 10 + 2 * s->terms;
    for (int step = 0; step < STEPS; step++) {
        double now = misfit(s, piece, corner, n, N, g);
        if (!isfinite(now)) return;
        for (int p = 0; p < m; p++) N[p * m + p] *= 1.0 + damping;
        if (!ps_cholesky(N, m)) return;
        ps_cholesky_solve(N, m, g);
        ps_smooth next = stepped(s, g);
        double then = misfit(&next, piece, corner, n, NULL, NULL);
        if (then <= now) *s = next;
        damping = then <= now ? damping * 0.1 : damping * 10.0;
        if (then <= now && now - then < 1e-5 * now) return;
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
    s.terms = n >= CUBIC_MIN ? 7 : n >= QUADRATIC_MIN ? 3 : 0;
    if (n >= LENS_MIN) fit_all(piece, corner, n, &s);
    *out = s;
    return true;
}

bool ps_smooth_apply(const ps_smooth *s, const double mm[2], double px[2]) {
    double place[2];
    if (!model(s, mm, place, NULL)) return false;
    for (int k = 0; k < 2; k++) px[k] = s->centre_px[k] + s->scale_px * place[k];
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
    int unknowns = n >= LENS_MIN ? 10 + 2 * s->terms : 8;
    return 2 * n - unknowns > 1 ? 2 * n - unknowns : 1;
}
