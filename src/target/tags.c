/* Tags by libapriltag 3.3 (Wang & Olson, AprilTag 2, IROS 2016), coarse to fine.
 *
 * libapriltag's pixel centres are at +0.5 (the centre of its top-left pixel is (0.5, 0.5)); ours are at (0, 0). An image
 * shrunk n times by averaging n x n blocks has x = n * x' in libapriltag's convention, so ours is n * x' - 0.5. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>

#include "target/tags.h"

enum {
    SIDE_MIN = 24,               /* libapriltag thresholds 4 px tiles; a tag with its margin needs more than this */
    SIDE_MAX = 32767,            /* libapriltag counts in 16 bits */
    COARSE_PIXELS = 1500000,     /* first look */
    SHARPEN = 4,                 /* strength of the unsharp mask on enlarged photos */
    ENLARGE_PIXELS_MAX = 4000000 /* no larger photo is searched enlarged */
};
/* libapriltag's own least difference between black and white of a tag (min_white_black_diff, 5 levels) as floor for its
 * mean margin: below it the bits are noise. Geometry judges the rest. */
static const double MARGIN_MIN = 5.0;
/* Grey levels between the darkest and the brightest of 12 px tiles next to each other that are looked at: all, which is libapriltag's own;
 * or those that more than noise and texture make. Rust and gravel have ten times the outlines of a sheet, and most of the time goes
 * to them. Black on white has over 100 in sound light, over 30 five stops below it. */
static const int CONTRAST_ANY = 5, CONTRAST_CLEAR = 15;
/* Tags seen on cells smaller than this may have lost neighbours, so a finer look is worth its time. */
static const double CELL_SMALL_PX = 2.2;

typedef struct searched {
    image_u8_t image;
    uint8_t *px;
    double scale; /* photo pixels per searched pixel */
} searched;

static void shrink_into(const ps_luma *luma, int n, int width, int height, uint8_t *out) {
    unsigned area = (unsigned)(n * n), half = area / 2;
    for (int y = 0; y < height; y++) {
        const uint8_t *top = luma->px + (size_t)y * (size_t)n * luma->stride;
        for (int x = 0; x < width; x++) {
            unsigned sum = half;
            for (int j = 0; j < n; j++) {
                const uint8_t *row = top + (size_t)j * luma->stride + (size_t)x * (size_t)n;
                for (int i = 0; i < n; i++) sum += row[i];
            }
            out[(size_t)y * (size_t)width + (size_t)x] = (uint8_t)(sum / area);
        }
    }
}

/* Twice as large, linear: enlarged pixel (x, y) lies at ((x - 0.5) / 2, (y - 0.5) / 2) in our convention. */
static void enlarge_into(const ps_luma *luma, uint8_t *out) {
    int width = 2 * luma->width, height = 2 * luma->height;
    for (int y = 0; y < height; y++) {
        int y0 = y / 2, y1 = y % 2 ? y0 + 1 : y0 - 1;
        if (y1 < 0) y1 = 0;
        if (y1 >= luma->height) y1 = luma->height - 1;
        const uint8_t *near_row = luma->px + (size_t)y0 * luma->stride, *far_row = luma->px + (size_t)y1 * luma->stride;
        for (int x = 0; x < width; x++) {
            int x0 = x / 2, x1 = x % 2 ? x0 + 1 : x0 - 1;
            if (x1 < 0) x1 = 0;
            if (x1 >= luma->width) x1 = luma->width - 1;
            unsigned sum = 9u * near_row[x0] + 3u * near_row[x1] + 3u * far_row[x0] + far_row[x1];
            out[(size_t)y * (size_t)width + (size_t)x] = (uint8_t)((sum + 8u) / 16u);
        }
    }
}

/* Unsharp mask with a 5 x 5 box: gives back part of the contrast that blur took from cells of about two blur sigmas. */
static bool sharpen(uint8_t *px, int width, int height) {
    enum { REACH = 2, AREA = (2 * REACH + 1) * (2 * REACH + 1) };
    size_t area = (size_t)width * (size_t)height;
    uint8_t *copy = malloc(area);
    int *column = malloc(sizeof *column * (size_t)width);
    bool made = copy && column;
    if (made) memcpy(copy, px, area);
    for (int y = REACH; made && y < height - REACH; y++) {
        for (int x = 0; x < width; x++) {
            column[x] = 0;
            for (int j = -REACH; j <= REACH; j++) column[x] += copy[(size_t)(y + j) * (size_t)width + (size_t)x];
        }
        for (int x = REACH; x < width - REACH; x++) {
            int sum = column[x - 2] + column[x - 1] + column[x] + column[x + 1] + column[x + 2];
            size_t at = (size_t)y * (size_t)width + (size_t)x;
            int v = copy[at] + SHARPEN * (AREA * copy[at] - sum) / AREA;
            px[at] = (uint8_t)(v < 0 ? 0 : v > 255 ? 255 : v);
        }
    }
    free(copy);
    free(column);
    return made;
}

