/* forms.h: a whole job: photos of both sides, what the form says, tape readings; compared, decided, questions written.
 *
 * The job file: docs/job.md, docs/job.schema.json. How forms are judged and with which numbers: docs/forms.md.
 * Everything in a result is flat: values, words and finished sentences, so that table, JSON, CSV and PDF only print.
 * Lengths are millimetres; NaN where there is no value. */
#ifndef PINSPAN_FORMS_H
#define PINSPAN_FORMS_H

#include "pinspan/base.h"
#include "pinspan/measure.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
    PS_FORMS_SIDES = 2, /* indices are ps_side */
    PS_FORMS_READINGS_MAX = 40,
    PS_FORMS_SUSPECTS_MAX = 6, /* per reading, likeliest first */
    PS_FORMS_JOINTS_MAX = 6,
    PS_FORMS_DIMENSIONS = 10, /* the ten dimensions of design.md: attachment first; gaps, pins, centres */
    PS_FORMS_FINDINGS_MAX = 24,
    PS_FORMS_QUESTIONS_MAX = 16,
    PS_FORMS_SENTENCE = 520 /* room for a finished sentence or two */
};

/* ---- the job, as read from its file ---- */

/* How a size was taken. The first of a kind is what stands for it when nothing is said. */
typedef enum ps_forms_way {
    PS_WAY_CENTRES = 0, /* centres: given as the distance of the axes */
    PS_WAY_INSIDE,      /* centres: between the edges that face each other */
    PS_WAY_OUTSIDE,     /* centres: over the edges that face away from each other */
    PS_WAY_FRONTS,     /* centres: from that edge of each pin that lies toward the dipper pin's side: link pin's facing, dipper pin's far */
    PS_WAY_BACKS,      /* centres: the same on the other side */
    PS_WAY_BUSH_FACES, /* gap: between inward bush faces */
    PS_WAY_OVER,       /* gap: width over the outward faces of a single boss */
    PS_WAY_EAR_PLATES, /* gap: between the ear plates beside the bushes */
    PS_WAY_DIAMETER,   /* pin */
    PS_WAY_AROUND,     /* pin: string or tape round it; the reading is the circumference */
    PS_WAY_COUNT
} ps_forms_way;
PS_API const char *ps_forms_way_word(ps_forms_way way); /* "centre-to-centre", "inside-inside", "fronts", "bush-faces", ... */

/* Where the tape lay, for centres. */
typedef enum ps_forms_place {
    PS_PLACE_UNKNOWN = 0,
    PS_PLACE_PLATE, /* parallel to the ear plate */
    PS_PLACE_ENDS,  /* on the two pin ends: runs diagonally where they stand out differently */
    PS_PLACE_COUNT
} ps_forms_place;
PS_API const char *ps_forms_place_word(ps_forms_place place);

typedef enum ps_forms_shims { PS_SHIMS_UNKNOWN = 0, PS_SHIMS_OUT, PS_SHIMS_IN, PS_SHIMS_COUNT } ps_forms_shims;

typedef struct ps_forms_reading {
    bool tape; /* from the list of tape readings, else from the form */
    ps_side side;
    ps_kind kind;     /* gap, pin or centres */
    int role;         /* ps_role, -1 for centres */
    char written[32]; /* as written, without the unit: "449", "17 5/8" */
    bool inch;        /* the unit it was written in */
    double value_mm;
    double step_mm; /* what the last written digit is worth */
    ps_instrument instrument;
    bool instrument_given;
    ps_forms_way way;
    bool way_given;
    ps_forms_place place;
    ps_forms_shims shims;
    double shim_mm; /* total thickness in the gap when it was read; NaN when not told */
    char note[200];
    char where[32]; /* place in the job file: "form[3]" */
} ps_forms_reading;

