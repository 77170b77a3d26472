/* The job's outcome into the flat record. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/model.h"
#include "base/linear.h"
#include "gauge/contradictions.h"
#include "gauge/dimensions.h"
#include "gauge/doubts.h"
#include "gauge/job.h"
#include "gauge/observed.h"
#include "gauge/prints.h"
#include "gauge/quality.h"
#include "gauge/sentences.h"

static const double trace_off_px = 2.0; /* a trace whose points lie farther from the solved rim on average is another edge */

/* Of the section's reading, in clear circles. Common practice without a source: half a circle is what dirt or a ghost can add. */
static const double lead_least = 0.35, lead_alone = 0.9; /* of the pin; where the bore's edge is not seen about it */
static const double bush_lead_least = 0.45, bush_lead_bears = 0.2, stray_most = 0.6, clear_least = 0.4;
static const double lead_of_two = 0.7; /* of either, in two photos or one, which can agree on dirt by chance */
/* Its outer edge alone: the wall's outline, a little lower and larger, is beside it, half a millimetre off. */
static const double bush_clear_good = 0.65, bush_fine_px_per_mm = 5;
static const double bush_clear_least = 0.4, few_worth = 2.5; /* circles: a bush has fewer that speak for it than its pin has */
static const double worth_sure = 4, clear_sure = 0.75;       /* all five circles clear */
static const double over_bore_least_mm = 2;                  /* nearer, the pin's edge and the bore's can be one to the photos */
static const double shows_edges_mm = 3;                      /* ... for both edges of its chamfer to show beside the bore's */
static const double domed_most = 0.6;                        /* as the other strays: a clear circle less what dirt adds */
static const double all_round_least = 0.85;                  /* mean arc; a rounded end's outline follows one circle half round */
static const double wall_least = 0.35;    /* true pins of rendered photos had 0.38 to 0.87, a taper and a cap taken for pins 0.27 */
static const int wall_sides_least = 4;    /* of two photos; fewer can be in shade */
static const double wall_sure = 0.5;      /* half of every outline and more agrees with the pin's edge */
static const double fine_px_per_mm = 3;   /* edges 2.5 px apart can be told: of a chamfer of 1 mm, a small one */
static const double stands_free_mm = 0.5; /* of the pin's edge before the bush's face */

/* Whether the adjustment kept a trace: mean distance of its points from the solved rim, and their weights. */
static bool trace_used(const ps_job *job, int photo, int rim) {
    double sum = 0, weight = 0;
    int count = 0;
    for (int e = 0; e < job->problem.edge_count; e++) {
        if (job->edge[e].photo != photo || job->edge[e].rim != rim) continue;
        double w = 0;
        sum += fabs(ps_adjust_edge_residual(job->solution, e, &w));
        weight += w;
        count++;
    }
    return count > 0 && sum / count < trace_off_px && weight / count > 0.3;
}

static ps_status record_rims(ps_context *ctx, const ps_job *job, const ps_job_photo *from, ps_record_photo *to) {
    if (from->traces.count == 0) return PS_OK;
    to->rim = calloc((size_t)from->traces.count, sizeof *to->rim);
    if (!to->rim) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the record");
    for (int i = 0; i < from->traces.count; i++) {
        const ps_rim_trace *t = &from->traces.trace[i];
        if (t->rim < 0) continue;
        ps_record_rim *r = &to->rim[to->rim_count];
        *r = (ps_record_rim){.pin = job->pins.pin[t->pin].role,
                             .edge = t->edge,
                             .ear = t->ear,
                             .ellipse = t->ellipse,
                             .arc = t->arc,
                             .rms_px = t->rms_px,
                             .point_count = t->point_count};
        r->used = job->problem.rim_count > 0 && trace_used(job, from->adjust_index, job->rim_of[t->pin][t->rim]);
        r->point = malloc((size_t)t->point_count * sizeof *r->point);
        if (!r->point) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the record");
        memcpy(r->point, t->point, (size_t)t->point_count * sizeof *r->point);
        double height_mm;
        r->fitted = job->problem.rim_count > 0 && from->adjust_index >= 0;
        if (r->fitted) ps_adjust_circle(job->solution, job->rim_of[t->pin][t->rim], &r->circle, &height_mm);
        if (r->fitted) /* else the free ellipse of the trace stays */
            (void)ps_gauge_observed_ellipse(&to->view, &r->circle, r->point, r->point_count, &r->ellipse, &r->rms_px);
        to->rim_count++;
    }
    return PS_OK;
}

