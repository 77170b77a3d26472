/* Forms filled in honestly, and with one planted mistake: how many are found, how many accused wrongly. docs/forms-accuracy.md.
 *
 * bench_forms [FORMS [SEED]]: prints the page's tables. Invented jobs (forms_scene.h); what a mistake does to a value comes from the true
 * sizes, and never from the library's own prediction. */
#include "forms_scene.h"

#include "base/stats.h"
#include "forms/mistakes.h"

enum { SINGLE = PS_MISTAKE_ROLES, TRIES = 400 };
static const double clear_of = 3; /* combined standard uncertainties */

typedef struct tally {
    int planted, eligible, first, first_any, wrong, missed_by_all;
} tally;

static bool exact_fraction_only(const ps_forms_reading *f) {
    return f->inch && f->instrument == PS_INSTRUMENT_TAPE;
}

/* The reading as it would be with the mistake, without its error; NaN where the mistake cannot be made here. */
static double mistaken(const scene *w, scene_random *r, const ps_forms_reading *f, ps_mistake m) {
    static const ps_forms_way way[] = {[PS_MISTAKE_INSIDE] = PS_WAY_INSIDE,
                                       [PS_MISTAKE_OUTSIDE] = PS_WAY_OUTSIDE,
                                       [PS_MISTAKE_FRONTS] = PS_WAY_FRONTS,
                                       [PS_MISTAKE_BACKS] = PS_WAY_BACKS,
                                       [PS_MISTAKE_CENTRES] = PS_WAY_CENTRES};
    const scene_side *t = &w->truth[f->side];
    double honest = scene_honest(w, f);
    bool tape = f->instrument == PS_INSTRUMENT_TAPE, centres = f->kind == PS_KIND_CENTRES, pin = f->kind == PS_KIND_PIN,
         gap = f->kind == PS_KIND_GAP;
    if (m <= PS_MISTAKE_CENTRES) {
        if (!centres || way[m] == f->way) return NAN;
        ps_forms_reading other = *f;
        other.way = way[m];
        return scene_honest(w, &other);
    }
    switch (m) {
    case PS_MISTAKE_DIAGONAL:
        return centres && f->place == PS_PLACE_UNKNOWN ? hypot(honest, scene_rise(t)) : NAN;
    case PS_MISTAKE_RADIUS:
        return pin ? 0.5 * honest : NAN;
    case PS_MISTAKE_AROUND:
        return pin ? 3.14159265358979 * honest : NAN;
    case PS_MISTAKE_CHAMFER:
        return pin ? t->face[f->role] : NAN;
    case PS_MISTAKE_CAP:
        return pin ? honest + scene_uniform(r, 3, 20) : NAN;
    case PS_MISTAKE_BUSH:
        return pin ? t->bush[f->role] : NAN;
    case PS_MISTAKE_EAR_PLATES:
        return gap ? honest + 2 * t->standout[f->role] + scene_uniform(r, -3, 3) : NAN;
    case PS_MISTAKE_OVER_EARS:
        return gap && isfinite(w->job.ear_thickness_mm) ? honest + 2 * t->standout[f->role] + 2 * w->ear_mm : NAN;
    case PS_MISTAKE_SHIMS_IN:
        return gap ? honest - scene_uniform(r, 1, 8) : NAN;
    case PS_MISTAKE_BEGUN_10:
        return tape && !f->inch ? honest + 10 : NAN;
    case PS_MISTAKE_BEGUN_100:
        return tape && !f->inch ? honest + 100 : NAN;
    case PS_MISTAKE_BEGUN_INCH:
        return tape && f->inch ? honest + 25.4 : NAN;
    case PS_MISTAKE_DECADE:
        return f->inch ? NAN : honest + (scene_chance(r, 0.5) ? 10 : 100) * (!tape && scene_chance(r, 0.5) ? 1 : -1);
    case PS_MISTAKE_SIXTEENTHS:
        return f->inch ? honest + (scene_chance(r, 0.7) ? 1 : 2) * (scene_chance(r, 0.5) ? 1 : -1) * 25.4 / 16 : NAN;
    case PS_MISTAKE_OTHER_PIN:
        return centres ? NAN : scene_truth(t, f->kind, 1 - f->role);
    case PS_MISTAKE_OTHER_SIDE: {
        ps_forms_reading other = *f;
        other.side = (ps_side)(1 - f->side);
        return w->result.record[1 - f->side].dimension_count ? scene_honest(w, &other) : NAN;
    }
    default:
        return honest; /* written wrongly, below */
    }
}

