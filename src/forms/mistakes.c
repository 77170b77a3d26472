/* The known mistakes (docs/forms.md). */
#include "forms/mistakes.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double mm_per_inch = 25.4, sixteenth_mm = 25.4 / 16;
/* Common practice, no source: how large what is not seen in the photos may be. */
static const double chamfer_mean_mm = 4, chamfer_u_mm = 2; /* of the diameter */
static const double taper_mean_mm = 5, taper_u_mm = 2.5;
static const double cap_mean_mm = 10, cap_u_mm = 5;
static const double bush_ratio = 1.45, bush_ratio_u = 0.12;
static const double shims_mean_mm = 4, shims_u_mm = 1.8;
static const double ear_u_mm = 1;
static const double hand_u_mm = 0.7;            /* a radius or a string taken by hand */
static const double diagonal_if_parallel = 0.2; /* told to lie parallel to the plate: a diagonal is less likely by this */

/* word, phrase after 'as if', chance beforehand */
static const struct {
    const char *word, *text;
    double prior;
} table[PS_MISTAKE_COUNT] = {
    [PS_MISTAKE_INSIDE] = {"inside-inside", "read between the edges of the pins that face each other", 0.010},
    [PS_MISTAKE_OUTSIDE] = {"outside-outside", "read over the outer edges of the pins", 0.010},
    [PS_MISTAKE_FRONTS] = {"fronts", "read from edge to edge on the dipper pin's side, with unequal pins", 0.005},
    [PS_MISTAKE_BACKS] = {"backs", "read from edge to edge on the link pin's side, with unequal pins", 0.005},
    [PS_MISTAKE_CENTRES] = {"already-centres", "already the distance of the centres, and not edge to edge", 0.008},
    [PS_MISTAKE_DIAGONAL] = {"diagonal", "read along a tape that ran diagonally over pin ends that stand out differently", 0.010},
    [PS_MISTAKE_RADIUS] = {"radius", "the radius in place of the diameter", 0.003},
    [PS_MISTAKE_AROUND] = {"around", "read with a string or tape round the pin", 0.003},
    [PS_MISTAKE_CHAMFER] = {"chamfer", "read on the end face or chamfer and not on the working cylinder", 0.015},
    [PS_MISTAKE_TAPER] = {"taper", "read on the tapered end of the pin", 0.005},
    [PS_MISTAKE_CAP] = {"cap", "read over a cap, collar or other step", 0.005},
    [PS_MISTAKE_BUSH] = {"bush", "read over the bush in place of the pin", 0.008},
    [PS_MISTAKE_EAR_PLATES] = {"ear-plates", "read between the ear plates in place of the bush faces", 0.020},
    [PS_MISTAKE_OVER_EARS] = {"over-ears", "read over the outside of both ears", 0.005},
    [PS_MISTAKE_SHIMS_IN] = {"shims-in", "read with shims in the gap", 0.010},
    [PS_MISTAKE_BEGUN_10] = {"begun-10", "read with a tape begun at its 10 mm mark, or a ten too high", 0.003},
    [PS_MISTAKE_BEGUN_100] = {"begun-100", "read with a tape begun at its 100 mm mark, or a hundred too high", 0.005},
    [PS_MISTAKE_BEGUN_INCH] = {"begun-inch", "read with a tape begun at its 1 in mark", 0.005},
    [PS_MISTAKE_DECADE] = {"decade", "read a ten or a hundred off", 0.004},
    [PS_MISTAKE_SIXTEENTHS] = {"sixteenths", "read one or two sixteenths of an inch off", 0.008},
    [PS_MISTAKE_INCH_FOR_MM] = {"inch-for-mm", "written in inches and given as millimetres", 0.004},
    [PS_MISTAKE_MM_FOR_INCH] = {"mm-for-inch", "written in millimetres and given as inches", 0.004},
    [PS_MISTAKE_CM_FOR_MM] = {"cm-for-mm", "written in centimetres and given as millimetres", 0.004},
    [PS_MISTAKE_DIGITS] = {"digits-swapped", "written with two neighbouring digits swapped", 0.005},
    [PS_MISTAKE_OTHER_PIN] = {"other-pin", "that of the other pin of this side", 0.006},
    [PS_MISTAKE_OTHER_SIDE] = {"other-side", "that of the other side", 0.004},
    [PS_MISTAKE_ROLES] = {"roles-swapped", "dipper and link are swapped", 0.020},
    [PS_MISTAKE_SIDES] = {"sides-swapped", "machine and attachment are swapped", 0.005},
    [PS_MISTAKE_ALL_INCH] = {"all-inch", "the whole form is written in inches and given as millimetres", 0.010},
    [PS_MISTAKE_SHEET] = {"sheet-misprinted", "the photos' lengths are all off by one ratio: sheet printed to fit, or check lines wrong",
                          0.010},
};
static const double prior_other = 0.010;

