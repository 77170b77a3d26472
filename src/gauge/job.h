/* job.h: what ps_measure carries from stage to stage. Private to the gauge room. */
#ifndef PINSPAN_GAUGE_JOB_H
#define PINSPAN_GAUGE_JOB_H

#include "pinspan/measure.h"

/* A photo on its way. */
typedef struct ps_job_photo {
    ps_photo photo;
    ps_sightings sightings;
    ps_rim_candidates candidates, coarser; /* coarser: of another look, while they are looked at */
    ps_rim_traces traces, followed;        /* followed: while they are compared */
    ps_rim_followed worth[PS_ROLE_COUNT];  /* by pin */
    ps_status status;                      /* of the last stage */
    char message[256];
    int adjust_index; /* place in the adjustment, -1 when not part of it */
    bool copy;        /* of an earlier photo; it takes no part */
    int copy_of;
    bool elsewhere; /* belongs to the job's other adjustment: left out here */
    bool out, odd;  /* left out for what it has against the others (out_code); one of its sheets is (odd_code) */
    bool stays_out; /* out whenever all is measured anew */
    ps_code out_code, odd_code;
    bool profile_off;  /* speaks against the camera profile */
    bool exif_off;     /* against the focal length that EXIF names */
    double seconds[4]; /* read, sight, propose, trace: processor time */
} ps_job_photo;

typedef struct ps_job {
    const ps_measure_options *options;
    const char *const *files;
    int count;
    ps_job_photo *photo; /* count, owned */

    /* the adjustment's problem; arrays owned */
    ps_adjust_photo adjust_photo[PS_ADJUST_PHOTOS_MAX];
    int photo_of[PS_ADJUST_PHOTOS_MAX]; /* adjust photo -> job photo */
    ps_adjust_group group[PS_ADJUST_PHOTOS_MAX];
    ps_camera_source group_source[PS_ADJUST_PHOTOS_MAX];
    ps_adjust_piece piece[PS_ADJUST_PIECES_MAX];
    ps_adjust_corner *corner;
    ps_adjust_pin pin[PS_ADJUST_PINS_MAX];
    ps_adjust_rim rim[PS_ADJUST_RIMS_MAX];
    ps_adjust_edge *edge;
    ps_adjust_problem problem;
    bool near_start;           /* of the next adjustment: see ps_adjust_problem */
    bool profile_contradicted; /* the photos spoke against the camera profile; some group went back to EXIF */
    bool profile_restart;      /* they did once rims were in: what was read through the false lens may be wrong */
    bool no_profile;           /* measured without the profile */
    struct {
        int rounds, photo; /* the one photo (-1: none) that shows the pins elsewhere than the others do, however the cameras are solved */
        bool lost;         /* rims were lost by following them */
        double gain[PS_ADJUST_PHOTOS_MAX]; /* agreement elsewhere, summed over the rounds, by photo of the job */
    } stray;
    bool no_exif;      /* measured without the focal length that EXIF names */
    bool exif_out;     /* what photos show spoke against the focal length that EXIF names, and some group does without */
    bool keep_exif;    /* EXIF stays in whatever is said against it */
    bool lens_settled; /* the rims have tied down the lens; from now on an edge that runs beside its circle may not bend it */
    ps_notes doubts;   /* of every value */
    ps_notes early;    /* the same where the pins are not measured: what corners and single photos say */

    ps_adjust_solution *solution; /* owned */
    ps_pin_models pins;
    int rim_of[PS_ROLE_COUNT][PS_RIMS_PER_PIN]; /* models' rim -> adjust rim, -1 none */
    double section_s, adjust_s;                 /* processor time */
    bool boss_one_side;                         /* photos tried as a gap look at one end of something at most, or too few at the other */
    struct ps_job *gap;                         /* photos that look into the gap: an adjustment of their own; owned, NULL without */
} ps_job;

/* Processor time of the calling thread. */
double ps_job_cpu_s(void);
/* Runs `work(job, i)` for every photo, on as many threads as asked; results stay in photo order. */
void ps_job_each(ps_job *job, void (*work)(ps_context *ctx, ps_job *job, int i));

