/* What is wrong with a photo. Thresholds: docs/verdicts.md. */
#include "gauge/quality.h"
#include "base/linear.h"
#include "gauge/sentences.h"

#include <math.h>

static const double square_least_px = 16;  /* a saddle's window then reaches 4 px: src/target */
static const double oblique_most_deg = 60; /* a circle's minor axis is then half its major */
static const double blur_most_px = 3.0;    /* at 4032 px on the longer side */
static const double long_side_px = 4032;
static const double shake_ratio = 0.75; /* the short way of a blur over its long way: less is a shake */
static const double white_most = 250, white_least = 60, contrast_least = 40;

static double blur_limit(const ps_luma *luma) {
    double side = luma->width > luma->height ? luma->width : luma->height;
    return fmax(1.2, blur_most_px * side / long_side_px); /* 1.2 px: what a shrunk, sharp photo may have at its sharpening */
}

/* Middle of the piece seen along the camera's ray, against the world's z. NaN when the view does not reach it. */
static double view_angle_deg(const ps_sighting *s, const ps_view *view) {
    const ps_piece *piece = ps_kit_piece(s->piece);
    double px[2], origin[3], direction[3];
    if (!piece) return NAN;
    const double middle[2] = {0.5 * piece->columns * piece->square_mm, 0.5 * piece->rows * piece->square_mm};
    if (!ps_homography_apply(s->homography, middle, px) || !ps_view_ray(view, px, origin, direction)) return NAN;
    return acos(fmin(1, fabs(direction[2]))) * 180 / PS_PI;
}

static void judge_piece(const ps_sighting *s, ps_notes *problems) {
    const ps_piece *piece = ps_kit_piece(s->piece);
    if (piece && s->corner_count < PS_GAUGE_CORNERS_LEAST * piece->corner_count)
        ps_notes_add(problems, PS_CODE_PIECE_HIDDEN, "Only %d of the %d inner corners of %s can be seen: keep the whole sheet clear.",
                     s->corner_count, piece->corner_count, piece->name);
    if (s->white > white_most)
        ps_notes_add(problems, PS_CODE_EXPOSURE, "The paper is too bright in this photo: no flash, no sun on the sheet, or shade it.");
    else if (s->white < white_least || s->white - s->black < contrast_least)
        ps_notes_add(problems, PS_CODE_EXPOSURE, "The sheet is too dark or too pale in this photo: find more and more even light.");
}

/* Of several pieces the largest holds the scale. */
static void judge_size(const ps_sightings *s, ps_notes *problems) {
    double most = 0;
    for (int i = 0; i < s->count; i++) most = fmax(most, s->piece[i].square_px);
    if (s->count > 0 && most < square_least_px)
        ps_notes_add(
            problems, PS_CODE_PIECE_SMALL,
            "The sheet is small in this photo (a square is %.0f pixels wide): go nearer, so that pins and sheet fill the picture, or "
            "use a larger sheet.",
            most);
}

/* ---- sharpness ---- */

ps_blur ps_gauge_photo_blur(const ps_luma *luma, const ps_sightings *s) {
    const ps_sighting *largest = NULL;
    ps_blur blur = {.edges = 0};
    for (int i = 0; i < s->count; i++)
        if (!largest || s->piece[i].square_px > largest->square_px) largest = &s->piece[i];
    if (!largest)
        (void)ps_photo_blur(luma, &blur);
    else if (largest->blur.edges > 0)
        blur = largest->blur;
    else
        blur = (ps_blur){.edges = 1, .major_px = largest->blur_px, .minor_px = largest->blur_px};
    return blur;
}

void ps_gauge_judge_blur(const ps_luma *luma, const ps_blur *blur, bool at_sheet, ps_notes *problems) {
    double limit = blur_limit(luma);
    const char *where = at_sheet ? " at the sheet" : "";
    if (!(blur->edges > 0) || !(blur->major_px > limit)) return;
    bool shaken = blur->minor_px < shake_ratio * blur->major_px;
    /* A straight, even shake of length d has the spread d / sqrt(12). */
    double path = sqrt(12 * fmax(blur->major_px * blur->major_px - blur->minor_px * blur->minor_px, 0));
    if (shaken)
        ps_notes_add(problems, PS_CODE_MOTION_BLUR,
                     "The photo is shaken%s (smeared over about %.0f pixels): hold the phone with both hands, and find more light.", where,
                     path);
    if (!shaken || blur->minor_px > limit)
        ps_notes_add(
            problems, PS_CODE_DEFOCUS,
            "The photo is not sharp%s (blur about %.1f pixels): wipe the lens, touch the sheet on the screen to focus, and hold still.",
            where, shaken ? blur->minor_px : blur->major_px);
}

