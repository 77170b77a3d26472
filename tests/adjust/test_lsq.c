/* The least-squares solver against NIST's Statistical Reference Datasets (nonlinear regression), and what it must refuse.
 *
 * Source: NIST StRD, https://www.itl.nist.gov/div898/strd (public domain). The data, starts and certified values here
 * were written down from memory, for no copy was at hand; each set is verified below by the certified residual sum of
 * squares, to all its digits, AT the certified parameters, before anything is solved: a wrong digit in data or
 * parameters would show there. The certified standard deviations have no such check of their own: they are confirmed by
 * agreeing with ours to five digits. */
#include "check.h"
#include "pinspan/adjust.h"

#include <stdlib.h>
#include <string.h>

typedef double (*curve)(const double *b, double x, double *d); /* value; derivatives along b */

typedef struct dataset {
    const char *name;
    curve model;
    int points, parameters;
    double start[7], certified[7], sd[7], rss;
    const double (*xy)[2]; /* y, x, as NIST lists them */
} dataset;

static double misra1a(const double *b, double x, double *d) {
    double e = exp(-b[1] * x);
    d[0] = 1 - e;
    d[1] = b[0] * x * e;
    return b[0] * (1 - e);
}

static double mgh09(const double *b, double x, double *d) {
    double top = x * x + x * b[1], under = x * x + x * b[2] + b[3], value = b[0] * top / under;
    d[0] = top / under;
    d[1] = b[0] * x / under;
    d[2] = -value * x / under;
    d[3] = -value / under;
    return value;
}

static double rat43(const double *b, double x, double *d) {
    double e = exp(b[1] - b[2] * x), value = b[0] * pow(1 + e, -1 / b[3]);
    d[0] = value / b[0];
    d[1] = -value / b[3] * e / (1 + e);
    d[2] = value / b[3] * e * x / (1 + e);
    d[3] = value * log1p(e) / (b[3] * b[3]);
    return value;
}

static double eckerle4(const double *b, double x, double *d) {
    double u = (x - b[2]) / b[1], e = exp(-0.5 * u * u), value = b[0] / b[1] * e;
    d[0] = e / b[1];
    d[1] = value * (u * u - 1) / b[1];
    d[2] = value * u / b[1];
    return value;
}

static double thurber(const double *b, double x, double *d) {
    double top = b[0] + x * (b[1] + x * (b[2] + x * b[3])), under = 1 + x * (b[4] + x * (b[5] + x * b[6]));
    for (int k = 0; k < 4; k++) d[k] = pow(x, k) / under;
    for (int k = 0; k < 3; k++) d[4 + k] = -top * pow(x, k + 1) / (under * under);
    return top / under;
}

static double chwirut2(const double *b, double x, double *d) {
    double under = b[1] + b[2] * x, value = exp(-b[0] * x) / under;
    d[0] = -x * value;
    d[1] = -value / under;
    d[2] = -value * x / under;
    return value;
}

static const double misra1a_data[][2] = {{10.07, 77.6},  {14.73, 114.9}, {17.94, 141.1}, {23.93, 190.8}, {29.61, 239.9},
                                         {35.18, 289.0}, {40.02, 332.8}, {44.82, 378.4}, {50.76, 434.8}, {55.05, 477.3},
                                         {61.01, 536.8}, {66.40, 593.1}, {75.47, 689.1}, {81.78, 760.0}};
static const double boxbod_data[][2] = {{109, 1}, {149, 2}, {149, 3}, {191, 5}, {213, 7}, {224, 10}};
static const double mgh09_data[][2] = {{.1957, 4},    {.1947, 2},  {.1735, 1},     {.1600, .5},    {.0844, .25},  {.0627, .167},
                                       {.0456, .125}, {.0342, .1}, {.0323, .0833}, {.0235, .0714}, {.0246, .0625}};
static const double rat43_data[][2] = {{16.08, 1},   {33.83, 2},   {65.80, 3},   {97.20, 4},   {191.55, 5},
                                       {326.20, 6},  {386.87, 7},  {520.53, 8},  {590.03, 9},  {651.92, 10},
                                       {724.93, 11}, {699.56, 12}, {689.96, 13}, {637.56, 14}, {717.41, 15}};
static const double eckerle4_data[][2] = {
    {.0001575, 400},   {.0001699, 405},   {.0002350, 410},   {.0003102, 415},   {.0004917, 420},   {.0008710, 425},   {.0017418, 430},
    {.0046400, 435},   {.0065895, 436.5}, {.0097302, 438},   {.0149002, 439.5}, {.0237310, 441},   {.0401683, 442.5}, {.0712559, 444},
    {.1264458, 445.5}, {.2073413, 447},   {.2902366, 448.5}, {.3445623, 450},   {.3698049, 451.5}, {.3668534, 453},   {.3106727, 454.5},
    {.2078154, 456},   {.1164354, 457.5}, {.0616764, 459},   {.0337200, 460.5}, {.0194023, 462},   {.0117831, 463.5}, {.0074357, 465},
    {.0022732, 470},   {.0008800, 475},   {.0004579, 480},   {.0002345, 485},   {.0001586, 490},   {.0001143, 495},   {.0000710, 500}};
