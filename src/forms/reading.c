/* A reading by hand: its own uncertainty, what it should be, and the dimension that it stands for. */
#include "forms/reading.h"

#include <math.h>

/* Common practice, no source, all of this block (docs/forms.md). Standard uncertainties in mm. */
static const double placed_edges_u_mm = 0.5;   /* a tape held to two edges: 0.35 an end */
static const double placed_centres_u_mm = 1.0; /* two centres judged by eye */
static const double placed_plates_u_mm = 0.7;  /* between ear plates, beside the bushes */
static const double placed_around_u_mm = 1.0;  /* a string or tape round a pin */
static const double tape_on_pin_u_mm = 0.7;    /* a tape over a round pin */
static const double calipers_limit_mm = 0.05;  /* largest error of workshop calipers */
static const double calipers_pin_u_mm = 0.12;  /* where the jaws sit, paint, out of round */
static const double calipers_long_u_mm = 0.35; /* large calipers or a beam over centres and gaps */
static const double instrument_unsaid = 1.5;   /* what was used is not told: factor */
static const double shims_mean_mm = 4, shims_u_mm = 2.5, standout_mean_mm = 7, standout_u_mm = 4;

double ps_tape_limit_mm(int accuracy_class, double length_mm) {
    static const double a[] = {0.1, 0.3, 0.6}, b[] = {0.1, 0.2, 0.4};
    if (accuracy_class < 1 || accuracy_class > 3 || !(length_mm > 0)) return NAN;
    return a[accuracy_class - 1] + b[accuracy_class - 1] * ceil(length_mm / 1000);
}

/* A limit both ways is taken as a rectangular distribution (JCGM 100, 4.3.7). */
double ps_reading_u_common(const ps_forms_reading *r) {
    double limit = r->instrument == PS_INSTRUMENT_TAPE ? ps_tape_limit_mm(2, fmin(r->value_mm, 10000)) : calipers_limit_mm;
    return limit / sqrt(3.0);
}

static double placed_u(const ps_forms_reading *r) {
    bool tape = r->instrument == PS_INSTRUMENT_TAPE;
    if (r->kind == PS_KIND_PIN) return r->way == PS_WAY_AROUND ? placed_around_u_mm : tape ? tape_on_pin_u_mm : calipers_pin_u_mm;
    if (r->way == PS_WAY_CENTRES) return placed_centres_u_mm;
    if (!tape) return calipers_long_u_mm;
    return r->way == PS_WAY_EAR_PLATES ? placed_plates_u_mm : placed_edges_u_mm;
}

double ps_reading_u_taken(const ps_forms_reading *r) {
    return (r->instrument_given ? 1 : instrument_unsaid) * hypot(ps_reading_u_common(r), placed_u(r));
}

double ps_reading_u(const ps_forms_reading *r) {
    return hypot(ps_reading_u_taken(r), r->step_mm / sqrt(12.0));
}

void ps_way_shift(ps_forms_way way, double by_pin[PS_ROLE_COUNT]) {
    double both = way == PS_WAY_OUTSIDE ? 0.5 : way == PS_WAY_INSIDE ? -0.5 : 0;
    double against = way == PS_WAY_FRONTS ? 0.5 : way == PS_WAY_BACKS ? -0.5 : 0;
    by_pin[PS_ROLE_DIPPER] = both + against;
    by_pin[PS_ROLE_LINK] = both - against;
}

static ps_expected expected_centres(const ps_side_facts *f, const ps_fact *pin, ps_forms_way way, bool on_ends) {
    ps_expected e = f->centres;
    double by[PS_ROLE_COUNT], own2 = e.own_mm * e.own_mm;
    ps_way_shift(way, by);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        if (by[role] == 0) continue;
        if (!pin[role].had) e.had = false;
        e.mm += by[role] * pin[role].mm;
        e.shared_mm += by[role] * pin[role].shared_mm;
        own2 += by[role] * by[role] * pin[role].own_mm * pin[role].own_mm;
    }
    e.own_mm = sqrt(own2);
    if (on_ends && e.had && f->rise.had) {
        double flat = e.mm;
        e.mm = hypot(flat, f->rise.mm);
        e.own_mm = hypot(e.own_mm * flat / e.mm, f->rise.own_mm * f->rise.mm / e.mm);
        e.shared_mm *= flat / e.mm;
    }
    return e;
}

