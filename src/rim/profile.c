/* The half section of a body of revolution from photos. A rim at height h and radius r gives an edge along its projected
 * circle in every photo that sees it; a circle of any other height is displaced differently in each photo and gathers
 * nothing. So the joint support over (h, r) shows the section's corners as bright spots. */
#include "rim/profile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "rim/profile_look.h"
#include "rim/profile_rows.h"

static const float unit = 65532; /* of packed gradients: differences of samples of 0..1 over two are at most 0.5 */

void ps_profile_close(ps_profile_source *s) {
    for (int i = 0; s->photo && i < s->photos; i++) free(s->photo[i].cell);
    free(s->photo);
    ps_profile_kept_free(s->kept);
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

enum { AT_ONCE = 4 }; /* rows of a strip in 64 bytes of memory */

typedef struct packing {
    ps_profile_view *view;
    int strips;
    size_t across; /* cells of a row of strips */
    uint32_t *row; /* room for AT_ONCE of them */
} packing;

static void pack(void *user, int y, const float *value, const float *gx, const float *gy) {
    const packing *p = user;
    int first = y - y % AT_ONCE, rows = y - first + 1;
    pack_row(value, gx, gy, p->view->width, p->row + (size_t)(y - first) * p->across);
    if (rows < AT_ONCE && y + 1 < p->view->height) return;
    uint32_t *out = p->view->cell + (size_t)first * STRIP;
    for (int k = 0; k < p->strips; k++, out += (size_t)p->view->rows * STRIP)
        for (int i = 0; i < rows; i++)
            memcpy(out + (size_t)i * STRIP, p->row + (size_t)i * p->across + (size_t)k * STEP_X, STRIP * sizeof *out);
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
    size_t across = (size_t)strips * STEP_X + STRIP;
    packing p = {&v, strips, across, calloc(AT_ONCE * across, sizeof *p.row)};
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
    s.kept = ps_profile_kept_new();
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
const ps_profile_turn *ps_profile_turn_of(const ps_profile_source *s, int sectors, ps_profile_turn *own) {
    for (int i = 0; i < PS_PROFILE_TURNS; i++)
        if (s->turn[i].sectors == sectors) return &s->turn[i];
    turn_make(sectors, own);
    return own;
}
