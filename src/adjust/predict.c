/* Predicted uncertainty: information that a photo, a piece or a reading would bring, added to what the solution has.
 *
 * With N the weighted normal matrix at the solution and M the rows that the plan brings (their own unknowns among them), the new
 * covariance is the inverse of N + M: no observed value enters, only where things stand. So the planned photo is made up from the
 * solution: corners and edge points where they would project, with the sd that those of the solution have. */
#include "pinspan/predict.h"
#include "adjust/model.h"
#include "base/linear.h"
#include "pinspan/photo.h"
#include "pinspan/target.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const size_t unknowns_most = 250; /* a factor of 250 x 250 is some 5 million products; dozens are taken */
static const double margin_px = 8;       /* what lies nearer to the photo's border is not counted upon */
/* sd of the print's common scale once both lines are read: none is left, and 0 has no information. */
static const double common_read = 1e-6;
static const int points_enough = 40;
static const double height_mm = 20, height_sd_mm = 20; /* of pin ends in front of the sheet; common practice, no source */
static const int corners_least = 12;                   /* a piece of fewer corners in view is not counted upon */

/* What the photos of the solution show of one rim, as a pattern for others. */
typedef struct rim_pattern {
    int first, count; /* into ways */
    double sigma_px;
} rim_pattern;

struct ps_predictor {
    const ps_adjust_solution *s;
    ps_adjust_solution *own; /* owned: s, where that of the caller would not do */
    double *normal;          /* n x n */
    double (*way)[3];        /* unit, from a rim's centre to a point of it */
    rim_pattern rim[PS_ADJUST_RIMS_MAX];
    double corner_sigma_px[PS_ADJUST_PIECES_MAX]; /* 0: seen too seldom to count upon */
    double any_corner_sigma_px;
    double print_inflation;             /* how much the check lines as read disagree, where that will last */
    ps_lens lens[PS_ADJUST_PHOTOS_MAX]; /* by group */
};

/* ---- the solution taken apart ---- */

typedef struct summing {
    const double *weight;
    double *normal;
    size_t n;
    int row;
} summing;

static void sum_row(void *sink, const ps_lsq_row *row) {
    summing *o = sink;
    double w = o->weight[o->row++];
    for (int a = 0; a < row->n; a++)
        for (int b = 0; b < row->n; b++)
            o->normal[(size_t)row->index[a] * o->n + (size_t)row->index[b]] += w * row->derivative[a] * row->derivative[b];
}

static int compare_counts(const void *a, const void *b) {
    const int *x = a, *y = b;
    return x[0] != y[0] ? x[0] - y[0] : x[1] - y[1];
}

/* The photo that shows the rim about as well as half of them do; -1 where no more than half of all photos show it. */
static int typical_photo(const ps_adjust_problem *q, int rim) {
    int points[PS_ADJUST_PHOTOS_MAX][2] = {{0}}, seen = 0; /* count, photo */
    for (int i = 0; i < q->photo_count; i++) points[i][1] = i;
    for (int i = 0; i < q->edge_count; i++)
        if (q->edge[i].rim == rim) points[q->edge[i].photo][0]++;
    qsort(points, (size_t)q->photo_count, sizeof points[0], compare_counts);
    for (int i = 0; i < q->photo_count; i++) seen += points[i][0] > 0;
    if (2 * seen <= q->photo_count) return -1;
    return points[q->photo_count - seen + (seen - 1) / 2][1];
}

/* Where on the rim's circle a point of a photo lies. */
static bool way_of(const ps_view *view, const ps_circle3 *c, const ps_adjust_edge *e, double way[3]) {
    double px[2] = {e->x_px, e->y_px}, origin[3], ray[3], to[3];
    if (!ps_view_ray(view, px, origin, ray)) return false;
    for (int k = 0; k < 3; k++) to[k] = c->centre[k] - origin[k];
    double along = ps_dot3(to, c->normal) / ps_dot3(ray, c->normal);
    for (int k = 0; k < 3; k++) way[k] = along * ray[k] - to[k];
    return ps_unit3(way);
}

