/* What a photo under suspicion does to the values. */
#include "gauge/trial.h"
#include "pinspan/trade.h"

#include <math.h>

/* A photo under the limits that would still shift a value: grey from once in a hundred on. */
static const double grey_chi2 = 17, shift_most_sd = 3.3, shift_most_of_need = 0.6;

/* Whether a value moves by more than chance and by a good part of the need when a photo is left out: 1 or -1 by its way, else 0. The
 * difference of an estimate from all and one from a part has the difference of their variances (Hausman 1978, Econometrica 46, 1251). */
static int moves(const ps_quantity *all, const ps_quantity *part, double need_mm) {
    double shift = part->value_mm - all->value_mm, variance = part->u_mm * part->u_mm - all->u_mm * all->u_mm;
    if (!(fabs(shift) > shift_most_of_need * need_mm && fabs(shift) > shift_most_sd * sqrt(fmax(variance, 0)))) return 0;
    return shift > 0 ? 1 : -1;
}

/* A sheet that slipped puts both pins at another height, and all their diameters grow or shrink together; one that moves alone is an edge
 * taken for another, and that is for other doubts. */
static bool diameters_move(ps_context *ctx, const ps_trial *all, const ps_trial *part) {
    bool way[PS_ADJUST_PINS_MAX][2] = {{false}};
    for (int r = 0; r < all->problem.rim_count; r++) {
        const ps_adjust_rim *rim = &all->problem.rim[r];
        ps_quantity a, b;
        ps_kind kind = rim->edge == PS_EDGE_PIN ? PS_KIND_PIN : PS_KIND_BUSH;
        if (rim->edge != PS_EDGE_PIN && rim->edge != PS_EDGE_BUSH) continue;
        if (ps_adjust_diameter(ctx, all->solution, r, &a) != PS_OK || ps_adjust_diameter(ctx, part->solution, r, &b) != PS_OK) continue;
        int moved = moves(&a, &b, ps_trade_need_mm(kind, PS_COUPLER_FIXED));
        if (moved != 0) way[rim->pin][moved > 0] = true;
    }
    int up = 0, down = 0;
    for (int pin = 0; pin < all->problem.pin_count; pin++) up += way[pin][1], down += way[pin][0];
    return up >= 2 || down >= 2;
}

/* At the height of the sheet: both axes lean too little for it to matter. */
static bool centres_move(ps_context *ctx, const ps_trial *all, const ps_trial *part) {
    ps_quantity a, b;
    if (all->problem.pin_count < 2 || ps_adjust_centres(ctx, all->solution, 0, 0, 1, 0, &a) != PS_OK ||
        ps_adjust_centres(ctx, part->solution, 0, 0, 1, 0, &b) != PS_OK)
        return false;
    return moves(&a, &b, ps_trade_need_mm(PS_KIND_CENTRES, PS_COUPLER_FIXED)) != 0;
}

static double greyest(const ps_trial *t, int photo) {
    int width = ps_trial_width(&t->problem);
    double most = 0;
    for (int q = 0; q < width; q++)
        if (t->test[photo * width + q].rows > 0)
            most = fmax(most, t->test[photo * width + q].chi2 / ps_trial_usual_misfit(t, q == t->problem.piece_count));
    return most;
}

/* The doubt is of every value, whatever the cause; a sheet that slipped is named where it explains the photo and nothing else does. */
static ps_status doubt(const ps_search *s, const ps_trial *now, const ps_trial *part, int photo) {
    ps_cause cause;
    ps_trial with = *now;
    with.usual = part->usual;
    ps_status status = ps_cause_find(s, &with, photo, &cause);
    if (status != PS_OK) return status;
    if (cause.code == PS_CODE_PIECE_MOVED)
        ps_notes_add(&s->found->doubts, cause.code,
                     "Without one of the photos sizes come out otherwise by more than chance: the sheet may have slipped between the "
                     "photos.");
    else
        ps_notes_add(&s->found->doubts, PS_CODE_FIT_BAD,
                     "Without one of the photos sizes come out otherwise by more than chance: edges in it may have been taken for others.");
    return PS_OK;
}

/* Photos that speak too softly against the rest to be left out, and yet would shift a value. */
ps_status ps_shifts_doubt(const ps_search *s, const ps_trial *now) {
    for (int i = 0; i < s->problem->photo_count && ps_search_photos_left(s) > 2 && s->problem->pin_count > 0; i++) {
        ps_trial part;
        if (!ps_trial_shows(now, i) || greyest(now, i) < grey_chi2) continue;
        ps_status status = ps_trial_without(s, (ps_trial_less){i, -1, false}, &part);
        if (status != PS_OK) return status;
        if (part.solution && (diameters_move(s->ctx, now, &part) || centres_move(s->ctx, now, &part))) status = doubt(s, now, &part, i);
        ps_trial_clear(&part);
        if (status != PS_OK) return status;
    }
    return PS_OK;
}
