/* The half section of a body of revolution from photos. A rim at height h and radius r gives an edge along its projected
 * circle in every photo that sees it; a circle of any other height is displaced differently in each photo and gathers
 * nothing. So the joint support over (h, r) shows the section's corners as bright spots. */
#include "rim/profile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"

enum {
    SECTORS_MAX = PS_PROFILE_SECTORS_MAX,
    COHERENT_DEG = 11,
    TRIED_MAX = 256,
    COHERENT_MAX = SECTORS_MAX * COHERENT_DEG / 360 + 1,
    SHADE_DISCS = 6
};
static const float strength_most = 5;                   /* no highlight counts for more */
static const double floor_support = 0.03;               /* a photo that shows nothing does not veto a rim */
static const double free_least = 0.25, free_full = 0.5; /* share of a circle that a screen leaves free */
static const double shade_from = 1.1;                   /* of the screen's radius */

void ps_profile_close(ps_profile_source *s) {
    for (int i = 0; s->photo && i < s->photos; i++) free(s->photo[i].cell);
    free(s->photo);
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

/* An edge counts fully at three times the median gradient around the axis, but not where that is far below what edges
 * there have (a smooth plate), and never below the noise of a clean photo. A third of the strongest edges matter on bare, even
 * surfaces, where hardly anything else has a gradient. */
static float full_gradient(const ps_squared *s) {
    enum { SAMPLES = 4000 };
    float value[SAMPLES];
    size_t n = (size_t)s->width * (size_t)s->height, step = n / SAMPLES + 1;
    int count = 0;
    for (size_t i = 0; i < n && count < SAMPLES; i += step)
        if (s->value[i] >= 0) value[count++] = hypotf(s->gx[i], s->gy[i]);
    if (count < 50) return 0.012f;
    qsort(value, (size_t)count, sizeof *value, compare_float);
    float usual = fmaxf(3 * value[count / 2], 0.5f * value[count * 19 / 20]);
    return fmaxf(fmaxf(usual, 0.15f * value[count * 99 / 100]), 0.006f);
}

/* A gradient as two 16-bit numbers, x low and y high. */
static inline uint32_t packed(float gx, float gy, float unit) {
    int x = (int)(gx * unit + (gx < 0 ? -0.5f : 0.5f)), y = (int)(gy * unit + (gy < 0 ? -0.5f : 0.5f));
    return (uint32_t)x % 65536 + (uint32_t)y * 65536;
}

/* A photo's gradients for looking up. Nearly all the time goes by in waiting for memory, so each cell holds what its sample and
 * the one below it have, in 16 bits: bilinear interpolation then needs 16 bytes in one place. A sample that the photo does not
 * show is 0, and no other is: a gradient of nothing becomes one unit. The first two cells stand for all places outside. */
static ps_status pack(ps_context *ctx, const ps_squared *s, ps_profile_view *out) {
    size_t w = (size_t)s->width, n = w * (size_t)s->height;
    ps_profile_view v = {s->width, s->height, s->x0, s->y0, s->step, {s->foot[0], s->foot[1]}, s->rise, 0, NULL};
    float most = 1e-6f;
    for (size_t i = 0; i < n; i++) {
        float x = fabsf(s->gx[i]), y = fabsf(s->gy[i]), larger = x > y ? x : y;
        most = larger > most ? larger : most;
    }
    v.cell = malloc(n * sizeof *v.cell);
    if (!v.cell) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for squared views");
    float unit = 32766 / most;
    v.full = full_gradient(s) * unit;
    for (size_t i = 0; i < n; i++) {
        uint32_t one = packed(s->gx[i], s->gy[i], unit);
        v.cell[i][0] = one == 0 && s->value[i] >= 0 ? 1 : one;
        v.cell[i][1] = 0;
        if (i >= w) v.cell[i - w][1] = one;
    }
    memset(v.cell, 0, 2 * sizeof *v.cell);
    *out = v;
    return PS_OK;
}

static void turn_make(int sectors, ps_profile_turn *t) {
    t->sectors = sectors;
    for (int k = 0; k < sectors; k++) {
        t->c[k] = (float)cos(2 * PS_PI * k / sectors);
        t->s[k] = (float)sin(2 * PS_PI * k / sectors);
    }
}

/* One photo squared up; `cell` stays NULL where it does not see the axis. */
static ps_status open_photo(ps_context *ctx, const ps_profile_source *s, const ps_luma *luma, const ps_view *view,
                            const ps_axis_guess *axis, double coarse, ps_profile_view *out) {
    double foot[2], rise, step, box[4];
    ps_squared squared = {0};
    ps_squared_stand(view, &s->plane, foot, &rise, &step);
    if (!(rise > 1 && step > 0)) return PS_OK;
    box_of(foot, rise, axis, s->height_low_mm, s->height_high_mm, s->radius_high_mm, box);
    ps_status status = ps_squared_render(ctx, luma, view, &s->plane, box, step * coarse, 1.2, &squared);
    if (status == PS_NOT_FOUND || status == PS_TOO_LARGE) return PS_OK;
    if (status == PS_OK) status = pack(ctx, &squared, out);
    ps_squared_clear(&squared);
    return status;
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
    int usable = 0;
    ps_status status = s.photo ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for squared views");
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

/* The places of a circle: cells and where in them; the first cell where a place is outside. A plain loop that compilers turn
 * into four at a time. */
static void find_places(const ps_profile_view *v, const ps_profile_turn *t, float cx, float cy, float r, int *cell, float *a, float *b) {
    int width = v->width, right = v->width - 2, bottom = v->height - 2;
    for (int k = 0; k < t->sectors; k++) {
        float x = cx + r * t->c[k], y = cy + r * t->s[k];
        int i = (int)x, j = (int)y, within = -((i >= 1) & (j >= 1) & (i < right) & (j < bottom));
        cell[k] = (j * width + i) & within;
        a[k] = x - (float)i;
        b[k] = y - (float)j;
    }
}

/* Four numbers side by side, an extension that gcc and clang have for every processor. */
typedef float four_floats __attribute__((vector_size(16)));
typedef int32_t four_ints __attribute__((vector_size(16)));
typedef uint32_t four_cells __attribute__((vector_size(16)));

/* Derivative along the radius in every direction, bilinear; counts those in view. All places are asked for before the first is
 * used. */
static int radial(const ps_profile_view *v, const ps_profile_turn *t, float cx, float cy, float r, float *g) {
    int cell[SECTORS_MAX], inside = 0;
    float a[SECTORS_MAX], b[SECTORS_MAX];
    find_places(v, t, cx, cy, r, cell, a, b);
    for (int k = 0; k < t->sectors; k++) __builtin_prefetch(v->cell[cell[k]]);
    for (int k = 0; k < t->sectors; k++) {
        four_cells q; /* here, below, right, below right */
        memcpy(&q, v->cell[cell[k]], sizeof q);
        four_floats x = __builtin_convertvector((four_ints)(q << 16) >> 16, four_floats);
        four_floats y = __builtin_convertvector((four_ints)q >> 16, four_floats);
        four_floats along = x * t->c[k] + y * t->s[k];
        float left = along[0] + b[k] * (along[1] - along[0]), right = along[2] + b[k] * (along[3] - along[2]);
        g[k] = left + a[k] * (right - left);
        inside += q[0] != 0;
    }
    return inside;
}

/* Mean over the directions of the strength of 2*half+1 neighbours together, capped. `g` has half entries to spare on
 * both sides. Four sums, so that the compiler may keep them side by side. */
static float coherent(float *g, int sectors, int half, float scale, float cap) {
    float sum[4] = {0}, run[SECTORS_MAX];
    for (int k = 1; k <= half; k++) g[-k] = g[sectors - k], g[sectors + k - 1] = g[k - 1];
    for (int k = 0; k < sectors; k++) run[k] = g[k];
    for (int e = 1; e <= half; e++)
        for (int k = 0; k < sectors; k++) run[k] += g[k - e] + g[k + e];
    int k = 0;
    for (; k + 4 <= sectors; k += 4)
        for (int i = 0; i < 4; i++) {
            float strength = fabsf(run[k + i]) * scale;
            sum[i] += strength < cap ? strength : cap;
        }
    for (; k < sectors; k++) sum[0] += fminf(fabsf(run[k]) * scale, cap);
    return (sum[0] + sum[1] + sum[2] + sum[3]) / (float)sectors;
}

/* Mean strength as above, of the directions that are free alone. `g` without spare entries; hidden ones are 0. */
static float coherent_free(const float *g, const bool *hidden, int sectors, int half, float scale, float cap) {
    float sum = 0;
    int count = 0;
    for (int k = 0; k < sectors; k++) {
        float run = 0;
        int near = 0;
        if (hidden[k]) continue;
        for (int e = -half; e <= half; e++) {
            int j = (k + e + sectors) % sectors;
            if (!hidden[j]) run += g[j], near++;
        }
        sum += fminf(fabsf(run) * scale / (float)near, cap);
        count++;
    }
    return count ? sum / (float)count : 0;
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

/* Derivatives along the radius all round a circle, into g from COHERENT_MAX on; false when less than half of it is in view. */
static bool around(const ps_profile_view *v, const level *at, double radius, const ps_profile_turn *t, float *g) {
    if (!at->below || !(fabs(at->x) + fabs(at->y) + fabs(radius) * at->per_mm < 1e5)) return false; /* far outside */
    return radial(v, t, (float)at->x, (float)at->y, (float)(radius * at->per_mm), g + COHERENT_MAX) >= t->sectors / 2;
}

static double strength_of(const ps_profile_view *v, const ps_profile_turn *t, float *g, float cap) {
    int half = t->sectors * COHERENT_DEG / 360;
    return (double)coherent(g + COHERENT_MAX, t->sectors, half, 1 / (v->full * (float)(2 * half + 1)), cap);
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

/* Which directions of a circle are hidden; their gradients become 0. Returns the share that is free. */
static double hide(const shade *by, const level *at, double radius, const ps_profile_turn *t, float *g, bool *hidden) {
    int count = 0;
    for (int k = 0; k < t->sectors; k++) {
        float x = (float)at->x + (float)(radius * at->per_mm) * t->c[k], y = (float)at->y + (float)(radius * at->per_mm) * t->s[k];
        hidden[k] = false;
        for (int i = 0; i < by->count; i++) hidden[k] |= (x - by->x[i]) * (x - by->x[i]) + (y - by->y[i]) * (y - by->y[i]) < by->r2[i];
        if (hidden[k]) g[k] = 0, count++;
    }
    return 1 - (double)count / t->sectors;
}

/* Support and strength of a circle in one photo; false where too little of it can be seen. `strength` may be NULL. */
static bool support(const ps_profile_view *v, const shade *by, const level *at, double radius, const ps_profile_turn *t, double *joint,
                    double *strength) {
    float g[SECTORS_MAX + 2 * COHERENT_MAX];
    if (!around(v, at, radius, t, g)) return false;
    if (by->count == 0 || radius < by->from_mm) {
        *joint = strength_of(v, t, g, 1);
        if (strength) *strength = strength_of(v, t, g, strength_most);
        return true;
    }
    bool hidden[SECTORS_MAX];
    double free_share = hide(by, at, radius, t, g + COHERENT_MAX, hidden), sure = fmin(1, 0.5 + 0.5 * free_share / free_full);
    if (free_share < free_least) return false;
    int half = t->sectors * COHERENT_DEG / 360;
    *joint = sure * (double)coherent_free(g + COHERENT_MAX, hidden, t->sectors, half, 1 / v->full, 1);
    if (strength) *strength = sure * (double)coherent_free(g + COHERENT_MAX, hidden, t->sectors, half, 1 / v->full, strength_most);
    return true;
}

double ps_profile_support(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height, double radius, int sectors) {
    ps_profile_turn own;
    level at = level_at(s, photo, axis, height);
    shade by = shade_at(s, photo, axis, height);
    double joint;
    return support(&s->photo[photo], &by, &at, radius, turn_of(s, sectors, &own), &joint, NULL) ? joint : NAN;
}

/* Geometric mean. A circle that a screen leaves to a single photo of several is no joint one. */
static double mean_of(const ps_profile_source *s, double product, int photos) {
    if (photos == 1 && s->photos > 1 && s->screen.radius_mm > 0) product *= floor_support, photos = 2;
    return photos ? pow(product, 1.0 / photos) : 0;
}

/* The joint support of `count` circles of one height, radii r0, r0 + step, ...; a photo at a time, which keeps its samples at
 * hand. `product` and `photos` have count entries to work in. */
static void joint_row(const ps_profile_source *s, const ps_axis_guess *axis, double height, double r0, double step, int count,
                      const ps_profile_turn *t, double *product, int *photos) {
    for (int i = 0; i < count; i++) product[i] = 1, photos[i] = 0;
    for (int p = 0; p < s->photos; p++) {
        level at = level_at(s, p, axis, height);
        shade by = shade_at(s, p, axis, height);
        for (int i = 0; at.below && i < count; i++) {
            double one;
            if (!support(&s->photo[p], &by, &at, r0 + i * step, t, &one, NULL)) continue;
            product[i] *= fmax(one, floor_support);
            photos[i]++;
        }
    }
    for (int i = 0; i < count; i++) product[i] = mean_of(s, product[i], photos[i]);
}

double ps_profile_joint(const ps_profile_source *s, const ps_axis_guess *axis, double height, double radius, int sectors) {
    ps_profile_turn own;
    double product;
    int photos;
    joint_row(s, axis, height, radius, 0, 1, turn_of(s, sectors, &own), &product, &photos);
    return product;
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
        if (!support(&s->photo[p], &by, &at, radius, t, &one, &its_strength)) continue;
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
    enum { ROW = 256, APART = 3 };
    const double step = 0.5;
    double row[ROW], sum = 0;
    int photos[ROW];
    ps_profile_turn own;
    const ps_profile_turn *turn = turn_of(s, 48, &own);
    int n = (int)fmin((r1 - r0) / step, ROW);
    for (double h = h0; h <= h1; h += 1.5) {
        joint_row(s, axis, h, r0, step, n, turn, row, photos);
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

ps_status ps_profile_map_make(ps_context *ctx, const ps_profile_source *s, const ps_axis_guess *axis, double height_step,
                              double radius_step, double radius_low, int sectors, ps_profile_map *out) {
    ps_profile_map m = {0};
    m.height0 = s->height_low_mm;
    m.height_step = height_step;
    m.radius0 = radius_low;
    m.radius_step = radius_step;
    m.heights = (int)((s->height_high_mm - s->height_low_mm) / height_step) + 1;
    m.radii = (int)((s->radius_high_mm - radius_low) / radius_step) + 1;
    if (m.heights < 2 || m.radii < 2 || m.heights > 2000 || m.radii > 2000)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "profile map of a senseless size");
    m.value = malloc((size_t)m.heights * (size_t)m.radii * sizeof *m.value);
    double *row = malloc((size_t)m.radii * sizeof *row);
    int *seen = malloc((size_t)m.radii * sizeof *seen);
    ps_profile_turn own;
    const ps_profile_turn *turn = turn_of(s, sectors, &own);
    bool enough = m.value && row && seen;
    for (int h = 0; enough && h < m.heights; h++) {
        joint_row(s, axis, m.height0 + h * height_step, radius_low, radius_step, m.radii, turn, row, seen);
        for (int r = 0; r < m.radii; r++) m.value[h * m.radii + r] = (float)row[r];
    }
    free(row);
    free(seen);
    if (!enough) {
        ps_profile_map_clear(&m);
        return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the profile map");
    }
    *out = m;
    return PS_OK;
}

double ps_profile_map_at(const ps_profile_map *m, double height, double radius) {
    double y = (height - m->height0) / m->height_step, x = (radius - m->radius0) / m->radius_step;
    if (!(x >= 0 && y >= 0 && x < m->radii - 1 && y < m->heights - 1)) return 0;
    int i = (int)x, j = (int)y;
    double a = x - i, b = y - j;
    const float *p = m->value + j * m->radii + i, *q = p + m->radii;
    return (1 - b) * ((1 - a) * p[0] + a * p[1]) + b * ((1 - a) * q[0] + a * q[1]);
}
