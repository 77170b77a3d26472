/* A PDF of running text, tables and figures on numbered pages. */
#include "report/doc.h"

#include <cairo/cairo-pdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "report/text.h"
#include "report/words.h"

static const double points_per_mm = 72.0 / 25.4;
static const double margin_mm = 16, head_mm = 8, foot_mm = 8, cell_pad_mm = 1.2, reversed_mm = 0.6;

typedef struct type {
    double size_mm; /* em */
    bool bold, fixed;
    double after_mm; /* of a paragraph */
} type;
static const type types[PS_DOC_STYLES] = {
    [PS_DOC_BODY] = {3.0, false, false, 1.4},        [PS_DOC_STRONG] = {3.0, true, false, 1.4}, [PS_DOC_SMALL] = {2.5, false, false, 1.0},
    [PS_DOC_SMALL_STRONG] = {2.5, true, false, 1.0}, [PS_DOC_FIXED] = {2.2, false, true, 0.6},  [PS_DOC_SUBHEAD] = {3.4, true, false, 1.4},
    [PS_DOC_HEAD] = {4.6, true, false, 2.2},         [PS_DOC_TITLE] = {6.2, true, false, 2.0},
};

/* ---- the file ---- */

enum { FILE_MOST = 1 << 30 };

static cairo_status_t take(void *target, const unsigned char *bytes, unsigned int length) {
    ps_doc *doc = target;
    if (doc->size + length > FILE_MOST) return CAIRO_STATUS_WRITE_ERROR;
    if (doc->size + length > doc->capacity) {
        size_t capacity = 2 * (doc->size + length);
        unsigned char *more = realloc(doc->bytes, capacity);
        if (!more) return CAIRO_STATUS_NO_MEMORY;
        doc->bytes = more;
        doc->capacity = capacity;
    }
    memcpy(doc->bytes + doc->size, bytes, length);
    doc->size += length;
    return CAIRO_STATUS_SUCCESS;
}

void ps_doc_open(ps_doc *doc, ps_paper paper, const char *title, const char *running, int pages) {
    memset(doc, 0, sizeof *doc);
    doc->width_mm = paper == PS_PAPER_LETTER ? 215.9 : 210;
    doc->height_mm = paper == PS_PAPER_LETTER ? 279.4 : 297;
    doc->left = margin_mm;
    doc->right = doc->width_mm - margin_mm;
    doc->top = margin_mm + head_mm;
    doc->bottom = doc->height_mm - margin_mm - foot_mm;
    doc->y = margin_mm; /* no running head on the first page */
    doc->page = 1;
    doc->pages = pages;
    doc->dry = pages == 0;
    (void)snprintf(doc->running, sizeof doc->running, "%s", running);
    doc->surface =
        cairo_pdf_surface_create_for_stream(doc->dry ? NULL : take, doc, doc->width_mm * points_per_mm, doc->height_mm * points_per_mm);
    char *clean = ps_text_clean(title, true);
    if (clean) cairo_pdf_surface_set_metadata(doc->surface, CAIRO_PDF_METADATA_TITLE, clean);
    free(clean);
    cairo_pdf_surface_set_metadata(doc->surface, CAIRO_PDF_METADATA_CREATE_DATE, NULL); /* same job, same bytes */
    doc->cr = cairo_create(doc->surface);
    cairo_scale(doc->cr, points_per_mm, points_per_mm);
    cairo_set_source_rgb(doc->cr, 0, 0, 0);
    doc->layout = pango_cairo_create_layout(doc->cr);
    /* Letters stand where the font puts them, not on a screen's grid; and 'fi' stays two letters for whoever searches the text. */
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(pango_layout_get_context(doc->layout), options);
    pango_context_set_round_glyph_positions(pango_layout_get_context(doc->layout), FALSE);
    cairo_font_options_destroy(options);
    PangoAttrList *list = pango_attr_list_new();
    pango_attr_list_insert(list, pango_attr_font_features_new("liga=0, clig=0"));
    pango_layout_set_attributes(doc->layout, list);
    pango_attr_list_unref(list);
}