/* A rim says as much by some forty points as by hundreds, and planned ones are looked at dozens of times. */
static void thin_out(ps_predictor *p, rim_pattern *rim, int points, double information) {
    int stride = points / points_enough > 1 ? points / points_enough : 1;
    if (!(information > 0)) return;
    for (int i = 0; i < points; i += stride) memmove(p->way[rim->first + rim->count++], p->way[rim->first + i], sizeof p->way[0]);
    rim->sigma_px = sqrt(rim->count / information);
}

static void take_patterns(ps_predictor *p) {
    const ps_adjust_problem *q = &p->s->model.problem;
    int n = 0;
    for (int r = 0; r < q->rim_count; r++) {
        rim_pattern *rim = &p->rim[r];
        int photo = typical_photo(q, r);
        double information = 0;
        ps_view view;
        ps_circle3 circle;
        *rim = (rim_pattern){.first = n};
        if (photo < 0) continue;
        ps_adjust_view(p->s, photo, &view);
        ps_adjust_circle(p->s, r, &circle, NULL);
        for (int i = 0; i < q->edge_count; i++) {
            const ps_adjust_edge *e = &q->edge[i];
            if (e->rim != r || e->photo != photo || !way_of(&view, &circle, e, p->way[n])) continue;
            information += p->s->edge_weight[i] / (e->sigma_px * e->sigma_px);
            n++;
        }
        thin_out(p, rim, n - rim->first, information);
        n = rim->first + rim->count;
    }
}

static void take_corners(ps_predictor *p) {
    const ps_adjust_problem *q = &p->s->model.problem;
    double information[PS_ADJUST_PIECES_MAX] = {0}, all = 0;
    int corners[PS_ADJUST_PIECES_MAX] = {0}, photos[PS_ADJUST_PIECES_MAX] = {0};
    bool seen[PS_ADJUST_PIECES_MAX][PS_ADJUST_PHOTOS_MAX] = {{false}};
    for (int i = 0; i < q->corner_count; i++) {
        const ps_adjust_corner *c = &q->corner[i];
        double w = 0.5 * (p->s->weight[2 * i] + p->s->weight[2 * i + 1]) / (c->sigma_px * c->sigma_px);
        information[c->piece] += w, all += w;
        corners[c->piece]++;
        photos[c->piece] += !seen[c->piece][c->photo];
        seen[c->piece][c->photo] = true;
    }
    for (int k = 0; k < q->piece_count; k++)
        if (2 * photos[k] > q->photo_count && information[k] > 0) p->corner_sigma_px[k] = 1 / sqrt(information[k] / corners[k]);
    p->any_corner_sigma_px = 1 / sqrt(all / q->corner_count);
}

/* What photos of one direction say of across against along is so little that a disagreement is chance, and gone with the next photo. */
static void take_print(ps_predictor *p) {
    const ps_adjust_solution *s = p->s;
    size_t n = (size_t)s->model.layout.count;
    const double *block = s->information + (size_t)PS_SOURCE_PRINT_SCALE * n * n;
    double redundancy = 0;
    for (int i = 0; i < s->model.prior_count; i++) {
        const adjust_prior *prior = &s->model.prior[i];
        size_t k = (size_t)prior->index;
        if (prior->unread)
            redundancy += s->covariance[k * n + k] / (prior->sigma * prior->sigma); /* no reading, taken off below */
        else
            redundancy += prior->source == PS_SOURCE_PRINT_SCALE;
    }
    for (size_t i = 0; i < n * n; i++) redundancy -= block[i] * s->covariance[i];
    p->print_inflation = redundancy < 0.5 ? 1 : s->inflation[PS_SOURCE_PRINT_SCALE];
}

static ps_status take_apart(ps_context *ctx, ps_predictor *p) {
    const ps_adjust_solution *s = p->s;
    summing sum = {.weight = s->weight, .normal = p->normal, .n = (size_t)s->model.layout.count};
    double covariance[PS_LENS_COUNT * PS_LENS_COUNT];
    /* The rows move the state to where it is. */
    if (!adjust_rows((void *)(uintptr_t)&s->model, s->x, true, &sum, sum_row))
        return ps_context_fail(ctx, PS_INTERNAL, "the solution is not admissible");
    for (int g = 0; g < s->model.problem.group_count; g++) {
        ps_status status = ps_adjust_lens(ctx, s, g, &p->lens[g], covariance);
        if (status != PS_OK) return status;
    }
    take_patterns(p);
    take_corners(p);
    take_print(p);
    return PS_OK;
}

