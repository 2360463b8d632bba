/* Private to solve: the tremolo at one solved point, and numbers tried beside it. */
#ifndef GRIDLEAK_TREMOLO_IMPL_H
#define GRIDLEAK_TREMOLO_IMPL_H

#include "signal_impl.h"

typedef struct tremolo_bench {
    solve_trial at;  /* the point itself */
    double *trial;   /* a point beside it */
    double *changed; /* a copy of the numbers, to change and put back */
} tremolo_bench;
bool tremolo_bench_make(tremolo_bench *bench);
void tremolo_bench_done(tremolo_bench *bench);

/* The fastest rising mode at a tremolo's speed; growth -INFINITY where there is none. */
solve_outcome tremolo_mode(solve_signal *signal, solve_mode *best);
/* Solves with other numbers. `oscillator`: unit of the system whose plate `reach` is measured from,
 * or -1. */
solve_outcome tremolo_try(tremolo_bench *bench, const double *numbers, int oscillator,
                          solve_swing *out);
/* Is its plate on an output transformer? */
bool tremolo_output(const solve_system *system, const solve_unit *unit);

#endif
