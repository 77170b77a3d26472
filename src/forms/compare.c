/* Readings against photos: Bayes' rule over 'no mistake', the known mistakes of each value, mistakes that touch several values at
 * once, and 'something else'. What sizes of a side have in common (the print's scale) is integrated over. Numbers: docs/forms.md. */
#include "forms/compare.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/stats.h"
#include "forms/mistakes.h"
#include "pinspan/trade.h"

enum {
    READINGS = PS_FORMS_READINGS_MAX,
    NONE = PS_MISTAKE_COUNT,
    OTHER,
    JOINT,
    CLASSES,
    HYPOTHESES_MAX = 16,
    NODES_LEAST = 33,
    NODES_MOST = 801
};

/* Common practice, no source. */
static const double band = 2;                 /* 'inside' and 'agrees': within 2 u */
static const double differs_by_chance = 0.01; /* share of honest forms with any value called different */
static const double none_most = 0.1;          /* a mistake is named when 'no mistake' is less probable than this */
static const double named_least = 0.1;        /* ... and it itself more than this */
static const double joint_least = 0.5;
static const double listed_least = 0.01;
static const double scale_most = 4.5; /* sds that are integrated over */
static const double free_scale_sd = 0.05;
static const double misprint[] = {0.9407, 0.9727}; /* A4 on Letter and back, printed to fit: ratios of the papers' sides */

/* A joint explanation; mistake -1: none. */
typedef struct hypothesis {
    int mistake, side; /* side -1: both */
    double prior, ratio;
    bool free_ratio;
    double logarithm, probability, mean_scale[PS_FORMS_SIDES];
} hypothesis;

typedef struct worker {
    const ps_forms_job *job;
    const ps_side_facts *facts;
    ps_fact pin[PS_FORMS_SIDES][PS_ROLE_COUNT];
    int hypothesis_count;
    hypothesis hypothesis[HYPOTHESES_MAX];
    int branch_count[READINGS];
    ps_branch branch[READINGS][PS_BRANCHES_MAX];
    double share[READINGS][CLASSES], all[READINGS][CLASSES]; /* of one hypothesis; of all, weighted */
    double none_share[HYPOTHESES_MAX][READINGS];
} worker;

static bool covered(const hypothesis *h, const ps_forms_reading *r) {
    if (h->mistake == PS_MISTAKE_ROLES) return (int)r->side == h->side && r->kind != PS_KIND_CENTRES;
    if (h->mistake == PS_MISTAKE_SIDES) return !r->tape;
    if (h->mistake == PS_MISTAKE_ALL_INCH) return !r->tape && !r->inch;
    if (h->mistake == PS_MISTAKE_SHEET) return h->side < 0 || (int)r->side == h->side;
    return false;
}

static void scale_fact(ps_fact *f, const hypothesis *h) {
    f->mm *= h->ratio, f->own_mm *= h->ratio;
    f->shared_mm = h->free_ratio ? free_scale_sd * f->mm : f->shared_mm * h->ratio;
}

static void scale_facts(ps_side_facts *f, ps_fact *pin, const hypothesis *h) {
    scale_fact(&f->centres, h);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        ps_fact *const of_role[] = {&f->gap[role], &f->pin[role], &f->bush[role], &f->face[role], &pin[role]};
        for (size_t i = 0; i < sizeof of_role / sizeof of_role[0]; i++) scale_fact(of_role[i], h);
    }
}

/* What would be expected of each reading of the side. */
static void build(worker *w, const hypothesis *h, int side) {
    ps_side_facts facts[PS_FORMS_SIDES] = {w->facts[0], w->facts[1]};
    ps_fact pin[PS_FORMS_SIDES][PS_ROLE_COUNT];
    memcpy(pin, w->pin, sizeof pin);
    for (int s = 0; s < PS_FORMS_SIDES && h->mistake == PS_MISTAKE_SHEET; s++)
        if (h->side < 0 || h->side == s) scale_facts(&facts[s], pin[s], h);
    for (int i = 0; i < w->job->reading_count; i++) {
        const ps_forms_reading *r = &w->job->reading[i];
        if ((int)r->side != side) continue;
        bool in = covered(h, r);
        int from = in && h->mistake == PS_MISTAKE_SIDES ? 1 - side : side;
        ps_branch_view view = {.facts = &facts[from], .pin = pin[from], .ear_thickness_mm = w->job->ear_thickness_mm};
        view.other_side = &facts[1 - from], view.other_pin = pin[1 - from];
        view.exchanged = in && h->mistake == PS_MISTAKE_ROLES;
        view.inches = in && h->mistake == PS_MISTAKE_ALL_INCH;
        w->branch_count[i] = ps_mistake_branches(r, &view, w->branch[i]);
    }
}

