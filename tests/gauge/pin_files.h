/* pin_files.h: rendered photos of two pins (tests/rim/render_pin.h) as JPEG files in a folder of their own, for tests that go the
 * whole way. The sheet is printed true and was checked. */
#ifndef PINSPAN_TESTS_GAUGE_PIN_FILES_H
#define PINSPAN_TESTS_GAUGE_PIN_FILES_H

#include "check.h"

#include <stdlib.h>
#include <unistd.h>

#include "pinspan/measure.h"

#include "../photo/make_jpeg.h"
#include "../rim/scene_pin.h"

enum { PIN_FILES_MAX = PIN_PHOTOS + 1 };

typedef struct pin_files {
    char folder[40], name[PIN_FILES_MAX][64];
    const char *file[PIN_FILES_MAX];
    int count;
} pin_files;

/* 0, or -1 where the folder cannot be made. */
static inline int pin_files_make(pin_files *f, int count) {
    (void)snprintf(f->folder, sizeof f->folder, "/tmp/pinspan-pins-XXXXXX");
    if (!mkdtemp(f->folder)) return -1;
    f->count = count;
    for (int k = 0; k < count; k++) {
        (void)snprintf(f->name[k], sizeof f->name[k], "%s/photo-%d.jpg", f->folder, k + 1);
        f->file[k] = f->name[k];
    }
    return 0;
}

static inline int pin_files_remove(pin_files *f) {
    for (int k = 0; k < f->count; k++) (void)unlink(f->name[k]);
    return rmdir(f->folder);
}

static inline void pin_files_write(const pin_files *f, int k, const void *data, size_t size) {
    FILE *file = fopen(f->name[k], "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(data, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
}

/* Two plain ends, to be changed by the case: how high their faces stand over the plate. */
static inline pin_shape pin_files_link(double face_h) {
    return (pin_shape){.x = -40,
                       .y = 27,
                       .face_h = face_h,
                       .pin_r = 15,
                       .chamfer = 1.5,
                       .chamfer_deg = 45,
                       .bush_h = 6,
                       .bush_r = 24,
                       .bush_chamfer = 1.2,
                       .bevel = 0.3};
}
static inline pin_shape pin_files_dipper(double face_h) {
    return (pin_shape){.x = 80,
                       .y = 20,
                       .face_h = face_h,
                       .pin_r = 17.5,
                       .chamfer = 1.8,
                       .chamfer_deg = 45,
                       .bush_h = 7,
                       .bush_r = 26,
                       .bush_chamfer = 1.2,
                       .bevel = 0.3};
}

/* The two ends on their plate with a small sheet, to be changed by the case. */
static inline pin_scene pin_files_scene(pin_shape link, pin_shape dipper) {
    pin_scene s = pin_scene_plain(1240, 900);
    s.sub = 2, s.texture = 0.1, s.piece = ps_kit_find("mini-1");
    s.shapes = 2, s.shape[0] = link, s.shape[1] = dipper;
    return s;
}

/* PIN_PHOTOS photos of the scene; place: which file each becomes. */
static inline void pin_files_photos(const pin_files *f, const pin_scene *scene, const int place[PIN_PHOTOS]) {
    const double at[2] = {20, 23};
    make_options o = {.width = scene->width, .height = scene->height, .in = JCS_GRAYSCALE, .stored = JCS_GRAYSCALE, .quality = 93};
    pin_photos p;
    pin_photos_make(&p, *scene, at, 1900, 300, 5);
    for (int k = 0; k < p.count; k++) {
        bytes b = make_jpeg(&o, p.luma[k].px);
        pin_files_write(f, place[k], b.data, b.size);
        free(b.data);
    }
    pin_photos_free(&p);
}

static inline ps_measure_options pin_files_checked(int threads) {
    ps_measure_options o = ps_measure_options_default();
    o.threads = threads;
    o.check_count = 2;
    o.check[0] = (ps_print_check){-1, false, 140, 0.05};
    o.check[1] = (ps_print_check){-1, true, 200, 0.05};
    return o;
}

#endif
