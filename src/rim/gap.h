/* gap.h: finding the inward bush faces of a pair of ears in photos that look down between them. Private to the rim room.
 *
 * The printed piece lies on the cross plate, so the pins run along the world plane (z = 0) or nearly so. Places are given
 * in a frame of the pins: s along the plate from pin to pin, h up from the plate, t along the pins. */
#ifndef PINSPAN_RIM_GAP_H
#define PINSPAN_RIM_GAP_H

#include "pinspan/gap.h"

/* Gradients of a photo, shrunk by a whole number; of the square root of linear light. */
typedef struct ps_gap_image {
    int width, height, shrink;
    float full;     /* a gradient that counts as a full edge */
    float *gx, *gy; /* owned */
} ps_gap_image;

/* `side`: what the longer side is shrunk to at most. */
ps_status ps_gap_image_make(ps_context *ctx, const ps_luma *luma, int side, ps_gap_image *out);
void ps_gap_image_clear(ps_gap_image *image);

/* Takes out what the photo shows within the masks: printed squares have edges of every direction. */
void ps_gap_image_blank(ps_gap_image *image, const ps_view *view, const ps_rim_mask *mask, int masks);

/* An edge element: place in the photo (upright px) and unit tangent. */
typedef struct ps_gap_edgel {
    double x, y, tx, ty;
} ps_gap_edgel;

/* Edge elements outside the masks; `room` at most. */
int ps_gap_edgels(const ps_gap_image *image, const ps_view *view, const ps_rim_mask *mask, int masks, ps_gap_edgel *out, int room);

typedef struct ps_gap_frame {
    double turn, lean;          /* of the pins: about the plate's normal from +y, and out of the plate */
    double e1[3], e2[3], e3[3]; /* s, h, t */
} ps_gap_frame;
void ps_gap_frame_set(ps_gap_frame *frame, double turn, double lean);

/* Turn of the pins from straight edges alone: those along the pins and those square to them, whatever their height above the
 * plate. PS_NOT_FOUND when no direction stands out. */
ps_status ps_gap_direction(ps_context *ctx, int photos, const ps_view *views, const ps_gap_edgel *const *edgels, const int *counts,
                           double *turn);

/* A circle about an axis, on the inward side of an ear: 0 at lower t, 1 at higher. */
typedef struct ps_gap_circle {
    int ear;
    double t, r, support, over; /* over: what it stands out by */
} ps_gap_circle;

/* How much a circle says: a large one gathers more of the photos, and less by chance. */
static inline double ps_gap_weight(const ps_gap_circle *c) {
    return c->over > 0 ? c->over * c->support * c->r / 40 : 0;
}

enum { PS_GAP_CIRCLES_MAX = 16 };
typedef struct ps_gap_axis {
    double s, h;
    double face[2]; /* about where either ear's circles are, along t */
    double value;
    int count;
    ps_gap_circle circle[PS_GAP_CIRCLES_MAX];
} ps_gap_axis;

/* Faces lie nearer to the piece, along the pins, than ALONG_MAX; a camera is at least CLEAR in front of a face. */
enum { PS_GAP_GUESSES_A_PHOTO = 144, PS_GAP_RADIUS_MAX_MM = 95, PS_GAP_ALONG_MAX_MM = 450, PS_GAP_CLEAR_MM = 15 };
/* A circle of an ear that may be a bush's, and where on its axis. */
typedef struct ps_gap_guess {
    double s, h, t[2], r, value; /* t: by ear */
    int ear;                     /* that it comes from */
} ps_gap_guess;

/* What is looked at, and for what. */
typedef struct ps_gap_scene {
    int photos;
    const ps_gap_image *images;
    const ps_view *views;
    bool over; /* a single boss: its faces look outward, the one that looks along t lies at higher t, and two photos must show either */
} ps_gap_scene;

/* The largest circle about an axis: between ears it stands on the cross plate. */
static inline double ps_gap_widest(const ps_gap_scene *scene, double h) {
    double most = scene->over ? PS_GAP_RADIUS_MAX_MM : 90;
    return scene->over || most < h ? most : h;
}

/* The way into which an ear's face looks along t. Over a boss ear 0 is its end at higher t, so that this holds there too, and what is
 * 'inward' below is the way out of the boss. */
