/* Each mistake both ways: named first where it was made, and nothing named where it was not. Jobs of known sizes; a mistake's effect is
 * written down here and not taken from the library. */
#include "check.h"

#include "../bench/forms_scene.h"
#include "forms/compare.h"

/* Photos of one side: pins 65 and 50, centres 400, gaps 300 and 260, bushes 96 and 75 that stand 7 mm out of ears of 30 mm, ends
 * 60 mm apart in height, end faces 61 and 46 mm. Bands of 0.05 to 0.3 mm. */
static void photos(scene *w, int side, double ratio) {
    w->truth[side] = (scene_side){
        .gap = {300, 260}, .pin = {65, 50}, .bush = {96, 75}, .face = {61, 46}, .proud = {70, 10}, .standout = {7, 7}, .centres = 400};
    if (side == 1) w->truth[side].gap[0] = 290, w->truth[side].gap[1] = 245, w->truth[side].centres = 380;
    const scene_side *t = &w->truth[side];
    ps_record *record = &w->result.record[side];
    *record = (ps_record){.side = (ps_side)side, .photo = w->photo[side], .photo_count = 3, .pin_count = 2};
    for (int role = 0; role < 2; role++) {
        scene_dimension(record, PS_KIND_GAP, role, t->gap[role] / ratio, 0.3, 0.1);
        scene_dimension(record, PS_KIND_PIN, role, t->pin[role] / ratio, 0.06, 0.02);
        scene_dimension(record, PS_KIND_BUSH, role, t->bush[role] / ratio, 0.06, 0.02);
        scene_dimension(record, PS_KIND_PROUD, role, t->proud[role], 0.1, 0);
        record->pin[role] = (struct ps_record_pin){
            .role = (ps_role)role, .face_height_mm = t->standout[role] + t->proud[role], .bush_height_mm = t->standout[role]};
    }
    scene_dimension(record, PS_KIND_CENTRES, -1, t->centres / ratio, 0.2, 0.15);
    for (int i = 0; i < 3; i++) {
        w->photo[side][i] = (ps_record_photo){.usable = true, .rim = w->rim[side][i], .rim_count = 4};
        for (int k = 0; k < 4; k++) {
            w->rim[side][i][k] = (ps_record_rim){.pin = (ps_role)(k & 1), .edge = k < 2 ? PS_EDGE_PIN : PS_EDGE_PIN_FACE, .used = true};
            w->rim[side][i][k].ellipse = (ps_ellipse){.a = 3 * (k < 2 ? t->pin[k] : t->face[k - 2]), .b = 20};
        }
    }
}

static ps_forms_reading *add(scene *w, ps_side side, ps_kind kind, int role, const char *written, bool inch) {
    ps_forms_reading *f = &w->job.reading[w->job.reading_count++];
    *f = (ps_forms_reading){.side = side, .kind = kind, .role = role, .inch = inch, .instrument_given = true, .shim_mm = NAN};
    f->way = kind == PS_KIND_CENTRES ? PS_WAY_CENTRES : kind == PS_KIND_PIN ? PS_WAY_DIAMETER : PS_WAY_BUSH_FACES;
    f->instrument = ps_trade_instrument(kind);
    (void)snprintf(f->written, sizeof f->written, "%s", written);
    f->value_mm = strtod(written, NULL) * (inch ? 25.4 : 1);
    f->step_mm = (kind == PS_KIND_PIN ? 0.1 : 1) * (inch ? 0.1 : 1);
    return f;
}

/* The honest form of one side. */
static void honest(scene *w, ps_side side) {
    const scene_side *t = &w->truth[side];
    const double value[] = {t->gap[0], t->gap[1], t->pin[0], t->pin[1], t->centres};
    for (int i = 0; i < 5; i++) {
        char written[32];
        (void)snprintf(written, sizeof written, i == 2 || i == 3 ? "%.1f" : "%.0f", value[i]);
        add(w, side, i < 2 ? PS_KIND_GAP : i < 4 ? PS_KIND_PIN : PS_KIND_CENTRES, i == 4 ? -1 : i & 1, written, false);
    }
}

