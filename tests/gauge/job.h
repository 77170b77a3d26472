/* job.h: a solved made-up job (tests/adjust/scene.h) as input for the gauge room. */
#ifndef PINSPAN_TESTS_GAUGE_JOB_H
#define PINSPAN_TESTS_GAUGE_JOB_H

#include "../adjust/scene.h"
#include "find.h"
#include "gauge/dimensions.h"

typedef struct job {
    scene s;
    ps_context *ctx;
    ps_adjust_solution *solution;
    ps_measure_options options;
    ps_gauge_input input;
    ps_record record;
} job;

/* All that a clean job has: every rim seen all round in every photo, the print checked, the lens known. */
static inline bool job_make(job *j, const scene_options *o) {
    memset(j, 0, sizeof *j);
    j->ctx = ps_context_new();
    if (!j->ctx || !scene_make(&j->s, o)) return false;
    if (ps_adjust_solve(j->ctx, &j->s.problem, &j->solution) != PS_OK) return false;
    j->options = ps_measure_options_default();
    j->input = (ps_gauge_input){.options = &j->options,
                                .solution = j->solution,
                                .photos_used = o->photos,
                                .direction_spread_deg = 35,
                                .print_checked_across = true,
                                .print_checked_along = true,
                                .lens_known = true};
    ps_gauge_prints(j->solution, &j->input);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        ps_gauge_pin *pin = &j->input.pin[role];
        pin->found = true;
        for (int e = 0; e < PS_EDGE_COUNT; e++) pin->rim[e] = -1;
        for (int r = 0; r < SCENE_RIMS; r++) {
            if (j->s.rim[r].pin != role) continue;
            pin->rim[j->s.rim[r].edge] = r;
            pin->photos[j->s.rim[r].edge] = o->photos;
            pin->arc[j->s.rim[r].edge] = pin->arc_mean[j->s.rim[r].edge] = 0.95;
        }
    }
    return true;
}

static inline void job_free(job *j) {
    ps_adjust_solution_free(j->solution);
    ps_context_free(j->ctx);
}

#endif
