/* Contradictions: see contradictions.h.
 *
 * Whether something is wrong at all is told by statistics of one solution (groups of rows, focal lengths). Which photo it is, is
 * then found by leaving out each in turn: the statistics of a solution that has the error in it can point at a neighbour. */
#include "gauge/contradictions.h"
#include "base/stats.h"
#include "gauge/sentences.h"
#include "gauge/trial.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A statistic is passed once in 1e9 by chance. Photos of the same scene scatter more than their sd say, hence the scale beside it and so
 * wide a margin. Common practice, no source, like all limits here (docs/verdicts.md). */
static const double chance_least = 1e-9;
static const double group_move_least_mm = 0.5; /* less is inside what bends, lenses and edges do, and in the bands */
/* Odds of a million to one that it is this photo and not that: sums of squares of edges are not quite chi-square. */
static const double lead_least = 27.6;
static const double rim_fits_misfit = 2;     /* times the usual */
static const double focal_off_most = 0.30;   /* of a group, ln: six sd of what EXIF's rounding and conventions do */
static const double focal_pull_most = 6;     /* of one photo beside its group */
static const double focal_step_least = 0.02; /* phones refocus by less */
static const double stretch_least = 0.005;   /* pixels are square */
static const double bend_change_least_mm = 0.5;

bool ps_gauge_names_a_cause(ps_code code) {
    return code == PS_CODE_PIECE_MOVED || code == PS_CODE_PIECE_HELD || code == PS_CODE_PIECE_BENT || code == PS_CODE_OTHER_SCENE ||
           code == PS_CODE_FOCAL_CONTRADICTS;
}

bool ps_gauge_contradicted(const ps_notes *notes) {
    for (int i = 0; i < notes->count; i++)
        if (notes->note[i].code == PS_CODE_FIT_BAD || ps_gauge_names_a_cause(notes->note[i].code)) return true;
    return false;
}

/* What a photo is suspected of. */
typedef enum suspicion { SUSPECT_PLACE = 0, SUSPECT_FOCAL, SUSPECT_BEND, SUSPECT_STRETCH } suspicion;

typedef struct suspect {
    int photo, piece; /* piece_count: its edge points */
    double excess;    /* over the limit, above 1 where there is one at all */
    bool sheet_only;  /* the photo's other pieces hold it */
    suspicion what;
} suspect;

enum { DOF_PLACE = 6, DOF_BEND = 3, DOF_STRETCH = 1 };

static double chi2_most(int dof) {
    return ps_chi2_value(chance_least, dof);
}

/* ---- whether something is wrong ---- */

