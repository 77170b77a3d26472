/* Corners of one piece: first those beside tags, then outward from what was found, then judged against each other. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "target/hunt.h"
#include "target/smooth.h"

enum { GROW_ROUNDS = 8, CORNERS_MIN = 4 };

/* A fit may end this far from its prediction: half the way to the tag's ink (15 % of a square), or 1.5 px when small. */
static const double MOVE_SQUARES = 0.12, MOVE_PX = 1.5;
/* First guesses of the blur: sharp, soft, out of focus. */
static const double BLUR_GUESS_PX[] = {1.0, 2.5, 5.0};
/* Rejection: beyond this many sd (as scaled by the median of all) and beyond this in px, so that a photo with a very
 * good fit does not lose corners to a few hundredths. */
static const double REJECT_SIGMAS = 4.5, REJECT_FLOOR_PX = 0.12;
/* A corner's contrast in linear light against the piece's median: less is dirt, tape or glare. */
static const double CONTRAST_MIN = 0.3;

typedef struct prediction {
    double px[2], along_x[2], along_y[2];
} prediction;

static bool predict_by(const double H[9], const double mm[2], double square_mm, prediction *p) {
    double h = 0.25 * square_mm, a[2], b[2], c[2], d[2];
    if (!ps_homography_apply(H, mm, p->px)) return false;
    if (!ps_homography_apply(H, (double[2]){mm[0] - h, mm[1]}, a) || !ps_homography_apply(H, (double[2]){mm[0] + h, mm[1]}, b))
        return false;
    if (!ps_homography_apply(H, (double[2]){mm[0], mm[1] - h}, c) || !ps_homography_apply(H, (double[2]){mm[0], mm[1] + h}, d))
        return false;
    for (int k = 0; k < 2; k++) {
        p->along_x[k] = (b[k] - a[k]) * 2.0;
        p->along_y[k] = (d[k] - c[k]) * 2.0;
    }
    return true;
}

/* From the tags whose squares touch the corner: their own homographies, averaged. */
static bool predict_from_tags(const ps_hunt *h, const double mm[2], prediction *p) {
    int n = 0;
    memset(p, 0, sizeof *p);
    for (int t = 0; t < h->tag_count; t++) {
        double centre[2];
        prediction one;
        ps_piece_tag_centre(h->piece, h->tag_place[t], centre);
        if (fmax(fabs(centre[0] - mm[0]), fabs(centre[1] - mm[1])) > 0.6 * h->piece->square_mm) continue;
        if (!predict_by(h->tag_homography[t], mm, h->piece->square_mm, &one)) continue;
        for (int k = 0; k < 2; k++) p->px[k] += one.px[k], p->along_x[k] += one.along_x[k], p->along_y[k] += one.along_y[k];
        n++;
    }
    if (!n) return false;
    for (int k = 0; k < 2; k++) p->px[k] /= n, p->along_x[k] /= n, p->along_y[k] /= n;
    return true;
}

/* From the piece's homography, corrected by what near corners show (lens, bend). Needs one found within 1.5 squares. */
static bool predict_from_corners(const ps_hunt *h, int index, prediction *p) {
    double mm[2], sum[2] = {0.0, 0.0}, weights = 0.0, nearest = INFINITY;
    ps_piece_corner(h->piece, index, mm);
    if (!predict_by(h->homography, mm, h->piece->square_mm, p)) return false;
    for (int i = 0; i < h->piece->corner_count; i++) {
        double at[2], px[2];
        if (!h->found[i]) continue;
        ps_piece_corner(h->piece, i, at);
        double apart = hypot(at[0] - mm[0], at[1] - mm[1]) / h->piece->square_mm;
        if (!ps_homography_apply(h->homography, at, px)) continue;
        double weight = 1.0 / (apart * apart * apart * apart + 1e-6);
        sum[0] += weight * (h->corner[i].x_px - px[0]);
        sum[1] += weight * (h->corner[i].y_px - px[1]);
        weights += weight;
        nearest = fmin(nearest, apart);
    }
    if (!(nearest <= 1.5)) return false;
    p->px[0] += sum[0] / weights, p->px[1] += sum[1] / weights;
    return true;
}

static bool try_corner(const ps_luma *luma, ps_hunt *h, int index, const prediction *p) {
    int column = index % (h->piece->columns - 1), row = index / (h->piece->columns - 1);
    ps_saddle_guess guess = {
        .x_px = p->px[0],
        .y_px = p->px[1],
        .along_x = {p->along_x[0], p->along_x[1]},
        .along_y = {p->along_y[0], p->along_y[1]},
        .black_first = (column + row) % 2 == 0,
        .margin = 0.5 * (1.0 - h->piece->tag_side_mm / h->piece->square_mm),
        .blur_px = h->blur_px,
    };
    ps_saddle s;
    if (ps_saddle_fit(luma, &guess, &s) != PS_OK) return false;
    double square = fmin(hypot(p->along_x[0], p->along_x[1]), hypot(p->along_y[0], p->along_y[1]));
    if (hypot(s.x_px - p->px[0], s.y_px - p->px[1]) > fmax(MOVE_SQUARES * square, MOVE_PX)) return false;
    h->corner[index] = s;
    h->found[index] = true;
    return true;
}

