/* coverage_gap.h: random jobs that look into a gap, in plain geometry, for bench_coverage: one piece on the cross plate, two pins that run
 * along it, inward bushes on both ears, cameras between the ears. The rest is as in coverage_scene.h. All sizes are invented. */
#ifndef PINSPAN_BENCH_COVERAGE_GAP_H
#define PINSPAN_BENCH_COVERAGE_GAP_H

#include "coverage_scene.h"

/* Circles of one bush, ears in the order of ps_ear: rim 6 pin + 3 ear + these. */
enum { GAP_FACE, GAP_BORE, GAP_OUTER, GAP_CIRCLES, GAP_RIMS = 2 * JOB_PINS * GAP_CIRCLES };

typedef struct gap_truth {
    double gap_mm[JOB_PINS];               /* between the planes of the flat faces */
    bool other_edge[JOB_PINS][2];          /* what is taken for the face's edge is the chamfer's foot, or the bush's */
    bool hidden[JOB_PINS][2][GAP_CIRCLES]; /* not told apart in any photo */
} gap_truth;

static inline int gap_rim(int pin, int ear, int circle) {
    return 2 * GAP_CIRCLES * pin + GAP_CIRCLES * ear + circle;
}

/* Pins along the piece's y, 60 to 120 mm above it, direction toward the near ear. Nothing holds them square to the piece. */
static inline void gap_axes(job_scene *s, const job_options *o, double centres, double bush_mm) {
    double turn = job_uniform(s, -0.25, 0.25), lean = 0.4 * JOB_DEGREE * job_normal(s), aside = job_uniform(s, -25, 25);
    double apart = (o->broken & BROKEN_AXES ? 0.5 : 0.2) * JOB_DEGREE, above = job_uniform(s, 1, 1.5) * 0.5 * bush_mm + 10;
    for (int i = 0; i < JOB_PINS; i++) {
        double d[3] = {sin(turn) + apart * sqrt(0.5) * job_normal(s), cos(turn), lean + apart * sqrt(0.5) * job_normal(s)};
        double along = (i == 0 ? 0.5 : -0.5) * centres + aside;
        ps_unit3(d);
        memcpy(s->axis_direction[i], d, sizeof d);
        s->axis_point[i][0] = s->middle[0] + along * cos(turn), s->axis_point[i][1] = s->middle[1] - along * sin(turn);
        s->axis_point[i][2] = -above;
    }
}

static inline void gap_circle(job_scene *s, int pin, int rim, double height, double radius, const double play[3]) {
    job_rim *r = &s->rim[rim];
    const double *d = s->axis_direction[pin];
    r->height = height;
    r->circle.radius_mm = radius;
    memcpy(r->circle.normal, d, sizeof r->circle.normal);
    for (int k = 0; k < 3; k++) r->circle.centre[k] = s->axis_point[pin][k] + height * d[k] + play[k];
}

/* One bush: beside its axis by its play, its face's edge dressed and worn (src/gauge/gap_value.c: 0.35 mm, both faces). Mildly broken: the
 * play is wear to one side, and a worn edge is always rounded off, never raised. */
static inline void gap_bush(job_scene *s, const job_options *o, int pin, int ear, double at_mm, const double radius[GAP_CIRCLES],
                            double chamfer_mm) {
    const double *d = s->axis_direction[pin], inward = ear == PS_EAR_NEAR ? -1 : 1;
    double play[3] = {0.5 * job_student(s, 4), 0, 0.5 * job_student(s, 4)}, edge = 0.35 * sqrt(0.5) * job_normal(s);
    if (o->broken & BROKEN_BUSH) {
        double way = job_uniform(s, 0, 2 * PS_PI), far = job_uniform(s, 0.5, 1.3);
        play[0] = far * cos(way), play[2] = far * sin(way);
        edge = -fabs(edge);
    }
    play[1] = -(play[0] * d[0] + play[2] * d[2]) / d[1];
    gap_circle(s, pin, gap_rim(pin, ear, GAP_FACE), at_mm + inward * edge, radius[GAP_FACE], play);
    gap_circle(s, pin, gap_rim(pin, ear, GAP_BORE), at_mm + inward * edge, radius[GAP_BORE], play);
    gap_circle(s, pin, gap_rim(pin, ear, GAP_OUTER), at_mm - inward * chamfer_mm, radius[GAP_OUTER], play);
    for (int c = 0; c < GAP_CIRCLES; c++) {
        double size = o->broken & BROKEN_ROUND ? 0.1 * job_normal(s) : 0.05 * job_student(s, 4);
        s->rim[gap_rim(pin, ear, c)].out_of_round[0] = size, s->rim[gap_rim(pin, ear, c)].out_of_round[1] = 0.05 * job_student(s, 4);
    }
}

