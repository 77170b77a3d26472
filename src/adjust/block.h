/* block.h: products of neighbouring rows that touch the same unknowns, gathered in one place before they go to a large matrix. Private
 * to the adjustment. */
#ifndef PINSPAN_ADJUST_BLOCK_H
#define PINSPAN_ADJUST_BLOCK_H

#include "pinspan/adjust.h"

enum { PS_LSQ_BLOCK_MAX = 64 }; /* unknowns that a row may touch */

typedef struct ps_lsq_block {
    int n, index[PS_LSQ_BLOCK_MAX];                      /* n = 0: empty */
    double gradient[PS_LSQ_BLOCK_MAX];                   /* sum of w J r */
    double product[PS_LSQ_BLOCK_MAX * PS_LSQ_BLOCK_MAX]; /* sum of w J J', rows PS_LSQ_BLOCK_MAX apart, n x n filled */
} ps_lsq_block;

/* Whether the row touches the block's unknowns, in its order. */
bool ps_lsq_block_takes(const ps_lsq_block *b, const ps_lsq_row *row);
/* Empty, for rows like this one. */
void ps_lsq_block_start(ps_lsq_block *b, const ps_lsq_row *row);
void ps_lsq_block_add(ps_lsq_block *b, const ps_lsq_row *row, double weight);

#endif
