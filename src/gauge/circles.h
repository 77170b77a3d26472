/* circles.h: what the circles of single photos say of where pins stand. Plain numbers in and out, no pixels. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_CIRCLES_H
#define PINSPAN_GAUGE_CIRCLES_H

#include "pinspan/measure.h"

/* Where a photo was taken from, over the world plane of its sheet. */
typedef struct ps_stand {
    double foot_mm[2], rise_mm;
} ps_stand;
ps_stand ps_stand_of(const ps_view *view);

/* How well the pins of a model are found among a photo's circles, in clear circles: 1 for each rim of the model that one of full
 * support lies on. The more is supposed, the more chance can explain. */
typedef struct ps_circles_fit {
    double here;  /* where the model has them */
    double moved; /* anywhere beside the sheet, in its plane: the sheet slipped or was taped anew */
    double held;  /* anywhere, each pin at a scale of its own: the sheet is nearer or farther, and tilts */
    int pins;     /* of the model: 0 to 2 */
} ps_circles_fit;
/* Where circles would have both pins, the sheet moved or held. */
typedef struct ps_circles_place {
    double at[2], scale, height_mm; /* of its axis at a height, seen there so many times as large as it is */
} ps_circles_place;
typedef struct ps_circles_guess {
    double sum; /* clear circles that lie there */
    ps_circles_place pin[PS_ROLE_COUNT];
} ps_circles_guess;
enum { PS_CIRCLES_GUESSES_OF_KIND = 6, PS_CIRCLES_GUESSES_MAX = 2 * PS_CIRCLES_GUESSES_OF_KIND };
typedef struct ps_circles_guesses {
    int count;
    ps_circles_guess guess[PS_CIRCLES_GUESSES_MAX];
} ps_circles_guesses;

/* `here` and `pins` alone, the rest 0. */
void ps_circles_here(const ps_rim_candidates *c, const ps_stand *s, const ps_pin_models *pins, ps_circles_fit *out);
/* guesses: the best few, each elsewhere, of two pins; none of one. May be NULL. */
void ps_circles_seek(const ps_rim_candidates *c, const ps_stand *s, const ps_pin_models *pins, ps_circles_fit *out,
                     ps_circles_guesses *guesses);

/* Whether some circle that shows plainly in both photos can be one and the same, at whatever height. *plain: both show such circles. */
bool ps_circles_meet(const ps_rim_candidates *a, const ps_stand *sa, const ps_rim_candidates *b, const ps_stand *sb, bool *plain);

/* Whether the photo shows nothing where the pins are. `usual`: what sound photos show there, clear circles. */
bool ps_circles_silent(const ps_circles_fit *f, double usual);
/* Whether it shows as many circles of two pins, wherever, as can be told from chance. */
bool ps_circles_legible(const ps_circles_fit *f, double usual);
/* What a photo has against pins that others agree on: PS_CODE_NO_PIN, it agrees; piece-moved, piece-held or other-scene; PS_CODE_COUNT,
 * nothing that can be told. `shows_pins`: of the photo read by itself; `meets`: it has a plain circle in common with one of the others. */
ps_code ps_circles_name(const ps_circles_fit *f, double usual, bool shows_pins, bool meets);

/* Which photos have a plain circle in common. */
typedef struct ps_meetings {
    int photos;
    bool plain[PS_ADJUST_PHOTOS_MAX], met[PS_ADJUST_PHOTOS_MAX][PS_ADJUST_PHOTOS_MAX]; /* met: both ways */
} ps_meetings;
typedef struct ps_meetings_verdict {
    int odd;     /* the one photo that meets none, while all others meet each other; -1: none */
    bool nobody; /* no two photos meet */
    bool joined; /* every photo meets another, and all hang together by that */
    bool parted; /* two parties of two photos or more: all meet within, none across */
} ps_meetings_verdict;
void ps_meetings_judge(const ps_meetings *m, ps_meetings_verdict *out);

#endif
