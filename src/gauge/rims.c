/* Traced rims into the adjustment and its result back into predictions. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "gauge/job.h"

/* Edge points 4 px apart share texture, light and sharpening over some 16 px: a rim counts for a quarter of its points. */
static const double neighbours_factor = 2;
static const double lone_factor = 10, lone_gap_factor = 3; /* docs/model.md */
static const double clear_least = 0.1;
static const double square_rad = 2 * 3.14159265358979323846 / 180; /* axis to the plate, docs/model.md */

/* Two rims of one height are a groove and the edge of one face, not the two edges of a chamfer. */
static const double chamfer_slope_min = 0.3;
/* Of an edge in the plane of the bush's face or as deep as its bore's bevel, well behind the pin's end: no chamfer is so long, and that
 * just there a pin should begin to taper would be chance, while the bore always has its edges there. Common practice, no source. */
static const double bore_below_face_mm = 6.5, bore_above_mm = 0.6, bore_below_mm = 2.6, bore_wall_mm = 0.8;

/* The axis runs along the piece: the photos look into the gap. */
static bool looks_along(const ps_pin_model *m) {
    return fabs(m->axis_direction[2]) < 0.5;
}

static void add_pins(ps_job *job) {
    ps_adjust_problem *q = &job->problem;
    q->pin_count = job->pins.count;
    q->rim_count = 0;
    for (int p = 0; p < job->pins.count; p++) {
        const ps_pin_model *m = &job->pins.pin[p];
        ps_adjust_pin *pin = &job->pin[p];
        memcpy(pin->axis_point_mm, m->axis_point_mm, sizeof pin->axis_point_mm);
        memcpy(pin->axis_direction, m->axis_direction, sizeof pin->axis_direction);
        pin->piece = looks_along(m) ? -1 : q->held_piece; /* a pin along the piece is square to nothing here */
        pin->sigma_square = square_rad;
        for (int r = 0; r < m->rim_count; r++) {
            const ps_pin_rim *from = &m->rim[r];
            bool on_axis = from->edge == PS_EDGE_PIN || from->edge == PS_EDGE_PIN_FACE;
            ps_adjust_rim rim = {p, from->edge, from->ear, from->height_mm, from->radius_mm, on_axis, 0.5, false, 0, 0};
            const ps_standoff *s = &job->options->standoff[m->role];
            if (from->edge == PS_EDGE_PIN_FACE && s->given) {
                rim.height_known = true;
                rim.height_prior_mm = s->mm;
                rim.sigma_height_mm = fmax(0.5 * s->U_mm, 0.01);
            }
            job->rim_of[p][r] = q->rim_count;
            job->rim[q->rim_count++] = rim;
        }
    }
}

/* An edge without its chamfer's other edge: the photos may not all show the same of the two. It may not bend the cameras. */
static bool is_lone(const ps_pin_model *m, ps_edge edge) {
    static const ps_edge other[PS_EDGE_COUNT] = {[PS_EDGE_PIN] = PS_EDGE_PIN_FACE,
                                                 [PS_EDGE_PIN_FACE] = PS_EDGE_PIN,
                                                 [PS_EDGE_BUSH] = PS_EDGE_BUSH_FACE,
                                                 [PS_EDGE_BUSH_FACE] = PS_EDGE_BUSH};
    for (int r = 0; r < m->rim_count; r++)
        if (m->rim[r].edge == other[edge]) return false;
    return true;
}

/* A faint circle may be no edge of this body at all. */
static double trust_factor(const ps_pin_model *m, int rim, int photos) {
    double alone = looks_along(m) || photos < 2 ? lone_gap_factor : lone_factor;
    if (photos < 2) return is_lone(m, m->rim[rim].edge) ? alone : 1;
    return (is_lone(m, m->rim[rim].edge) ? alone : 1) / fmax(1 - m->rim[rim].faint, clear_least);
}

static ps_status add_edges(ps_context *ctx, ps_job *job) {
    size_t total = 0;
    ps_adjust_problem *q = &job->problem;
    for (int k = 0; k < q->photo_count; k++) {
        const ps_rim_traces *t = &job->photo[job->photo_of[k]].traces;
        for (int i = 0; i < t->count; i++) total += (size_t)t->trace[i].point_count;
    }
    free(job->edge);
    job->edge = malloc((total + 1) * sizeof *job->edge);
    q->edge_count = 0;
    if (!job->edge) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for edge points");
    for (int k = 0; k < q->photo_count; k++) {
        const ps_rim_traces *t = &job->photo[job->photo_of[k]].traces;
        for (int i = 0; i < t->count; i++) {
            if (t->trace[i].odd) continue;
            double factor = neighbours_factor * trust_factor(&job->pins.pin[t->trace[i].pin], t->trace[i].rim, q->photo_count);
            for (int n = 0; n < t->trace[i].point_count; n++) {
                const ps_edge_point *e = &t->trace[i].point[n];
                job->edge[q->edge_count++] =
                    (ps_adjust_edge){k, job->rim_of[t->trace[i].pin][t->trace[i].rim], e->x_px, e->y_px, e->sigma_px * factor};
            }
        }
    }
    return q->edge_count > 0 ? PS_OK : ps_context_fail(ctx, PS_NOT_FOUND, "no rim of a pin could be traced");
}