static double normal(double z) {
    return fabs(z) < 12 ? 0.3989422804014327 * exp(-0.5 * z * z) : 0;
}

/* Density of a reading at scale s; its parts by class when wanted. */
static double density(const worker *w, int i, double s, double part[CLASSES]) {
    double read = w->job->reading[i].value_mm, other = ps_mistake_prior_other() * ps_mistake_density_other(read), sum = other;
    if (part) memset(part, 0, CLASSES * sizeof *part);
    if (part) part[OTHER] = other;
    for (int k = 0; k < w->branch_count[i]; k++) {
        const ps_branch *b = &w->branch[i][k];
        double p = b->weight * normal((read - b->mm - s * b->shared_mm) / b->own_mm) / b->own_mm;
        if (part) part[b->mistake < 0 ? NONE : b->mistake] += p;
        sum += p;
    }
    return sum;
}

static int node_count(const worker *w, int side) {
    double steep = 0;
    for (int i = 0; i < w->job->reading_count; i++)
        if ((int)w->job->reading[i].side == side && w->branch_count[i] > 0)
            steep = fmax(steep, fabs(w->branch[i][0].shared_mm) / w->branch[i][0].own_mm);
    double nodes = 2 * scale_most * steep / 0.4; /* steps of 0.4 of a reading's own sd */
    return nodes < NODES_LEAST ? NODES_LEAST : nodes > NODES_MOST ? NODES_MOST : (int)nodes;
}

/* Logarithm of the readings' density, integrated over the scale; w->share: how each reading divides; mean scale. */
static double integrate(worker *w, int side, double *mean_scale) {
    int nodes = node_count(w, side);
    double logs[NODES_MOST], most = -HUGE_VAL, total = 0, moment = 0;
    for (int n = 0; n < nodes; n++) {
        double s = scale_most * (2.0 * n / (nodes - 1) - 1);
        logs[n] = -0.5 * s * s;
        for (int i = 0; i < w->job->reading_count; i++)
            if ((int)w->job->reading[i].side == side && w->branch_count[i] > 0) logs[n] += log(density(w, i, s, NULL));
        most = fmax(most, logs[n]);
    }
    for (int i = 0; i < w->job->reading_count; i++)
        if ((int)w->job->reading[i].side == side) memset(w->share[i], 0, sizeof w->share[i]);
    for (int n = 0; n < nodes; n++) {
        double s = scale_most * (2.0 * n / (nodes - 1) - 1), weight = exp(logs[n] - most), part[CLASSES];
        total += weight, moment += weight * s;
        if (weight < 1e-9) continue;
        for (int i = 0; i < w->job->reading_count; i++) {
            if ((int)w->job->reading[i].side != side || w->branch_count[i] == 0) continue;
            double sum = density(w, i, s, part);
            for (int c = 0; c < CLASSES; c++) w->share[i][c] += weight * part[c] / sum;
        }
    }
    for (int i = 0; i < w->job->reading_count; i++)
        for (int c = 0; c < CLASSES; c++)
            if ((int)w->job->reading[i].side == side) w->share[i][c] /= total;
    *mean_scale = moment / total;
    return most + log(total * 2 * scale_most / (nodes - 1) * 0.3989422804014327);
}

/* ---- hypotheses ---- */

static int covered_count(const worker *w, const hypothesis *h, int kind) {
    int count = 0;
    for (int i = 0; i < w->job->reading_count; i++) {
        const ps_forms_reading *r = &w->job->reading[i];
        count += covered(h, r) && w->branch_count[i] > 0 && (kind < 0 || (int)r->kind == kind);
    }
    return count;
}

