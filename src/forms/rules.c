/* The rules by which both sides are held against each other. Every one is common practice without a source; its ground says why. */
#include "forms/rules.h"

static const ps_rule rule[PS_RULE_COUNT] = {
    [PS_RULE_PINS_MATCH] = {"pins-match", 0, 0.5, 1, /* mm that the diameters may differ by, beyond their bands */
                            "The same pin goes through both sides, so their diameters are alike within wear (common practice)."},
    [PS_RULE_GAPS_MATCH] = {"gaps-match", 0, 10, 5, /* mm: the attachment's gap wider than the machine's part in it */
                            "The machine's part goes into the attachment's gap and shims fill the rest, seldom more than 10 mm "
                            "(common practice)."},
    [PS_RULE_CENTRES_MATCH] = {"centres-match", 0, 2, 2, /* mm that the centre distances may differ by, beyond their bands */
                               "The link's lever on the attachment is its centre distance: another one shifts curl and break-out "
                               "(common practice; plain geometry)."},
    [PS_RULE_PINS_UNEQUAL] = {"pins-unequal", 0, 0.5, 0, /* mm between the pins of a side, beyond their bands */
                              "Machines below 40 t mostly have two pins of one size; unequal ones are often a reading on another part "
                              "(common practice)."},
    [PS_RULE_PIN_WEAR] = {"pin-wear", 0.3, 3, 0, /* mm below a nominal size */
                          "A pin some tenths below a nominal size is more likely worn than of a size of its own; what it was and what is "
                          "gone are told apart (common practice)."},
    [PS_RULE_GAP_ENTERS] = {"gap-enters", 0, 0, 0,
                            "A gap taken too small is shimmed, one taken too large makes a coupler that does not enter: so the width is "
                            "value - U (common practice)."},
    [PS_RULE_SIZE_RANGE] = {"size-range", 0, 0, 0,
                            "Machines of 0.5 to 150 t have no pins, gaps or centres beyond these (common practice)."},
};
static const double unequal_below_t = 40;

const ps_rule *ps_rules_get(ps_rule_code code) {
    return &rule[(unsigned)code < PS_RULE_COUNT ? code : PS_RULE_SIZE_RANGE];
}

void ps_rules_size_range(ps_kind kind, double *low_mm, double *high_mm) {
    static const double range[][2] = {[PS_KIND_GAP] = {40, 1000}, [PS_KIND_PIN] = {20, 180}, [PS_KIND_CENTRES] = {90, 1200}};
    bool known = kind == PS_KIND_GAP || kind == PS_KIND_PIN || kind == PS_KIND_CENTRES;
    *low_mm = known ? range[kind][0] : 0;
    *high_mm = known ? range[kind][1] : 1e9;
}

double ps_rules_unequal_below_t(void) {
    return unequal_below_t;
}
