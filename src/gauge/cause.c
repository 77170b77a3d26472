/* What a photo has against the rest: each cause is supposed in turn and solved for, and the one that leads over the others is named. */
#include "gauge/trial.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double settled_misfit = 2; /* times the usual misfit: the supposed change explains what the photo shows */
/* A sheet that slipped, or was taped anew, lies on the same plate: paint, rust and the paper's own waves; practice. */
static const double plane_tilt_rad = 0.02, plane_lift_mm = 1.5;
static const double moved_most_mm = 400, moved_least_mm = 0.5; /* less is inside what bends, lenses and edges do */
/* Focusing changes a focal length by some percent on some phones, beyond its prior; nobody zooms by so little. Practice. */
static const double zoom_least = 0.05;
static const double stretch_least = 0.02; /* nobody saves a picture so little wider; lenses out of the model look like it */
static const double witness_sd = 3.3;     /* corners alone deny a lens once in a thousand by chance */
/* By penalised sums of squares (Schwarz 1978), each over the usual misfit: odds of a million to one that there is a cause at all, since
 * edges are not quite normal; of twenty to one that it is this one. */
static const double cause_least = 27.6, lead_least = 6;
static const double seldom = 4.6; /* a stretched picture is ten times as seldom as a sheet that gave way; practice */
enum {
    UNKNOWNS_OF_PLACE = 3,
    UNKNOWNS_OF_HOLD = 6,
    UNKNOWNS_OF_LENS = 3,
    UNKNOWNS_OF_STRETCH = 1,
    UNKNOWNS_OF_RIM = 3,
    STRETCH_ROUNDS = 2
};

/* Whether the supposed change leaves nothing of what the photo had against the rest. */
static bool settles(const ps_trial *t, int photo) {
    int width = ps_trial_width(&t->problem);
    if (!t->solution) return false;
    for (int q = 0; q < width; q++) {
        const ps_group_test *one = &t->test[photo * width + q];
        if (one->rows > 0 && one->misfit > settled_misfit * ps_trial_usual_misfit(t, q == t->problem.piece_count)) return false;
    }
    return true;
}

/* How unlikely all is with something supposed, by the scatter of sound photos, and a price for what had to be freed. */
static double cost_of(const ps_trial *t, double usual, int unknowns) {
    return ps_adjust_cost(t->solution) / usual + unknowns * log(2.0 * t->problem.corner_count + t->problem.edge_count);
}

/* ---- another lens ---- */

/* A trial in which the photo's lens is a group of its own; the solution reads photos and groups, so they stay beside it. */
typedef struct lens_trial {
    ps_trial trial;
    ps_adjust_photo photos[PS_ADJUST_PHOTOS_MAX];
    ps_adjust_group groups[PS_ADJUST_PHOTOS_MAX + 1];
} lens_trial;

static ps_status solve_other_lens(const ps_search *s, const ps_adjust_problem *p, int photo, lens_trial *own_lens) {
    ps_trial *t = &own_lens->trial;
    ps_adjust_photo *photos = own_lens->photos;
    ps_adjust_group *groups = own_lens->groups;
    ps_status status = ps_trial_new(s->ctx, p, t);
    if (status != PS_OK) return status;
    int own = t->problem.group_count++;
    memcpy(photos, p->photo, (size_t)p->photo_count * sizeof *photos);
    memcpy(groups, p->group, (size_t)own * sizeof *groups);
    groups[own] = groups[photos[photo].group];
    groups[own].joint = false;
    groups[own].sigma_focal_rel = 0.5;
    if (groups[photos[photo].group].joint) groups[own].sigma_centre_px = 0.05 * groups[own].start.f_px;
    photos[photo].group = own;
    t->problem.photo = photos, t->problem.group = groups;
    status = ps_trial_solve(s->ctx, t);
    if (status != PS_OK) ps_trial_clear(t);
    return status;
}

/* ln of the photo's focal length over another photo's, and its u. */
static double focal_step(const ps_trial *t, int photo, double *u) {
    ps_view here, there;
    double change, pull;
    ps_adjust_view(t->solution, photo, &here);
    ps_adjust_view(t->solution, photo == 0 ? 1 : 0, &there);
    ps_adjust_focal_change(t->solution, t->problem.group_count - 1, -1, &change, u, &pull);
    return log(here.lens.f_px / there.lens.f_px);
}

/* Corners bear witness of a lens too, and no edge misread bends them. */
typedef enum witness { WITNESS_SILENT = 0, WITNESS_DENIES, WITNESS_AFFIRMS } witness;