static int rim_index(const ps_job *job, int p, ps_edge edge) {
    int r = ps_rim_find(&job->pins.pin[p], edge, PS_EAR_NEAR);
    return r < 0 ? -1 : job->rim_of[p][r];
}

static void note_state(const ps_job *job, const ps_job_photo *from, ps_record_photo *to) {
    if (!from->photo.luma.px) {
        ps_notes_add(&to->problems, PS_CODE_UNREADABLE, "%s.", from->message[0] ? from->message : "The file could not be read");
    } else if (from->sightings.count == 0) {
        if (from->sightings.hidden_count > 0)
            ps_notes_add(&to->problems, PS_CODE_PIECE_HIDDEN,
                         "Too little of the printed sheet is in view. Take the photo again with the whole sheet visible.");
        else
            ps_notes_add(&to->problems, PS_CODE_NO_PIECE,
                         "No printed sheet was found in this photo. It must be sharp, wholly in view and not too small.");
    } else if (from->copy) {
        ps_notes_add(&to->problems, PS_CODE_PHOTO_TWICE, "This is the same photo as %s, and counts once.", job->files[from->copy_of]);
    } else if (from->out) {
        ps_gauge_say(&to->problems, PS_SUBJECT_PHOTO, from->out_code);
    } else if (from->adjust_index < 0) {
        ps_notes_add(&to->problems, PS_CODE_OTHER_SCENE,
                     "This photo shows another printed sheet than the others and cannot be joined to them.");
    } else if (job->problem.rim_count > 0 && to->rim_count == 0) {
        ps_notes_add(&to->problems, PS_CODE_NO_PIN, "No rim of a pin was found in this photo.");
    }
    if (from->odd) ps_gauge_say(&to->problems, PS_SUBJECT_PHOTO, from->odd_code);
    if (from->profile_off)
        ps_notes_add(&to->problems, PS_CODE_FOCAL_CONTRADICTS,
                     "The camera profile does not fit what this photo shows; the photos were measured without it.");
    if (from->photo.luma.px && ps_job_focal_cannot_be(&from->photo))
        ps_notes_add(&to->problems, PS_CODE_FOCAL_CONTRADICTS,
                     "This photo names a focal length of %g mm (as of a 35 mm frame), which no phone has; it was measured without.",
                     from->photo.exif.focal_35mm_mm);
    if (from->exif_off)
        ps_notes_add(&to->problems, PS_CODE_FOCAL_CONTRADICTS,
                     "The focal length that this photo names does not fit what it shows; the photos were measured without it.");
}

/* How the pins' own edges show in a photo. */
static void note_pins(const ps_job *job, const ps_job_photo *from, ps_record_photo *to) {
    for (int p = 0; p < job->pins.count; p++) {
        ps_role role = job->pins.pin[p].role;
        int rim = rim_index(job, p, PS_EDGE_PIN);
        if (rim < 0) rim = rim_index(job, p, PS_EDGE_PIN_FACE);
        if (rim < 0) continue;
        bool seen = false;
        for (int k = 0; k < to->rim_count; k++)
            seen |= to->rim[k].used && to->rim[k].pin == role && (to->rim[k].edge == PS_EDGE_PIN || to->rim[k].edge == PS_EDGE_PIN_FACE);
        ps_circle3 edge;
        double height;
        ps_adjust_circle(job->solution, rim, &edge, &height);
        ps_gauge_pin_problems(&from->photo.luma, &to->view, &edge, role, seen, &to->pin_cut[role], &to->pin_clipped[role], &to->problems);
    }
}

