#include "gauge/facts.h"
#include "adjust/model.h"

#include <math.h>

static double misfit(const ps_adjust_solution *s, int rim) {
    const ps_adjust_problem *p = &s->model.problem;
    double sum = 0;
    int count = 0;
    for (int e = 0; e < p->edge_count; e++) {
        if (p->edge[e].rim != rim) continue;
        double off = ps_adjust_edge_residual(s, e, NULL) / p->edge[e].sigma_px;
        sum += off * off;
        count++;
    }
    return count ? sum / count : INFINITY; /* a rim without a point is no observation */
}

static ps_status read_rim(ps_context *ctx, const ps_gauge_input *input, int role, int edge, ps_gauge_facts *facts) {
    const ps_gauge_pin *pin = &input->pin[role];
    int rim = pin->rim[edge];
    if (!pin->found || rim < 0) return PS_OK;
    ps_rim_fact *fact = &facts->rim[role][edge];
    ps_status status = ps_adjust_diameter(ctx, input->solution, rim, &fact->diameter);
    if (status != PS_OK) return status;
    ps_circle3 circle;
    ps_adjust_circle(input->solution, rim, &circle, &fact->height_mm);
    if (!isfinite(fact->diameter.value_mm) || !(fact->diameter.u_mm > 0) || !isfinite(fact->height_mm)) return PS_OK;
    fact->had = true;
    fact->photos = pin->photos[edge];
    fact->arc = pin->arc[edge];
    fact->misfit = misfit(input->solution, rim);
    facts->axis[role] = input->solution->model.problem.rim[rim].pin;
    return PS_OK;
}

ps_status ps_gauge_facts_read(ps_context *ctx, const ps_gauge_input *input, ps_gauge_facts *facts) {
    *facts = (ps_gauge_facts){.axis = {-1, -1}};
    if (!input->solution) return PS_OK;
    facts->solved = true;
    ps_adjust_fit(input->solution, &facts->chi2, &facts->dof);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        for (int edge = 0; edge < PS_EDGE_COUNT; edge++) {
            ps_status status = read_rim(ctx, input, role, edge, facts);
            if (status != PS_OK) return status;
        }
    }
    return PS_OK;
}
