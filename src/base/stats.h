/* stats.h: order statistics and the distributions that uncertainty statements need. Private to the library. */
#ifndef PINSPAN_BASE_STATS_H
#define PINSPAN_BASE_STATS_H

#include <stdbool.h>
#include <stddef.h>

/* Median of n >= 1 values; x is reordered. Of an even number: the mean of the middle two. NaN for n = 0. */
double ps_stats_median(double *x, size_t n);
/* Median of |x - centre|; x is overwritten. Times PS_MAD_TO_SD it estimates a normal distribution's sd. */
double ps_stats_mad(double *x, size_t n, double centre);
#define PS_MAD_TO_SD 1.4826022185056018 /* 1 / ps_normal_quantile(0.75) */

double ps_normal_cdf(double z);
double ps_normal_quantile(double p); /* -inf at 0, +inf at 1, NaN outside */

/* Regularised incomplete gamma Q(a, x) = Gamma(a, x) / Gamma(a), and incomplete beta I_x(a, b). NaN outside the domain. */
double ps_gamma_upper(double a, double x);
double ps_beta_regularised(double a, double b, double x);

/* Probability of exceeding the value; dof need not be whole. */
double ps_chi2_tail(double chi2, double dof);
double ps_t_tail(double t, double dof); /* one side */
/* The value that is exceeded with probability `tail`; NaN outside 0 < tail < 1 or dof <= 0. */
double ps_chi2_value(double tail, double dof);
double ps_t_value(double tail, double dof);

/* Two-sided interval at `level` (0.95) for a rate of which k of n were seen. k need not be whole: where n jobs hold several
 * values each, k may count shares of jobs. False, and the outputs unset, outside 0 <= k <= n, n > 0, 0 < level < 1.
 * Exact: Clopper & Pearson, Biometrika 26 (1934), never covers less than `level`. Wilson: JASA 22 (1927), covers it on average. */
bool ps_proportion_exact(double k, double n, double level, double *low, double *high);
bool ps_proportion_wilson(double k, double n, double level, double *low, double *high);

#endif
