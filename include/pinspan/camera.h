/* camera.h: lens, pose, projection with derivatives, planar pose, projected circles. */
#ifndef PINSPAN_CAMERA_H
#define PINSPAN_CAMERA_H

#include "pinspan/base.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Brown-Conrady as OpenCV has it, square pixels; belongs to the stored (sensor) frame. */
typedef struct ps_lens {
    double f_px, cx, cy;
    double k1, k2, p1, p2, k3;
} ps_lens;
enum { PS_LENS_F = 0, PS_LENS_CX, PS_LENS_CY, PS_LENS_K1, PS_LENS_K2, PS_LENS_P1, PS_LENS_P2, PS_LENS_K3, PS_LENS_COUNT };

/* x_cam = R X + t; camera x right, y down, z forward (stored frame). R row-major. */
typedef struct ps_pose {
    double R[9], t[3];
} ps_pose;

/* All that is needed to go between the world and the upright photo. */
typedef struct ps_view {
    ps_lens lens;
    ps_pose pose;
    int orientation, stored_width, stored_height;
} ps_view;

/* R from a rotation vector and back (Rodrigues). */
PS_API void ps_rotation_from_vector(const double w[3], double R[9]);
PS_API void ps_rotation_to_vector(const double R[9], double w[3]);
PS_API void ps_pose_apply(const ps_pose *pose, const double X[3], double x_cam[3]);
PS_API void ps_pose_compose(const ps_pose *outer, const ps_pose *inner, ps_pose *out); /* outer after inner */
PS_API void ps_pose_invert(const ps_pose *pose, ps_pose *out);

/* Camera-frame point to stored pixel. False when z <= 0 or the distortion has folded over there (its radial
 * derivative is not positive): pixel is then unset. Derivatives where not NULL: d_point 2x3, d_lens 2x8. */
PS_API bool ps_lens_project(const ps_lens *lens, const double x_cam[3], double pixel[2], double d_point[6], double d_lens[16]);
/* Stored pixel to the undistorted direction (x/z, y/z). False when the iteration does not settle. */
PS_API bool ps_lens_unproject(const ps_lens *lens, const double pixel[2], double xy[2]);

/* World point to upright pixel, and upright pixel to a world ray (origin = camera centre, unit direction). */
PS_API bool ps_view_project(const ps_view *view, const double X[3], double upright[2]);
PS_API bool ps_view_ray(const ps_view *view, const double upright[2], double origin[3], double direction[3]);

/* A circle in space: centre, unit normal (either sign), radius. */
typedef struct ps_circle3 {
    double centre[3], normal[3], radius_mm;
} ps_circle3;
/* An ellipse in the photo: semi-axes a >= b, angle from +x toward +y to a. */
typedef struct ps_ellipse {
    double cx, cy, a, b, angle;
} ps_ellipse;

/* Point of the circle at angle theta in an orthonormal basis chosen from the normal alone. */
PS_API void ps_circle3_point(const ps_circle3 *c, double theta, double X[3]);
PS_API void ps_circle3_basis(const double normal[3], double u[3], double v[3]);
/* Ellipse of the circle under a pinhole with focal f (principal point 0,0), circle in the camera frame; closed form of
 * methods: x_e = f(Tx Tz + r^2 nx nz)/(Tz^2 - r^2 (1-nz^2)). False when it is not an ellipse (circle crosses z = 0). */
PS_API bool ps_circle3_ellipse(const ps_circle3 *c_cam, double f_px, ps_ellipse *e);
/* Best ellipse in the upright photo, lens distortion included (least squares through projected points). */
PS_API bool ps_view_ellipse(const ps_view *view, const ps_circle3 *c_world, ps_ellipse *e);
/* Circle of known radius from its ellipse under a pinhole (principal point 0,0): both solutions. Returns their number. */
PS_API int ps_circle3_from_ellipse(const ps_ellipse *e, double f_px, double radius_mm, ps_circle3 out[2]);

/* Pose of a plane z = 0 from n >= 4 points (mm) and their undistorted directions (x/z, y/z): both local minima, refined,
 * best first; rms in units of the directions. Returns the number of solutions (1 or 2), 0 when degenerate.
 * Collins & Bartoli, IJCV 2014, for the twin. */
PS_API int ps_pose_from_plane(const double (*plane_mm)[2], const double (*xy)[2], int n, ps_pose out[2], double rms[2]);
/* Focal length from one homography plane(mm) -> pixel relative to the principal point; 0 when face-on (no information). */
PS_API double ps_focal_from_homography(const double H[9]);
/* Homography by normalised direct linear transform, refined; false when degenerate. */
PS_API bool ps_homography_fit(const double (*from)[2], const double (*to)[2], int n, double H[9]);
PS_API bool ps_homography_apply(const double H[9], const double from[2], double to[2]);
PS_API bool ps_homography_invert(const double H[9], double out[9]);

#ifdef __cplusplus
}
#endif
#endif
