/* Gathering products of rows. */
#include "adjust/block.h"

#include <string.h>

#include "base/wide.h"

bool ps_lsq_block_takes(const ps_lsq_block *b, const ps_lsq_row *row) {
    return b->n == row->n && memcmp(b->index, row->index, (size_t)row->n * sizeof *row->index) == 0;
}

/* Lines are worked on in whole fours. */
static int whole(int n) {
    return (n + 3) & ~3;
}

void ps_lsq_block_start(ps_lsq_block *b, const ps_lsq_row *row) {
    b->n = row->n;
    b->waiting = 0;
    memcpy(b->index, row->index, (size_t)row->n * sizeof *row->index);
    memset(b->gradient, 0, sizeof *b->gradient * (size_t)b->n);
    for (int a = 0; a < b->n; a++) memset(b->product + (size_t)a * PS_LSQ_BLOCK_MAX, 0, sizeof *b->product * (size_t)whole(b->n));
    for (int i = 0; i < PS_LSQ_BLOCK_ROWS; i++) memset(b->row[i], 0, sizeof b->row[i]);
}

PS_WIDE static void multiply(double *restrict product, const double (*row)[PS_LSQ_BLOCK_MAX], const double *weight, int n) {
    const double *r0 = row[0], *r1 = row[1], *r2 = row[2], *r3 = row[3];
    for (int a = 0; a < n; a++) {
        double w0 = weight[0] * r0[a], w1 = weight[1] * r1[a], w2 = weight[2] * r2[a], w3 = weight[3] * r3[a];
        double *line = product + (size_t)a * PS_LSQ_BLOCK_MAX;
        for (int k = 0; k <= (a | 3); k++) line[k] += (w0 * r0[k] + w1 * r1[k]) + (w2 * r2[k] + w3 * r3[k]);
    }
}

void ps_lsq_block_finish(ps_lsq_block *b) {
    for (int i = b->waiting; i < PS_LSQ_BLOCK_ROWS; i++) b->weight[i] = 0;
    if (b->waiting > 0) multiply(b->product, (const double(*)[PS_LSQ_BLOCK_MAX])b->row, b->weight, b->n);
    b->waiting = 0;
}

void ps_lsq_block_add(ps_lsq_block *b, const ps_lsq_row *row, double weight) {
    double wr = weight * row->residual;
    for (int a = 0; a < b->n; a++) b->gradient[a] += wr * row->derivative[a];
    memcpy(b->row[b->waiting], row->derivative, (size_t)b->n * sizeof *row->derivative);
    b->weight[b->waiting++] = weight;
    if (b->waiting == PS_LSQ_BLOCK_ROWS) ps_lsq_block_finish(b);
}
