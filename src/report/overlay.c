/* Draws what was measured over one photo: pieces, rims with their edge points, axes, the centre distance, sizes. */
#include "report/overlay.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "report/panel.h"
#include "report/text.h"
#include "report/words.h"

typedef struct overlay {
    cairo_t *cr;
    const ps_record *record;
    const ps_record_photo *photo;
    double scale, unit;
    bool inch;
    unsigned shown; /* marks drawn, for the legend */
    ps_panels panels;
} overlay;

/* Upright px (centre of the top-left pixel is 0, 0) to cairo's (its corner is 0, 0). */
static double to_picture(const overlay *o, double px) {
    return (px + 0.5) * o->scale;
}

cairo_surface_t *ps_overlay_surface(const ps_colour *colour) {
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, colour->width, colour->height);
    if (cairo_surface_status(surface) != CAIRO_STATUS_SUCCESS) return surface;
    cairo_surface_flush(surface);
    unsigned char *px = cairo_image_surface_get_data(surface);
    size_t stride = (size_t)cairo_image_surface_get_stride(surface);
    for (int y = 0; y < colour->height; ++y)
        for (int x = 0; x < colour->width; ++x) {
            const uint8_t *c = colour->px + 3 * ((size_t)y * (size_t)colour->width + (size_t)x);
            uint32_t pixel = (uint32_t)c[0] << 16 | (uint32_t)c[1] << 8 | c[2];
            memcpy(px + (size_t)y * stride + 4 * (size_t)x, &pixel, sizeof pixel);
        }
    cairo_surface_mark_dirty(surface);
    return surface;
}

static void mark(overlay *o, ps_mark which) {
    ps_mark_stroke(o->cr, which, o->unit);
    o->shown |= 1u << which;
}

static void grow(ps_box *box, double x, double y) {
    if (box->w < 0) *box = (ps_box){x, y, 0, 0};
    double right = fmax(box->x + box->w, x), bottom = fmax(box->y + box->h, y);
    box->x = fmin(box->x, x);
    box->y = fmin(box->y, y);
    box->w = right - box->x;
    box->h = bottom - box->y;
}

static void add_obstacle(overlay *o, const ps_box *box) {
    if (box->w >= 0 && o->panels.obstacles < PS_OBSTACLES_MAX) o->panels.obstacle[o->panels.obstacles++] = *box;
}

/* The piece's outline from its homography, and a small cross at each corner that was used. */
static void draw_piece(overlay *o, const ps_sighting *s) {
    const ps_piece *piece = ps_kit_piece(s->piece);
    if (!piece) return;
    double w = piece->columns * piece->square_mm, h = piece->rows * piece->square_mm;
    const double outline[4][2] = {{0, 0}, {w, 0}, {w, h}, {0, h}};
    ps_box box = {0, 0, -1, -1};
    bool whole = true;
    double at[4][2];
    for (int i = 0; i < 4; ++i) whole = whole && ps_homography_apply(s->homography, outline[i], at[i]);
    for (int i = 0; whole && i < 4; ++i) {
        double x = to_picture(o, at[i][0]), y = to_picture(o, at[i][1]);
        cairo_line_to(o->cr, x, y);
        grow(&box, x, y);
    }
    if (whole) cairo_close_path(o->cr);
    mark(o, PS_MARK_PIECE);
    add_obstacle(o, &box);
    double arm = 3.2 * o->unit;
    for (int i = 0; i < s->corner_count && i < PS_PIECE_CORNERS_MAX; ++i) {
        double x = to_picture(o, s->corner[i].x_px), y = to_picture(o, s->corner[i].y_px);
        cairo_move_to(o->cr, x - arm, y);
        cairo_line_to(o->cr, x + arm, y);
        cairo_move_to(o->cr, x, y - arm);
        cairo_line_to(o->cr, x, y + arm);
    }
    ps_mark_stroke(o->cr, PS_MARK_PIECE, 0.7 * o->unit);
}

static void ellipse_path(const overlay *o, const ps_ellipse *e, ps_box *box) {
    double c = cos(e->angle), s = sin(e->angle);
    for (int i = 0; i < 180; ++i) {
        double t = i * 0.034906585039886591, u = e->a * cos(t), v = e->b * sin(t);
        double x = to_picture(o, e->cx + u * c - v * s), y = to_picture(o, e->cy + u * s + v * c);
        cairo_line_to(o->cr, x, y);
        grow(box, x, y);
    }
    cairo_close_path(o->cr);
}

