/* Photo -> pieces of the printed kit: tags say which, saddle corners say where (docs/sighting.md). */
#include <stdlib.h>

#include "target/hunt.h"
#include "target/tags.h"

ps_status ps_target_sight(ps_context *ctx, const ps_luma *luma, ps_sightings *out) {
    if (!luma || !out || !luma->px || luma->width <= 0 || luma->height <= 0 || luma->stride < (size_t)luma->width)
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no image to look for the printed kit in");
    ps_tags *tags = malloc(sizeof *tags);
    ps_hunt *hunt = malloc(sizeof *hunt);
    ps_sightings *seen = calloc(1, sizeof *seen);
    ps_status status = PS_OK;
    if (!tags || !hunt || !seen) {
        status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the sighting");
        goto out;
    }
    status = ps_tags_find_scales(ctx, luma, tags);
    if (status != PS_OK) goto out;
    for (int piece = 0; piece < ps_kit_count(); piece++) {
        ps_sighting *s = &seen->piece[seen->count];
        if (!ps_hunt_tags(tags, piece, hunt) || !ps_hunt_corners(luma, hunt, s)) continue;
        s->piece = piece;
        seen->count++;
    }
    if (seen->count == 0) {
        status = ps_context_fail(ctx, PS_NOT_FOUND, "no piece of the printed kit found in the photo (%d tags read)", tags->count);
        goto out;
    }
    *out = *seen;
out:
    free(tags);
    free(hunt);
    free(seen);
    return status;
}
