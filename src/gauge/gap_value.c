/* The gap between the inward bush faces: which planes were found, how sure it is that they are the faces, and the band. */
#include <math.h>
#include <string.h>

#include "gauge/dimensions.h"
#include "gauge/job.h"
#include "gauge/sentences.h"

/* Common practice, no source (docs/verdicts.md). */
static const double edge_u_mm = 0.35;      /* both faces' edges are dressed and worn */
static const double which_edge_u_mm = 3.5; /* the one edge seen may be the chamfer's, 0.5 to 2 mm off, or the bush's foot, up to 10 */
/* Over a boss more planes follow each other: its own end, the bush, a pin that stands out. Of few scenes about one in six had the boss's
 * end taken for the bush's, 10 to 15 mm in all, with nothing to tell it by: 12 mm times the root of 1/6. */
static const double boss_edge_u_mm = 5, boss_which_edge_u_mm = 6;
static const double bent_lens_rel = 0.006;     /* a wrong edge near the photos' border bends the lens that all faces share */
static const double uneven_most_mm = 0.6;      /* boundary and bore's edge of one flat face */
static const double bevel_most_mm = 1.6;       /* of a bore's edge */
static const double unlike_most_mm = 2;        /* radii of the faces of a pair of bushes, and of their bores: one pin goes through both */
static const double off_most_rel = 1.0 / 2000; /* of a photo's longer side: points from the solved circle, rms; 2 px at 12 megapixels */
static const double arc_least = 0.3, misfit_most = 4;
static const double gap_least_mm = 30, gap_most_mm = 900;

static double misfit_of(const ps_job *gap, int rim) {
    double sum = 0;
    int count = 0;
    for (int e = 0; e < gap->problem.edge_count; e++) {
        if (gap->edge[e].rim != rim) continue;
        double off = ps_adjust_edge_residual(gap->solution, e, NULL) / gap->edge[e].sigma_px;
        sum += off * off;
        count++;
    }
    return count ? sum / count : INFINITY;
}

/* Whether a photo's points lie on the solved circle as those of one clear edge do. */
static bool is_sharp(const ps_job *gap, int photo, int rim) {
    const ps_luma *luma = &gap->photo[photo].photo.luma;
    double sum = 0, most = fmax(1, off_most_rel * (luma->width > luma->height ? luma->width : luma->height));
    int count = 0;
    for (int e = 0; e < gap->problem.edge_count; e++) {
        if (gap->edge[e].rim != rim || gap->edge[e].photo != gap->photo[photo].adjust_index) continue;
        double off = ps_adjust_edge_residual(gap->solution, e, NULL);
        sum += off * off;
        count++;
    }
    return count > 0 && sum <= count * most * most;
}

/* What the record's photos show of an edge. */
typedef struct shown {
    int photos, sharp; /* with the edge used; of them, with it sharp */
    double arc;        /* best */
} shown;

static shown shown_of(const ps_job *gap, const ps_record *record, int p, int rim) {
    const ps_pin_rim *m = &gap->pins.pin[p].rim[rim];
    shown s = {0, 0, 0};
    for (int i = 0; i < record->photo_count; i++) {
        if (gap->photo[i].adjust_index < 0) continue;
        for (int k = 0; k < record->photo[i].rim_count; k++) {
            const ps_record_rim *r = &record->photo[i].rim[k];
            if (r->pin != gap->pins.pin[p].role || r->edge != m->edge || r->ear != m->ear || !r->used) continue;
            s.photos++;
            s.sharp += is_sharp(gap, i, gap->rim_of[p][rim]);
            s.arc = fmax(s.arc, r->arc);
        }
    }
    return s;
}

static void read_face(const ps_job *gap, const ps_record *record, int p, ps_ear ear, ps_gauge_face *face) {
    const ps_pin_model *m = &gap->pins.pin[p];
    int at = ps_rim_find(m, PS_EDGE_BUSH_FACE, ear), bore = ps_rim_find(m, PS_EDGE_BUSH_BORE, ear),
        outer = ps_rim_find(m, PS_EDGE_BUSH, ear);
    double height;
    ps_circle3 circle;
    *face = (ps_gauge_face){.rim = -1, .uneven_mm = NAN, .bore_radius_mm = NAN};
    if (at < 0) return;
    shown seen = shown_of(gap, record, p, at);
    if (seen.photos == 0) return;
    face->photos = seen.sharp > 1 ? seen.sharp : 1;
    face->arc = seen.arc;
    face->rim = gap->rim_of[p][at];
    face->misfit = misfit_of(gap, face->rim);
    ps_adjust_circle(gap->solution, face->rim, &circle, &face->height_mm);
    face->radius_mm = circle.radius_mm;
    /* Heights run from far to near. Over a boss 'inward', the way a face looks, is the way out of it. */
    double inward = (ear == PS_EAR_NEAR) != m->outward ? -1 : 1, behind = 0;
    if (bore >= 0 && shown_of(gap, record, p, bore).sharp > 0) {
        ps_adjust_circle(gap->solution, gap->rim_of[p][bore], &circle, &height);
        face->bore_radius_mm = circle.radius_mm;
        behind = inward * (face->height_mm - height);
        face->uneven_mm = fabs(behind);
        face->flat = face->uneven_mm <= uneven_most_mm && circle.radius_mm < face->radius_mm - 2;
    }
    if (outer >= 0 && shown_of(gap, record, p, outer).sharp > 0) {
        ps_adjust_circle(gap->solution, gap->rim_of[p][outer], &circle, &height);
        double across = circle.radius_mm - face->radius_mm, down = inward * (face->height_mm - height);
        face->stepped = across > 0.2 && down > 0.3 * across && down < 3 * across;
    }
    /* The bore has a bevel: behind a face with its own chamfer the bevel's other edge may have been traced, which says nothing. */
    if (!face->flat && face->stepped && behind > 0 && behind < bevel_most_mm) face->uneven_mm = NAN;
}

