/* Contradictions: see contradictions.h.
 *
 * Whether something is wrong at all is told by statistics of one solution (groups of rows, focal lengths). Which photo it is, is
 * then found by leaving out each in turn: the statistics of a solution that has the error in it can point at a neighbour. */
#include "gauge/contradictions.h"
#include "gauge/sentences.h"
#include "pinspan/trade.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Chi-square with 6 degrees of freedom passes this once in 1e9; photos of the same scene scatter more than their sd say, hence
 * the scale beside it and the wide margin. Common practice, no source, like all limits here (docs/verdicts.md). */
static const double group_chi2_most = 55;
static const double group_move_least_mm = 0.5; /* less is inside what bends, lenses and edges do, and in the bands */
static const double settled_misfit = 2;        /* times the usual misfit: the supposed change explains what the photo shows */
/* A sheet that was taped anew lies on the same plate; another size of machine looks like one lifted far off it. */
static const double moved_most_mm = 400, lifted_most_mm = 25, tilted_most_rad = 0.2;
/* A photo under the limits that would still shift a value: grey from once in a hundred on. */
static const double grey_chi2 = 17, shift_most_sd = 3.3, shift_most_of_need = 0.6;
static const double rim_fits_misfit = 2;                           /* times the usual */
static const double focal_off_most = 0.30;                         /* of a group, ln: six sd of what EXIF's rounding and conventions do */
static const double focal_pull_most = 6;                           /* of one photo beside its group */
static const double focal_step_least = 0.02;                       /* phones refocus by less */
static const double stretch_chi2_most = 37, stretch_least = 0.005; /* once in 1e9 with 1 degree of freedom; pixels are square */
static const double bend_change_chi2_most = 44, bend_change_least_mm = 0.5; /* 3 degrees of freedom, likewise */
static const double bend_pull_most = 45;                                    /* chi-square with 7 degrees of freedom: once in 1e7 */

/* A problem of its own with some observations left out, and its solution. */
typedef struct trial {
    ps_adjust_problem problem;
    ps_adjust_corner *corner;
    ps_adjust_edge *edge;
    ps_adjust_solution *solution; /* NULL: did not settle */
    ps_group_test *test;
    const bool *passed; /* photos that are suspected no more */
} trial;

/* What a photo is suspected of. */
typedef enum suspicion { SUSPECT_PLACE = 0, SUSPECT_FOCAL, SUSPECT_BEND, SUSPECT_STRETCH } suspicion;

typedef struct suspect {
    int photo, piece; /* piece_count: its edge points */
    double excess;    /* over the limit, above 1 where there is one at all */
    bool sheet_only;  /* the photo's other pieces hold it */
    suspicion what;
} suspect;

typedef struct search {
    ps_context *ctx;
    const ps_adjust_problem *problem;
    ps_contradictions *found;
    bool shown[PS_ADJUST_PHOTOS_MAX], passed[PS_ADJUST_PHOTOS_MAX];
    int photos; /* that show anything at all */
} search;

static int width_of(const ps_adjust_problem *p) {
    return p->piece_count + 1;
}

/* ---- trials ---- */

static void trial_clear(trial *t) {
    ps_adjust_solution_free(t->solution);
    free(t->corner);
    free(t->edge);
    free(t->test);
    memset(t, 0, sizeof *t);
}

static ps_status trial_new(ps_context *ctx, const ps_adjust_problem *p, trial *t) {
    *t = (trial){.problem = *p};
    t->problem.sigma_shift_side_px = 0; /* what a photo's edges have against the others is to be seen, not taken up */
    t->corner = malloc(((size_t)p->corner_count + 1) * sizeof *t->corner);
    t->edge = malloc(((size_t)p->edge_count + 1) * sizeof *t->edge);
    t->test = calloc((size_t)p->photo_count * (size_t)width_of(p), sizeof *t->test);
    if (!t->corner || !t->edge || !t->test) {
        trial_clear(t);
        return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for contradictions");
    }
    if (p->corner_count > 0) memcpy(t->corner, p->corner, (size_t)p->corner_count * sizeof *t->corner);
    if (p->edge_count > 0) memcpy(t->edge, p->edge, (size_t)p->edge_count * sizeof *t->edge);
    t->problem.corner = t->corner, t->problem.edge = t->edge;
    return PS_OK;
}