static void foot(ps_doc *doc) {
    char number[48] = "";
    double y = doc->height_mm - margin_mm - types[PS_DOC_SMALL].size_mm;
    if (doc->pages > 0) (void)snprintf(number, sizeof number, "page %d of %d", doc->page, doc->pages);
    ps_doc_line(doc, doc->left, y - 1.6, doc->right, y - 1.6, 0.15);
    (void)ps_doc_put(doc, doc->left, y, 120, PS_DOC_SMALL, PS_DOC_LEFT, 1,
                     "Sizes as photographed and read. Wear, fit and safety are not judged.");
    (void)ps_doc_put(doc, doc->right - 50, y, 50, PS_DOC_SMALL, PS_DOC_RIGHT, 1, number);
}

ps_status ps_doc_close(ps_context *ctx, ps_doc *doc) {
    foot(doc);
    cairo_status_t status = cairo_status(doc->cr);
    g_object_unref(doc->layout);
    cairo_destroy(doc->cr);
    cairo_surface_finish(doc->surface);
    if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_status(doc->surface);
    cairo_surface_destroy(doc->surface);
    doc->surface = NULL;
    doc->cr = NULL;
    doc->layout = NULL;
    if (status == CAIRO_STATUS_SUCCESS) return PS_OK;
    free(doc->bytes);
    doc->bytes = NULL;
    return ps_context_fail(ctx, PS_NO_MEMORY, "cannot draw the report: %s", cairo_status_to_string(status));
}

/* ---- pages ---- */

static double page_top(const ps_doc *doc) {
    return doc->page == 1 ? margin_mm : doc->top;
}

void ps_doc_page(ps_doc *doc) {
    if (doc->y <= page_top(doc)) return;
    foot(doc);
    cairo_show_page(doc->cr);
    doc->page++;
    (void)ps_doc_put(doc, doc->left, margin_mm, doc->right - doc->left, PS_DOC_SMALL, PS_DOC_LEFT, 1, doc->running);
    ps_doc_line(doc, doc->left, margin_mm + 4, doc->right, margin_mm + 4, 0.15);
    doc->y = doc->top;
}

void ps_doc_need(ps_doc *doc, double height_mm) {
    if (doc->y + height_mm > doc->bottom) ps_doc_page(doc);
}

void ps_doc_space(ps_doc *doc, double height_mm) {
    if (doc->y > page_top(doc)) doc->y += height_mm;
}

/* ---- text ---- */