static ps_status record_photo(ps_context *ctx, const ps_job *job, int i, ps_record_photo *to) {
    const ps_job_photo *from = &job->photo[i];
    to->file = strdup(job->files[i]);
    if (!to->file) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the record");
    to->width = from->photo.luma.width;
    to->height = from->photo.luma.height;
    to->sightings = from->sightings;
    to->solved = job->solution && from->adjust_index >= 0;
    to->usable = to->solved;
    ps_status status = PS_OK;
    if (to->solved) {
        ps_adjust_view(job->solution, from->adjust_index, &to->view);
        to->camera_source = job->group_source[job->adjust_photo[from->adjust_index].group];
        for (int k = 0; k < from->sightings.count; k++)
            for (int p = 0; p < job->problem.piece_count; p++)
                if (job->piece[p].piece == from->sightings.piece[k].piece)
                    to->sighting_rms_px[k] = ps_adjust_corner_rms(job->solution, from->adjust_index, p);
        status = record_rims(ctx, job, from, to);
    }
    note_state(job, from, to);
    if (from->photo.luma.px) {
        to->blur = ps_gauge_photo_blur(&from->photo.luma, &from->sightings);
        bool aside = job->pins.count > 0 && job->pins.pin[0].outward;
        ps_gauge_photo_problems(&from->photo.luma, &from->sightings, to->solved ? &to->view : NULL, aside, &to->problems);
        if (to->solved && job->problem.rim_count > 0) note_pins(job, from, to);
    }
    return status;
}

/* ---- the pins, for the pictures and the dimensions ---- */

/* Scale of the photo that shows the pin's end largest. */
static double finest_px_per_mm(const ps_record *record, ps_role role) {
    double finest = 0;
    for (int i = 0; i < record->photo_count; i++)
        for (int k = 0; k < record->photo[i].rim_count; k++) {
            const ps_record_rim *r = &record->photo[i].rim[k];
            if (r->pin == role && r->edge == PS_EDGE_PIN && r->used && r->circle.radius_mm > 0)
                finest = fmax(finest, r->ellipse.a / r->circle.radius_mm);
        }
    return finest;
}

static void gauge_pin(const ps_job *job, const ps_record *record, int p, ps_gauge_pin *out) {
    for (int e = 0; e < PS_EDGE_COUNT; e++) {
        out->rim[e] = rim_index(job, p, (ps_edge)e);
        for (int i = 0; i < record->photo_count; i++)
            for (int k = 0; k < record->photo[i].rim_count; k++) {
                const ps_record_rim *r = &record->photo[i].rim[k];
                if (r->pin != job->pins.pin[p].role || (int)r->edge != e || !r->used) continue;
                out->photos[e]++;
                out->arc[e] = fmax(out->arc[e], r->arc);
                out->arc_mean[e] += (r->arc - out->arc_mean[e]) / out->photos[e];
            }
        if (out->photos[e] == 0) out->rim[e] = -1; /* what no photo supports has no value */
    }
    double finest = finest_px_per_mm(record, job->pins.pin[p].role);
    const ps_pin_evidence *e = &job->pins.pin[p].evidence;
    out->coarse = finest < fine_px_per_mm;
    out->bush_faint = e->read && e->bush_clear < bush_clear_good && finest < bush_fine_px_per_mm;
    out->found = true;
}

static double height_of(const ps_job *job, int rim) {
    ps_circle3 circle;
    double height = NAN;
    if (rim >= 0) ps_adjust_circle(job->solution, rim, &circle, &height);
    return height;
}

static double radius_of(const ps_job *job, int rim) {
    ps_circle3 circle = {{0}, {0}, NAN};
    double height;
    if (rim >= 0) ps_adjust_circle(job->solution, rim, &circle, &height);
    return circle.radius_mm;
}

/* The two edges of a chamfer differ in height about as much as in radius. Two edges of one height are a groove and a face's
 * edge, and the outer edge was not told from the inner. */
static bool chamfer_odd(const ps_job *job, int inner, int outer) {
    if (inner < 0 || outer < 0) return true;
    double across = radius_of(job, outer) - radius_of(job, inner), down = height_of(job, inner) - height_of(job, outer);
    return !(across > 0.1 && down > 0.45 * across && down < 3 * across);
}

