/* Worked examples of the guides: JCGM 100:2008 (GUM) annex H, and JCGM 101:2008 clause 9, through the solver's covariance and
 * the Monte Carlo summary. Inputs of H.2 and clause 9 from memory, of H.1 and H.3 as the documentation and examples of the GUM Tree
 * Calculator (GTC) have them; results as printed there or computed from the same inputs with 10^6 trials. That six printed digits of
 * values, uncertainties and correlations come out says that no input was remembered wrong. */
#include "adjust/model.h"
#include "base/linear.h"
#include "base/stats.h"
#include "check.h"

#include <stdlib.h>
#include <string.h>

/* ---- inputs known by mean and standard uncertainty: one row each ---- */

typedef struct known {
    int n;
    const double *mean, *u;
} known;

static bool known_rows(void *user, const double *x, bool want, void *sink, ps_lsq_emit emit) {
    (void)want;
    const known *k = user;
    for (int i = 0; i < k->n; i++) {
        double slope = 1 / k->u[i];
        ps_lsq_row row = {(x[i] - k->mean[i]) / k->u[i], 1, &i, &slope, false, 0};
        emit(sink, &row);
    }
    return true;
}

static double spread(const double *covariance, int n, const double *a, const double *b) {
    double sum = 0;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++) sum += a[i] * covariance[i * n + j] * b[j];
    return sum;
}

/* End-gauge calibration: l = l_s + d - l_s (delta_alpha theta + alpha_s delta_theta), nm and degrees. */
static double gauge_length(const double x[6]) {
    return x[0] + x[1] - x[0] * (x[2] * x[3] + x[4] * x[5]);
}
static const double h1_mean[6] = {50000623, 215, 0, -0.1, 11.5e-6, 0}, h1_u[6] = {25, 9.7, 0.58e-6, 0.41, 1.2e-6, 0.029};

static void test_h1(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    known k = {6, h1_mean, h1_u};
    double x[6], g[6];
    ps_lsq_result r = {0};
    memcpy(x, h1_mean, sizeof x);
    assert_int_equal(ps_lsq_solve(ctx, 6, x, known_rows, &k, NULL, &r), PS_OK);
    for (int i = 0; i < 6; i++) {
        double up[6], down[6], h = 1e-3 * h1_u[i];
        memcpy(up, x, sizeof up), memcpy(down, x, sizeof down);
        up[i] += h, down[i] -= h;
        g[i] = (gauge_length(up) - gauge_length(down)) / (2 * h);
    }
    double u = sqrt(spread(r.covariance, 6, g, g));
    const double DIGIT = 0.06; /* the printed components are rounded to a tenth */
    CHECK_NEAR(gauge_length(x), 50000838, 0.5);
    CHECK_NEAR(u, 31.7, DIGIT);
    /* Welch-Satterthwaite with the degrees of freedom printed there: 18, 25.6, 50 and 2, each with its own component. */
    const double dof[6] = {18, 25.6, 50, HUGE_VAL, HUGE_VAL, 2};
    double sum = 0;
    for (int i = 0; i < 6; i++) sum += pow(g[i] * h1_u[i], 4) / dof[i];
    const double EFFECTIVE = 0.05; /* 16.7 in print */
    CHECK_NEAR(pow(u, 4) / sum, 16.7, EFFECTIVE);
    CHECK_NEAR(u * ps_t_value(0.005, 16), 93, 0.5);
    ps_lsq_result_clear(&r);
    ps_context_free(ctx);
}

/* Five simultaneous readings of voltage, current and phase; rows made independent by the sample covariance's factor. */
static const double h2[5][3] = {{5.007, 19.663e-3, 1.0456},
                                {4.994, 19.639e-3, 1.0438},
                                {5.005, 19.640e-3, 1.0468},
                                {4.990, 19.685e-3, 1.0428},
                                {4.999, 19.678e-3, 1.0433}};

