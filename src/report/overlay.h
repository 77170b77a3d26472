/* overlay.h: draws what was measured over one photo. Private to the room. */
#ifndef PINSPAN_REPORT_OVERLAY_H
#define PINSPAN_REPORT_OVERLAY_H

#include <cairo/cairo.h>

#include "pinspan/report.h"

/* The picture: the photo with pieces, rims, axes and labelled sizes drawn in, a legend strip under it. Its width is the
 * photo's. *surface (CAIRO_FORMAT_RGB24) is destroyed by the caller. */
ps_status ps_overlay_draw(ps_context *ctx, const ps_record *record, int photo, const ps_colour *colour, bool inch,
                          cairo_surface_t **surface);

#endif
