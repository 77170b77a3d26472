/* Do the bands hold? Random jobs in plain geometry (coverage_scene.h), solved and judged as the gauge room does it, against
 * their truth. Prints tables in Markdown; docs/accuracy.md is made from them by accuracy.sh.
 *
 *   bench_coverage [jobs [seed [threads [stride [defects]]]]]
 *
 * `defects`: only that family: 0 the model's own, 127 all that the second family has, or a sum of BROKEN_... of coverage_scene.h.
 *
 * Jobs count as independent, not values: two pins of one job share sheet and cameras. So each rate is a mean over jobs, and
 * its Clopper-Pearson interval has the number of jobs. */
#include "coverage_gap.h"
#include "coverage_scene.h"

#include "adjust/model.h"
#include "base/stats.h"
#include "gauge/dimensions.h"
#include "gauge/verdict.h"
#include "gauge/widening.h"

#include <pthread.h>
#include <stdio.h>

enum { END_ON_KINDS = 4, KINDS = 5, VALUES_MAX = 7 }; /* the gap comes last, from jobs of its own */
enum { GROUP_ALL, GROUP_ONE, GROUP_TWO, GROUP_MORE, GROUP_WELL, GROUPS };
/* Jobs of two sheets: of one run or not, each read, one read, one reading for both, or none. */
enum { SHEETS_EACH_LIKE = GROUPS, SHEETS_EACH_UNLIKE, SHEETS_ONE_LIKE, SHEETS_ONE_UNLIKE, SHEETS_FOR_ALL, SHEETS_NONE, SHEETS_END };
static const ps_kind kinds[KINDS] = {PS_KIND_PIN, PS_KIND_BUSH, PS_KIND_CENTRES, PS_KIND_PROUD, PS_KIND_GAP};
static const char *const kind_word[KINDS] = {"pin", "bush", "centres", "proud", "gap"};

typedef struct value {
    int kind;
    double error_mm, u_mm, need_mm;
    double bound_mm;   /* u without what was added for scatter beyond the stated sd */
    bool widened;      /* by the gauge room, for a doubt: not the adjustment's own u */
    bool misnamed;     /* the bush's outer edge taken for its face's */
    bool good, narrow; /* narrow: good by probability alone, doubts left aside */
} value;

typedef struct result {
    bool made, solved, well_posed;
    int photos, sheets, count; /* sheets: SHEETS_..., 0 with one */
    value value[VALUES_MAX];
    char message[160];
} result;

/* ---- one job ---- */

/* Mirrors solve_corners_from of src/gauge/cameras.c, without rims. */
static ps_status solve_corners(ps_context *ctx, job_scene *s, bool free_focal, ps_adjust_solution **solution) {
    ps_adjust_problem *q = &s->problem;
    ps_adjust_start start;
    ps_adjust_group named = s->group[0];
    if (free_focal) s->group[0].sigma_focal_rel = 0.5;
    ps_status status = ps_adjust_start_poses(ctx, q, s->photo, s->group, s->piece, &start);
    if (free_focal) s->group[0] = named;
    for (int i = 0; status == PS_OK && i < q->photo_count; i++)
        if (!start.photo[i]) return ps_context_fail(ctx, PS_NOT_FOUND, "photo %d does not connect", i);
    return status == PS_OK ? ps_adjust_solve(ctx, q, solution) : status;
}

