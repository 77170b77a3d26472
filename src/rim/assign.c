/* From circles of all photos to the two pins of a side: axes where circles meet, their half sections, the two that are
 * pins, and which is which. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/linear.h"
#include "rim/section.h"

enum { AXES_READ = 5 };
static const double height_alone_mm = 10; /* of rims in a single photo: a guess that only starts the search */
static const double bush_over_pin = 1.3;  /* a bush is about so much larger than its pin, or than the cap on it */
static const double alike_min = 0.55;     /* pins of one side differ by less than this ratio (common practice) */
static const double same_axis_mm = 3;     /* as far as one is moved while it is read */
static const double poor_weight = 0.33;   /* of an axis beside the lesser one of a pair; practice */

static const double another_lead = 1; /* circles: a cap becomes a pin, or a pin a cap, where the later reading explains so much more */

typedef struct finding {
    ps_axis_guess axis;
    ps_section section;
} finding;

static bool are_pair(const finding *a, const finding *b) {
    double p = a->section.size_mm, q = b->section.size_mm;
    double apart = hypot(a->axis.x_mm - b->axis.x_mm, a->axis.y_mm - b->axis.y_mm);
    return fmin(p, q) >= alike_min * fmax(p, q) && apart >= 0.9 * (a->section.bush.radius_mm + b->section.bush.radius_mm);
}

/* Two sections that go together were read, and far fewer circles meet on this axis than on theirs: reading it would cost as much, and
 * change nothing. */
static bool is_idle(const finding *f, int found, const ps_axis_guess *axis) {
    for (int i = 0; i < found; i++)
        for (int k = i + 1; k < found; k++) {
            bool sure = fmin(f[i].section.evidence.worth, f[k].section.evidence.worth) >= PS_RIM_WORTH_LEAST; /* less may give way */
            if (sure && are_pair(&f[i], &f[k]) && axis->weight < poor_weight * fmin(f[i].axis.weight, f[k].axis.weight)) return true;
        }
    return false;
}

static int read_sections(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_axis_guess *axes,
                         int count, finding *out) {
    int found = 0;
    for (int i = 0; i < count && i < AXES_READ; i++) {
        finding f;
        f.axis = axes[i];
        if (is_idle(out, found, &axes[i])) continue;
        if (ps_section_read(ctx, photos, lumas, views, false, &f.axis, &f.section) == PS_OK) out[found++] = f;
    }
    return found;
}

/* Axes near those that were tried, where these may have been false ones beside a pin's own. */
static ps_status read_between(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views,
                              const ps_rim_candidates *candidates, const ps_axis_guess *tried, int tries, finding *found, int *read) {
    ps_axis_guess axes[PS_AXES_MAX], fresh[PS_AXES_MAX] = {0};
    int count = 0, left = 0;
    ps_status status = ps_axes_find_closely(ctx, photos, views, candidates, height_alone_mm, axes, &count);
    if (status != PS_OK) return status;
    for (int i = 0; i < count; i++) {
        bool known = false;
        for (int k = 0; k < tries && k < AXES_READ; k++)
            known = known || hypot(axes[i].x_mm - tried[k].x_mm, axes[i].y_mm - tried[k].y_mm) < same_axis_mm;
        if (!known) fresh[left++] = axes[i];
    }
    *read += read_sections(ctx, photos, lumas, views, fresh, left, found + *read);
    return PS_OK;
}

/* The two pins: the best pair of clear, large and alike sections. Returns how many were chosen. */
static int choose_pins(const finding *f, int count, int chosen[2]) {
    double best = 0;
    int n = 0;
    for (int i = 0; i < count; i++)
        for (int k = i + 1; k < count; k++) {
            if (!are_pair(&f[i], &f[k])) continue;
            double value = sqrt(f[i].section.score * f[k].section.score) * fmin(f[i].section.size_mm, f[k].section.size_mm);
            if (value > best) best = value, chosen[0] = i, chosen[1] = k, n = 2;
        }
    if (n == 0 && count > 0) {
        chosen[0] = 0;
        for (int i = 1; i < count; i++)
            if (f[i].section.score > f[chosen[0]].section.score) chosen[0] = i;
        n = 1;
    }
    return n;
}