static int compare_doubles(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *v, int n) {
    if (n <= 0) return 0.0;
    qsort(v, (size_t)n, sizeof *v, compare_doubles);
    return n % 2 ? v[n / 2] : 0.5 * (v[n / 2 - 1] + v[n / 2]);
}

static double median_blur(const ps_hunt *h) {
    double v[PS_PIECE_CORNERS_MAX];
    int n = 0;
    for (int i = 0; i < h->piece->corner_count; i++)
        if (h->found[i]) v[n++] = h->corner[i].blur_px;
    return median(v, n);
}

static int count_found(const ps_hunt *h) {
    int n = 0;
    for (int i = 0; i < h->piece->corner_count; i++) n += h->found[i];
    return n;
}

static int list_corners(const ps_hunt *h, ps_corner *list) {
    int n = 0;
    for (int i = 0; i < h->piece->corner_count; i++)
        if (h->found[i])
            list[n++] = (ps_corner){.index = i, .x_px = h->corner[i].x_px, .y_px = h->corner[i].y_px, .sigma_px = h->corner[i].sigma_px};
    return n;
}

static void refit(ps_hunt *h) {
    ps_corner list[PS_PIECE_CORNERS_MAX];
    ps_smooth s;
    int n = list_corners(h, list);
    /* A corner or two more than a homography needs; until then the tags' own is the better. */
    if (n >= CORNERS_MIN + 2 && ps_smooth_fit(h->piece, h->width, h->height, list, n, &s)) memcpy(h->homography, s.plain, sizeof s.plain);
    if (n) h->blur_px = fmin(fmax(median_blur(h), 0.5), 6.0);
}

static void look_beside_tags(const ps_luma *luma, ps_hunt *h) {
    for (size_t b = 0; b < sizeof BLUR_GUESS_PX / sizeof BLUR_GUESS_PX[0]; b++) {
        int tried = 0, found = 0;
        h->blur_px = BLUR_GUESS_PX[b];
        for (int i = 0; i < h->piece->corner_count; i++) {
            double mm[2];
            prediction p;
            ps_piece_corner(h->piece, i, mm);
            if (h->found[i] || !predict_from_tags(h, mm, &p)) continue;
            tried++;
            found += try_corner(luma, h, i, &p);
        }
        if (2 * found >= tried) break;
    }
    refit(h);
}

static void grow(const ps_luma *luma, ps_hunt *h) {
    for (int round = 0; round < GROW_ROUNDS; round++) {
        bool before[PS_PIECE_CORNERS_MAX];
        int added = 0;
        memcpy(before, h->found, sizeof before);
        for (int i = 0; i < h->piece->corner_count; i++) {
            prediction p;
            if (before[i] || h->rejected[i] || !predict_from_corners(h, i, &p)) continue;
            added += try_corner(luma, h, i, &p);
        }
        if (!added) return;
        refit(h);
    }
}

static void reject(ps_hunt *h, int i) {
    h->found[i] = false;
    h->rejected[i] = true;
}

/* Contrast and blur unlike the others': not the bare print. */
static void reject_faint(ps_hunt *h) {
    double contrast[PS_PIECE_CORNERS_MAX];
    int n = 0;
    for (int i = 0; i < h->piece->corner_count; i++)
        if (h->found[i]) contrast[n++] = h->corner[i].white - h->corner[i].black;
    double typical = median(contrast, n), blur = median_blur(h);
    for (int i = 0; i < h->piece->corner_count; i++) {
        if (!h->found[i]) continue;
        const ps_saddle *s = &h->corner[i];
        if (s->white - s->black < CONTRAST_MIN * typical || s->blur_px > 3.0 * blur + 0.5) reject(h, i);
    }
}

