/* The dimensions of a side. */
#include "gauge/dimensions.h"
#include "gauge/asks.h"
#include "gauge/doubts.h"
#include "gauge/facts.h"
#include "gauge/how.h"
#include "gauge/plan.h"
#include "gauge/sentences.h"
#include "gauge/verdict.h"
#include "gauge/widening.h"
#include "pinspan/trade.h"

#include <math.h>
#include <string.h>

/* Common practice, no source, all of them (docs/verdicts.md). */
static const double height_u_mm = 0.06;     /* centres at pin ends, not bush faces: up to 40 mm off at 0.2 degrees */
static const double play_u_mm = 0.25;       /* a centre without a bush seen may be the bush's own: half its play */
static const double broken_axis_u_mm = 0.6; /* half of what pieces of two circles do to diameters (widening.c) */
static const double equal_mm = 0.5;

typedef struct worker {
    ps_context *ctx;
    const ps_gauge_input *input;
    ps_gauge_facts facts;
    ps_record *record;
    ps_gauge_asks *asks;
    bool pins_equal;
} worker;

static ps_dimension *start(const worker *w, ps_kind kind, int role) {
    ps_dimension *d = &w->record->dimension[w->record->dimension_count++];
    *d = (ps_dimension){.kind = kind, .role = role, .value_mm = NAN, .u_mm = NAN, .U_mm = NAN, .verdict = PS_VERDICT_MISSING};
    ps_trade_name(w->record->side, kind, role, d->name);
    d->need_mm = ps_trade_need_mm(kind, w->input->options->coupler);
    return d;
}

static void add_how(const worker *w, ps_dimension *d) {
    d->confirm_with = ps_trade_instrument(d->kind);
    ps_gauge_how(w->record->side, d->kind, d->role, w->pins_equal, d->over, d->how);
}

/* Nothing was solved: the photos say why. */
static ps_code unsolved(const ps_record *record) {
    bool readable = false, piece = false, hidden = false;
    for (int i = 0; i < record->photo_count; i++) {
        readable |= record->photo[i].width > 0;
        piece |= record->photo[i].sightings.count > 0;
        hidden |= record->photo[i].sightings.hidden_count > 0;
    }
    return !readable ? PS_CODE_UNREADABLE : piece ? PS_CODE_NO_PIN : hidden ? PS_CODE_PIECE_HIDDEN : PS_CODE_NO_PIECE;
}

/* What is wrong with every photo that could be read is a likely cause of what was not found in them. */
static void add_causes(const worker *w, ps_notes *reasons) {
    static const ps_code code[] = {PS_CODE_MOTION_BLUR, PS_CODE_DEFOCUS,      PS_CODE_EXPOSURE,   PS_CODE_OBLIQUE,
                                   PS_CODE_PIECE_SMALL, PS_CODE_PIECE_HIDDEN, PS_CODE_PIN_CUT_OFF};
    for (size_t c = 0; c < sizeof code / sizeof code[0]; c++) {
        int readable = 0, touched = 0;
        for (int i = 0; i < w->record->photo_count; i++) {
            readable += w->record->photo[i].width > 0;
            touched += w->record->photo[i].width > 0 && ps_notes_have(&w->record->photo[i].problems, code[c]);
        }
        if (readable > 0 && touched == readable) ps_gauge_say(reasons, PS_SUBJECT_VALUE, code[c]);
    }
    ps_gauge_doubts_views(w->input, reasons);
    ps_gauge_doubts_print(w->input, reasons);
}