/* What is told apart. Of a face that neither its bore nor its chamfer backs two in five are another edge: the chamfer's foot, or now and
 * then the bush's on its plate (practice: that is what the widening of unbacked faces is for). */
static inline void gap_tell_apart(job_scene *s, int pin, int ear, double outer_mm, double stands_mm, gap_truth *truth) {
    static const double missed[GAP_CIRCLES] = {0.03, 0.2, 0.3};
    bool *hidden = truth->hidden[pin][ear];
    double inward = ear == PS_EAR_NEAR ? -1 : 1, draw = job_uniform(s, 0, 1);
    for (int c = 0; c < GAP_CIRCLES; c++) hidden[c] = job_chance(s, missed[c]);
    truth->other_edge[pin][ear] = hidden[GAP_BORE] && hidden[GAP_OUTER] && draw < 0.4;
    if (!truth->other_edge[pin][ear]) return;
    job_rim *face = &s->rim[gap_rim(pin, ear, GAP_FACE)], *outer = &s->rim[gap_rim(pin, ear, GAP_OUTER)];
    double down = draw < 0.1 ? stands_mm : fabs(outer->height - face->height);
    face->circle.radius_mm = outer_mm;
    face->height -= inward * down;
    for (int k = 0; k < 3; k++) face->circle.centre[k] -= inward * down * s->axis_direction[pin][k];
}

static inline void gap_bushes(job_scene *s, const job_options *o, double ears_mm, gap_truth *truth) {
    for (int p = 0; p < JOB_PINS; p++) {
        double bore = job_uniform(s, 0.5, 1) * s->extent, wall = job_uniform(s, 8, 14), at[2];
        for (int ear = 0; ear < 2; ear++) {
            double stands = job_uniform(s, 3, 9), chamfer = job_uniform(s, 0.5, 2.2), deep = chamfer * job_uniform(s, 0.7, 1.4);
            double radius[GAP_CIRCLES] = {bore + wall - chamfer, bore + job_uniform(s, 0.5, 1.2), bore + wall};
            at[ear] = (ear == PS_EAR_NEAR ? 1 : -1) * (0.5 * ears_mm - stands);
            gap_bush(s, o, p, ear, at[ear], radius, deep);
            gap_tell_apart(s, p, ear, bore + wall, stands, truth);
        }
        truth->gap_mm[p] = at[PS_EAR_NEAR] - at[PS_EAR_FAR];
    }
}

/* From between the ears, far enough off that pins and piece fill the picture. */
static inline void gap_cameras(job_scene *s, const job_options *o, double ears_mm) {
    double draw = job_uniform(s, 0, 1), middle[3] = {s->middle[0], s->middle[1], 0.5 * s->axis_point[0][2]};
    const double *d = s->axis_direction[0];
    s->problem.photo_count = draw < 0.08 ? 1 : draw < 0.33 ? 2 : draw < 0.8 ? 3 : 4;
    ps_lens lens = job_lens(s, o);
    int orientation = job_chance(s, 0.3) ? 6 : 1;
    double way = job_uniform(s, 0, 2 * PS_PI);
    for (int i = 0; i < s->problem.photo_count; i++) {
        job_photo(s, o, i, &lens, orientation);
        double round = way + 2 * PS_PI * i / s->problem.photo_count + job_uniform(s, -0.4, 0.4);
        double az = 22 * JOB_DEGREE * cos(round), el = 16 * JOB_DEGREE * sin(round), from[3];
        double distance = s->view[i].lens.f_px * s->span / (4032 * job_uniform(s, 0.65, 0.95));
        /* Along the pins by no more than lets both inward faces be seen from inside. */
        double along = fmax(-0.3 * ears_mm, fmin(0.3 * ears_mm, distance * sin(el))), aside = distance * sin(az) * cos(el);
        from[0] = middle[0] + along * d[0] + aside * d[1], from[1] = middle[1] + along * d[1] - aside * d[0];
        from[2] = middle[2] + along * d[2] - distance * cos(az) * cos(el);
        job_look(from, middle, 0.1 * job_normal(s), &s->view[i].pose);
    }
}