const char *ps_mistake_word(ps_mistake mistake) {
    return (unsigned)mistake < PS_MISTAKE_COUNT ? table[mistake].word : "none";
}

const char *ps_mistake_text(ps_mistake mistake) {
    return (unsigned)mistake < PS_MISTAKE_COUNT ? table[mistake].text : "no mistake";
}

double ps_mistake_prior(ps_mistake mistake) {
    return (unsigned)mistake < PS_MISTAKE_COUNT ? table[mistake].prior : 0;
}

double ps_mistake_prior_other(void) {
    return prior_other;
}

double ps_mistake_density_other(double read_mm) {
    return 1 / (read_mm * 6.907755); /* ln 1000: three decades of length */
}

/* ---- branches ---- */

typedef struct builder {
    const ps_forms_reading *r;
    const ps_branch_view *view;
    ps_branch *branch;
    int count;
    double u_taken, u_round;
    ps_expected none; /* without the reading's own error */
} builder;

/* `factor`: the written value is that times what a tape would have shown, so the reading's own error shrinks or grows with it. */
static ps_branch *add(builder *b, int mistake, double weight, const ps_expected *e, double factor, double more_u_mm) {
    if (!e->had || !(e->mm > 0) || b->count == PS_BRANCHES_MAX) return NULL;
    ps_branch *n = &b->branch[b->count];
    *n = (ps_branch){.mistake = mistake, .weight = weight, .mm = factor * e->mm, .shared_mm = factor * e->shared_mm};
    n->own_mm = hypot(hypot(factor * e->own_mm, factor * b->u_taken), hypot(b->u_round, more_u_mm));
    if (mistake >= 0) {
        const ps_branch *none = &b->branch[0];
        double apart = fabs(n->mm - none->mm), u = hypot(none->own_mm, none->shared_mm);
        if (apart < u && n->own_mm < 3 * u) return NULL;
    }
    b->count++;
    return n;
}

static void add_shifted(builder *b, int mistake, double weight, double by_mm, double more_u_mm) {
    ps_expected e = b->none;
    e.mm += by_mm;
    (void)add(b, mistake, weight, &e, 1, more_u_mm);
}

static void add_centres(builder *b) {
    static const struct {
        ps_forms_way way;
        ps_mistake mistake;
    } ways[] = {{PS_WAY_CENTRES, PS_MISTAKE_CENTRES},
                {PS_WAY_INSIDE, PS_MISTAKE_INSIDE},
                {PS_WAY_OUTSIDE, PS_MISTAKE_OUTSIDE},
                {PS_WAY_FRONTS, PS_MISTAKE_FRONTS},
                {PS_WAY_BACKS, PS_MISTAKE_BACKS}};
    const ps_forms_reading *r = b->r;
    bool ends = r->place == PS_PLACE_ENDS;
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        if (ways[i].way == r->way) continue;
        ps_expected e = ps_reading_expected(b->view->facts, b->view->pin, PS_KIND_CENTRES, -1, ways[i].way, ends);
        (void)add(b, (int)ways[i].mistake, table[ways[i].mistake].prior, &e, 1, 0);
    }
    if (!ends && b->view->facts->rise.had) {
        ps_expected e = ps_reading_expected(b->view->facts, b->view->pin, PS_KIND_CENTRES, -1, r->way, true);
        double weight = table[PS_MISTAKE_DIAGONAL].prior * (r->place == PS_PLACE_PLATE ? diagonal_if_parallel : 1);
        (void)add(b, PS_MISTAKE_DIAGONAL, weight, &e, 1, 0);
    }
}

