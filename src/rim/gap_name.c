/* Naming the circles of one ear's bush. The flat face is a plane between two circles of one height, and it lies farther inward than
 * anything else of the bush: so the innermost clear pair is sought. Taking a chamfer's foot for the face puts circles farther inward
 * than the 'face', which is what the choice punishes. */
#include <math.h>
#include <string.h>

#include "base/linear.h"
#include "rim/gap.h"

static const double wall_min_mm = 3.5;                           /* radially, of the flat face */
static const double inner_min = 0.4, inner_max = 0.92;           /* bore over outer radius */
static const double chamfer_max_mm = 4.5, chamfer_min_mm = 0.25; /* radially and along the axis */
static const double faint_share = 0.3, bore_share = 0.12;        /* of the ear's clearest circle: fainter ones are texture */
static const double height_max_mm = 14;                          /* of a bush over its ear plate */
static const double unlike_mm = 4;                               /* bushes of a pair are alike, so far */
static const double foot_share = 0.3;
static const double lost_share = 0.7; /* a circle farther inward must be so much weaker */
static const double ring_share = 0.5; /* and a ring before a boss's face, than the face's own */
static const double end_share = 0.06; /* of a boss's own edge */

static double weight_of(const ps_gap_circle *c) {
    return ps_gap_weight(c);
}

/* How far outward, from the middle between the ears. */
static double outward(const ps_gap_circle *c) {
    return -ps_gap_inward(c->ear) * c->t;
}

/* Circles that lie farther inward than the plane, about as large: then the plane is no face. */
static double farther_in(const ps_gap_circle *c, int count, const ps_gap_circle *outer, const ps_gap_circle *inner, double flat_mm) {
    double plane = fmin(outward(outer), outward(inner)), most = 0;
    for (int i = 0; i < count; i++)
        if (&c[i] != outer && &c[i] != inner && outward(&c[i]) < plane - flat_mm && outward(&c[i]) > plane - height_max_mm &&
            c[i].r > inner->r - chamfer_max_mm && c[i].r < outer->r + 3)
            most = fmax(most, weight_of(&c[i]));
    return most;
}

static bool is_ring(const ps_gap_circle *outer, const ps_gap_circle *inner, double flat_mm) {
    double ratio = inner->r / outer->r;
    return outer->r - inner->r >= wall_min_mm && ratio >= inner_min && ratio <= inner_max && fabs(outer->t - inner->t) <= 2 * flat_mm;
}

/* How clear a flat ring is. */
static double ring_of(const ps_gap_circle *outer, const ps_gap_circle *inner, double flat_mm) {
    double apart = (outer->t - inner->t) / flat_mm;
    return fmin(weight_of(outer), weight_of(inner)) * exp(-apart * apart);
}

/* On a boss's end steps have one axis: its own end, the bush that stands out of it, a pin that stands out of the bush. Only the bush has a
 * flat ring with a bore that nothing of the kind lies before: how clear the clearest ring is that lies before the plane. */
static double ring_before(const ps_gap_circle *c, int count, const ps_gap_circle *face, double flat_mm) {
    double most = 0;
    for (int i = 0; i < count; i++)
        for (int k = 0; k < count; k++) {
            double before = outward(face) - fmax(outward(&c[i]), outward(&c[k]));
            if (before > flat_mm && before < height_max_mm && c[i].r < face->r + 1 && is_ring(&c[i], &c[k], flat_mm))
                most = fmax(most, ring_of(&c[i], &c[k], flat_mm));
        }
    return most;
}

static const ps_gap_circle *chamfer_of(const ps_gap_circle *c, int count, const ps_gap_circle *face) {
    const ps_gap_circle *best = NULL;
    for (int i = 0; i < count; i++) {
        double across = c[i].r - face->r, down = outward(&c[i]) - outward(face);
        if (across < chamfer_min_mm || down < chamfer_min_mm || across > chamfer_max_mm || down > 3 * across || across > 3 * down) continue;
        if (!best || weight_of(&c[i]) > weight_of(best)) best = &c[i];
    }
    return best;
}

/* Keeps the `most` best, best first. */
static int insert(ps_gap_bush *list, int count, int most, const ps_gap_bush *b) {
    int at = count < most ? count++ : most;
    for (; at > 0 && list[at - 1].value < b->value; at--)
        if (at < most) list[at] = list[at - 1];
    if (at < most) list[at] = *b;
    return count;
}