/* What corners alone say of a change: as they find it, its u, the change claimed, and what is none. */
static witness hear(double own, double u, double claimed, double least) {
    if (!(u < INFINITY)) return WITNESS_SILENT;
    if (fabs(claimed - own) > witness_sd * u) return WITNESS_DENIES;
    return fabs(own) - least > witness_sd * u ? WITNESS_AFFIRMS : WITNESS_SILENT;
}

static ps_status ask_corners_of_lens(const ps_search *s, int photo, double step, witness *say) {
    ps_trial bare;
    lens_trial t;
    *say = WITNESS_SILENT;
    ps_status status = ps_trial_part(s, (ps_trial_less){-1, -1, true}, &bare);
    if (status != PS_OK) return status;
    status = solve_other_lens(s, &bare.problem, photo, &t);
    if (status == PS_OK) {
        if (t.trial.solution) {
            double u, own = focal_step(&t.trial, photo, &u);
            *say = hear(own, u, step, zoom_least);
        }
        ps_trial_clear(&t.trial);
    }
    ps_trial_clear(&bare);
    return status;
}

static ps_status other_lens(const ps_search *s, const ps_trial *with, int photo, bool corners_say, ps_cause *out) {
    lens_trial t;
    double step = 0, u;
    witness say;
    *out = (ps_cause){PS_CODE_FOCAL_CONTRADICTS, INFINITY};
    if (with->problem.group_count >= PS_ADJUST_PHOTOS_MAX) return PS_OK;
    ps_status status = solve_other_lens(s, &with->problem, photo, &t);
    if (status != PS_OK) return status;
    if (settles(&t.trial, photo)) {
        step = focal_step(&t.trial, photo, &u);
        if (fabs(step) > zoom_least) out->cost = cost_of(&t.trial, with->usual, UNKNOWNS_OF_LENS);
    }
    ps_trial_clear(&t.trial);
    if (isinf(out->cost)) return PS_OK;
    status = ask_corners_of_lens(s, photo, step, &say);
    if (say == WITNESS_DENIES || (corners_say && say != WITNESS_AFFIRMS)) out->cost = INFINITY;
    return status;
}

/* ---- another place ---- */

/* How far a corner of piece `is` lies, at most, from where that of `was` does, along the plate. */
static double moved_mm(const ps_trial *t, int was, int is) {
    ps_pose a = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}}, b;
    const ps_piece *kit = ps_kit_piece(t->problem.piece[was].piece);
    double most = 0;
    if (was != t->problem.held_piece) ps_adjust_piece_pose(t->solution, was, &a);
    ps_adjust_piece_pose(t->solution, is, &b);
    for (int k = 0; k < 4; k++) {
        double corner[3] = {k % 2 * kit->columns * kit->square_mm, k / 2 * kit->rows * kit->square_mm, 0}, then[3], now[3];
        ps_pose_apply(&a, corner, then);
        ps_pose_apply(&b, corner, now);
        most = fmax(most, hypot(now[0] - then[0], now[1] - then[1]));
    }
    return most;
}

static int pieces_shown(const ps_adjust_problem *p, int photo) {
    bool shown[PS_ADJUST_PIECES_MAX] = {false};
    int pieces = 0;
    for (int i = 0; i < p->corner_count; i++) {
        if (p->corner[i].photo != photo || shown[p->corner[i].piece]) continue;
        shown[p->corner[i].piece] = true;
        pieces++;
    }
    return pieces;
}

/* What is supposed of twins: they lie on the plate, or anywhere. */
typedef enum twin_kind { TWIN_ON_PLATE, TWIN_ANYWHERE } twin_kind;

/* A trial in which photos' sheets are sheets of their own; the solution reads the pieces, so they stay beside it. */
typedef struct twin_trial {
    ps_trial trial;
    ps_adjust_piece pieces[PS_ADJUST_PIECES_MAX];
    int twin[PS_ADJUST_PHOTOS_MAX][PS_ADJUST_PIECES_MAX]; /* -1: none */
    int freed;
} twin_trial;

static int add_twin(const ps_adjust_solution *rest, twin_trial *o, int piece, twin_kind kind) {
    ps_trial *t = &o->trial;
    if (t->problem.piece_count == PS_ADJUST_PIECES_MAX) return -1;
    ps_adjust_piece *own = &o->pieces[t->problem.piece_count];
    *own = o->pieces[piece];
    if (rest) ps_adjust_piece_pose(rest, piece, &own->start);
    if (kind == TWIN_ON_PLATE) own->sigma_tilt_rad = plane_tilt_rad, own->sigma_lift_mm = plane_lift_mm;
    o->freed++;
    return t->problem.piece_count++;
}

