/* Very pins, elsewhere: a rigid motion of the model is solved for by the edges that follow it, and those edges then lie on it or do not.
 * Two pins have ten numbers to a motion's six, so that another machine's do not fit, whatever its sizes. */
#include "gauge/elsewhere.h"

#include <math.h>
#include <string.h>

#include "base/linear.h"

enum { ROUNDS = 4, UNKNOWNS = 6 };
static const double near_px = 1; /* sharp edges scatter by a third of that, those of a chance by more */
static const double weak_rad = 0.5, weak_mm = 200, alone_turn_rad = 1e-3; /* of the motion beside the guess; one pin tells no turn */
/* Chance finds edges within a pixel on so much of any circumference: 0.17 to 0.33 of what another machine's photos showed of pins. */
static const double chance_share = 0.25, known_least = 0.4;
static const double both_least = 0.3,
                    one_least = 0.6; /* of what sound photos show above that; one pin by itself is to show more; practice */
/* By corners of its sheet alone a photo has pins some tenths of a millimetre off along the plane, and twice that across it: 0.34 (rms) of
 * 168 honest photos of our own, each looked at by pins of the others; so this is four sd. */
static const double moved_least_mm = 1;
/* On the plate, or about: as said of a sheet that slipped in cause.c; fingers behind a sheet that is held are thicker. Practice. */
static const double plane_tilt_rad = 0.02, plane_lift_mm = 1.5, held_tilt_rad = 0.05, held_lift_mm = 5;
static const double usual_times = 3, unknown_shift_mm = 1; /* the most of two sound photos is passed three times once in fifty by chance */

/* ---- what shows of pins as a view has them ---- */

static bool off_by(const ps_view *v, const ps_pin_models *pins, const ps_rim_trace *t, const ps_edge_point *e, double *px) {
    ps_circle3 c = ps_rim_circle(&pins->pin[t->pin], &pins->pin[t->pin].rim[t->rim]);
    double X[3], at[2];
    ps_circle3_point(&c, e->theta, X);
    if (!ps_view_project(v, X, at)) return false;
    *px = e->nx * (at[0] - e->x_px) + e->ny * (at[1] - e->y_px);
    return true;
}

static void count_shown(const ps_view *v, const ps_pin_models *pins, const ps_rim_traces *t, ps_pins_shown *out) {
    *out = (ps_pins_shown){{0}};
    for (int i = 0; i < t->count; i++) {
        const ps_rim_trace *one = &t->trace[i];
        int near = 0;
        for (int n = 0; n < one->point_count; n++) {
            double px;
            near += off_by(v, pins, one, &one->point[n], &px) && fabs(px) < near_px;
        }
        if (one->point_count > 0) out->share[one->pin] += one->arc * near / one->point_count / pins->pin[one->pin].rim_count;
    }
}

static ps_status follow(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins, const bool wanted[],
                        ps_rim_traces *t) {
    ps_rim_followed worth[PS_ROLE_COUNT];
    *t = (ps_rim_traces){0, NULL};
    ps_status status = ps_rim_follow_photo(ctx, luma, view, pins, wanted, t, worth);
    return status == PS_NO_MEMORY ? status : PS_OK;
}

ps_status ps_pins_show(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins, ps_pins_shown *out) {
    const bool all[PS_ROLE_COUNT] = {true, true};
    ps_rim_traces t;
    *out = (ps_pins_shown){{0}};
    ps_status status = follow(ctx, luma, view, pins, all, &t);
    if (status == PS_OK) count_shown(view, pins, &t, out);
    ps_rim_traces_clear(&t);
    return status;
}

/* ---- the motion ---- */

typedef struct motion_job {
    const ps_view *view; /* by the sheet */
    const ps_pin_models *pins;
    const ps_rim_traces *traces;
    ps_pose motion;             /* model to where the photo shows it, beside its sheet */
    double middle[3], turn_rad; /* about which it turns, and how far in the plane */
} motion_job;

