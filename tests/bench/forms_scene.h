/* forms_scene.h: invented jobs with known sizes, photos of them as records, and forms filled in honestly or with a mistake. For the
 * bench and the tests of the room forms. What a mistake does is worked out here from the true sizes, apart from the library. */
#ifndef PINSPAN_TESTS_FORMS_SCENE_H
#define PINSPAN_TESTS_FORMS_SCENE_H

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "forms/reading.h"
#include "pinspan/trade.h"

typedef struct scene_random {
    uint64_t state;
} scene_random;

/* splitmix64 (Steele, Lea & Flood 2014). */
static inline uint64_t scene_bits(scene_random *r) {
    uint64_t z = (r->state += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}
static inline double scene_uniform(scene_random *r, double low, double high) {
    return low + (high - low) * ((double)(scene_bits(r) >> 11) + 0.5) / 9007199254740992.0;
}
static inline bool scene_chance(scene_random *r, double p) {
    return scene_uniform(r, 0, 1) < p;
}
static inline double scene_normal(scene_random *r) {
    return sqrt(-2 * log(scene_uniform(r, 0, 1))) * cos(6.283185307179586 * scene_uniform(r, 0, 1));
}
static inline int scene_pick(scene_random *r, int count) {
    return (int)(scene_bits(r) % (uint64_t)count);
}

typedef struct scene_side {
    double gap[2], pin[2], bush[2], face[2], proud[2], standout[2], centres;
} scene_side;

typedef struct scene {
    scene_side truth[2];
    double ear_mm;
    ps_forms_job job;
    ps_forms_result result;
    ps_record_photo photo[2][3];
    ps_record_rim rim[2][3][4];
} scene;

static inline scene_side scene_side_draw(scene_random *r) {
    static const double sizes[] = {40, 45, 50, 55, 60, 65, 70, 75, 80, 90};
    scene_side s = {.centres = scene_uniform(r, 220, 620)};
    int n = scene_pick(r, 10);
    bool equal = scene_chance(r, 0.6);
    for (int role = 0; role < 2; role++) {
        double nominal = sizes[equal ? n : scene_pick(r, 10)];
        s.pin[role] = nominal - scene_uniform(r, 0, 0.4);
        s.bush[role] = nominal * scene_uniform(r, 1.3, 1.6);
        s.face[role] = s.pin[role] - 2 * scene_uniform(r, 1, 3.5);
        s.proud[role] = scene_chance(r, 0.7) ? scene_uniform(r, 5, 20) : scene_uniform(r, 0, 80);
        s.standout[role] = scene_uniform(r, 4, 11);
    }
    s.gap[0] = scene_uniform(r, 160, 420);
    s.gap[1] = scene_chance(r, 0.5) ? s.gap[0] - scene_uniform(r, -2, 2) : s.gap[0] - scene_uniform(r, -60, 60);
    return s;
}

static inline void scene_dimension(ps_record *record, ps_kind kind, int role, double value, double u, double scale) {
    ps_dimension *d = &record->dimension[record->dimension_count++];
    *d = (ps_dimension){.kind = kind, .role = role, .value_mm = value, .u_mm = u, .U_mm = 2 * u, .verdict = PS_VERDICT_GOOD};
    if (isnan(value)) d->verdict = PS_VERDICT_MISSING;
    ps_trade_name(record->side, kind, role, d->name);
    d->need_mm = ps_trade_need_mm(kind, PS_COUPLER_FIXED);
    d->budget_mm[PS_SOURCE_PRINT_SCALE] = scale;
    d->budget_mm[PS_SOURCE_EDGES] = isnan(u) ? 0 : sqrt(fmax(u * u - scale * scale, 0));
}

/* A photo value: its own error, and its part in the scale's. `s`: shared error of the side, in sds. */
static inline void scene_photo_value(scene_random *r, ps_record *record, ps_kind kind, int role, double truth, double own, double relative,
                                     double s, double ratio) {
    double scale = relative * truth, u = hypot(own, scale);
    /* Half the scale's variance is shared (src/forms/facts.c): across and along are two readings. */
    double error = sqrt(0.5) * scale * (s + scene_normal(r)) + own * scene_normal(r);
    scene_dimension(record, kind, role, (truth + error) / ratio, u, scale);
}

/* `gaps`: the photos show them. `ratio`: true over photo lengths, 1 for a sheet printed right. `faces`: end faces told apart. */
static inline void scene_record(scene *w, scene_random *r, int side, bool gaps, bool faces, double ratio) {
    const scene_side *t = &w->truth[side];
    ps_record *record = &w->result.record[side];
    double relative = scene_uniform(r, 0.0003, 0.0008), s = scene_normal(r), own = scene_uniform(r, 0.03, 0.10);
    *record = (ps_record){.side = (ps_side)side, .photo = w->photo[side], .photo_count = 3, .pin_count = 2, .fitted = true};
    for (int role = 0; role < 2; role++) {
        if (gaps)
            scene_photo_value(r, record, PS_KIND_GAP, role, t->gap[role], 4 * own, relative, s, ratio);
        else
            scene_dimension(record, PS_KIND_GAP, role, NAN, NAN, 0);
    }
    for (int role = 0; role < 2; role++) scene_photo_value(r, record, PS_KIND_PIN, role, t->pin[role], own, relative, s, ratio);
    scene_photo_value(r, record, PS_KIND_CENTRES, -1, t->centres, 2 * own, relative, s, ratio);
    for (int role = 0; role < 2; role++) scene_photo_value(r, record, PS_KIND_BUSH, role, t->bush[role], own, relative, s, ratio);
    for (int role = 0; role < 2; role++) scene_photo_value(r, record, PS_KIND_PROUD, role, t->proud[role], 2 * own, relative, s, ratio);
    for (int role = 0; role < 2; role++)
        record->pin[role] = (struct ps_record_pin){.role = (ps_role)role,
                                                   .face_height_mm = t->standout[role] + t->proud[role] + 0.3 * scene_normal(r),
                                                   .bush_height_mm = t->standout[role] + 0.3 * scene_normal(r),
                                                   .pin_radius_mm = NAN,
                                                   .bush_radius_mm = NAN};
    for (int i = 0; i < 3; i++) {
        w->photo[side][i] = (ps_record_photo){.usable = true, .solved = true, .rim = w->rim[side][i], .rim_count = faces ? 4 : 2};
        for (int k = 0; k < 4; k++) {
            double d = k < 2 ? t->pin[k] : t->face[k - 2];
            w->rim[side][i][k] = (ps_record_rim){.pin = (ps_role)(k & 1), .edge = k < 2 ? PS_EDGE_PIN : PS_EDGE_PIN_FACE, .used = true};
            w->rim[side][i][k].ellipse = (ps_ellipse){.a = 2 * d + 0.2 * scene_normal(r), .b = 1.8 * d};
        }
    }
}

/* ---- forms ---- */

static inline double scene_truth(const scene_side *t, ps_kind kind, int role) {
    return kind == PS_KIND_CENTRES ? t->centres : kind == PS_KIND_PIN ? t->pin[role] : t->gap[role];
}

static inline double scene_edges(const scene_side *t, ps_forms_way way) {
    double both = 0.5 * (t->pin[0] + t->pin[1]), apart = 0.5 * (t->pin[0] - t->pin[1]);
    return way == PS_WAY_INSIDE    ? t->centres - both
           : way == PS_WAY_OUTSIDE ? t->centres + both
           : way == PS_WAY_FRONTS  ? t->centres + apart
           : way == PS_WAY_BACKS   ? t->centres - apart
                                   : t->centres;
}

static inline double scene_rise(const scene_side *t) {
    return t->standout[0] + t->proud[0] - t->standout[1] - t->proud[1];
}

/* What lies under the tape, in the way that the form tells. */
static inline double scene_honest(const scene *w, const ps_forms_reading *f) {
    const scene_side *t = &w->truth[f->side];
    if (f->kind != PS_KIND_CENTRES) return scene_truth(t, f->kind, f->role);
    double flat = scene_edges(t, f->way);
    return f->place == PS_PLACE_ENDS ? hypot(flat, scene_rise(t)) : flat;
}

/* Error of a careful person, by the practice that docs/forms.md tells: the instrument's limit even-handed, the placing normal. */
static inline double scene_reading_error(scene_random *r, const ps_forms_reading *f) {
    double common = ps_reading_u_common(f), all = ps_reading_u_taken(f);
    return scene_uniform(r, -1, 1) * common * sqrt(3.0) + scene_normal(r) * sqrt(fmax(all * all - common * common, 0));
}

/* Writes the value as people do: tapes to 1 or 0.5 mm or 1/16 in, calipers to 0.1 mm or 0.01 in. */
static inline void scene_write(scene_random *r, ps_forms_reading *f, double value_mm, bool half) {
    (void)r;
    if (f->inch && f->instrument == PS_INSTRUMENT_TAPE) {
        long n = lround(value_mm / 25.4 * 16), whole = n / 16, part = n % 16, below = 16;
        while (part && part % 2 == 0) part /= 2, below /= 2;
        if (part)
            (void)snprintf(f->written, sizeof f->written, "%d %d/%d", (int)(whole % 10000), (int)(part % 16), (int)(below % 100));
        else
            (void)snprintf(f->written, sizeof f->written, "%d", (int)(whole % 10000));
        f->value_mm = (double)n / 16 * 25.4, f->step_mm = 25.4 / 16;
    } else if (f->inch) {
        (void)snprintf(f->written, sizeof f->written, "%.2f", value_mm / 25.4);
        f->value_mm = strtod(f->written, NULL) * 25.4, f->step_mm = 0.254;
    } else if (f->instrument == PS_INSTRUMENT_TAPE && !half) {
        (void)snprintf(f->written, sizeof f->written, "%.0f", value_mm);
        f->value_mm = strtod(f->written, NULL), f->step_mm = 1;
    } else {
        double step = f->instrument == PS_INSTRUMENT_TAPE ? 0.5 : 0.1;
        (void)snprintf(f->written, sizeof f->written, "%.1f", step * round(value_mm / step));
        f->value_mm = strtod(f->written, NULL), f->step_mm = step;
    }
}

static inline void scene_form(scene *w, scene_random *r, int sides) {
    bool inch = scene_chance(r, 0.25);
    w->job.ear_thickness_mm = scene_chance(r, 0.5) ? w->ear_mm : NAN;
    for (int side = 0; side < sides; side++)
        for (int n = 0; n < 5; n++) {
            static const ps_kind kind[] = {PS_KIND_GAP, PS_KIND_GAP, PS_KIND_PIN, PS_KIND_PIN, PS_KIND_CENTRES};
            ps_forms_reading *f = &w->job.reading[w->job.reading_count++];
            *f = (ps_forms_reading){.side = (ps_side)side, .kind = kind[n], .role = n == 4 ? -1 : n & 1, .shim_mm = NAN};
            f->inch = inch;
            f->instrument = ps_trade_instrument(f->kind);
            f->instrument_given = scene_chance(r, 0.8);
            f->way = n < 2 ? PS_WAY_BUSH_FACES : n < 4 ? PS_WAY_DIAMETER : PS_WAY_CENTRES;
            if (n == 4 && scene_chance(r, 0.4)) f->way = (ps_forms_way)(PS_WAY_INSIDE + scene_pick(r, 4));
            if (n == 4 && scene_chance(r, 0.4)) f->place = scene_chance(r, 0.5) ? PS_PLACE_PLATE : PS_PLACE_ENDS;
            f->value_mm = scene_honest(w, f); /* a tape's limit goes by the length */
            scene_write(r, f, f->value_mm + scene_reading_error(r, f), scene_chance(r, 0.3));
        }
}

/* `both`: the machine's side is photographed and on the form too. */
static inline void scene_draw(scene *w, scene_random *r, bool both, double ratio) {
    memset(w, 0, sizeof *w);
    w->truth[0] = scene_side_draw(r);
    w->truth[1] = w->truth[0]; /* what goes together is of one size, but for wear and shims */
    if (scene_chance(r, 0.3)) w->truth[1] = scene_side_draw(r);
    for (int role = 0; role < 2; role++) {
        w->truth[1].pin[role] -= scene_uniform(r, 0, 0.3);
        w->truth[1].gap[role] -= scene_uniform(r, 0.5, 6);
    }
    w->truth[1].centres += scene_uniform(r, -0.5, 0.5);
    w->ear_mm = scene_uniform(r, 15, 45);
    bool gaps = scene_chance(r, 0.5);
    for (int side = 0; side < (both ? 2 : 1); side++) scene_record(w, r, side, gaps, scene_chance(r, 0.7), side == 0 ? ratio : 1);
    scene_form(w, r, both ? 2 : 1);
}

#endif
