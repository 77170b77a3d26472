/* The printed kit, proved from the PDF itself: poppler (pdftocairo, pdftoppm) reads it back, and libapriltag decodes
 * what a printer would put on paper. The expected geometry is kit.json, the project's copy of the fixed kit. */
#include "check.h"

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "pinspan/target.h"

/* Fixed by the kit: squares, tags and check lines within 0.02 mm of their place. */
static const double exact_mm = 0.02;
static const double mm_per_point = 25.4 / 72.0;
static const double paper_mm[2][2] = {{210.0, 297.0}, {215.9, 279.4}};
enum { PAGES = 5, SHAPES_MAX = 4000 };

static char folder[64];

static void in_folder(char *out, size_t size, const char *name) {
    snprintf(out, size, "%s/%s", folder, name);
}

/* Writes the kit and turns it into SVG pages and grey pages; the files stay until the group's teardown. */
static const char *const paper_name[2] = {"a4", "letter"};

static int make_kit(void **state) {
    (void)state;
    strcpy(folder, "/tmp/pinspan-kit-XXXXXX");
    if (mkdtemp(folder) == NULL) return -1;
    ps_context *ctx = ps_context_new();
    int bad = 0;
    for (int paper = 0; paper < 2; paper++) {
        char path[128], command[512];
        snprintf(path, sizeof path, "%s/%s.pdf", folder, paper_name[paper]);
        bad |= ps_kit_write_pdf(ctx, (ps_paper)paper, path) != PS_OK;
        for (int page = 1; page <= PAGES; page++) {
            snprintf(command, sizeof command, "pdftocairo -svg -origpagesizes -noshrink -f %d -l %d %s %s/%s-%d.svg", page, page, path,
                     folder, paper_name[paper], page);
            bad |= system(command) != 0;
        }
        snprintf(command, sizeof command, "pdftoppm -gray -r 200 %s %s/%s", path, folder, paper_name[paper]);
        bad |= system(command) != 0;
    }
    ps_context_free(ctx);
    return bad ? -1 : 0;
}

static int remove_kit(void **state) {
    (void)state;
    char command[128];
    snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command);
}

/* ---- the SVG's paths as boxes in mm ---- */
typedef struct shape {
    double left, top, right, bottom;
    bool stroked;
} shape;

typedef struct drawing {
    int count;
    shape shapes[SHAPES_MAX];
} drawing;

static char *read_all(const char *path) {
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    fseek(file, 0, SEEK_END);
    long size = ftell(file);
    rewind(file);
    char *text = malloc((size_t)size + 1);
    assert_non_null(text);
    assert_int_equal(fread(text, 1, (size_t)size, file), size);
    text[size] = '\0';
    fclose(file);
    return text;
}

static void grow(shape *s, double x, double y) {
    s->left = fmin(s->left, x);
    s->right = fmax(s->right, x);
    s->top = fmin(s->top, y);
    s->bottom = fmax(s->bottom, y);
}

/* The subpaths of one d="..." under the matrix m; straight pieces only count, curves keep their end points. */
static void add_path(drawing *out, const char *d, const char *end, const double m[6], bool stroked) {
    shape s = {INFINITY, INFINITY, -INFINITY, -INFINITY, stroked};
    while (d < end) {
        char *next;
        double x = strtod(d, &next);
        if (next == d) { /* a command letter or a blank */
            if (*d == 'M' && s.right > -INFINITY) {
                assert_true(out->count < SHAPES_MAX);
                out->shapes[out->count++] = s;
                s = (shape){INFINITY, INFINITY, -INFINITY, -INFINITY, stroked};
            }
            d++;
            continue;
        }
        double y = strtod(next, &next);
        grow(&s, (m[0] * x + m[2] * y + m[4]) * mm_per_point, (m[1] * x + m[3] * y + m[5]) * mm_per_point);
        d = next;
    }
    /* A bare trailing M is how poppler closes a path: a point without extent. */
    if (s.right > -INFINITY && (s.right > s.left || s.bottom > s.top)) {
        assert_true(out->count < SHAPES_MAX);
        out->shapes[out->count++] = s;
    }
}

