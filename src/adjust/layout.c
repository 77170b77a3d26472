/* Numbers the unknowns and gives each its prior. Values and reasons: docs/model.md. */
#include "adjust/model.h"

#include <math.h>
#include <stdlib.h>

/* Priors so weak that they say nothing beside any two photos, there only so that no direction is ever free: a direction that the photos
 * leave open comes out wide instead of failing. */
static const double WEAK_LENGTH_MM = 1e5; /* poses and axis points: 100 m */
static const double WEAK_ANGLE = 10;      /* rad: over a full turn */
static const double WEAK_RADIUS_MM = 200; /* radii */
static const double WEAK_HEIGHT_MM = 100; /* of the start: pins end within some centimetres of the sheet beside them */
static const double AXIS_TILT = 1;        /* rad */

/* Third-order terms against second-order ones at 100 mm from the middle: an S takes two waves where a bow takes one, and the
 * same bending energy makes two waves a quarter as high (a beam's energy goes with the square of height over wavelength squared). */
static const double BEND_REACH_MM = 100, S_SHARE = 0.25;

static const double PLAY_TAIL = 4;  /* dof of the heavy tails that design calls for; common practice, no source */
static const double ROUND_TAIL = 4; /* the same for edges out of round: most are turned, some are hammered */

typedef struct numbering {
    adjust_model *m;
    int capacity;
    bool no_memory;
} numbering;

static void add_prior(numbering *n, adjust_prior prior) {
    adjust_model *m = n->m;
    if (m->prior_count == n->capacity) {
        int capacity = n->capacity ? 2 * n->capacity : 256;
        adjust_prior *grown = realloc(m->prior, (size_t)capacity * sizeof *grown);
        if (!grown) {
            n->no_memory = true;
            return;
        }
        m->prior = grown;
        n->capacity = capacity;
    }
    m->prior[m->prior_count++] = prior;
}

/* `width` unknowns with one prior sd; -1 (held) when the sd is not above 0. */
static int add_unknowns(numbering *n, int width, double sigma, double tail, ps_source source) {
    if (!(sigma > 0) || !isfinite(sigma)) return -1;
    int first = n->m->layout.count;
    for (int i = 0; i < width; i++) add_prior(n, (adjust_prior){.index = first + i, .sigma = sigma, .tail = tail, .source = source});
    n->m->layout.count += width;
    return first;
}

/* The same of lengths at a rim that photos show in proportion to its size. One photo does not tell that size: all that it shows could be
 * smaller and nearer, and with sd in millimetres each of these lengths would speak for smaller (docs/model.md). Two photos tell it. */
static int add_parts_of_rim(numbering *n, int rim, double sigma, double tail, ps_source source) {
    int before = n->m->prior_count, first = add_unknowns(n, 2, sigma, tail, source);
    for (int i = before; i < n->m->prior_count && first >= 0; i++)
        n->m->prior[i].grows = n->m->problem.photo_count == 1, n->m->prior[i].rim = rim;
    return first;
}

static int add_pose(numbering *n, ps_source source) {
    int first = add_unknowns(n, 3, WEAK_ANGLE, 0, source);
    add_unknowns(n, 3, WEAK_LENGTH_MM, 0, source);
    return first;
}

/* A group whose prior is one for all its terms: its rows come from the covariance, not one by one. */
static void number_joint(numbering *n, int group) {
    adjust_layout *l = &n->m->layout;
    l->group_focal[group] = l->count++;
    l->group_centre[group] = l->count;
    l->count += 2;
    for (int k = 0; k < ADJUST_LENS_TERMS; k++) l->group_term[group][k] = l->count++;
}

void adjust_layout_lens(const adjust_model *m, int group, int index[PS_LENS_COUNT]) {
    const adjust_layout *l = &m->layout;
    int centre = l->group_centre[group];
    index[PS_LENS_F] = l->group_focal[group];
    index[PS_LENS_CX] = centre;
    index[PS_LENS_CY] = centre < 0 ? -1 : centre + 1;
    for (int k = 0; k < ADJUST_LENS_TERMS; k++) index[PS_LENS_K1 + k] = l->group_term[group][k];
}