static const double thurber_data[][2] = {
    {80.574, -3.067},  {84.248, -2.981},  {87.264, -2.921},  {87.195, -2.912},  {89.076, -2.840},  {89.608, -2.797},  {89.868, -2.702},
    {90.101, -2.699},  {92.405, -2.633},  {95.854, -2.481},  {100.696, -2.363}, {101.060, -2.322}, {401.672, -1.501}, {390.724, -1.460},
    {567.534, -1.274}, {635.316, -1.212}, {733.054, -1.100}, {759.087, -1.046}, {894.206, -.915},  {990.785, -.714},  {1090.109, -.566},
    {1080.914, -.545}, {1122.643, -.400}, {1178.351, -.309}, {1260.531, -.109}, {1273.514, -.103}, {1288.339, .010},  {1327.543, .119},
    {1353.863, .377},  {1414.509, .790},  {1425.208, .963},  {1421.384, 1.006}, {1442.962, 1.115}, {1464.350, 1.572}, {1468.705, 1.841},
    {1447.894, 2.047}, {1457.628, 2.200}};
static const double chwirut2_data[][2] = {
    {92.9, .5},   {57.1, 1},    {31.05, 1.75},   {11.5875, 3.75}, {8.025, 5.75}, {63.6, .875}, {21.4, 2.25},  {14.25, 3.25}, {8.475, 5.25},
    {63.8, .75},  {26.8, 1.75}, {16.4625, 2.75}, {7.125, 4.75},   {67.3, .625},  {41, 1.25},   {21.15, 2.25}, {8.175, 4.25}, {81.5, .5},
    {13.12, 3},   {59.9, .75},  {14.62, 3},      {32.9, 1.5},     {5.44, 6},     {12.56, 3},   {5.44, 6},     {32, 1.5},     {13.95, 3},
    {75.8, .5},   {20, 2},      {10.42, 4},      {59.5, .75},     {21.67, 2},    {8.55, 5},    {62, .75},     {20.2, 2.25},  {7.76, 3.75},
    {3.75, 5.75}, {11.81, 3},   {54.7, .75},     {23.7, 2.5},     {11.55, 4},    {61.3, .75},  {17.7, 2.5},   {8.74, 4},     {59.2, .75},
    {16.3, 2.5},  {8.62, 4},    {81, .5},        {4.87, 6},       {14.62, 3},    {81.7, .5},   {17.17, 2.75}, {81.3, .5},    {28.9, 1.75}};

#define DATA(d) .points = sizeof d / sizeof *d, .xy = d
/* Starts are NIST's 'start 2'. */
static const dataset sets[] = {
    {"Misra1a", misra1a, .parameters = 2, DATA(misra1a_data), .start = {250, 5e-4}, .certified = {238.94212918, 5.5015643181e-4},
     .sd = {2.7070075241, 7.2668688436e-6}, .rss = .12455138894},
    {"BoxBOD", misra1a, .parameters = 2, DATA(boxbod_data), .start = {100, .75}, .certified = {213.80940889, .54723748542},
     .sd = {12.354515176, .10455993237}, .rss = 1168.0088766},
    {"MGH09", mgh09, .parameters = 4, DATA(mgh09_data), .start = {.25, .39, .415, .39},
     .certified = {.19280693458, .19128232873, .12305650693, .13606233068},
     .sd = {.011435312227, .19633220911, .080842031232, .090025542308}, .rss = 3.0750560385e-4},
    {"Rat43", rat43, .parameters = 4, DATA(rat43_data), .start = {700, 5, .75, 1.3},
     .certified = {699.64151270, 5.2771253025, .75962938329, 1.2792483859}, .sd = {16.302297817, 2.0828735829, .19566123451, .68761936385},
     .rss = 8786.4049080},
    {"Eckerle4", eckerle4, .parameters = 3, DATA(eckerle4_data), .start = {1.5, 5, 450},
     .certified = {1.5543827178, 4.0888321754, 451.54121844}, .sd = {.015408051163, .046803020753, .046800518816}, .rss = 1.4635887487e-3},
    {"Thurber", thurber, .parameters = 7, DATA(thurber_data), .start = {1300, 1500, 500, 75, 1, .4, .05},
     .certified = {1288.1396800, 1491.0792535, 583.23836877, 75.416644291, .96629502864, .39797285797, .049727297349},
     .sd = {4.6647963344, 39.571156086, 28.698696102, 5.5675370270, .031333340687, .014984928198, .0065842344623}, .rss = 5642.7082397},
    {"Chwirut2", chwirut2, .parameters = 3, DATA(chwirut2_data), .start = {.15, .008, .010},
     .certified = {.16657666537, 5.1653291286e-3, 1.2150007096e-2}, .sd = {.038303286810, 6.6621605126e-4, 1.5304234767e-3},
     .rss = 513.04802941},
};

