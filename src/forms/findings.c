/* What both sides say together. The rules and their numbers are in rules.c. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "forms/rules.h"

static void find(ps_forms_result *result, ps_rule_code code, ps_forms_weight weight, const char *format, ...) PS_PRINTF(4, 5);
static void find(ps_forms_result *result, ps_rule_code code, ps_forms_weight weight, const char *format, ...) {
    if (result->finding_count == PS_FORMS_FINDINGS_MAX) return;
    ps_forms_finding *f = &result->finding[result->finding_count++];
    *f = (ps_forms_finding){.weight = weight};
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(f->text, sizeof f->text, format, arguments);
    va_end(arguments);
    (void)snprintf(f->code, sizeof f->code, "%s", ps_rules_get(code)->code);
    (void)snprintf(f->ground, sizeof f->ground, "%s", ps_rules_get(code)->ground);
}

static const ps_forms_decision *decision(const ps_forms_result *result, ps_side side, ps_kind kind, int role) {
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) {
        const ps_forms_decision *d = &result->decision[i];
        if (d->side == side && d->kind == kind && (kind == PS_KIND_CENTRES || d->role == role)) return d;
    }
    return &result->decision[0];
}

static bool both(const ps_forms_decision *a, const ps_forms_decision *b) {
    return isfinite(a->value_mm) && isfinite(b->value_mm);
}

/* What is open is asked about anyway: the finding is then said, and no second question made of it. */
static ps_forms_weight asking(const ps_forms_decision *a, const ps_forms_decision *b) {
    return a->settled && b->settled ? PS_WEIGHT_ASK : PS_WEIGHT_NOTE;
}

/* Differs by more than `most`, whatever of the bands is true. */
static bool surely_over(double difference, double U, double most) {
    return fabs(difference) - U > most;
}

/* Neither fits nor differs: said so, since 'match' would promise what nobody knows. True where that was the case. */
static bool too_vague(ps_forms_result *result, ps_rule_code code, const char *what, const ps_forms_decision *a, const ps_forms_decision *m,
                      double U) {
    if (U <= ps_rules_get(code)->vague_mm) return false;
    find(result, code, PS_WEIGHT_NOTE,
         "%s of attachment (%.1f mm) and machine (%.1f mm) cannot be held against each other yet: their "
         "difference is known to ± %.1f mm only.",
         what, a->value_mm, m->value_mm, U);
    return true;
}

static void pins_match(ps_forms_result *result, int role) {
    const ps_forms_decision *a = decision(result, PS_SIDE_ATTACHMENT, PS_KIND_PIN, role),
                            *m = decision(result, PS_SIDE_MACHINE, PS_KIND_PIN, role);
    if (!both(a, m)) return;
    double difference = a->value_mm - m->value_mm, U = hypot(a->U_mm, m->U_mm);
    const char *pin = ps_role_word((ps_role)role);
    if (surely_over(difference, U, ps_rules_get(PS_RULE_PINS_MATCH)->high))
        find(result, PS_RULE_PINS_MATCH, asking(a, m),
             "The %s pins of attachment (%.1f mm) and machine (%.1f mm) differ by %.1f mm. Is the attachment meant for this machine, and "
             "was each "
             "diameter taken on the working cylinder?",
             pin, a->value_mm, m->value_mm, fabs(difference));
    else if (!too_vague(result, PS_RULE_PINS_MATCH, role == PS_ROLE_DIPPER ? "The dipper pins" : "The link pins", a, m, U))
        find(result, PS_RULE_PINS_MATCH, PS_WEIGHT_FINE, "The %s pins of both sides match within their bands (%+.1f mm ± %.1f).", pin,
             difference, U);
}

