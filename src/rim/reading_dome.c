/* A domed end has no flat face: what is turned into it lies the higher the nearer it is to the axis. The numbers are our own, common
 * practice without a source. */
#include <math.h>

#include "rim/reading.h"

static const double rise_least_mm = 1.5;  /* of a dome; less is a face turned hollow or worn */
static const double off_sd = 0.6;         /* sd of a clear circle's height, in tolerances */
static const double inside_most = 0.97;   /* of the pin's radius: its own edge proves neither */
static const double step_mm = 0.25;       /* of what is tried */
static const double below_least_mm = 0.5; /* behind the pin's edge nothing is on its end */

/* Height over the pin's edge at a share of its radius: a part of a ball that meets the cylinder in an edge, or half an ellipsoid. */
static double ball(double rise, double radius, double share) {
    double size = (radius * radius + rise * rise) / (2 * rise), across = share * radius;
    return sqrt(fmax(size * size - across * across, 0)) - (size - rise);
}

static double ellipsoid(double rise, double share) {
    return rise * sqrt(1 - share * share);
}

static double agrees(double off_mm, double sd_mm) {
    return exp(-0.5 * off_mm * off_mm / (sd_mm * sd_mm));
}

/* The circles on the end in clear circles: those at one height, or those on a dome. */
typedef struct end_circles {
    int count;
    double height[PS_SPOTS_MAX], share[PS_SPOTS_MAX], clear[PS_SPOTS_MAX]; /* height over the pin's edge */
} end_circles;

static double on_face(const end_circles *c, double height, double sd_mm) {
    double sum = 0;
    for (int i = 0; i < c->count; i++) sum += c->clear[i] * agrees(c->height[i] - height, sd_mm);
    return sum;
}

static double on_dome(const end_circles *c, double rise, double radius, double sd_mm) {
    double sum[2] = {0, 0};
    for (int i = 0; i < c->count; i++) {
        sum[0] += c->clear[i] * agrees(c->height[i] - ball(rise, radius, c->share[i]), sd_mm);
        sum[1] += c->clear[i] * agrees(c->height[i] - ellipsoid(rise, c->share[i]), sd_mm);
    }
    return fmax(sum[0], sum[1]);
}

double ps_reading_dome(const ps_spot *spots, const double *clear, int count, int pin, double tol_height_mm) {
    end_circles c = {0};
    double radius = spots[pin].radius_mm, sd = off_sd * tol_height_mm, highest = 0, flat = 0, domed = 0;
    for (int i = 0; i < count; i++) {
        double height = spots[i].height_mm - spots[pin].height_mm, share = spots[i].radius_mm / radius;
        if (share > inside_most || height < -below_least_mm || height > radius + tol_height_mm) continue;
        c.height[c.count] = height, c.share[c.count] = share, c.clear[c.count++] = clear[i];
        highest = fmax(highest, height);
    }
    for (double h = -below_least_mm; h <= highest + step_mm; h += step_mm) flat = fmax(flat, on_face(&c, h, sd));
    for (double rise = rise_least_mm; rise <= radius; rise += step_mm) domed = fmax(domed, on_dome(&c, rise, radius, sd));
    return domed - flat;
}
