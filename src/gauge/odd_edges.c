/* An edge that is one circle in one photo and another in the next: a neighbouring edge, a weld or a shadow was traced there. What its photo
 * says of that edge is left out; where two photos alone show it, nobody knows which is right, and the value is doubted (outcome.c). */
#include <math.h>

#include "base/stats.h"
#include "gauge/job.h"

enum { ROUNDS_MAX = 8, PHOTOS_LEAST = 3 };

double ps_job_edge_odds(const ps_job *job, int rim, int *photo, int *photos) {
    ps_rim_agreement a;
    ps_adjust_rim_agreement(job->solution, rim, &a);
    *photo = a.photo, *photos = a.photos;
    return a.photo >= 0 && a.dof >= PS_JOB_EDGE_DOF_LEAST ? ps_chi2_tail(a.chi2, a.dof) : 1;
}

static ps_rim_trace *trace_of(ps_job *job, int photo, int rim) {
    ps_rim_traces *t = &job->photo[job->photo_of[photo]].traces;
    for (int i = 0; i < t->count; i++)
        if (!t->trace[i].odd && job->rim_of[t->trace[i].pin][t->trace[i].rim] == rim) return &t->trace[i];
    return NULL;
}

/* The edge that agrees least among its photos and is shown by enough of them for the others to stand; NULL: none. */
static ps_rim_trace *find_oddest(ps_job *job) {
    ps_rim_trace *found = NULL;
    double least = PS_JOB_EDGE_ODDS_LEAST;
    for (int r = 0; r < job->problem.rim_count; r++) {
        int photo, photos;
        double odds = ps_job_edge_odds(job, r, &photo, &photos);
        if (photos < PHOTOS_LEAST || !(odds < least)) continue;
        ps_rim_trace *trace = trace_of(job, photo, r);
        if (trace) found = trace, least = odds;
    }
    return found;
}

ps_status ps_job_drop_odd_edges(ps_context *ctx, ps_job *job) {
    ps_status status = PS_OK;
    for (int round = 0; status == PS_OK && round < ROUNDS_MAX; round++) {
        ps_rim_trace *trace = find_oddest(job);
        if (!trace) break;
        trace->odd = true;
        status = ps_job_solve_rims(ctx, job);
    }
    return status;
}
