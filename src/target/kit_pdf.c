/* kit_pdf.c: the printed kit as a vector PDF at exact size, one page after the other. */
#include "pinspan/target.h"

#include <apriltag/tag36h11.h>
#include <cairo/cairo-pdf.h>
#include <errno.h>
#include <fcntl.h>
#include <pango/pangocairo.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "target/kit_sheet.h"

static const double points_per_mm = 72.0 / 25.4;

static void piece_title(const ps_sheet *sheet, const ps_piece *piece, double x_mm, double y_mm, double size_mm, double arrow_mm) {
    double across = ps_sheet_text(sheet, x_mm, y_mm, 0, (ps_text_style){size_mm, true, PS_TEXT_LEFT}, piece->name);
    int width;
    pango_layout_get_size(sheet->layout, &width, NULL);
    double x = x_mm + (double)width / PANGO_SCALE + 0.8 * size_mm, small = 0.72 * size_mm;
    ps_sheet_text(sheet, x, y_mm + 0.25 * size_mm, 0, (ps_text_style){small, false, PS_TEXT_LEFT}, "toward the dipper pin");
    pango_layout_get_size(sheet->layout, &width, NULL);
    ps_sheet_arrow(sheet, x + (double)width / PANGO_SCALE + 0.5 * size_mm, y_mm + 0.55 * across, arrow_mm, 0.7 * size_mm);
}

static const char plate_words[] =
    "Print at 100 %, on matt paper. On the day, beside the machine, measure both check lines from the middle of one tick to the middle of "
    "the other and write down what you read. Fix the sheet flat on the pins' ear plate, arrow toward the dipper pin; tape only outside the "
    "squares. Attachment flat on firm ground, engine off, key out. Page 1 tells more.";

static void plate_page(const ps_sheet *sheet, const ps_piece *piece) {
    bool a4 = sheet->paper == PS_PAPER_A4;
    double across = piece->columns * piece->square_mm, along = piece->rows * piece->square_mm;
    double left = 0.5 * (sheet->width_mm - across) + 6.0, top = a4 ? 28.0 : 19.8, bottom = top + along;
    ps_text_style fill_in = {3.2, false, PS_TEXT_LEFT};

    piece_title(sheet, piece, left, a4 ? 14.0 : 9.0, 5.5, 22.0);
    double unit_mm = a4 ? 0.26 : 0.16;
    ps_sheet_drawing(sheet, left + across - 100 * unit_mm - 31.0, PS_SHEET_MARGIN_MM + 0.8, unit_mm, 2.3, false);

    double line_x = left - 8.0, line_y = top + 0.5 * (along - PS_CHECK_ALONG_MM);
    ps_sheet_check_along(sheet, line_x, line_y);
    ps_sheet_text_upward(sheet, line_x - 6.2, top + 0.5 * along + 40.0, fill_in, "along (200 mm)  ______________ mm");

    double below = bottom + (a4 ? 6.5 : 4.8);
    ps_sheet_check_across(sheet, left, below);
    ps_sheet_text(sheet, left + PS_CHECK_ACROSS_MM + 3.0, below - 2.0, 0, (ps_text_style){3.0, false, PS_TEXT_LEFT},
                  "across  ____________ mm");
    ps_sheet_text(sheet, left, below + (a4 ? 3.0 : 2.4), across, (ps_text_style){a4 ? 2.6 : 2.0, false, PS_TEXT_LEFT}, plate_words);
    ps_sheet_piece(sheet, piece, left, top);
}

/* A piece to be cut out: half a square of white on all sides and a strip with its name above. (x, y): the cut line's
 * corner. */
static const double name_strip_mm = 6.0;
static void cut_piece(const ps_sheet *sheet, const ps_piece *piece, double x_mm, double y_mm) {
    double white = 0.5 * piece->square_mm;
    double width = piece->columns * piece->square_mm + 2 * white, size = width > 60 ? 4.2 : 2.8;
    piece_title(sheet, piece, x_mm + 2.0, y_mm + (width > 60 ? 1.2 : 1.6), size, width > 60 ? 18.0 : 5.5);
    ps_sheet_piece(sheet, piece, x_mm + white, y_mm + white + name_strip_mm);
}