static ps_expected expected_gap(const ps_side_facts *f, int role, ps_forms_way way) {
    ps_expected e = f->gap[role];
    if ((way == PS_WAY_OVER) != f->over) e.had = false; /* another width than the one in the photos */
    if (way == PS_WAY_EAR_PLATES) {
        const ps_fact *s = &f->standout[role];
        e.mm += 2 * (s->had ? s->mm : standout_mean_mm);
        e.own_mm = hypot(e.own_mm, 2 * (s->had ? s->own_mm : standout_u_mm));
    }
    return e;
}

ps_expected ps_reading_expected(const ps_side_facts *f, const ps_fact pin[PS_ROLE_COUNT], ps_kind kind, int role, ps_forms_way way,
                                bool on_ends) {
    if (kind == PS_KIND_CENTRES) return expected_centres(f, pin, way, on_ends);
    if (kind == PS_KIND_GAP) return expected_gap(f, role, way);
    ps_expected e = f->pin[role];
    double factor = way == PS_WAY_AROUND ? PS_PI_ROUND : 1;
    e.mm *= factor, e.own_mm *= factor, e.shared_mm *= factor;
    return e;
}

static bool turn_centres(const ps_forms_reading *r, const ps_side_facts *f, const ps_fact *pin, ps_turned *t) {
    double by[PS_ROLE_COUNT], flat = r->value_mm;
    ps_way_shift(r->way, by);
    if (r->place == PS_PLACE_ENDS && f->rise.had) {
        if (!(fabs(f->rise.mm) < 0.5 * r->value_mm)) return false;
        flat = sqrt(r->value_mm * r->value_mm - f->rise.mm * f->rise.mm);
        t->by_reading = r->value_mm / flat;
        t->by_rise = -f->rise.mm / flat;
    }
    t->mm = flat;
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        if (by[role] == 0) continue;
        if (!pin[role].had) return false;
        t->mm -= by[role] * pin[role].mm;
        t->by_pin[role] = -by[role];
    }
    return t->mm > 0;
}

static void turn_gap(const ps_forms_reading *r, const ps_side_facts *f, ps_turned *t) {
    if (r->way == PS_WAY_EAR_PLATES) {
        const ps_fact *s = &f->standout[r->role];
        t->mm -= 2 * (s->had ? s->mm : standout_mean_mm);
        t->extra_u_mm = 2 * (s->had ? s->own_mm : standout_u_mm);
    }
    if (r->shims != PS_SHIMS_IN) return;
    t->mm += isfinite(r->shim_mm) ? r->shim_mm : shims_mean_mm;
    if (!isfinite(r->shim_mm)) t->extra_u_mm = hypot(t->extra_u_mm, shims_u_mm);
}

bool ps_reading_turn(const ps_forms_reading *r, const ps_side_facts *f, const ps_fact pin[PS_ROLE_COUNT], ps_turned *turned) {
    ps_turned t = {.mm = r->value_mm, .by_reading = 1};
    if (r->kind == PS_KIND_CENTRES) {
        if (!turn_centres(r, f, pin, &t)) return false;
    } else if (r->kind == PS_KIND_GAP) {
        turn_gap(r, f, &t);
        if (!(t.mm > 0)) return false;
    } else if (r->way == PS_WAY_AROUND) {
        t.by_reading = 1 / PS_PI_ROUND;
        t.mm *= t.by_reading;
    }
    *turned = t;
    return true;
}