/* Solves with the sheets of photos[] as sheets of their own, which start where `rest` has them (NULL: as the problem); no solution where
 * there is no room for so many. */
static ps_status solve_twins(const ps_search *s, const ps_trial *with, const ps_adjust_solution *rest,
                             const bool photos[PS_ADJUST_PHOTOS_MAX], twin_kind kind, twin_trial *o) {
    ps_trial *t = &o->trial;
    bool room = true;
    int kept[PS_ADJUST_PHOTOS_MAX];
    memset(kept, -1, sizeof kept);
    ps_status status = ps_trial_new(s->ctx, &with->problem, t);
    if (status != PS_OK) return status;
    memset(o->twin, -1, sizeof o->twin);
    memcpy(o->pieces, with->problem.piece, (size_t)with->problem.piece_count * sizeof *o->pieces);
    t->problem.piece = o->pieces, o->freed = 0;
    for (int i = 0; i < t->problem.corner_count && room; i++) {
        ps_adjust_corner *c = &t->corner[i];
        if (!photos[c->photo]) continue;
        if (t->problem.edge_count == 0 && kept[c->photo] < 0)
            kept[c->photo] = c->piece; /* to which others have moved: nothing else tells */
        if (c->piece == kept[c->photo]) continue;
        int *twin = &o->twin[c->photo][c->piece];
        if (*twin < 0) *twin = add_twin(rest, o, c->piece, kind);
        room = *twin >= 0;
        if (room) c->piece = *twin;
    }
    ps_group_test *test = calloc((size_t)t->problem.photo_count * (size_t)ps_trial_width(&t->problem), sizeof *test);
    if (!test) status = ps_context_fail(s->ctx, PS_NO_MEMORY, "out of memory for contradictions");
    free(t->test);
    t->test = test;
    if (status == PS_OK && room) status = ps_trial_solve(s->ctx, t);
    if (status != PS_OK) ps_trial_clear(t);
    return status;
}

/* The photo's sheets are other sheets of the same kind that lie elsewhere on the plate, or are anywhere. */
static ps_status other_place(const ps_search *s, const ps_trial *with, int photo, twin_kind kind, ps_cause *out) {
    twin_trial o;
    bool photos[PS_ADJUST_PHOTOS_MAX] = {false};
    *out = (ps_cause){kind == TWIN_ON_PLATE ? PS_CODE_PIECE_MOVED : PS_CODE_PIECE_HELD, INFINITY};
    photos[photo] = true;
    /* The plane is that of the other photos: a solution with this one in it has sheets where they never lay. */
    ps_trial rest;
    ps_status status = ps_trial_without(s, (ps_trial_less){photo, -1, false}, &rest);
    if (status != PS_OK) return status;
    status = solve_twins(s, with, rest.solution, photos, kind, &o);
    ps_trial_clear(&rest);
    if (status != PS_OK) return status;
    if (settles(&o.trial, photo)) {
        double most = 0;
        int unknowns = kind == TWIN_ON_PLATE ? UNKNOWNS_OF_PLACE : UNKNOWNS_OF_HOLD;
        for (int q = 0; q < with->problem.piece_count; q++)
            if (o.twin[photo][q] >= 0) most = fmax(most, moved_mm(&o.trial, q, o.twin[photo][q]));
        if (most >= moved_least_mm && most < moved_most_mm) out->cost = cost_of(&o.trial, with->usual, unknowns * o.freed);
    }
    ps_trial_clear(&o.trial);
    return status;
}

ps_status ps_cause_held(const ps_search *s, const ps_trial *with, ps_cause *found) {
    twin_trial o;
    bool photos[PS_ADJUST_PHOTOS_MAX] = {false}, all = true;
    int first = -1;
    *found = (ps_cause){PS_CODE_PIECE_HELD, INFINITY};
    for (int i = 0; i < with->problem.corner_count; i++) {
        if (first < 0) first = with->corner[i].photo;
        photos[with->corner[i].photo] = with->corner[i].photo != first;
    }
    /* Sheets that lie to each other as ever are held by no hand. */
    for (int i = 0; i < with->problem.photo_count && with->problem.edge_count > 0; i++)
        if (pieces_shown(&with->problem, i) > 1) return PS_OK;
    ps_status status = solve_twins(s, with, with->solution, photos, TWIN_ANYWHERE, &o);
    if (status != PS_OK) return status;
    for (int i = 0; i < with->problem.photo_count; i++) all = all && (!photos[i] || settles(&o.trial, i));
    if (all && o.trial.solution) {
        found->cost = cost_of(&o.trial, with->usual, UNKNOWNS_OF_HOLD * o.freed);
        for (int q = 0; q < o.trial.problem.piece_count; q++)
            if (ps_adjust_bend_chance(o.trial.solution, q) < PS_BEND_CHANCE_LEAST) found->code = PS_CODE_PIECE_BENT;
    }
    ps_trial_clear(&o.trial);
    return PS_OK;
}