typedef struct ps_forms_side {
    int photo_count;
    char *photo[PS_ADJUST_PHOTOS_MAX]; /* paths as written in the file; owned */
    char *serial_photo;                /* carried along; owned, NULL when none */
    char *camera;                      /* camera profile; owned, NULL when none */
    ps_measure_options options;        /* print checks, stand-offs, roles, dipper; coupler and side filled in */
} ps_forms_side;

typedef struct ps_forms_job {
    char *path, *folder; /* of the job file; paths in it are relative to the folder; owned */
    char title[120], note[600];
    bool invented; /* the file says that it is a made-up example */
    struct ps_forms_machine {
        char make[80], model[80];
        int year;       /* 0: not told */
        double class_t; /* mass class, tonnes */
    } machine;
    char attachment_type[80];
    ps_coupler coupler;
    bool coupler_given;
    int tilt; /* 1 tilting, 0 straight, -1 not told */
    char pin_retention[160], country[80];
    double ear_thickness_mm, ear_radius_mm, ear_clearance_mm;
    int lifting_eye; /* 1, 0, -1 not told */
    struct ps_forms_hydraulics {
        char lines[120], couplings[120], pressure[120], flow[120]; /* as the customer states them */
    } hydraulics;
    bool inch; /* inches beside millimetres in texts */
    ps_forms_side side[PS_FORMS_SIDES];
    int reading_count;
    ps_forms_reading reading[PS_FORMS_READINGS_MAX];
} ps_forms_job;

/* Reads and checks a job file; every file that it names must be there. One fault is told, with its line and place:
 * "line 14: form[2].unit: 'cm' is not mm or in". PS_IO, PS_TOO_LARGE, PS_BAD_FILE; the message does not name the path. */
PS_API ps_status ps_forms_job_read(ps_context *ctx, const char *path, ps_forms_job *job);
/* The same from memory; `folder` as above. With `folder` NULL the named files are not looked for. */
PS_API ps_status ps_forms_job_parse(ps_context *ctx, const char *text, size_t size, const char *folder, ps_forms_job *job);
PS_API void ps_forms_job_clear(ps_forms_job *job);
/* A starting point that explains itself. Static text. */
PS_API const char *ps_forms_job_new(void);

/* ---- what came of it ---- */

typedef enum ps_mistake {
    PS_MISTAKE_INSIDE = 0, /* read between the edges that face each other */
    PS_MISTAKE_OUTSIDE,    /* read over the outer edges */
    PS_MISTAKE_FRONTS,     /* same-side edges, pins unequal */
    PS_MISTAKE_BACKS,
    PS_MISTAKE_CENTRES,  /* given as edge to edge, but already the centres */
    PS_MISTAKE_DIAGONAL, /* tape over ends that stand out differently */
    PS_MISTAKE_RADIUS,
    PS_MISTAKE_AROUND,  /* string or tape round the pin */
    PS_MISTAKE_CHAMFER, /* on the chamfer or end face */
    PS_MISTAKE_TAPER,
    PS_MISTAKE_CAP,         /* over a cap, collar or other step */
    PS_MISTAKE_BUSH,        /* over the bush in place of the pin */
    PS_MISTAKE_EAR_PLATES,  /* ear plate in place of bush face */
    PS_MISTAKE_OVER_EARS,   /* over the outside of both ears */
    PS_MISTAKE_SHIMS_IN,    /* read with shims in the gap */
    PS_MISTAKE_BEGUN_10,    /* tape begun at 10 mm */
    PS_MISTAKE_BEGUN_100,   /* at 100 mm */
    PS_MISTAKE_BEGUN_INCH,  /* at 1 in */
    PS_MISTAKE_DECADE,      /* a ten or a hundred misread */
    PS_MISTAKE_SIXTEENTHS,  /* one or two sixteenths of an inch */
    PS_MISTAKE_INCH_FOR_MM, /* inches given as millimetres */
    PS_MISTAKE_MM_FOR_INCH,
    PS_MISTAKE_CM_FOR_MM,
    PS_MISTAKE_DIGITS,     /* neighbouring digits swapped */
    PS_MISTAKE_OTHER_PIN,  /* this value is that of the other pin */
    PS_MISTAKE_OTHER_SIDE, /* this value is that of the other side */
    /* joint: they touch several values */
    PS_MISTAKE_ROLES,    /* dipper and link swapped */
    PS_MISTAKE_SIDES,    /* machine and attachment swapped */
    PS_MISTAKE_ALL_INCH, /* the whole form in inches given as millimetres */
    PS_MISTAKE_SHEET,    /* the photos' lengths are off by one ratio: sheet printed to fit, or check lines wrong */
    PS_MISTAKE_COUNT
} ps_mistake;
PS_API const char *ps_mistake_word(ps_mistake mistake); /* "inside-inside", ... */
PS_API const char *ps_mistake_text(ps_mistake mistake); /* "read between the pins' inner edges", a phrase */