static void set_text(ps_doc *doc, double width_mm, ps_doc_style style, ps_doc_align align, int lines, const char *text) {
    static const PangoAlignment place[] = {PANGO_ALIGN_LEFT, PANGO_ALIGN_CENTER, PANGO_ALIGN_RIGHT};
    const type *t = &types[style];
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family_static(font, t->fixed ? "DejaVu Sans Mono" : "DejaVu Sans");
    pango_font_description_set_absolute_size(font, t->size_mm * PANGO_SCALE);
    pango_font_description_set_weight(font, t->bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_layout_set_font_description(doc->layout, font);
    pango_font_description_free(font);
    pango_layout_set_width(doc->layout, width_mm > 0 ? (int)lround(width_mm * PANGO_SCALE) : -1);
    pango_layout_set_wrap(doc->layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_height(doc->layout, lines > 0 ? -lines : -1000000);
    pango_layout_set_ellipsize(doc->layout, lines > 0 ? PANGO_ELLIPSIZE_END : PANGO_ELLIPSIZE_NONE);
    pango_layout_set_alignment(doc->layout, place[align]);
    pango_layout_set_line_spacing(doc->layout, 1.12F);
    char *clean = ps_text_clean(text, true);
    pango_layout_set_text(doc->layout, clean ? clean : "", -1);
    free(clean);
}

static double layout_height(const ps_doc *doc) {
    int height;
    pango_layout_get_size(doc->layout, NULL, &height);
    return (double)height / PANGO_SCALE;
}

double ps_doc_put(ps_doc *doc, double x, double y, double width_mm, ps_doc_style style, ps_doc_align align, int lines, const char *text) {
    set_text(doc, width_mm, style, align, lines, text);
    cairo_move_to(doc->cr, x, y);
    pango_cairo_show_layout(doc->cr, doc->layout);
    cairo_new_path(doc->cr);
    return layout_height(doc);
}

double ps_doc_height(ps_doc *doc, double width_mm, ps_doc_style style, int lines, const char *text) {
    set_text(doc, width_mm, style, PS_DOC_LEFT, lines, text);
    return layout_height(doc);
}

double ps_doc_width(ps_doc *doc, ps_doc_style style, const char *text) {
    int width;
    set_text(doc, 0, style, PS_DOC_LEFT, 0, text);
    pango_layout_get_size(doc->layout, &width, NULL);
    return (double)width / PANGO_SCALE;
}

void ps_doc_paragraph(ps_doc *doc, ps_doc_style style, double indent_mm, const char *text) {
    char *with = doc->inch ? ps_words_inches(text) : NULL;
    if (with) text = with;
    double width = doc->right - doc->left - indent_mm, height = ps_doc_height(doc, width, style, 0, text);
    ps_doc_need(doc, height);
    doc->y += ps_doc_put(doc, doc->left + indent_mm, doc->y, width, style, PS_DOC_LEFT, 0, text) + types[style].after_mm;
    free(with);
}

void ps_doc_entry(ps_doc *doc, const char *label, const char *text) {
    char *with = doc->inch ? ps_words_inches(text) : NULL;
    if (with) text = with;
    double indent = 4, label_h = ps_doc_height(doc, doc->right - doc->left, PS_DOC_STRONG, 1, label);
    double body = ps_doc_height(doc, doc->right - doc->left - indent, PS_DOC_BODY, 0, text);
    ps_doc_need(doc, label_h + 0.3 + body);
    doc->y += ps_doc_put(doc, doc->left, doc->y, doc->right - doc->left, PS_DOC_STRONG, PS_DOC_LEFT, 1, label) + 0.3;
    doc->y += ps_doc_put(doc, doc->left + indent, doc->y, doc->right - doc->left - indent, PS_DOC_BODY, PS_DOC_LEFT, 0, text) + 1.6;
    free(with);
}

static void heading(ps_doc *doc, ps_doc_style style, double before_mm, const char *text) {
    double width = doc->right - doc->left, height = ps_doc_height(doc, width, style, 2, text);
    ps_doc_space(doc, before_mm);
    ps_doc_need(doc, height + 16); /* a heading alone at the foot of a page is lost */
    doc->y += ps_doc_put(doc, doc->left, doc->y, width, style, PS_DOC_LEFT, 2, text) + types[style].after_mm;
}

void ps_doc_head(ps_doc *doc, const char *text) {
    heading(doc, PS_DOC_HEAD, 5, text);
    char where[64];
    (void)snprintf(where, sizeof where, "page=%d", doc->page);
    char *clean = ps_text_clean(text, true);
    if (clean) (void)cairo_pdf_surface_add_outline(doc->surface, CAIRO_PDF_OUTLINE_ROOT, clean, where, CAIRO_PDF_OUTLINE_FLAG_OPEN);
    free(clean);
}

void ps_doc_subhead(ps_doc *doc, const char *text) {
    heading(doc, PS_DOC_SUBHEAD, 3, text);
}

void ps_doc_line(ps_doc *doc, double x1, double y1, double x2, double y2, double stroke_mm) {
    cairo_set_line_width(doc->cr, stroke_mm);
    cairo_move_to(doc->cr, x1, y1);
    cairo_line_to(doc->cr, x2, y2);
    cairo_stroke(doc->cr);
}

void ps_doc_box(ps_doc *doc, double x, double y, double width_mm, double height_mm, double stroke_mm) {
    cairo_set_line_width(doc->cr, stroke_mm);
    cairo_rectangle(doc->cr, x, y, width_mm, height_mm);
    cairo_stroke(doc->cr);
}

/* ---- tables ---- */

static double column_width(const ps_doc *doc, const ps_doc_table *table, int column) {
    double rest = doc->right - doc->left;
    if (table->width_mm[column] > 0) return table->width_mm[column];
    for (int i = 0; i < table->columns; i++) rest -= table->width_mm[i];
    return rest;
}

static double cell_height(ps_doc *doc, double width, const ps_doc_cell *cell) {
    double height = 0;
    if (cell->text && *cell->text)
        height += ps_doc_height(doc, width - cell_pad_mm, cell->style, 0, cell->text) + (cell->reversed ? reversed_mm : 0);
    if (cell->below && *cell->below) height += ps_doc_height(doc, width - cell_pad_mm, PS_DOC_SMALL, 0, cell->below);
    return height;
}

static void put_cell(ps_doc *doc, double x, double y, double width, ps_doc_align align, const ps_doc_cell *cell) {
    if (cell->text && *cell->text) {
        if (cell->reversed) {
            double w = ps_doc_width(doc, cell->style, cell->text) + 2, h = ps_doc_height(doc, 0, cell->style, 1, cell->text);
            cairo_rectangle(doc->cr, align == PS_DOC_RIGHT ? x + width - cell_pad_mm - w + 1 : x - 1, y - 0.3, w, h + 0.6);
            cairo_fill(doc->cr);
            cairo_set_source_rgb(doc->cr, 1, 1, 1);
        }
        y += ps_doc_put(doc, x, y, width - cell_pad_mm, cell->style, align, 0, cell->text) + (cell->reversed ? reversed_mm : 0);
        cairo_set_source_rgb(doc->cr, 0, 0, 0);
    }
    if (cell->below && *cell->below) (void)ps_doc_put(doc, x, y, width - cell_pad_mm, PS_DOC_SMALL, align, 0, cell->below);
}

static double put_row(ps_doc *doc, const ps_doc_table *table, const ps_doc_cell *cell, bool draw) {
    double height = 0, x = doc->left;
    for (int i = 0; i < table->columns; i++) {
        double width = column_width(doc, table, i);
        if (draw) put_cell(doc, x, doc->y, width, table->align[i], &cell[i]);
        if (!draw) height = fmax(height, cell_height(doc, width, &cell[i]));
        x += width;
    }
    return height;
}

static void begin_table(ps_doc *doc, const ps_doc_table *table) {
    ps_doc_cell cell[PS_DOC_COLUMNS];
    for (int i = 0; i < table->columns; i++) cell[i] = (ps_doc_cell){table->head[i], NULL, PS_DOC_SMALL_STRONG, false};
    double height = put_row(doc, table, cell, false);
    (void)put_row(doc, table, cell, true);
    doc->y += height + 0.8;
    ps_doc_line(doc, doc->left, doc->y, doc->right, doc->y, 0.35);
    doc->y += 0.9;
}

void ps_doc_table_head(ps_doc *doc, const ps_doc_table *table) {
    ps_doc_need(doc, 18);
    begin_table(doc, table);
}

void ps_doc_row(ps_doc *doc, const ps_doc_table *table, const ps_doc_cell *cell) {
    double height = put_row(doc, table, cell, false);
    if (doc->y + height + 1.6 > doc->bottom) {
        ps_doc_page(doc);
        begin_table(doc, table);
    }
    (void)put_row(doc, table, cell, true);
    doc->y += height + 0.7;
    ps_doc_line(doc, doc->left, doc->y, doc->right, doc->y, 0.1);
    doc->y += 0.9;
}
