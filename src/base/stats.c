/* Order statistics and distributions. */
#include "base/stats.h"

#include <math.h>

/* Hoare's selection: afterwards x[k] is the k-th smallest, with nothing larger before it. */
static double select_kth(double *x, size_t n, size_t k) {
    size_t low = 0, high = n - 1;
    while (low < high) {
        double pivot = x[low + (high - low) / 2];
        size_t i = low, j = high;
        for (;;) {
            while (x[i] < pivot) i++;
            while (pivot < x[j]) j--;
            if (i >= j) break;
            double swap = x[i];
            x[i++] = x[j];
            x[j--] = swap;
        }
        /* x[low..j] <= pivot <= x[j+1..high]; j stays under `high` because the pivot is not the last element. */
        if (k <= j)
            high = j;
        else
            low = j + 1;
    }
    return x[k];
}

double ps_stats_median(double *x, size_t n) {
    if (n == 0) return NAN;
    /* NaN compares with nothing and would break the selection's bounds. */
    for (size_t i = 0; i < n; i++)
        if (isnan(x[i])) return NAN;
    double upper = select_kth(x, n, n / 2);
    if (n % 2) return upper;
    double lower = x[0];
    for (size_t i = 1; i < n / 2; i++) lower = fmax(lower, x[i]);
    return lower + (upper - lower) / 2;
}

double ps_stats_mad(double *x, size_t n, double centre) {
    for (size_t i = 0; i < n; i++) x[i] = fabs(x[i] - centre);
    return ps_stats_median(x, n);
}

double ps_normal_cdf(double z) {
    return erfc(-z / sqrt(2)) / 2;
}

double ps_normal_quantile(double p) {
    if (!(p >= 0 && p <= 1)) return NAN;
    if (p == 0 || p == 1) return p == 0 ? -HUGE_VAL : HUGE_VAL;
    double tail = p < 0.5 ? p : 1 - p, t = sqrt(-2 * log(tail));
    /* Start: Abramowitz & Stegun 26.2.22 (within 3e-3); then Halley's steps on erfc, which triple the digits. */
    double z = t - (2.30753 + 0.27061 * t) / (1 + t * (0.99229 + t * 0.04481));
    for (int step = 0; step < 4; step++) {
        double density = exp(-z * z / 2) / sqrt(2 * 3.14159265358979323846);
        double u = (erfc(z / sqrt(2)) / 2 - tail) / density; /* > 0: z is too small */
        if (!isfinite(u)) break;
        z += u / (1 - z * u / 2);
    }
    return p < 0.5 ? -z : z;
}

/* Modified Lentz evaluation needs a stand-in for 0. */
static double not_zero(double x) {
    return fabs(x) < 1e-300 ? 1e-300 : x;
}

enum { TERMS = 100000 }; /* convergence takes about sqrt(a) terms: this covers any dof that a photo set can have */
static const double rounding = 1e-16;

double ps_gamma_upper(double a, double x) {
    if (!(a > 0) || !(x >= 0)) return NAN;
    if (x == 0) return 1;
    if (isinf(x)) return 0;
    double factor = exp(a * log(x) - x - lgamma(a));
    if (x < a + 1) { /* series of the lower function, Abramowitz & Stegun 6.5.29 */
        double term = 1 / a, sum = term;
        for (int k = 1; k < TERMS && term > rounding * sum; k++) sum += term *= x / (a + k);
        return 1 - factor * sum;
    }
    /* continued fraction, Abramowitz & Stegun 6.5.31 in its even form */
    double b = x + 1 - a, c = 1e300, d = 1 / not_zero(b), h = d;
    for (int k = 1; k < TERMS; k++) {
        double an = -k * (k - a);
        b += 2;
        d = 1 / not_zero(an * d + b);
        c = not_zero(b + an / c);
        h *= c * d;
        if (fabs(c * d - 1) <= 4 * rounding) break;
    }
    return factor * h;
}

