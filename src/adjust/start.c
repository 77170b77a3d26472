/* Start values from corners: poses of photos and pieces in the held piece's frame, and a free focal length.
 *
 * A plane seen by one camera has two poses that fit about equally (Collins & Bartoli, IJCV 2014). Both are kept for
 * every sighting; what decides is how well all pieces in all photos agree. */
#include "adjust/model.h"
#include "base/linear.h"
#include "pinspan/photo.h"
#include "pinspan/target.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST_CORNERS = 6 }; /* a homography needs 4; fewer than 6 leave nothing to judge it by */

static const double FREE_FOCAL = 0.2; /* relative prior sd above which the focal length is looked for */

/* One piece in one photo. */
typedef struct sighting {
    int count; /* corners, 0 when not seen */
    double mm[PS_PIECE_CORNERS_MAX][2], stored[PS_PIECE_CORNERS_MAX][2];
    int poses; /* 0..2, piece to camera */
    ps_pose pose[2];
} sighting;

typedef struct start_job {
    const ps_adjust_problem *problem;
    ps_lens lens[PS_ADJUST_PHOTOS_MAX];  /* per group */
    sighting *seen;                      /* photo * piece_count + piece */
    ps_pose piece[PS_ADJUST_PIECES_MAX]; /* piece to world */
    bool known[PS_ADJUST_PIECES_MAX];
} start_job;

static sighting *sighting_of(const start_job *j, int photo, int piece) {
    return &j->seen[photo * j->problem->piece_count + piece];
}

static const ps_lens *lens_of(const start_job *j, int photo) {
    return &j->lens[j->problem->photo[photo].group];
}

static ps_status gather(ps_context *ctx, start_job *j) {
    const ps_adjust_problem *p = j->problem;
    for (int i = 0; i < p->corner_count; i++) {
        const ps_adjust_corner *c = &p->corner[i];
        if (c->photo < 0 || c->photo >= p->photo_count || c->piece < 0 || c->piece >= p->piece_count)
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "corner %d is of no known photo and piece", i);
        const ps_piece *piece = ps_kit_piece(p->piece[c->piece].piece);
        sighting *s = sighting_of(j, c->photo, c->piece);
        if (!piece || c->index < 0 || c->index >= piece->corner_count || !isfinite(c->x_px + c->y_px))
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "corner %d is not a finite observation of a piece", i);
        if (s->count == PS_PIECE_CORNERS_MAX)
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "photo %d has a piece's corners twice", c->photo);
        const ps_adjust_photo *photo = &p->photo[c->photo];
        double upright[2] = {c->x_px, c->y_px};
        ps_piece_corner(piece, c->index, s->mm[s->count]);
        s->mm[s->count][0] *= adjust_across_start(p, c->piece);
        s->mm[s->count][1] *= adjust_along_start(p, c->piece);
        ps_photo_upright_to_stored(photo->orientation, photo->stored_width, photo->stored_height, upright, s->stored[s->count++]);
    }
    return PS_OK;
}

/* Poses of one sighting under a lens; mean square of the best, px^2, or -1. */
static double pose_sighting(sighting *s, const ps_lens *lens) {
    double xy[PS_PIECE_CORNERS_MAX][2], rms[2];
    s->poses = 0;
    if (s->count < LEAST_CORNERS) return -1;
    for (int i = 0; i < s->count; i++) {
        if (!ps_lens_unproject(lens, s->stored[i], xy[i])) return -1;
    }
    s->poses = ps_pose_from_plane((const double(*)[2])s->mm, (const double(*)[2])xy, s->count, s->pose, rms);
    return s->poses > 0 ? rms[0] * rms[0] * lens->f_px * lens->f_px : -1;
}

/* How badly a focal length fits all sightings of a group, in the spirit of chi-square: half a pixel a corner stands for
 * bend, lens terms and noise together; the prior keeps face-on views, which know nothing of f, near the start. */
static double focal_cost(start_job *j, int group, double log_ratio) {
    const ps_adjust_problem *p = j->problem;
    ps_lens lens = j->lens[group];
    lens.f_px *= exp(log_ratio);
    double sigma = p->group[group].sigma_focal_rel, cost = log_ratio * log_ratio / (sigma * sigma);
    for (int i = 0; i < p->photo_count; i++) {
        if (p->photo[i].group != group) continue;
        for (int q = 0; q < p->piece_count; q++) {
            sighting *s = sighting_of(j, i, q);
            double square = pose_sighting(s, &lens);
            if (square >= 0) cost += s->count * log1p(square / 0.25);
        }
    }
    return cost;
}