static void propose(worker *w, int mistake, int side, double part, double ratio, bool free_ratio) {
    hypothesis h = {mistake, side, part * ps_mistake_prior((ps_mistake)mistake), ratio, free_ratio, 0, 0, {0, 0}};
    bool pair = covered_count(w, &h, PS_KIND_PIN) >= 2 || covered_count(w, &h, PS_KIND_GAP) >= 2;
    if (mistake == PS_MISTAKE_ROLES ? !pair : covered_count(w, &h, -1) < 2) return;
    if (w->hypothesis_count < HYPOTHESES_MAX) w->hypothesis[w->hypothesis_count++] = h;
}

/* Mostly one print lies beside both sides, so both are off together or one alone; as likely as each other (common practice). */
static void propose_sheets(worker *w) {
    const hypothesis of[PS_FORMS_SIDES] = {{.mistake = PS_MISTAKE_SHEET, .side = 0}, {.mistake = PS_MISTAKE_SHEET, .side = 1}};
    bool both = covered_count(w, &of[0], -1) >= 2 && covered_count(w, &of[1], -1) >= 2;
    for (int side = both ? -1 : 0; side < PS_FORMS_SIDES; side++) {
        double part = both ? 1.0 / 3 : 1.0 / 2;
        for (int k = 0; k < 2; k++) propose(w, PS_MISTAKE_SHEET, side, 0.3 * part, misprint[k], false);
        propose(w, PS_MISTAKE_SHEET, side, 0.4 * part, 1, true);
    }
}

static void propose_all(worker *w) {
    w->hypothesis[w->hypothesis_count++] = (hypothesis){.mistake = -1, .side = -1, .ratio = 1};
    for (int side = 0; side < PS_FORMS_SIDES; side++) build(w, &w->hypothesis[0], side);
    for (int side = 0; side < PS_FORMS_SIDES; side++) propose(w, PS_MISTAKE_ROLES, side, 0.5, 1, false);
    propose_sheets(w);
    if (w->facts[0].centres.had && w->facts[1].centres.had) propose(w, PS_MISTAKE_SIDES, -1, 1, 1, false);
    propose(w, PS_MISTAKE_ALL_INCH, -1, 1, 1, false);
    double sum = 0;
    for (int k = 1; k < w->hypothesis_count; k++) sum += w->hypothesis[k].prior;
    w->hypothesis[0].prior = 1 - sum;
}

/* First the densities, then how each reading divides, weighted: the second pass is needed because weights come last. */
static void weigh(worker *w) {
    double most = -HUGE_VAL, total = 0;
    for (int k = 0; k < w->hypothesis_count; k++) {
        hypothesis *h = &w->hypothesis[k];
        h->logarithm = log(h->prior);
        for (int side = 0; side < PS_FORMS_SIDES; side++) {
            build(w, h, side);
            h->logarithm += integrate(w, side, &h->mean_scale[side]);
        }
        most = fmax(most, h->logarithm);
    }
    for (int k = 0; k < w->hypothesis_count; k++) total += exp(w->hypothesis[k].logarithm - most);
    for (int k = 0; k < w->hypothesis_count; k++) {
        hypothesis *h = &w->hypothesis[k];
        h->probability = exp(h->logarithm - most) / total;
        if (h->probability < 1e-6) continue;
        double unused;
        for (int side = 0; side < PS_FORMS_SIDES; side++) {
            build(w, h, side);
            (void)integrate(w, side, &unused);
        }
        for (int i = 0; i < w->job->reading_count; i++) {
            if (w->branch_count[i] == 0) continue;
            w->none_share[k][i] = w->share[i][NONE];
            bool in = h->mistake >= 0 && covered(h, &w->job->reading[i]);
            for (int c = 0; c < CLASSES; c++) w->all[i][in && c == NONE ? JOINT : c] += h->probability * w->share[i][c];
        }
    }
    for (int side = 0; side < PS_FORMS_SIDES; side++) build(w, &w->hypothesis[0], side);
}

/* ---- the outcome ---- */