static void doubt_chamfers(const ps_job *job, ps_gauge_pin *g) {
    if (chamfer_odd(job, g->rim[PS_EDGE_PIN_FACE], g->rim[PS_EDGE_PIN]))
        ps_notes_add(&g->doubts, PS_CODE_PIN_CHAMFER, "The two edges of the pin's chamfer could not be told apart with certainty.");
    if (chamfer_odd(job, g->rim[PS_EDGE_BUSH_FACE], g->rim[PS_EDGE_BUSH]))
        ps_notes_add(&g->bush_doubts, PS_CODE_BUSH_HIDDEN, "The two edges of the bush's chamfer could not be told apart with certainty.");
}

/* What the section said of itself (docs/verdicts.md). */
static void doubt_reading(const ps_pin_evidence *e, int photos, ps_gauge_pin *g) {
    double pin_least = photos < 3 ? lead_of_two : lead_least, bush_least = photos < 3 ? lead_of_two : bush_lead_least;
    if (g->rim[PS_EDGE_CAP] >= 0)
        ps_notes_add(&g->bush_doubts, PS_CODE_PIN_CAP, "A cap hides part of the bush; what shows of an edge may be another part's.");
    if (!e->read) return;
    /* A pin's wall that is seen from its end's edge down to the bush is no cap's: then the bush need not lead by so much. */
    bool walled = e->wall_sides >= wall_sides_least && e->wall >= wall_sure;
    g->sure = e->junction && e->pin_lead >= lead_alone && (walled || e->bush_lead >= lead_alone) && e->worth >= worth_sure && !e->taper &&
              fmin(e->pin_clear, e->bush_clear) >= clear_sure;
    g->bush_sure = g->sure && e->bush_lead >= lead_alone;
    g->unread = e->worth < PS_RIM_WORTH_LEAST;
    if (g->unread)
        ps_notes_add(&g->doubts, PS_CODE_PIN_HIDDEN,
                     "The edges at this pin are too faint, or too many are hidden, to be told apart with certainty.");
    /* An axis a millimetre off still finds a circle on each of some edges' sides: few of them, and no bush with both its edges. */
    bool lone = g->rim[PS_EDGE_BUSH] < 0 || g->rim[PS_EDGE_BUSH_FACE] < 0;
    /* ... and of a pin sunk in its bush that one's edges may be taken for the pin's, with a weld half round for the bush's. */
    bool broken = fmax(g->arc_mean[PS_EDGE_BUSH], g->arc_mean[PS_EDGE_BUSH_FACE]) < PS_GAUGE_ARC_MEAN_LEAST,
         held = !lone && !broken && !e->taper;
    g->unread |= e->worth < few_worth && !held;
    if (e->worth < few_worth && !held)
        ps_notes_add(&g->doubts, PS_CODE_PIN_HIDDEN,
                     "Few circles speak for what was taken for this pin's end, and nothing else holds them.");
    if (e->pin_clear < clear_least)
        ps_notes_add(&g->doubts, PS_CODE_PIN_CHAMFER, "The circle taken for the pin's edge is faint; it may be another edge near it.");
    if (e->junction && e->over_bore_mm < over_bore_least_mm)
        ps_notes_add(&g->doubts, PS_CODE_PIN_CHAMFER, "The bore's edge lies beside the pin's, and the photos can mix them.");
    if (e->bush_clear < bush_clear_least || e->worth < few_worth)
        ps_notes_add(&g->bush_doubts, PS_CODE_BUSH_HIDDEN,
                     "The circle taken for the bush's edge is faint, or few others speak for it; it may be another edge near it.");
    g->mixed_mm = e->pin_mixed_mm, g->bush_mixed_mm = e->bush_mixed_mm;
    g->bore_near = e->junction ? e->over_bore_mm < over_bore_least_mm : e->pin_lead < lead_alone;
    bool bore_seen = e->junction && e->junction_clear >= clear_least; /* a faint circle there is texture as well */
    if (e->pin_lead < (bore_seen ? pin_least : lead_alone)) {
        static const char another[] = "Another circle at this pin explains the photos nearly as well as the one taken for its edge.";
        ps_notes_add(&g->doubts, PS_CODE_PIN_CHAMFER, "%s", another);
        ps_notes_add(&g->end_doubts, PS_CODE_PIN_CHAMFER, "%s", another); /* then its face is another's, too */
        g->rival_mm = 2 * e->pin_rival_mm, g->proud_rival_mm = e->proud_rival_mm;
    }
    if (e->wall_sides >= wall_sides_least && e->wall < wall_least)
        ps_notes_add(
            &g->doubts, PS_CODE_PIN_TAPER,
            "Beside the bush the pin's outline does not lie where the edge of its end would put it: the end may be tapered, or the "
            "edge another part's.");
    if (e->beside_pin > stray_most)
        ps_notes_add(&g->doubts, PS_CODE_PIN_COLLAR,
                     "An edge stands around the pin that is neither its own nor the bush's: a ring, collar or dirt.");
    if (e->over_face > stray_most)
        ps_notes_add(&g->doubts, PS_CODE_PIN_CAP, "An edge stands in front of what was taken for the pin's end.");
    if (e->bush_lead < bush_least || e->beyond_bush > stray_most)
        ps_notes_add(&g->bush_doubts, PS_CODE_BUSH_HIDDEN,
                     "Another circle explains the photos nearly as well as the one taken for the bush's edge.");
    if (e->bush_lead < bush_least) g->bush_rival_mm = 2 * e->bush_rival_mm, g->proud_rival_mm = e->proud_rival_mm;
    if (e->bush_lead < bush_lead_bears || e->beyond_bush > stray_most)
        ps_notes_add(&g->doubts, PS_CODE_BUSH_HIDDEN,
                     "What was taken for the bush's edge may be another part's, and that would bear on the pin too.");
}

