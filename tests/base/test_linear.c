/* Small dense linear algebra. */
#include <string.h>

#include "base/linear.h"
#include "check.h"

/* Operations on matrices of condition under 100: a few hundred roundings of 1e-16. */
static const double ROUNDING = 1e-13;

static void test_mat3_inverse(void **state) {
    (void)state;
    double A[9] = {2, -1, 0.5, 0, 3, 1, -4, 2, 7}, B[9], P[9];
    assert_true(ps_mat3_inverse(A, B));
    ps_mat3_mul(A, B, P);
    for (int i = 0; i < 9; i++) CHECK_NEAR(P[i], i % 4 == 0, ROUNDING);
    CHECK_NEAR(ps_mat3_det(A), 2 * (21 - 2) + 1 * (0 + 4) + 0.5 * (0 + 12), ROUNDING * 50);
    double singular[9] = {1, 2, 3, 4, 5, 6, 7, 8, 9};
    assert_false(ps_mat3_inverse(singular, B));
}

static void test_cholesky(void **state) {
    (void)state;
    double A[16] = {4, 0, 0, 0, 2, 5, 0, 0, 1, -1, 6, 0, 0.5, 2, 1, 3}, L[16], full[16], inverse[16], b[4] = {1, -2, 3, 0.5}, x[4];
    memcpy(L, A, sizeof A);
    for (int i = 0; i < 4; i++)
        for (int j = 0; j < 4; j++) full[4 * i + j] = i >= j ? A[4 * i + j] : A[4 * j + i];
    assert_true(ps_cholesky(L, 4));
    memcpy(x, b, sizeof b);
    ps_cholesky_solve(L, 4, x);
    ps_cholesky_inverse(L, 4, inverse);
    for (int i = 0; i < 4; i++) {
        double sum = 0, other = 0;
        for (int j = 0; j < 4; j++) sum += full[4 * i + j] * x[j], other += inverse[4 * i + j] * b[j];
        CHECK_NEAR(sum, b[i], ROUNDING);
        CHECK_NEAR(other, x[i], ROUNDING);
    }
    double indefinite[4] = {1, 0, 2, 1}, semidefinite[4] = {1, 0, 1, 1};
    assert_false(ps_cholesky(indefinite, 2));
    assert_false(ps_cholesky(semidefinite, 2));
}

/* A matrix large enough for the wide form: of N random rows and a diagonal, condition about 1e3. The inverse undoes it, both triangles of
 * it agree, and a quadratic form comes out as summed by hand; a pivot that is used up is told. */
static const double MANY_ROUNDINGS = 1e-11;
static void test_large(void **state) {
    (void)state;
    enum { N = 70 };
    static double A[N * N], L[N * N], inverse[N * N], B[N * N];
    uint32_t random = 5;
    for (int i = 0; i < N * N; i++) random = random * 1664525 + 1013904223, B[i] = (random >> 8) / 16777216.0 - 0.5;
    for (int i = 0; i < N; i++)
        for (int j = 0; j < N; j++) {
            A[i * N + j] = i == j ? 0.1 : 0;
            for (int k = 0; k < N; k++) A[i * N + j] += B[i * N + k] * B[j * N + k];
        }
    memcpy(L, A, sizeof L);
    assert_true(ps_cholesky(L, N));
    ps_cholesky_inverse(L, N, inverse);
    double by_hand = 0;
    for (int i = 0; i < N; i++)
        for (int j = 0; j < N; j++) {
            double sum = 0;
            for (int k = 0; k < N; k++) sum += A[i * N + k] * inverse[k * N + j];
            CHECK_NEAR(sum, i == j, MANY_ROUNDINGS);
            CHECK_NEAR(inverse[i * N + j], inverse[j * N + i], 0);
            by_hand += B[i] * A[i * N + j] * B[j];
        }
    CHECK_NEAR(ps_quadratic(A, N, B), by_hand, MANY_ROUNDINGS);
    for (int j = 0; j < N; j++) A[(N - 1) * N + j] = A[j * N + N - 1] = A[3 * N + j]; /* a row twice: no rank left for it */
    A[(N - 1) * N + N - 1] = A[3 * N + 3];
    assert_false(ps_cholesky(A, N));
}

static void test_damped_solve(void **state) {
    (void)state;
    double N[4] = {2, 99, 1, 3}, g[2] = {1, 2}, x[2]; /* 99: the upper triangle is not read */
    assert_true(ps_damped_solve(N, g, 2, 0, x));
    CHECK_NEAR(2 * x[0] + x[1], 1, ROUNDING);
    CHECK_NEAR(x[0] + 3 * x[1], 2, ROUNDING);
    assert_true(ps_damped_solve(N, g, 2, 0.5, x));
    CHECK_NEAR(3 * x[0] + x[1], 1, ROUNDING);
    CHECK_NEAR(x[0] + 4.5 * x[1], 2, ROUNDING);
}

static void test_eigen(void **state) {
    (void)state;
    /* The second-difference matrix of order n has the eigenvalues 2 - 2 cos(k pi / (n + 1)) (textbook). */
    enum { N = 9 };
    double A[N * N] = {0}, copy[N * N], values[N], V[N * N];
    for (int i = 0; i < N; i++) {
        A[i * N + i] = 2;
        if (i) A[i * N + i - 1] = A[(i - 1) * N + i] = -1;
    }
    memcpy(copy, A, sizeof A);
    assert_true(ps_eigen_symmetric(A, N, values, V));
    for (int k = 0; k < N; k++) {
        CHECK_NEAR(values[k], 2 - 2 * cos((k + 1) * PS_PI / (N + 1)), ROUNDING);
        for (int i = 0; i < N; i++) {
            double sum = 0;
            for (int j = 0; j < N; j++) sum += copy[i * N + j] * V[j * N + k];
            CHECK_NEAR(sum, values[k] * V[i * N + k], ROUNDING);
        }
    }
    double bad[4] = {1, NAN, NAN, 1};
    assert_false(ps_eigen_symmetric(bad, 2, values, V));
}

static void test_linear_solve(void **state) {
    (void)state;
    double A[9] = {0, 2, 1, 1, -1, 0, 3, 0, -2}, b[3] = {2 * 2 - 1, 1 - 2, 3 + 2}; /* x = 1, 2, -1; the first pivot is 0 */
    assert_true(ps_linear_solve(A, b, 3));
    CHECK_NEAR(b[0], 1, ROUNDING);
    CHECK_NEAR(b[1], 2, ROUNDING);
    CHECK_NEAR(b[2], -1, ROUNDING);
    double S[4] = {1, 2, 2, 4}, c[2] = {1, 1};
    assert_false(ps_linear_solve(S, c, 2));
}

static void test_unit3(void **state) {
    (void)state;
    double a[3] = {3, 0, 4}, zero[3] = {0, 0, 0};
    assert_true(ps_unit3(a));
    CHECK_NEAR(a[2], 0.8, ROUNDING);
    assert_false(ps_unit3(zero));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_mat3_inverse), cmocka_unit_test(test_cholesky), cmocka_unit_test(test_large),
        cmocka_unit_test(test_damped_solve), cmocka_unit_test(test_eigen),    cmocka_unit_test(test_linear_solve),
        cmocka_unit_test(test_unit3),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
