/* Circles in space: points, their ellipse under a pinhole, and back. */
#include <math.h>

#include "base/linear.h"
#include "camera/conic.h"
#include "pinspan/camera.h"

void ps_circle3_basis(const double normal[3], double u[3], double v[3]) {
    /* Duff et al., Building an Orthonormal Basis, Revisited (JCGT 6(1), 2017). It jumps at nz = 0 only, so that the
     * angle on a rim that faces the viewer stays steady while an adjustment tilts it. u x v = normal. */
    double sign = copysign(1, normal[2]), a = -1 / (sign + normal[2]), b = normal[0] * normal[1] * a;
    u[0] = 1 + sign * normal[0] * normal[0] * a;
    u[1] = sign * b;
    u[2] = -sign * normal[0];
    v[0] = b;
    v[1] = sign + normal[1] * normal[1] * a;
    v[2] = -normal[1];
}

void ps_circle3_point(const ps_circle3 *c, double theta, double X[3]) {
    double u[3], v[3], along = c->radius_mm * cos(theta), across = c->radius_mm * sin(theta);
    ps_circle3_basis(c->normal, u, v);
    for (int i = 0; i < 3; i++) X[i] = c->centre[i] + along * u[i] + across * v[i];
}

bool ps_circle3_ellipse(const ps_circle3 *c, double f_px, ps_ellipse *e) {
    const double *T = c->centre, *n = c->normal;
    double r = c->radius_mm, d = ps_dot3(n, T), sink = sqrt(fmax(0, 1 - n[2] * n[2]));
    if (!(r > 0) || !(f_px > 0) || !(T[2] > r * sink)) return false;
    /* Points X = d m / (n.m) of the plane lie on the circle where |d m - (n.m) T|^2 = r^2 (n.m)^2. All lengths are
     * taken in units of the distance, so that the entries of Q are of one size. */
    double Q[9], scale = 1 / ps_norm3(T), t[3] = {T[0] * scale, T[1] * scale, T[2] * scale};
    d *= scale;
    double rest = ps_dot3(t, t) - r * scale * r * scale;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) Q[3 * i + j] = d * d * (i == j) - d * (t[i] * n[j] + t[j] * n[i]) + rest * n[i] * n[j];
    ps_ellipse made;
    if (!ps_conic_to_ellipse(Q, &made)) return false; /* seen edge-on */
    *e = (ps_ellipse){.cx = made.cx * f_px, .cy = made.cy * f_px, .a = made.a * f_px, .b = made.b * f_px, .angle = made.angle};
    return true;
}

/* One solution; side: +1 or -1 along the cone's widest direction e1; e3 is the cone's axis. */
static bool circle_from_cone(const double lambda[3], const double e1[3], const double e3[3], double side, double radius, ps_circle3 *out) {
    double l1 = lambda[0], l2 = lambda[1], l3 = lambda[2];
    double g = side * sqrt(fmax(0, (l1 - l2) / (l1 - l3))), h = sqrt((l2 - l3) / (l1 - l3));
    double factor = radius / sqrt(-l1 * l3);
    for (int i = 0; i < 3; i++) {
        out->normal[i] = g * e1[i] + h * e3[i];
        out->centre[i] = factor * (l3 * g * e1[i] + l1 * h * e3[i]);
    }
    out->radius_mm = radius;
    double flip = ps_dot3(out->normal, out->centre) > 0 ? -1 : 1;
    for (int i = 0; i < 3; i++) out->normal[i] *= flip;
    return out->centre[2] > 0 && ps_unit3(out->normal);
}

int ps_circle3_from_ellipse(const ps_ellipse *e, double f_px, double radius_mm, ps_circle3 out[2]) {
    if (!(e->b > 0) || !(e->a >= e->b) || !(f_px > 0) || !(radius_mm > 0)) return 0;
    ps_ellipse direction = {.cx = e->cx / f_px, .cy = e->cy / f_px, .a = e->a / f_px, .b = e->b / f_px, .angle = e->angle};
    double Q[9], value[3], V[9], e1[3], e3[3];
    ps_conic_from_ellipse(&direction, Q);
    if (!ps_eigen_symmetric(Q, 3, value, V) || !(value[0] < 0) || !(value[1] > 0)) return 0;
    double lambda[3] = {value[2], value[1], value[0]}, toward = V[6] < 0 ? -1 : 1; /* V[6]: z of the axis */
    for (int i = 0; i < 3; i++) {
        e1[i] = V[3 * i + 2];
        e3[i] = toward * V[3 * i];
    }
    /* Around its own axis the cone is round: both solutions are the same circle, square to the line of sight. */
    bool round = lambda[0] - lambda[1] <= 1e-12 * lambda[0];
    int count = 0;
    for (int k = 0; k < (round ? 1 : 2); k++)
        if (circle_from_cone(lambda, e1, e3, k ? -1 : 1, radius_mm, &out[count])) count++;
    return count;
}