/* Black paths of an SVG page of poppler's, glyphs (which stand in <defs>) left out. */
static void read_drawing(drawing *out, int paper, int page) {
    char path[160];
    snprintf(path, sizeof path, "%s/%s-%d.svg", folder, paper_name[paper], page);
    char *text = read_all(path);
    const char *at = strstr(text, "</defs>");
    out->count = 0;
    for (at = at != NULL ? at : text; (at = strstr(at, "<path ")) != NULL;) {
        const char *close = strchr(at, '>'), *d = strstr(at, " d=\""), *matrix = strstr(at, "matrix(");
        assert_true(close != NULL && d != NULL && d < close);
        char tag[2048];
        snprintf(tag, sizeof tag, "%.*s", (int)(close - at < 2047 ? close - at : 2047), at);
        double m[6] = {1, 0, 0, 1, 0, 0};
        if (matrix != NULL && matrix < close)
            assert_int_equal(sscanf(matrix, "matrix(%lf,%lf,%lf,%lf,%lf,%lf)", m, m + 1, m + 2, m + 3, m + 4, m + 5), 6);
        bool white = strstr(tag, "rgb(100%,100%,100%)") != NULL || strstr(tag, "white") != NULL;
        bool stroked = strstr(tag, "stroke:rgb") != NULL || strstr(tag, "stroke=\"rgb") != NULL;
        d += 4;
        if (!white) add_path(out, d, strchr(d, '"'), m, stroked);
        at = close;
    }
    free(text);
}

static bool is_box(const shape *s, double side_mm) {
    return !s->stroked && fabs(s->right - s->left - side_mm) < 0.5 && fabs(s->bottom - s->top - side_mm) < 0.5;
}

/* The n-th filled box of about this side; NULL behind the last. Boxes come in the order in which they were drawn. */
static const shape *find_box(const drawing *page, double side_mm, int n) {
    for (int i = 0; i < page->count; i++)
        if (is_box(&page->shapes[i], side_mm) && n-- == 0) return &page->shapes[i];
    return NULL;
}

static void check_box(const shape *s, double left, double top, double side) {
    assert_non_null(s);
    CHECK_NEAR(s->left, left, exact_mm);
    CHECK_NEAR(s->top, top, exact_mm);
    CHECK_NEAR(s->right, left + side, exact_mm);
    CHECK_NEAR(s->bottom, top + side, exact_mm);
}

/* ---- the fixed kit ---- */
static json_t *kit(void) {
    json_error_t error;
    json_t *root = json_load_file(PS_TEST_DATA "/kit.json", 0, &error);
    assert_non_null(root);
    return root;
}

static double number(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    assert_true(json_is_number(value));
    return json_number_value(value);
}

/* One piece on a page: squares and tags where kit.json has them. `squares_before` and `tags_before` boxes of the same
 * sizes belong to pieces drawn before it. */
static void check_piece(const drawing *page, const json_t *piece, int squares_before, int tags_before) {
    double side = number(piece, "square_mm"), tag_side = number(piece, "tag_side_mm");
    int columns = (int)number(piece, "columns"), rows = (int)number(piece, "rows");
    const shape *first = find_box(page, side, squares_before);
    assert_non_null(first);
    double x0 = first->left, y0 = first->top;
    int n = squares_before;
    for (int row = 0; row < rows; row++)
        for (int column = 0; column < columns; column++)
            if ((row + column) % 2 == 0) check_box(find_box(page, side, n++), x0 + column * side, y0 + row * side, side);
    const json_t *tags = json_object_get(piece, "tags");
    for (size_t i = 0; i < json_array_size(tags); i++) {
        const json_t *centre = json_object_get(json_array_get(tags, i), "centre");
        double x = json_number_value(json_array_get(centre, 0)), y = json_number_value(json_array_get(centre, 1));
        check_box(find_box(page, tag_side, tags_before + (int)i), x0 + x - 0.5 * tag_side, y0 + y - 0.5 * tag_side, tag_side);
    }
}

/* Pieces by page: two plates, then two pages with two patches and a mini. */
static const int on_page[PAGES][3] = {{-1, -1, -1}, {0, -1, -1}, {1, -1, -1}, {2, 3, 6}, {4, 5, 7}};

