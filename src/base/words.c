/* The words behind the enums: one table each. */
#include "pinspan/base.h"

static const char *const status_text[PS_STATUS_COUNT] = {
    "ok",        "not found",   "bad argument", "out of memory",  "input or output error", "bad file",
    "too large", "unsupported", "singular",     "no convergence", "internal error",
};

const char *ps_status_text(ps_status status) {
    return (unsigned)status < PS_STATUS_COUNT ? status_text[status] : "unknown status";
}

const char *ps_side_word(ps_side side) {
    return side == PS_SIDE_MACHINE ? "machine" : "attachment";
}

const char *ps_role_word(ps_role role) {
    return role == PS_ROLE_LINK ? "link" : "dipper";
}

const char *ps_ear_word(ps_ear ear) {
    return ear == PS_EAR_FAR ? "far" : "near";
}

const char *ps_edge_word(ps_edge edge) {
    static const char *const word[PS_EDGE_COUNT] = {"pin", "pin-face", "bush", "bush-face", "bush-bore", "cap", "collar", "ring", "other"};
    return (unsigned)edge < PS_EDGE_COUNT ? word[edge] : "other";
}
