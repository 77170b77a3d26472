/* facts.h: what the solution says of each rim, read once, so that doubts are a matter of plain numbers. */
#ifndef PINSPAN_GAUGE_FACTS_H
#define PINSPAN_GAUGE_FACTS_H

#include "gauge/dimensions.h"

typedef struct ps_rim_fact {
    bool had;
    bool on_pin; /* turned on the pin, finer than a bush is */
    ps_quantity diameter;
    double height_mm;
    int photos;
    double arc, arc_mean;
    double aside_mm; /* of the circle's centre from the pin's axis */
    double misfit;   /* mean square of (distance of an edge point from the rim / its sd) */
    ps_oval oval;    /* all 0 where it was held round */
} ps_rim_fact;

typedef struct ps_gauge_facts {
    bool solved;
    double chi2;
    int dof;
    int axis[PS_ROLE_COUNT]; /* adjust pin, -1 unknown */
    ps_rim_fact rim[PS_ROLE_COUNT][PS_EDGE_COUNT];
    double u_chamfer_mm[PS_ROLE_COUNT]; /* u of the height from pin rim to pin-face; 0 where not both are had */
    /* Photo problems that leave fewer than two photos (of one: none) free of them. */
    ps_notes photo_doubts;
    ps_notes pin_doubts[PS_ROLE_COUNT]; /* the same of a pin's own edge: cut off, blacked or whited out */
} ps_gauge_facts;

ps_status ps_gauge_facts_read(ps_context *ctx, const ps_gauge_input *input, const ps_record *record, ps_gauge_facts *facts);

#endif
