/* The words behind the enums of forms.h: one table each. */
#include "pinspan/forms.h"

const char *ps_forms_way_word(ps_forms_way way) {
    static const char *const word[PS_WAY_COUNT] = {"centre-to-centre", "inside-inside", "outside-outside", "fronts",   "backs",
                                                   "bush-faces",       "over",          "ear-plates",      "diameter", "around"};
    return (unsigned)way < PS_WAY_COUNT ? word[way] : "unknown";
}

const char *ps_forms_place_word(ps_forms_place place) {
    static const char *const word[PS_PLACE_COUNT] = {"unknown", "plate", "ends"};
    return (unsigned)place < PS_PLACE_COUNT ? word[place] : "unknown";
}

const char *ps_match_word(ps_match match) {
    static const char *const word[PS_MATCH_COUNT] = {"cannot tell", "agrees", "differs"};
    return (unsigned)match < PS_MATCH_COUNT ? word[match] : "cannot tell";
}

const char *ps_forms_source_word(ps_forms_source source) {
    static const char *const word[PS_FROM_COUNT] = {"none", "photo", "form", "tape", "combined"};
    return (unsigned)source < PS_FROM_COUNT ? word[source] : "none";
}

const char *ps_forms_weight_word(ps_forms_weight weight) {
    static const char *const word[PS_WEIGHT_COUNT] = {"fine", "note", "ask"};
    return (unsigned)weight < PS_WEIGHT_COUNT ? word[weight] : "note";
}
