/* Small dense linear algebra. */
#include "base/linear.h"

#include <float.h>
#include <math.h>
#include <string.h>

#include "base/wide.h"

enum { WIDE_LEAST = 24, WIDE_MOST = 512 }; /* unknowns */
static const double pivot_least = 1e-15;   /* of what the diagonal was, and of each unknown */

double ps_dot3(const double a[3], const double b[3]) {
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

double ps_norm3(const double a[3]) {
    return sqrt(ps_dot3(a, a));
}

void ps_cross3(const double a[3], const double b[3], double out[3]) {
    out[0] = a[1] * b[2] - a[2] * b[1];
    out[1] = a[2] * b[0] - a[0] * b[2];
    out[2] = a[0] * b[1] - a[1] * b[0];
}

bool ps_unit3(double a[3]) {
    double length = ps_norm3(a);
    if (!(length > 0) || !isfinite(length)) return false;
    for (int i = 0; i < 3; i++) a[i] /= length;
    return true;
}

void ps_mat3_mul(const double A[9], const double B[9], double out[9]) {
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) out[3 * i + j] = A[3 * i] * B[j] + A[3 * i + 1] * B[3 + j] + A[3 * i + 2] * B[6 + j];
}

void ps_mat3_mul_vec(const double A[9], const double x[3], double out[3]) {
    for (int i = 0; i < 3; i++) out[i] = ps_dot3(A + 3 * i, x);
}

void ps_mat3_tmul_vec(const double A[9], const double x[3], double out[3]) {
    for (int i = 0; i < 3; i++) out[i] = A[i] * x[0] + A[3 + i] * x[1] + A[6 + i] * x[2];
}

void ps_mat3_transpose(const double A[9], double out[9]) {
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) out[3 * i + j] = A[3 * j + i];
}

double ps_mat3_det(const double A[9]) {
    double c[3];
    ps_cross3(A + 3, A + 6, c);
    return ps_dot3(A, c);
}

bool ps_mat3_inverse(const double A[9], double out[9]) {
    double C[9]; /* rows: the columns of the inverse times the determinant */
    ps_cross3(A + 3, A + 6, C);
    ps_cross3(A + 6, A, C + 3);
    ps_cross3(A, A + 3, C + 6);
    double det = ps_dot3(A, C);
    /* |det| never exceeds the product of the row lengths; next to it, rounding decides. */
    double bound = ps_norm3(A) * ps_norm3(A + 3) * ps_norm3(A + 6);
    if (!(fabs(det) > 16 * DBL_EPSILON * bound) || !isfinite(det)) return false;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) out[3 * i + j] = C[3 * j + i] / det;
    return true;
}

/* Row by row of the factor. */
static bool cholesky_small(double *A, int n) {
    for (int j = 0; j < n; j++) {
        double *row = A + (size_t)j * n, diagonal = row[j], pivot = diagonal;
        for (int k = 0; k < j; k++) pivot -= row[k] * row[k];
        if (!(pivot > n * pivot_least * diagonal) || !isfinite(pivot)) return false;
        row[j] = sqrt(pivot);
        for (int i = j + 1; i < n; i++) {
            double *below = A + (size_t)i * n, sum = below[j];
            for (int k = 0; k < j; k++) sum -= below[k] * row[k];
            below[j] = sum / row[j];
        }
    }
    return true;
}

/* The same sums in the same order. */
PS_WIDE int ps_cholesky_columns(double *A, int n, const double *least, double *column) {
    for (int j = 0; j < n; j++) {
        double pivot = A[(size_t)j * n + j];
        if (!(pivot > least[j]) || !isfinite(pivot)) return j;
        double root = A[(size_t)j * n + j] = sqrt(pivot);
        for (int i = j + 1; i < n; i++) column[i] = A[(size_t)i * n + j] /= root;
        for (int i = j + 1; i < n; i++) {
            double *row = A + (size_t)i * n, factor = column[i];
            for (int k = j + 1; k <= i; k++) row[k] -= factor * column[k];
        }
    }
    return -1;
}

