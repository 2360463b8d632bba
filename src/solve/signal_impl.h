/* Private to solve: the small-signal network, G + sC, of a solved amp.
 *
 * Unknowns: the volts of every DC node, of every electrode behind its pin and within each
 * electrolytic behind its series ohms, then the currents of inductors and windings and the volts of
 * a transformer's turn. Index -1 is ground. G and C share one pattern; s is 2 pi j hertz, or the
 * complex rate of a mode. */
#ifndef GRIDLEAK_SIGNAL_IMPL_H
#define GRIDLEAK_SIGNAL_IMPL_H

#include <complex.h>

#include "solve_impl.h"

#define SIGNAL_NO_CAPACITANCE 1e-18 /* F: what is left of an open capacitor */

/* What stores charge or flux: `value` farads between two unknowns, or, with b = a, minus the
 * henries of the current a. */
typedef struct signal_store {
    int a, b;
    int farads; /* slot of a capacitor's number, or -1 */
    double value;
} signal_store;

/* An electrolytic's series ohms, from its first end to a node of its own within it. */
typedef struct signal_esr {
    int a, inner;
    int slot;
} signal_esr;

typedef struct signal_coil { /* an inductor: its branch with henries in series */
    int branch, current;
} signal_coil;

/* An output transformer. Each half has `turns` turns for one of the secondary, whose volts per turn
 * `turn` drive the magnetising current `flux` through its own inductance. */
typedef struct signal_transformer {
    int part;
    int branch[3];  /* first half, second half, secondary; -1: not there */
    int current[3]; /* into the plate's end, and out of the secondary's first */
    int turn, flux;
    double turns;
    double sense; /* +1: the secondary's first end swings with the first plate */
} signal_transformer;

struct solve_signal {
    const solve_system *system;
    base_arena *arena;
    int unknowns, currents_from; /* volts of nodes come first */
    int *of_unknown;             /* by the system's unknown; -1 in the heater layer */
    bool *replaced;              /* by branch: a coil's or a winding's */
    signal_coil *coil;
    size_t coils;
    signal_transformer *transformer;
    size_t transformers;
    signal_store *store;
    size_t stores;
    signal_esr *esr;
    size_t esrs;
    double *gain; /* by the system's unit: factor on how its currents follow the grid; 1 */
    solve_pattern pattern;
    size_t cursor;  /* the entry that is written next */
    double *g, *c;  /* the nonzeros, one spare for ground */
    double *matrix; /* G + sC, complex */
    double *volts;  /* the solution, complex */
    double *other;  /* another as long */
    klu_common common;
    klu_symbolic *symbolic;
    klu_numeric *numeric; /* complex, of `matrix`; NULL: none */
};

/* A solved point: what solve_point has left. */
typedef struct signal_point {
    solve_work *work;
    const double *numbers, *x;
} signal_point;

/* capacitance.c */
typedef struct signal_farads {
    double cgk, cgp, cpk;
} signal_farads;
signal_farads signal_farads_of(const tube_type *type, int unit);

/* signal_parts.c */
bool signal_make(solve_signal *signal);

/* signal_stamp.c: writes (or first counts, then names) every entry in one fixed order */
void signal_stamp(solve_signal *signal, const signal_point *at);
/* Only what does not depend on the volts; of `at` only the numbers count. The entries that follow:
 * 36 of each unit, 4 of each diode, 4 of each rectifier. */
void signal_stamp_linear(solve_signal *signal, const signal_point *at);

/* signal.c */
bool signal_factor(solve_signal *signal, double complex s);
/* Solves for the right-hand side in `volts`. */
void signal_solve(solve_signal *signal);

static inline double complex signal_at(const double *volts, int unknown) {
    return unknown < 0 ? 0 : volts[2 * unknown] + volts[2 * unknown + 1] * I;
}

static inline void signal_put(double *volts, int unknown, double complex value) {
    volts[2 * unknown] = creal(value);
    volts[2 * unknown + 1] = cimag(value);
}

/* modes.c: the mode of the point set last that is nearest to *mode, in *mode. Stalled where it
 * cannot be told from its neighbours. */
solve_outcome signal_follow(solve_signal *signal, solve_mode *mode);

#endif
