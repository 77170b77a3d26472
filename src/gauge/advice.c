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

void ps_gauge_advice(ps_record *record) {
    for (int code = 0; code < PS_CODE_COUNT; code++) {
        if (in_photos(record, (ps_code)code) || in_dimensions(record, (ps_code)code))
            ps_gauge_say(&record->advice, PS_SUBJECT_ADVICE, (ps_code)code);
    }
}
