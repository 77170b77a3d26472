/* kit_sheet.c: text, lines and pieces on a page of the printed kit. */
#include "target/kit_sheet.h"

#include <math.h>
#include <pango/pangocairo.h>
#include <stdlib.h>

static const double half_pi = 1.57079632679489661923;

/* Sets the layout for one text; the layout is shared so that the font is looked up once per style. */
static void set_text(const ps_sheet *sheet, double width_mm, ps_text_style style, const char *text) {
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family_static(font, "DejaVu Sans");
    pango_font_description_set_absolute_size(font, style.size_mm * PANGO_SCALE);
    if (style.bold) pango_font_description_set_weight(font, PANGO_WEIGHT_BOLD);
    pango_layout_set_font_description(sheet->layout, font);
    pango_font_description_free(font);
    pango_layout_set_width(sheet->layout, width_mm > 0 ? (int)lround(width_mm * PANGO_SCALE) : -1);
    PangoAlignment place = style.place == PS_TEXT_CENTRE  ? PANGO_ALIGN_CENTER
                           : style.place == PS_TEXT_RIGHT ? PANGO_ALIGN_RIGHT
                                                          : PANGO_ALIGN_LEFT;
    pango_layout_set_alignment(sheet->layout, place);
    pango_layout_set_text(sheet->layout, text, -1);
}

double ps_sheet_text(const ps_sheet *sheet, double x_mm, double y_mm, double width_mm, ps_text_style style, const char *text) {
    set_text(sheet, width_mm, style, text);
    int width, height;
    pango_layout_get_size(sheet->layout, &width, &height);
    if (width_mm <= 0 && style.place == PS_TEXT_CENTRE) x_mm -= 0.5 * width / PANGO_SCALE;
    if (width_mm <= 0 && style.place == PS_TEXT_RIGHT) x_mm -= (double)width / PANGO_SCALE;
    cairo_move_to(sheet->cr, x_mm, y_mm);
    pango_cairo_show_layout(sheet->cr, sheet->layout);
    return (double)height / PANGO_SCALE;
}

void ps_sheet_text_upward(const ps_sheet *sheet, double x_mm, double y_mm, ps_text_style style, const char *text) {
    cairo_save(sheet->cr);
    cairo_translate(sheet->cr, x_mm, y_mm);
    cairo_rotate(sheet->cr, -half_pi);
    ps_sheet_text(sheet, 0, 0, 0, style, text);
    cairo_restore(sheet->cr);
}

void ps_sheet_line(const ps_sheet *sheet, double x1_mm, double y1_mm, double x2_mm, double y2_mm, double width_mm) {
    cairo_set_line_width(sheet->cr, width_mm);
    cairo_move_to(sheet->cr, x1_mm, y1_mm);
    cairo_line_to(sheet->cr, x2_mm, y2_mm);
    cairo_stroke(sheet->cr);
}

/* Thin enough to be read to a tenth of a millimetre, thick enough for a poor printer. */
static const double check_stroke_mm = 0.25;
static const double check_tick_mm = 1.8; /* half length of an end tick */

void ps_sheet_check_across(const ps_sheet *sheet, double x_mm, double y_mm) {
    double end = x_mm + PS_CHECK_ACROSS_MM;
    ps_sheet_line(sheet, x_mm, y_mm, end, y_mm, check_stroke_mm);
    ps_sheet_line(sheet, x_mm, y_mm - check_tick_mm, x_mm, y_mm + check_tick_mm, check_stroke_mm);
    ps_sheet_line(sheet, end, y_mm - check_tick_mm, end, y_mm + check_tick_mm, check_stroke_mm);
}

void ps_sheet_check_along(const ps_sheet *sheet, double x_mm, double y_mm) {
    double end = y_mm + PS_CHECK_ALONG_MM;
    ps_sheet_line(sheet, x_mm, y_mm, x_mm, end, check_stroke_mm);
    ps_sheet_line(sheet, x_mm - check_tick_mm, y_mm, x_mm + check_tick_mm, y_mm, check_stroke_mm);
    ps_sheet_line(sheet, x_mm - check_tick_mm, end, x_mm + check_tick_mm, end, check_stroke_mm);
}