static void gaps_match(ps_forms_result *result, int role) {
    const ps_forms_decision *a = decision(result, PS_SIDE_ATTACHMENT, PS_KIND_GAP, role),
                            *m = decision(result, PS_SIDE_MACHINE, PS_KIND_GAP, role);
    if (!both(a, m)) return;
    double spare = a->value_mm - m->value_mm, U = hypot(a->U_mm, m->U_mm), most = ps_rules_get(PS_RULE_GAPS_MATCH)->high;
    const char *pin = ps_role_word((ps_role)role);
    if (m->over && spare + U < 0)
        find(result, PS_RULE_GAPS_MATCH, asking(a, m),
             "At the %s pin the machine's boss (%.1f mm) is wider than the attachment's gap (%.1f mm): it cannot enter. Please measure "
             "both again, "
             "bush face to bush face and over the boss.",
             pin, m->value_mm, a->value_mm);
    else if (surely_over(spare, U, most))
        find(result, PS_RULE_GAPS_MATCH, asking(a, m),
             "At the %s pin the gaps of attachment (%.1f mm) and machine (%.1f mm) differ by more than %.0f mm of shims. Were both taken "
             "from bush "
             "face to bush face, and not ear plate to ear plate?",
             pin, a->value_mm, m->value_mm, most);
    else if (!too_vague(result, PS_RULE_GAPS_MATCH, role == PS_ROLE_DIPPER ? "The gaps at the dipper pin" : "The gaps at the link pin", a,
                        m, U))
        find(result, PS_RULE_GAPS_MATCH, PS_WEIGHT_FINE, "At the %s pin both gaps fit with shims (%+.1f mm ± %.1f).", pin, spare, U);
}

static void centres_match(ps_forms_result *result) {
    const ps_forms_decision *a = decision(result, PS_SIDE_ATTACHMENT, PS_KIND_CENTRES, -1),
                            *m = decision(result, PS_SIDE_MACHINE, PS_KIND_CENTRES, -1);
    if (!both(a, m)) return;
    double difference = a->value_mm - m->value_mm, U = hypot(a->U_mm, m->U_mm);
    bool over = surely_over(difference, U, ps_rules_get(PS_RULE_CENTRES_MATCH)->high);
    if (over && !(a->settled && m->settled)) /* an open value may be what is wrong: nothing is said of levers then */
        find(result, PS_RULE_CENTRES_MATCH, PS_WEIGHT_NOTE,
             "The centres of attachment (%.1f mm) and machine (%.1f mm), as known so far, differ by %.1f mm; at least one of them is still "
             "open.",
             a->value_mm, m->value_mm, fabs(difference));
    else if (over)
        find(result, PS_RULE_CENTRES_MATCH, PS_WEIGHT_NOTE,
             "The attachment's centres (%.1f mm) are %.1f mm %s than the machine's (%.1f mm): the link acts on a %s lever, so break-out is "
             "%s and "
             "the curl's range is %s. How much is not worked out here.",
             a->value_mm, fabs(difference), difference > 0 ? "longer" : "shorter", m->value_mm, difference > 0 ? "longer" : "shorter",
             difference > 0 ? "somewhat higher" : "somewhat lower", difference > 0 ? "smaller" : "larger");
    else if (!too_vague(result, PS_RULE_CENTRES_MATCH, "The centres", a, m, U))
        find(result, PS_RULE_CENTRES_MATCH, PS_WEIGHT_FINE, "The centres of both sides match (%+.1f mm ± %.1f).", difference, U);
}

