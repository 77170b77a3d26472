/* exif.c: a bounds-checked reader of two TIFF directories: the first one and the Exif one that it points to.
 * It follows no other pointer, so a file cannot make it loop. */
#include "photo/exif.h"

#include <math.h>
#include <string.h>

enum {
    TAG_MAKE = 0x010F,
    TAG_MODEL = 0x0110,
    TAG_ORIENTATION = 0x0112,
    TAG_DATE = 0x0132,
    TAG_EXIF_DIRECTORY = 0x8769,
    TAG_DATE_ORIGINAL = 0x9003,
    TAG_FOCAL = 0x920A,
    TAG_PIXEL_WIDTH = 0xA002,
    TAG_PIXEL_HEIGHT = 0xA003,
    TAG_DIGITAL_ZOOM = 0xA404,
    TAG_FOCAL_35MM = 0xA405,
    TAG_LENS_MODEL = 0xA434
};
enum { TYPE_BYTE = 1, TYPE_ASCII = 2, TYPE_SHORT = 3, TYPE_LONG = 4, TYPE_RATIONAL = 5, TYPE_SLONG = 9, TYPE_SRATIONAL = 10 };
enum { HEADER = 6, ENTRY = 12, SIDE_MAX = 65535, SHORT_MAX = 65535 };

/* Beyond these a value is a writer's mistake, not a lens (common practice, no source): the longest lenses made are
 * around 2000 mm. */
static const double FOCAL_MAX_MM = 10000.0, ZOOM_MAX = 100.0;

typedef struct tiff {
    const uint8_t *at; /* the TIFF header; all offsets count from here */
    size_t size;
    bool big_endian;
} tiff;

typedef struct field {
    unsigned tag, type;
    uint32_t count;
    size_t value_at; /* offset of the four value bytes */
} field;

static bool inside(const tiff *t, size_t at, size_t length) {
    return at <= t->size && length <= t->size - at;
}

/* Both need `at` checked by the caller. */
static unsigned get16(const tiff *t, size_t at) {
    const uint8_t *p = t->at + at;
    return t->big_endian ? (unsigned)(p[0] << 8 | p[1]) : (unsigned)(p[1] << 8 | p[0]);
}

static uint32_t get32(const tiff *t, size_t at) {
    return t->big_endian ? (uint32_t)get16(t, at) << 16 | get16(t, at + 2) : (uint32_t)get16(t, at + 2) << 16 | get16(t, at);
}

static size_t type_size(unsigned type) {
    switch (type) {
    case TYPE_BYTE:
    case TYPE_ASCII:
        return 1;
    case TYPE_SHORT:
        return 2;
    case TYPE_LONG:
    case TYPE_SLONG:
        return 4;
    case TYPE_RATIONAL:
    case TYPE_SRATIONAL:
        return 8;
    default:
        return 0;
    }
}

/* Where a field's `length` bytes lie: in the entry if they fit in four, else where it points. False if outside. */
static bool locate(const tiff *t, const field *f, size_t length, size_t *at) {
    *at = length <= 4 ? f->value_at : get32(t, f->value_at);
    return inside(t, *at, length);
}

static double signed32(uint32_t bits) {
    return bits < 0x80000000u ? (double)bits : (double)bits - 4294967296.0;
}

/* The field's first number; NaN if it has none. */
static double number(const tiff *t, const field *f) {
    size_t at, size = type_size(f->type);
    if (f->count < 1 || size == 0 || !locate(t, f, f->count == 1 ? size : size * (size_t)f->count, &at)) return NAN;
    switch (f->type) {
    case TYPE_BYTE:
        return t->at[at];
    case TYPE_SHORT:
        return get16(t, at);
    case TYPE_LONG:
        return get32(t, at);
    case TYPE_SLONG:
        return signed32(get32(t, at));
    case TYPE_RATIONAL:
        return get32(t, at + 4) ? (double)get32(t, at) / (double)get32(t, at + 4) : NAN;
    case TYPE_SRATIONAL:
        return get32(t, at + 4) ? signed32(get32(t, at)) / signed32(get32(t, at + 4)) : NAN;
    default:
        return NAN;
    }
}

/* The number if 0 < it <= most, else 0 (absent). NaN compares false. */
static double positive(const tiff *t, const field *f, double most) {
    double value = number(t, f);
    return value > 0 && value <= most ? value : 0.0;
}