static inline void gap_see_rims(job_scene *s, const job_options *o, const gap_truth *truth) {
    for (int rim = 0; rim < GAP_RIMS; rim++) {
        double common = 0.15 * job_normal(s);
        for (int i = 0; i < s->problem.photo_count; i++) {
            double own = 0.15 * job_normal(s);
            if (!truth->hidden[rim / (2 * GAP_CIRCLES)][rim / GAP_CIRCLES % 2][rim % GAP_CIRCLES]) job_see_rim(s, o, i, rim, common + own);
        }
    }
    /* Mirrors trust_factor of src/gauge/rims.c for pins that lie along the piece: an edge without its chamfer's other edge. */
    for (int e = 0; e < s->problem.edge_count; e++) {
        int rim = s->edge[e].rim, circle = rim % GAP_CIRCLES, pin = rim / (2 * GAP_CIRCLES);
        if (circle == GAP_BORE) continue;
        int other = circle == GAP_FACE ? GAP_OUTER : GAP_FACE;
        if (!s->rim[gap_rim(pin, 0, other)].there && !s->rim[gap_rim(pin, 1, other)].there) s->edge[e].sigma_px *= 3;
    }
}

/* Mirrors add_pins and drop_unseen of src/gauge/rims.c. */
static inline void gap_start_pins(job_scene *s) {
    static const ps_edge edge[GAP_CIRCLES] = {PS_EDGE_BUSH_FACE, PS_EDGE_BUSH_BORE, PS_EDGE_BUSH};
    ps_adjust_problem *q = &s->problem;
    q->pin_count = JOB_PINS;
    for (int i = 0; i < JOB_PINS; i++) {
        s->pin[i] = (ps_adjust_pin){.piece = -1, .sigma_square = 2 * JOB_DEGREE};
        for (int k = 0; k < 3; k++) {
            s->pin[i].axis_direction[k] = s->axis_direction[i][k] + 0.005 * job_normal(s);
            s->pin[i].axis_point_mm[k] = s->axis_point[i][k] + job_normal(s);
        }
        ps_unit3(s->pin[i].axis_direction);
    }
    for (int r = 0; r < GAP_RIMS; r++) {
        double dh = 0.5 * job_normal(s), dr = 0.3 * job_normal(s);
        s->rim_of[r] = s->rim[r].there ? q->rim_count : -1;
        if (!s->rim[r].there) continue;
        s->adjust_rim[q->rim_count++] = (ps_adjust_rim){.pin = r / (2 * GAP_CIRCLES),
                                                        .edge = edge[r % GAP_CIRCLES],
                                                        .ear = (ps_ear)(r / GAP_CIRCLES % 2),
                                                        .height_mm = s->rim[r].height + dh,
                                                        .radius_mm = s->rim[r].circle.radius_mm + dr,
                                                        .sigma_play_mm = 0.5};
    }
    for (int e = 0; e < q->edge_count; e++) s->edge[e].rim = s->rim_of[s->edge[e].rim];
}

/* False when the draw gives no usable photos. */
static inline bool gap_make(job_scene *s, gap_truth *truth, const job_options *o, uint64_t seed, uint64_t number) {
    memset(s, 0, sizeof *s);
    memset(truth, 0, sizeof *truth);
    s->state = (seed + 7) * 0xd1342543de82ef95u ^ (number + 5) * (number + 11) * 0xbf58476d1ce4e5b9u;
    job_options one = *o;
    one.two_sheets = 0;
    s->lying = true;
    double centres = job_uniform(s, 180, 330), ears = job_uniform(s, 150, 320);
    job_pieces(s, &one, centres);
    job_print(s, &one);
    job_readings(s);
    if (o->broken & BROKEN_BEND) job_bend_to_an_s(s);
    job_small_s(s);
    s->extent = job_uniform(s, 22, 40); /* the larger bore's radius */
    gap_axes(s, o, centres, 2 * s->extent + 24);
    gap_bushes(s, o, ears, truth);
    s->span = fmax(centres + 2 * s->extent + 60, 4032.0 / 3024 * ears);
    gap_cameras(s, o, ears);
    job_problem(s, &one);
    job_see_corners(s);
    gap_see_rims(s, o, truth);
    gap_start_pins(s);
    return s->problem.corner_count >= 12 && s->problem.edge_count > 0;
}

#endif
