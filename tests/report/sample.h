/* sample.h: a record built by hand, for the tests of this room. All sizes and texts are invented. */
#ifndef PINSPAN_TESTS_REPORT_SAMPLE_H
#define PINSPAN_TESTS_REPORT_SAMPLE_H

#include "check.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pinspan/report.h"
#include "report/jpeg_write.h"

typedef struct sample {
    ps_record record;
    ps_record_photo photo[2];
    ps_record_rim rim[6];
    ps_edge_point point[2][36];
    char file[2][512];
} sample;

static inline void sample_note(ps_notes *notes, ps_code code, const char *text) {
    ps_note *note = &notes->note[notes->count++];
    note->code = code;
    (void)snprintf(note->text, sizeof note->text, "%s", text);
}

static inline ps_dimension *sample_dimension(ps_record *r, const char *name, ps_kind kind, int role, double value, double u, double need) {
    ps_dimension *d = &r->dimension[r->dimension_count++];
    memset(d, 0, sizeof *d);
    (void)snprintf(d->name, sizeof d->name, "attachment.%s", name);
    d->kind = kind;
    d->role = role;
    d->value_mm = value;
    d->u_mm = u;
    d->U_mm = 2 * u;
    d->need_mm = need;
    d->verdict = isnan(value) ? PS_VERDICT_MISSING : PS_VERDICT_GOOD;
    if (!isnan(value)) {
        d->budget_mm[PS_SOURCE_PRINT_SCALE] = 0.8 * u;
        d->budget_mm[PS_SOURCE_EDGE_SHIFT] = 0.6 * u;
    }
    return d;
}

static inline void sample_dimensions(ps_record *r) {
    ps_dimension *d = sample_dimension(r, "dipper.gap", PS_KIND_GAP, PS_ROLE_DIPPER, NAN, NAN, 2.0);
    sample_note(&d->reasons, PS_CODE_BUSH_HIDDEN, "The inward bush faces are not seen in any photo.");
    d->confirm_with = PS_INSTRUMENT_TAPE;
    (void)snprintf(d->how, sizeof d->how,
                   "Tape from the inward face of one bush straight across to the inward face of the other, along the pin.");
    d = sample_dimension(r, "link.gap", PS_KIND_GAP, PS_ROLE_LINK, NAN, NAN, 2.0);
    sample_note(&d->reasons, PS_CODE_BUSH_HIDDEN, "The inward bush faces are not seen in any photo.");
    d = sample_dimension(r, "dipper.pin", PS_KIND_PIN, PS_ROLE_DIPPER, 65.02, 0.1, 0.5);
    d->nominal_count = 1;
    d->nominal[0] = (ps_nominal_match){.label = "65 mm", .size_mm = 65, .probability = 0.998};
    d = sample_dimension(r, "link.pin", PS_KIND_PIN, PS_ROLE_LINK, 59.6, 0.35, 0.5);
    d->verdict = PS_VERDICT_CONFIRM;
    sample_note(&d->reasons, PS_CODE_ARC_SHORT, "Only 31 % of this pin's rim is seen.");
    sample_note(&d->reasons, PS_CODE_BAND_WIDE, "The band of 0.7 mm is wider than an order allows.");
    d->confirm_with = PS_INSTRUMENT_CALIPERS;
    (void)snprintf(d->how, sizeof d->how,
                   "Calipers over the free end of the link pin, behind the chamfer, twice at right angles; note the larger.");
    sample_dimension(r, "centres", PS_KIND_CENTRES, -1, 402.31, 0.21, 1.0);
    sample_dimension(r, "dipper.bush", PS_KIND_BUSH, PS_ROLE_DIPPER, 90.14, 0.15, 1.0);
    sample_dimension(r, "dipper.proud", PS_KIND_PROUD, PS_ROLE_DIPPER, 12.2, 0.6, 2.0);
}

/* A 640 x 480 camera with f 600 whose world plane z = 0 lies 500 mm away, seen straight on: 1.2 px for a mm. */
static inline ps_view sample_view(void) {
    ps_view v = {.orientation = 1, .stored_width = 640, .stored_height = 480};
    v.lens.f_px = 600;
    v.lens.cx = 320;
    v.lens.cy = 240;
    v.lens.k1 = 0.01;
    v.pose.R[0] = v.pose.R[4] = v.pose.R[8] = 1;
    v.pose.t[2] = 500;
    return v;
}

static inline void sample_rim(sample *s, ps_role pin, ps_edge edge, double cx, double a, double b, int points) {
    ps_record_rim *rim = &s->rim[s->photo[0].rim_count++];
    *rim = (ps_record_rim){
        .pin = pin, .edge = edge, .ear = PS_EAR_NEAR, .ellipse = {cx, 240, a, b, 0.3}, .arc = 0.93, .rms_px = 0.11, .used = true};
    if (points < 0) return;
    rim->point = s->point[points];
    rim->point_count = 36;
    for (int i = 0; i < 36; ++i) {
        double t = i * 6.283185307179586 / 36, x = a * cos(t), y = b * sin(t);
        s->point[points][i] =
            (ps_edge_point){.x_px = cx + x * cos(0.3) - y * sin(0.3), .y_px = 240 + x * sin(0.3) + y * cos(0.3), .sigma_px = 0.2};
    }
}

