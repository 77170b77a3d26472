#include "pinspan/base.h"

const char *ps_version(void) {
    return PS_VERSION_TEXT;
}
