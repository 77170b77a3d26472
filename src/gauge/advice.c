/* What would make the next photos better, once each, in the order of the codes. */
#include "gauge/dimensions.h"
#include "gauge/sentences.h"

static bool in_photos(const ps_record *record, ps_code code) {
    for (int i = 0; i < record->photo_count; i++)
        if (ps_notes_have(&record->photo[i].problems, code)) return true;
    return false;
}

static bool in_dimensions(const ps_record *record, ps_code code) {
    for (int i = 0; i < record->dimension_count; i++)
        if (ps_notes_have(&record->dimension[i].reasons, code)) return true;
    return false;
}

/* More photos of the same kind are no advice for a value of which it is said that photos do not settle it. */
static bool all_by_hand(const ps_record *record, ps_code code) {
    for (int i = 0; i < record->dimension_count; i++) {
        bool left = !ps_notes_have(&record->dimension[i].reasons, code);
        for (int k = 0; k < record->by_hand.count; k++) left |= record->by_hand.dimension[k] == i;
        if (!left) return false;
    }
    return record->by_hand.count > 0;
}

/* Whether a plan with further photos already covers every value that the code touches: it says the same, and better. What is too
 * wide with the plan is so for another reason, which has advice of its own. */
static bool planned(const ps_record *record, ps_code code) {
    bool photos = false;
    if (code == PS_CODE_BAND_WIDE && all_by_hand(record, code)) return true;
    for (int p = 0; p < record->plan_count; p++) photos |= record->plan[p].photo_count > 0 || record->plan[p].piece_added;
    if (!photos) return false;
    if (code == PS_CODE_BAND_WIDE) return true;
    if (code != PS_CODE_ONE_PHOTO && code != PS_CODE_ONE_DIRECTION) return false;
    for (int i = 0; i < record->dimension_count; i++) {
        bool covered = !ps_notes_have(&record->dimension[i].reasons, code);
        for (int p = 0; p < record->plan_count; p++)
            for (int k = 0; k < record->plan[p].dimension_count; k++) covered |= record->plan[p].dimension[k] == i;
        if (!covered) return false;
    }
    return true;
}

void ps_gauge_advice(ps_record *record) {
    for (int code = 0; code < PS_CODE_COUNT; code++) {
        if (planned(record, (ps_code)code)) continue;
        if (in_photos(record, (ps_code)code) || in_dimensions(record, (ps_code)code))
            ps_gauge_say(&record->advice, PS_SUBJECT_ADVICE, (ps_code)code);
    }
}