/* Two photos: the first solved with rims, the second unreadable. `file`: path of the first, NULL for "photo-1.jpg". */
static inline void sample_make(sample *s, const char *file) {
    memset(s, 0, sizeof *s);
    ps_record *r = &s->record;
    (void)snprintf(s->file[0], sizeof s->file[0], "%s", file ? file : "photo-1.jpg");
    (void)snprintf(s->file[1], sizeof s->file[1], "photo-2.jpg");
    r->side = PS_SIDE_ATTACHMENT;
    r->photo = s->photo;
    r->photo_count = 2;
    ps_record_photo *p = &s->photo[0];
    *p =
        (ps_record_photo){.file = s->file[0], .width = 640, .height = 480, .usable = true, .solved = true, .camera_source = PS_CAMERA_EXIF};
    p->view = sample_view();
    p->sightings.count = 1;
    p->sightings.piece[0].piece = 0;
    p->sightings.piece[0].corner_count = 1;
    p->sightings.piece[0].corner[0] = (ps_corner){.index = 0, .x_px = 270, .y_px = 30, .sigma_px = 0.05};
    const double H[9] = {0.6, 0, 250, 0, 0.6, 12, 0, 0, 1}; /* 0.6 px for a mm */
    memcpy(p->sightings.piece[0].homography, H, sizeof H);
    p->sighting_rms_px[0] = 0.07;
    p->rim = s->rim;
    sample_rim(s, PS_ROLE_DIPPER, PS_EDGE_PIN, 520, 39, 36, 0);
    sample_rim(s, PS_ROLE_DIPPER, PS_EDGE_BUSH, 520, 56, 52, 1);
    sample_rim(s, PS_ROLE_LINK, PS_EDGE_PIN, 100, 37, 33, -1);
    s->photo[1] = (ps_record_photo){.file = s->file[1]};
    sample_note(&s->photo[1].problems, PS_CODE_UNREADABLE, "The file is cut short.");
    sample_note(&p->problems, PS_CODE_MOTION_BLUR, "The photo is blurred by movement.");
    sample_dimensions(r);
    r->fitted = true;
    r->chi2 = 512.25;
    r->dof = 498;
    r->scale_across = 0.9976;
    r->scale_along = 0.9987;
    r->print_count = 2;
    r->print[0] = (struct ps_record_print){ps_kit_find("plate-1"), 0.9976, 0.9987, true, true};
    r->print[1] = (struct ps_record_print){ps_kit_find("patch-2"), 0.9979, 0.9943, true, false};
    r->pin_count = 2;
    r->pin[0] = (struct ps_record_pin){.role = PS_ROLE_DIPPER,
                                       .axis_point_mm = {166.6667, 0, 0},
                                       .axis_direction = {0, 0, -1},
                                       .face_height_mm = 20,
                                       .bush_height_mm = 8,
                                       .pin_radius_mm = 32.5,
                                       .bush_radius_mm = 45};
    r->pin[1] = (struct ps_record_pin){.role = PS_ROLE_LINK,
                                       .axis_point_mm = {-183.3333, 0, 0},
                                       .axis_direction = {0, 0, -1},
                                       .face_height_mm = 20,
                                       .bush_height_mm = NAN,
                                       .pin_radius_mm = 29.8,
                                       .bush_radius_mm = NAN};
    r->plan_count = 1;
    r->plan[0] = (ps_plan){.text = "Take one more photo from the left.",
                           .photo_count = 1,
                           .photo = {{.from = "left", .tilt_deg = 25, .distance_mm = 720, .fills = 0.85}},
                           .print_read = true,
                           .across_U_mm = 0.15,
                           .along_U_mm = 0.3,
                           .dimension_count = 1,
                           .dimension = {4},
                           .U_mm = {0.42}};
    r->by_hand = (ps_by_hand){.text = "The instrument decides: link pin.", .count = 1, .dimension = {3}};
    sample_note(&r->advice, PS_CODE_ONE_DIRECTION, "Take the next photos from 20 to 30 degrees further left and right.");
}

/* A photo of one grey, of the sample camera's size. */
enum { SAMPLE_WIDTH = 640, SAMPLE_HEIGHT = 480, SAMPLE_GREY = 96 };
static inline void sample_write_photo(const char *path) {
    unsigned char *px = malloc(4 * SAMPLE_WIDTH * SAMPLE_HEIGHT), *bytes = NULL;
    size_t size = 0;
    assert_non_null(px);
    for (size_t i = 0; i < SAMPLE_WIDTH * SAMPLE_HEIGHT; ++i)
        memcpy(px + 4 * i, &(uint32_t){SAMPLE_GREY << 16 | SAMPLE_GREY << 8 | SAMPLE_GREY}, 4);
    assert_int_equal(ps_jpeg_write(NULL, px, SAMPLE_WIDTH, SAMPLE_HEIGHT, 4 * SAMPLE_WIDTH, 90, &bytes, &size), PS_OK);
    assert_int_equal(ps_report_write(NULL, path, bytes, size), PS_OK);
    free(bytes);
    free(px);
}

#endif
