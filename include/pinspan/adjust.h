/* adjust.h: one least-squares adjustment over all photos, pieces and rims, with covariance.
 *
 * World frame: the frame of the held piece (its pose is fixed). Everything else is unknown with a prior of its own:
 * print scale, camera groups, poses, pieces' poses and bends, axes, rims, edge shifts. See docs/model.md. */
#ifndef PINSPAN_ADJUST_H
#define PINSPAN_ADJUST_H

#include "pinspan/base.h"
#include "pinspan/camera.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---------- the general solver (also used by the fits and checked against NIST StRD) ---------- */

/* One residual row for the solver: r, its standard deviation is already divided out; derivative entries for a few
 * unknowns only. Called once per block of rows. */
typedef struct ps_lsq ps_lsq; /* opaque: sparse-row normal equations, Levenberg-Marquardt, robust weights */

/* Adds one row: residual (already divided by its sd), `n` unknown indices and derivatives d residual / d unknown.
 * `robust` rows get Huber/Cauchy weights, prior rows do not. */
typedef struct ps_lsq_row {
    double residual;
    int n;
    const int *index;
    const double *derivative;
    bool robust;
    double tail; /* 0: Gaussian; else Student-t degrees of freedom for a heavy tail */
} ps_lsq_row;
typedef void (*ps_lsq_emit)(void *sink, const ps_lsq_row *row);
/* The model: evaluates all rows at x (emit each row in a fixed order). Returns false when x is not admissible. */
typedef bool (*ps_lsq_model)(void *user, const double *x, bool want_derivatives, void *sink, ps_lsq_emit emit);

typedef struct ps_lsq_options {
    int max_iterations;    /* default 60 */
    double step_tolerance; /* relative to each unknown's scale, default 1e-9 */
    double huber;          /* robust threshold in sd, default 2.5; 0 = plain least squares */
    double damping;        /* at first, default 1e-3: a start far off; less where it is near */
} ps_lsq_options;
PS_API ps_lsq_options ps_lsq_options_default(void);

typedef struct ps_lsq_result {
    double chi2; /* weighted sum of squares at the solution */
    double cost; /* what was made least: the same with Huber's and Student's costs in place of weighted squares */
    int rows, unknowns, iterations;
    double *covariance; /* unknowns x unknowns, row-major, for unit variance of weight; owned by the result */
    double *weight;     /* robust weight of each row, emit order */
} ps_lsq_result;
PS_API void ps_lsq_result_clear(ps_lsq_result *r);
/* x: start in, solution out. PS_SINGULAR (message names the unknown's index), PS_NO_CONVERGENCE, PS_BAD_ARGUMENT (NaN). */
PS_API ps_status ps_lsq_solve(ps_context *ctx, int unknowns, double *x, ps_lsq_model model, void *user, const ps_lsq_options *options,
                              ps_lsq_result *result);

/* ---------- the measuring problem ---------- */

enum { PS_ADJUST_PHOTOS_MAX = 40, PS_ADJUST_PIECES_MAX = 16, PS_ADJUST_PINS_MAX = 4, PS_ADJUST_RIMS_MAX = 32 };

typedef struct ps_adjust_photo {
    int stored_width, stored_height, orientation;
    int group;     /* camera group, 0.. */
    ps_pose start; /* world to camera (stored frame) */
} ps_adjust_photo;

typedef struct ps_adjust_group {
    ps_lens start;          /* stored frame */
    double sigma_focal_rel; /* prior: 0.05 EXIF, 0.10 cropped or zoomed, 0.5 none */
    double focal_tail;      /* Student-t dof of that prior, 0 Gaussian; 3 for EXIF */
    double sigma_centre_px;
    double sigma_k1, sigma_k2, sigma_p, sigma_k3;
    double sigma_photo_focal_rel; /* per-photo change, 0.005 */
    double sigma_photo_centre_px; /* per-photo change, 10 px at 12 MP */
    /* A calibrated lens: one prior for all eight terms (order of PS_LENS_*, units of ps_lens) instead of the sigmas above;
     * focal_tail then holds for it. Must be positive definite. */
    bool joint;
    double joint_covariance[PS_LENS_COUNT * PS_LENS_COUNT];
    /* Where the search begins, when not at `start`: the lens of a solution that the photos' start poses come from. Poses and a lens
     * that do not go together can lead astray. No prior. */
    bool guessed;
    ps_lens guess;
} ps_adjust_group;

/* What one piece's print has of its own beside the job's: its scale is across (1 + the job's parts + its own). Pieces of one kit index
 * are one print and share it. */
