/* The half section of a body of revolution from photos. A rim at height h and radius r gives an edge along its projected
 * circle in every photo that sees it; a circle of any other height is displaced differently in each photo and gathers
 * nothing. So the joint support over (h, r) shows the section's corners as bright spots. */
#include "rim/profile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "base/wide.h"

enum {
    SECTORS_MAX = PS_PROFILE_SECTORS_MAX,
    COHERENT_DEG = 11,
    TRIED_MAX = 256,
    COHERENT_MAX = SECTORS_MAX * COHERENT_DEG / 360 + 1,
    SHADE_DISCS = 6
};
static const float unit = 65532;                        /* of packed gradients: differences of samples of 0..1 over two are at most 0.5 */
static const float strength_most = 5;                   /* no highlight counts for more */
static const double floor_support = 0.03;               /* a photo that shows nothing does not veto a rim */
static const double free_least = 0.25, free_full = 0.5; /* share of a circle that a screen leaves free */
static const double shade_from = 1.1;                   /* of the screen's radius */

/* Supports of a map's circles in each photo, kept for when a screen is set: circles that it does not meet stay as they are. */
struct ps_profile_kept {
    bool filled;
    int heights, radii, sectors;
    double height_step, radius0, radius_step;
    ps_axis_guess axis;
    float *support; /* photos x heights x radii; -1 where too little can be seen */
};

void ps_profile_close(ps_profile_source *s) {
    for (int i = 0; s->photo && i < s->photos; i++) free(s->photo[i].cell);
    free(s->photo);
    if (s->kept) free(s->kept->support);
    free(s->kept);
    memset(s, 0, sizeof *s);
}

/* The box of the plane that holds every circle of the wanted heights and radii, seen from this photo. */
static void box_of(const double foot[2], double rise, const ps_axis_guess *axis, double low, double high, double radius, double box[4]) {
    const ps_squared camera = {.foot = {foot[0], foot[1]}, .rise = rise};
    box[0] = box[2] = INFINITY;
    box[1] = box[3] = -INFINITY;
    for (int k = 0; k < 2; k++) {
        double h = k ? high : low, seen[3];
        ps_squared_circle(&camera, axis->slope_x * h, axis->slope_y * h, h, radius, seen);
        for (int i = 0; i < 2; i++) {
            box[2 * i] = fmin(box[2 * i], seen[i] - seen[2] - 3);
            box[2 * i + 1] = fmax(box[2 * i + 1], seen[i] + seen[2] + 3);
        }
    }
}

