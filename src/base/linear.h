/* linear.h: small dense linear algebra, row-major, without allocation. Private to the library.
 *
 * Nothing here is tuned for size: the largest caller with a fixed size is the 9x9 of a homography. Functions that
 * take `n` work in the caller's memory, so they serve the adjustment too.
 */
#ifndef PINSPAN_BASE_LINEAR_H
#define PINSPAN_BASE_LINEAR_H

#include <stdbool.h>

#define PS_PI 3.14159265358979323846

/* ---- vectors of 3 and 3x3 matrices; outputs may not alias inputs unless said so ---- */
double ps_dot3(const double a[3], const double b[3]);
double ps_norm3(const double a[3]);
void ps_cross3(const double a[3], const double b[3], double out[3]);
bool ps_unit3(double a[3]); /* in place; false (unchanged) when the length is 0 or not finite */
void ps_mat3_mul(const double A[9], const double B[9], double out[9]);
void ps_mat3_mul_vec(const double A[9], const double x[3], double out[3]);
void ps_mat3_tmul_vec(const double A[9], const double x[3], double out[3]); /* transpose(A) x */
void ps_mat3_transpose(const double A[9], double out[9]);
double ps_mat3_det(const double A[9]);
/* False when the determinant is 0 within rounding (relative to the entries); `out` may alias A. */
bool ps_mat3_inverse(const double A[9], double out[9]);

/* ---- n x n ---- */
/* In place: the lower triangle of A becomes L with A = L L'. The upper triangle is neither read nor written.
 * False when A is not positive definite within rounding (a pivot under n * 1e-15 of its diagonal entry). */
bool ps_cholesky(double *A, int n);
/* The same with limits of one's own, a column of the factor at a time: subtractions that do not wait for each other, quicker for many
 * unknowns. Returns -1, or the first place whose pivot is not above least[] of it. least, column: n entries, column is room. */
int ps_cholesky_columns(double *A, int n, const double *least, double *column);
/* Solves L L' x = b in place. */
void ps_cholesky_solve(const double *L, int n, double *b);
/* L x = b and L' x = b, in place. */
void ps_cholesky_forward(const double *L, int n, double *b);
void ps_cholesky_backward(const double *L, int n, double *b);
/* inverse = (L L')^-1, full and symmetric; n x n, may not alias L. */
void ps_cholesky_inverse(const double *L, int n, double *inverse);

/* v'Av of a symmetric A, both triangles of it filled. */
double ps_quadratic(const double *A, int n, const double *v);

/* Eigenvalues (ascending) and eigenvectors of the symmetric A by cyclic Jacobi rotations; A is destroyed. Vector k is
 * column k of V (n x n). False when it does not settle, which only non-finite input does. */
bool ps_eigen_symmetric(double *A, int n, double *values, double *V);

/* A x = b by elimination with row pivoting; A and b are destroyed, b becomes x. False when singular. */
bool ps_linear_solve(double *A, double *b, int n);

/* One step of damped least squares: solves (N + lambda diag(N)) x = g, where only the lower triangle of N (n x n,
 * n <= 16) is read. N and g stay. False when the matrix is not positive definite. */
bool ps_damped_solve(const double *N, const double *g, int n, double lambda, double *x);

#endif