typedef struct ps_forms_suspect {
    ps_mistake mistake;
    double predicted_mm, u_mm; /* what would have been read, and the sd of that with the reading's own */
    double probability;        /* against all others and 'no mistake' */
    bool inside;               /* the reading lies within the prediction's band (2 u) */
    bool named;                /* accused: inside, 'no mistake' outside and improbable */
    char evidence[PS_FORMS_SENTENCE];
} ps_forms_suspect;

typedef enum ps_match { PS_MATCH_CANNOT_TELL = 0, PS_MATCH_AGREES, PS_MATCH_DIFFERS, PS_MATCH_COUNT } ps_match;
PS_API const char *ps_match_word(ps_match match); /* "cannot tell", "agrees", "differs" */

/* One reading (of the form or by tape) against the photos. */
typedef struct ps_forms_comparison {
    int reading;                           /* index in the job */
    char name[40];                         /* "attachment.centres" */
    double read_mm, u_read_mm;             /* as read; instrument, way and rounding */
    double expected_mm, u_expected_mm;     /* what the photos say should have been read in that way */
    double difference_mm, u_difference_mm; /* read - expected */
    double normalised_error;               /* |difference| / (2 u): at most 1 agrees */
    double size_mm, u_size_mm;             /* the reading turned into the dimension, in what it needs from the photos corrected */
    ps_match match;
    double probability_none, probability_other; /* no mistake; a mistake that is not in the list */
    double probability_joint;                   /* one that touches several values */
    int suspect_count;                          /* likeliest first; those under 1 % left out */
    ps_forms_suspect suspect[PS_FORMS_SUSPECTS_MAX];
    char text[PS_FORMS_SENTENCE]; /* the outcome in words */
} ps_forms_comparison;

/* A mistake that touches several values of one side or of the form. */
typedef struct ps_forms_joint {
    ps_mistake mistake;
    int side; /* ps_side, -1: both */
    double probability;
    double ratio;     /* PS_MISTAKE_SHEET: true length over photo length; else NaN */
    double chi2;      /* of the readings it explains, with it */
    double chi2_none; /* without */
    int readings;     /* how many it explains */
    bool named;
    char evidence[PS_FORMS_SENTENCE];
} ps_forms_joint;

typedef enum ps_forms_source {
    PS_FROM_NOTHING = 0,
    PS_FROM_PHOTO,
    PS_FROM_FORM,
    PS_FROM_TAPE,
    PS_FROM_COMBINED,
    PS_FROM_COUNT
} ps_forms_source;
PS_API const char *ps_forms_source_word(ps_forms_source source); /* "none", "photo", "form", "tape", "combined" */

