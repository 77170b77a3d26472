#include "gauge/facts.h"
#include "adjust/model.h"
#include "base/linear.h"
#include "gauge/quality.h"
#include "gauge/sentences.h"

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

static double aside_mm(const ps_adjust_solution *s, int rim, const ps_circle3 *circle) {
    double point[3], direction[3], from[3];
    ps_adjust_axis(s, s->model.problem.rim[rim].pin, point, direction);
    for (int k = 0; k < 3; k++) from[k] = circle->centre[k] - point[k];
    double along = ps_dot3(from, direction);
    for (int k = 0; k < 3; k++) from[k] -= along * direction[k];
    return ps_norm3(from);
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
    status = ps_adjust_oval(ctx, input->solution, rim, &fact->oval);
    if (status != PS_OK && status != PS_NOT_FOUND) return status;
    fact->had = true;
    fact->on_pin = input->solution->model.problem.rim[rim].on_axis;
    fact->photos = pin->photos[edge];
    fact->arc = pin->arc[edge];
    fact->arc_mean = pin->arc_mean[edge];
    fact->misfit = misfit(input->solution, rim);
    fact->aside_mm = aside_mm(input->solution, rim, &circle);
    facts->axis[role] = input->solution->model.problem.rim[rim].pin;
    return PS_OK;
}

static ps_status read_chamfer(ps_context *ctx, const ps_gauge_input *input, int role, ps_gauge_facts *facts) {
    if (!facts->rim[role][PS_EDGE_PIN].had || !facts->rim[role][PS_EDGE_PIN_FACE].had) return PS_OK;
    const int *rim = input->pin[role].rim;
    if (rim[PS_EDGE_PIN_FACE] == rim[PS_EDGE_PIN]) return PS_OK; /* one rim under two names: doubted for its equal diameters */
    ps_quantity q;
    ps_status status = ps_adjust_height_difference(ctx, input->solution, rim[PS_EDGE_PIN_FACE], rim[PS_EDGE_PIN], &q);
    if (status == PS_OK) facts->u_chamfer_mm[role] = q.u_mm;
    return status;
}

/* Of every piece too few corners: one piece half covered beside a whole one is no loss. */
static bool all_hidden(const ps_sightings *s) {
    for (int i = 0; i < s->count; i++) {
        const ps_piece *piece = ps_kit_piece(s->piece[i].piece);
        if (piece && s->piece[i].corner_count >= PS_GAUGE_CORNERS_LEAST * piece->corner_count) return false;
    }
    return true;
}

static void read_photos(const ps_record *record, ps_gauge_facts *facts) {
    static const ps_code code[] = {PS_CODE_PIECE_HIDDEN, PS_CODE_PIECE_SMALL, PS_CODE_PIECE_BENT, PS_CODE_PIECE_HELD,
                                   PS_CODE_OBLIQUE,      PS_CODE_MOTION_BLUR, PS_CODE_DEFOCUS};
    for (size_t c = 0; c < sizeof code / sizeof code[0]; c++) {
        int solved = 0, touched = 0;
        for (int i = 0; i < record->photo_count; i++) {
            const ps_record_photo *photo = &record->photo[i];
            if (!photo->solved) continue;
            solved++;
            touched += ps_notes_have(&photo->problems, code[c]) && (code[c] != PS_CODE_PIECE_HIDDEN || all_hidden(&photo->sightings));
        }
        if (touched > 0 && solved - touched < 2) ps_gauge_say(&facts->photo_doubts, PS_SUBJECT_VALUE, code[c]);
    }
}

static void read_pins(const ps_record *record, ps_gauge_facts *facts) {
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        int solved = 0, cut = 0, clipped = 0;
        for (int i = 0; i < record->photo_count; i++) {
            const ps_record_photo *photo = &record->photo[i];
            solved += photo->solved;
            cut += photo->solved && photo->pin_cut[role];
            clipped += photo->solved && photo->pin_clipped[role];
        }
        if (cut > 0 && solved - cut < 2) ps_gauge_say(&facts->pin_doubts[role], PS_SUBJECT_VALUE, PS_CODE_PIN_CUT_OFF);
        if (clipped > 0 && solved - clipped < 2)
            ps_notes_add(&facts->pin_doubts[role], PS_CODE_EXPOSURE,
                         "The %s pin's end is too bright or too dark in the photos for its edge to show.", ps_role_word((ps_role)role));
    }
}

ps_status ps_gauge_facts_read(ps_context *ctx, const ps_gauge_input *input, const ps_record *record, ps_gauge_facts *facts) {
    *facts = (ps_gauge_facts){.axis = {-1, -1}};
    read_photos(record, facts);
    read_pins(record, facts);
    if (!input->solution) return PS_OK;
    facts->solved = true;
    ps_adjust_fit(input->solution, &facts->chi2, &facts->dof);
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        for (int edge = 0; edge < PS_EDGE_COUNT; edge++) {
            ps_status status = read_rim(ctx, input, role, edge, facts);
            if (status != PS_OK) return status;
        }
        ps_status status = read_chamfer(ctx, input, role, facts);
        if (status != PS_OK) return status;
    }
    return PS_OK;
}