static void number_cameras(numbering *n) {
    const ps_adjust_problem *p = &n->m->problem;
    adjust_layout *l = &n->m->layout;
    for (int i = 0; i < p->group_count; i++) {
        const ps_adjust_group *g = &p->group[i];
        if (g->joint) {
            number_joint(n, i);
            continue;
        }
        const double sigma[ADJUST_LENS_TERMS] = {g->sigma_k1, g->sigma_k2, g->sigma_p, g->sigma_p, g->sigma_k3};
        l->group_focal[i] = add_unknowns(n, 1, g->sigma_focal_rel, g->focal_tail, PS_SOURCE_CAMERA);
        l->group_centre[i] = add_unknowns(n, 2, g->sigma_centre_px, 0, PS_SOURCE_CAMERA);
        for (int k = 0; k < ADJUST_LENS_TERMS; k++)
            l->group_term[i][k] = p->distortion ? add_unknowns(n, 1, sigma[k], 0, PS_SOURCE_CAMERA) : -1;
    }
    for (int i = 0; i < p->photo_count; i++) {
        const ps_adjust_group *g = &p->group[p->photo[i].group];
        l->photo_pose[i] = add_pose(n, PS_SOURCE_CAMERA);
        l->photo_focal[i] = add_unknowns(n, 1, g->sigma_photo_focal_rel, 0, PS_SOURCE_CAMERA);
        l->photo_centre[i] = add_unknowns(n, 2, g->sigma_photo_centre_px, 0, PS_SOURCE_CAMERA);
    }
}

/* What is known of a piece's plane, in increments about the world's axes. */
static void bind_to_plane(numbering *n, int pose, const ps_adjust_piece *piece) {
    if (pose < 0) return;
    for (int k = 0; k < 2 && piece->sigma_tilt_rad > 0; k++)
        add_prior(n, (adjust_prior){.index = pose + k, .sigma = piece->sigma_tilt_rad, .source = PS_SOURCE_PLANE});
    if (piece->sigma_lift_mm > 0) add_prior(n, (adjust_prior){.index = pose + 5, .sigma = piece->sigma_lift_mm, .source = PS_SOURCE_PLANE});
}

double adjust_across_start(const ps_adjust_problem *p, int piece) {
    return p->piece[piece].print.across.scale > 0 ? p->piece[piece].print.across.scale : p->scale.across;
}

double adjust_along_start(const ps_adjust_problem *p, int piece) {
    return p->piece[piece].print.along.scale > 0 ? p->piece[piece].print.along.scale : p->scale.along;
}

static int add_own_scale(numbering *n, const ps_adjust_line *line) {
    int before = n->m->prior_count, first = add_unknowns(n, 1, line->sigma, line->guessed ? 0 : line->tail, PS_SOURCE_PRINT_SCALE);
    if (n->m->prior_count > before) n->m->prior[before].unread = line->guessed;
    return first;
}

/* What a piece's print has of its own; the same piece at another place is the same print. */
static void number_print(numbering *n, int piece) {
    const ps_adjust_problem *p = &n->m->problem;
    adjust_layout *l = &n->m->layout;
    for (int i = 0; i < piece; i++) {
        if (p->piece[i].piece != p->piece[piece].piece) continue;
        l->own_across[piece] = l->own_across[i], l->own_along[piece] = l->own_along[i];
        return;
    }
    l->own_across[piece] = add_own_scale(n, &p->piece[piece].print.across);
    l->own_along[piece] = add_own_scale(n, &p->piece[piece].print.along);
}