/* A cap is wider than the pin that it hides; an edge that the bush would leave room for as a pin's can be the outline of a rounded end. */
static void capped(const ps_gauge_facts *facts, int role, ps_notes *reasons) {
    const ps_rim_fact *rim = facts->rim[role], *bush = rim[PS_EDGE_BUSH].had ? &rim[PS_EDGE_BUSH] : &rim[PS_EDGE_BUSH_FACE];
    ps_notes_add(reasons, PS_CODE_PIN_CAP, "A cap hides the pin, so no photo can show its size.");
    if (bush->had && bush->diameter.value_mm >= PS_GAUGE_BUSH_OVER_PIN_LEAST * rim[PS_EDGE_CAP].diameter.value_mm)
        ps_notes_add(reasons, PS_CODE_PIN_DOME,
                     "What looks like a cap may be a domed end, so round that it shows no edge at the pin's full diameter.");
}

/* Why a value could not be had. */
static void finish_missing(const worker *w, ps_dimension *d) {
    ps_notes *reasons = &d->reasons;
    ps_notes_copy(&w->input->doubts, reasons);
    if (d->kind == PS_KIND_GAP)
        ps_gauge_say(reasons, PS_SUBJECT_VALUE, w->input->boss_one_side ? PS_CODE_BOSS_ONE_SIDE : PS_CODE_GAP_NOT_SHOWN);
    else if (!w->input->solution && unsolved(w->record) == PS_CODE_PIECE_HIDDEN)
        ps_notes_add(reasons, PS_CODE_PIECE_HIDDEN, "Too little of the printed sheet can be seen in the photos, so there is no scale.");
    else if (!w->input->solution && unsolved(w->record) != PS_CODE_NO_PIN)
        ps_gauge_say(reasons, PS_SUBJECT_VALUE, unsolved(w->record));
    else if (d->role < 0)
        ps_notes_add(reasons, PS_CODE_NO_PIN, "The two pins were not both found in the photos.");
    else if (w->facts.rim[d->role][PS_EDGE_CAP].had)
        capped(&w->facts, d->role, reasons);
    else if (w->input->pin[d->role].found)
        ps_notes_add(reasons, PS_CODE_PIN_HIDDEN, "The pin's own edge was not told apart in any photo.");
    else
        ps_gauge_say(reasons, PS_SUBJECT_VALUE, PS_CODE_NO_PIN);
    if (d->kind != PS_KIND_GAP) add_causes(w, reasons);
    add_how(w, d);
}

/* The scale of a Student's t: what few photos add to the band is the t's own width, and does not count twice. */
static double scale_of(const worker *w, const ps_dimension *d, const ps_quantity *q) {
    double few_u_mm = w->asks ? w->asks->few_u_mm[d - w->record->dimension] : 0;
    return sqrt(q->u_mm * q->u_mm - few_u_mm * few_u_mm);
}

/* Value, band, doubts and verdict. `photos`: how many support the thinnest part of it. */
static void finish(const worker *w, ps_dimension *d, ps_quantity *q, int photos) {
    ps_gauge_widen_contradicted(w->input, d->kind == PS_KIND_PIN || d->kind == PS_KIND_BUSH ? PS_SOURCE_EDGE_SHIFT : PS_SOURCE_PLANE,
                                d->need_mm, q);
    if (!isfinite(q->value_mm) || !isfinite(q->u_mm) || !(q->u_mm > 0)) {
        finish_missing(w, d);
        return;
    }
    d->value_mm = q->value_mm, d->u_mm = q->u_mm, d->U_mm = 2 * q->u_mm;
    memcpy(d->budget_mm, q->source_mm, sizeof d->budget_mm);
    ps_gauge_doubts_common(w->input, &w->facts, d->kind, d->role, q, &d->reasons);
    if (photos > w->input->photos_used) photos = w->input->photos_used;
    double scale_mm = scale_of(w, d, q), risk = ps_gauge_risk(scale_mm, d->need_mm, ps_gauge_photo_dof(photos));
    if (!ps_gauge_within_need(scale_mm, d->need_mm, ps_gauge_photo_dof(photos)))
        ps_notes_add(&d->reasons, PS_CODE_BAND_WIDE,
                     "The true size may lie further than the %.1f mm that an order allows from this value (probability %.*f %%).",
                     d->need_mm, risk < 0.1 ? 1 : 0, 100 * risk);
    d->verdict = d->reasons.count == 0 ? PS_VERDICT_GOOD : PS_VERDICT_CONFIRM;
    if (d->verdict != PS_VERDICT_GOOD) add_how(w, d);
}

