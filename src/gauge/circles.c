/* Circles of a photo against the pins that others show: in place, moved with their plane, or at another scale. */
#include "gauge/circles.h"

#include <math.h>
#include <string.h>

/* A circle of a proposal lies within a sample or two of its rim, seen through a camera that corners alone have placed. */
static const double place_mm = 3, radius_rel = 0.025;
static const double apart_rel = 0.015; /* of the distance of two pins, of which both places are known so well */
/* A sheet in a hand is up to a hand's breadth before the plate, at half a metre and more, and tilts; it is never behind it, so that pins
 * show no larger than beside a sheet that lies there. Scales at the pins, their ratio, and what a tilt takes from distances. */
static const double scale_least = 0.75, scale_most = 1.015, scales_unlike = 0.15, tilt_rel = 0.04, tilt_lean = 0.25;
/* Rims that lie plainly there; heights at which pins and bushes stand before a sheet (docs/rims.md). */
static const double plain_support = 0.72, plain_radius_mm = 12;
static const double height_least_mm = -15, height_most_mm = 80, height_step_mm = 2.5, meet_rel = 0.03;
static const double support_least = 0.4;
/* Parts of what sound photos show of the pins where they are: agreeing, elsewhere, and nothing there. */
static const double agrees_least = 0.5, agrees_most_of_moved = 0.75, moved_least = 0.65, moved_of_held = 0.6, held_least = 0.8,
                    silent_most = 0.25;
/* Clear circles; fewer lie anywhere by chance. The more where a circle in common speaks for the photo. */
static const double circles_least = 2, circles_least_of_met = 2.5;

ps_stand ps_stand_of(const ps_view *view) {
    ps_pose back;
    ps_pose_invert(&view->pose, &back);
    return (ps_stand){{back.t[0], back.t[1]}, -back.t[2]};
}

/* A circle as it is at a height: what the view onto the world plane swells is taken back. */
typedef struct circle {
    double at[2], radius;
} circle;

static circle lowered(const ps_rim_candidate *c, const ps_stand *s, double height_mm) {
    double k = (s->rise_mm - height_mm) / s->rise_mm;
    return (circle){{s->foot_mm[0] + (c->x_mm - s->foot_mm[0]) * k, s->foot_mm[1] + (c->y_mm - s->foot_mm[1]) * k}, c->radius_mm * k};
}

/* Where a pin is supposed: place, and sizes over those of the model. */
typedef struct guess {
    double at[2], scale, anchor_mm, lean; /* height at which the place is known, how much it may lean from there */
} guess;

static double support_of(const ps_rim_candidates *c, const ps_stand *s, const ps_pin_rim *rim, const guess *g) {
    double best = 0, tol = place_mm + g->lean * fabs(rim->height_mm - g->anchor_mm);
    for (int i = 0; i < c->count; i++) {
        if (c->item[i].support <= best || c->item[i].support < support_least) continue;
        circle is = lowered(&c->item[i], s, rim->height_mm);
        if (fabs(is.radius / (g->scale * rim->radius_mm) - 1) < radius_rel && hypot(is.at[0] - g->at[0], is.at[1] - g->at[1]) < tol)
            best = c->item[i].support;
    }
    return best;
}

static double support_of_pin(const ps_rim_candidates *c, const ps_stand *s, const ps_pin_model *pin, const guess *g) {
    double sum = 0;
    for (int r = 0; r < pin->rim_count; r++) sum += support_of(c, s, &pin->rim[r], g);
    return sum;
}

static guess guess_of(const circle *is, const ps_pin_rim *rim, bool held) {
    guess g = {{is->at[0], is->at[1]}, held ? is->radius / rim->radius_mm : 1, rim->height_mm, held ? tilt_lean : 0};
    return g;
}

static bool sizes_go(double scale, bool held) {
    return held ? scale > scale_least && scale < scale_most : fabs(scale - 1) < radius_rel;
}

/* Best of one pin alone, where the model has no other. */
static double seek_one(const ps_rim_candidates *c, const ps_stand *s, const ps_pin_model *pin, bool held) {
    double best = 0;
    for (int r = 0; r < pin->rim_count; r++)
        for (int i = 0; i < c->count; i++) {
            circle is = lowered(&c->item[i], s, pin->rim[r].height_mm);
            if (!sizes_go(is.radius / pin->rim[r].radius_mm, held)) continue;
            guess g = guess_of(&is, &pin->rim[r], held);
            best = fmax(best, support_of_pin(c, s, pin, &g));
        }
    return best;
}

static bool distance_goes(const circle *a, const circle *b, double scale_a, double scale_b, double apart_mm, bool held) {
    double seen = hypot(a->at[0] - b->at[0], a->at[1] - b->at[1]) / apart_mm;
    if (!held) return fabs(seen - 1) < apart_rel;
    return fabs(log(scale_a / scale_b)) < scales_unlike && fabs(seen / sqrt(scale_a * scale_b) - 1) < tilt_rel;
}

