/* A growing string; wrapping; text made safe for a terminal and for JSON. */
#include "report/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool reserve(ps_text *text, size_t more) {
    if (text->failed) return false;
    if (text->capacity - text->length > more) return true;
    size_t capacity = 2 * (text->length + more) + 256;
    char *bytes = realloc(text->bytes, capacity);
    if (!bytes) {
        text->failed = true;
        return false;
    }
    text->bytes = bytes;
    text->capacity = capacity;
    return true;
}

void ps_text_add(ps_text *text, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(NULL, 0, format, arguments);
    va_end(arguments);
    if (length < 0) {
        text->failed = true;
        return;
    }
    if (!reserve(text, (size_t)length + 1)) return;
    va_start(arguments, format);
    (void)vsnprintf(text->bytes + text->length, (size_t)length + 1, format, arguments);
    va_end(arguments);
    text->length += (size_t)length;
}

void ps_text_clear(ps_text *text) {
    free(text->bytes);
    *text = (ps_text){0};
}

ps_status ps_text_take(ps_context *ctx, ps_text *text, char **bytes) {
    ps_text_add(text, "%s", ""); /* so that an empty text is "" and not NULL */
    if (text->failed) {
        ps_text_clear(text);
        return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory while writing a text");
    }
    *bytes = text->bytes;
    *text = (ps_text){0};
    return PS_OK;
}

int ps_text_columns(const char *utf8) {
    int columns = 0;
    for (; *utf8; ++utf8) columns += ((unsigned char)*utf8 & 0xC0) != 0x80;
    return columns;
}

void ps_text_wrap(ps_text *text, int columns, const char *first, int indent, const char *body) {
    ps_text_add(text, "%s", first);
    int column = ps_text_columns(first);
    bool at_start = true;
    while (*body) {
        size_t length = strcspn(body, " ");
        if (length > 0) {
            int width = 0;
            for (size_t i = 0; i < length; ++i) width += ((unsigned char)body[i] & 0xC0) != 0x80;
            if (!at_start && column + 1 + width > columns) {
                ps_text_add(text, "\n%*s", indent, "");
                column = indent;
                at_start = true;
            }
            ps_text_add(text, "%s%.*s", at_start ? "" : " ", (int)length, body);
            column += width + !at_start;
            at_start = false;
        }
        body += length + (body[length] == ' ');
    }
    ps_text_add(text, "\n");
}

/* Length of the valid UTF-8 sequence at s (RFC 3629: no surrogates, no overlong forms), 0 when there is none. */
static size_t sequence(const unsigned char *s) {
    if (s[0] < 0x80) return 1;
    size_t n = s[0] >= 0xC2 && s[0] < 0xE0 ? 2 : (s[0] & 0xF0) == 0xE0 ? 3 : s[0] >= 0xF0 && s[0] < 0xF5 ? 4 : 0;
    for (size_t i = 1; i < n; ++i)
        if ((s[i] & 0xC0) != 0x80) return 0;
    if (n == 3 && ((s[0] == 0xE0 && s[1] < 0xA0) || (s[0] == 0xED && s[1] > 0x9F))) return 0;
    if (n == 4 && ((s[0] == 0xF0 && s[1] < 0x90) || (s[0] == 0xF4 && s[1] > 0x8F))) return 0;
    return n;
}

char *ps_text_clean(const char *bytes, bool one_line) {
    size_t size = strlen(bytes);
    if (size > SIZE_MAX / 3 - 1) return NULL;
    char *clean = malloc(3 * size + 1); /* a bad byte becomes three */
    if (!clean) return NULL;
    char *to = clean;
    for (const unsigned char *s = (const unsigned char *)bytes; *s;) {
        size_t n = sequence(s);
        bool c1 = n == 2 && s[0] == 0xC2 && s[1] < 0xA0; /* U+0080..U+009F are control characters too */
        if (n == 0) {
            memcpy(to, "\xEF\xBF\xBD", 3);
            to += 3;
            ++s;
        } else if (one_line && (*s < 0x20 || *s == 0x7F || c1)) {
            *to++ = '?';
            s += n;
        } else {
            memcpy(to, s, n);
            to += n;
            s += n;
        }
    }
    *to = 0;
    return clean;
}