/* Text as printable ASCII, without spaces at its ends, cut to fit. */
static void text(const tiff *t, const field *f, char *out, size_t room) {
    size_t at, n = 0;
    if (f->type != TYPE_ASCII || !locate(t, f, f->count, &at)) return;
    for (size_t i = 0; i < f->count && t->at[at + i] && n + 1 < room; i++) {
        uint8_t c = t->at[at + i];
        if (n == 0 && c == ' ') continue;
        out[n++] = c >= 0x20 && c < 0x7F ? (char)c : '?';
    }
    while (n > 0 && out[n - 1] == ' ') n--;
    out[n] = '\0';
}

static void take_first(const tiff *t, const field *f, ps_exif *exif, uint32_t *exif_directory) {
    switch (f->tag) {
    case TAG_MAKE:
        text(t, f, exif->make, sizeof exif->make);
        break;
    case TAG_MODEL:
        text(t, f, exif->model, sizeof exif->model);
        break;
    case TAG_DATE:
        text(t, f, exif->date, sizeof exif->date);
        break;
    case TAG_ORIENTATION: {
        double value = positive(t, f, 8);
        exif->orientation = value >= 1 ? (int)value : 1;
        break;
    }
    case TAG_EXIF_DIRECTORY:
        if (f->type == TYPE_LONG && f->count == 1) *exif_directory = get32(t, f->value_at);
        break;
    default:
        break;
    }
}

static void take_exif(const tiff *t, const field *f, ps_exif *exif) {
    switch (f->tag) {
    case TAG_DATE_ORIGINAL:
        text(t, f, exif->date, sizeof exif->date);
        break;
    case TAG_LENS_MODEL:
        text(t, f, exif->lens, sizeof exif->lens);
        break;
    case TAG_FOCAL:
        exif->focal_mm = positive(t, f, FOCAL_MAX_MM);
        break;
    case TAG_FOCAL_35MM:
        exif->focal_35mm_mm = positive(t, f, SHORT_MAX); /* whether it can be is for whoever uses it to say */
        break;
    case TAG_DIGITAL_ZOOM:
        exif->digital_zoom = positive(t, f, ZOOM_MAX);
        break;
    case TAG_PIXEL_WIDTH:
        exif->pixel_width = (int)positive(t, f, SIDE_MAX);
        break;
    case TAG_PIXEL_HEIGHT:
        exif->pixel_height = (int)positive(t, f, SIDE_MAX);
        break;
    default:
        break;
    }
}

/* How many whole entries of the directory at `at` lie inside; 0 if it does not. */
static size_t entries(const tiff *t, uint32_t at) {
    if (at < 8 || !inside(t, at, 2)) return 0;
    size_t said = get16(t, at), room = (t->size - at - 2) / ENTRY;
    return said < room ? said : room;
}

static field entry(const tiff *t, uint32_t directory, size_t i) {
    size_t at = (size_t)directory + 2 + ENTRY * i;
    return (field){.tag = get16(t, at), .type = get16(t, at + 2), .count = get32(t, at + 4), .value_at = at + 8};
}

ps_exif ps_exif_none(void) {
    ps_exif none;
    memset(&none, 0, sizeof none);
    none.orientation = 1;
    return none;
}

bool ps_exif_is(const uint8_t *payload, size_t size) {
    return size > HEADER && memcmp(payload, "Exif", 5) == 0; /* the sixth byte is 0, or 0xFF from some writers */
}

bool ps_exif_read(const uint8_t *payload, size_t size, ps_exif *exif) {
    *exif = ps_exif_none();
    if (!ps_exif_is(payload, size)) return false;
    tiff t = {.at = payload + HEADER, .size = size - HEADER};
    if (t.size < 8) return false;
    t.big_endian = t.at[0] == 'M';
    if (memcmp(t.at, "II", 2) != 0 && memcmp(t.at, "MM", 2) != 0) return false;
    if (get16(&t, 2) != 42) return false;

    uint32_t first = get32(&t, 4), second = 0;
    size_t count = entries(&t, first);
    exif->present = count > 0;
    for (size_t i = 0; i < count; i++) {
        field f = entry(&t, first, i);
        take_first(&t, &f, exif, &second);
    }
    count = entries(&t, second);
    for (size_t i = 0; i < count; i++) {
        field f = entry(&t, second, i);
        take_exif(&t, &f, exif);
    }
    return exif->present;
}