static scene *make(int sides, double ratio) {
    scene *w = calloc(1, sizeof *w);
    assert_non_null(w);
    w->job.ear_thickness_mm = 30;
    for (int side = 0; side < sides; side++) photos(w, side, ratio);
    return w;
}

static void decide(scene *w) {
    ps_context *ctx = ps_context_new();
    assert_int_equal(ps_forms_decide(ctx, &w->job, &w->result), PS_OK);
    ps_context_free(ctx);
}

static void drop(scene *w) {
    free(w->result.message_text);
    free(w);
}

static int named(const scene *w) {
    int count = 0;
    for (int i = 0; i < w->result.comparison_count; i++)
        for (int k = 0; k < w->result.comparison[i].suspect_count; k++) count += w->result.comparison[i].suspect[k].named;
    for (int k = 0; k < w->result.joint_count; k++) count += w->result.joint[k].named;
    return count;
}

static void test_honest(void **state) {
    (void)state;
    for (int sides = 1; sides <= 2; sides++) {
        scene *w = make(sides, 1);
        for (int side = 0; side < sides; side++) honest(w, (ps_side)side);
        decide(w);
        assert_int_equal(named(w), 0);
        for (int i = 0; i < w->result.comparison_count; i++) {
            const ps_forms_comparison *c = &w->result.comparison[i];
            assert_int_equal(c->match, c->u_difference_mm < 1 ? PS_MATCH_AGREES : c->match);
            assert_true(c->match != PS_MATCH_DIFFERS && c->probability_none > 0.9);
        }
        drop(w);
    }
}

/* Every single mistake of this job. Index: 0, 1 gaps, 2, 3 pins, 4 centres. Values by hand: 400 - 57.5, sqrt(400^2 + 60^2), 65/2 ... */
static const struct {
    ps_mistake mistake;
    int index;
    const char *written;
    bool inch;
} single[] = {
    {PS_MISTAKE_INSIDE, 4, "342.5", false},     {PS_MISTAKE_OUTSIDE, 4, "457.5", false},   {PS_MISTAKE_FRONTS, 4, "407.5", false},
    {PS_MISTAKE_BACKS, 4, "392.5", false},      {PS_MISTAKE_DIAGONAL, 4, "404.5", false},  {PS_MISTAKE_RADIUS, 2, "32.5", false},
    {PS_MISTAKE_AROUND, 2, "204.2", false},     {PS_MISTAKE_CHAMFER, 2, "61.0", false},    {PS_MISTAKE_CAP, 2, "79.0", false},
    {PS_MISTAKE_BUSH, 2, "96.1", false},        {PS_MISTAKE_EAR_PLATES, 0, "314", false},  {PS_MISTAKE_OVER_EARS, 0, "374", false},
    {PS_MISTAKE_SHIMS_IN, 0, "295", false},     {PS_MISTAKE_BEGUN_10, 4, "410", false},    {PS_MISTAKE_BEGUN_100, 4, "500", false},
    {PS_MISTAKE_BEGUN_INCH, 4, "16.75", true},                                            /* 425.4 mm */
    {PS_MISTAKE_DECADE, 4, "300", false},       {PS_MISTAKE_SIXTEENTHS, 2, "2.62", true}, /* 65 mm is 2.559 in */
    {PS_MISTAKE_INCH_FOR_MM, 2, "2.56", false}, {PS_MISTAKE_MM_FOR_INCH, 2, "65.0", true}, {PS_MISTAKE_CM_FOR_MM, 4, "40.0", false},
    {PS_MISTAKE_DIGITS, 2, "56.0", false},      {PS_MISTAKE_OTHER_PIN, 0, "260", false},   {PS_MISTAKE_OTHER_SIDE, 4, "380", false},
};

