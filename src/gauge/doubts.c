/* Doubts. Thresholds are common practice without a source unless said otherwise; docs/verdicts.md lists them. */
#include "gauge/doubts.h"
#include "adjust/model.h"
#include "gauge/sentences.h"
#include "pinspan/target.h"
#include "pinspan/trade.h"

#include <math.h>

/* Print: a printer off by more than this, or unequal by more, is out of order (docs/design.md). */
static const double scale_low = 0.9, scale_high = 1.1, scale_unequal = 0.01;
static const double check_agrees_sd = 3.5, check_floor = 0.001; /* solved scale against the check, relative */
/* What a sheet beside those that were read carries of a value unread: within this share of the need by the sd of an unread print (2 %),
 * and so within a third by the worst known one, fitted to the page (6 %). */
static const double unread_share_of_need = 0.1;
static const double spread_least_deg = 8, spread_lens_deg = 15;
static const double fit_ratio_most = 2.5, rim_misfit_most = 4;
static const int fit_dof_least = 10;
static const double camera_share_of_need = 0.1; /* of one photo: how far the focal length may carry a value */
static const double arc_least = 0.3, arc_alone = 0.5, arc_axis = 0.25;
static const double arc_mean_least = PS_GAUGE_ARC_MEAN_LEAST;
static const double arc_outer_least =
    0.55; /* of the edge that gives a bush's size: a weld or shadow outside it runs along it about half round */
static const double arc_holds_least = 0.75; /* of a bush that holds the axis of a pin whose end is broken: three quarters, all sides */
static const double arc_pin_least = 0.6;    /* light along a taper or dome draws a false edge on one side, about half round */
static const double chamfer_least_mm = 0.3, chamfer_radial_most_mm = 4, chamfer_axial_most_mm = 6, chamfer_slope_most = 4;
static const double bush_over_pin_most = 2.0;
/* Both pins of a side are within two steps of size: 50 and 60 mm, 25 and 30; unless both are read beyond doubt. */
static const double pins_ratio_most = 1.25;
/* Another circle that may be the pin's, beyond its chamfer, face and bore, is the bush's, or what was taken for the pin's is. */
static const double pin_or_bush_least = 0.15;
/* Bushes stand some 3 to 12 mm before their ear plate, on which the sheet lies, and as much before a boss about them. */
static const double low_bush_mm = 5, flush_mm = 7;
static const double bushes_ratio_most = 1.2; /* of bushes, each against its pin: walls of 15 and 38 % of the pin, or 10 and 32 % */
static const double pin_least_mm = 20, pin_most_mm = 160;
static const double play_most_mm = 1.5;                       /* a bush off its pin's axis: three sd of the play in docs/model.md */
static const double cap_over_bush_mm = 8;                     /* a cap covers a pin's end; bushes of a plate are seldom so unlike */
static const double bush_heights_most_mm = 3;                 /* both bushes of an ear plate stand out alike */
static const double pins_alike_mm = 0.5, bushes_alike_mm = 1; /* pins of one size carry bushes of one size */
/* Chance of a true circle: exp(-3.5^2/2), 0.2 % a rim. 0.3 mm between diameters is 2.5 sd of what turned pins may have (docs/model.md). */
static const double oval_least_sd = 3.5, oval_least_pin_mm = 0.3, oval_least_mm = 0.5;
static const double proud_least_mm = -10, proud_most_mm = 70;

static void say(ps_notes *doubts, ps_code code) {
    ps_gauge_say(doubts, PS_SUBJECT_VALUE, code);
}

/* ---- of every value ---- */

static bool read_for_all(const ps_gauge_input *in, bool along) {
    for (int i = 0; i < in->options->check_count && i < PS_CHECKS_MAX; i++)
        if (in->options->check[i].piece < 0 && in->options->check[i].along == along) return true;
    return false;
}

static bool read_by_itself(const ps_gauge_input *in, int piece, bool along) {
    for (int i = 0; i < in->options->check_count && i < PS_CHECKS_MAX; i++) {
        const ps_print_check *c = &in->options->check[i];
        if (c->along == along && c->piece >= 0 && c->piece == in->print[piece].piece) return true;
    }
    return false;
}

