/* A cap, and the bush that it leaves free, from plain numbers. */
#include "check.h"

#include "rim/reading.h"

static const ps_reading_scene scene = {5, 1, true, 0, false}; /* 5 px a mm, a settled axis, the sheet on the ear plate */

typedef struct list {
    int count;
    ps_spot s[PS_SPOTS_MAX];
} list;

static int put(list *l, double height, double radius, double support) {
    l->s[l->count] = (ps_spot){height, radius, support, 0.25, 2 * support};
    return l->count++;
}

/* Invented: a cap of 68 mm, 40 mm out; behind it a bush of 66 mm, whose free part shows; a bolt's head on the cap. */
enum { CAP, BOLT, BUSH_FACE, BUSH };
static list capped(void) {
    list l = {0};
    put(&l, 40, 34, 0.9);
    put(&l, 46, 9, 0.9);
    put(&l, 9, 31.5, 0.75);
    put(&l, 7.5, 33, 0.75);
    return l;
}

static void test_cap_and_bush(void **state) {
    (void)state;
    list l = capped();
    int cap = -1;
    ps_reading r;
    assert_int_equal(ps_reading_cap(NULL, l.s, l.count, &scene, &cap), PS_OK);
    assert_int_equal(cap, CAP);
    assert_int_equal(ps_reading_under_cap(NULL, l.s, l.count, &scene, &l.s[cap], &r), PS_OK);
    assert_int_equal(r.bush_face, BUSH_FACE);
    assert_int_equal(r.bush, BUSH);
    assert_int_equal(r.pin, -1);
    assert_int_equal(r.pin_face, -1);
    assert_true(r.bush_lead > 0.9); /* two clear circles, nothing else can be a bush's */
}

/* The naive reading: the cap's edge is the clearest circle on the axis, and no pin. */
static void test_cap_is_no_pin(void **state) {
    (void)state;
    list l = capped();
    ps_context *ctx = ps_context_new();
    ps_reading r;
    assert_int_equal(ps_reading_choose(ctx, l.s, l.count, &scene, &r), PS_NOT_FOUND);
    ps_context_free(ctx);
}

static void test_no_cap(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    list l = {0};
    int cap;
    put(&l, 3, 34, 0.9);   /* lies on the plate */
    put(&l, 40, 12, 0.9);  /* a bolt */
    put(&l, 40, 34, 0.45); /* faint */
    assert_int_equal(ps_reading_cap(ctx, l.s, l.count, &scene, &cap), PS_NOT_FOUND);
    ps_context_free(ctx);
}

static void test_no_bush(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    list l = {0};
    ps_reading r;
    int cap = put(&l, 40, 34, 0.9);
    put(&l, 39, 35, 0.9);  /* the cap's own chamfer */
    put(&l, 8, 15, 0.9);   /* too small for a bush about the capped pin */
    put(&l, 0.5, 33, 0.9); /* a ring of paint on the plate */
    assert_int_equal(ps_reading_under_cap(ctx, l.s, l.count, &scene, &l.s[cap], &r), PS_NOT_FOUND);
    ps_context_free(ctx);
}

/* A pin whose end's edge was taken for a cap's: its chamfer's other edge is no bush, the bush beyond it is. */
static void test_own_chamfer_is_no_bush(void **state) {
    (void)state;
    list l = {0};
    ps_reading r;
    int cap = put(&l, 11.5, 29, 0.95), other = put(&l, 8.4, 29.2, 0.9), bush = put(&l, 5.4, 43.5, 0.7);
    assert_int_equal(ps_reading_under_cap(NULL, l.s, l.count, &scene, &l.s[cap], &r), PS_OK);
    assert_int_equal(r.bush, bush);
    assert_int_not_equal(r.bush_face, other);
}

/* To be looked behind, an end need not be as clear as a cap's edge. */
static void test_end(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    list l = {0};
    int end = -1;
    put(&l, 3, 34, 0.9);
    put(&l, 60, 12, 0.9);
    assert_int_equal(ps_reading_end(ctx, l.s, l.count, &scene, &end), PS_NOT_FOUND);
    int far = put(&l, 60, 29, 0.62);
    l.s[far].strength = 0.9;
    assert_int_equal(ps_reading_end(ctx, l.s, l.count, &scene, &end), PS_OK);
    assert_int_equal(end, far);
    assert_int_equal(ps_reading_cap(ctx, l.s, l.count, &scene, &end), PS_NOT_FOUND);
    assert_int_equal(ps_reading_end(ctx, l.s, PS_SPOTS_MAX + 1, &scene, &end), PS_BAD_ARGUMENT);
    ps_context_free(ctx);
}

static void test_senseless(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    list l = capped();
    ps_reading r;
    int cap;
    const ps_reading_scene none = {0, 1, true, 0, false};
    assert_int_equal(ps_reading_cap(ctx, l.s, l.count, &none, &cap), PS_BAD_ARGUMENT);
    assert_int_equal(ps_reading_cap(ctx, l.s, PS_SPOTS_MAX + 1, &scene, &cap), PS_BAD_ARGUMENT);
    assert_int_equal(ps_reading_under_cap(ctx, l.s, l.count, &none, &l.s[CAP], &r), PS_BAD_ARGUMENT);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cap_and_bush), cmocka_unit_test(test_cap_is_no_pin),          cmocka_unit_test(test_no_cap),
        cmocka_unit_test(test_no_bush),      cmocka_unit_test(test_own_chamfer_is_no_bush), cmocka_unit_test(test_end),
        cmocka_unit_test(test_senseless)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
