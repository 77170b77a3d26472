/* The job file, schema pinspan.job/1 (docs/job.md). One fault is told: the first, with its line and its place. */
#include <ctype.h>
#include <errno.h>
#include <jansson.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "forms/place.h"
#include "photo/file.h"
#include "pinspan/forms.h"
#include "pinspan/target.h"
#include "pinspan/trade.h"

enum { FILE_MOST = 1 << 20, DEPTH_MOST_TEXT = 300 };
static const char schema[] = "pinspan.job/1";
static const double mm_per_inch = 25.4;
/* Limits of what can be at all; wide, because a form's mistakes (inches for millimetres, a string round the pin) must get in. */
static const double reading_most_mm = 30000, standoff_most_mm = 500, check_U_most_mm = 5, shims_most_mm = 200;
/* The check lines and the bands of their reading, as with pinspan measure --print-check. */
static const double check_nominal_mm[2] = {PS_CHECK_ACROSS_MM, PS_CHECK_ALONG_MM}, check_U_mm[2] = {0.15, 0.7}, standoff_U_mm = 2;

typedef struct reader {
    ps_context *ctx;
    ps_status status; /* of the first fault; later ones are not told */
    const char *text;
    size_t size;
    const char *folder;
    ps_forms_job *job;
} reader;

/* A value on the way, with its place. */
typedef struct node {
    ps_place place;
    const json_t *value; /* NULL: absent or null */
} node;

static void fault(reader *r, const node *n, const char *format, ...) PS_PRINTF(3, 4);
static void fault(reader *r, const node *n, const char *format, ...) {
    if (r->status != PS_OK) return;
    char name[DEPTH_MOST_TEXT], what[300];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(what, sizeof what, format, arguments);
    va_end(arguments);
    ps_place_name(&n->place, name, sizeof name);
    int line = ps_place_line(r->text, ps_place_find(r->text, r->size, &n->place));
    r->status = ps_context_fail(r->ctx, PS_BAD_FILE, "line %d: %s%s%s", line, name, *name ? ": " : "", what);
}

static node member(const node *n, const char *key) {
    const json_t *value = json_object_get(n->value, key);
    return (node){{&n->place, key, 0}, json_is_null(value) ? NULL : value};
}

static node element(const node *n, int index) {
    return (node){{&n->place, NULL, index}, json_array_get(n->value, (size_t)index)};
}

/* False where there is nothing to read, or nothing that can be read. `keys` ends with NULL. */
static bool object(reader *r, const node *n, const char *const *keys) {
    if (!n->value || r->status != PS_OK) return false;
    if (!json_is_object(n->value)) {
        fault(r, n, "is not an object");
        return false;
    }
    const char *key;
    json_t *value, *root = (json_t *)(uintptr_t)n->value; /* jansson's loop wants it without const and changes nothing */
    json_object_foreach(root, key, value) {
        bool known = strcmp(key, "about") == 0; /* explanations may stand anywhere */
        for (int i = 0; keys[i] && !known; i++) known = strcmp(keys[i], key) == 0;
        node wrong = {{&n->place, key, 0}, value};
        if (!known) fault(r, &wrong, "is no key of the job file");
    }
    return r->status == PS_OK;
}

static int list(reader *r, const node *n, int most) {
    if (!n->value || r->status != PS_OK) return 0;
    if (!json_is_array(n->value)) {
        fault(r, n, "is not a list");
        return 0;
    }
    int count = (int)json_array_size(n->value);
    if (count > most) fault(r, n, "has %d entries, at most %d can be taken", count, most);
    return r->status == PS_OK ? count : 0;
}

static const char *text_of(reader *r, const node *n, size_t room) {
    if (!n->value) return NULL;
    if (!json_is_string(n->value)) {
        fault(r, n, "is not a text");
        return NULL;
    }
    if (json_string_length(n->value) >= room) {
        fault(r, n, "is longer than %zu bytes", room - 1);
        return NULL;
    }
    return json_string_value(n->value);
}

static void take_text(reader *r, const node *parent, const char *key, char *to, size_t room) {
    node n = member(parent, key);
    const char *text = text_of(r, &n, room);
    if (text) (void)snprintf(to, room, "%s", text);
}

