/* gap.h: the inward bush faces of a pair of ears, from photos that look down between them.
 *
 * The printed piece lies on the cross plate, so the pins run along the world plane z = 0 (the held piece's) or nearly so, some way above
 * it. The faces are seen slanted, two thirds to nine tenths of a right angle off; bores may be empty or a pin stands in them. */
#ifndef PINSPAN_GAP_H
#define PINSPAN_GAP_H

#include "pinspan/rim.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Photos that look down between a pair of ears at a piece on the cross plate: axes along the piece with the inward bush faces of both
 * ears (edge PS_EDGE_OTHER until read again). Near is the ear that stands lower in the first photo; heights run along the axis from
 * far to near. `mask`: the pieces, which are not searched. PS_NOT_FOUND when no pair of faces is there. */
PS_API ps_status ps_rim_gap_find(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_rim_mask *mask,
                                 int masks, const double toward_dipper[2], ps_direction dipper, ps_pin_models *out);

/* Whether two photos at least stand well off on either side of the pieces, as photos of both ends of a boss do. `left`, `right`: how many,
 * toward the pieces' -y and +y, where not NULL. */
PS_API bool ps_rim_boss_sides(int photos, const ps_view *views, const ps_rim_mask *mask, int masks, int *left, int *right);

/* The same for a single boss: the piece lies on a plate beside it, the flat bush faces of its two ends look outward, away from each other,
 * and two photos at least show either end. The axis may lie above or below the plate. PS_NOT_FOUND too where the photos do not stand so. */
PS_API ps_status ps_rim_boss_find(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_rim_mask *mask,
                                  int masks, const double toward_dipper[2], ps_direction dipper, ps_pin_models *out);

/* Reads the bushes' edges again about the axes given and names them: bush-face, bush-bore, bush. `side`: longer side, px, that the photos
 * are read at; `reach_mm`: how far along the axis around the present edges. A bush where nothing can be read keeps its rims. */
PS_API ps_status ps_rim_gap_reread(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, int side,
                                   double reach_mm, ps_pin_models *pins);

#ifdef __cplusplus
}
#endif
#endif