/* Common search of a group's focal length: a coarse walk over factors 1/3..3, then golden section. */
static void search_focal(start_job *j, int group) {
    const double reach = 1.1, step = 0.1, golden = 0.6180339887498949;
    double best = 0, least = INFINITY;
    for (double x = -reach; x < reach + 0.5 * step; x += step) {
        double cost = focal_cost(j, group, x);
        if (cost < least) least = cost, best = x;
    }
    double low = best - step, high = best + step, a = high - golden * (high - low), b = low + golden * (high - low);
    double at_a = focal_cost(j, group, a), at_b = focal_cost(j, group, b);
    while (high - low > 1e-3) {
        if (at_a < at_b) {
            high = b, b = a, at_b = at_a;
            a = high - golden * (high - low), at_a = focal_cost(j, group, a);
        } else {
            low = a, a = b, at_a = at_b;
            b = low + golden * (high - low), at_b = focal_cost(j, group, b);
        }
    }
    j->lens[group].f_px *= exp(0.5 * (low + high));
}

/* Sum of squares of a sighting's corners under a pose, px^2; a corner counts 50 px at most, so that one piece that
 * does not belong cannot outvote the others by far. */
static double misfit(const start_job *j, int photo, int piece, const ps_pose *to_camera) {
    const sighting *s = sighting_of(j, photo, piece);
    double sum = 0;
    for (int i = 0; i < s->count; i++) {
        double X[3] = {s->mm[i][0], s->mm[i][1], 0}, x[3], px[2], square = 2500;
        ps_pose_apply(to_camera, X, x);
        if (ps_lens_project(lens_of(j, photo), x, px, NULL, NULL)) {
            double dx = px[0] - s->stored[i][0], dy = px[1] - s->stored[i][1];
            square = fmin(square, dx * dx + dy * dy);
        }
        sum += square;
    }
    return sum;
}

/* Best pose of a photo from the known pieces that it shows: each piece proposes its two poses, all known pieces and
 * `extra` (-1 none, placed by extra_pose) judge. Returns the sum of squares, infinite when it shows no known piece. */
static double place_photo(const start_job *j, int photo, int extra, const ps_pose *extra_pose, ps_pose *world_to_camera) {
    double least = INFINITY;
    for (int q = 0; q < j->problem->piece_count; q++) {
        const sighting *s = sighting_of(j, photo, q);
        for (int k = 0; j->known[q] && k < s->poses; k++) {
            ps_pose from_world, world, to_camera;
            ps_pose_invert(&j->piece[q], &from_world);
            ps_pose_compose(&s->pose[k], &from_world, &world);
            double sum = 0;
            for (int r = 0; r < j->problem->piece_count; r++) {
                if (!j->known[r] && r != extra) continue;
                ps_pose_compose(&world, r == extra ? extra_pose : &j->piece[r], &to_camera);
                sum += misfit(j, photo, r, &to_camera);
            }
            if (sum < least) {
                least = sum;
                if (world_to_camera) *world_to_camera = world;
            }
        }
    }
    return least;
}

/* Sum over all photos that show the piece together with a known one. */
static double judge_piece(const start_job *j, int piece, const ps_pose *pose) {
    double sum = 0;
    for (int i = 0; i < j->problem->photo_count; i++) {
        if (sighting_of(j, i, piece)->poses == 0) continue;
        double one = place_photo(j, i, piece, pose, NULL);
        if (isfinite(one)) sum += one;
    }
    return sum;
}

/* Every way to reach the piece: a photo, a known piece in it, each with two poses. The best judged one wins. */
static bool place_piece(start_job *j, int piece) {
    double least = INFINITY;
    for (int i = 0; i < j->problem->photo_count; i++) {
        const sighting *own = sighting_of(j, i, piece);
        for (int q = 0; q < j->problem->piece_count; q++) {
            const sighting *other = sighting_of(j, i, q);
            for (int k = 0; j->known[q] && k < own->poses * other->poses; k++) {
                ps_pose to_other, in_other, pose;
                ps_pose_invert(&other->pose[k / own->poses], &to_other);
                ps_pose_compose(&to_other, &own->pose[k % own->poses], &in_other);
                ps_pose_compose(&j->piece[q], &in_other, &pose);
                double sum = judge_piece(j, piece, &pose);
                if (sum < least) {
                    least = sum;
                    j->piece[piece] = pose;
                }
            }
        }
    }
    return isfinite(least);
}

