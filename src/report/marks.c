/* Strokes, styles and text of the marked pictures. Colours differ in brightness as well as in hue, and every kind of line has a
 * style of its own, so that they can be told apart without seeing colours. */
#include "report/marks.h"

typedef struct style {
    const char *text;
    double rgb[3];
    double width; /* in units */
    double dash[4];
    int dashes;
} style;

static const style styles[PS_MARK_COUNT] = {
    [PS_MARK_PIN] = {"pin edge", {1.00, 0.25, 0.85}, 2.2, {0}, 0},
    [PS_MARK_BUSH] = {"bush edge", {0.15, 0.90, 1.00}, 2.0, {9, 5}, 2},
    [PS_MARK_FACE] = {"face or bore edge", {1.00, 1.00, 1.00}, 1.1, {2, 4}, 2},
    [PS_MARK_OTHER] = {"cap, collar, ring", {1.00, 0.62, 0.20}, 1.3, {9, 3, 2, 3}, 4},
    [PS_MARK_UNUSED] = {"seen, not used", {0.75, 0.75, 0.75}, 0.9, {4, 6}, 2},
    [PS_MARK_PIECE] = {"printed piece", {0.55, 1.00, 0.35}, 1.2, {0}, 0},
    [PS_MARK_CENTRES] = {"pin axes and centre distance", {1.00, 0.95, 0.35}, 1.5, {0}, 0},
};

ps_mark ps_mark_of_rim(const ps_record_rim *rim) {
    if (!rim->used) return PS_MARK_UNUSED;
    switch (rim->edge) {
    case PS_EDGE_PIN:
        return PS_MARK_PIN;
    case PS_EDGE_BUSH:
        return PS_MARK_BUSH;
    case PS_EDGE_PIN_FACE:
    case PS_EDGE_BUSH_FACE:
    case PS_EDGE_BUSH_BORE:
        return PS_MARK_FACE;
    default:
        return PS_MARK_OTHER;
    }
}

const char *ps_mark_text(ps_mark mark) {
    return styles[mark].text;
}

void ps_mark_colour(ps_mark mark, double rgb[3]) {
    for (int i = 0; i < 3; ++i) rgb[i] = styles[mark].rgb[i];
}

void ps_mark_stroke(cairo_t *cr, ps_mark mark, double unit) {
    const style *s = &styles[mark];
    double dash[4], width = s->width * unit;
    for (int i = 0; i < s->dashes; ++i) dash[i] = s->dash[i] * unit;
    cairo_set_line_cap(cr, CAIRO_LINE_CAP_BUTT);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    cairo_set_dash(cr, NULL, 0, 0);
    cairo_set_source_rgba(cr, 0, 0, 0, 0.55);
    cairo_set_line_width(cr, width + 1.4 * unit);
    cairo_stroke_preserve(cr);
    cairo_set_dash(cr, dash, s->dashes, 0);
    cairo_set_source_rgb(cr, s->rgb[0], s->rgb[1], s->rgb[2]);
    cairo_set_line_width(cr, width);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
}

PangoLayout *ps_mark_layout(cairo_t *cr, const char *text, double size, double width) {
    PangoLayout *layout = pango_cairo_create_layout(cr);
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family_static(font, "Sans");
    pango_font_description_set_weight(font, PANGO_WEIGHT_BOLD);
    pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    if (width > 0) {
        pango_layout_set_width(layout, (int)(width * PANGO_SCALE));
        pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    }
    pango_layout_set_text(layout, text, -1);
    return layout;
}
