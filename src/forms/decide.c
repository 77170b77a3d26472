/* The decision for each dimension: what to order by, or what to measure again. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/stats.h"
#include "forms/ask.h"
#include "forms/combine.h"
#include "forms/compare.h"
#include "forms/rules.h"
#include "gauge/how.h"
#include "pinspan/trade.h"

/* As for the verdict `good`: at most 1 % outside the need. A size taken twice by hand, or by hand and in agreement with photos that
 * have a doubt, is held to its band (95 %): two independent ways have then met (common practice; docs/forms.md). */
static const double good_risk = 0.01, hand_band = 2;
/* A named mistake lets the photos stand only if it is this probable, all named ones together. */
static const double convinced = 0.9;

/* All that is known of one dimension. */
typedef struct evidence {
    const ps_dimension *photo; /* NULL: none */
    ps_fact fact;
    ps_estimate estimate[PS_ESTIMATES_MAX]; /* the photo's first, where had; then the readings that stand */
    bool from_tape[PS_ESTIMATES_MAX];
    int count, photo_count;               /* photo_count: 0 or 1 */
    const ps_forms_comparison *differing; /* a reading that differs or is accused; NULL */
    const ps_forms_suspect *accused;
    const ps_forms_joint *joint;
    bool forms, tapes, unsure; /* readings that stand, by kind; unsure: one that can be told neither way */
} evidence;

static void gather_reading(const ps_forms_job *job, const ps_forms_result *result, int i, const ps_side_facts *f, const ps_fact *pin,
                           evidence *e, ps_forms_decision *d) {
    const ps_forms_reading *r = &job->reading[i];
    const ps_forms_comparison *c = &result->comparison[i];
    ps_estimate one;
    double *value = r->tape ? &d->tape_mm : &d->form_mm, *U = r->tape ? &d->tape_U_mm : &d->form_U_mm;
    ps_match *match = r->tape ? &d->tape_match : &d->form_match;
    bool had = ps_estimate_reading(r, i, f, pin, &one), first = isnan(*value);
    if (had && first) *value = one.mm, *U = 2 * ps_estimate_u(&one);
    if (first || c->match == PS_MATCH_DIFFERS) *match = c->match;
    if (r->kind == PS_KIND_GAP) d->over |= r->way == PS_WAY_OVER;
    const ps_forms_suspect *accused = ps_forms_accused(c);
    const ps_forms_joint *joint = ps_forms_accused_joint(result, r);
    /* A gap that no photo shows is not touched by a sheet printed to fit. */
    if (joint && joint->mistake == PS_MISTAKE_SHEET && r->kind == PS_KIND_GAP && !isfinite(c->normalised_error)) joint = NULL;
    if (joint) e->joint = joint;
    if (accused || c->match == PS_MATCH_DIFFERS) {
        if (!e->differing || accused) e->differing = c, e->accused = accused;
        return;
    }
    if (isfinite(c->normalised_error) && c->match == PS_MATCH_CANNOT_TELL) e->unsure = true;
    if (!had || joint || (isfinite(c->normalised_error) && c->normalised_error > 1)) return;
    e->from_tape[e->count] = r->tape;
    e->estimate[e->count++] = one;
    *(r->tape ? &e->tapes : &e->forms) = true;
}

static void gather(const ps_forms_job *job, const ps_forms_result *result, const ps_side_facts *f, evidence *e, ps_forms_decision *d) {
    ps_fact pin[PS_ROLE_COUNT];
    ps_forms_facts_pins(job, d->side, f, pin);
    e->photo = ps_forms_dimension(&result->record[d->side], d->kind, d->role);
    e->fact = d->kind == PS_KIND_CENTRES ? f->centres : d->kind == PS_KIND_PIN ? f->pin[d->role] : f->gap[d->role];
    if (e->fact.had) {
        d->photo_mm = e->fact.mm, d->photo_U_mm = 2 * ps_fact_u(&e->fact);
        d->photo_verdict = e->photo->verdict;
        d->over = e->photo->over;
        e->estimate[e->count++] = ps_estimate_photo(&e->fact);
        e->photo_count = 1;
    }
    for (int i = 0; i < job->reading_count; i++) {
        const ps_forms_reading *r = &job->reading[i];
        if (r->side == d->side && r->kind == d->kind && r->role == d->role) gather_reading(job, result, i, f, pin, e, d);
    }
}