static void test_singles(void **state) {
    (void)state;
    for (size_t n = 0; n < sizeof single / sizeof single[0]; n++) {
        scene *w = make(single[n].mistake == PS_MISTAKE_OTHER_SIDE ? 2 : 1, 1);
        honest(w, PS_SIDE_ATTACHMENT);
        ps_forms_reading *f = &w->job.reading[single[n].index], kept = *f;
        w->job.reading_count--;
        ps_forms_reading last = w->job.reading[w->job.reading_count];
        ps_forms_reading *made = add(w, kept.side, kept.kind, kept.role, single[n].written, single[n].inch);
        ps_forms_reading wrong = *made;
        if (single[n].inch || single[n].mistake == PS_MISTAKE_INCH_FOR_MM) wrong.step_mm = 0.1;
        *made = last;
        *f = wrong;
        decide(w);
        const ps_forms_comparison *c = &w->result.comparison[single[n].index];
        const ps_forms_suspect *s = ps_forms_accused(c);
        if (!s || s->mistake != single[n].mistake)
            fail_msg("%s planted: %s named (none %.3g, other %.3g)", ps_mistake_word(single[n].mistake),
                     s ? ps_mistake_word(s->mistake) : "nothing", c->probability_none, c->probability_other);
        assert_true(s->inside && c->normalised_error > 1 && s->probability > c->probability_none);
        assert_non_null(strstr(s->evidence, ps_mistake_text(s->mistake)));
        for (int i = 0; i < w->result.comparison_count; i++) /* and no other value is accused */
            if (i != single[n].index) assert_null(ps_forms_accused(&w->result.comparison[i]));
        drop(w);
    }
}

/* A tapered end: only where the photos doubt the pin for it. */
static void test_taper(void **state) {
    (void)state;
    for (int tapered = 0; tapered < 2; tapered++) {
        scene *w = make(1, 1);
        honest(w, PS_SIDE_ATTACHMENT);
        w->job.reading[2].value_mm = 58;
        (void)snprintf(w->job.reading[2].written, 32, "58.0");
        for (int i = 0; i < w->result.record[0].dimension_count && tapered; i++) {
            ps_dimension *d = &w->result.record[0].dimension[i];
            if (d->kind == PS_KIND_PIN && d->role == 0) ps_notes_add(&d->reasons, PS_CODE_PIN_TAPER, "x"), d->verdict = PS_VERDICT_CONFIRM;
        }
        decide(w);
        const ps_forms_suspect *s = ps_forms_accused(&w->result.comparison[2]);
        assert_int_equal(s && s->mistake == PS_MISTAKE_TAPER, tapered);
        drop(w);
    }
}

/* Told as read between outer edges, and that is how it was: no mistake. Told so and already the centres: named. */
static void test_ways(void **state) {
    (void)state;
    static const ps_forms_way way[] = {PS_WAY_INSIDE, PS_WAY_OUTSIDE, PS_WAY_FRONTS, PS_WAY_BACKS};
    for (int n = 0; n < 4; n++)
        for (int already = 0; already < 2; already++) {
            scene *w = make(1, 1);
            ps_forms_reading *f = add(w, PS_SIDE_ATTACHMENT, PS_KIND_CENTRES, -1, "400", false);
            f->way = way[n], f->place = PS_PLACE_PLATE;
            if (!already) f->value_mm = scene_edges(&w->truth[0], way[n]);
            (void)snprintf(f->written, sizeof f->written, "%.1f", f->value_mm);
            f->step_mm = 0.5;
            decide(w);
            const ps_forms_suspect *s = ps_forms_accused(&w->result.comparison[0]);
            if (already)
                assert_true(s && s->mistake == PS_MISTAKE_CENTRES);
            else
                assert_true(!s && w->result.comparison[0].match == PS_MATCH_AGREES);
            drop(w);
        }
}

static const ps_forms_joint *joint(const scene *w, ps_mistake m) {
    for (int k = 0; k < w->result.joint_count; k++)
        if (w->result.joint[k].named && w->result.joint[k].mistake == m) return &w->result.joint[k];
    return NULL;
}

static void rewrite(ps_forms_reading *f, double mm, int decimals) {
    (void)snprintf(f->written, sizeof f->written, "%.*f", decimals, mm);
    f->value_mm = strtod(f->written, NULL);
}