static bool dataset_rows(void *user, const double *b, bool want_derivatives, void *sink, ps_lsq_emit emit) {
    static const int index[7] = {0, 1, 2, 3, 4, 5, 6};
    const dataset *s = user;
    (void)want_derivatives;
    for (int i = 0; i < s->points; i++) {
        double d[7];
        ps_lsq_row row = {s->model(b, s->xy[i][1], d) - s->xy[i][0], s->parameters, index, d, false, 0};
        emit(sink, &row);
    }
    return true;
}

static void test_data_are_nists(void **state) {
    (void)state;
    for (size_t k = 0; k < sizeof sets / sizeof *sets; k++) {
        const dataset *s = &sets[k];
        double sum = 0, d[7];
        for (int i = 0; i < s->points; i++) {
            double r = s->model(s->certified, s->xy[i][1], d) - s->xy[i][0];
            sum += r * r;
        }
        /* The parameters' 11 digits leave about 10 of the sum at its minimum. */
        const double DIGITS = 2e-10;
        print_message("%s: RSS %.11g, certified %.11g\n", s->name, sum, s->rss);
        CHECK_NEAR(sum / s->rss, 1, DIGITS);
    }
}

static void test_nist(void **state) {
    (void)state;
    for (size_t k = 0; k < sizeof sets / sizeof *sets; k++) {
        dataset s = sets[k];
        ps_context *ctx = ps_context_new();
        ps_lsq_options options = ps_lsq_options_default();
        ps_lsq_result result = {0};
        double b[7];
        memcpy(b, s.start, sizeof b);
        options.max_iterations = 200;
        ps_status status = ps_lsq_solve(ctx, s.parameters, b, dataset_rows, &s, &options, &result);
        if (status != PS_OK) fail_msg("%s: %s", s.name, ps_context_message(ctx));
        double worst = 0, worst_sd = 0, s2 = result.chi2 / (s.points - s.parameters);
        for (int i = 0; i < s.parameters; i++) {
            double sd = sqrt(result.covariance[i * s.parameters + i] * s2);
            worst = fmax(worst, fabs(b[i] / s.certified[i] - 1));
            worst_sd = fmax(worst_sd, fabs(sd / s.sd[i] - 1));
        }
        print_message("%s: %d iterations, parameters off by %.1e, sd by %.1e\n", s.name, result.iterations, worst, worst_sd);
        /* What a good solver reaches by NIST's own reckoning: 6 digits of the parameters, 5 of the sd. */
        const double SIX_DIGITS = 1e-6, FIVE_DIGITS = 1e-5;
        assert_true(worst < SIX_DIGITS);
        assert_true(worst_sd < FIVE_DIGITS);
        ps_lsq_result_clear(&result);
        ps_context_free(ctx);
    }
}

/* A line y = b0 + b1 x through points, with choices of weight and of badness. */
typedef struct line {
    int n;
    double y[32];
    bool robust, twin; /* twin: the two unknowns only ever appear as their sum */
    double tail;
} line;

static bool line_rows(void *user, const double *b, bool want_derivatives, void *sink, ps_lsq_emit emit) {
    static const int index[2] = {0, 1};
    const line *l = user;
    (void)want_derivatives;
    for (int i = 0; i < l->n; i++) {
        double x = l->twin ? 1 : i, d[2] = {1, x};
        ps_lsq_row row = {b[0] + b[1] * x - l->y[i], 2, index, d, l->robust, l->tail};
        emit(sink, &row);
    }
    return true;
}

static ps_status solve_line(ps_context *ctx, line *l, double b[2], ps_lsq_result *result) {
    b[0] = b[1] = 0;
    memset(result, 0, sizeof *result);
    return ps_lsq_solve(ctx, 2, b, line_rows, l, NULL, result);
}