/* Rims that no photo shows are taken out of the models, so that they get no value out of nothing. */
static void drop_unseen(ps_job *job) {
    for (int p = 0; p < job->pins.count; p++) {
        ps_pin_model *m = &job->pins.pin[p];
        int kept = 0, now[PS_RIMS_PER_PIN];
        for (int r = 0; r < m->rim_count; r++) {
            bool seen = false;
            for (int k = 0; k < job->problem.photo_count && !seen; k++) {
                const ps_rim_traces *t = &job->photo[job->photo_of[k]].traces;
                for (int i = 0; i < t->count; i++) seen = seen || (t->trace[i].pin == p && t->trace[i].rim == r);
            }
            now[r] = seen ? kept : -1;
            if (seen) m->rim[kept++] = m->rim[r];
        }
        m->rim_count = kept;
        for (int k = 0; k < job->problem.photo_count; k++) {
            ps_rim_traces *t = &job->photo[job->photo_of[k]].traces;
            for (int i = 0; i < t->count; i++)
                if (t->trace[i].pin == p) t->trace[i].rim = now[t->trace[i].rim];
        }
    }
}

ps_status ps_job_solve_rims(ps_context *ctx, ps_job *job) {
    bool had_rims = job->problem.rim_count > 0;
    drop_unseen(job);
    add_pins(job);
    ps_status status = add_edges(ctx, job);
    /* The last solution is the best start for the cameras. */
    for (int k = 0; status == PS_OK && k < job->problem.photo_count; k++) {
        ps_view view;
        ps_adjust_view(job->solution, k, &view);
        job->adjust_photo[k].start = view.pose;
    }
    for (int g = 0; status == PS_OK && g < job->problem.group_count; g++) {
        double covariance[PS_LENS_COUNT * PS_LENS_COUNT];
        job->group[g].guessed = ps_adjust_lens(ctx, job->solution, g, &job->group[g].guess, covariance) == PS_OK;
    }
    for (int k = 0; status == PS_OK && k < job->problem.piece_count; k++) ps_adjust_piece_pose(job->solution, k, &job->piece[k].start);
    job->near_start = had_rims;
    if (status == PS_OK) status = ps_job_solve(ctx, job);
    job->near_start = false;
    return status;
}

void ps_job_predict(ps_job *job, double sigma_height_mm, double sigma_radius_mm) {
    for (int p = 0; p < job->pins.count; p++) {
        ps_pin_model *m = &job->pins.pin[p];
        ps_adjust_axis(job->solution, p, m->axis_point_mm, m->axis_direction);
        for (int r = 0; r < m->rim_count; r++) {
            ps_circle3 circle;
            ps_pin_rim *rim = &m->rim[r];
            ps_adjust_circle(job->solution, job->rim_of[p][r], &circle, &rim->height_mm);
            rim->radius_mm = circle.radius_mm;
            rim->sigma_height_mm = sigma_height_mm;
            rim->sigma_radius_mm = sigma_radius_mm;
        }
    }
}

/* ---- edges that turn out to be others ---- */

static void rename_rim(ps_job *job, int p, int r, ps_edge edge) {
    job->pins.pin[p].rim[r].edge = edge;
    job->rim[job->rim_of[p][r]].edge = edge;
    for (int k = 0; k < job->problem.photo_count; k++) {
        ps_rim_traces *t = &job->photo[job->photo_of[k]].traces;
        for (int i = 0; i < t->count; i++)
            if (t->trace[i].pin == p && t->trace[i].rim == r) t->trace[i].edge = edge;
    }
}

/* Of a rim as solved. */
static double height_of(const ps_job *job, int p, int r, double *radius_mm) {
    ps_circle3 circle;
    double height;
    ps_adjust_circle(job->solution, job->rim_of[p][r], &circle, &height);
    *radius_mm = circle.radius_mm;
    return height;
}

void ps_job_name_bushes(ps_job *job) {
    for (int p = 0; p < job->pins.count; p++) {
        ps_pin_model *m = &job->pins.pin[p];
        int outer = ps_rim_find(m, PS_EDGE_BUSH, PS_EAR_NEAR), inner = ps_rim_find(m, PS_EDGE_BUSH_FACE, PS_EAR_NEAR);
        if (outer < 0) continue;
        if (inner >= 0) {
            double inner_r, outer_r, down = height_of(job, p, inner, &inner_r) - height_of(job, p, outer, &outer_r);
            if (down > chamfer_slope_min * (outer_r - inner_r)) continue; /* a chamfer between them */
            rename_rim(job, p, inner, PS_EDGE_OTHER);
        }
        rename_rim(job, p, outer, PS_EDGE_BUSH_FACE);
    }
}

bool ps_job_name_bores(ps_job *job) {
    bool renamed = false;
    for (int p = 0; p < job->pins.count && job->problem.photo_count > 1; p++) {
        ps_pin_model *m = &job->pins.pin[p];
        int pin = ps_rim_find(m, PS_EDGE_PIN, PS_EAR_NEAR), face = ps_rim_find(m, PS_EDGE_PIN_FACE, PS_EAR_NEAR),
            bush = ps_rim_find(m, PS_EDGE_BUSH_FACE, PS_EAR_NEAR);
        if (pin < 0 || face < 0 || bush < 0) continue;
        double pin_r, face_r, bush_r, face_h = height_of(job, p, face, &face_r), bush_h = height_of(job, p, bush, &bush_r);
        double over = height_of(job, p, pin, &pin_r) - bush_h;
        bool in_bore = over < bore_above_mm && over > -bore_below_mm && pin_r < bush_r - bore_wall_mm;
        if (face_h - bush_h < bore_below_face_mm || !in_bore) continue;
        rename_rim(job, p, pin, PS_EDGE_BUSH_BORE);
        renamed = true;
    }
    return renamed;
}