static double branch_u(const ps_branch *b) {
    return hypot(b->own_mm, b->shared_mm);
}

/* The branch of the mistake that the reading is nearest to, in its own sds. */
static const ps_branch *nearest(const worker *w, int i, int mistake) {
    const ps_branch *best = NULL;
    double read = w->job->reading[i].value_mm, least = HUGE_VAL;
    for (int k = 0; k < w->branch_count[i]; k++) {
        const ps_branch *b = &w->branch[i][k];
        double z = fabs(read - b->mm) / branch_u(b);
        if (b->mistake != mistake || z >= least) continue;
        least = z;
        best = b;
    }
    return best;
}

static void list_suspects(const worker *w, int i, ps_forms_comparison *c) {
    const ps_forms_reading *r = &w->job->reading[i];
    ps_branch_view view = {.facts = &w->facts[r->side], .pin = w->pin[r->side], .ear_thickness_mm = w->job->ear_thickness_mm};
    bool taken[PS_MISTAKE_COUNT] = {false};
    while (c->suspect_count < PS_FORMS_SUSPECTS_MAX) {
        int best = -1;
        for (int m = 0; m < PS_MISTAKE_COUNT; m++)
            if (!taken[m] && w->all[i][m] >= listed_least && (best < 0 || w->all[i][m] > w->all[i][best])) best = m;
        if (best < 0) return;
        taken[best] = true;
        const ps_branch *b = nearest(w, i, best);
        if (!b) continue;
        ps_forms_suspect *s = &c->suspect[c->suspect_count++];
        *s = (ps_forms_suspect){.mistake = (ps_mistake)best, .predicted_mm = b->mm, .u_mm = branch_u(b), .probability = w->all[i][best]};
        s->inside = fabs(r->value_mm - b->mm) <= band * s->u_mm;
        s->named = s->inside && c->normalised_error > 1 && c->probability_none <= none_most && s->probability >= named_least;
        ps_mistake_evidence(r, &view, b, s->evidence, sizeof s->evidence);
    }
}

static void say(const ps_forms_reading *r, ps_forms_comparison *c) {
    const ps_forms_suspect *s = ps_forms_accused(c);
    if (!isfinite(c->normalised_error))
        (void)snprintf(c->text, sizeof c->text, "No photo shows this size, so the value stands alone.");
    else if (s)
        (void)snprintf(c->text, sizeof c->text, "%.1f mm %s the photos' %.1f mm. Likely mistake (%.0f %%): %s", r->value_mm,
                       c->match == PS_MATCH_DIFFERS ? "differs from" : "does not fit", c->expected_mm, 100 * s->probability, s->evidence);
    else if (c->match == PS_MATCH_AGREES)
        (void)snprintf(c->text, sizeof c->text, "Agrees with the photos: %+.1f mm, band of the difference %.1f mm.", c->difference_mm,
                       2 * c->u_difference_mm);
    else if (c->match == PS_MATCH_DIFFERS && c->probability_joint > 0.5)
        (void)snprintf(c->text, sizeof c->text,
                       "Differs from the photos by %+.1f mm, as other values of the form do: see the mistake that "
                       "touches several values.",
                       c->difference_mm);
    else if (c->match == PS_MATCH_DIFFERS)
        (void)snprintf(c->text, sizeof c->text,
                       "Differs from the photos by %+.1f mm (band %.1f mm), and no known mistake explains it by itself.", c->difference_mm,
                       2 * c->u_difference_mm);
    else
        (void)snprintf(c->text, sizeof c->text, "Cannot be told: %+.1f mm from the photos, band of the difference %.1f mm.",
                       c->difference_mm, 2 * c->u_difference_mm);
}

