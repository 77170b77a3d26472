/* Proposing circles in one photo: edge elements of a squared view vote for centres along their gradients; around each
 * peak the radii are read off, and each circle is fitted to the edge elements that agree with it.
 *
 * The vote is Ballard's generalised Hough transform (Pattern Recognition 13(2), 1981) for circles with the gradient's
 * direction; votes do not depend on contrast, so that a paint edge counts as much as a highlight. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "pinspan/rim.h"
#include "rim/squared.h"

enum {
    SIDE = 1500,  /* samples along the longer side of the squared view */
    PEAKS = 40,   /* centres looked at */
    RADII = 6,    /* circles a centre */
    SECTORS = 72, /* of the circumference, to count what share is seen */
    CANDIDATES = PEAKS * RADII,
    COVERS_MAX = 64
};
static const double reach_mm = 900;                         /* how far from the pieces pins are looked for */
static const double radius_min_mm = 9, radius_max_mm = 100; /* rims of pins and bushes from mini machines to 45 t */
static const double aligned_cos = 0.966;                    /* 15 degrees between gradient and radius */
static const double support_min = 0.35;
static const double coarser =
    2; /* of the proposals at twice the grain (docs/reading.md): cracks and grooves are two or three samples wide */

typedef struct edgel {
    float x, y, dx, dy, strength; /* samples; unit gradient */
} edgel;

typedef struct edgels {
    int count;
    edgel *item;
} edgels;

void ps_rim_candidates_clear(ps_rim_candidates *c) {
    free(c->item);
    memset(c, 0, sizeof *c);
}

void ps_rim_masks_middle(const ps_rim_mask *mask, int masks, double middle_mm[2]) {
    middle_mm[0] = middle_mm[1] = 0;
    for (int m = 0; m < masks; m++)
        for (int c = 0; c < 4; c++)
            for (int i = 0; i < 2; i++) middle_mm[i] += mask[m].corner_mm[c][i] / (4.0 * masks);
}

/* The part of the world plane that the photo shows, cut to the reach around the pieces. */
static bool visible_box(const ps_view *view, int width, int height, const ps_rim_mask *mask, int masks, double box[4]) {
    double middle[2];
    ps_rim_masks_middle(mask, masks, middle);
    const double limit[4] = {middle[0] - reach_mm, middle[0] + reach_mm, middle[1] - reach_mm, middle[1] + reach_mm};
    box[0] = box[2] = INFINITY;
    box[1] = box[3] = -INFINITY;
    for (int k = 0; k < 40; k++) { /* along the photo's border */
        double f = (k % 10) / 9.0, p[2] = {f * (width - 1), 0}, o[3], d[3];
        if (k / 10 == 1) p[1] = height - 1;
        if (k / 10 >= 2) p[1] = f * (height - 1), p[0] = k / 10 == 2 ? 0 : width - 1;
        double at[2] = {NAN, NAN};
        if (ps_view_ray(view, p, o, d) && d[2] * o[2] < 0)
            for (int i = 0; i < 2; i++) at[i] = o[i] - d[i] * o[2] / d[2];
        for (int i = 0; i < 2; i++) { /* a ray that misses the plane: as far as the reach goes */
            double low = isfinite(at[i]) ? at[i] : limit[2 * i], high = isfinite(at[i]) ? at[i] : limit[2 * i + 1];
            box[2 * i] = fmin(box[2 * i], fmax(low, limit[2 * i]));
            box[2 * i + 1] = fmax(box[2 * i + 1], fmin(high, limit[2 * i + 1]));
        }
    }
    return box[1] - box[0] > 2 * radius_min_mm && box[3] - box[2] > 2 * radius_min_mm;
}

/* A mask as four half planes: a x + b y + c >= 0 within. */
typedef struct cover {
    double side[4][3];
} cover;