/* ---- stretched ---- */

/* Takes a stretch along the photo's stored x out of what was observed in it. */
static void shrink(ps_trial *t, int photo, double factor) {
    const ps_adjust_photo *p = &t->problem.photo[photo];
    bool lying = p->orientation >= 5; /* stored x is upright y */
    double middle = 0.5 * (p->stored_width - 1);
    for (int i = 0; i < t->problem.corner_count; i++) {
        double *at = lying ? &t->corner[i].y_px : &t->corner[i].x_px;
        if (t->corner[i].photo == photo) *at = middle + (*at - middle) / factor;
    }
    for (int i = 0; i < t->problem.edge_count; i++) {
        double *at = lying ? &t->edge[i].y_px : &t->edge[i].x_px;
        if (t->edge[i].photo == photo) *at = middle + (*at - middle) / factor;
    }
}

static const ps_group_test *aspect_of(const ps_trial *t, int photo) {
    return &t->test[photo * ps_trial_width(&t->problem) + t->problem.piece_count];
}

/* As of a lens: a stretch shows on the sheet's corners. */
static ps_status ask_corners_of_stretch(const ps_search *s, int photo, double stretch, witness *say) {
    ps_trial bare;
    *say = WITNESS_SILENT;
    ps_status status = ps_trial_without(s, (ps_trial_less){-1, -1, true}, &bare);
    if (status != PS_OK) return status;
    if (bare.solution) {
        const ps_group_test *own = aspect_of(&bare, photo);
        double u = own->aspect_chi2 > 0 ? fabs(own->aspect) / sqrt(own->aspect_chi2) * sqrt(ps_trial_usual_misfit(&bare, false)) : INFINITY;
        *say = hear(own->aspect, u, stretch, stretch_least);
    }
    ps_trial_clear(&bare);
    return PS_OK;
}

static ps_status stretched(const ps_search *s, const ps_trial *with, int photo, bool corners_say, ps_cause *out) {
    double stretch = aspect_of(with, photo)->aspect;
    witness say;
    *out = (ps_cause){PS_CODE_FOCAL_CONTRADICTS, INFINITY};
    for (int round = 0; round < STRETCH_ROUNDS && with->solution; round++) {
        ps_trial t;
        if (!(fabs(stretch) > stretch_least && fabs(stretch) < 0.5)) return PS_OK;
        ps_status status = ps_trial_new(s->ctx, &with->problem, &t);
        if (status != PS_OK) return status;
        shrink(&t, photo, 1 + stretch);
        status = ps_trial_solve(s->ctx, &t);
        bool last = round + 1 == STRETCH_ROUNDS;
        if (status == PS_OK && last && settles(&t, photo)) out->cost = cost_of(&t, with->usual, UNKNOWNS_OF_STRETCH) + seldom;
        if (status == PS_OK && !last) stretch = t.solution ? (1 + stretch) * (1 + aspect_of(&t, photo)->aspect) - 1 : 0;
        ps_trial_clear(&t);
        if (status != PS_OK) return status;
    }
    if (isinf(out->cost)) return PS_OK;
    ps_status status = ask_corners_of_stretch(s, photo, stretch, &say);
    if (say == WITNESS_DENIES || (corners_say && say != WITNESS_AFFIRMS)) out->cost = INFINITY;
    return status;
}

/* ---- an edge taken for another ---- */

/* Rims of a pin that the photo shows, and their edge points. */
static int rims_shown(const ps_adjust_problem *p, int photo, int pin, int *points) {
    bool shown[PS_ADJUST_RIMS_MAX] = {false};
    int rims = 0;
    *points = 0;
    for (int i = 0; i < p->edge_count; i++) {
        if (p->edge[i].photo != photo || p->rim[p->edge[i].rim].pin != pin) continue;
        shown[p->edge[i].rim] = true;
        (*points)++;
    }
    for (int rim = 0; rim < p->rim_count; rim++) rims += shown[rim];
    return rims;
}

/* Edges of a pin in the photo (-1: of all) are others than those of the other photos: each rim is a circle of its own, its points as good
 * as points are elsewhere. */
