/* scene_pin.h: photos of one or more pins from several sides, as the stages over all photos take them. */
#ifndef PINSPAN_TESTS_RIM_SCENE_PIN_H
#define PINSPAN_TESTS_RIM_SCENE_PIN_H

#include "render_pin.h"

enum { PIN_PHOTOS = 3 };
typedef struct pin_photos {
    int count;
    ps_luma luma[PIN_PHOTOS];
    const ps_luma *lumas[PIN_PHOTOS];
    ps_view view[PIN_PHOTOS];
} pin_photos;

/* Three eyes `distance` off that look at `at` from 20 degrees to different sides. */
static inline void pin_photos_make(pin_photos *p, pin_scene scene, const double at[2], double f_px, double distance, uint64_t seed) {
    static const double tilt[PIN_PHOTOS] = {18, 20, 22}, toward[PIN_PHOTOS] = {95, -25, 215}, roll[PIN_PHOTOS] = {2, -6, 10};
    p->count = PIN_PHOTOS;
    for (int k = 0; k < p->count; k++) {
        scene.view = p->view[k] = pin_view(scene.width, scene.height, f_px, at, distance, tilt[k], toward[k], roll[k]);
        p->luma[k] = pin_render(&scene, seed * 16 + (uint64_t)k);
        p->lumas[k] = &p->luma[k];
    }
}

/* One pin at the origin filling a cut-out of a phone's photo: 4 px a mm, as 12 megapixels give from 700 mm. */
static inline pin_scene pin_scene_close(const pin_shape *shape) {
    pin_scene s = pin_scene_plain(560, 560);
    s.sub = 2;
    s.shapes = 1;
    s.shape[0] = *shape;
    return s;
}
static inline void pin_photos_close(pin_photos *p, const pin_scene *scene, uint64_t seed) {
    const double at[2] = {0, 0};
    pin_photos_make(p, *scene, at, 2600, 650, seed);
}

static inline void pin_photos_free(pin_photos *p) {
    for (int k = 0; k < p->count; k++) free(p->luma[k].px);
    p->count = 0;
}

#endif