void ps_gauge_prints(const ps_adjust_solution *s, ps_gauge_input *in) {
    const ps_adjust_problem *p = &s->model.problem;
    in->print_count = p->piece_count;
    for (int k = 0; k < p->piece_count; k++) {
        in->print[k].piece = p->piece[k].piece;
        in->print[k].unread = p->piece[k].print.across.guessed || p->piece[k].print.along.guessed;
        ps_adjust_piece_scale(s, k, &in->print[k].across, &in->print[k].along);
    }
}

static double scale_of(const ps_gauge_input *in, int piece, bool along) {
    return along ? in->print[piece].along : in->print[piece].across;
}

/* False where a check line as read is far from the scale that the adjustment ended with, of the piece or pieces that it was read for; of
 * other pieces (a sheet on the cross plate, in another adjustment) it says nothing. */
static bool check_agrees(const ps_gauge_input *in, const ps_print_check *c) {
    double nominal = c->along ? PS_CHECK_ALONG_MM : PS_CHECK_ACROSS_MM, sd = 0.5 * c->U_mm / nominal;
    if (c->piece < 0 && in->print_count > 1 && in->print_each) return true; /* readings of each have taken its place */
    for (int k = 0; k < in->print_count; k++) {
        if (c->piece != in->print[k].piece && (c->piece >= 0 || read_by_itself(in, k, c->along))) continue;
        if (!(fabs(c->read_mm / nominal - scale_of(in, k, c->along)) <= fmax(check_agrees_sd * sd, check_floor))) return false;
    }
    return true;
}

/* One reading for several sheets says that they are alike. */
static bool unlike(const ps_gauge_input *in, bool along) {
    double least = INFINITY, most = 0;
    for (int k = 0; k < in->print_count; k++) {
        if (!read_for_all(in, along) || read_by_itself(in, k, along)) continue;
        least = fmin(least, scale_of(in, k, along)), most = fmax(most, scale_of(in, k, along));
    }
    return !(most <= least * (1 + check_floor));
}

static const char *unread(const ps_gauge_input *in) {
    for (int k = 0; k < in->print_count; k++)
        if (in->print[k].unread) return ps_kit_piece(in->print[k].piece)->name;
    return "a sheet";
}

static bool in_proportion(const ps_gauge_input *in, int piece) {
    double x = scale_of(in, piece, false), y = scale_of(in, piece, true);
    return x >= scale_low && x <= scale_high && y >= scale_low && y <= scale_high && fabs(x - y) <= scale_unequal * fmin(x, y);
}

void ps_gauge_doubts_print(const ps_gauge_input *in, ps_notes *doubts) {
    bool sound = true;
    for (int k = 0; k < in->print_count; k++) sound = sound && in_proportion(in, k);
    for (int i = 0; i < in->options->check_count && i < PS_CHECKS_MAX; i++) sound = sound && check_agrees(in, &in->options->check[i]);
    if (!sound) say(doubts, PS_CODE_PRINT_SCALED);
}

static void doubt_print(const ps_gauge_input *in, const ps_quantity *q, double need_mm, ps_notes *doubts) {
    /* A scale wrong one way tilts the solved cameras and moves lengths the other way too: both lines are needed for all. */
    if (!in->print_checked_across || !in->print_checked_along) say(doubts, PS_CODE_PRINT_UNCHECKED);
    if (q->unread_mm > unread_share_of_need * need_mm)
        ps_notes_add(doubts, PS_CODE_PRINT_UNCHECKED,
                     "This size hangs on %s, whose check lines were not both read; those of another sheet do not speak for it.",
                     unread(in));
    if (!in->print_each && (unlike(in, false) || unlike(in, true)))
        ps_notes_add(
            doubts, PS_CODE_PRINT_SCALED,
            "One reading of a check line was given for all sheets, but the photos show sheets of unlike scale: each must be read.");
    ps_gauge_doubts_print(in, doubts);
}

/* True where a declared stand-off fixes the height of what is measured: it speaks of the pin's end face and nothing else. */
static bool placed_by_standoff(const ps_gauge_input *in, const ps_gauge_facts *facts, ps_kind kind, int role) {
    if (kind != PS_KIND_PIN && kind != PS_KIND_CENTRES) return false;
    for (int r = 0; r < PS_ROLE_COUNT; r++)
        if ((role < 0 || r == role) && !(in->options->standoff[r].given && facts->rim[r][PS_EDGE_PIN_FACE].had)) return false;
    return true;
}