static const char *const patch_words[] = {
    "Small pieces for small gaps: a patch for pins 150 to 400 mm apart, a mini below that.",
    "Print at 100 %, on matt paper. Cut along the dashed lines, so that the white edge stays.",
    "Keep this rest with the check lines. On the day, beside the machine, measure both lines from the middle of one tick to the middle of "
    "the other and write down what you read: it holds for the pieces of this page.",
    "Fix the piece flat on the pins' ear plate, arrow toward the dipper pin; tape only outside the squares.",
    "Attachment flat on firm ground, arm lowered, engine off, key out. Page 1 tells more.",
};

/* Two patches in a column, a mini beside them, then the words; check lines at the right and below. */
static void patch_page(const ps_sheet *sheet, const ps_piece *upper, const ps_piece *lower, const ps_piece *mini) {
    bool a4 = sheet->paper == PS_PAPER_A4;
    double left = 8.0, top = a4 ? 14.0 : 9.0, cell = (upper->rows + 1) * upper->square_mm + name_strip_mm;
    double cell_width = (upper->columns + 1) * upper->square_mm, column = left + cell_width + 6.0,
           line_x = sheet->width_mm - PS_SHEET_MARGIN_MM - 4.0;
    ps_sheet_cut(sheet, left, top, cell_width, 2 * cell);
    ps_sheet_cut(sheet, left, top + cell, cell_width, 0);
    ps_sheet_cut(sheet, column, top, (mini->columns + 1) * mini->square_mm, (mini->rows + 1) * mini->square_mm + name_strip_mm);
    cut_piece(sheet, upper, left, top);
    cut_piece(sheet, lower, left, top + cell);
    cut_piece(sheet, mini, column, top);

    double line_y = top + 0.5 * (2 * cell - PS_CHECK_ALONG_MM), words_width = line_x - 10.0 - column;
    ps_sheet_check_along(sheet, line_x, line_y);
    ps_sheet_text_upward(sheet, line_x - 5.8, line_y + 0.5 * PS_CHECK_ALONG_MM + 30.0, (ps_text_style){3.2, false, PS_TEXT_LEFT},
                         "along (200 mm)  ______________ mm");
    double y = top + (mini->rows + 1) * mini->square_mm + name_strip_mm + 10.0;
    ps_sheet_drawing(sheet, column + 13.0, y, 0.4, 2.4, false);
    y += 0.4 * 72.0 + 8.0;
    for (size_t i = 0; i < sizeof patch_words / sizeof patch_words[0]; i++)
        y += ps_sheet_text(sheet, column, y, words_width, (ps_text_style){3.5, false, PS_TEXT_LEFT}, patch_words[i]) + 2.5;

    double below = top + 2 * cell + (a4 ? 9.0 : 5.5);
    ps_sheet_check_across(sheet, left, below);
    ps_sheet_text(sheet, left + PS_CHECK_ACROSS_MM + 4.0, below - 2.2, 0, (ps_text_style){3.2, false, PS_TEXT_LEFT},
                  "across (140 mm)  __________ mm");
}

/* All pages. Cairo keeps the first error in the surface and ignores what follows. */
static void draw_pages(ps_sheet *sheet) {
    ps_sheet_guide(sheet);
    cairo_show_page(sheet->cr);
    for (int plate = 0; plate < 2; plate++) {
        plate_page(sheet, ps_kit_piece(ps_kit_find(plate == 0 ? "plate-1" : "plate-2")));
        cairo_show_page(sheet->cr);
    }
    patch_page(sheet, ps_kit_piece(ps_kit_find("patch-1")), ps_kit_piece(ps_kit_find("patch-2")), ps_kit_piece(ps_kit_find("mini-1")));
    cairo_show_page(sheet->cr);
    patch_page(sheet, ps_kit_piece(ps_kit_find("patch-3")), ps_kit_piece(ps_kit_find("patch-4")), ps_kit_piece(ps_kit_find("mini-2")));
    cairo_show_page(sheet->cr);
}

