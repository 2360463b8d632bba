/* practice: an amp with something hidden wrong in it, to be found with a simulated meter.
 *
 * A good amp of the drawing is drawn at random, a fault of the catalogue (or two) is put in, and
 * the amp is solved. A probe goes where it is told; `practice_volts` is what stands there, with the
 * meter's load, the mains' wandering, warming up, and capacitors that drain. What the learner does
 * is judged at the end: readings against the fewest that would have done, wrong parts replaced,
 * risky steps. Nothing here is lethal; the habits are the real ones. */
#ifndef GRIDLEAK_PRACTICE_H
#define GRIDLEAK_PRACTICE_H

#include "base.h"
#include "diagnose.h"
#include "meter.h"
#include "solve.h"

#define PRACTICE_FAULTS 2
#define PRACTICE_LIST 24
#define PRACTICE_AT 64

typedef struct practice_options {
    const solve_system *system; /* borrowed */
    const diagnose_priors *priors;
    diagnose_engine *engine; /* borrowed; NULL: one is made of the two above */
    uint64_t seed;
    int faults; /* 1 or 2 */
} practice_options;

typedef struct practice practice; /* may be used from several threads: one lock inside */
/* NULL with a complaint: the amp has no operating point, or no fault of it shows. */
practice *practice_new(const practice_options *options, base_errors *errors);
void practice_free(practice *practice); /* takes NULL */

/* For meter_sim_options: what is at the probe. `context` is the practice. */
double practice_volts(void *context, double s, bool ac);

/* ---- what the learner does: each complains of a place or part that does not exist ----------- */

/* Puts the probe there ("V2.3", "B1", "C20"); NULL lifts it. Returns at once. */
base_code practice_probe(practice *practice, const char *at, double s, base_errors *errors);
void practice_power(practice *practice, bool on, double s);
void practice_drain(practice *practice, bool clipped, double s); /* the drain resistor */
/* Puts a good part in. Over, when all that was hidden is gone. */
base_code practice_replace(practice *practice, const char *part, double s, base_errors *errors);
/* A reading was recorded; `drain`: of a capacitor being emptied. */
void practice_took(practice *practice, double volts, bool drain);

typedef struct practice_now {
    bool on, clipped, over;
    char at[PRACTICE_AT]; /* "" lifted */
    size_t readings, replaced, wrong, risky;
    char part[PRACTICE_LIST][PRACTICE_AT]; /* replaced, in that order */
    bool was_it[PRACTICE_LIST];
    char risk[PRACTICE_LIST][160]; /* a sentence each */
} practice_now;
void practice_get(practice *practice, practice_now *now);

/* ---- the end ------------------------------------------------------------------------------- */

typedef struct practice_score {
    size_t faults;
    struct {
        char part[PRACTICE_AT], what[96];
        bool found; /* it was replaced */
    } fault[PRACTICE_FAULTS];
    size_t readings;
    int fewest; /* readings that settle it when one knows where to look; -1: none would, or not
                   known */
    practice_now now;
} practice_score;
/* Gives the answer away, and ends the practice. Takes some seconds. */
base_code practice_finish(practice *practice, practice_score *score, base_errors *errors);

/* ---- worked by the program ----------------------------------------------------------------- */

typedef struct practice_worked {
    bool found;     /* the hidden part leads, with nine tenths of the belief of its group */
    bool named;     /* and the verdict says so: leaning or settled */
    int readings;   /* taken until then, or until nothing is left to ask */
    double seconds; /* of a bench's time, the hand's way not counted */
    char part[PRACTICE_AT], what[96], blamed[PRACTICE_AT];
} practice_worked;
/* Works one hidden fault to its end: the meter's stream, settling and the guide are those of the
 * bench, on a clock of its own. `fixed`: the chart from top to bottom instead of the guide's order.
 * At most `most` readings. `options` has an engine. */
base_code practice_work(const practice_options *options, bool fixed, int most,
                        practice_worked *worked, base_errors *errors);

/* A proposed place as a point for the guide. */
void practice_point(const diagnose_engine *engine, const diagnose_probe_next *next,
                    meter_point *point);

#endif
