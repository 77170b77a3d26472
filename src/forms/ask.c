/* The shortest list of what to ask the customer, in words that can be pasted into a message. The cautions stand once, in the message. */
#include "forms/ask.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "forms/rules.h"

static const char cautions[] =
    "Before you measure or take photos: attachment flat on firm ground and unable to tip, arm lowered to the ground, engine "
    "off, key out; nobody under or in the "
    "swing of anything raised; hands, head and body out of joints and from between the ears. Measure only what "
    "stands free and leave pins as "
    "they are; what cannot be reached is for licensed service. The machine's manual and local rules come first.";

/* For a customer who has never done this. */
static const char words[] =
    "The words: the dipper pin joins the attachment to the dipper (stick, arm), the link pin to the bucket link. Ears "
    "are the plates that the pins go through; a bush is the ring in an ear round the pin; a chamfer is the bevelled "
    "edge at a pin's end.";

ps_forms_question *ps_forms_question_add(ps_forms_result *result, const char *about, const char *format, ...) {
    if (result->question_count == PS_FORMS_QUESTIONS_MAX) return NULL;
    ps_forms_question *q = &result->question[result->question_count++];
    (void)snprintf(q->about, sizeof q->about, "%s", about);
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(q->text, sizeof q->text, format, arguments);
    va_end(arguments);
    return q;
}

/* Side and kind of every joint mistake that is asked about; the dimensions that it touches are asked by it and not one by one. */
static bool asked_jointly(const ps_forms_result *result, const ps_forms_decision *d) {
    for (int n = 0; n < result->joint_count; n++) {
        const ps_forms_joint *j = &result->joint[n];
        if (!j->named || (j->side >= 0 && j->side != (int)d->side)) continue;
        bool touched = isfinite(d->form_mm) || isfinite(d->tape_mm);
        if (j->mistake == PS_MISTAKE_ROLES) touched = d->kind != PS_KIND_CENTRES && d->form_match != PS_MATCH_CANNOT_TELL;
        if (j->mistake == PS_MISTAKE_SHEET && d->kind == PS_KIND_GAP) touched &= isfinite(d->photo_mm);
        if (touched) return true;
    }
    return false;
}

static void ask_joints(ps_forms_result *result) {
    for (int n = 0; n < result->joint_count; n++) {
        const ps_forms_joint *j = &result->joint[n];
        if (!j->named) continue;
        const char *side = j->side >= 0 ? ps_side_word((ps_side)j->side) : "";
        if (j->mistake == PS_MISTAKE_SHEET)
            (void)ps_forms_question_add(
                result, j->side < 0 ? "attachment machine" : side,
                "On %s%s the photos and your figures differ all by one ratio (%.3f). Please print the sheet again at 100 %% ('actual "
                "size'), measure both check lines, send what you read, and take three or four photos anew%s.",
                j->side < 0 ? "both sides" : side, j->side < 0 ? "" : " side", j->ratio, j->side < 0 ? " of each side" : "");
        else if (j->mistake == PS_MISTAKE_ROLES)
            (void)ps_forms_question_add(
                result, side,
                "On the %s side, which figures belong to the pin that joins the dipper (stick, arm) and which to the pin of the bucket "
                "link? They seem exchanged between your form and the photos.",
                side);
        else if (j->mistake == PS_MISTAKE_SIDES)
            (void)ps_forms_question_add(result, "attachment machine", "Are the figures of machine and attachment exchanged on your form?");
        else
            (void)ps_forms_question_add(result, "attachment machine",
                                        "Are the figures on your form inches? They fit the photos as inches, not as millimetres.");
    }
}

/* A size that no machine has, and that is asked for again: the unit is asked in the same breath. */
static void add_unit(ps_forms_result *result, const bool *open, int first, int last) {
    for (int i = first; i <= last && result->question_count > 0; i++) {
        double low, high;
        ps_rules_size_range(result->decision[i].kind, &low, &high);
        double mm = result->decision[i].value_mm;
        if (!open[i] || !isfinite(mm) || (mm >= low && mm <= high)) continue;
        ps_forms_question *q = &result->question[result->question_count - 1];
        size_t n = strlen(q->text);
        (void)snprintf(q->text + n, sizeof q->text - n,
                       " The figure so far, %.1f mm, no machine has: please write mm or in beside the new one.", mm);
        return;
    }
}

