/* Photos and check lines in place of measuring: what a customer can do with the phone in hand, where that is likely to settle pins
 * and centres. Gaps are left to the tape. Common practice; which doubts better photos cure is said in docs/forms.md. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "forms/ask.h"
#include "forms/facts.h"

enum { PINS_AND_CENTRES = 3, TEXT = PS_FORMS_SENTENCE + 280 };
static const struct {
    ps_kind kind;
    int role, place; /* place: of the dimension in its side's five */
} asked[PINS_AND_CENTRES] = {{PS_KIND_PIN, PS_ROLE_DIPPER, 2}, {PS_KIND_PIN, PS_ROLE_LINK, 3}, {PS_KIND_CENTRES, -1, 4}};

/* Of the print alone. */
static bool of_print(ps_code code) {
    return code == PS_CODE_PRINT_UNCHECKED || code == PS_CODE_BAND_WIDE;
}

/* Of how the photos were taken, and not of what stands there: a cap stays a cap. */
static bool of_photos(ps_code code) {
    static const ps_code cured[] = {PS_CODE_ONE_PHOTO,   PS_CODE_ONE_DIRECTION, PS_CODE_LENS_UNKNOWN, PS_CODE_PIECE_HIDDEN,
                                    PS_CODE_PIECE_SMALL, PS_CODE_PIECE_MOVED,   PS_CODE_PIECE_BENT,   PS_CODE_PIECE_HELD,
                                    PS_CODE_OBLIQUE,     PS_CODE_MOTION_BLUR,   PS_CODE_DEFOCUS,      PS_CODE_EXPOSURE,
                                    PS_CODE_OTHER_SCENE, PS_CODE_PIN_CUT_OFF};
    for (size_t i = 0; i < sizeof cured / sizeof cured[0]; i++)
        if (code == cured[i]) return true;
    return false;
}

/* No plan cures it, however good the photos. */
static bool left_to_hand(const ps_record *record, const ps_dimension *d) {
    for (int i = 0; i < record->by_hand.count; i++)
        if (&record->dimension[record->by_hand.dimension[i]] == d) return true;
    return false;
}

static const ps_plan *plan_for(const ps_record *record, const ps_dimension *d) {
    for (int k = 0; k < record->plan_count; k++)
        for (int i = 0; i < record->plan[k].dimension_count; i++)
            if (&record->dimension[record->plan[k].dimension[i]] == d) return &record->plan[k];
    return NULL;
}

typedef struct wish {
    bool any, photos, lines; /* something is curable; by further photos; by the check lines as read */
    const ps_plan *plan;     /* the first that cures one of them; NULL */
    bool covered[PINS_AND_CENTRES];
} wish;

static void wish_for(const ps_record *record, const ps_dimension *d, bool unchecked, int k, wish *w) {
    if (!d || d->verdict != PS_VERDICT_CONFIRM || (!unchecked && left_to_hand(record, d))) return;
    const ps_plan *plan = plan_for(record, d);
    bool photos = false, print = false;
    for (int i = 0; i < d->reasons.count; i++) {
        ps_code code = d->reasons.note[i].code;
        if (!of_print(code) && !of_photos(code)) return;
        photos |= of_photos(code);
        print |= code == PS_CODE_PRINT_UNCHECKED;
    }
    if (!plan && !photos && !(print && unchecked)) return; /* a wide band, and nobody knows what would narrow it */
    w->covered[k] = w->any = true;
    w->photos |= photos || (plan && (plan->photo_count > 0 || plan->piece_added));
    w->lines |= unchecked || (plan && plan->print_read);
    if (!w->plan) w->plan = plan && (plan->photo_count > 0 || plan->piece_added) ? plan : NULL;
}

static void add(char *text, const char *more) {
    size_t n = strlen(text);
    (void)snprintf(text + n, TEXT - n, "%s", more);
}

static void add_photos(const wish *w, char *text) {
    if (w->plan) {
        /* The instruction; what it promises is for the one who decides. */
        char plan[600];
        (void)snprintf(plan, sizeof plan, "%s", w->plan->text);
        char *end = strstr(plan, "; ");
        if (end) *end = 0;
        add(text, " ");
        add(text, plan);
        add(text, ".");
    } else
        add(text, " Please take two more photos from other directions, 20 to 30 degrees apart, sharp, with both pin ends and the whole "
                  "sheet in view.");
    if (!(w->plan && w->plan->piece_added)) add(text, " Nothing may have moved since the first photos; else take three or four anew.");
}

static void add_lines(char *text) {
    add(text, " Please measure both check lines of every sheet that is in the photos, from tick to tick, the 140 mm line with calipers and "
              "the 200 mm line with a steel rule, to a tenth of a millimetre if you can, and send what you read.");
}

/* Names of the covered dimensions; they need no measuring by hand. */
static void cover(ps_forms_result *result, int side, const wish *w, bool *open, char about[80]) {
    about[0] = 0;
    for (int k = 0; k < PINS_AND_CENTRES; k++) {
        int i = 5 * side + asked[k].place;
        if (!w->covered[k]) continue;
        size_t n = strlen(about);
        (void)snprintf(about + n, 80 - n, "%s%s", n ? " " : "", result->decision[i].name);
        open[i] = false;
    }
}

void ps_forms_ask_photos(const ps_forms_job *job, ps_forms_result *result, ps_side side, bool *open) {
    const ps_forms_side *s = &job->side[side];
    const ps_record *record = &result->record[side];
    bool unchecked = s->options.check_count == 0, used = result->measured[side];
    wish w = {.any = false};
    char about[80], text[TEXT];
    if (s->photo_count == 0) return;
    for (int k = 0; k < PINS_AND_CENTRES; k++) {
        if (!open[5 * (int)side + asked[k].place]) continue;
        if (used)
            wish_for(record, ps_forms_dimension(record, asked[k].kind, asked[k].role), unchecked, k, &w);
        else
            w.covered[k] = w.any = true;
    }
    if (!w.any) return;
    (void)snprintf(text, sizeof text, "%s, photos:", side == PS_SIDE_MACHINE ? "Machine" : "Attachment");
    if (!used) {
        add(text, " none of those that you sent could be used. Please take three or four again, with the printed sheet flat on the ear "
                  "plate by the pins: both pin ends and the whole sheet in view and sharp, main lens, no zoom, 20 to 30 degrees apart, "
                  "nothing moved between them; send the original files.");
        w.lines = unchecked;
    } else if (w.photos)
        add_photos(&w, text);
    if (w.lines) add_lines(text);
    cover(result, side, &w, open, about);
    (void)ps_forms_question_add(result, about, "%s", text);
}