/* PS_OK too where it does not settle; then there is no solution. */
static ps_status trial_solve(ps_context *ctx, trial *t) {
    ps_status status = ps_adjust_solve(ctx, &t->problem, &t->solution);
    if (status == PS_NO_MEMORY) return status;
    if (status != PS_OK) {
        t->solution = NULL;
        return PS_OK;
    }
    return ps_adjust_test_groups(ctx, t->solution, t->test);
}

/* All that is still in, less one more photo (-1: none). */
static ps_status trial_without(const search *s, int photo, trial *t) {
    ps_status status = trial_new(s->ctx, s->problem, t);
    if (status != PS_OK) return status;
    int corners = 0, edges = 0;
    for (int i = 0; i < s->problem->corner_count; i++) {
        const ps_adjust_corner *c = &s->problem->corner[i];
        if (c->photo != photo && !s->found->photo_out[c->photo] && !s->found->sheet_out[c->photo][c->piece]) t->corner[corners++] = *c;
    }
    for (int i = 0; i < s->problem->edge_count; i++) {
        const ps_adjust_edge *e = &s->problem->edge[i];
        if (e->photo != photo && !s->found->photo_out[e->photo]) t->edge[edges++] = *e;
    }
    t->problem.corner_count = corners, t->problem.edge_count = edges;
    t->passed = s->passed;
    status = trial_solve(s->ctx, t);
    if (status != PS_OK) trial_clear(t);
    return status;
}

/* ---- whether something is wrong ---- */