static bool h2_rows(void *user, const double *x, bool want, void *sink, ps_lsq_emit emit) {
    (void)want;
    const double *L = user;
    static const int index[3] = {0, 1, 2};
    for (int s = 0; s < 5; s++) {
        double r[3], J[3][3];
        for (int i = 0; i < 3; i++) r[i] = x[i] - h2[s][i];
        ps_cholesky_forward(L, 3, r);
        for (int k = 0; k < 3; k++) { /* J[k]: column k of inverse L */
            for (int i = 0; i < 3; i++) J[k][i] = i == k;
            ps_cholesky_forward(L, 3, J[k]);
        }
        for (int i = 0; i < 3; i++) {
            double line[3] = {J[0][i], J[1][i], J[2][i]};
            ps_lsq_row row = {r[i], 3, index, line, false, 0};
            emit(sink, &row);
        }
    }
    return true;
}

static void test_h2(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    double mean[3] = {0}, L[9] = {0}, x[3] = {5, 0.02, 1};
    for (int s = 0; s < 5; s++)
        for (int i = 0; i < 3; i++) mean[i] += h2[s][i] / 5;
    for (int s = 0; s < 5; s++)
        for (int i = 0; i < 9; i++) L[i] += (h2[s][i / 3] - mean[i / 3]) * (h2[s][i % 3] - mean[i % 3]) / 4;
    assert_true(ps_cholesky(L, 3));
    ps_lsq_result r = {0};
    assert_int_equal(ps_lsq_solve(ctx, 3, x, h2_rows, L, NULL, &r), PS_OK);
    double Z = x[0] / x[1], R = Z * cos(x[2]), X = Z * sin(x[2]);
    const double g[3][3] = {{R / x[0], -R / x[1], -X}, {X / x[0], -X / x[1], R}, {Z / x[0], -Z / x[1], 0}};
    double u[3];
    for (int i = 0; i < 3; i++) u[i] = sqrt(spread(r.covariance, 3, g[i], g[i]));
    const double DIGIT = 0.6e-5; /* half the last digit given, and rounding of the fit */
    CHECK_NEAR(R, 127.73217, DIGIT);
    CHECK_NEAR(X, 219.84651, DIGIT);
    CHECK_NEAR(Z, 254.25970, DIGIT);
    CHECK_NEAR(u[0], 0.07107, DIGIT);
    CHECK_NEAR(u[1], 0.29558, DIGIT);
    CHECK_NEAR(u[2], 0.23634, DIGIT);
    CHECK_NEAR(spread(r.covariance, 3, g[0], g[1]) / (u[0] * u[1]), -0.58843, DIGIT);
    CHECK_NEAR(spread(r.covariance, 3, g[0], g[2]) / (u[0] * u[2]), -0.48526, DIGIT);
    CHECK_NEAR(spread(r.covariance, 3, g[1], g[2]) / (u[1] * u[2]), 0.99251, DIGIT);
    ps_lsq_result_clear(&r);
    ps_context_free(ctx);
}

/* Calibration of a thermometer: a straight line through corrections b over t - 20. */
static const double h3_t[11] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511};
static const double h3_b[11] = {-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160};

static bool h3_rows(void *user, const double *x, bool want, void *sink, ps_lsq_emit emit) {
    (void)user, (void)want;
    static const int index[2] = {0, 1};
    for (int i = 0; i < 11; i++) {
        double line[2] = {1, h3_t[i] - 20};
        ps_lsq_row row = {x[0] + x[1] * line[1] - h3_b[i], 2, index, line, false, 0};
        emit(sink, &row);
    }
    return true;
}

static void test_h3(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    double x[2] = {0, 0};
    ps_lsq_result r = {0};
    assert_int_equal(ps_lsq_solve(ctx, 2, x, h3_rows, NULL, NULL, &r), PS_OK);
    double s2 = r.chi2 / 9, *C = r.covariance;
    const double at30[2] = {1, 10};
    const double SIX = 0.6e-6, FOUR = 0.6e-8; /* half the last digit given */
    CHECK_NEAR(x[0], -0.171204, SIX);
    CHECK_NEAR(x[1], 0.00218270, FOUR);
    CHECK_NEAR(sqrt(s2), 0.0034976, 0.6e-7);
    CHECK_NEAR(sqrt(s2 * C[0]), 0.002878, SIX);
    CHECK_NEAR(sqrt(s2 * C[3]), 0.00066794, FOUR);
    CHECK_NEAR(C[1] / sqrt(C[0] * C[3]), -0.930430, SIX);
    CHECK_NEAR(x[0] + 10 * x[1], -0.149377, SIX);
    CHECK_NEAR(sqrt(s2 * spread(C, 2, at30, at30)), 0.004139, SIX);
    ps_lsq_result_clear(&r);
    ps_context_free(ctx);
}