static int take_yes(reader *r, const node *parent, const char *key, int when_absent) {
    node n = member(parent, key);
    if (!n.value) return when_absent;
    if (!json_is_boolean(n.value)) fault(r, &n, "is not true or false");
    return json_is_true(n.value);
}

/* Index in `words` (ends with NULL), `when_absent` when not given. */
static int take_word(reader *r, const node *parent, const char *key, const char *const *words, int when_absent) {
    node n = member(parent, key);
    const char *text = text_of(r, &n, 60);
    if (!text) return when_absent;
    char listed[240] = "";
    for (int i = 0; words[i]; i++) {
        if (strcmp(words[i], text) == 0) return i;
        (void)snprintf(listed + strlen(listed), sizeof listed - strlen(listed), "%s%s",
                       i == 0         ? ""
                       : words[i + 1] ? ", "
                                      : " or ",
                       words[i]);
    }
    fault(r, &n, "is %s, not '%s'", listed, text);
    return when_absent;
}

static bool within(reader *r, const node *n, double value, double low, double high, const char *unit) {
    if (value >= low && value <= high) return true;
    fault(r, n, "%g%s cannot be (%g to %g)", value, unit, low, high);
    return false;
}

static double take_number(reader *r, const node *parent, const char *key, double low, double high, double when_absent) {
    node n = member(parent, key);
    if (!n.value) return when_absent;
    if (!json_is_number(n.value)) {
        fault(r, &n, "is not a number");
        return when_absent;
    }
    double value = json_number_value(n.value);
    return within(r, &n, value, low, high, "") ? value : when_absent;
}

/* ---- lengths: a number of millimetres, or a text such as "12.5 mm", "0.5 in", "17 5/8 in" ---- */

typedef struct length {
    double value, step; /* in its unit; step: what the last written digit is worth */
    char written[32];   /* without the unit */
    int unit;           /* 0 mm, 1 in, -1 not said */
} ps_length;

static double decimal_step(const char *digits, size_t size) {
    const char *point = memchr(digits, '.', size);
    double step = 1;
    if (point)
        for (const char *p = point + 1; p < digits + size && isdigit((unsigned char)*p); p++) step /= 10;
    return step;
}

/* A plain decimal number at *at, which moves behind it. */
static bool scan_decimal(const char **at, double *value, double *step) {
    size_t size = strspn(*at, "0123456789.");
    char digits[32], *end = NULL;
    if (size == 0 || size >= sizeof digits) return false;
    memcpy(digits, *at, size);
    digits[size] = 0;
    *value = strtod(digits, &end);
    if (*end) return false;
    *step = decimal_step(digits, size);
    *at += size;
    return true;
}

/* "5/8" at *at with both parts whole. */
static bool halves(long below) {
    return (below & (below - 1)) == 0;
}

static bool scan_fraction(const char **at, double *value, double *step) {
    char *end = NULL;
    long above = strtol(*at, &end, 10);
    if (end == *at || *end != '/' || above < 0) return false;
    const char *below_at = end + 1;
    if (!isdigit((unsigned char)*below_at)) return false;
    long below = strtol(below_at, &end, 10);
    if (below < 2 || below > 128 || !halves(below) || above >= below) return false; /* rules are divided by halves: 5/7 is a slip */
    *value = (double)above / (double)below, *step = 1.0 / (double)below;
    *at = end;
    return true;
}

static bool scan_length(const char *text, ps_length *l) {
    const char *at = text, *written_end;
    double fraction = 0;
    while (*at == ' ') at++;
    const char *begin = at;
    l->unit = -1;
    if (!scan_fraction(&at, &l->value, &l->step)) {
        if (!scan_decimal(&at, &l->value, &l->step)) return false;
        const char *next = at + strspn(at, " -");
        if (next > at && isdigit((unsigned char)*next)) {
            if (memchr(begin, '.', (size_t)(at - begin)) || !scan_fraction(&next, &fraction, &l->step)) return false;
            l->value += fraction;
            at = next;
        }
    }
    written_end = at;
    at += strspn(at, " ");
    if (strncmp(at, "mm", 2) == 0)
        l->unit = 0, at += 2;
    else if (strncmp(at, "in", 2) == 0)
        l->unit = 1, at += 2;
    at += strspn(at, " ");
    size_t size = (size_t)(written_end - begin);
    if (*at || size >= sizeof l->written) return false;
    memcpy(l->written, begin, size);
    l->written[size] = 0;
    return true;
}

