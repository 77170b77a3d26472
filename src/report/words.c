/* What a dimension is called and how its numbers are rounded. */
#include "report/words.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "report/text.h"

void ps_words_dimension(const ps_dimension *d, char *text, size_t size) {
    static const char *const name[PS_KIND_COUNT] = {"gap, bush face to bush face", "pin diameter", "centre distance", "bush outer diameter",
                                                    "pin stand-out"};
    const char *what = (unsigned)d->kind < PS_KIND_COUNT ? name[d->kind] : "size";
    if (d->role < 0)
        (void)snprintf(text, size, "%s", what);
    else
        (void)snprintf(text, size, "%s %s", ps_role_word((ps_role)d->role),
                       d->kind == PS_KIND_GAP && d->over ? "gap, over the boss" : what);
}

void ps_words_short(const ps_dimension *d, char *text, size_t size) {
    static const char *const name[PS_KIND_COUNT] = {"gap", "pin", "centres", "bush", "stand-out"};
    const char *what = (unsigned)d->kind < PS_KIND_COUNT ? name[d->kind] : "size";
    if (d->role < 0)
        (void)snprintf(text, size, "%s", what);
    else
        (void)snprintf(text, size, "%s %s", ps_role_word((ps_role)d->role), what);
}

bool ps_words_has_value(const ps_dimension *d) {
    return d->verdict != PS_VERDICT_MISSING && isfinite(d->value_mm) && isfinite(d->u_mm) && isfinite(d->U_mm) && d->u_mm > 0 &&
           d->U_mm > 0;
}

int ps_words_decimals(double U) {
    return U < 0.995 ? 2 : U < 9.95 ? 1 : 0;
}

double ps_words_round_up(double U, int decimals) {
    double step = pow(10.0, -decimals);
    return ceil(U / step - 1e-6) * step; /* 1e-6: 0.20 stays 0.20 although it is not exact in binary */
}

void ps_words_band(double mm, double U_mm, bool inch, char *text, size_t size) {
    const double unit_mm = inch ? 25.4 : 1;
    if (!isfinite(mm) || !isfinite(U_mm)) {
        (void)snprintf(text, size, "-");
        return;
    }
    int decimals = ps_words_decimals(U_mm) + (inch ? 1 : 0);
    (void)snprintf(text, size, "%.*f ± %.*f", decimals, mm / unit_mm, decimals, ps_words_round_up(U_mm / unit_mm, decimals));
}

/* Start of the number that ends before `end`, NULL when none does; its decimals. */
static const char *number_before(const char *text, const char *end, int *decimals) {
    const char *at = end, *point = NULL;
    while (at > text && ((at[-1] >= '0' && at[-1] <= '9') || (at[-1] == '.' && !point))) {
        at--;
        if (*at == '.') point = at;
    }
    if (at == end || *at == '.' || end[-1] == '.') return NULL;
    if (at > text + 1 && at[-1] == '-' && ((at[-2] >= 'a' && at[-2] <= 'z') || (at[-2] >= 'A' && at[-2] <= 'Z'))) return NULL; /* a name */
    if (at > text && ((at[-1] >= 'a' && at[-1] <= 'z') || (at[-1] >= 'A' && at[-1] <= 'Z') || at[-1] == '.'))
        return NULL; /* part of a word */
    *decimals = point ? (int)(end - point) - 1 : 0;
    return at;
}

/* What joins two numbers of one unit, as it stands before the second. */
static const char *joint_before(const char *text, const char *at) {
    static const char *const joint[] = {" to ", " and ", " ± ", " or "};
    for (size_t i = 0; i < sizeof joint / sizeof joint[0]; i++) {
        size_t length = strlen(joint[i]);
        if ((size_t)(at - text) > length && strncmp(at - length, joint[i], length) == 0) return joint[i];
    }
    return NULL;
}

/* " (28.3 in)" for the number, or two joined ones, before " mm". */
static void add_inches(ps_text *out, const char *text, const char *unit) {
    int decimals, first_decimals;
    const char *number = number_before(text, unit, &decimals), *joint = number ? joint_before(text, number) : NULL;
    const char *first = joint ? number_before(text, number - strlen(joint), &first_decimals) : NULL;
    const double mm_per_inch = 25.4;
    if (!number) return;
    ps_text_add(out, " (");
    if (number > text && number[-1] == '+') ps_text_add(out, "+");
    if (number > text && number[-1] == '-') ps_text_add(out, "-");
    if (first) ps_text_add(out, "%.*f%s", first_decimals + 1, strtod(first, NULL) / mm_per_inch, joint);
    ps_text_add(out, "%.*f in)", decimals + 1, strtod(number, NULL) / mm_per_inch);
}

char *ps_words_inches(const char *text) {
    ps_text out = {0};
    const char *from = text;
    for (const char *at = text; (at = strstr(at, " mm")); at += 3) {
        if ((at[3] >= 'a' && at[3] <= 'z') || (at[3] >= '0' && at[3] <= '9')) continue;
        ps_text_add(&out, "%.*s", (int)(at + 3 - from), from);
        from = at + 3;
        if (strncmp(from, " ± ", 4) != 0) add_inches(&out, text, at); /* "446.1 mm ± 2.2" is left: the band has no unit behind it */
    }
    ps_text_add(&out, "%s", from);
    if (!out.failed) return out.bytes;
    ps_text_clear(&out);
    return NULL;
}

bool ps_words_same_note(const ps_note *a, const ps_note *b) {
    return a->code == b->code && strcmp(a->text, b->text) == 0;
}

bool ps_words_said_before(const ps_record *record, int index, const ps_note *note) {
    for (int i = 0; i < index; ++i)
        for (int k = 0; k < record->dimension[i].reasons.count; ++k)
            if (ps_words_same_note(&record->dimension[i].reasons.note[k], note)) return true;
    return false;
}

const char *ps_words_cautions(void) {
    return "Before anyone measures by hand: attachment flat on firm ground and unable to tip, arm lowered, engine off, key out. Nobody "
           "under or in the swing of anything raised, no hands in joints, no hand, head or body between the ears. Move, loosen or drive "
           "no pin for this: measure what stands free and leave the rest to licensed service. The machine's manual and local rules come "
           "first.";
}
