/* step.h: the error function and its bell from a table, for fits that need millions of them. Private to the library. */
#ifndef PINSPAN_BASE_STEP_H
#define PINSPAN_BASE_STEP_H

enum { PS_STEP_REACH = 4, PS_STEP_A_UNIT = 64, PS_STEP_NODES = 2 * PS_STEP_REACH * PS_STEP_A_UNIT + 1 };
#define PS_STEP_SLOPE 1.1283791670955126 /* 2/sqrt(pi): the slope of erf is this times the bell */

/* Nodes at -PS_STEP_REACH .. PS_STEP_REACH, 1/PS_STEP_A_UNIT apart. */
typedef struct ps_step_node {
    double erf, bell; /* erf(e), exp(-e^2) */
} ps_step_node;

/* The table, made on first use; any thread may ask. */
const ps_step_node *ps_step_table(void);

/* erf(e) and exp(-e^2), within 2e-9: cubic Hermite interpolation of values and slopes. Beyond 4, where both are within 2e-7 of them,
 * their limits. */
static inline void ps_step_at(const ps_step_node *table, double e, double *erf, double *bell) {
    if (!(e > -PS_STEP_REACH && e < PS_STEP_REACH)) {
        *erf = e > 0 ? 1 : -1;
        *bell = 0;
        return;
    }
    const double h = 1.0 / PS_STEP_A_UNIT;
    double at = (e + PS_STEP_REACH) * PS_STEP_A_UNIT;
    int i = (int)at;
    const ps_step_node *p = table + i, *q = p + 1;
    double t = at - i, u = 1 - t, x = i * h - PS_STEP_REACH;
    double a = u * u * (1 + 2 * t), b = t * t * (1 + 2 * u), c = h * t * u * u, d = -h * t * t * u;
    *erf = a * p->erf + b * q->erf + PS_STEP_SLOPE * (c * p->bell + d * q->bell);
    *bell = a * p->bell + b * q->bell - 2 * (c * x * p->bell + d * (x + h) * q->bell);
}

#endif
