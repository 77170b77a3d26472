/* Gathering products of rows. */
#include "adjust/block.h"

#include <string.h>

#include "base/wide.h"

bool ps_lsq_block_takes(const ps_lsq_block *b, const ps_lsq_row *row) {
    return b->n == row->n && memcmp(b->index, row->index, (size_t)row->n * sizeof *row->index) == 0;
}

void ps_lsq_block_start(ps_lsq_block *b, const ps_lsq_row *row) {
    b->n = row->n;
    memcpy(b->index, row->index, (size_t)row->n * sizeof *row->index);
    memset(b->gradient, 0, sizeof *b->gradient * (size_t)b->n);
    for (int a = 0; a < b->n; a++) memset(b->product + (size_t)a * PS_LSQ_BLOCK_MAX, 0, sizeof *b->product * (size_t)b->n);
}

PS_WIDE static void add(double *restrict product, double *restrict gradient, const double *restrict derivative, int n, double weight,
                        double residual) {
    for (int a = 0; a < n; a++) {
        double wa = weight * derivative[a], *line = product + (size_t)a * PS_LSQ_BLOCK_MAX;
        gradient[a] += wa * residual;
        for (int k = 0; k < n; k++) line[k] += wa * derivative[k];
    }
}

void ps_lsq_block_add(ps_lsq_block *b, const ps_lsq_row *row, double weight) {
    add(b->product, b->gradient, row->derivative, b->n, weight, row->residual);
}
