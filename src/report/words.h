/* words.h: what a dimension is called and how its numbers are rounded, the same in table and pictures. Private. */
#ifndef PINSPAN_REPORT_WORDS_H
#define PINSPAN_REPORT_WORDS_H

#include "pinspan/measure.h"

/* "dipper pin diameter", "centre distance", ... into text (cut when too small). */
void ps_words_dimension(const ps_dimension *d, char *text, size_t size);
/* The same for a label in a picture: "dipper pin", "centres", ... */
void ps_words_short(const ps_dimension *d, char *text, size_t size);

/* True where the dimension has a value to show: not missing, and value, u and U are numbers, u and U above 0. */
bool ps_words_has_value(const ps_dimension *d);

/* Decimals of a millimetre that a band U deserves (an inch takes one more), and U rounded up to them: a band never gets narrower
 * by rounding (GUM, JCGM 100:2008, 7.2.6 allows rounding up). */
int ps_words_decimals(double U);
double ps_words_round_up(double U, int decimals);
/* "64.93 ± 0.20" in mm, or in inches with one more decimal; "-" where either is no number. */
void ps_words_band(double mm, double U_mm, bool inch, char *text, size_t size);

/* The text with inches behind its millimetres: "720 mm" becomes "720 mm (28.3 in)". Of a range ("0.3 to 0.5 mm") and a band
 * ("12.0 ± 0.4 mm") both numbers are told: "(0.01 to 0.02 in)". Caller frees; NULL when out of memory. */
char *ps_words_inches(const char *text);

/* The same reason in the same words; and whether a dimension before `index` has such a one: it need not be told again. */
bool ps_words_same_note(const ps_note *a, const ps_note *b);
bool ps_words_said_before(const ps_record *record, int index, const ps_note *note);

/* Before anyone measures by hand. */
const char *ps_words_cautions(void);

#endif