static void open_sheet(ps_sheet *sheet, cairo_surface_t *surface) {
    sheet->cr = cairo_create(surface);
    cairo_scale(sheet->cr, points_per_mm, points_per_mm);
    cairo_set_source_rgb(sheet->cr, 0, 0, 0);
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    /* A font map of our own: the default one would stay with the calling thread for good. */
    PangoFontMap *fonts = pango_cairo_font_map_new();
    PangoContext *text = pango_font_map_create_context(fonts);
    pango_cairo_update_context(sheet->cr, text);
    sheet->layout = pango_layout_new(text);
    pango_cairo_context_set_font_options(text, options);
    pango_context_set_round_glyph_positions(text, FALSE); /* a unit is a whole mm here */
    cairo_font_options_destroy(options);
    g_object_unref(text); /* the layout holds it, and it the font map */
    g_object_unref(fonts);
}

static cairo_status_t write_bytes(void *closure, const unsigned char *data, unsigned int length) {
    FILE *file = closure;
    return fwrite(data, 1, length, file) == length ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_WRITE_ERROR;
}

/* Draws the kit into an open file; an error of cairo or of the file's writing comes back as a plain text, else NULL. */
static const char *write_kit(ps_paper paper, FILE *file) {
    ps_sheet sheet = {.paper = paper, .width_mm = paper == PS_PAPER_A4 ? 210.0 : 215.9, .height_mm = paper == PS_PAPER_A4 ? 297.0 : 279.4};
    sheet.family = tag36h11_create();
    if (sheet.family == NULL) return "out of memory";
    cairo_surface_t *surface =
        cairo_pdf_surface_create_for_stream(write_bytes, file, sheet.width_mm * points_per_mm, sheet.height_mm * points_per_mm);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, "pinspan: printed kit");
    open_sheet(&sheet, surface);
    errno = 0;
    draw_pages(&sheet);
    cairo_surface_finish(surface);
    cairo_status_t status = cairo_status(sheet.cr);
    if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_status(surface);
    int cause = errno;
    g_object_unref(sheet.layout);
    cairo_destroy(sheet.cr);
    cairo_surface_destroy(surface);
    tag36h11_destroy(sheet.family);
    if (status == CAIRO_STATUS_WRITE_ERROR) return strerror(cause != 0 ? cause : EIO);
    return status == CAIRO_STATUS_SUCCESS ? NULL : cairo_status_to_string(status);
}

/* Another name in the same folder, so that the rename is atomic. The caller frees it. */
static char *temporary_name(const char *path) {
    size_t size = strlen(path) + 32;
    char *name = malloc(size);
    if (name != NULL) snprintf(name, size, "%s.%ld.tmp", path, (long)getpid());
    return name;
}

ps_status ps_kit_write_pdf(ps_context *ctx, ps_paper paper, const char *path) {
    if (path == NULL || path[0] == '\0' || (paper != PS_PAPER_A4 && paper != PS_PAPER_LETTER))
        return ps_context_fail(ctx, PS_BAD_ARGUMENT, "no file name, or no such paper");
    struct stat there;
    /* A device or pipe is written to as it is; renaming over it would take its place. */
    bool in_place = stat(path, &there) == 0 && !S_ISREG(there.st_mode) && !S_ISDIR(there.st_mode);
    char *name = in_place ? strdup(path) : temporary_name(path);
    if (name == NULL) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory");

    ps_status status = PS_OK;
    const char *cause = NULL;
    int flags = in_place ? O_WRONLY : O_WRONLY | O_CREAT | O_TRUNC;
    int descriptor = open(name, flags, 0666);
    FILE *file = descriptor >= 0 ? fdopen(descriptor, "wb") : NULL;
    if (file == NULL) {
        status = ps_context_fail(ctx, PS_IO, "%s: cannot write: %s", path, strerror(errno));
        if (descriptor >= 0) close(descriptor);
        goto out;
    }
    cause = write_kit(paper, file);
    if (fclose(file) != 0 && cause == NULL) cause = strerror(errno);
    if (cause == NULL && !in_place && rename(name, path) != 0) cause = strerror(errno);
    if (cause != NULL) status = ps_context_fail(ctx, PS_IO, "%s: cannot write: %s", path, cause);
out:
    if (status != PS_OK && !in_place) unlink(name);
    free(name);
    return status;
}
