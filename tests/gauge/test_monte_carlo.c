/* The Monte Carlo interval beside U: there when asked for, about U wide, the same for any number of threads, wider with a doubt. */
#define SCENE_POINTS 16
#include "check.h"
#include "job.h"

enum { SAMPLES = 200 };

static void run(job *j, int samples, uint64_t seed, int threads, ps_record *record) {
    j->options.monte_carlo = samples, j->options.seed = seed, j->options.threads = threads;
    memset(record, 0, sizeof *record);
    assert_int_equal(ps_gauge_dimensions(j->ctx, &j->input, record), PS_OK);
}

static job clean;

static int make_clean(void **state) {
    (void)state;
    scene_options o = scene_options_default(21);
    o.photos = 3;
    return job_make(&clean, &o) ? 0 : -1;
}

static int free_clean(void **state) {
    (void)state;
    job_free(&clean);
    return 0;
}

static void interval_beside_U(void **state) {
    (void)state;
    ps_record r;
    run(&clean, SAMPLES, 1, 2, &r);
    assert_int_equal(r.monte_carlo, SAMPLES);
    int seen = 0;
    for (int i = 0; i < r.dimension_count; i++) {
        const ps_dimension *d = &r.dimension[i];
        if (d->verdict == PS_VERDICT_MISSING) {
            assert_int_equal(d->monte_carlo.samples, 0);
            continue;
        }
        seen++;
        /* A 2.5 % point of 200 samples is known to 0.19 u (its density is 0.058 / u): three of these, and 2 - 1.96. */
        const double END = 0.6;
        assert_int_equal(d->monte_carlo.samples + d->monte_carlo.failed, SAMPLES);
        CHECK_NEAR((d->monte_carlo.high_mm - d->value_mm) / d->u_mm, 2, END);
        CHECK_NEAR((d->value_mm - d->monte_carlo.low_mm) / d->u_mm, 2, END);
    }
    assert_int_equal(seen, 7); /* two pins, centres, two bushes, two stand-outs; the bushes widened for a doubt among them */
}

static void same_for_any_threads(void **state) {
    (void)state;
    ps_record one, three, other;
    run(&clean, 20, 7, 1, &one);
    run(&clean, 20, 7, 3, &three);
    run(&clean, 20, 8, 3, &other);
    int differ = 0;
    for (int i = 0; i < one.dimension_count; i++) {
        const ps_monte_carlo *a = &one.dimension[i].monte_carlo, *b = &three.dimension[i].monte_carlo, *c = &other.dimension[i].monte_carlo;
        if (a->samples == 0) continue;
        assert_true(a->mean_mm == b->mean_mm && a->u_mm == b->u_mm && a->low_mm == b->low_mm && a->high_mm == b->high_mm);
        differ += a->mean_mm != c->mean_mm;
    }
    assert_int_equal(differ, 7); /* another seed is another draw */
}

static void none_unless_asked(void **state) {
    (void)state;
    ps_record r;
    run(&clean, 0, 1, 1, &r);
    assert_int_equal(r.monte_carlo, 0);
    for (int i = 0; i < r.dimension_count; i++) assert_int_equal(r.dimension[i].monte_carlo.samples, 0);
    clean.options.monte_carlo = 1; /* too few to have an sd: the library's caller is told */
    assert_int_equal(ps_gauge_dimensions(clean.ctx, &clean.input, &r), PS_BAD_ARGUMENT);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(interval_beside_U), cmocka_unit_test(same_for_any_threads),
                                       cmocka_unit_test(none_unless_asked)};
    return cmocka_run_group_tests(tests, make_clean, free_clean);
}