static bool read_length(reader *r, const node *n, ps_length *l) {
    if (json_is_string(n->value)) {
        if (json_string_length(n->value) < 60 && scan_length(json_string_value(n->value), l)) return true;
        fault(r, n, "is no length such as 449, \"449 mm\" or \"17 5/8 in\"");
        return false;
    }
    if (!json_is_number(n->value)) {
        fault(r, n, "is no length such as 449, \"449 mm\" or \"17 5/8 in\"");
        return false;
    }
    /* The digits as they stand in the file: 64.70 was read to hundredths. */
    const char *token = ps_place_find(r->text, r->size, &n->place);
    size_t size = strspn(token, "+-0123456789.eE");
    l->value = json_number_value(n->value);
    l->unit = -1;
    l->step = memchr(token, 'e', size) || memchr(token, 'E', size) ? 1 : decimal_step(token, size);
    (void)snprintf(l->written, sizeof l->written, "%.*s", (int)size, token);
    return true;
}

/* Millimetres; NaN when absent. */
static double take_length(reader *r, const node *parent, const char *key, double low_mm, double high_mm) {
    node n = member(parent, key);
    ps_length l = {0};
    if (!n.value || !read_length(r, &n, &l)) return NAN;
    double mm = l.value * (l.unit == 1 ? mm_per_inch : 1);
    return within(r, &n, mm, low_mm, high_mm, " mm") ? mm : NAN;
}

/* ---- files ---- */

static char *join(const char *folder, const char *name) {
    size_t room = strlen(folder) + strlen(name) + 2;
    char *path = malloc(room);
    if (path) (void)snprintf(path, room, "%s%s%s", name[0] == '/' ? "" : folder, name[0] == '/' || !*folder ? "" : "/", name);
    return path;
}

/* The same photo twice would count as two and make the band too narrow. */
static bool seen_before(const reader *r, const struct stat *about) {
    for (int side = 0; side < PS_FORMS_SIDES; side++)
        for (int i = 0; i < r->job->side[side].photo_count; i++) {
            char *path = join(r->folder, r->job->side[side].photo[i]);
            struct stat other;
            bool same = path && stat(path, &other) == 0 && other.st_dev == about->st_dev && other.st_ino == about->st_ino;
            free(path);
            if (same) return true;
        }
    return false;
}

static char *take_file(reader *r, const node *n, bool photo) {
    const char *name = text_of(r, n, 1000);
    if (!name) return NULL;
    if (!*name) fault(r, n, "is an empty name");
    if (r->folder && r->status == PS_OK) {
        struct stat about;
        char *path = join(r->folder, name);
        int there = path ? stat(path, &about) : 0;
        if (there != 0)
            fault(r, n, "'%.200s': %s", name, strerror(errno));
        else if (path && !S_ISREG(about.st_mode))
            fault(r, n, "'%.200s' is not a regular file", name);
        else if (path && photo && seen_before(r, &about))
            fault(r, n, "'%.200s' was given before; each photo counts once", name);
        free(path);
    }
    char *copy = r->status == PS_OK ? strdup(name) : NULL;
    if (!copy && r->status == PS_OK) r->status = ps_context_fail(r->ctx, PS_NO_MEMORY, "out of memory for the job file");
    return copy;
}

/* ---- a side ---- */

static void take_check(reader *r, const node *n, ps_measure_options *o) {
    static const char *const keys[] = {"piece", "line", "read", "U", NULL};
    static const char *const lines[] = {"across", "along", NULL};
    if (!object(r, n, keys)) return;
    int line = take_word(r, n, "line", lines, -1);
    node read = member(n, "read"), piece = member(n, "piece");
    if (json_is_null(json_object_get(n->value, "read"))) return; /* not measured yet */
    if (line < 0) fault(r, n, "line is missing: across or along");
    if (!read.value) fault(r, n, "read is missing: the length of the line as measured on the paper");
    if (r->status != PS_OK) return;
    ps_print_check c = {.piece = -1, .along = line == 1, .U_mm = check_U_mm[line]};
    c.read_mm = take_length(r, n, "read", 0.5 * check_nominal_mm[line], 2 * check_nominal_mm[line]);
    double U = take_length(r, n, "U", PS_READING_U_LEAST_MM, check_U_most_mm);
    if (!isnan(U)) c.U_mm = U;
    const char *name = text_of(r, &piece, 40);
    if (name) c.piece = ps_kit_find(name);
    if (name && c.piece < 0) fault(r, &piece, "'%s' is no piece of the kit", name);
    for (int i = 0; i < o->check_count; i++)
        if (o->check[i].piece == c.piece && o->check[i].along == c.along) fault(r, n, "this line was given before");
    if (r->status == PS_OK) o->check[o->check_count++] = c;
}

