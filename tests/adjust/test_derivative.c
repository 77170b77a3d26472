/* Analytic derivatives of every row along every unknown against central differences of the rows themselves, away from
 * the start (so that rotations are not small) and with everything free. */
#include "adjust/model.h"
#include "check.h"
#include "gap_scene.h"
#include "scene.h"

enum { ROWS_MAX = 4000 };

typedef struct table {
    int rows, unknowns;
    double *residual, *jacobian; /* jacobian: rows x unknowns, or NULL */
} table;

static void keep(void *sink, const ps_lsq_row *row) {
    table *t = sink;
    assert_true(t->rows < ROWS_MAX);
    t->residual[t->rows] = row->residual;
    for (int i = 0; i < row->n && t->jacobian; i++)
        t->jacobian[(size_t)t->rows * (size_t)t->unknowns + (size_t)row->index[i]] += row->derivative[i];
    t->rows++;
}

static void rows_at(adjust_model *m, const double *x, table *t) {
    t->rows = 0;
    assert_true(adjust_rows(m, x, t->jacobian != NULL, t, keep));
}

/* A typical size of each unknown's move: a step of 1e-4 of it for the differences, 0.3 of it as the distance from the
 * start. */
static void sizes(const adjust_model *m, double *size) {
    const adjust_layout *l = &m->layout;
    const ps_adjust_problem *p = &m->problem;
    for (int i = 0; i < m->prior_count; i++) size[m->prior[i].index] = fmin(m->prior[i].sigma, 1);
    for (int i = 0; i < p->photo_count; i++)
        for (int k = 0; k < 3; k++) size[l->photo_pose[i] + k] = 0.05, size[l->photo_pose[i] + 3 + k] = 5;
    for (int i = 0; i < p->piece_count; i++)
        for (int k = 0; k < 3 && l->piece_pose[i] >= 0; k++) size[l->piece_pose[i] + k] = 0.05, size[l->piece_pose[i] + 3 + k] = 5;
    for (int i = 0; i < p->pin_count; i++)
        for (int k = 0; k < 2; k++) size[l->axis[i] + k] = 5, size[l->axis[i] + 2 + k] = 0.05;
}

static void check_model(const ps_adjust_problem *problem) {
    ps_context *ctx = ps_context_new();
    adjust_model m;
    assert_int_equal(adjust_model_new(ctx, problem, &m), PS_OK);
    int n = m.layout.count;
    double *x = calloc((size_t)n, sizeof *x), *size = calloc((size_t)n, sizeof *size);
    table at = {
        .unknowns = n, .residual = calloc(ROWS_MAX, sizeof(double)), .jacobian = calloc((size_t)ROWS_MAX * (size_t)n, sizeof(double))};
    table up = {.unknowns = n, .residual = calloc(ROWS_MAX, sizeof(double))},
          down = {.unknowns = n, .residual = calloc(ROWS_MAX, sizeof(double))};
    sizes(&m, size);
    for (int i = 0; i < n; i++) x[i] = 0.3 * size[i] * sin(1.7 * i + 0.4);
    rows_at(&m, x, &at);
    for (int u = 0; u < n; u++) {
        double keep_x = x[u], h = 1e-4 * size[u], largest = 0, worst = 0;
        x[u] = keep_x + h;
        rows_at(&m, x, &up);
        x[u] = keep_x - h;
        rows_at(&m, x, &down);
        x[u] = keep_x;
        for (int r = 0; r < at.rows; r++) {
            double difference = (up.residual[r] - down.residual[r]) / (2 * h);
            largest = fmax(largest, fabs(difference));
            worst = fmax(worst, fabs(difference - at.jacobian[(size_t)r * (size_t)n + (size_t)u]));
        }
        /* Truncation h^2 and rounding eps/h of the differences both leave about 1e-6 of the largest slope. */
        const double DIFFERENCE = 2e-6;
        assert_true(largest > 0); /* every unknown touches something */
        if (!(worst <= DIFFERENCE * largest)) fail_msg("unknown %d of %d: off by %.3g of %.3g", u, n, worst, largest);
    }
    free(x), free(size), free(at.residual), free(at.jacobian), free(up.residual), free(down.residual);
    adjust_model_clear(&m);
    ps_context_free(ctx);
}

static void test_every_unknown(void **state) {
    (void)state;
    static scene s;
    scene_options o = scene_options_default(3);
    o.pieces = 2;
    o.photos = 3;
    o.orientation = 8;
    assert_true(scene_make(&s, &o));
    s.group[0].sigma_k3 = 0.1;
    s.problem.scale.sigma_common = 0.02;
    s.problem.sigma_shift_side_px = 0.3;
    s.pin[1].piece = 1;                                                     /* square to a piece whose pose is unknown */
    s.problem.sigma_round_pin_mm = 0.5, s.problem.sigma_round_other_mm = 1; /* wide: ovals that show */
    s.rim[0].height_known = true, s.rim[0].height_prior_mm = 40, s.rim[0].sigma_height_mm = 1;
    check_model(&s.problem);
    s.problem.held_piece = 1;
    check_model(&s.problem);
    s.piece[0].print = (ps_adjust_print){{1.01, 0.002, 0, true}, {0.99, 0.001, 4, false}}; /* prints of their own */
    s.piece[1].print = (ps_adjust_print){{0.98, 0.001, 4, false}, {1.02, 0.002, 0, true}};
    check_model(&s.problem);
}

/* Pins along the piece: their offsets go other ways. */
static void test_lying_pins(void **state) {
    (void)state;
    static gap_scene s;
    assert_true(gap_scene_make(&s));
    s.problem.sigma_round_pin_mm = 0.5, s.problem.sigma_round_other_mm = 1;
    check_model(&s.problem);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_every_unknown), cmocka_unit_test(test_lying_pins)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