/* The motion, turned about the middle and shifted by x. */
static void motion_at(const motion_job *j, const double x[UNKNOWNS], ps_pose *out) {
    ps_pose more;
    double m[3];
    ps_rotation_from_vector(x, more.R);
    for (int k = 0; k < 3; k++) more.t[k] = 0;
    ps_pose_apply(&more, j->middle, m);
    for (int k = 0; k < 3; k++) more.t[k] = j->middle[k] - m[k] + x[3 + k];
    ps_pose_compose(&more, &j->motion, out);
}

static void view_at(const motion_job *j, const double x[UNKNOWNS], ps_view *out) {
    ps_pose motion;
    motion_at(j, x, &motion);
    *out = *j->view;
    ps_pose_compose(&j->view->pose, &motion, &out->pose);
}

static bool motion_rows(void *user, const double *x, bool want_derivatives, void *sink, ps_lsq_emit emit) {
    static const double step[UNKNOWNS] = {1e-5, 1e-5, 1e-5, 1e-2, 1e-2, 1e-2};
    static const int index[UNKNOWNS] = {0, 1, 2, 3, 4, 5};
    const motion_job *j = user;
    ps_view at, beside[UNKNOWNS];
    view_at(j, x, &at);
    for (int k = 0; k < UNKNOWNS; k++) {
        double y[UNKNOWNS];
        memcpy(y, x, sizeof y);
        y[k] += step[k];
        view_at(j, y, &beside[k]);
    }
    for (int i = 0; i < j->traces->count; i++)
        for (int n = 0; n < j->traces->trace[i].point_count; n++) {
            const ps_rim_trace *t = &j->traces->trace[i];
            double off, moved, d[UNKNOWNS] = {0};
            if (!off_by(&at, j->pins, t, &t->point[n], &off)) return false;
            for (int k = 0; k < UNKNOWNS && want_derivatives; k++) {
                if (!off_by(&beside[k], j->pins, t, &t->point[n], &moved)) return false;
                d[k] = (moved - off) / step[k];
            }
            emit(sink, &(ps_lsq_row){off, UNKNOWNS, index, d, true, 0}); /* by one pixel each: how sharp an edge is does not matter here */
        }
    for (int k = 0; k < UNKNOWNS; k++) {
        double slope = 1 / (k == 2 ? j->turn_rad : k < 3 ? weak_rad : weak_mm);
        emit(sink, &(ps_lsq_row){x[k] * slope, 1, &index[k], &slope, false, 0});
    }
    return true;
}

static void unit(double v[3]) {
    double n = ps_norm3(v);
    for (int k = 0; k < 3 && n > 0; k++) v[k] /= n;
}

/* Columns: along a line, square to it nearest to z, and square to both. */
static void basis_of(const double line[3], double B[3][3]) {
    memcpy(B[0], line, sizeof B[0]);
    unit(B[0]);
    for (int k = 0; k < 3; k++) B[1][k] = (k == 2) - B[0][2] * B[0][k];
    unit(B[1]);
    ps_cross3(B[0], B[1], B[2]);
}

/* The motion that a guess tells: a pin that looks smaller than it is stands so much farther along its ray. */
static void start_from(motion_job *j, const ps_circles_guess *guess) {
    ps_stand s = ps_stand_of(j->view);
    double model[2][3], seen[2][3], from[3], to[3], A[3][3], B[3][3];
    const double camera[3] = {s.foot_mm[0], s.foot_mm[1], -s.rise_mm};
    for (int p = 0; p < 2; p++) {
        const ps_circles_place *g = &guess->pin[p];
        const ps_pin_model *pin = &j->pins->pin[p];
        const double at[3] = {g->at[0], g->at[1], -g->height_mm};
        for (int k = 0; k < 3; k++) {
            model[p][k] = pin->axis_point_mm[k] + g->height_mm * pin->axis_direction[k];
            seen[p][k] = camera[k] + (at[k] - camera[k]) / g->scale;
        }
    }
    for (int k = 0; k < 3; k++) from[k] = model[1][k] - model[0][k], to[k] = seen[1][k] - seen[0][k];
    basis_of(from, A);
    basis_of(to, B);
    for (int r = 0; r < 3; r++)
        for (int c = 0; c < 3; c++) j->motion.R[3 * r + c] = B[0][r] * A[0][c] + B[1][r] * A[1][c] + B[2][r] * A[2][c];
    for (int r = 0; r < 3; r++) {
        j->motion.t[r] = j->middle[r] = 0.5 * (seen[0][r] + seen[1][r]);
        for (int c = 0; c < 3; c++) j->motion.t[r] -= j->motion.R[3 * r + c] * 0.5 * (model[0][c] + model[1][c]);
    }
}