static void list_pins(const ps_forms_result *result, const bool *open, int first, int second, char *text, size_t size) {
    bool a = open[first], b = open[second];
    (void)result;
    (void)snprintf(text, size, "%s", a && b ? "at both pins" : a ? "at the dipper pin" : "at the link pin");
}

static void ask_gap(ps_forms_result *result, ps_side side, const bool *open, const char *about) {
    char where[40];
    const ps_forms_decision *d = &result->decision[5 * (int)side + (open[5 * (int)side] ? 0 : 1)];
    list_pins(result, open, 5 * (int)side, 5 * (int)side + 1, where, sizeof where);
    /* A machine's end may be a single boss or a pair of ears; where nothing tells, both are said. */
    bool either = side == PS_SIDE_MACHINE && !isfinite(d->value_mm) && !d->over;
    (void)ps_forms_question_add(
        result, about,
        "%s, gap %s: please measure from outside with a tape along the pin %s, %s the bush faces (not the ear plates), without "
        "shims, twice "
        "at different places, and write down both readings%s.%s",
        side == PS_SIDE_MACHINE ? "Machine" : "Attachment", where,
        d->over ? "over the outward faces of the boss" : "from one inward face to the other", d->over ? "on" : "between",
        either ? "; where that end is a single boss and not a pair of ears, over its two outward faces, and say so" : "",
        isfinite(d->value_mm) ? "" : " We have no figure for it.");
    add_unit(result, open, 5 * (int)side, 5 * (int)side + 1);
}

static void ask_pin(ps_forms_result *result, ps_side side, const bool *open, const char *about) {
    char where[40];
    list_pins(result, open, 5 * (int)side + 2, 5 * (int)side + 3, where, sizeof where);
    (void)ps_forms_question_add(
        result, about,
        "%s, diameter %s: please measure with calipers on the clean working cylinder, behind chamfer and taper, not on a cap or "
        "collar, twice at right angles, to a tenth of a millimetre.",
        side == PS_SIDE_MACHINE ? "Machine" : "Attachment", where);
    add_unit(result, open, 5 * (int)side + 2, 5 * (int)side + 3);
}

static void ask_centres(ps_forms_result *result, ps_side side, const bool *open, const char *about) {
    (void)ps_forms_question_add(
        result, about,
        "%s, distance of the pins: please measure with a tape parallel to the ear plate, first between the pins' inner edges, then over "
        "their outer edges, and send both readings (not a distance worked out from them).",
        side == PS_SIDE_MACHINE ? "Machine" : "Attachment");
    add_unit(result, open, 5 * (int)side + 4, 5 * (int)side + 4);
}

/* One question for each side and kind. */
static void ask_dimensions(const ps_forms_job *job, ps_forms_result *result) {
    bool open[PS_FORMS_DIMENSIONS];
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) open[i] = !result->decision[i].settled && !asked_jointly(result, &result->decision[i]);
    for (int side = 0; side < PS_FORMS_SIDES; side++) {
        ps_forms_ask_photos(job, result, (ps_side)side, open); /* what better photos settle needs no measuring by hand */
        for (int pair = 0; pair < 2; pair++) {
            int a = 5 * side + 2 * pair, b = a + 1;
            char about[80];
            (void)snprintf(about, sizeof about, "%s%s%s", open[a] ? result->decision[a].name : "", open[a] && open[b] ? " " : "",
                           open[b] ? result->decision[b].name : "");
            if (!open[a] && !open[b]) continue;
            if (pair == 0)
                ask_gap(result, (ps_side)side, open, about);
            else
                ask_pin(result, (ps_side)side, open, about);
        }
        if (open[5 * side + 4]) ask_centres(result, (ps_side)side, open, result->decision[5 * side + 4].name);
    }
}

