/* measured_job.h: testimages/small as a job of the gauge room, its rims read, traced and solved for; for one test program. */
#ifndef PINSPAN_TESTS_GAUGE_MEASURED_JOB_H
#define PINSPAN_TESTS_GAUGE_MEASURED_JOB_H

#include <stdlib.h>
#include <string.h>

#include "gauge/job.h"

enum { FILES = 3 };
static const char *const files[FILES] = {PS_SOURCE_ROOT "/testimages/small/photo-1.jpg", PS_SOURCE_ROOT "/testimages/small/photo-2.jpg",
                                         PS_SOURCE_ROOT "/testimages/small/photo-3.jpg"};

static struct {
    ps_context *ctx;
    ps_measure_options options;
    ps_job_photo photo[FILES];
    ps_job job;
} f;

/* The way of ps_measure as far as rims that are read, traced and solved for. */
static inline int measured_job_set_up(void **state) {
    (void)state;
    memset(&f, 0, sizeof f);
    f.ctx = ps_context_new();
    f.options = ps_measure_options_default();
    f.job = (ps_job){.options = &f.options, .files = files, .count = FILES, .photo = f.photo};
    for (int i = 0; i < FILES; i++) {
        if (ps_photo_read(f.ctx, files[i], &f.options.limits, &f.photo[i].photo) != PS_OK) return -1;
        if (ps_target_sight(f.ctx, &f.photo[i].photo.luma, &f.photo[i].sightings) != PS_OK) return -1;
    }
    if (ps_job_cameras(f.ctx, &f.job) != PS_OK || ps_job_measure_rims(f.ctx, &f.job) != PS_OK) return -1;
    memset(&f.job.stray, 0, sizeof f.job.stray);
    f.job.stray.photo = -1;
    return f.job.problem.photo_count == FILES && f.job.pins.count == PS_ROLE_COUNT ? 0 : -1;
}

static inline int measured_job_take_down(void **state) {
    (void)state;
    for (int i = 0; i < FILES; i++) {
        ps_photo_clear(&f.photo[i].photo);
        ps_rim_candidates_clear(&f.photo[i].candidates);
        ps_rim_traces_clear(&f.photo[i].traces);
    }
    free(f.job.corner);
    free(f.job.edge);
    ps_adjust_solution_free(f.job.solution);
    ps_context_free(f.ctx);
    return 0;
}

#endif
