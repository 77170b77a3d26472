/* Camera profiles as JSON, schema pinspan.camera/1 (docs/camera-profile.md). */
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "photo/file.h"
#include "pinspan/profile.h"

enum { N = PS_LENS_COUNT, FILE_MOST = 65536, REAL_DIGITS = 12 }; /* 12 digits: correlations very near 1 must survive */
static const char schema[] = "pinspan.camera/1";
static const char *const term_name[N] = {"f_px", "cx", "cy", "k1", "k2", "p1", "p2", "k3"};

static double *term_of(ps_lens *l, int k) {
    double *const term[N] = {&l->f_px, &l->cx, &l->cy, &l->k1, &l->k2, &l->p1, &l->p2, &l->k3};
    return term[k];
}

/* ---- reading ---- */

typedef struct reader {
    ps_context *ctx;
    ps_status status; /* of the first fault; later ones are not told */
} reader;

static void fault(reader *r, const char *where, const char *what) {
    if (r->status == PS_OK) r->status = ps_context_fail(r->ctx, PS_BAD_FILE, "camera profile: %s %s", where, what);
}

static double take_number(reader *r, const json_t *object, const char *key, bool needed) {
    const json_t *value = json_object_get(object, key);
    if (!value && !needed) return 0;
    if (!json_is_number(value)) fault(r, key, value ? "is not a number" : "is missing");
    return json_number_value(value);
}

static int take_count(reader *r, const json_t *object, const char *key, bool needed) {
    const json_t *value = json_object_get(object, key);
    if (!value && !needed) return 0;
    json_int_t count = json_integer_value(value);
    if (!json_is_integer(value) || count < 0 || count > 1000000000) {
        fault(r, key, value ? "is not a whole number that can be" : "is missing");
        return 0;
    }
    return (int)count;
}

static void take_text(reader *r, const json_t *object, const char *key, char *text, size_t room) {
    const json_t *value = json_object_get(object, key);
    if (!value) return;
    if (!json_is_string(value) || json_string_length(value) >= room) {
        fault(r, key, "is not a short text");
        return;
    }
    memcpy(text, json_string_value(value), json_string_length(value) + 1);
}

static const json_t *take_object(reader *r, const json_t *root, const char *key, bool needed) {
    const json_t *value = json_object_get(root, key);
    if (value ? !json_is_object(value) : needed) fault(r, key, value ? "is not an object" : "is missing");
    return value;
}

static void take_covariance(reader *r, const json_t *root, double *covariance) {
    const json_t *rows = json_object_get(root, "covariance");
    bool whole = json_is_array(rows) && json_array_size(rows) == N;
    for (size_t a = 0; whole && a < N; a++) {
        const json_t *row = json_array_get(rows, a);
        whole = json_is_array(row) && json_array_size(row) == N;
        for (size_t b = 0; whole && b < N; b++) {
            const json_t *value = json_array_get(row, b);
            whole = json_is_number(value);
            covariance[N * a + b] = json_number_value(value);
        }
    }
    if (!whole) fault(r, "covariance", "is not 8 rows of 8 numbers");
}

static ps_status read_root(ps_context *ctx, const json_t *root, ps_camera_profile *p) {
    reader r = {ctx, PS_OK};
    const json_t *word = json_object_get(root, "schema");
    if (!json_is_string(word) || strcmp(json_string_value(word), schema) != 0)
        return ps_context_fail(ctx, PS_BAD_FILE, "is no camera profile (its schema is not %s)", schema);
    p->width = take_count(&r, root, "width", true);
    p->height = take_count(&r, root, "height", true);
    const json_t *lens = take_object(&r, root, "lens", true), *camera = take_object(&r, root, "camera", false),
                 *fit = take_object(&r, root, "fit", false);
    for (int k = 0; k < N && r.status == PS_OK; k++) *term_of(&p->lens, k) = take_number(&r, lens, term_name[k], true);
    take_covariance(&r, root, p->covariance);
    take_text(&r, camera, "make", p->make, sizeof p->make);
    take_text(&r, camera, "model", p->model, sizeof p->model);
    p->focal_mm = take_number(&r, camera, "focal_mm", false);
    p->focal_35mm_mm = take_number(&r, camera, "focal_35mm_mm", false);
    p->photos = take_count(&r, fit, "photos", false);
    p->corners = take_count(&r, fit, "corners", false);
    p->rms_px = take_number(&r, fit, "rms_px", false);
    p->chi2 = take_number(&r, fit, "chi2", false);
    p->dof = take_count(&r, fit, "dof", false);
    return r.status == PS_OK ? ps_camera_profile_check(ctx, p) : r.status;
}