static void add_pin(builder *b, int role) {
    const ps_side_facts *f = b->view->facts;
    ps_expected d = f->pin[role], face = f->face[role], bush = f->bush[role];
    if (b->r->way != PS_WAY_DIAMETER || !d.had) return;
    (void)add(b, PS_MISTAKE_RADIUS, table[PS_MISTAKE_RADIUS].prior, &d, 0.5, hand_u_mm);
    (void)add(b, PS_MISTAKE_AROUND, table[PS_MISTAKE_AROUND].prior, &d, PS_PI_ROUND, hand_u_mm);
    if (face.had)
        (void)add(b, PS_MISTAKE_CHAMFER, table[PS_MISTAKE_CHAMFER].prior, &face, 1, 0);
    else
        add_shifted(b, PS_MISTAKE_CHAMFER, table[PS_MISTAKE_CHAMFER].prior, -chamfer_mean_mm, chamfer_u_mm);
    if (f->taper[role]) add_shifted(b, PS_MISTAKE_TAPER, 5 * table[PS_MISTAKE_TAPER].prior, -taper_mean_mm, taper_u_mm);
    add_shifted(b, PS_MISTAKE_CAP, (f->cap[role] ? 5 : 1) * table[PS_MISTAKE_CAP].prior, cap_mean_mm, cap_u_mm);
    if (!bush.had) {
        bush = d;
        bush.mm *= bush_ratio, bush.shared_mm *= bush_ratio, bush.own_mm = hypot(bush_ratio * d.own_mm, bush_ratio_u * d.mm);
    }
    (void)add(b, PS_MISTAKE_BUSH, table[PS_MISTAKE_BUSH].prior, &bush, 1, 0);
}

static void add_gap(builder *b, int role) {
    const ps_side_facts *f = b->view->facts;
    const ps_forms_reading *r = b->r;
    if (r->way == PS_WAY_BUSH_FACES) {
        ps_expected plates = ps_reading_expected(f, b->view->pin, PS_KIND_GAP, role, PS_WAY_EAR_PLATES, false), over = plates;
        (void)add(b, PS_MISTAKE_EAR_PLATES, table[PS_MISTAKE_EAR_PLATES].prior, &plates, 1, 0);
        over.mm += 2 * b->view->ear_thickness_mm;
        if (isfinite(over.mm)) (void)add(b, PS_MISTAKE_OVER_EARS, table[PS_MISTAKE_OVER_EARS].prior, &over, 1, ear_u_mm);
    }
    if (r->shims == PS_SHIMS_UNKNOWN && r->way != PS_WAY_OVER) {
        bool told = isfinite(r->shim_mm) && r->shim_mm > 0;
        add_shifted(b, PS_MISTAKE_SHIMS_IN, table[PS_MISTAKE_SHIMS_IN].prior, told ? -r->shim_mm : -shims_mean_mm, told ? 0.2 : shims_u_mm);
    }
}

