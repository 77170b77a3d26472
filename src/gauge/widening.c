/* What doubts add to a band (docs/verdicts.md). Where one of two things is so and nobody knows which, and the value is what one of them
 * says, its error is 0 or their difference d with even odds: u = d / sqrt(2) about the value given (JCGM 100, 4.3). */
#include "gauge/widening.h"
#include "base/stats.h"
#include "gauge/contradictions.h"
#include "gauge/doubts.h"
#include "gauge/verdict.h"

#include <math.h>

/* Common practice, no source, all of them. */
static const double face_mm = 3, face_u_mm = 1.8; /* a pin's face edge stands for the pin: a chamfer of 0 to 3 mm, 0 to 6 mm of diameter */
static const double lone_pin_mm = 0.8;            /* a pin's only edge: its own, its face's (0 to 4 mm less), or both in one */
static const double same_edge_mm = 0.3;           /* radially: no chamfer is so small */
static const double bore_mm = 3, bore_u_mm = 1.6; /* the bore's outer edge stands for the pin: bevels of 0.5 to 2 mm, and play */
static const double bore_inner_mm = 0.5;          /* ... its inner edge: play alone */
static const double bevel_least_mm = 0.6;         /* how deep the inner edge lies at least */
static const double which_pin_edge_u_mm = 1.2;    /* pin or its face: 0 to 4 mm of diameter, even odds */
static const double bore_edge_u_mm = 2.2;         /* the bore's bevel taken for the pin: 0 to 6 mm of diameter, and play */
static const double which_bush_edge_u_mm = 1.7;   /* bush or its face: 0 to 6 mm of diameter */
static const double lone_bush_mm = 1.5;    /* a bush's only edge: outer (0), or its face's, 1 to 5 mm of diameter smaller; even odds */
static const double bush_chamfer_u_mm = 1; /* a bush's outer edge taken for its face: a chamfer of 0 to 3 mm */
/* A taper's, dome's, cap's, collar's or washer's edge: some 8 mm of diameter either way, and more where all parts are larger. */
static const double other_part_u_mm = 4, other_part_rel = 0.1;
/* ... of its height: caps, collars and domes are some millimetres to a centimetre thick; even odds of 6 mm. */
static const double other_part_height_u_mm = 4;
static const double sunk_u_mm = 2.1; /* a bevel's inner edge taken for an end that lies some 3 mm deeper, even odds */
/* Nobody can say which circle is which: those of a pin in its bush have 0.93 (its face), 1, 1.03 (bore), 1.3 and 1.36 (bush) of its
 * diameter; any two differ by 0.26 (rms), with even odds. */
static const double unread_rel = 0.18;
static const double one_of_two = 0.5;  /* of what two parts differ by, where one of them is another part, or both are what they seem */
static const double some_photos = 0.5; /* another edge in some photos moves the common circle half as far as in all */
/* A stand-out of a usual pin: as far apart are its end, of which a stand-off was declared, and the bush's face or a cap's edge. */
static const double end_or_face_mm = 10;
static const double standoff_least_mm = 0.1; /* sd: whatever is declared, no rule tells it closer */
/* Of a chamfer's width, by which the outer edge's diameter is off where points of both edges had been taken for it: rms of what rendered
 * scenes gave (docs/verdicts.md). */
static const double mixed_share = 0.3;
/* Photos that contradict each other are doubted where values move by this part of their need without one of them (shifts.c). */
static const double contradicted_of_need = 0.6;

static double even_odds_mm(double difference_mm) {
    return difference_mm / sqrt(2);
}

void ps_gauge_widen(ps_quantity *q, ps_source source, double u_mm) {
    q->source_mm[source] = hypot(q->source_mm[source], u_mm);
    q->u_mm = hypot(q->u_mm, u_mm);
}

static void widen_edge(ps_quantity *q, double u_mm) {
    ps_gauge_widen(q, PS_SOURCE_EDGE_SHIFT, u_mm);
}

static double other_part(const ps_quantity *q) {
    return fmax(other_part_u_mm, other_part_rel * q->value_mm);
}

/* What carries the edge may be no pin at all, and a narrow band would be no truth. Where a dome begins with an edge, that edge is the
 * pin's. */
static bool no_pin(const ps_notes *doubts, bool crease) {
    return ps_notes_have(doubts, PS_CODE_PIN_TAPER) || (ps_notes_have(doubts, PS_CODE_PIN_DOME) && !crease) ||
           ps_notes_have(doubts, PS_CODE_PIN_CAP) || ps_notes_have(doubts, PS_CODE_PIN_COLLAR);
}