/* Where edge points were found, so that a hidden or doubtful part of a rim shows as a part without points. */
static void draw_edge_points(const overlay *o, const ps_record_rim *rim) {
    double rgb[3], radius = 1.7 * o->unit;
    int step = rim->point_count / 90 + 1;
    ps_mark_colour(ps_mark_of_rim(rim), rgb);
    for (int i = 0; i < rim->point_count; i += step) {
        double x = to_picture(o, rim->point[i].x_px), y = to_picture(o, rim->point[i].y_px);
        if (!isfinite(x) || !isfinite(y)) continue;
        cairo_new_sub_path(o->cr);
        cairo_arc(o->cr, x, y, radius, 0, 6.2831853);
    }
    cairo_set_source_rgb(o->cr, rgb[0], rgb[1], rgb[2]);
    cairo_fill_preserve(o->cr);
    cairo_set_source_rgba(o->cr, 0, 0, 0, 0.8);
    cairo_set_line_width(o->cr, 0.5 * o->unit);
    cairo_stroke(o->cr);
}

static bool ellipse_drawable(const ps_ellipse *e) {
    return isfinite(e->cx) && isfinite(e->cy) && isfinite(e->a) && isfinite(e->b) && isfinite(e->angle) && e->a > 0 && e->b > 0 &&
           fabs(e->cx) < 1e6 && fabs(e->cy) < 1e6 && e->a < 1e6;
}

static bool rim_drawable(const ps_record_rim *rim) {
    return ellipse_drawable(&rim->ellipse);
}

bool ps_overlay_ellipse(cairo_t *cr, const ps_ellipse *e, double scale) {
    overlay o = {.cr = cr, .scale = scale};
    ps_box box = {0, 0, -1, -1};
    if (!ellipse_drawable(e)) return false;
    ellipse_path(&o, e, &box);
    return true;
}

static void draw_rims(overlay *o) {
    for (int pass = 0; pass < 2; ++pass) /* used ones on top */
        for (int i = 0; i < o->photo->rim_count; ++i) {
            const ps_record_rim *rim = &o->photo->rim[i];
            if (rim->used != (pass == 1) || !rim_drawable(rim)) continue;
            ps_box box = {0, 0, -1, -1};
            ellipse_path(o, &rim->ellipse, &box);
            mark(o, ps_mark_of_rim(rim));
            ps_mark which = ps_mark_of_rim(rim);
            if (which == PS_MARK_PIN || which == PS_MARK_BUSH) draw_edge_points(o, rim);
        }
}

static const struct ps_record_pin *pin_of(const ps_record *record, ps_role role) {
    for (int i = 0; i < record->pin_count && i < PS_ROLE_COUNT; ++i)
        if (record->pin[i].role == role) return &record->pin[i];
    return NULL;
}

/* The place on a pin's axis at a height, in picture px. */
static bool axis_at(const overlay *o, const struct ps_record_pin *pin, double height_mm, double at[2]) {
    double X[3], px[2];
    for (int i = 0; i < 3; ++i) X[i] = pin->axis_point_mm[i] + height_mm * pin->axis_direction[i];
    if (!ps_view_project(&o->photo->view, X, px)) return false;
    at[0] = to_picture(o, px[0]);
    at[1] = to_picture(o, px[1]);
    return isfinite(at[0]) && isfinite(at[1]) && fabs(at[0]) < 1e6 && fabs(at[1]) < 1e6;
}

/* The height at which the centre distance is shown: the bush's face, else the pin's end, else the piece's plane. */
static double foot_of(const struct ps_record_pin *pin) {
    return isfinite(pin->bush_height_mm) ? pin->bush_height_mm : isfinite(pin->face_height_mm) ? pin->face_height_mm : 0;
}

static void draw_axis(overlay *o, const struct ps_record_pin *pin, const double foot[2]) {
    double head[2], arm = 11 * o->unit;
    double top = isfinite(pin->face_height_mm) ? pin->face_height_mm : foot_of(pin);
    if (axis_at(o, pin, top + 10, head)) {
        cairo_move_to(o->cr, foot[0], foot[1]);
        cairo_line_to(o->cr, head[0], head[1]);
    }
    cairo_move_to(o->cr, foot[0] - arm, foot[1]);
    cairo_line_to(o->cr, foot[0] + arm, foot[1]);
    cairo_move_to(o->cr, foot[0], foot[1] - arm);
    cairo_line_to(o->cr, foot[0], foot[1] + arm);
    mark(o, PS_MARK_CENTRES);
}

