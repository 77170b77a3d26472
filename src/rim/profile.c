/* The half section of a body of revolution from photos. A rim at height h and radius r gives an edge along its projected
 * circle in every photo that sees it; a circle of any other height is displaced differently in each photo and gathers
 * nothing. So the joint support over (h, r) shows the section's corners as bright spots. */
#include "rim/profile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"

enum { SECTORS_MAX = 256, COHERENT_DEG = 11 };
static const double floor_support = 0.03; /* a photo that shows nothing does not veto a rim */

void ps_profile_close(ps_profile_source *s) {
    for (int i = 0; s->photo && i < s->photos; i++) ps_squared_clear(&s->photo[i]);
    free(s->photo);
    free(s->full);
    memset(s, 0, sizeof *s);
}

/* The box of the plane that holds every circle of the wanted heights and radii, seen from this photo. */
static void box_of(const ps_squared *camera, const ps_axis_guess *axis, double low, double high, double radius, double box[4]) {
    box[0] = box[2] = INFINITY;
    box[1] = box[3] = -INFINITY;
    for (int k = 0; k < 2; k++) {
        double h = k ? high : low, seen[3];
        ps_squared_circle(camera, axis->slope_x * h, axis->slope_y * h, h, radius, seen);
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
 * there have (a smooth plate), and never below the noise of a clean photo. */
static float full_gradient(const ps_squared *s) {
    enum { SAMPLES = 4000 };
    float value[SAMPLES];
    size_t n = (size_t)s->width * (size_t)s->height, step = n / SAMPLES + 1;
    int count = 0;
    for (size_t i = 0; i < n && count < SAMPLES; i += step)
        if (s->value[i] >= 0) value[count++] = hypotf(s->gx[i], s->gy[i]);
    if (count < 50) return 0.012f;
    qsort(value, (size_t)count, sizeof *value, compare_float);
    return fmaxf(fmaxf(3 * value[count / 2], 0.5f * value[count * 19 / 20]), 0.006f);
}

ps_status ps_profile_open(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_axis_guess *axis,
                          double height_low_mm, double height_high_mm, double radius_high_mm, double coarse, ps_profile_source *out) {
    ps_profile_source s = {ps_plane_world(), photos, NULL, NULL, height_low_mm, height_high_mm, radius_high_mm};
    ps_plane_point(&s.plane, axis->x_mm, axis->y_mm, 0, s.plane.origin);
    s.photo = calloc((size_t)photos, sizeof *s.photo);
    s.full = calloc((size_t)photos, sizeof *s.full);
    int usable = 0;
    ps_status status = s.photo && s.full ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for squared views");
    for (int i = 0; status == PS_OK && i < photos; i++) {
        double around[4] = {-4, 4, -4, 4}, box[4];
        ps_squared probe = {0};
        if (ps_squared_render(ctx, lumas[i], &views[i], &s.plane, around, 0.5, 1, &probe) != PS_OK) continue;
        box_of(&probe, axis, height_low_mm, height_high_mm, radius_high_mm, box);
        ps_squared_clear(&probe);
        ps_squared own = {0};
        if (ps_squared_render(ctx, lumas[i], &views[i], &s.plane, around, 0, 1, &own) != PS_OK) continue;
        double step = own.step * coarse;
        ps_squared_clear(&own);
        status = ps_squared_render(ctx, lumas[i], &views[i], &s.plane, box, step, 1.2, &s.photo[i]);
        if (status == PS_NOT_FOUND || status == PS_TOO_LARGE) status = PS_OK; /* this photo does not see the axis */
        if (s.photo[i].value) s.full[i] = full_gradient(&s.photo[i]), usable++;
    }
    if (status == PS_OK && !usable) status = ps_context_fail(ctx, PS_NOT_FOUND, "no photo shows this axis");
    if (status == PS_OK)
        *out = s;
    else
        ps_profile_close(&s);
    return status;
}

/* Derivative along the radius at `sectors` places of a circle; counts those in view. */
static int radial(const ps_squared *s, const double seen[3], int sectors, float *g) {
    double cx = (seen[0] - s->x0) / s->step, cy = (seen[1] - s->y0) / s->step, r = seen[2] / s->step;
    double c = 1, d = 0, turn_c = cos(2 * PS_PI / sectors), turn_s = sin(2 * PS_PI / sectors);
    int inside = 0;
    for (int k = 0; k < sectors; k++) {
        double x = cx + r * c, y = cy + r * d;
        g[k] = 0;
        if (x >= 1 && y >= 1 && x < s->width - 2 && y < s->height - 2) {
            int i = (int)x, j = (int)y;
            size_t at = (size_t)j * s->width + i, below = at + (size_t)s->width;
            float a = (float)(x - i), b = (float)(y - j), w00 = (1 - a) * (1 - b), w10 = a * (1 - b), w01 = (1 - a) * b, w11 = a * b;
            float gx = w00 * s->gx[at] + w10 * s->gx[at + 1] + w01 * s->gx[below] + w11 * s->gx[below + 1];
            float gy = w00 * s->gy[at] + w10 * s->gy[at + 1] + w01 * s->gy[below] + w11 * s->gy[below + 1];
            g[k] = gx * (float)c + gy * (float)d;
            inside += s->value[at] >= 0;
        }
        double next = c * turn_c - d * turn_s;
        d = c * turn_s + d * turn_c;
        c = next;
    }
    return inside;
}

double ps_profile_support(const ps_profile_source *s, int photo, const ps_axis_guess *axis, double height, double radius, int sectors) {
    const ps_squared *q = &s->photo[photo];
    float g[SECTORS_MAX];
    double seen[3];
    if (!q->value || height >= q->rise) return NAN;
    ps_squared_circle(q, axis->slope_x * height, axis->slope_y * height, height, radius, seen);
    seen[0] += axis->x_mm - s->plane.origin[0]; /* the guess may have moved since the views were made */
    seen[1] += axis->y_mm - s->plane.origin[1];
    if (radial(q, seen, sectors, g) < sectors / 2) return NAN;
    int half = sectors * COHERENT_DEG / 360;
    float run = 0, sum = 0, scale = 1 / (s->full[photo] * (float)(2 * half + 1));
    for (int k = -half; k <= half; k++) run += g[(k + sectors) % sectors];
    for (int k = 0; k < sectors; k++) {
        float strength = fabsf(run) * scale;
        sum += strength < 1 ? strength : 1;
        run += g[(k + half + 1) % sectors] - g[(k - half + sectors) % sectors];
    }
    return sum / (float)sectors;
}

double ps_profile_joint(const ps_profile_source *s, const ps_axis_guess *axis, double height, double radius, int sectors) {
    double product = 1;
    int count = 0;
    for (int i = 0; i < s->photos; i++) {
        double one = ps_profile_support(s, i, axis, height, radius, sectors);
        if (isnan(one)) continue;
        product *= fmax(one, floor_support);
        count++;
    }
    return count ? pow(product, 1.0 / count) : 0;
}

/* Contrast of the joint profile: how far it stands out from its neighbours in radius, over a coarse grid. A broad bright
 * region (texture, a shadow's border) adds nothing; a rim that all photos agree on does. */
static double sharpness(const ps_profile_source *s, const ps_axis_guess *axis, double h0, double h1, double r0, double r1) {
    enum { ROW = 256, APART = 3 };
    const double step = 0.5;
    double row[ROW], sum = 0;
    int n = (int)fmin((r1 - r0) / step, ROW);
    for (double h = h0; h <= h1; h += 1.5) {
        for (int i = 0; i < n; i++) row[i] = ps_profile_joint(s, axis, h, r0 + i * step, 48);
        for (int i = APART; i + APART < n; i++) {
            double over = row[i] - 0.5 * (row[i - APART] + row[i + APART]);
            if (over > 0) sum += over * over * over;
        }
    }
    return sum;
}

void ps_profile_focus(const ps_profile_source *s, ps_axis_guess *axis, double height_low, double height_high, double radius_low,
                      double radius_high, double reach_mm) {
    double best = sharpness(s, axis, height_low, height_high, radius_low, radius_high);
    for (double step = reach_mm; step > 0.12; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 4; k++) {
                ps_axis_guess trial = *axis;
                if (k < 2)
                    trial.x_mm += k ? step : -step;
                else
                    trial.y_mm += k == 3 ? step : -step;
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
    if (!m.value) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the profile map");
    for (int h = 0; h < m.heights; h++)
        for (int r = 0; r < m.radii; r++)
            m.value[h * m.radii + r] = (float)ps_profile_joint(s, axis, m.height0 + h * height_step, m.radius0 + r * radius_step, sectors);
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
