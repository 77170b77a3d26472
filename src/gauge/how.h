/* how.h: how a size is taken by hand. */
#ifndef PINSPAN_GAUGE_HOW_H
#define PINSPAN_GAUGE_HOW_H

#include "pinspan/measure.h"

/* `pins_equal`: both pins are of one diameter, which makes a tape over equal edges give the centres at once. `over`: of a gap, that it is
 * the width over a single boss. */
void ps_gauge_how(ps_side side, ps_kind kind, int role, bool pins_equal, bool over, char how[320]);

#endif