/* Where the chamfer runs down into the bore, the bore's own bevel is beside the pin's edge and the photos mix them. */
static void doubt_recess(const ps_job *job, const ps_pin_evidence *e, ps_gauge_pin *g) {
    int bush = g->rim[PS_EDGE_BUSH_FACE] >= 0 ? g->rim[PS_EDGE_BUSH_FACE] : g->rim[PS_EDGE_BUSH];
    if (g->rim[PS_EDGE_PIN] < 0 || bush < 0) return;
    double bush_mm = height_of(job, bush);
    if (e->pin_lead < lead_alone && height_of(job, g->rim[PS_EDGE_PIN]) - bush_mm < stands_free_mm)
        ps_notes_add(&g->doubts, PS_CODE_PIN_CHAMFER,
                     "The pin's full diameter begins at or behind the bush's face, where the bore's edge lies beside it.");
    /* Then the bevel's inner edge may be what was taken for the end, which lies deeper. */
    int end = g->rim[PS_EDGE_PIN_FACE] >= 0 ? g->rim[PS_EDGE_PIN_FACE] : g->rim[PS_EDGE_PIN];
    g->sunk = ps_notes_have(&g->doubts, PS_CODE_PIN_CHAMFER) && height_of(job, end) - bush_mm < stands_free_mm;
    if (g->sunk)
        ps_notes_add(&g->end_doubts, PS_CODE_PIN_CHAMFER,
                     "The pin's end lies at or behind the bush's face, and the bevel of the bore may be taken for it.");
}

/* Two clear circles on an end that stands out no farther than a bush does of a boss: it may be a bush's, and the pin in it. */
static void doubt_ring(const ps_job *job, const ps_pin_evidence *e, ps_gauge_pin *g) {
    int bush = g->rim[PS_EDGE_BUSH_FACE] >= 0 ? g->rim[PS_EDGE_BUSH_FACE] : g->rim[PS_EDGE_BUSH];
    if (!(e->ring_mm > 0) || g->rim[PS_EDGE_PIN] < 0 || bush < 0) return;
    if (height_of(job, g->rim[PS_EDGE_PIN]) - height_of(job, bush) > PS_RIM_BUSH_STANDS_MOST_MM) return;
    static const char ring[] = "Two circles on this end lie as those of a pin in its bore: what was taken for the pin may be its bush.";
    ps_notes_add(&g->doubts, PS_CODE_PIN_CHAMFER, "%s", ring);
    ps_notes_add(&g->end_doubts, PS_CODE_PIN_CHAMFER, "%s", ring);
    ps_notes_add(&g->bush_doubts, PS_CODE_BUSH_HIDDEN, "What was taken for the pin may be its bush.");
    g->rival_mm = fmax(g->rival_mm, 2 * e->ring_mm), g->bush_rival_mm = fmax(g->bush_rival_mm, 2 * e->ring_mm);
}

