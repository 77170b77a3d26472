/* What would turn a 'confirm' into 'good'. A plan is judged by predicting the values' uncertainty with it and then asking the same
 * doubts and the same probability as of the values themselves; the cheapest plan that cures a value is told. */
#include "gauge/plan.h"
#include "adjust/model.h"
#include "gauge/doubts.h"
#include "gauge/job.h"
#include "gauge/prints.h"
#include "gauge/verdict.h"
#include "gauge/widening.h"
#include "pinspan/target.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Real photos are not as good as planned: u may come out this much larger and the value is still good. */
static const double margin = 1.2;
/* A plain side is told rather than a corner between two while it is about as good. */
static const double plain_worth = 1.1;
/* And a side that was told already, for a value that costs less, rather than a third: whoever goes there once may as well stay. */
static const double told_worth = 0.7;
enum { PLAIN_WAYS = 3 };           /* left, right, higher: pins of what lies on the ground leave little room below */
static const double clear_mm = 10; /* between a further piece and what stands round the pin: room for its white border */

/* Readings of the check lines (140 across, 200 along), expanded, mm: calipers and a steel rule; calipers that span either line, and
 * the mean of three readings. Common practice, no source (docs/verdicts.md). */
static const struct { double across_U_mm, along_U_mm; } readings[] = {{0.15, 0.3}, {0.1, 0.15}};
enum { READINGS = 2 };

typedef struct planner {
    ps_context *ctx;
    const ps_gauge_input *input;
    const ps_gauge_facts *facts;
    const ps_gauge_asks *asks;
    ps_record *record;
    ps_predictor *predictor;
    ps_gauge_way way[PS_GAUGE_WAYS];
    int of[PS_DIMENSIONS_MAX], count; /* dimensions that may be cured */
    ps_ask ask[PS_DIMENSIONS_MAX];
    bool cured[PS_DIMENSIONS_MAX], told[PS_GAUGE_WAYS];
} planner;

/* A plan on trial. */
typedef struct trial {
    int photos, way[PS_PLAN_PHOTOS_MAX], reading; /* reading -1: none */
    bool piece_added;
    ps_adjust_piece piece;
    ps_role beside;
    ps_quantity q[PS_DIMENSIONS_MAX];
    bool cures[PS_DIMENSIONS_MAX];
    int cured;
    double score; /* sum of (u / need)^2 of what is not cured yet */
    double cost;  /* the score, dearer where it is harder to say or one place more */
} trial;

/* ---- the doubts that would stand ---- */

static bool touched(const ps_record_photo *photo, ps_code code, int role) {
    if (code == PS_CODE_PIN_CUT_OFF) return photo->pin_cut[role];
    if (code == PS_CODE_EXPOSURE) return photo->pin_clipped[role];
    return ps_notes_have(&photo->problems, code);
}

/* As facts.c has it: a doubt where fewer than two solved photos are free of a problem. Further photos are free of it; but what the
 * light did to a pin's end it will do again. */
static void clear_problems(const ps_record *record, int added, int role, ps_notes *doubts) {
    ps_notes kept = {0};
    for (int i = 0; i < doubts->count; i++) {
        ps_code code = doubts->note[i].code;
        int free_of_it = added;
        for (int k = 0; k < record->photo_count; k++) free_of_it += record->photo[k].solved && !touched(&record->photo[k], code, role);
        bool stays = code == PS_CODE_EXPOSURE || code == PS_CODE_PIECE_BENT || code == PS_CODE_PIECE_HELD;
        if (stays || added == 0 || free_of_it < 2) kept.note[kept.count++] = doubts->note[i];
    }
    *doubts = kept;
}

/* What a further photo shows: as predict.c has it, what the photos so far show more often than not. */
static int with_added(int photos, int used, int added) {
    return 2 * photos > used ? photos + added : photos;
}

static void carry_out(const planner *w, const trial *t, ps_gauge_input *in, ps_gauge_facts *facts) {
    double direction[PS_PLAN_PHOTOS_MAX][3];
    *in = *w->input;
    *facts = *w->facts;
    for (int i = 0; i < t->photos; i++) memcpy(direction[i], w->way[t->way[i]].direction, sizeof direction[i]);
    if (t->photos > 0) in->direction_spread_deg = fmax(in->direction_spread_deg, ps_gauge_spread_deg(in->solution, direction, t->photos));
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        clear_problems(w->record, t->photos, role, &facts->pin_doubts[role]);
        for (int e = 0; e < PS_EDGE_COUNT; e++)
            facts->rim[role][e].photos = with_added(facts->rim[role][e].photos, in->photos_used, t->photos);
    }
    clear_problems(w->record, t->photos, 0, &facts->photo_doubts);
    in->photos_used += t->photos;
    if (t->reading >= 0) in->print_checked_across = in->print_checked_along = in->print_each = true;
}

