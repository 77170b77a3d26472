/* Tags of a piece must agree on where the piece is: consensus over single-tag and pair homographies. */
#include <math.h>
#include <string.h>

#include "target/hunt.h"

/* How far a tag's centre may lie from where the others put it, in squares: bend, lens and the poor reach of one tag's own
 * homography allowed for; a tag in the wrong square is off by 1.4 or more. */
static const double AGREE_SEED = 0.5, AGREE = 0.3;

static void tag_points(const ps_piece *piece, int place, double mm[4][2]) {
    double centre[2], half = 0.5 * piece->tag_side_mm;
    ps_piece_tag_centre(piece, place, centre);
    for (int i = 0; i < 4; i++) {
        mm[i][0] = centre[0] + (i == 1 || i == 2 ? half : -half);
        mm[i][1] = centre[1] + (i >= 2 ? half : -half);
    }
}

static double square_in_photo(const ps_piece *piece, const ps_tag_seen *t) {
    double area = 0.0;
    for (int i = 0; i < 4; i++) {
        int j = (i + 1) % 4;
        area += 0.5 * (t->corner_px[i][0] * t->corner_px[j][1] - t->corner_px[j][0] * t->corner_px[i][1]);
    }
    return sqrt(fabs(area)) * piece->square_mm / piece->tag_side_mm;
}

static bool fit(const ps_hunt *h, const bool *in, double H[9]) {
    double mm[4 * PS_HUNT_TAGS_MAX][2], px[4 * PS_HUNT_TAGS_MAX][2];
    int n = 0;
    for (int t = 0; t < h->tag_count; t++) {
        if (!in[t]) continue;
        tag_points(h->piece, h->tag_place[t], &mm[n]);
        memcpy(&px[n], h->tag[t]->corner_px, sizeof h->tag[t]->corner_px);
        n += 4;
    }
    return n >= 4 && ps_homography_fit((const double(*)[2])mm, (const double(*)[2])px, n, H);
}

/* Marks the tags within `tolerance` squares of H; returns their number. A tag seen twice counts once, the nearer. */
static int vote(const ps_hunt *h, const double H[9], double tolerance, bool *in) {
    int votes = 0;
    double miss[PS_HUNT_TAGS_MAX];
    for (int t = 0; t < h->tag_count; t++) {
        double mm[2], px[2];
        ps_piece_tag_centre(h->piece, h->tag_place[t], mm);
        miss[t] = INFINITY;
        if (ps_homography_apply(H, mm, px))
            miss[t] = hypot(px[0] - h->tag[t]->centre_px[0], px[1] - h->tag[t]->centre_px[1]) / square_in_photo(h->piece, h->tag[t]);
        in[t] = miss[t] <= tolerance;
    }
    for (int t = 0; t < h->tag_count; t++) {
        for (int o = 0; o < h->tag_count && in[t]; o++)
            if (o != t && in[o] && h->tag_place[o] == h->tag_place[t] && (miss[o] < miss[t] || (miss[o] == miss[t] && o < t)))
                in[t] = false;
        votes += in[t];
    }
    return votes;
}

/* Best of all single tags and neighbouring pairs, then grown with a fit to all that agree. */
static int consensus(const ps_hunt *h, bool *best_in, double H[9]) {
    int best = 0;
    for (int a = 0; a < h->tag_count; a++)
        for (int b = a; b < h->tag_count; b++) {
            bool in[PS_HUNT_TAGS_MAX] = {false};
            double trial[9];
            in[a] = in[b] = true;
            if (a != b && h->tag_place[a] == h->tag_place[b]) continue;
            if (!fit(h, in, trial)) continue;
            int votes = vote(h, trial, AGREE_SEED, in);
            if (votes <= best || !fit(h, in, trial)) continue;
            votes = vote(h, trial, AGREE, in);
            if (votes <= best) continue;
            best = votes;
            memcpy(best_in, in, sizeof in);
            memcpy(H, trial, sizeof trial);
            if (best == h->tag_count) return best;
        }
    return best;
}

bool ps_hunt_tags(const ps_tags *tags, int piece, ps_hunt *hunt) {
    memset(hunt, 0, sizeof *hunt);
    hunt->piece = ps_kit_piece(piece);
    for (int i = 0; i < tags->count && hunt->tag_count < PS_HUNT_TAGS_MAX; i++) {
        int place;
        if (ps_kit_piece_of_tag(tags->tag[i].id, &place) != piece) continue;
        hunt->tag[hunt->tag_count] = &tags->tag[i];
        hunt->tag_place[hunt->tag_count++] = place;
    }
    bool in[PS_HUNT_TAGS_MAX] = {false};
    if (!hunt->tag_count || !consensus(hunt, in, hunt->homography)) return false;
    int kept = 0;
    for (int t = 0; t < hunt->tag_count; t++) {
        double mm[4][2];
        if (!in[t]) continue;
        tag_points(hunt->piece, hunt->tag_place[t], mm);
        if (!ps_homography_fit((const double(*)[2])mm, (const double(*)[2])hunt->tag[t]->corner_px, 4, hunt->tag_homography[kept]))
            continue;
        hunt->tag[kept] = hunt->tag[t];
        hunt->tag_place[kept++] = hunt->tag_place[t];
    }
    hunt->tag_count = kept;
    return kept > 0;
}
