/* combine.h: several estimates of one size into one, with what they share. Private to the room. */
#ifndef PINSPAN_FORMS_COMBINE_H
#define PINSPAN_FORMS_COMBINE_H

#include "forms/reading.h"

/* Independent causes of error. */
enum {
    PS_CAUSE_SCALE = 0, /* the print's scale, as far as the sizes of the side share it */
    PS_CAUSE_PHOTO,     /* the photo value's own */
    PS_CAUSE_PIN,       /* two: each pin's own, where a reading was turned into centres with it */
    PS_CAUSE_RISE = PS_CAUSE_PIN + PS_ROLE_COUNT,
    PS_CAUSE_TAPE, /* the tape's own error: one tape is taken to have done all readings */
    PS_CAUSE_CALIPERS,
    PS_CAUSE_READING, /* one a reading */
    PS_CAUSES = PS_CAUSE_READING + PS_FORMS_READINGS_MAX
};
enum { PS_ESTIMATES_MAX = PS_FORMS_READINGS_MAX + 1 };

typedef struct ps_estimate {
    double mm, by_mm[PS_CAUSES]; /* what one sd of each cause does to it */
} ps_estimate;

ps_estimate ps_estimate_photo(const ps_fact *fact);
/* `index`: of the reading in the job. False where it cannot be turned into the dimension. */
bool ps_estimate_reading(const ps_forms_reading *r, int index, const ps_side_facts *f, const ps_fact pin[PS_ROLE_COUNT], ps_estimate *e);
double ps_estimate_u(const ps_estimate *e);
double ps_estimate_u_difference(const ps_estimate *a, const ps_estimate *b);

/* The best linear unbiased estimate (least squares with the full covariance); `weight` may be NULL. False when count is not
 * 1 .. PS_ESTIMATES_MAX or the covariance is singular. */
bool ps_estimate_combine(const ps_estimate *e, int count, double *mm, double *u_mm, double *weight);

#endif