static void place_pieces(start_job *j) {
    bool grown = true;
    while (grown) {
        grown = false;
        for (int q = 0; q < j->problem->piece_count; q++) {
            if (j->known[q] || !place_piece(j, q)) continue;
            j->known[q] = grown = true;
        }
    }
}

static int corners_of_known(const start_job *j, int photo) {
    int n = 0;
    for (int q = 0; q < j->problem->piece_count; q++) n += j->known[q] ? sighting_of(j, photo, q)->count : 0;
    return n;
}

static ps_status hand_out(ps_context *ctx, const start_job *j, ps_adjust_photo *photo, ps_adjust_group *group, ps_adjust_piece *piece,
                          ps_adjust_start *found) {
    const ps_adjust_problem *p = j->problem;
    bool held_seen = false;
    for (int i = 0; i < p->photo_count; i++) held_seen = held_seen || sighting_of(j, i, p->held_piece)->poses > 0;
    if (!held_seen) return ps_context_fail(ctx, PS_NOT_FOUND, "no photo shows enough of the held piece");
    memset(found, 0, sizeof *found);
    for (int q = 0; q < p->piece_count; q++) {
        found->piece[q] = j->known[q];
        if (j->known[q]) piece[q].start = j->piece[q];
    }
    for (int i = 0; i < p->photo_count; i++) {
        ps_pose pose;
        double sum = place_photo(j, i, -1, NULL, &pose);
        if (!isfinite(sum)) continue;
        found->photo[i] = true;
        found->rms_px[i] = sqrt(sum / (2 * corners_of_known(j, i)));
        photo[i].start = pose;
    }
    for (int g = 0; g < p->group_count; g++) group[g].start.f_px = j->lens[g].f_px;
    return PS_OK;
}

static ps_status check(ps_context *ctx, const ps_adjust_problem *p) {
    if (p->photo_count < 1 || p->photo_count > PS_ADJUST_PHOTOS_MAX || p->piece_count < 1 || p->piece_count > PS_ADJUST_PIECES_MAX ||
        p->group_count < 1 || p->group_count > PS_ADJUST_PHOTOS_MAX || p->held_piece < 0 || p->held_piece >= p->piece_count)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "start poses: %d photos, %d pieces, %d groups, piece %d held", p->photo_count,
                               p->piece_count, p->group_count, p->held_piece);
    for (int i = 0; i < p->photo_count; i++) {
        if (p->photo[i].group < 0 || p->photo[i].group >= p->group_count)
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "photo %d has no camera group", i);
    }
    for (int g = 0; g < p->group_count; g++) {
        if (!(p->group[g].start.f_px > 0)) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "camera group %d has no start lens", g);
    }
    return PS_OK;
}

ps_status ps_adjust_start_poses(ps_context *ctx, const ps_adjust_problem *problem, ps_adjust_photo *photo, ps_adjust_group *group,
                                ps_adjust_piece *piece, ps_adjust_start *found) {
    if (!problem || !photo || !group || !piece || !found)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "start poses without problem or room");
    ps_status status = check(ctx, problem);
    if (status != PS_OK) return status;
    start_job j = {.problem = problem};
    j.seen = calloc((size_t)problem->photo_count * (size_t)problem->piece_count, sizeof *j.seen);
    if (!j.seen) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for start poses");
    status = gather(ctx, &j);
    if (status != PS_OK) goto out;
    for (int g = 0; g < problem->group_count; g++) {
        j.lens[g] = problem->group[g].start;
        if (problem->group[g].sigma_focal_rel > FREE_FOCAL) search_focal(&j, g);
    }
    for (int i = 0; i < problem->photo_count; i++) {
        for (int q = 0; q < problem->piece_count; q++) pose_sighting(sighting_of(&j, i, q), lens_of(&j, i));
    }
    j.piece[problem->held_piece] = (ps_pose){.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}};
    j.known[problem->held_piece] = true;
    place_pieces(&j);
    status = hand_out(ctx, &j, photo, group, piece, found);
out:
    free(j.seen);
    return status;
}
