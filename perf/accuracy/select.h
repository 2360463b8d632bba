/* select: rows of a kind, as marks. */
#ifndef GRIDLEAK_PERF_SELECT_H
#define GRIDLEAK_PERF_SELECT_H

#include "marks.h"
#include "rows.h"
#include "subject.h"

#define SELECT_ANY -1
#define SELECT_SHOWN 3.0 /* deviations of the chart from which a fault counts as shown */

/* What is wanted of a row. Fields that are 0 or NULL ask nothing. */
typedef struct want {
    const char *truth, *amp, *mode;
    int kind, evidence;
    double shown; /* a true fault of the catalogue that the chart shows by so many deviations */
    double over;  /* what it says of its first group is over this */
    bool two;     /* of pairs: both are to be found */
    bool stopped; /* at the moment of stopping, settled */
} want;
bool select_row(const want *want, const row *row);
/* `value` of each row wanted, beside `other` (-1: 0). */
marks select_marks(const rows *rows, const want *want, int value, int other);
/* Names in the order in which they come; how many. */
int select_amps(const rows *rows, const char *amp[], int most);
int select_modes(const rows *rows, const char *mode[], int most);

#endif
