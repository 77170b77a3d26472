/* The record as a plain-text table for people. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/report.h"
#include "report/text.h"
#include "report/words.h"

enum { COLUMNS = 92, NAME_COLUMNS = 38 };
static const double mm_per_inch = 25.4;

static const char *verdict_of(const ps_dimension *d) {
    return ps_verdict_word(ps_words_has_value(d) ? d->verdict : PS_VERDICT_MISSING);
}

static void add_padded(ps_text *out, const char *body, int columns) {
    int pad = columns - ps_text_columns(body);
    ps_text_add(out, "%s%*s", body, pad > 0 ? pad : 0, "");
}

static void add_file(ps_text *out, const char *file) {
    char *clean = ps_text_clean(file ? file : "", true);
    if (clean)
        ps_text_add(out, "%s", clean);
    else
        out->failed = true;
    free(clean);
}

static void add_heading(ps_text *out, const ps_record *record) {
    int usable = 0;
    for (int i = 0; i < record->photo_count; ++i) usable += record->photo[i].usable;
    ps_text_add(out, "pinspan %s, %s side, %d photo%s", ps_version(), ps_side_word(record->side), record->photo_count,
                record->photo_count == 1 ? "" : "s");
    if (usable != record->photo_count) ps_text_add(out, ", %d of them usable", usable);
    ps_text_add(out, "\n\n");
}

static const double ambiguous_least = 0.05; /* what a band of 95 % leaves out */

/* "  2.556 ± 0.008 in; nominal sizes within the band: 65 mm (99.8 %)" under the row, when there is something to say; of sizes that are both
 * likely, that this value does not tell which. */
static void add_second_line(ps_text *out, const ps_dimension *d, bool inch) {
    ps_text line = {0};
    if (inch) {
        char band[48];
        ps_words_band(d->value_mm, d->U_mm, true, band, sizeof band);
        ps_text_add(&line, "%s in", band);
    }
    for (int i = 0; i < d->nominal_count; ++i) {
        const ps_nominal_match *n = &d->nominal[i];
        if (!isfinite(n->probability)) continue;
        const char *before = i > 0 ? ", " : line.length > 0 ? "; nominal sizes within the band: " : "nominal sizes within the band: ";
        ps_text_add(&line, "%s%s (%.*f %%)", before, n->label, n->probability > 0.995 || n->probability < 0.005 ? 1 : 0,
                    100 * n->probability);
    }
    if (d->nominal_count > 1 && d->nominal[1].probability >= ambiguous_least)
        ps_text_add(&line, "; this diameter does not tell which of them it is");
    if (line.length > 0) ps_text_wrap(out, COLUMNS, "    ", 4, line.bytes);
    out->failed |= line.failed;
    ps_text_clear(&line);
}

/* "    Monte Carlo: 64.81 to 65.22 mm" under the row; the ends are rounded outward. */
static void add_monte_carlo(ps_text *out, const ps_dimension *d, bool inch) {
    const ps_monte_carlo *m = &d->monte_carlo;
    if (m->samples < 1 || !isfinite(m->low_mm) || !isfinite(m->high_mm)) return;
    int decimals = ps_words_decimals(d->U_mm);
    double step = pow(10, decimals);
    ps_text_add(out, "    Monte Carlo: %.*f to %.*f mm", decimals, floor(m->low_mm * step) / step, decimals,
                ceil(m->high_mm * step) / step);
    step *= 10;
    if (inch)
        ps_text_add(out, ", %.*f to %.*f in", decimals + 1, floor(m->low_mm / mm_per_inch * step) / step, decimals + 1,
                    ceil(m->high_mm / mm_per_inch * step) / step);
    if (m->failed > 0) ps_text_add(out, " (%d of %d samples did not settle)", m->failed, m->samples + m->failed);
    ps_text_add(out, "\n");
}

static void add_row(ps_text *out, const ps_dimension *d, bool inch) {
    char name[80], value[40] = "-", band[40] = "-";
    ps_words_dimension(d, name, sizeof name);
    if (ps_words_has_value(d)) {
        int decimals = ps_words_decimals(d->U_mm);
        (void)snprintf(value, sizeof value, "%.*f mm", decimals, d->value_mm);
        (void)snprintf(band, sizeof band, "%.*f mm", decimals, ps_words_round_up(d->U_mm, decimals));
    }
    add_padded(out, name, NAME_COLUMNS);
    ps_text_add(out, "%11s  %9s  ", value, band);
    add_padded(out, verdict_of(d), 9);
    ps_text_add(out, "%s\n", d->name);
    if (!ps_words_has_value(d)) return;
    add_second_line(out, d, inch);
    add_monte_carlo(out, d, inch);
}

static void add_rows(ps_text *out, const ps_record *record, bool inch) {
    add_padded(out, "Size", NAME_COLUMNS);
    /* The band's column has one code point of two bytes, so printf's width cannot be used for it. */
    ps_text_add(out, "%11s        ± U  ", "value");
    add_padded(out, "verdict", 9);
    ps_text_add(out, "name\n");
    for (int i = 0; i < record->dimension_count; ++i) add_row(out, &record->dimension[i], inch);
    ps_text_add(out, "\n");
    ps_text_wrap(out, COLUMNS, "", 0,
                 "± U is the band that holds the true size in about 95 of 100 cases (expanded uncertainty, k=2). 'good' speaks of the size "
                 "as photographed, not of wear, fit or safety.");
    if (record->monte_carlo > 0)
        ps_text_wrap(out, COLUMNS, "", 0,
                     "Monte Carlo: what holds the middle 95 of 100 samples drawn anew from all that is known, a check of ± U.");
}