/* One of the ten dimensions: the value to use, or what to measure again. */
typedef struct ps_forms_decision {
    char name[40];
    ps_side side;
    ps_kind kind;
    int role;
    bool over; /* gap: width over a single boss */
    double need_mm;
    double photo_mm, photo_U_mm, form_mm, form_U_mm, tape_mm, tape_U_mm; /* beside each other, as dimensions; NaN when none */
    ps_verdict photo_verdict;
    ps_match form_match, tape_match; /* cannot tell where there is none */
    ps_forms_source source;
    bool settled;                /* may be ordered by; else `ask` says what to do */
    double value_mm, u_mm, U_mm; /* NaN when there is none; given also where not settled, if anything is known */
    char why[PS_FORMS_SENTENCE]; /* why this value, or why none can be settled */
    char ask[PS_FORMS_SENTENCE]; /* what to measure again, how and why; "" when settled */
    ps_instrument ask_with;
    int nominal_count; /* pins: nominal sizes within the band; the value is never moved to one */
    ps_nominal_match nominal[PS_NOMINALS_MAX];
    double enters_mm; /* settled gap: the largest width that surely enters (value - U, down to a tenth); over a boss: the smallest that
                       * surely goes over, up to a tenth */
    double shims_mm;  /* gap: what shims make up in the mean, both sides together; up to twice that */
} ps_forms_decision;

typedef enum ps_forms_weight { PS_WEIGHT_FINE = 0, PS_WEIGHT_NOTE, PS_WEIGHT_ASK, PS_WEIGHT_COUNT } ps_forms_weight;
PS_API const char *ps_forms_weight_word(ps_forms_weight weight); /* "fine", "note", "ask" */

/* What both sides say together, by the rules of src/forms/rules.c. */
typedef struct ps_forms_finding {
    char code[32]; /* the rule: "pins-match" */
    ps_forms_weight weight;
    char text[PS_FORMS_SENTENCE];
    char ground[200];
} ps_forms_finding;

typedef struct ps_forms_question {
    char about[80]; /* names of the dimensions or keys, blank between */
    char text[PS_FORMS_SENTENCE + 280];
} ps_forms_question;

/* A file that went in. */
typedef struct ps_forms_file {
    char *name;   /* as written in the job; owned */
    char use[16]; /* "job", "photo", "serial", "camera" */
    int side;     /* ps_side, -1: none */
    int64_t size;
    char sha256[65];
} ps_forms_file;

typedef struct ps_forms_result {
    bool measured[PS_FORMS_SIDES];     /* photos were given and some could be worked on */
    ps_status status[PS_FORMS_SIDES];  /* of the measurement */
    char message[PS_FORMS_SIDES][200]; /* where it failed */
    ps_record record[PS_FORMS_SIDES];
    int file_count;
    ps_forms_file *file; /* owned */
    int comparison_count;
    ps_forms_comparison comparison[PS_FORMS_READINGS_MAX];
    int joint_count;
    ps_forms_joint joint[PS_FORMS_JOINTS_MAX];
    ps_forms_decision decision[PS_FORMS_DIMENSIONS];
    int finding_count;
    ps_forms_finding finding[PS_FORMS_FINDINGS_MAX];
    bool ready;
    char answer[PS_FORMS_SENTENCE]; /* the job's answer in a sentence */
    int question_count;
    ps_forms_question question[PS_FORMS_QUESTIONS_MAX];
    char *message_text; /* the questions as one message to paste; "" when ready; owned */
} ps_forms_result;

/* Measures the photos of both sides and notes the files' SHA-256 in a cleared result. A side whose photos do not serve is no
 * failure: its status says so. `threads` as in ps_measure_options. PS_IO when a named file cannot be read, PS_NO_MEMORY. */
PS_API ps_status ps_forms_measure(ps_context *ctx, const ps_forms_job *job, int threads, ps_forms_result *result);
/* Compares, combines and decides from the records in `result`, which are left as they are: no file is touched. */
PS_API ps_status ps_forms_decide(ps_context *ctx, const ps_forms_job *job, ps_forms_result *result);
PS_API void ps_forms_result_clear(ps_forms_result *result);

#ifdef __cplusplus
}
#endif
#endif