void ps_gauge_doubts_views(const ps_gauge_input *in, ps_notes *doubts) {
    if (in->photos_used == 1) say(doubts, PS_CODE_ONE_PHOTO);
    if (in->photos_used >= 2 && !(in->direction_spread_deg >= spread_least_deg)) say(doubts, PS_CODE_ONE_DIRECTION);
}

static void doubt_photos(const ps_gauge_input *in, bool placed, const ps_quantity *q, double need_mm, ps_notes *doubts) {
    if (in->photos_used < 2 && !placed) say(doubts, PS_CODE_ONE_PHOTO);
    bool one_way = in->photos_used >= 2 && !(in->direction_spread_deg >= spread_least_deg);
    if (one_way && !placed) say(doubts, PS_CODE_ONE_DIRECTION);
    /* Without a second direction the scale can hang on the focal length, and EXIF's is sometimes plain wrong. */
    bool hangs = q->source_mm[PS_SOURCE_CAMERA] > camera_share_of_need * need_mm;
    if ((in->photos_used < 2 || one_way) && hangs) say(doubts, PS_CODE_LENS_UNKNOWN);
    if (!in->lens_known && (in->photos_used < 3 || !(in->direction_spread_deg >= spread_lens_deg))) say(doubts, PS_CODE_LENS_UNKNOWN);
}

void ps_gauge_doubts_common(const ps_gauge_input *in, const ps_gauge_facts *facts, ps_kind kind, int role, const ps_quantity *q,
                            ps_notes *doubts) {
    doubt_print(in, q, ps_trade_need_mm(kind, in->options->coupler), doubts);
    ps_notes_copy(&in->doubts, doubts);
    ps_notes_copy(&facts->photo_doubts, doubts);
    doubt_photos(in, placed_by_standoff(in, facts, kind, role), q, ps_trade_need_mm(kind, in->options->coupler), doubts);
    if (facts->dof < fit_dof_least || !(facts->chi2 / facts->dof <= fit_ratio_most)) say(doubts, PS_CODE_FIT_BAD);
    if (in->roles_unsure && role >= 0) say(doubts, PS_CODE_ROLES_UNSURE);
}

/* ---- of rims ---- */

bool ps_gauge_end_broken(const ps_rim_fact *rim) {
    return !(fmax(rim[PS_EDGE_PIN].arc_mean, rim[PS_EDGE_PIN_FACE].arc_mean) >= arc_mean_least);
}

/* Two photos see a weld on the same sides, and nothing else says where the bush ends: both edges count then, and the outer one by itself.
 */
bool ps_gauge_bush_broken(const ps_rim_fact *rim) {
    const ps_rim_fact *bush = &rim[PS_EDGE_BUSH], *face = &rim[PS_EDGE_BUSH_FACE], *outer = bush->had ? bush : face;
    double arc = fmax(bush->arc_mean, face->arc_mean);
    if (bush->had && face->had && outer->photos < 3) arc = 0.5 * (bush->arc_mean + face->arc_mean);
    return !(arc >= arc_mean_least) || !(outer->arc_mean >= (outer->photos < 3 ? arc_mean_least : arc_outer_least));
}

bool ps_gauge_out_of_round(const ps_rim_fact *rim) {
    const ps_quantity *d = &rim->oval.difference;
    return rim->had && d->value_mm >= (rim->on_pin ? oval_least_pin_mm : oval_least_mm) && d->value_mm > oval_least_sd * d->u_mm;
}

static void doubt_round(const ps_rim_fact *rim, const char *what, ps_notes *doubts) {
    if (ps_gauge_out_of_round(rim))
        ps_notes_add(doubts, PS_CODE_OUT_OF_ROUND, "The %s is not round: %.1f mm across at its widest, %.1f mm square to that.", what,
                     rim->oval.long_mm, rim->oval.short_mm);
}