static void add_rim(ps_pin_model *pin, ps_edge edge, const ps_section_corner *c) {
    if (!c->found || pin->rim_count == PS_RIMS_PER_PIN) return;
    pin->rim[pin->rim_count++] = (ps_pin_rim){edge, PS_EAR_NEAR, c->height_mm, c->radius_mm, 0.5, 0.25, 1 - c->clear};
}

static void add_rims(const ps_section *section, ps_pin_model *pin) {
    pin->rim_count = 0;
    add_rim(pin, PS_EDGE_CAP, &section->cap);
    add_rim(pin, PS_EDGE_PIN, &section->pin);
    add_rim(pin, PS_EDGE_PIN_FACE, &section->pin_face);
    add_rim(pin, PS_EDGE_BUSH_BORE, &section->bore);
    add_rim(pin, PS_EDGE_BUSH, &section->bush);
    add_rim(pin, PS_EDGE_BUSH_FACE, &section->bush_face);
    pin->evidence = section->evidence;
}

static void to_model(const finding *f, ps_pin_model *pin) {
    memset(pin, 0, sizeof *pin);
    pin->axis_point_mm[0] = f->axis.x_mm;
    pin->axis_point_mm[1] = f->axis.y_mm;
    pin->axis_direction[2] = -1;
    add_rims(&f->section, pin);
}

/* World-plane direction that looks to the wanted side in the first photo, at a point of the plane. */
static bool looking(const ps_view *view, const double at[2], ps_direction side, double out[2]) {
    static const double wanted[5][2] = {{0, 0}, {-1, 0}, {1, 0}, {0, -1}, {0, 1}};
    double X[3] = {at[0], at[1], 0}, p[2], q[2], r[2];
    if (!ps_view_project(view, X, p)) return false;
    X[0] += 1;
    if (!ps_view_project(view, X, q)) return false;
    X[0] -= 1, X[1] += 1;
    if (!ps_view_project(view, X, r)) return false;
    double a = q[0] - p[0], b = r[0] - p[0], c = q[1] - p[1], d = r[1] - p[1], det = a * d - b * c;
    if (!(fabs(det) > 1e-12)) return false;
    const double *w = wanted[side];
    out[0] = (d * w[0] - b * w[1]) / det;
    out[1] = (a * w[1] - c * w[0]) / det;
    return true;
}

/* Which pin is the dipper's: the one farther along the direction. Unsure over 60 degrees from the line of the pins. */
static void give_roles(const ps_view *view, const double toward_dipper[2], ps_direction dipper, ps_pin_models *m) {
    double direction[2] = {toward_dipper[0], toward_dipper[1]};
    m->pin[0].role = PS_ROLE_DIPPER;
    m->roles_unsure = m->count < 2 || hypot(direction[0], direction[1]) < 1e-9;
    if (m->count < 2) return;
    double middle[2], line[2];
    for (int i = 0; i < 2; i++) {
        middle[i] = 0.5 * (m->pin[0].axis_point_mm[i] + m->pin[1].axis_point_mm[i]);
        line[i] = m->pin[0].axis_point_mm[i] - m->pin[1].axis_point_mm[i];
    }
    if (dipper != PS_DIRECTION_NONE && looking(view, middle, dipper, direction)) m->roles_unsure = false;
    double cosine =
        (direction[0] * line[0] + direction[1] * line[1]) / (hypot(direction[0], direction[1]) * hypot(line[0], line[1]) + 1e-12);
    if (fabs(cosine) < 0.5) m->roles_unsure = true;
    if (cosine < 0) {
        ps_pin_model other = m->pin[0];
        m->pin[0] = m->pin[1];
        m->pin[1] = other;
    }
    m->pin[0].role = PS_ROLE_DIPPER;
    m->pin[1].role = PS_ROLE_LINK;
}

