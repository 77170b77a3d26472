/* What to order by, what to ask, and both sides together. */
#include "check.h"

#include "../bench/forms_scene.h"

enum { GAP = 0, PIN = 2, CENTRES = 4, MACHINE = 5 };

typedef struct desk {
    ps_forms_job job;
    ps_forms_result result;
} desk;

static desk *make(void) {
    desk *d = calloc(1, sizeof *d);
    assert_non_null(d);
    d->job.ear_thickness_mm = d->job.ear_radius_mm = d->job.ear_clearance_mm = 30;
    d->job.machine.class_t = 22;
    d->job.machine.year = 2020;
    d->job.tilt = d->job.lifting_eye = 0;
    d->job.coupler_given = true;
    (void)snprintf(d->job.machine.make, 80, "Invented");
    (void)snprintf(d->job.machine.model, 80, "22");
    (void)snprintf(d->job.attachment_type, 80, "bucket");
    (void)snprintf(d->job.pin_retention, 80, "bolt");
    (void)snprintf(d->job.country, 80, "x");
    (void)snprintf(d->job.hydraulics.lines, 80, "none");
    return d;
}

static ps_dimension *photo(desk *d, ps_side side, ps_kind kind, int role, double mm, double u) {
    ps_record *record = &d->result.record[side];
    record->side = side;
    scene_dimension(record, kind, role, mm, u, 0);
    return &record->dimension[record->dimension_count - 1];
}

static ps_forms_reading *hand(desk *d, bool tape, ps_side side, ps_kind kind, int role, ps_forms_way way, double mm) {
    ps_forms_reading *r = &d->job.reading[d->job.reading_count++];
    *r = (ps_forms_reading){.tape = tape,
                            .side = side,
                            .kind = kind,
                            .role = role,
                            .value_mm = mm,
                            .step_mm = 0.1,
                            .way = way,
                            .instrument = ps_trade_instrument(kind),
                            .instrument_given = true,
                            .shim_mm = NAN,
                            .place = PS_PLACE_UNKNOWN};
    (void)snprintf(r->written, sizeof r->written, "%.1f", mm);
    return r;
}

static void decide(desk *d) {
    ps_context *ctx = ps_context_new();
    assert_int_equal(ps_forms_decide(ctx, &d->job, &d->result), PS_OK);
    ps_context_free(ctx);
}

static void drop(desk *d) {
    free(d->result.message_text);
    free(d);
}

/* A side whose ten-dimensions' five are all good by photo, gaps too. */
static void good_side(desk *d, ps_side side, double gap) {
    for (int role = 0; role < 2; role++) photo(d, side, PS_KIND_GAP, role, gap, 0.3);
    for (int role = 0; role < 2; role++) photo(d, side, PS_KIND_PIN, role, 64.9, 0.08);
    photo(d, side, PS_KIND_CENTRES, -1, 400, 0.2);
}

static bool asks(const desk *d, const char *words) {
    return d->result.message_text && strstr(d->result.message_text, words) != NULL;
}

static const ps_forms_finding *found(const desk *d, const char *code, ps_forms_weight weight) {
    for (int i = 0; i < d->result.finding_count; i++)
        if (strcmp(d->result.finding[i].code, code) == 0 && d->result.finding[i].weight == weight) return &d->result.finding[i];
    return NULL;
}

static void test_ready(void **state) {
    (void)state;
    desk *d = make();
    good_side(d, PS_SIDE_ATTACHMENT, 302);
    good_side(d, PS_SIDE_MACHINE, 300);
    decide(d);
    assert_true(d->result.ready && d->result.question_count == 0);
    assert_string_equal(d->result.message_text, "");
    for (int i = 0; i < PS_FORMS_DIMENSIONS; i++) assert_int_equal(d->result.decision[i].source, PS_FROM_PHOTO);
    d->job.country[0] = 0; /* anything lacking is one question */
    decide(d);
    assert_true(!d->result.ready && d->result.question_count == 1 && asks(d, "country") && !asks(d, "make of"));
    drop(d);
}

/* Good photos and an honest form: both together, closer than either. */
static void test_combined(void **state) {
    (void)state;
    desk *d = make();
    good_side(d, PS_SIDE_ATTACHMENT, 300);
    hand(d, false, PS_SIDE_ATTACHMENT, PS_KIND_PIN, 0, PS_WAY_DIAMETER, 65.0);
    decide(d);
    const ps_forms_decision *p = &d->result.decision[PIN];
    assert_true(p->settled && p->source == PS_FROM_COMBINED && p->form_match == PS_MATCH_AGREES);
    assert_true(p->value_mm > 64.9 && p->value_mm < 65.0 && p->U_mm < 0.16);
    drop(d);
}