static void add_slips(builder *b) {
    static const double decades[] = {-100, -10, 10, 100};
    const ps_forms_reading *r = b->r;
    bool tape = r->instrument == PS_INSTRUMENT_TAPE;
    if (r->inch) {
        for (int k = -2; k <= 2; k++)
            if (k != 0)
                add_shifted(b, PS_MISTAKE_SIXTEENTHS, table[PS_MISTAKE_SIXTEENTHS].prior / (abs(k) == 1 ? 3 : 6), k * sixteenth_mm, 0);
        if (tape) add_shifted(b, PS_MISTAKE_BEGUN_INCH, table[PS_MISTAKE_BEGUN_INCH].prior, mm_per_inch, 0.3);
        (void)add(b, PS_MISTAKE_MM_FOR_INCH, table[PS_MISTAKE_MM_FOR_INCH].prior, &b->none, mm_per_inch, 0);
        return;
    }
    if (tape) {
        add_shifted(b, PS_MISTAKE_BEGUN_10, table[PS_MISTAKE_BEGUN_10].prior, 10, 0.3);
        add_shifted(b, PS_MISTAKE_BEGUN_100, table[PS_MISTAKE_BEGUN_100].prior, 100, 0.3);
    }
    /* By tape a ten or a hundred too high cannot be told from a tape begun there, and counts as that. */
    for (int i = 0; i < (tape ? 2 : 4); i++)
        add_shifted(b, PS_MISTAKE_DECADE, table[PS_MISTAKE_DECADE].prior / (tape ? 2 : 4), decades[i], 0);
    if (!b->view->inches) (void)add(b, PS_MISTAKE_INCH_FOR_MM, table[PS_MISTAKE_INCH_FOR_MM].prior, &b->none, 1 / mm_per_inch, 0);
    (void)add(b, PS_MISTAKE_CM_FOR_MM, table[PS_MISTAKE_CM_FOR_MM].prior, &b->none, 0.1, 0);
}

/* Each pair of neighbouring digits that differ, swapped back, is a value that may have been meant. */
static void add_digits(builder *b) {
    const ps_forms_reading *r = b->r;
    size_t length = strlen(r->written);
    int pairs = 0;
    if (strspn(r->written, "0123456789.") != length) return;
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 0, next; i < length; i = next) {
            next = i + 1 + (i + 1 < length && r->written[i + 1] == '.');
            if (next >= length || !isdigit((unsigned char)r->written[i]) || r->written[i] == r->written[next]) continue;
            if (i == 0 && r->written[next] == '0') continue; /* nobody means a leading nought */
            if (pass == 0) {
                pairs++;
                continue;
            }
            char meant[32];
            memcpy(meant, r->written, length + 1);
            meant[i] = r->written[next], meant[next] = r->written[i];
            double shift = r->value_mm - strtod(meant, NULL) * (r->inch ? mm_per_inch : 1);
            int before = b->count;
            add_shifted(b, PS_MISTAKE_DIGITS, table[PS_MISTAKE_DIGITS].prior / pairs, shift, 0);
            if (b->count > before)
                (void)snprintf(b->branch[before].detail, sizeof b->branch[before].detail, "%s for %s", r->written, meant);
        }
}

static bool swaps_roles(const ps_forms_reading *r) {
    return r->kind == PS_KIND_PIN || r->kind == PS_KIND_GAP;
}

static void shift_shims(const ps_forms_reading *r, ps_expected *e) {
    if (r->kind != PS_KIND_GAP || r->shims != PS_SHIMS_IN || !e->had) return;
    e->mm -= isfinite(r->shim_mm) ? r->shim_mm : shims_mean_mm;
    if (!isfinite(r->shim_mm)) e->own_mm = hypot(e->own_mm, shims_u_mm);
}

static ps_expected expected_by(const ps_branch_view *v, const ps_side_facts *f, const ps_fact *pin, const ps_forms_reading *r,
                               bool exchanged) {
    (void)v;
    int role = exchanged && swaps_roles(r) ? 1 - r->role : r->role;
    ps_expected e = ps_reading_expected(f, pin, r->kind, role, r->way, r->place == PS_PLACE_ENDS);
    shift_shims(r, &e);
    return e;
}