/* One rim's evidence: enough of it, in more than one photo, on one circle. */
static void doubt_rim(const ps_gauge_input *in, const ps_rim_fact *rim, ps_code hidden, ps_notes *doubts) {
    if (!(rim->arc >= arc_least) || (!(rim->arc >= arc_alone) && rim->photos < 2)) {
        ps_notes_add(doubts, PS_CODE_ARC_SHORT, "Only %.0f %% of the edge is seen, too short a piece to stand on its own.",
                     100 * fmin(fmax(rim->arc, 0), 1));
    }
    if (rim->photos < 2 && in->photos_used >= 2) say(doubts, hidden);
    if (!(rim->misfit <= rim_misfit_most))
        ps_notes_add(doubts, PS_CODE_FIT_BAD, "The points found on this edge do not lie on one circle as well as they should.");
}

/* The bush's outer edge; its face's where that alone is had. */
static const ps_rim_fact *bush_rim(const ps_gauge_facts *facts, int role) {
    const ps_rim_fact *rim = facts->rim[role];
    return rim[PS_EDGE_BUSH].had ? &rim[PS_EDGE_BUSH] : rim[PS_EDGE_BUSH_FACE].had ? &rim[PS_EDGE_BUSH_FACE] : NULL;
}

/* Of the edges that tell of a pin's size the one nearest to it. */
static const ps_rim_fact *pin_rim(const ps_gauge_facts *facts, int role) {
    static const ps_edge order[] = {PS_EDGE_PIN, PS_EDGE_BUSH_BORE, PS_EDGE_PIN_FACE};
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++)
        if (facts->rim[role][order[i]].had) return &facts->rim[role][order[i]];
    return NULL;
}

static bool rim_off_axis(const ps_rim_fact *rim) {
    return rim->had && !(rim->aside_mm <= play_most_mm);
}

double ps_gauge_pins_apart_mm(const ps_gauge_input *in, const ps_gauge_facts *facts) {
    const ps_rim_fact *a = pin_rim(facts, PS_ROLE_DIPPER), *b = pin_rim(facts, PS_ROLE_LINK);
    if (!a || !b || (in->pin[0].sure && in->pin[1].sure)) return 0;
    double one = a->diameter.value_mm, other = b->diameter.value_mm;
    return fmax(one, other) > pins_ratio_most * fmin(one, other) ? fabs(one - other) : 0;
}

double ps_gauge_bushes_unlike_mm(const ps_gauge_input *in, const ps_gauge_facts *facts, int role) {
    const ps_rim_fact *a = bush_rim(facts, role), *b = bush_rim(facts, 1 - role);
    const ps_rim_fact *p = pin_rim(facts, role), *q = pin_rim(facts, 1 - role);
    bool read = p && !in->pin[role].unread, other_read = q && !in->pin[1 - role].unread;
    if (!a || !b || (in->pin[0].bush_sure && in->pin[1].bush_sure) || (read && !other_read)) return 0;
    double one = a->diameter.value_mm, other = b->diameter.value_mm, pins = p && q ? p->diameter.value_mm / q->diameter.value_mm : 1;
    return fmax(one, other * pins) > bushes_ratio_most * fmin(one, other * pins) ? fabs(one - other) : 0;
}

double ps_gauge_pin_or_bush_mm(const ps_gauge_input *in, const ps_gauge_facts *facts, int role) {
    const ps_rim_fact *pin = pin_rim(facts, role);
    double rival_mm = in->pin[role].rival_mm;
    return pin && rival_mm > pin_or_bush_least * pin->diameter.value_mm ? rival_mm : 0;
}

bool ps_gauge_may_be_bush(const ps_gauge_input *in, const ps_gauge_facts *facts, int role) {
    const ps_rim_fact *rim = facts->rim[role], *pin = rim[PS_EDGE_PIN_FACE].had ? &rim[PS_EDGE_PIN_FACE] : &rim[PS_EDGE_PIN];
    const ps_rim_fact *bush = rim[PS_EDGE_BUSH_FACE].had ? &rim[PS_EDGE_BUSH_FACE] : &rim[PS_EDGE_BUSH];
    if (!pin->had || !bush->had || !ps_notes_have(&in->pin[role].bush_doubts, PS_CODE_BUSH_HIDDEN)) return false;
    return bush->height_mm < low_bush_mm && pin->height_mm - bush->height_mm < flush_mm;
}

