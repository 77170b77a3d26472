/* The print's scale, common and of each piece, from the readings of the check lines. The values are in docs/model.md. */
#include "gauge/prints.h"

#include <math.h>

static const double directions_rel = 0.005, paper_rel = 0.0003;
/* What pieces for which one reading is said to hold may differ by all the same, with a heavy tail: photos that say more prevail
 * (docs/model.md; practice). */
static const double alike_rel = 0.0005, alike_tail = 4;

/* One check line of a piece as it was read, or not. */
typedef struct line_read {
    bool read, for_all; /* by a reading that is said to hold for all pieces */
    double scale, sigma;
} line_read;

static line_read find_check(const ps_measure_options *o, bool along, int kit) {
    const ps_print_check *found = NULL;
    for (int i = 0; i < o->check_count; i++) {
        const ps_print_check *c = &o->check[i];
        if (c->along != along || (c->piece >= 0 && c->piece != kit)) continue;
        if (!found || c->piece >= 0) found = c; /* the piece's own reading before one for all */
    }
    if (!found) return (line_read){false, false, 1, directions_rel};
    double nominal = along ? PS_CHECK_ALONG_MM : PS_CHECK_ACROSS_MM;
    return (line_read){true, found->piece < 0, found->read_mm / nominal, 0.5 * found->U_mm / nominal};
}

/* One direction of all pieces: what they have in common goes to *scale and *sigma, what each has of its own to its line. */
static void share_out(ps_adjust_piece piece[], int count, bool along, const line_read *read, double *scale, double *sigma) {
    int reads = 0, alike = 0;
    double sum = 0, least = INFINITY;
    for (int i = 0; i < count; i++) {
        if (!read[i].read) continue;
        reads++, alike += read[i].for_all;
        sum += read[i].scale;
        least = fmin(least, read[i].sigma);
    }
    *scale = sum / reads;
    *sigma = least * (alike > 1 ? 1 : sqrt(PS_PRINT_READING_SHARED)); /* one reading for several pieces is off alike for all of them */
    for (int i = 0; i < count; i++) {
        ps_adjust_line own = {.scale = read[i].scale, .sigma = sqrt(fmax(0, read[i].sigma * read[i].sigma - *sigma * *sigma))};
        if (alike > 1 && read[i].for_all) own.sigma = hypot(own.sigma, alike_rel), own.tail = alike_tail;
        if (!read[i].read) own = (ps_adjust_line){.scale = *scale, .sigma = PS_PRINT_UNREAD_REL, .guessed = true};
        *(along ? &piece[i].print.along : &piece[i].print.across) = own;
    }
}

/* A direction that was read on no piece, beside one that was on some (other: its common sd) or, with 0, on none. */
static void guess_line(ps_adjust_piece piece[], int count, bool along, double other, double *scale, double *sigma) {
    double half = directions_rel * sqrt(PS_PRINT_READING_SHARED), sum = 0;
    for (int i = 0; i < count; i++) {
        ps_adjust_print *print = &piece[i].print;
        const ps_adjust_line *known = along ? &print->across : &print->along;
        ps_adjust_line own = {.scale = 1, .sigma = directions_rel, .guessed = true};
        if (other > 0) own.scale = known->scale, own.sigma = known->guessed ? PS_PRINT_UNREAD_REL : half;
        *(along ? &print->along : &print->across) = own;
        sum += own.scale;
    }
    *scale = sum / count;
    *sigma = other > 0 ? hypot(half, other) : directions_rel;
}

static void scale_of_several(ps_adjust_piece piece[], int count, const line_read *across, const line_read *along, ps_adjust_scale *s) {
    bool any_across = false, any_along = false;
    for (int i = 0; i < count; i++) any_across |= across[i].read, any_along |= along[i].read;
    if (any_across) share_out(piece, count, false, across, &s->across, &s->sigma_across);
    if (any_along) share_out(piece, count, true, along, &s->along, &s->sigma_along);
    if (!any_across) guess_line(piece, count, false, any_along ? s->sigma_along : 0, &s->across, &s->sigma_across);
    if (!any_along) guess_line(piece, count, true, any_across ? s->sigma_across : 0, &s->along, &s->sigma_along);
    if (!any_across && !any_along) s->sigma_common = PS_PRINT_UNREAD_REL;
}

static void scale_of_one(ps_adjust_piece *piece, const line_read *across, const line_read *along, ps_adjust_scale *s) {
    *s = (ps_adjust_scale){across->scale, along->scale, across->sigma, along->sigma, 0, s->sigma_paper};
    /* One direction read: printers seldom differ by more than half a percent between the two. */
    if (across->read && !along->read) s->along = s->across, s->sigma_along = hypot(directions_rel, s->sigma_across);
    if (along->read && !across->read) s->across = s->along, s->sigma_across = hypot(directions_rel, s->sigma_along);
    if (!across->read && !along->read) s->sigma_common = PS_PRINT_UNREAD_REL;
    piece->print = (ps_adjust_print){.across.guessed = !across->read, .along.guessed = !along->read};
}

void ps_gauge_set_prints(const ps_measure_options *options, ps_adjust_piece piece[], int count, ps_adjust_scale *scale) {
    line_read across[PS_ADJUST_PIECES_MAX], along[PS_ADJUST_PIECES_MAX];
    for (int i = 0; i < count; i++) {
        across[i] = find_check(options, false, piece[i].piece);
        along[i] = find_check(options, true, piece[i].piece);
    }
    *scale = (ps_adjust_scale){1, 1, directions_rel, directions_rel, 0, paper_rel};
    if (count == 1)
        scale_of_one(piece, across, along, scale);
    else
        scale_of_several(piece, count, across, along, scale);
}

void ps_gauge_prints_read(const ps_adjust_piece piece[], int count, bool *across, bool *along) {
    *across = *along = false;
    for (int i = 0; i < count; i++) {
        bool one[2] = {!piece[i].print.across.guessed, !piece[i].print.along.guessed};
        if (one[0] + one[1] > *across + *along) *across = one[0], *along = one[1];
    }
}
