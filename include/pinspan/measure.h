/* measure.h: the whole way from photos of one side to its dimensions with bands and verdicts. */
#ifndef PINSPAN_MEASURE_H
#define PINSPAN_MEASURE_H

#include "pinspan/adjust.h"
#include "pinspan/base.h"
#include "pinspan/camera.h"
#include "pinspan/photo.h"
#include "pinspan/profile.h"
#include "pinspan/rim.h"
#include "pinspan/target.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Reasons, doubts, photo problems and advice: fixed codes, each with a plain sentence. */
typedef enum ps_code {
    PS_CODE_PRINT_UNCHECKED = 0,
    PS_CODE_PRINT_SCALED,
    PS_CODE_NO_PIECE,
    PS_CODE_PIECE_HIDDEN,
    PS_CODE_PIECE_SMALL,
    PS_CODE_PIECE_MOVED,
    PS_CODE_PIECE_BENT,
    PS_CODE_PIECE_HELD,
    PS_CODE_OBLIQUE,
    PS_CODE_MOTION_BLUR,
    PS_CODE_DEFOCUS,
    PS_CODE_EXPOSURE,
    PS_CODE_ONE_PHOTO,
    PS_CODE_ONE_DIRECTION,
    PS_CODE_OTHER_SCENE,
    PS_CODE_PIN_CUT_OFF,
    PS_CODE_PIN_HIDDEN,
    PS_CODE_PIN_CHAMFER,
    PS_CODE_PIN_TAPER,
    PS_CODE_PIN_DOME,
    PS_CODE_PIN_CAP,
    PS_CODE_PIN_COLLAR,
    PS_CODE_BUSH_HIDDEN,
    PS_CODE_ARC_SHORT,
    PS_CODE_LENS_UNKNOWN,
    PS_CODE_FOCAL_CONTRADICTS,
    PS_CODE_FIT_BAD,
    PS_CODE_ROLES_UNSURE,
    /* further ones */
    PS_CODE_BAND_WIDE,     /* the band itself is wider than the need allows */
    PS_CODE_UNREADABLE,    /* the file could not be read */
    PS_CODE_NO_PIN,        /* no pin found in this photo */
    PS_CODE_OUT_OF_ROUND,  /* a pin's or bush's edge is visibly oval */
    PS_CODE_PHOTO_TWICE,   /* the same photo as another one of the job */
    PS_CODE_GAP_NOT_SHOWN, /* no photo that shows the inward bush faces was measured */
    PS_CODE_BOSS_OVER,     /* a width over a boss, which is not shown to be measured rightly */
    PS_CODE_BOSS_ONE_SIDE, /* photos of a boss, if that is what they show, that do not show both ends twice */
    PS_CODE_COUNT
} ps_code;
PS_API const char *ps_code_word(ps_code code); /* "print-unchecked", ... */

typedef struct ps_note {
    ps_code code;
    char text[240]; /* a plain sentence */
} ps_note;
enum { PS_NOTES_MAX = 12 };
typedef struct ps_notes {
    int count;
    ps_note note[PS_NOTES_MAX];
} ps_notes;
PS_API void ps_notes_add(ps_notes *notes, ps_code code, const char *format, ...) PS_PRINTF(3, 4); /* a code once */
PS_API void ps_notes_copy(const ps_notes *from, ps_notes *to);                                    /* added to those that are there */
PS_API bool ps_notes_have(const ps_notes *notes, ps_code code);

typedef enum ps_verdict { PS_VERDICT_MISSING = 0, PS_VERDICT_CONFIRM, PS_VERDICT_GOOD } ps_verdict;
PS_API const char *ps_verdict_word(ps_verdict v);
typedef enum ps_instrument { PS_INSTRUMENT_NONE = 0, PS_INSTRUMENT_CALIPERS, PS_INSTRUMENT_TAPE } ps_instrument;
typedef enum ps_coupler { PS_COUPLER_FIXED = 0, PS_COUPLER_GRAB } ps_coupler;
typedef enum ps_kind { PS_KIND_GAP = 0, PS_KIND_PIN, PS_KIND_CENTRES, PS_KIND_BUSH, PS_KIND_PROUD, PS_KIND_COUNT } ps_kind;