static int compare(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* How much groups of a kind scatter: the lower middle one, at least as their sd say; so one bad group of two or three is no excuse
 * for itself. */
static double usual_misfit(const trial *t, bool edges) {
    double misfit[PS_ADJUST_PHOTOS_MAX * PS_ADJUST_PIECES_MAX];
    int count = 0, width = width_of(&t->problem);
    for (int g = 0; g < t->problem.photo_count * width; g++)
        if ((g % width == t->problem.piece_count) == edges && t->test[g].rows > 0) misfit[count++] = t->test[g].misfit;
    if (count == 0) return 1;
    qsort(misfit, (size_t)count, sizeof *misfit, compare);
    return fmax(1, misfit[(count - 1) / 2]);
}

/* Whether the other pieces of the photo would hold it, and the suspected one alone is elsewhere. */
static bool others_hold(const trial *t, int photo, int piece) {
    int width = width_of(&t->problem);
    const ps_group_test *own = &t->test[photo * width + piece];
    bool other = false;
    for (int q = 0; q < width; q++) {
        const ps_group_test *one = &t->test[photo * width + q];
        if (q == piece || one->rows == 0) continue;
        if (one->chi2 > 0.9 * own->chi2) return false; /* both are elsewhere to each other: nobody can say which moved */
        other = other || q < t->problem.piece_count;
    }
    return other && piece < t->problem.piece_count;
}

static bool shows(const trial *t, int photo) {
    int width = width_of(&t->problem);
    for (int piece = 0; piece < width; piece++)
        if (t->test[photo * width + piece].rows > 0) return true;
    return false;
}

static bool passed(const trial *t, int photo) {
    return t->passed && t->passed[photo];
}

static void suspect_focal(const trial *t, suspect *worst) {
    for (int i = 0; i < t->problem.photo_count; i++) {
        double change, u, pull;
        ps_adjust_focal_change(t->solution, 0, i, &change, &u, &pull);
        double excess = pull * pull / (focal_pull_most * focal_pull_most);
        if (shows(t, i) && !passed(t, i) && fabs(change) >= focal_step_least && excess > fmax(1, worst->excess))
            *worst = (suspect){i, -1, excess, false, SUSPECT_FOCAL};
    }
}

static void suspect_stretch(const trial *t, suspect *worst) {
    int width = width_of(&t->problem);
    double usual = fmax(usual_misfit(t, false), usual_misfit(t, true));
    for (int i = 0; i < t->problem.photo_count; i++) {
        const ps_group_test *test = &t->test[i * width + t->problem.piece_count];
        double excess = test->aspect_chi2 / (stretch_chi2_most * usual);
        if (shows(t, i) && !passed(t, i) && fabs(test->aspect) >= stretch_least && excess > fmax(1, worst->excess))
            *worst = (suspect){i, -1, excess, false, SUSPECT_STRETCH};
    }
}

static void suspect_bend(const trial *t, suspect *worst) {
    int width = width_of(&t->problem);
    for (int g = 0; g < t->problem.photo_count * width; g++) {
        const ps_group_test *test = &t->test[g];
        double excess = test->bend_chi2 / (bend_change_chi2_most * usual_misfit(t, false));
        if (test->rows == 0 || passed(t, g / width) || test->bend_mm < bend_change_least_mm || excess <= fmax(1, worst->excess)) continue;
        *worst = (suspect){g / width, g % width, excess, false, SUSPECT_BEND};
    }
}

static ps_status suspect_motion(ps_context *ctx, const trial *t, suspect *worst) {
    int width = width_of(&t->problem);
    for (int g = 0; g < t->problem.photo_count * width; g++) {
        suspect one = {g / width, g % width, 0, false, SUSPECT_PLACE};
        one.excess = t->test[g].chi2 / (group_chi2_most * usual_misfit(t, one.piece == t->problem.piece_count));
        if (t->test[g].rows == 0 || passed(t, one.photo) || one.excess <= fmax(1, worst->excess)) continue;
        ps_group_motion motion;
        ps_status status = ps_adjust_fit_motion(ctx, t->solution, one.photo, one.piece, &motion);
        if (status == PS_NO_MEMORY) return status;
        if (status == PS_OK && motion.move_mm < group_move_least_mm) continue;
        one.sheet_only = others_hold(t, one.photo, one.piece);
        *worst = one;
    }
    return PS_OK;
}

/* The strongest contradiction in a trial; excess 0: none. */
static ps_status suspect_any(ps_context *ctx, const trial *t, suspect *worst) {
    *worst = (suspect){-1, -1, 0, false, SUSPECT_PLACE};
    suspect_focal(t, worst);
    suspect_stretch(t, worst);
    suspect_bend(t, worst);
    return suspect_motion(ctx, t, worst);
}

/* ---- what it is ---- */

/* Chi-square over its degrees of freedom. */
static double fit_of(const trial *t) {
    double chi2;
    int dof;
    ps_adjust_fit(t->solution, &chi2, &dof);
    return dof > 0 ? chi2 / dof : INFINITY;
}

/* Whether the supposed change leaves nothing of what the photo had against the rest. */
static bool settles(const trial *t, int photo) {
    int width = width_of(&t->problem);
    if (!t->solution) return false;
    for (int q = 0; q < width; q++) {
        const ps_group_test *one = &t->test[photo * width + q];
        if (one->rows > 0 && one->misfit > settled_misfit * usual_misfit(t, q == t->problem.piece_count)) return false;
    }
    return true;
}

/* How well all fits where a lens of its own settles the photo and is another lens indeed; else infinite. */
static ps_status other_lens(const search *s, const trial *with, int photo, double *fit) {
    trial t;
    ps_adjust_photo photos[PS_ADJUST_PHOTOS_MAX];
    ps_adjust_group groups[PS_ADJUST_PHOTOS_MAX + 1];
    *fit = INFINITY;
    if (with->problem.group_count >= PS_ADJUST_PHOTOS_MAX) return PS_OK;
    ps_status status = trial_new(s->ctx, &with->problem, &t);
    if (status != PS_OK) return status;
    int own = t.problem.group_count++;
    memcpy(photos, t.problem.photo, (size_t)t.problem.photo_count * sizeof *photos);
    memcpy(groups, t.problem.group, (size_t)own * sizeof *groups);
    groups[own] = groups[photos[photo].group];
    groups[own].joint = false;
    groups[own].sigma_focal_rel = 0.5;
    if (groups[photos[photo].group].joint) groups[own].sigma_centre_px = 0.05 * groups[own].start.f_px;
    photos[photo].group = own;
    t.problem.photo = photos, t.problem.group = groups;
    status = trial_solve(s->ctx, &t);
    if (status == PS_OK && settles(&t, photo)) {
        ps_view here, there;
        ps_adjust_view(t.solution, photo, &here);
        ps_adjust_view(t.solution, photo == 0 ? 1 : 0, &there);
        if (fabs(log(here.lens.f_px / there.lens.f_px)) > focal_step_least) *fit = fit_of(&t);
    }
    trial_clear(&t);
    return status;
}

/* Whether piece `is` lies on the same plate as `was` did: shifted and turned in its plane, hardly out of it. */
static bool on_same_plate(const trial *t, int was, int is) {
    ps_pose a = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}}, b, back, between;
    const ps_piece *kit = ps_kit_piece(t->problem.piece[was].piece);
    double middle[3] = {0.5 * kit->columns * kit->square_mm, 0.5 * kit->rows * kit->square_mm, 0}, now[3];
    if (was != t->problem.held_piece) ps_adjust_piece_pose(t->solution, was, &a);
    ps_adjust_piece_pose(t->solution, is, &b);
    ps_pose_invert(&a, &back);
    ps_pose_compose(&back, &b, &between);
    ps_pose_apply(&between, middle, now);
    return hypot(now[0] - middle[0], now[1] - middle[1]) < moved_most_mm && fabs(now[2]) < lifted_most_mm &&
           between.R[8] > cos(tilted_most_rad);
}