/* What the dimension stands on; before any widening. */
static void note_ask(const worker *w, const ps_dimension *d, const ps_quantity *q, int photos, ps_ask ask) {
    size_t i = (size_t)(d - w->record->dimension);
    w->asks->had[i] = true;
    w->asks->ask[i] = ask;
    w->asks->own_u_mm[i] = q->u_mm;
    ps_quantity few = *q;
    ps_gauge_widen_few(d->kind, photos, &few);
    w->asks->few_u_mm[i] = sqrt(few.u_mm * few.u_mm - q->u_mm * q->u_mm);
    w->asks->photos[i] = photos;
}

static void tell_oval(ps_dimension *d, const ps_rim_fact *rim) {
    if (d->verdict == PS_VERDICT_MISSING || !ps_gauge_out_of_round(rim)) return;
    d->long_mm = rim->oval.long_mm, d->short_mm = rim->oval.short_mm;
}

/* ---- one by one ---- */

/* From the photos that look into the gap: an adjustment of their own, with its own facts. */
static ps_status add_gap(const worker *w, int role) {
    ps_dimension *d = start(w, PS_KIND_GAP, role);
    const ps_gauge_input *job = w->input->gap_job;
    ps_quantity q;
    int photos = 0;
    ps_status status = job ? ps_gauge_gap_value(w->ctx, job, role, &q, &photos, &d->reasons) : PS_NOT_FOUND;
    if (status != PS_OK) {
        d->reasons.count = 0;
        finish_missing(w, d);
        return status == PS_NO_MEMORY ? status : PS_OK;
    }
    d->over = job->gap[role].over;
    worker own = {.ctx = w->ctx, .input = job, .record = w->record, .pins_equal = w->pins_equal};
    status = ps_gauge_facts_read(w->ctx, job, w->record, &own.facts);
    if (status == PS_OK) finish(&own, d, &q, photos);
    return status;
}

/* The edge that tells most of a pin's size. */
static ps_edge pin_edge(const ps_rim_fact *rim) {
    return rim[PS_EDGE_PIN].had ? PS_EDGE_PIN : rim[PS_EDGE_BUSH_BORE].had ? PS_EDGE_BUSH_BORE : PS_EDGE_PIN_FACE;
}

static void add_pin(const worker *w, int role) {
    ps_dimension *d = start(w, PS_KIND_PIN, role);
    ps_edge edge = pin_edge(w->facts.rim[role]);
    const ps_rim_fact *rim = &w->facts.rim[role][edge];
    if (!rim->had) {
        finish_missing(w, d);
        return;
    }
    ps_quantity q = rim->diameter;
    note_ask(w, d, &q, rim->photos, (ps_ask){PS_ASK_DIAMETER, w->input->pin[role].rim[edge], 0, 0, 0});
    ps_gauge_doubts_pin(w->input, &w->facts, role, &d->reasons);
    ps_gauge_widen_few(d->kind, rim->photos, &q);
    ps_gauge_widen_pin(w->input, &w->facts, role, edge, &d->reasons, &q);
    finish(w, d, &q, rim->photos);
    tell_oval(d, rim);
    if (d->verdict != PS_VERDICT_MISSING) d->nominal_count = ps_trade_nominals(d->value_mm, d->u_mm, d->nominal);
}

