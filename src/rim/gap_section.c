/* The section of an ear's bush about a known axis: joint support of circles over height along the axis and radius. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "rim/gap.h"

enum { ROW_MAX = 320, ROWS_MAX = 160, SECTORS = 32, APART = 2 };

/* Samples of the window: rows of one t. */
typedef struct section {
    int rows, columns;
    float value[ROWS_MAX][ROW_MAX];
} section;

static void read_section(const ps_gap_scene *scene, const ps_gap_frame *f, double s, double h, int ear, const ps_gap_window *w,
                         section *out) {
    out->rows = (int)fmin(ROWS_MAX, floor((w->t1 - w->t0) / w->t_step) + 1);
    out->columns = (int)fmin(ROW_MAX, floor((w->r1 - w->r0) / w->r_step) + 1);
    for (int j = 0; j < out->rows; j++)
        for (int i = 0; i < out->columns; i++)
            out->value[j][i] = (float)ps_gap_joint(scene, f, s, h, ear, w->t0 + j * w->t_step, w->r0 + i * w->r_step, SECTORS, NULL);
}

double ps_gap_sharpness(const ps_gap_scene *scene, const ps_gap_frame *f, double s, double h, int ear, const ps_gap_window *w) {
    section map;
    double sum = 0;
    read_section(scene, f, s, h, ear, w, &map);
    for (int j = 0; j < map.rows; j++)
        for (int i = APART; i < map.columns - APART; i++) {
            double over = map.value[j][i] - 0.5 * (map.value[j][i - APART] + map.value[j][i + APART]);
            if (over > 0) sum += over * over * over * (w->r0 + i * w->r_step);
        }
    return sum;
}

/* How far a sample stands out from those beside it in radius. */
static double over(const section *map, int j, int i) {
    int left = i >= APART ? i - APART : 0, right = i + APART < map->columns ? i + APART : map->columns - 1;
    return map->value[j][i] - 0.5 * (map->value[j][left] + map->value[j][right]);
}

static bool is_top(const section *map, int j, int i) {
    for (int b = -2; b <= 2; b++)
        for (int a = -2; a <= 2; a++) {
            int y = j + b, x = i + a;
            if (y < 0 || x < 0 || y >= map->rows || x >= map->columns || (a == 0 && b == 0)) continue;
            if (map->value[y][x] > map->value[j][i] || (map->value[y][x] == map->value[j][i] && b + 3 * a < 0)) return false;
        }
    return true;
}

int ps_gap_spots(const ps_gap_scene *scene, const ps_gap_frame *f, double s, double h, int ear, const ps_gap_window *w, double least,
                 ps_gap_circle *out, int most) {
    section map;
    int count = 0;
    read_section(scene, f, s, h, ear, w, &map);
    for (int j = 1; j < map.rows - 1; j++)
        for (int i = 1; i < map.columns - 1; i++) {
            if (map.value[j][i] < least || !is_top(&map, j, i)) continue;
            ps_gap_circle c = {ear, w->t0 + j * w->t_step, w->r0 + i * w->r_step, map.value[j][i], over(&map, j, i)};
            int at = count < most ? count++ : most;
            for (; at > 0 && ps_gap_weight(&out[at - 1]) < ps_gap_weight(&c); at--)
                if (at < most) out[at] = out[at - 1];
            if (at < most) out[at] = c;
        }
    return count;
}
