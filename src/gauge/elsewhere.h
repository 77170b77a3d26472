/* elsewhere.h: whether a photo shows the very pins of a model, to the pixel, beside a sheet that may lie elsewhere in it. What circles tell
 * coarsely (circles.h) is where to look. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_ELSEWHERE_H
#define PINSPAN_GAUGE_ELSEWHERE_H

#include "gauge/circles.h"

/* How plainly each pin of a model shows: the share, 0..1, of the circumference of its rims that has an edge within a pixel of them. */
typedef struct ps_pins_shown {
    double share[PS_ROLE_COUNT];
} ps_pins_shown;

/* Where a view has them. PS_OK too where nothing shows; fails out of memory. */
ps_status ps_pins_show(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins, ps_pins_shown *out);

/* Where a photo shows the pins beside its sheet: what carries them from their place in the model there. Rigid; lengths in mm. */
typedef struct ps_elsewhere {
    bool pin[PS_ROLE_COUNT]; /* looked for */
    bool found;              /* false: nowhere; the rest is of the best place all the same */
    bool one_is_here;        /* not both were found, but one by itself where it should be */
    double shown;            /* least share of a pin that was looked for above chance, of what sound photos show of it above chance */
    double tilt_rad;         /* of the sheet against the model's plane */
    double behind_mm;        /* how far the pins stand behind where the sheet has them: the one that does least; below 0: before it */
    double off_plane_mm;     /* the most that one stands behind or before it */
    double shift_mm;         /* along the plane, the most of a pin */
    double usual_tilt_rad, usual_off_plane_mm, usual_shift_mm; /* the most of sound photos, looked at likewise; 0: none was */
} ps_elsewhere;

/* Looks where the model has them, and from each of the guesses. `view`: of the photo by its sheet; `usual`: what sound photos show of the
 * pins. A pin of which these show little is not known well enough to be looked for. PS_OK whatever is found; fails out of memory. */
ps_status ps_elsewhere_seek(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_pin_models *pins,
                            const ps_pins_shown *usual, const ps_circles_guesses *guesses, ps_elsewhere *out);

/* Takes note of where a sound photo has the pins. */
void ps_elsewhere_compare(ps_elsewhere *e, const ps_elsewhere *sound);

/* The name of that: PS_CODE_NO_PIN, the pins are in place; piece-moved; piece-held; other-scene: they are nowhere. PS_CODE_COUNT: too
 * little is known of the pins to tell. */
ps_code ps_elsewhere_name(const ps_elsewhere *e);

/* What the photo has against pins that others agree on, where its circles have been asked (ps_circles_name): as there. `legible`: the photo
 * shows two pins by itself, or circles enough for two: one may be any. */
ps_code ps_elsewhere_judge(const ps_elsewhere *e, ps_code by_circles, bool legible);

#endif