static ps_status solve(ps_context *ctx, job_scene *s, ps_adjust_solution **solution) {
    ps_adjust_problem *q = &s->problem;
    int pins = q->pin_count, rims = q->rim_count, edges = q->edge_count;
    /* As src/gauge: start values and one solution from the corners alone, then with rims from there. */
    q->pin_count = q->rim_count = q->edge_count = 0;
    ps_status status = solve_corners(ctx, s, false, solution);
    if (status == PS_NO_CONVERGENCE) status = solve_corners(ctx, s, true, solution);
    if (status != PS_OK) return status;
    for (int i = 0; i < q->photo_count; i++) {
        ps_view view;
        ps_adjust_view(*solution, i, &view);
        s->photo[i].start = view.pose;
    }
    for (int i = 0; i < q->piece_count; i++) ps_adjust_piece_pose(*solution, i, &s->piece[i].start);
    double covariance[PS_LENS_COUNT * PS_LENS_COUNT];
    s->group[0].guessed = ps_adjust_lens(ctx, *solution, 0, &s->group[0].guess, covariance) == PS_OK;
    ps_adjust_solution_free(*solution);
    *solution = NULL;
    q->pin_count = pins, q->rim_count = rims, q->edge_count = edges;
    return ps_adjust_solve(ctx, q, solution);
}

/* Mirrors direction_spread_deg of src/gauge/outcome.c. */
static double spread_deg(const job_scene *s, const ps_adjust_solution *solution) {
    double direction[JOB_PHOTOS][3], most = 0;
    for (int k = 0; k < s->problem.photo_count; k++) {
        ps_view view;
        ps_pose back;
        ps_adjust_view(solution, k, &view);
        ps_pose_invert(&view.pose, &back);
        for (int i = 0; i < 3; i++) direction[k][i] = back.t[i] - s->middle[i];
        ps_unit3(direction[k]);
        for (int a = 0; a < k; a++) most = fmax(most, acos(fmax(-1, fmin(1, ps_dot3(direction[a], direction[k])))));
    }
    return most / JOB_DEGREE;
}

/* Mirrors trace_used of src/gauge/outcome.c. */
static bool used(const job_scene *s, const ps_adjust_solution *solution, int photo, int rim) {
    double sum = 0, weight = 0;
    int count = 0;
    for (int e = 0; e < s->problem.edge_count; e++) {
        if (s->edge[e].photo != photo || s->edge[e].rim != rim) continue;
        double w = 0;
        sum += fabs(ps_adjust_edge_residual(solution, e, &w));
        weight += w;
        count++;
    }
    return count > 0 && sum / count < 2 && weight / count > 0.3;
}

static void shape_of(const ps_adjust_solution *solution, int rim, double *radius, double *height) {
    ps_circle3 circle = {{0}, {0}, NAN};
    *height = NAN;
    if (rim >= 0) ps_adjust_circle(solution, rim, &circle, height);
    *radius = circle.radius_mm;
}

/* Mirrors chamfer_odd of src/gauge/outcome.c. */
static bool chamfer_odd(const ps_adjust_solution *solution, int inner, int outer) {
    double ra, rb, ha, hb;
    shape_of(solution, inner, &ra, &ha);
    shape_of(solution, outer, &rb, &hb);
    double across = rb - ra, down = ha - hb;
    return !(across > 0.1 && down > 0.45 * across && down < 3 * across);
}

/* Mirrors ps_job_name_bushes of src/gauge/rims.c. True where the outer edge became the face's. */
static bool name_bush(const ps_adjust_solution *solution, int rim[PS_EDGE_COUNT]) {
    int outer = rim[PS_EDGE_BUSH], inner = rim[PS_EDGE_BUSH_FACE];
    if (outer < 0) return false;
    double ra, rb, ha, hb;
    shape_of(solution, inner, &ra, &ha);
    shape_of(solution, outer, &rb, &hb);
    if (inner >= 0 && ha - hb > 0.3 * (rb - ra)) return false;
    rim[PS_EDGE_BUSH_FACE] = outer;
    rim[PS_EDGE_BUSH] = -1;
    return true;
}

