/* sentences.h: the plain sentence of every code, one per subject. */
#ifndef PINSPAN_GAUGE_SENTENCES_H
#define PINSPAN_GAUGE_SENTENCES_H

#include "pinspan/measure.h"

typedef enum ps_subject {
    PS_SUBJECT_PHOTO = 0, /* what is wrong with a photo and what to do */
    PS_SUBJECT_VALUE,     /* why a value is not good */
    PS_SUBJECT_ADVICE,    /* what makes the next photos better */
    PS_SUBJECT_COUNT
} ps_subject;

/* Never NULL for photo and value; NULL where no general advice belongs to the code. */
const char *ps_gauge_sentence(ps_subject subject, ps_code code);

/* Adds the code with its sentence. */
void ps_gauge_say(ps_notes *notes, ps_subject subject, ps_code code);

#endif