/* One edge at the pin's end that may stand for both: found twice, or in photos too coarse to show two. */
static bool one_for_both(const ps_rim_fact *rim, bool coarse) {
    const ps_rim_fact *pin = &rim[PS_EDGE_PIN], *face = &rim[PS_EDGE_PIN_FACE];
    if (!face->had) return coarse;
    return 0.5 * fabs(pin->diameter.value_mm - face->diameter.value_mm) < same_edge_mm;
}

/* Another edge than the pin's own lies to one side of it: the value is moved by half of what it can be off. */
static void stand_for_pin(const ps_gauge_pin *pin, const ps_rim_fact *rim, ps_edge edge, const ps_notes *doubts, ps_quantity *q) {
    if (edge == PS_EDGE_PIN_FACE) {
        q->value_mm += face_mm;
        widen_edge(q, face_u_mm);
    } else if (edge == PS_EDGE_BUSH_BORE) {
        bool inner = rim[PS_EDGE_BUSH_FACE].had && rim[PS_EDGE_BUSH_FACE].height_mm - rim[edge].height_mm > bevel_least_mm;
        q->value_mm -= inner ? bore_inner_mm : bore_mm;
        widen_edge(q, bore_u_mm);
    } else if (ps_notes_have(doubts, PS_CODE_PIN_CHAMFER) || ps_notes_have(doubts, PS_CODE_ARC_SHORT) || ps_gauge_end_broken(rim)) {
        if (one_for_both(rim, pin->coarse)) q->value_mm += lone_pin_mm;
        widen_edge(q, pin->bore_near ? bore_edge_u_mm : which_pin_edge_u_mm);
    }
}

void ps_gauge_widen_pin(const ps_gauge_input *input, const ps_gauge_facts *facts, int role, ps_edge edge, const ps_notes *doubts,
                        ps_quantity *q) {
    const ps_gauge_pin *pin = &input->pin[role];
    double part_u_mm = other_part(q), unread_u_mm = unread_rel * q->value_mm;
    /* One of them is another part, and nobody knows which: each may be as large as the other. */
    widen_edge(q, one_of_two * ps_gauge_pins_apart_mm(input, facts));
    if (edge != PS_EDGE_BUSH_BORE && no_pin(doubts, pin->crease)) widen_edge(q, part_u_mm);
    if (edge != PS_EDGE_BUSH_BORE) widen_edge(q, even_odds_mm(pin->rival_mm));
    if (pin->unread || ps_gauge_may_be_bush(input, facts, role)) widen_edge(q, unread_u_mm);
    if (pin->split) widen_edge(q, some_photos * which_pin_edge_u_mm);
    widen_edge(q, mixed_share * pin->mixed_mm);
    stand_for_pin(pin, facts->rim[role], edge, doubts, q);
}

static bool any_of_pin(const ps_rim_fact *rim) {
    return rim[PS_EDGE_PIN].had || rim[PS_EDGE_PIN_FACE].had || rim[PS_EDGE_BUSH_BORE].had;
}

void ps_gauge_widen_bush(const ps_gauge_input *input, const ps_gauge_facts *facts, int role, bool lone, const ps_notes *doubts,
                         ps_quantity *q) {
    const ps_gauge_pin *pin = &input->pin[role];
    double part_u_mm = other_part(q), unread_u_mm = unread_rel * q->value_mm;
    /* Of unlike pins a bush may be a pin, too. */
    double pins_mm = ps_gauge_pins_apart_mm(input, facts);
    widen_edge(q, one_of_two * fmax(pins_mm, ps_gauge_bushes_unlike_mm(input, facts, role)));
    if (ps_gauge_other_part(input, facts, role) || ps_gauge_bush_broken(facts->rim[role])) widen_edge(q, part_u_mm);
    widen_edge(q, even_odds_mm(fmax(pin->bush_rival_mm, ps_gauge_pin_or_bush_mm(input, facts, role))));
    /* Without a pin, under a cap or not seen, nothing tells which of the circles there is the bush's. */
    if (pin->unread || !any_of_pin(facts->rim[role])) widen_edge(q, unread_u_mm);
    if (pin->bush_split) widen_edge(q, some_photos * which_bush_edge_u_mm);
    widen_edge(q, mixed_share * pin->bush_mixed_mm);
    if (lone) q->value_mm += lone_bush_mm;
    if (lone || ps_notes_have(doubts, PS_CODE_BUSH_HIDDEN)) widen_edge(q, which_bush_edge_u_mm);
}

void ps_gauge_widen_centres(const ps_gauge_input *input, ps_quantity *q) {
    ps_gauge_widen(q, PS_SOURCE_AXES, even_odds_mm(input->centres_rival_mm));
}