static bool would_be_good(const ps_gauge_input *in, const ps_gauge_facts *facts, const ps_dimension *d, const ps_quantity *q, int photos) {
    ps_notes doubts = {0};
    if (d->kind == PS_KIND_PIN) ps_gauge_doubts_pin(in, facts, d->role, &doubts);
    if (d->kind == PS_KIND_CENTRES) ps_gauge_doubts_centres(in, facts, &doubts);
    if (d->kind == PS_KIND_BUSH) ps_gauge_doubts_bush(in, facts, d->role, &doubts);
    if (d->kind == PS_KIND_PROUD) ps_gauge_doubts_proud(in, facts, d->role, &doubts);
    ps_gauge_doubts_common(in, facts, d->kind, d->role, q, &doubts);
    if (photos > in->photos_used) photos = in->photos_used;
    return doubts.count == 0 && ps_gauge_within_need(margin * q->u_mm, d->need_mm, ps_gauge_photo_dof(photos));
}

/* ---- trying a plan ---- */

static ps_adjust_plan plan_of(const planner *w, const trial *t) {
    ps_adjust_plan plan = {.photo_count = t->photos, .piece_added = t->piece_added, .piece = t->piece};
    for (int i = 0; i < t->photos; i++) plan.photo[i] = w->way[t->way[i]].photo;
    if (t->reading >= 0) {
        bool several = w->input->solution->model.problem.piece_count > 1;
        double across = 0.5 * readings[t->reading].across_U_mm / PS_CHECK_ACROSS_MM;
        double along = 0.5 * readings[t->reading].along_U_mm / PS_CHECK_ALONG_MM, shared = sqrt(PS_PRINT_READING_SHARED);
        plan.print_read = true;
        plan.sigma_own_across = sqrt(1 - PS_PRINT_READING_SHARED) * across;
        plan.sigma_own_along = sqrt(1 - PS_PRINT_READING_SHARED) * along;
        plan.sigma_across = several ? shared * across : across;
        plan.sigma_along = several ? shared * along : along;
    }
    if (t->piece_added) { /* another sheet is another print */
        plan.piece.print.across = (ps_adjust_line){.sigma = plan.sigma_own_across};
        plan.piece.print.along = (ps_adjust_line){.sigma = plan.sigma_own_along};
        if (t->reading < 0)
            plan.piece.print.across = plan.piece.print.along = (ps_adjust_line){.sigma = PS_PRINT_UNREAD_REL, .guessed = true};
    }
    return plan;
}

/* PS_NOT_FOUND where the plan cannot be carried out. */
static ps_status try_plan(const planner *w, trial *t) {
    ps_adjust_plan plan = plan_of(w, t);
    ps_gauge_input in;
    ps_gauge_facts facts;
    ps_status status = ps_predict_plan(w->ctx, w->predictor, &plan, w->ask, w->count, t->q);
    if (status != PS_OK) return status == PS_NO_MEMORY ? status : PS_NOT_FOUND;
    carry_out(w, t, &in, &facts);
    t->cured = 0;
    t->score = 0;
    for (int k = 0; k < w->count; k++) {
        int i = w->of[k];
        const ps_dimension *d = &w->record->dimension[i];
        double own_u_mm = hypot(w->asks->own_u_mm[i], w->asks->few_u_mm[i]);
        double extra = d->u_mm * d->u_mm - own_u_mm * own_u_mm; /* what doubts and unseen edges add stays */
        int photos = with_added(w->asks->photos[i], w->input->photos_used, t->photos);
        t->q[k].u_mm = hypot(t->q[k].u_mm, sqrt(fmax(0, extra)));
        t->cures[k] = !w->cured[k] && would_be_good(&in, &facts, d, &t->q[k], photos);
        t->cured += t->cures[k];
        ps_gauge_widen_few(d->kind, photos, &t->q[k]);
        if (!w->cured[k]) t->score += t->q[k].u_mm * t->q[k].u_mm / (d->need_mm * d->need_mm);
    }
    return PS_OK;
}

/* Only where a line is known clearly worse than that, or not at all. */
static bool reading_helps(const planner *w, int reading) {
    const ps_adjust_solution *s = w->input->solution;
    const ps_adjust_problem *p = &s->model.problem;
    if (!w->input->print_checked_across || !w->input->print_checked_along) return true;
    double disagree = sqrt(s->inflation[PS_SOURCE_PRINT_SCALE]); /* readings of which one is wrong */
    bool helps = false;
    for (int i = 0; i < p->piece_count; i++) {
        double across = hypot(p->scale.sigma_across, p->piece[i].print.across.sigma);
        double along = hypot(p->scale.sigma_along, p->piece[i].print.along.sigma);
        /* One reading for several pieces is better one for each. */
        helps |= p->piece[i].print.across.tail > 0 || p->piece[i].print.along.tail > 0;
        helps |= disagree * across > margin * 0.5 * readings[reading].across_U_mm / PS_CHECK_ACROSS_MM ||
                 disagree * along > margin * 0.5 * readings[reading].along_U_mm / PS_CHECK_ALONG_MM;
    }
    return helps;
}