static void take_standoff(reader *r, const node *n, ps_measure_options *o) {
    static const char *const keys[] = {"pin", "value", "U", NULL};
    static const char *const pins[] = {"dipper", "link", NULL};
    if (!object(r, n, keys)) return;
    int pin = take_word(r, n, "pin", pins, -1);
    ps_standoff s = {.given = true, .U_mm = standoff_U_mm};
    s.mm = take_number(r, n, "value", -standoff_most_mm, standoff_most_mm, NAN);
    double U = take_length(r, n, "U", PS_READING_U_LEAST_MM, standoff_most_mm);
    if (!isnan(U)) s.U_mm = U;
    if (isnan(s.mm)) fault(r, n, "value is missing: millimetres in front of the sheet, negative behind it");
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        if (pin >= 0 && pin != role) continue;
        if (o->standoff[role].given) fault(r, n, "the %s pin's stand-off was given before", ps_role_word((ps_role)role));
        o->standoff[role] = s;
    }
}

static void take_side(reader *r, const node *n, ps_side side) {
    static const char *const keys[] = {"photos", "serial_photo", "camera", "print_checks", "standoffs", "roles", "dipper", NULL};
    static const char *const roles[] = {"sure", "unsure", NULL}, *const directions[] = {"left", "right", "up", "down", NULL};
    ps_forms_side *to = &r->job->side[side];
    if (!object(r, n, keys)) return;
    node photos = member(n, "photos"), checks = member(n, "print_checks"), standoffs = member(n, "standoffs");
    node serial = member(n, "serial_photo"), camera = member(n, "camera");
    for (int i = 0, count = list(r, &photos, PS_ADJUST_PHOTOS_MAX); i < count && r->status == PS_OK; i++) {
        node photo = element(&photos, i);
        char *name = take_file(r, &photo, true);
        if (name) to->photo[to->photo_count++] = name;
    }
    for (int i = 0, count = list(r, &checks, PS_CHECKS_MAX); i < count && r->status == PS_OK; i++) {
        node check = element(&checks, i);
        take_check(r, &check, &to->options);
    }
    for (int i = 0, count = list(r, &standoffs, PS_ROLE_COUNT); i < count && r->status == PS_OK; i++) {
        node standoff = element(&standoffs, i);
        take_standoff(r, &standoff, &to->options);
    }
    to->serial_photo = take_file(r, &serial, false);
    to->camera = take_file(r, &camera, false);
    to->options.roles_unsure = take_word(r, n, "roles", roles, 0) == 1;
    int direction = take_word(r, n, "dipper", directions, -1);
    if (direction >= 0) to->options.dipper = (ps_direction)(PS_DIRECTION_LEFT + direction);
}

/* ---- readings ---- */

static bool take_dimension(reader *r, const node *n, ps_forms_reading *to) {
    node name = member(n, "dimension");
    const char *text = text_of(r, &name, 60);
    if (!text) {
        fault(r, n, "dimension is missing, such as \"attachment.dipper.pin\"");
        return false;
    }
    for (int side = 0; side < PS_FORMS_SIDES; side++)
        for (int kind = PS_KIND_GAP; kind <= PS_KIND_CENTRES; kind++)
            for (int role = 0; role < (kind == PS_KIND_CENTRES ? 1 : PS_ROLE_COUNT); role++) {
                char wanted[40];
                ps_trade_name((ps_side)side, (ps_kind)kind, role, wanted);
                if (strcmp(wanted, text) != 0) continue;
                to->side = (ps_side)side, to->kind = (ps_kind)kind, to->role = kind == PS_KIND_CENTRES ? -1 : role;
                return true;
            }
    fault(r, &name, "'%s' is none of the ten dimensions, such as attachment.dipper.pin", text);
    return false;
}

