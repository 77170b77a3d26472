/* What a dimension is called and how its numbers are rounded. */
#include "report/words.h"

#include <math.h>
#include <stdio.h>

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

const char *ps_words_cautions(void) {
    return "Before anyone measures by hand: attachment flat on firm ground and unable to tip, arm lowered, engine off, key out. Nobody "
           "under or in the swing of anything raised, no hands in joints, no hand, head or body between the ears. Move, loosen or drive "
           "no pin for this: measure what stands free and leave the rest to licensed service. The machine's manual and local rules come "
           "first.";
}