/* Mirrors gauge_pin and doubt_chamfers of src/gauge/outcome.c. */
static bool fill_pin(const job_scene *s, const ps_adjust_solution *solution, int role, ps_gauge_pin *pin) {
    pin->found = true;
    for (int e = 0; e < PS_EDGE_COUNT; e++) pin->rim[e] = e < JOB_EDGES ? s->rim_of[JOB_EDGES * role + e] : -1;
    bool misnamed = name_bush(solution, pin->rim);
    for (int e = 0; e < JOB_EDGES; e++) {
        const job_rim *truth = NULL;
        for (int r = 0; r < JOB_RIMS; r++)
            if (s->rim_of[r] >= 0 && s->rim_of[r] == pin->rim[e]) truth = &s->rim[r];
        for (int i = 0; truth && i < s->problem.photo_count; i++) {
            if (!used(s, solution, i, pin->rim[e])) continue;
            pin->photos[e]++;
            pin->arc[e] = fmax(pin->arc[e], truth->arc[i]);
            pin->arc_mean[e] += (truth->arc[i] - pin->arc_mean[e]) / pin->photos[e];
        }
        if (pin->photos[e] == 0) pin->rim[e] = -1;
    }
    if (chamfer_odd(solution, pin->rim[PS_EDGE_PIN_FACE], pin->rim[PS_EDGE_PIN])) ps_notes_add(&pin->doubts, PS_CODE_PIN_CHAMFER, "Odd.");
    if (chamfer_odd(solution, pin->rim[PS_EDGE_BUSH_FACE], pin->rim[PS_EDGE_BUSH]))
        ps_notes_add(&pin->bush_doubts, PS_CODE_BUSH_HIDDEN, "Odd.");
    return misnamed;
}

static double truth_of(const job_scene *s, ps_kind kind, int role) {
    const job_rim *rim = &s->rim[JOB_EDGES * (role < 0 ? 0 : role)];
    if (kind == PS_KIND_CENTRES) return job_centres(s);
    if (kind == PS_KIND_PROUD) return rim[PS_EDGE_PIN_FACE].height - rim[PS_EDGE_BUSH_FACE].height;
    return 2 * rim[kind == PS_KIND_PIN ? PS_EDGE_PIN : PS_EDGE_BUSH].circle.radius_mm;
}

/* The adjustment's own u of a dimension, with what few photos add to it; NaN where the dimension stands on other rims than it should. */
static double own_u(ps_context *ctx, const ps_adjust_solution *solution, const ps_gauge_input *in, const ps_dimension *d) {
    ps_quantity q = {.u_mm = NAN};
    const int *rim = in->pin[d->role < 0 ? 0 : d->role].rim, *photos = in->pin[d->role < 0 ? 0 : d->role].photos;
    int shown = photos[d->kind == PS_KIND_PIN ? PS_EDGE_PIN : PS_EDGE_BUSH];
    ps_status status = PS_NOT_FOUND;
    if (d->kind == PS_KIND_CENTRES) {
        for (int i = 0; i < JOB_PINS; i++)
            if (in->pin[i].rim[PS_EDGE_BUSH] < 0 && in->pin[i].rim[PS_EDGE_BUSH_FACE] < 0) return NAN;
        return d->u_mm; /* not widened then */
    }
    if (d->kind == PS_KIND_PIN && rim[PS_EDGE_PIN] >= 0) status = ps_adjust_diameter(ctx, solution, rim[PS_EDGE_PIN], &q);
    if (d->kind == PS_KIND_BUSH && rim[PS_EDGE_BUSH] >= 0) status = ps_adjust_diameter(ctx, solution, rim[PS_EDGE_BUSH], &q);
    if (d->kind == PS_KIND_PROUD && rim[PS_EDGE_PIN_FACE] >= 0 && rim[PS_EDGE_BUSH_FACE] >= 0)
        status = ps_adjust_height_difference(ctx, solution, rim[PS_EDGE_PIN_FACE], rim[PS_EDGE_BUSH_FACE], &q);
    if (status != PS_OK) return NAN;
    if (d->kind == PS_KIND_PROUD) shown = (int)fmin(photos[PS_EDGE_PIN_FACE], photos[PS_EDGE_BUSH_FACE]);
    ps_gauge_widen_few(d->kind, shown, &q);
    return q.u_mm;
}