static bool readings_agree(const evidence *e) {
    for (int a = e->photo_count; a < e->count; a++)
        for (int b = a + 1; b < e->count; b++)
            if (fabs(e->estimate[a].mm - e->estimate[b].mm) > 2 * ps_estimate_u_difference(&e->estimate[a], &e->estimate[b])) return false;
    return true;
}

static void settle(ps_forms_decision *d, ps_forms_source source, double mm, double u, const char *why) {
    d->source = source;
    d->settled = true;
    d->value_mm = mm, d->u_mm = u, d->U_mm = 2 * u;
    (void)snprintf(d->why, sizeof d->why, "%s", why);
}

/* Not settled: the likeliest value all the same, for whoever reads on. */
static void leave_open(ps_forms_decision *d, const evidence *e, const char *why) {
    int first = e->photo_count && e->count > 1 && e->photo->verdict != PS_VERDICT_GOOD ? 1 : 0; /* a hand's value before a doubted one */
    if (e->count > 0) {
        d->value_mm = e->estimate[first].mm, d->u_mm = ps_estimate_u(&e->estimate[first]), d->U_mm = 2 * d->u_mm;
        d->source = first < e->photo_count ? PS_FROM_PHOTO : e->from_tape[first] ? PS_FROM_TAPE : PS_FROM_FORM;
    }
    (void)snprintf(d->why, sizeof d->why, "%s", why);
}

static void decide_joint(ps_forms_decision *d, const evidence *e) {
    char why[PS_FORMS_SENTENCE];
    (void)snprintf(why, sizeof why, "Likely %s (%.0f %%).", ps_mistake_text(e->joint->mistake), 100 * e->joint->probability);
    leave_open(d, e, why);
    if (e->joint->mistake == PS_MISTAKE_SHEET && isfinite(d->form_mm)) { /* then it is the photos that are off */
        d->value_mm = d->form_mm, d->U_mm = d->form_U_mm, d->u_mm = 0.5 * d->U_mm;
        d->source = PS_FROM_FORM;
    }
}

/* Photos without a doubt. */
static void decide_good(ps_forms_decision *d, const evidence *e) {
    char why[PS_FORMS_SENTENCE];
    double named = 0, mm, u;
    if (e->differing)
        for (int k = 0; k < e->differing->suspect_count; k++)
            named += e->differing->suspect[k].named ? e->differing->suspect[k].probability : 0;
    bool combined = e->count > 1 && ps_estimate_combine(e->estimate, e->count, &mm, &u, NULL);
    if (!combined) mm = e->fact.mm, u = ps_fact_u(&e->fact);
    ps_forms_source source = combined ? PS_FROM_COMBINED : PS_FROM_PHOTO;
    if (e->differing && e->accused && named >= convinced) {
        (void)snprintf(why, sizeof why, "The photos are good. A value by hand is off by %+.1f mm, as if %s (%.0f %%); it is not used.",
                       e->differing->difference_mm, ps_mistake_text(e->accused->mistake), 100 * e->accused->probability);
        settle(d, source, mm, u, why);
    } else if (e->differing && combined) {
        (void)snprintf(why, sizeof why,
                       "The photos are good and another reading by hand agrees with them; the value that is off by %+.1f mm is not used.",
                       e->differing->difference_mm);
        settle(d, source, mm, u, why);
    } else if (e->differing) {
        (void)snprintf(why, sizeof why, "The photos are good (%.1f mm), but a value by hand differs by %+.1f mm and %s.", e->fact.mm,
                       e->differing->difference_mm, e->accused ? "what went wrong is not sure" : "no known mistake explains it");
        leave_open(d, e, why);
    } else if (combined) {
        settle(d, source, mm, u, "The photos are good and what was read by hand agrees; both are combined.");
    } else {
        settle(d, source, mm, u,
               e->unsure ? "The photos are good; the value by hand is too uncertain, or a little too far off, to be combined."
                         : "The photos are good.");
    }
}

