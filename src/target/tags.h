/* tags.h: tag identity. A thin wrapper around libapriltag; tags say which square is where, saddle corners measure. */
#ifndef PINSPAN_TARGET_TAGS_H
#define PINSPAN_TARGET_TAGS_H

#include "pinspan/photo.h"

enum { PS_TAGS_MAX = 512 };

/* A decoded tag of family 36h11, in the given image's pixels (centre of the top-left pixel = (0, 0)). */
typedef struct ps_tag_seen {
    int id, hamming;
    double margin;          /* libapriltag's decision margin, grey levels */
    double corner_px[4][2]; /* of the black border: top-left, top-right, bottom-right, bottom-left of the upright tag */
    double centre_px[2];
    double cell_px; /* smallest mean cell side on which it was decoded (searched image's pixels) */
} ps_tag_seen;

typedef struct ps_tags {
    int count;
    ps_tag_seen tag[PS_TAGS_MAX];
} ps_tags;

/* Finds tags with the image shrunk `shrink` times (1 = as it is; 0 = enlarged twice). Appends to `out`; where the same id
 * is already there at the same place, the better one is kept. No tag is no failure. Errors: PS_NO_MEMORY, PS_TOO_LARGE. */
ps_status ps_tags_find(ps_context *ctx, const ps_luma *luma, int shrink, ps_tags *out);

/* The same over scales, coarse first, finer only while nothing was found or what was found is small; at each scale where there is clear
 * contrast first, and everywhere only if no tag is there. */
ps_status ps_tags_find_scales(ps_context *ctx, const ps_luma *luma, ps_tags *out);

#endif
