/* The same photo given twice, saved anew or made smaller: it tells nothing new and may not count as another. */
#include <math.h>

#include "gauge/job.h"

/* Between two photos taken by hand the sheet moves by many pixels in the picture; saving a photo anew moves its corners by hundredths,
 * making it smaller by a tenth or so. */
static const double same_px = 0.5;
static const double same_shape_rel = 0.01;
enum { CORNERS_LEAST = 6 };

/* Mean square distance of a piece's corners in both photos, in pixels of the smaller; NaN where they have too few in common. */
static double apart2_px(const ps_sighting *a, const ps_sighting *b, double scale_a, double scale_b) {
    double sum = 0;
    int common = 0;
    for (int i = 0; i < a->corner_count; i++)
        for (int k = 0; k < b->corner_count; k++) {
            if (a->corner[i].index != b->corner[k].index) continue;
            double dx = (a->corner[i].x_px + 0.5) * scale_a - (b->corner[k].x_px + 0.5) * scale_b;
            double dy = (a->corner[i].y_px + 0.5) * scale_a - (b->corner[k].y_px + 0.5) * scale_b;
            sum += dx * dx + dy * dy;
            common++;
        }
    return common >= CORNERS_LEAST ? sum / common : NAN;
}

static bool same(const ps_job_photo *a, const ps_job_photo *b) {
    double wa = a->photo.luma.width, wb = b->photo.luma.width, ha = a->photo.luma.height, hb = b->photo.luma.height;
    if (!a->photo.luma.px || !b->photo.luma.px || fabs(wa * hb / (wb * ha) - 1) > same_shape_rel) return false;
    double least = fmin(wa, wb);
    int compared = 0;
    for (int i = 0; i < a->sightings.count; i++)
        for (int k = 0; k < b->sightings.count; k++) {
            if (a->sightings.piece[i].piece != b->sightings.piece[k].piece) continue;
            double apart2 = apart2_px(&a->sightings.piece[i], &b->sightings.piece[k], least / wa, least / wb);
            if (apart2 > same_px * same_px) return false;
            compared += apart2 <= same_px * same_px;
        }
    return compared > 0;
}

void ps_job_mark_copies(ps_job *job) {
    for (int i = 0; i < job->count; i++)
        for (int k = 0; k < i && !job->photo[i].copy; k++)
            if (!job->photo[k].copy && same(&job->photo[k], &job->photo[i])) job->photo[i].copy = true, job->photo[i].copy_of = k;
}