/* Photos with a doubt, or none: the readings by hand must carry it. */
static void decide_by_hand(ps_forms_decision *d, const evidence *e) {
    int hands = e->count - e->photo_count, doubts = e->photo ? e->photo->reasons.count : 0;
    bool only_wide = e->photo_count && doubts == 1 && ps_notes_have(&e->photo->reasons, PS_CODE_BAND_WIDE);
    double mm, u, tail;
    if (e->differing) {
        leave_open(d, e,
                   e->accused ? "The photos have a doubt and the value by hand looks mistaken."
                              : "The photos have a doubt and the value by hand differs from them.");
        return;
    }
    if (hands == 0) {
        leave_open(d, e,
                   e->photo_count ? "The photos have a doubt and nothing was read by hand."
                                  : "No photo shows it and nothing was read by hand.");
        return;
    }
    if (!readings_agree(e)) {
        leave_open(d, e, "The readings by hand disagree with each other.");
        return;
    }
    ps_forms_source by_hand = e->tapes && e->forms ? PS_FROM_COMBINED : e->tapes ? PS_FROM_TAPE : PS_FROM_FORM;
    if (only_wide && ps_estimate_combine(e->estimate, e->count, &mm, &u, NULL)) {
        tail = 2 * ps_normal_cdf(-d->need_mm / u);
        if (tail <= good_risk) {
            settle(d, PS_FROM_COMBINED, mm, u, "The photos' band was too wide by itself; with what was read by hand it is narrow enough.");
            return;
        }
    }
    if (!ps_estimate_combine(e->estimate + e->photo_count, hands, &mm, &u, NULL)) {
        leave_open(d, e, "The readings by hand cannot be combined.");
        return;
    }
    bool twice = hands >= 2 || (e->photo_count && !e->unsure);
    if (twice && hand_band * u <= d->need_mm)
        settle(d, by_hand, mm, u,
               e->photo_count ? "The photos have a doubt, but the value by hand agrees with them and is close enough by itself."
                              : "No photo shows it; independent readings by hand agree.");
    else
        leave_open(d, e,
                   !twice ? "It rests on a single reading by hand that nothing checks."
                          : "What was read by hand is not close enough by itself, and the photos have a doubt.");
}

static void finish(ps_forms_decision *d) {
    if (isfinite(d->value_mm) && d->kind == PS_KIND_PIN) d->nominal_count = ps_trade_nominals(d->value_mm, d->u_mm, d->nominal);
    if (d->settled && d->kind == PS_KIND_GAP) {
        /* To a tenth, and to the safe side: what 'surely enters' must not be rounded up. 1e-6: 297.6 stays 297.6 in binary. */
        double tenths = 10 * (d->over ? d->value_mm + d->U_mm : d->value_mm - d->U_mm);
        d->enters_mm = (d->over ? ceil(tenths - 1e-6) : floor(tenths + 1e-6)) / 10;
        d->shims_mm = d->U_mm;
    }
    if (d->settled) return;
    char how[320];
    ps_gauge_how(d->side, d->kind, d->role, false, d->over, how);
    (void)snprintf(d->ask, sizeof d->ask, "%s", how);
    d->ask_with = ps_trade_instrument(d->kind);
}

static void decide_one(const ps_forms_job *job, const ps_forms_result *result, const ps_side_facts *f, ps_forms_decision *d) {
    evidence e = {0};
    d->photo_mm = d->photo_U_mm = d->form_mm = d->form_U_mm = d->tape_mm = d->tape_U_mm = NAN;
    d->value_mm = d->u_mm = d->U_mm = d->enters_mm = d->shims_mm = NAN;
    d->need_mm = ps_trade_need_mm(d->kind, job->coupler);
    ps_trade_name(d->side, d->kind, d->role, d->name);
    gather(job, result, f, &e, d);
    if (e.joint)
        decide_joint(d, &e);
    else if (e.photo_count && e.photo->verdict == PS_VERDICT_GOOD)
        decide_good(d, &e);
    else
        decide_by_hand(d, &e);
    finish(d);
}

static void decide_all(const ps_forms_job *job, const ps_side_facts *facts, ps_forms_result *result) {
    static const struct {
        ps_kind kind;
        int role;
    } five[] = {{PS_KIND_GAP, 0}, {PS_KIND_GAP, 1}, {PS_KIND_PIN, 0}, {PS_KIND_PIN, 1}, {PS_KIND_CENTRES, -1}};
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) {
        ps_forms_decision *d = &result->decision[i];
        *d = (ps_forms_decision){.side = (ps_side)(i / 5), .kind = five[i % 5].kind, .role = five[i % 5].role};
        decide_one(job, result, &facts[d->side], d);
    }
}

ps_status ps_forms_decide(ps_context *ctx, const ps_forms_job *job, ps_forms_result *result) {
    ps_side_facts facts[PS_FORMS_SIDES];
    for (int side = 0; side < PS_FORMS_SIDES; side++) {
        result->record[side].side = (ps_side)side;
        facts[side] = ps_forms_facts(&result->record[side]);
    }
    ps_status status = ps_forms_compare(ctx, job, facts, result);
    if (status != PS_OK) return status;
    decide_all(job, facts, result);
    ps_forms_find(job, result);
    return ps_forms_ask(ctx, job, result);
}
