/* A camera profile as prior: used for its own photos, given up where they contradict it. Made-up scenes (tests/adjust/scene.h). */
#include "check.h"

#include "../adjust/scene.h"
#include "gauge/job.h"

enum { N = PS_LENS_COUNT };

typedef struct setup {
    scene s;
    ps_job job;
    ps_job_photo photo[SCENE_PHOTOS];
    ps_measure_options options;
    uint8_t pixel; /* photos count as read when they have pixels; nobody looks at them here */
} setup;

/* The scene's corners as sightings of photos with EXIF. */
static setup *make(uint64_t seed) {
    setup *t = calloc(1, sizeof *t);
    assert_non_null(t);
    scene_options o = scene_options_default(seed);
    assert_true(scene_make(&t->s, &o));
    t->options = ps_measure_options_default();
    t->job.options = &t->options;
    t->job.count = o.photos;
    t->job.photo = t->photo;
    for (int i = 0; i < o.photos; i++) {
        ps_job_photo *p = &t->photo[i];
        p->photo.stored_width = 4032, p->photo.stored_height = 3024;
        p->photo.luma.px = &t->pixel;
        p->photo.exif = (ps_exif){.present = true, .orientation = 1, .focal_35mm_mm = 26, .focal_mm = 5.6, .model = "Phone A"};
        p->sightings.count = 1;
        p->sightings.piece[0].piece = t->s.piece[0].piece;
    }
    for (int i = 0; i < t->s.problem.corner_count; i++) {
        const ps_adjust_corner *c = &t->s.corner[i];
        ps_sighting *sighting = &t->photo[c->photo].sightings.piece[0];
        sighting->corner[sighting->corner_count++] = (ps_corner){c->index, c->x_px, c->y_px, c->sigma_px};
    }
    return t;
}

static void unmake(setup *t) {
    free(t->job.corner);
    ps_adjust_solution_free(t->job.solution);
    free(t);
}

/* The true lens of the scene's photos (their mean), known about as well as eight photos tell it. */
static void give_profile(setup *t, double focal_factor) {
    static const double sd[N] = {6, 3.5, 3.5, 0.002, 0.01, 0.0001, 0.0001, 0.02};
    ps_camera_profile *p = &t->options.profile;
    *p = (ps_camera_profile){
        .width = 4032, .height = 3024, .lens = t->s.view[0].lens, .model = "Phone A", .focal_mm = 5.6, .focal_35mm_mm = 26};
    p->lens.f_px = p->lens.cx = p->lens.cy = 0;
    for (int i = 0; i < t->job.count; i++) {
        p->lens.f_px += focal_factor * t->s.view[i].lens.f_px / t->job.count;
        p->lens.cx += t->s.view[i].lens.cx / t->job.count;
        p->lens.cy += t->s.view[i].lens.cy / t->job.count;
    }
    for (int k = 0; k < N; k++) p->covariance[(N + 1) * k] = sd[k] * sd[k];
    t->options.has_profile = true;
}

static double focal_of(const setup *t, double *sd) {
    ps_lens lens;
    double C[N * N];
    ps_context *ctx = ps_context_new();
    assert_int_equal(ps_adjust_lens(ctx, t->job.solution, 0, &lens, C), PS_OK);
    ps_context_free(ctx);
    *sd = sqrt(C[0]);
    return lens.f_px;
}

static void the_right_profile_is_used_and_helps(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    for (uint64_t seed = 1; seed <= 8; seed++) {
        setup *without = make(seed), *with = make(seed);
        double sd_without, sd_with;
        give_profile(with, 1);
        assert_int_equal(ps_job_cameras(ctx, &without->job), PS_OK);
        assert_int_equal(ps_job_cameras(ctx, &with->job), PS_OK);
        assert_int_equal(without->job.group_source[0], PS_CAMERA_EXIF);
        assert_int_equal(with->job.group_source[0], PS_CAMERA_PROFILE);
        assert_false(with->job.profile_contradicted);
        (void)focal_of(without, &sd_without);
        double f = focal_of(with, &sd_with);
        assert_true(sd_with < sd_without && sd_with <= 6.0);       /* no worse than the profile itself */
        CHECK_NEAR(f, with->options.profile.lens.f_px, 3.0 * 6.0); /* three sd of the profile */
        unmake(without);
        unmake(with);
    }
    ps_context_free(ctx);
}

/* 6 % off is the difference of two main lenses of a kind, far beyond a changed focus. The outcome is that without a profile. */
static void a_wrong_profile_is_given_up(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    for (int sign = -1; sign <= 1; sign += 2) {
        setup *without = make(3), *with = make(3);
        double sd[2];
        give_profile(with, 1 + 0.06 * sign);
        assert_int_equal(ps_job_cameras(ctx, &without->job), PS_OK);
        assert_int_equal(ps_job_cameras(ctx, &with->job), PS_OK);
        assert_int_equal(with->job.group_source[0], PS_CAMERA_EXIF);
        assert_true(with->job.profile_contradicted);
        assert_false(with->job.group[0].joint);
        double f[2] = {focal_of(without, &sd[0]), focal_of(with, &sd[1])};
        const double last_step = 1e-3; /* of an sd: the solver's stop */
        CHECK_NEAR(f[1], f[0], last_step * sd[0]);
        unmake(without);
        unmake(with);
    }
    ps_context_free(ctx);
}

/* The same at a later solution, as when rims have come in: here the group is handed a wrong profile after the corners. */
static void a_profile_contradicted_later_is_given_up(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    for (int wrong = 0; wrong <= 1; wrong++) {
        setup *t = make(4);
        assert_int_equal(ps_job_cameras(ctx, &t->job), PS_OK);
        give_profile(t, wrong ? 1.06 : 1);
        ps_adjust_group *g = &t->job.group[0];
        g->start = t->options.profile.lens;
        g->joint = true;
        memcpy(g->joint_covariance, t->options.profile.covariance, sizeof g->joint_covariance);
        t->job.group_source[0] = PS_CAMERA_PROFILE;
        assert_int_equal(ps_job_solve(ctx, &t->job), PS_OK);
        assert_int_equal(t->job.group_source[0], wrong ? PS_CAMERA_EXIF : PS_CAMERA_PROFILE);
        assert_true(t->job.profile_contradicted == (wrong == 1));
        unmake(t);
    }
    ps_context_free(ctx);
}

static void other_photos_do_not_use_it(void **state) {
    (void)state;
    ps_context *ctx = ps_context_new();
    setup *t = make(5);
    give_profile(t, 1);
    for (int i = 0; i < t->job.count; i++) strcpy(t->photo[i].photo.exif.model, i == 0 ? "Phone A" : "Phone B");
    assert_int_equal(ps_job_cameras(ctx, &t->job), PS_OK);
    assert_int_equal(t->job.problem.group_count, 2);
    assert_int_equal(t->job.group_source[0], PS_CAMERA_PROFILE);
    assert_int_equal(t->job.group_source[1], PS_CAMERA_EXIF);
    assert_false(t->job.group[1].joint);
    unmake(t);
    ps_context_free(ctx);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_right_profile_is_used_and_helps),
        cmocka_unit_test(a_wrong_profile_is_given_up),
        cmocka_unit_test(a_profile_contradicted_later_is_given_up),
        cmocka_unit_test(other_photos_do_not_use_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
