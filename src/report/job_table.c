/* A job as plain text for people: the answer, the decisions, what was found, what to ask. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/report.h"
#include "report/text.h"
#include "report/words.h"

enum { COLUMNS = 100 };

static void wrap(ps_text *out, const char *first, int indent, const char *body) {
    char *clean = ps_text_clean(body, true);
    if (clean)
        ps_text_wrap(out, COLUMNS, first, indent, clean);
    else
        out->failed = true;
    free(clean);
}

static void add_cell(ps_text *out, const char *text, int columns) {
    int pad = columns - ps_text_columns(text);
    ps_text_add(out, "%*s%s", pad > 0 ? pad : 0, "", text);
}

static void add_decision(ps_text *out, const ps_forms_decision *d, bool inch) {
    char use[32], photo[32], form[32], tape[32];
    ps_words_band(d->value_mm, d->U_mm, false, use, sizeof use);
    ps_words_band(d->photo_mm, d->photo_U_mm, false, photo, sizeof photo);
    ps_words_band(d->form_mm, d->form_U_mm, false, form, sizeof form);
    ps_words_band(d->tape_mm, d->tape_U_mm, false, tape, sizeof tape);
    ps_text_add(out, "%-24s", d->name);
    add_cell(out, d->settled ? use : "OPEN", 15);
    ps_text_add(out, "  %-9s", d->settled ? ps_forms_source_word(d->source) : "");
    add_cell(out, photo, 15);
    add_cell(out, form, 15);
    add_cell(out, tape, 15);
    ps_text_add(out, "\n");
    if (inch && d->settled) {
        ps_words_band(d->value_mm, d->U_mm, true, use, sizeof use);
        ps_text_add(out, "%24s%s in\n", "", use);
    }
}

static void add_decisions(ps_text *out, const ps_forms_job *job, const ps_forms_result *result) {
    ps_text_add(out, "\n%-24s%15s  %-9s%15s%15s%15s\n", "Size, mm", "to use", "from", "photos", "form", "tape");
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) add_decision(out, &result->decision[i], job->inch);
    ps_text_add(out, "\n");
    wrap(out, "", 0,
         "± is the band that holds the true size in about 95 of 100 cases (k=2). The sizes are those photographed and read; wear, fit "
         "and safety are not judged here.");
    ps_text_add(out, "\nWhy\n");
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) {
        char first[60];
        (void)snprintf(first, sizeof first, "  %s: ", result->decision[i].name);
        wrap(out, first, 6, result->decision[i].why);
    }
}

static void add_mistakes(ps_text *out, const ps_forms_result *result) {
    bool headed = false;
    for (int i = 0; i < result->joint_count; i++) {
        if (!result->joint[i].named) continue;
        char first[160];
        (void)snprintf(first, sizeof first, "  %s (%.0f %%): ", ps_mistake_text(result->joint[i].mistake),
                       100 * result->joint[i].probability);
        ps_text_add(out, "%s", headed ? "" : "\nLikely mistakes\n");
        headed = true;
        wrap(out, first, 6, result->joint[i].evidence);
    }
    for (int i = 0; i < result->comparison_count; i++) {
        const ps_forms_comparison *c = &result->comparison[i];
        bool named = c->suspect_count > 0 && c->suspect[0].named;
        if (!named && c->match != PS_MATCH_DIFFERS) continue;
        char first[60];
        (void)snprintf(first, sizeof first, "  %s: ", c->name);
        ps_text_add(out, "%s", headed ? "" : "\nLikely mistakes\n");
        headed = true;
        wrap(out, first, 6, c->text);
        for (int k = 1; named && k < c->suspect_count; k++)
            if (c->suspect[k].probability >= 0.05)
                ps_text_add(out, "      or %s (%.0f %%)\n", ps_mistake_word(c->suspect[k].mistake), 100 * c->suspect[k].probability);
    }
}

static void add_rest(ps_text *out, const ps_forms_result *result) {
    if (result->finding_count > 0) ps_text_add(out, "\nBoth sides together\n");
    for (int i = 0; i < result->finding_count; i++) {
        char first[60];
        (void)snprintf(first, sizeof first, "  %s, %s: ", ps_forms_weight_word(result->finding[i].weight), result->finding[i].code);
        wrap(out, first, 6, result->finding[i].text);
    }
    for (int s = 0; s < PS_FORMS_SIDES; s++)
        if (result->message[s][0]) {
            char first[60];
            (void)snprintf(first, sizeof first, "\nPhotos of the %s side: ", ps_side_word((ps_side)s));
            wrap(out, first, 2, result->message[s]);
        }
    if (!result->message_text || !*result->message_text) return;
    ps_text_add(out, "\nTo ask, as a message\n\n");
    for (const char *line = result->message_text; *line;) {
        size_t length = strcspn(line, "\n");
        char *one = malloc(length + 1);
        if (!one) {
            out->failed = true;
            return;
        }
        memcpy(one, line, length);
        one[length] = 0;
        wrap(out, "", 3, one);
        free(one);
        line += length + (line[length] == '\n');
    }
}

ps_status ps_report_job_table(ps_context *ctx, const ps_forms_job *job, const ps_forms_result *result, char **text) {
    ps_text out = {0};
    ps_text_add(&out, "pinspan %s", ps_version());
    if (*job->title) wrap(&out, ", job: ", 2, job->title);
    if (!*job->title) ps_text_add(&out, ", a job\n");
    if (job->invented) ps_text_add(&out, "An invented example: no real machine, firm or person.\n");
    ps_text_add(&out, "\n");
    wrap(&out, "", 0, result->answer);
    add_decisions(&out, job, result);
    add_mistakes(&out, result);
    add_rest(&out, result);
    return ps_text_take(ctx, &out, text);
}
