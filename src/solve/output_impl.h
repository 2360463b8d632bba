/* Private to solve: the output stage driven by a tone, as a net of ohms around its tubes. */
#ifndef GRIDLEAK_OUTPUT_IMPL_H
#define GRIDLEAK_OUTPUT_IMPL_H

#include "signal_impl.h"

#define OUTPUT_PORTS (3 * SOLVE_OUTPUT_TUBES) /* plate, screen, cathode of each tube */
#define OUTPUT_SPEAKERS 4

typedef struct output_tube { /* as the system knows it */
    size_t unit;
    int side;
    tube_state state;
    tube_volts rest; /* mean volts to the cathode, and what flows at them */
    tube_point point;
} output_tube;

typedef struct output_speaker {
    int part, plus, minus; /* unknowns */
    int slot;
} output_speaker;

struct solve_output {
    const solve_system *system;
    base_arena *arena;
    solve_work *work;
    solve_signal *signal;
    double *x, *inject; /* by unknown: the mean point; mean currents beyond the curves' at it */
    output_tube tube[SOLVE_OUTPUT_TUBES];
    int tubes, ports, transformer;
    bool started;           /* x is a solution */
    int node[OUTPUT_PORTS]; /* unknowns; -1 */
    output_speaker speaker[OUTPUT_SPEAKERS];
    int speakers;
    double ohms[OUTPUT_PORTS][OUTPUT_PORTS];     /* volts at one port by amperes into another */
    double reach[OUTPUT_SPEAKERS][OUTPUT_PORTS]; /* volts across a speaker by the same */
    double volts[SOLVE_SAMPLES][OUTPUT_PORTS];   /* about the mean, at each sample */
    double extra[SOLVE_SAMPLES][OUTPUT_PORTS];   /* amperes into each port beyond the tangent's */
    double mean[OUTPUT_PORTS];                   /* of `extra` over the cycle */
    double mean_set[OUTPUT_PORTS];               /* amperes leaving, as in `inject` */
};

/* output_wave.c: one cycle about the mean point. False: no solution. */
bool output_linearise(solve_output *stage, const double *numbers);
bool output_wave(solve_output *stage, double drive);

#endif