/* ---- options ---- */
enum { PS_CHECKS_MAX = 32 };
/* The narrowest band (k=2) that a reading of a check line or stand-off can have: the last digit of calipers. A narrower one is a slip of
 * the pen, and would hold the print for exact. Practice. */
#define PS_READING_U_LEAST_MM 0.01
typedef struct ps_print_check {
    int piece;            /* kit index, -1: all */
    bool along;           /* else across */
    double read_mm, U_mm; /* as measured; expanded (k=2) */
} ps_print_check;

typedef struct ps_standoff {
    bool given;
    double mm, U_mm;
} ps_standoff;

typedef struct ps_measure_options {
    ps_side side;
    ps_coupler coupler;
    int check_count;
    ps_print_check check[PS_CHECKS_MAX];
    ps_standoff standoff[PS_ROLE_COUNT];
    bool roles_unsure;
    ps_direction dipper;
    int threads;     /* 0: as many as cores */
    int monte_carlo; /* samples, 0: none; else 2 to a million */
    uint64_t seed;   /* of the samples */
    ps_photo_limits limits;
    bool has_profile; /* camera profile as prior, for the photos of that camera */
    ps_camera_profile profile;
} ps_measure_options;
PS_API ps_measure_options ps_measure_options_default(void);

/* ---- the record: flat, plain data; texts inside ---- */
typedef enum ps_camera_source { PS_CAMERA_FREE = 0, PS_CAMERA_EXIF, PS_CAMERA_PROFILE } ps_camera_source;

typedef struct ps_record_rim {
    ps_role pin;
    ps_edge edge;
    ps_ear ear;
    ps_ellipse ellipse; /* the observed rim's best ellipse, upright px */
    double arc, rms_px;
    bool used;
    int point_count;      /* sampled edge points for pictures */
    ps_edge_point *point; /* owned by the record */
    bool fitted;
    ps_circle3 circle; /* as adjusted, of the mean radius; world of the views. Valid when fitted */
} ps_record_rim;

typedef struct ps_record_photo {
    char *file;        /* as given by the caller; owned */
    int width, height; /* upright; 0 when unreadable */
    bool usable, solved;
    ps_notes problems;
    ps_blur blur;                    /* at the largest piece; without one, of the photo's sharpest edges */
    bool pin_cut[PS_ROLE_COUNT];     /* over a third of the pin's edge lies outside the picture */
    bool pin_clipped[PS_ROLE_COUNT]; /* white-out or black-out along it */
    ps_camera_source camera_source;
    ps_view view; /* valid when solved */
    ps_sightings sightings;
    double sighting_rms_px[PS_PIECES_MAX]; /* of the adjustment */
    int rim_count;
    ps_record_rim *rim; /* owned */
} ps_record_photo;

enum { PS_NOMINALS_MAX = 6 };
typedef struct ps_nominal_match {
    char label[24];
    double size_mm, probability;
} ps_nominal_match;

typedef struct ps_dimension {
    char name[40]; /* "attachment.dipper.pin" */
    ps_kind kind;
    int role;                    /* ps_role, -1 for centres */
    double value_mm, u_mm, U_mm; /* NaN when missing */
    double need_mm;
    ps_verdict verdict;
    ps_notes reasons;
    ps_instrument confirm_with;
    char how[320]; /* how to confirm; "" when good */
    int nominal_count;
    ps_nominal_match nominal[PS_NOMINALS_MAX];
    double budget_mm[PS_SOURCE_COUNT];
    double long_mm, short_mm;   /* longest and shortest diameter of an edge that is visibly not round; 0 otherwise */
    bool over;                  /* a gap only: width over the outward faces of a single boss, else between inward faces */
    ps_monte_carlo monte_carlo; /* samples 0: not asked for, or none settled */
} ps_dimension;

