/* marks.h: strokes, styles and text of the marked pictures. Private to the room. */
#ifndef PINSPAN_REPORT_MARKS_H
#define PINSPAN_REPORT_MARKS_H

#include <cairo/cairo.h>
#include <pango/pangocairo.h>

#include "pinspan/measure.h"

typedef enum ps_mark {
    PS_MARK_PIN = 0, /* solid */
    PS_MARK_BUSH,    /* dashed */
    PS_MARK_FACE,    /* dotted: flat faces and bores */
    PS_MARK_OTHER,   /* dash and dot: caps, collars, rings */
    PS_MARK_UNUSED,  /* thin grey: seen, not used */
    PS_MARK_PIECE,
    PS_MARK_CENTRES,
    PS_MARK_COUNT
} ps_mark;

ps_mark ps_mark_of_rim(const ps_record_rim *rim);
const char *ps_mark_text(ps_mark mark); /* for the legend */
void ps_mark_colour(ps_mark mark, double rgb[3]);

/* Strokes the current path in the mark's colour and line style over a dark casing, and clears the path. `unit`: a thousandth of
 * the picture's longer side. */
void ps_mark_stroke(cairo_t *cr, ps_mark mark, double unit);

/* Lays out `text` in bold letters `size` pixels high; width 0: no wrapping. The caller frees with g_object_unref. */
PangoLayout *ps_mark_layout(cairo_t *cr, const char *text, double size, double width);

typedef struct ps_box {
    double x, y, w, h;
} ps_box;

#endif