static double bound(const ps_adjust_solution *solution, const ps_dimension *d) {
    double sum = 0;
    for (int k = 0; k < PS_SOURCE_COUNT; k++) sum += d->budget_mm[k] * d->budget_mm[k] / solution->inflation[k];
    return sqrt(sum);
}

static void judge(ps_context *ctx, const job_scene *s, const ps_adjust_solution *solution, result *out) {
    ps_measure_options options = ps_measure_options_default();
    ps_gauge_input in = {.options = &options, .solution = solution, .photos_used = s->problem.photo_count, .lens_known = true};
    ps_record *record = calloc(1, sizeof *record);
    bool misnamed[JOB_PINS];
    if (!record) return;
    options.check_count = s->check_count;
    memcpy(options.check, s->check, sizeof s->check);
    for (int role = 0; role < JOB_PINS; role++)
        if (s->placed[role]) options.standoff[role] = (ps_standoff){true, s->standoff_mm[role], s->standoff_U_mm};
    ps_gauge_prints_read(s->piece, s->problem.piece_count, &in.print_checked_across, &in.print_checked_along);
    ps_gauge_prints(solution, &in);
    in.direction_spread_deg = spread_deg(s, solution);
    out->well_posed = s->problem.photo_count >= 3 && in.direction_spread_deg >= 15;
    for (int i = 0; i < s->problem.piece_count; i++) out->well_posed &= s->checked[i][0] && s->checked[i][1];
    for (int role = 0; role < JOB_PINS; role++) {
        misnamed[role] = fill_pin(s, solution, role, &in.pin[role]);
        for (int e = 0; e < JOB_EDGES; e++) out->well_posed &= in.pin[role].photos[e] >= 2 && in.pin[role].arc[e] >= 0.6;
    }
    if (ps_gauge_dimensions(ctx, &in, record) == PS_OK) {
        for (int i = 0; i < record->dimension_count; i++) {
            const ps_dimension *d = &record->dimension[i];
            int kind = 0;
            while (kind < KINDS && kinds[kind] != d->kind) kind++;
            if (kind == KINDS || d->verdict == PS_VERDICT_MISSING) continue;
            double own = own_u(ctx, solution, &in, d);
            bool wider = isnan(own) || d->u_mm > own * (1 + 1e-9);
            int photos = out->photos;
            out->value[out->count++] = (value){kind,
                                               d->value_mm - truth_of(s, d->kind, d->role),
                                               d->u_mm,
                                               d->need_mm,
                                               bound(solution, d),
                                               wider,
                                               d->kind == PS_KIND_PROUD && misnamed[d->role],
                                               d->verdict == PS_VERDICT_GOOD,
                                               ps_gauge_within_need(d->u_mm, d->need_mm, ps_gauge_photo_dof(photos))};
        }
    }
    free(record);
}

/* ---- gaps ---- */

static double misfit_of(const job_scene *s, const ps_adjust_solution *solution, int rim) {
    double sum = 0;
    int count = 0;
    for (int e = 0; e < s->problem.edge_count; e++) {
        if (s->edge[e].rim != rim) continue;
        double off = ps_adjust_edge_residual(solution, e, NULL) / s->edge[e].sigma_px;
        sum += off * off;
        count++;
    }
    return count ? sum / count : INFINITY;
}

static int photos_with(const job_scene *s, const ps_adjust_solution *solution, int rim) {
    int n = 0;
    for (int i = 0; rim >= 0 && i < s->problem.photo_count; i++) n += used(s, solution, i, rim);
    return n;
}