/* ---- the pins ---- */

enum { PLACES = 72, RINGS = 14 };
static const double cut_share = 0.04; /* three places of 72 outside: more than a rim that only touches the border */
/* A doubt where more than this is outside: the edge is then no worse seen than one that dirt hides as far (docs/verdicts.md). */
static const double cut_doubt_share = 0.35;
static const double ring_first = 0.3, ring_last = 1.08; /* of the edge's radius: its end face, chamfer, and what lies just outside */
/* Of those places: white steel up to its edge hides the step from face to chamfer, and then another edge is taken. */
static const double clipped_share = 0.25;
static const int white_level = 254, black_level = 1;

static bool place_on(const ps_view *view, const ps_circle3 *edge, const ps_luma *luma, double scale, int k, double px[2]) {
    ps_circle3 ring = *edge;
    double X[3];
    ring.radius_mm *= scale;
    ps_circle3_point(&ring, k * 2 * PS_PI / PLACES, X);
    return ps_view_project(view, X, px) && px[0] >= 0 && px[1] >= 0 && px[0] <= luma->width - 1 && px[1] <= luma->height - 1;
}

static int places_outside(const ps_luma *luma, const ps_view *view, const ps_circle3 *edge) {
    int outside = 0;
    double px[2];
    for (int k = 0; k < PLACES; k++) outside += !place_on(view, edge, luma, 1, k, px);
    return outside;
}

bool ps_gauge_cut_off(const ps_luma *luma, const ps_view *view, const ps_circle3 *edge) {
    return places_outside(luma, view, edge) > cut_doubt_share * PLACES;
}

void ps_gauge_pin_problems(const ps_luma *luma, const ps_view *view, const ps_circle3 *edge, ps_role role, bool seen, bool *cut,
                           bool *clipped, ps_notes *problems) {
    int outside = places_outside(luma, view, edge), read = 0, white = 0, black = 0;
    for (int k = 0; k < PLACES; k++) {
        double px[2];
        for (int ring = 0; ring < RINGS; ring++) {
            if (!place_on(view, edge, luma, ring_first + (ring_last - ring_first) * ring / (RINGS - 1), k, px)) continue;
            int level = luma->px[(size_t)lround(px[1]) * luma->stride + (size_t)lround(px[0])];
            read++;
            white += level >= white_level;
            black += level <= black_level;
        }
    }
    const char *word = ps_role_word(role);
    *cut = outside > cut_doubt_share * PLACES;
    *clipped = read > 0 && white + black > clipped_share * read;
    if (outside > cut_share * PLACES)
        ps_notes_add(problems, PS_CODE_PIN_CUT_OFF,
                     "The %s pin's end is cut off at the picture's edge: have both pin ends and the sheet wholly in the picture.", word);
    else if (*clipped)
        ps_notes_add(
            problems, PS_CODE_EXPOSURE,
            "The %s pin's end is too %s in this photo for its edge to show: take it in even light, without flash or hard sun on it.", word,
            white > black ? "bright" : "dark");
    else if (!seen)
        ps_notes_add(problems, PS_CODE_PIN_HIDDEN,
                     "The %s pin's edge does not show clearly in this photo: wipe the pin end dry, and let nothing cover or shade it.",
                     word);
}

void ps_gauge_photo_problems(const ps_luma *luma, const ps_sightings *s, const ps_view *view, bool aside, ps_notes *problems) {
    if (s->count == 0 && s->hidden_count == 0) ps_gauge_say(problems, PS_SUBJECT_PHOTO, PS_CODE_NO_PIECE);
    judge_size(s, problems);
    ps_blur blur = ps_gauge_photo_blur(luma, s);
    ps_gauge_judge_blur(luma, &blur, s->count > 0, problems);
    for (int i = 0; i < s->count; i++) judge_piece(&s->piece[i], problems);
    if (s->hidden_count > 0) ps_gauge_say(problems, PS_SUBJECT_PHOTO, PS_CODE_PIECE_HIDDEN);
    if (!view || s->count == 0 || aside) return;
    double angle = view_angle_deg(&s->piece[0], view);
    if (angle > oblique_most_deg)
        ps_notes_add(problems, PS_CODE_OBLIQUE,
                     "The photo is taken from %.0f degrees to the side of straight ahead: stay within about 30 degrees.", angle);
}
