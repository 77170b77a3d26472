/* squared.h: a part of the photo resampled onto a plane of the world, where circles parallel to it are circles. */
#ifndef PINSPAN_RIM_SQUARED_H
#define PINSPAN_RIM_SQUARED_H

#include "pinspan/camera.h"
#include "pinspan/photo.h"

/* A plane with its own frame: point = origin + x*u + y*v + height*n; n points toward the viewer. */
typedef struct ps_plane {
    double origin[3], u[3], v[3], n[3];
} ps_plane;

/* The world plane z = 0 with u = +x, v = +y, n = -z (toward the viewer). */
ps_plane ps_plane_world(void);
/* The plane through `origin` square to `direction` (toward the viewer); u as near to +x as can be. */
ps_plane ps_plane_square_to(const double origin[3], const double direction[3]);
void ps_plane_point(const ps_plane *p, double x, double y, double height, double X[3]);

/* Samples of sqrt(linear light), 0..1: near to equal noise in light and dark, and signs and places of edges of linear
 * light kept. NaN-free: pixels outside the photo hold the value `outside` = -1. */
typedef struct ps_squared {
    int width, height;
    double x0, y0;        /* plane coordinates of sample (0, 0) */
    double step;          /* mm a sample */
    double foot[2], rise; /* camera centre over the plane: foot point and height, mm */
    float *value;         /* width*height, owned */
    float *gx, *gy;       /* derivative per sample after smoothing, owned; 0 where unusable */
} ps_squared;

/* Renders the rectangle [x0, x1] x [y0, y1] of the plane. `step` <= 0: the photo's own resolution in the middle.
 * PS_NOT_FOUND when the plane is not in front of the camera. */
ps_status ps_squared_render(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_plane *plane, const double box[4],
                            double step, double smooth, ps_squared *out);
void ps_squared_clear(ps_squared *s);

/* The same a row at a time, for those who keep less than the three pictures. `ps_squared_frame` says how large the view is and
 * leaves the pictures NULL; `ps_squared_rows` then hands out every row from 0 on: width values and derivatives each, which are gone after
 * the call. */
typedef void (*ps_squared_sink)(void *user, int y, const float *value, const float *gx, const float *gy);
ps_status ps_squared_frame(ps_context *ctx, const ps_view *view, const ps_plane *plane, const double box[4], double step, ps_squared *out);
ps_status ps_squared_rows(ps_context *ctx, const ps_luma *luma, const ps_view *view, const ps_plane *plane, const ps_squared *frame,
                          double smooth, ps_squared_sink sink, void *user);

/* The camera over the plane: foot point and height, mm, and the photo's own resolution at the plane's origin in mm a pixel, 0
 * when the origin is not in front of the camera. */
void ps_squared_stand(const ps_view *view, const ps_plane *plane, double foot[2], double *rise, double *step);

/* Where a circle (x, y, height, radius) over the plane shows in the squared view: central projection from the camera. */
static inline void ps_squared_circle(const ps_squared *s, double x, double y, double height, double radius, double seen[3]) {
    double k = s->rise / (s->rise - height);
    seen[0] = s->foot[0] + (x - s->foot[0]) * k;
    seen[1] = s->foot[1] + (y - s->foot[1]) * k;
    seen[2] = radius * k;
}

#endif
