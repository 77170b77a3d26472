/* target.h: the printed kit, its PDF, and its sighting in a photo. */
#ifndef PINSPAN_TARGET_H
#define PINSPAN_TARGET_H

#include "pinspan/base.h"
#include "pinspan/camera.h"
#include "pinspan/photo.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { PS_PIECE_CORNERS_MAX = 35, PS_PIECES_MAX = 16 };

typedef struct ps_tag {
    int id;
    double centre_mm[2];
} ps_tag;

/* Frame: x right, y down, z into the paper, origin at the outer top-left corner of square (0,0). Square (column c,
 * row r) is black where c + r is even; each white square holds one tag, upright, centred. Corners are the inner
 * saddle points, row by row: index = row*(columns-1) + column, at ((column+1)*square, (row+1)*square). */
typedef struct ps_piece {
    const char *name;
    int columns, rows;
    double square_mm, tag_side_mm;
    int first_tag, tag_count, corner_count;
} ps_piece;

PS_API int ps_kit_count(void);
PS_API const ps_piece *ps_kit_piece(int piece); /* NULL when out of range */
PS_API int ps_kit_find(const char *name);       /* -1 when unknown */
PS_API void ps_piece_corner(const ps_piece *piece, int index, double mm[2]);
PS_API void ps_piece_tag_centre(const ps_piece *piece, int n, double mm[2]); /* n-th tag of the piece */
PS_API int ps_kit_piece_of_tag(int id, int *n);                              /* piece and place of a tag id; -1 when none */

/* The check lines on every page of the kit, by drawing: from the middle of one end tick to that of the other. */
#define PS_CHECK_ACROSS_MM 140.0
#define PS_CHECK_ALONG_MM  200.0

typedef enum ps_paper { PS_PAPER_A4 = 0, PS_PAPER_LETTER } ps_paper;
/* Writes the kit as a vector PDF at exact size. Errors: PS_IO (names the cause). Leaves no half-written file. */
PS_API ps_status ps_kit_write_pdf(ps_context *ctx, ps_paper paper, const char *path);

typedef struct ps_corner {
    int index;         /* into the piece's corners */
    double x_px, y_px; /* upright */
    double sigma_px;   /* per axis */
} ps_corner;

typedef struct ps_sighting {
    int piece;
    int corner_count, tag_count;
    ps_corner corner[PS_PIECE_CORNERS_MAX];
    double square_px;     /* mean side of a square in the photo */
    double blur_px;       /* edge blur (Gaussian sigma) seen at the saddles */
    ps_blur blur;         /* from the sides of its squares; edges 0 where too few could be read */
    double white, black;  /* median levels 0..255 of paper and ink, encoded luma */
    double rms_px;        /* corners against the best smooth homography-plus-lens model of this photo */
    double homography[9]; /* piece mm -> upright px, least squares, lens left in */
} ps_sighting;

typedef struct ps_sightings {
    int count;
    ps_sighting piece[PS_PIECES_MAX];
    int hidden_count; /* pieces whose tags were read but whose corners were too few or on a line: kit indices */
    int hidden[PS_PIECES_MAX];
} ps_sightings;

/* Finds the kit's pieces, in kit order. PS_NOT_FOUND when no piece was measurable: then `out` has count 0, and hidden[]
 * names those that were at least recognised. */
PS_API ps_status ps_target_sight(ps_context *ctx, const ps_luma *luma, ps_sightings *out);

/* How blurred the photo is at a piece, from the sides of its squares and its corners. False, with edges 0, where fewer than two
 * sides each way are to be read, or memory is short. (ps_target_sight fills the sighting's blur with it.) */
PS_API bool ps_target_blur(const ps_luma *luma, const ps_sighting *s, ps_blur *out);

#ifdef __cplusplus
}
#endif
#endif
