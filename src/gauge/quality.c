/* What is wrong with a photo. Thresholds: docs/verdicts.md. */
#include "gauge/quality.h"
#include "gauge/sentences.h"

#include <math.h>

static const double square_least_px = 16;  /* a saddle's window then reaches 4 px: src/target */
static const double oblique_most_deg = 60; /* a circle's minor axis is then half its major */
static const double blur_most_px = 3.0;    /* at 4032 px on the longer side */
static const double long_side_px = 4032;
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
    return acos(fmin(1, fabs(direction[2]))) * 180 / 3.14159265358979323846;
}

static void judge_piece(const ps_luma *luma, const ps_sighting *s, ps_notes *problems) {
    const ps_piece *piece = ps_kit_piece(s->piece);
    if (piece && s->corner_count < PS_GAUGE_CORNERS_LEAST * piece->corner_count)
        ps_notes_add(problems, PS_CODE_PIECE_HIDDEN, "Only %d of the %d inner corners of %s can be seen: keep the whole sheet clear.",
                     s->corner_count, piece->corner_count, piece->name);
    if (s->blur_px > blur_limit(luma))
        ps_notes_add(
            problems, PS_CODE_DEFOCUS,
            "The photo is not sharp at the sheet (blur about %.1f pixels): touch the sheet on the screen to focus, and hold still.",
            s->blur_px);
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

void ps_gauge_photo_problems(const ps_luma *luma, const ps_sightings *s, const ps_view *view, ps_notes *problems) {
    if (s->count == 0 && s->hidden_count == 0) ps_gauge_say(problems, PS_SUBJECT_PHOTO, PS_CODE_NO_PIECE);
    judge_size(s, problems);
    for (int i = 0; i < s->count; i++) judge_piece(luma, &s->piece[i], problems);
    if (s->hidden_count > 0) ps_gauge_say(problems, PS_SUBJECT_PHOTO, PS_CODE_PIECE_HIDDEN);
    if (!view || s->count == 0) return;
    double angle = view_angle_deg(&s->piece[0], view);
    if (angle > oblique_most_deg)
        ps_notes_add(problems, PS_CODE_OBLIQUE,
                     "The photo is taken from %.0f degrees to the side of straight ahead: stay within about 30 degrees.", angle);
}