/* Without a flat face an end may be domed: with an edge where the dome begins, which is the pin's, or rounded, and then what is seen is
 * its outline and no edge at all. An end that does not stand free of the bush shows one edge anyway. */
static void doubt_flat_end(const ps_job *job, const ps_pin_evidence *e, ps_gauge_pin *g) {
    int bush = g->rim[PS_EDGE_BUSH_FACE] >= 0 ? g->rim[PS_EDGE_BUSH_FACE] : g->rim[PS_EDGE_BUSH];
    bool lone = g->rim[PS_EDGE_PIN_FACE] < 0;
    if (!e->read || g->rim[PS_EDGE_PIN] < 0 || e->domed < -domed_most) return; /* what is turned into it lies in one plane: flat */
    if (lone && bush >= 0 && height_of(job, g->rim[PS_EDGE_PIN]) - height_of(job, bush) < shows_edges_mm) return;
    g->crease = lone && g->arc_mean[PS_EDGE_PIN] >= all_round_least && e->domed <= domed_most;
    if (e->domed > domed_most)
        ps_notes_add(&g->doubts, PS_CODE_PIN_DOME,
                     "What is turned into the pin's end lies the higher the nearer it is to its middle: the end is domed.");
    else if (lone)
        ps_notes_add(&g->doubts, PS_CODE_PIN_DOME,
                     "No flat end face was found inside the pin's edge: the end may be domed, or the chamfer's inner edge does not show.");
    else if (e->face_clear < clear_least) { /* a rounded end's outline, half round, with a faint circle inside it, may be no chamfer */
        bool round = g->arc_mean[PS_EDGE_PIN] >= all_round_least;
        ps_notes_add(round ? &g->end_doubts : &g->doubts, PS_CODE_PIN_DOME,
                     "The edge taken for that of the pin's flat end is faint; a domed end stands out further than any edge on it.");
        if (round)
            ps_notes_add(&g->doubts, PS_CODE_PIN_CHAMFER,
                         "One edge shows where a chamfer has two: it may be the inner one, or both of a small chamfer mixed.");
    }
}

/* Edges that two photos show in two places, or that stay so whatever is left out. */
static void doubt_split(const ps_job *job, ps_gauge_pin *g) {
    for (int e = 0; e < PS_EDGE_COUNT; e++) {
        int photo, photos;
        if (g->rim[e] < 0 || !(ps_job_edge_odds(job, g->rim[e], &photo, &photos) < PS_JOB_EDGE_ODDS_DOUBT)) continue;
        bool own = e == PS_EDGE_PIN || e == PS_EDGE_PIN_FACE;
        *(own ? &g->split : &g->bush_split) = true;
        ps_notes_add(own ? &g->doubts : &g->bush_doubts, PS_CODE_FIT_BAD,
                     "The photos do not show the %s where one circle would lie: in some another edge was taken for it.",
                     own ? "edge of the pin's end" : "bush's edge");
    }
}

static void record_pin(const ps_job *job, int p, const ps_gauge_pin *g, struct ps_record_pin *to) {
    to->role = job->pins.pin[p].role;
    ps_adjust_axis(job->solution, p, to->axis_point_mm, to->axis_direction);
    to->face_height_mm = height_of(job, g->rim[PS_EDGE_PIN_FACE] >= 0 ? g->rim[PS_EDGE_PIN_FACE] : g->rim[PS_EDGE_PIN]);
    to->bush_height_mm = height_of(job, g->rim[PS_EDGE_BUSH_FACE] >= 0 ? g->rim[PS_EDGE_BUSH_FACE] : g->rim[PS_EDGE_BUSH]);
    to->pin_radius_mm = radius_of(job, g->rim[PS_EDGE_PIN]);
    to->bush_radius_mm = radius_of(job, g->rim[PS_EDGE_BUSH]);
}

