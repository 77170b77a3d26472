/* Close-ups of every measured edge with the fitted one drawn in, and under each how far its points lie from the fit. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "report/job_pdf.h"
#include "report/marks.h"
#include "report/overlay.h"
#include "report/text.h"

enum { IN_A_ROW = 3, CROP_MOST = 620, COLOUR_MOST = 8000 };
static const double gap_mm = 5, plot_mm = 14, plot_gap_mm = 1.2, ticks_mm = 3, caption_mm = 12, two_pi = 6.283185307179586;

typedef struct close_up {
    int side, photo;
    ps_role pin;
    double left_px, top_px, side_px; /* the square cut out, upright px */
} close_up;

static const ps_record_photo *photo_of(const ps_pdf *pdf, const close_up *c) {
    return &pdf->result->record[c->side].photo[c->photo];
}

static bool shown(const ps_record_rim *rim, ps_role pin) {
    const ps_ellipse *e = &rim->ellipse;
    return rim->pin == pin && rim->used && isfinite(e->cx) && isfinite(e->cy) && e->a > 0 && e->a < 1e5;
}

/* The square about all used edges of the pin. False where there is none. */
static bool frame(const ps_record_photo *photo, close_up *c) {
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    for (int i = 0; i < photo->rim_count; i++) {
        const ps_ellipse *e = &photo->rim[i].ellipse;
        if (!shown(&photo->rim[i], c->pin)) continue;
        const double half[2] = {hypot(e->a * cos(e->angle), e->b * sin(e->angle)), hypot(e->a * sin(e->angle), e->b * cos(e->angle))};
        low[0] = fmin(low[0], e->cx - half[0]);
        low[1] = fmin(low[1], e->cy - half[1]);
        high[0] = fmax(high[0], e->cx + half[0]);
        high[1] = fmax(high[1], e->cy + half[1]);
    }
    if (!(high[0] > low[0])) return false;
    c->side_px = 1.16 * fmax(high[0] - low[0], high[1] - low[1]) + 4;
    c->left_px = (low[0] + high[0] - c->side_px) / 2;
    c->top_px = (low[1] + high[1] - c->side_px) / 2;
    return true;
}

/* ---- the picture ---- */

/* The square at no more pixels than paper shows; what lies beyond the photo stays grey. */
static cairo_surface_t *cut_out(cairo_surface_t *whole, double scale, const close_up *c) {
    int size = (int)fmin(ceil(c->side_px * scale), CROP_MOST);
    cairo_surface_t *crop = cairo_image_surface_create(CAIRO_FORMAT_RGB24, size, size);
    cairo_t *cr = cairo_create(crop);
    cairo_set_source_rgb(cr, 0.8, 0.8, 0.8);
    cairo_paint(cr);
    cairo_scale(cr, size / (c->side_px * scale), size / (c->side_px * scale));
    cairo_set_source_surface(cr, whole, -(c->left_px + 0.5) * scale, -(c->top_px + 0.5) * scale);
    cairo_pattern_set_filter(cairo_get_source(cr), CAIRO_FILTER_GOOD);
    cairo_paint(cr);
    cairo_destroy(cr);
    return crop;
}

/* The fitted edge as the camera sees it, lens included; where nothing was fitted, the best ellipse of the points. */
static bool edge_path(cairo_t *cr, const ps_record_photo *photo, const ps_record_rim *rim) {
    if (!rim->fitted || !photo->solved) return ps_overlay_ellipse(cr, &rim->ellipse, 1);
    for (int i = 0; i < 180; i++) {
        double X[3], px[2];
        ps_circle3_point(&rim->circle, i * two_pi / 180, X);
        if (!ps_view_project(&photo->view, X, px) || !isfinite(px[0]) || !isfinite(px[1])) {
            cairo_new_path(cr);
            return false;
        }
        cairo_line_to(cr, px[0] + 0.5, px[1] + 0.5);
    }
    cairo_close_path(cr);
    return true;
}

