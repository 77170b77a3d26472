/* hunt.h: one piece in one photo, from its tags to its corners. */
#ifndef PINSPAN_TARGET_HUNT_H
#define PINSPAN_TARGET_HUNT_H

#include "pinspan/target.h"
#include "target/saddle.h"
#include "target/tags.h"

enum { PS_HUNT_TAGS_MAX = 64 };

typedef struct ps_hunt {
    const ps_piece *piece;
    int width, height; /* of the photo */
    int tag_count;
    const ps_tag_seen *tag[PS_HUNT_TAGS_MAX];   /* those that agree with each other */
    int tag_place[PS_HUNT_TAGS_MAX];            /* n-th tag of the piece */
    double tag_homography[PS_HUNT_TAGS_MAX][9]; /* of each tag alone: good near it whatever the lens or bend */
    double homography[9];                       /* piece mm -> px, the best so far */
    double blur_px;                             /* typical, the best so far */
    bool found[PS_PIECE_CORNERS_MAX], rejected[PS_PIECE_CORNERS_MAX];
    ps_saddle corner[PS_PIECE_CORNERS_MAX];
} ps_hunt;

/* Chooses the piece's tags that agree on one place. False when none does. (hunt_tags.c) */
bool ps_hunt_tags(const ps_tags *tags, int piece, ps_hunt *hunt);
/* Finds its corners, rejects those that disagree. False when fewer than 4 remain or they lie on a line. (hunt.c) */
bool ps_hunt_corners(const ps_luma *luma, ps_hunt *hunt, ps_sighting *out);

#endif