/* With inches behind millimetres where asked for. */
static void add_body(ps_text *out, const char *first, const char *text, bool inch) {
    char *with = inch ? ps_words_inches(text) : NULL, *body = ps_text_clean(with ? with : text, true);
    if (!body || (inch && !with))
        out->failed = true;
    else
        ps_text_wrap(out, COLUMNS, first, 6, body);
    free(body);
    free(with);
}

static void add_entry(ps_text *out, const char *word, const char *text, bool inch) {
    char first[60];
    (void)snprintf(first, sizeof first, "  %s: ", word);
    add_body(out, first, text, inch);
}

static void add_notes(ps_text *out, const ps_notes *notes, bool inch) {
    for (int i = 0; i < notes->count; ++i) add_entry(out, ps_code_word(notes->note[i].code), notes->note[i].text, inch);
}

/* Reasons of one dimension and how to confirm it. Returns true where a person is told to measure. */
static bool add_reasons(ps_text *out, const ps_record *record, int index, bool inch) {
    const ps_dimension *d = &record->dimension[index];
    bool good = strcmp(verdict_of(d), "good") == 0;
    if (d->reasons.count == 0 && (good || d->confirm_with == PS_INSTRUMENT_NONE)) return false; /* nothing to say */
    char name[80];
    ps_words_dimension(d, name, sizeof name);
    ps_text_add(out, "\n%s: %s", name, verdict_of(d));
    if (!good && d->confirm_with != PS_INSTRUMENT_NONE)
        ps_text_add(out, ", measure with %s", d->confirm_with == PS_INSTRUMENT_CALIPERS ? "calipers" : "a tape");
    ps_text_add(out, "\n");
    for (int i = 0; i < d->reasons.count; ++i) {
        const ps_note *note = &d->reasons.note[i];
        add_entry(out, ps_code_word(note->code), ps_words_said_before(record, index, note) ? "as above" : note->text, inch);
    }
    if (good || !d->how[0]) return !good && d->confirm_with != PS_INSTRUMENT_NONE;
    add_body(out, "  How: ", d->how, inch);
    return true;
}

static void add_cautions(ps_text *out) {
    ps_text_add(out, "\n");
    ps_text_wrap(out, COLUMNS, "", 0, ps_words_cautions());
}

static void add_photos(ps_text *out, const ps_record *record, bool inch) {
    bool headed = false;
    for (int i = 0; i < record->photo_count; ++i) {
        const ps_record_photo *photo = &record->photo[i];
        if (photo->usable && photo->problems.count == 0) continue;
        if (!headed) ps_text_add(out, "\nPhotos with problems\n");
        headed = true;
        add_file(out, photo->file);
        ps_text_add(out, "%s\n", photo->usable ? "" : " (not used)");
        add_notes(out, &photo->problems, inch);
    }
}

static void add_advice(ps_text *out, const ps_record *record, bool inch) {
    const ps_notes *advice = &record->advice;
    if (advice->count + record->plan_count + record->by_hand.count > 0) ps_text_add(out, "\nFor better photos\n");
    for (int i = 0; i < record->plan_count; ++i) add_entry(out, ps_plan_word(&record->plan[i]), record->plan[i].text, inch);
    if (record->by_hand.count > 0) add_entry(out, "by-hand", record->by_hand.text, inch);
    add_notes(out, advice, inch);
}

static void add_fit(ps_text *out, const ps_record *record) {
    if (!record->fitted) return;
    ps_text_add(out, "\n");
    for (int i = 0; i < record->print_count && record->print_count > 1; ++i) {
        const struct ps_record_print *print = &record->print[i];
        ps_text_add(out, "Print scale found, %s: across %.2f %%, along %.2f %% of nominal%s\n", ps_kit_piece(print->piece)->name,
                    100 * print->across, 100 * print->along, print->read_across && print->read_along ? "" : " (check lines not both read)");
    }
    if (record->print_count < 2 && isfinite(record->scale_across) && isfinite(record->scale_along))
        ps_text_add(out, "Print scale found: across %.2f %%, along %.2f %% of nominal\n", 100 * record->scale_across,
                    100 * record->scale_along);
    if (isfinite(record->chi2) && record->dof > 0)
        ps_text_add(out, "Fit, for experts: chi-square %.1f for %d degrees of freedom (ratio %.2f)\n", record->chi2, record->dof,
                    record->chi2 / record->dof);
}

ps_status ps_report_table(ps_context *ctx, const ps_record *record, bool inch, char **text) {
    ps_text out = {0};
    bool by_hand = false;
    add_heading(&out, record);
    add_rows(&out, record, inch);
    for (int i = 0; i < record->dimension_count; ++i) by_hand |= add_reasons(&out, record, i, inch);
    if (by_hand) add_cautions(&out);
    add_photos(&out, record, inch);
    add_advice(&out, record, inch);
    add_fit(&out, record);
    return ps_text_take(ctx, &out, text);
}