/* Adds to `best` (photos so far) the way that serves best. PS_NOT_FOUND where none can be had. */
static ps_status add_photo(const planner *w, trial *best) {
    trial from = *best;
    bool had = false;
    for (int i = 0; i < PS_GAUGE_WAYS; i++) {
        trial t = from;
        if (!w->way[i].possible || (from.photos > 0 && from.way[0] == i)) continue;
        t.way[t.photos++] = i;
        ps_status status = try_plan(w, &t);
        if (status == PS_NO_MEMORY) return status;
        if (status != PS_OK) continue;
        t.cost = t.score * (i < PLAIN_WAYS ? 1 : plain_worth) * (w->told[i] ? told_worth : 1);
        if (!had || t.cured > best->cured || (t.cured == best->cured && t.cost < best->cost)) *best = t;
        had = true;
    }
    return had ? PS_OK : PS_NOT_FOUND;
}

/* ---- telling it ---- */

static void tell(planner *w, const trial *t) {
    if (t->cured == 0 || w->record->plan_count >= PS_PLANS_MAX) return;
    ps_plan *plan = &w->record->plan[w->record->plan_count++];
    *plan = (ps_plan){.photo_count = t->photos, .print_read = t->reading >= 0, .piece_added = t->piece_added};
    if (t->piece_added) plan->piece = t->piece.piece, plan->piece_pose = t->piece.start, plan->beside = t->beside;
    for (int i = 0; i < t->photos; i++) {
        plan->photo[i] = w->way[t->way[i]].told;
        w->told[t->way[i]] = true;
    }
    if (plan->print_read) plan->across_U_mm = readings[t->reading].across_U_mm, plan->along_U_mm = readings[t->reading].along_U_mm;
    for (int k = 0; k < w->count; k++) {
        if (!t->cures[k]) continue;
        plan->dimension[plan->dimension_count] = w->of[k];
        plan->U_mm[plan->dimension_count++] = 2 * t->q[k].u_mm;
        w->cured[k] = true;
    }
    ps_gauge_plan_text(w->record, plan);
}

static bool any_left(const planner *w) {
    for (int k = 0; k < w->count; k++)
        if (!w->cured[k]) return true;
    return false;
}

/* Plans with so many further photos, by cost: as the print is known, then read more and more finely. */
static ps_status try_photos(planner *w, int photos) {
    for (int reading = -1; reading < READINGS && any_left(w); reading++) {
        if (reading >= 0 && !reading_helps(w, reading)) continue;
        trial t = {.reading = reading};
        ps_status status = photos == 0 ? reading < 0 ? PS_NOT_FOUND : try_plan(w, &t) : PS_OK;
        for (int i = 0; i < photos && status == PS_OK; i++) status = add_photo(w, &t);
        if (status == PS_NO_MEMORY) return status;
        if (status == PS_OK) tell(w, &t);
    }
    return PS_OK;
}

/* A piece taped beside a pin, on the side away from the held piece, where nothing else lies; upright as the held one. */
static bool place_piece(const planner *w, ps_role role, int kit, trial *t) {
    const ps_adjust_solution *s = ps_predict_solution(w->predictor);
    const ps_adjust_problem *q = &s->model.problem;
    const ps_piece *piece = ps_kit_piece(kit), *held = ps_kit_piece(q->piece[q->held_piece].piece);
    int pin = w->facts->axis[role];
    if (!piece || pin < 0 || q->piece_count >= PS_ADJUST_PIECES_MAX) return false;
    for (int i = 0; i < q->piece_count; i++)
        if (q->piece[i].piece == kit) return false;
    double point[3], direction[3], radius = 0, way[3] = {0};
    ps_adjust_axis(s, pin, point, direction);
    for (int r = 0; r < q->rim_count; r++)
        if (q->rim[r].pin == pin) radius = fmax(radius, s->model.circle[r].radius);
    way[0] = point[0] - 0.5 * held->columns * held->square_mm, way[1] = point[1] - 0.5 * held->rows * held->square_mm;
    double wide = piece->columns * piece->square_mm, high = piece->rows * piece->square_mm;
    double apart = radius + 0.5 * hypot(wide, high) + clear_mm, length = hypot(way[0], way[1]);
    if (!(length > 0)) return false;
    t->piece_added = true;
    t->beside = role;
    t->piece =
        (ps_adjust_piece){.piece = kit, .start = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}}, .sigma_bend = q->piece[q->held_piece].sigma_bend};
    t->piece.start.t[0] = point[0] + way[0] / length * apart - 0.5 * wide;
    t->piece.start.t[1] = point[1] + way[1] / length * apart - 0.5 * high;
    return true;
}