/* Height at which the axes are compared: the bush's face, else what is nearest to it. */
static bool centre_height(const worker *w, int role, double *height_mm, bool *at_bush, int *photos) {
    static const ps_edge order[] = {PS_EDGE_BUSH_FACE, PS_EDGE_BUSH, PS_EDGE_PIN_FACE, PS_EDGE_PIN};
    const ps_rim_fact *rim = w->facts.rim[role];
    *photos = 0;
    for (int e = 0; e < PS_EDGE_COUNT; e++)
        if (rim[e].had && rim[e].photos > *photos) *photos = rim[e].photos;
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        if (!rim[order[i]].had) continue;
        *height_mm = rim[order[i]].height_mm;
        *at_bush = order[i] == PS_EDGE_BUSH_FACE || order[i] == PS_EDGE_BUSH;
        return true;
    }
    return false;
}

static ps_status add_centres(const worker *w) {
    ps_dimension *d = start(w, PS_KIND_CENTRES, -1);
    double height[PS_ROLE_COUNT];
    bool at_bush[PS_ROLE_COUNT], had = true;
    int photos[PS_ROLE_COUNT];
    for (int role = 0; role < PS_ROLE_COUNT; role++) had = centre_height(w, role, &height[role], &at_bush[role], &photos[role]) && had;
    ps_quantity q = {.value_mm = NAN};
    if (had) {
        ps_status status = ps_adjust_centres(w->ctx, w->input->solution, w->facts.axis[PS_ROLE_DIPPER], height[PS_ROLE_DIPPER],
                                             w->facts.axis[PS_ROLE_LINK], height[PS_ROLE_LINK], &q);
        if (status == PS_NO_MEMORY) return status;
        if (status != PS_OK) q.value_mm = NAN; /* axes far from parallel: no distance to speak of */
    }
    if (isnan(q.value_mm)) {
        finish_missing(w, d);
        return PS_OK;
    }
    note_ask(
        w, d, &q, photos[0] < photos[1] ? photos[0] : photos[1],
        (ps_ask){PS_ASK_CENTRES, w->facts.axis[PS_ROLE_DIPPER], w->facts.axis[PS_ROLE_LINK], height[PS_ROLE_DIPPER], height[PS_ROLE_LINK]});
    for (int role = 0; role < PS_ROLE_COUNT; role++)
        if (!at_bush[role]) ps_gauge_widen(&q, PS_SOURCE_AXES, hypot(height_u_mm, play_u_mm));
    for (int role = 0; role < PS_ROLE_COUNT; role++)
        if (ps_gauge_axis_loose(w->facts.rim[role]) || w->input->pin[role].unread) ps_gauge_widen(&q, PS_SOURCE_AXES, broken_axis_u_mm);
    ps_gauge_widen_centres(w->input, &q);
    ps_gauge_doubts_centres(w->input, &w->facts, &d->reasons);
    ps_gauge_widen_end(w->input, &d->reasons, &q);
    finish(w, d, &q, photos[0] < photos[1] ? photos[0] : photos[1]);
    return PS_OK;
}

/* One edge alone: the outer cylinder's, or the inner edge of a chamfer that does not show. */
static void add_lone_bush(const worker *w, int role) {
    const ps_rim_fact *rim = &w->facts.rim[role][PS_EDGE_BUSH_FACE];
    if (!rim->had) return;
    ps_dimension *d = start(w, PS_KIND_BUSH, role);
    ps_quantity q = rim->diameter;
    ps_gauge_doubts_bush(w->input, &w->facts, role, &d->reasons);
    ps_gauge_widen_few(d->kind, rim->photos, &q);
    ps_gauge_widen_bush(w->input, &w->facts, role, true, &d->reasons, &q);
    finish(w, d, &q, rim->photos);
}

static void add_bush(const worker *w, int role) {
    const ps_rim_fact *rim = &w->facts.rim[role][PS_EDGE_BUSH];
    if (!rim->had) {
        add_lone_bush(w, role);
        return;
    }
    ps_dimension *d = start(w, PS_KIND_BUSH, role);
    ps_gauge_doubts_bush(w->input, &w->facts, role, &d->reasons);
    ps_quantity q = rim->diameter;
    note_ask(w, d, &q, rim->photos, (ps_ask){PS_ASK_DIAMETER, w->input->pin[role].rim[PS_EDGE_BUSH], 0, 0, 0});
    ps_gauge_widen_few(d->kind, rim->photos, &q);
    ps_gauge_widen_bush(w->input, &w->facts, role, false, &d->reasons, &q);
    finish(w, d, &q, rim->photos);
    tell_oval(d, rim);
}

