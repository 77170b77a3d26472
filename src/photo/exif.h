/* exif.h: the few EXIF tags that measuring needs, from the bytes of one APP1 segment. */
#ifndef PINSPAN_PHOTO_EXIF_H
#define PINSPAN_PHOTO_EXIF_H

#include "pinspan/photo.h"

/* True if the APP1 payload (what follows the segment's length) is EXIF's and not, say, XMP's. */
bool ps_exif_is(const uint8_t *payload, size_t size);

/* Reads an APP1 payload ("Exif", 0, 0, TIFF header, directories). Any bytes are safe; what cannot be read or is
 * absurd counts as absent. Fills `exif` wholly and returns exif->present, which asks for a TIFF header and a first
 * directory inside the payload. Source of tags and types: CIPA DC-008 (EXIF), TIFF 6.0. */
bool ps_exif_read(const uint8_t *payload, size_t size, ps_exif *exif);

/* What a file without EXIF has: nothing, orientation 1. */
ps_exif ps_exif_none(void);

#endif
