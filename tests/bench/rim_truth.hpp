/* rim_truth.hpp: the circles that a job's photos show, read from its truth.json, in this project's form or in the other
 * one that tests meet (pinspan.testphotos/1: testimages/README.md; the other is told by the key `category` at the top). */
#ifndef RIM_TRUTH_HPP
#define RIM_TRUTH_HPP

#include <jansson.h>

#include <cstring>
#include <map>
#include <string>
#include <vector>

#include "pinspan/measure.h"

struct TrueCircle {
    std::string pin, edge;
    bool near = true;
    std::vector<std::pair<double, double>> seen; /* visible points of 36, upright px */
};

struct TruePhoto {
    std::string path;
    std::vector<TrueCircle> circles;
};

struct TrueJob {
    std::string category;
    ps_measure_options options = ps_measure_options_default();
    std::vector<TruePhoto> photos;
};

inline std::string json_text(const json_t *object, const char *key) {
    const char *s = json_string_value(json_object_get(object, key));
    return s ? s : "";
}

/* The other form's names of circles; empty for those that this one has too. */
inline std::string edge_word_of(const std::string &name) {
    static const std::map<std::string, std::string> words = {
        {"pin_outer", "pin"},        {"pin_face", "pin-face"}, {"bush_outer", "bush"},     {"bush_face_outer", "bush-face"},
        {"bush_inner", "bush-bore"}, {"cap_outer", "cap"},     {"collar_outer", "collar"}, {"oring_outer", "ring"}};
    auto word = words.find(name);
    return word == words.end() ? name : word->second;
}

inline TrueCircle true_circle(const json_t *c) {
    TrueCircle out;
    out.pin = json_text(c, "pin");
    std::string name = json_text(c, json_object_get(c, "edge") ? "edge" : "name");
    out.edge = edge_word_of(name);
    out.near = json_text(c, "ear") != "far" && name.rfind("far_", 0) != 0 && name.rfind("near_", 0) != 0;
    const json_t *points = json_object_get(c, json_object_get(c, "points") ? "points" : "curve_upright");
    const json_t *visible = json_object_get(c, json_object_get(c, "visible") ? "visible" : "visible_points");
    for (size_t i = 0; i < json_array_size(points); i++) {
        const json_t *p = json_array_get(points, i), *v = json_array_get(visible, i);
        if (json_is_true(v) || json_integer_value(v))
            out.seen.push_back({json_number_value(json_array_get(p, 0)), json_number_value(json_array_get(p, 1))});
    }
    return out;
}

/* The check lines' true lengths, each piece its own. */
inline void true_checks(const json_t *root, ps_measure_options *options) {
    const json_t *own = json_object_get(root, "pieces"), *sheets = own ? own : json_object_get(root, "sheets"), *s;
    size_t i;
    json_array_foreach(const_cast<json_t *>(sheets), i, s) {
        const json_t *xy = json_object_get(s, "print_scale_xy");
        for (int along = 0; along < 2 && options->check_count < PS_CHECKS_MAX; along++) {
            double scale = xy ? json_number_value(json_array_get(xy, static_cast<size_t>(along)))
                              : json_number_value(json_object_get(s, along ? "scale_y" : "scale_x"));
            ps_print_check *c = &options->check[options->check_count++];
            c->piece = ps_kit_find(json_text(s, own ? "name" : "piece").c_str());
            c->along = along;
            c->read_mm = scale * (along ? 200 : 140);
            c->U_mm = along ? 0.7 : 0.15; /* the command line's defaults */
        }
    }
}

/* Stand-off as declared where a job has one photo only. */
inline void true_standoffs(const json_t *root, ps_measure_options *options) {
    const json_t *declared = json_object_get(root, "declared_standoff_mm"), *pin;
    bool own = json_is_true(json_object_get(json_object_get(root, "recipe"), "declare"));
    size_t i;
    for (int role = 0; role < PS_ROLE_COUNT; role++) {
        const char *word = ps_role_word(static_cast<ps_role>(role));
        if (declared) options->standoff[role] = {true, json_number_value(json_object_get(declared, word)), 2};
        if (own)
            json_array_foreach(json_object_get(root, "pins"), i, pin) if (json_text(pin, "role") == word) options->standoff[role] = {
                true, json_number_value(json_object_iter_value(json_object_iter(json_object_get(pin, "standoff_mm")))), 2};
    }
}

inline bool read_truth(const std::string &folder, TrueJob *job) {
    json_error_t error;
    json_t *root = json_load_file((folder + "/truth.json").c_str(), 0, &error);
    if (!root) return false;
    job->category = json_text(root, "category");
    if (job->category.empty()) job->category = json_text(json_object_get(root, "recipe"), "category");
    if (job->category.empty()) job->category = "other";
    true_checks(root, &job->options);
    true_standoffs(root, &job->options);
    json_t *photo, *circle;
    size_t i, k;
    json_array_foreach(json_object_get(root, "photos"), i, photo) {
        TruePhoto p = {folder + "/" + json_text(photo, "file"), {}};
        json_array_foreach(json_object_get(photo, "circles"), k, circle) p.circles.push_back(true_circle(circle));
        job->photos.push_back(p);
    }
    json_decref(root);
    return !job->photos.empty();
}

#endif
