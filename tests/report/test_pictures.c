/* The marked pictures: names, sizes, and that the right things are drawn in the right places. */
#include "check.h"
#include "sample.h"

#include <dirent.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include "report/marks.h"

typedef struct scratch {
    char folder[64], photo[128], pictures[128];
} scratch;

static int set_up(void **state) {
    static scratch s;
    (void)snprintf(s.folder, sizeof s.folder, "/tmp/pinspan-pictures-XXXXXX");
    if (!mkdtemp(s.folder)) return 1;
    (void)snprintf(s.photo, sizeof s.photo, "%s/one.jpg", s.folder);
    (void)snprintf(s.pictures, sizeof s.pictures, "%s/marked", s.folder);
    sample_write_photo(s.photo);
    *state = &s;
    return 0;
}

static void empty_folder(const char *folder) {
    DIR *dir = opendir(folder);
    char path[600];
    for (struct dirent *e; dir && (e = readdir(dir));) {
        (void)snprintf(path, sizeof path, "%s/%s", folder, e->d_name);
        if (e->d_name[0] != '.') (void)unlink(path);
    }
    if (dir) (void)closedir(dir);
    (void)rmdir(folder);
}

static int tear_down(void **state) {
    scratch *s = *state;
    empty_folder(s->pictures);
    empty_folder(s->folder);
    return 0;
}

static int entries(const char *folder) {
    DIR *dir = opendir(folder);
    int n = 0;
    for (struct dirent *e; dir && (e = readdir(dir));) n += e->d_name[0] != '.';
    if (dir) (void)closedir(dir);
    return n;
}

/* Share of places along the rim that took on the mark's hue: the channel differences that grey does not have. */
static double coloured_share(const ps_colour *c, const ps_ellipse *e, ps_mark mark) {
    double rgb[3];
    int hit = 0, all = 0;
    ps_mark_colour(mark, rgb);
    for (int i = 0; i < 360; ++i) {
        double t = i * 0.017453292519943295, u = e->a * cos(t), v = e->b * sin(t);
        int x = (int)lround(e->cx + u * cos(e->angle) - v * sin(e->angle)), y = (int)lround(e->cy + u * sin(e->angle) + v * cos(e->angle));
        if (x < 0 || y < 0 || x >= c->width || y >= c->height) continue;
        const uint8_t *p = c->px + 3 * ((size_t)y * (size_t)c->width + (size_t)x);
        double got = p[0] - p[1], want = 255 * (rgb[0] - rgb[1]);
        hit += got * want > 0 && fabs(got) > 30; /* lines 1.4 px wide at this size, and JPEG: a part of the full difference */
        ++all;
    }
    return all ? (double)hit / all : 0;
}

static void draws_the_rims(void **state) {
    scratch *s = *state;
    sample r;
    sample_make(&r, s->photo);
    char *names[2] = {NULL, NULL};
    assert_int_equal(ps_report_pictures(NULL, &r.record, NULL, s->pictures, false, names), PS_OK);
    assert_non_null(names[0]);
    assert_null(names[1]); /* the unreadable photo has none */
    assert_true(strstr(names[0], "/one-marked.jpg") != NULL);
    assert_int_equal(entries(s->pictures), 1); /* and no part left behind */
    ps_colour c = {0};
    assert_int_equal(ps_photo_read_colour(NULL, names[0], NULL, 0, &c), PS_OK);
    assert_int_equal(c.width, SAMPLE_WIDTH);
    assert_true(c.height > SAMPLE_HEIGHT && c.height < 2 * SAMPLE_HEIGHT); /* the legend stands below */
    /* A solid line with dots: nearly all around, but for what a label or the axis covers. A dashed one: dashes 9 of 14. */
    assert_true(coloured_share(&c, &r.rim[0].ellipse, PS_MARK_PIN) > 0.8);
    assert_true(coloured_share(&c, &r.rim[1].ellipse, PS_MARK_BUSH) > 0.5);
    assert_true(coloured_share(&c, &r.rim[1].ellipse, PS_MARK_PIN) < 0.2);
    ps_ellipse elsewhere = {320, 400, 39, 36, 0.3};
    assert_true(coloured_share(&c, &elsewhere, PS_MARK_PIN) < 0.05);
    /* The centre-distance line: yellow (red and green over blue) half-way between the axes' feet (8 mm before the plane for the
     * dipper, 20 for the link pin: 520.325..., 90.8), a little above where its label's pointer ends. */
    int yellow = 0;
    for (int x = 170; x < 440; ++x) {
        const uint8_t *p = c.px + 3 * ((size_t)240 * (size_t)c.width + (size_t)x);
        yellow += p[0] - p[2] > 60 && p[1] - p[2] > 40;
    }
    assert_true(yellow > 150);
    ps_colour_clear(&c);
    free(names[0]);
}