static bool heights_open(const ps_adjust_solution *s) {
    size_t n = (size_t)s->model.layout.count;
    for (int r = 0; r < s->model.problem.rim_count; r++) {
        size_t at = (size_t)s->model.layout.height[r];
        if (s->covariance[at * n + at] > height_sd_mm * height_sd_mm) return true;
    }
    return false;
}

/* One photo, or photos of one direction, leave heights so open that the solution may stand anywhere, and with it all that a further
 * photo would see. The same observations with heights as machines have them: beside what that photo tells, the difference in
 * information is nothing. Where it does not settle the solution stays as it is. */
static ps_status settle_heights(ps_context *ctx, ps_predictor *p) {
    ps_adjust_problem q = p->s->model.problem;
    ps_adjust_rim rim[PS_ADJUST_RIMS_MAX];
    for (int r = 0; r < q.rim_count; r++) {
        rim[r] = q.rim[r];
        if (rim[r].height_known) continue;
        rim[r].height_known = true;
        rim[r].height_prior_mm = height_mm, rim[r].sigma_height_mm = height_sd_mm;
    }
    q.rim = rim;
    ps_status status = ps_adjust_solve(ctx, &q, &p->own);
    if (status == PS_OK) p->s = p->own;
    return status == PS_NO_MEMORY ? status : PS_OK;
}

ps_status ps_predict_new(ps_context *ctx, const ps_adjust_solution *s, ps_predictor **predictor) {
    if (!s || !predictor) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "nothing to predict from");
    size_t n = (size_t)s->model.layout.count;
    if (s->model.problem.edge_count < 1 || n > unknowns_most) return PS_NOT_FOUND;
    ps_predictor *p = calloc(1, sizeof *p);
    ps_status status = p ? PS_OK : PS_NO_MEMORY;
    if (p) {
        p->s = s;
        p->normal = calloc(n * n, sizeof *p->normal);
        p->way = malloc((size_t)s->model.problem.edge_count * sizeof *p->way);
        if (!p->normal || !p->way) status = PS_NO_MEMORY;
    }
    if (status == PS_OK && heights_open(s)) status = settle_heights(ctx, p);
    if (status == PS_OK) status = take_apart(ctx, p);
    if (status == PS_NO_MEMORY) (void)ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for predictions");
    if (status == PS_OK) {
        *predictor = p;
    } else {
        ps_predict_free(p);
    }
    return status;
}

void ps_predict_free(ps_predictor *p) {
    if (!p) return;
    ps_adjust_solution_free(p->own);
    free(p->normal);
    free(p->way);
    free(p);
}

const ps_adjust_solution *ps_predict_solution(const ps_predictor *p) {
    return p->s;
}

void ps_predict_view(const ps_predictor *p, const ps_adjust_photo *photo, ps_view *view) {
    *view = (ps_view){.lens = p->lens[photo->group],
                      .pose = photo->start,
                      .orientation = photo->orientation,
                      .stored_width = photo->stored_width,
                      .stored_height = photo->stored_height};
}

/* ---- the planned observations ---- */

typedef struct planned {
    ps_adjust_problem problem;
    ps_adjust_photo photo[PS_ADJUST_PHOTOS_MAX];
    ps_adjust_piece piece[PS_ADJUST_PIECES_MAX];
    ps_adjust_corner *corner;
    ps_adjust_edge *edge;
} planned;

static bool in_view(const ps_view *view, const double X[3], double px[2]) {
    bool turned = view->orientation >= 5;
    int width = turned ? view->stored_height : view->stored_width, height = turned ? view->stored_width : view->stored_height;
    return ps_view_project(view, X, px) && px[0] > margin_px && px[1] > margin_px && px[0] < width - margin_px &&
           px[1] < height - margin_px;
}

/* A piece in a photo, its bend left out: this is only about where its corners are. */
static void see_piece(const ps_predictor *p, planned *o, int photo, int piece, const ps_view *view, const ps_pose *pose, double sigma_px) {
    const ps_piece *kit = ps_kit_piece(o->piece[piece].piece);
    int before = o->problem.corner_count, print = piece < p->s->model.problem.piece_count ? piece : p->s->model.problem.held_piece;
    for (int c = 0; c < kit->corner_count; c++) {
        double mm[2], X[3], px[2];
        ps_piece_corner(kit, c, mm);
        const double local[3] = {mm[0] * p->s->model.across[print], mm[1] * p->s->model.along[print], 0};
        ps_pose_apply(pose, local, X);
        if (in_view(view, X, px)) o->corner[o->problem.corner_count++] = (ps_adjust_corner){photo, piece, c, px[0], px[1], sigma_px};
    }
    if (o->problem.corner_count - before < corners_least) o->problem.corner_count = before;
}