/* Pin and bush of sizes that do not go together: one edge is taken for another. */
static void doubt_sizes(const ps_gauge_input *in, const ps_gauge_facts *facts, int role, ps_notes *doubts) {
    const ps_rim_fact *pin = pin_rim(facts, role), *bush = bush_rim(facts, role);
    if (!pin) return;
    double d = pin->diameter.value_mm;
    if (bush && bush->diameter.value_mm < PS_GAUGE_BUSH_OVER_PIN_LEAST * d) say(doubts, PS_CODE_PIN_CAP);
    if (bush && bush->diameter.value_mm > bush_over_pin_most * d) say(doubts, PS_CODE_PIN_COLLAR);
    if (rim_off_axis(&facts->rim[role][PS_EDGE_BUSH]) || rim_off_axis(&facts->rim[role][PS_EDGE_BUSH_FACE]))
        say(doubts, PS_CODE_PIN_COLLAR);
    if (ps_gauge_pins_apart_mm(in, facts) > 0) say(doubts, PS_CODE_PIN_CAP);
    if (!(d >= pin_least_mm && d <= pin_most_mm)) say(doubts, PS_CODE_PIN_CAP);
}

/* The pin's end against the bush's face. */
static void doubt_proud(const ps_gauge_facts *facts, int role, ps_notes *doubts) {
    const ps_rim_fact *pin = &facts->rim[role][PS_EDGE_PIN_FACE], *bush = &facts->rim[role][PS_EDGE_BUSH_FACE];
    if (!pin->had) pin = &facts->rim[role][PS_EDGE_PIN];
    if (!bush->had) bush = &facts->rim[role][PS_EDGE_BUSH];
    if (!pin->had || !bush->had) return;
    double proud = pin->height_mm - bush->height_mm;
    if (!(proud >= proud_least_mm && proud <= proud_most_mm)) say(doubts, PS_CODE_PIN_COLLAR);
}

static void doubt_chamfer(const ps_rim_fact *pin, const ps_rim_fact *face, double u_axial_mm, ps_notes *doubts) {
    if (!pin->had || !face->had) {
        say(doubts, PS_CODE_PIN_CHAMFER);
        return;
    }
    double radial = 0.5 * (pin->diameter.value_mm - face->diameter.value_mm), axial = face->height_mm - pin->height_mm;
    /* Two rims in one place are one edge found twice; a face larger than the pin, or behind it, is something else. */
    if (!(radial >= chamfer_least_mm) || !(axial >= -2 * u_axial_mm))
        ps_notes_add(
            doubts, PS_CODE_PIN_CHAMFER,
            "The two edges found at the pin's end do not go together as a face and the cylinder behind it, so it is not sure which "
            "is the full diameter.");
    if (radial > chamfer_radial_most_mm || axial > chamfer_axial_most_mm ||
        axial - u_axial_mm > chamfer_slope_most * fmax(radial, chamfer_least_mm))
        say(doubts, PS_CODE_PIN_TAPER);
}

/* Height of a bush's face, else of its edge; NaN. */
static double bush_height(const ps_gauge_facts *facts, int role) {
    const ps_rim_fact *rim = facts->rim[role];
    return rim[PS_EDGE_BUSH_FACE].had ? rim[PS_EDGE_BUSH_FACE].height_mm : rim[PS_EDGE_BUSH].had ? rim[PS_EDGE_BUSH].height_mm : NAN;
}

/* A cap as large as a bush, with a ring on it as large as a pin, is read as both; but it stands in front of the pin's end. */
static void doubt_cap_like(const ps_gauge_facts *facts, int role, ps_notes *doubts) {
    double more = bush_height(facts, role) - bush_height(facts, 1 - role);
    if (more > cap_over_bush_mm)
        ps_notes_add(doubts, PS_CODE_PIN_CAP,
                     "What was taken for the bush stands out %.0f mm more than the other pin's: it may be a cap over the pin.", more);
}

bool ps_gauge_axis_loose(const ps_rim_fact *rim) {
    return (rim[PS_EDGE_PIN].had || rim[PS_EDGE_PIN_FACE].had) && ps_gauge_end_broken(rim) &&
           !(fmax(rim[PS_EDGE_BUSH].arc_mean, rim[PS_EDGE_BUSH_FACE].arc_mean) >= arc_holds_least);
}