static void take_way(reader *r, const node *n, ps_forms_reading *to) {
    static const int first[] = {[PS_KIND_GAP] = PS_WAY_BUSH_FACES, [PS_KIND_PIN] = PS_WAY_DIAMETER, [PS_KIND_CENTRES] = PS_WAY_CENTRES};
    static const int last[] = {[PS_KIND_GAP] = PS_WAY_EAR_PLATES, [PS_KIND_PIN] = PS_WAY_AROUND, [PS_KIND_CENTRES] = PS_WAY_BACKS};
    const char *words[PS_WAY_COUNT + 1] = {0};
    int count = 0;
    for (int w = first[to->kind]; w <= last[to->kind]; w++) words[count++] = ps_forms_way_word((ps_forms_way)w);
    int way = take_word(r, n, "way", words, -1);
    to->way_given = way >= 0;
    to->way = (ps_forms_way)(first[to->kind] + (way > 0 ? way : 0));
}

static void take_value(reader *r, const node *n, ps_forms_reading *to) {
    static const char *const units[] = {"mm", "in", NULL};
    int unit = take_word(r, n, "unit", units, -1);
    node value = member(n, "value");
    ps_length l = {0};
    if (!value.value) fault(r, n, "value is missing");
    if (r->status != PS_OK || !read_length(r, &value, &l)) return;
    if (unit >= 0 && l.unit >= 0 && unit != l.unit) fault(r, &value, "has another unit than the key 'unit'");
    to->inch = (unit >= 0 ? unit : l.unit) == 1;
    double factor = to->inch ? mm_per_inch : 1;
    if (!(l.value > 0) || l.value * factor > reading_most_mm)
        fault(r, &value, "%s %s cannot be (above 0, at most %g mm)", l.written, to->inch ? "in" : "mm", reading_most_mm);
    to->value_mm = l.value * factor, to->step_mm = l.step * factor;
    memcpy(to->written, l.written, sizeof to->written);
}

static void take_reading(reader *r, const node *n, bool tape) {
    static const char *const keys[] = {"dimension", "value", "unit", "instrument", "way", "place", "shims", "shim_total", "note", NULL};
    static const char *const instruments[] = {"calipers", "tape", NULL}, *const places[] = {"plate", "ends", NULL},
                             *const shims[] = {"out", "in", NULL};
    ps_forms_reading to = {.tape = tape, .shim_mm = NAN};
    if (!json_is_object(n->value)) fault(r, n, "is not an object");
    if (!object(r, n, keys) || !take_dimension(r, n, &to)) return;
    if (json_is_null(json_object_get(n->value, "value"))) return; /* a line of the form that was left empty */
    take_value(r, n, &to);
    take_way(r, n, &to);
    int instrument = take_word(r, n, "instrument", instruments, -1);
    to.instrument_given = instrument >= 0 || tape;
    to.instrument = instrument >= 0 ? (ps_instrument)(PS_INSTRUMENT_CALIPERS + instrument)
                    : tape          ? PS_INSTRUMENT_TAPE
                                    : ps_trade_instrument(to.kind);
    node place = member(n, "place"), shim = member(n, "shims"), total = member(n, "shim_total");
    if (place.value && to.kind != PS_KIND_CENTRES) fault(r, &place, "is told of centres only");
    if ((shim.value || total.value) && to.kind != PS_KIND_GAP) fault(r, shim.value ? &shim : &total, "is told of gaps only");
    to.place = (ps_forms_place)(take_word(r, n, "place", places, -1) + PS_PLACE_PLATE);
    to.shims = (ps_forms_shims)(take_word(r, n, "shims", shims, -1) + PS_SHIMS_OUT);
    if (total.value) to.shim_mm = take_length(r, n, "shim_total", 0, shims_most_mm);
    take_text(r, n, "note", to.note, sizeof to.note);
    ps_place_name(&n->place, to.where, sizeof to.where);
    for (int i = 0; i < r->job->reading_count && !tape; i++) {
        const ps_forms_reading *other = &r->job->reading[i];
        if (!other->tape && other->side == to.side && other->kind == to.kind && other->role == to.role)
            fault(r, n, "this dimension was given before, by %s; further readings go under tape", other->where);
    }
    if (r->status == PS_OK) r->job->reading[r->job->reading_count++] = to;
}

