/* dimensions.h: from the solved adjustment to the dimensions of a side, each with band, verdict, reasons and how to confirm
 * it. docs/verdicts.md says why each doubt stands. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_DIMENSIONS_H
#define PINSPAN_GAUGE_DIMENSIONS_H

#include "pinspan/measure.h"

typedef struct ps_gauge_pin {
    int rim[PS_EDGE_COUNT];         /* adjust rim per near-ear edge, -1 none */
    int photos[PS_EDGE_COUNT];      /* photos whose used trace supports it */
    double arc[PS_EDGE_COUNT];      /* best arc, 0..1 */
    double arc_mean[PS_EDGE_COUNT]; /* over the photos that show the edge */
    bool sure, bush_sure;           /* its section can be read in one way only, as to the pin; as to the bush, too */
    bool found;
    ps_notes doubts;        /* of the pin's diameter, as seen by earlier stages: chamfer, cap ... */
    ps_notes bush_doubts;   /* of the bush */
    ps_notes end_doubts;    /* of the place of the pin's end alone */
    bool bore_near;         /* the bore's edge lies beside the one taken for the pin's, or none is seen about it: they may be one */
    bool unread;            /* too few clear circles to tell which is which */
    bool split, bush_split; /* an edge of the pin's end, of the bush, is another circle in some photos */
    /* What a reading that explains the photos nearly as well says otherwise, 0 without one: of both diameters, of the stand-out. */
    double rival_mm, bush_rival_mm, proud_rival_mm;
    double mixed_mm, bush_mixed_mm; /* the outer edge may have points of its chamfer's inner one, so wide is that */
    bool bush_faint;                /* the circle taken for the bush's outer edge is none of the clearest */
    bool sunk;                      /* what was taken for the end lies in the bore, whose bevel's edge it may be */
    bool crease;                    /* the one edge of its end is seen all round: no outline of something rounded */
    bool coarse;                    /* no photo is fine enough for the two edges of a usual chamfer to show apart */
} ps_gauge_pin;

/* The inward face of one ear's bush, as photos of the gap show it. */
typedef struct ps_gauge_face {
    int rim;       /* adjust rim of its boundary, -1 none */
    int photos;    /* that show it */
    double arc;    /* best, 0..1 */
    double misfit; /* mean square of its points' distances over their sd */
    double radius_mm, height_mm;
    bool flat;             /* the bore's edge is told apart too, and lies in the same plane */
    bool stepped;          /* the chamfer's other edge is told apart, behind it and larger */
    double bore_radius_mm; /* NAN without it */
    double uneven_mm;      /* how far boundary and bore's edge lie apart along the axis, NAN without both */
} ps_gauge_face;

typedef struct ps_gauge_gap {
    bool found;
    bool over;             /* a single boss, whose faces look outward */
    ps_gauge_face face[2]; /* by ps_ear */
} ps_gauge_gap;

typedef struct ps_gauge_input {
    const ps_measure_options *options;
    const ps_adjust_solution *solution; /* NULL: nothing solved */
    ps_gauge_pin pin[PS_ROLE_COUNT];
    int photos_used;
    double direction_spread_deg; /* largest angle between the viewing directions of used photos at the piece */
    bool print_checked_across, print_checked_along;
    int print_count; /* pieces, each with the scale of its print as solved, factor on nominal */
    struct {
        int piece; /* kit index */
        double across, along;
        bool unread; /* a line of it was not read */
    } print[PS_ADJUST_PIECES_MAX];
    bool print_each; /* both lines of each piece are read by themselves, whatever the options hold */
    bool roles_unsure;
    bool boss_one_side;                   /* photos that show no gap may show a boss, but not both of its ends twice */
    double centres_rival_mm;              /* another pair of bodies may be the pins, by so much nearer or farther apart; 0: none */
    ps_notes doubts;                      /* of every value: piece-moved, other-scene, fit-bad, focal-contradicts ... */
    bool lens_known;                      /* focal length from EXIF or a profile was used */
    ps_gauge_gap gap[PS_ROLE_COUNT];      /* of photos that look into the gap */
    const struct ps_gauge_input *gap_job; /* those photos' own adjustment, NULL without */
} ps_gauge_input;

/* doubts.c: the pieces of a solution and their scales, into the input. */
void ps_gauge_prints(const ps_adjust_solution *solution, ps_gauge_input *input);

/* gap_value.c: the gap from face to face with its band, and what speaks against it. PS_NOT_FOUND where a face is missing. */
ps_status ps_gauge_gap_value(ps_context *ctx, const ps_gauge_input *gap_job, int role, ps_quantity *q, int *photos, ps_notes *doubts);

/* Fills record->dimension[] (the five of the side always; bush and stand-out where had) and record->advice. Reads
 * record->side and the photos' problems. PS_BAD_ARGUMENT without options; otherwise fails only out of memory. */
ps_status ps_gauge_dimensions(ps_context *ctx, const ps_gauge_input *input, ps_record *record);

/* What would make the next photos better: from the reasons and photo problems in the record. */
void ps_gauge_advice(ps_record *record);

#endif
