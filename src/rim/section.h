/* section.h: the corners of a body of revolution's half section, named: pin face, pin, bush face, bush. */
#ifndef PINSPAN_RIM_SECTION_H
#define PINSPAN_RIM_SECTION_H

#include "rim/profile.h"

typedef struct ps_section_corner {
    bool found;
    double height_mm, radius_mm;
    double support;    /* joint, 0..1 */
    double prominence; /* over its neighbourhood */
    double clear;      /* strength 0..1 beside what else is on the axis */
} ps_section_corner;

typedef struct ps_section {
    ps_section_corner pin_face, pin, bush_face, bush;
    ps_section_corner
        bore;       /* where a gap was looked for and its edges alone were found: the bore's, and pin_face lies in it, pin is not found */
    bool in_gap;    /* such a gap was found, and what was read as the pin lies in it */
    double wall_mm; /* then: from the edge of the bore to the outer edge of the bush */
    ps_section_corner cap; /* then neither pin nor pin_face is found */
    double size_mm;        /* radius of the pin; of a capped one a guess */
    ps_pin_evidence evidence;
    double score; /* of the whole reading; larger is a larger, clearer pin in a bush */
} ps_section;

/* PS_NOT_FOUND when no pin in a bush can be read there. The axis is moved to where the section is sharpest,
 * unless it is `settled` (from an adjustment). */
ps_status ps_section_read(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, bool settled, ps_axis_guess *axis,
                          ps_section *out);

/* Through settled cameras, on a settled axis: as ps_section_read, but rings about a gap are rather bushes than ends of pins. */
ps_status ps_section_read_gap(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, ps_axis_guess *axis,
                              ps_section *out);

#endif
