/* Between pairs.c and its screening. */
#ifndef GRIDLEAK_DIAGNOSE_PAIRS_IMPL_H
#define GRIDLEAK_DIAGNOSE_PAIRS_IMPL_H

#include "diagnose_impl.h"

/* One point, as the screening sees it, in deviations of good amps. */
typedef struct pairs_mover {
    const diagnose_point *point;
    float prior;
    float *d, *u, *l; /* by reading: moved, unsure squared, ln(1 + u) / 2 */
} pairs_mover;

/* Two points whose faults together may explain the readings; a's fault comes first in the
 * catalogue. */
typedef struct pairs_candidate {
    const diagnose_point *a, *b;
    float score; /* ln of prior and density, roughly */
} pairs_candidate;

#define PAIRS_SCREENED 600 /* that are kept of all pairs, to be truly solved */

typedef struct pairs_table {
    const diagnose_run_state *run;
    const diagnose_weigher *weigher;
    int width;          /* readings, rounded up to whole lanes */
    float *y, *most;    /* by reading: read; cost of a wrong one */
    pairs_mover *mover; /* fault after fault: all points that move some reading */
    int movers;
    pairs_candidate *all; /* best first */
    int count;
    float least; /* score that one more must have to be kept */
} pairs_table;
/* Fills the readings and the movers. false: no memory. */
bool diagnose_pairs_table(pairs_table *table);
/* Fills `all` from all pairs of movers, by superposition. false: no memory. */
bool diagnose_pairs_screen(pairs_table *table);
/* The `most` best second faults beside a case that was weighed exactly, by its own covariance.
 * Returns ln of the odds of the best against the case alone. */
double diagnose_pairs_beside(const pairs_table *table, const diagnose_case *one,
                             pairs_candidate *best, int most);
/* The `most` best second faults, wirings apart, at the ends and the middle of their severities,
 * each solved beside the first. false: no memory. */
bool diagnose_pairs_from(pairs_table *table, const diagnose_point *first, pairs_candidate *best,
                         int most);

#endif
