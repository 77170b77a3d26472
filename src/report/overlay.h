/* overlay.h: draws what was measured over one photo. Private to the room. */
#ifndef PINSPAN_REPORT_OVERLAY_H
#define PINSPAN_REPORT_OVERLAY_H

#include <cairo/cairo.h>

#include "pinspan/report.h"

/* The picture: the photo with pieces, rims, axes and labelled sizes drawn in, and with `legend` a strip under it that explains
 * them. Its width is the photo's. *surface (CAIRO_FORMAT_RGB24) is destroyed by the caller. */
ps_status ps_overlay_draw(ps_context *ctx, const ps_record *record, int photo, const ps_colour *colour, bool inch, bool legend,
                          cairo_surface_t **surface);
/* The photo alone, RGB24 as above. */
cairo_surface_t *ps_overlay_surface(const ps_colour *colour);
/* Adds the ellipse (upright px; `scale` picture px for one) to the path of cr. False, and nothing added, where it cannot be drawn. */
bool ps_overlay_ellipse(cairo_t *cr, const ps_ellipse *e, double scale);

#endif