ps_status ps_rim_assign(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_rim_candidates *candidates,
                        const double toward_dipper[2], ps_direction dipper, bool closely, ps_pin_models *out) {
    ps_axis_guess axes[PS_AXES_MAX];
    finding found[2 * AXES_READ];
    int count = 0, chosen[2];
    ps_status status = ps_axes_find(ctx, photos, views, candidates, height_alone_mm, axes, &count);
    if (status != PS_OK) return status;
    int read = read_sections(ctx, photos, lumas, views, axes, count, found);
    ps_pin_models m = {0};
    m.count = choose_pins(found, read, chosen);
    if (closely && m.count < 2 && photos > 1) {
        status = read_between(ctx, photos, lumas, views, candidates, axes, count, found, &read);
        if (status != PS_OK) return status;
        m.count = choose_pins(found, read, chosen);
    }
    if (m.count == 0) return ps_context_fail(ctx, PS_NOT_FOUND, "no pin in a bush was found");
    for (int i = 0; i < m.count; i++) to_model(&found[chosen[i]], &m.pin[i]);
    give_roles(&views[0], toward_dipper, dipper, &m);
    *out = m;
    return PS_OK;
}

void ps_rim_place_alone(const ps_view *view, const ps_rim_mask *mask, int masks, const double toward_dipper[2], ps_direction dipper,
                        ps_pin_models *m) {
    if (m->count != 1) return;
    double toward[2] = {toward_dipper[0], toward_dipper[1]}, along = 0, middle_mm[2];
    ps_rim_masks_middle(mask, masks, middle_mm);
    if (dipper != PS_DIRECTION_NONE && !looking(view, middle_mm, dipper, toward)) return;
    for (int i = 0; i < 2; i++) along += toward[i] * (m->pin[0].axis_point_mm[i] - middle_mm[i]);
    m->pin[0].role = along < 0 ? PS_ROLE_LINK : PS_ROLE_DIPPER;
}

/* The axis of a model as a guess of the section's kind: place and slope over height. */
static ps_axis_guess as_guess(const ps_pin_model *pin) {
    ps_axis_guess a = {pin->axis_point_mm[0], pin->axis_point_mm[1], 0, 0, 1, 20, 0, 10, 0, false};
    double nz = pin->axis_direction[2];
    a.slope_x = -pin->axis_direction[0] / nz;
    a.slope_y = -pin->axis_direction[1] / nz;
    a.x_mm += a.slope_x * pin->axis_point_mm[2];
    a.y_mm += a.slope_y * pin->axis_point_mm[2];
    bool bush = ps_rim_find(pin, PS_EDGE_BUSH, PS_EAR_NEAR) >= 0 || ps_rim_find(pin, PS_EDGE_BUSH_FACE, PS_EAR_NEAR) >= 0;
    for (int r = 0; r < pin->rim_count; r++) {
        a.radius_max_mm = fmax(a.radius_max_mm, (bush ? 1 : bush_over_pin) * pin->rim[r].radius_mm);
        a.height_max_mm = fmax(a.height_max_mm, pin->rim[r].height_mm);
        a.height_min_mm = fmin(a.height_min_mm, pin->rim[r].height_mm);
    }
    return a;
}

ps_status ps_rim_reread(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, ps_pin_models *pins) {
    for (int p = 0; p < pins->count; p++) {
        ps_axis_guess axis = as_guess(&pins->pin[p]);
        ps_section section;
        ps_status status = ps_section_read(ctx, photos, lumas, views, true, &axis, &section);
        if (status == PS_NOT_FOUND) continue; /* keeps what it had */
        if (status != PS_OK) return status;
        bool capped = ps_rim_find(&pins->pin[p], PS_EDGE_CAP, PS_EAR_NEAR) >= 0;
        if (section.cap.found != capped && section.evidence.worth < pins->pin[p].evidence.worth + another_lead) continue;
        add_rims(&section, &pins->pin[p]);
    }
    return PS_OK;
}

ps_status ps_rim_look_near(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, const ps_pin_model *other,
                           ps_pin_model *pin) {
    finding f = {.axis = as_guess(pin)};
    f.axis.radius_max_mm = fmax(f.axis.radius_max_mm, as_guess(other).radius_max_mm);
    ps_status status = ps_section_read(ctx, photos, lumas, views, false, &f.axis, &f.section);
    if (status != PS_OK) return status;
    ps_role role = pin->role;
    to_model(&f, pin);
    pin->role = role;
    return PS_OK;
}