static inline int ps_gap_inward(int ear) {
    return ear ? -1 : 1;
}

/* Share of a circle's circumference that shows as an edge in one photo, 0..1; NAN where it is not in view. `inward`: +1 or -1, the
 * direction along t into which the face looks. */
double ps_gap_support(const ps_gap_image *image, const ps_view *view, const ps_gap_frame *frame, double s, double h, double t, double r,
                      int inward, int sectors);
/* Geometric mean over the photos that see it; their number in `seen` where not NULL. */
double ps_gap_joint(const ps_gap_scene *scene, const ps_gap_frame *frame, double s, double h, int ear, double t, double r, int sectors,
                    int *seen);

/* Camera centre in the frame. */
void ps_gap_station(const ps_view *view, const ps_gap_frame *frame, double at[3]);

/* The part of the section of one ear that is looked at. */
typedef struct ps_gap_window {
    double t0, t1, t_step, r0, r1, r_step;
} ps_gap_window;

/* How much stands out in the section of one ear about an axis. */
double ps_gap_sharpness(const ps_gap_scene *scene, const ps_gap_frame *frame, double s, double h, int ear, const ps_gap_window *window);
/* The spots of the section of one ear, best first, `most` at most. Returns their number. */
int ps_gap_spots(const ps_gap_scene *scene, const ps_gap_frame *frame, double s, double h, int ear, const ps_gap_window *window,
                 double least, ps_gap_circle *out, int most);
/* The frame turned, and the axes with it about the middle between their ears. */
void ps_gap_turn(ps_gap_frame *frame, double turn, double lean, ps_gap_axis *axes, int count);
/* Axes, circles and frame improved on all circles together; `size`: first step, mm. Returns the sum of their support. */
double ps_gap_improve(const ps_gap_scene *scene, ps_gap_frame *frame, ps_gap_axis *axes, int count, double size, double finest);

/* Circles of an ear's bush by name: face and bore bound the flat face, outer lies at its chamfer's foot. */
typedef struct ps_gap_bush {
    bool has_face, has_bore, has_outer;
    ps_gap_circle face, bore, outer;
    double value;
} ps_gap_bush;
enum { PS_GAP_SPOTS_MAX = 16 };
/* Both ears of a pin together, since their bushes are alike. `flat_mm`: how well circles of one plane agree along the axis. `over`: the
 * ends of a boss, where a pin's end may stand out of the bush and the bush stands out of the boss. */
void ps_gap_name(const ps_gap_circle *const circle[2], const int count[2], double flat_mm, bool over, ps_gap_bush out[2]);

/* Circles that single photos show, moved along the pins to where the others show them too. `out`: room for PS_GAP_GUESSES_A_PHOTO of each
 * photo. Their t of the other ear is open. */
ps_status ps_gap_guesses(ps_context *ctx, const ps_gap_scene *scene, const ps_gap_edgel *const *edgels, const int *counts,
                         const ps_gap_frame *frame, ps_gap_guess *out, int *count);
/* Guesses in order of their value, those close to a better one left out. Returns how many are kept, `most` at most. */
int ps_gap_thin_out(ps_gap_guess *guess, int count, double apart_mm, int most);
/* Axes read and improved in turns, and their value: how clear the poorer ear is. */
void ps_gap_settle(const ps_gap_scene *rough, const ps_gap_scene *scene, ps_gap_frame *frame, ps_gap_axis *axes, int count);
void ps_gap_try_around(const ps_gap_scene *rough, const ps_gap_scene *scene, ps_gap_frame *frame, ps_gap_axis *axis);
void ps_gap_face_places(ps_gap_axis *axis);

/* The axis of a single boss, as ps_gap_axes gives those between ears. */
ps_status ps_gap_boss_axis(ps_context *ctx, const ps_gap_scene *rough, const ps_gap_scene *scene, const ps_gap_edgel *const *edgels,
                           const int *counts, ps_gap_frame *frame, ps_gap_axis *out, int *found);

/* Axes with circles on both ears, best first, at most two; the frame is improved. `rough`: the same photos at half the size. */
ps_status ps_gap_axes(ps_context *ctx, const ps_gap_scene *rough, const ps_gap_scene *scene, const ps_gap_edgel *const *edgels,
                      const int *counts, ps_gap_frame *frame, ps_gap_axis out[2], int *found);

#endif
