/* world: another's amp. Its own equations, its own solver, its own rectifier in time, its own ideas
 * of how parts differ and age; of the project's engine it knows only the drawing (src/circuit) and
 * what the catalogue calls its faults. It differs from src/solve by some percent, as a real amp
 * does. */
#ifndef GRIDLEAK_PERF_WORLD_H
#define GRIDLEAK_PERF_WORLD_H

#include "diagnose.h"

#define WORLD_LEAKS 64 /* between any two nodes */
#define WORLD_LIFTS 4  /* pins and wipers that touch nothing */

/* What is true of one part of this very amp. */
typedef struct world_part {
    double ohms[2]; /* resistor, inductor, lamp, fuse [0]; pot: below, above; halves */
    double contact; /* switch, jack; output transformer's secondary */
    double leak, farads, esr;
    double volts[2]; /* winding: rms at its rated primary volts */
    double emission[TUBE_UNITS], screen[TUBE_UNITS], gas[TUBE_UNITS];
    double grid_cathode[TUBE_UNITS], plate_grid[TUBE_UNITS], heater_cathode[TUBE_UNITS]; /* ohms */
    double heater; /* ohms, hot */
} world_part;

typedef struct world_leak {
    int a, b;
    double ohms;
} world_leak;

typedef struct world world;
/* NULL: out of memory, or a part that this world does not have (a diode in a DC path). */
world *world_new(const circuit *amp);
void world_free(world *world);
world_part *world_part_at(world *world, int part);
/* The largest error of a fitted plate current against its published one, as a part. */
double world_worst_fit(const world *world);

void world_nominal(world *world); /* the drawing as it is */
/* A good amp of some decades: spreads skewed and alike by batch, parts replaced, dirty board. */
void world_age(world *world, base_random *random);
/* Breaks a part as the catalogue names it. `at`: where in the range of its severities, 0..1. false:
 * this amp cannot fail so. */
bool world_break(world *world, const diagnose_fault *fault, double at);
/* A fault that no catalogue has: parts exchanged, a wrong value, a leak across the board. Its
 * words in `what`. */
bool world_break_otherwise(world *world, base_random *random, char what[80]);
bool world_leak_add(world *world, int a, int b, double ohms);

bool world_solve(world *world); /* false: no operating point was found */
/* Volts with the probe's meter joined, and their slope by ln(mains). */
double world_volts(world *world, const solve_probe *probe, double *by_mains);
double world_mains(const world *world);

#endif