static const ps_dimension *dimension_of(const ps_record *record, ps_kind kind, int role) {
    for (int i = 0; i < record->dimension_count && i < PS_DIMENSIONS_MAX; ++i)
        if (record->dimension[i].kind == kind && record->dimension[i].role == role) return &record->dimension[i];
    return NULL;
}

static void draw_axes(overlay *o) {
    double foot[PS_ROLE_COUNT][2];
    int known = 0;
    if (!o->photo->solved) return;
    for (int role = 0; role < PS_ROLE_COUNT; ++role) {
        const struct ps_record_pin *pin = pin_of(o->record, (ps_role)role);
        if (!pin || !axis_at(o, pin, foot_of(pin), foot[role])) continue;
        draw_axis(o, pin, foot[role]);
        ++known;
    }
    const ps_dimension *centres = dimension_of(o->record, PS_KIND_CENTRES, -1);
    if (known < 2 || !centres) return;
    cairo_move_to(o->cr, foot[0][0], foot[0][1]);
    cairo_line_to(o->cr, foot[1][0], foot[1][1]);
    mark(o, PS_MARK_CENTRES);
    ps_panel *p = &o->panels.panel[o->panels.count++];
    memset(p, 0, sizeof *p);
    ps_panel_add_dimension(p, centres, PS_MARK_CENTRES, o->inch);
    p->tip[0] = (foot[0][0] + foot[1][0]) / 2;
    p->tip[1] = (foot[0][1] + foot[1][1]) / 2;
    p->around = (ps_box){p->tip[0], p->tip[1], 0, 0};
}

/* The place on an ellipse in the direction (dx, dy) from its centre, picture px. */
static void ellipse_toward(const overlay *o, const ps_ellipse *e, double dx, double dy, double at[2]) {
    double c = cos(e->angle), s = sin(e->angle), u = dx * c + dy * s, v = -dx * s + dy * c, k = 1 / fmax(hypot(u / e->a, v / e->b), 1e-12);
    at[0] = to_picture(o, e->cx + k * dx);
    at[1] = to_picture(o, e->cy + k * dy);
}

/* A panel for one pin: its sizes, beside its rims. */
static void add_pin_panel(overlay *o, ps_role role) {
    ps_box around = {0, 0, -1, -1};
    const ps_record_rim *subject = NULL;
    bool seen[PS_EDGE_COUNT] = {false};
    for (int i = 0; i < o->photo->rim_count; ++i) {
        const ps_record_rim *rim = &o->photo->rim[i];
        if (rim->pin != role || !rim->used || !rim_drawable(rim)) continue;
        seen[rim->edge] = true;
        ellipse_path(o, &rim->ellipse, &around);
        if (!subject || rim->edge < subject->edge) subject = rim; /* pin comes first */
    }
    cairo_new_path(o->cr);
    if (!subject) return;
    ps_panel *p = &o->panels.panel[o->panels.count++];
    memset(p, 0, sizeof *p);
    p->around = around;
    p->tip[0] = to_picture(o, subject->ellipse.cx);
    p->tip[1] = to_picture(o, subject->ellipse.cy);
    ps_panel_row *head = &p->row[p->rows++];
    *head = (ps_panel_row){.mark = -1};
    (void)snprintf(head->text, sizeof head->text, "%s end", ps_role_word(role));
    static const ps_kind order[] = {PS_KIND_PIN, PS_KIND_BUSH, PS_KIND_PROUD, PS_KIND_GAP};
    for (int i = 0; i < 4; ++i) {
        const ps_dimension *d = dimension_of(o->record, order[i], (int)role);
        if (!d || (order[i] != PS_KIND_PIN && !ps_words_has_value(d))) continue;
        int sample = order[i] == PS_KIND_PIN && seen[PS_EDGE_PIN]     ? PS_MARK_PIN
                     : order[i] == PS_KIND_BUSH && seen[PS_EDGE_BUSH] ? PS_MARK_BUSH
                                                                      : -1;
        ps_panel_add_dimension(p, d, sample, o->inch);
    }
}