static void draw_edges(ps_pdf *pdf, const close_up *c, const double at[4]) {
    const ps_record_photo *photo = photo_of(pdf, c);
    cairo_t *cr = pdf->doc.cr;
    double scale = at[2] / c->side_px;
    cairo_save(cr);
    cairo_rectangle(cr, at[0], at[1], at[2], at[3]);
    cairo_clip(cr);
    cairo_translate(cr, at[0], at[1]);
    cairo_scale(cr, scale, scale);
    cairo_translate(cr, -(c->left_px + 0.5), -(c->top_px + 0.5));
    for (int i = 0; i < photo->rim_count; i++)
        if (shown(&photo->rim[i], c->pin) && edge_path(cr, photo, &photo->rim[i]))
            ps_mark_stroke(cr, ps_mark_of_rim(&photo->rim[i]), 0.09 / scale);
    cairo_restore(cr);
    cairo_set_source_rgb(cr, 0, 0, 0);
}

/* ---- the plot ---- */

/* How far a point lies outside the fitted edge, px, square to it; and its direction about the edge's middle, clockwise from the
 * right as the photo shows it. */
static bool residual(const ps_record_photo *photo, const ps_record_rim *rim, const ps_edge_point *p, double *r_px, double *turn) {
    double theta = p->theta, X[3], at[2] = {0, 0}, to[2];
    for (int round = 0; round < 4; round++) {
        const double step = 1e-4;
        ps_circle3_point(&rim->circle, theta, X);
        if (!ps_view_project(&photo->view, X, at)) return false;
        ps_circle3_point(&rim->circle, theta + step, X);
        if (!ps_view_project(&photo->view, X, to)) return false;
        double tx = (to[0] - at[0]) / step, ty = (to[1] - at[1]) / step, long2 = tx * tx + ty * ty;
        if (!(long2 > 0)) return false;
        theta += fmax(-0.5, fmin(0.5, ((p->x_px - at[0]) * tx + (p->y_px - at[1]) * ty) / long2));
    }
    double dx = p->x_px - at[0], dy = p->y_px - at[1];
    double ox = at[0] - rim->ellipse.cx, oy = at[1] - rim->ellipse.cy;
    *r_px = copysign(hypot(dx, dy), dx * ox + dy * oy);
    *turn = atan2(oy, ox) / two_pi;
    if (*turn < 0) *turn += 1;
    return isfinite(*r_px) && isfinite(*turn);
}

/* Whole dots for the pin, rings for its face, crosses and upright crosses for the bush: told apart without colours. */
static void draw_point(cairo_t *cr, ps_edge edge, double x, double y) {
    const double s = 0.27;
    cairo_set_line_width(cr, 0.11);
    if (edge == PS_EDGE_PIN || edge == PS_EDGE_PIN_FACE) {
        cairo_new_sub_path(cr);
        cairo_arc(cr, x, y, s, 0, two_pi);
        if (edge == PS_EDGE_PIN)
            cairo_fill(cr);
        else
            cairo_stroke(cr);
        return;
    }
    double k = edge == PS_EDGE_BUSH ? 0.8 : 0, u = edge == PS_EDGE_BUSH ? 0.8 : 1.2;
    cairo_move_to(cr, x - s * u, y - s * k);
    cairo_line_to(cr, x + s * u, y + s * k);
    cairo_move_to(cr, x - s * k, y + s * u);
    cairo_line_to(cr, x + s * k, y - s * u);
    cairo_stroke(cr);
}

static void axes(ps_doc *doc, const double box[4], const char *name, double most_px, bool directions) {
    static const char *const direction[] = {"below", "left", "above"};
    double x = box[0], y = box[1], w = box[2], h = box[3];
    char label[48];
    ps_doc_box(doc, x, y, w, h, 0.12);
    ps_doc_line(doc, x, y + h / 2, x + w, y + h / 2, 0.12);
    for (int i = 1; i < 4; i++) ps_doc_line(doc, x + i * w / 4, y + h - 1, x + i * w / 4, y + h, 0.12);
    (void)snprintf(label, sizeof label, "%s, ± %g px", name, most_px);
    (void)ps_doc_put(doc, x + 0.5, y + 0.2, w, PS_DOC_FIXED, PS_DOC_LEFT, 1, label);
    for (int i = 0; directions && i < 3; i++)
        (void)ps_doc_put(doc, x + (i + 1) * w / 4 - 10, y + h + 0.2, 20, PS_DOC_FIXED, PS_DOC_MIDDLE, 1, direction[i]);
}

