/* The starting point of `pinspan job --new`. JSON has no remarks: a key "about" may stand in any object and is passed over. */
#include "pinspan/forms.h"

/* One side, but for the comma after it. */
#define SIDE(name)                                                                                                                         \
    "    \"" name "\": {\n"                                                                                                                \
    "      \"photos\": [],\n"                                                                                                              \
    "      \"serial_photo\": null,\n"                                                                                                      \
    "      \"camera\": null,\n"                                                                                                            \
    "      \"print_checks\": [\n"                                                                                                          \
    "        { \"line\": \"across\", \"read\": null },\n"                                                                                  \
    "        { \"line\": \"along\", \"read\": null }\n"                                                                                    \
    "      ],\n"                                                                                                                           \
    "      \"standoffs\": [],\n"                                                                                                           \
    "      \"roles\": \"sure\",\n"                                                                                                         \
    "      \"dipper\": null\n"                                                                                                             \
    "    }"

static const char text[] =
    "{\n"
    "  \"schema\": \"pinspan.job/1\",\n"
    "  \"about\": \"A job for pinspan job FILE -o DIR. Fill in what you know and leave the rest null. Keys named about explain and are "
    "passed "
    "over. All keys: docs/job.md. Lengths are millimetres, or a text with a unit: 449, \\\"449 mm\\\", \\\"17 5/8 in\\\".\",\n"
    "  \"title\": null,\n"
    "  \"note\": null,\n"
    "  \"invented\": false,\n"
    "  \"machine\": { \"make\": null, \"model\": null, \"year\": null, \"class_t\": null },\n"
    "  \"attachment\": { \"type\": null },\n"
    "  \"coupler\": { \"about\": \"style: fixed or grab; tilt: true or false\", \"style\": null, \"tilt\": null },\n"
    "  \"pin_retention\": null,\n"
    "  \"ears\": { \"about\": \"of the attachment\", \"thickness\": null, \"radius\": null, \"clearance\": null },\n"
    "  \"lifting_eye\": null,\n"
    "  \"country\": null,\n"
    "  \"hydraulics\": { \"about\": \"as the customer states them\", \"lines\": null, \"couplings\": null, \"pressure\": null, \"flow\": "
    "null },\n"
    "  \"inch\": false,\n"
    "  \"sides\": {\n"
    "    \"about\": \"Photos as files beside this one, originals, three or four a side. print_checks: what was read on the sheet's check "
    "lines, "
    "140 mm across and 200 mm along by drawing. standoffs: pin end in front of the sheet. Attachment flat on firm ground, arm lowered, "
    "engine "
    "off, key out; hands out of joints; the machine's manual and local rules come first.\",\n" SIDE("attachment") ",\n" SIDE(
        "machine") "\n"
                   "  },\n"
                   "  \"form\": [\n"
                   "    { \"about\": \"What the customer's form says, with the digits as written; a value that is null is passed over. "
                   "way: "
                   "centre-to-centre, inside-inside, outside-outside, fronts, backs (centres); bush-faces, over, ear-plates (gaps); "
                   "diameter, around "
                   "(pins). place: plate or ends. shims: in or out. unit: mm or in. instrument: calipers or tape.\", \"dimension\": "
                   "\"attachment.dipper.gap\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"tape\", \"way\": \"bush-faces\", "
                   "\"shims\": null },\n"
                   "    { \"dimension\": \"attachment.link.gap\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"tape\", \"way\": "
                   "\"bush-faces\", "
                   "\"shims\": null },\n"
                   "    { \"dimension\": \"attachment.dipper.pin\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"calipers\", "
                   "\"way\": "
                   "\"diameter\" },\n"
                   "    { \"dimension\": \"attachment.link.pin\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"calipers\", "
                   "\"way\": \"diameter\" "
                   "},\n"
                   "    { \"dimension\": \"attachment.centres\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"tape\", \"way\": "
                   "\"centre-to-centre\", \"place\": null },\n"
                   "    { \"dimension\": \"machine.dipper.gap\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"tape\", \"way\": "
                   "\"bush-faces\", "
                   "\"shims\": null },\n"
                   "    { \"dimension\": \"machine.link.gap\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"tape\", \"way\": "
                   "\"bush-faces\", "
                   "\"shims\": null },\n"
                   "    { \"dimension\": \"machine.dipper.pin\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"calipers\", \"way\": "
                   "\"diameter\" "
                   "},\n"
                   "    { \"dimension\": \"machine.link.pin\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"calipers\", \"way\": "
                   "\"diameter\" },\n"
                   "    { \"dimension\": \"machine.centres\", \"value\": null, \"unit\": \"mm\", \"instrument\": \"tape\", \"way\": "
                   "\"centre-to-centre\", "
                   "\"place\": null }\n"
                   "  ],\n"
                   "  \"tape\": [\n"
                   "    { \"about\": \"Further readings by hand, any number of a dimension, each with its way and place.\", \"dimension\": "
                   "\"attachment.centres\", \"value\": null, \"unit\": \"mm\", \"way\": \"inside-inside\", \"place\": \"plate\" },\n"
                   "    { \"dimension\": \"attachment.centres\", \"value\": null, \"unit\": \"mm\", \"way\": \"outside-outside\", "
                   "\"place\": \"plate\" }\n"
                   "  ]\n"
                   "}\n";

const char *ps_forms_job_new(void) {
    return text;
}
