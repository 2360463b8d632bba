/* Inside the room.
 *
 *   hide.c      a good amp drawn at random, with something wrong put in
 *   practice.c  probe, power, drain resistor, parts: what stands at the probe at a moment
 *   score.c     how it was done
 *   work.c      the same, worked by the program
 *   point.c     a proposed place as a point for the guide */
#ifndef GRIDLEAK_PRACTICE_IMPL_H
#define GRIDLEAK_PRACTICE_IMPL_H

#include "practice.h"

#include <pthread.h>

/* An amp on the bench: numbers, and its solution. */
typedef struct practice_amp {
    const solve_system *system;
    diagnose_engine *engine; /* for its catalogue and its chart */
    solve_work *work;
    double *numbers, *good, *cold, *x; /* good: the same amp with nothing wrong */
    double *healthy, *faulty;          /* by place: without the faults; room */
    base_random random;
    const diagnose_fault *fault[PRACTICE_FAULTS];
    int severity[PRACTICE_FAULTS];
    size_t faults;
} practice_amp;

bool practice_amp_open(practice_amp *amp, const solve_system *system, diagnose_engine *engine,
                       uint64_t seed, base_errors *errors);
void practice_amp_close(practice_amp *amp);
/* Draws `count` faults that show. False: none was found. */
bool practice_hide(practice_amp *amp, size_t count);
/* Solves what the numbers say. */
bool practice_solve(practice_amp *amp);
/* Volts at a probe, with the meter joined; *open: without it. NAN: not to be had. */
double practice_read(practice_amp *amp, const solve_probe *probe, double *open);
const char *practice_part_name(const practice_amp *amp, const diagnose_fault *fault);
void practice_what(const practice_amp *amp, size_t fault, char *text, size_t size);
/* Puts good parts in the place of this one; was anything wrong with it? */
bool practice_heal(practice_amp *amp, int part);

/* The good amp's numbers with all faults in; true. */
bool practice_put_in(practice_amp *amp);

const solve_system *practice_system(const practice *practice);
typedef struct practice_hidden {
    char part[PRACTICE_AT], what[96];
    int index; /* of the part */
} practice_hidden;
bool practice_hidden_get(const practice *practice, size_t index, practice_hidden *hidden);

/* The least of readings that lead to each hidden part, given the answer; -1: none does. */
int practice_fewest(practice_amp *amp);
/* Does what was read put the part first? *settled (may be NULL): and does the verdict say so. */
bool practice_leads(const diagnose_engine *engine, const diagnose_belief *belief, int part,
                    bool *settled);

#endif