static int compare_float(const void *a, const void *b) {
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* Samples lie in strips, each as high as the view and STEP_X samples wide with the first of the next beside them: what a bilinear
 * look-up needs is then within 32 bytes, and circles, which cross the view in all directions, find a few samples of their way in every 64
 * bytes of memory. */
enum { STRIP = 4, STEP_X = STRIP - 1, THIRD = 21846, THIRD_BITS = 16 }; /* i * THIRD >> 16 is i / 3 up to 32767 */

/* The cell of sample (i, j). */
PS_WITHIN int place(int i, int j, int rows) {
    int strip = (i * THIRD) >> THIRD_BITS;
    return (strip * rows + j) * STRIP + i - strip * STEP_X;
}

PS_WITHIN float part_x(uint32_t cell) {
    return (float)((int32_t)(cell << 16) >> 16);
}
PS_WITHIN float part_y(uint32_t cell) {
    return (float)((int32_t)cell >> 16);
}

/* An edge counts fully at three times the median gradient around the axis, but not where that is far below what edges
 * there have (a smooth plate), and never below the noise of a clean photo. A third of the strongest edges matter on bare, even
 * surfaces, where hardly anything else has a gradient. */
static float full_gradient(const ps_profile_view *v) {
    enum { SAMPLES = 4000 };
    float value[SAMPLES];
    size_t n = (size_t)v->width * (size_t)v->height, step = n / SAMPLES + 1;
    int count = 0;
    for (size_t i = 0; i < n && count < SAMPLES; i += step) {
        uint32_t cell = v->cell[place((int)(i % (size_t)v->width), (int)(i / (size_t)v->width), v->rows)];
        if (cell) value[count++] = hypotf(part_x(cell), part_y(cell)) / unit;
    }
    if (count < 50) return 0.012f;
    qsort(value, (size_t)count, sizeof *value, compare_float);
    float usual = fmaxf(3 * value[count / 2], 0.5f * value[count * 19 / 20]);
    return fmaxf(fmaxf(usual, 0.15f * value[count * 99 / 100]), 0.006f);
}

/* A row's gradients as two 16-bit numbers each, x low and y high. A sample that the photo does not show is 0, and no other is: a
 * gradient of nothing becomes one unit. */
PS_WIDE static void pack_row(const float *value, const float *gx, const float *gy, int width, uint32_t *restrict out) {
    for (int k = 0; k < width; k++) {
        int x = (int)(gx[k] * unit + (gx[k] < 0 ? -0.5f : 0.5f)), y = (int)(gy[k] * unit + (gy[k] < 0 ? -0.5f : 0.5f));
        uint32_t one = ((uint32_t)x & 0xffff) | (uint32_t)y << 16;
        out[k] = value[k] < 0 ? 0 : one == 0 ? 1 : one;
    }
}

typedef struct packing {
    ps_profile_view *view;
    int strips;
    uint32_t *row; /* room for a row of strips */
} packing;

static void pack(void *user, int y, const float *value, const float *gx, const float *gy) {
    const packing *p = user;
    uint32_t *out = p->view->cell + (size_t)y * STRIP;
    size_t apart = (size_t)p->view->rows * STRIP;
    pack_row(value, gx, gy, p->view->width, p->row);
    for (int k = 0; k < p->strips; k++) memcpy(out + (size_t)k * apart, p->row + (size_t)k * STEP_X, STRIP * sizeof *out);
}

/* A photo's gradients for looking up. The first cell and those next to it stand for all places outside. */
static ps_status fill_view(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_plane *plane, const ps_squared *frame,
                           ps_profile_view *out) {
    int strips = (frame->width + STEP_X - 1) / STEP_X,
        rows = frame->height | 7; /* odd in units of four: strips do not share places of caches */
    ps_profile_view v = {.width = frame->width,
                         .height = frame->height,
                         .x0 = frame->x0,
                         .y0 = frame->y0,
                         .step = frame->step,
                         .foot = {frame->foot[0], frame->foot[1]},
                         .rise = frame->rise,
                         .rows = rows};
    v.cell = malloc((size_t)strips * (size_t)rows * STRIP * sizeof *v.cell);
    packing p = {&v, strips, calloc((size_t)strips * STEP_X + STRIP, sizeof *p.row)};
    ps_status status = v.cell && p.row ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for squared views");
    if (status == PS_OK) status = ps_squared_rows(ctx, luma, view, plane, frame, 1.2, pack, &p);
    free(p.row);
    if (status != PS_OK) {
        free(v.cell);
        return status;
    }
    v.full = full_gradient(&v) * unit * 32767;
    for (int k = 0; k < 2; k++) v.cell[k] = v.cell[STRIP + k] = 0;
    *out = v;
    return PS_OK;
}

static void turn_make(int sectors, ps_profile_turn *t) {
    t->sectors = sectors;
    for (int k = 0; k < sectors; k++) {
        t->c[k] = (float)cos(2 * PS_PI * k / sectors);
        t->s[k] = (float)sin(2 * PS_PI * k / sectors);
        t->packed[k] = ((uint32_t)lround(32767 * (double)t->c[k]) & 0xffff) | (uint32_t)lround(32767 * (double)t->s[k]) << 16;
    }
}

/* One photo squared up; `cell` stays NULL where it does not see the axis. */
static ps_status open_photo(ps_context *ctx, const ps_profile_source *s, const ps_luma *luma, const ps_view *view,
                            const ps_axis_guess *axis, double coarse, ps_profile_view *out) {
    double foot[2], rise, step, box[4];
    ps_squared frame;
    ps_squared_stand(view, &s->plane, foot, &rise, &step);
    if (!(rise > 1 && step > 0)) return PS_OK;
    box_of(foot, rise, axis, s->height_low_mm, s->height_high_mm, s->radius_high_mm, box);
    ps_status status = ps_squared_frame(ctx, view, &s->plane, box, step * coarse, &frame);
    if (status == PS_NOT_FOUND || status == PS_TOO_LARGE) return PS_OK;
    return status == PS_OK ? fill_view(ctx, luma, view, &s->plane, &frame, out) : status;
}

ps_status ps_profile_open(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_axis_guess *axis,
                          double height_low_mm, double height_high_mm, double radius_high_mm, double coarse, ps_profile_source *out) {
    static const int usual[PS_PROFILE_TURNS] = {48, 64, 96};
    ps_profile_source s = {.plane = ps_plane_world(),
                           .photos = photos,
                           .height_low_mm = height_low_mm,
                           .height_high_mm = height_high_mm,
                           .radius_high_mm = radius_high_mm};
    for (int i = 0; i < PS_PROFILE_TURNS; i++) turn_make(usual[i], &s.turn[i]);
    ps_plane_point(&s.plane, axis->x_mm, axis->y_mm, 0, s.plane.origin);
    s.photo = calloc((size_t)photos, sizeof *s.photo);
    s.kept = calloc(1, sizeof *s.kept);
    int usable = 0;
    ps_status status = s.photo && s.kept ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for squared views");
    for (int i = 0; status == PS_OK && i < photos; i++) {
        status = open_photo(ctx, &s, lumas[i], &views[i], axis, coarse, &s.photo[i]);
        if (s.photo[i].cell) usable++;
    }
    if (status == PS_OK && !usable) status = ps_context_fail(ctx, PS_NOT_FOUND, "no photo shows this axis");
    if (status == PS_OK)
        *out = s;
    else
        ps_profile_close(&s);
    return status;
}

/* The directions that are kept, or `own` filled. */
static const ps_profile_turn *turn_of(const ps_profile_source *s, int sectors, ps_profile_turn *own) {
    for (int i = 0; i < PS_PROFILE_TURNS; i++)
        if (s->turn[i].sectors == sectors) return &s->turn[i];
    turn_make(sectors, own);
    return own;
}

/* Along a direction: gx c + gy s, in the cells' unit times 32767. */
PS_WITHIN float along(uint32_t cell, uint32_t direction) {
    int32_t x = (int32_t)(cell << 16) >> 16, y = (int32_t)cell >> 16, c = (int32_t)(direction << 16) >> 16, s = (int32_t)direction >> 16;
    return (float)(x * c + y * s);
}

/* Derivative along the radius in the directions from `from` on, bilinear, in the cells' unit times 32767; counts those in view. */
PS_WITHIN int radial(const ps_profile_view *v, const ps_profile_turn *t, int from, float cx, float cy, float r, float *restrict g) {
    int right = v->width - 2, bottom = v->height - 2, inside = 0;
    for (int k = from; k < t->sectors; k++) {
        float x = cx + r * t->c[k], y = cy + r * t->s[k];
        int i = (int)x, j = (int)y, within = -((i >= 1) & (j >= 1) & (i < right) & (j < bottom));
        float a = x - (float)i, b = y - (float)j;
        const uint32_t *q = v->cell + (place(i, j, v->rows) & within);
        float here = along(q[0], t->packed[k]), beside = along(q[1], t->packed[k]);
        float below = along(q[STRIP], t->packed[k]), across = along(q[STRIP + 1], t->packed[k]);
        float left = here + b * (below - here), far = beside + b * (across - beside);
        g[k] = left + a * (far - left);
        inside += q[0] != 0;
    }
    return inside;
}

#ifdef PS_HAS_AVX2
/* Eight directions at a time; the same operations in the same order. */
PS_AVX2_WITHIN __m256 along8(__m256i cell, __m256i direction) {
    return _mm256_cvtepi32_ps(_mm256_madd_epi16(cell, direction));
}
PS_AVX2_WITHIN __m256 between8(__m256 a, __m256 b, __m256 share) {
    return _mm256_add_ps(a, _mm256_mul_ps(share, _mm256_sub_ps(b, a)));
}
/* The four cells of one look-up: here, beside, below, across. */
PS_AVX2_WITHIN __m128i four_cells(const uint32_t *q) {
    return _mm_unpacklo_epi64(_mm_loadl_epi64((const __m128i *)(const void *)q),
                              _mm_loadl_epi64((const __m128i *)(const void *)(q + STRIP)));
}
PS_AVX2_WITHIN __m256i eight_cells(const uint32_t *low, const uint32_t *high) {
    return _mm256_inserti128_si256(_mm256_castsi128_si256(four_cells(low)), four_cells(high), 1);
}

PS_AVX2_WITHIN int radial8(const ps_profile_view *v, const ps_profile_turn *t, float cx, float cy, float r, float *restrict g) {
    const __m256 mx = _mm256_set1_ps(cx), my = _mm256_set1_ps(cy), mr = _mm256_set1_ps(r);
    const __m256i zero = _mm256_setzero_si256(), rows = _mm256_set1_epi32(v->rows), third = _mm256_set1_epi32(THIRD);
    const __m256i right = _mm256_set1_epi32(v->width - 2), bottom = _mm256_set1_epi32(v->height - 2);
    int32_t at[8];
    int inside = 0, k = 0;
    for (; k + 8 <= t->sectors; k += 8) {
        __m256 x = _mm256_add_ps(mx, _mm256_mul_ps(mr, _mm256_loadu_ps(t->c + k)));
        __m256 y = _mm256_add_ps(my, _mm256_mul_ps(mr, _mm256_loadu_ps(t->s + k)));
        __m256i i = _mm256_cvttps_epi32(x), j = _mm256_cvttps_epi32(y);
        __m256i within = _mm256_and_si256(_mm256_and_si256(_mm256_cmpgt_epi32(i, zero), _mm256_cmpgt_epi32(j, zero)),
                                          _mm256_and_si256(_mm256_cmpgt_epi32(right, i), _mm256_cmpgt_epi32(bottom, j)));
        __m256 a = _mm256_sub_ps(x, _mm256_cvtepi32_ps(i)), b = _mm256_sub_ps(y, _mm256_cvtepi32_ps(j));
        __m256i strip = _mm256_srai_epi32(_mm256_mullo_epi32(i, third), THIRD_BITS);
        __m256i place8 = _mm256_add_epi32(_mm256_slli_epi32(_mm256_add_epi32(_mm256_mullo_epi32(strip, rows), j), 2),
                                          _mm256_sub_epi32(i, _mm256_add_epi32(strip, _mm256_add_epi32(strip, strip))));
        _mm256_storeu_si256((__m256i *)(void *)at, _mm256_and_si256(place8, within));
        __asm__ volatile("" : : "r"(at) : "memory"); /* loads are cheaper than taking the register apart */
        __m256i p = eight_cells(v->cell + at[0], v->cell + at[4]), q = eight_cells(v->cell + at[1], v->cell + at[5]);
        __m256i u = eight_cells(v->cell + at[2], v->cell + at[6]), w = eight_cells(v->cell + at[3], v->cell + at[7]);
        __m256i pq_low = _mm256_unpacklo_epi32(p, q), pq_high = _mm256_unpackhi_epi32(p, q);
        __m256i uw_low = _mm256_unpacklo_epi32(u, w), uw_high = _mm256_unpackhi_epi32(u, w);
        __m256i cell = _mm256_unpacklo_epi64(pq_low, uw_low),
                direction = _mm256_loadu_si256((const __m256i *)(const void *)(t->packed + k));
        __m256 here = along8(cell, direction), beside = along8(_mm256_unpackhi_epi64(pq_low, uw_low), direction);
        __m256 below = along8(_mm256_unpacklo_epi64(pq_high, uw_high), direction);
        __m256 across = along8(_mm256_unpackhi_epi64(pq_high, uw_high), direction);
        _mm256_storeu_ps(g + k, between8(between8(here, below, b), between8(beside, across, b), a));
        inside += 8 - __builtin_popcount((unsigned)_mm256_movemask_ps(_mm256_castsi256_ps(_mm256_cmpeq_epi32(cell, zero))));
    }
    return inside + radial(v, t, k, cx, cy, r, g);
}
#endif

/* Adds up the `half` neighbours to both sides of each direction. `g` has half entries to spare at both ends, which are filled. */
PS_WITHIN void add_neighbours(float *g, int sectors, int half, float *run) {
    for (int k = 1; k <= half; k++) g[-k] = g[sectors - k], g[sectors + k - 1] = g[k - 1];
    for (int k = 0; k < sectors; k++) run[k] = g[k];
    for (int e = 1; e <= half; e++)
        for (int k = 0; k < sectors; k++) run[k] += g[k - e] + g[k + e];
}

/* Sum of |size| up to a cap, `part` of each; eight sums, so that compilers may keep them side by side. */
PS_WITHIN float capped_sum(const float *size, const float *part, int sectors, float scale, float cap) {
    float sum[8] = {0};
    int k = 0;
    for (; k + 8 <= sectors; k += 8)
        for (int i = 0; i < 8; i++) {
            float one = fabsf(size[k + i]) * scale;
            sum[i] += (one < cap ? one : cap) * (part ? part[k + i] : 1);
        }
    for (; k < sectors; k++) {
        float one = fabsf(size[k]) * scale;
        sum[0] += (one < cap ? one : cap) * (part ? part[k] : 1);
    }
    return ((sum[0] + sum[4]) + (sum[2] + sum[6])) + ((sum[1] + sum[5]) + (sum[3] + sum[7]));
}

/* Mean over the directions of the strength of 2*half+1 neighbours together, capped; `strength`, with a higher cap, may be NULL. */
PS_WITHIN void coherent(float *g, int sectors, int half, float scale, double *joint, double *strength) {
    float run[SECTORS_MAX];
    add_neighbours(g, sectors, half, run);
    *joint = (double)(capped_sum(run, NULL, sectors, scale, 1) / (float)sectors);
    if (strength) *strength = (double)(capped_sum(run, NULL, sectors, scale, strength_most) / (float)sectors);
}

/* Where circles of one height show in a photo: centre in samples, and samples a millimetre of radius. */
typedef struct level {
    double x, y, per_mm;
    bool below; /* the camera */
} level;

static level level_at(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height) {
    const ps_profile_view *v = &s->photo[photo];
    level at = {0, 0, 0, v->cell && height < v->rise};
    if (!at.below) return at;
    double k = v->rise / (v->rise - height);
    /* the guess may have moved since the views were made */
    at.x = v->foot[0] + (axis->slope_x * height - v->foot[0]) * k + axis->x_mm - s->plane.origin[0];
    at.y = v->foot[1] + (axis->slope_y * height - v->foot[1]) * k + axis->y_mm - s->plane.origin[1];
    at.x = (at.x - v->x0) / v->step;
    at.y = (at.y - v->y0) / v->step;
    at.per_mm = k / v->step;
    return at;
}

/* Discs that hide circles of one height in a photo, in samples. */
typedef struct shade {
    int count;
    double from_mm; /* circles from this radius on; nearer ones lie in the wall's own outline */
    float x[SHADE_DISCS], y[SHADE_DISCS], r2[SHADE_DISCS];
} shade;

static shade shade_at(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height) {
    const ps_profile_screen *screen = &s->screen;
    shade out = {.count = 0, .from_mm = screen->wall ? shade_from * screen->radius_mm : 0};
    if (!(screen->radius_mm > 0) || height > screen->height_mm - 0.5) return out;
    for (int i = 0; i < (screen->wall ? SHADE_DISCS : 1); i++) {
        level at = level_at(s, photo, axis, screen->height_mm - (screen->height_mm - height) * i / SHADE_DISCS);
        if (!at.below) return (shade){.count = 0};
        double r = screen->radius_mm * at.per_mm + 1.5; /* its own edge is blurred */
        out.x[out.count] = (float)at.x, out.y[out.count] = (float)at.y, out.r2[out.count++] = (float)(r * r);
    }
    return out;
}

/* Whether one of the discs meets the circle's line. A circle wholly under a disc is met too. */
static bool met(const shade *by, const level *at, double radius) {
    double r = radius * at->per_mm;
    for (int i = 0; i < by->count; i++) {
        double dx = at->x - (double)by->x[i], dy = at->y - (double)by->y[i], apart = sqrt(dx * dx + dy * dy) - r;
        if (apart * apart < (double)by->r2[i]) return true;
    }
    return false;
}

/* The same as below of a circle that a screen partly hides: the mean of the directions that are free alone. g has its derivatives and
 * room for neighbours at both ends. */
PS_WIDE static bool partly_hidden(const ps_profile_view *v, const shade *by, const level *at, double radius, const ps_profile_turn *t,
                                  float *g, double *joint, double *strength) {
    float room[SECTORS_MAX + 2 * COHERENT_MAX], *open = room + COHERENT_MAX, run[SECTORS_MAX], near[SECTORS_MAX], count = 0;
    float cx = (float)at->x, cy = (float)at->y, r = (float)(radius * at->per_mm), scale = 1 / v->full;
    int half = t->sectors * COHERENT_DEG / 360;
    for (int k = 0; k < t->sectors; k++) open[k] = 1;
    for (int i = 0; i < by->count; i++)
        for (int k = 0; k < t->sectors; k++) {
            float x = cx + r * t->c[k] - by->x[i], y = cy + r * t->s[k] - by->y[i];
            open[k] = x * x + y * y < by->r2[i] ? 0 : open[k];
        }
    for (int k = 0; k < t->sectors; k++) g[k] *= open[k], count += open[k];
    double free_share = (double)count / t->sectors, sure = fmin(1, 0.5 + 0.5 * free_share / free_full);
    if (free_share < free_least) return false;
    add_neighbours(g, t->sectors, half, run);
    add_neighbours(open, t->sectors, half, near);
    for (int k = 0; k < t->sectors; k++) run[k] = run[k] / (near[k] > 1 ? near[k] : 1);
    *joint = sure * (double)(capped_sum(run, open, t->sectors, scale, 1) / count);
    if (strength) *strength = sure * (double)(capped_sum(run, open, t->sectors, scale, strength_most) / count);
    return true;
}

/* A circle of one photo in samples, where it can be asked for. */
typedef struct ring {
    float x, y, r;
} ring;

static bool ring_at(const ps_profile_view *v, const level *at, double radius, ring *out) {
    if (!at->below || !(fabs(at->x) + fabs(at->y) + fabs(radius) * at->per_mm < 1e5)) return false; /* far outside */
    *out = (ring){(float)at->x, (float)at->y, (float)(radius * at->per_mm)};
    return v->cell != NULL;
}

enum { ROOM = SECTORS_MAX + 2 * COHERENT_MAX };

/* Support and strength from the derivatives in g, of which `seen` are in view; false where too little of the circle can be seen: less than
 * half of it is in view, or a screen hides it. */
PS_WITHIN bool judge(const ps_profile_view *v, const shade *by, const level *at, double radius, const ps_profile_turn *t, int seen,
                     float *g, double *joint, double *strength) {
    int half = t->sectors * COHERENT_DEG / 360;
    if (seen < t->sectors / 2) return false;
    if (by->count && radius >= by->from_mm && met(by, at, radius)) return partly_hidden(v, by, at, radius, t, g, joint, strength);
    coherent(g, t->sectors, half, 1 / (v->full * (float)(2 * half + 1)), joint, strength);
    return true;
}

/* Of count circles of radii r0, r0 + step, ...; joint -1 where too little can be seen. `strength` may be NULL. */
typedef struct circle_row {
    const ps_profile_view *view;
    const ps_profile_turn *turn;
    level at;
    shade by;
    double r0, step;
    int count;
} circle_row;

static void row_plain(const circle_row *w, double *joint, double *strength) {
    float room[ROOM], *g = room + COHERENT_MAX;
    for (int i = 0; i < w->count; i++) {
        double radius = w->r0 + i * w->step;
        ring c;
        bool had = ring_at(w->view, &w->at, radius, &c);
        int seen = had ? radial(w->view, w->turn, 0, c.x, c.y, c.r, g) : 0;
        if (!had || !judge(w->view, &w->by, &w->at, radius, w->turn, seen, g, &joint[i], strength ? &strength[i] : NULL)) joint[i] = -1;
    }
}

#ifdef PS_HAS_AVX2
PS_AVX2 static void row_avx2(const circle_row *w, double *joint, double *strength) {
    float room[ROOM], *g = room + COHERENT_MAX;
    for (int i = 0; i < w->count; i++) {
        double radius = w->r0 + i * w->step;
        ring c;
        bool had = ring_at(w->view, &w->at, radius, &c);
        int seen = had ? radial8(w->view, w->turn, c.x, c.y, c.r, g) : 0;
        if (!had || !judge(w->view, &w->by, &w->at, radius, w->turn, seen, g, &joint[i], strength ? &strength[i] : NULL)) joint[i] = -1;
    }
}
#endif

static void row_read(const circle_row *w, double *joint, double *strength) {
#ifdef PS_HAS_AVX2
    if (PS_AVX2_HERE) {
        row_avx2(w, joint, strength);
        return;
    }
#endif
    row_plain(w, joint, strength);
}

static bool support_one(const ps_profile_view *v, const shade *by, const level *at, double radius, const ps_profile_turn *t, double *joint,
                        double *strength) {
    const circle_row w = {v, t, *at, *by, radius, 0, 1};
    row_read(&w, joint, strength);
    return *joint >= 0;
}

double ps_profile_support(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height, double radius, int sectors) {
    ps_profile_turn own;
    level at = level_at(s, photo, axis, height);
    shade by = shade_at(s, photo, axis, height);
    double joint, strength;
    return support_one(&s->photo[photo], &by, &at, radius, turn_of(s, sectors, &own), &joint, &strength) ? joint : NAN;
}

/* Geometric mean. A circle that a screen leaves to a single photo of several is no joint one. */
static double mean_of(const ps_profile_source *s, double product, int photos) {
    if (photos == 1 && s->photos > 1 && s->screen.radius_mm > 0) product *= floor_support, photos = 2;
    return photos ? pow(product, 1.0 / photos) : 0;
}

enum { ROW_MAX = 2048 };

/* The joint support of `count` circles of one height, radii r0, r0 + step, ...; a photo at a time, which keeps its samples at
 * hand. */
static void joint_row(const ps_profile_source *s, const ps_axis_guess *axis, double height, double r0, double step, int count,
                      const ps_profile_turn *t, double *joint) {
    double one[ROW_MAX];
    int photos[ROW_MAX];
    for (int i = 0; i < count; i++) joint[i] = 1, photos[i] = 0;
    for (int p = 0; p < s->photos; p++) {
        const circle_row w = {&s->photo[p], t, level_at(s, p, axis, height), shade_at(s, p, axis, height), r0, step, count};
        if (!w.at.below) continue;
        row_read(&w, one, NULL);
        for (int i = 0; i < count; i++) {
            if (one[i] < 0) continue;
            joint[i] *= fmax(one[i], floor_support);
            photos[i]++;
        }
    }
    for (int i = 0; i < count; i++) joint[i] = mean_of(s, joint[i], photos[i]);
}

double ps_profile_joint(const ps_profile_source *s, const ps_axis_guess *axis, double height, double radius, int sectors) {
    ps_profile_turn own;
    double joint;
    joint_row(s, axis, height, radius, 0, 1, turn_of(s, sectors, &own), &joint);
    return joint;
}

double ps_profile_joint_strength(const ps_profile_source *s, const ps_axis_guess *axis, double height, double radius, int sectors,
                                 double *strength) {
    ps_profile_turn own;
    const ps_profile_turn *t = turn_of(s, sectors, &own);
    double joint = 1, strong = 1;
    int photos = 0;
    for (int p = 0; p < s->photos; p++) {
        level at = level_at(s, p, axis, height);
        shade by = shade_at(s, p, axis, height);
        double one, its_strength;
        if (!support_one(&s->photo[p], &by, &at, radius, t, &one, &its_strength)) continue;
        joint *= fmax(one, floor_support);
        strong *= fmax(its_strength, floor_support);
        photos++;
    }
    *strength = mean_of(s, strong, photos);
    return mean_of(s, joint, photos);
}

/* Contrast of the joint profile: how far it stands out from its neighbours in radius, over a coarse grid. A broad bright
 * region (texture, a shadow's border) adds nothing; a rim that all photos agree on does. */
static double sharpness(const ps_profile_source *s, const ps_axis_guess *axis, double h0, double h1, double r0, double r1) {
    enum { ROW = 256, APART = 3 }; /* ROW: at most ROW_MAX */
    const double step = 0.5;
    double row[ROW], sum = 0;
    ps_profile_turn own;
    const ps_profile_turn *turn = turn_of(s, 48, &own);
    int n = (int)fmin((r1 - r0) / step, ROW);
    for (double h = h0; h <= h1; h += 1.5) {
        joint_row(s, axis, h, r0, step, n, turn, row);
        for (int i = APART; i + APART < n; i++) {
            double over = row[i] - 0.5 * (row[i - APART] + row[i + APART]);
            if (over > 0) sum += over * over * over;
        }
    }
    return sum;
}

/* Places of the axis that were tried, so that none is tried twice. */
typedef struct tried {
    int count;
    double at[TRIED_MAX][2];
} tried;

static bool try_first(tried *t, const ps_axis_guess *axis) {
    for (int i = 0; i < t->count; i++)
        if (fabs(t->at[i][0] - axis->x_mm) < 1e-6 && fabs(t->at[i][1] - axis->y_mm) < 1e-6) return false;
    if (t->count == TRIED_MAX) return true;
    t->at[t->count][0] = axis->x_mm;
    t->at[t->count++][1] = axis->y_mm;
    return true;
}

void ps_profile_focus(const ps_profile_source *s, ps_axis_guess *axis, double height_low, double height_high, double radius_low,
                      double radius_high, double reach_mm) {
    double best = sharpness(s, axis, height_low, height_high, radius_low, radius_high);
    tried before = {1, {{axis->x_mm, axis->y_mm}}};
    for (double step = reach_mm; step > 0.12; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 4; k++) {
                ps_axis_guess trial = *axis;
                if (k < 2)
                    trial.x_mm += k ? step : -step;
                else
                    trial.y_mm += k == 3 ? step : -step;
                if (!try_first(&before, &trial)) continue; /* it was no better */
                double value = sharpness(s, &trial, height_low, height_high, radius_low, radius_high);
                if (value > best * 1.0005) best = value, *axis = trial, moved = true;
            }
        }
}