/* How far a bush's edge and the edge that had been taken for the pin's may lie apart where they are one. */
static const double same_rim_mm = 1.5;
static const double usual_wall_mm = 8; /* of a bush (8 to 20 mm); thinner ones are said, not mended */

/* On the face of what was taken for the pin a pin may lie in its bore, and it stands out of what was taken for its bush no farther than a
 * bush does of a boss. */
static bool may_be_bush(const ps_pin_model *pin, double *radius_mm) {
    int own = ps_rim_find(pin, PS_EDGE_PIN, PS_EAR_NEAR), bush = ps_rim_find(pin, PS_EDGE_BUSH_FACE, PS_EAR_NEAR);
    if (bush < 0) bush = ps_rim_find(pin, PS_EDGE_BUSH, PS_EAR_NEAR);
    if (!(pin->evidence.ring_mm > 0) || own < 0 || bush < 0) return false;
    *radius_mm = pin->rim[own].radius_mm;
    return pin->rim[own].height_mm - pin->rim[bush].height_mm <= PS_RIM_BUSH_STANDS_MOST_MM;
}

ps_status ps_rim_look_into_bush(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views, ps_pin_model *pin) {
    ps_axis_guess axis = as_guess(pin);
    ps_section section;
    double radius_mm;
    if (photos < 2 || !may_be_bush(pin, &radius_mm)) {
        pin->evidence.ring_mm = 0;
        return PS_NOT_FOUND;
    }
    ps_status status = ps_section_read_gap(ctx, photos, lumas, views, &axis, &section);
    if (status != PS_OK) return status;
    if (!section.in_gap) pin->evidence.ring_mm = section.evidence.ring_mm;
    if (!section.in_gap || !(fabs(section.bush.radius_mm - radius_mm) < same_rim_mm) || section.wall_mm < usual_wall_mm)
        return PS_NOT_FOUND;
    add_rims(&section, pin);
    pin->evidence.ring_mm = 0;
    return PS_OK;
}

/* What is known of a pin, as if it had been found. */
static finding as_finding(const ps_pin_model *pin) {
    finding f = {.axis = as_guess(pin)};
    int own = ps_rim_find(pin, PS_EDGE_PIN, PS_EAR_NEAR), bush = ps_rim_find(pin, PS_EDGE_BUSH, PS_EAR_NEAR);
    double largest = f.axis.radius_max_mm;
    f.section.size_mm = own >= 0 ? pin->rim[own].radius_mm : largest / bush_over_pin;
    f.section.bush.radius_mm = bush >= 0 ? pin->rim[bush].radius_mm : largest;
    return f;
}

ps_status ps_rim_look_elsewhere(ps_context *ctx, int photos, const ps_luma *const *lumas, const ps_view *views,
                                const ps_rim_candidates *candidates, const double toward_dipper[2], ps_direction dipper, double worth_least,
                                int pin, ps_pin_models *m) {
    ps_axis_guess axes[PS_AXES_MAX];
    finding f, known = as_finding(&m->pin[1 - pin]), best = {.section = {.score = 0}};
    int count = 0;
    ps_status status = ps_axes_find_closely(ctx, photos, views, candidates, height_alone_mm, axes, &count);
    for (int i = 0; status == PS_OK && i < count; i++) {
        f.axis = axes[i];
        f.axis.patient = true;
        /* What stands within the other's bush is its own. */
        if (hypot(f.axis.x_mm - known.axis.x_mm, f.axis.y_mm - known.axis.y_mm) < known.section.bush.radius_mm) continue;
        status = ps_section_read(ctx, photos, lumas, views, false, &f.axis, &f.section);
        bool goes = status == PS_OK && f.section.evidence.worth >= worth_least && are_pair(&f, &known);
        if (goes && f.section.score > best.section.score) best = f;
        if (status == PS_NOT_FOUND) status = PS_OK;
    }
    if (status != PS_OK) return status;
    if (!(best.section.score > 0)) return ps_context_fail(ctx, PS_NOT_FOUND, "no other pin goes with the one that is read");
    to_model(&best, &m->pin[pin]);
    m->count = PS_ROLE_COUNT;
    give_roles(&views[0], toward_dipper, dipper, m);
    return PS_OK;
}