static void see_rims(const ps_predictor *p, planned *o, int photo, const ps_view *view) {
    for (int r = 0; r < o->problem.rim_count; r++) {
        const rim_pattern *rim = &p->rim[r];
        ps_circle3 circle;
        ps_adjust_circle(p->s, r, &circle, NULL);
        for (int i = 0; i < rim->count; i++) {
            double X[3], px[2];
            for (int k = 0; k < 3; k++) X[k] = circle.centre[k] + circle.radius_mm * p->way[rim->first + i][k];
            if (in_view(view, X, px)) o->edge[o->problem.edge_count++] = (ps_adjust_edge){photo, r, px[0], px[1], rim->sigma_px};
        }
    }
}

static bool plan_photos(const ps_predictor *p, const ps_adjust_plan *plan, planned *o) {
    ps_adjust_problem *q = &o->problem;
    int own = p->s->model.problem.photo_count, pieces = p->s->model.problem.piece_count;
    for (int i = 0; i < q->photo_count; i++) {
        ps_view view;
        int before = q->corner_count;
        if (i < own)
            ps_adjust_view(p->s, i, &view);
        else
            ps_predict_view(p, &o->photo[i], &view);
        for (int k = 0; k < pieces && i >= own; k++) {
            ps_pose pose;
            ps_adjust_piece_pose(p->s, k, &pose);
            if (p->corner_sigma_px[k] > 0) see_piece(p, o, i, k, &view, &pose, p->corner_sigma_px[k]);
        }
        if (i >= own && q->corner_count == before) return false;
        if (plan->piece_added) see_piece(p, o, i, pieces, &view, &plan->piece.start, p->any_corner_sigma_px);
        if (i >= own) see_rims(p, o, i, &view);
    }
    return true;
}

/* The solution's problem without its observations, with the plan's. */
static ps_status plan_problem(ps_context *ctx, const ps_predictor *p, const ps_adjust_plan *plan, planned *o) {
    const ps_adjust_problem *q = &p->s->model.problem;
    o->problem = *q;
    if (plan->photo_count < 0 || plan->photo_count > PS_PLAN_PHOTOS_MAX || q->photo_count + plan->photo_count > PS_ADJUST_PHOTOS_MAX ||
        (plan->piece_added && (q->piece_count >= PS_ADJUST_PIECES_MAX || !ps_kit_piece(plan->piece.piece))))
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no room for the plan's photos or piece");
    memcpy(o->photo, q->photo, (size_t)q->photo_count * sizeof *o->photo);
    memcpy(o->piece, q->piece, (size_t)q->piece_count * sizeof *o->piece);
    for (int i = 0; i < plan->photo_count; i++) {
        if (plan->photo[i].group < 0 || plan->photo[i].group >= q->group_count)
            return ps_context_fail(ctx, PS_BAD_ARGUMENT, "a planned photo has no camera group");
        o->photo[o->problem.photo_count++] = plan->photo[i];
    }
    if (plan->piece_added) o->piece[o->problem.piece_count++] = plan->piece;
    o->problem.photo = o->photo;
    o->problem.piece = o->piece;
    o->problem.corner_count = o->problem.edge_count = 0;
    int ways = 0;
    for (int r = 0; r < q->rim_count; r++) ways += p->rim[r].count;
    o->corner = malloc((size_t)(o->problem.photo_count * o->problem.piece_count * PS_PIECE_CORNERS_MAX) * sizeof *o->corner);
    o->edge = malloc((size_t)(plan->photo_count * ways + 1) * sizeof *o->edge);
    o->problem.corner = o->corner;
    o->problem.edge = o->edge;
    if (!o->corner || !o->edge) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a planned photo");
    return plan_photos(p, plan, o) && o->problem.corner_count > 0 ? PS_OK : PS_NOT_FOUND;
}

/* ---- its unknowns among the solution's ---- */

