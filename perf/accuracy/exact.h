/* exact: a depth-limited exact policy, on an amp small enough for it. */
#ifndef GRIDLEAK_PERF_EXACT_H
#define GRIDLEAK_PERF_EXACT_H

#include "subject.h"

/* Expected effort of the first readings under the rule of most information for its cost, under that
 * of most edges cut for its cost, and under the best choice at each step, all on one problem: the
 * engine's single faults as hypotheses, each reading in one of six ranges, three readings at most;
 * a class under 0.9 at the end costs as its chance of being wrong times `EXACT_WRONG`. */
#define EXACT_WRONG 20.0
typedef struct exact {
    double information, edges, best;
    int hypotheses, places;
} exact;
exact exact_policy(const subject *subject);

#endif