/* `compared`: how many values are compared; the more, the larger a difference that chance makes. */
static void outcome(const worker *w, int i, int compared, double need_mm, ps_forms_comparison *c) {
    const ps_forms_reading *r = &w->job->reading[i];
    c->expected_mm = c->u_expected_mm = c->difference_mm = c->u_difference_mm = c->normalised_error = NAN;
    if (w->branch_count[i] > 0) {
        const ps_branch *none = &w->branch[i][0];
        c->expected_mm = none->mm;
        c->difference_mm = r->value_mm - none->mm, c->u_difference_mm = branch_u(none);
        c->u_expected_mm = sqrt(fmax(c->u_difference_mm * c->u_difference_mm - c->u_read_mm * c->u_read_mm, 0));
        c->normalised_error = fabs(c->difference_mm) / (band * c->u_difference_mm);
        double differs_from = ps_normal_quantile(1 - differs_by_chance / (2 * compared)) / band;
        bool narrow = band * c->u_difference_mm <= 2 * need_mm; /* agreeing within a wider band shows nothing */
        c->match = c->normalised_error > differs_from   ? PS_MATCH_DIFFERS
                   : c->normalised_error <= 1 && narrow ? PS_MATCH_AGREES
                                                        : PS_MATCH_CANNOT_TELL;
        c->probability_none = w->all[i][NONE], c->probability_other = w->all[i][OTHER], c->probability_joint = w->all[i][JOINT];
        list_suspects(w, i, c);
    } else {
        c->probability_none = c->probability_other = c->probability_joint = NAN;
    }
    say(r, c);
}

/* ---- joint mistakes ---- */

/* Of a sheet that is off by a ratio of its own: one ratio, on both sides where both are meant. */
static double common_scale(const hypothesis *h) {
    return h->side < 0 ? 0.5 * (h->mean_scale[0] + h->mean_scale[1]) : h->mean_scale[h->side];
}

static void explain(worker *w, int k, ps_forms_joint *j) {
    const hypothesis *h = &w->hypothesis[k];
    double own_none[READINGS];
    j->chi2 = j->chi2_none = 0, j->readings = 0;
    for (int i = 0; i < w->job->reading_count; i++)
        own_none[i] = w->branch_count[i] > 0 ? (w->job->reading[i].value_mm - w->branch[i][0].mm) / branch_u(&w->branch[i][0]) : NAN;
    for (int side = 0; side < PS_FORMS_SIDES; side++) build(w, h, side);
    for (int i = 0; i < w->job->reading_count; i++) {
        /* A value with a mistake of its own besides speaks neither for nor against. */
        if (!covered(h, &w->job->reading[i]) || w->branch_count[i] == 0 || w->none_share[k][i] < 0.5) continue;
        const ps_branch *b = &w->branch[i][0];
        double z = h->free_ratio ? (w->job->reading[i].value_mm - b->mm - common_scale(h) * b->shared_mm) / b->own_mm
                                 : (w->job->reading[i].value_mm - b->mm) / branch_u(b);
        j->chi2 += z * z;
        j->chi2_none += own_none[i] * own_none[i];
        j->readings++;
    }
    for (int side = 0; side < PS_FORMS_SIDES; side++) build(w, &w->hypothesis[0], side);
}

static void joint_evidence(ps_forms_joint *j) {
    const char *side = j->side < 0 ? "both sides" : j->side == PS_SIDE_MACHINE ? "the machine side" : "the attachment side";
    if (j->mistake == PS_MISTAKE_SHEET)
        (void)snprintf(j->evidence, sizeof j->evidence,
                       "%d values of %s differ from the photos by one ratio, %.4f%s. Then the photos are off, and not the form.",
                       j->readings, side, j->ratio,
                       fabs(j->ratio - misprint[0]) < 0.004   ? " (a page fitted from A4 to Letter has 0.941)"
                       : fabs(j->ratio - misprint[1]) < 0.004 ? " (a page fitted from Letter to A4 has 0.973)"
                                                              : "");
    else if (j->mistake == PS_MISTAKE_ROLES)
        (void)snprintf(j->evidence, sizeof j->evidence,
                       "%d values of %s fit the photos when dipper and link are exchanged, and not as they stand. Either can be the one "
                       "that is mixed up, form or photos.",
                       j->readings, side);
    else if (j->mistake == PS_MISTAKE_SIDES)
        (void)snprintf(j->evidence, sizeof j->evidence, "%d values fit the photos of the other side, and not of their own.", j->readings);
    else
        (void)snprintf(j->evidence, sizeof j->evidence, "%d values fit the photos when they are read as inches.", j->readings);
}

