/* marks: statistics of many judged beliefs. */
#ifndef GRIDLEAK_PERF_MARKS_H
#define GRIDLEAK_PERF_MARKS_H

#include "base.h"
#include "rows.h"

/* Which rows: those that `takes` says, in whose column `at` the value stands. */
typedef struct marks {
    size_t count;
    double *value, *other; /* what was asked, and what it is set against */
    int *cluster;          /* the amp, by number */
    int clusters;
} marks;
marks marks_new(size_t room);
void marks_free(marks *marks);
void marks_add(marks *marks, double value, double other, int cluster);
double marks_mean(const marks *marks);

/* 95 % interval of the mean when amps are drawn again (1,000 bootstrap draws of whole amps). */
typedef struct interval {
    double low, high;
} interval;
interval marks_interval(const marks *marks);

/* value: a stated probability; other: 1 where it came true. Expected calibration error over 15 bins
 * of equal count, less what it would be on average if the stated probabilities were right (hits
 * drawn again from them, 200 times), not below zero; *raw gets it as it is. */
double marks_ece(const marks *marks, double *raw);
/* Area under the curve: the chance that a value of `yes` is above one of `no`. */
double marks_area(const marks *yes, const marks *no);
/* Chi square of `value` against a uniform one in 20 bins, as its upper probability. */
double marks_uniform(const marks *marks);
/* Mean of value - other, and its standard error by amp. */
double marks_gap(const marks *marks, double *error);

#endif
