/* model.h: the measuring problem as unknowns and rows; private to the room. docs/model.md says what and why.
 *
 * Every unknown is an increment on its start value, so that x = 0 is the start. An index of -1 means 'held'. */
#ifndef PINSPAN_ADJUST_MODEL_H
#define PINSPAN_ADJUST_MODEL_H

#include "pinspan/adjust.h"

enum { ADJUST_LENS_TERMS = 5 }; /* k1 k2 p1 p2 k3 */
enum { ADJUST_BEND_TERMS = 7 }; /* x2 xy y2, x3 x2y xy2 y3 */

/* Where each unknown stands in x. */
typedef struct adjust_layout {
    int count;
    int group_focal[PS_ADJUST_PHOTOS_MAX], group_centre[PS_ADJUST_PHOTOS_MAX], group_term[PS_ADJUST_PHOTOS_MAX][ADJUST_LENS_TERMS];
    int photo_pose[PS_ADJUST_PHOTOS_MAX], photo_focal[PS_ADJUST_PHOTOS_MAX], photo_centre[PS_ADJUST_PHOTOS_MAX];
    int scale_across, scale_along, scale_common;
    int own_across[PS_ADJUST_PIECES_MAX], own_along[PS_ADJUST_PIECES_MAX]; /* of a piece's print beside the job's */
    int paper[PS_ADJUST_PIECES_MAX], piece_pose[PS_ADJUST_PIECES_MAX], bend[PS_ADJUST_PIECES_MAX];
    int axis[PS_ADJUST_PINS_MAX]; /* 2 offsets in the world plane, 2 tilts */
    int height[PS_ADJUST_RIMS_MAX], radius[PS_ADJUST_RIMS_MAX], lateral[PS_ADJUST_RIMS_MAX], shift_common[PS_ADJUST_RIMS_MAX];
    int round[PS_ADJUST_RIMS_MAX]; /* 2: out of round, cos and sin of twice the angle */
    int shift_photo[PS_ADJUST_RIMS_MAX][PS_ADJUST_PHOTOS_MAX];
    int shift_side[PS_ADJUST_RIMS_MAX][PS_ADJUST_PHOTOS_MAX]; /* x, y */
} adjust_layout;

/* A prior on one unknown: (x - mean) / sigma; of one that grows with a rim, sigma in proportion to its radius over the start's. */
typedef struct adjust_prior {
    int index;
    double mean, sigma, tail;
    ps_source source;
    bool grows;  /* with the rim below */
    bool unread; /* a guess at a print whose check line nobody read */
    int rim;
} adjust_prior;

/* A rigid motion with what its derivative needs: y = R X; d(y)/dw . m = Jl' (y x m). */
typedef struct adjust_frame {
    double R[9], t[3], Jl[9];
} adjust_frame;

typedef struct adjust_axis {
    double point[3], direction[3]; /* at height 0; unit */
    double tilt[2][3];             /* d direction / d tilt */
} adjust_axis;

typedef struct adjust_circle {
    double centre[3], normal[3], u[3], v[3], radius;
    double lateral[2][3]; /* d centre / d lateral offset */
    double tilt[2][3];    /* d centre / d tilt, the turn of the circle itself left out */
    double oval[2];       /* radius + oval[0] cos 2t + oval[1] sin 2t */
    double twist[2];      /* turn of u and v about the normal by tilt: it carries an oval along */
} adjust_circle;

