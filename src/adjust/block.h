/* block.h: products of neighbouring rows that touch the same unknowns, gathered in one place before they go to a large matrix. Private
 * to the adjustment. */
#ifndef PINSPAN_ADJUST_BLOCK_H
#define PINSPAN_ADJUST_BLOCK_H

#include "pinspan/adjust.h"

enum {
    PS_LSQ_BLOCK_MAX = 64, /* unknowns that a row may touch; a multiple of 4 */
    PS_LSQ_BLOCK_ROWS = 4  /* rows that are multiplied together: going over the matrix costs more than they do */
};

typedef struct ps_lsq_block {
    int n, index[PS_LSQ_BLOCK_MAX];                      /* n = 0: empty */
    int waiting;                                         /* rows that are not in the product yet */
    double gradient[PS_LSQ_BLOCK_MAX];                   /* sum of w J r */
    double product[PS_LSQ_BLOCK_MAX * PS_LSQ_BLOCK_MAX]; /* sum of w J J': ps_lsq_block_product */
    double row[PS_LSQ_BLOCK_ROWS][PS_LSQ_BLOCK_MAX], weight[PS_LSQ_BLOCK_ROWS];
} ps_lsq_block;

/* Whether the row touches the block's unknowns, in its order. */
bool ps_lsq_block_takes(const ps_lsq_block *b, const ps_lsq_row *row);
/* Empty, for rows like this one. */
void ps_lsq_block_start(ps_lsq_block *b, const ps_lsq_row *row);
void ps_lsq_block_add(ps_lsq_block *b, const ps_lsq_row *row, double weight);
/* Before the product is looked at: multiplies what waits. */
void ps_lsq_block_finish(ps_lsq_block *b);
/* Sum of w J_i J_k; only one half is kept. */
static inline double ps_lsq_block_product(const ps_lsq_block *b, int i, int k) {
    return b->product[i > k ? i * PS_LSQ_BLOCK_MAX + k : k * PS_LSQ_BLOCK_MAX + i];
}

#endif
