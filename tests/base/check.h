/* check.h: what cmocka 1.1.5 lacks. */
#ifndef PINSPAN_TESTS_CHECK_H
#define PINSPAN_TESTS_CHECK_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka wants the four above first. */
#include <cmocka.h>

#include <math.h>
#include <stdio.h>

/* |value - expected| <= tolerance; NaN fails. */
#define CHECK_NEAR(value, expected, tolerance) check_near((value), (expected), (tolerance), #value, __FILE__, __LINE__)

static inline void check_near(double value, double expected, double tolerance, const char *what, const char *file, int line) {
    if (!(fabs(value - expected) <= tolerance)) {
        print_error("%s: got %.12g, expected %.12g +- %.3g (off by %.3g)\n", what, value, expected, tolerance, value - expected);
        _fail(file, line);
    }
}

#endif
