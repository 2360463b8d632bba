/* Private to the world: its equations. */
#ifndef GRIDLEAK_PERF_WORLD_IMPL_H
#define GRIDLEAK_PERF_WORLD_IMPL_H

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "law.h"
#include "world.h"

#define WORLD_OPEN 1e10
#define WORLD_NONE 1e13

/* One rectifier, as pulses into its first capacitor or choke. */
typedef struct world_supply {
    int part, out, back; /* nodes */
    double sign;
    int sides, winding_half[2];
    double phase[2]; /* of each side: +1, -1 */
    int diodes;      /* in series in each path */
    double guess;    /* siemens of the load, of the last solution */
} world_supply;

typedef struct cycle_drive {
    double peak[2], ohms[2], phase[2];
    int sides;
    law law; /* of a tube */
    bool tube;
    double emission[2];
    double drop, bulk; /* silicon, selenium: volts and ohms of a path */
    double farads, esr, henries, hertz;
} cycle_drive;
/* Mean current at `volts` mean output; *slope its derivative. NAN: no cycle was found. */
double cycle_current(const cycle_drive *drive, double volts, double *guess, double *slope);

struct world {
    const circuit *amp;
    size_t parts;
    int nodes, size; /* circuit nodes; unknowns with those of lifted ends */
    world_part *part;
    law (*law)[TUBE_UNITS];
    double worst_fit;
    double mains;
    double *board; /* by node: ohms to the chassis */
    world_leak leak[WORLD_LEAKS];
    int leaks;
    struct {
        int part, end;
    } lift[WORLD_LIFTS];
    int lifts;
    world_supply supply[4];
    int supplies;
    double (*warm)[TUBE_UNITS]; /* by part and unit: emission for its heater's current */
    double *heat;               /* rms volts by node */
    double *volts, *start;      /* by node; of the drawing as it is */
    double *heat_more, *more;   /* the same with the mains 1 % up */
    double *g, *j, *lu, *f, *step, *trial, *next; /* lu: J factored */
    int *pivot;
    solve_probe meter; /* joined while it reads */
    double scale;      /* of the high voltage, while continuing */
};

int world_node(const world *world, int part, int end); /* behind a lifted pin: its own */
bool world_rectifies(const world *world, int tube);
void world_warm_up(world *world); /* heaters first: they do not depend on the rest */
bool world_drive(const world *world, const world_supply *supply, cycle_drive *drive);
/* Heater branches of a tube: two ends and the part of its ohms; returns how many. */
typedef struct world_heater {
    int a, b; /* nodes */
    double part;
    int pin;
} world_heater;
int world_heaters(const world *world, int part, world_heater heater[2]);

static inline void world_join(double *matrix, int size, int a, int b, double siemens) {
    if (a > 0) matrix[(a - 1) * size + a - 1] += siemens;
    if (b > 0) matrix[(b - 1) * size + b - 1] += siemens;
    if (a <= 0 || b <= 0) return;
    matrix[(b - 1) * size + a - 1] -= siemens;
    matrix[(a - 1) * size + b - 1] -= siemens;
}

#endif
