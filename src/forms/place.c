/* Where in a JSON text a value stands. The parser keeps no places, so the text is walked a second time; it is known to be JSON. */
#include "forms/place.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

typedef struct walk {
    const char *at, *end;
} walk;

static void skip_space(walk *w) {
    while (w->at < w->end && strchr(" \t\r\n", *w->at)) w->at++;
}

static void skip_string(walk *w) {
    for (w->at++; w->at < w->end && *w->at != '"'; w->at++)
        if (*w->at == '\\') w->at++;
    if (w->at < w->end) w->at++;
}

/* Brackets inside strings do not count; the depth is kept as a number so that no nesting can exhaust the stack. */
static void skip_value(walk *w) {
    int depth = 0;
    do {
        skip_space(w);
        if (w->at >= w->end) return;
        if (*w->at == '"') {
            skip_string(w);
        } else if (*w->at == '{' || *w->at == '[') {
            depth++, w->at++;
        } else if (*w->at == '}' || *w->at == ']') {
            depth--, w->at++;
        } else if (*w->at == ',' || *w->at == ':') {
            w->at++;
        } else {
            while (w->at < w->end && !strchr(",:]}\"{[ \t\r\n", *w->at)) w->at++;
        }
    } while (depth > 0);
}

static bool into_member(walk *w, const char *key) {
    size_t length = strlen(key);
    if (w->at >= w->end || *w->at != '{') return false;
    for (w->at++;;) {
        skip_space(w);
        if (w->at >= w->end || *w->at != '"') return false;
        const char *begin = w->at + 1;
        skip_string(w);
        bool same = (size_t)(w->at - begin) == length + 1 && memcmp(begin, key, length) == 0;
        skip_space(w);
        if (w->at < w->end) w->at++; /* the colon */
        skip_space(w);
        if (same) return true;
        skip_value(w);
        skip_space(w);
        if (w->at >= w->end || *w->at != ',') return false;
        w->at++;
    }
}

static bool into_element(walk *w, int index) {
    if (w->at >= w->end || *w->at != '[') return false;
    for (w->at++;; index--) {
        skip_space(w);
        if (w->at >= w->end || *w->at == ']') return false;
        if (index == 0) return true;
        skip_value(w);
        skip_space(w);
        if (w->at >= w->end || *w->at != ',') return false;
        w->at++;
    }
}

const char *ps_place_find(const char *text, size_t size, const ps_place *place) {
    walk w = {text, text + size};
    if (!place->parent) {
        skip_space(&w);
        return w.at;
    }
    const char *around = ps_place_find(text, size, place->parent);
    w.at = around;
    bool found = place->key ? into_member(&w, place->key) : into_element(&w, place->index);
    return found ? w.at : around;
}

int ps_place_line(const char *text, const char *at) {
    int line = 1;
    for (; text < at; text++) line += *text == '\n';
    return line;
}

void ps_place_name(const ps_place *place, char *name, size_t size) {
    if (!place->parent) {
        name[0] = 0;
        return;
    }
    ps_place_name(place->parent, name, size);
    size_t length = strlen(name);
    if (place->key)
        (void)snprintf(name + length, size - length, "%s%s", length ? "." : "", place->key);
    else
        (void)snprintf(name + length, size - length, "[%d]", place->index);
}
