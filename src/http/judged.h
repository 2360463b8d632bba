/* A job's readings against the chart: what the chart, the comparison and the report's tubes share.
 */
#ifndef GRIDLEAK_HTTP_JUDGED_H
#define GRIDLEAK_HTTP_JUDGED_H

#include "http_impl.h"

typedef struct http_judged { /* one reading */
    char at[128];            /* as the chart writes the place, else as the reading does */
    double volts;            /* turned as the chart has it */
    int line;                /* of the chart; -1: the chart has no such place */
    double shown, low, high; /* what a good amp shows on the very meter that was used */
    const char *verdict;     /* "low", "high", "inside"; "" where the chart has no such place */
} http_judged;

/* One phase of a job: its amp, its readings, each judged. */
typedef struct http_phase {
    http_amp *amp;
    diagnose_readings *readings;
    http_judged *judged; /* readings->count */
} http_phase;
/* false with a complaint; close it in any case. */
bool http_phase_open(http_call *call, const char *phase, http_phase *at);
void http_phase_close(http_call *call, http_phase *at);
/* The reading of a line of the chart, or NULL. */
const http_judged *http_phase_line(const http_phase *at, int line);

#endif
