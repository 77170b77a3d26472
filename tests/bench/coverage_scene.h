/* coverage_scene.h: random jobs in plain geometry, for bench_coverage. Pieces, pins, cameras and all errors are drawn at random;
 * what the adjustment gets is filled in as the gauge room fills it (by its own function, or mirrored where said).
 * No pixels: that a rim is found, and is the rim that it is taken for, is given here. All sizes are invented. */
#ifndef PINSPAN_BENCH_COVERAGE_SCENE_H
#define PINSPAN_BENCH_COVERAGE_SCENE_H

#include "base/linear.h"
#include "gauge/prints.h"
#include "pinspan/adjust.h"
#include "pinspan/photo.h"
#include "pinspan/target.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { JOB_PHOTOS = 5, JOB_PIECES = 2, JOB_PINS = 2, JOB_EDGES = 4, JOB_RIMS = 8, JOB_RIMS_MAX = 12, JOB_PLACES = 600 };
enum { JOB_CHECKS = 2 * JOB_PIECES };
enum { JOB_CORNERS = JOB_PHOTOS * JOB_PIECES * PS_PIECE_CORNERS_MAX, JOB_POINTS = JOB_PHOTOS * JOB_RIMS_MAX * JOB_PLACES };
static const double JOB_DEGREE = PS_PI / 180;

/* What is not quite as the model has it. */
enum {
    BROKEN_AXES = 1,
    BROKEN_BUSH = 2,
    BROKEN_BEND = 4,
    BROKEN_NOISE = 8,
    BROKEN_READING = 16,
    BROKEN_ROUND = 32,
    BROKEN_PRINTS = 64,
    BROKEN_ALL = 127
};

/* Whose check lines were read, in jobs of two sheets. */
typedef enum job_reading { JOB_READ_NONE, JOB_READ_ONE, JOB_READ_FOR_ALL, JOB_READ_EACH } job_reading;

/* What no photo set of one side may have: one at a time, on top of an honest job of three photos or more. */
typedef enum job_contradiction {
    JOB_HONEST = 0,
    JOB_MOVED,    /* the (first) sheet lies elsewhere in the last photo */
    JOB_OTHER,    /* the last photo shows another machine beside the same sheet */
    JOB_HELD,     /* the sheet is held by hand: elsewhere in every photo */
    JOB_BENT,     /* sheets rolled up far beyond the model */
    JOB_EXIF,     /* the focal length that the photos name cannot be */
    JOB_ZOOM,     /* the last photo is zoomed, and does not say so */
    JOB_SLIPPED,  /* every sheet lies elsewhere along the plate in the last photo, each by its own way */
    JOB_FLAPPING, /* every sheet is bent a little otherwise in every photo */
    JOB_MISREAD   /* in the last photo other circles were taken for the first pin's: no contradiction of the photo */
} job_contradiction;

typedef struct job_options {
    int broken; /* sum of BROKEN_..., 0: as the model */
    int stride; /* keep every n-th edge point: 1 all, 4 the thinned run */
    job_contradiction contradiction;
    bool small_things; /* with job_small_things */
    double two_sheets; /* share of jobs over 200 mm of centres that have two */
    bool one_print;    /* which are the same print then, known to be so: for tests that ask for something else */
} job_options;

typedef struct job_rim {
    ps_circle3 circle;
    double height;
    bool there;             /* seen in at least one photo */
    double arc[JOB_PHOTOS]; /* share seen; 0 not seen */
    double out_of_round[2]; /* mm along cos 2t and sin 2t, a worn edge */
} job_rim;

typedef struct job_scene {
    uint64_t state;
    /* Truth. */
    ps_view view[JOB_PHOTOS];
    ps_pose piece_pose[JOB_PIECES];
    double scale[JOB_PIECES][2], paper[JOB_PIECES], bend[JOB_PIECES][3],
        cubic[JOB_PIECES][4]; /* x2 xy y2 in 1/mm; x3 x2y xy2 y3 in 1/mm^2 */
    double axis_point[JOB_PINS][3], axis_direction[JOB_PINS][3];
    job_rim rim[JOB_RIMS_MAX]; /* 4 a pin, order of ps_edge: pin, pin-face, bush, bush-face; of a gap as coverage_gap.h has it */
    bool lying;                /* the photos look into a gap: circles are seen slanted */
    double middle[3], span, extent;
    bool sheet_moved[JOB_PHOTOS]; /* the first piece, by sheet_move in the world */
    ps_pose sheet_move[JOB_PHOTOS];
    double slip_mm[JOB_PHOTOS][JOB_PIECES][2]; /* of each piece along the plate */
    double flap[JOB_PHOTOS][JOB_PIECES][3];    /* bend in a photo beside the piece's own */
    double misread_mm[JOB_PHOTOS][3];          /* the first pin's circles are others: aside, aside, larger */
    double other_size[JOB_PHOTOS];             /* 0, or the factor by which another machine is larger */
    /* What is known. */
    job_reading reading;
    bool unlike;                                      /* two sheets of different printers or settings */
    bool checked[JOB_PIECES][2];                      /* across, along */
    double error[JOB_PIECES][2], U_mm[JOB_PIECES][2]; /* error of the reading in sd */
    int check_count;
    ps_print_check check[JOB_CHECKS];
    bool placed[JOB_PINS]; /* stand-off declared */
    double standoff_mm[JOB_PINS], standoff_U_mm;
    /* The problem. */
    ps_adjust_problem problem;
    ps_adjust_photo photo[JOB_PHOTOS];
    ps_adjust_group group[1];
    ps_adjust_piece piece[JOB_PIECES];
    ps_adjust_corner corner[JOB_CORNERS];
    ps_adjust_pin pin[JOB_PINS];
    ps_adjust_rim adjust_rim[JOB_RIMS_MAX];
    int rim_of[JOB_RIMS_MAX]; /* scene's rim -> adjust rim, -1 when no photo shows it */
    ps_adjust_edge edge[JOB_POINTS];
} job_scene;

