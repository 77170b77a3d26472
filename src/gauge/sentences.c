/* The sentences. They tell nobody to move, loosen or drive a pin (docs/verdicts.md); a test reads them all. */
#include "gauge/sentences.h"

static const char *const sentence[PS_CODE_COUNT][PS_SUBJECT_COUNT] = {
    [PS_CODE_PRINT_UNCHECKED] =
        {"The print has not been checked: measure both check lines and type in what you read.",
         "The print's size has not been checked in both directions, so every length could be off by some percent.",
         "Measure both check lines of every sheet on the day, beside the machine (calipers across, a good rule or tape along), and "
         "type in what you read. Until then no size is good."},
    [PS_CODE_PRINT_SCALED] =
        {"The print is out of proportion: print again at 100 %, without 'fit to page', and check both lines.",
         "The print is out of proportion: across and along differ, or it is far from its nominal size, or the photos "
         "disagree with the check lines.",
         "Print the sheet again at 100 %, without 'fit to page', measure both check lines of each sheet and take the photos again."},
    [PS_CODE_NO_PIECE] =
        {"No printed sheet was found: it must be in the photo, flat, clean, and seen from the front.",
         "No printed sheet was found in the photos, so there is no scale.",
         "Have the whole printed sheet in every photo, taped flat to the same ear as the pins, between, beside or below them."},
    [PS_CODE_PIECE_HIDDEN] =
        {"Part of the sheet is covered, cut off or not to be read: keep all its squares clear, with white around them.",
         "Part of the sheet is covered or cut off, so it holds the scale less firmly.",
         "Keep the whole sheet clear of tape, hoses, dirt, hands and shadows' edges; tape only its corners, outside the squares."},
    [PS_CODE_PIECE_SMALL] = {"The sheet is small in this photo: go nearer, or use a larger sheet, so that pins and sheet fill the picture.",
                             "The sheet is small in the photos, so the scale is weak.",
                             "Go nearer, so that both pins and the sheet fill the picture, or use a larger sheet."},
    [PS_CODE_PIECE_MOVED] = {"The sheet lies elsewhere than in the other photos: tape it down and take all photos again.",
                             "A sheet moved between the photos.", "Tape all edges of the sheet down; nothing may move between the photos."},
    [PS_CODE_PIECE_BENT] = {"The sheet is bent: tape it flat, or fix it to a flat stiff board first.",
                            "The sheet is bent more than can be allowed for.",
                            "Lay the sheet flat; on greasy, ribbed or curved steel fix it to a flat stiff board first."},
    [PS_CODE_PIECE_HELD] = {"The sheet seems to be held by hand: tape it to the ear and keep hands away.",
                            "The sheet was held by hand, so its place to the pins is not firm.",
                            "Tape the sheet to the ear, or hold it with magnets outside the squares; never by hand."},
    [PS_CODE_OBLIQUE] = {"The photo is taken from very far to the side: stand so that pin ends and sheet are seen more from the front.",
                         "The photos are taken from very far to the side.",
                         "Stay within about 30 degrees of straight ahead of the pin ends."},
    [PS_CODE_MOTION_BLUR] = {"The photo is shaken: hold the phone still with both hands, or find more light.", "The photos are shaken.",
                             "Hold the phone with both hands, in good light."},
    [PS_CODE_DEFOCUS] = {"The photo is not sharp: touch the sheet on the screen to focus, wipe the lens, hold still.",
                         "The photos are not sharp.", "Wipe the lens, touch the sheet on the screen to focus, and hold still."},
    [PS_CODE_EXPOSURE] = {"The sheet is too bright or too dark: avoid flash and direct sun on the paper, and find even light.",
                          "The sheet is too bright or too dark in the photos, so its squares are not placed well.",
                          "Take the photos in even light, without flash and without sun on the paper; shade the sheet if need be."},
    [PS_CODE_ONE_PHOTO] = {"One photo alone cannot tell how far the pin ends stand in front of the sheet.",
                           "Only one photo could be used, and how far the pin end stands in front of the sheet is not firmly known.",
                           "Take three or four photos, 20 to 30 degrees apart to different sides; nothing may move between them."},
    [PS_CODE_ONE_DIRECTION] = {"The photos are taken from nearly the same direction.",
                               "All photos are taken from nearly the same direction, so heights of the pin ends are weak.",
                               "Take another photo from the other side, 20 to 30 degrees away, and one from above."},
    [PS_CODE_OTHER_SCENE] = {"This photo does not fit the others: it may show another machine or a changed set-up.",
                             "The photos do not all show the same set-up.",
                             "Send only photos of one side of one machine, taken in one go."},
    [PS_CODE_PIN_CUT_OFF] = {"A pin end is cut off at the picture's edge: both pin ends and the sheet must be in the picture.",
                             "The pin end is cut off at the picture's edge.", "Have both pin ends and the sheet wholly in every photo."},
    [PS_CODE_PIN_HIDDEN] =
        {"A pin end is covered or in deep shadow.", "The pin's edge is seen in too few of the photos for one to check another.",
         "Arm lowered, engine off, key out: wipe the pin ends dry, and stand so that nothing covers them and no hard shadow crosses them."},
    [PS_CODE_PIN_CHAMFER] = {"The pin's chamfer cannot be told from its full diameter here.",
                             "Only one edge of the pin's end is told apart: it can be the full diameter or the inner edge of a chamfer.",
                             "Arm lowered, engine off, key out: wipe the pin ends dry, so that both edges of their chamfers show; "
                             "photograph them also somewhat from the side."},
    [PS_CODE_PIN_TAPER] = {"The pin end looks tapered.", "The pin end looks tapered, so the edge seen need not be the working cylinder.",
                           NULL},
    [PS_CODE_PIN_DOME] = {"The pin end looks domed.", "The pin end looks domed: it has no sharp edge at the full diameter.", NULL},
    [PS_CODE_PIN_CAP] = {"The pin end may carry a cap.", "The edge taken for the pin's may be that of a cap, a collar or the bush.", NULL},
    [PS_CODE_PIN_COLLAR] = {"A collar, ring or retainer may sit around the pin.",
                            "The edges of this pin and its bush stand in an uncommon place to each other; one may be a collar or retainer.",
                            NULL},
    [PS_CODE_BUSH_HIDDEN] = {"A bush's edge is covered or does not show.", "The bush's edges are not all told apart.",
                             "Arm lowered, engine off, key out: wipe the bush faces dry, so that their outer edges show."},
    [PS_CODE_ARC_SHORT] = {"Only a short piece of a pin's edge shows.", "Only a short piece of the edge is seen.",
                           "Stand so that the whole round of each pin end is seen, without hard shadows."},
    [PS_CODE_LENS_UNKNOWN] = {"The photo does not say which lens took it: send the original, not a chat picture.",
                              "The lens is not known and the photos are too few to find it.",
                              "Send the original photos, not chat pictures; main lens, no zoom, the same phone for all."},
    [PS_CODE_FOCAL_CONTRADICTS] = {"The lens that the photo names does not fit what it shows: it may be cropped or zoomed.",
                                   "The lens that the photos name does not fit what they show.",
                                   "Use the main lens without zoom and send the photos uncropped."},
    [PS_CODE_FIT_BAD] = {"This photo fits the others badly.", "The photos fit together worse than they should.",
                         "Take all photos in one go, with nothing moving between them."},
    [PS_CODE_ROLES_UNSURE] = {"It is not clear which pin is the dipper pin.",
                              "It is not sure which pin is the dipper pin and which the link pin; the two sizes may be exchanged.",
                              "Lay the sheet so that its arrow points toward the dipper pin, or say where the dipper pin is."},
    [PS_CODE_BAND_WIDE] = {"The sizes from this photo are uncertain.", "The value is less certain than an order needs.",
                           "Take three or four sharp photos, 20 to 30 degrees apart, with both pins and the sheet filling the picture."},
    [PS_CODE_UNREADABLE] = {"The file could not be read as a photo.", "The photos could not be read.", "Send the original JPEG photos."},
    [PS_CODE_NO_PIN] = {"No pin end was found in this photo.", "This pin was not found in the photos.",
                        "Have both pin ends in every photo, wiped dry and seen from the front."},
    [PS_CODE_OUT_OF_ROUND] =
        {"A pin's or bush's edge looks oval in this photo.", "The edge is not round: worn, struck or welded, it has no single diameter.",
         "Where an edge is not round, measure it with calipers at several places round it, where it stands free; wear is "
         "for licensed service to judge."},
    [PS_CODE_PHOTO_TWICE] = {"This is the same photo as another one, and counts once.",
                             "The photos are copies of one photo, which cannot check itself.",
                             "Take three or four photos, each from another place; a photo sent twice tells nothing new."},
    [PS_CODE_GAP_NOT_SHOWN] = {"The space between the ears is not shown.",
                               "The photos show the outer faces only; the space between the ears was not measured.", NULL},
    [PS_CODE_BOSS_OVER] = {"The width over a boss's outward faces was read from this photo.",
                           "Widths over a single boss are read from photos, but that they come out right is not shown yet: measure it by "
                           "hand before ordering.",
                           NULL},
    [PS_CODE_BOSS_ONE_SIDE] = {"This photo shows one end of a boss at most.",
                               "Neither the space between two ears nor both ends of a single boss are shown: too few of the photos look "
                               "from one of the sides.",
                               "For the width over a single boss: lay the sheet flat on the plate beside it, and take two photos at least "
                               "of either end, from above and the side, all with the whole sheet."},
};

const char *ps_gauge_sentence(ps_subject subject, ps_code code) {
    if ((unsigned)code >= PS_CODE_COUNT || (unsigned)subject >= PS_SUBJECT_COUNT) return NULL;
    return sentence[code][subject];
}

void ps_gauge_say(ps_notes *notes, ps_subject subject, ps_code code) {
    const char *text = ps_gauge_sentence(subject, code);
    if (text) ps_notes_add(notes, code, "%s", text);
}