/* A mistake that is sure lets good photos stand; one that no known mistake explains does not, unless a third reading sides with them. */
static void test_differs(void **state) {
    (void)state;
    for (int n = 0; n < 3; n++) {
        desk *d = make();
        good_side(d, PS_SIDE_ATTACHMENT, 300);
        hand(d, false, PS_SIDE_ATTACHMENT, PS_KIND_CENTRES, -1, PS_WAY_CENTRES, n == 0 ? 335.2 : 443.0);
        if (n == 2) hand(d, true, PS_SIDE_ATTACHMENT, PS_KIND_CENTRES, -1, PS_WAY_INSIDE, 335.2);
        decide(d);
        const ps_forms_decision *c = &d->result.decision[CENTRES];
        assert_int_equal(c->form_match, PS_MATCH_DIFFERS);
        assert_int_equal(c->settled, n != 1);
        assert_int_equal(c->source, n == 2 ? PS_FROM_COMBINED : PS_FROM_PHOTO);
        static const double use_mm = 0.2; /* the photo's own u */
        CHECK_NEAR(c->value_mm, 400, use_mm);
        if (n == 1) assert_true(asks(d, "inner edges") && strlen(c->ask) > 40);
        drop(d);
    }
}

/* Photos with a doubt: a value by hand that agrees and is close enough settles it, a coarse one does not. */
static void test_doubt(void **state) {
    (void)state;
    for (int coarse = 0; coarse < 2; coarse++) {
        desk *d = make();
        ps_dimension *p = photo(d, PS_SIDE_ATTACHMENT, PS_KIND_PIN, 0, 64.9, 0.4);
        p->verdict = PS_VERDICT_CONFIRM;
        ps_notes_add(&p->reasons, PS_CODE_PIN_CHAMFER, "x");
        hand(d, false, PS_SIDE_ATTACHMENT, PS_KIND_PIN, 0, PS_WAY_DIAMETER, 65.2)->step_mm = coarse ? 1 : 0.1;
        decide(d);
        const ps_forms_decision *q = &d->result.decision[PIN];
        assert_int_equal(q->settled, !coarse);
        assert_int_equal(q->source, PS_FROM_FORM);
        if (!coarse) assert_true(q->value_mm == 65.2); /* the doubted photo only checks */
        assert_int_equal(asks(d, "Attachment, diameter at both pins"), coarse);
        drop(d);
    }
    desk *d = make(); /* nothing by hand */
    photo(d, PS_SIDE_ATTACHMENT, PS_KIND_PIN, 0, 64.9, 0.1)->verdict = PS_VERDICT_CONFIRM;
    decide(d);
    assert_false(d->result.decision[PIN].settled);
    assert_true(d->result.decision[PIN].value_mm == 64.9); /* shown all the same */
    drop(d);
}

/* Gaps that no photo shows: two readings that agree settle, one does not, two that disagree do not. */
static void test_gap_by_hand(void **state) {
    (void)state;
    static const double second[] = {0, 300.6, 306};
    for (int n = 0; n < 3; n++) {
        desk *d = make();
        photo(d, PS_SIDE_ATTACHMENT, PS_KIND_GAP, 0, NAN, NAN);
        hand(d, false, PS_SIDE_ATTACHMENT, PS_KIND_GAP, 0, PS_WAY_BUSH_FACES, 300);
        if (n > 0) hand(d, true, PS_SIDE_ATTACHMENT, PS_KIND_GAP, 0, PS_WAY_BUSH_FACES, second[n]);
        decide(d);
        const ps_forms_decision *g = &d->result.decision[GAP];
        assert_int_equal(g->settled, n == 1);
        if (n == 1) {
            assert_int_equal(g->source, PS_FROM_COMBINED);
            assert_true(g->enters_mm <= g->value_mm - g->U_mm + 1e-6 && g->enters_mm > g->value_mm - g->U_mm - 0.1 &&
                        fabs(10 * g->enters_mm - rint(10 * g->enters_mm)) < 1e-9 && g->shims_mm == g->U_mm);
            assert_non_null(found(d, "gap-enters", PS_WEIGHT_NOTE));
        }
        drop(d);
    }
}

/* Gaps that photos do show. */
static void test_gap_by_photo(void **state) {
    (void)state;
    desk *d = make();
    photo(d, PS_SIDE_ATTACHMENT, PS_KIND_GAP, 0, 300, 0.4);
    hand(d, false, PS_SIDE_ATTACHMENT, PS_KIND_GAP, 0, PS_WAY_BUSH_FACES, 314);
    decide(d);
    assert_int_equal(d->result.comparison[0].suspect[0].mistake, PS_MISTAKE_EAR_PLATES);
    assert_true(d->result.comparison[0].suspect[0].named);
    drop(d);
}