/* Same stored size and the same EXIF in all that tells a camera and its zoom. */
bool ps_job_same_camera(const ps_photo *a, const ps_photo *b);
/* copies.c: marks photos that are the same as an earlier one, smaller or saved anew though they may be. */
void ps_job_mark_copies(ps_job *job);
/* cameras.c: groups, priors, start values from the corners; drops photos that do not connect. */
ps_status ps_job_cameras(ps_context *ctx, ps_job *job);
/* The corners again with a stiff lens: a small sheet in the middle of the photos tells little of the lens at their border,
 * and what it seems to tell can bend the photos by more than pins can be recognised through. */
ps_status ps_job_cameras_plain(ps_context *ctx, ps_job *job);
/* rims.c: pins and traces into the problem; solve; predicted rims for the next pass. */
ps_status ps_job_solve_rims(ps_context *ctx, ps_job *job);
/* Predict, look again, solve again: the solution places every rim to about a pixel. */
ps_status ps_job_look_again(ps_context *ctx, ps_job *job, double sigma_height_mm, double sigma_radius_mm);
void ps_job_predict(ps_job *job, double sigma_height_mm, double sigma_radius_mm);
/* Where no chamfer stands between the two edges found of a bush, or only one was found, the outer one is the face's edge:
 * the bush's own outer edge is too near to it to be told, and gets no value. */
void ps_job_name_bushes(ps_job *job);
/* Where the edge taken for the pin's lies in the plane of the bush's face while the pin's end stands far before it, it is the bore's: the
 * pin tapers or is rounded down to the bush. True where an edge was renamed; the adjustment is then to be made anew. */
bool ps_job_name_bores(ps_job *job);
/* Replaces the solution by one of the present problem. A camera profile that the photos contradict is given up. */
ps_status ps_job_solve(ps_context *ctx, ps_job *job);
/* odd_edges.c: the chance that a rim's edges lie as far beside one circle as they do if all photos show one; the photo that adds most to
 * that, and how many show the rim. 1 where too little speaks of it. */
#define PS_JOB_EDGE_ODDS_LEAST 0.01  /* to leave a photo's edge out */
#define PS_JOB_EDGE_ODDS_DOUBT 0.001 /* to doubt the value where that is not to be had */
#define PS_JOB_EDGE_DOF_LEAST  1.0
double ps_job_edge_odds(const ps_job *job, int rim, int *photo, int *photos);
/* Leaves out what single photos say of edges that the others show elsewhere, and solves anew. */
ps_status ps_job_drop_odd_edges(ps_context *ctx, ps_job *job);
/* leave_out.c: looks for contradictions; photos and sheets that are left out are taken from the problem, and *changed says that it must
 * be solved anew. Doubts of every value go to `doubts`. */
ps_status ps_job_leave_out(ps_context *ctx, ps_job *job, ps_notes *doubts, bool *changed);
/* agree.c, where no two pins explain all photos: what photos show together and alone. */
typedef struct ps_agreement {
    int odd;           /* the photo without which others agree on pins, -1: none */
    bool pins, nobody; /* photos show any; no photos agree, which job->early says then */
} ps_agreement;
ps_status ps_job_agree(ps_context *ctx, ps_job *job, ps_agreement *out);
/* The same where two pins explain all photos poorly: the one photo without which they are clear and with which no others are, -1: none. */
ps_status ps_job_doubt_agreement(ps_context *ctx, const ps_job *job, int *odd);
/* accuse.c. What a photo that was left out so has against the pins measured without it; PS_CODE_COUNT: nothing that can be named. *same: it
 * shows circles of the same sizes at the same distance. */
ps_status ps_job_accuse(ps_context *ctx, const ps_job *job, int photo, ps_code *code, bool *same);
/* The same by pins that can be read; those that hardly can accuse nobody. */
ps_status ps_job_accuse_fairly(ps_context *ctx, const ps_job *job, int photo, ps_code *code, bool *same);
/* Whether a photo of the adjustment says nothing against two measured pins though it may show others: there is nothing where they are, and
 * no plain circle in common with the other photos, or edges of it were left out as of other circles. */
