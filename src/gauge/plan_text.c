/* A plan in plain words. It tells nobody to move, loosen or drive a pin (docs/verdicts.md); a test reads every sentence. */
#include "gauge/plan.h"

#include "pinspan/target.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void add(ps_plan *plan, const char *format, ...) PS_PRINTF(2, 3);
static void add(ps_plan *plan, const char *format, ...) {
    size_t used = strlen(plan->text);
    va_list args;
    va_start(args, format);
    (void)vsnprintf(plan->text + used, sizeof plan->text - used, format, args);
    va_end(args);
}

/* "the left", "higher up", "straight ahead of the pin ends". */
static void add_place(ps_plan *plan, const ps_plan_photo *photo) {
    if (!(photo->tilt_deg > 0)) {
        add(plan, "from straight ahead of the pin ends");
        return;
    }
    bool higher = strcmp(photo->from, "above") == 0, lower = strcmp(photo->from, "below") == 0;
    add(plan, "from %s%s, about %.0f degrees off straight ahead", higher || lower ? "" : "the ",
        higher  ? "higher up"
        : lower ? "lower down"
                : photo->from,
        photo->tilt_deg);
}

static void add_photos(ps_plan *plan) {
    double fills = plan->photo[0].fills, distance = plan->photo[0].distance_mm;
    add(plan, plan->photo_count == 1 ? "Take one more photo, " : "Take two more photos, one ");
    add_place(plan, &plan->photo[0]);
    if (plan->photo_count > 1) {
        add(plan, ", one ");
        add_place(plan, &plan->photo[1]);
    }
    add(plan, " (sides as the first photo shows them), ");
    if (distance < 1000)
        add(plan, "some %.0f cm", 5 * round(distance / 50));
    else
        add(plan, "some %.1f m", distance / 1000);
    add(plan, " away, so that both pin ends and every sheet are wholly in view and fill some %.0f %% of the picture; ",
        5 * round(20 * fills));
}

static void add_piece(ps_plan *plan) {
    const ps_piece *piece = ps_kit_piece(plan->piece);
    add(plan,
        "Tape one more printed piece (such as %s) flat beside the %s pin, on the same ear, and take all photos again with every piece "
        "wholly in view and nothing moved between them; ",
        piece ? piece->name : "a patch", ps_role_word(plan->beside));
}

static void add_reading(const ps_record *record, ps_plan *plan) {
    add(plan, "%s both check lines on %s, %s, and type in what you read (across to %g mm, along to %g mm); ",
        plan->photo_count > 0 || plan->piece_added ? "and read" : "Read",
        record->print_count > 1 || plan->piece_added ? "every sheet" : "the sheet",
        plan->along_U_mm < 0.2 ? "with calipers long enough for each, three times, and take the mean"
                               : "across with calipers, along with a steel rule",
        plan->across_U_mm, plan->along_U_mm);
}

static const char *kind_word(ps_kind kind) {
    static const char *const word[PS_KIND_COUNT] = {[PS_KIND_GAP] = "gap",
                                                    [PS_KIND_PIN] = "pin",
                                                    [PS_KIND_CENTRES] = "centres",
                                                    [PS_KIND_BUSH] = "bush",
                                                    [PS_KIND_PROUD] = "stand-out"};
    return word[kind];
}

/* "dipper pin", "centres". */
static void size_name(const ps_dimension *d, char *name, size_t room) {
    const char *role = d->role >= 0 ? ps_role_word((ps_role)d->role) : "";
    (void)snprintf(name, room, "%s%s%s", role, *role ? " " : "", kind_word(d->kind));
}

static void add_bands(const ps_record *record, ps_plan *plan) {
    bool photos = plan->photo_count > 0 || plan->piece_added;
    add(plan, "%sthese should then be good enough to order by: ", photos ? "if the edges of the pin ends show clearly, " : "");
    for (int i = 0; i < plan->dimension_count; i++) {
        char name[32];
        size_name(&record->dimension[plan->dimension[i]], name, sizeof name);
        add(plan, "%s%s to ±%.2f mm", i ? ", " : "", name, ceil(100 * plan->U_mm[i]) / 100);
    }
    add(plan, ".");
}

const char *ps_plan_word(const ps_plan *plan) {
    if (plan->piece_added) return "further-piece";
    return plan->photo_count == 0 ? "print-reading" : plan->photo_count == 1 ? "further-photo" : "further-photos";
}

/* An earlier plan asks for these very photos. */
static bool told_before(const ps_record *record, const ps_plan *plan) {
    for (const ps_plan *p = record->plan; p < plan; p++) {
        bool same = p->photo_count == plan->photo_count;
        for (int i = 0; i < plan->photo_count; i++) same = same && p->photo[i].from == plan->photo[i].from;
        if (same) return true;
    }
    return false;
}

static const char *at_rest(const ps_record *record) {
    return record->side == PS_SIDE_MACHINE ? "arm lowered to the ground" : "attachment flat on firm ground";
}

void ps_gauge_plan_text(const ps_record *record, ps_plan *plan) {
    plan->text[0] = 0;
    if (plan->photo_count > 0 && told_before(record, plan))
        add(plan, plan->photo_count == 1 ? "Take that further photo, " : "Take those further photos, ");
    else if (plan->photo_count > 0)
        add_photos(plan);
    if (plan->piece_added) add_piece(plan);
    if (plan->print_read) add_reading(record, plan);
    add_bands(record, plan);
    if (plan->photo_count > 0 || plan->piece_added)
        add(plan, " %s %s, engine off, key out.", plan->piece_added ? "As always:" : "Only if nothing has moved since;", at_rest(record));
}

void ps_gauge_by_hand_text(ps_record *record) {
    ps_by_hand *left = &record->by_hand;
    char names[300] = "";
    for (int i = 0; i < left->count; i++) {
        char name[32];
        size_t used = strlen(names);
        size_name(&record->dimension[left->dimension[i]], name, sizeof name);
        (void)snprintf(names + used, sizeof names - used, "%s%s", i ? ", " : "", name);
    }
    (void)snprintf(left->text, sizeof left->text,
                   "No further photo or reading of the sheet by itself is predicted to settle these, so the instrument named with each "
                   "decides: %s. First %s, engine off, key out.",
                   names, at_rest(record));
}
