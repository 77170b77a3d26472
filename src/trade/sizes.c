/* Nominal pin sizes, and the limits of shafts. */
#include "pinspan/trade.h"

#include <math.h>
#include <string.h>

/* Ascending. Clevis pins of ISO 2340/2341 from memory; the other metric steps are common practice, no source. */
static const ps_size size[] = {
    {"20 mm", 20, PS_SIZE_CLEVIS},     {"22 mm", 22, PS_SIZE_CLEVIS},    {"24 mm", 24, PS_SIZE_CLEVIS},
    {"25 mm", 25, PS_SIZE_COMMON},     {"1 in", 25.4, PS_SIZE_INCH},     {"27 mm", 27, PS_SIZE_CLEVIS},
    {"28 mm", 28, PS_SIZE_COMMON},     {"30 mm", 30, PS_SIZE_CLEVIS},    {"1 1/4 in", 31.75, PS_SIZE_INCH},
    {"32 mm", 32, PS_SIZE_COMMON},     {"33 mm", 33, PS_SIZE_CLEVIS},    {"35 mm", 35, PS_SIZE_COMMON},
    {"36 mm", 36, PS_SIZE_CLEVIS},     {"38 mm", 38, PS_SIZE_COMMON},    {"1 1/2 in", 38.1, PS_SIZE_INCH},
    {"40 mm", 40, PS_SIZE_CLEVIS},     {"42 mm", 42, PS_SIZE_COMMON},    {"1 3/4 in", 44.45, PS_SIZE_INCH},
    {"45 mm", 45, PS_SIZE_CLEVIS},     {"48 mm", 48, PS_SIZE_COMMON},    {"50 mm", 50, PS_SIZE_CLEVIS},
    {"2 in", 50.8, PS_SIZE_INCH},      {"52 mm", 52, PS_SIZE_COMMON},    {"55 mm", 55, PS_SIZE_CLEVIS},
    {"2 1/4 in", 57.15, PS_SIZE_INCH}, {"58 mm", 58, PS_SIZE_COMMON},    {"60 mm", 60, PS_SIZE_CLEVIS},
    {"2 1/2 in", 63.5, PS_SIZE_INCH},  {"65 mm", 65, PS_SIZE_COMMON},    {"68 mm", 68, PS_SIZE_COMMON},
    {"2 3/4 in", 69.85, PS_SIZE_INCH}, {"70 mm", 70, PS_SIZE_CLEVIS},    {"75 mm", 75, PS_SIZE_COMMON},
    {"3 in", 76.2, PS_SIZE_INCH},      {"80 mm", 80, PS_SIZE_CLEVIS},    {"3 1/4 in", 82.55, PS_SIZE_INCH},
    {"85 mm", 85, PS_SIZE_COMMON},     {"3 1/2 in", 88.9, PS_SIZE_INCH}, {"90 mm", 90, PS_SIZE_CLEVIS},
    {"95 mm", 95, PS_SIZE_COMMON},     {"100 mm", 100, PS_SIZE_CLEVIS},  {"4 in", 101.6, PS_SIZE_INCH},
    {"105 mm", 105, PS_SIZE_COMMON},   {"110 mm", 110, PS_SIZE_COMMON},  {"115 mm", 115, PS_SIZE_COMMON},
    {"120 mm", 120, PS_SIZE_COMMON},   {"125 mm", 125, PS_SIZE_COMMON},  {"130 mm", 130, PS_SIZE_COMMON},
    {"140 mm", 140, PS_SIZE_COMMON},   {"150 mm", 150, PS_SIZE_COMMON},
};

int ps_trade_size_count(void) {
    return (int)(sizeof size / sizeof size[0]);
}

const ps_size *ps_trade_size(int i) {
    return i >= 0 && i < ps_trade_size_count() ? &size[i] : NULL;
}

double ps_trade_shaft_limit_mm(double size_mm, const char *fit_class) {
    /* ISO 286-2, micrometres, over 30 to 50, over 50 to 80, over 80 to 120 mm. */
    static const struct {
        const char *name;
        double um[3];
    } limit[] = {{"h6", {-16, -19, -22}}, {"h7", {-25, -30, -35}}, {"h9", {-62, -74, -87}}, {"h11", {-160, -190, -220}}};
    if (!fit_class || !(size_mm > 30) || !(size_mm <= 120)) return NAN;
    int step = size_mm <= 50 ? 0 : size_mm <= 80 ? 1 : 2;
    for (size_t i = 0; i < sizeof limit / sizeof limit[0]; i++)
        if (strcmp(limit[i].name, fit_class) == 0) return limit[i].um[step] / 1000;
    return NAN;
}