/* Turns the pin panels' pointers toward where the panels came to stand: they end on the pin's edge, not across it. */
static void aim(overlay *o) {
    for (int i = 0; i < o->panels.count; ++i) {
        ps_panel *p = &o->panels.panel[i];
        double dx = p->box.x + p->box.w / 2 - p->tip[0], dy = p->box.y + p->box.h / 2 - p->tip[1];
        for (int k = 0; k < o->photo->rim_count; ++k) {
            const ps_record_rim *rim = &o->photo->rim[k];
            bool subject = rim->used && rim_drawable(rim) && fabs(to_picture(o, rim->ellipse.cx) - p->tip[0]) < 1e-9 &&
                           fabs(to_picture(o, rim->ellipse.cy) - p->tip[1]) < 1e-9;
            if (!subject) continue;
            ellipse_toward(o, &rim->ellipse, dx, dy, p->tip);
            break;
        }
    }
}

static ps_status remark_of(const overlay *o, ps_context *ctx, char **remark) {
    ps_text text = {0};
    const char *before = "No value: ";
    for (int i = 0; i < o->record->dimension_count && i < PS_DIMENSIONS_MAX; ++i) {
        char name[80];
        if (ps_words_has_value(&o->record->dimension[i])) continue;
        ps_words_short(&o->record->dimension[i], name, sizeof name);
        ps_text_add(&text, "%s%s", before, name);
        before = ", ";
    }
    ps_text_add(&text, "%sDots: edge points found. ± holds about 95 of 100 (k=2). confirm: measure by hand.", text.length > 0 ? ". " : "");
    return ps_text_take(ctx, &text, remark);
}

static void draw_all(overlay *o, const ps_record_photo *photo) {
    for (int i = 0; i < photo->sightings.count && i < PS_PIECES_MAX; ++i) draw_piece(o, &photo->sightings.piece[i]);
    draw_rims(o);
    for (int role = 0; role < PS_ROLE_COUNT; ++role) add_pin_panel(o, (ps_role)role);
    draw_axes(o);
    ps_panels_place(o->cr, &o->panels);
    aim(o);
    ps_panels_draw(o->cr, &o->panels);
}

ps_status ps_overlay_draw(ps_context *ctx, const ps_record *record, int photo, const ps_colour *colour, bool inch, bool legend,
                          cairo_surface_t **surface) {
    double unit = (colour->width > colour->height ? colour->width : colour->height) / 1000.0;
    overlay o = {.record = record,
                 .photo = &record->photo[photo],
                 .scale = colour->scale,
                 .unit = unit,
                 .inch = inch,
                 .panels = {.unit = unit, .width = colour->width, .height = colour->height}};
    char *remark = NULL;
    ps_status status = remark_of(&o, ctx, &remark);
    if (status != PS_OK) return status;
    cairo_surface_t *draft = ps_overlay_surface(colour), *whole = NULL;
    o.cr = cairo_create(draft);
    draw_all(&o, o.photo);
    int strip = !legend ? 0 : (int)ceil(ps_legend(o.cr, o.shown, remark, colour->width, 0, unit, false));
    whole = cairo_image_surface_create(CAIRO_FORMAT_RGB24, colour->width, colour->height + strip);
    cairo_t *cr = cairo_create(whole);
    cairo_set_source_rgb(cr, 0.10, 0.11, 0.13);
    cairo_paint(cr);
    cairo_set_source_surface(cr, draft, 0, 0);
    cairo_paint(cr);
    if (legend) (void)ps_legend(cr, o.shown, remark, colour->width, colour->height, unit, true);
    if (cairo_status(o.cr) != CAIRO_STATUS_SUCCESS || cairo_status(cr) != CAIRO_STATUS_SUCCESS)
        status = ps_context_fail(ctx, PS_NO_MEMORY, "cannot draw the picture: %s",
                                 cairo_status_to_string(cairo_status(cairo_status(cr) != CAIRO_STATUS_SUCCESS ? cr : o.cr)));
    cairo_destroy(cr);
    cairo_destroy(o.cr);
    cairo_surface_destroy(draft);
    ps_text owned = {.bytes = remark};
    ps_text_clear(&owned);
    if (status == PS_OK)
        *surface = whole;
    else
        cairo_surface_destroy(whole);
    return status;
}