/* Whether the other pieces of the photo would hold it, and the suspected one alone is elsewhere. */
static bool others_hold(const ps_trial *t, int photo, int piece) {
    int width = ps_trial_width(&t->problem);
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

static bool passed(const ps_trial *t, int photo) {
    return t->passed && t->passed[photo];
}

static void suspect_focal(const ps_trial *t, suspect *worst) {
    for (int i = 0; i < t->problem.photo_count; i++) {
        double change, u, pull;
        ps_adjust_focal_change(t->solution, 0, i, &change, &u, &pull);
        double excess = pull * pull / (focal_pull_most * focal_pull_most);
        if (ps_trial_shows(t, i) && !passed(t, i) && fabs(change) >= focal_step_least && excess > fmax(1, worst->excess))
            *worst = (suspect){i, -1, excess, false, SUSPECT_FOCAL};
    }
}

static void suspect_stretch(const ps_trial *t, suspect *worst) {
    int width = ps_trial_width(&t->problem);
    double most = chi2_most(DOF_STRETCH) * ps_trial_usual(t);
    for (int i = 0; i < t->problem.photo_count; i++) {
        const ps_group_test *test = &t->test[i * width + t->problem.piece_count];
        double excess = test->aspect_chi2 / most;
        if (ps_trial_shows(t, i) && !passed(t, i) && fabs(test->aspect) >= stretch_least && excess > fmax(1, worst->excess))
            *worst = (suspect){i, -1, excess, false, SUSPECT_STRETCH};
    }
}

static void suspect_bend(const ps_trial *t, suspect *worst) {
    int width = ps_trial_width(&t->problem);
    double most = chi2_most(DOF_BEND) * ps_trial_usual_misfit(t, false);
    for (int g = 0; g < t->problem.photo_count * width; g++) {
        const ps_group_test *test = &t->test[g];
        double excess = test->bend_chi2 / most;
        if (test->rows == 0 || passed(t, g / width) || test->bend_mm < bend_change_least_mm || excess <= fmax(1, worst->excess)) continue;
        *worst = (suspect){g / width, g % width, excess, false, SUSPECT_BEND};
    }
}

static ps_status suspect_motion(ps_context *ctx, const ps_trial *t, suspect *worst) {
    int width = ps_trial_width(&t->problem);
    double most = chi2_most(DOF_PLACE);
    for (int g = 0; g < t->problem.photo_count * width; g++) {
        suspect one = {g / width, g % width, 0, false, SUSPECT_PLACE};
        one.excess = t->test[g].chi2 / (most * ps_trial_usual_misfit(t, one.piece == t->problem.piece_count));
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
static ps_status suspect_any(ps_context *ctx, const ps_trial *t, suspect *worst) {
    *worst = (suspect){-1, -1, 0, false, SUSPECT_PLACE};
    suspect_focal(t, worst);
    suspect_stretch(t, worst);
    suspect_bend(t, worst);
    return suspect_motion(ctx, t, worst);
}

/* ---- leaving out ---- */

static void leave_photo_out(const ps_search *s, int photo, ps_code code) {
    s->found->photo_out[photo] = s->found->any = true;
    s->found->photo_code[photo] = code;
}

/* A sheet that is elsewhere in two photos or more moves all the time. */
static void leave_sheet_out(const ps_search *s, const suspect *worst) {
    ps_contradictions *f = s->found;
    f->sheet_out[worst->photo][worst->piece] = f->any = true;
    f->sheet_code[worst->photo] = PS_CODE_PIECE_MOVED;
    int times = 0;
    for (int i = 0; i < s->problem->photo_count; i++) times += f->sheet_out[i][worst->piece];
    for (int i = 0; i < s->problem->photo_count && times > 1; i++)
        if (f->sheet_out[i][worst->piece]) f->sheet_code[i] = PS_CODE_PIECE_HELD;
}

/* What comes of leaving out each photo in turn. */
typedef struct left_out {
    int best;                         /* the photo without which the rest fits best; -1: nothing settles */
    bool clean[PS_ADJUST_PHOTOS_MAX]; /* nothing is left then that speaks against the rest */
    bool leads;                       /* no other photo would do nearly as well */
    double usual;                     /* scatter without the best */
} left_out;

/* Sum of squares that goes with the photo, over what as many rows of the rest have. */
static double relief(const ps_trial *all, const ps_trial *part, int photo) {
    int width = ps_trial_width(&all->problem), rows = 0;
    for (int q = 0; q < width; q++) rows += all->test[photo * width + q].rows;
    return (ps_trial_chi2(all) - ps_trial_chi2(part) - rows * ps_trial_fit(part)) / part->usual;
}

static ps_status leave_one_out(const ps_search *s, const ps_trial *now, left_out *out) {
    double least = INFINITY, gain[PS_ADJUST_PHOTOS_MAX] = {0};
    bool any = false;
    *out = (left_out){.best = -1, .usual = 1};
    for (int i = 0; i < s->problem->photo_count; i++) {
        ps_trial t;
        suspect left;
        if (!s->shown[i] || s->found->photo_out[i]) continue;
        ps_status status = ps_trial_without(s, (ps_trial_less){i, -1, false}, &t);
        if (status != PS_OK) return status;
        if (t.solution) {
            status = suspect_any(s->ctx, &t, &left);
            bool none = left.photo < 0;
            double fit = ps_trial_fit(&t);
            out->clean[i] = status == PS_OK && none;
            gain[i] = now->solution ? relief(now, &t, i) : 0;
            if (status == PS_OK && (none > any || (none == any && fit < least)))
                out->best = i, any = none, least = fit, out->usual = t.usual;
        }
        ps_trial_clear(&t);
        if (status != PS_OK) return status;
    }
    out->leads = out->best >= 0;
    for (int i = 0; i < s->problem->photo_count && out->leads; i++)
        if (i != out->best && out->clean[i] >= out->clean[out->best] && s->shown[i] && !s->found->photo_out[i])
            out->leads = now->solution ? gain[out->best] - gain[i] > lead_least : !out->clean[i];
    return PS_OK;
}

/* Whether most rims, one of each pin among them, lie in the photo where they should: then its other rims are misread, and it is no
 * other machine. */
static bool some_rims_fit(const ps_trial *t, int photo) {
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
        if (sum / count >= rim_fits_misfit * ps_trial_usual_misfit(t, true)) continue;
        fitting++;
        fits[p->rim[rim].pin] = true;
    }
    for (int pin = 0; pin < p->pin_count; pin++)
        if (!fits[pin]) return false;
    return p->pin_count > 0 && 3 * fitting >= 2 * rims;
}

/* ---- sheets and lenses as a whole ---- */

static void doubt_focals(const ps_search *s, const ps_adjust_solution *solution) {
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

static void doubt_bends(const ps_search *s, const ps_adjust_solution *solution) {
    for (int q = 0; q < s->problem->piece_count; q++)
        if (ps_adjust_bend_chance(solution, q) < PS_BEND_CHANCE_LEAST)
            ps_gauge_say(&s->found->doubts, PS_SUBJECT_VALUE, PS_CODE_PIECE_BENT);
}

/* The corners of one piece by itself: a problem of its own, in the piece's frame. The photos stay beside it. */
static ps_status one_sheet(const ps_search *s, int piece, ps_adjust_photo photos[PS_ADJUST_PHOTOS_MAX], ps_trial *t) {
    ps_status status = ps_trial_part(s, (ps_trial_less){-1, -1, true}, t);
    if (status != PS_OK) return status;
    ps_adjust_problem *p = &t->problem;
    int corners = 0;
    for (int i = 0; i < p->corner_count; i++) {
        if (t->corner[i].piece != piece) continue;
        t->corner[corners] = t->corner[i];
        t->corner[corners++].piece = 0;
    }
    memcpy(photos, p->photo, (size_t)p->photo_count * sizeof *photos);
    for (int i = 0; i < p->photo_count && piece != p->held_piece; i++)
        ps_pose_compose(&p->photo[i].start, &p->piece[piece].start, &photos[i].start);
    p->photo = photos, p->piece = &s->problem->piece[piece], p->piece_count = 1, p->held_piece = 0, p->corner_count = corners;
    p->from = NULL; /* it has another frame */
    return PS_OK;
}

/* A sheet that flaps is bent otherwise in each photo, in each too little to stand out. Corners alone are asked, which no misread edge
 * bends, and each sheet by itself: two that are printed unlike bend each other's photos. */
static ps_status doubt_flapping(const ps_search *s) {
    for (int piece = 0; piece < s->problem->piece_count; piece++) {
        ps_trial bare;
        ps_adjust_photo photos[PS_ADJUST_PHOTOS_MAX];
        double sum = 0;
        int dof = 0;
        ps_status status = one_sheet(s, piece, photos, &bare);
        if (status == PS_OK && bare.problem.corner_count > 0) status = ps_trial_solve(s->ctx, &bare);
        int width = ps_trial_width(&bare.problem);
        for (int i = 0; i < bare.problem.photo_count && status == PS_OK && bare.solution; i++)
            if (bare.test[i * width].rows > 0) sum += bare.test[i * width].bend_chi2, dof += DOF_BEND;
        if (dof > DOF_BEND && sum > chi2_most(dof) * ps_trial_usual_misfit(&bare, false))
            ps_gauge_say(&s->found->doubts, PS_SUBJECT_VALUE, PS_CODE_PIECE_BENT);
        ps_trial_clear(&bare);
        if (status != PS_OK) return status;
    }
    return PS_OK;
}

static ps_status name(const ps_search *s, const ps_trial *now, int photo, suspicion what, ps_cause *cause) {
    *cause = (ps_cause){PS_CODE_PIECE_BENT, INFINITY};
    return what == SUSPECT_BEND ? PS_OK : ps_cause_find(s, now, photo, cause);
}

/* The photo and the cause that explain all photos best, of photos without which nothing is left that speaks against the rest. */
static ps_status best_cause(const ps_search *s, const ps_trial *now, suspicion what, left_out *without, ps_cause *cause) {
    ps_cause of[PS_ADJUST_PHOTOS_MAX];
    int best = without->best, first = best;
    ps_status status = name(s, now, first, what, &of[first]);
    for (int i = 0; i < s->problem->photo_count && status == PS_OK && without->clean[first]; i++) {
        if (i == first || !without->clean[i]) continue;
        status = name(s, now, i, what, &of[i]);
        if (status == PS_OK && of[i].cost < of[best].cost) best = i;
    }
    if (status != PS_OK) return status;
    *cause = of[best];
    without->best = best;
    if (isinf(cause->cost) || !without->clean[first]) return PS_OK;
    without->leads = true; /* all photos speak in a cost, in a relief some */
    for (int i = 0; i < s->problem->photo_count; i++) {
        if (i == best || !without->clean[i] || of[i].cost - cause->cost > lead_least) continue;
        without->leads = false;
        if (of[i].code != cause->code) cause->code = PS_CODE_FIT_BAD;
    }
    return PS_OK;
}

/* Nothing says which photo is right: every value is doubted. */
static void doubt_all(const ps_search *s, const ps_trial *now, ps_code code) {
    /* A sheet bent out of the model makes photos part that are all honest. */
    if (now->solution && code != PS_CODE_FOCAL_CONTRADICTS && code != PS_CODE_PIECE_BENT) doubt_bends(s, now->solution);
    if (!ps_notes_have(&s->found->doubts, PS_CODE_PIECE_BENT)) ps_gauge_say(&s->found->doubts, PS_SUBJECT_VALUE, code);
}

/* Something is wrong in `now`: finds the photo, and names it. *again: something was left out and the rest is to be looked at anew. */
static ps_status resolve(ps_search *s, const ps_trial *now, const suspect *worst, bool *again) {
    int left = ps_search_photos_left(s), photo = worst->photo < 0 ? 0 : worst->photo;
    left_out without = {.best = photo, .usual = now->usual};
    ps_cause cause = {PS_CODE_PIECE_MOVED, INFINITY};
    ps_status status = left > 2 ? leave_one_out(s, now, &without) : PS_OK;
    ps_trial with = *now;
    with.usual = without.usual;
    *again = false;
    if (status == PS_OK && without.best >= 0) status = best_cause(s, &with, worst->what, &without, &cause);
    if (status != PS_OK) return status;
    photo = without.best;
    ps_code code = cause.code;
    bool clean = photo >= 0 && without.clean[photo];
    if (!s->found->any && photo >= 0 && code == PS_CODE_OTHER_SCENE && now->solution && some_rims_fit(now, photo)) {
        s->passed[photo] = true;
        if (worst->photo >= 0) s->passed[worst->photo] = true; /* single edges are for others to doubt */
        *again = true;
        return PS_OK;
    }
    bool tells_place = worst->what != SUSPECT_BEND && (s->problem->edge_count > 0 || s->problem->piece_count > 1);
    if (left > 2 && tells_place) { /* not one photo: where no two agree, a hand holds the sheet */
        ps_cause held;
        status = ps_cause_held(s, &with, &held);
        if (status != PS_OK) return status;
        if (held.cost < cause.cost - lead_least) {
            ps_gauge_say(&s->found->doubts, PS_SUBJECT_VALUE, held.code); /* bends are told by that solution: this one's are of no sheet */
            return PS_OK;
        }
    }
    if (left > 2 && !clean && worst->what != SUSPECT_BEND)
        code = PS_CODE_FIT_BAD; /* what does not settle all is not sure to be the cause */
    bool majority = left - 1 > s->photos - left + 1;
    if (left > 2 && photo >= 0 && ((clean && majority && without.leads) || (!clean && left > 3))) {
        leave_photo_out(s, photo, code);
        *again = true;
        return PS_OK;
    }
    if (left > 2 && clean && !without.leads && isinf(cause.cost)) code = PS_CODE_FIT_BAD;
    doubt_all(s, now, code);
    return PS_OK;
}

/* A photo was left out and nothing says what it has: with two others left, nothing says that it is they who are right. */
static void doubt_two_left(const ps_search *s) {
    for (int i = 0; i < s->problem->photo_count && ps_search_photos_left(s) < 3; i++)
        if (s->found->photo_out[i] && s->found->photo_code[i] == PS_CODE_FIT_BAD)
            ps_gauge_say(&s->found->doubts, PS_SUBJECT_VALUE, PS_CODE_FIT_BAD);
}

static void count_photos(ps_search *s) {
    for (int i = 0; i < s->problem->corner_count; i++) s->shown[s->problem->corner[i].photo] = true;
    for (int i = 0; i < s->problem->photo_count; i++) s->photos += s->shown[i];
}

ps_status ps_gauge_contradictions(ps_context *ctx, const ps_adjust_problem *problem, ps_contradictions *found) {
    if (!problem || !found) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "contradictions of nothing");
    ps_adjust_problem own = *problem; /* trials begin at the solution of all */
    ps_search s = {.ctx = ctx, .problem = &own, .found = found};
    own.near_start = false;
    memset(found, 0, sizeof *found);
    count_photos(&s);
    for (bool again = true; again;) {
        ps_trial now;
        suspect worst = {-1, -1, 0, false, SUSPECT_PLACE};
        again = false;
        ps_status status = ps_trial_without(&s, (ps_trial_less){-1, -1, false}, &now);
        if (status != PS_OK) return status;
        if (now.solution) own.from = now.solution;
        if (now.solution) status = suspect_any(ctx, &now, &worst);
        if (status == PS_OK && worst.sheet_only) {
            leave_sheet_out(&s, &worst);
            again = true;
        } else if (status == PS_OK && (worst.photo >= 0 || !now.solution) && s.photos > 1)
            status = resolve(&s, &now, &worst, &again);
        if (status == PS_OK && !again && now.solution && found->doubts.count == 0) {
            doubt_focals(&s, now.solution);
            doubt_bends(&s, now.solution);
            status = found->any ? PS_OK : doubt_flapping(&s);
            if (status == PS_OK) status = ps_shifts_doubt(&s, &now);
        }
        ps_trial_clear(&now);
        own.from = problem->from;
        if (status != PS_OK) return status;
    }
    doubt_two_left(&s);
    return PS_OK;
}