static void pins_unequal(const ps_forms_job *job, ps_forms_result *result, ps_side side) {
    const ps_forms_decision *d = decision(result, side, PS_KIND_PIN, PS_ROLE_DIPPER),
                            *l = decision(result, side, PS_KIND_PIN, PS_ROLE_LINK);
    if (!both(d, l) || !(job->machine.class_t < ps_rules_unequal_below_t())) return;
    double difference = d->value_mm - l->value_mm, U = hypot(d->U_mm, l->U_mm);
    if (!surely_over(difference, U, ps_rules_get(PS_RULE_PINS_UNEQUAL)->high)) return;
    /* Both settled from more than one source: then it is known, and only said. */
    bool sure = d->settled && l->settled && d->source == PS_FROM_COMBINED && l->source == PS_FROM_COMBINED;
    find(result, PS_RULE_PINS_UNEQUAL, sure ? PS_WEIGHT_NOTE : asking(d, l),
         "The pins of the %s side are unequal (dipper %.1f mm, link %.1f mm) on a machine of %.0f t%s", ps_side_word(side), d->value_mm,
         l->value_mm, job->machine.class_t, sure ? "; photos and readings by hand agree on that." : ". Is that so?");
}

static void pin_wear(ps_forms_result *result, const ps_forms_decision *d) {
    const ps_rule *r = ps_rules_get(PS_RULE_PIN_WEAR);
    for (int i = 0; i < d->nominal_count; i++) {
        double below = d->nominal[i].size_mm - d->value_mm;
        if (d->nominal[i].probability < 0.5 || !(below - d->U_mm > r->low) || below > r->high) continue;
        find(result, PS_RULE_PIN_WEAR, PS_WEIGHT_NOTE,
             "%s: nominal size most likely %s, as measured %.1f mm: %.1f mm below it. Order by the nominal size only after the wear of pin "
             "and bores "
             "was judged by licensed service.",
             d->name, d->nominal[i].label, d->value_mm, below);
    }
}

static void gap_enters(ps_forms_result *result, const ps_forms_decision *d) {
    if (!isfinite(d->enters_mm)) return;
    if (d->over)
        find(
            result, PS_RULE_GAP_ENTERS, PS_WEIGHT_NOTE,
            "%s: a width of %.1f mm surely goes over the boss; shims make up %.1f mm in the mean and %.1f mm at most, both sides together.",
            d->name, d->enters_mm, d->shims_mm, 2 * d->shims_mm);
    else
        find(result, PS_RULE_GAP_ENTERS, PS_WEIGHT_NOTE,
             "%s: the largest width that surely enters is %.1f mm; shims make up %.1f mm in the mean and %.1f mm at most, both sides "
             "together.",
             d->name, d->enters_mm, d->shims_mm, 2 * d->shims_mm);
}

static void size_range(ps_forms_result *result, const ps_forms_decision *d) {
    double low, high;
    ps_rules_size_range(d->kind, &low, &high);
    if (!isfinite(d->value_mm) || (d->value_mm >= low && d->value_mm <= high)) return;
    /* An open one is asked for again anyway, and the unit with it (ask.c). */
    find(result, PS_RULE_SIZE_RANGE, d->settled ? PS_WEIGHT_ASK : PS_WEIGHT_NOTE,
         "%s: %s%s%s is given as %.1f mm, which no machine has (%.0f to %.0f mm). In which unit was it written?",
         d->side == PS_SIDE_MACHINE ? "Machine" : "Attachment", d->role < 0 ? "" : ps_role_word((ps_role)d->role), d->role < 0 ? "" : " ",
         d->kind == PS_KIND_GAP   ? "gap"
         : d->kind == PS_KIND_PIN ? "pin diameter"
                                  : "distance of the pins",
         d->value_mm, low, high);
}

void ps_forms_find(const ps_forms_job *job, ps_forms_result *result) {
    result->finding_count = 0;
    for (int role = 0; role < PS_ROLE_COUNT; role++) pins_match(result, role);
    for (int role = 0; role < PS_ROLE_COUNT; role++) gaps_match(result, role);
    centres_match(result);
    for (int side = 0; side < PS_FORMS_SIDES; side++) pins_unequal(job, result, (ps_side)side);
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) {
        const ps_forms_decision *d = &result->decision[i];
        size_range(result, d);
        if (d->kind == PS_KIND_PIN) pin_wear(result, d);
        if (d->kind == PS_KIND_GAP) gap_enters(result, d);
    }
}
