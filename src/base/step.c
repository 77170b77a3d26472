/* The table of the error function. */
#include "base/step.h"

#include <math.h>
#include <pthread.h>

static ps_step_node table[PS_STEP_NODES];
static pthread_once_t once = PTHREAD_ONCE_INIT;

static void make(void) {
    for (int i = 0; i < PS_STEP_NODES; i++) {
        double e = (double)i / PS_STEP_A_UNIT - PS_STEP_REACH;
        table[i] = (ps_step_node){erf(e), exp(-e * e)};
    }
}

const ps_step_node *ps_step_table(void) {
    pthread_once(&once, make);
    return table;
}
