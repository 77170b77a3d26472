/* predict.h: what a solved adjustment would know if one more photo, one more printed piece or a better reading of the print were
 * added to it. Nothing is measured again: the same model's information is added to the solution's. docs/verdicts.md, 'Advice'. */
#ifndef PINSPAN_PREDICT_H
#define PINSPAN_PREDICT_H

#include "pinspan/adjust.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { PS_PLAN_PHOTOS_MAX = 2 };

/* What is added; all 0: nothing. */
typedef struct ps_adjust_plan {
    int photo_count;
    ps_adjust_photo photo[PS_PLAN_PHOTOS_MAX]; /* world to camera in `start`; group: one of the solution's */
    bool piece_added;                 /* a further printed piece, seen in every photo, the solution's own too: they are taken anew */
    ps_adjust_piece piece;            /* piece to world in `start` */
    bool print_read;                  /* both check lines read again; a direction that is known better already stays as it is */
    double sigma_across, sigma_along; /* relative; what the readings of several pieces have in common, or of one piece the whole */
    double sigma_own_across, sigma_own_along; /* what each piece's has by itself, where it has a scale of its own */
} ps_adjust_plan;

typedef struct ps_predictor ps_predictor; /* opaque */

/* Takes the solution's information apart, once. Borrows the solution. PS_NOT_FOUND, without a message, where it has no rims or so
 * many unknowns that predictions would take longer than they are worth (over 250: some ten photos with all their rims). */
PS_API ps_status ps_predict_new(ps_context *ctx, const ps_adjust_solution *s, ps_predictor **predictor);
/* What the predictions start from: the solution, or where that leaves heights open one of the same observations with heights near
 * the sheet. The predictor's; the same unknowns. */
PS_API const ps_adjust_solution *ps_predict_solution(const ps_predictor *predictor);
PS_API void ps_predict_free(ps_predictor *predictor);

/* A photo of the solution's camera group with that pose (stored frame): how it would look. */
PS_API void ps_predict_view(const ps_predictor *p, const ps_adjust_photo *photo, ps_view *view);

/* Values (as solved) and uncertainties of the asked quantities with the plan carried out: the new photos show what the solution's
 * photos show more often than not, with corners and edge points as good as theirs and with unknowns and priors of their own.
 * out[asks]. PS_NOT_FOUND, without a message, when a photo of the plan would not show a printed piece. */
PS_API ps_status ps_predict_plan(ps_context *ctx, const ps_predictor *p, const ps_adjust_plan *plan, const ps_ask *ask, int asks,
                                 ps_quantity *out);

#ifdef __cplusplus
}
#endif
#endif
