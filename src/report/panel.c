/* The boxes with sizes in a marked picture: their text, their place, their drawing. */
#include "report/panel.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "report/words.h"

/* In units of a thousandth of the longer side: large enough for a phone held upright. */
static const double text_units = 25, swatch_units = 40, gap_units = 10, pad_units = 10;

static const double verdict_rgb[3][3] = {
    [PS_VERDICT_MISSING] = {1.00, 0.55, 0.50}, [PS_VERDICT_CONFIRM] = {1.00, 0.78, 0.25}, [PS_VERDICT_GOOD] = {0.45, 1.00, 0.50}};

void ps_panel_add_dimension(ps_panel *panel, const ps_dimension *d, int mark, bool inch) {
    if (panel->rows >= PS_PANEL_ROWS) return;
    static const char *const name[PS_KIND_COUNT] = {"gap", "pin", "centres", "bush", "stand-out"};
    ps_panel_row *row = &panel->row[panel->rows++];
    bool has = ps_words_has_value(d);
    *row = (ps_panel_row){.mark = mark, .verdict_shown = true, .verdict = has ? d->verdict : PS_VERDICT_MISSING};
    char band[48] = "";
    if (has) ps_words_band(d->value_mm, d->U_mm, false, band, sizeof band);
    int n = snprintf(row->text, sizeof row->text, has ? "%s %s mm" : "%s%s",
                     d->kind == PS_KIND_GAP && d->over ? "over boss" : name[d->kind], band);
    if (has && inch && n < (int)sizeof row->text)
        (void)snprintf(row->text + n, sizeof row->text - (size_t)n, " (%.*f in)", ps_words_decimals(d->U_mm) + 1, d->value_mm / 25.4);
}

typedef struct row_size {
    double text_w, verdict_w, h;
} row_size;

static row_size measure_row(cairo_t *cr, const ps_panel_row *row, double size) {
    int w, h;
    row_size s = {0, 0, 0};
    PangoLayout *layout = ps_mark_layout(cr, row->text, size, 0);
    pango_layout_get_pixel_size(layout, &w, &h);
    g_object_unref(layout);
    s.text_w = w;
    s.h = h;
    if (row->verdict_shown) {
        layout = ps_mark_layout(cr, ps_verdict_word(row->verdict), size, 0);
        pango_layout_get_pixel_size(layout, &w, &h);
        g_object_unref(layout);
        s.verdict_w = w;
    }
    return s;
}

static void measure_panel(cairo_t *cr, ps_panel *panel, double unit) {
    double w = 0, h = 2 * pad_units * unit;
    for (int i = 0; i < panel->rows; ++i) {
        const ps_panel_row *row = &panel->row[i];
        row_size s = measure_row(cr, row, text_units * unit);
        double width =
            s.text_w + (row->mark >= 0 ? (swatch_units + gap_units) * unit : 0) + (row->verdict_shown ? s.verdict_w + gap_units * unit : 0);
        w = fmax(w, width);
        h += s.h;
    }
    panel->box.w = w + 2 * pad_units * unit;
    panel->box.h = h;
}

static double overlap(const ps_box *a, const ps_box *b) {
    double w = fmin(a->x + a->w, b->x + b->w) - fmax(a->x, b->x), h = fmin(a->y + a->h, b->y + b->h) - fmax(a->y, b->y);
    return w > 0 && h > 0 ? w * h : 0;
}

/* Share of the pointer from the middle of `box` to `tip` that runs through `other`. */
static double pointer_through(const ps_box *box, const double tip[2], const ps_box *other) {
    int inside = 0;
    for (int i = 0; i < 20; ++i) {
        double t = i / 19.0, x = (1 - t) * (box->x + box->w / 2) + t * tip[0], y = (1 - t) * (box->y + box->h / 2) + t * tip[1];
        inside += x > other->x && x < other->x + other->w && y > other->y && y < other->y + other->h;
    }
    return inside / 20.0;
}

/* What a place costs, in areas of itself: covering a pin is far worse than covering a printed piece, panels and pointers must not
 * cross, and near its subject is better. */
static double place_cost(const ps_panels *panels, int index, const ps_box *box) {
    const ps_panel *p = &panels->panel[index];
    double area = box->w * box->h, cost = 0, far_px = 250 * panels->unit;
    for (int i = 0; i < panels->obstacles; ++i) cost += overlap(box, &panels->obstacle[i]) / area;
    for (int i = 0; i < panels->count; ++i) cost += 20 * overlap(box, &panels->panel[i].around) / area;
    for (int i = 0; i < index; ++i) {
        const ps_panel *placed = &panels->panel[i];
        cost += 100 * overlap(box, &placed->box) / area;
        cost += 4 * pointer_through(box, p->tip, &placed->box) + 4 * pointer_through(&placed->box, placed->tip, box);
    }
    return cost + hypot(box->x + box->w / 2 - p->tip[0], box->y + box->h / 2 - p->tip[1]) / far_px;
}

static double clamp(double value, double low, double high) {
    return value < low || high < low ? low : value > high ? high : value;
}

void ps_panels_place(cairo_t *cr, ps_panels *panels) {
    enum { STEPS = 40 };
    double edge = 6 * panels->unit;
    for (int i = 0; i < panels->count; ++i) {
        ps_panel *p = &panels->panel[i];
        measure_panel(cr, p, panels->unit);
        double best = INFINITY, room_x = fmax(panels->width - 2 * edge - p->box.w, 0),
               room_y = fmax(panels->height - 2 * edge - p->box.h, 0);
        ps_box b = p->box;
        for (int k = 0; k <= STEPS; ++k)
            for (int m = 0; m <= STEPS; ++m) {
                b.x = edge + room_x * m / STEPS;
                b.y = edge + room_y * k / STEPS;
                double cost = place_cost(panels, i, &b);
                if (!(cost < best)) continue;
                best = cost;
                p->box = b;
            }
    }
}