typedef struct ps_adjust_line {
    double scale; /* start and prior mean, factor on nominal; 0: the job's */
    double sigma; /* prior sd of its own part (relative); 0: none */
    double tail;  /* Student-t dof of that prior, 0 Gaussian */
    bool guessed; /* no reading of the line is behind it; then without a tail */
} ps_adjust_line;
typedef struct ps_adjust_print {
    ps_adjust_line across, along;
} ps_adjust_print;

typedef struct ps_adjust_piece {
    int piece;         /* kit index */
    ps_pose start;     /* piece to world; ignored for the held one */
    double sigma_bend; /* prior sd of each coefficient of z = a x^2 + b xy + c y^2 about the piece's middle, 1/mm */
    /* A piece that lies in the plane of its start, wherever in it: prior sd of its tilt, and of its height there; 0: nothing known.
     * Ignored for the held one. */
    double sigma_tilt_rad, sigma_lift_mm;
    ps_adjust_print print;
} ps_adjust_piece;

/* Scale of the print: factor on nominal lengths. Across = x, along = y. What all pieces of a job have in common. */
typedef struct ps_adjust_scale {
    double across, along;             /* start and prior mean: measured / nominal */
    double sigma_across, sigma_along; /* prior sd (relative), 0.02 when unchecked */
    double sigma_common;              /* correlated part when unchecked, else 0 */
    double sigma_paper;               /* 0.0003, per piece */
} ps_adjust_scale;

typedef struct ps_adjust_corner {
    int photo, piece, index;     /* index: corner of the kit piece; piece: into pieces[] */
    double x_px, y_px, sigma_px; /* upright */
} ps_adjust_corner;

typedef struct ps_adjust_pin {
    double axis_point_mm[3], axis_direction[3]; /* start, world; direction toward the viewer */
    int piece;                                  /* the piece whose plane it is about square to; -1 none */
    double sigma_square;                        /* 2 deg, heavy tail */
} ps_adjust_pin;

typedef struct ps_adjust_rim {
    int pin;
    ps_edge edge;
    ps_ear ear;
    double height_mm, radius_mm; /* start */
    bool on_axis;                /* machined on the pin itself: coaxial; else own centre within its play */
    double sigma_play_mm;        /* 0.5, heavy tail; used when !on_axis */
    bool height_known;           /* stand-off: prior on height */
    double height_prior_mm, sigma_height_mm;
} ps_adjust_rim;

typedef struct ps_adjust_edge {
    int photo, rim;
    double x_px, y_px, sigma_px; /* upright */
} ps_adjust_edge;

typedef struct ps_adjust_solution ps_adjust_solution; /* opaque: unknowns, covariance, residuals */

typedef struct ps_adjust_problem {
    int photo_count, group_count, piece_count, corner_count, pin_count, rim_count, edge_count;
    const ps_adjust_photo *photo;
    const ps_adjust_group *group;
    const ps_adjust_piece *piece;
    const ps_adjust_corner *corner;
    const ps_adjust_pin *pin;
    const ps_adjust_rim *rim;
    const ps_adjust_edge *edge;
    int held_piece; /* into piece[]; its pose is fixed */
    ps_adjust_scale scale;
    double sigma_parallel;                              /* pins of a side, 0.2 deg in radians */
    double sigma_shift_common_px, sigma_shift_photo_px; /* the two parts of the edge shift, 0.15 each */
    double sigma_shift_side_px;                         /* of a rim's whole edge to one side in a photo, along x and y; 0: none */
    /* Out of round: radius + a cos 2t + b sin 2t, prior sd of a and b each, heavy tail; 0: a perfect circle. The first for
     * rims machined on the pin (on_axis), the second for all others. Diameters are of the mean radius. */
    double sigma_round_pin_mm, sigma_round_other_mm;
    bool bend, distortion; /* free those unknowns */
    /* Where the search begins, when not at the start values: the solution of a problem of the same photos, pieces and rims in the same
     * order, of which observations, priors or start values may differ; what does not start alike begins at its start. For solutions to
     * be compared: it ends within some thousandths of the uncertainty, the others within some ten thousandths. NULL: none. Not kept
     * beyond the call. */
    const ps_adjust_solution *from;
    /* The start values are those of a solution of nearly this problem: the search begins with hardly any damping. */
    bool near_start;
} ps_adjust_problem;

/* What start poses could be had. */
typedef struct ps_adjust_start {
    bool photo[PS_ADJUST_PHOTOS_MAX]; /* connected to the held piece, directly or through other pieces */
    bool piece[PS_ADJUST_PIECES_MAX];
    double rms_px[PS_ADJUST_PHOTOS_MAX]; /* corners of a connected photo against the start values */
} ps_adjust_start;