/* Largest angle between the directions from which the used photos see the held piece. */
static double direction_spread_deg(const ps_job *job) {
    double direction[PS_ADJUST_PHOTOS_MAX][3], most = 0;
    const ps_piece *piece = ps_kit_piece(job->piece[job->problem.held_piece].piece);
    const double middle[3] = {0.5 * piece->columns * piece->square_mm, 0.5 * piece->rows * piece->square_mm, 0};
    for (int k = 0; k < job->problem.photo_count; k++) {
        ps_view view;
        ps_pose back;
        ps_adjust_view(job->solution, k, &view);
        ps_pose_invert(&view.pose, &back);
        for (int i = 0; i < 3; i++) direction[k][i] = back.t[i] - middle[i];
        ps_unit3(direction[k]);
    }
    for (int a = 0; a < job->problem.photo_count; a++)
        for (int b = a + 1; b < job->problem.photo_count; b++)
            most = fmax(most, acos(fmax(-1, fmin(1, ps_dot3(direction[a], direction[b])))));
    return most * 180 / PS_PI;
}

/* Two photos can agree on a wrong circle, and what else was read of the pin is all that speaks against it: its bush. */
static void doubt_two_photos(const ps_job *job, ps_gauge_pin *g) {
    if (job->problem.photo_count == 2 && g->bush_doubts.count > 0)
        ps_notes_add(&g->doubts, PS_CODE_PIN_CHAMFER, "Two photos show this pin, and its bush does not bear out which edge is its own.");
}

static void record_times(const ps_job *job, ps_record *record) {
    record->times.section_s = job->section_s;
    record->times.adjust_s = job->adjust_s;
    for (int i = 0; i < job->count; i++) {
        record->times.read_s += job->photo[i].seconds[0];
        record->times.sight_s += job->photo[i].seconds[1];
        record->times.propose_s += job->photo[i].seconds[2];
        record->times.trace_s += job->photo[i].seconds[3];
    }
}

static bool print_recorded(const ps_record *record, int kit) {
    for (int i = 0; i < record->print_count; i++)
        if (record->print[i].piece == kit) return true;
    return false;
}

/* Of each sheet once: one that was moved to the cross plate stands in both adjustments, the end-on photos' first. */
static void record_prints(const ps_adjust_solution *s, ps_record *record) {
    const ps_adjust_problem *p = &s->model.problem;
    for (int k = 0; k < p->piece_count && record->print_count < PS_PIECES_MAX; k++) {
        if (print_recorded(record, p->piece[k].piece)) continue;
        struct ps_record_print *print = &record->print[record->print_count++];
        print->piece = p->piece[k].piece;
        print->read_across = !p->piece[k].print.across.guessed;
        print->read_along = !p->piece[k].print.along.guessed;
        ps_adjust_piece_scale(s, k, &print->across, &print->along);
    }
}

static bool both_read(const ps_pin_models *m) {
    for (int p = 0; p < m->count; p++)
        if (!m->pin[p].evidence.read || m->pin[p].evidence.worth < few_worth) return false;
    return true;
}

static void record_solution(const ps_job *job, ps_record *record, ps_gauge_input *input) {
    record->fitted = true;
    ps_adjust_fit(job->solution, &record->chi2, &record->dof);
    ps_adjust_scale_solved(job->solution, &record->scale_across, &record->scale_along);
    record_prints(job->solution, record);
    input->photos_used = job->problem.photo_count;
    input->direction_spread_deg = direction_spread_deg(job);
    ps_gauge_prints(job->solution, input);
    for (int k = 0; k < job->problem.group_count; k++) input->lens_known = input->lens_known || job->group_source[k] != PS_CAMERA_FREE;
    if (job->problem.rim_count == 0) return;
    for (int p = 0; p < job->pins.count; p++) {
        gauge_pin(job, record, p, &input->pin[job->pins.pin[p].role]);
        doubt_chamfers(job, &input->pin[job->pins.pin[p].role]);
        doubt_reading(&job->pins.pin[p].evidence, job->problem.photo_count, &input->pin[job->pins.pin[p].role]);
        doubt_split(job, &input->pin[job->pins.pin[p].role]);
        doubt_recess(job, &job->pins.pin[p].evidence, &input->pin[job->pins.pin[p].role]);
        doubt_ring(job, &job->pins.pin[p].evidence, &input->pin[job->pins.pin[p].role]);
        doubt_flat_end(job, &job->pins.pin[p].evidence, &input->pin[job->pins.pin[p].role]);
        doubt_two_photos(job, &input->pin[job->pins.pin[p].role]);
        record_pin(job, p, &input->pin[job->pins.pin[p].role], &record->pin[record->pin_count++]);
    }
    input->roles_unsure = job->pins.roles_unsure || job->options->roles_unsure;
    if (!both_read(&job->pins)) input->centres_rival_mm = job->pins.rival_mm;
}

