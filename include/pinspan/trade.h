/* trade.h: names of the dimensions, needs, nominal sizes: data and look-ups. */
#ifndef PINSPAN_TRADE_H
#define PINSPAN_TRADE_H

#include "pinspan/base.h"
#include "pinspan/measure.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Writes "attachment.dipper.pin", "machine.centres", ... `role` is left out for centres. */
PS_API void ps_trade_name(ps_side side, ps_kind kind, int role, char name[40]);

/* Half-width (mm) within which a coupler's maker must know the size. Common practice, no source. 0 for an unknown kind. */
PS_API double ps_trade_need_mm(ps_kind kind, ps_coupler coupler);

/* How a size is usually taken by hand. */
PS_API ps_instrument ps_trade_instrument(ps_kind kind);

typedef enum ps_size_source {
    PS_SIZE_CLEVIS = 0, /* ISO 2340/2341, from memory */
    PS_SIZE_COMMON,     /* common metric pin sizes, common practice without a source */
    PS_SIZE_INCH        /* common inch pin sizes */
} ps_size_source;
typedef struct ps_size {
    const char *label; /* "65 mm", "2 3/4 in" */
    double size_mm;
    ps_size_source source;
} ps_size;
PS_API int ps_trade_size_count(void);
PS_API const ps_size *ps_trade_size(int i); /* ascending; NULL when out of range */

/* Nominal pin sizes that a measured diameter may stand for, likeliest first; those under 1 % are left out, so the
 * probabilities add up to less than 1: the rest is 'none of these'. The value itself is never changed.
 * A pin of nominal size N is taken to measure N - 0.1 mm with a standard deviation of 0.2 mm (an h11 shank lies up to
 * 0.19 mm below nominal, and a few tenths of wear or paint: common practice, no source). Returns how many were written;
 * 0 when value or u is not a positive number. */
PS_API int ps_trade_nominals(double diameter_mm, double u_mm, ps_nominal_match match[PS_NOMINALS_MAX]);

/* Lower limit deviation (mm, negative; the upper one is 0) of a shaft of ISO 286 class h6, h7, h9 or h11; NaN when the
 * size lies outside 30-120 mm or the class is unknown. A look-up for people: a photo cannot judge a fit. */
PS_API double ps_trade_shaft_limit_mm(double size_mm, const char *fit_class);

#ifdef __cplusplus
}
#endif
#endif