/* Mirrors read_face of src/gauge/gap_value.c. */
static void fill_face(const job_scene *s, const ps_adjust_solution *solution, int pin, int ear, ps_gauge_face *face) {
    int rim = s->rim_of[gap_rim(pin, ear, GAP_FACE)], bore = s->rim_of[gap_rim(pin, ear, GAP_BORE)],
        outer = s->rim_of[gap_rim(pin, ear, GAP_OUTER)], photos = photos_with(s, solution, rim);
    double inward = ear == PS_EAR_NEAR ? -1 : 1, behind = 0, radius, height;
    *face = (ps_gauge_face){.rim = -1, .uneven_mm = NAN, .bore_radius_mm = NAN};
    if (photos == 0) return;
    face->rim = rim;
    face->photos = photos;
    face->misfit = misfit_of(s, solution, rim);
    shape_of(solution, rim, &face->radius_mm, &face->height_mm);
    for (int i = 0; i < s->problem.photo_count; i++)
        if (used(s, solution, i, rim)) face->arc = fmax(face->arc, s->rim[gap_rim(pin, ear, GAP_FACE)].arc[i]);
    if (photos_with(s, solution, bore) > 0) {
        shape_of(solution, bore, &radius, &height);
        face->bore_radius_mm = radius;
        behind = inward * (face->height_mm - height);
        face->uneven_mm = fabs(behind);
        face->flat = face->uneven_mm <= 0.6 && radius < face->radius_mm - 2;
    }
    if (photos_with(s, solution, outer) > 0) {
        shape_of(solution, outer, &radius, &height);
        double across = radius - face->radius_mm, down = inward * (face->height_mm - height);
        face->stepped = across > 0.2 && down > 0.3 * across && down < 3 * across;
    }
    if (!face->flat && face->stepped && behind > 0 && behind < 1.6) face->uneven_mm = NAN;
}

static bool sound_face(const job_scene *s, const ps_gauge_face *face) {
    return face->rim >= 0 && face->flat && face->photos >= 2 && face->arc >= 0.6 && s->problem.photo_count >= 3;
}

static void judge_gap(ps_context *ctx, const job_scene *s, const gap_truth *truth, const ps_adjust_solution *solution, result *out) {
    ps_measure_options options = ps_measure_options_default();
    ps_gauge_input gap = {.options = &options, .solution = solution, .photos_used = s->problem.photo_count, .lens_known = true};
    ps_gauge_input in = {.options = &options, .gap_job = &gap};
    ps_record *record = calloc(1, sizeof *record);
    if (!record) return;
    options.check_count = s->check_count;
    memcpy(options.check, s->check, sizeof s->check);
    ps_gauge_prints_read(s->piece, s->problem.piece_count, &gap.print_checked_across, &gap.print_checked_along);
    ps_gauge_prints(solution, &gap);
    gap.direction_spread_deg = spread_deg(s, solution);
    out->well_posed = gap.direction_spread_deg >= 15 && s->checked[0][0] && s->checked[0][1];
    for (int role = 0; role < JOB_PINS; role++) {
        gap.gap[role].found = true;
        for (int e = 0; e < PS_EDGE_COUNT; e++) in.pin[role].rim[e] = gap.pin[role].rim[e] = -1;
        for (int ear = 0; ear < 2; ear++) {
            fill_face(s, solution, role, ear, &gap.gap[role].face[ear]);
            out->well_posed &= sound_face(s, &gap.gap[role].face[ear]);
        }
    }
    if (ps_gauge_dimensions(ctx, &in, record) == PS_OK) {
        for (int i = 0; i < record->dimension_count; i++) {
            const ps_dimension *d = &record->dimension[i];
            if (d->kind != PS_KIND_GAP || d->verdict == PS_VERDICT_MISSING) continue;
            const ps_gauge_face *face = gap.gap[d->role].face;
            bool backed = true;
            for (int ear = 0; ear < 2; ear++) backed &= (face[ear].flat || face[ear].stepped) && (face[ear].photos >= 2 || out->photos < 2);
            out->value[out->count++] = (value){KINDS - 1,
                                               d->value_mm - truth->gap_mm[d->role],
                                               d->u_mm,
                                               d->need_mm,
                                               bound(solution, d),
                                               !backed,
                                               false,
                                               d->verdict == PS_VERDICT_GOOD,
                                               ps_gauge_within_need(d->u_mm, d->need_mm, ps_gauge_photo_dof(out->photos))};
        }
    }
    free(record);
}

