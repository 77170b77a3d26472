/* A second look at a pin that can hardly be read, or was not found, while the other is read well: rims taken for others bend the cameras
 * that they are read through next. Without them the other pin's rims and the sheets hold the cameras, and the pin is looked for as if for
 * the first time: near where it was, and then anywhere. */
#include <math.h>
#include <stdlib.h>

#include "gauge/job.h"

static const double lead = 1; /* by so many circles more a second look has to explain what is there */

/* The pin that is read poorly, or not at all, while the other one is read well; -1: none. */
static int weak_beside_strong(const ps_pin_models *m) {
    if (m->count == 1) return m->pin[0].evidence.worth >= PS_JOB_WORTH_PLAIN ? 1 : -1;
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
    q.pin = &one, q.pin_count = 1, q.rim = rim, q.rim_count = 0, q.edge = edge, q.edge_count = 0, q.from = NULL, q.near_start = false;
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

/* A bolt's head or a grease fitting may have been taken for a pin that did not show through the first lens: through the present one all
 * axes are looked at again. */
static ps_status look_elsewhere(ps_context *ctx, ps_job *job, ps_adjust_solution *solution, int pin, ps_pin_models *pins) {
    const ps_luma *lumas[PS_ADJUST_PHOTOS_MAX];
    ps_view views[PS_ADJUST_PHOTOS_MAX];
    ps_rim_candidates candidates[PS_ADJUST_PHOTOS_MAX];
    const double toward_dipper[2] = {1, 0}; /* the held piece's +x */
    double least = pin < pins->count ? fmax(PS_RIM_WORTH_LEAST, pins->pin[pin].evidence.worth + lead) : PS_RIM_WORTH_LEAST;
    ps_adjust_solution *before = job->solution;
    ps_job_views_by(job, solution, lumas, views);
    job->solution = solution;
    ps_job_each(job, ps_job_propose_beside);
    job->solution = before;
    for (int i = 0; i < job->problem.photo_count; i++) candidates[i] = job->photo[job->photo_of[i]].coarser;
    ps_status status = PS_OK;
    for (int i = 0; i < job->count; i++)
        if (job->photo[i].status == PS_NO_MEMORY) status = ps_context_fail(ctx, PS_NO_MEMORY, "no memory for circle candidates");
    if (status == PS_OK)
        status = ps_rim_look_elsewhere(ctx, job->problem.photo_count, lumas, views, candidates, toward_dipper, job->options->dipper, least,
                                       pin, pins);
    for (int i = 0; i < job->count; i++) ps_rim_candidates_clear(&job->photo[i].coarser);
    return status;
}

/* Near where it was found, if it was, and then all over. */
static ps_status look_for(ps_context *ctx, ps_job *job, ps_adjust_solution *solution, int pin, ps_pin_models *pins) {
    ps_pin_models before = *pins;
    bool had = pin < pins->count, unread = !had || pins->pin[pin].evidence.worth < PS_RIM_WORTH_LEAST;
    ps_status status = had ? look(ctx, job, solution, &pins->pin[1 - pin], &pins->pin[pin]) : PS_NOT_FOUND;
    if (status != PS_NOT_FOUND || !unread) return status;
    *pins = before;
    return look_elsewhere(ctx, job, solution, pin, pins);
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
    if (status == PS_OK) status = look_for(ctx, job, solution, weak, &now);
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
