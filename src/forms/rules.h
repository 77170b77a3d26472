/* rules.h: the rules by which both sides are held against each other: data. Private to the room. */
#ifndef PINSPAN_FORMS_RULES_H
#define PINSPAN_FORMS_RULES_H

#include "pinspan/forms.h"

typedef enum ps_rule_code {
    PS_RULE_PINS_MATCH = 0,
    PS_RULE_GAPS_MATCH,
    PS_RULE_CENTRES_MATCH,
    PS_RULE_PINS_UNEQUAL,
    PS_RULE_PIN_WEAR,
    PS_RULE_GAP_ENTERS,
    PS_RULE_SIZE_RANGE,
    PS_RULE_COUNT
} ps_rule_code;

typedef struct ps_rule {
    const char *code; /* "pins-match" */
    double low, high; /* what the ground says they are */
    double vague_mm;  /* a difference known no better than this says nothing */
    const char *ground;
} ps_rule;
const ps_rule *ps_rules_get(ps_rule_code code);

/* Range of sizes that machines of 0.5 to 150 t have. */
void ps_rules_size_range(ps_kind kind, double *low_mm, double *high_mm);
double ps_rules_unequal_below_t(void);

/* Findings from the decisions. */
void ps_forms_find(const ps_forms_job *job, ps_forms_result *result);

#endif