/* Takes out the worst corner against the smooth model of the others, until none is bad. */
static void reject_strays(ps_hunt *h) {
    for (int round = 0; round < h->piece->corner_count; round++) {
        ps_corner list[PS_PIECE_CORNERS_MAX];
        double ratio[PS_PIECE_CORNERS_MAX], sorted[PS_PIECE_CORNERS_MAX], worst = 0.0;
        ps_smooth s;
        int n = list_corners(h, list), out = -1;
        if (n <= CORNERS_MIN + 1 || !ps_smooth_fit(h->piece, h->width, h->height, list, n, &s)) return;
        for (int i = 0; i < n; i++) {
            double r[2];
            ps_smooth_residual(&s, h->piece, &list[i], r);
            double miss = hypot(r[0], r[1]);
            ratio[i] = sorted[i] = miss / list[i].sigma_px;
            if (!(miss > REJECT_FLOOR_PX)) continue;
            if (ratio[i] > worst) worst = ratio[i], out = i;
        }
        /* The median length of a unit Gaussian pair is 1.18; fitting takes away part of every residual. */
        double scale = fmax(1.0, median(sorted, n) / 1.18) / sqrt((double)ps_smooth_freedom(&s, n) / (2.0 * n)) * 1.0;
        if (out < 0 || worst <= REJECT_SIGMAS * scale) return;
        reject(h, list[out].index);
    }
}

/* Spread over at least two rows and two columns. */
static bool spans(const ps_hunt *h) {
    int columns = h->piece->columns - 1, row_low = 99, row_high = -1, column_low = 99, column_high = -1;
    for (int i = 0; i < h->piece->corner_count; i++) {
        if (!h->found[i]) continue;
        int row = i / columns, column = i % columns;
        if (row < row_low) row_low = row;
        if (row > row_high) row_high = row;
        if (column < column_low) column_low = column;
        if (column > column_high) column_high = column;
    }
    return row_high > row_low && column_high > column_low;
}

static double encoded(double linear) {
    const float *table = ps_photo_linear_table();
    int level = 0;
    while (level < 255 && (double)table[level] < linear) level++;
    if (level == 0 || (double)table[level] < linear) return level;
    double low = (double)table[level - 1], high = (double)table[level];
    return level - 1 + (linear - low) / (high - low);
}

/* Sigmas scaled by what the corners show against each other; a start value of few degrees of freedom keeps it tame. */
static void scale_sigmas(ps_sighting *out, const ps_smooth *s, const ps_piece *piece) {
    enum { PRIOR_FREEDOM = 6 };
    double chi2 = 0.0, squares = 0.0;
    int freedom = ps_smooth_freedom(s, out->corner_count);
    for (int i = 0; i < out->corner_count; i++) {
        double r[2];
        ps_smooth_residual(s, piece, &out->corner[i], r);
        double rr = r[0] * r[0] + r[1] * r[1];
        squares += rr;
        chi2 += rr / (out->corner[i].sigma_px * out->corner[i].sigma_px);
    }
    double scale = sqrt((PRIOR_FREEDOM + chi2) / (PRIOR_FREEDOM + freedom));
    for (int i = 0; i < out->corner_count; i++) out->corner[i].sigma_px = fmax(0.02, scale * out->corner[i].sigma_px);
    out->rms_px = sqrt(squares / freedom);
}

static double mean_square_px(const ps_hunt *h, const double H[9]) {
    double sum = 0.0;
    int n = 0;
    for (int i = 0; i < h->piece->corner_count; i++) {
        double mm[2];
        prediction p;
        ps_piece_corner(h->piece, i, mm);
        if (!h->found[i] || !predict_by(H, mm, h->piece->square_mm, &p)) continue;
        sum += 0.5 * (hypot(p.along_x[0], p.along_x[1]) + hypot(p.along_y[0], p.along_y[1]));
        n++;
    }
    return n ? sum / n : 0.0;
}

static bool conclude(const ps_hunt *h, ps_sighting *out) {
    double white[PS_PIECE_CORNERS_MAX], black[PS_PIECE_CORNERS_MAX];
    ps_smooth s;
    int n = 0;
    memset(out, 0, sizeof *out);
    out->corner_count = list_corners(h, out->corner);
    out->tag_count = h->tag_count;
    if (out->corner_count < CORNERS_MIN || !spans(h)) return false;
    if (!ps_smooth_fit(h->piece, h->width, h->height, out->corner, out->corner_count, &s)) return false;
    for (int i = 0; i < h->piece->corner_count; i++)
        if (h->found[i]) white[n] = encoded(h->corner[i].white), black[n] = encoded(h->corner[i].black), n++;
    out->white = median(white, n);
    out->black = median(black, n);
    out->blur_px = median_blur(h);
    out->square_px = mean_square_px(h, s.plain);
    memcpy(out->homography, s.plain, sizeof s.plain);
    scale_sigmas(out, &s, h->piece);
    return true;
}

bool ps_hunt_corners(const ps_luma *luma, ps_hunt *hunt, ps_sighting *out) {
    hunt->width = luma->width, hunt->height = luma->height;
    look_beside_tags(luma, hunt);
    if (count_found(hunt) == 0) return false;
    grow(luma, hunt);
    reject_faint(hunt);
    reject_strays(hunt);
    refit(hunt);
    grow(luma, hunt); /* from better neighbours than before */
    reject_strays(hunt);
    return conclude(hunt, out);
}
