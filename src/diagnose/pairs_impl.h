/* Between pairs.c and its screening. */
#ifndef GRIDLEAK_DIAGNOSE_PAIRS_IMPL_H
#define GRIDLEAK_DIAGNOSE_PAIRS_IMPL_H

#include "diagnose_impl.h"

/* Two points whose faults together may explain the readings; a's fault comes first in the
 * catalogue. */
typedef struct pairs_candidate {
    const diagnose_point *a, *b;
    float score; /* ln of prior and density, roughly */
} pairs_candidate;

typedef struct pairs_screen {
    const diagnose_run_state *run;
    const diagnose_weigher *weigher;
    int most;
    pairs_candidate *candidate; /* best first, at most `most` */
    int count;
} pairs_screen;
/* Fills the candidates from all pairs of the engine's points. false: no memory. */
bool diagnose_pairs_screen(pairs_screen *screen);

#endif