/* Mistakes of writing act on the written digits. */
static bool write_mistaken(scene_random *r, ps_forms_reading *f, double read_mm, ps_mistake m) {
    bool half = scene_chance(r, 0.3);
    if (m == PS_MISTAKE_INCH_FOR_MM || m == PS_MISTAKE_CM_FOR_MM) {
        if (f->inch) return false;
        (void)snprintf(f->written, sizeof f->written, m == PS_MISTAKE_CM_FOR_MM ? "%.1f" : "%.2f",
                       read_mm / (m == PS_MISTAKE_CM_FOR_MM ? 10 : 25.4));
        f->value_mm = strtod(f->written, NULL), f->step_mm = m == PS_MISTAKE_CM_FOR_MM ? 0.1 : 0.01;
        return true;
    }
    if (m == PS_MISTAKE_MM_FOR_INCH) {
        if (!f->inch) return false;
        (void)snprintf(f->written, sizeof f->written, "%.0f", read_mm);
        f->value_mm = strtod(f->written, NULL) * 25.4, f->step_mm = 25.4;
        return true;
    }
    scene_write(r, f, read_mm, half);
    if (m != PS_MISTAKE_DIGITS) return true;
    if (exact_fraction_only(f)) return false;
    size_t length = strlen(f->written), i = (size_t)scene_pick(r, (int)length), next = i + 1 + (f->written[i + 1] == '.');
    if (f->written[i] == '.' || next >= length || f->written[i] == f->written[next] || (i == 0 && f->written[next] == '0')) return false;
    char kept = f->written[i];
    f->written[i] = f->written[next], f->written[next] = kept;
    f->value_mm = strtod(f->written, NULL) * (f->inch ? 25.4 : 1);
    return true;
}

/* Effect, and difference from every other mistake's effect, over three combined standard uncertainties. `without_error`: what the
 * mistake makes of the true size; only the spread of the photos and of the reading is then uncertain. */
static bool eligible(const scene *w, int i, ps_mistake m) {
    ps_side_facts facts[2] = {ps_forms_facts(&w->result.record[0]), ps_forms_facts(&w->result.record[1])};
    const ps_forms_reading *f = &w->job.reading[i];
    ps_fact pin[2][2];
    ps_branch branch[PS_BRANCHES_MAX];
    for (int side = 0; side < 2; side++) ps_forms_facts_pins(&w->job, (ps_side)side, &facts[side], pin[side]);
    ps_branch_view view = {.facts = &facts[f->side], .other_side = &facts[1 - f->side], .pin = pin[f->side], .other_pin = pin[1 - f->side]};
    view.ear_thickness_mm = w->job.ear_thickness_mm;
    int count = ps_mistake_branches(f, &view, branch);
    const ps_branch *own = NULL;
    for (int k = 0; k < count; k++)
        if (branch[k].mistake == (int)m && (!own || fabs(branch[k].mm - f->value_mm) < fabs(own->mm - f->value_mm))) own = &branch[k];
    if (!own) return false;
    for (int k = 0; k < count; k++) {
        if (branch[k].mistake == (int)m) continue;
        double u = hypot(branch[k].own_mm, branch[k].shared_mm);
        if (fabs(own->mm - branch[k].mm) <= clear_of * fmax(u, hypot(own->own_mm, own->shared_mm))) return false;
    }
    return true;
}

static bool accused(const ps_forms_result *result) {
    for (int k = 0; k < result->joint_count; k++)
        if (result->joint[k].named) return true;
    for (int i = 0; i < result->comparison_count; i++)
        for (int k = 0; k < result->comparison[i].suspect_count; k++)
            if (result->comparison[i].suspect[k].named) return true;
    return false;
}

static bool differs(const ps_forms_result *result) {
    for (int i = 0; i < result->comparison_count; i++)
        if (result->comparison[i].match == PS_MATCH_DIFFERS) return true;
    return false;
}

static void drop(scene *w) {
    free(w->result.message_text);
    w->result.message_text = NULL;
}