/* ---- chance: splitmix64 (Vigna 2015, public domain) ---- */

static inline double job_uniform(job_scene *s, double low, double high) {
    uint64_t z = (s->state += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    z ^= z >> 31;
    return low + (high - low) * ((double)(z >> 11) + 0.5) / 9007199254740992.0;
}

static inline double job_normal(job_scene *s) {
    double u = job_uniform(s, 0, 1), v = job_uniform(s, 0, 1);
    return sqrt(-2 * log(u)) * cos(2 * PS_PI * v);
}

static inline double job_student(job_scene *s, int dof) {
    double z = job_normal(s), chi2 = 0;
    for (int i = 0; i < dof; i++) {
        double a = job_normal(s);
        chi2 += a * a;
    }
    return z / sqrt(chi2 / dof);
}

static inline bool job_chance(job_scene *s, double p) {
    return job_uniform(s, 0, 1) < p;
}

/* ---- truth ---- */

static inline void job_pieces(job_scene *s, const job_options *o, double centres) {
    const char *name = centres > 330 ? "plate-1" : centres > 170 && job_chance(s, 0.7) ? "patch-1" : "mini-1";
    if (centres > 170 && centres <= 330 && strcmp(name, "mini-1") == 0) name = "patch-2";
    s->problem.piece_count = job_chance(s, o->two_sheets) && centres > 200 ? 2 : 1;
    for (int i = 0; i < s->problem.piece_count; i++) {
        static const ps_pose identity = {.R = {1, 0, 0, 0, 1, 0, 0, 0, 1}};
        s->piece_pose[i] = identity;
        s->piece[i] = (ps_adjust_piece){.piece = ps_kit_find(i ? "patch-3" : name), .start = identity, .sigma_bend = 5e-5};
        s->paper[i] = 1 + 0.0003 * job_normal(s);
        for (int k = 0; k < 3; k++) s->bend[i][k] = 5e-5 * job_normal(s);
        if (i == 0) continue;
        /* Taped to the same plate beside the first, a little out of its plane. */
        double w[3] = {0.02 * job_normal(s), 0.02 * job_normal(s), 0.1 * job_normal(s)};
        ps_rotation_from_vector(w, s->piece_pose[i].R);
        s->piece_pose[i].t[0] = job_uniform(s, -60, 120), s->piece_pose[i].t[1] = -115, s->piece_pose[i].t[2] = 3 * job_normal(s);
    }
    const ps_piece *held = ps_kit_piece(s->piece[0].piece);
    s->middle[0] = 0.5 * held->columns * held->square_mm;
    s->middle[1] = 0.5 * held->rows * held->square_mm;
}

/* ---- prints and their readings ---- */

static inline double job_printer(job_scene *s) {
    return job_chance(s, 0.1) ? 0.02 * job_normal(s) : 0.003 * job_normal(s);
}

static inline double job_misread(job_scene *s, const job_options *o) {
    return o->broken & BROKEN_READING ? job_student(s, 3) : job_normal(s);
}

/* The first sheet's printer, and what is read of it: of eight jobs in ten both lines. */
static inline void job_print(job_scene *s, const job_options *o) {
    double common = job_printer(s);
    s->U_mm[0][0] = 0.15, s->U_mm[0][1] = 0.7;
    if (job_chance(s, 0.5)) s->U_mm[0][1] = 0.3; /* a good rule */
    bool none = job_chance(s, 0.08);
    for (int k = 0; k < 2; k++) {
        s->scale[0][k] = 1 + common + 0.002 * job_normal(s);
        s->error[0][k] = job_misread(s, o);
        s->checked[0][k] = !none && !job_chance(s, 0.06);
    }
    if (none) { /* then the prior is all there is: drawn from it */
        common = 0.02 * job_normal(s);
        for (int k = 0; k < 2; k++) s->scale[0][k] = 1 + common + 0.005 * job_normal(s);
    }
}

/* The second sheet by itself: of the same run (alike across, the feed slips along), or of another printer. */
static inline void job_second_print(job_scene *s) {
    double common = job_printer(s);
    for (int k = 0; k < 2; k++)
        s->scale[1][k] = s->unlike ? 1 + common + 0.002 * job_normal(s) : s->scale[0][k] * (1 + (k ? 0.003 : 0.0002) * job_normal(s));
}

/* Which lines of the second sheet are read, and how well: mostly by the rule that read the first. */
static inline void job_second_reading(job_scene *s, const job_options *o) {
    bool other_rule = job_chance(s, 0.2), one_rule_off = o->broken & BROKEN_PRINTS && job_chance(s, 0.5);
    s->U_mm[1][0] = other_rule ? 0.3 : s->U_mm[0][0], s->U_mm[1][1] = other_rule ? 1 - s->U_mm[0][1] : s->U_mm[0][1];
    for (int k = 0; k < 2; k++) {
        double finest = fmin(s->U_mm[0][k], s->U_mm[1][k]), own = job_misread(s, o);
        double alike = one_rule_off ? 1 : 0.5 * finest * finest / (s->U_mm[0][k] * s->U_mm[1][k]);
        s->error[1][k] = alike * s->error[0][k] + sqrt(1 - alike * alike) * own; /* half of the finest reading's variance in common */
        s->checked[1][k] = !job_chance(s, 0.06);
    }
    if (s->reading == JOB_READ_EACH) return;
    bool first = s->reading == JOB_READ_FOR_ALL || job_chance(s, 0.5), both = s->reading == JOB_READ_FOR_ALL;
    for (int k = 0; k < 2; k++) {
        s->checked[1][k] = (both || !first) && s->checked[0][k];
        s->checked[0][k] = first && s->checked[0][k];
    }
}

/* Lines that nobody read are drawn about what was read as the model expects it, a sheet fitted to its page in the broken family. */
static inline void job_unread_lines(job_scene *s, const job_options *o) {
    double fitted = (job_chance(s, 0.5) ? 1 : -1) * job_uniform(s, 0.03, 0.06), from[JOB_PIECES][2];
    memcpy(from, s->scale, sizeof from);
    for (int k = 0; k < 2; k++) {
        double common = sqrt(0.5) * 0.005 * job_normal(s);
        bool on_none = !s->checked[0][k] && !s->checked[1][k];
        for (int i = 0; i < JOB_PIECES; i++) {
            double off = o->broken & BROKEN_PRINTS ? fitted : 0.02 * job_normal(s), own = sqrt(0.5) * 0.005 * job_normal(s);
            bool crosswise = on_none && s->checked[i][1 - k]; /* its other line tells */
            if (s->checked[i][k]) continue;
            if (crosswise)
                s->scale[i][k] = from[i][1 - k] * (1 + common + own);
            else
                s->scale[i][k] = from[1 - i][on_none ? 1 - k : k] * (1 + (on_none ? common : 0) + off);
        }
    }
}

/* No line read at all: nominal, off both ways alike, each way, and each sheet each way; sheets of two printers in the broken family. */
static inline void job_unread_prints(job_scene *s, const job_options *o) {
    double both = 0.02 * job_normal(s);
    for (int k = 0; k < 2; k++) {
        double way = 0.005 * job_normal(s);
        for (int i = 0; i < JOB_PIECES; i++) s->scale[i][k] = 1 + both + way + 0.005 * job_normal(s);
    }
    double other = 0.02 * job_normal(s);
    for (int k = 0; k < 2 && o->broken & BROKEN_PRINTS; k++) s->scale[1][k] += other;
}

/* One reading is said to hold for both: it is of what both have in common; in the broken family the feed slipped besides. */
static inline void job_alike_prints(job_scene *s, const job_options *o) {
    for (int k = 0; k < 2; k++) {
        double common = s->scale[0][k], own[JOB_PIECES] = {5e-4 * job_student(s, 4), 5e-4 * job_student(s, 4)};
        double slip = o->broken & BROKEN_PRINTS && k ? 0.003 * job_normal(s) : 0;
        s->scale[0][k] = common * (1 + own[0]), s->scale[1][k] = common * (1 + own[1] + slip);
        s->error[0][k] -= own[0] / (0.5 * s->U_mm[0][k] / (k ? 200 : 140)); /* the reading is of `common` */
    }
}

/* Two sheets, from a stream of chance of its own. */
static inline void job_prints(job_scene *s, const job_options *o) {
    uint64_t kept = s->state;
    s->state = ~kept * 0xc2b2ae3d27d4eb4fu;
    double draw = job_uniform(s, 0, 1);
    s->reading = !s->checked[0][0] && !s->checked[0][1] ? JOB_READ_NONE
                 : draw < 0.25                          ? JOB_READ_ONE
                 : draw < 0.5                           ? JOB_READ_FOR_ALL
                                                        : JOB_READ_EACH;
    s->unlike = job_chance(s, 0.5) && s->reading != JOB_READ_FOR_ALL;
    job_second_print(s);
    if (s->reading == JOB_READ_NONE)
        job_unread_prints(s, o);
    else
        job_second_reading(s, o);
    if (s->reading == JOB_READ_FOR_ALL) job_alike_prints(s, o);
    if (s->reading == JOB_READ_ONE || s->reading == JOB_READ_EACH)
        if (s->unlike) job_unread_lines(s, o);
    s->state = kept;
}

/* The readings as the fitter gives them: of each sheet by its name, or of all. */
static inline void job_readings(job_scene *s) {
    static const double nominal[2] = {140, 200};
    bool by_name = s->problem.piece_count > 1 && s->reading != JOB_READ_FOR_ALL;
    for (int i = 0; i < (by_name ? s->problem.piece_count : 1); i++)
        for (int k = 0; k < 2; k++) {
            double read_mm = nominal[k] * s->scale[i][k] + 0.5 * s->U_mm[i][k] * s->error[i][k];
            if (s->checked[i][k])
                s->check[s->check_count++] = (ps_print_check){by_name ? s->piece[i].piece : -1, k == 1, read_mm, s->U_mm[i][k]};
        }
}

static inline void job_axes(job_scene *s, const job_options *o, double centres) {
    double turn = job_uniform(s, -0.5, 0.5), aside = job_uniform(s, -60, 100);
    double apart = (o->broken & BROKEN_AXES ? 0.5 : 0.2) * JOB_DEGREE, common[2];
    for (int k = 0; k < 2; k++) common[k] = 2 * JOB_DEGREE * job_student(s, 4);
    for (int i = 0; i < JOB_PINS; i++) {
        /* Both equal by rights: half of what they may differ each. */
        double d[3] = {common[0] + apart * sqrt(0.5) * job_normal(s), common[1] + apart * sqrt(0.5) * job_normal(s), -1};
        double along = i == 0 ? 0.5 * centres : -0.5 * centres; /* +x toward the dipper pin */
        ps_unit3(d);
        memcpy(s->axis_direction[i], d, sizeof d);
        s->axis_point[i][0] = s->middle[0] + along * cos(turn) - aside * sin(turn);
        s->axis_point[i][1] = s->middle[1] + along * sin(turn) + aside * cos(turn);
        s->axis_point[i][2] = 0;
    }
}

static inline void job_pins(job_scene *s, const job_options *o, double centres) {
    double pin = job_uniform(s, 15, fmin(50, 0.24 * centres)), bush = pin * job_uniform(s, 1.28, 1.6), plate = job_uniform(s, 5, 60);
    s->extent = 0;
    for (int i = 0; i < JOB_PINS; i++) {
        double grow = i && job_chance(s, 0.4) ? job_uniform(s, 0.85, 1.15) : 1, chamfer = job_uniform(s, 0.8, 3);
        double bush_chamfer = job_uniform(s, 0.8, 3), proud = job_uniform(s, -2, 35), face = plate + 0.5 * job_normal(s);
        double radius[JOB_EDGES] = {pin * grow, pin * grow - chamfer, bush * grow, bush * grow - bush_chamfer};
        double height[JOB_EDGES] = {face + proud - chamfer * job_uniform(s, 0.7, 1.4), face + proud,
                                    face - bush_chamfer * job_uniform(s, 0.7, 1.4), face};
        double play[2] = {0.5 * job_student(s, 4), 0.5 * job_student(s, 4)}; /* one bush: both its edges together */
        if (o->broken & BROKEN_BUSH) { /* worn: to one side by 0.5 to 1.3 mm, its edges out of round */
            double way = job_uniform(s, 0, 2 * PS_PI), far = job_uniform(s, 0.5, 1.3);
            play[0] = far * cos(way), play[1] = far * sin(way);
        }
        double *d = s->axis_direction[i], side[3] = {play[0], play[1], 0};
        side[2] = -(side[0] * d[0] + side[1] * d[1]) / d[2];
        s->extent = fmax(s->extent, radius[PS_EDGE_BUSH]);
        for (int e = 0; e < JOB_EDGES; e++) {
            job_rim *r = &s->rim[JOB_EDGES * i + e];
            r->height = height[e];
            r->circle.radius_mm = radius[e];
            memcpy(r->circle.normal, d, sizeof r->circle.normal);
            bool of_bush = e == PS_EDGE_BUSH || e == PS_EDGE_BUSH_FACE;
            for (int k = 0; k < 3; k++) r->circle.centre[k] = s->axis_point[i][k] + height[e] * d[k] + (of_bush ? side[k] : 0);
            for (int k = 0; k < 2 && of_bush && (o->broken & BROKEN_ROUND); k++) r->out_of_round[k] = 0.1 * job_normal(s);
        }
    }
}

/* Sheets bent to an S: as far off at their ends as the model's bend of one sd. */
static inline void job_bend_to_an_s(job_scene *s) {
    for (int i = 0; i < s->problem.piece_count; i++)
        s->cubic[i][3] = 5e-5 * job_normal(s) / (0.5 * ps_kit_piece(s->piece[i].piece)->rows * ps_kit_piece(s->piece[i].piece)->square_mm);
}

/* The S that every sheet has, where it has no larger one already. */
static inline void job_small_s(job_scene *s) {
    for (int i = 0; i < s->problem.piece_count; i++)
        for (int k = 0; k < 4; k++) {
            double c = 1.25e-7 * job_normal(s);
            if (s->cubic[i][k] == 0) s->cubic[i][k] = c;
        }
}

/* What every sheet, rim and fitter adds, from a stream of chance of its own. A bend or an oval that is larger already stays. */
static inline void job_small_things(job_scene *s) {
    uint64_t kept = s->state;
    s->state = ~kept * 0x9fb21c651e98df25u;
    job_small_s(s);
    for (int r = 0; r < JOB_RIMS; r++)
        for (int k = 0; k < 2; k++) {
            double oval = (r % JOB_EDGES == PS_EDGE_PIN || r % JOB_EDGES == PS_EDGE_PIN_FACE ? 0.03 : 0.05) * job_student(s, 4);
            if (s->rim[r].out_of_round[k] == 0) s->rim[r].out_of_round[k] = oval;
        }
    s->standoff_U_mm = 2;
    for (int i = 0; i < JOB_PINS; i++) {
        s->placed[i] = job_chance(s, 0.15);
        s->standoff_mm[i] = s->rim[JOB_EDGES * i + PS_EDGE_PIN_FACE].height + 0.5 * s->standoff_U_mm * job_normal(s);
    }
    s->state = kept;
}

/* Camera at `from` looking at `at`, its x axis turned by `roll` out of the world's x. */
static inline void job_look(const double from[3], const double at[3], double roll, ps_pose *pose) {
    double z[3] = {at[0] - from[0], at[1] - from[1], at[2] - from[2]}, right[3] = {cos(roll), sin(roll), 0}, y[3], x[3];
    ps_unit3(z);
    ps_cross3(z, right, y);
    ps_unit3(y);
    ps_cross3(y, z, x);
    for (int k = 0; k < 3; k++) pose->R[k] = x[k], pose->R[3 + k] = y[k], pose->R[6 + k] = z[k];
    for (int r = 0; r < 3; r++) pose->t[r] = -(pose->R[3 * r] * from[0] + pose->R[3 * r + 1] * from[1] + pose->R[3 * r + 2] * from[2]);
}

/* Mirrors group_of and lens_priors of src/gauge/cameras.c for 4032 x 3024 photos with EXIF. */
static inline ps_adjust_group job_group(double exif_px) {
    double rc = 0.5 * hypot(4032, 3024) / exif_px, r2 = rc * rc;
    bool wide = rc > 1.05;
    return (ps_adjust_group){.start = {.f_px = exif_px, .cx = 2015.5, .cy = 1511.5},
                             .sigma_focal_rel = 0.05,
                             .focal_tail = 3,
                             .sigma_centre_px = 40.32,
                             .sigma_k1 = (wide ? 0.20 : 0.07) / r2,
                             .sigma_k2 = (wide ? 0.06 : 0.10) / (r2 * r2),
                             .sigma_k3 = (wide ? 0.02 : 0.03) / (r2 * r2 * r2),
                             .sigma_p = 0.001,
                             .sigma_photo_focal_rel = 0.005,
                             .sigma_photo_centre_px = 10};
}

/* The phone: its EXIF focal length into the group, its true lens returned. */
static inline ps_lens job_lens(job_scene *s, const job_options *o) {
    double off;
    s->group[0] = job_group(job_uniform(s, 2750, 3300));
    ps_adjust_group *g = &s->group[0];
    ps_lens lens = g->start;
    do off = job_student(s, 3);
    while (fabs(off) > 6); /* EXIF over 30 % off: one in a hundred would leave no sensible photo */
    if (o->contradiction == JOB_EXIF) off = (job_chance(s, 0.5) ? 1 : -1) * job_uniform(s, 12, 16); /* a factor of 1.8 to 2.2 */
    lens.f_px *= exp(0.05 * off);
    lens.cx += g->sigma_centre_px * job_normal(s), lens.cy += g->sigma_centre_px * job_normal(s);
    lens.k1 = g->sigma_k1 * job_normal(s), lens.k2 = g->sigma_k2 * job_normal(s), lens.k3 = g->sigma_k3 * job_normal(s);
    lens.p1 = g->sigma_p * job_normal(s), lens.p2 = g->sigma_p * job_normal(s);
    return lens;
}

/* A photo with that lens, as it is in this one. */
static inline void job_photo(job_scene *s, const job_options *o, int i, const ps_lens *lens, int orientation) {
    const ps_adjust_group *g = &s->group[0];
    ps_view *v = &s->view[i];
    v->lens = *lens;
    v->lens.f_px *= exp(g->sigma_photo_focal_rel * job_normal(s));
    if (o->contradiction == JOB_ZOOM && i == s->problem.photo_count - 1) v->lens.f_px *= job_uniform(s, 1.06, 1.4);
    v->lens.cx += g->sigma_photo_centre_px * job_normal(s), v->lens.cy += g->sigma_photo_centre_px * job_normal(s);
    v->orientation = orientation, v->stored_width = 4032, v->stored_height = 3024;
    s->photo[i] = (ps_adjust_photo){.stored_width = 4032, .stored_height = 3024, .orientation = orientation};
}

static inline void job_cameras(job_scene *s, const job_options *o) {
    static const int share[JOB_PHOTOS] = {10, 30, 65, 90, 100}; /* 1 to 5 photos: 10, 20, 35, 25, 10 % */
    double draw = job_uniform(s, 0, 100);
    int photos = 1;
    while (draw > share[photos - 1] || (o->contradiction != JOB_HONEST && photos < 3)) photos++;
    s->problem.photo_count = photos;
    ps_lens lens = job_lens(s, o);
    double between[3], way = job_uniform(s, 0, 2 * PS_PI), roll = job_chance(s, 0.5) ? 0 : PS_PI;
    double most = job_chance(s, 0.1) ? 5 : 24, least = most > 10 ? 9 : 0; /* one job in ten: all from about one side */
    int orientation = job_chance(s, 0.3) ? 6 : 1;
    for (int k = 0; k < 3; k++) between[k] = 0.5 * (s->axis_point[0][k] + s->axis_point[1][k]);
    for (int k = 0; k < 2; k++) between[k] = 0.7 * between[k] + 0.3 * s->middle[k];
    for (int i = 0; i < photos; i++) {
        job_photo(s, o, i, &lens, orientation);
        double azimuth = way + 2 * PS_PI * i / photos + job_uniform(s, -0.5, 0.5), tilt = job_uniform(s, least, most) * JOB_DEGREE;
        double distance = s->view[i].lens.f_px * s->span / (4032 * job_uniform(s, 0.6, 0.85)), from[3];
        from[0] = between[0] + distance * sin(tilt) * cos(azimuth), from[1] = between[1] + distance * sin(tilt) * sin(azimuth);
        from[2] = -distance * cos(tilt);
        job_look(from, between, roll + 0.1 * job_normal(s), &s->view[i].pose);
    }
}

static inline void job_contradict(job_scene *s, const job_options *o) {
    int last = s->problem.photo_count - 1;
    for (int i = 0; i <= last; i++) {
        if (o->contradiction != JOB_HELD && (o->contradiction != JOB_MOVED || i != last)) continue;
        double way = job_uniform(s, 0, 2 * PS_PI), far = job_uniform(s, 3, 30);
        double w[3] = {0.02 * job_normal(s), 0.02 * job_normal(s), 0.05 * job_normal(s)};
        s->sheet_moved[i] = true;
        ps_rotation_from_vector(w, s->sheet_move[i].R);
        s->sheet_move[i].t[0] = far * cos(way), s->sheet_move[i].t[1] = far * sin(way), s->sheet_move[i].t[2] = 2 * job_normal(s);
    }
    if (o->contradiction == JOB_OTHER) s->other_size[last] = job_chance(s, 0.5) ? job_uniform(s, 1.1, 1.3) : job_uniform(s, 0.75, 0.9);
    for (int k = 0; k < 2 * JOB_PIECES && o->contradiction == JOB_SLIPPED; k++)
        s->slip_mm[last][k / 2][k % 2] = (job_chance(s, 0.5) ? 1 : -1) * job_uniform(s, 1, 4);
    for (int k = 0; k < 3 && o->contradiction == JOB_MISREAD; k++)
        s->misread_mm[last][k] = (job_chance(s, 0.5) ? 1 : -1) * (k < 2 ? job_uniform(s, 0.3, 1.5) : job_uniform(s, 1, 3));
    for (int k = 0; k < JOB_PHOTOS * JOB_PIECES * 3 && o->contradiction == JOB_FLAPPING; k++)
        s->flap[k / (3 * JOB_PIECES)][k / 3 % JOB_PIECES][k % 3] = 1e-4 * job_normal(s);
    for (int q = 0; q < s->problem.piece_count && o->contradiction == JOB_BENT; q++)
        s->bend[q][job_chance(s, 0.5) ? 0 : 2] = (job_chance(s, 0.5) ? 1 : -1) * 5e-5 * job_uniform(s, 10, 25);
}

/* ---- observations ---- */

static inline bool job_in_photo(const ps_view *v, const double px[2]) {
    bool turned = v->orientation >= 5;
    double w = turned ? v->stored_height : v->stored_width, h = turned ? v->stored_width : v->stored_height;
    return px[0] > 4 && px[1] > 4 && px[0] < w - 5 && px[1] < h - 5;
}

/* Printed point in the world. The bend's terms lose their means over the (symmetric) corner grid, and the S its best slopes. */
static inline void job_corner(const job_scene *s, int photo, int piece, int index, double X[3]) {
    const ps_piece *p = ps_kit_piece(s->piece[piece].piece);
    double mm[2], square[2] = {0, 0}, fourth[2] = {0, 0}, middle[2] = {p->columns * p->square_mm / 2, p->rows * p->square_mm / 2};
    for (int c = 0; c < p->corner_count; c++) {
        ps_piece_corner(p, c, mm);
        for (int k = 0; k < 2; k++) {
            square[k] += pow(mm[k] - middle[k], 2) / p->corner_count;
            fourth[k] += pow(mm[k] - middle[k], 4) / p->corner_count;
        }
    }
    ps_piece_corner(p, index, mm);
    double x = mm[0] - middle[0], y = mm[1] - middle[1];
    double b[3];
    const double *S = s->cubic[piece];
    for (int k = 0; k < 3; k++) b[k] = s->bend[piece][k] + s->flap[photo][piece][k];
    double local[3] = {mm[0] * s->scale[piece][0] * s->paper[piece], mm[1] * s->scale[piece][1] * s->paper[piece],
                       b[0] * (x * x - square[0]) + b[1] * x * y + b[2] * (y * y - square[1]) + S[0] * x * (x * x - fourth[0] / square[0]) +
                           S[1] * y * (x * x - square[0]) + S[2] * x * (y * y - square[1]) + S[3] * y * (y * y - fourth[1] / square[1])};
    ps_pose_apply(&s->piece_pose[piece], local, X);
    for (int k = 0; k < 2; k++) X[k] += s->slip_mm[photo][piece][k];
    if (piece == 0 && s->sheet_moved[photo]) {
        memcpy(local, X, sizeof local);
        ps_pose_apply(&s->sheet_move[photo], local, X);
    }
}

static inline void job_see_corners(job_scene *s) {
    int n = 0;
    for (int i = 0; i < s->problem.photo_count; i++) {
        for (int q = 0; q < s->problem.piece_count; q++) {
            double sd = 0.02 * pow(5, job_uniform(s, 0, 1)); /* 0.02 to 0.1 px */
            for (int c = 0; c < ps_kit_piece(s->piece[q].piece)->corner_count; c++) {
                double X[3], px[2], dx = sd * job_normal(s), dy = sd * job_normal(s);
                job_corner(s, i, q, c, X);
                if (!ps_view_project(&s->view[i], X, px) || !job_in_photo(&s->view[i], px) || job_chance(s, 0.03)) continue;
                s->corner[n++] = (ps_adjust_corner){i, q, c, px[0] + dx, px[1] + dy, sd};
            }
        }
    }
    s->problem.corner_count = n;
}

/* Noise of sd 1 along a rim whose points are 4 px apart: alike over 16 px (the mean of four neighbours, so that a rim is worth
 * a quarter of its points), with tails; skewed in the broken family. */
static inline void job_rim_noise(job_scene *s, const job_options *o, int places, double noise[JOB_PLACES]) {
    double fresh[JOB_PLACES];
    for (int k = 0; k < places; k++) {
        fresh[k] = job_student(s, 5) / sqrt(5.0 / 3);
        if (o->broken & BROKEN_NOISE) { /* gamma with shape 4: mean 0, sd 1, skewness 1 */
            double sum = 0;
            for (int j = 0; j < 4; j++) sum -= log(job_uniform(s, 0, 1));
            fresh[k] = (sum - 4) / 2;
        }
    }
    for (int k = 0; k < places; k++) {
        noise[k] = 0;
        for (int j = 0; j < 4; j++) noise[k] += 0.5 * fresh[(k + j) % places];
    }
    for (int scratches = places / 100; scratches >= 0; scratches--) { /* 4 points in a hundred astray */
        int at = (int)job_uniform(s, 0, places);
        double off = (job_chance(s, 0.5) ? 1 : -1) * job_uniform(s, 2, 8);
        for (int j = 0; j < 4; j++) noise[(at + j) % places] += off;
    }
}

static inline double job_arc(job_scene *s) {
    double draw = job_uniform(s, 0, 1);
    return draw < 0.08 ? 0 : draw < 0.6 ? job_uniform(s, 0.85, 1) : draw < 0.88 ? job_uniform(s, 0.5, 0.85) : job_uniform(s, 0.3, 0.5);
}

static inline int job_compare(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* A point of a rim with the shift's and noise's direction; false outside the photo. */
static inline bool job_rim_point(const job_scene *s, int photo, const job_rim *r, double t, double px[2], double n[2]) {
    double X[3], next[2], last[2], centre[2];
    ps_circle3 c = r->circle;
    double larger = s->other_size[photo];
    for (int k = 0; k < 2 && larger > 0; k++) c.centre[k] = s->middle[k] + larger * (c.centre[k] - s->middle[k]);
    if (larger > 0) c.radius_mm *= larger;
    bool first_pin = r - s->rim < JOB_EDGES;
    for (int k = 0; k < 2 && first_pin; k++) c.centre[k] += s->misread_mm[photo][k];
    if (first_pin) c.radius_mm += s->misread_mm[photo][2];
    c.radius_mm += r->out_of_round[0] * cos(2 * t) + r->out_of_round[1] * sin(2 * t);
    ps_circle3_point(&c, t, X);
    if (!ps_view_project(&s->view[photo], X, px) || !job_in_photo(&s->view[photo], px)) return false;
    ps_circle3_point(&c, t + 1e-4, X);
    if (!ps_view_project(&s->view[photo], X, next)) return false;
    ps_circle3_point(&c, t - 1e-4, X);
    if (!ps_view_project(&s->view[photo], X, last) || !ps_view_project(&s->view[photo], c.centre, centre)) return false;
    n[0] = next[1] - last[1], n[1] = last[0] - next[0];
    double l = hypot(n[0], n[1]);
    if (n[0] * (px[0] - centre[0]) + n[1] * (px[1] - centre[1]) < 0) l = -l;
    n[0] /= l, n[1] /= l;
    return true;
}

/* Of the circle in the photo; seen about square, as the camera's distance has it. */
static inline double job_length_px(const job_scene *s, int photo, const job_rim *r) {
    double length = 0, last[2], px[2], X[3];
    if (!s->lying) return 2 * PS_PI * r->circle.radius_mm * s->view[photo].lens.f_px / fabs(s->view[photo].pose.t[2]);
    for (int k = 0; k <= 48; k++) {
        ps_circle3_point(&r->circle, 2 * PS_PI * k / 48, X);
        if (!ps_view_project(&s->view[photo], X, px)) return 0;
        if (k) length += hypot(px[0] - last[0], px[1] - last[1]);
        memcpy(last, px, sizeof last);
    }
    return length;
}

/* The edge points of one rim in one photo; what the trace stage makes of them (src/rim/trace.c): points over 1.6 px off are
 * not taken, sd by the median, 0.25 px at least. The factor 2 is neighbours_factor of src/gauge/rims.c; of thinned points every
 * n-th is kept with the sd divided by sqrt(n), so that a rim says as much as before. */
static inline void job_see_rim(job_scene *s, const job_options *o, int photo, int rim, double shift) {
    job_rim *r = &s->rim[rim];
    double noise[JOB_PLACES], size[JOB_PLACES];
    int places = (int)fmin(JOB_PLACES, job_length_px(s, photo, r) / 4), n = s->problem.edge_count, taken = 0;
    double from = job_uniform(s, 0, 2 * PS_PI), arc = job_arc(s), sd = job_uniform(s, 0.3, 0.5);
    double side[2] = {0, 0};
    for (int k = 0; k < 2 && o->small_things; k++) side[k] = 0.3 * job_normal(s);
    if (places > 0) job_rim_noise(s, o, places, noise);
    if (arc == 0 || places < 40) return;
    int first = n;
    for (int k = 0; k < (int)(arc * places); k++) {
        double px[2], way[2], off = sd * noise[k];
        if (fabs(off) > 1.6 || !job_rim_point(s, photo, r, from + 2 * PS_PI * k / places, px, way)) continue;
        size[taken++] = fabs(off);
        if (k % o->stride) continue;
        s->edge[n++] = (ps_adjust_edge){photo, rim, px[0] + (off + shift) * way[0] + side[0], px[1] + (off + shift) * way[1] + side[1], 0};
    }
    r->arc[photo] = (double)taken / places;
    if (r->arc[photo] < 0.3) { /* as the trace stage */
        r->arc[photo] = 0;
        return;
    }
    qsort(size, (size_t)taken, sizeof *size, job_compare);
    double sigma = fmax(0.25, 1.4826 * size[taken / 2]) * 2 / sqrt(o->stride);
    for (int k = first; k < n; k++) s->edge[k].sigma_px = sigma;
    s->problem.edge_count = n;
    r->there = true;
}

/* Mirrors trust_factor of src/gauge/rims.c: an edge whose chamfer's other edge is not there. */
static inline void job_trust_less(job_scene *s) {
    for (int e = 0; e < s->problem.edge_count; e++) {
        int partner = s->edge[e].rim ^ 1; /* pin and its face, bush and its face */
        if (!s->rim[partner].there) s->edge[e].sigma_px *= s->problem.photo_count < 2 ? 3 : 10;
    }
}

static inline void job_see_rims(job_scene *s, const job_options *o) {
    static const double missed[JOB_EDGES] = {0.03, 0.1, 0.12, 0.1}; /* not told apart in any photo */
    for (int rim = 0; rim < JOB_RIMS; rim++) {
        double common = 0.15 * job_normal(s);
        bool miss = job_chance(s, missed[rim % JOB_EDGES]);
        for (int i = 0; i < s->problem.photo_count; i++) {
            double own = 0.15 * job_normal(s);
            if (!miss) job_see_rim(s, o, i, rim, common + own);
        }
    }
    job_trust_less(s);
}

/* ---- the problem ---- */

static inline void job_scale(job_scene *s, const job_options *o) {
    ps_measure_options options = {.check_count = s->check_count};
    memcpy(options.check, s->check, sizeof s->check);
    ps_gauge_set_prints(&options, s->piece, o->one_print ? 1 : s->problem.piece_count, &s->problem.scale);
}

/* One photo tells no height: the start, about which the adjustment's weak prior lies, must not know it either. The rim stage guesses one
 * for all (src/rim/assign.c) and takes place and size as they look from there: all of a pin nearer, and smaller by the same factor. */
typedef struct job_guess {
    double higher_mm, factor, at_height_mm, aside_mm[2];
} job_guess;

static inline job_guess job_guess_of(const job_scene *s, int pin, double higher_mm) {
    const job_rim *face = &s->rim[JOB_EDGES * pin + PS_EDGE_BUSH_FACE];
    ps_pose back;
    ps_pose_invert(&s->view[0].pose, &back);
    double rise = -back.t[2];
    job_guess g = {higher_mm, (rise - face->height - higher_mm) / (rise - face->height), face->height, {0, 0}};
    for (int k = 0; k < 2; k++)
        g.aside_mm[k] = (1 - g.factor) * (back.t[k] - s->axis_point[pin][k] - face->height * s->axis_direction[pin][k]);
    return g;
}

/* Mirrors add_pins and drop_unseen of src/gauge/rims.c. The rim stage's start values: near the truth, of one photo near what it shows. */
static inline void job_start_pins(job_scene *s) {
    ps_adjust_problem *q = &s->problem;
    q->pin_count = JOB_PINS;
    double higher = q->photo_count == 1 ? 40 * job_normal(s) : 0;
    job_guess guess[JOB_PINS];
    for (int i = 0; i < JOB_PINS; i++) {
        guess[i] = job_guess_of(s, i, s->placed[i] ? 0 : higher);
        s->pin[i] = (ps_adjust_pin){.piece = q->held_piece, .axis_direction = {0, 0, -1}, .sigma_square = 2 * JOB_DEGREE};
        for (int k = 0; k < 2; k++) s->pin[i].axis_point_mm[k] = s->axis_point[i][k] + guess[i].aside_mm[k] + 1.5 * job_normal(s);
    }
    for (int r = 0; r < JOB_RIMS; r++) {
        int edge = r % JOB_EDGES;
        const job_guess *g = &guess[r / JOB_EDGES];
        double dh = g->higher_mm + (g->factor - 1) * (s->rim[r].height - g->at_height_mm) + 3 * job_normal(s);
        double dr = (g->factor - 1) * s->rim[r].circle.radius_mm + 0.5 * job_normal(s);
        s->rim_of[r] = -1;
        if (!s->rim[r].there) continue;
        s->rim_of[r] = q->rim_count;
        s->adjust_rim[q->rim_count++] = (ps_adjust_rim){.pin = r / JOB_EDGES,
                                                        .edge = (ps_edge)edge,
                                                        .height_mm = s->rim[r].height + dh,
                                                        .radius_mm = s->rim[r].circle.radius_mm + dr,
                                                        .on_axis = edge == PS_EDGE_PIN || edge == PS_EDGE_PIN_FACE,
                                                        .sigma_play_mm = 0.5,
                                                        .height_known = edge == PS_EDGE_PIN_FACE && s->placed[r / JOB_EDGES],
                                                        .height_prior_mm = s->standoff_mm[r / JOB_EDGES],
                                                        .sigma_height_mm = 0.5 * s->standoff_U_mm};
    }
    for (int e = 0; e < q->edge_count; e++) s->edge[e].rim = s->rim_of[s->edge[e].rim];
}

static inline void job_problem(job_scene *s, const job_options *o) {
    ps_adjust_problem *q = &s->problem;
    q->group_count = 1;
    q->photo = s->photo, q->group = s->group, q->piece = s->piece, q->corner = s->corner, q->pin = s->pin, q->rim = s->adjust_rim;
    q->edge = s->edge;
    q->held_piece = 0;
    job_scale(s, o);
    q->sigma_parallel = 0.2 * JOB_DEGREE;
    q->sigma_shift_common_px = q->sigma_shift_photo_px = 0.15;
    q->sigma_shift_side_px = 0.3;
    q->sigma_round_pin_mm = 0.03, q->sigma_round_other_mm = 0.05;
    q->bend = q->distortion = true;
}

/* False when the draw gives no usable photos (corners out of sight). */
static inline bool job_make(job_scene *s, const job_options *o, uint64_t seed, uint64_t number) {
    memset(s, 0, sizeof *s);
    s->state = (seed + 1) * 0xd1342543de82ef95u ^ (number + 1) * (number + 3) * 0xbf58476d1ce4e5b9u;
    double centres = job_uniform(s, 130, 600);
    job_pieces(s, o, centres);
    job_print(s, o);
    if (s->problem.piece_count > 1 && !o->one_print) job_prints(s, o);
    if (o->one_print) s->reading = JOB_READ_FOR_ALL, memcpy(s->scale[1], s->scale[0], sizeof s->scale[1]);
    job_readings(s);
    if (o->broken & BROKEN_BEND) job_bend_to_an_s(s);
    job_axes(s, o, centres);
    job_pins(s, o, centres);
    if (o->small_things) job_small_things(s);
    s->span = centres + 2 * s->extent + 40;
    job_cameras(s, o);
    job_contradict(s, o);
    job_problem(s, o);
    job_see_corners(s);
    job_see_rims(s, o);
    job_start_pins(s);
    return s->problem.corner_count >= 12 && s->problem.edge_count > 0;
}

/* True distance of the axes: in the plane through the middle of the two bush faces, square to the mean direction. */
static inline double job_centres(const job_scene *s) {
    double mean[3], middle[3] = {0}, meets[2][3], apart[3];
    for (int k = 0; k < 3; k++) {
        mean[k] = s->axis_direction[0][k] + s->axis_direction[1][k];
        for (int i = 0; i < 2; i++)
            middle[k] += 0.5 * (s->axis_point[i][k] + s->rim[JOB_EDGES * i + PS_EDGE_BUSH_FACE].height * s->axis_direction[i][k]);
    }
    for (int i = 0; i < 2; i++) {
        double way[3];
        for (int k = 0; k < 3; k++) way[k] = middle[k] - s->axis_point[i][k];
        double along = ps_dot3(way, mean) / ps_dot3(s->axis_direction[i], mean);
        for (int k = 0; k < 3; k++) meets[i][k] = s->axis_point[i][k] + along * s->axis_direction[i][k];
    }
    for (int k = 0; k < 3; k++) apart[k] = meets[1][k] - meets[0][k];
    return ps_norm3(apart);
}

#endif