/* Half the plot's height: the smallest of these that holds 98 of 100 points; the rest stand at its rim. */
static double half_height(const double *sorted, int count) {
    static const double most[] = {0.5, 1, 2, 4, 8};
    for (int i = 0; i < 4; i++)
        if (count == 0 || sorted[(int)(0.98 * (count - 1))] <= most[i]) return most[i];
    return most[4];
}

/* The pin's own edges, or all others. */
static bool in_group(const ps_record_rim *rim, ps_role pin, bool own) {
    return shown(rim, pin) && (rim->edge == PS_EDGE_PIN || rim->edge == PS_EDGE_PIN_FACE) == own;
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double half_height_of(const ps_record_photo *photo, ps_role pin, bool own) {
    int count = 0, room = 0;
    for (int i = 0; i < photo->rim_count; i++) room += in_group(&photo->rim[i], pin, own) ? photo->rim[i].point_count : 0;
    double *size = malloc(((size_t)room + 1) * sizeof *size), r, turn, most;
    if (!size) return 2;
    for (int i = 0; i < photo->rim_count; i++)
        for (int k = 0; in_group(&photo->rim[i], pin, own) && photo->rim[i].fitted && k < photo->rim[i].point_count; k++)
            if (residual(photo, &photo->rim[i], &photo->rim[i].point[k], &r, &turn)) size[count++] = fabs(r);
    qsort(size, (size_t)count, sizeof *size, by_size);
    most = half_height(size, count);
    free(size);
    return most;
}

/* Draws the points; adds "pin 0.21 px rms, 93 % seen" to the caption. */
static void plot_rim(ps_pdf *pdf, const close_up *c, const ps_record_rim *rim, const double box[4], double most_px, ps_text *caption) {
    const ps_record_photo *photo = photo_of(pdf, c);
    double sum = 0;
    int count = 0;
    for (int k = 0; photo->solved && rim->fitted && k < rim->point_count; k++) {
        double r, turn;
        if (!residual(photo, rim, &rim->point[k], &r, &turn)) continue;
        sum += r * r;
        count++;
        double y = fmax(-1, fmin(1, r / most_px));
        draw_point(pdf->doc.cr, rim->edge, box[0] + turn * box[2], box[1] + box[3] / 2 - y * (box[3] / 2 - 0.5));
    }
    ps_text_add(caption, "%s%s", caption->length ? "; " : "", ps_edge_word(rim->edge));
    if (count > 0) ps_text_add(caption, " %.2f px rms", sqrt(sum / count));
    ps_text_add(caption, ", %.0f %% seen", 100 * rim->arc);
}

/* Two plots, the pin's own edges and the others, and what they are. box: of the first one. */
static void plots(ps_pdf *pdf, const close_up *c, const double box[4]) {
    const ps_record_photo *photo = photo_of(pdf, c);
    ps_doc *doc = &pdf->doc;
    ps_text caption = {0};
    double place[4] = {box[0], box[1], box[2], box[3]};
    for (int group = 0; group < 2; group++, place[1] += box[3] + plot_gap_mm) {
        double most_px = half_height_of(photo, c->pin, group == 0);
        axes(doc, place, group == 0 ? "pin" : "bush", most_px, group == 1);
        for (int i = 0; i < photo->rim_count; i++)
            if (in_group(&photo->rim[i], c->pin, group == 0)) plot_rim(pdf, c, &photo->rim[i], place, most_px, &caption);
    }
    char name[300];
    (void)snprintf(name, sizeof name, "%s end, photo %d", ps_role_word(c->pin), c->photo + 1);
    double y = place[1] - plot_gap_mm + ticks_mm;
    y += ps_doc_put(doc, box[0], y, box[2], PS_DOC_SMALL_STRONG, PS_DOC_LEFT, 1, name);
    if (!caption.failed && caption.bytes) (void)ps_doc_put(doc, box[0], y, box[2], PS_DOC_FIXED, PS_DOC_LEFT, 3, caption.bytes);
    ps_text_clear(&caption);
}

/* ---- rows of them ---- */

typedef struct crops {
    cairo_surface_t *of[PS_ROLE_COUNT][PS_ADJUST_PHOTOS_MAX]; /* NULL: not cut yet */
} crops;

/* Both ends are cut out of a photo when it is read for the first of them: at full size that takes time. Of a photo that cannot be
 * read nothing is cut, and the context has the cause. */
static void cut_photo(ps_pdf *pdf, const close_up *first, crops *cut) {
    const ps_record_photo *photo = photo_of(pdf, first);
    ps_colour colour = {0};
    if (ps_photo_read_colour(pdf->ctx, photo->file, &pdf->job->side[first->side].options.limits, COLOUR_MOST, &colour) != PS_OK) return;
    cairo_surface_t *whole = ps_overlay_surface(&colour);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        close_up c = {.side = first->side, .photo = first->photo, .pin = (ps_role)role};
        if (frame(photo, &c)) cut->of[role][c.photo] = cut_out(whole, colour.scale, &c);
    }
    cairo_surface_destroy(whole);
    ps_colour_clear(&colour);
}

