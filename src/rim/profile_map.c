/* The joint profile on a grid of heights and radii. Neighbouring circles share their edge's blur: every other height and radius is read
 * first, and those between them only where a spot may be; the rest is interpolated. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rim/profile_rows.h"

/* An edge's blur and the smoothing make it three samples wide or more; parallax shows half of a height. */
static const double radius_dense = 1.5, height_dense = 3; /* samples from circle to circle where every other one will do */

/* Spots count from a support of 0.4 on (reading.c); a node beside their top has three quarters of that or more. */
static const float promising_support = 0.3F;

static const float not_read = -2;

/* Supports of a map's circles in each photo without a screen, kept for when one is set: circles that it does not meet stay as they are. */
struct ps_profile_kept {
    bool filled;
    int heights, radii, sectors;
    double height_step, radius0, radius_step;
    ps_axis_guess axis;
    float *support; /* photos x heights x radii; -1 where too little can be seen, -2 where none was asked for */
};

typedef enum cell_state { CELL_LEFT, CELL_WANTED, CELL_READ } cell_state;

/* A map in the making. */
typedef struct making {
    const ps_profile_source *source;
    const ps_axis_guess *axis;
    const ps_profile_turn *turn;
    ps_profile_map map;
    int apart;           /* cells from node to node */
    bool plain, at_hand; /* no screen is set; some circles have been read without one */
    float *kept;
    double *product;
    uint8_t *photos, *state;
} making;

ps_profile_kept *ps_profile_kept_new(void) {
    return calloc(1, sizeof(ps_profile_kept));
}

void ps_profile_kept_free(ps_profile_kept *kept) {
    if (kept) free(kept->support);
    free(kept);
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
    size_t n = (size_t)s->photos * (size_t)m->heights * (size_t)m->radii;
    *at_hand = kept_fits(k, m, axis, sectors);
    if (*at_hand) return k->support;
    free(k->support);
    k->support = malloc(n * sizeof *k->support);
    for (size_t i = 0; k->support && i < n; i++) k->support[i] = not_read;
    k->filled = false;
    return k->support;
}

/* Supports of a run of circles. With a screen those that it meets are read; the others are at hand, or read now. */
static void read_run(const making *m, const ps_profile_row *run, int apart, float *kept, double *joint) {
    if (m->plain && !m->at_hand) {
        ps_profile_row_read(run, joint, NULL);
        for (int i = 0; i < run->count; i++) kept[i * apart] = (float)joint[i];
        return;
    }
    for (int i = 0; i < run->count; i++) {
        ps_profile_row one = *run;
        one.r0 = run->r0 + i * run->step, one.count = 1;
        bool met = run->by.count && ps_profile_met(&run->by, &run->at, one.r0);
        joint[i] = (double)kept[i * apart];
        if (joint[i] > (double)not_read && (joint[i] < 0 || !met)) continue;
        ps_profile_row_read(&one, &joint[i], NULL);
        if (!met) kept[i * apart] = (float)joint[i];
    }
}

/* All cells wanted of one height in one photo, in runs of cells so far apart. */
static void read_height(const making *m, int photo, int h, int apart) {
    const ps_profile_map *map = &m->map;
    size_t radii = (size_t)map->radii, from = (size_t)h * radii;
    const uint8_t *state = m->state + from;
    float *kept = m->kept + (size_t)photo * (size_t)map->heights * radii + from;
    double height = map->height0 + h * map->height_step, joint[PS_PROFILE_ROW_MAX];
    ps_profile_row run = {.view = &m->source->photo[photo],
                          .turn = m->turn,
                          .at = ps_profile_level_at(m->source, photo, m->axis, height),
                          .by = ps_profile_shade_at(m->source, photo, m->axis, height),
                          .step = apart * map->radius_step};
    for (int u = 0; u < map->radii; u++) {
        if (state[u] != CELL_WANTED) continue;
        run.r0 = map->radius0 + u * map->radius_step;
        for (run.count = 1; u + run.count * apart < map->radii && state[u + run.count * apart] == CELL_WANTED;) run.count++;
        read_run(m, &run, apart, kept + u, joint);
        for (int i = 0; i < run.count; i++) {
            size_t cell = from + (size_t)(u + i * apart);
            if (joint[i] >= 0) m->product[cell] *= fmax(joint[i], ps_profile_floor), m->photos[cell]++;
        }
        u += (run.count - 1) * apart;
    }
}

/* Reads the cells wanted; a photo at a time: neighbouring heights use the same samples. */
static void read_wanted(const making *m, int apart) {
    size_t cells = (size_t)m->map.heights * (size_t)m->map.radii;
    for (int p = 0; p < m->source->photos; p++)
        for (int h = 0; h < m->map.heights; h++) read_height(m, p, h, apart);
    for (size_t i = 0; i < cells; i++) {
        if (m->state[i] != CELL_WANTED) continue;
        m->map.value[i] = (float)ps_profile_mean_of(m->source, m->product[i], m->photos[i]);
        m->state[i] = CELL_READ;
    }
}

