/* verdict.h: conformity by probability, after JCGM 106. */
#ifndef PINSPAN_GAUGE_VERDICT_H
#define PINSPAN_GAUGE_VERDICT_H

#include <stdbool.h>

/* At most this may lie outside value +- T for 'good'. */
#define PS_GAUGE_RISK 0.01

/* Probability that the true value lies in [low, high], given the measured value and its u: normal, or Student's t with
 * `dof` where dof > 0. NaN when u is not positive. */
double ps_gauge_probability_within(double value, double u, double dof, double low, double high);

/* Probability outside value +- need; 1 when u or need is not a positive number. */
double ps_gauge_risk(double u, double need, double dof);

/* Degrees of freedom that a value from so many photos is worth; 0 stands for normal. */
double ps_gauge_photo_dof(int photos);

bool ps_gauge_within_need(double u, double need, double dof);

#endif