static void squares_and_tags_are_exact(void **state) {
    (void)state;
    static drawing page;
    json_t *root = kit();
    const json_t *pieces = json_object_get(root, "pieces");
    assert_int_equal(json_array_size(pieces), 8);
    for (int paper = 0; paper < 2; paper++)
        for (int p = 1; p < PAGES; p++) {
            read_drawing(&page, paper, p + 1);
            for (int i = 0; i < 3 && on_page[p][i] >= 0; i++) {
                bool second = p >= 3 && i == 1; /* the second patch: ten squares and ten tags of its size stand before it */
                check_piece(&page, json_array_get(pieces, (size_t)on_page[p][i]), second ? 10 : 0, second ? 10 : 0);
            }
            /* and none too many */
            if (p < 3) assert_null(find_box(&page, 30.0, 24));
            if (p >= 3) assert_null(find_box(&page, 20.0, 20));
            if (p >= 3) assert_null(find_box(&page, 10.0, 10));
        }
    json_decref(root);
}

/* A stroked straight line of about this extent; its number when several. */
static const shape *find_line(const drawing *page, double dx, double dy) {
    const shape *found = NULL;
    for (int i = 0; i < page->count; i++) {
        const shape *s = &page->shapes[i];
        if (!s->stroked || fabs(s->right - s->left - dx) > 0.1 || fabs(s->bottom - s->top - dy) > 0.1) continue;
        assert_null(found);
        found = s;
    }
    return found;
}

/* A tick across the line whose middle is this end point. */
static bool has_tick(const drawing *page, double x, double y, bool upright) {
    for (int i = 0; i < page->count; i++) {
        const shape *s = &page->shapes[i];
        double dx = s->right - s->left, dy = s->bottom - s->top;
        bool shape_fits = upright ? dx < 0.01 && dy > 2 && dy < 6 : dy < 0.01 && dx > 2 && dx < 6;
        if (s->stroked && shape_fits && fabs(0.5 * (s->left + s->right) - x) < exact_mm && fabs(0.5 * (s->top + s->bottom) - y) < exact_mm)
            return true;
    }
    return false;
}

static void check_lines_are_exact(void **state) {
    (void)state;
    static drawing page;
    for (int paper = 0; paper < 2; paper++)
        for (int p = 2; p <= PAGES; p++) {
            read_drawing(&page, paper, p);
            const shape *across = find_line(&page, 140.0, 0.0), *along = find_line(&page, 0.0, 200.0);
            assert_non_null(across);
            assert_non_null(along);
            CHECK_NEAR(across->right - across->left, 140.0, exact_mm);
            CHECK_NEAR(along->bottom - along->top, 200.0, exact_mm);
            assert_true(has_tick(&page, across->left, across->top, true) && has_tick(&page, across->right, across->top, true));
            assert_true(has_tick(&page, along->left, along->top, false) && has_tick(&page, along->left, along->bottom, false));
        }
}

/* The measuring itself can fail: a line of the wrong length and a box of the wrong place are refused. */
static void wrong_geometry_is_seen(void **state) {
    (void)state;
    static drawing page;
    read_drawing(&page, PS_PAPER_A4, 2);
    assert_null(find_line(&page, 139.7, 0.0));
    assert_false(has_tick(&page, 100.0, 100.0, true));
    assert_null(find_box(&page, 28.0, 0));
}

/* ---- pictures of the pages ---- */
/* Debian's libapriltag exports no image functions: the struct is filled here. */
static image_u8_t read_page(int paper, int page) {
    char path[160];
    snprintf(path, sizeof path, "%s/%s-%d.pgm", folder, paper_name[paper], page);
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    int width = 0, height = 0;
    assert_int_equal(fscanf(file, "P5 %d %d 255", &width, &height), 2);
    assert_int_equal(fgetc(file), '\n');
    size_t size = (size_t)width * (size_t)height;
    uint8_t *pixels = malloc(size);
    assert_non_null(pixels);
    assert_int_equal(fread(pixels, 1, size, file), size);
    fclose(file);
    return (image_u8_t){.width = width, .height = height, .stride = width, .buf = pixels};
}

static void nothing_within_five_mm(void **state) {
    (void)state;
    const double px_per_mm = 200.0 / 25.4;
    for (int paper = 0; paper < 2; paper++)
        for (int page = 1; page <= PAGES; page++) {
            image_u8_t image = read_page(paper, page);
            CHECK_NEAR(image.width / px_per_mm, paper_mm[paper][0], 0.2); /* whole pixels of 0.13 mm */
            CHECK_NEAR(image.height / px_per_mm, paper_mm[paper][1], 0.2);
            int inked = 0, outside = 0, edge = (int)(5.0 * px_per_mm);
            for (int y = 0; y < image.height; y++)
                for (int x = 0; x < image.width; x++) {
                    bool ink = image.buf[y * image.stride + x] != 255;
                    inked += ink;
                    outside += ink && (x < edge || y < edge || x >= image.width - edge || y >= image.height - edge);
                }
            assert_true(inked > 1000);
            assert_int_equal(outside, 0);
            free(image.buf);
        }
}

