/* Default options, and freeing a record. */
#include "pinspan/measure.h"

#include <stdlib.h>
#include <string.h>

ps_measure_options ps_measure_options_default(void) {
    return (ps_measure_options){.side = PS_SIDE_ATTACHMENT,
                                .coupler = PS_COUPLER_FIXED,
                                .dipper = PS_DIRECTION_NONE,
                                .limits = ps_photo_limits_default(),
                                .seed = 1};
}

static void clear_photo(ps_record_photo *photo) {
    for (int i = 0; i < photo->rim_count; i++) free(photo->rim[i].point);
    free(photo->rim);
    free(photo->file);
}

void ps_record_clear(ps_record *r) {
    if (!r) return;
    for (int i = 0; i < r->photo_count; i++) clear_photo(&r->photo[i]);
    free(r->photo);
    memset(r, 0, sizeof *r);
}