static bool end_doubted(const ps_notes *doubts) {
    static const ps_code other_end[] = {PS_CODE_PIN_HIDDEN, PS_CODE_PIN_CHAMFER, PS_CODE_PIN_TAPER, PS_CODE_PIN_DOME,
                                        PS_CODE_PIN_CAP,    PS_CODE_PIN_COLLAR,  PS_CODE_ARC_SHORT};
    for (size_t i = 0; i < sizeof other_end / sizeof other_end[0]; i++)
        if (ps_notes_have(doubts, other_end[i])) return true;
    return false;
}

void ps_gauge_widen_end(const ps_gauge_input *input, const ps_notes *doubts, ps_quantity *q) {
    double sd_mm = INFINITY;
    if (input->photos_used != 1 || !end_doubted(doubts)) return;
    for (int role = 0; role < PS_ROLE_COUNT; role++)
        if (input->options->standoff[role].given) sd_mm = fmin(sd_mm, 0.5 * input->options->standoff[role].U_mm);
    if (!(sd_mm < even_odds_mm(end_or_face_mm))) return;
    ps_gauge_widen(q, PS_SOURCE_PLANE, q->source_mm[PS_SOURCE_PLANE] * even_odds_mm(end_or_face_mm) / fmax(sd_mm, standoff_least_mm));
}

void ps_gauge_widen_proud(const ps_gauge_input *input, const ps_gauge_facts *facts, int role, ps_edge edge, const ps_notes *doubts,
                          ps_quantity *q) {
    const ps_gauge_pin *pin = &input->pin[role];
    double higher_mm = ps_gauge_bush_higher_mm(facts, role);
    bool bush = ps_gauge_other_part(input, facts, role) && higher_mm == 0;
    bool end = no_pin(&pin->doubts, false) || ps_notes_have(doubts, PS_CODE_PIN_TAPER) || ps_notes_have(doubts, PS_CODE_PIN_DOME);
    if (edge == PS_EDGE_BUSH || ps_notes_have(doubts, PS_CODE_BUSH_HIDDEN)) ps_gauge_widen(q, PS_SOURCE_PLANE, bush_chamfer_u_mm);
    if (bush || end || pin->unread) ps_gauge_widen(q, PS_SOURCE_PLANE, other_part_height_u_mm);
    /* What was taken for the end may be the bush's, and ends stand out by up to a pin's diameter: as unsure as that is. */
    const ps_rim_fact *at = &facts->rim[role][facts->rim[role][PS_EDGE_PIN].had ? PS_EDGE_PIN : PS_EDGE_PIN_FACE];
    if (pin->unread && at->had) ps_gauge_widen(q, PS_SOURCE_PLANE, unread_rel * at->diameter.value_mm);
    if (pin->sunk) ps_gauge_widen(q, PS_SOURCE_PLANE, sunk_u_mm);
    /* A long taper may be none: a groove of the end face, or another circle, misplaced, and then the end is no farther out than the pin's
     * edge. */
    if (facts->rim[role][PS_EDGE_PIN].had && facts->rim[role][PS_EDGE_PIN_FACE].had && ps_notes_have(doubts, PS_CODE_PIN_TAPER))
        ps_gauge_widen(q, PS_SOURCE_PLANE,
                       even_odds_mm(facts->rim[role][PS_EDGE_PIN_FACE].height_mm - facts->rim[role][PS_EDGE_PIN].height_mm));
    ps_gauge_widen(q, PS_SOURCE_PLANE, even_odds_mm(higher_mm));
    ps_gauge_widen(q, PS_SOURCE_PLANE, even_odds_mm(pin->proud_rival_mm));
}

/* As priors with a heavy tail are (docs/model.md): the t's own 97.5 % point over 2, so that U = 2u covers 95 %. Axes rest on more
 * than the sizes of edges. */
void ps_gauge_widen_few(ps_kind kind, int photos, ps_quantity *q) {
    double dof = ps_gauge_photo_dof(photos);
    if (!(dof > 0) || kind == PS_KIND_CENTRES || kind == PS_KIND_GAP) return;
    double factor = 0.5 * ps_t_value(0.025, dof);
    ps_gauge_widen(q, PS_SOURCE_EDGE_SHIFT, q->source_mm[PS_SOURCE_EDGE_SHIFT] * sqrt(factor * factor - 1));
}

void ps_gauge_widen_contradicted(const ps_gauge_input *input, ps_source source, double need_mm, ps_quantity *q) {
    if (ps_gauge_contradicted(&input->doubts)) ps_gauge_widen(q, source, even_odds_mm(contradicted_of_need * need_mm));
}
