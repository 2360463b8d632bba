/* judge: what a belief is worth beside the truth, as a row of figures; and the walk from reading to
 * reading under several ways of choosing the next. */
#ifndef GRIDLEAK_PERF_JUDGE_H
#define GRIDLEAK_PERF_JUDGE_H

#include "rows.h"
#include "subject.h"

typedef struct judge {
    subject *subject;
    truth *truth;
    row base;           /* what all rows of this case have in common */
    base_random random; /* of randomised ranks and random orders */
    FILE *to;
    int spoilt;   /* the place whose entry was made wrong, -1 */
    bool verbose; /* print what was missed */
    base_errors *errors;
} judge;

/* Figures of one belief. */
void judge_belief(judge *judge, const diagnose_belief *belief, evidence evidence, row *row);
/* The whole chart of the pins, and of all places. `wrong`: one entry is made wrong; `brief`: only
 * that of all places. */
void judge_charts(judge *judge, bool wrong, bool brief);
/* From no reading until the program calls it settled; `steps`: a row for each belief on the way. */
void judge_walk(judge *judge, evidence policy, bool steps);

/* Adds what the meter shows at a place, or `volts` where that is no NAN. */
void judge_read(judge *judge, size_t place, double volts, diagnose_readings *readings);

/* ---- baseline.c ---------------------------------------------------------------------------- */

/* Blames by habit, by the nearest entry of a fault dictionary and by the priors alone. */
void baseline_judge(judge *judge, const double *shown, row *row);

/* ---- choose.c ------------------------------------------------------------------------------ */

/* How diagnose weighs a place while the program is linked with this one (see choose.c). */
void choose_by(evidence policy);

#endif
