/* How a size is taken by hand. Nobody is told to move, loosen or drive a pin: what stands free is measured, the rest is
 * left to licensed service (docs/verdicts.md). */
#include "gauge/how.h"

#include <stdio.h>

static const char *safe(ps_side side) {
    return side == PS_SIDE_MACHINE ? "Arm lowered to the ground, engine off, key out"
                                   : "Attachment flat on firm ground, engine off, key out";
}

static void how_gap(ps_side side, const char *role, char how[320]) {
    if (side == PS_SIDE_MACHINE)
        (void)snprintf(how, 320,
                       "%s: tape along the %s pin between the inward bush faces, or over the outward faces of a single boss. No hand, head "
                       "or body between the ears; if that cannot be done, leave it to licensed service.",
                       safe(side), role);
    else
        (void)snprintf(how, 320,
                       "%s, unable to tip: tape along the %s pin from one inward bush face straight to the other, from outside. No hand, "
                       "head or body between the ears; if that cannot be done, leave it to licensed service.",
                       safe(side), role);
}

static void how_over(ps_side side, const char *role, char how[320]) {
    (void)snprintf(how, 320,
                   "%s: calipers, or a tape between two straight edges laid flat on the ends, along the %s pin over the outward bush faces "
                   "of the boss, not over its own ends or a pin that stands out; read twice. Where the machine's manual says otherwise, "
                   "follow it.",
                   safe(side), role);
}

void ps_gauge_how(ps_side side, ps_kind kind, int role, bool pins_equal, bool over, char how[320]) {
    const char *word = role >= 0 ? ps_role_word((ps_role)role) : "";
    if (kind == PS_KIND_GAP && over)
        how_over(side, word, how);
    else if (kind == PS_KIND_GAP)
        how_gap(side, word, how);
    else if (kind == PS_KIND_PIN)
        (void)snprintf(
            how, 320,
            "%s: calipers square over the %s pin's clean working cylinder, behind chamfer and taper, not on a cap or collar, twice "
            "at right angles. Only where the pin already stands free; else leave it to licensed service.",
            safe(side), word);
    else if (kind == PS_KIND_BUSH)
        (void)snprintf(how, 320, "%s: calipers over the %s bush's outer cylinder, behind the chamfer of its face, twice at right angles.",
                       safe(side), word);
    else if (kind == PS_KIND_PROUD)
        (void)snprintf(
            how, 320,
            "%s: the calipers' depth rod, or a rule, from the %s pin's flat end to the bush's flat face, along the pin, at two places.",
            safe(side), word);
    else if (pins_equal)
        (void)snprintf(
            how, 320,
            "%s: tape from the front edge of one pin to the front edge of the other, the same side of both. Keep the tape parallel "
            "to the ear plate, not diagonal where the ends stand out differently; read twice.",
            safe(side));
    else
        (void)snprintf(
            how, 320,
            "%s: tape between the pins' inner edges, then over their outer edges; the mean of both is the distance of the centres. "
            "Keep the tape parallel to the ear plate, not diagonal where the ends stand out differently; read twice.",
            safe(side));
}
