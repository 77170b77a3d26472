/* Look-up in a pin's model. */
#include "pinspan/rim.h"

int ps_rim_find(const ps_pin_model *pin, ps_edge edge, ps_ear ear) {
    for (int r = 0; r < pin->rim_count; r++)
        if (pin->rim[r].edge == edge && pin->rim[r].ear == ear) return r;
    return -1;
}