void ps_sheet_arrow(const ps_sheet *sheet, double x_mm, double y_mm, double length_mm, double head_mm) {
    double end = x_mm + length_mm;
    ps_sheet_line(sheet, x_mm, y_mm, end - head_mm, y_mm, 0.25 * head_mm);
    cairo_move_to(sheet->cr, end, y_mm);
    cairo_line_to(sheet->cr, end - head_mm, y_mm - 0.5 * head_mm);
    cairo_line_to(sheet->cr, end - head_mm, y_mm + 0.5 * head_mm);
    cairo_close_path(sheet->cr);
    cairo_fill(sheet->cr);
}

void ps_sheet_cut(const ps_sheet *sheet, double x_mm, double y_mm, double width_mm, double height_mm) {
    static const double dashes_mm[2] = {2.0, 1.5};
    cairo_save(sheet->cr);
    cairo_set_dash(sheet->cr, dashes_mm, 2, 0);
    cairo_set_line_width(sheet->cr, 0.2);
    if (height_mm > 0)
        cairo_rectangle(sheet->cr, x_mm, y_mm, width_mm, height_mm);
    else {
        cairo_move_to(sheet->cr, x_mm, y_mm);
        cairo_line_to(sheet->cr, x_mm + width_mm, y_mm);
    }
    cairo_stroke(sheet->cr);
    cairo_restore(sheet->cr);
}

/* Four lines and not cairo_rectangle: neighbours then share the same rounded coordinates and leave no seam. */
static void box(cairo_t *cr, double x1, double y1, double x2, double y2) {
    cairo_move_to(cr, x1, y1);
    cairo_line_to(cr, x2, y1);
    cairo_line_to(cr, x2, y2);
    cairo_line_to(cr, x1, y2);
    cairo_close_path(cr);
}

/* The whole tag black, then all white modules as one path: two fills without a seam between modules. */
static void draw_tag(const ps_sheet *sheet, int id, const double centre_mm[2], double side_mm) {
    image_u8_t *image = apriltag_to_image(sheet->family, (uint32_t)id);
    if (image == NULL) return;
    cairo_t *cr = sheet->cr;
    double module = side_mm / sheet->family->width_at_border;
    double left = centre_mm[0] - 0.5 * side_mm, top = centre_mm[1] - 0.5 * side_mm;
    box(cr, left, top, left + side_mm, top + side_mm);
    cairo_fill(cr);
    /* The library's picture has a white border around the tag's black one. */
    int border = (sheet->family->total_width - sheet->family->width_at_border) / 2;
    for (int row = 0; row < sheet->family->width_at_border; row++)
        for (int column = 0; column < sheet->family->width_at_border; column++)
            if (image->buf[(row + border) * image->stride + column + border] > 127)
                box(cr, left + column * module, top + row * module, left + (column + 1) * module, top + (row + 1) * module);
    cairo_set_source_rgb(cr, 1, 1, 1);
    cairo_fill(cr);
    cairo_set_source_rgb(cr, 0, 0, 0);
    free(image->buf); /* Debian's library does not export image_u8_destroy */
    free(image);
}

void ps_sheet_piece(const ps_sheet *sheet, const ps_piece *piece, double x_mm, double y_mm) {
    double s = piece->square_mm;
    for (int row = 0; row < piece->rows; row++)
        for (int column = row % 2; column < piece->columns; column += 2)
            box(sheet->cr, x_mm + column * s, y_mm + row * s, x_mm + (column + 1) * s, y_mm + (row + 1) * s);
    cairo_fill(sheet->cr);
    for (int n = 0; n < piece->tag_count; n++) {
        double centre_mm[2];
        ps_piece_tag_centre(piece, n, centre_mm);
        centre_mm[0] += x_mm;
        centre_mm[1] += y_mm;
        draw_tag(sheet, piece->first_tag + n, centre_mm, piece->tag_side_mm);
    }
}