static void take_readings(reader *r, const node *root, const char *key, bool tape) {
    node readings = member(root, key);
    int count = list(r, &readings, PS_FORMS_READINGS_MAX - r->job->reading_count);
    for (int i = 0; i < count && r->status == PS_OK; i++) {
        node n = element(&readings, i);
        take_reading(r, &n, tape);
    }
}

/* ---- the whole ---- */

static void take_machine(reader *r, const node *root) {
    static const char *const keys[] = {"make", "model", "year", "class_t", NULL};
    struct ps_forms_machine *to = &r->job->machine;
    node n = member(root, "machine");
    to->class_t = NAN;
    if (!object(r, &n, keys)) return;
    take_text(r, &n, "make", to->make, sizeof to->make);
    take_text(r, &n, "model", to->model, sizeof to->model);
    double year = take_number(r, &n, "year", 1900, 2100, 0);
    node written = member(&n, "year");
    if (year != floor(year)) fault(r, &written, "%g is not a whole year", year);
    to->year = (int)year;
    to->class_t = take_number(r, &n, "class_t", 0.1, 1000, NAN);
}

static void take_order(reader *r, const node *root) {
    static const char *const attachment_keys[] = {"type", NULL}, *const coupler_keys[] = {"style", "tilt", NULL},
                             *const ear_keys[] = {"thickness", "radius", "clearance", NULL}, *const styles[] = {"fixed", "grab", NULL},
                             *const hydraulic_keys[] = {"lines", "couplings", "pressure", "flow", NULL};
    ps_forms_job *job = r->job;
    node attachment = member(root, "attachment"), coupler = member(root, "coupler"), ears = member(root, "ears"),
         hydraulics = member(root, "hydraulics");
    if (object(r, &attachment, attachment_keys)) take_text(r, &attachment, "type", job->attachment_type, sizeof job->attachment_type);
    if (object(r, &coupler, coupler_keys)) {
        int style = take_word(r, &coupler, "style", styles, -1);
        job->coupler_given = style >= 0;
        if (style >= 0) job->coupler = (ps_coupler)style;
        job->tilt = take_yes(r, &coupler, "tilt", -1);
    }
    if (object(r, &ears, ear_keys)) {
        job->ear_thickness_mm = take_length(r, &ears, "thickness", 3, 400);
        job->ear_radius_mm = take_length(r, &ears, "radius", 5, 2000);
        job->ear_clearance_mm = take_length(r, &ears, "clearance", 0, 2000);
    }
    if (object(r, &hydraulics, hydraulic_keys)) {
        take_text(r, &hydraulics, "lines", job->hydraulics.lines, sizeof job->hydraulics.lines);
        take_text(r, &hydraulics, "couplings", job->hydraulics.couplings, sizeof job->hydraulics.couplings);
        take_text(r, &hydraulics, "pressure", job->hydraulics.pressure, sizeof job->hydraulics.pressure);
        take_text(r, &hydraulics, "flow", job->hydraulics.flow, sizeof job->hydraulics.flow);
    }
    take_text(r, root, "pin_retention", job->pin_retention, sizeof job->pin_retention);
    take_text(r, root, "country", job->country, sizeof job->country);
    job->lifting_eye = take_yes(r, root, "lifting_eye", -1);
}

static void take_root(reader *r, const node *root) {
    static const char *const keys[] = {"schema",  "title",         "note", "invented",    "machine", "attachment",
                                       "coupler", "pin_retention", "ears", "lifting_eye", "country", "hydraulics",
                                       "inch",    "sides",         "form", "tape",        NULL},
                             *const side_keys[] = {"attachment", "machine", NULL};
    node word = member(root, "schema");
    if (!json_is_string(word.value) || strcmp(json_string_value(word.value), schema) != 0) {
        fault(r, &word, "is not \"%s\": this is no job file", schema);
        return;
    }
    if (!object(r, root, keys)) return;
    take_text(r, root, "title", r->job->title, sizeof r->job->title);
    take_text(r, root, "note", r->job->note, sizeof r->job->note);
    r->job->invented = take_yes(r, root, "invented", 0);
    r->job->inch = take_yes(r, root, "inch", 0);
    take_machine(r, root);
    take_order(r, root);
    node sides = member(root, "sides");
    if (object(r, &sides, side_keys))
        for (int side = 0; side < PS_FORMS_SIDES; side++) {
            node n = member(&sides, side_keys[side]);
            take_side(r, &n, (ps_side)side);
        }
    take_readings(r, root, "form", false);
    take_readings(r, root, "tape", true);
    const ps_forms_job *job = r->job;
    if (job->reading_count == 0 && job->side[0].photo_count == 0 && job->side[1].photo_count == 0)
        fault(r, root, "the job has neither photos nor readings");
}