static void ask_findings(ps_forms_result *result) {
    for (int i = 0; i < result->finding_count; i++)
        if (result->finding[i].weight == PS_WEIGHT_ASK)
            (void)ps_forms_question_add(result, result->finding[i].code, "%s", result->finding[i].text);
}

static void lacking(char *list, size_t size, bool lacks, const char *what) {
    size_t length = strlen(list);
    if (lacks) (void)snprintf(list + length, size - length, "%s%s", length ? ", " : "", what);
}

/* What an order needs besides sizes (methods of the trade; common practice). */
static void ask_order(const ps_forms_job *job, ps_forms_result *result) {
    char list[PS_FORMS_SENTENCE] = "";
    const struct ps_forms_hydraulics *h = &job->hydraulics;
    lacking(list, sizeof list, !*job->machine.make, "make of the machine");
    lacking(list, sizeof list, !*job->machine.model, "model");
    lacking(list, sizeof list, job->machine.year == 0, "year");
    lacking(list, sizeof list, isnan(job->machine.class_t), "class in tonnes");
    lacking(list, sizeof list, !*job->attachment_type, "type of the attachment");
    lacking(list, sizeof list, !job->coupler_given, "style of the coupler (fixed or grab)");
    lacking(list, sizeof list, job->tilt < 0, "tilting or straight");
    lacking(list, sizeof list, !*job->pin_retention, "how the pins are retained");
    lacking(list, sizeof list, isnan(job->ear_thickness_mm), "thickness of the ears");
    lacking(list, sizeof list, isnan(job->ear_radius_mm), "radius of the ears");
    lacking(list, sizeof list, isnan(job->ear_clearance_mm), "clearance round the ears");
    lacking(list, sizeof list, job->lifting_eye < 0, "lifting eye or none");
    lacking(list, sizeof list, !*job->country, "country");
    lacking(list, sizeof list, !*h->lines && !*h->couplings && !*h->pressure && !*h->flow, "hydraulics (lines, couplings, pressure, flow)");
    if (*list) (void)ps_forms_question_add(result, "order", "Please also tell: %s.", list);
}

static ps_status write_message(ps_context *ctx, const ps_forms_job *job, ps_forms_result *result) {
    size_t room =
        800 + sizeof cautions + sizeof words + sizeof job->title + (size_t)result->question_count * (sizeof result->question[0].text + 16);
    free(result->message_text);
    char *text = result->message_text = malloc(room);
    if (!text) return ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the questions");
    text[0] = 0;
    if (result->question_count == 0) return PS_OK;
    bool measuring = false;
    int length = snprintf(text, room, "%s%sBefore the order can go on, please answer:\n\n", job->title, *job->title ? "\n\n" : "");
    for (int i = 0; i < result->question_count; i++) {
        length += snprintf(text + length, room - (size_t)length, "%d. %s\n", i + 1, result->question[i].text);
        measuring |= strcmp(result->question[i].about, "order") != 0;
    }
    if (measuring) (void)snprintf(text + length, room - (size_t)length, "\n%s\n\n%s\n", words, cautions);
    return PS_OK;
}

ps_status ps_forms_ask(ps_context *ctx, const ps_forms_job *job, ps_forms_result *result) {
    int settled = 0;
    result->question_count = 0;
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) settled += result->decision[i].settled;
    ask_joints(result);
    ask_dimensions(job, result);
    ask_findings(result);
    ask_order(job, result);
    result->ready = settled == PS_FORMS_DIMENSIONS && result->question_count == 0;
    if (result->ready)
        (void)snprintf(
            result->answer, sizeof result->answer,
            "Ready: all ten dimensions are settled and nothing is left to ask. The sizes are those photographed and read; wear, fit and "
            "safety are for licensed practice to judge.");
    else
        (void)snprintf(result->answer, sizeof result->answer, "Not ready: %d of %d dimensions are settled, %d question%s to ask.", settled,
                       PS_FORMS_DIMENSIONS, result->question_count, result->question_count == 1 ? "" : "s");
    return write_message(ctx, job, result);
}