/* Asks for what lies between a node that may be beside a spot's top and its neighbours. */
static void want_around(const making *m, int h, int u) {
    for (int i = h - 1; i <= h + 1; i++)
        for (int k = u - 1; k <= u + 1; k++) {
            if (i < 0 || k < 0 || i >= m->map.heights || k >= m->map.radii) continue;
            uint8_t *state = &m->state[(size_t)i * (size_t)m->map.radii + (size_t)k];
            if (*state == CELL_LEFT) *state = CELL_WANTED;
        }
}

static void want_promising(const making *m) {
    for (int h = 0; h < m->map.heights; h += m->apart)
        for (int u = 0; u < m->map.radii; u += m->apart)
            if (m->map.value[(size_t)h * (size_t)m->map.radii + (size_t)u] >= promising_support) want_around(m, h, u);
}

/* Values of cells left between nodes; beyond the last node, of that one. */
static void interpolate(const making *m) {
    int radii = m->map.radii, heights = m->map.heights;
    for (int h = 0; h < heights; h++) {
        int low = h - h % m->apart, high = low + m->apart < heights ? low + m->apart : low;
        const float *a = m->map.value + (size_t)low * (size_t)radii, *b = m->map.value + (size_t)high * (size_t)radii;
        float share = (float)(h % m->apart) / m->apart;
        for (int u = 0; u < radii; u++) {
            size_t cell = (size_t)h * (size_t)radii + (size_t)u;
            int near = u - u % m->apart, far = near + m->apart < radii ? near + m->apart : near;
            float beside = (float)(u % m->apart) / m->apart;
            if (m->state[cell] == CELL_READ) continue;
            float here = a[near] + beside * (a[far] - a[near]), other = b[near] + beside * (b[far] - b[near]);
            m->map.value[cell] = here + share * (other - here);
        }
    }
}

/* How far apart nodes may be. */
static int nodes_apart(const ps_profile_source *s, const ps_profile_map *m) {
    double finest = INFINITY;
    for (int i = 0; i < s->photos; i++)
        if (s->photo[i].cell) finest = fmin(finest, s->photo[i].step);
    return m->radius_step <= radius_dense * finest && m->height_step <= height_dense * finest ? 2 : 1;
}

static void fill_map(const making *m) {
    for (int h = 0; h < m->map.heights; h += m->apart)
        for (int u = 0; u < m->map.radii; u += m->apart) m->state[(size_t)h * (size_t)m->map.radii + (size_t)u] = CELL_WANTED;
    read_wanted(m, m->apart);
    if (m->apart == 1) return;
    want_promising(m);
    read_wanted(m, 1);
    interpolate(m);
}

ps_status ps_profile_map_make(ps_context *ctx, const ps_profile_source *s, const ps_axis_guess *axis, double height_step,
                              double radius_step, double radius_low, int sectors, ps_profile_map *out) {
    ps_profile_map map = {.height0 = s->height_low_mm, .height_step = height_step, .radius0 = radius_low, .radius_step = radius_step};
    map.heights = (int)((s->height_high_mm - s->height_low_mm) / height_step) + 1;
    map.radii = (int)((s->radius_high_mm - radius_low) / radius_step) + 1;
    if (map.heights < 2 || map.radii < 2 || map.heights > 2000 || map.radii > PS_PROFILE_ROW_MAX)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "profile map of a senseless size");
    size_t cells = (size_t)map.heights * (size_t)map.radii;
    ps_profile_turn own;
    making m = {.source = s,
                .axis = axis,
                .turn = ps_profile_turn_of(s, sectors, &own),
                .map = map,
                .plain = s->screen.radius_mm == 0,
                .apart = nodes_apart(s, &map)};
    m.kept = kept_room(s, &map, axis, sectors, &m.at_hand);
    m.product = malloc(cells * sizeof *m.product);
    m.photos = calloc(cells, sizeof *m.photos);
    m.state = calloc(cells, sizeof *m.state);
    m.map.value = malloc(cells * sizeof *m.map.value);
    bool enough = m.kept && m.product && m.photos && m.state && m.map.value;
    if (enough) {
        for (size_t i = 0; i < cells; i++) m.product[i] = 1;
        fill_map(&m);
        *s->kept = (ps_profile_kept){true, map.heights, map.radii, sectors, height_step, radius_low, radius_step, *axis, m.kept};
        *out = m.map;
    } else
        free(m.map.value);
    free(m.product);
    free(m.photos);
    free(m.state);
    return enough ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the profile map");
}

double ps_profile_map_at(const ps_profile_map *m, double height, double radius) {
    double y = (height - m->height0) / m->height_step, x = (radius - m->radius0) / m->radius_step;
    if (!(x >= 0 && y >= 0 && x < m->radii - 1 && y < m->heights - 1)) return 0;
    int i = (int)x, j = (int)y;
    double a = x - i, b = y - j;
    const float *p = m->value + j * m->radii + i, *q = p + m->radii;
    return (1 - b) * ((1 - a) * p[0] + a * p[1]) + b * ((1 - a) * q[0] + a * q[1]);
}
