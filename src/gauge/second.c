/* A second look at a pin that can hardly be read while the other is read well: rims taken for others bend the cameras that they are read
 * through next. Without them the other pin's rims and the sheets hold the cameras, and the pin is looked at as if for the first time. */
#include <stdlib.h>

#include "gauge/job.h"

static const double lead = 1; /* by so many circles more a second look has to explain what is there */

/* The pin that is read poorly while the other one is not; -1: none. */
static int weak_beside_strong(const ps_pin_models *m) {
    if (m->count != PS_ROLE_COUNT) return -1;
    int weak = m->pin[0].evidence.worth < m->pin[1].evidence.worth ? 0 : 1;
    return m->pin[weak].evidence.worth < PS_JOB_WORTH_PLAIN && m->pin[1 - weak].evidence.worth >= PS_JOB_WORTH_PLAIN ? weak : -1;
}

/* The job's adjustment with one pin's rims alone; the job stays as it is. */
static ps_status solve_with_one(ps_context *ctx, const ps_job *job, int pin, ps_adjust_solution **solution) {
    ps_adjust_problem q = job->problem;
    ps_adjust_pin one = job->pin[pin];
    ps_adjust_rim rim[PS_RIMS_PER_PIN];
    int now[PS_ADJUST_RIMS_MAX];
    ps_adjust_edge *edge = malloc(((size_t)q.edge_count + 1) * sizeof *edge);
    if (!edge) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for edge points");
    q.pin = &one, q.pin_count = 1, q.rim = rim, q.rim_count = 0, q.edge = edge, q.edge_count = 0, q.from = NULL;
    for (int r = 0; r < job->problem.rim_count; r++) {
        now[r] = -1;
        if (job->rim[r].pin != pin) continue;
        now[r] = q.rim_count;
        rim[q.rim_count] = job->rim[r];
        rim[q.rim_count++].pin = 0;
    }
    for (int e = 0; e < job->problem.edge_count; e++) {
        if (now[job->edge[e].rim] < 0) continue;
        edge[q.edge_count] = job->edge[e];
        edge[q.edge_count++].rim = now[job->edge[e].rim];
    }
    ps_status status = ps_adjust_solve(ctx, &q, solution);
    free(edge);
    return status;
}

/* The pin as it looks through those cameras; PS_NOT_FOUND when it is no better read. */
static ps_status look(ps_context *ctx, const ps_job *job, const ps_adjust_solution *solution, const ps_pin_model *other,
                      ps_pin_model *pin) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    double had = pin->evidence.worth;
    ps_job_views_by(job, solution, lumas, views);
    ps_status status = ps_rim_look_near(ctx, job->problem.photo_count, lumas, views, other, pin);
    return status == PS_OK && pin->evidence.worth < had + lead ? PS_NOT_FOUND : status;
}

ps_status ps_job_second_look(ps_context *ctx, ps_job *job, bool *better) {
    ps_pin_models now = job->pins;
    ps_adjust_solution *solution = NULL;
    int weak = weak_beside_strong(&now);
    *better = false;
    if (weak < 0) return PS_OK;
    double start = ps_job_cpu_s();
    ps_status status = solve_with_one(ctx, job, 1 - weak, &solution);
    job->adjust_s += ps_job_cpu_s() - start;
    start = ps_job_cpu_s();
    if (status == PS_OK) status = look(ctx, job, solution, &now.pin[1 - weak], &now.pin[weak]);
    job->section_s += ps_job_cpu_s() - start;
    if (status != PS_OK) {
        ps_adjust_solution_free(solution);
        return status == PS_NO_MEMORY ? status : PS_OK;
    }
    *better = true;
    ps_adjust_solution_free(job->solution);
    job->solution = solution;
    job->pins = now;
    ps_job_each(job, ps_job_trace);
    return ps_job_solve_rims(ctx, job);
}