bool ps_cholesky(double *A, int n) {
    double least[WIDE_MOST], column[WIDE_MOST];
    if (n < WIDE_LEAST || n > WIDE_MOST) return cholesky_small(A, n);
    for (int i = 0; i < n; i++) least[i] = n * pivot_least * A[(size_t)i * n + i];
    return ps_cholesky_columns(A, n, least, column) < 0;
}

void ps_cholesky_forward(const double *L, int n, double *b) {
    for (int i = 0; i < n; i++) {
        const double *row = L + (size_t)i * n;
        double sum = b[i];
        for (int k = 0; k < i; k++) sum -= row[k] * b[k];
        b[i] = sum / row[i];
    }
}

void ps_cholesky_backward(const double *L, int n, double *b) {
    for (int i = n - 1; i >= 0; i--) {
        b[i] /= L[(size_t)i * n + i];
        for (int k = 0; k < i; k++) b[k] -= L[(size_t)i * n + k] * b[i];
    }
}

void ps_cholesky_solve(const double *L, int n, double *b) {
    ps_cholesky_forward(L, n, b);
    ps_cholesky_backward(L, n, b);
}

void ps_cholesky_inverse(const double *L, int n, double *inverse) {
    /* The inverse is symmetric, so row j of the result serves as the workspace of column j. */
    for (int j = 0; j < n; j++) {
        double *row = inverse + (size_t)j * n;
        memset(row, 0, (size_t)n * sizeof *row);
        row[j] = 1;
        for (int i = j; i < n; i++) { /* what stands before j stays 0 */
            const double *factor = L + (size_t)i * n;
            double sum = row[i];
            for (int k = j; k < i; k++) sum -= factor[k] * row[k];
            row[i] = sum / factor[i];
        }
        ps_cholesky_backward(L, n, row);
    }
    for (int i = 0; i < n; i++)
        for (int j = 0; j < i; j++) {
            double mean = (inverse[(size_t)i * n + j] + inverse[(size_t)j * n + i]) / 2;
            inverse[(size_t)i * n + j] = inverse[(size_t)j * n + i] = mean;
        }
}

PS_WIDE double ps_quadratic(const double *A, int n, const double *v) {
    enum { BLOCK = 64 };
    double sum = 0, line[BLOCK];
    for (int from = 0; from < n; from += BLOCK) {
        int count = n - from < BLOCK ? n - from : BLOCK;
        memset(line, 0, sizeof line);
        for (int j = 0; j < n; j++) { /* row j for column j: sums that do not wait for each other */
            const double *row = A + (size_t)j * n + from;
            for (int i = 0; i < count; i++) line[i] += row[i] * v[j];
        }
        for (int i = 0; i < count; i++) sum += v[from + i] * line[i];
    }
    return sum;
}

/* Rotates rows and columns p < q of A so that A[p][q] = 0, and V alike (Golub & Van Loan, section 8.5). */
static void jacobi_rotate(double *A, double *V, int n, int p, int q) {
    double apq = A[(size_t)p * n + q];
    if (apq == 0) return;
    double theta = (A[(size_t)q * n + q] - A[(size_t)p * n + p]) / (2 * apq);
    double t = (theta >= 0 ? 1 : -1) / (fabs(theta) + hypot(theta, 1)), c = 1 / hypot(t, 1), s = t * c;
    for (int k = 0; k < n; k++) {
        double *row = A + (size_t)k * n, x = row[p], y = row[q];
        row[p] = c * x - s * y;
        row[q] = s * x + c * y;
    }
    for (int k = 0; k < n; k++) {
        double *x = A + (size_t)p * n + k, *y = A + (size_t)q * n + k, old = *x;
        *x = c * old - s * *y;
        *y = s * old + c * *y;
    }
    A[(size_t)p * n + q] = A[(size_t)q * n + p] = 0;
    for (int k = 0; k < n; k++) {
        double *row = V + (size_t)k * n, x = row[p], y = row[q];
        row[p] = c * x - s * y;
        row[q] = s * x + c * y;
    }
}