static void say_broken(ps_notes *doubts) {
    ps_notes_add(doubts, PS_CODE_ARC_SHORT,
                 "The edges of the pin's end run only in part where one circle would; what is seen can be several edges.");
}

void ps_gauge_doubts_pin(const ps_gauge_input *in, const ps_gauge_facts *facts, int role, ps_notes *doubts) {
    const ps_rim_fact *rim = facts->rim[role], *seen = pin_rim(facts, role);
    ps_notes_copy(&in->pin[role].doubts, doubts);
    ps_notes_copy(&facts->pin_doubts[role], doubts);
    if (seen) doubt_rim(in, seen, PS_CODE_PIN_HIDDEN, doubts);
    if (seen && !(seen->arc >= arc_pin_least))
        ps_notes_add(doubts, PS_CODE_ARC_SHORT,
                     "At most %.0f %% of the edge is seen in a photo; on one side only it can be light on a taper.",
                     100 * fmax(seen->arc, 0));
    if (seen && ps_gauge_end_broken(rim)) say_broken(doubts);
    if (seen) doubt_round(seen, "pin's edge", doubts);
    doubt_chamfer(&rim[PS_EDGE_PIN], &rim[PS_EDGE_PIN_FACE], facts->u_chamfer_mm[role], doubts);
    if (ps_notes_have(doubts, PS_CODE_PIN_TAPER)) ps_notes_copy(&in->pin[role].end_doubts, doubts);
    doubt_sizes(in, facts, role, doubts);
    doubt_proud(facts, role, doubts);
    if (rim[PS_EDGE_CAP].had) say(doubts, PS_CODE_PIN_CAP);
    if (!rim[PS_EDGE_PIN].had && rim[PS_EDGE_BUSH_BORE].had)
        ps_notes_add(doubts, PS_CODE_PIN_TAPER,
                     "Between the pin's end and the bush no edge of the full cylinder shows: the end tapers or is rounded. The value is an "
                     "estimate from the bore's edge around the pin.");
    doubt_cap_like(facts, role, doubts);
    if (ps_gauge_may_be_bush(in, facts, role))
        ps_notes_add(
            doubts, PS_CODE_PIN_HIDDEN,
            "What was taken for the bush lies near the plate and is hardly told: it may be a boss or a weld, and the pin's edge that "
            "of a bush around a pin that ends flush.");
    if (!bush_rim(facts, role))
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN,
                     "No bush edge was told apart around the pin, so the edge taken for the pin's could be the bush's.");
}

/* Best evidence of a pin's axis: any rim machined on the pin. */
static ps_rim_fact axis_evidence(const ps_gauge_facts *facts, int role) {
    const ps_rim_fact *a = &facts->rim[role][PS_EDGE_PIN], *b = &facts->rim[role][PS_EDGE_PIN_FACE];
    if (!a->had) return *b;
    if (!b->had) return *a;
    return (ps_rim_fact){.had = true,
                         .photos = a->photos > b->photos ? a->photos : b->photos,
                         .arc = fmax(a->arc, b->arc),
                         .misfit = fmax(a->misfit, b->misfit)};
}

/* Pins of one size with bushes of two: one bush's edge is its face's, or a weld's. How much they differ by; 0 where nothing is odd. */
static double bushes_apart_mm(const ps_gauge_facts *facts) {
    const ps_rim_fact *pin[PS_ROLE_COUNT], *bush[PS_ROLE_COUNT];
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        pin[role] = &facts->rim[role][PS_EDGE_PIN], bush[role] = &facts->rim[role][PS_EDGE_BUSH];
        if (!pin[role]->had || !bush[role]->had) return 0;
    }
    double apart = fabs(bush[0]->diameter.value_mm - bush[1]->diameter.value_mm);
    bool pair = fabs(pin[0]->diameter.value_mm - pin[1]->diameter.value_mm) <= pins_alike_mm;
    return pair && !(apart <= bushes_alike_mm) ? apart : 0;
}

static void doubt_bush_size(const ps_gauge_input *in, const ps_gauge_facts *facts, int role, ps_notes *doubts) {
    double apart = bushes_apart_mm(facts);
    if (apart == 0 && ps_gauge_bushes_unlike_mm(in, facts, role) > 0)
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN,
                     "The two bushes are less alike than pins and bushes of one side are, so one edge may not be a bush's outer cylinder.");
    if (apart > 0)
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN,
                     "The pins are of one size but the bushes seem to differ by %.1f mm, so one edge may not be a bush's outer cylinder.",
                     apart);
}