/* The same where the photo is settled by taking its sheets for other sheets of the same kind that lie elsewhere on the plate. */
static ps_status other_place(const search *s, const trial *with, int photo, double *fit) {
    trial t;
    ps_adjust_piece pieces[2 * PS_ADJUST_PIECES_MAX];
    int twin[PS_ADJUST_PIECES_MAX];
    *fit = INFINITY;
    ps_status status = trial_new(s->ctx, &with->problem, &t);
    if (status != PS_OK) return status;
    memset(twin, -1, sizeof twin);
    memcpy(pieces, t.problem.piece, (size_t)t.problem.piece_count * sizeof *pieces);
    t.problem.piece = pieces;
    for (int i = 0; i < t.problem.corner_count && t.problem.piece_count <= PS_ADJUST_PIECES_MAX; i++) {
        ps_adjust_corner *c = &t.corner[i];
        if (c->photo != photo) continue;
        if (twin[c->piece] < 0) {
            twin[c->piece] = t.problem.piece_count;
            pieces[t.problem.piece_count++] = pieces[c->piece];
        }
        c->piece = twin[c->piece];
    }
    ps_group_test *test = calloc((size_t)t.problem.photo_count * (size_t)width_of(&t.problem), sizeof *test);
    if (!test) status = ps_context_fail(s->ctx, PS_NO_MEMORY, "out of memory for contradictions");
    free(t.test);
    t.test = test;
    if (status == PS_OK && t.problem.piece_count <= PS_ADJUST_PIECES_MAX) status = trial_solve(s->ctx, &t);
    if (status == PS_OK && settles(&t, photo)) {
        *fit = fit_of(&t);
        for (int q = 0; q < with->problem.piece_count; q++)
            if (twin[q] >= 0 && !on_same_plate(&t, q, twin[q])) *fit = INFINITY;
    }
    trial_clear(&t);
    return status;
}

/* Names what the photo has against the rest; `with`: the problem with it still in. */
static ps_status name(const search *s, const trial *with, int photo, ps_code *code) {
    double moved = INFINITY, other = INFINITY;
    ps_status status = other_lens(s, with, photo, &other);
    if (status == PS_OK) status = other_place(s, with, photo, &moved);
    /* Of a flat scene a zoomed photo is also one with the sheet somewhat elsewhere: what fits better has it. */
    *code = isinf(moved) && isinf(other) ? PS_CODE_OTHER_SCENE : moved < other ? PS_CODE_PIECE_MOVED : PS_CODE_FOCAL_CONTRADICTS;
    return status;
}