static void eigen_sort(double *values, double *V, int n) {
    for (int i = 0; i < n - 1; i++) {
        int least = i;
        for (int j = i + 1; j < n; j++)
            if (values[j] < values[least]) least = j;
        if (least == i) continue;
        double swap = values[i];
        values[i] = values[least];
        values[least] = swap;
        for (int k = 0; k < n; k++) {
            double *row = V + (size_t)k * n, x = row[i];
            row[i] = row[least];
            row[least] = x;
        }
    }
}

bool ps_eigen_symmetric(double *A, int n, double *values, double *V) {
    enum { SWEEPS = 60 }; /* convergence is quadratic: six to ten sweeps are usual */
    memset(V, 0, (size_t)n * (size_t)n * sizeof *V);
    double all = 0;
    for (int i = 0; i < n; i++) {
        V[(size_t)i * n + i] = 1;
        for (int j = 0; j < n; j++) all += A[(size_t)i * n + j] * A[(size_t)i * n + j];
    }
    if (!isfinite(all)) return false;
    bool settled = false;
    for (int sweep = 0; sweep < SWEEPS && !settled; sweep++) {
        double off = 0;
        for (int p = 0; p < n; p++)
            for (int q = p + 1; q < n; q++) off += A[(size_t)p * n + q] * A[(size_t)p * n + q];
        settled = off <= DBL_EPSILON * DBL_EPSILON * 1e-4 * all;
        for (int p = 0; p < n && !settled; p++)
            for (int q = p + 1; q < n; q++) jacobi_rotate(A, V, n, p, q);
    }
    for (int i = 0; i < n; i++) values[i] = A[(size_t)i * n + i];
    eigen_sort(values, V, n);
    return settled;
}

bool ps_linear_solve(double *A, double *b, int n) {
    for (int c = 0; c < n; c++) {
        int best = c;
        double largest = 0;
        for (int i = c; i < n; i++)
            if (fabs(A[(size_t)i * n + c]) > fabs(A[(size_t)best * n + c])) best = i;
        for (int k = c; k < n; k++) largest = fmax(largest, fabs(A[(size_t)best * n + k]));
        double pivot = A[(size_t)best * n + c];
        if (!(fabs(pivot) > DBL_EPSILON * largest) || !isfinite(pivot)) return false;
        for (int k = 0; k < n && best != c; k++) {
            double swap = A[(size_t)c * n + k];
            A[(size_t)c * n + k] = A[(size_t)best * n + k];
            A[(size_t)best * n + k] = swap;
        }
        double swap = b[c];
        b[c] = b[best];
        b[best] = swap;
        for (int i = c + 1; i < n; i++) {
            double factor = A[(size_t)i * n + c] / pivot;
            for (int k = c; k < n; k++) A[(size_t)i * n + k] -= factor * A[(size_t)c * n + k];
            b[i] -= factor * b[c];
        }
    }
    for (int i = n - 1; i >= 0; i--) {
        for (int k = i + 1; k < n; k++) b[i] -= A[(size_t)i * n + k] * b[k];
        b[i] /= A[(size_t)i * n + i];
    }
    return true;
}

bool ps_damped_solve(const double *N, const double *g, int n, double lambda, double *x) {
    enum { MOST = 16 };
    double L[MOST * MOST];
    if (n < 1 || n > MOST) return false;
    memcpy(L, N, (size_t)n * (size_t)n * sizeof *L);
    for (int i = 0; i < n; i++) L[i * n + i] *= 1 + lambda;
    if (!ps_cholesky(L, n)) return false;
    memcpy(x, g, (size_t)n * sizeof *x);
    ps_cholesky_solve(L, n, x);
    return true;
}