/* ---- all jobs ---- */

static int sheets_of(const job_scene *s) {
    if (s->problem.piece_count < 2) return 0;
    if (s->reading == JOB_READ_NONE) return SHEETS_NONE;
    if (s->reading == JOB_READ_FOR_ALL) return SHEETS_FOR_ALL;
    return (s->reading == JOB_READ_EACH ? SHEETS_EACH_LIKE : SHEETS_ONE_LIKE) + s->unlike;
}

typedef struct run {
    int jobs, threads, next;
    uint64_t seed;
    job_options options;
    bool gaps; /* jobs that look into a gap, not end-on ones */
    result *result;
    pthread_mutex_t lock;
} run;

static void *work(void *user) {
    run *r = user;
    ps_context *ctx = ps_context_new();
    job_scene *s = malloc(sizeof *s);
    gap_truth gap;
    while (ctx && s) {
        (void)pthread_mutex_lock(&r->lock);
        int i = r->next++;
        (void)pthread_mutex_unlock(&r->lock);
        if (i >= r->jobs) break;
        result *out = &r->result[i];
        out->made = r->gaps ? gap_make(s, &gap, &r->options, r->seed, (uint64_t)i) : job_make(s, &r->options, r->seed, (uint64_t)i);
        if (!out->made) continue;
        out->photos = s->problem.photo_count;
        out->sheets = sheets_of(s);
        ps_adjust_solution *solution = NULL;
        out->solved = solve(ctx, s, &solution) == PS_OK;
        if (out->solved && r->gaps)
            judge_gap(ctx, s, &gap, solution, out);
        else if (out->solved)
            judge(ctx, s, solution, out);
        else
            (void)snprintf(out->message, sizeof out->message, "%s", ps_context_message(ctx));
        ps_adjust_solution_free(solution);
    }
    free(s);
    ps_context_free(ctx);
    return NULL;
}

static bool run_all(run *r) {
    pthread_t thread[16];
    int started = 0;
    r->result = calloc((size_t)r->jobs, sizeof *r->result);
    if (!r->result || pthread_mutex_init(&r->lock, NULL) != 0) return false;
    while (started < r->threads - 1 && pthread_create(&thread[started], NULL, work, r) == 0) started++;
    (void)work(r);
    for (int i = 0; i < started; i++) (void)pthread_join(thread[i], NULL);
    (void)pthread_mutex_destroy(&r->lock);
    return true;
}

/* ---- the tables ---- */

typedef struct tally {
    double jobs, covered; /* covered: sum over jobs of the share of their values that U covers */
    int values, own;      /* own: with the adjustment's own u */
    double ratio2, error2, bound2;
    double good_jobs, wrong_jobs, had_jobs; /* jobs with a good value, with a wrong good one, with a value at all */
    int had, good, wrong, narrow, narrow_wrong;
} tally;

static bool in_group(const result *r, int group) {
    return group == GROUP_ALL || (group == GROUP_ONE && r->photos == 1) || (group == GROUP_TWO && r->photos == 2) ||
           (group == GROUP_MORE && r->photos >= 3) || (group == GROUP_WELL && r->well_posed) || (group >= GROUPS && r->sheets == group);
}