/* Edges at a pin's end that were not told apart may be mixed up between the photos, and then the axis is off too. A bush with
 * both its edges, about the same axis, holds against that, unless the other bush is of another size. */
static void doubt_mixed(const ps_gauge_input *in, const ps_gauge_facts *facts, int role, ps_notes *doubts) {
    const ps_rim_fact *rim = facts->rim[role];
    ps_notes end = in->pin[role].doubts;
    doubt_chamfer(&rim[PS_EDGE_PIN], &rim[PS_EDGE_PIN_FACE], facts->u_chamfer_mm[role], &end);
    bool held = rim[PS_EDGE_BUSH].had && rim[PS_EDGE_BUSH_FACE].had && in->pin[role].bush_doubts.count == 0 && bushes_apart_mm(facts) == 0;
    if (ps_gauge_axis_loose(rim))
        ps_notes_add(doubts, PS_CODE_ARC_SHORT,
                     "The edges of the %s pin's end and its bush run only in part where one circle would, and pieces of several edges move "
                     "its axis.",
                     ps_role_word((ps_role)role));
    if (!held && ps_notes_have(&end, PS_CODE_PIN_CHAMFER))
        ps_notes_add(doubts, PS_CODE_PIN_CHAMFER,
                     "The edges of the %s pin's end were not told apart with certainty, and no bush holds the place of its axis.",
                     ps_role_word((ps_role)role));
}

void ps_gauge_doubts_centres(const ps_gauge_input *in, const ps_gauge_facts *facts, ps_notes *doubts) {
    /* Chamfers, tapers and domes are turned about the axis: they move a diameter, not the centre. */
    static const ps_code coaxial[] = {PS_CODE_PIN_CHAMFER, PS_CODE_PIN_TAPER, PS_CODE_PIN_DOME};
    if (in->centres_rival_mm > 0)
        ps_notes_add(doubts, PS_CODE_PIN_HIDDEN, "Other round parts in the photos may as well be the pins, and their distance is another.");
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        const ps_notes *own = &in->pin[role].doubts;
        for (int i = 0; i < own->count; i++) {
            bool turned = false;
            for (size_t k = 0; k < sizeof coaxial / sizeof coaxial[0]; k++) turned |= own->note[i].code == coaxial[k];
            if (!turned) ps_notes_add(doubts, own->note[i].code, "%s", own->note[i].text);
        }
        ps_notes_copy(&facts->pin_doubts[role], doubts);
        doubt_mixed(in, facts, role, doubts);
        ps_rim_fact axis = axis_evidence(facts, role);
        if (axis.had) {
            if (axis.arc >= arc_axis && axis.arc < arc_least) axis.arc = arc_least; /* a centre asks a little less of the arc */
            doubt_rim(in, &axis, PS_CODE_PIN_HIDDEN, doubts);
        } else
            ps_notes_add(doubts, PS_CODE_PIN_HIDDEN, "The %s pin's own edge is not told apart; its place is taken from the bush alone.",
                         ps_role_word((ps_role)role));
        doubt_sizes(in, facts, role, doubts);
        doubt_proud(facts, role, doubts);
    }
}

double ps_gauge_bush_higher_mm(const ps_gauge_facts *facts, int role) {
    double more = bush_height(facts, role) - bush_height(facts, 1 - role);
    return more > bush_heights_most_mm ? more : 0;
}

/* A collar or washer against the bush looks like a bush that stands out more than its neighbour. */
static void doubt_bush_height(const ps_gauge_facts *facts, ps_notes *doubts) {
    double apart = fmax(ps_gauge_bush_higher_mm(facts, PS_ROLE_DIPPER), ps_gauge_bush_higher_mm(facts, PS_ROLE_LINK));
    if (apart > 0)
        ps_notes_add(doubts, PS_CODE_PIN_COLLAR,
                     "The two bushes seem to stand out unequally, by %.0f mm: the edges taken for one may be those of a collar or washer.",
                     apart);
}