void ps_job_gap_faces(const ps_job *gap, const ps_record *record, ps_gauge_gap *faces) {
    memset(faces, 0, PS_ROLE_COUNT * sizeof *faces);
    for (int role = 0; role < PS_ROLE_COUNT; role++) faces[role].face[0].rim = faces[role].face[1].rim = -1;
    for (int p = 0; p < gap->pins.count; p++) {
        ps_gauge_gap *g = &faces[gap->pins.pin[p].role];
        g->found = true;
        g->over = gap->pins.pin[p].outward;
        for (int ear = 0; ear < 2; ear++) read_face(gap, record, p, (ps_ear)ear, &g->face[ear]);
    }
}

/* ---- what speaks against a value ---- */

static void doubt_face(const ps_gauge_input *in, const ps_gauge_face *face, bool over, ps_notes *doubts) {
    const char *way = over ? "outward" : "inward";
    if (!face->flat && !face->stepped)
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN, "The flat %s face of a bush was not told from its chamfer with certainty.", way);
    if (isfinite(face->uneven_mm) && !face->flat)
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN, "The edges taken for one flat bush face do not lie in one plane.");
    if (face->photos < 2 && in->photos_used >= 2)
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN, "The %s face of a bush shows clearly in one photo at most.", way);
    if (!(face->arc >= arc_least))
        ps_notes_add(doubts, PS_CODE_ARC_SHORT, "Only %.0f %% of a bush face's edge is seen, too short a piece to stand on its own.",
                     100 * fmin(fmax(face->arc, 0), 1));
    if (!(face->misfit <= misfit_most))
        ps_notes_add(doubts, PS_CODE_FIT_BAD, "The points found on a bush face's edge do not lie on one circle as well as they should.");
}

/* One pin goes through both bores of a pair: theirs and the faces' sizes are alike, or one edge is another's. */
static bool unlike(const ps_gauge_gap *g) {
    const ps_gauge_face *a = &g->face[PS_EAR_NEAR], *b = &g->face[PS_EAR_FAR];
    return fabs(a->radius_mm - b->radius_mm) > unlike_most_mm || fabs(a->bore_radius_mm - b->bore_radius_mm) > unlike_most_mm;
}

/* Some edge of this pair is not what it is taken for, as far as can be told. */
static bool unsound(const ps_gauge_gap *g) {
    if (!g->found) return false;
    for (int ear = 0; ear < 2; ear++) {
        const ps_gauge_face *f = &g->face[ear];
        if (f->rim < 0 || (!f->flat && !f->stepped) || (isfinite(f->uneven_mm) && !f->flat)) return true;
    }
    return unlike(g);
}

/* A second edge, and a second photo where there is one, say that this edge is the face's. */
static bool is_backed(const ps_gauge_face *face, int photos_used) {
    return (face->flat || face->stepped) && (face->photos >= 2 || photos_used < 2);
}

static void widen(ps_quantity *q, double u_mm) {
    q->source_mm[PS_SOURCE_PLANE] = hypot(q->source_mm[PS_SOURCE_PLANE], u_mm);
    q->u_mm = hypot(q->u_mm, u_mm);
}

ps_status ps_gauge_gap_value(ps_context *ctx, const ps_gauge_input *in, int role, ps_quantity *q, int *photos, ps_notes *doubts) {
    const ps_gauge_gap *g = &in->gap[role];
    const ps_gauge_face *near = &g->face[PS_EAR_NEAR], *far = &g->face[PS_EAR_FAR];
    ps_quantity value;
    if (!g->found || near->rim < 0 || far->rim < 0) return ps_context_fail(ctx, PS_NOT_FOUND, "a bush face of the gap was not found");
    ps_status status = ps_adjust_height_difference(ctx, in->solution, near->rim, far->rim, &value);
    if (status != PS_OK) return status;
    if (!(value.value_mm >= gap_least_mm && value.value_mm <= gap_most_mm))
        return ps_context_fail(ctx, PS_NOT_FOUND, "the faces found are no gap");
    for (int ear = 0; ear < 2; ear++) {
        doubt_face(in, &g->face[ear], g->over, doubts);
        if (!is_backed(&g->face[ear], in->photos_used)) widen(&value, g->over ? boss_which_edge_u_mm : which_edge_u_mm);
    }
    if (unlike(g)) {
        ps_notes_add(doubts, PS_CODE_BUSH_HIDDEN, "The faces or bores found on the two %s are of unlike size: one may be another edge.",
                     g->over ? "ends" : "ears");
        widen(&value, g->over ? boss_which_edge_u_mm : which_edge_u_mm);
    }
    if (g->over) ps_gauge_say(doubts, PS_SUBJECT_VALUE, PS_CODE_BOSS_OVER);
    widen(&value, g->over ? boss_edge_u_mm : edge_u_mm);
    if (unsound(&in->gap[PS_ROLE_DIPPER]) || unsound(&in->gap[PS_ROLE_LINK])) widen(&value, bent_lens_rel * value.value_mm);
    *q = value;
    *photos = near->photos < far->photos ? near->photos : far->photos;
    return PS_OK;
}