/* One kind of one job; kind -1: all kinds together. */
static void count(const result *r, int kind, tally *t) {
    int values = 0, covered = 0, had = 0, good = 0, wrong = 0;
    for (int i = 0; i < r->count; i++) {
        const value *v = &r->value[i];
        if (kind >= 0 && v->kind != kind) continue;
        had++;
        good += v->good, wrong += v->good && fabs(v->error_mm) > v->need_mm;
        t->narrow += v->narrow, t->narrow_wrong += v->narrow && fabs(v->error_mm) > v->need_mm;
        if (v->misnamed) continue; /* which edge it is was taken wrong: no error of the band */
        values++;
        covered += fabs(v->error_mm) <= 2 * v->u_mm;
        if (v->widened) continue;
        t->own++;
        t->ratio2 += v->error_mm * v->error_mm / (v->u_mm * v->u_mm);
        t->error2 += v->error_mm * v->error_mm, t->bound2 += v->bound_mm * v->bound_mm;
    }
    t->had += had, t->good += good, t->wrong += wrong;
    t->had_jobs += had > 0, t->good_jobs += good > 0, t->wrong_jobs += wrong > 0;
    if (values == 0) return;
    t->jobs++, t->values += values;
    t->covered += (double)covered / values;
}

static tally tally_of(const run *r, int kind, int group) {
    tally t = {0};
    for (int i = 0; i < r->jobs; i++)
        if (r->result[i].solved && in_group(&r->result[i], group)) count(&r->result[i], kind, &t);
    return t;
}

static void print_rate(double k, double n) {
    double low, high;
    if (ps_proportion_exact(fmin(k, n), n, 0.95, &low, &high))
        printf(" %.1f (%.1f-%.1f) |", 100 * k / n, 100 * low, 100 * high);
    else
        printf(" - |");
}

static void print_wrong(double k, double n) {
    double low, high;
    if (ps_proportion_exact(k, n, 0.95, &low, &high))
        printf(" %.0f of %.0f jobs: %.2f (%.2f-%.2f) |", k, n, 100 * k / n, 100 * low, 100 * high);
    else
        printf(" - |");
}

static void print_sheets(const run *r) {
    static const char *const title[] = {"each read, one run",       "each read, unlike",    "one of them read, one run",
                                        "one of them read, unlike", "one reading for both", "none read"};
    printf("\nJobs of two sheets: the same share by what is known of the prints.\n\n| sheets | jobs |");
    for (int k = 0; k < END_ON_KINDS; k++) printf(" %s |", kind_word[k]);
    printf(" good, %% of values | jobs with a wrong good, %% of jobs with a good |\n| --- | --- | --- | --- | --- | --- | --- | --- |\n");
    for (int g = GROUPS; g < SHEETS_END; g++) {
        tally all = tally_of(r, -1, g);
        printf("| %s | %.0f |", title[g - GROUPS], all.had_jobs);
        for (int k = 0; k < END_ON_KINDS; k++) {
            tally t = tally_of(r, k, g);
            print_rate(t.covered, t.jobs);
        }
        printf(" %.1f |", 100.0 * all.good / all.had);
        print_wrong(all.wrong_jobs, all.good_jobs);
        printf("\n");
    }
}