static void start_in_place(motion_job *j) {
    j->motion = (ps_pose){.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}};
    for (int k = 0; k < 3; k++) j->middle[k] = 0.5 * (j->pins->pin[0].axis_point_mm[k] + j->pins->pin[j->pins->count - 1].axis_point_mm[k]);
}

/* Where one pin is looked for alone, about that one. */
static void turn_about(motion_job *j, const bool wanted[PS_ROLE_COUNT]) {
    j->turn_rad = wanted[0] && wanted[1] ? weak_rad : alone_turn_rad;
    for (int p = 0; p < PS_ROLE_COUNT; p++)
        if (!wanted[1 - p]) ps_pose_apply(&j->motion, j->pins->pin[p].axis_point_mm, j->middle);
}

/* Follows the rims and solves for the motion, and again from there. *shown: at the end, nothing where it does not settle. */
static ps_status settle(ps_context *ctx, const ps_luma *luma, motion_job *j, const bool wanted[PS_ROLE_COUNT], ps_pins_shown *shown) {
    const double none[UNKNOWNS] = {0};
    ps_status status = PS_OK;
    *shown = (ps_pins_shown){{0}};
    for (int round = 0; round <= ROUNDS && status == PS_OK; round++) {
        ps_view at;
        ps_rim_traces t;
        ps_lsq_result result = {0};
        ps_lsq_options options = ps_lsq_options_default();
        double x[UNKNOWNS] = {0};
        view_at(j, none, &at);
        status = follow(ctx, luma, &at, j->pins, wanted, &t);
        j->traces = &t;
        if (status == PS_OK && round == ROUNDS) count_shown(&at, j->pins, &t, shown);
        options.step_tolerance = 1e-5; /* a hundredth of a millimetre, and it is looked at again */
        if (status == PS_OK && round < ROUNDS) status = ps_lsq_solve(ctx, UNKNOWNS, x, motion_rows, j, &options, &result);
        if (status == PS_NO_CONVERGENCE) status = PS_OK; /* as far as it came: what shows there tells */
        if (status == PS_OK) motion_at(j, x, &j->motion);
        ps_lsq_result_clear(&result);
        ps_rim_traces_clear(&t);
    }
    return status == PS_NO_MEMORY ? status : PS_OK;
}

/* ---- what it means ---- */

static void describe(const motion_job *j, ps_elsewhere *e) {
    e->tilt_rad = acos(fmin(1, fmax(-1, j->motion.R[8])));
    e->behind_mm = INFINITY, e->off_plane_mm = e->shift_mm = 0;
    for (int p = 0; p < PS_ROLE_COUNT; p++) {
        const double *was = j->pins->pin[p].axis_point_mm;
        double is[3];
        if (!e->pin[p]) continue;
        ps_pose_apply(&j->motion, was, is);
        e->behind_mm = fmin(e->behind_mm, is[2] - was[2]); /* z runs into the paper */
        e->off_plane_mm = fmax(e->off_plane_mm, fabs(is[2] - was[2]));
        e->shift_mm = fmax(e->shift_mm, hypot(is[0] - was[0], is[1] - was[1]));
    }
}

static double least_of(const ps_pins_shown *shown, const ps_pins_shown *usual, const bool wanted[PS_ROLE_COUNT]) {
    double least = INFINITY;
    for (int p = 0; p < PS_ROLE_COUNT; p++)
        if (wanted[p]) least = fmin(least, (shown->share[p] - chance_share) / (usual->share[p] - chance_share));
    return least;
}

/* Looks for the pins that are wanted from where the motion starts; keeps it where more of them shows than before. */
static ps_status look(ps_context *ctx, const ps_luma *luma, motion_job *j, const ps_pins_shown *usual, ps_elsewhere *e) {
    ps_pins_shown shown;
    turn_about(j, e->pin);
    ps_status status = settle(ctx, luma, j, e->pin, &shown);
    double least = least_of(&shown, usual, e->pin);
    if (status != PS_OK || least <= e->shown) return status;
    e->shown = least;
    describe(j, e);
    return PS_OK;
}

