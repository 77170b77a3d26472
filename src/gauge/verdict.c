/* Conformity by probability, after JCGM 106:2012 (7 and 8): value and u to the probability that the truth is inside. */
#include "gauge/verdict.h"
#include "base/stats.h"

#include <math.h>

/* Upper tail, so that small probabilities keep their digits. */
static double tail(double z, double dof) {
    return dof > 0 ? ps_t_tail(z, dof) : ps_normal_cdf(-z);
}

double ps_gauge_probability_within(double value, double u, double dof, double low, double high) {
    if (!(u > 0) || !isfinite(u) || isnan(value)) return NAN;
    if (!(low < high)) return 0;
    double below = isinf(low) ? 0 : tail((value - low) / u, dof), above = isinf(high) ? 0 : tail((high - value) / u, dof);
    return 1 - below - above;
}

double ps_gauge_risk(double u, double need, double dof) {
    if (!(u > 0) || !isfinite(u) || !(need > 0)) return 1;
    return 2 * tail(need / u, dof);
}

double ps_gauge_photo_dof(int photos) {
    /* u comes from priors and from noise that the fit can check; the fewer photos, the less can be checked. Three photos
     * from different sides check each other, and an edge that one of them misread is left out: normal. Two leave about one
     * comparison of each rim and nobody to say which is right, one leaves none. Common practice, no source; JCGM 100 G.4.2
     * reads degrees of freedom as how well u itself is known: 4 is u known to 35 %, 3 to 41 %. */
    return photos >= 3 ? 0 : photos == 2 ? 4 : 3;
}

bool ps_gauge_within_need(double u, double need, double dof) {
    return ps_gauge_risk(u, need, dof) <= PS_GAUGE_RISK;
}