static void print_tables(const run *r) {
    int made = 0, solved = 0, well = 0, first = r->gaps ? END_ON_KINDS : 0, end = r->gaps ? KINDS : END_ON_KINDS;
    for (int i = 0; i < r->jobs; i++) made += r->result[i].made, solved += r->result[i].solved, well += r->result[i].well_posed;
    printf("%d jobs, seed %llu; %d with photos to work on, %d solved, %d of them well-posed.\n\n", r->jobs, (unsigned long long)r->seed,
           made, solved, well);
    printf("Share of values within U of the truth, %% (95 %% interval, Clopper-Pearson, jobs):\n\n"
           "| kind | all | 1 photo | 2 photos | 3 to 5 photos | well-posed |\n| --- | --- | --- | --- | --- | --- |\n");
    for (int k = first; k < end; k++) {
        printf("| %s |", kind_word[k]);
        for (int g = 0; g < GROUPS; g++) {
            tally t = tally_of(r, k, g);
            print_rate(t.covered, t.jobs);
        }
        printf("\n");
    }
    if (!r->gaps) print_sheets(r);
    printf(
        "\nRoot mean square of error over u:\n\n"
        "| kind | all | 1 photo | 2 photos | 3 to 5 photos | well-posed | rms error / rms bound, well-posed | rms error, mm, well-posed |\n"
        "| --- | --- | --- | --- | --- | --- | --- | --- |\n");
    for (int k = first; k < end; k++) {
        printf("| %s |", kind_word[k]);
        tally t = {0};
        for (int g = 0; g < GROUPS; g++) {
            t = tally_of(r, k, g);
            printf(" %.2f |", sqrt(t.ratio2 / t.own));
        }
        printf(" %.2f | %.3f |\n", sqrt(t.error2 / t.bound2), sqrt(t.error2 / t.own));
    }
    printf("\nVerdicts:\n\n"
           "| kind | values | good, %% of values | wrong good, values | jobs with a wrong good, %% of jobs with a good | narrow enough, "
           "doubts "
           "left aside | wrong among these |\n| --- | --- | --- | --- | --- | --- | --- |\n");
    for (int k = first; k < end + !r->gaps; k++) {
        tally t = tally_of(r, k < end ? k : -1, GROUP_ALL);
        printf("| %s | %d | %.1f | %d |", k < end ? kind_word[k] : "any", t.had, 100.0 * t.good / t.had, t.wrong);
        print_wrong(t.wrong_jobs, t.good_jobs);
        printf(" %d | %d |\n", t.narrow, t.narrow_wrong);
    }
    printf("\n");
}

/* The jobs whose values miss by most, for whoever looks for a cause. */
static void print_worst(const run *r, double beyond) {
    for (int i = 0; i < r->jobs; i++) {
        const result *q = &r->result[i];
        if (q->made && !q->solved) fprintf(stderr, "job %d: %d photos, sheets %d: %s\n", i, q->photos, q->sheets, q->message);
        for (int k = 0; k < q->count; k++) {
            const value *v = &q->value[k];
            bool wrong = v->good && fabs(v->error_mm) > v->need_mm;
            if (wrong || (!v->misnamed && fabs(v->error_mm) > beyond * v->u_mm))
                fprintf(stderr, "job %d: %s off by %.3f, u %.3f, %d photos, sheets %d%s%s\n", i, kind_word[v->kind], v->error_mm, v->u_mm,
                        q->photos, q->sheets, q->well_posed ? ", well-posed" : "", wrong ? ", WRONG GOOD" : "");
        }
    }
}

int main(int argc, char **argv) {
    int jobs = argc > 1 ? atoi(argv[1]) : 2000, threads = argc > 3 ? atoi(argv[3]) : 2, stride = argc > 4 ? atoi(argv[4]) : 1;
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    int only = argc > 5 ? atoi(argv[5]) : -1;
    if (jobs < 1 || jobs > 1000000 || threads < 1 || threads > 16 || stride < 1 || stride > 4) {
        fprintf(stderr, "usage: bench_coverage [jobs [seed [threads [stride 1..4 [defects 0..127]]]]]\n");
        return 2;
    }
    for (int family = 0; family < (only < 0 ? 2 : 1); family++)
        for (int gaps = 0; gaps < 2; gaps++) {
            int broken = only >= 0 ? only : family ? BROKEN_ALL : 0;
            run r = {
                .jobs = jobs, .threads = threads, .seed = seed, .options = {broken, stride, JOB_HONEST, true, 0.5, false}, .gaps = gaps};
            if (!run_all(&r)) return 1;
            printf("## %s%s\n\n", broken ? "Where the model is mildly wrong" : "Where the model holds", gaps ? ": gaps" : "");
            print_tables(&r);
            (void)fflush(stdout);
            if (getenv("COVERAGE_WORST")) print_worst(&r, atof(getenv("COVERAGE_WORST")));
            free(r.result);
        }
    return 0;
}