/* The photos that look into the gap, judged on their own. */
static void gap_input(const ps_job *gap, ps_record *record, ps_gauge_input *input) {
    *input = (ps_gauge_input){.options = gap->options, .solution = gap->solution, .photos_used = gap->problem.photo_count};
    input->direction_spread_deg = direction_spread_deg(gap);
    ps_gauge_prints_read(gap->piece, gap->problem.piece_count, &input->print_checked_across, &input->print_checked_along);
    input->roles_unsure = gap->pins.roles_unsure || gap->options->roles_unsure;
    ps_gauge_prints(gap->solution, input);
    for (int k = 0; k < gap->problem.group_count; k++) input->lens_known = input->lens_known || gap->group_source[k] != PS_CAMERA_FREE;
    ps_job_gap_faces(gap, record, input->gap);
    record_prints(gap->solution, record);
    if (record->fitted) return;
    record->fitted = true;
    ps_adjust_fit(gap->solution, &record->chi2, &record->dof);
    ps_adjust_scale_solved(gap->solution, &record->scale_across, &record->scale_along);
}

ps_code ps_job_left_out_for(const ps_job *job, int photo) {
    const ps_job_photo *p = &job->photo[photo];
    if (p->out) return p->out_code;
    bool apart = p->photo.luma.px && p->sightings.count > 0 && !p->copy && !p->elsewhere && p->adjust_index < 0;
    return apart ? PS_CODE_OTHER_SCENE : PS_CODE_COUNT;
}

/* What is no good names what took photos away from it, too. */
static void say_left_out(const ps_job *job, ps_record *record) {
    for (int i = 0; i < job->count; i++) {
        ps_code code = ps_job_left_out_for(job, i);
        for (int k = 0; k < record->dimension_count && ps_gauge_names_a_cause(code); k++) {
            ps_dimension *d = &record->dimension[k];
            if (d->verdict != PS_VERDICT_GOOD && d->kind != PS_KIND_GAP)
                ps_notes_add(&d->reasons, code, "A photo that contradicts the others was left out, so that fewer carry this value.");
        }
    }
}

ps_status ps_job_record(ps_context *ctx, const ps_job *job, ps_record *record) {
    memset(record, 0, sizeof *record);
    record->side = job->options->side;
    record->photo = calloc((size_t)job->count, sizeof *record->photo);
    if (!record->photo) return ps_context_fail(ctx, PS_NO_MEMORY, "no memory for the record");
    record->photo_count = job->count;
    for (int i = 0; i < job->count; i++) {
        ps_status status = record_photo(ctx, ps_job_of(job, i), i, &record->photo[i]);
        if (status != PS_OK) return status;
    }
    ps_gauge_input input = {0};
    input.options = job->options;
    input.doubts = job->doubts;
    if (job->pins.count < PS_ROLE_COUNT || job->problem.rim_count == 0) ps_notes_copy(&job->early, &input.doubts);
    input.solution = job->problem.rim_count > 0 ? job->solution : NULL;
    ps_gauge_prints_read(job->piece, job->problem.piece_count, &input.print_checked_across, &input.print_checked_along);
    for (int r = 0; r < PS_ROLE_COUNT; r++)
        for (int e = 0; e < PS_EDGE_COUNT; e++) input.pin[r].rim[e] = -1;
    if (job->solution) record_solution(job, record, &input);
    ps_gauge_input gap;
    if (job->gap) gap_input(job->gap, record, &gap);
    if (job->gap) input.gap_job = &gap;
    input.boss_one_side = job->boss_one_side && !job->gap;
    record_times(job, record);
    ps_status status = ps_gauge_dimensions(ctx, &input, record);
    if (status == PS_OK) say_left_out(job, record);
    return status;
}
