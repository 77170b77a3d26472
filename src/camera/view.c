/* World to upright photo and back. */
#include "base/linear.h"
#include "camera/conic.h"
#include "pinspan/camera.h"
#include "pinspan/photo.h"

bool ps_view_project(const ps_view *view, const double X[3], double upright[2]) {
    double x_cam[3], stored[2];
    ps_pose_apply(&view->pose, X, x_cam);
    if (!ps_lens_project(&view->lens, x_cam, stored, NULL, NULL)) return false;
    ps_photo_stored_to_upright(view->orientation, view->stored_width, view->stored_height, stored, upright);
    return true;
}

bool ps_view_ray(const ps_view *view, const double upright[2], double origin[3], double direction[3]) {
    double stored[2], xyz[3];
    ps_photo_upright_to_stored(view->orientation, view->stored_width, view->stored_height, upright, stored);
    if (!ps_lens_unproject(&view->lens, stored, xyz)) return false;
    xyz[2] = 1;
    ps_mat3_tmul_vec(view->pose.R, xyz, direction);
    ps_unit3(direction);
    ps_mat3_tmul_vec(view->pose.R, view->pose.t, origin);
    for (int i = 0; i < 3; i++) origin[i] = -origin[i];
    return true;
}

bool ps_view_ellipse(const ps_view *view, const ps_circle3 *c_world, ps_ellipse *e) {
    enum { POINTS = 48 };
    double x[POINTS][2];
    for (int i = 0; i < POINTS; i++) {
        double X[3];
        ps_circle3_point(c_world, 2 * PS_PI * i / POINTS, X);
        if (!ps_view_project(view, X, x[i])) return false;
    }
    /* The points are free of noise and next to an ellipse, so the direct fit has no bias worth a geometric one. */
    return ps_conic_fit_ellipse((const double(*)[2])x, POINTS, e);
}