static void test_free_direction_is_named(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_lsq_result result;
    line l = {.n = 10, .twin = true};
    double b[2];
    for (int i = 0; i < l.n; i++) l.y[i] = 3;
    assert_int_equal(solve_line(ctx, &l, b, &result), PS_SINGULAR);
    assert_non_null(strstr(ps_context_message(ctx), "unknown 1"));
    l.twin = false; /* the same data with a slope are fine */
    assert_int_equal(solve_line(ctx, &l, b, &result), PS_OK);
    const double EXACT = 1e-9; /* a linear problem: rounding only */
    CHECK_NEAR(b[0], 3, EXACT);
    CHECK_NEAR(b[1], 0, EXACT);
    ps_lsq_result_clear(&result);
    ps_context_free(ctx);
}

static void test_nan_is_refused(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    ps_lsq_result result;
    line l = {.n = 10};
    double b[2];
    l.y[4] = NAN;
    assert_int_equal(solve_line(ctx, &l, b, &result), PS_BAD_ARGUMENT);
    assert_non_null(strstr(ps_context_message(ctx), "row 4"));
    l.y[4] = 0;
    double start[2] = {NAN, 0};
    assert_int_equal(ps_lsq_solve(ctx, 2, start, line_rows, &l, NULL, &result), PS_BAD_ARGUMENT);
    assert_int_equal(ps_lsq_solve(ctx, 0, start, line_rows, &l, NULL, &result), PS_BAD_ARGUMENT);
    ps_context_free(ctx);
}

/* One point of twenty is 100 sd off. Plain least squares follows it; Huber and Student rows do not. */
static void test_outlier(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    double off[3];
    for (int kind = 0; kind < 3; kind++) {
        line l = {.n = 20, .robust = kind == 1, .tail = kind == 2 ? 4 : 0};
        for (int i = 0; i < l.n; i++) l.y[i] = 1 + 2 * i + (i % 2 ? 0.5 : -0.5);
        l.y[19] += 100;
        ps_lsq_result result;
        double b[2];
        assert_int_equal(solve_line(ctx, &l, b, &result), PS_OK);
        off[kind] = fabs(b[0] + 19 * b[1] - 39);
        if (kind == 1) {
            /* Huber's weight is k/|r| beyond k = 2.5 sd; 1 within. */
            double r = b[0] + 19 * b[1] - l.y[19];
            CHECK_NEAR(result.weight[19], 2.5 / fabs(r), 1e-9);
            CHECK_NEAR(result.weight[3], 1, 0);
        }
        ps_lsq_result_clear(&result);
    }
    print_message("line's end off by %.3f plain, %.3f Huber, %.3f Student\n", off[0], off[1], off[2]);
    assert_true(off[0] > 10);  /* 100/20 with leverage about 4 at the end */
    assert_true(off[1] < 1.5); /* sd of the line's end is .43; the outlier pulls with 2.5 sd at most */
    assert_true(off[2] < 0.6);
    ps_context_free(ctx);
}

/* A valley of the form of Rosenbrock (1960): steep walls along v = c u^2, a floor that falls by little toward u = 1; the unknowns lie
 * askew to it, u = p + q and v = p - q, so that neither is weak by itself. */
typedef struct valley {
    double fall, bend;
} valley;

static bool valley_rows(void *user, const double *x, bool want, void *sink, ps_lsq_emit emit) {
    (void)want;
    const valley *t = user;
    static const int both[2] = {0, 1};
    double u = x[0] + x[1], v = x[0] - x[1], turn = 2 * t->bend * u;
    const double across[2] = {1 - turn, -1 - turn}, along[2] = {t->fall, t->fall};
    ps_lsq_row wall = {v - t->bend * u * u, 2, both, across, false, 0}, floor = {t->fall * (u - 1), 2, both, along, false, 0};
    emit(sink, &wall);
    emit(sink, &floor);
    return true;
}

/* The undamped step overshoots a curved valley; where its floor is weak beside its walls, what damping it wants is far under 1e-8. */
static void test_weak_curved_valley(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    const double EXACT = 1e-6; /* of 21 that it has to go; a settled step is far smaller */
    for (double fall = 1e-2; fall > 0.9e-7; fall *= 0.1) {
        valley v = {fall, 0.5 * fall};
        double x[2] = {200 * v.bend - 10, -200 * v.bend - 10};
        ps_lsq_result result;
        ps_lsq_options o = ps_lsq_options_default();
        assert_int_equal(ps_lsq_solve(ctx, 2, x, valley_rows, &v, &o, &result), PS_OK);
        CHECK_NEAR(x[0] + x[1], 1, EXACT);
        CHECK_NEAR(x[0] - x[1], v.bend, EXACT * v.bend);
        ps_lsq_result_clear(&result);
    }
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_weak_curved_valley),      cmocka_unit_test(test_data_are_nists), cmocka_unit_test(test_nist),
        cmocka_unit_test(test_free_direction_is_named), cmocka_unit_test(test_nan_is_refused), cmocka_unit_test(test_outlier),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
