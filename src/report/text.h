/* text.h: a growing string; wrapping; text made safe for a terminal and for JSON. Private to the room. */
#ifndef PINSPAN_REPORT_TEXT_H
#define PINSPAN_REPORT_TEXT_H

#include "pinspan/base.h"

typedef struct ps_text {
    char *bytes; /* always ends in 0 once something was added; owned */
    size_t length, capacity;
    bool failed; /* out of memory: later additions do nothing */
} ps_text;

void ps_text_add(ps_text *text, const char *format, ...) PS_PRINTF(2, 3);
/* Adds `body` word by word: `first` before the first line, `indent` spaces before the others, lines at most `columns` wide
 * (a longer word stands alone). Ends with a line feed. Columns count code points. */
void ps_text_wrap(ps_text *text, int columns, const char *first, int indent, const char *body);
void ps_text_clear(ps_text *text);
/* Hands the bytes to the caller, or PS_NO_MEMORY (and clears) when an addition had failed. */
ps_status ps_text_take(ps_context *ctx, ps_text *text, char **bytes);

/* Code points in valid UTF-8; other bytes count one each. */
int ps_text_columns(const char *utf8);
/* A copy that is valid UTF-8 (a byte that is not becomes U+FFFD) and, with `one_line`, has '?' for control characters.
 * Caller frees; NULL when out of memory. */
char *ps_text_clean(const char *bytes, bool one_line);

#endif
