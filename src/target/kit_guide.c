/* kit_guide.c: the first page of the printed kit, for people who have never done this. */
#include "target/kit_sheet.h"

typedef struct section {
    const char *title;
    const char *lines[7];
} section;

static const section safety = {
    "Safety comes first",
    {"Attachment flat on firm ground, arm lowered, engine off, key out.",
     "Nobody under, or in the swing of, anything raised. A pin or coupler that looks engaged may not be.",
     "Keep hands, head and body out of joints and from between the ears.",
     "Never take a photo from under a raised attachment, or of a pin being moved. Do not move, loosen or drive a pin for a photo.",
     "The machine's manual, local rules and licensed practice go before anything on this page.", NULL}};

static const section steps[] = {
    {"1  Print",
     {"Print at 100 % (\"actual size\", no \"fit to page\") on plain matt paper. No laminate, no plastic sleeve.",
      "Plates for pins more than 300 mm apart, a patch for 150 to 400 mm, a mini (or a patch) below that. "
      "One sheet is enough; two make the result better.",
      NULL}},
    {"2  Measure the check lines",
     {"On the day, beside the machine: paper grows and shrinks with damp.",
      "Measure both lines of each page that you use, from the middle of one end tick to the middle of the other: the 140 mm line with "
      "calipers, the 200 mm line with a steel rule.",
      "Write down what you read, to the tenth of a millimetre if you can, even where it is not 140 or 200. "
      "The program needs it: without it no size counts as good.",
      NULL}},
    {"3  Fix the sheet",
     {"Wipe the steel dry. Put the sheet between, beside or below the pins, on the same ear plate, close to the pins.",
      "Arrow toward the dipper pin, as in the drawing.",
      "Flat: tape or magnets at the corners, outside the squares; in wind tape all edges. On greasy, ribbed or curved steel fix the "
      "sheet to a flat, stiff board first. Nobody holds it by hand.",
      NULL}},
    {"4  Take the photos",
     {"Main lens, no zoom, no flash, the same phone for all. Both pins and the whole sheet fill the picture, sharp.",
      "Three or four photos, each from another side, 20 to 30 degrees apart (about one step to the side, one up). Nothing moves "
      "between photos.",
      "For the gap between the ears add photos that show their inner faces, only of an attachment that stands on the ground and cannot "
      "tip.",
      "Send the original files, not pictures that went through a chat.", NULL}},
};

/* A title and its lines with bullets; returns the height. */
static double draw_section(const ps_sheet *sheet, const section *s, double x_mm, double y_mm, double width_mm, double size_mm) {
    double y = y_mm;
    y += ps_sheet_text(sheet, x_mm, y, width_mm, (ps_text_style){1.2 * size_mm, true, PS_TEXT_LEFT}, s->title) + 0.25 * size_mm;
    for (int i = 0; s->lines[i] != NULL; i++) {
        ps_sheet_text(sheet, x_mm, y, 0, (ps_text_style){size_mm, false, PS_TEXT_LEFT}, "•");
        double indent = 1.2 * size_mm;
        y += ps_sheet_text(sheet, x_mm + indent, y, width_mm - indent, (ps_text_style){size_mm, false, PS_TEXT_LEFT}, s->lines[i]);
        y += 0.25 * size_mm;
    }
    return y - y_mm;
}

void ps_sheet_guide(const ps_sheet *sheet) {
    const double margin = 15.0, size_mm = 3.6, gap = sheet->paper == PS_PAPER_A4 ? 5.0 : 2.5;
    double width = sheet->width_mm - 2 * margin, y = 12.0;
    y += ps_sheet_text(sheet, margin, y, width, (ps_text_style){7.0, true, PS_TEXT_LEFT}, "Pin sizes from photos: printed sheets");
    y += 1.0;
    y += ps_sheet_text(sheet, margin, y, width, (ps_text_style){size_mm, false, PS_TEXT_LEFT},
                       "The program pinspan works out the sizes of the pins of an attachment, and the distances between them, from photos "
                       "that show the pins together with one of these sheets. Read this page once before you start.");
    y += gap;
    double pad = 3.0;
    double height = draw_section(sheet, &safety, margin + pad, y + pad, width - 2 * pad, size_mm) + 2 * pad;
    cairo_set_line_width(sheet->cr, 0.7);
    cairo_rectangle(sheet->cr, margin, y, width, height);
    cairo_stroke(sheet->cr);
    y += height + gap;
    const double unit_mm = sheet->paper == PS_PAPER_A4 ? 0.75 : 0.68;
    ps_sheet_drawing(sheet, margin + 45.0, y, unit_mm, 3.3, true);
    y += unit_mm * 68.0 + gap;
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) y += draw_section(sheet, &steps[i], margin, y, width, size_mm) + 0.5 * gap;
}