/* Whether one of two pins by itself is where it should be, or nearly: the other may be covered. */
static ps_status look_for_one(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins,
                              const ps_pins_shown *usual, bool *is_here) {
    ps_status status = PS_OK;
    *is_here = false;
    for (int p = 0; p < PS_ROLE_COUNT && status == PS_OK && !*is_here; p++) {
        motion_job j = {.view = view, .pins = pins};
        ps_elsewhere e = {.pin = {p == 0, p == 1}};
        start_in_place(&j);
        status = look(ctx, luma, &j, usual, &e);
        *is_here = e.shown >= one_least && e.off_plane_mm < held_lift_mm;
    }
    return status;
}

ps_status ps_elsewhere_seek(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins,
                            const ps_pins_shown *usual, const ps_circles_guesses *guesses, ps_elsewhere *out) {
    int known = 0;
    ps_status status = PS_OK;
    *out = (ps_elsewhere){.found = false};
    for (int p = 0; p < pins->count; p++) out->pin[p] = usual->share[p] >= known_least, known += out->pin[p];
    for (int g = -1; g < guesses->count && known > 0 && status == PS_OK; g++) {
        motion_job j = {.view = view, .pins = pins};
        if (g < 0)
            start_in_place(&j);
        else
            start_from(&j, &guesses->guess[g]);
        status = look(ctx, luma, &j, usual, out);
    }
    out->found = known > 0 && out->shown >= (known == PS_ROLE_COUNT ? both_least : one_least);
    if (status == PS_OK && known == PS_ROLE_COUNT && !out->found) status = look_for_one(ctx, luma, view, pins, usual, &out->one_is_here);
    return status;
}

void ps_elsewhere_compare(ps_elsewhere *e, const ps_elsewhere *sound) {
    e->usual_tilt_rad = fmax(e->usual_tilt_rad, sound->tilt_rad);
    e->usual_off_plane_mm = fmax(e->usual_off_plane_mm, sound->off_plane_mm);
    e->usual_shift_mm = fmax(e->usual_shift_mm, sound->shift_mm);
}

static bool within(const ps_elsewhere *e, double lift_mm, double tilt_rad) {
    return e->off_plane_mm < fmax(lift_mm, usual_times * e->usual_off_plane_mm) &&
           e->tilt_rad < fmax(tilt_rad, usual_times * e->usual_tilt_rad);
}

ps_code ps_elsewhere_name(const ps_elsewhere *e) {
    bool both = e->pin[0] && e->pin[1];
    double usual_mm = e->usual_shift_mm > 0 ? e->usual_shift_mm : unknown_shift_mm;
    if (!e->found) return both && !e->one_is_here ? PS_CODE_OTHER_SCENE : PS_CODE_COUNT;
    if (e->usual_off_plane_mm > held_lift_mm || e->usual_tilt_rad > held_tilt_rad)
        return PS_CODE_COUNT; /* sound photos are held likewise */
    if (within(e, both ? held_lift_mm : plane_lift_mm, both ? held_tilt_rad : plane_tilt_rad))
        return e->shift_mm < fmax(fmax(moved_least_mm, usual_times * usual_mm), e->off_plane_mm) ? PS_CODE_NO_PIN : PS_CODE_PIECE_MOVED;
    if (!both) return PS_CODE_COUNT;                                                /* farther away any pin looks like a smaller one */
    return e->behind_mm > -held_lift_mm ? PS_CODE_PIECE_HELD : PS_CODE_OTHER_SCENE; /* nobody holds a sheet behind the plate */
}

ps_code ps_elsewhere_judge(const ps_elsewhere *e, ps_code by_circles, bool legible) {
    ps_code own = ps_elsewhere_name(e);
    bool both = e->pin[0] && e->pin[1];
    if (by_circles == PS_CODE_NO_PIN && (own == PS_CODE_COUNT || own == PS_CODE_OTHER_SCENE)) return by_circles;
    if (own == PS_CODE_COUNT) return both ? own : by_circles;
    if (own != PS_CODE_OTHER_SCENE) return own;
    return legible ? own : PS_CODE_COUNT;
}
