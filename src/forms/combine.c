/* Several estimates of one size into one, with what they share. */
#include "forms/combine.h"

#include <math.h>
#include <string.h>

#include "base/linear.h"

ps_estimate ps_estimate_photo(const ps_fact *fact) {
    ps_estimate e = {.mm = fact->mm};
    e.by_mm[PS_CAUSE_SCALE] = fact->shared_mm;
    e.by_mm[PS_CAUSE_PHOTO] = fact->own_mm;
    return e;
}

bool ps_estimate_reading(const ps_forms_reading *r, int index, const ps_side_facts *f, const ps_fact pin[PS_ROLE_COUNT], ps_estimate *e) {
    ps_turned t;
    if (!ps_reading_turn(r, f, pin, &t)) return false;
    double u = ps_reading_u(r), common = fmin(ps_reading_u_common(r), u);
    *e = (ps_estimate){.mm = t.mm};
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        if (t.by_pin[role] == 0) continue;
        e->by_mm[PS_CAUSE_SCALE] += t.by_pin[role] * pin[role].shared_mm;
        e->by_mm[PS_CAUSE_PIN + role] = t.by_pin[role] * pin[role].own_mm;
    }
    e->by_mm[PS_CAUSE_RISE] = t.by_rise * f->rise.own_mm;
    e->by_mm[r->instrument == PS_INSTRUMENT_TAPE ? PS_CAUSE_TAPE : PS_CAUSE_CALIPERS] = t.by_reading * common;
    e->by_mm[PS_CAUSE_READING + index] = hypot(t.by_reading * sqrt(u * u - common * common), t.extra_u_mm);
    return true;
}

static double covariance(const ps_estimate *a, const ps_estimate *b) {
    double sum = 0;
    for (int c = 0; c < PS_CAUSES; c++) sum += a->by_mm[c] * b->by_mm[c];
    return sum;
}

double ps_estimate_u(const ps_estimate *e) {
    return sqrt(covariance(e, e));
}

double ps_estimate_u_difference(const ps_estimate *a, const ps_estimate *b) {
    return sqrt(fmax(covariance(a, a) + covariance(b, b) - 2 * covariance(a, b), 0));
}

bool ps_estimate_combine(const ps_estimate *e, int count, double *mm, double *u_mm, double *weight) {
    double L[PS_ESTIMATES_MAX * PS_ESTIMATES_MAX], x[PS_ESTIMATES_MAX], sum = 0, mean = 0;
    if (count < 1 || count > PS_ESTIMATES_MAX) return false;
    for (int a = 0; a < count; a++)
        for (int b = 0; b < count; b++) L[a * count + b] = covariance(&e[a], &e[b]);
    for (int a = 0; a < count; a++) x[a] = 1;
    if (!ps_cholesky(L, count)) return false;
    ps_cholesky_solve(L, count, x);
    for (int a = 0; a < count; a++) sum += x[a];
    if (!(sum > 0)) return false;
    for (int a = 0; a < count; a++) {
        mean += x[a] / sum * e[a].mm;
        if (weight) weight[a] = x[a] / sum;
    }
    *mm = mean;
    *u_mm = 1 / sqrt(sum);
    return true;
}