static void join(int *place, int from, int to, int width) {
    for (int k = 0; k < width && from >= 0 && to >= 0; k++) place[from + k] = to + k;
}

/* Of each unknown of the plan's model, its place in the solution; new ones follow behind. Returns how many there are in all. */
static int join_unknowns(const adjust_model *plan, const adjust_model *own, int *place) {
    const adjust_layout *a = &plan->layout, *b = &own->layout;
    const ps_adjust_problem *q = &own->problem;
    int count = b->count;
    for (int i = 0; i < a->count; i++) place[i] = -1;
    for (int i = 0; i < q->group_count; i++) {
        join(place, a->group_focal[i], b->group_focal[i], 1);
        join(place, a->group_centre[i], b->group_centre[i], 2);
        for (int k = 0; k < ADJUST_LENS_TERMS; k++) join(place, a->group_term[i][k], b->group_term[i][k], 1);
    }
    for (int i = 0; i < q->photo_count; i++) {
        join(place, a->photo_pose[i], b->photo_pose[i], 6);
        join(place, a->photo_focal[i], b->photo_focal[i], 1);
        join(place, a->photo_centre[i], b->photo_centre[i], 2);
    }
    join(place, a->scale_across, b->scale_across, 1);
    join(place, a->scale_along, b->scale_along, 1);
    join(place, a->scale_common, b->scale_common, 1);
    for (int i = 0; i < q->piece_count; i++) {
        join(place, a->own_across[i], b->own_across[i], 1);
        join(place, a->own_along[i], b->own_along[i], 1);
        join(place, a->paper[i], b->paper[i], 1);
        join(place, a->piece_pose[i], b->piece_pose[i], 6);
        join(place, a->bend[i], b->bend[i], ADJUST_BEND_TERMS);
    }
    for (int i = 0; i < q->pin_count; i++) join(place, a->axis[i], b->axis[i], 4);
    for (int i = 0; i < q->rim_count; i++) {
        join(place, a->height[i], b->height[i], 1);
        join(place, a->radius[i], b->radius[i], 1);
        join(place, a->lateral[i], b->lateral[i], 2);
        join(place, a->round[i], b->round[i], 2);
        join(place, a->shift_common[i], b->shift_common[i], 1);
    }
    for (int i = 0; i < a->count; i++)
        if (place[i] < 0) place[i] = count++;
    return count;
}

/* ---- information ---- */

/* The plan's rows: kept, since each is a part of its source's share. */
typedef struct kept_row {
    int first, n;
    ps_source source;
} kept_row;

typedef struct gathering {
    const adjust_model *m;
    const int *place;
    int own; /* unknowns of the solution */
    kept_row *row;
    int rows, seen, row_room;
    int *index;
    double *derivative;
    int values, value_room;
    int unread_count, unread[2]; /* what a piece that is added and that nobody reads has of its own */
    double unread_sd[2];
    bool failed;
} gathering;

static bool gathering_room(gathering *o, int n) {
    if (o->rows == o->row_room) {
        int room = o->row_room ? 2 * o->row_room : 1024;
        kept_row *row = realloc(o->row, (size_t)room * sizeof *row);
        if (!row) return false;
        o->row = row, o->row_room = room;
    }
    if (o->values + n > o->value_room) {
        int room = 2 * (o->value_room + n) + 16384;
        int *index = realloc(o->index, (size_t)room * sizeof *index);
        if (index) o->index = index;
        double *derivative = realloc(o->derivative, (size_t)room * sizeof *derivative);
        if (derivative) o->derivative = derivative;
        if (!index || !derivative) return false;
        o->value_room = room;
    }
    return true;
}

/* Observations, and priors of what is new; all else the solution has already. */
static void gather(void *sink, const ps_lsq_row *row) {
    gathering *o = sink;
    int number = o->seen++, observed = 2 * o->m->problem.corner_count + o->m->problem.edge_count;
    bool prior = number >= observed && number < observed + o->m->prior_count && o->place[row->index[0]] >= o->own;
    if (number >= observed && !prior) return;
    if (!gathering_room(o, row->n)) {
        o->failed = true;
        return;
    }
    if (prior && o->m->prior[number - observed].unread && o->unread_count < 2) {
        o->unread[o->unread_count] = o->place[row->index[0]];
        o->unread_sd[o->unread_count++] = o->m->prior[number - observed].sigma;
    }
    o->row[o->rows++] = (kept_row){o->values, row->n, o->m->source};
    for (int k = 0; k < row->n; k++) {
        o->index[o->values] = o->place[row->index[k]];
        o->derivative[o->values++] = row->derivative[k];
    }
}