/* Ink in a frame around a piece, from `near` to `far` mm outside its squares. */
static int ink_around(const image_u8_t *image, const json_t *piece, const shape *first, double near, double far) {
    const double px_per_mm = 200.0 / 25.4;
    double x0 = first->left, y0 = first->top, x1 = x0 + number(piece, "width_mm"), y1 = y0 + number(piece, "height_mm");
    int ink = 0;
    int top = (int)((y0 - far) * px_per_mm) - 1, bottom = (int)((y1 + far) * px_per_mm) + 1;
    int left = (int)((x0 - far) * px_per_mm) - 1, right = (int)((x1 + far) * px_per_mm) + 1;
    assert_true(top >= 0 && left >= 0 && right < image->width && bottom < image->height);
    for (int y = top; y <= bottom; y++)
        for (int x = left; x <= right; x++) {
            if (image->buf[y * image->stride + x] == 255) continue;
            double mx = (x + 0.5) / px_per_mm, my = (y + 0.5) / px_per_mm;
            double outside = fmax(fmax(x0 - mx, mx - x1), fmax(y0 - my, my - y1));
            ink += outside > near && outside < far;
        }
    return ink;
}

/* Pieces to cut out: half a square of white on every side, then the cut line. */
static void half_a_square_of_white(void **state) {
    (void)state;
    static drawing page;
    const double pixel = 0.4; /* mm: three pixels, for the line's width, edge pixels and the SVG page's shift of 0.13 mm */
    json_t *root = kit();
    for (int paper = 0; paper < 2; paper++)
        for (int p = 3; p < PAGES; p++) {
            read_drawing(&page, paper, p + 1);
            image_u8_t image = read_page(paper, p + 1);
            for (int i = 0; i < 3; i++) {
                const json_t *piece = json_array_get(json_object_get(root, "pieces"), (size_t)on_page[p][i]);
                double half = 0.5 * number(piece, "square_mm");
                const shape *first = find_box(&page, 2 * half, i == 1 ? 10 : 0);
                assert_non_null(first);
                assert_int_equal(ink_around(&image, piece, first, pixel, half - pixel), 0);
                assert_true(ink_around(&image, piece, first, half - pixel, half + pixel) > 100);
            }
            free(image.buf);
        }
    json_decref(root);
}

static void tags_decode_to_their_ids(void **state) {
    (void)state;
    apriltag_family_t *family = tag36h11_create();
    apriltag_detector_t *detector = apriltag_detector_create();
    apriltag_detector_add_family_bits(detector, family, 0); /* no bit may be wrong */
    detector->quad_decimate = 2.0f;                         /* quads only; the smallest tag is 55 px wide */
    for (int paper = 0; paper < 2; paper++) {
        int seen[108] = {0}, total = 0;
        for (int page = 1; page <= PAGES; page++) {
            image_u8_t image = read_page(paper, page);
            zarray_t *found = apriltag_detector_detect(detector, &image);
            for (int i = 0; i < zarray_size(found); i++) {
                apriltag_detection_t *tag;
                zarray_get(found, i, &tag);
                assert_in_range(tag->id, 0, 107);
                seen[tag->id]++;
                total++;
                /* upright: the side from corner 0 to 1 runs along +x in libapriltag's order */
                assert_true(fabs(tag->p[1][0] - tag->p[0][0]) > 10 * fabs(tag->p[1][1] - tag->p[0][1]));
                assert_true(tag->H->data[0] > 0);
            }
            apriltag_detections_destroy(found);
            free(image.buf);
        }
        assert_int_equal(total, 108);
        for (int id = 0; id < 108; id++) assert_int_equal(seen[id], 1);
    }
    apriltag_detector_destroy(detector);
    tag36h11_destroy(family);
}