static void test_both_sides(void **state) {
    (void)state;
    desk *d = make();
    good_side(d, PS_SIDE_ATTACHMENT, 302);
    good_side(d, PS_SIDE_MACHINE, 300);
    decide(d);
    assert_true(found(d, "pins-match", PS_WEIGHT_FINE) && found(d, "gaps-match", PS_WEIGHT_FINE) &&
                found(d, "centres-match", PS_WEIGHT_FINE));
    assert_null(found(d, "pins-unequal", PS_WEIGHT_ASK));
    ps_dimension *machine = d->result.record[PS_SIDE_MACHINE].dimension;
    machine[2].value_mm = 70;  /* dipper pin: neither the attachment's nor the link's */
    machine[0].value_mm = 288; /* 14 mm of spare: no shims are that thick */
    machine[4].value_mm = 407;
    decide(d);
    assert_true(found(d, "pins-match", PS_WEIGHT_ASK) && found(d, "gaps-match", PS_WEIGHT_ASK) && found(d, "pins-unequal", PS_WEIGHT_ASK));
    const ps_forms_finding *centres = found(d, "centres-match", PS_WEIGHT_NOTE);
    assert_true(centres && strstr(centres->text, "shorter") && strstr(centres->text, "somewhat lower"));
    assert_true(!d->result.ready && asks(d, "differ by 5.1 mm") && strlen(centres->ground) > 20);
    machine[4].verdict = PS_VERDICT_CONFIRM; /* an open value says nothing of levers */
    decide(d);
    centres = found(d, "centres-match", PS_WEIGHT_NOTE);
    assert_true(centres && strstr(centres->text, "still open") && !strstr(centres->text, "lever"));
    d->job.machine.class_t = 60; /* large machines have unequal pins */
    decide(d);
    assert_null(found(d, "pins-unequal", PS_WEIGHT_ASK));
    /* A boss wider than the gap that it must enter. */
    machine[0].over = true, machine[0].value_mm = 305;
    decide(d);
    const ps_forms_finding *wide = found(d, "gaps-match", PS_WEIGHT_ASK);
    assert_true(wide && strstr(wide->text, "cannot enter"));
    assert_true(d->result.decision[MACHINE].over && d->result.decision[MACHINE].enters_mm > 305);
    drop(d);
}

/* A band as wide as a pin matches everything: that is no match. */
static void test_vague_is_no_match(void **state) {
    (void)state;
    desk *d = make();
    good_side(d, PS_SIDE_ATTACHMENT, 302);
    good_side(d, PS_SIDE_MACHINE, 300);
    ps_dimension *machine = d->result.record[PS_SIDE_MACHINE].dimension;
    for (int i = 0; i < 5; i++) machine[i].u_mm = 15, machine[i].U_mm = 30, machine[i].verdict = PS_VERDICT_CONFIRM;
    decide(d);
    assert_null(found(d, "pins-match", PS_WEIGHT_FINE));
    assert_null(found(d, "gaps-match", PS_WEIGHT_FINE));
    assert_null(found(d, "centres-match", PS_WEIGHT_FINE));
    const ps_forms_finding *pins = found(d, "pins-match", PS_WEIGHT_NOTE);
    assert_true(pins && strstr(pins->text, "cannot be held against each other"));
    drop(d);
}

/* ---- photos in place of measuring ---- */

static void doubt(ps_dimension *d, ps_code code) {
    d->verdict = PS_VERDICT_CONFIRM;
    d->reasons.note[d->reasons.count++].code = code;
}

/* A machine side with photos, whose pins and centres have the doubt; its gaps are known. */
static desk *doubted(ps_code code, int checks) {
    desk *d = make();
    good_side(d, PS_SIDE_ATTACHMENT, 302);
    good_side(d, PS_SIDE_MACHINE, 300);
    d->job.side[PS_SIDE_MACHINE].photo_count = 1;
    d->job.side[PS_SIDE_MACHINE].options.check_count = checks;
    d->result.measured[PS_SIDE_MACHINE] = true;
    for (int i = 2; i < 5; i++) doubt(&d->result.record[PS_SIDE_MACHINE].dimension[i], code);
    return d;
}

