/* base.h: status codes, the context, and the words that every room shares.
 *
 * Conventions for the whole library, said once:
 *  - Lengths are millimetres, angles radians, pixels OpenCV's (centre of the top-left pixel is (0, 0)).
 *  - Matrices are row-major.
 *  - The first argument of a call that can fail is the context; the call returns a ps_status and leaves a message
 *    in the context when that is not PS_OK. Outputs are unchanged on failure unless said otherwise.
 *  - 'Not found' is a status of its own (PS_NOT_FOUND), never an empty success.
 *  - Inputs are const. What a call allocates into an output struct is freed by that struct's ..._clear.
 *  - The library never prints, exits or throws. A context serves one thread at a time.
 */
#ifndef PINSPAN_BASE_H
#define PINSPAN_BASE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#define PS_API          __attribute__((visibility("default")))
#define PS_PRINTF(f, a) __attribute__((format(printf, f, a)))
#else
#define PS_API
#define PS_PRINTF(f, a)
#endif

typedef enum ps_status {
    PS_OK = 0,
    PS_NOT_FOUND,    /* looked for and not there: no piece, no rim, no key */
    PS_BAD_ARGUMENT, /* the caller's mistake */
    PS_NO_MEMORY,
    PS_IO,        /* cannot open, read or write */
    PS_BAD_FILE,  /* read, but damaged or not of the kind expected */
    PS_TOO_LARGE, /* beyond a limit set before allocating */
    PS_UNSUPPORTED,
    PS_SINGULAR, /* a free direction, a matrix without inverse */
    PS_NO_CONVERGENCE,
    PS_INTERNAL,
    PS_STATUS_COUNT
} ps_status;

/* One word for a status ("not found"); never NULL. */
PS_API const char *ps_status_text(ps_status status);

typedef struct ps_context ps_context;

PS_API ps_context *ps_context_new(void);      /* NULL when out of memory */
PS_API void ps_context_free(ps_context *ctx); /* accepts NULL */

/* The message of the last failure, "" if none. Owned by the context, valid until the next failure. */
PS_API const char *ps_context_message(const ps_context *ctx);

/* Stores a message (cut at 511 bytes) and returns `status`, so that a caller can write `return ps_context_fail(...)`.
 * `ctx` may be NULL. */
PS_API ps_status ps_context_fail(ps_context *ctx, ps_status status, const char *format, ...) PS_PRINTF(3, 4);

/* Program version "0.1.0", from the one file VERSION. */
PS_API const char *ps_version(void);

/* ---- words fixed by the project's conventions (docs/conventions.md) ---- */

typedef enum ps_side { PS_SIDE_ATTACHMENT = 0, PS_SIDE_MACHINE } ps_side;
typedef enum ps_role { PS_ROLE_DIPPER = 0, PS_ROLE_LINK, PS_ROLE_COUNT } ps_role;
typedef enum ps_ear { PS_EAR_NEAR = 0, PS_EAR_FAR } ps_ear;

/* A rim: what circle in space an edge in the photo is. */
typedef enum ps_edge {
    PS_EDGE_PIN = 0,   /* chamfer, taper or dome meets the working cylinder: radius = pin radius */
    PS_EDGE_PIN_FACE,  /* bounds the flat end face */
    PS_EDGE_BUSH,      /* the bush's outer cylinder meets its face chamfer */
    PS_EDGE_BUSH_FACE, /* outer boundary of the bush's flat face */
    PS_EDGE_BUSH_BORE, /* the bore's edge at the face */
    PS_EDGE_CAP,
    PS_EDGE_COLLAR,
    PS_EDGE_RING,
    PS_EDGE_OTHER,
    PS_EDGE_COUNT
} ps_edge;

PS_API const char *ps_side_word(ps_side side);
PS_API const char *ps_role_word(ps_role role);
PS_API const char *ps_ear_word(ps_ear ear);
PS_API const char *ps_edge_word(ps_edge edge); /* "pin", "pin-face", ... */

#ifdef __cplusplus
}
#endif
#endif