static void test_joints(void **state) {
    (void)state;
    scene *w = make(2, 1);
    honest(w, PS_SIDE_ATTACHMENT);
    for (int i = 0; i < 4; i += 2) { /* dipper's and link's exchanged */
        ps_forms_reading a = w->job.reading[i];
        w->job.reading[i] = w->job.reading[i + 1], w->job.reading[i].role = 0;
        w->job.reading[i + 1] = a, w->job.reading[i + 1].role = 1;
    }
    decide(w);
    assert_non_null(joint(w, PS_MISTAKE_ROLES));
    assert_int_equal(joint(w, PS_MISTAKE_ROLES)->side, PS_SIDE_ATTACHMENT);
    assert_int_equal(named(w), 1); /* the one joint mistake and no four single ones */
    drop(w);

    w = make(2, 1);
    honest(w, PS_SIDE_ATTACHMENT);
    honest(w, PS_SIDE_MACHINE);
    for (int i = 0; i < 10; i++) w->job.reading[i].side = (ps_side)!w->job.reading[i].side;
    decide(w);
    assert_non_null(joint(w, PS_MISTAKE_SIDES));
    assert_int_equal(named(w), 1);
    drop(w);

    w = make(1, 1);
    honest(w, PS_SIDE_ATTACHMENT);
    for (int i = 0; i < 5; i++) rewrite(&w->job.reading[i], w->job.reading[i].value_mm / 25.4, 2), w->job.reading[i].step_mm = 0.01;
    decide(w);
    assert_non_null(joint(w, PS_MISTAKE_ALL_INCH));
    assert_int_equal(named(w), 1);
    drop(w);
}

/* Sheet printed to fit, or at a ratio of its own: the photos are off, and nothing of the form is accused. */
static void test_sheet(void **state) {
    (void)state;
    static const double ratio[] = {0.9407, 0.9727, 1.035}, ratio_mm = 0.004; /* pins of 65 mm to 0.2 mm */
    for (int n = 0; n < 3; n++) {
        scene *w = make(1, ratio[n]);
        honest(w, PS_SIDE_ATTACHMENT);
        decide(w);
        const ps_forms_joint *j = joint(w, PS_MISTAKE_SHEET);
        assert_non_null(j);
        CHECK_NEAR(j->ratio, ratio[n], ratio_mm);
        assert_int_equal(named(w), 1);
        for (int i = 0; i < 5; i++) assert_true(!w->result.decision[i].settled && w->result.decision[i].source == PS_FROM_FORM);
        drop(w);
    }
    /* One print beside both sides: one mistake, and no value of either side is accused. */
    for (int n = 0; n < 3; n++) {
        scene *w = make(2, ratio[n]);
        for (int side = 0; side < 2; side++) honest(w, (ps_side)side);
        decide(w);
        const ps_forms_joint *j = joint(w, PS_MISTAKE_SHEET);
        assert_non_null(j);
        CHECK_NEAR(j->ratio, ratio[n], ratio_mm);
        assert_int_equal(j->side, -1);
        assert_int_equal(j->readings, 10);
        assert_int_equal(named(w), 1);
        assert_int_equal(w->result.question[0].about[0], 'a');
        assert_non_null(strstr(w->result.message_text, "On both sides"));
        for (int i = 0; i < 10; i++) assert_true(!w->result.decision[i].settled && w->result.decision[i].source == PS_FROM_FORM);
        drop(w);
    }
    /* Gaps that no photo shows have nothing to do with the sheet: two readings that agree settle one, the other is asked for. */
    scene *by_hand = make(1, 0.9727);
    honest(by_hand, PS_SIDE_ATTACHMENT);
    add(by_hand, PS_SIDE_ATTACHMENT, PS_KIND_GAP, 0, "300", false)->tape = true;
    for (int i = 0; i < by_hand->result.record[0].dimension_count; i++) {
        ps_dimension *d = &by_hand->result.record[0].dimension[i];
        if (d->kind == PS_KIND_GAP) d->verdict = PS_VERDICT_MISSING, d->value_mm = d->u_mm = d->U_mm = NAN;
    }
    decide(by_hand);
    assert_non_null(joint(by_hand, PS_MISTAKE_SHEET));
    assert_true(by_hand->result.decision[0].settled && !by_hand->result.decision[1].settled);
    assert_non_null(strstr(by_hand->result.message_text, "gap at the link pin"));
    drop(by_hand);
    /* Of two sides one alone is off. */
    scene *one = make(2, 1);
    for (int side = 0; side < 2; side++) honest(one, (ps_side)side);
    photos(one, PS_SIDE_MACHINE, 0.9407);
    decide(one);
    assert_non_null(joint(one, PS_MISTAKE_SHEET));
    assert_int_equal(joint(one, PS_MISTAKE_SHEET)->side, PS_SIDE_MACHINE);
    assert_int_equal(named(one), 1);
    drop(one);
    /* One value off by that ratio is no sheet. */
    scene *w = make(1, 1);
    honest(w, PS_SIDE_ATTACHMENT);
    rewrite(&w->job.reading[4], 400 * 0.9407, 0);
    decide(w);
    assert_null(joint(w, PS_MISTAKE_SHEET));
    drop(w);
}

