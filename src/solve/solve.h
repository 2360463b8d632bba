/* solve: the equations of an amp and their solutions.
 *
 * One structure, many numbers. A circuit becomes equations once (`solve_system`): the pattern is
 * analysed and ordered. All that can differ between one amp and another of the same drawing (part
 * values, leaks, contacts, tube states, windings, the mains) is a row of numbers, one per `slot`.
 * A fault, a drifted part, a tolerance sample, a repair: the same system with other numbers.
 *
 * Unknowns: DC volts of each node, rms heater volts of each heater node, and inside each socket
 * one node per electrode behind the contact of its pin. The rectifier and its first capacitor (or
 * choke) enter as the cycle average of their true periodic waveform. */
#ifndef GRIDLEAK_SOLVE_H
#define GRIDLEAK_SOLVE_H

#include "base.h"
#include "circuit.h"

/* What a slot's number means, with its healthy value and its unit. */
typedef enum solve_what {
    SOLVE_OHMS,      /* resistor; pot: which 0 low..wiper, 1 wiper..high; inductor; fuse; lamp;
                        winding and output transformer: which = half; speaker. Open = 1e10 */
    SOLVE_LEAK,      /* ohms across a capacitor; 1e12 film, less for electrolytics when healthy */
    SOLVE_FARADS,    /* capacitance; at DC it matters only beside a rectifier */
    SOLVE_CONTACT,   /* ohms of a socket pin (which = pin), a switch way, a jack's resting contact,
                        a pot's wiper */
    SOLVE_EMISSION,  /* factor on a tube unit's cathode current (which = unit); rectifier units:
                        factor on the perveance */
    SOLVE_SCREEN,    /* factor on the screen's share (which = unit) */
    SOLVE_GAS,       /* grid current out of the grid per plate ampere (which = unit); 0 */
    SOLVE_GRID_LEAK, /* ohms grid to cathode inside the bulb (which = unit); 1e12 */
    SOLVE_HEATER_LEAK, /* ohms cathode to heater (which = unit); 1e12 */
    SOLVE_HEATER,      /* ohms of the hot heater (which = 0); open = 1e10 */
    SOLVE_VOLTS, /* open-circuit rms volts of a winding at the drawn-for mains (which = half) */
    SOLVE_MAINS, /* rms volts at the wall; part = -1 */
    SOLVE_PLATE_SHORT, /* ohms plate to cathode or screen to cathode is not modelled; plate to
                          grid inside the bulb (which = unit); 1e12 */
    SOLVE_WHATS
} solve_what;

typedef struct solve_slot {
    int part; /* circuit part index; -1 for the mains */
    solve_what what;
    int which;
    double nominal;
} solve_slot;

typedef struct solve_system solve_system; /* the structure; immutable once made, may be shared */
typedef struct solve_work solve_work;     /* one solver's numbers and factors; one per thread */

/* NULL with complaints if the circuit has no equations (no tubes is fine; no nodes is not). The
 * circuit is borrowed and must outlive the system. */
solve_system *solve_system_new(const circuit *amp, base_errors *errors);
void solve_system_free(solve_system *system);
const circuit *solve_circuit(const solve_system *system);
size_t solve_unknowns(const solve_system *system);
size_t solve_slots(const solve_system *system);
const solve_slot *solve_slot_at(const solve_system *system, size_t index);
int solve_slot_find(const solve_system *system, int part, solve_what what, int which); /* or -1 */
/* The healthy amp's numbers, `solve_slots` of them, at the file's mains. Borrowed. */
const double *solve_nominal(const solve_system *system);

solve_work *solve_work_new(const solve_system *system); /* NULL: no memory */
void solve_work_free(solve_work *work);

/* ---- the operating point ------------------------------------------------------------------- */

typedef enum solve_outcome {
    SOLVE_CONVERGED,  /* Newton, from the start given */
    SOLVE_CONTINUED,  /* only by continuation (the supply brought up in steps) */
    SOLVE_STALLED,    /* no solution found; `where` names the worst node */
    SOLVE_SINGULAR,   /* the matrix is singular at `where` */
    SOLVE_NOT_FINITE, /* a number is NaN, or not positive where it must be; `where` = slot */
    SOLVE_NO_MEMORY
} solve_outcome;
const char *solve_outcome_text(solve_outcome outcome);

