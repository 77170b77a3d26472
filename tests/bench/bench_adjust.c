/* How long one adjustment takes: 4 photos, 35 corners each, 6 rims with 200 edge points in every photo. */
#define SCENE_POINTS 200
#include "../adjust/scene.h"

#include <stdio.h>
#include <time.h>

static double cpu_s(void) {
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

int main(void) {
    static scene s;
    ps_context *ctx = ps_context_new();
    double worst = 0, sum = 0;
    enum { RUNS = 10 };
    for (uint64_t seed = 1; seed <= RUNS; seed++) {
        scene_options o = scene_options_default(seed);
        if (!ctx || !scene_make(&s, &o)) return 1;
        ps_adjust_solution *solution = NULL;
        double start = cpu_s();
        if (ps_adjust_solve(ctx, &s.problem, &solution) != PS_OK) return 1;
        double took = cpu_s() - start;
        ps_adjust_solution_free(solution);
        sum += took;
        if (took > worst) worst = took;
    }
    printf("adjustment of %d edge points: mean %.3f s, worst %.3f s of processor time\n", s.problem.edge_count, sum / RUNS, worst);
    ps_context_free(ctx);
    return 0;
}