void ps_profile_map_clear(ps_profile_map *m) {
    free(m->value);
    memset(m, 0, sizeof *m);
}

static bool kept_fits(const ps_profile_kept *k, const ps_profile_map *m, const ps_axis_guess *axis, int sectors) {
    return k->filled && k->heights == m->heights && k->radii == m->radii && k->sectors == sectors && k->height_step == m->height_step &&
           k->radius0 == m->radius0 && k->radius_step == m->radius_step && k->axis.x_mm == axis->x_mm && k->axis.y_mm == axis->y_mm &&
           k->axis.slope_x == axis->slope_x && k->axis.slope_y == axis->slope_y;
}

/* Room for the supports of a map, those at hand where they are of the same circles; NULL without memory. */
static float *kept_room(const ps_profile_source *s, const ps_profile_map *m, const ps_axis_guess *axis, int sectors, bool *at_hand) {
    ps_profile_kept *k = s->kept;
    *at_hand = kept_fits(k, m, axis, sectors);
    if (*at_hand) return k->support;
    free(k->support);
    k->support = malloc((size_t)s->photos * (size_t)m->heights * (size_t)m->radii * sizeof *k->support);
    k->filled = false;
    return k->support;
}

/* Without a screen all circles are read; with one, from what is kept, those that it meets. */
static void map_row(const circle_row *w, bool at_hand, float *kept, double *joint) {
    if (!at_hand) {
        row_read(w, joint, NULL);
        for (int i = 0; i < w->count; i++) kept[i] = (float)joint[i];
        return;
    }
    for (int i = 0; i < w->count; i++) {
        circle_row one = *w;
        joint[i] = (double)kept[i];
        one.r0 = w->r0 + i * w->step, one.count = 1;
        if (kept[i] >= 0 && w->by.count && one.r0 >= w->by.from_mm && met(&w->by, &w->at, one.r0)) row_read(&one, &joint[i], NULL);
    }
}