static void add_joints(worker *w, ps_forms_result *result) {
    for (int k = 1; k < w->hypothesis_count; k++) {
        const hypothesis *h = &w->hypothesis[k];
        ps_forms_joint *j = NULL;
        for (int n = 0; n < result->joint_count; n++)
            if ((int)result->joint[n].mistake == h->mistake && result->joint[n].side == h->side) j = &result->joint[n];
        if (!j && (result->joint_count == PS_FORMS_JOINTS_MAX || h->probability < listed_least)) continue;
        ps_forms_joint one = {.mistake = (ps_mistake)h->mistake, .side = h->side, .probability = h->probability, .ratio = NAN};
        if (h->mistake == PS_MISTAKE_SHEET) one.ratio = h->free_ratio ? 1 + free_scale_sd * common_scale(h) : h->ratio;
        explain(w, k, &one);
        if (j) { /* the variants of one mistake count together, told by the likelier */
            double sum = j->probability + h->probability;
            if (h->probability > j->probability) *j = one;
            j->probability = sum;
        } else {
            result->joint[result->joint_count++] = one;
        }
    }
    for (int n = 0; n < result->joint_count; n++) {
        ps_forms_joint *j = &result->joint[n];
        j->named = j->probability >= joint_least && j->readings >= 2 && j->chi2 <= ps_chi2_value(0.05, j->readings) &&
                   j->chi2_none > ps_chi2_value(0.05, j->readings);
        joint_evidence(j);
    }
}

/* Whatever can be had without the photos of the dimension. */
static void turn(const worker *w, const ps_forms_reading *r, ps_forms_comparison *c) {
    const ps_side_facts *f = &w->facts[r->side];
    const ps_fact *pin = w->pin[r->side];
    ps_turned t;
    c->size_mm = c->u_size_mm = NAN;
    if (!ps_reading_turn(r, f, pin, &t)) return;
    double u = hypot(t.by_reading * c->u_read_mm, t.extra_u_mm);
    for (int role = 0; role < PS_ROLE_COUNT; role++) u = hypot(u, t.by_pin[role] != 0 ? t.by_pin[role] * ps_fact_u(&pin[role]) : 0);
    c->size_mm = t.mm;
    c->u_size_mm = hypot(u, t.by_rise * f->rise.own_mm);
}

ps_status ps_forms_compare(ps_context *ctx, const ps_forms_job *job, const ps_side_facts facts[PS_FORMS_SIDES], ps_forms_result *result) {
    worker *w = calloc(1, sizeof *w);
    if (!w) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for comparing the form");
    w->job = job, w->facts = facts;
    for (int side = 0; side < PS_FORMS_SIDES; side++) ps_forms_facts_pins(job, (ps_side)side, &facts[side], w->pin[side]);
    propose_all(w);
    weigh(w);
    int compared = 0;
    for (int i = 0; i < job->reading_count; i++) compared += w->branch_count[i] > 0;
    result->comparison_count = job->reading_count;
    result->joint_count = 0;
    for (int i = 0; i < job->reading_count; i++) {
        const ps_forms_reading *r = &job->reading[i];
        ps_forms_comparison *c = &result->comparison[i];
        *c = (ps_forms_comparison){.reading = i, .read_mm = r->value_mm, .u_read_mm = ps_reading_u(r)};
        ps_trade_name(r->side, r->kind, r->role, c->name);
        turn(w, r, c);
        outcome(w, i, compared, ps_trade_need_mm(r->kind, job->coupler), c);
    }
    add_joints(w, result);
    free(w);
    return PS_OK;
}

const ps_forms_suspect *ps_forms_accused(const ps_forms_comparison *c) {
    return c->suspect_count > 0 && c->suspect[0].named ? &c->suspect[0] : NULL;
}

const ps_forms_joint *ps_forms_accused_joint(const ps_forms_result *result, const ps_forms_reading *r) {
    for (int n = 0; n < result->joint_count; n++) {
        const ps_forms_joint *j = &result->joint[n];
        hypothesis h = {.mistake = (int)j->mistake, .side = j->side};
        if (j->named && covered(&h, r)) return j;
    }
    return NULL;
}
