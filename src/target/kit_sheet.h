/* kit_sheet.h: what a page of the printed kit is drawn with. Private to the room. Everything is in mm on the page,
 * x right, y down, origin at the paper's top-left corner. Failures stay in the cairo surface's status, which the
 * caller reads once at the end. */
#ifndef PINSPAN_TARGET_KIT_SHEET_H
#define PINSPAN_TARGET_KIT_SHEET_H

#include <apriltag/apriltag.h>
#include <cairo/cairo.h>
#include <pango/pango.h>

#include "pinspan/target.h"

/* Many printers leave 5 mm blank; one more keeps strokes clear of it. */
#define PS_SHEET_MARGIN_MM 6.0

typedef struct ps_sheet {
    cairo_t *cr;
    PangoLayout *layout;
    apriltag_family_t *family;
    double width_mm, height_mm;
    ps_paper paper;
} ps_sheet;

typedef enum ps_text_place { PS_TEXT_LEFT = 0, PS_TEXT_CENTRE, PS_TEXT_RIGHT } ps_text_place;

typedef struct ps_text_style {
    double size_mm; /* em */
    bool bold;
    ps_text_place place; /* of the text in the width given, or about x without a width */
} ps_text_style;

/* Text with its top at y; wrapped where width_mm > 0. Returns the height in mm. */
double ps_sheet_text(const ps_sheet *sheet, double x_mm, double y_mm, double width_mm, ps_text_style style, const char *text);
/* The same, reading upward; (x, y) is where the first line's top left corner comes to lie. */
void ps_sheet_text_upward(const ps_sheet *sheet, double x_mm, double y_mm, ps_text_style style, const char *text);

/* Check lines; (x, y) is the left or upper end. */
void ps_sheet_check_across(const ps_sheet *sheet, double x_mm, double y_mm);
void ps_sheet_check_along(const ps_sheet *sheet, double x_mm, double y_mm);

void ps_sheet_line(const ps_sheet *sheet, double x1_mm, double y1_mm, double x2_mm, double y2_mm, double width_mm);
/* An arrow to the right, of the given length, with its point at (x + length, y). */
void ps_sheet_arrow(const ps_sheet *sheet, double x_mm, double y_mm, double length_mm, double head_mm);
/* A dashed rectangle to cut along, or a line where its height is 0. */
void ps_sheet_cut(const ps_sheet *sheet, double x_mm, double y_mm, double width_mm, double height_mm);
/* Squares and tags of a piece; (x, y) is its frame's origin. */
void ps_sheet_piece(const ps_sheet *sheet, const ps_piece *piece, double x_mm, double y_mm);

/* The drawing that shows which pin is which, 100 x 72 units of `unit_mm`; text_mm is the labels' size. `full` adds
 * labels for parts beside the pins. */
void ps_sheet_drawing(const ps_sheet *sheet, double x_mm, double y_mm, double unit_mm, double text_mm, bool full);

/* Page one: what to do and what to beware of. */
void ps_sheet_guide(const ps_sheet *sheet);

#endif