ps_status ps_profile_map_make(ps_context *ctx, const ps_profile_source *s, const ps_axis_guess *axis, double height_step,
                              double radius_step, double radius_low, int sectors, ps_profile_map *out) {
    ps_profile_map m = {.height0 = s->height_low_mm, .height_step = height_step, .radius0 = radius_low, .radius_step = radius_step};
    m.heights = (int)((s->height_high_mm - s->height_low_mm) / height_step) + 1;
    m.radii = (int)((s->radius_high_mm - radius_low) / radius_step) + 1;
    if (m.heights < 2 || m.radii < 2 || m.heights > 2000 || m.radii > ROW_MAX)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "profile map of a senseless size");
    size_t radii = (size_t)m.radii, cells = (size_t)m.heights * radii;
    bool at_hand;
    float *kept = kept_room(s, &m, axis, sectors, &at_hand);
    double *product = malloc(cells * sizeof *product), one[ROW_MAX];
    uint8_t *photos = calloc(cells, sizeof *photos);
    m.value = malloc(cells * sizeof *m.value);
    ps_status status = kept && product && photos && m.value ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the profile map");
    ps_profile_turn own;
    const ps_profile_turn *turn = turn_of(s, sectors, &own);
    for (size_t i = 0; status == PS_OK && i < cells; i++) product[i] = 1;
    for (int p = 0; status == PS_OK && p < s->photos; p++) /* a photo at a time: neighbouring heights use the same samples */
        for (int h = 0; h < m.heights; h++) {
            double height = m.height0 + h * height_step;
            const circle_row w = {&s->photo[p], turn,   level_at(s, p, axis, height), shade_at(s, p, axis, height), radius_low,
                                  radius_step,  m.radii};
            size_t from = (size_t)h * radii;
            map_row(&w, at_hand, kept + (size_t)p * cells + from, one);
            for (size_t i = 0; i < radii; i++)
                if (one[i] >= 0) product[from + i] *= fmax(one[i], floor_support), photos[from + i]++;
        }
    for (size_t i = 0; status == PS_OK && i < cells; i++) m.value[i] = (float)mean_of(s, product[i], photos[i]);
    free(product);
    free(photos);
    if (status == PS_OK && !at_hand)
        *s->kept =
            (ps_profile_kept){s->screen.radius_mm == 0, m.heights, m.radii, sectors, height_step, radius_low, radius_step, *axis, kept};
    if (status == PS_OK)
        *out = m;
    else
        ps_profile_map_clear(&m);
    return status;
}

double ps_profile_map_at(const ps_profile_map *m, double height, double radius) {
    double y = (height - m->height0) / m->height_step, x = (radius - m->radius0) / m->radius_step;
    if (!(x >= 0 && y >= 0 && x < m->radii - 1 && y < m->heights - 1)) return 0;
    int i = (int)x, j = (int)y;
    double a = x - i, b = y - j;
    const float *p = m->value + j * m->radii + i, *q = p + m->radii;
    return (1 - b) * ((1 - a) * p[0] + a * p[1]) + b * ((1 - a) * q[0] + a * q[1]);
}