/* Start values from the corners alone: poses of photos and pieces in the held piece's frame, and the focal length of
 * groups whose prior leaves it free (sigma_focal_rel over 0.2). Of `problem` it reads photos' sizes and groups, the
 * groups' lenses, pieces, scale and corners. Writes `start` of photo[] and piece[] where connected and
 * group[].start.f_px where free; these may be the very arrays of the problem. Both poses of a plane are tried and
 * compared over all photos. PS_NOT_FOUND when no photo shows the held piece; photos and pieces that do not connect are
 * flagged in `found`, and the caller leaves them out of the adjustment. */
PS_API ps_status ps_adjust_start_poses(ps_context *ctx, const ps_adjust_problem *problem, ps_adjust_photo *photo, ps_adjust_group *group,
                                       ps_adjust_piece *piece, ps_adjust_start *found);

PS_API ps_status ps_adjust_solve(ps_context *ctx, const ps_adjust_problem *problem, ps_adjust_solution **solution);
PS_API void ps_adjust_solution_free(ps_adjust_solution *s);

PS_API void ps_adjust_view(const ps_adjust_solution *s, int photo, ps_view *view); /* world to upright photo */
/* The lens of a group without its photos' own changes, and its covariance (PS_LENS_COUNT squared, order of PS_LENS_*), scatter of
 * the corners beyond their sd included. Terms that were held have rows and columns of 0. */
PS_API ps_status ps_adjust_lens(ps_context *ctx, const ps_adjust_solution *s, int group, ps_lens *lens, double *covariance);
PS_API void ps_adjust_piece_pose(const ps_adjust_solution *s, int piece, ps_pose *pose);
/* Of the held piece; of any. Without what paper does. */
PS_API void ps_adjust_scale_solved(const ps_adjust_solution *s, double *across, double *along);
PS_API void ps_adjust_piece_scale(const ps_adjust_solution *s, int piece, double *across, double *along);
PS_API void ps_adjust_axis(const ps_adjust_solution *s, int pin, double point_mm[3], double direction[3]);
PS_API void ps_adjust_circle(const ps_adjust_solution *s, int rim, ps_circle3 *circle, double *height_mm);
/* Weighted sum of squares of corners and edge points, and their redundancy: rows less what the fit took of them (priors
 * take part in the fit and are not counted). About 1 each when their sd are right; the robust weights take off 1 %. */
PS_API void ps_adjust_fit(const ps_adjust_solution *s, double *chi2, int *dof);
/* What the adjustment made least, priors in: minus twice the logarithm of how likely all is, but for a constant. So solutions of the same
 * observations with something else supposed are compared. */
PS_API double ps_adjust_cost(const ps_adjust_solution *s);
PS_API double ps_adjust_corner_residual(const ps_adjust_solution *s, int corner, int axis);   /* px */
PS_API double ps_adjust_edge_residual(const ps_adjust_solution *s, int edge, double *weight); /* px, along the normal */
PS_API double ps_adjust_corner_rms(const ps_adjust_solution *s, int photo, int piece);

/* ---------- does something speak against the rest? ---------- */

/* A group of observations: the corners of one piece in one photo, or all edge points of one photo. */
typedef struct ps_group_test {
    int rows;      /* 0: no such group */
    double misfit; /* mean square of its residuals over their sd, robust weights in */
    /* Score statistic of 'in this photo these stood elsewhere than in the others, by a rigid motion': about chi-square with at
     * most 6 degrees of freedom where nothing moved, times how much all residuals scatter. (Rao 1948; Baarda 1968 for groups.) */
    double chi2;
    double mean_mm[3]; /* middle of what the group shows, world */
    /* Corners alone: the same of 'in this photo the piece was bent otherwise', with at most 3 degrees of freedom, and how far the worst
     * corner would stand from where the others have it. */
    double bend_chi2, bend_mm;
    /* At piece = piece_count, of all rows of the photo, also where it has no edge points: 'the photo was stretched along its stored x',
     * 1 degree of freedom, and by what factor less 1. */
    double aspect_chi2, aspect;
} ps_group_test;

/* Of every group: test[photo * (piece_count + 1) + piece], the edge points at piece = piece_count; room for all. */
PS_API ps_status ps_adjust_test_groups(ps_context *ctx, const ps_adjust_solution *s, ps_group_test *test);

/* The motion that brings one group where its photo shows it, all else as solved. PS_NOT_FOUND without such a group. */
typedef struct ps_group_motion {
    double move_mm, turn_rad; /* of the group's middle; of the group */
    double misfit;            /* what is left after it */
} ps_group_motion;
PS_API ps_status ps_adjust_fit_motion(ps_context *ctx, const ps_adjust_solution *s, int photo, int piece, ps_group_motion *motion);