bool ps_gauge_other_part(const ps_gauge_input *in, const ps_gauge_facts *facts, int role) {
    ps_notes doubts = in->pin[role].bush_doubts;
    doubt_sizes(in, facts, role, &doubts);
    doubt_proud(facts, role, &doubts);
    return ps_notes_have(&doubts, PS_CODE_PIN_CAP) || ps_notes_have(&doubts, PS_CODE_PIN_COLLAR) ||
           ps_gauge_bush_higher_mm(facts, role) > 0;
}

void ps_gauge_doubts_bush(const ps_gauge_input *in, const ps_gauge_facts *facts, int role, ps_notes *doubts) {
    const ps_rim_fact *rim = facts->rim[role];
    ps_notes_copy(&in->pin[role].bush_doubts, doubts);
    const ps_rim_fact *outer = rim[PS_EDGE_BUSH].had ? &rim[PS_EDGE_BUSH] : &rim[PS_EDGE_BUSH_FACE];
    doubt_rim(in, outer, PS_CODE_BUSH_HIDDEN, doubts);
    if (ps_gauge_bush_broken(rim))
        ps_notes_add(doubts, PS_CODE_ARC_SHORT,
                     "The bush's edges run only in part where one circle would; what is seen can be several edges.");
    if (in->pin[role].bush_faint)
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN,
                     "The circle taken for the bush's outer edge is none of the clearest; the outline of its wall may be mixed into it.");
    if (ps_gauge_pin_or_bush_mm(in, facts, role) > 0)
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN,
                     "What was taken for the pin's edge may be the bush's, and then what was taken for the bush's is another part's.");
    doubt_round(outer, "bush's edge", doubts);
    doubt_round(&rim[PS_EDGE_BUSH_BORE], "bush's bore", doubts);
    double radial = 0.5 * (rim[PS_EDGE_BUSH].diameter.value_mm - rim[PS_EDGE_BUSH_FACE].diameter.value_mm);
    if (!rim[PS_EDGE_BUSH_FACE].had || !(radial >= chamfer_least_mm))
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN,
                     "Only one edge of the bush is told apart: it can be the outer cylinder or the inner edge of a chamfer.");
    doubt_sizes(in, facts, role, doubts);
    doubt_proud(facts, role, doubts);
    doubt_bush_height(facts, doubts);
    doubt_bush_size(in, facts, role, doubts);
}

void ps_gauge_doubts_proud(const ps_gauge_input *in, const ps_gauge_facts *facts, int role, ps_notes *doubts) {
    const ps_rim_fact *rim = facts->rim[role];
    for (int i = 0; i < in->pin[role].doubts.count; i++) {
        const ps_note *n = &in->pin[role].doubts.note[i];
        /* A chamfer that is not told apart still leaves the end's height. A taper may be none: a groove of the end face, misplaced. */
        if (n->code != PS_CODE_PIN_CHAMFER) ps_notes_add(doubts, n->code, "%s", n->text);
    }
    ps_notes end = {.count = 0};
    doubt_chamfer(&rim[PS_EDGE_PIN], &rim[PS_EDGE_PIN_FACE], facts->u_chamfer_mm[role], &end);
    if (ps_notes_have(&end, PS_CODE_PIN_TAPER)) say(doubts, PS_CODE_PIN_TAPER);
    ps_notes_copy(&in->pin[role].end_doubts, doubts);
    ps_notes_copy(&in->pin[role].bush_doubts, doubts);
    ps_notes_copy(&facts->pin_doubts[role], doubts);
    if (ps_gauge_end_broken(rim)) say_broken(doubts);
    doubt_rim(in, &rim[PS_EDGE_PIN_FACE], PS_CODE_PIN_HIDDEN, doubts);
    doubt_rim(in, rim[PS_EDGE_BUSH_FACE].had ? &rim[PS_EDGE_BUSH_FACE] : &rim[PS_EDGE_BUSH], PS_CODE_BUSH_HIDDEN, doubts);
    if (!rim[PS_EDGE_BUSH_FACE].had)
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN,
                     "The bush's flat face is not told apart from its chamfer, so its place is a guess of a millimetre or so.");
    doubt_sizes(in, facts, role, doubts);
    doubt_proud(facts, role, doubts);
    doubt_bush_height(facts, doubts);
    doubt_bush_size(in, facts, role, doubts);
}