/* All photos again, with one more piece: the dearest. */
static ps_status try_pieces(planner *w) {
    static const char *const name[] = {"patch-1", "patch-2", "mini-1", "mini-2"};
    for (int reading = -1; reading < READINGS && any_left(w); reading++) {
        trial best = {.cured = 0}; /* a reading always helps: the further piece is another print */
        for (size_t i = 0; i < 2 * sizeof name / sizeof name[0]; i++) {
            trial t = {.reading = reading};
            if (!place_piece(w, (ps_role)(i % 2), ps_kit_find(name[i / 2]), &t)) continue;
            ps_status status = try_plan(w, &t);
            if (status == PS_NO_MEMORY) return status;
            if (status == PS_OK && (t.cured > best.cured || (t.cured > 0 && t.cured == best.cured && t.score < best.score))) best = t;
        }
        tell(w, &best);
    }
    return PS_OK;
}

/* Whether no plan could cure it: with everything that is planned at once, and all the world's precision, doubts still stand. */
static bool hopeless(const planner *w, int i) {
    trial all = {.photos = 0, .reading = 0};
    ps_gauge_input in;
    ps_gauge_facts facts;
    for (int k = 0; k < PS_GAUGE_WAYS && all.photos < PS_PLAN_PHOTOS_MAX; k++)
        if (w->way[k].possible) all.way[all.photos++] = k; /* left and right, as a rule: far apart */
    const ps_dimension *d = &w->record->dimension[i];
    const ps_quantity exact = {.value_mm = d->value_mm, .u_mm = 1e-6};
    carry_out(w, &all, &in, &facts);
    return !would_be_good(&in, &facts, d, &exact, in.photos_used);
}

/* Where there was no room to tell a plan, nothing is said against photos. */
static void leave_to_instrument(planner *w) {
    ps_by_hand *left = &w->record->by_hand;
    if (w->record->plan_count >= PS_PLANS_MAX) return;
    for (int i = 0; i < w->record->dimension_count; i++) {
        bool planned = false;
        for (int k = 0; k < w->count; k++) planned |= w->of[k] == i && w->cured[k];
        if (w->asks->had[i] && w->record->dimension[i].verdict == PS_VERDICT_CONFIRM && !planned) left->dimension[left->count++] = i;
    }
    if (left->count > 0) ps_gauge_by_hand_text(w->record);
}

static void gather(planner *w) {
    for (int i = 0; i < w->record->dimension_count; i++) {
        if (!w->asks->had[i] || w->record->dimension[i].verdict != PS_VERDICT_CONFIRM || hopeless(w, i)) continue;
        w->ask[w->count] = w->asks->ask[i];
        w->of[w->count++] = i;
    }
}

ps_status ps_gauge_plans(ps_context *ctx, const ps_gauge_input *input, const ps_gauge_facts *facts, const ps_gauge_asks *asks,
                         const ps_gauge_way *among, ps_record *record) {
    record->plan_count = record->by_hand.count = 0;
    if (!input->solution || input->solution->model.problem.photo_count + PS_PLAN_PHOTOS_MAX > PS_ADJUST_PHOTOS_MAX) return PS_OK;
    bool wanted = false;
    for (int i = 0; i < record->dimension_count; i++) wanted |= asks->had[i] && record->dimension[i].verdict == PS_VERDICT_CONFIRM;
    planner *w = wanted ? calloc(1, sizeof *w) : NULL;
    if (!w) return wanted ? ps_context_fail(ctx, PS_NO_MEMORY, "no memory for advice") : PS_OK;
    *w = (planner){.ctx = ctx, .input = input, .facts = facts, .asks = asks, .record = record};
    ps_status status = ps_predict_new(ctx, input->solution, &w->predictor);
    if (status == PS_OK) {
        if (among)
            memcpy(w->way, among, sizeof w->way);
        else
            ps_gauge_ways(w->predictor, w->way);
        gather(w);
        for (int photos = 0; photos <= PS_PLAN_PHOTOS_MAX && status == PS_OK; photos++)
            /* One photo knows no heights, by which edges are told apart; a second tells them, and a third checks it. */
            if (input->photos_used != 1 || photos != 1) status = try_photos(w, photos);
        if (status == PS_OK && any_left(w)) status = try_pieces(w);
        if (status == PS_OK) leave_to_instrument(w);
    }
    ps_predict_free(w->predictor);
    free(w);
    return status == PS_NO_MEMORY ? status : PS_OK; /* without advice, the rest stands */
}