/* ---- guesses ---- */

static const double one_guess_mm = 2, one_guess_rel = 0.02; /* nearer ones are the same */

static ps_circles_place place_of(const guess *g) {
    return (ps_circles_place){{g->at[0], g->at[1]}, g->scale, g->anchor_mm};
}

static bool same_place(const ps_circles_place *a, const ps_circles_place *b) {
    return hypot(a->at[0] - b->at[0], a->at[1] - b->at[1]) < one_guess_mm && fabs(a->scale - b->scale) < one_guess_rel;
}

/* Keeps the best few of a kind, `first` being the place of its first. */
static void keep_guess(ps_circles_guesses *kept, int first, const ps_circles_guess *one) {
    int least = first;
    for (int i = first; i < kept->count; i++) {
        ps_circles_guess *was = &kept->guess[i];
        if (same_place(&was->pin[0], &one->pin[0]) && same_place(&was->pin[1], &one->pin[1])) {
            if (one->sum > was->sum) *was = *one;
            return;
        }
        if (was->sum < kept->guess[least].sum) least = i;
    }
    if (kept->count - first < PS_CIRCLES_GUESSES_OF_KIND)
        kept->guess[kept->count++] = *one;
    else if (one->sum > kept->guess[least].sum)
        kept->guess[least] = *one;
}

static double seek_two(const ps_rim_candidates *c, const ps_stand *s, const ps_pin_models *m, bool held, ps_circles_guesses *guesses) {
    int first = guesses->count;
    const ps_pin_model *p = &m->pin[0], *q = &m->pin[1];
    double best = 0, apart = hypot(p->axis_point_mm[0] - q->axis_point_mm[0], p->axis_point_mm[1] - q->axis_point_mm[1]);
    for (int ra = 0; ra < p->rim_count; ra++)
        for (int i = 0; i < c->count; i++) {
            circle a = lowered(&c->item[i], s, p->rim[ra].height_mm);
            double scale_a = a.radius / p->rim[ra].radius_mm;
            if (c->item[i].support < support_least || !sizes_go(scale_a, held)) continue;
            guess ga = guess_of(&a, &p->rim[ra], held);
            double own = support_of_pin(c, s, p, &ga);
            for (int rb = 0; rb < q->rim_count; rb++)
                for (int k = 0; k < c->count; k++) {
                    circle b = lowered(&c->item[k], s, q->rim[rb].height_mm);
                    double scale_b = b.radius / q->rim[rb].radius_mm;
                    if (c->item[k].support < support_least || !sizes_go(scale_b, held)) continue;
                    if (!distance_goes(&a, &b, scale_a, scale_b, apart, held)) continue;
                    guess gb = guess_of(&b, &q->rim[rb], held);
                    ps_circles_guess both = {own + support_of_pin(c, s, q, &gb), {place_of(&ga), place_of(&gb)}};
                    keep_guess(guesses, first, &both);
                    best = fmax(best, both.sum);
                }
        }
    return best;
}

void ps_circles_here(const ps_rim_candidates *c, const ps_stand *s, const ps_pin_models *pins, ps_circles_fit *out) {
    *out = (ps_circles_fit){.pins = pins->count};
    for (int p = 0; p < pins->count; p++) {
        guess g = {{pins->pin[p].axis_point_mm[0], pins->pin[p].axis_point_mm[1]}, 1, 0, 0};
        out->here += support_of_pin(c, s, &pins->pin[p], &g);
    }
}

void ps_circles_seek(const ps_rim_candidates *c, const ps_stand *s, const ps_pin_models *pins, ps_circles_fit *out,
                     ps_circles_guesses *guesses) {
    ps_circles_guesses own = {.count = 0};
    ps_circles_here(c, s, pins, out);
    if (pins->count == 1) {
        out->moved = seek_one(c, s, &pins->pin[0], false);
        out->held = seek_one(c, s, &pins->pin[0], true);
    } else if (pins->count > 1) {
        out->moved = seek_two(c, s, pins, false, &own);
        out->held = seek_two(c, s, pins, true, &own);
    }
    if (guesses) *guesses = own;
}

static bool is_plain(const ps_rim_candidate *c) {
    return c->support >= plain_support && c->radius_mm >= plain_radius_mm;
}

static bool one_circle(const ps_rim_candidate *a, const ps_stand *sa, const ps_rim_candidate *b, const ps_stand *sb) {
    for (double h = height_least_mm; h <= height_most_mm; h += height_step_mm) {
        circle p = lowered(a, sa, h), q = lowered(b, sb, h);
        if (fabs(p.radius / q.radius - 1) < meet_rel && hypot(p.at[0] - q.at[0], p.at[1] - q.at[1]) < place_mm) return true;
    }
    return false;
}