static ps_status add_proud(const worker *w, int role) {
    const ps_rim_fact *face = &w->facts.rim[role][PS_EDGE_PIN_FACE], *bush = &w->facts.rim[role][PS_EDGE_BUSH_FACE];
    ps_edge edge = bush->had ? PS_EDGE_BUSH_FACE : PS_EDGE_BUSH;
    bush = &w->facts.rim[role][edge];
    if (!face->had || !bush->had || w->input->pin[role].rim[PS_EDGE_PIN_FACE] == w->input->pin[role].rim[edge]) return PS_OK;
    ps_quantity q;
    ps_status status = ps_adjust_height_difference(w->ctx, w->input->solution, w->input->pin[role].rim[PS_EDGE_PIN_FACE],
                                                   w->input->pin[role].rim[edge], &q);
    if (status != PS_OK) return status;
    ps_dimension *d = start(w, PS_KIND_PROUD, role);
    note_ask(w, d, &q, face->photos < bush->photos ? face->photos : bush->photos,
             (ps_ask){PS_ASK_HEIGHT_DIFFERENCE, w->input->pin[role].rim[PS_EDGE_PIN_FACE], w->input->pin[role].rim[edge], 0, 0});
    ps_gauge_doubts_proud(w->input, &w->facts, role, &d->reasons);
    ps_gauge_widen_few(d->kind, face->photos < bush->photos ? face->photos : bush->photos, &q);
    ps_gauge_widen_proud(w->input, &w->facts, role, edge, &d->reasons, &q);
    finish(w, d, &q, face->photos < bush->photos ? face->photos : bush->photos);
    return PS_OK;
}

static bool equal_pins(const ps_gauge_facts *facts) {
    const ps_rim_fact *a = &facts->rim[PS_ROLE_DIPPER][PS_EDGE_PIN], *b = &facts->rim[PS_ROLE_LINK][PS_EDGE_PIN];
    return a->had && b->had && fabs(a->diameter.value_mm - b->diameter.value_mm) <= equal_mm && a->diameter.u_mm < equal_mm &&
           b->diameter.u_mm < equal_mm;
}

ps_status ps_gauge_dimensions(ps_context *ctx, const ps_gauge_input *input, ps_record *record) {
    if (!input || !input->options || !record) return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no options for the dimensions");
    ps_gauge_asks asks;
    worker w = {.ctx = ctx, .input = input, .record = record, .asks = &asks};
    memset(&asks, 0, sizeof asks);
    ps_status status = ps_gauge_facts_read(ctx, input, record, &w.facts);
    if (status != PS_OK) return status;
    w.pins_equal = equal_pins(&w.facts);
    record->dimension_count = 0;
    record->advice.count = record->plan_count = record->by_hand.count = 0;
    for (int role = 0; role < PS_ROLE_COUNT && status == PS_OK; role++) status = add_gap(&w, role);
    if (status != PS_OK) return status;
    for (int role = 0; role < PS_ROLE_COUNT; role++) add_pin(&w, role);
    status = add_centres(&w);
    for (int role = 0; role < PS_ROLE_COUNT && status == PS_OK; role++) add_bush(&w, role);
    for (int role = 0; role < PS_ROLE_COUNT && status == PS_OK; role++) status = add_proud(&w, role);
    if (status == PS_OK && input->options->monte_carlo > 0 && input->solution)
        status = ps_gauge_monte_carlo(ctx, input->options, input->solution, &asks, record);
    if (status == PS_OK) status = ps_gauge_plans(ctx, input, &w.facts, &asks, NULL, record);
    if (status == PS_OK) ps_gauge_advice(record);
    return status;
}