static void test_asks_for_photos(void **state) {
    (void)state;
    /* One photo: more photos, and nothing to measure. */
    desk *d = doubted(PS_CODE_ONE_PHOTO, 2);
    decide(d);
    assert_int_equal(d->result.question_count, 1);
    assert_true(asks(d, "two more photos") && !asks(d, "calipers"));
    assert_string_equal(d->result.question[0].about, "machine.dipper.pin machine.link.pin machine.centres");
    /* With a plan, the plan's own words up to what it promises. */
    ps_record *r = &d->result.record[PS_SIDE_MACHINE];
    r->plan_count = 1;
    r->plan[0] = (ps_plan){.text = "Take one more photo, from the left; then dipper pin is known to 0.2 mm.",
                           .photo_count = 1,
                           .dimension_count = 1,
                           .dimension = {2}};
    decide(d);
    assert_true(asks(d, "one more photo, from the left.") && !asks(d, "is known to"));
    drop(d);
    /* Check lines not read, and nothing else: those, and no photos. */
    d = doubted(PS_CODE_PRINT_UNCHECKED, 0);
    decide(d);
    assert_int_equal(d->result.question_count, 1);
    assert_true(asks(d, "both check lines") && !asks(d, "more photos"));
    drop(d);
    /* A cap stays a cap: calipers and tape. */
    d = doubted(PS_CODE_PIN_CAP, 2);
    decide(d);
    assert_true(!asks(d, "Machine, photos:") && asks(d, "calipers on the clean working cylinder") && asks(d, "tape parallel"));
    drop(d);
    /* So does a band that no plan narrows. */
    d = doubted(PS_CODE_BAND_WIDE, 2);
    decide(d);
    assert_true(!asks(d, "Machine, photos:") && asks(d, "calipers on the clean working cylinder"));
    drop(d);
    /* Photos that were no use: again. */
    d = doubted(PS_CODE_ONE_PHOTO, 2);
    d->result.measured[PS_SIDE_MACHINE] = false;
    decide(d);
    assert_true(asks(d, "none of those that you sent could be used") && !asks(d, "check lines"));
    drop(d);
    /* A side without photos is measured by hand. */
    d = doubted(PS_CODE_ONE_PHOTO, 2);
    d->job.side[PS_SIDE_MACHINE].photo_count = 0;
    decide(d);
    assert_true(!asks(d, "Machine, photos:") && asks(d, "calipers on the clean working cylinder"));
    drop(d);
}

static void test_wear(void **state) {
    (void)state;
    for (int worn = 0; worn < 2; worn++) {
        desk *d = make();
        photo(d, PS_SIDE_ATTACHMENT, PS_KIND_PIN, 0, worn ? 79.4 : 79.9, 0.05);
        decide(d);
        assert_int_equal(found(d, "pin-wear", PS_WEIGHT_NOTE) != NULL, worn);
        assert_true(d->result.decision[PIN].value_mm < 79.95); /* never moved to the nominal size */
        drop(d);
    }
}

/* No unit makes sense of it, and no photo speaks: asked. */
static void test_range(void **state) {
    (void)state;
    desk *d = make();
    hand(d, false, PS_SIDE_ATTACHMENT, PS_KIND_PIN, 0, PS_WAY_DIAMETER, 2.6);
    decide(d);
    assert_non_null(found(d, "size-range", PS_WEIGHT_NOTE)); /* the pin is asked for anyway: one question, with the unit */
    assert_true(asks(d, "write mm or in"));
    assert_int_equal(d->result.question_count, 6);
    d->job.reading[0].value_mm = 65;
    decide(d);
    assert_null(found(d, "size-range", PS_WEIGHT_NOTE));
    assert_false(asks(d, "write mm or in"));
    drop(d);
}

/* One question for each side and kind; the cautions once; nobody told to move a pin. */
static void test_questions(void **state) {
    (void)state;
    desk *d = make();
    decide(d);
    assert_int_equal(d->result.question_count, 6);
    const char *text = d->result.message_text, *first = strstr(text, "Before you measure or take photos");
    assert_non_null(first);
    assert_null(strstr(first + 1, "Before you measure or take photos"));
    assert_non_null(strstr(first, "engine off"));
    assert_non_null(strstr(text, "the dipper pin joins")); /* the words are told to who has never done this */
    assert_true(asks(d, "single boss"));                   /* nothing tells what the machine's ends are */
    assert_true(asks(d, "from outside"));
    static const char *const never[] = {"loosen", "drive the pin", "remove", "knock", "push the pin", "pull the pin"};
    for (size_t i = 0; i < sizeof never / sizeof never[0]; i++) assert_null(strstr(text, never[i]));
    drop(d);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_ready),           cmocka_unit_test(test_combined),
                                       cmocka_unit_test(test_differs),         cmocka_unit_test(test_doubt),
                                       cmocka_unit_test(test_gap_by_hand),     cmocka_unit_test(test_gap_by_photo),
                                       cmocka_unit_test(test_both_sides),      cmocka_unit_test(test_vague_is_no_match),
                                       cmocka_unit_test(test_asks_for_photos), cmocka_unit_test(test_wear),
                                       cmocka_unit_test(test_range),           cmocka_unit_test(test_questions)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