/* A photo's picture that is drawn without anything found differs from one with rims: the test above can fail. */
static void no_rims_no_colour(void **state) {
    scratch *s = *state;
    sample r;
    sample_make(&r, s->photo);
    ps_ellipse e = r.rim[0].ellipse;
    r.photo[0].rim_count = 0;
    char *names[2] = {NULL, NULL};
    assert_int_equal(ps_report_pictures(NULL, &r.record, NULL, s->pictures, true, names), PS_OK);
    ps_colour c = {0};
    assert_int_equal(ps_photo_read_colour(NULL, names[0], NULL, 0, &c), PS_OK);
    assert_true(coloured_share(&c, &e, PS_MARK_PIN) < 0.2);
    ps_colour_clear(&c);
    free(names[0]);
}

static void equal_names_are_kept_apart(void **state) {
    scratch *s = *state;
    sample r;
    char other[256], taken[256];
    sample_make(&r, s->photo);
    (void)snprintf(other, sizeof other, "%s/one.jpeg", s->folder);
    sample_write_photo(other);
    (void)snprintf(r.file[1], sizeof r.file[1], "%s", other);
    r.photo[1].usable = true;
    char *names[2] = {NULL, NULL};
    assert_int_equal(ps_report_pictures(NULL, &r.record, NULL, s->pictures, false, names), PS_OK);
    assert_true(strstr(names[0], "/one-marked.jpg") != NULL);
    assert_true(strstr(names[1], "/one-marked-2.jpg") != NULL);
    free(names[0]);
    free(names[1]);
    /* A photo that happens to have the picture's name, in the same folder, is not overwritten. */
    (void)snprintf(taken, sizeof taken, "%s/one-marked.jpg", s->folder);
    sample_write_photo(taken);
    (void)snprintf(r.file[1], sizeof r.file[1], "%s", taken);
    assert_int_equal(ps_report_pictures(NULL, &r.record, NULL, s->folder, false, names), PS_OK);
    assert_true(strstr(names[0], "/one-marked-2.jpg") != NULL);
    ps_colour c = {0};
    assert_int_equal(ps_photo_read_colour(NULL, taken, NULL, 0, &c), PS_OK);
    assert_int_equal(c.height, SAMPLE_HEIGHT); /* as it was */
    ps_colour_clear(&c);
    free(names[0]);
    free(names[1]);
}

static void failures_name_the_file(void **state) {
    scratch *s = *state;
    sample r;
    sample_make(&r, s->photo);
    ps_context *ctx = ps_context_new();
    assert_int_equal(ps_report_pictures(ctx, &r.record, NULL, s->photo, false, NULL), PS_IO); /* a file where a folder should be */
    assert_true(strstr(ps_context_message(ctx), "one.jpg") != NULL);
    (void)snprintf(r.file[0], sizeof r.file[0], "%s/none.jpg", s->folder);
    assert_int_equal(ps_report_pictures(ctx, &r.record, NULL, s->pictures, false, NULL), PS_IO);
    assert_true(strstr(ps_context_message(ctx), "none.jpg") != NULL);
    ps_context_free(ctx);
}

/* Rims far outside the photo, axes behind the camera and numbers that are none are passed over. */
static void nonsense_is_passed_over(void **state) {
    scratch *s = *state;
    sample r;
    sample_make(&r, s->photo);
    r.rim[0].ellipse.cx = NAN;
    r.rim[1].ellipse.a = 1e30;
    r.rim[2].point = r.point[0];
    r.rim[2].point_count = 1;
    r.point[0][0].x_px = NAN;
    r.record.pin[0].axis_point_mm[2] = -5000;
    r.record.pin[1].axis_direction[0] = NAN;
    memset(r.photo[0].sightings.piece[0].homography, 0, sizeof r.photo[0].sightings.piece[0].homography);
    char *names[2] = {NULL, NULL};
    assert_int_equal(ps_report_pictures(NULL, &r.record, NULL, s->pictures, false, names), PS_OK);
    assert_non_null(names[0]);
    free(names[0]);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(draws_the_rims, set_up, tear_down),
        cmocka_unit_test_setup_teardown(no_rims_no_colour, set_up, tear_down),
        cmocka_unit_test_setup_teardown(equal_names_are_kept_apart, set_up, tear_down),
        cmocka_unit_test_setup_teardown(failures_name_the_file, set_up, tear_down),
        cmocka_unit_test_setup_teardown(nonsense_is_passed_over, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
