/* Private to solve: the elements that an amp's equations are made of.
 *
 * Unknowns are volts; an equation says that the currents leaving an unknown's node sum to zero.
 * Index -1 is ground. An element knows its unknowns, the slots that its numbers come from, and the
 * first of its places in the matrix (`at`; see pattern.c). */
#ifndef GRIDLEAK_SOLVE_IMPL_H
#define GRIDLEAK_SOLVE_IMPL_H

#include <klu.h>

#include "solve.h"

#define SOLVE_OPEN 1e10  /* ohms of a circuit that is open */
#define SOLVE_NONE 1e12  /* ohms of a leak that is not there */
#define SOLVE_GMIN 1e-12 /* siemens from each unknown to ground: the board itself */
#define SOLVE_WARM 1e-9  /* the same in the heater layer, where it only keeps a winding in place */
#define SOLVE_LEAST 0.01 /* ohms; less, and nodes tied together that float are singular. Of the */
#define SOLVE_WARM_LEAST 1e-5 /* heater layer too */
#define CYCLE_STEPS 96        /* points in one cycle of the mains */
#define CYCLE_CAPS 6
#define CYCLE_OHMS 8

/* Ohms between two unknowns: factor * number[slot[0]] + the other slots' numbers; with a source of
 * number[emf] * mains / drawn volts in series where `source` is set (emf -1: the mains itself). */
typedef struct solve_branch {
    int a, b;
    int slot[4];
    int slots;
    double factor;
    bool source;
    int emf;
    double drawn;
    int part, piece; /* whose branch this is, and which of its pieces; part -1 within a socket */
    bool heater;     /* in the layer of rms heater volts */
    int at;
} solve_branch;

/* The heater branches that warm a tube unit; ratio = mean current / rated. */
typedef struct solve_heat {
    int branch[2];
    int branches; /* 0: the heater is not drawn; taken as warm */
    double rated_a;
} solve_heat;

typedef struct solve_unit {
    int part, unit;
    const tube_unit *type;
    int node[4]; /* plate, screen, grid, cathode */
    int emission, screen, gas;
    solve_heat heat;
    int at; /* rows plate, screen, grid, cathode; columns those and four heater ends */
} solve_unit;

/* A diode in a DC path, or the diode unit of a signal tube. */
typedef struct solve_diode {
    int part, a, b;
    int ohms, emission; /* slots; -1 */
    const tube_curve *curve;
    double offset;
    int at;
} solve_diode;

/* One side of a rectifier: what feeds one plate. */
typedef struct solve_side {
    int volts;    /* slot; -1: the mains */
    double drawn; /* primary volts for which `volts` holds */
    int primary;  /* slot of the primary's ohms, or -1 */
    int ohms[CYCLE_OHMS];
    int ohm_slots;
    int emission; /* slot; -1: not a tube */
    int unit;
    double phase_sign; /* +1: conducts on the positive half cycle, -1: on the negative */
} solve_side;

typedef struct solve_cycle {
    int part;
    int out, ret;
    double sign; /* -1: the output is below the return */
    solve_side side[2];
    int sides;
    const tube_curve *curve;
    double offset; /* V before a silicon or selenium diode conducts, all in series */
    double stack;  /* diodes in series in each path */
    solve_heat heat;
    int cap[CYCLE_CAPS], esr[CYCLE_CAPS]; /* slots; esr -1: none */
    int caps;
    double henries; /* of an input choke; 0 with a capacitor */
    double hertz;
    int at; /* rows out, return; columns out, return and four heater ends */
} solve_cycle;

struct solve_system {
    const circuit *amp;
    base_arena *arena;
    int unknowns;
    int *dc_of_node, *heater_of_node; /* by circuit node; -1 where there is none */
    int warm_from, warm_to;           /* the unknowns of the heater layer: from, up to */
    int *node_of;   /* by unknown: circuit node; inside a part, the node nearest to it */
    int *inner_pin; /* by part * CIRCUIT_ENDS + end: the unknown behind it, or -1 */
    solve_slot *slot;
    double *nominal;
    size_t slots, slot_room;
    int mains;
    solve_branch *branch;
    size_t branches, branch_room;
    solve_unit *unit;
    size_t units;
    solve_diode *diode;
    size_t diodes;
    solve_cycle *cycle;
    size_t cycles;
    tube_curve silicon, selenium;
    double sine[CYCLE_STEPS];
    /* pattern.c: compressed columns; place[i] is where the i-th element entry goes */
    int *row_name, *column_name, *place;
    size_t entries, entry_room;
    int *column_start, *row;
    int nonzeros;
    klu_symbolic *symbolic;
    klu_common common;
};