static ps_status searched_make(ps_context *ctx, const ps_luma *luma, int shrink, searched *s) {
    int width = shrink > 0 ? luma->width / shrink : 2 * luma->width;
    int height = shrink > 0 ? luma->height / shrink : 2 * luma->height;
    if (width > SIDE_MAX || height > SIDE_MAX) return ps_context_fail(ctx, PS_TOO_LARGE, "photo side over %d px", SIDE_MAX);
    s->px = malloc((size_t)width * (size_t)height);
    if (!s->px) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a %d x %d search image", width, height);
    if (shrink > 0)
        shrink_into(luma, shrink, width, height, s->px);
    else
        enlarge_into(luma, s->px);
    if (shrink == 0 && !sharpen(s->px, width, height)) {
        free(s->px);
        s->px = NULL;
        return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a %d x %d search image", width, height);
    }
    s->scale = shrink > 0 ? shrink : 0.5;
    image_u8_t image = {.width = width, .height = height, .stride = width, .buf = s->px};
    memcpy(&s->image, &image, sizeof image); /* its members are const */
    return PS_OK;
}

static double side_mean(const double corner[4][2]) {
    double sum = 0.0;
    for (int i = 0; i < 4; i++) {
        int j = (i + 1) % 4;
        sum += hypot(corner[j][0] - corner[i][0], corner[j][1] - corner[i][1]);
    }
    return sum / 4.0;
}

static void add_tag(ps_tags *out, const ps_tag_seen *t) {
    for (int i = 0; i < out->count; i++) {
        ps_tag_seen *o = &out->tag[i];
        if (o->id != t->id) continue;
        double apart = hypot(o->centre_px[0] - t->centre_px[0], o->centre_px[1] - t->centre_px[1]);
        if (apart > 0.5 * side_mean(t->corner_px)) continue;
        if (t->hamming < o->hamming || (t->hamming == o->hamming && t->cell_px > o->cell_px)) *o = *t;
        return;
    }
    if (out->count < PS_TAGS_MAX) out->tag[out->count++] = *t;
}

/* libapriltag's corners run from bottom-left over bottom-right to top-right and top-left of the tag as printed. */
static void convert(const apriltag_detection_t *d, double scale, ps_tag_seen *t) {
    static const int order[4] = {3, 2, 1, 0};
    t->id = d->id;
    t->hamming = d->hamming;
    t->margin = (double)d->decision_margin;
    for (int i = 0; i < 4; i++)
        for (int k = 0; k < 2; k++) t->corner_px[i][k] = d->p[order[i]][k] * scale - 0.5;
    for (int k = 0; k < 2; k++) t->centre_px[k] = d->c[k] * scale - 0.5;
    t->cell_px = side_mean(t->corner_px) / scale / 8.0;
}

static ps_status find(ps_context *ctx, const ps_luma *luma, int shrink, int contrast, ps_tags *out) {
    int divisor = shrink > 0 ? shrink : 1;
    if (luma->width / divisor < SIDE_MIN || luma->height / divisor < SIDE_MIN) return PS_OK;
    searched s = {.px = NULL};
    ps_status status = searched_make(ctx, luma, shrink, &s);
    if (status != PS_OK) return status;
    apriltag_family_t *family = tag36h11_create();
    apriltag_detector_t *detector = apriltag_detector_create();
    if (!family || !detector) {
        status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the tag detector");
        goto out;
    }
    apriltag_detector_add_family_bits(detector, family, 1);
    detector->nthreads = 1;
    detector->quad_decimate = 1.0f; /* we shrink by averaging, which keeps small tags readable */
    detector->quad_sigma = 0.0f;
    detector->refine_edges = shrink > 0;
    detector->qtp.min_white_black_diff = contrast;
    zarray_t *found = apriltag_detector_detect(detector, &s.image);
    for (int i = 0; found && i < zarray_size(found); i++) {
        apriltag_detection_t *d;
        zarray_get(found, i, &d);
        if (d->hamming > 1 || (double)d->decision_margin < MARGIN_MIN) continue;
        ps_tag_seen t;
        convert(d, s.scale, &t);
        add_tag(out, &t);
    }
    if (found) apriltag_detections_destroy(found);
out:
    if (detector) apriltag_detector_destroy(detector);
    if (family) tag36h11_destroy(family);
    free(s.px);
    return status;
}

ps_status ps_tags_find(ps_context *ctx, const ps_luma *luma, int shrink, ps_tags *out) {
    return find(ctx, luma, shrink, CONTRAST_ANY, out);
}

static double smallest_cell_px(const ps_tags *tags, double scale) {
    double smallest = INFINITY;
    for (int i = 0; i < tags->count; i++) {
        double cell = side_mean(tags->tag[i].corner_px) / scale / 8.0;
        if (cell < smallest) smallest = cell;
    }
    return tags->count ? smallest : 0.0;
}

ps_status ps_tags_find_scales(ps_context *ctx, const ps_luma *luma, ps_tags *out) {
    double pixels = (double)luma->width * luma->height;
    int shrink = (int)ceil(sqrt(pixels / COARSE_PIXELS));
    if (shrink < 1) shrink = 1;
    out->count = 0;
    for (;;) {
        ps_status status = find(ctx, luma, shrink, CONTRAST_CLEAR, out);
        if (status == PS_OK && out->count == 0) status = find(ctx, luma, shrink, CONTRAST_ANY, out);
        if (status != PS_OK || shrink == 0) return status;
        if (smallest_cell_px(out, shrink) >= CELL_SMALL_PX) return PS_OK;
        shrink = shrink > 1 ? (shrink + 1) / 2 : 0;
        if (shrink == 0 && pixels > ENLARGE_PIXELS_MAX) return PS_OK;
    }
}