/* ---- leaving out ---- */

static int photos_left(const search *s) {
    int left = s->photos;
    for (int i = 0; i < s->problem->photo_count; i++) left -= s->found->photo_out[i];
    return left;
}

static void leave_photo_out(const search *s, int photo, ps_code code) {
    s->found->photo_out[photo] = s->found->any = true;
    s->found->photo_code[photo] = code;
}

/* A sheet that is elsewhere in two photos or more moves all the time. */
static void leave_sheet_out(const search *s, const suspect *worst) {
    ps_contradictions *f = s->found;
    f->sheet_out[worst->photo][worst->piece] = f->any = true;
    f->sheet_code[worst->photo] = PS_CODE_PIECE_MOVED;
    int times = 0;
    for (int i = 0; i < s->problem->photo_count; i++) times += f->sheet_out[i][worst->piece];
    for (int i = 0; i < s->problem->photo_count && times > 1; i++)
        if (f->sheet_out[i][worst->piece]) f->sheet_code[i] = PS_CODE_PIECE_HELD;
}

/* Each photo left out in turn. *best: the photo without which the rest fits best (-1: nothing settles); clean[photo]: nothing is left
 * then that speaks against the rest. */
static ps_status leave_one_out(const search *s, int *best, bool clean[PS_ADJUST_PHOTOS_MAX]) {
    double least = INFINITY;
    bool any = false;
    *best = -1;
    memset(clean, 0, PS_ADJUST_PHOTOS_MAX * sizeof *clean);
    for (int i = 0; i < s->problem->photo_count; i++) {
        trial t;
        suspect left;
        if (!s->shown[i] || s->found->photo_out[i]) continue;
        ps_status status = trial_without(s, i, &t);
        if (status != PS_OK) return status;
        if (t.solution) {
            status = suspect_any(s->ctx, &t, &left);
            bool none = left.photo < 0;
            double fit = fit_of(&t);
            clean[i] = status == PS_OK && none;
            if (status == PS_OK && (none > any || (none == any && fit < least))) *best = i, any = none, least = fit;
        }
        trial_clear(&t);
        if (status != PS_OK) return status;
    }
    return PS_OK;
}

/* Whether most rims, one of each pin among them, lie in the photo where they should: then its other rims are misread, and it is no
 * other machine. */
static bool some_rims_fit(const trial *t, int photo) {
    const ps_adjust_problem *p = &t->problem;
    bool fits[PS_ADJUST_PINS_MAX] = {false};
    int rims = 0, fitting = 0;
    for (int rim = 0; rim < p->rim_count; rim++) {
        double sum = 0;
        int count = 0;
        for (int e = 0; e < p->edge_count; e++) {
            if (p->edge[e].photo != photo || p->edge[e].rim != rim) continue;
            double off = ps_adjust_edge_residual(t->solution, e, NULL) / p->edge[e].sigma_px;
            sum += fmin(off * off, 100);
            count++;
        }
        if (count == 0) continue;
        rims++;
        if (sum / count >= rim_fits_misfit * usual_misfit(t, true)) continue;
        fitting++;
        fits[p->rim[rim].pin] = true;
    }
    for (int pin = 0; pin < p->pin_count; pin++)
        if (!fits[pin]) return false;
    return p->pin_count > 0 && 3 * fitting >= 2 * rims;
}

/* ---- sheets and lenses as a whole ---- */

static void doubt_focals(const search *s, const ps_adjust_solution *solution) {
    for (int g = 0; g < s->problem->group_count; g++) {
        double change, u, pull;
        if (s->problem->group[g].joint || s->problem->group[g].sigma_focal_rel > 0.2) continue; /* a profile has its own test */
        ps_adjust_focal_change(solution, g, -1, &change, &u, &pull);
        if (fabs(change) - focal_off_most > 2 * u)
            ps_notes_add(&s->found->doubts, PS_CODE_FOCAL_CONTRADICTS,
                         "The photos name a focal length that cannot be: what they show asks for %.2f times as much. They may be zoomed "
                         "or cropped.",
                         exp(change));
    }
}