typedef struct solve_drive { /* the numbers of one cycle */
    double peak[2], ohms[2], scale[2], reflected[2];
    double farads, esr;
} solve_drive;

/* What a rectifier does at a given output, and how that changes. */
typedef struct solve_cycle_point {
    double current, by_v;
    double by_ln_e[2], by_ln_r[2], by_ln_k, by_ln_k_side[2], by_ln_c, by_ln_esr;
    double scale_by_ratio; /* d ln K / d heater ratio */
    double peak_a, rms_a;
    double at_v; /* the output and the numbers that all this holds for */
    solve_drive at;
} solve_cycle_point;

typedef struct solve_wave {
    double ripple[CYCLE_STEPS]; /* last waveform about its mean: the next start */
    double current;
} solve_wave;

struct solve_work {
    const solve_system *system;
    base_arena *arena;
    klu_common common;
    klu_numeric *numeric;
    double *value;    /* the Jacobian's nonzeros, one spare at the end for ground */
    double *fixed;    /* the part of it that does not depend on the volts */
    double *siemens;  /* by branch */
    double *emf;      /* by branch */
    double *residual; /* by unknown */
    double *flow;     /* by unknown: the largest single current there */
    double *step, *trial, *adjoint, *best;
    solve_wave *wave;
    solve_cycle_point *cycle_point;
    int probe_plus, probe_minus; /* unknowns where a meter's probes stand; -1: ground or none */
    double probe_siemens;        /* of a meter from probe_plus to ground */
    double probe_a;              /* current of a meter between two nodes, leaving probe_plus */
    const double *inject;        /* amperes that leave each unknown besides; NULL: none */
    double bound;                /* siemens added to each diagonal while continuing */
    const double *anchor;        /* the volts that `bound` pulls to */
};

/* system.c, parts.c, sockets.c, supply.c */
int solve_slot_add(solve_system *system, solve_slot slot);
solve_branch *solve_branch_add(solve_system *system, solve_branch branch);
int solve_dc(const solve_system *system, int node);
int solve_warm(const solve_system *system, int node);
base_code solve_make_nodes(solve_system *system, base_errors *errors);
bool solve_make_parts(solve_system *system);
bool solve_make_tubes(solve_system *system);
bool solve_make_supplies(solve_system *system);
solve_heat solve_heat_of(const solve_system *system, int part, int unit);

/* pattern.c. Names of entries (row -1: ground) become compressed columns; place[i] is where the
 * i-th goes, `nonzeros` for ground. */
typedef struct solve_pattern {
    int unknowns;
    size_t entries;
    int *row_name, *column_name;
    int *place, *column_start, *row, nonzeros; /* made from the above */
} solve_pattern;
bool solve_compress(base_arena *arena, solve_pattern *pattern);
bool solve_make_pattern(solve_system *system);

/* equations.c */
void solve_fix(solve_work *work, const double *numbers);
void solve_evaluate(solve_work *work, const double *numbers, const double *x);
double solve_branch_ohms(const solve_branch *branch, const double *numbers);
double solve_heat_ratio(const solve_work *work, const solve_heat *heat, const double *x);
void solve_unit_volts(const solve_unit *unit, const double *x, tube_volts *volts);
void solve_unit_state(const solve_work *work, const solve_unit *unit, const double *numbers,
                      const double *x, tube_state *state);

/* cycle.c */
void solve_drive_warm(const solve_system *system, const solve_cycle *cycle, const double *numbers,
                      double warm, solve_drive *drive);
void solve_drive_of(const solve_work *work, const solve_cycle *cycle, const double *numbers,
                    const double *x, solve_drive *drive);
void solve_cycle_at(solve_work *work, size_t index, const solve_drive *drive, double volts);

/* newton.c */
solve_result solve_newton(solve_work *work, const double *numbers, double *x, int most);
bool solve_factor(solve_work *work, bool anew);
/* The first slot whose number makes no sense, or -1. */
int solve_not_finite(const solve_system *system, const double *numbers);

static inline double solve_gmin(const solve_system *system, int unknown) {
    bool warm = unknown >= system->warm_from && unknown < system->warm_to;
    return warm ? SOLVE_WARM : SOLVE_GMIN;
}

static inline double solve_at(const double *x, int unknown) {
    return unknown < 0 ? 0 : x[unknown];
}

#endif