/* ---- JCGM 101 ---- */

enum { TRIALS = 200000 };
static uint64_t stream;

static double uniform(void) { /* splitmix64 */
    uint64_t z = (stream += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) / 9007199254740992.0;
}
static double rectangular(double low, double high) {
    return low + (high - low) * uniform();
}
static double normal(double mean, double u) {
    return mean + u * ps_normal_quantile(uniform());
}

static double four_normals(void) {
    return normal(0, 1) + normal(0, 1) + normal(0, 1) + normal(0, 1);
}
static double four_rectangulars(void) {
    double a = sqrt(3);
    return rectangular(-a, a) + rectangular(-a, a) + rectangular(-a, a) + rectangular(-a, a);
}
static double one_wide(void) {
    double a = sqrt(3);
    return rectangular(-a, a) + rectangular(-a, a) + rectangular(-a, a) + rectangular(-10 * a, 10 * a);
}
/* Mass calibration, mg: deviation of a 100 g weight from nominal by conventional mass. */
static double mass(void) {
    double m = normal(100000, 0.050), dm = normal(1.234, 0.020), air = rectangular(1.10, 1.30);
    double weight = rectangular(7e3, 9e3), reference = rectangular(7.95e3, 8.05e3);
    return (m + dm) * (1 + (air - 1.2) * (1 / weight - 1 / reference)) - 100000;
}
static double h1_draw(void) {
    double x[6];
    for (int i = 0; i < 6; i++) x[i] = normal(h1_mean[i], h1_u[i]);
    return gauge_length(x) - 50000838;
}

static ps_monte_carlo trial(double (*draw)(void), double *value) {
    ps_monte_carlo mc;
    stream = 20080101;
    for (int i = 0; i < TRIALS; i++) value[i] = draw();
    adjust_summarise(value, TRIALS, &mc);
    return mc;
}

static void test_jcgm_101(void **state) {
    (void)state;
    double *value = malloc(TRIALS * sizeof *value);
    assert_non_null(value);
    /* 200 000 trials know u to 0.16 %, and a 2.5 % point to about 0.6 % of u: four sd of each. */
    const double SD = 0.0064, POINT = 0.024;
    const struct {
        double (*draw)(void);
        double u, low, high;
    } example[] = {{four_normals, 2.00, -3.92, 3.92}, {four_rectangulars, 2.00, -3.88, 3.88}, {one_wide, 10.1, -17.0, 17.0}};
    for (int i = 0; i < 3; i++) {
        ps_monte_carlo mc = trial(example[i].draw, value);
        double u = example[i].u, digit = i == 2 ? 0.05 : 0.005;
        CHECK_NEAR(mc.mean_mm, 0, SD * u);
        CHECK_NEAR(mc.u_mm, u, SD * u + digit);
        CHECK_NEAR(mc.low_mm, example[i].low, POINT * u + digit);
        CHECK_NEAR(mc.high_mm, example[i].high, POINT * u + digit);
    }
    ps_monte_carlo mc = trial(mass, value);
    CHECK_NEAR(mc.mean_mm, 1.2341, SD * 0.0755);
    CHECK_NEAR(mc.u_mm, 0.0755, SD * 0.0755);
    /* The guide prints the shortest interval; `value` is sorted now. */
    int inside = (int)(0.95 * TRIALS), best = 0;
    for (int i = 0; i + inside < TRIALS; i++)
        if (value[i + inside] - value[i] < value[best + inside] - value[best]) best = i;
    const double SHORTEST = 0.1; /* of u: where it lies is loose, its ends move together along a flat minimum */
    CHECK_NEAR(value[best], 1.084, SHORTEST * 0.0755);
    CHECK_NEAR(value[best + inside], 1.383, SHORTEST * 0.0755);
    /* GUM H.1.7: with second-order terms 34 nm, which the linear 31.7 leaves out. */
    mc = trial(h1_draw, value);
    CHECK_NEAR(mc.u_mm, 33.8, SD * 33.8 + 0.2);
    free(value);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_h1), cmocka_unit_test(test_h2), cmocka_unit_test(test_h3),
                                       cmocka_unit_test(test_jcgm_101)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