static void doubt_bends(const search *s, const ps_adjust_solution *solution) {
    for (int q = 0; q < s->problem->piece_count; q++)
        if (ps_adjust_bend_pull(solution, q) > bend_pull_most) ps_gauge_say(&s->found->doubts, PS_SUBJECT_VALUE, PS_CODE_PIECE_BENT);
}

/* Something is wrong in `now`: finds the photo, and names it. *again: something was left out and the rest is to be looked at anew. */
static ps_status resolve(search *s, const trial *now, const suspect *worst, bool *again) {
    int photo = worst->photo, left = photos_left(s);
    bool clean_without[PS_ADJUST_PHOTOS_MAX] = {false}, clean = false, sure = true;
    ps_code code = PS_CODE_PIECE_MOVED;
    *again = false;
    if (left > 2) {
        ps_status status = leave_one_out(s, &photo, clean_without);
        if (status != PS_OK) return status;
        clean = photo >= 0 && clean_without[photo];
        /* Without either of two photos all is well: statistics must agree with what fits better. */
        sure = worst->photo < 0 || photo == worst->photo || !clean_without[worst->photo];
    } else
        photo = photo < 0 ? 0 : photo;
    if (photo >= 0 && worst->what == SUSPECT_BEND)
        code = PS_CODE_PIECE_BENT;
    else if (photo >= 0 && worst->what == SUSPECT_STRETCH)
        code = PS_CODE_FOCAL_CONTRADICTS;
    else if (photo >= 0) {
        ps_status status = name(s, now, photo, &code);
        if (status != PS_OK) return status;
    }
    if (!s->found->any && photo >= 0 && code == PS_CODE_OTHER_SCENE && now->solution && some_rims_fit(now, photo)) {
        s->passed[photo] = s->passed[worst->photo] = true; /* single edges are for others to doubt */
        *again = true;
        return PS_OK;
    }
    bool majority = left - 1 > s->photos - left + 1;
    if (left > 2 && photo >= 0 && ((clean && majority && sure) || (!clean && left > 3))) {
        leave_photo_out(s, photo, code);
        *again = true;
        return PS_OK;
    }
    /* Nothing says which photo is right. Where no two photos agree, a hand holds the sheet. */
    if (left > 2 && !clean && (code == PS_CODE_PIECE_MOVED || code == PS_CODE_OTHER_SCENE)) code = PS_CODE_PIECE_HELD;
    /* A sheet bent out of the model makes photos part that are all honest. */
    if (now->solution && (code == PS_CODE_OTHER_SCENE || code == PS_CODE_PIECE_MOVED || code == PS_CODE_PIECE_HELD))
        doubt_bends(s, now->solution);
    if (!ps_notes_have(&s->found->doubts, PS_CODE_PIECE_BENT)) ps_gauge_say(&s->found->doubts, PS_SUBJECT_VALUE, code);
    return PS_OK;
}

/* ---- what a photo that is under suspicion does to the values ---- */

/* Whether a value moves by more than chance and by a good part of the need when a photo is left out: 1 or -1 by its way, else 0. The
 * difference of an estimate from all and one from a part has the difference of their variances (Hausman 1978, Econometrica 46, 1251). */
static int moves(const ps_quantity *all, const ps_quantity *part, double need_mm) {
    double shift = part->value_mm - all->value_mm, variance = part->u_mm * part->u_mm - all->u_mm * all->u_mm;
    if (!(fabs(shift) > shift_most_of_need * need_mm && fabs(shift) > shift_most_sd * sqrt(fmax(variance, 0)))) return 0;
    return shift > 0 ? 1 : -1;
}

/* A sheet that slipped puts both pins at another height, and all their diameters grow or shrink together; one that moves alone is an edge
 * taken for another, and that is for other doubts. */
