/* panel.h: the boxes with sizes in a marked picture, and the legend strip. Private to the room. */
#ifndef PINSPAN_REPORT_PANEL_H
#define PINSPAN_REPORT_PANEL_H

#include "report/marks.h"

enum { PS_PANEL_ROWS = 6, PS_PANELS_MAX = 3, PS_OBSTACLES_MAX = 2 * PS_PIECES_MAX };

typedef struct ps_panel_row {
    char text[120];
    int mark; /* ps_mark of the sample line before the text, -1: none */
    bool verdict_shown;
    ps_verdict verdict;
} ps_panel_row;

typedef struct ps_panel {
    int rows;
    ps_panel_row row[PS_PANEL_ROWS];
    ps_box around; /* what the panel speaks of, picture px; it is placed beside that */
    double tip[2]; /* where the pointer ends */
    ps_box box;    /* its own place: filled by ps_panels_place */
} ps_panel;

typedef struct ps_panels {
    double unit;          /* a thousandth of the picture's longer side */
    double width, height; /* of the photo in the picture */
    int count;
    ps_panel panel[PS_PANELS_MAX];
    int obstacles;
    ps_box obstacle[PS_OBSTACLES_MAX]; /* better not covered: pieces */
} ps_panels;

/* A row for a dimension: "pin 64.93 ± 0.20 mm". */
void ps_panel_add_dimension(ps_panel *panel, const ps_dimension *d, int mark, bool inch);
void ps_panels_place(cairo_t *cr, ps_panels *panels);
void ps_panels_draw(cairo_t *cr, const ps_panels *panels);

/* The legend: sample lines with their meaning for the marks in `shown` (bit 1 << mark), then `remark` wrapped. Draws at y when
 * `draw`, returns its height. */
double ps_legend(cairo_t *cr, unsigned shown, const char *remark, double width, double y, double unit, bool draw);

#endif