int ps_mistake_branches(const ps_forms_reading *r, const ps_branch_view *view, ps_branch branch[PS_BRANCHES_MAX]) {
    builder b = {.r = r, .view = view, .branch = branch, .u_taken = ps_reading_u_taken(r), .u_round = r->step_mm / sqrt(12.0)};
    int role = view->exchanged && swaps_roles(r) ? 1 - r->role : r->role;
    b.none = expected_by(view, view->facts, view->pin, r, view->exchanged);
    bool inches = view->inches && !r->inch;
    if (!add(&b, -1, 0, &b.none, inches ? 1 / mm_per_inch : 1, 0)) return 0;
    if (inches) { /* the joint mistake is enough; what else may have gone wrong is left to 'other' */
        branch[0].weight = 1 - prior_other;
        return b.count;
    }
    if (r->kind == PS_KIND_CENTRES) add_centres(&b);
    if (r->kind == PS_KIND_PIN) add_pin(&b, role);
    if (r->kind == PS_KIND_GAP) add_gap(&b, role);
    add_slips(&b);
    add_digits(&b);
    if (swaps_roles(r)) {
        ps_expected e = expected_by(view, view->facts, view->pin, r, !view->exchanged);
        (void)add(&b, PS_MISTAKE_OTHER_PIN, table[PS_MISTAKE_OTHER_PIN].prior, &e, 1, 0);
    }
    if (view->other_side) {
        ps_expected e = expected_by(view, view->other_side, view->other_pin, r, view->exchanged);
        (void)add(&b, PS_MISTAKE_OTHER_SIDE, table[PS_MISTAKE_OTHER_SIDE].prior, &e, 1, 0);
    }
    double mistaken = prior_other;
    for (int i = 1; i < b.count; i++) mistaken += branch[i].weight;
    branch[0].weight = 1 - mistaken;
    return b.count;
}

/* ---- evidence ---- */

static const char *pin_words(int role) {
    return role == PS_ROLE_LINK ? "link pin" : "dipper pin";
}

void ps_mistake_evidence(const ps_forms_reading *r, const ps_branch_view *view, const ps_branch *branch, char *text, size_t size) {
    const ps_side_facts *f = view->facts;
    char detail[240] = "";
    switch (branch->mistake) {
    case PS_MISTAKE_INSIDE:
    case PS_MISTAKE_OUTSIDE:
    case PS_MISTAKE_FRONTS:
    case PS_MISTAKE_BACKS:
    case PS_MISTAKE_CENTRES:
        (void)snprintf(detail, sizeof detail, "with pins of %.1f and %.1f mm", view->pin[0].mm, view->pin[1].mm);
        break;
    case PS_MISTAKE_DIAGONAL:
        (void)snprintf(detail, sizeof detail, "the photos show pin ends %.0f mm apart in height", fabs(f->rise.mm));
        break;
    case PS_MISTAKE_CHAMFER:
        if (f->face[r->role].had)
            (void)snprintf(detail, sizeof detail, "the photos show an end face of %.1f mm on this %s", f->face[r->role].mm,
                           pin_words(r->role));
        break;
    case PS_MISTAKE_BUSH:
        if (f->bush[r->role].had)
            (void)snprintf(detail, sizeof detail, "the photos show a bush of %.1f mm round this %s", f->bush[r->role].mm,
                           pin_words(r->role));
        break;
    case PS_MISTAKE_EAR_PLATES:
        if (f->standout[r->role].had)
            (void)snprintf(detail, sizeof detail, "the photos show the bush standing %.0f mm out of the ear plate",
                           f->standout[r->role].mm);
        break;
    case PS_MISTAKE_DIGITS:
        (void)snprintf(detail, sizeof detail, "%s", branch->detail);
        break;
    case PS_MISTAKE_OTHER_PIN:
    case PS_MISTAKE_OTHER_SIDE:
        (void)snprintf(detail, sizeof detail, "whose size in the photos is %.1f mm", branch->mm);
        break;
    default:
        break;
    }
    (void)snprintf(text, size, "as if %s%s%s; that would give %.1f mm ± %.1f, the value is %.1f mm.",
                   ps_mistake_text((ps_mistake)branch->mistake), *detail ? ", " : "", detail, branch->mm,
                   2 * hypot(branch->own_mm, branch->shared_mm), r->value_mm);
}