typedef struct adjust_model {
    ps_adjust_problem problem; /* arrays owned by the model */
    adjust_layout layout;
    double joint_root[PS_ADJUST_PHOTOS_MAX][PS_LENS_COUNT * PS_LENS_COUNT]; /* inverse Cholesky factor, on the unknowns */
    adjust_prior *prior;
    int prior_count;
    /* Fixed for the whole solution. */
    double (*corner_mm)[2], (*corner_bend)[ADJUST_BEND_TERMS], (*corner_stored)[2], (*edge_stored)[2];
    double pin_start[PS_ADJUST_PINS_MAX][3], pin_direction[PS_ADJUST_PINS_MAX][3], pin_u[PS_ADJUST_PINS_MAX][3],
        pin_v[PS_ADJUST_PINS_MAX][3];
    bool pin_lying[PS_ADJUST_PINS_MAX];          /* along the world plane rather than across it */
    double pin_offset[PS_ADJUST_PINS_MAX][2][3]; /* ways of an axis' two offsets: in the world plane; of a lying pin square to it */
    /* State at the x looked at last. */
    ps_lens lens[PS_ADJUST_PHOTOS_MAX];
    adjust_frame photo[PS_ADJUST_PHOTOS_MAX], piece[PS_ADJUST_PIECES_MAX];
    double across[PS_ADJUST_PIECES_MAX], along[PS_ADJUST_PIECES_MAX], paper[PS_ADJUST_PIECES_MAX],
        bend[PS_ADJUST_PIECES_MAX][ADJUST_BEND_TERMS];
    adjust_axis axis[PS_ADJUST_PINS_MAX];
    adjust_circle circle[PS_ADJUST_RIMS_MAX];
    double height[PS_ADJUST_RIMS_MAX];
    double *edge_theta; /* each edge point's foot on its circle; NAN before the first look */
    ps_source source;   /* of the row being emitted */
} adjust_model;

/* Copies and checks the problem, numbers the unknowns, lays down the priors. The model is cleared on failure. */
ps_status adjust_model_new(ps_context *ctx, const ps_adjust_problem *problem, adjust_model *model);
void adjust_model_clear(adjust_model *model);

/* Numbers the unknowns and fills model->prior. */
ps_status adjust_layout_make(ps_context *ctx, adjust_model *model);

/* Where a group's lens terms stand in x, order of PS_LENS_*; -1 for one that is held. */
void adjust_layout_lens(const adjust_model *model, int group, int index[PS_LENS_COUNT]);

/* Where a piece's scale starts, factor on nominal. */
double adjust_across_start(const ps_adjust_problem *p, int piece);
double adjust_along_start(const ps_adjust_problem *p, int piece);

/* Root of the sum of squares of what `spread` (covariance times a gradient) takes from guesses at prints that nobody read. */
double adjust_unread(const adjust_model *m, const double *spread);

/* Moves the state to x. False when a radius, a focal length or a scale is not above 0. */
bool adjust_state_set(adjust_model *model, const double *x);

/* Forgets what rows keep from state to state to be found faster: each edge point's foot. */
void adjust_state_forget(adjust_model *model);

/* All rows at x, in fixed order: corners (x, y each), edges, priors, squareness, parallelism. A ps_lsq_model. */
bool adjust_rows(void *user, const double *x, bool want_derivatives, void *sink, ps_lsq_emit emit);

/* Takes over from a solution what both start alike. x: the unknowns of `to`. */
void adjust_carry(const ps_adjust_solution *from, const adjust_model *to, double *x);

/* Iterations and tolerance of an adjustment. */
ps_lsq_options adjust_options(void);

/* Distance of the axes in the plane through the middle of two points on them, square to their mean direction; `move`: 4
 * increments of each axis, added to the state. */
double adjust_centres(const adjust_model *m, const int pin[2], const double height[2], const double move[8]);

/* What an asked quantity depends on: the derivatives by the few unknowns that it is made of, at the solution. */
enum { ADJUST_GRADIENT_MAX = 8 };
typedef struct adjust_gradient {
    int n, index[ADJUST_GRADIENT_MAX];
    double value[ADJUST_GRADIENT_MAX];
} adjust_gradient;
ps_status adjust_gradient_of(ps_context *ctx, const ps_adjust_solution *s, const ps_ask *ask, double *value_mm, adjust_gradient *g);

/* Mean, sd and the interval between two ranks (JCGM 101, 7.6 and 7.7.2, 2.5 % on either side) of n samples, which are sorted. */
void adjust_summarise(double *value, int n, ps_monte_carlo *out);

struct ps_adjust_solution {
    adjust_model model;
    double *x, *covariance;
    double *information;               /* PS_SOURCE_COUNT blocks of J' W J, n x n each */
    double inflation[PS_SOURCE_COUNT]; /* variance factor of each source, 1 where the fit agrees with it */
    double *weight;                    /* of every row, in their order */
    double (*corner_residual)[2];      /* px, upright */
    double *edge_residual, *edge_weight;
    double chi2, cost;
    int dof;
};

#endif