/* Continued fraction of the incomplete beta, Abramowitz & Stegun 26.5.8; good for x < (a + 1) / (a + b + 2). */
static double beta_fraction(double a, double b, double x) {
    double c = 1, d = 1 / not_zero(1 - (a + b) * x / (a + 1)), h = d;
    for (int k = 1; k < TERMS; k++) {
        double even = k * (b - k) * x / ((a + 2 * k - 1) * (a + 2 * k));
        d = 1 / not_zero(1 + even * d);
        c = not_zero(1 + even / c);
        h *= c * d;
        double odd = -(a + k) * (a + b + k) * x / ((a + 2 * k) * (a + 2 * k + 1));
        d = 1 / not_zero(1 + odd * d);
        c = not_zero(1 + odd / c);
        h *= c * d;
        if (fabs(c * d - 1) <= 4 * rounding) break;
    }
    return h;
}

double ps_beta_regularised(double a, double b, double x) {
    if (!(a > 0) || !(b > 0) || !(x >= 0 && x <= 1)) return NAN;
    if (x == 0 || x == 1) return x;
    double factor = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x));
    if (x < (a + 1) / (a + b + 2)) return factor * beta_fraction(a, b, x) / a;
    return 1 - factor * beta_fraction(b, a, 1 - x) / b;
}

double ps_chi2_tail(double chi2, double dof) {
    if (!(dof > 0) || isnan(chi2)) return NAN;
    return chi2 <= 0 ? 1 : ps_gamma_upper(dof / 2, chi2 / 2);
}

double ps_t_tail(double t, double dof) {
    if (!(dof > 0) || isnan(t)) return NAN;
    if (isinf(dof)) return ps_normal_cdf(-t);
    /* Of the two forms of I, the one whose argument is not next to 1 keeps the digits. */
    double half = ps_beta_regularised(dof / 2, 0.5, dof / (dof + t * t)) / 2;
    return t >= 0 ? half : 1 - half;
}

/* Bisection on a falling tail function: slow, and sure for every dof. */
static double value_of_tail(double (*tail_of)(double, double), double tail, double dof, double low, double high) {
    while (tail_of(high, dof) > tail && isfinite(high)) high *= 2;
    for (int i = 0; i < 200; i++) {
        double middle = low + (high - low) / 2;
        if (middle <= low || middle >= high) break;
        if (tail_of(middle, dof) > tail)
            low = middle;
        else
            high = middle;
    }
    return low + (high - low) / 2;
}

double ps_chi2_value(double tail, double dof) {
    if (!(tail > 0 && tail < 1) || !(dof > 0)) return NAN;
    return value_of_tail(ps_chi2_tail, tail, dof, 0, dof + 1);
}

double ps_t_value(double tail, double dof) {
    if (!(tail > 0 && tail < 1) || !(dof > 0)) return NAN;
    if (tail > 0.5) return -ps_t_value(1 - tail, dof);
    return tail == 0.5 ? 0 : value_of_tail(ps_t_tail, tail, dof, 0, 2);
}

/* The p-quantile of the beta distribution, by bisection. */
static double beta_value(double p, double a, double b) {
    double low = 0, high = 1;
    for (int i = 0; i < 200; i++) {
        double middle = low + (high - low) / 2;
        if (middle <= low || middle >= high) break;
        if (ps_beta_regularised(a, b, middle) < p)
            low = middle;
        else
            high = middle;
    }
    return low + (high - low) / 2;
}

static bool is_proportion(double k, double n, double level) {
    return n > 0 && isfinite(n) && k >= 0 && k <= n && level > 0 && level < 1;
}

bool ps_proportion_exact(double k, double n, double level, double *low, double *high) {
    if (!is_proportion(k, n, level)) return false;
    double tail = (1 - level) / 2;
    *low = k > 0 ? beta_value(tail, k, n - k + 1) : 0;
    *high = k < n ? beta_value(1 - tail, k + 1, n - k) : 1;
    return true;
}

bool ps_proportion_wilson(double k, double n, double level, double *low, double *high) {
    if (!is_proportion(k, n, level)) return false;
    double z = ps_normal_quantile(0.5 + level / 2), p = k / n, middle = (p + z * z / (2 * n)) / (1 + z * z / n);
    double half = z / (1 + z * z / n) * sqrt(p * (1 - p) / n + z * z / (4 * n * n));
    *low = k > 0 ? middle - half : 0;
    *high = k < n ? middle + half : 1;
    return true;
}