typedef struct solve_result {
    solve_outcome outcome;
    int where;        /* node index (stalled, singular) or slot index (not finite), else -1 */
    int steps;        /* Newton steps taken in all */
    double residual;  /* largest Kirchhoff error, A */
    bool outside;     /* some tube left the region in which its curve may be trusted */
    int outside_part; /* the first such tube, or -1 */
} solve_result;

/* Solves with `numbers` (solve_slots of them). `start`: unknowns to start from (solve_unknowns of
 * them; e.g. the healthy point), or NULL: from cold. `x` (same length) receives the solution, and
 * may be `start`. On failure `x` holds the best point seen and no result may be shown from it.
 * The factors of the last Jacobian stay in `work` for the calls below. */
solve_result solve_point(solve_work *work, const double *numbers, const double *start, double *x);

/* ---- readings ------------------------------------------------------------------------------- */

/* DC volts between two nodes as a meter of `meter_ohms` in the circuit shows them (INFINITY: no
 * load), or the rms heater volts between two heater nodes. */
typedef struct solve_probe {
    int plus, minus; /* circuit node indices; 0 = ground */
    bool heater;     /* rms heater volts instead of DC */
    double meter_ohms;
} solve_probe;

/* Does this node carry an unknown of that kind? (an AC-only node has no DC unknown) */
bool solve_probe_exists(const solve_system *system, const solve_probe *probe);

/* The reading at the solution `x`. The meter's load is exact to first order in its current (from
 * the source resistance at the probe); *source_ohms (may be NULL) receives that resistance.
 * `gradient` (may be NULL; solve_slots long) receives d reading / d ln(number) for slots that are
 * ohms, farads, volts and factors, and d reading / d number for SOLVE_GAS: one adjoint solve.
 * Must follow a successful solve_point on `work` with the same numbers and x. */
double solve_read(solve_work *work, const double *numbers, const double *x,
                  const solve_probe *probe, double *gradient, double *source_ohms);

/* The reading with the meter truly joined: solves the amp again with its current. NAN if that does
 * not converge. `x` is not changed. */
double solve_read_loaded(solve_work *work, const double *numbers, const double *x,
                         const solve_probe *probe);
/* The same with the gradient at the loaded point, as solve_read gives it (may be NULL). Where it
 * does not converge the result is NAN and the gradient that of solve_read. */
double solve_read_joined(solve_work *work, const double *numbers, const double *x,
                         const solve_probe *probe, double *gradient);

/* ---- what else a solution tells -------------------------------------------------------------- */

/* One tube unit at the point: electrode volts to its own cathode, currents, cathode to ground. */
typedef struct solve_tube {
    tube_volts volts;
    double cathode_v;
    double plate_a, screen_a, grid_a; /* rectifier unit: plate_a = its mean current */
    double heater_ratio;              /* heater volts / rated; NAN if the heater is not wired */
    tube_point point;
    bool inside; /* the region that its curve is fitted for */
} solve_tube;
bool solve_tube_at(solve_work *work, const double *numbers, const double *x, int part, int unit,
                   solve_tube *out); /* false: no such unit */

/* A rectifier's cycle at the point. */
typedef struct solve_supply {
    double dc_v, dc_a;  /* mean output */
    double ripple_pp_v; /* at the first capacitor, peak to peak */
    double ripple_hz;
    double peak_a, rms_a; /* in one plate or diode */
    double peak_inverse_v;
    double ac_v[2];        /* open-circuit rms volts each side */
    double source_ohms[2]; /* in each side, the reflected primary included */
    double first_cap_f;    /* 0: choke input or none */
} solve_supply;
bool solve_supply_at(solve_work *work, const double *numbers, const double *x, int part,
                     solve_supply *out); /* false: not a rectifier */

/* Watts in a part with two or three ends at the point (resistor, pot, inductor, winding half). */
double solve_part_watts(const solve_system *system, const double *numbers, const double *x,
                        int part);

/* Largest error of Kirchhoff's current law over all nodes, and the largest branch current there:
 * the contract is error <= 1 nA + 1e-6 of the current. */
void solve_kirchhoff(solve_work *work, const double *numbers, const double *x, double *error,
                     double *current);

#endif
