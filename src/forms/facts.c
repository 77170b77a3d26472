/* What the photos of a side say. */
#include "forms/facts.h"

#include <math.h>

#include "base/stats.h"
#include "forms/reading.h"

/* Print scale across and along are two readings: half of a scale's variance is taken as common to all sizes of the side.
 * Common practice, no source. */
static const double shared_part = 0.5;
/* Values from few photos: factors by which the t of docs/verdicts.md is wider than the normal at 99 % (12 and 6 degrees of freedom). */
static const double widen_one = 3.707 / 2.576, widen_two = 3.055 / 2.576;
/* An ear's bush stands out inside about as it does outside; common practice, no source. */
static const double standout_u_mm = 2;
/* A face's diameter from the ratio of two rims in a photo; the face is nearer by the chamfer: 2 mm at 1 m is 0.1 mm of 60. */
static const double face_u_mm = 0.4;
static const double rise_least_u_mm = 0.5;

double ps_fact_u(const ps_fact *fact) {
    return hypot(fact->own_mm, fact->shared_mm);
}

const ps_dimension *ps_forms_dimension(const ps_record *record, ps_kind kind, int role) {
    for (int i = 0; i < record->dimension_count; i++) {
        const ps_dimension *d = &record->dimension[i];
        if (d->kind == kind && (kind == PS_KIND_CENTRES || d->role == role)) return d;
    }
    return NULL;
}

/* Photos whose rims of the pin (both pins with -1) went into the sizes; none known: enough. */
static double widening(const ps_record *record, int role) {
    int photos = 0, photos_with_rims = 0;
    for (int i = 0; i < record->photo_count; i++) {
        bool has[PS_ROLE_COUNT] = {false, false};
        for (int k = 0; k < record->photo[i].rim_count; k++)
            if (record->photo[i].rim[k].used) has[record->photo[i].rim[k].pin] = true;
        photos += role >= 0 ? has[role] : has[0] && has[1];
        photos_with_rims += has[0] || has[1];
    }
    if (photos_with_rims == 0) return 1;
    return photos <= 1 ? widen_one : photos == 2 ? widen_two : 1;
}

static ps_fact fact_of(const ps_record *record, ps_kind kind, int role) {
    const ps_dimension *d = ps_forms_dimension(record, kind, role);
    if (!d || d->verdict == PS_VERDICT_MISSING || !isfinite(d->value_mm) || !(d->u_mm > 0)) return (ps_fact){0};
    double u = d->u_mm * widening(record, kind == PS_KIND_CENTRES ? -1 : role);
    double scale = isfinite(d->budget_mm[PS_SOURCE_PRINT_SCALE]) ? fmin(d->budget_mm[PS_SOURCE_PRINT_SCALE], d->u_mm) : 0;
    ps_fact f = {.had = true, .mm = d->value_mm, .shared_mm = sqrt(shared_part) * scale};
    f.own_mm = sqrt(fmax(u * u - f.shared_mm * f.shared_mm, 0.01 * u * u));
    return f;
}

static bool doubted(const ps_record *record, int role, ps_code code) {
    const ps_dimension *d = ps_forms_dimension(record, PS_KIND_PIN, role);
    return d && ps_notes_have(&d->reasons, code);
}

/* The end face's diameter: both rims of the pin in one photo have about one scale; the median over the photos. */
static ps_fact face_of(const ps_record *record, int role, const ps_fact *pin) {
    double ratio[PS_ADJUST_PHOTOS_MAX];
    size_t count = 0;
    for (int i = 0; i < record->photo_count && i < PS_ADJUST_PHOTOS_MAX; i++) {
        double a[2] = {0, 0};
        for (int k = 0; k < record->photo[i].rim_count; k++) {
            const ps_record_rim *rim = &record->photo[i].rim[k];
            if (!rim->used || (int)rim->pin != role || rim->ear != PS_EAR_NEAR) continue;
            if (rim->edge == PS_EDGE_PIN) a[0] = fmax(rim->ellipse.a, rim->ellipse.b);
            if (rim->edge == PS_EDGE_PIN_FACE) a[1] = fmax(rim->ellipse.a, rim->ellipse.b);
        }
        if (a[0] > 0 && a[1] > 0 && a[1] < a[0]) ratio[count++] = a[1] / a[0];
    }
    if (count == 0 || !pin->had) return (ps_fact){0};
    double r = ps_stats_median(ratio, count);
    return (ps_fact){.had = true, .mm = r * pin->mm, .own_mm = hypot(r * pin->own_mm, face_u_mm), .shared_mm = r * pin->shared_mm};
}

static void heights(const ps_record *record, ps_side_facts *f) {
    double face[PS_ROLE_COUNT] = {NAN, NAN};
    for (int i = 0; i < record->pin_count; i++) {
        face[record->pin[i].role] = record->pin[i].face_height_mm;
        double bush = record->pin[i].bush_height_mm;
        /* Heights count from the sheet, which lies on the ear plate; on a board or another plate it says nothing. */
        if (isfinite(bush) && bush > 0 && bush < 60)
            f->standout[record->pin[i].role] = (ps_fact){.had = true, .mm = bush, .own_mm = standout_u_mm};
    }
    double u[PS_ROLE_COUNT];
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        ps_fact proud = fact_of(record, PS_KIND_PROUD, role);
        u[role] = proud.had ? ps_fact_u(&proud) : 1;
    }
    if (isfinite(face[PS_ROLE_DIPPER]) && isfinite(face[PS_ROLE_LINK]))
        f->rise =
            (ps_fact){.had = true, .mm = face[PS_ROLE_DIPPER] - face[PS_ROLE_LINK], .own_mm = fmax(hypot(u[0], u[1]), rise_least_u_mm)};
}

ps_side_facts ps_forms_facts(const ps_record *record) {
    ps_side_facts f = {0};
    f.centres = fact_of(record, PS_KIND_CENTRES, -1);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        f.gap[role] = fact_of(record, PS_KIND_GAP, role);
        f.pin[role] = fact_of(record, PS_KIND_PIN, role);
        f.bush[role] = fact_of(record, PS_KIND_BUSH, role);
        f.face[role] = face_of(record, role, &f.pin[role]);
        f.taper[role] = doubted(record, role, PS_CODE_PIN_TAPER);
        f.cap[role] = doubted(record, role, PS_CODE_PIN_CAP) || doubted(record, role, PS_CODE_PIN_COLLAR);
        const ps_dimension *gap = ps_forms_dimension(record, PS_KIND_GAP, role);
        f.over |= gap && gap->over;
    }
    heights(record, &f);
    return f;
}

void ps_forms_facts_pins(const ps_forms_job *job, ps_side side, const ps_side_facts *facts, ps_fact pin[PS_ROLE_COUNT]) {
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        pin[role] = facts->pin[role];
        for (int i = 0; i < job->reading_count && !pin[role].had; i++) {
            const ps_forms_reading *r = &job->reading[i];
            if (r->side != side || r->kind != PS_KIND_PIN || r->role != role) continue;
            double factor = r->way == PS_WAY_AROUND ? 1 / PS_PI_ROUND : 1;
            pin[role] = (ps_fact){.had = true, .mm = r->value_mm * factor, .own_mm = ps_reading_u(r) * factor};
        }
    }
}