/* Photos whose scale is known to 2 % in common. A form that is 3 % off throughout fits. A pin of 61 for 65 mm is told as read on the end
 * face where the other four values hold the scale, and cannot be told where it stands alone. */
static void test_common_scale(void **state) {
    (void)state;
    enum { THROUGHOUT, HELD, ALONE };
    for (int n = THROUGHOUT; n <= ALONE; n++) {
        scene *w = make(1, 1);
        for (int i = 0; i < w->result.record[0].dimension_count; i++) {
            ps_dimension *d = &w->result.record[0].dimension[i];
            if (d->kind == PS_KIND_PROUD) continue;
            d->budget_mm[PS_SOURCE_PRINT_SCALE] = 0.02 * d->value_mm, d->u_mm = hypot(d->u_mm, 0.02 * d->value_mm);
        }
        honest(w, PS_SIDE_ATTACHMENT);
        if (n == THROUGHOUT)
            for (int i = 0; i < 5; i++) rewrite(&w->job.reading[i], 1.03 * w->job.reading[i].value_mm, i == 2 || i == 3);
        else
            rewrite(&w->job.reading[2], 61, 1);
        if (n == ALONE) w->job.reading[0] = w->job.reading[2], w->job.reading_count = 1;
        decide(w);
        assert_int_equal(named(w), n == HELD);
        if (n == HELD) assert_int_equal(w->result.comparison[2].suspect[0].mistake, PS_MISTAKE_CHAMFER);
        drop(w);
    }
}

/* Photos that show nothing: nothing can be told, nobody accused. */
static void test_no_photos(void **state) {
    (void)state;
    scene *w = make(1, 1);
    honest(w, PS_SIDE_ATTACHMENT);
    w->result.record[0] = (ps_record){0};
    rewrite(&w->job.reading[2], 2.56, 2);
    decide(w);
    assert_int_equal(named(w), 0);
    for (int i = 0; i < 5; i++) {
        assert_int_equal(w->result.comparison[i].match, PS_MATCH_CANNOT_TELL);
        assert_true(isnan(w->result.comparison[i].normalised_error) && isnan(w->result.comparison[i].probability_none));
    }
    drop(w);
}

/* A small simulation: what the bench shows at length. Limits as in docs/forms-accuracy.md's aims; 400 forms. */
static void test_rates(void **state) {
    (void)state;
    enum { FORMS = 400, ACCUSED_MOST = 9 }; /* 1 % of 400 is 4; 9 or more of them have a chance of 2 % at that rate */
    scene *w = malloc(sizeof *w);
    int count = 0;
    for (int n = 0; n < FORMS; n++) {
        scene_random r = {77u * 3000017u + (uint64_t)n};
        scene_draw(w, &r, scene_chance(&r, 0.6), 1);
        decide(w);
        count += named(w) > 0;
        free(w->result.message_text);
    }
    free(w);
    assert_true(count < ACCUSED_MOST);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_honest), cmocka_unit_test(test_singles),      cmocka_unit_test(test_taper),
        cmocka_unit_test(test_ways),   cmocka_unit_test(test_joints),       cmocka_unit_test(test_sheet),
        cmocka_unit_test(test_rates),  cmocka_unit_test(test_common_scale), cmocka_unit_test(test_no_photos)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