bool ps_job_mute(const ps_job *job, int photo);
/* Whether the photos of the adjustment are two parties of two or more, by the plain circles that they have in common. */
bool ps_job_parted(const ps_job *job);
/* cameras.c: whether EXIF names a focal length that no phone has; it is passed over then. */
bool ps_job_focal_cannot_be(const ps_photo *photo);
/* cameras.c: says focal-contradicts where the focal length found is not the one that EXIF names, and that cannot be. */
void ps_job_doubt_exif(ps_context *ctx, ps_job *job);
/* cameras.c: where the contradictions found say that EXIF's focal length cannot be, all is solved without it, from where it is. */
ps_status ps_job_leave_exif(ps_context *ctx, ps_job *job);
/* cameras.c: how a photo that is not part of the adjustment sees its world, by the corners of one of its pieces. */
ps_status ps_job_place(ps_context *ctx, const ps_job *job, int photo, ps_view *view);
/* cameras.c: takes photos and pieces that are not to be kept out of the problem; their solution is of no use then. */
void ps_job_keep(ps_job *job, const bool photo[PS_ADJUST_PHOTOS_MAX], const bool piece[PS_ADJUST_PIECES_MAX]);
/* Worth of a pin's reading in clear circles: in sound photos four to six; a pin of less can hardly be read. */
#define PS_JOB_WORTH_PLAIN 3.5
/* second.c: where one pin can hardly be read beside one that is read well, looks at it once more through cameras that its rims do not bend.
 * *better: it is read better so, and solved for. */
ps_status ps_job_second_look(ps_context *ctx, ps_job *job, bool *better);
/* The printed pieces as they lie in the world plane, widened by their margin. Returns their number. */
int ps_job_masks(const ps_job *job, ps_rim_mask masks[PS_ADJUST_PIECES_MAX]);
/* The photos of the adjustment and how they are seen from, in its order, by the job's solution or another one of the same photos. */
void ps_job_views(const ps_job *job, const ps_luma **lumas, ps_view *views);
void ps_job_views_by(const ps_job *job, const ps_adjust_solution *solution, const ps_luma **lumas, ps_view *views);
/* Traces the rims of job->pins in photo i, if it is part of the adjustment; for ps_job_each. */
void ps_job_trace(ps_context *ctx, ps_job *job, int i);

/* readings.c. Circles that may be rims, of photo i; for ps_job_each. */
void ps_job_propose(ps_context *ctx, ps_job *job, int i);
/* The same into `coarser`, beside what was proposed before. */
void ps_job_propose_beside(ps_context *ctx, ps_job *job, int i);
/* readings.c: from the corners on, without the photos that are out, one for each of the job; what was found before is forgotten. */
ps_status ps_job_cameras_anew(ps_context *ctx, ps_job *job, const bool *out);
#define PS_JOB_MAJORITY 3 /* so many photos can tell which one of them is odd */
/* readings.c: from the cameras that corners give to pins that are read, traced and solved for. */
ps_status ps_job_measure_rims(ps_context *ctx, ps_job *job);
/* follow.c: rims are looked for wherever they are in each photo, not only where the solution has them; where that is elsewhere in all
 * (*strayed), the cameras are solved for by what was found there, and again until it rests. One photo alone that does not come to rest is
 * not followed: job->stray.photo. */
ps_status ps_job_follow(ps_context *ctx, ps_job *job, bool *strayed);

/* gap.c. Measures photos that look into the gap between the ears: those that stand in the job's adjustment (`placed`), or those with a
 * piece that do not. On success job->gap holds them, and they are `elsewhere` for the job itself. */
ps_status ps_job_gap(ps_context *ctx, ps_job *job, bool placed);
void ps_job_gap_free(ps_job *gap);
/* Back to what was before the cameras: no solution, no pins. */
void ps_job_forget(ps_job *job);
/* The job whose adjustment holds a photo. */
const ps_job *ps_job_of(const ps_job *job, int photo);

struct ps_gauge_gap;
/* gap_value.c: the faces found, PS_ROLE_COUNT of them by role; reads the rims of the record. */
void ps_job_gap_faces(const ps_job *gap, const ps_record *record, struct ps_gauge_gap *faces);

/* Why a photo that could be read and shows a sheet takes no part; PS_CODE_COUNT: it takes part, or another reason is said of it. */
ps_code ps_job_left_out_for(const ps_job *job, int photo);
/* outcome.c: the job into the record. */
ps_status ps_job_record(ps_context *ctx, const ps_job *job, ps_record *record);

#endif