static void draw_box(cairo_t *cr, const ps_box *b, double radius) {
    cairo_new_sub_path(cr);
    cairo_arc(cr, b->x + b->w - radius, b->y + radius, radius, -1.5707963, 0);
    cairo_arc(cr, b->x + b->w - radius, b->y + b->h - radius, radius, 0, 1.5707963);
    cairo_arc(cr, b->x + radius, b->y + b->h - radius, radius, 1.5707963, 3.1415927);
    cairo_arc(cr, b->x + radius, b->y + radius, radius, 3.1415927, 4.712389);
    cairo_close_path(cr);
}

static void draw_text(cairo_t *cr, const char *text, double x, double y, double size, const double rgb[3]) {
    PangoLayout *layout = ps_mark_layout(cr, text, size, 0);
    cairo_set_source_rgb(cr, rgb[0], rgb[1], rgb[2]);
    cairo_move_to(cr, x, y);
    pango_cairo_show_layout(cr, layout);
    g_object_unref(layout);
    cairo_new_path(cr);
}

static void draw_pointer(cairo_t *cr, const ps_panel *p, double unit) {
    double from_x = clamp(p->tip[0], p->box.x, p->box.x + p->box.w), from_y = clamp(p->tip[1], p->box.y, p->box.y + p->box.h);
    cairo_move_to(cr, from_x, from_y);
    cairo_line_to(cr, p->tip[0], p->tip[1]);
    cairo_set_source_rgba(cr, 0, 0, 0, 0.7);
    cairo_set_line_width(cr, 3 * unit);
    cairo_stroke_preserve(cr);
    cairo_set_source_rgb(cr, 1, 1, 1);
    cairo_set_line_width(cr, 1.4 * unit);
    cairo_stroke(cr);
}

static void draw_panel(cairo_t *cr, const ps_panel *p, double unit) {
    static const double white[3] = {1, 1, 1};
    draw_box(cr, &p->box, 6 * unit);
    cairo_set_source_rgba(cr, 0.04, 0.05, 0.08, 0.82);
    cairo_fill_preserve(cr);
    cairo_set_source_rgba(cr, 1, 1, 1, 0.9);
    cairo_set_line_width(cr, unit);
    cairo_stroke(cr);
    double y = p->box.y + pad_units * unit;
    for (int i = 0; i < p->rows; ++i) {
        const ps_panel_row *row = &p->row[i];
        row_size s = measure_row(cr, row, text_units * unit);
        double x = p->box.x + pad_units * unit;
        if (row->mark >= 0) {
            cairo_move_to(cr, x, y + s.h / 2);
            cairo_line_to(cr, x + swatch_units * unit, y + s.h / 2);
            ps_mark_stroke(cr, (ps_mark)row->mark, 2 * unit);
            x += (swatch_units + gap_units) * unit;
        }
        draw_text(cr, row->text, x, y, text_units * unit, white);
        if (row->verdict_shown)
            draw_text(cr, ps_verdict_word(row->verdict), p->box.x + p->box.w - pad_units * unit - s.verdict_w, y, text_units * unit,
                      verdict_rgb[row->verdict]);
        y += s.h;
    }
}

void ps_panels_draw(cairo_t *cr, const ps_panels *panels) {
    for (int i = 0; i < panels->count; ++i) draw_pointer(cr, &panels->panel[i], panels->unit); /* no pointer over a text */
    for (int i = 0; i < panels->count; ++i) draw_panel(cr, &panels->panel[i], panels->unit);
}

double ps_legend(cairo_t *cr, unsigned shown, const char *remark, double width, double y, double unit, bool draw) {
    static const double white[3] = {1, 1, 1};
    double size = 21 * unit, pad = 12 * unit, swatch = 55 * unit, x = pad, line = 0, top = y;
    y += pad;
    for (int mark = 0; mark < PS_MARK_COUNT; ++mark) {
        if (!(shown >> mark & 1)) continue;
        int w, h;
        PangoLayout *layout = ps_mark_layout(cr, ps_mark_text((ps_mark)mark), size, 0);
        pango_layout_get_pixel_size(layout, &w, &h);
        g_object_unref(layout);
        if (x > pad && x + swatch + pad / 2 + w + pad > width) {
            x = pad;
            y += line;
        }
        line = h * 1.15;
        if (draw) {
            cairo_move_to(cr, x, y + h / 2.0);
            cairo_line_to(cr, x + swatch, y + h / 2.0);
            ps_mark_stroke(cr, (ps_mark)mark, 2 * unit);
            draw_text(cr, ps_mark_text((ps_mark)mark), x + swatch + pad / 2, y, size, white);
        }
        x += swatch + pad / 2 + w + 2 * pad;
    }
    y += line;
    int w, h;
    PangoLayout *layout = ps_mark_layout(cr, remark, size, width - 2 * pad);
    pango_layout_get_pixel_size(layout, &w, &h);
    if (draw) {
        cairo_set_source_rgb(cr, 1, 1, 1);
        cairo_move_to(cr, pad, y);
        pango_cairo_show_layout(cr, layout);
        cairo_new_path(cr);
    }
    g_object_unref(layout);
    return y + h + pad - top;
}