static ps_status own_circles(const ps_search *s, const ps_trial *with, int photo, int pin, double *cost) {
    ps_trial t;
    int points = 0, rims = 0;
    *cost = INFINITY;
    for (int k = 0; k < with->problem.pin_count; k++) {
        int some;
        if (pin < 0 || k == pin) rims += rims_shown(&with->problem, photo, k, &some), points += some;
    }
    if (rims == 0) return PS_OK;
    ps_status status = ps_trial_new(s->ctx, &with->problem, &t);
    if (status != PS_OK) return status;
    int kept = 0;
    for (int i = 0; i < t.problem.edge_count; i++)
        if (t.edge[i].photo != photo || (pin >= 0 && t.problem.rim[t.edge[i].rim].pin != pin)) t.edge[kept++] = t.edge[i];
    t.problem.edge_count = kept;
    status = ps_trial_solve(s->ctx, &t);
    if (status == PS_OK && settles(&t, photo))
        *cost = cost_of(&t, with->usual, UNKNOWNS_OF_RIM * rims) + points * ps_trial_fit(&t) / with->usual;
    ps_trial_clear(&t);
    return status;
}

static ps_status misread(const ps_search *s, const ps_trial *with, int photo, ps_cause *out) {
    ps_status status = PS_OK;
    *out = (ps_cause){PS_CODE_FIT_BAD, INFINITY};
    for (int pin = 0; pin < with->problem.pin_count && status == PS_OK; pin++) {
        double cost;
        status = own_circles(s, with, photo, pin, &cost);
        out->cost = fmin(out->cost, cost);
    }
    return status;
}

/* ---- which of them ---- */

static int pins_shown(const ps_adjust_problem *p, int photo) {
    int pins = 0, points;
    for (int pin = 0; pin < p->pin_count; pin++) pins += rims_shown(p, photo, pin, &points) > 0;
    return pins;
}

/* A sheet that moved, another lens or another machine has both pins against it. Where a photo shows one, an edge taken for another
 * explains as much and happens oftener; but of a lens corners may have their own word. */
ps_status ps_cause_find(const ps_search *s, const ps_trial *with, int photo, ps_cause *found) {
    enum { NONE, PLACE, HOLD, LENS, STRETCH, MISREAD, OTHER, CAUSES };
    bool corners_only = with->problem.edge_count == 0, one_pin = !corners_only && pins_shown(&with->problem, photo) < 2;
    ps_cause cause[CAUSES] = {
        [NONE] = {corners_only ? PS_CODE_OTHER_SCENE : PS_CODE_FIT_BAD, with->solution ? cost_of(with, with->usual, 0) : INFINITY},
        [PLACE] = {PS_CODE_PIECE_MOVED, INFINITY},
        [HOLD] = {PS_CODE_PIECE_HELD, INFINITY},
        [OTHER] = {PS_CODE_OTHER_SCENE, INFINITY}};
    /* Sheets that lie to each other as ever did not slip both alike. */
    bool place = corners_only || (!one_pin && pieces_shown(&with->problem, photo) < 2);
    ps_status status = place ? other_place(s, with, photo, TWIN_ON_PLATE, &cause[PLACE]) : PS_OK;
    /* Sheets show to each other that one is off the plate; to pins, another size of machine looks like it. */
    if (status == PS_OK && corners_only) status = other_place(s, with, photo, TWIN_ANYWHERE, &cause[HOLD]);
    /* Between two photos, heights of rims and a focal length stand in for each other: corners must say that it is the lens. */
    bool corners_say = one_pin || ps_search_photos_left(s) < 3;
    if (status == PS_OK) status = other_lens(s, with, photo, corners_say, &cause[LENS]);
    if (status == PS_OK) status = stretched(s, with, photo, corners_say, &cause[STRETCH]);
    if (status == PS_OK) status = misread(s, with, photo, &cause[MISREAD]);
    /* Another machine has no pin where this one has. */
    if (status == PS_OK && !one_pin && isinf(cause[MISREAD].cost)) status = own_circles(s, with, photo, -1, &cause[OTHER].cost);
    if (status != PS_OK) return status;
    double second = INFINITY;
    *found = cause[NONE];
    for (int k = 0; k < CAUSES; k++)
        if (cause[k].cost < found->cost) *found = cause[k];
    for (int k = 0; k < CAUSES; k++) /* a picture that is zoomed or stretched is said with one code */
        if (cause[k].code != found->code) second = fmin(second, cause[k].cost);
    if (second - found->cost < lead_least || (!corners_only && cause[NONE].cost - found->cost < cause_least)) found->code = PS_CODE_FIT_BAD;
    return PS_OK;
}
