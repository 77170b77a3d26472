/* What the ten dimensions are called, how well each must be known, and what it is taken with by hand. */
#include "pinspan/trade.h"

#include <stdio.h>

static const char *const kind_word[PS_KIND_COUNT] = {"gap", "pin", "centres", "bush", "proud"};

void ps_trade_name(ps_side side, ps_kind kind, int role, char name[40]) {
    const char *word = (unsigned)kind < PS_KIND_COUNT ? kind_word[kind] : "size";
    if (kind == PS_KIND_CENTRES)
        (void)snprintf(name, 40, "%s.%s", ps_side_word(side), word);
    else
        (void)snprintf(name, 40, "%s.%s.%s", ps_side_word(side), ps_role_word((ps_role)role), word);
}

double ps_trade_need_mm(ps_kind kind, ps_coupler coupler) {
    /* docs/design.md, 'Uncertainty and verdict': gaps are shimmed, a grab coupler's hook takes up centres. */
    static const double need_mm[PS_KIND_COUNT][2] = {
        [PS_KIND_GAP] = {2.0, 2.0},  [PS_KIND_PIN] = {0.5, 0.5},   [PS_KIND_CENTRES] = {1.0, 3.0},
        [PS_KIND_BUSH] = {1.0, 1.0}, [PS_KIND_PROUD] = {2.0, 2.0},
    };
    return (unsigned)kind < PS_KIND_COUNT ? need_mm[kind][coupler == PS_COUPLER_GRAB] : 0;
}

ps_instrument ps_trade_instrument(ps_kind kind) {
    return kind == PS_KIND_CENTRES || kind == PS_KIND_GAP ? PS_INSTRUMENT_TAPE : PS_INSTRUMENT_CALIPERS;
}
