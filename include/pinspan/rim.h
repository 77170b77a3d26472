/* rim.h: circular edges of pins and bushes: proposed per photo, given to pins over all photos, traced to sub-pixel.
 *
 * The stages know cameras and the world frame (the held piece's: x right, y down, z into the paper), and nothing of the
 * adjustment. Heights are measured along a pin's axis toward the viewer, 0 in the world plane z = 0. */
#ifndef PINSPAN_RIM_H
#define PINSPAN_RIM_H

#include "pinspan/base.h"
#include "pinspan/camera.h"
#include "pinspan/photo.h"

#ifdef __cplusplus
extern "C" {
#endif

/* A circle seen in the view squared up to the world plane: every circle parallel to that plane, at whatever height, is
 * a circle there (central projection between parallel planes is a similarity). */
typedef struct ps_rim_candidate {
    double x_mm, y_mm, radius_mm; /* in the world plane z = 0, as seen through the view */
    double support;               /* 0..1, share of the circumference with an edge of fitting direction */
    double contrast;              /* mean edge strength in linear light, relative to the local level */
    int polarity;                 /* +1 brighter outside, -1 brighter inside, 0 mixed */
} ps_rim_candidate;

typedef struct ps_rim_candidates {
    int count;
    ps_rim_candidate *item; /* best first */
} ps_rim_candidates;
PS_API void ps_rim_candidates_clear(ps_rim_candidates *c);

/* Region of the world plane covered by a printed piece, not to be searched: corners in order. */
typedef struct ps_rim_mask {
    double corner_mm[4][2];
} ps_rim_mask;

/* The middle of them all. */
PS_API void ps_rim_masks_middle(const ps_rim_mask *mask, int masks, double middle_mm[2]);

/* PS_NOT_FOUND when no circle is there. */
PS_API ps_status ps_rim_propose(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_rim_mask *mask, int masks,
                                ps_rim_candidates *out);
/* The same at twice the grain: thin cracks of rust and grooves vanish, and circles are placed less sharply. */
PS_API ps_status ps_rim_propose_coarsely(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_rim_mask *mask, int masks,
                                         ps_rim_candidates *out);

enum { PS_RIMS_PER_PIN = 8 };
typedef struct ps_pin_rim {
    ps_edge edge;
    ps_ear ear;
    double height_mm, radius_mm;
    double sigma_height_mm, sigma_radius_mm; /* how far the trace may look around */
    double faint;                            /* 0: as clear as the circle can be, 1: hardly there beside what else is on the axis */
} ps_pin_rim;

/* Worth of a reading in clear circles: under this a pin is doubted whatever else (docs/verdicts.md). Practice. */
#define PS_RIM_WORTH_LEAST 1.5

/* No bush's face stands farther out of what it stands in, ear plate or boss. Practice. */
#define PS_RIM_BUSH_STANDS_MOST_MM 16

/* How surely the rims of a pin were told apart; strengths count in clear circles, 1 is one that nobody would miss. */
typedef struct ps_pin_evidence {
    bool read;             /* false: the rims were not read about a settled axis, and nothing below is known */
    bool taper;            /* the end is longer than a chamfer */
    bool junction;         /* the bore's edge about the pin is seen in the plane of the bush's face */
    double worth;          /* of the reading: five clear circles in place are worth about five */
    double junction_clear; /* strength of that edge's circle */
    double over_bore_mm;   /* how far the pin's edge lies before the bore's, where that is seen */
    double pin_clear;      /* strength of the circle taken for the pin's edge */
    double bush_clear;     /* ... for the bush's */
    double pin_lead;       /* worth of the reading over the best one with another pin */
    double bush_lead;      /* ... with another bush */
    /* What the best reading with another pin (or bush) says otherwise, as a length: of the pin's radius, the bush's; of the stand-out the
     * larger of both readings; 0 where there is none */
    double pin_rival_mm, bush_rival_mm, proud_rival_mm;
    double beside_pin;  /* strength of the clearest circle in the air beside the pin, over the bush */
    double beyond_bush; /* ... outside the bush, above the plate */
    double over_face;   /* ... above the pin's end */
    double domed;       /* clear circles on the pin's end that a dome explains and a flat face does not; below 0 the other way round */
    double ring_mm; /* from the pin's edge in to the outer of two clear circles on its face, as where a pin lies in a bore: the edge may be
                     * a bush's (ps_rim_look_into_bush); 0: none */
    double face_clear; /* strength of the circle taken for the edge of the flat end; 0 where there is none */
    /* Widths of the chamfers of which one edge alone was read and the other found beside it later, so that the outer one may have points
     * that are not its own; 0: all of it was read, or it stands free */
    double pin_mixed_mm, bush_mixed_mm;
    int wall_sides; /* outlines of the wall that show, ps_rim_wall; 0 unless it was asked */
    double wall;    /* how well they agree with the pin's edge, 0..1 */
} ps_pin_evidence;

/* A pin as far as it is known: an axis with rims on it. */
typedef struct ps_pin_model {
    ps_role role;
    double axis_point_mm[3];  /* where the axis meets height 0 */
    double axis_direction[3]; /* unit, toward the viewer: (0,0,-1) for a pin square to the piece */
    int rim_count;
    ps_pin_rim rim[PS_RIMS_PER_PIN];
    ps_pin_evidence evidence;
    bool outward; /* a single boss: the faces of its two ends look away from each other, so that a photo shows one of them */
} ps_pin_model;

/* Index into the pin's rims, -1 none. */
PS_API int ps_rim_find(const ps_pin_model *pin, ps_edge edge, ps_ear ear);

/* A rim in the world. */
PS_API ps_circle3 ps_rim_circle(const ps_pin_model *pin, const ps_pin_rim *rim);

typedef struct ps_pin_models {
    int count; /* 0..2 */
    bool roles_unsure;
    ps_pin_model pin[PS_ROLE_COUNT];
    double rival_mm; /* by how much the distance of the axes is another where a look found another pair that explains as much; 0: none did.
                      * For whoever compares looks to set */
} ps_pin_models;

typedef enum ps_direction { PS_DIRECTION_NONE = 0, PS_DIRECTION_LEFT, PS_DIRECTION_RIGHT, PS_DIRECTION_UP, PS_DIRECTION_DOWN } ps_direction;

/* Finds the pins' axes and rims that explain all photos together. `lumas`, `views`, `candidates`: one per usable photo. `toward_dipper`:
 * world-plane direction that points toward the dipper pin (the pieces' +x); `dipper` overrules it, as seen in views[0]. `closely`: where no
 * pair of pins is found, axes close to those tried are tried too. PS_NOT_FOUND when
 * no pin explains them. */
PS_API ps_status ps_rim_assign(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views,
                               const ps_rim_candidates *candidates, const double toward_dipper[2], ps_direction dipper, bool closely,
                               ps_pin_models *out);

/* Of one pin alone, on which side of the sheets it stands is all that tells its role: the dipper's where that is toward the dipper pin.
 * `mask`: the sheets. The roles stay unsure. */
PS_API void ps_rim_place_alone(const ps_view *view, const ps_rim_mask *mask, int masks, const double toward_dipper[2], ps_direction dipper,
                               ps_pin_models *m);

/* Reads the rims of each pin again about the axes given (from an adjustment): sharper, so that neighbouring rims part.
 * Pins where nothing can be read keep their rims. */
PS_API ps_status ps_rim_reread(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, ps_pin_models *pins);

/* A pin whose edges may be those of a bush that stands in a boss: what lies in that bush's bore, flush or sunk, through settled cameras.
 * PS_OK: pin holds the bush's edges, and the end's or the bore's in it. PS_NOT_FOUND: its rims stay, and evidence.ring_mm where it is not
 * sure that they are a pin's. Of one photo nothing is asked, nor doubted. */
PS_API ps_status ps_rim_look_into_bush(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, ps_pin_model *pin);

/* Reads a pin as if for the first time, its model but for where it stands forgotten; the other pin tells how large it may be.
 * PS_NOT_FOUND: it stays as it was. */
PS_API ps_status ps_rim_look_near(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_pin_model *other,
                                  ps_pin_model *pin);

/* Looks for a pin that goes with the other one, m->pin[1 - pin], on all axes where circles meet: what was taken for it may be another body,
 * or it was not found (m->count is 1, and `pin` 1). The rest as for ps_rim_assign. PS_NOT_FOUND where none is worth so much: all stays as
 * it was. Roles are given anew, by which the pins may change places. */
PS_API ps_status ps_rim_look_elsewhere(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views,
                                       const ps_rim_candidates *candidates, const double toward_dipper[2], ps_direction dipper,
                                       double worth_least, int pin, ps_pin_models *m);

/* Asks the ends of a pin and its bush for the chamfer's other edge where the model has one of the two alone, and for the bush's outer edge
 * where that may be its wall's outline. The model comes with its axis and rims as solved, through cameras that rest; what is found is put
 * into it, as far as is known before it is traced, and an edge that was alone gets the right name. PS_NOT_FOUND: all stays as it is; so it
 * does with fewer than three photos. */
PS_API ps_status ps_rim_complete_chamfers(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views,
                                          ps_pin_model *pin);

enum { PS_RIM_SIDES_MAX = 80 };
typedef struct ps_pin_wall {
    int sides;        /* outlines of the wall that the photos show, at most two each; 0: it does not stand out, or is seen end-on */
    double agreement; /* 0..1: how clear a step all of them have where the pin's edge says that the wall ends */
} ps_pin_wall;
/* Whether the wall beside the bush is as wide as the edge taken for the pin's. The model is plain input: its axis, pin and bush-face rims
 * as solved. At most PS_RIM_SIDES_MAX outlines are looked at. */
PS_API ps_pin_wall ps_rim_wall(int photos, const ps_luma *const *lumas, const ps_view *views, const ps_pin_model *pin);

typedef struct ps_edge_point {
    double x_px, y_px; /* upright, linear-light edge position */
    double nx, ny;     /* unit, along the search normal, away from the circle's centre */
    double sigma_px;
    double theta;    /* place on the circle, ps_circle3_point's angle */
    double contrast; /* signed, outside minus inside, linear light */
} ps_edge_point;

typedef struct ps_rim_trace {
    int pin; /* index into the models' pin[] */
    int rim; /* index into that pin's rim[] */
    ps_edge edge;
    ps_ear ear;
    int point_count;
    ps_edge_point *point;
    ps_ellipse ellipse; /* best ellipse of the points, upright px */
    double arc;         /* share of the circumference seen, 0..1 */
    double rms_px;      /* points against the ellipse */
    double blur_px;
    bool odd; /* of another circle than the other photos show there: not to be used. Set by who compares the photos */
} ps_rim_trace;

typedef struct ps_rim_traces {
    int count;
    ps_rim_trace *trace;
} ps_rim_traces;
PS_API void ps_rim_traces_clear(ps_rim_traces *t);

/* Looks for the predicted rims in one photo and returns their edge points. The prediction is plain input. */
PS_API ps_status ps_rim_trace_photo(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins,
                                    ps_rim_traces *out);

/* How many places of the rims agree with an edge, stronger and nearer ones counting more: where they were predicted, give or take a pixel
 * or two, and where they agree most. */
typedef struct ps_rim_followed {
    double here, there;
} ps_rim_followed;

/* The same for predictions that may be off by some 15 px, the rims of one pin alike; a prediction that is right is confirmed. Of the pins,
 * by index, that are `wanted`; worth is by pin, too, and 0 of others. PS_NOT_FOUND as above. The search is our own. */
PS_API ps_status ps_rim_follow_photo(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins,
                                     const bool wanted[PS_ROLE_COUNT], ps_rim_traces *out, ps_rim_followed worth[PS_ROLE_COUNT]);

/* Geometric fits (orthogonal distance; Gander, Golub & Strebel 1994). x: n points. rms in the same units. PS_SINGULAR when degenerate. */
PS_API ps_status ps_circle_fit(ps_context *ctx, const double (*x)[2], int n, double centre[2], double *radius, double *rms);
PS_API ps_status ps_ellipse_fit(ps_context *ctx, const double (*x)[2], int n, ps_ellipse *e, double *rms);

#ifdef __cplusplus
}
#endif
#endif