/* Of one rim: how far its edges in the photos lie beside the circle common to all, in terms of what the priors on such shifts let expect.
 */
typedef struct ps_rim_agreement {
    double chi2, dof; /* about chi-square with so many degrees of freedom where all photos show one circle */
    int photo;        /* the one that adds most; -1 none */
    int photos;       /* that show the rim */
} ps_rim_agreement;
PS_API void ps_adjust_rim_agreement(const ps_adjust_solution *s, int rim, ps_rim_agreement *out);

/* Change of a focal length, ln(solved / start): of a group (photo -1) or of one photo beside its group. `u`: its uncertainty at
 * the solution; `pull`: the change over what its prior and the rest let expect (sd of prior less posterior variance), 0 where
 * the rest says nothing of it. */
PS_API void ps_adjust_focal_change(const ps_adjust_solution *s, int group, int photo, double *change, double *u, double *pull);
/* How likely bend terms as far from their priors are, of a piece that lies as the priors have it; 1 without bend. */
PS_API double ps_adjust_bend_chance(const ps_adjust_solution *s, int piece);

/* ---------- dimensions from the solution ---------- */

typedef enum ps_source { /* of uncertainty */
                         PS_SOURCE_PRINT_SCALE = 0,
                         PS_SOURCE_PAPER,
                         PS_SOURCE_PLANE,
                         PS_SOURCE_CAMERA,
                         PS_SOURCE_CORNERS,
                         PS_SOURCE_EDGES,
                         PS_SOURCE_EDGE_SHIFT,
                         PS_SOURCE_FLATNESS,
                         PS_SOURCE_AXES,
                         PS_SOURCE_COUNT
} ps_source;
PS_API const char *ps_source_word(ps_source source); /* "print-scale", ... */

typedef struct ps_quantity {
    double value_mm, u_mm;
    double source_mm[PS_SOURCE_COUNT]; /* u by source; squares add up to u^2 */
    double unread_mm; /* of the print's scale: what rests on pieces whose check lines were not read beside others that were */
} ps_quantity;

PS_API ps_status ps_adjust_diameter(ps_context *ctx, const ps_adjust_solution *s, int rim, ps_quantity *q);
/* A rim's longest and shortest diameter, and their difference with its uncertainty. Within its u the difference is noise: it is a
 * length in the plane of the two terms, never negative, and even a true circle's is mostly above 0. */
typedef struct ps_oval {
    double long_mm, short_mm;
    ps_quantity difference;
} ps_oval;
/* PS_NOT_FOUND, without a message, where the rim was held round. */
PS_API ps_status ps_adjust_oval(ps_context *ctx, const ps_adjust_solution *s, int rim, ps_oval *oval);
/* Distance of two axes in the plane through the middle of points at the given heights, square to the mean direction. */
PS_API ps_status ps_adjust_centres(ps_context *ctx, const ps_adjust_solution *s, int pin_a, double height_a, int pin_b, double height_b,
                                   ps_quantity *q);
/* Difference of heights of two rims of one pin (first minus second). */
PS_API ps_status ps_adjust_height_difference(ps_context *ctx, const ps_adjust_solution *s, int rim_a, int rim_b, ps_quantity *q);

/* ---------- the same by Monte Carlo (JCGM 101) ---------- */

typedef enum ps_ask_what { PS_ASK_DIAMETER = 0, PS_ASK_CENTRES, PS_ASK_HEIGHT_DIFFERENCE } ps_ask_what;
typedef struct ps_ask {
    ps_ask_what what;
    int a, b;                  /* rims; of centres: pins. A diameter leaves b alone */
    double height_a, height_b; /* of centres only */
} ps_ask;

typedef struct ps_monte_carlo {
    int samples, failed;    /* that settled, that did not */
    double mean_mm, u_mm;   /* mean and sd of the samples */
    double low_mm, high_mm; /* 95 % interval with 2.5 % on either side */
} ps_monte_carlo;

/* Draws all observations and priors anew about the solution, `samples` times (2 to a million; each takes a good part of a
 * solution's time), solves each and gathers the asked quantities into out[asks]. Depends on `seed` and nothing else: the same
 * bytes for any number of threads. PS_BAD_ARGUMENT, PS_NO_MEMORY; PS_NO_CONVERGENCE when fewer than two samples settle. */
PS_API ps_status ps_adjust_monte_carlo(ps_context *ctx, const ps_adjust_solution *s, int samples, uint64_t seed, int threads,
                                       const ps_ask *ask, int asks, ps_monte_carlo *out);

#ifdef __cplusplus
}
#endif
#endif