ps_status ps_camera_profile_parse(ps_context *ctx, const char *text, size_t size, ps_camera_profile *profile) {
    json_error_t error;
    ps_camera_profile p;
    memset(&p, 0, sizeof p);
    if (size > FILE_MOST) return ps_context_fail(ctx, PS_TOO_LARGE, "is too large for a camera profile");
    json_t *root = json_loadb(text, size, JSON_REJECT_DUPLICATES, &error);
    if (!root) return ps_context_fail(ctx, PS_BAD_FILE, "is no camera profile (no JSON: %s, line %d)", error.text, error.line);
    ps_status status = json_is_object(root) ? read_root(ctx, root, &p) : ps_context_fail(ctx, PS_BAD_FILE, "is no camera profile");
    json_decref(root);
    if (status == PS_OK) *profile = p;
    return status;
}

ps_status ps_camera_profile_read(ps_context *ctx, const char *path, ps_camera_profile *profile) {
    ps_file file;
    ps_status status = ps_file_read(ctx, path, FILE_MOST, &file);
    if (status != PS_OK) return status;
    status = ps_camera_profile_parse(ctx, (const char *)file.data, file.size, profile);
    ps_file_clear(&file);
    return status;
}

/* ---- writing ---- */

static void put(bool *ok, json_t *object, const char *key, json_t *value) {
    if (json_object_set_new(object, key, value) != 0) *ok = false;
}

static json_t *terms(bool *ok, const double value[N]) {
    json_t *object = json_object();
    for (int k = 0; k < N; k++) put(ok, object, term_name[k], json_real(value[k]));
    return object;
}

static json_t *matrix(bool *ok, const double *covariance) {
    json_t *rows = json_array();
    for (int a = 0; a < N; a++) {
        json_t *row = json_array();
        for (int b = 0; b < N; b++)
            if (json_array_append_new(row, json_real(covariance[N * a + b])) != 0) *ok = false;
        if (json_array_append_new(rows, row) != 0) *ok = false;
    }
    return rows;
}

static json_t *camera(bool *ok, const ps_camera_profile *p) {
    json_t *object = json_object();
    if (*p->make) put(ok, object, "make", json_string(p->make));
    if (*p->model) put(ok, object, "model", json_string(p->model));
    if (p->focal_mm > 0) put(ok, object, "focal_mm", json_real(p->focal_mm));
    if (p->focal_35mm_mm > 0) put(ok, object, "focal_35mm_mm", json_real(p->focal_35mm_mm));
    return object;
}

static json_t *fit(bool *ok, const ps_camera_profile *p) {
    json_t *object = json_object();
    put(ok, object, "photos", json_integer(p->photos));
    put(ok, object, "corners", json_integer(p->corners));
    put(ok, object, "rms_px", json_real(p->rms_px));
    put(ok, object, "chi2", json_real(p->chi2));
    put(ok, object, "dof", json_integer(p->dof));
    return object;
}

ps_status ps_camera_profile_json(ps_context *ctx, const ps_camera_profile *p, char **text) {
    ps_status status = ps_camera_profile_check(ctx, p);
    if (status != PS_OK) return status;
    bool ok = true;
    char program[40];
    ps_lens lens = p->lens;
    double value[N], sd[N];
    for (int k = 0; k < N; k++) {
        value[k] = *term_of(&lens, k);
        sd[k] = sqrt(p->covariance[(N + 1) * k]);
    }
    (void)snprintf(program, sizeof program, "pinspan %s", ps_version());
    json_t *root = json_object();
    put(&ok, root, "schema", json_string(schema));
    put(&ok, root, "program", json_string(program));
    put(&ok, root, "camera", camera(&ok, p));
    put(&ok, root, "width", json_integer(p->width));
    put(&ok, root, "height", json_integer(p->height));
    put(&ok, root, "lens", terms(&ok, value));
    put(&ok, root, "sd", terms(&ok, sd));
    put(&ok, root, "covariance", matrix(&ok, p->covariance));
    put(&ok, root, "fit", fit(&ok, p));
    char *bytes = ok ? json_dumps(root, JSON_INDENT(2) | JSON_REAL_PRECISION(REAL_DIGITS)) : NULL;
    json_decref(root);
    size_t length = bytes ? strlen(bytes) : 0;
    *text = bytes ? malloc(length + 2) : NULL;
    if (*text) {
        memcpy(*text, bytes, length);
        memcpy(*text + length, "\n", 2);
    }
    free(bytes);
    return *text ? PS_OK : ps_context_fail(ctx, PS_NO_MEMORY, "out of memory for the camera profile");
}