static void gathering_free(gathering *o) {
    free(o->row);
    free(o->index);
    free(o->derivative);
}

/* Information on the print's scale that a better reading brings beside the one that the solution has. */
typedef struct reading {
    int count, index[3 + 2 * PS_ADJUST_PIECES_MAX];
    double gain[3 + 2 * PS_ADJUST_PIECES_MAX];
    double inflation; /* of the print's part of every variance */
    bool every;       /* of every piece */
} reading;

/* A reading that is worse than the one there is is not used, unless the present ones disagree: then it takes their place. */
static double gained(double sigma, double had, bool replaces) {
    return sigma > 0 && had > 0 && (sigma < had || replaces) ? 1 / (sigma * sigma) - 1 / (had * had) : 0;
}

static void gain(reading *r, int index, double gain) {
    if (index < 0) return;
    r->index[r->count] = index;
    r->gain[r->count++] = gain;
}

static reading read_print(const ps_predictor *p, const ps_adjust_plan *plan) {
    const adjust_layout *l = &p->s->model.layout;
    const ps_adjust_scale *had = &p->s->model.problem.scale;
    double disagree = p->print_inflation;
    const ps_adjust_piece *piece = p->s->model.problem.piece;
    bool again = disagree > 1;
    reading r = {.inflation = disagree};
    if (!plan->print_read) return r;
    r.every = true;
    r.inflation = 1; /* careful readings agree */
    gain(&r, l->scale_across, gained(plan->sigma_across, had->sigma_across, again));
    gain(&r, l->scale_along, gained(plan->sigma_along, had->sigma_along, again));
    gain(&r, l->scale_common, gained(common_read, had->sigma_common, false));
    for (int i = 0; i < p->s->model.problem.piece_count; i++) {
        gain(&r, l->own_across[i], gained(plan->sigma_own_across, piece[i].print.across.sigma, again));
        gain(&r, l->own_along[i], gained(plan->sigma_own_along, piece[i].print.along.sigma, again));
    }
    return r;
}

/* Normal matrix with the plan's rows, factored; scale[i] = 1/sqrt of its diagonal. NULL when memory is out or it does not factor. */
static double *factor(const ps_predictor *p, const gathering *rows, const reading *print, int count, double *scale) {
    size_t n = (size_t)count, own = (size_t)p->s->model.layout.count;
    double *N = calloc(n * n, sizeof *N);
    if (!N) return NULL;
    for (size_t i = 0; i < own; i++) memcpy(N + i * n, p->normal + i * own, own * sizeof *N);
    for (int k = 0; k < print->count; k++) N[(size_t)print->index[k] * (n + 1)] += print->gain[k];
    for (int r = 0; r < rows->rows; r++) {
        const int *index = rows->index + rows->row[r].first;
        const double *d = rows->derivative + rows->row[r].first;
        for (int a = 0; a < rows->row[r].n; a++)
            for (int b = 0; b < rows->row[r].n; b++) N[(size_t)index[a] * n + (size_t)index[b]] += d[a] * d[b];
    }
    for (size_t i = 0; i < n; i++) scale[i] = 1 / sqrt(N[i * (n + 1)]);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) N[i * n + j] *= scale[i] * scale[j];
    if (ps_cholesky(N, count)) return N;
    free(N);
    return NULL;
}

static double added_unread(const gathering *rows, const double *v) {
    double sum = 0;
    for (int k = 0; k < rows->unread_count; k++) sum += pow(v[rows->unread[k]] / rows->unread_sd[k], 2);
    return sqrt(sum);
}