/* Every page as a photo without a lens: all pieces, by name, whole, and at the right size. */
static void pages_are_sighted(void **state) {
    (void)state;
    /* Of the smallest square, 79 px at 200 dpi, this is 0.08 px: what one corner of a photo is worth. */
    const double square_px_relative = 1e-3;
    ps_context *ctx = ps_context_new();
    ps_sightings *found = malloc(sizeof *found);
    assert_non_null(found);
    for (int paper = 0; paper < 2; paper++)
        for (int p = 0; p < PAGES; p++) {
            image_u8_t image = read_page(paper, p + 1);
            ps_luma luma = {.width = image.width, .height = image.height, .stride = (size_t)image.stride, .px = image.buf};
            int expected = 0;
            while (expected < 3 && on_page[p][expected] >= 0) expected++;
            assert_int_equal(ps_target_sight(ctx, &luma, found), expected > 0 ? PS_OK : PS_NOT_FOUND);
            if (expected > 0) assert_int_equal(found->count, expected);
            for (int i = 0; i < expected; i++) {
                const ps_sighting *s = NULL;
                for (int j = 0; j < found->count; j++)
                    if (found->piece[j].piece == on_page[p][i]) s = &found->piece[j];
                assert_non_null(s);
                const ps_piece *piece = ps_kit_piece(s->piece);
                assert_int_equal(s->tag_count, piece->tag_count);
                assert_int_equal(s->corner_count, piece->corner_count);
                double square_px = piece->square_mm * 200.0 / 25.4;
                CHECK_NEAR(s->square_px, square_px, square_px_relative * square_px);
            }
            free(image.buf);
        }
    free(found);
    ps_context_free(ctx);
}

static void words_and_fonts_are_there(void **state) {
    (void)state;
    static const char *const words[] = {"plate-1", "mini-2", "toward the dipper pin", "link pin", "stick", "along", "key out"};
    char command[512], path[160];
    for (int paper = 0; paper < 2; paper++) {
        snprintf(command, sizeof command, "pdftotext -raw %s/%s.pdf %s/text && pdffonts %s/%s.pdf > %s/fonts", folder, paper_name[paper],
                 folder, folder, paper_name[paper], folder);
        assert_int_equal(system(command), 0);
        in_folder(path, sizeof path, "text");
        char *text = read_all(path);
        for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
            if (strstr(text, words[i]) == NULL) fail_msg("%s lacks '%s'", paper_name[paper], words[i]);
        free(text);
        in_folder(path, sizeof path, "fonts");
        char *fonts = read_all(path), *line = strchr(strchr(fonts, '\n') + 1, '\n');
        int count = 0;
        for (; line != NULL && line[1] != '\0'; line = strchr(line + 1, '\n'), count++) {
            /* columns: name, type, encoding, emb, sub, uni */
            assert_non_null(strstr(line, " yes yes yes "));
        }
        assert_true(count >= 2);
        free(fonts);
    }
}

static void failures_leave_no_file(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    char path[160], command[256];
    in_folder(path, sizeof path, "none/kit.pdf");
    assert_int_equal(ps_kit_write_pdf(ctx, PS_PAPER_A4, path), PS_IO);
    assert_non_null(strstr(ps_context_message(ctx), path));
    assert_non_null(strstr(ps_context_message(ctx), "No such file"));

    assert_int_equal(ps_kit_write_pdf(ctx, PS_PAPER_A4, folder), PS_IO); /* a folder is no file */
    snprintf(command, sizeof command, "test -z \"$(ls %s*.tmp %s/*.tmp 2>/dev/null)\"", folder, folder);
    assert_int_equal(system(command), 0);

    if (access("/dev/full", W_OK) == 0) {
        assert_int_equal(ps_kit_write_pdf(ctx, PS_PAPER_A4, "/dev/full"), PS_IO);
        assert_non_null(strstr(ps_context_message(ctx), "No space left"));
    }
    assert_int_equal(ps_kit_write_pdf(ctx, (ps_paper)7, path), PS_BAD_ARGUMENT);
    assert_int_equal(ps_kit_write_pdf(ctx, PS_PAPER_A4, ""), PS_BAD_ARGUMENT);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(squares_and_tags_are_exact), cmocka_unit_test(check_lines_are_exact),     cmocka_unit_test(wrong_geometry_is_seen),
        cmocka_unit_test(nothing_within_five_mm),     cmocka_unit_test(tags_decode_to_their_ids),  cmocka_unit_test(half_a_square_of_white),
        cmocka_unit_test(pages_are_sighted),          cmocka_unit_test(words_and_fonts_are_there), cmocka_unit_test(failures_leave_no_file),
    };
    return cmocka_run_group_tests(tests, make_kit, remove_kit);
}