static void draw_tile(ps_pdf *pdf, const close_up *c, crops *cut, double x, double y, double width) {
    const double box[4] = {x, y, width, width}, under[4] = {x, y + width + plot_gap_mm, width, plot_mm};
    double at[4];
    cairo_surface_t **crop = &cut->of[c->pin][c->photo];
    plots(pdf, c, under);
    if (!*crop) cut_photo(pdf, c, cut);
    if (!*crop) {
        ps_pdf_no_picture(pdf, box, ps_context_message(pdf->ctx));
        return;
    }
    ps_pdf_picture(pdf, *crop, box, at);
    draw_edges(pdf, c, at);
    cairo_surface_destroy(*crop);
    *crop = NULL;
}

static void explain(ps_doc *doc) {
    ps_doc_subhead(doc, "Close-ups of the measured edges");
    ps_doc_paragraph(doc, PS_DOC_SMALL, 0,
                     "Drawn in: the edges as adjusted over all photos. Under each: how far the edge points of this photo lie from "
                     "them, outward upward, by their direction from the pin's middle. Dots: pin; rings: pin face; slanted "
                     "crosses: bush; upright crosses: other edges. Where a part of an edge lies off the line, another edge was "
                     "taken there, or it is hidden: such points count little in the adjustment, and what is left of their effect is "
                     "in the band; edges that do not lie on one circle well enough are a doubt of the size.");
}

void ps_pdf_closeups(ps_pdf *pdf, int side) {
    const ps_record *record = &pdf->result->record[side];
    ps_doc *doc = &pdf->doc;
    crops cut = {{{NULL}}};
    double width = (doc->right - doc->left - (IN_A_ROW - 1) * gap_mm) / IN_A_ROW,
           height = width + 2 * (plot_mm + plot_gap_mm) + ticks_mm + caption_mm;
    int drawn = 0;
    for (int role = 0; role < PS_ROLE_COUNT; role++)
        for (int i = 0; i < record->photo_count && i < PS_ADJUST_PHOTOS_MAX; i++) {
            close_up c = {.side = side, .photo = i, .pin = (ps_role)role};
            if (!frame(&record->photo[i], &c)) continue;
            if (drawn == 0) {
                ps_doc_need(doc, height + 20); /* the heading stays with the first row */
                explain(doc);
            }
            if (drawn % IN_A_ROW == 0) ps_doc_need(doc, height);
            /* All tiles are of one height: pages can be counted without them. */
            if (!doc->dry) draw_tile(pdf, &c, &cut, doc->left + drawn % IN_A_ROW * (width + gap_mm), doc->y, width);
            if (++drawn % IN_A_ROW == 0) doc->y += height;
        }
    if (drawn % IN_A_ROW != 0) doc->y += height;
}