static void number_pieces(numbering *n) {
    const ps_adjust_problem *p = &n->m->problem;
    adjust_layout *l = &n->m->layout;
    l->scale_across = add_unknowns(n, 1, p->scale.sigma_across, 0, PS_SOURCE_PRINT_SCALE);
    l->scale_along = add_unknowns(n, 1, p->scale.sigma_along, 0, PS_SOURCE_PRINT_SCALE);
    l->scale_common = add_unknowns(n, 1, p->scale.sigma_common, 0, PS_SOURCE_PRINT_SCALE);
    for (int i = 0; i < p->piece_count; i++) {
        number_print(n, i);
        l->paper[i] = add_unknowns(n, 1, p->scale.sigma_paper, 0, PS_SOURCE_PAPER);
        l->piece_pose[i] = i == p->held_piece ? -1 : add_pose(n, PS_SOURCE_PLANE);
        bind_to_plane(n, l->piece_pose[i], &p->piece[i]);
        l->bend[i] = p->bend ? add_unknowns(n, 3, p->piece[i].sigma_bend, 0, PS_SOURCE_FLATNESS) : -1;
        if (l->bend[i] >= 0)
            add_unknowns(n, ADJUST_BEND_TERMS - 3, S_SHARE * p->piece[i].sigma_bend / BEND_REACH_MM, 0, PS_SOURCE_FLATNESS);
    }
}

static void number_pins(numbering *n) {
    const ps_adjust_problem *p = &n->m->problem;
    adjust_layout *l = &n->m->layout;
    for (int i = 0; i < p->pin_count; i++) {
        l->axis[i] = add_unknowns(n, 2, WEAK_LENGTH_MM, 0, PS_SOURCE_AXES);
        add_unknowns(n, 2, AXIS_TILT, 0, PS_SOURCE_AXES);
    }
    for (int i = 0; i < p->rim_count; i++) {
        const ps_adjust_rim *rim = &p->rim[i];
        l->height[i] = add_unknowns(n, 1, WEAK_HEIGHT_MM, 0, PS_SOURCE_PLANE);
        if (rim->height_known)
            add_prior(n, (adjust_prior){.index = l->height[i],
                                        .mean = rim->height_prior_mm - rim->height_mm,
                                        .sigma = rim->sigma_height_mm,
                                        .source = PS_SOURCE_PLANE});
        l->radius[i] = add_unknowns(n, 1, WEAK_RADIUS_MM, 0, PS_SOURCE_AXES);
        l->round[i] =
            add_parts_of_rim(n, i, rim->on_axis ? p->sigma_round_pin_mm : p->sigma_round_other_mm, ROUND_TAIL, PS_SOURCE_EDGE_SHIFT);
        l->lateral[i] = rim->on_axis ? -1 : add_parts_of_rim(n, i, rim->sigma_play_mm, PLAY_TAIL, PS_SOURCE_AXES);
    }
}

static void number_shifts(numbering *n) {
    const ps_adjust_problem *p = &n->m->problem;
    adjust_layout *l = &n->m->layout;
    bool seen[PS_ADJUST_RIMS_MAX][PS_ADJUST_PHOTOS_MAX] = {{false}};
    for (int i = 0; i < p->edge_count; i++) seen[p->edge[i].rim][p->edge[i].photo] = true;
    for (int i = 0; i < p->rim_count; i++) {
        l->shift_common[i] = add_unknowns(n, 1, p->sigma_shift_common_px, 0, PS_SOURCE_EDGE_SHIFT);
        for (int j = 0; j < p->photo_count; j++) {
            l->shift_photo[i][j] = seen[i][j] ? add_unknowns(n, 1, p->sigma_shift_photo_px, 0, PS_SOURCE_EDGE_SHIFT) : -1;
            l->shift_side[i][j] = seen[i][j] ? add_unknowns(n, 2, p->sigma_shift_side_px, 0, PS_SOURCE_EDGE_SHIFT) : -1;
        }
    }
}

ps_status adjust_layout_make(ps_context *ctx, adjust_model *m) {
    numbering n = {.m = m};
    m->layout.count = 0;
    number_cameras(&n);
    number_pieces(&n);
    number_pins(&n);
    number_shifts(&n);
    if (n.no_memory) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for %d unknowns", m->layout.count);
    return PS_OK;
}
