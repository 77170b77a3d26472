/* Photo -> pieces of the printed kit: tags say which, saddle corners say where (docs/sighting.md). */
#include <stdlib.h>

#include "target/hunt.h"
#include "target/tags.h"

/* One tag alone may be a misreading; two that agree on one place are not. */
enum { HIDDEN_TAGS_MIN = 2 };

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
        if (!ps_hunt_tags(tags, piece, hunt)) continue;
        if (ps_hunt_corners(luma, hunt, s)) {
            s->piece = piece;
            (void)ps_target_blur(luma, s, &s->blur);
            seen->count++;
        } else if (hunt->tag_count >= HIDDEN_TAGS_MIN)
            seen->hidden[seen->hidden_count++] = piece;
    }
    *out = *seen;
    if (seen->count == 0 && seen->hidden_count)
        status = ps_context_fail(ctx, PS_NOT_FOUND, "%s is in the photo, but too few of its corners are clear",
                                 ps_kit_piece(seen->hidden[0])->name);
    else if (seen->count == 0)
        status = ps_context_fail(ctx, PS_NOT_FOUND, "no piece of the printed kit found in the photo (%d tags read)", tags->count);
out:
    free(tags);
    free(hunt);
    free(seen);
    return status;
}
