/* Bright spots of the joint profile. */
#include "rim/spots.h"

#include <math.h>
#include <stdlib.h>

enum { SECTORS_MAP = 64, SECTORS = 96, PEAKS_MAX = 20000 };
static const double radius_low_mm = 6, strength_share = 0.2;
static const double prominent = 0.06;                  /* spots that stand out less count for nothing (reading.c) and stay where they are */
static const double around_mm = 1.8, around_steps = 5; /* a spot's neighbourhood in radius, the larger of both */

static int by_prominence(const void *a, const void *b) {
    const ps_spot *p = a, *q = b;
    if (p->prominence != q->prominence) return p->prominence < q->prominence ? 1 : -1;
    return (p->radius_mm > q->radius_mm) - (p->radius_mm < q->radius_mm);
}

/* Largest of its neighbourhood, `up` heights and 2 radii about; of equals the first. */
static bool is_peak(const ps_profile_map *m, int i, int u, int up) {
    float v = m->value[i * m->radii + u];
    for (int di = -up; di <= up; di++)
        for (int du = -2; du <= 2; du++) {
            float other = m->value[(i + di) * m->radii + u + du];
            if (other > v || (other == v && (di < 0 || (di == 0 && du < 0)))) return false;
        }
    return true;
}

static double mean_around(const ps_profile_map *m, int i, int u, int reach) {
    double mean = 0;
    for (int e = -reach; e <= reach; e++) mean += m->value[i * m->radii + u + e] / (2 * reach + 1);
    return mean;
}

/* All peaks, most prominent first. `room` has PEAKS_MAX entries. */
static int find_peaks(const ps_profile_map *m, ps_spot *room) {
    int reach = (int)fmax(around_mm / m->radius_step + 0.5, around_steps), up = (int)fmax(1, 0.6 / m->height_step + 0.5), count = 0;
    for (int i = up; i < m->heights - up; i++)
        for (int u = reach; u < m->radii - reach; u++) {
            if (count == PEAKS_MAX || !is_peak(m, i, u, up)) continue;
            double v = m->value[i * m->radii + u];
            room[count++] =
                (ps_spot){m->height0 + i * m->height_step, m->radius0 + u * m->radius_step, v, v - mean_around(m, i, u, reach), v};
        }
    qsort(room, (size_t)count, sizeof *room, by_prominence);
    return count;
}

/* Support, and a little of the strength: where a whole neighbourhood has full support, that no longer says where the top is. */
double ps_spot_merit(const ps_profile_source *source, const ps_axis_guess *axis, double height, double radius) {
    double strength, joint = ps_profile_joint_strength(source, axis, height, radius, SECTORS, &strength);
    return joint + strength_share * strength;
}

/* Climbs to the top of the merit about a spot, at most `reach` mm of height and 0.6 times that of radius. */
static void climb(const ps_profile_source *source, const ps_axis_guess *axis, double reach_mm, ps_spot *spot) {
    static const int way[8][2] = {{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, -1}, {1, -1}, {-1, 1}};
    double h0 = spot->height_mm, r0 = spot->radius_mm, best = ps_spot_merit(source, axis, h0, r0);
    for (double step = reach_mm / 2; step > 0.03; step *= 0.5)
        for (bool moved = true; moved;) {
            moved = false;
            for (int k = 0; k < 8; k++) {
                double h = spot->height_mm + way[k][0] * step, r = spot->radius_mm + way[k][1] * step * 0.5;
                if (fabs(h - h0) > reach_mm || fabs(r - r0) > reach_mm * 0.6) continue;
                double v = ps_spot_merit(source, axis, h, r);
                if (v > best + 1e-6) best = v, spot->height_mm = h, spot->radius_mm = r, moved = true;
            }
        }
    spot->support = ps_profile_joint_strength(source, axis, spot->height_mm, spot->radius_mm, SECTORS, &spot->strength);
}

double ps_spots_px_per_mm(const ps_profile_source *source) {
    double finest = INFINITY;
    for (int i = 0; i < source->photos; i++)
        if (source->photo[i].cell) finest = fmin(finest, source->photo[i].step);
    return 1 / finest;
}

double ps_spots_aslant(const ps_profile_source *source, const ps_axis_guess *axis) {
    double sum = 0;
    int seen = 0;
    for (int i = 0; i < source->photos; i++) {
        const ps_profile_view *v = &source->photo[i];
        double x = axis->x_mm - source->plane.origin[0], y = axis->y_mm - source->plane.origin[1];
        if (v->cell) sum += hypot(x - v->foot[0], y - v->foot[1]) / v->rise, seen++;
    }
    return seen ? sum / seen : 0;
}

ps_status ps_spots_find(ps_context *ctx, const ps_profile_source *source, const ps_axis_guess *axis, double height_step, double radius_step,
                        ps_spot out[PS_SPOTS_MAX], int *count) {
    ps_profile_map map = {0};
    *count = 0;
    ps_status status = ps_profile_map_make(ctx, source, axis, height_step, radius_step, radius_low_mm, SECTORS_MAP, &map);
    if (status != PS_OK) return status;
    ps_spot *room = malloc(PEAKS_MAX * sizeof *room);
    if (!room) status = ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the spots of a profile");
    if (status == PS_OK) {
        int found = find_peaks(&map, room);
        *count = found < PS_SPOTS_MAX ? found : PS_SPOTS_MAX;
        for (int i = 0; i < *count; i++) {
            out[i] = room[i];
            climb(source, axis, out[i].prominence > prominent ? fmin(0.8, 1.5 * height_step) : 0, &out[i]);
        }
    }
    free(room);
    ps_profile_map_clear(&map);
    return status;
}