/* One planted single mistake; false where none could be made in this form. */
static bool plant(scene *w, scene_random *r, int *reading, ps_mistake *m) {
    for (int n = 0; n < TRIES; n++) {
        *reading = scene_pick(r, w->job.reading_count);
        *m = (ps_mistake)scene_pick(r, SINGLE);
        ps_forms_reading f = w->job.reading[*reading];
        const ps_dimension *d = ps_forms_dimension(&w->result.record[f.side], f.kind, f.role);
        if (*m == PS_MISTAKE_TAPER || !d || d->verdict == PS_VERDICT_MISSING)
            continue; /* tapers: a doubt of the photos decides, tests only */
        double value = mistaken(w, r, &f, *m);
        if (!(value > 1) || !write_mistaken(r, &f, value + scene_reading_error(r, &f), *m)) continue;
        w->job.reading[*reading] = f;
        return true;
    }
    return false;
}

static void run_singles(int forms, uint64_t seed, tally *table, int *wrong_elsewhere) {
    ps_context *ctx = ps_context_new();
    scene *w = malloc(sizeof *w);
    for (int n = 0; n < forms && w && ctx; n++) {
        scene_random r = {seed * 1000003u + (uint64_t)n};
        int reading;
        ps_mistake m;
        scene_draw(w, &r, scene_chance(&r, 0.6), 1);
        if (!plant(w, &r, &reading, &m) || ps_forms_decide(ctx, &w->job, &w->result) != PS_OK) continue;
        tally *t = &table[m];
        const ps_forms_comparison *c = &w->result.comparison[reading];
        bool named = c->suspect_count > 0 && c->suspect[0].named, first = named && c->suspect[0].mistake == m,
             able = eligible(w, reading, m);
        t->planted++, t->eligible += able, t->first += able && first, t->first_any += first, t->wrong += named && !first;
        for (int i = 0; i < w->result.comparison_count; i++)
            if (i != reading && w->result.comparison[i].suspect_count > 0 && w->result.comparison[i].suspect[0].named) {
                (*wrong_elsewhere)++;
                break;
            }
        drop(w);
    }
    free(w);
    ps_context_free(ctx);
}

/* ---- mistakes of several values ---- */

static bool plant_joint(scene *w, ps_mistake m) {
    int clear = 0, n = w->job.reading_count;
    ps_forms_reading was[PS_FORMS_READINGS_MAX];
    memcpy(was, w->job.reading, sizeof was);
    for (int i = 0; i < n; i++) {
        ps_forms_reading *f = &w->job.reading[i];
        const ps_forms_reading *from = f;
        if (m == PS_MISTAKE_ROLES && f->side == 0 && f->kind != PS_KIND_CENTRES) from = &was[i ^ 1];
        if (m == PS_MISTAKE_SIDES) from = &was[(i + 5) % 10];
        ps_side side = f->side;
        int role = f->role;
        *f = *from;
        f->side = side, f->role = role;
        if (m == PS_MISTAKE_ALL_INCH) {
            (void)snprintf(f->written, sizeof f->written, "%.2f", f->value_mm / 25.4);
            f->value_mm = strtod(f->written, NULL), f->step_mm = 0.01, f->inch = false;
        }
        const ps_dimension *d = ps_forms_dimension(&w->result.record[f->side], f->kind, f->role);
        bool had = d && d->verdict != PS_VERDICT_MISSING;
        double effect = m == PS_MISTAKE_SHEET ? (had ? d->value_mm - scene_truth(&w->truth[f->side], f->kind, f->role) : 0)
                                              : f->value_mm - scene_honest(w, f);
        clear += had && fabs(effect) > clear_of * hypot(ps_reading_u(f), d->u_mm);
    }
    return clear >= 2;
}

static void run_joints(int forms, uint64_t seed, tally *table) {
    ps_context *ctx = ps_context_new();
    scene *w = malloc(sizeof *w);
    for (int n = 0; n < forms && w && ctx; n++) {
        scene_random r = {seed * 2000003u + (uint64_t)n};
        ps_mistake m = (ps_mistake)(PS_MISTAKE_ROLES + scene_pick(&r, PS_MISTAKE_COUNT - PS_MISTAKE_ROLES));
        static const double ratios[] = {0.9407, 0.9727};
        double ratio = m != PS_MISTAKE_SHEET ? 1 : scene_chance(&r, 0.5) ? ratios[scene_pick(&r, 2)] : scene_uniform(&r, 0.93, 1.07);
        scene_draw(w, &r, m == PS_MISTAKE_SIDES || scene_chance(&r, 0.6), ratio);
        if (m == PS_MISTAKE_ALL_INCH && w->job.reading[0].inch) continue;
        bool both = m == PS_MISTAKE_SHEET && w->result.record[1].dimension_count > 0 && scene_chance(&r, 0.5);
        for (int i = 0; both && i < w->result.record[1].dimension_count; i++) w->result.record[1].dimension[i].value_mm /= ratio;
        bool able = plant_joint(w, m);
        if (ps_forms_decide(ctx, &w->job, &w->result) != PS_OK) continue;
        bool first = false, other = false;
        for (int k = 0; k < w->result.joint_count; k++) {
            bool right = w->result.joint[k].mistake == m && (m != PS_MISTAKE_SHEET || w->result.joint[k].side == (both ? -1 : 0));
            first |= w->result.joint[k].named && right;
            other |= w->result.joint[k].named && !right;
        }
        tally *t = &table[m];
        t->planted++, t->eligible += able, t->first += able && first, t->first_any += first, t->wrong += other;
        drop(w);
    }
    free(w);
    ps_context_free(ctx);
}

