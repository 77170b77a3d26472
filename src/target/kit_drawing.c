/* kit_drawing.c: a side view that shows which pin is the dipper pin and which the link pin. Our own drawing; the
 * machine stands to the right, so that +x of the sheet, the arrow and the dipper pin all point right. */
#include "target/kit_sheet.h"

typedef struct place {
    double x, y; /* units of the drawing */
} place;

static const place dipper_pin = {54, 24}, link_pin = {28, 24}, joint = {40, 4}, lever_foot = {76, 13}, dipper_end = {98, 3};

static void closed_white(cairo_t *cr) {
    cairo_close_path(cr);
    cairo_set_source_rgb(cr, 1, 1, 1);
    cairo_fill_preserve(cr);
    cairo_set_source_rgb(cr, 0, 0, 0);
    cairo_stroke(cr);
}

static void bar(cairo_t *cr, place from, place to, double width) {
    cairo_save(cr);
    cairo_set_line_cap(cr, CAIRO_LINE_CAP_ROUND);
    cairo_move_to(cr, from.x, from.y);
    cairo_line_to(cr, to.x, to.y);
    cairo_set_line_width(cr, width);
    cairo_stroke_preserve(cr);
    cairo_set_line_width(cr, width - 1.4);
    cairo_set_source_rgb(cr, 1, 1, 1);
    cairo_stroke(cr);
    cairo_restore(cr);
}

static void disc(cairo_t *cr, place at, double radius, bool black) {
    cairo_new_sub_path(cr);
    cairo_arc(cr, at.x, at.y, radius, 0, 6.28318530717958648);
    if (black)
        cairo_fill(cr);
    else
        closed_white(cr);
}

static void machine(cairo_t *cr) {
    bar(cr, joint, (place){70, 1}, 3.0);
    bar(cr, joint, lever_foot, 3.4);
    cairo_move_to(cr, dipper_pin.x - 3, dipper_pin.y - 4);
    cairo_line_to(cr, dipper_end.x - 4, dipper_end.y - 3);
    cairo_line_to(cr, dipper_end.x + 2, dipper_end.y + 10);
    cairo_line_to(cr, dipper_pin.x + 3, dipper_pin.y + 5);
    closed_white(cr);
    bar(cr, link_pin, joint, 4.6);
    disc(cr, joint, 1.2, true);
    disc(cr, lever_foot, 1.2, true);
}

static void attachment(cairo_t *cr) {
    /* the bowl, flat on the ground, teeth to the right */
    cairo_move_to(cr, 22, 33);
    cairo_curve_to(cr, 6, 40, 8, 64, 24, 67);
    cairo_line_to(cr, 76, 67);
    cairo_line_to(cr, 60, 33);
    closed_white(cr);
    cairo_move_to(cr, 72, 63.5);
    cairo_line_to(cr, 85, 67);
    cairo_line_to(cr, 73, 67);
    closed_white(cr);
    /* the ear plate with both pins */
    cairo_move_to(cr, 20, 33);
    cairo_line_to(cr, 21, 24);
    cairo_arc(cr, link_pin.x, link_pin.y, 7, 3.14159265358979324, 4.71238898038468986);
    cairo_arc(cr, dipper_pin.x, dipper_pin.y, 7, 4.71238898038468986, 6.28318530717958648);
    cairo_line_to(cr, 62, 33);
    closed_white(cr);
    disc(cr, link_pin, 4.4, false);
    disc(cr, dipper_pin, 4.4, false);
    disc(cr, link_pin, 2.6, true);
    disc(cr, dipper_pin, 2.6, true);
}

static void paper_sheet(const ps_sheet *sheet) {
    cairo_t *cr = sheet->cr;
    const double left = 35.0, top = 35.5, side = 4.4;
    cairo_rectangle(cr, left - 1.5, top - 1.5, 4 * side + 3, 5 * side + 6.5);
    closed_white(cr);
    for (int row = 0; row < 5; row++)
        for (int column = row % 2; column < 4; column += 2) cairo_rectangle(cr, left + column * side, top + row * side, side, side);
    cairo_fill(cr);
    ps_sheet_arrow(sheet, left + 1.0, top + 5 * side + 2.5, 4 * side - 2.0, 3.4);
}

static void label(const ps_sheet *sheet, place text, ps_text_style style, const char *words, place from, place to) {
    cairo_t *cr = sheet->cr;
    cairo_move_to(cr, from.x, from.y);
    cairo_line_to(cr, to.x, to.y);
    cairo_set_line_width(cr, 0.5);
    cairo_stroke(cr);
    ps_sheet_text(sheet, text.x, text.y - 0.6 * style.size_mm, 0, style, words);
}

void ps_sheet_drawing(const ps_sheet *sheet, double x_mm, double y_mm, double unit_mm, double text_mm, bool full) {
    cairo_t *cr = sheet->cr;
    double em = text_mm / unit_mm;
    ps_text_style left = {em, true, PS_TEXT_RIGHT}, right = {em, true, PS_TEXT_LEFT}, plain = {em, false, PS_TEXT_LEFT};
    cairo_save(cr);
    cairo_translate(cr, x_mm, y_mm);
    cairo_scale(cr, unit_mm, unit_mm);
    cairo_set_line_width(cr, 0.9);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    machine(cr);
    cairo_set_line_width(cr, 0.9);
    attachment(cr);
    paper_sheet(sheet);
    cairo_move_to(cr, 2, 67.5);
    cairo_line_to(cr, 98, 67.5);
    cairo_stroke(cr);
    label(sheet, (place){10, 24}, left, "link pin", (place){11, 24}, (place){25, 24});
    label(sheet, (place){79, 38}, right, "dipper pin", (place){78, 38}, (place){57, 25});
    if (full) {
        label(sheet, (place){84, 22}, plain, "dipper (also called\nstick or arm)", (place){83, 22}, (place){78, 15});
        label(sheet, (place){10, 8}, (ps_text_style){em, false, PS_TEXT_RIGHT}, "bucket link", (place){11, 8}, (place){36, 11});
        label(sheet, (place){79, 52}, plain, "printed sheet", (place){78, 52}, (place){54, 50});
    } else {
        label(sheet, (place){104, 10}, plain, "dipper (stick, arm)", (place){103, 10}, (place){94, 9});
    }
    cairo_restore(cr);
}