static void start(ps_forms_job *job) {
    memset(job, 0, sizeof *job);
    job->tilt = job->lifting_eye = -1;
    job->ear_thickness_mm = job->ear_radius_mm = job->ear_clearance_mm = NAN;
    for (int side = 0; side < PS_FORMS_SIDES; side++) job->side[side].options = ps_measure_options_default();
}

static ps_status read_text(ps_context *ctx, const char *text, size_t size, const char *folder, ps_forms_job *job) {
    json_error_t error;
    json_t *root = json_loadb(text, size, JSON_REJECT_DUPLICATES, &error);
    if (!root) return ps_context_fail(ctx, PS_BAD_FILE, "line %d: no JSON: %s", error.line, error.text);
    reader r = {.ctx = ctx, .status = PS_OK, .text = text, .size = size, .folder = folder, .job = job};
    node whole = {{NULL, NULL, 0}, root};
    if (json_is_object(root))
        take_root(&r, &whole);
    else
        fault(&r, &whole, "is not an object: this is no job file");
    json_decref(root);
    for (int side = 0; side < PS_FORMS_SIDES; side++) {
        job->side[side].options.side = (ps_side)side;
        job->side[side].options.coupler = job->coupler;
    }
    return r.status;
}

ps_status ps_forms_job_parse(ps_context *ctx, const char *text, size_t size, const char *folder, ps_forms_job *job) {
    if (size > FILE_MOST) return ps_context_fail(ctx, PS_TOO_LARGE, "is too large for a job file");
    if (size >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) text += 3, size -= 3; /* the mark that some editors write first */
    ps_forms_job *made = malloc(sizeof *made);
    char *copy = malloc(size + 1); /* ends in 0, so that looking at a number's digits stops */
    ps_status status = made && copy ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the job file");
    if (status == PS_OK) {
        memcpy(copy, text, size);
        copy[size] = 0;
        start(made);
        status = read_text(ctx, copy, size, folder, made);
        made->folder = status == PS_OK && folder ? strdup(folder) : NULL;
        if (status == PS_OK && folder && !made->folder) status = ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the job file");
        if (status == PS_OK)
            *job = *made;
        else
            ps_forms_job_clear(made);
    }
    free(copy);
    free(made);
    return status;
}

static char *folder_of(const char *path) {
    const char *slash = strrchr(path, '/');
    if (!slash) return strdup("");
    size_t size = slash == path ? 1 : (size_t)(slash - path);
    char *folder = malloc(size + 1);
    if (!folder) return NULL;
    memcpy(folder, path, size);
    folder[size] = 0;
    return folder;
}

ps_status ps_forms_job_read(ps_context *ctx, const char *path, ps_forms_job *job) {
    ps_file file;
    ps_status status = ps_file_read(ctx, path, FILE_MOST, &file);
    if (status != PS_OK) return status;
    char *folder = folder_of(path), *own = strdup(path);
    status = folder && own ? ps_forms_job_parse(ctx, (const char *)file.data, file.size, folder, job)
                           : ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the job file");
    free(folder);
    ps_file_clear(&file);
    if (status == PS_OK)
        job->path = own;
    else
        free(own);
    return status;
}

void ps_forms_job_clear(ps_forms_job *job) {
    if (!job) return;
    for (int side = 0; side < PS_FORMS_SIDES; side++) {
        for (int i = 0; i < job->side[side].photo_count; i++) free(job->side[side].photo[i]);
        free(job->side[side].serial_photo);
        free(job->side[side].camera);
    }
    free(job->path);
    free(job->folder);
    memset(job, 0, sizeof *job);
}
