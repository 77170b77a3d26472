/* Fuzzes the reading of photos: luma, colour, and EXIF alone. Seeds: corpus-jpeg beside this file. */
#include <stdlib.h>
#include <string.h>

#include "photo/decode.h"
#include "photo/exif.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    const ps_photo_limits limits = {.max_pixels = 4000000, .max_scans = 20, .max_memory = 64000000, .max_file = 1000000};
    ps_photo photo = {0};
    ps_colour colour = {0};
    ps_exif exif;
    ps_status status = ps_photo_decode(NULL, data, size, &limits, &photo);
    if ((status == PS_OK) != (photo.luma.px != NULL)) abort();
    if (ps_photo_check(NULL, data, size, &limits) == PS_OK) (void)ps_colour_decode(NULL, data, size, &limits, 100, &colour);
    ps_photo_clear(&photo);
    ps_colour_clear(&colour);

    /* The same bytes as a TIFF structure, behind the six bytes that would have to be guessed. */
    uint8_t *payload = malloc(size + 6);
    if (!payload) return 0;
    memcpy(payload, "Exif\0", 6);
    if (size) memcpy(payload + 6, data, size);
    (void)ps_exif_read(payload, size + 6, &exif);
    if (exif.orientation < 1 || exif.orientation > 8 || !(exif.focal_mm >= 0) || !(exif.focal_35mm_mm >= 0)) abort();
    free(payload);
    return 0;
}