static int run_honest(int forms, uint64_t seed, double heavier, int *differing) {
    ps_context *ctx = ps_context_new();
    scene *w = malloc(sizeof *w);
    int count = 0;
    for (int n = 0; n < forms && w && ctx; n++) {
        scene_random r = {seed * 3000017u + (uint64_t)n};
        scene_draw(w, &r, scene_chance(&r, 0.6), 1);
        for (int i = 0; i < w->job.reading_count; i++) { /* some readings worse than the stated practice */
            ps_forms_reading *f = &w->job.reading[i];
            if (scene_chance(&r, heavier)) scene_write(&r, f, scene_honest(w, f) + 2 * scene_reading_error(&r, f), false);
        }
        if (ps_forms_decide(ctx, &w->job, &w->result) != PS_OK) continue;
        count += accused(&w->result);
        *differing += differs(&w->result);
        drop(w);
    }
    free(w);
    ps_context_free(ctx);
    return count;
}

static void print_rate(int k, int n) {
    double low, high;
    if (ps_proportion_exact(k, n, 0.95, &low, &high))
        printf(" %.1f (%.1f-%.1f) |", 100.0 * k / n, 100 * low, 100 * high);
    else
        printf(" - |");
}

static void print_row(const char *name, const tally *t) {
    printf("| %s | %d | %d |", name, t->planted, t->eligible);
    print_rate(t->first, t->eligible);
    print_rate(t->first_any, t->planted);
    print_rate(t->wrong, t->planted);
    printf("\n");
}

static void print_table(const tally *table, int from, int to, const char *all) {
    tally sum = {0};
    printf("| planted | forms | clear | clear ones named first, %% | all named first, %% | another named first, %% |\n"
           "| --- | --- | --- | --- | --- | --- |\n");
    for (int m = from; m < to; m++) {
        const tally *t = &table[m];
        if (t->planted == 0) continue;
        print_row(ps_mistake_word((ps_mistake)m), t);
        sum.planted += t->planted, sum.eligible += t->eligible, sum.first += t->first, sum.first_any += t->first_any, sum.wrong += t->wrong;
    }
    print_row(all, &sum);
    printf("\n");
}

int main(int argc, char **argv) {
    int forms = argc > 1 ? atoi(argv[1]) : 10000, differing = 0, heavy_differing = 0, elsewhere = 0;
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    if (forms < 1 || forms > 10000000) {
        fprintf(stderr, "usage: bench_forms [forms [seed]]\n");
        return 2;
    }
    tally table[PS_MISTAKE_COUNT] = {{0}};
    int wrong = run_honest(forms, seed, 0, &differing), heavy = run_honest(forms, seed + 1, 0.1, &heavy_differing);
    run_singles(forms, seed, table, &elsewhere);
    run_joints(forms / 2, seed, table);
    printf("%d forms of each sort, seed %llu (mistakes of several values: half as many). Intervals: 95 %%, Clopper-Pearson.\n\n", forms,
           (unsigned long long)seed);
    printf("## Honest forms\n\n| forms | accused of a mistake, %% | a value 'differs', %% |\n| --- | --- | --- |\n| honest |");
    print_rate(wrong, forms);
    print_rate(differing, forms);
    printf("\n| honest, every tenth reading twice as bad as stated |");
    print_rate(heavy, forms);
    print_rate(heavy_differing, forms);
    printf("\n\n## One value with a mistake\n\n");
    print_table(table, 0, SINGLE, "all");
    printf("Another value of the same form accused besides: %d of %d forms.\n\n## Mistakes of several values\n\n", elsewhere, forms);
    print_table(table, SINGLE, PS_MISTAKE_COUNT, "all");
    return 0;
}