static bool diameters_move(ps_context *ctx, const trial *all, const trial *part) {
    bool way[PS_ADJUST_PINS_MAX][2] = {{false}};
    for (int r = 0; r < all->problem.rim_count; r++) {
        const ps_adjust_rim *rim = &all->problem.rim[r];
        ps_quantity a, b;
        ps_kind kind = rim->edge == PS_EDGE_PIN ? PS_KIND_PIN : PS_KIND_BUSH;
        if (rim->edge != PS_EDGE_PIN && rim->edge != PS_EDGE_BUSH) continue;
        if (ps_adjust_diameter(ctx, all->solution, r, &a) != PS_OK || ps_adjust_diameter(ctx, part->solution, r, &b) != PS_OK) continue;
        int moved = moves(&a, &b, ps_trade_need_mm(kind, PS_COUPLER_FIXED));
        if (moved != 0) way[rim->pin][moved > 0] = true;
    }
    int up = 0, down = 0;
    for (int pin = 0; pin < all->problem.pin_count; pin++) up += way[pin][1], down += way[pin][0];
    return up >= 2 || down >= 2;
}

/* At the height of the sheet: both axes lean too little for it to matter. */
static bool centres_move(ps_context *ctx, const trial *all, const trial *part) {
    ps_quantity a, b;
    if (all->problem.pin_count < 2 || ps_adjust_centres(ctx, all->solution, 0, 0, 1, 0, &a) != PS_OK ||
        ps_adjust_centres(ctx, part->solution, 0, 0, 1, 0, &b) != PS_OK)
        return false;
    return moves(&a, &b, ps_trade_need_mm(PS_KIND_CENTRES, PS_COUPLER_FIXED)) != 0;
}

static double greyest(const trial *t, int photo) {
    int width = width_of(&t->problem);
    double most = 0;
    for (int q = 0; q < width; q++)
        if (t->test[photo * width + q].rows > 0)
            most = fmax(most, t->test[photo * width + q].chi2 / usual_misfit(t, q == t->problem.piece_count));
    return most;
}

/* Photos that speak too softly against the rest to be left out, and yet would shift a value. */
static ps_status doubt_shifts(const search *s, const trial *now) {
    for (int i = 0; i < s->problem->photo_count && photos_left(s) > 2 && s->problem->pin_count > 0; i++) {
        trial part;
        if (!shows(now, i) || greyest(now, i) < grey_chi2) continue;
        ps_status status = trial_without(s, i, &part);
        if (status != PS_OK) return status;
        if (part.solution && (diameters_move(s->ctx, now, &part) || centres_move(s->ctx, now, &part)))
            ps_notes_add(&s->found->doubts, PS_CODE_PIECE_MOVED,
                         "Without one of the photos sizes come out otherwise by more than chance: the sheet may have slipped between the "
                         "photos.");
        trial_clear(&part);
    }
    return PS_OK;
}

static void count_photos(search *s) {
    for (int i = 0; i < s->problem->corner_count; i++) s->shown[s->problem->corner[i].photo] = true;
    for (int i = 0; i < s->problem->photo_count; i++) s->photos += s->shown[i];
}

ps_status ps_gauge_contradictions(ps_context *ctx, const ps_adjust_problem *problem, ps_contradictions *found) {
    if (!problem || !found) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "contradictions of nothing");
    search s = {.ctx = ctx, .problem = problem, .found = found};
    memset(found, 0, sizeof *found);
    count_photos(&s);
    for (bool again = true; again;) {
        trial now;
        suspect worst = {-1, -1, 0, false, SUSPECT_PLACE};
        again = false;
        ps_status status = trial_without(&s, -1, &now);
        if (status != PS_OK) return status;
        if (now.solution) status = suspect_any(ctx, &now, &worst);
        if (status == PS_OK && worst.sheet_only) {
            leave_sheet_out(&s, &worst);
            again = true;
        } else if (status == PS_OK && (worst.photo >= 0 || !now.solution) && s.photos > 1)
            status = resolve(&s, &now, &worst, &again);
        if (status == PS_OK && !again && now.solution && found->doubts.count == 0) {
            doubt_focals(&s, now.solution);
            doubt_bends(&s, now.solution);
            status = doubt_shifts(&s, &now);
        }
        trial_clear(&now);
        if (status != PS_OK) return status;
    }
    return PS_OK;
}
