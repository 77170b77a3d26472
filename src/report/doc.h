/* doc.h: a PDF of running text, tables and figures on numbered pages. Private to the room.
 *
 * Everything is in mm on the page, x right, y down, origin at the paper's top-left corner. What is drawn flows downward from
 * `y`; a part that does not fit goes to the next page whole. Failures stay in the cairo surface's status, which ps_doc_close
 * reads once. */
#ifndef PINSPAN_REPORT_DOC_H
#define PINSPAN_REPORT_DOC_H

#include <cairo/cairo.h>
#include <pango/pangocairo.h>

#include "pinspan/report.h"

typedef enum ps_doc_style {
    PS_DOC_BODY = 0,
    PS_DOC_STRONG,
    PS_DOC_SMALL,
    PS_DOC_SMALL_STRONG,
    PS_DOC_FIXED, /* small, fixed pitch: digests */
    PS_DOC_SUBHEAD,
    PS_DOC_HEAD,
    PS_DOC_TITLE,
    PS_DOC_STYLES
} ps_doc_style;

typedef enum ps_doc_align { PS_DOC_LEFT = 0, PS_DOC_MIDDLE, PS_DOC_RIGHT } ps_doc_align;

typedef struct ps_doc {
    cairo_surface_t *surface;
    cairo_t *cr;
    PangoLayout *layout;
    double width_mm, height_mm, left, right, top, bottom; /* paper; where the text may stand */
    double y;                                             /* where the next part goes */
    int page, pages;                                      /* this one; all, 0 while they are counted */
    bool inch;                                            /* inches behind millimetres in paragraphs and entries */
    bool dry;                                             /* pages are only counted: figures need not be filled */
    char running[160];                                    /* head of every page but the first */
    unsigned char *bytes;                                 /* the file; owned */
    size_t size, capacity;
} ps_doc;

/* Begins a document. `pages`: what an earlier round counted, 0 in that round. No failure is told before ps_doc_close. */
void ps_doc_open(ps_doc *doc, ps_paper paper, const char *title, const char *running, int pages);
/* Ends it. On PS_OK bytes and size are the caller's to take (NULL in a dry round); doc->page tells how many pages there were. */
ps_status ps_doc_close(ps_context *ctx, ps_doc *doc);

void ps_doc_page(ps_doc *doc);                   /* a new page, unless this one is still empty */
void ps_doc_need(ps_doc *doc, double height_mm); /* a new page where so much does not fit on this one */
void ps_doc_space(ps_doc *doc, double height_mm);
void ps_doc_head(ps_doc *doc, const char *text); /* on a page with at least a few lines after it; goes into the outline */
void ps_doc_subhead(ps_doc *doc, const char *text);
void ps_doc_paragraph(ps_doc *doc, ps_doc_style style, double indent_mm, const char *text);
/* "label" in bold, then the text behind it, indented. */
void ps_doc_entry(ps_doc *doc, const char *label, const char *text);

/* Text in a box, its top at y: not part of the flow. Returns its height. `lines`: most lines, then an ellipsis; 0: any number. */
double ps_doc_put(ps_doc *doc, double x, double y, double width_mm, ps_doc_style style, ps_doc_align align, int lines, const char *text);
double ps_doc_height(ps_doc *doc, double width_mm, ps_doc_style style, int lines, const char *text);
double ps_doc_width(ps_doc *doc, ps_doc_style style, const char *text); /* on one line */
void ps_doc_line(ps_doc *doc, double x1, double y1, double x2, double y2, double stroke_mm);
void ps_doc_box(ps_doc *doc, double x, double y, double width_mm, double height_mm, double stroke_mm);

enum { PS_DOC_COLUMNS = 8 };
typedef struct ps_doc_cell {
    const char *text;  /* NULL: empty */
    const char *below; /* small, under it; NULL: nothing */
    ps_doc_style style;
    bool reversed; /* white on black: must not be overlooked, in black and white too */
} ps_doc_cell;
typedef struct ps_doc_table {
    int columns;
    double width_mm[PS_DOC_COLUMNS]; /* the last one takes what is left when 0 */
    ps_doc_align align[PS_DOC_COLUMNS];
    const char *head[PS_DOC_COLUMNS];
} ps_doc_table;
void ps_doc_table_head(ps_doc *doc, const ps_doc_table *table);
/* A row with a thin line under it; a row that goes to a new page takes the head along. */
void ps_doc_row(ps_doc *doc, const ps_doc_table *table, const ps_doc_cell *cell);

#endif
