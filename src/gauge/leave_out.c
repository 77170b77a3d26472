/* What the contradictions found mean for a job: photos and sheets leave it. */
#include <string.h>

#include "gauge/contradictions.h"
#include "gauge/job.h"
#include "gauge/sentences.h"

/* Which pieces a photo that is kept still shows. */
static void kept_pieces(const ps_job *job, const ps_contradictions *found, bool piece[PS_ADJUST_PIECES_MAX]) {
    memset(piece, 0, PS_ADJUST_PIECES_MAX * sizeof *piece);
    for (int i = 0; i < job->problem.corner_count; i++) {
        const ps_adjust_corner *c = &job->corner[i];
        if (!found->photo_out[c->photo] && !found->sheet_out[c->photo][c->piece]) piece[c->piece] = true;
    }
}

static void mark(ps_job *job, const ps_contradictions *found) {
    int kept = 0;
    for (int k = 0; k < job->problem.photo_count; k++) {
        ps_job_photo *photo = &job->photo[job->photo_of[k]];
        if (found->photo_out[k]) photo->out = true, photo->out_code = found->photo_code[k];
        for (int q = 0; q < job->problem.piece_count; q++)
            if (found->sheet_out[k][q]) photo->odd = true, photo->odd_code = found->sheet_code[k];
    }
    for (int i = 0; i < job->problem.corner_count; i++)
        if (!found->sheet_out[job->corner[i].photo][job->corner[i].piece]) job->corner[kept++] = job->corner[i];
    job->problem.corner_count = kept;
}

ps_status ps_job_leave_out(ps_context *ctx, ps_job *job, ps_notes *doubts, bool *changed) {
    ps_contradictions found;
    bool photo[PS_ADJUST_PHOTOS_MAX], piece[PS_ADJUST_PIECES_MAX];
    *changed = false;
    if (job->problem.photo_count < 2) return PS_OK;
    job->problem.from = job->solution;
    ps_status status = ps_gauge_contradictions(ctx, &job->problem, &found);
    job->problem.from = NULL;
    if (status != PS_OK) return status;
    ps_notes_copy(&found.doubts, doubts);
    if (!found.any) return PS_OK;
    kept_pieces(job, &found, piece);
    if (!piece[job->problem.held_piece]) { /* the frame of all that was read: nothing stands without it */
        ps_gauge_say(doubts, PS_SUBJECT_VALUE, PS_CODE_PIECE_MOVED);
        return PS_OK;
    }
    mark(job, &found);
    for (int k = 0; k < PS_ADJUST_PHOTOS_MAX; k++) photo[k] = !found.photo_out[k];
    ps_job_keep(job, photo, piece);
    job->problem.pin_count = job->problem.rim_count = job->problem.edge_count = 0;
    *changed = true;
    return PS_OK;
}
