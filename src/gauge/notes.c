/* Notes: fixed codes with plain sentences. */
#include "pinspan/measure.h"

#include <stdarg.h>
#include <stdio.h>

const char *ps_code_word(ps_code code) {
    static const char *const word[PS_CODE_COUNT] = {
        [PS_CODE_PRINT_UNCHECKED] = "print-unchecked",
        [PS_CODE_PRINT_SCALED] = "print-scaled",
        [PS_CODE_NO_PIECE] = "no-piece",
        [PS_CODE_PIECE_HIDDEN] = "piece-hidden",
        [PS_CODE_PIECE_SMALL] = "piece-small",
        [PS_CODE_PIECE_MOVED] = "piece-moved",
        [PS_CODE_PIECE_BENT] = "piece-bent",
        [PS_CODE_PIECE_HELD] = "piece-held",
        [PS_CODE_OBLIQUE] = "oblique",
        [PS_CODE_MOTION_BLUR] = "motion-blur",
        [PS_CODE_DEFOCUS] = "defocus",
        [PS_CODE_EXPOSURE] = "exposure",
        [PS_CODE_ONE_PHOTO] = "one-photo",
        [PS_CODE_ONE_DIRECTION] = "one-direction",
        [PS_CODE_OTHER_SCENE] = "other-scene",
        [PS_CODE_PIN_CUT_OFF] = "pin-cut-off",
        [PS_CODE_PIN_HIDDEN] = "pin-hidden",
        [PS_CODE_PIN_CHAMFER] = "pin-chamfer",
        [PS_CODE_PIN_TAPER] = "pin-taper",
        [PS_CODE_PIN_DOME] = "pin-dome",
        [PS_CODE_PIN_CAP] = "pin-cap",
        [PS_CODE_PIN_COLLAR] = "pin-collar",
        [PS_CODE_BUSH_HIDDEN] = "bush-hidden",
        [PS_CODE_ARC_SHORT] = "arc-short",
        [PS_CODE_LENS_UNKNOWN] = "lens-unknown",
        [PS_CODE_FOCAL_CONTRADICTS] = "focal-contradicts",
        [PS_CODE_FIT_BAD] = "fit-bad",
        [PS_CODE_ROLES_UNSURE] = "roles-unsure",
        [PS_CODE_BAND_WIDE] = "band-wide",
        [PS_CODE_UNREADABLE] = "unreadable",
        [PS_CODE_NO_PIN] = "no-pin",
        [PS_CODE_OUT_OF_ROUND] = "out-of-round",
        [PS_CODE_PHOTO_TWICE] = "photo-twice",
        [PS_CODE_GAP_NOT_SHOWN] = "gap-not-shown",
        [PS_CODE_BOSS_OVER] = "boss-over",
        [PS_CODE_BOSS_ONE_SIDE] = "boss-one-side",
    };
    return (unsigned)code < PS_CODE_COUNT ? word[code] : "unknown";
}

const char *ps_verdict_word(ps_verdict v) {
    return v == PS_VERDICT_GOOD ? "good" : v == PS_VERDICT_CONFIRM ? "confirm" : "missing";
}

bool ps_notes_have(const ps_notes *notes, ps_code code) {
    for (int i = 0; i < notes->count; i++)
        if (notes->note[i].code == code) return true;
    return false;
}

void ps_notes_add(ps_notes *notes, ps_code code, const char *format, ...) {
    if (notes->count >= PS_NOTES_MAX || ps_notes_have(notes, code)) return;
    ps_note *note = &notes->note[notes->count++];
    note->code = code;
    va_list args;
    va_start(args, format);
    (void)vsnprintf(note->text, sizeof note->text, format, args);
    va_end(args);
}

void ps_notes_copy(const ps_notes *from, ps_notes *to) {
    for (int i = 0; i < from->count; i++) ps_notes_add(to, from->note[i].code, "%s", from->note[i].text);
}
