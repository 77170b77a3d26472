/* hearing.h: which photos go together, by what is read of pins from some of them and from each alone. Plain numbers in and out. Private
 * to the gauge room. */
#ifndef PINSPAN_GAUGE_HEARING_H
#define PINSPAN_GAUGE_HEARING_H

#include "pinspan/adjust.h"
#include "pinspan/rim.h"

/* Of a reading, in clear circles: as docs/verdicts.md has it, less is no pin. Single photos read less, since heights are open. */
#define PS_HEARD_LEAST       PS_RIM_WORTH_LEAST
#define PS_HEARD_ALONE_LEAST 1.0

/* Worth of what was read, in clear circles. */
typedef struct ps_heard {
    double fainter; /* of the fainter of two pins; negative: not both were read */
    double clearer; /* of the clearer pin; 0: none was read */
} ps_heard;

/* Those of a reading. */
double ps_heard_fainter(const ps_pin_models *pins);
double ps_heard_clearer(const ps_pin_models *pins);

typedef struct ps_hearing {
    int photos;
    ps_heard alone[PS_ADJUST_PHOTOS_MAX], without[PS_ADJUST_PHOTOS_MAX]; /* each photo by itself; all photos but it, from three on */
    double all;                                                          /* of the clearer pin, by all photos */
} ps_hearing;

/* The photo without which the others agree best on two pins; -1: none. */
int ps_hearing_odd_of_two(const ps_hearing *h);
/* The one photo without which any pin is read while with it there is none, and which shows pins by itself; -1: none. `worth_of_all`: what
 * all photos together show, which the others are to beat. */
int ps_hearing_odd(const ps_hearing *h, double worth_of_all);
/* Whether photos show pins each for itself and no photos together the same. */
bool ps_hearing_nobody(const ps_hearing *h);
/* Whether any photo shows a pin at all. */
bool ps_hearing_any_pin(const ps_hearing *h);

#endif