bool ps_circles_meet(const ps_rim_candidates *a, const ps_stand *sa, const ps_rim_candidates *b, const ps_stand *sb, bool *plain) {
    bool in_a = false, in_b = false;
    for (int i = 0; i < a->count; i++) in_a = in_a || is_plain(&a->item[i]);
    for (int k = 0; k < b->count; k++) in_b = in_b || is_plain(&b->item[k]);
    *plain = in_a && in_b;
    for (int i = 0; i < a->count && *plain; i++)
        for (int k = 0; k < b->count; k++)
            if (is_plain(&a->item[i]) && is_plain(&b->item[k]) && one_circle(&a->item[i], sa, &b->item[k], sb)) return true;
    return false;
}

bool ps_circles_silent(const ps_circles_fit *f, double usual) {
    return f->here < silent_most * usual;
}

bool ps_circles_legible(const ps_circles_fit *f, double usual) {
    return fmax(f->moved, f->held) >= fmax(circles_least, agrees_least * usual);
}

ps_code ps_circles_name(const ps_circles_fit *f, double usual, bool shows_pins, bool meets) {
    if (f->pins == 0 || usual < 1) return PS_CODE_COUNT;
    if (f->here >= agrees_least * usual && f->here >= agrees_most_of_moved * f->moved) return PS_CODE_NO_PIN;
    if (f->pins < 2) return PS_CODE_COUNT; /* one pin by itself may have been taken for the other, or for another part */
    double least = meets ? circles_least_of_met : circles_least;
    if (f->moved >= fmax(least, moved_least * usual) && f->moved >= moved_of_held * f->held) return PS_CODE_PIECE_MOVED;
    if (meets || !ps_circles_silent(f, usual)) return PS_CODE_COUNT;
    if (f->held >= fmax(circles_least, held_least * usual)) return PS_CODE_PIECE_HELD;
    return shows_pins ? PS_CODE_OTHER_SCENE : PS_CODE_COUNT;
}

/* ---- which photos go together ---- */

/* Whether the photo meets all others of the set, or none of them; photos without plain circles are passed over. */
static bool meets_all(const ps_meetings *m, int photo, const bool *set, bool wanted) {
    for (int k = 0; k < m->photos; k++)
        if (k != photo && set[k] && m->plain[k] && m->met[photo][k] != wanted) return false;
    return true;
}

/* Whether each photo can be reached from the first by photos that meet. */
static bool all_joined(const ps_meetings *m) {
    bool reached[PS_ADJUST_PHOTOS_MAX] = {true};
    int count = 1;
    for (bool grew = true; grew;) {
        grew = false;
        for (int i = 0; i < m->photos; i++)
            for (int k = 0; k < m->photos && !reached[i]; k++)
                if (reached[k] && m->met[i][k]) reached[i] = grew = true, count++;
    }
    return m->photos >= 2 && count == m->photos;
}

void ps_meetings_judge(const ps_meetings *m, ps_meetings_verdict *out) {
    int plain = 0, pairs = 0;
    bool all[PS_ADJUST_PHOTOS_MAX], rest[PS_ADJUST_PHOTOS_MAX], with[PS_ADJUST_PHOTOS_MAX], without[PS_ADJUST_PHOTOS_MAX];
    *out = (ps_meetings_verdict){.odd = -1};
    for (int i = 0; i < m->photos; i++) {
        all[i] = m->plain[i];
        plain += m->plain[i];
        for (int k = 0; k < i; k++) pairs += m->met[i][k];
    }
    out->nobody = plain >= 2 && pairs == 0;
    out->joined = all_joined(m);
    for (int i = 0; i < m->photos && plain >= 3; i++) { /* one that meets none of the others, which meet each other */
        if (!m->plain[i] || !meets_all(m, i, all, false)) continue;
        bool others = true;
        memcpy(rest, all, sizeof rest);
        rest[i] = false;
        for (int k = 0; k < m->photos; k++) others = others && (!rest[k] || meets_all(m, k, rest, true));
        if (others) out->odd = i;
    }
    int first = 0, in = 0;
    while (first < m->photos && !m->plain[first]) first++;
    for (int i = 0; i < m->photos; i++) {
        with[i] = m->plain[i] && (i == first || m->met[i][first]);
        without[i] = m->plain[i] && !with[i];
        in += with[i];
    }
    out->parted = in >= 2 && plain - in >= 2;
    for (int i = 0; i < m->photos; i++)
        if (m->plain[i] && !(meets_all(m, i, with[i] ? with : without, true) && meets_all(m, i, with[i] ? without : with, false)))
            out->parted = false;
}