enum { PS_DIMENSIONS_MAX = 9 }; /* five, and bush and proud per pin */

/* A photo that would help. Directions are as the first photo that was used shows things; angles from straight ahead of the sheet. */
typedef struct ps_plan_photo {
    const char *from;       /* "left", "upper right", "lower", "straight ahead"; static */
    double tilt_deg, fills; /* share of the picture, along its tighter side, that pins and sheets take up */
    double distance_mm;     /* to the middle between them */
    ps_view view;           /* as the prediction has it: world of the record's views */
} ps_plan_photo;

/* What would turn `confirm` into `good`, and the band that the model predicts (docs/verdicts.md). */
enum { PS_PLANS_MAX = 4, PS_PLAN_VIEWS_MAX = 2 };
typedef struct ps_plan {
    char text[600];
    int photo_count;
    ps_plan_photo photo[PS_PLAN_VIEWS_MAX];
    bool piece_added;   /* tape a further piece beside that pin and take all photos again */
    int piece;          /* kit index */
    ps_pose piece_pose; /* to the world of the record's views, as the prediction has it */
    ps_role beside;
    bool print_read; /* read the check lines (again), to these expanded uncertainties */
    double across_U_mm, along_U_mm;
    int dimension_count, dimension[PS_DIMENSIONS_MAX]; /* that it cures: into record->dimension[] */
    double U_mm[PS_DIMENSIONS_MAX];                    /* the band that each would have */
} ps_plan;
PS_API const char *ps_plan_word(const ps_plan *plan); /* "further-photo", "further-photos", "further-piece", "print-reading" */

/* Values to confirm that no plan is predicted to cure: the instrument decides. */
typedef struct ps_by_hand {
    char text[500];
    int count, dimension[PS_DIMENSIONS_MAX]; /* into record->dimension[] */
} ps_by_hand;

typedef struct ps_record {
    ps_side side;
    int photo_count;
    ps_record_photo *photo; /* owned, command-line order */
    int dimension_count;
    ps_dimension dimension[PS_DIMENSIONS_MAX];
    int monte_carlo; /* samples asked for, 0 none */
    uint64_t seed;
    bool fitted;
    double chi2;
    int dof;
    double scale_across, scale_along; /* solved, factor on nominal, of the piece that is held */
    int print_count;                  /* pieces, those in the photos of a gap too, each with its own */
    struct ps_record_print {
        int piece; /* kit index */
        double across, along;
        bool read_across, read_along; /* a reading was given for it, or for all */
    } print[PS_PIECES_MAX];
    int pin_count;
    struct ps_record_pin {
        ps_role role;
        double axis_point_mm[3], axis_direction[3];
        double face_height_mm, bush_height_mm; /* NaN when unknown */
        double pin_radius_mm, bush_radius_mm;  /* NaN when unknown */
    } pin[PS_ROLE_COUNT];
    ps_notes advice; /* beside the plans */
    int plan_count;
    ps_plan plan[PS_PLANS_MAX];
    ps_by_hand by_hand;
    struct ps_stage_times {
        double read_s, sight_s, propose_s, section_s, trace_s, adjust_s;
    } times; /* processor time, sums over photos and passes */
} ps_record;
PS_API void ps_record_clear(ps_record *r);

/* Measures one side. `files`: paths. One unreadable photo of several is named in its problems and the rest measured.
 * PS_IO when none could be read, PS_NOT_FOUND when nothing was measurable (the record is filled in both cases). */
PS_API ps_status ps_measure(ps_context *ctx, const ps_measure_options *options, const char *const *files, int count, ps_record *record);

#ifdef __cplusplus
}
#endif
#endif