/* A face's boundary with the bore's edge of its plane and the chamfer's other edge, either of them optional. What lies farther inward
 * speaks against it: all the more where nothing else speaks for it. */
static ps_gap_bush reading_of(const ps_gap_circle *c, int count, const ps_gap_circle *face, const ps_gap_circle *bore, double flat_mm) {
    const ps_gap_circle *chamfer = chamfer_of(c, count, face);
    double own = weight_of(face), lost = farther_in(c, count, face, bore ? bore : face, flat_mm), backed = 0;
    ps_gap_bush b = {.has_face = true, .has_bore = bore != NULL, .has_outer = chamfer != NULL, .face = *face};
    if (bore) {
        double apart = (face->t - bore->t) / flat_mm;
        b.bore = *bore;
        backed = fmin(own, weight_of(bore));
        b.value += (0.5 * weight_of(bore) + backed) * exp(-apart * apart);
    }
    if (chamfer) {
        double pair = fmin(own, weight_of(chamfer));
        b.outer = *chamfer;
        backed = fmax(backed, pair);
        b.value += 0.4 * weight_of(chamfer) + 0.3 * pair;
    }
    b.value += (backed > 0 ? 0.5 : 0.3) * own;
    if (backed > 0 && lost > lost_share * backed) b.value -= lost;
    if (!(backed > 0) && lost > foot_share * own) b.value *= 0.2; /* the bush's foot on its plate */
    return b;
}

/* The same of a boss's end, whose own edge is far clearer than its bush: rings are compared by their fainter circle. */
static ps_gap_bush end_of(const ps_gap_circle *c, int count, const ps_gap_circle *face, const ps_gap_circle *bore, double flat_mm) {
    const ps_gap_circle *chamfer = chamfer_of(c, count, face);
    ps_gap_bush b = {.has_face = true, .has_bore = bore != NULL, .has_outer = chamfer != NULL, .face = *face};
    double ring = bore ? ring_of(face, bore, flat_mm) : 0.1 * weight_of(face);
    if (bore) b.bore = *bore;
    if (chamfer) b.outer = *chamfer;
    b.value = ring * (chamfer && weight_of(chamfer) > 0.5 * ring ? 1.2 : 1);
    if (ring_before(c, count, face, flat_mm) > ring_share * ring) b.value *= 0.2;
    return b;
}

/* What an ear's circles can be, best first. */
static int read_ear(const ps_gap_circle *all, int n, double flat_mm, bool over, ps_gap_bush *out, int most) {
    ps_gap_circle c[PS_GAP_SPOTS_MAX];
    double clearest = 0;
    int count = 0, found = 0;
    for (int i = 0; i < n; i++) clearest = fmax(clearest, weight_of(&all[i]));
    for (int i = 0; i < n && count < PS_GAP_SPOTS_MAX; i++)
        if (weight_of(&all[i]) > (over ? end_share : bore_share) * clearest) c[count++] = all[i];
    for (int i = 0; i < count; i++) {
        if (weight_of(&c[i]) < (over ? end_share : faint_share) * clearest) continue;
        ps_gap_bush b = (over ? end_of : reading_of)(c, count, &c[i], NULL, flat_mm);
        if (b.value > 0) found = insert(out, found, most, &b);
        for (int j = 0; j < count; j++) {
            if (!is_ring(&c[i], &c[j], flat_mm)) continue;
            b = (over ? end_of : reading_of)(c, count, &c[i], &c[j], flat_mm);
            if (b.value > 0) found = insert(out, found, most, &b);
        }
    }
    return found;
}

void ps_gap_name(const ps_gap_circle *const circle[2], const int count[2], double flat_mm, bool over, ps_gap_bush out[2]) {
    enum { READINGS = 8 };
    ps_gap_bush reading[2][READINGS];
    int n[2];
    double best = -INFINITY;
    for (int ear = 0; ear < 2; ear++) {
        n[ear] = read_ear(circle[ear], count[ear], flat_mm, over, reading[ear], READINGS);
        out[ear] = n[ear] ? reading[ear][0] : (ps_gap_bush){.has_face = false};
    }
    for (int i = 0; i < n[0]; i++)
        for (int j = 0; j < n[1]; j++) {
            double unlike = fmin(1, fabs(reading[0][i].face.r - reading[1][j].face.r) / unlike_mm);
            double value = (reading[0][i].value + reading[1][j].value) * (1 - 0.5 * unlike);
            if (value <= best) continue;
            best = value;
            out[0] = reading[0][i];
            out[1] = reading[1][j];
        }
}
