/* Which photos go together: see hearing.h. */
#include "gauge/hearing.h"

#include <math.h>

/* Pins that single photos show add up to what a pin and its bush show when they are seen, not all of it in one photo. */
static const double worth_alone_sum = 4;
static const double worth_alone_clear = 2; /* one pin alone, where the other is not read: such a one is read by two photos together too */

double ps_heard_fainter(const ps_pin_models *pins) {
    return pins->count == PS_ROLE_COUNT ? fmin(pins->pin[0].evidence.worth, pins->pin[1].evidence.worth) : -1;
}

double ps_heard_clearer(const ps_pin_models *pins) {
    double best = 0;
    for (int p = 0; p < pins->count; p++) best = fmax(best, pins->pin[p].evidence.worth);
    return best;
}

int ps_hearing_odd_of_two(const ps_hearing *h) {
    double best = PS_HEARD_LEAST;
    int odd = -1;
    for (int i = 0; i < h->photos; i++)
        if (h->without[i].fainter > best) best = h->without[i].fainter, odd = i;
    return odd;
}

/* What joins and what parts photos must be plain: one photo that shows no pin, or two photos that do not go together, tell nothing of
 * the others. */
int ps_hearing_odd(const ps_hearing *h, double worth_of_all) {
    int odd = -1;
    for (int i = 0; i < h->photos; i++) {
        if (h->without[i].clearer < PS_HEARD_LEAST) {
            if (h->without[i].clearer >= PS_HEARD_ALONE_LEAST) return -1;
            continue;
        }
        if (odd >= 0) return -1;
        odd = i;
    }
    return odd >= 0 && h->without[odd].clearer > worth_of_all && h->alone[odd].clearer >= PS_HEARD_ALONE_LEAST ? odd : -1;
}

bool ps_hearing_nobody(const ps_hearing *h) {
    int two = 0, any = 0;
    double clear = h->all, sum = 0, best = 0;
    for (int i = 0; i < h->photos; i++) {
        const ps_heard *own = &h->alone[i];
        clear = fmax(clear, h->without[i].clearer);
        two += own->fainter >= PS_HEARD_ALONE_LEAST;
        any += own->fainter >= PS_HEARD_ALONE_LEAST || own->clearer >= worth_alone_clear;
        sum += own->clearer;
        best = fmax(best, own->clearer);
    }
    return two >= 2 || (any >= 2 && clear < PS_HEARD_LEAST) || (clear <= 0 && sum >= worth_alone_sum && sum - best >= PS_HEARD_LEAST);
}

bool ps_hearing_any_pin(const ps_hearing *h) {
    double best = 0;
    for (int i = 0; i < h->photos; i++) best = fmax(best, h->alone[i].clearer);
    return best >= PS_HEARD_LEAST;
}