/* As propagate() of quantity.c, with the plan's rows: every part is g'C (J'WJ) C g of its source. */
static void spread_out(const ps_predictor *p, const gathering *rows, const reading *print, const double *v, ps_quantity *q) {
    const ps_adjust_solution *s = p->s;
    size_t own = (size_t)s->model.layout.count;
    double part[PS_SOURCE_COUNT] = {0}, total = 0;
    for (size_t source = 0; source < PS_SOURCE_COUNT; source++)
        part[source] = ps_quadratic(s->information + source * own * own, (int)own, v);
    for (int r = 0; r < rows->rows; r++) {
        double along = 0;
        for (int k = rows->row[r].first; k < rows->row[r].first + rows->row[r].n; k++) along += rows->derivative[k] * v[rows->index[k]];
        part[rows->row[r].source] += along * along;
    }
    for (int k = 0; k < print->count; k++) part[PS_SOURCE_PRINT_SCALE] += print->gain[k] * v[print->index[k]] * v[print->index[k]];
    for (int k = 0; k < PS_SOURCE_COUNT; k++) {
        part[k] = fmax(part[k], 0) * (k == PS_SOURCE_PRINT_SCALE ? print->inflation : s->inflation[k]);
        q->source_mm[k] = sqrt(part[k]);
        total += part[k];
    }
    q->u_mm = sqrt(total);
    q->unread_mm = hypot(print->every ? 0 : adjust_unread(&s->model, v), added_unread(rows, v));
}

static ps_status answer(ps_context *ctx, const ps_predictor *p, const gathering *rows, const reading *print, int count, const ps_ask *ask,
                        int asks, ps_quantity *out) {
    size_t n = (size_t)count;
    double *room = malloc(2 * n * sizeof *room);
    if (!room) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for predictions");
    double *scale = room, *v = room + n, *L = factor(p, rows, print, count, scale);
    ps_status status = L ? PS_OK : ps_context_fail(ctx, PS_SINGULAR, "a plan leaves a direction free");
    for (int a = 0; a < asks && status == PS_OK; a++) {
        adjust_gradient g;
        status = adjust_gradient_of(ctx, p->s, &ask[a], &out[a].value_mm, &g);
        if (status != PS_OK) break;
        for (size_t i = 0; i < n; i++) v[i] = 0;
        for (int k = 0; k < g.n; k++) v[g.index[k]] += g.value[k] * scale[g.index[k]];
        ps_cholesky_solve(L, count, v);
        for (size_t i = 0; i < n; i++) v[i] *= scale[i];
        spread_out(p, rows, print, v, &out[a]);
    }
    free(L);
    free(room);
    return status;
}

/* The plan's rows at the solution. */
static ps_status gather_rows(ps_context *ctx, const ps_predictor *p, const planned *o, gathering *rows, int *count) {
    adjust_model *m = malloc(sizeof *m);
    if (!m) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a planned photo");
    ps_status status = adjust_model_new(ctx, &o->problem, m);
    double *x = NULL;
    int *place = NULL;
    if (status == PS_OK) {
        x = calloc((size_t)m->layout.count, sizeof *x);
        place = malloc((size_t)m->layout.count * sizeof *place);
        if (!x || !place) status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a planned photo");
    }
    if (status == PS_OK) {
        int own = p->s->model.layout.count;
        *count = join_unknowns(m, &p->s->model, place);
        for (int i = 0; i < m->layout.count; i++) x[i] = place[i] < own ? p->s->x[place[i]] : 0;
        rows->m = m, rows->place = place, rows->own = own;
        if (!adjust_rows(m, x, true, rows, gather)) status = PS_NOT_FOUND;
        if (rows->failed) status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a planned photo");
    }
    adjust_model_clear(m); /* all zero where it failed */
    free(m);
    free(x);
    free(place);
    return status;
}

ps_status ps_predict_plan(ps_context *ctx, const ps_predictor *p, const ps_adjust_plan *plan, const ps_ask *ask, int asks,
                          ps_quantity *out) {
    if (!p || !plan || !ask || !out || asks < 1) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "nothing is asked of a plan");
    gathering rows = {0};
    int count = p->s->model.layout.count;
    reading print = read_print(p, plan);
    ps_status status = PS_OK;
    if (plan->photo_count > 0 || plan->piece_added) {
        planned *o = calloc(1, sizeof *o);
        status = o ? plan_problem(ctx, p, plan, o) : ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for a planned photo");
        if (status == PS_OK) status = gather_rows(ctx, p, o, &rows, &count);
        if (o) {
            free(o->corner);
            free(o->edge);
            free(o);
        }
    }
    if (status == PS_OK) status = answer(ctx, p, &rows, &print, count, ask, asks, out);
    gathering_free(&rows);
    return status;
}