static cover cover_of(const ps_rim_mask *m, double margin) {
    cover out;
    double area = 0; /* of either orientation */
    for (int c = 0; c < 4; c++) {
        const double *p = m->corner_mm[c], *q = m->corner_mm[(c + 1) % 4];
        area += p[0] * q[1] - p[1] * q[0];
    }
    for (int c = 0; c < 4; c++) {
        const double *p = m->corner_mm[c], *q = m->corner_mm[(c + 1) % 4];
        double ex = q[0] - p[0], ey = q[1] - p[1], k = (area > 0 ? -1 : 1) / hypot(ex, ey);
        out.side[c][0] = k * ey;
        out.side[c][1] = -k * ex;
        out.side[c][2] = k * (p[1] * ex - p[0] * ey) + margin;
    }
    return out;
}

static bool covered(const cover *c, int count, double x, double y) {
    for (int m = 0; m < count; m++) {
        const double(*s)[3] = c[m].side;
        bool in = true;
        for (int k = 0; k < 4 && in; k++) in = s[k][0] * x + s[k][1] * y + s[k][2] >= 0;
        if (in) return true;
    }
    return false;
}

static int compare_float(const void *a, const void *b) {
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

static inline float strength_at(const ps_squared *s, size_t i) {
    return sqrtf(s->gx[i] * s->gx[i] + s->gy[i] * s->gy[i]);
}

/* A threshold that keeps the stronger sixth of the gradients but never the noise floor: from a sparse sample. */
static float gradient_threshold(const ps_squared *s) {
    enum { SAMPLES = 20000 };
    float *value = malloc(SAMPLES * sizeof *value);
    if (!value) return 0.01f;
    size_t n = (size_t)s->width * (size_t)s->height, step = n / SAMPLES + 1;
    int count = 0;
    for (size_t i = 0; i < n && count < SAMPLES; i += step)
        if (s->value[i] >= 0) value[count++] = strength_at(s, i);
    float threshold = 0.01f;
    if (count > 100) {
        qsort(value, (size_t)count, sizeof *value, compare_float);
        threshold = fmaxf(value[count * 5 / 6], 0.004f);
    }
    free(value);
    return threshold;
}

/* Local maxima of the gradient along its direction, outside the printed pieces. */
static ps_status find_edgels(ps_context *ctx, const ps_squared *s, const ps_rim_mask *mask, int masks, edgels *out) {
    size_t room = (size_t)s->width * (size_t)s->height / 4 + 16;
    out->item = malloc(room * sizeof *out->item);
    out->count = 0;
    if (!out->item) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for edges");
    float threshold = gradient_threshold(s), least = threshold * threshold;
    int w = s->width;
    cover covers[COVERS_MAX];
    if (masks > COVERS_MAX) masks = COVERS_MAX;
    for (int m = 0; m < masks; m++) covers[m] = cover_of(&mask[m], 4);
    for (int y = 2; y < s->height - 2; y++)
        for (int x = 2; x < w - 2; x++) {
            size_t i = (size_t)y * w + x;
            float gx = s->gx[i], gy = s->gy[i];
            if (gx * gx + gy * gy < least || (size_t)out->count >= room) continue;
            float g = strength_at(s, i);
            int ox = fabsf(gx) > 0.38f * g ? (gx > 0 ? 1 : -1) : 0, oy = fabsf(gy) > 0.38f * g ? (gy > 0 ? 1 : -1) : 0;
            size_t a = i + (size_t)(oy * w + ox), b = i - (size_t)(oy * w + ox);
            if (strength_at(s, a) >= g || strength_at(s, b) > g) continue;
            if (covered(covers, masks, s->x0 + x * s->step, s->y0 + y * s->step)) continue;
            out->item[out->count++] = (edgel){(float)x, (float)y, gx / g, gy / g, g};
        }
    return out->count > 50 ? PS_OK : ps_context_fail(ctx, PS_NOT_FOUND, "no edges beside the printed sheet");
}

/* Votes at a quarter of the view's samples a side; both ways along the gradient. */
enum { CELL = 3 };

/* The last whole step, at most `to`, from a place within 0..size that stays safely within. */
static int last_within(const double at[2], const double toward[2], const double size[2], int to) {
    double most = to;
    for (int k = 0; k < 2; k++) {
        if (toward[k] > 1e-9) most = fmin(most, (size[k] - 0.01 - at[k]) / toward[k]);
        if (toward[k] < -1e-9) most = fmin(most, (at[k] - 0.01) / -toward[k]);
    }
    return (int)floor(most);
}

static void vote(const ps_squared *s, const edgels *e, float *votes, int columns, int rows) {
    int from = (int)(radius_min_mm / s->step), to = (int)(radius_max_mm / s->step);
    for (int k = 0; k < e->count; k++) {
        const edgel *q = &e->item[k];
        for (int way = -1; way <= 1; way += 2) {
            const double at[2] = {(double)q->x, (double)q->y}, toward[2] = {way * (double)q->dx, way * (double)q->dy};
            const double size[2] = {(double)columns * CELL, (double)rows * CELL};
            int last = last_within(at, toward, size, to);
            for (int r = from; r <= last; r += CELL) {
                int i = (int)((q->x + (float)(way * r) * q->dx) / CELL), j = (int)((q->y + (float)(way * r) * q->dy) / CELL);
                votes[(size_t)j * columns + i] += 1;
            }
        }
    }
}

static void blur3(float *a, float *scratch, int columns, int rows) {
    for (int pass = 0; pass < 2; pass++) {
        for (int j = 0; j < rows; j++)
            for (int i = 0; i < columns; i++) {
                float l = a[(size_t)j * columns + (i > 0 ? i - 1 : i)], r = a[(size_t)j * columns + (i < columns - 1 ? i + 1 : i)];
                scratch[(size_t)j * columns + i] = 0.25f * l + 0.5f * a[(size_t)j * columns + i] + 0.25f * r;
            }
        for (int j = 0; j < rows; j++)
            for (int i = 0; i < columns; i++) {
                float u = scratch[(size_t)(j > 0 ? j - 1 : j) * columns + i], d = scratch[(size_t)(j < rows - 1 ? j + 1 : j) * columns + i];
                a[(size_t)j * columns + i] = 0.25f * u + 0.5f * scratch[(size_t)j * columns + i] + 0.25f * d;
            }
    }
}

/* First column of a row's largest vote. */
static int largest_of(const float *row, int columns) {
    float most = row[0];
    int at = 0;
    for (int i = 1; i < columns; i++)
        if (row[i] > most) most = row[i], at = i;
    return at;
}

/* The highest peaks, at least 10 mm apart. Returns their number; centres in samples. `at` has an entry a row to work in. */
static int find_peaks(const ps_squared *s, float *votes, int columns, int rows, int *at, double (*peak)[2]) {
    int count = 0, apart = (int)fmax(1, 10 / s->step / CELL);
    float first = 0;
    for (int j = 0; j < rows; j++) at[j] = largest_of(votes + (size_t)j * columns, columns);
    while (count < PEAKS) {
        int y = 0;
        for (int j = 1; j < rows; j++)
            if (votes[(size_t)j * columns + at[j]] > votes[(size_t)y * columns + at[y]]) y = j;
        int x = at[y];
        float most = votes[(size_t)y * columns + x];
        if (count == 0) first = most;
        if (!(most > 0.08f * first) || first <= 0) break;
        peak[count][0] = (x + 0.5) * CELL;
        peak[count][1] = (y + 0.5) * CELL;
        count++;
        for (int j = y - apart < 0 ? 0 : y - apart; j <= y + apart && j < rows; j++) {
            float *row = votes + (size_t)j * columns;
            for (int i = x - apart < 0 ? 0 : x - apart; i <= x + apart && i < columns; i++) row[i] = 0;
            at[j] = largest_of(row, columns);
        }
    }
    return count;
}

/* Edge elements about a centre, by their distance from it: those of distance i to i + 1 samples are item[start[i]] to
 * item[start[i + 1] - 1]. */
enum { DISTANCES = 2048 };
typedef struct nearby {
    edgels found; /* as they were found */
    edgel *item;
    int start[DISTANCES + 1];
} nearby;

static int distance_of(const edgel *q, const double centre[2]) {
    double dx = (double)q->x - centre[0], dy = (double)q->y - centre[1];
    return (int)fmin(sqrt(dx * dx + dy * dy), DISTANCES - 1);
}

static void sort_by_distance(const double centre[2], nearby *near) {
    memset(near->start, 0, sizeof near->start);
    for (int k = 0; k < near->found.count; k++) near->start[distance_of(&near->found.item[k], centre) + 1]++;
    for (int i = 0; i < DISTANCES; i++) near->start[i + 1] += near->start[i];
    for (int k = near->found.count - 1; k >= 0; k--) {
        int i = distance_of(&near->found.item[k], centre);
        near->item[--near->start[i + 1]] = near->found.item[k];
    }
    /* each start has become that of its own distance, one entry late */
    memmove(near->start, near->start + 1, DISTANCES * sizeof *near->start);
    near->start[DISTANCES] = near->found.count;
}

/* Those that may lie within `window` of a circle. */
static edgels band(const nearby *near, const double centre[2], const double circle[3], double window) {
    double off = hypot(circle[0] - centre[0], circle[1] - centre[1]) + window + 1;
    int low = (int)fmin(fmax(circle[2] - off, 0), DISTANCES - 1), high = (int)fmin(fmax(circle[2] + off + 1, 0), DISTANCES);
    return (edgels){near->start[high] - near->start[low], near->item + near->start[low]};
}

/* How far an edge element is from the circle (samples), or INFINITY when that is over `window` or its gradient does not point along
 * the radius. */
static inline double off_circle(const edgel *q, const double circle[3], double window, double *sign) {
    double dx = q->x - circle[0], dy = q->y - circle[1], d2 = dx * dx + dy * dy, low = fmax(circle[2] - window, 1),
           high = circle[2] + window;
    if (d2 < low * low || d2 > high * high) return INFINITY;
    double d = sqrt(d2);
    double c = (dx * q->dx + dy * q->dy) / d;
    if (sign) *sign = c > 0 ? 1 : -1;
    return fabs(c) < aligned_cos ? INFINITY : d - circle[2];
}

/* Gauss-Newton on the edge elements within `window` of the circle; false when too few. */
static bool refine_circle(const edgels *near, double window, double circle[3]) {
    double N[6] = {0}, b[3] = {0};
    int used = 0;
    for (int k = 0; k < near->count; k++) {
        double r = off_circle(&near->item[k], circle, window, NULL);
        if (!(fabs(r) < window)) continue;
        double dx = near->item[k].x - circle[0], dy = near->item[k].y - circle[1], d = sqrt(dx * dx + dy * dy);
        double weight = 1 - (r / window) * (r / window), J[3] = {-dx / d, -dy / d, -1};
        for (int i = 0, m = 0; i < 3; i++)
            for (int j = 0; j <= i; j++, m++) N[m] += weight * J[i] * J[j];
        for (int i = 0; i < 3; i++) b[i] -= weight * J[i] * r;
        used++;
    }
    if (used < 12) return false;
    /* 3x3 symmetric solve by Cramer: N = [n0; n1 n2; n3 n4 n5] */
    double c00 = N[2] * N[5] - N[4] * N[4], c01 = N[3] * N[4] - N[1] * N[5], c02 = N[1] * N[4] - N[2] * N[3];
    double det = N[0] * c00 + N[1] * c01 + N[3] * c02;
    if (!(fabs(det) > 1e-9 * N[0] * N[2] * N[5])) return false;
    double c11 = N[0] * N[5] - N[3] * N[3], c12 = N[1] * N[3] - N[0] * N[4], c22 = N[0] * N[2] - N[1] * N[1];
    circle[0] += (c00 * b[0] + c01 * b[1] + c02 * b[2]) / det;
    circle[1] += (c01 * b[0] + c11 * b[1] + c12 * b[2]) / det;
    circle[2] += (c02 * b[0] + c12 * b[1] + c22 * b[2]) / det;
    return circle[2] > 2;
}

/* Share of sectors with a fitting edge element, mean strength and sign. */
static void measure_circle(const edgels *near, const double circle[3], double window, ps_rim_candidate *out) {
    bool seen[SECTORS] = {false};
    double strength = 0, sign = 0;
    int used = 0, sectors = 0;
    for (int k = 0; k < near->count; k++) {
        double s, r = off_circle(&near->item[k], circle, window, &s);
        if (!(fabs(r) < window)) continue;
        double angle = atan2(near->item[k].y - circle[1], near->item[k].x - circle[0]);
        seen[(int)((angle + PS_PI) / (2 * PS_PI) * SECTORS) % SECTORS] = true;
        strength += near->item[k].strength;
        sign += s;
        used++;
    }
    for (int i = 0; i < SECTORS; i++) sectors += seen[i];
    out->support = sectors / (double)SECTORS;
    out->contrast = used ? strength / used : 0;
    out->polarity = used && fabs(sign) > 0.6 * used ? (sign > 0 ? 1 : -1) : 0;
}

/* The first edge element on row y or below it: they come in rows. */
static int first_below(const edgels *all, double y) {
    int low = 0, high = all->count;
    while (low < high) {
        int middle = (low + high) / 2;
        if ((double)all->item[middle].y < y)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Edge elements within the largest radius of a centre that point to it or away from it. */
static void gather(const edgels *all, const double centre[2], double reach, edgels *near) {
    near->count = 0;
    int first = first_below(all, centre[1] - reach);
    for (int k = first; k < all->count && (double)all->item[k].y <= centre[1] + reach; k++) {
        const edgel *q = &all->item[k];
        double dx = q->x - centre[0], dy = q->y - centre[1], d2 = dx * dx + dy * dy, along = dx * q->dx + dy * q->dy;
        if (d2 > reach * reach || d2 < 4 || along * along < 0.81 * d2) continue;
        near->item[near->count++] = *q;
    }
}

static int circles_at(const ps_squared *s, const nearby *near, const double centre[2], ps_rim_candidate *out) {
    enum { BINS = 512 };
    double count[BINS] = {0};
    int bins = (int)(radius_max_mm / s->step) + 2, found = 0;
    double bin = bins > BINS ? bins / (double)BINS : 1;
    for (int k = 0; k < near->found.count; k++) {
        double dx = near->item[k].x - centre[0], dy = near->item[k].y - centre[1];
        int i = (int)(sqrt(dx * dx + dy * dy) / bin);
        if (i >= 0 && i < BINS) count[i] += 1 / (2 * PS_PI * fmax(i, 1) * bin); /* share of the circumference */
    }
    for (; found < RADII;) {
        int best = -1;
        double top = 0.12;
        for (int i = (int)(radius_min_mm / s->step / bin); i + 2 < BINS; i++) {
            double here = count[i] + count[i + 1] + (i ? count[i - 1] : 0);
            if (here > top) top = here, best = i;
        }
        if (best < 0) break;
        double circle[3] = {centre[0], centre[1], (best + 0.5) * bin};
        bool good = true;
        for (double window = 4; good && window > 1.4; window *= 0.7) {
            edgels some = band(near, centre, circle, fmax(window, 1.5));
            good = refine_circle(&some, fmax(window, 1.5), circle);
        }
        for (int i = best - 2; i <= best + 2; i++)
            if (i >= 0 && i < BINS) count[i] = 0;
        if (!good || hypot(circle[0] - centre[0], circle[1] - centre[1]) > 12 / s->step) continue;
        ps_rim_candidate c = {s->x0 + circle[0] * s->step, s->y0 + circle[1] * s->step, circle[2] * s->step, 0, 0, 0};
        edgels some = band(near, centre, circle, 1.5);
        measure_circle(&some, circle, 1.5, &c);
        if (c.support >= support_min && c.radius_mm >= radius_min_mm) out[found++] = c;
    }
    return found;
}

static int better(const void *a, const void *b) {
    const ps_rim_candidate *p = a, *q = b;
    if (p->support != q->support) return p->support < q->support ? 1 : -1;
    return p->x_mm != q->x_mm ? (p->x_mm < q->x_mm ? -1 : 1) : (p->radius_mm > q->radius_mm) - (p->radius_mm < q->radius_mm);
}

/* Sorts and drops circles that are another one seen again. */
static int drop_twins(ps_rim_candidate *c, int count, double tolerance) {
    qsort(c, (size_t)count, sizeof *c, better);
    int kept = 0;
    for (int i = 0; i < count; i++) {
        bool twin = false;
        for (int k = 0; k < kept && !twin; k++)
            twin = hypot(c[i].x_mm - c[k].x_mm, c[i].y_mm - c[k].y_mm) < tolerance && fabs(c[i].radius_mm - c[k].radius_mm) < tolerance;
        if (!twin) c[kept++] = c[i];
    }
    return kept;
}

static ps_status find_circles(ps_context *ctx, const ps_squared *s, const edgels *all, ps_rim_candidates *out) {
    int columns = s->width / CELL + 1, rows = s->height / CELL + 1;
    size_t cells = (size_t)columns * (size_t)rows;
    double(*peak)[2] = malloc(PEAKS * sizeof *peak);
    float *votes = calloc(cells, sizeof *votes), *scratch = malloc(cells * sizeof *scratch);
    int *at = malloc((size_t)rows * sizeof *at);
    nearby near = {{0, malloc((size_t)(all->count + 1) * sizeof(edgel))}, malloc((size_t)(all->count + 1) * sizeof(edgel)), {0}};
    ps_rim_candidate *item = malloc(CANDIDATES * sizeof *item);
    ps_status status = PS_OK;
    int count = 0;
    if (!peak || !votes || !scratch || !at || !near.found.item || !near.item || !item) {
        status = ps_context_fail(ctx, PS_NO_MEMORY, "no memory for circle candidates");
        goto out;
    }
    vote(s, all, votes, columns, rows);
    blur3(votes, scratch, columns, rows);
    int peaks = find_peaks(s, votes, columns, rows, at, peak);
    for (int k = 0; k < peaks; k++) {
        gather(all, peak[k], radius_max_mm / s->step, &near.found);
        sort_by_distance(peak[k], &near);
        count += circles_at(s, &near, peak[k], item + count);
    }
    count = drop_twins(item, count, 1.5 * s->step);
    if (count == 0) status = ps_context_fail(ctx, PS_NOT_FOUND, "no circular edges beside the printed sheet");
out:
    free(peak);
    free(votes);
    free(scratch);
    free(at);
    free(near.found.item);
    free(near.item);
    if (status == PS_OK)
        out->count = count, out->item = item;
    else
        free(item);
    return status;
}

static ps_status propose(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_rim_mask *mask, int masks, double grain,
                         ps_rim_candidates *out) {
    double box[4];
    ps_squared squared = {0};
    edgels all = {0, NULL};
    ps_rim_candidates found = {0, NULL};
    ps_plane plane = ps_plane_world();
    if (masks < 1) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "rims are proposed around a printed piece");
    if (!visible_box(view, luma->width, luma->height, mask, masks, box))
        return ps_context_fail(ctx, PS_NOT_FOUND, "the plane of the printed sheet is hardly in view");
    double step = grain * fmax(box[1] - box[0], box[3] - box[2]) / SIDE;
    ps_status status = ps_squared_render(ctx, luma, view, &plane, box, step, 1.2, &squared);
    if (status == PS_OK) status = find_edgels(ctx, &squared, mask, masks, &all);
    if (status == PS_OK) status = find_circles(ctx, &squared, &all, &found);
    ps_squared_clear(&squared);
    free(all.item);
    if (status == PS_OK) *out = found;
    return status;
}

ps_status ps_rim_propose(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_rim_mask *mask, int masks,
                         ps_rim_candidates *out) {
    return propose(ctx, luma, view, mask, masks, 1, out);
}

ps_status ps_rim_propose_coarsely(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_rim_mask *mask, int masks,
                                  ps_rim_candidates *out) {
    return propose(ctx, luma, view, mask, masks, coarser, out);
}
