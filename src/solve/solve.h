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
                        winding and output transformer: which = half; speaker; a silicon or selenium
                        rectifier: which = side. Open = 1e10 */
    SOLVE_LEAK,      /* ohms across a capacitor; 1e12 film, less for electrolytics when healthy */
    SOLVE_FARADS,    /* capacitance; at DC it matters only beside a rectifier */
    SOLVE_ESR,       /* ohms in series within an electrolytic; others have none */
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
    SOLVE_NOT_FINITE, /* a number is NaN, not positive where it must be, or over 1e20 or under
                         1e-20; `where` = slot */
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

/* ---- readings ------------------------------------------------------------------------------ */

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

/* ---- what else a solution tells ------------------------------------------------------------ */

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

/* ---- small signals ------------------------------------------------------------------------- */

/* The amp linearised at a solved point: every part with its true impedance, tubes with their slopes
 * and capacitances. An output transformer is ideal but for its windings' ohms and its primary's
 * inductance; where the drawing has feedback from its secondary, that is taken as negative. */
typedef struct solve_signal solve_signal; /* numbers and factors; one per thread */

solve_signal *solve_signal_new(const solve_system *system); /* NULL: no memory */
void solve_signal_free(solve_signal *signal);
/* Linearises at x, which solve_point has just found on `work` with `numbers`. */
void solve_signal_set(solve_signal *signal, solve_work *work, const double *numbers,
                      const double *x);

/* From the next solve_signal_set on: this unit's currents follow its grid `gain` times as much as
 * its curve says; 1 to begin with. */
void solve_signal_gain(solve_signal *signal, int part, int unit, double gain);

typedef struct solve_source { /* one volt behind `ohms` (0 is fine) */
    int node, back;           /* circuit nodes: hot end, and where its current returns */
    double ohms;
} solve_source;
typedef struct solve_scope { /* a probe from `node` to ground; INFINITY ohms: none */
    int node;
    double ohms, farads;
} solve_scope;

/* The whole amp at one frequency, with the scope's probe (NULL: none) in the circuit. Converged, or
 * singular, or no memory. */
solve_outcome solve_signal_at(solve_signal *signal, const solve_source *source,
                              const solve_scope *scope, double hertz);
/* Volts at a circuit node per volt of the source; NAN where no signal is known. */
double _Complex solve_signal_volts(const solve_signal *signal, int node);

/* Turns a pot to `position` of 0..10 by its taper; joins a switch as drawn (1) or opens it (0).
 * false: the part is neither. */
bool solve_turn(const solve_system *system, int part, double position, double *numbers);
/* A plug in a jack opens the contact that its tip rests on. */
void solve_plug_in(const solve_system *system, int jack, double *numbers);

typedef struct solve_stage { /* a place where a signal is worth looking at */
    int part, unit;          /* a tube and its unit; a speaker, and -1 */
    int pin;                 /* plate, or cathode where it is not grounded; of a speaker 0 */
    int plus, minus;         /* circuit nodes */
} solve_stage;
/* Every tube unit with a grid, in the file's order, then the speakers. Fills up to `room`; returns
 * how many there are. */
size_t solve_stages(const solve_system *system, solve_stage *stages, size_t room);

/* ---- natural modes ------------------------------------------------------------------------- */

/* What the amp does by itself: volts grow as exp(growth t) and turn `hertz` times a second. */
typedef struct solve_mode {
    double growth; /* 1/s; above 0 it rises by itself */
    double hertz;  /* 0: it does not swing */
} solve_mode;
#define SOLVE_MODES_MOST 400
/* All modes of the point set last, fastest rising first. Fills up to `room`; *count receives how
 * many there are. Converged; singular; no memory; stalled with more than SOLVE_MODES_MOST stores of
 * charge and flux. */
solve_outcome solve_modes(solve_signal *signal, solve_mode *modes, size_t room, size_t *count);
/* The same without the capacitances that matter at far higher frequencies alone: much quicker, and
 * right for modes up to `hertz`. */
solve_outcome solve_slow_modes(solve_signal *signal, double hertz, solve_mode *modes, size_t room,
                               size_t *count);
/* Does it rise by itself, beyond what rounding can feign? */
bool solve_mode_rises(const solve_mode *mode);
/* The shape of a mode: solve_signal_volts then gives each node's share. */
solve_outcome solve_mode_shape(solve_signal *signal, const solve_mode *mode);

/* ---- hum ----------------------------------------------------------------------------------- */

/* A point at which an amp is tried: `signal` and `work` as after solve_signal_set. The calls that
 * take one leave both as they were. */
typedef struct solve_trial {
    solve_signal *signal;
    solve_work *work;
    const double *numbers, *x;
} solve_trial;

#define SOLVE_HARMONICS 6 /* of the mains, that count as hum */
/* What the rectifiers' ripple, and at the mains' own frequency the heater windings, leave at each
 * circuit node (as many as the circuit has), V rms with its phase, at `harmonic` times the mains'
 * frequency. Fields and ground loops have no part in it. At the point set last, of `numbers`. */
solve_outcome solve_hum(solve_signal *signal, const solve_work *work, const double *numbers,
                        int harmonic, double _Complex *volts);

/* ---- the tremolo --------------------------------------------------------------------------- */

typedef struct solve_swing {
    bool swings;   /* a mode of 0.3 to 20 Hz rises */
    double hertz;  /* once its swing has settled; of the mode nearest to rising where none does,
                      0: none */
    double growth; /* 1/s, while it is small */
    double reach;  /* mean volts grid to cathode of the output tubes per volt at the oscillator's
                      plate;  NAN where it does not swing */
} solve_swing;
typedef struct solve_tremolo {
    int part, unit; /* the oscillator; -1: the amp has none */
    solve_swing swing;
    double gain;     /* what times its gain it needs to start: under 1 where it does */
    double emission; /* part of its emission at which it stops, 0: never; NAN where it does not run
                      */
} solve_tremolo;
/* The swing of the point set last while it is small, so that its hertz are a little off; `reach`
 * from the plate of that unit (part -1: NAN). Quick. */
solve_outcome solve_swing_small(solve_signal *signal, int part, int unit, solve_swing *out);
/* Any outcome but converged: nothing is known. */
solve_outcome solve_tremolo_find(const solve_trial *given, solve_tremolo *out);

/* A twentieth of its time: the oscillator (part -1: nothing swings) and its swing; `gain` and
 * `emission` stay NAN. */
solve_outcome solve_tremolo_quick(const solve_trial *given, solve_tremolo *out);

typedef enum solve_upset {
    SOLVE_OPENED,
    SOLVE_SHORTED,
    SOLVE_LEAKY,     /* 1 Mohm */
    SOLVE_DRIED_OUT, /* a tenth of its capacitance */
    SOLVE_DRIFTED,   /* half as much again */
    SOLVE_WEAKENED,  /* half of its emission */
    SOLVE_TURNED_DOWN,
    SOLVE_TURNED_UP
} solve_upset;
typedef enum solve_effect {
    SOLVE_STOPS,
    SOLVE_UNHEARD, /* runs, and the output tubes hardly swing */
    SOLVE_SLOWER,
    SOLVE_FASTER,
    SOLVE_NO_EFFECT
} solve_effect;
typedef struct solve_tremolo_part { /* one number made to fail, or a control turned */
    int part;
    solve_what what;
    int which;
    solve_upset upset;
    solve_effect effect;
    double hertz;
} solve_tremolo_part;
/* Everything that stops a running tremolo or changes its speed by a tenth, one fault at a time, in
 * the order of effect and part; controls last. What kills the whole amp is left out. Fills up to
 * `room`; *count receives how many there are. */
solve_outcome solve_tremolo_parts(const solve_trial *given, const solve_tremolo *tremolo,
                                  solve_tremolo_part *out, size_t room, size_t *count);

typedef struct solve_hum_part { /* one number made to fail */
    int part, which;
    solve_upset upset; /* SOLVE_DRIED_OUT, SOLVE_WEAKENED */
    double volts;      /* rms across the speakers then, all harmonics together */
} solve_hum_part;
/* What would raise the hum at the speakers by half or more, loudest first. Fills up to `room`;
 * *count receives how many there are. */
solve_outcome solve_hum_parts(const solve_trial *given, solve_hum_part *out, size_t room,
                              size_t *count);

/* ---- in time ------------------------------------------------------------------------------- */

/* An amp from one instant to the next: every part as in the small signals, tubes with their whole
 * curves, each rectifier's side a true diode fed by a sine. TR-BDF2 with its error held (Hosea and
 * Shampine 1996). Not modelled: a core that saturates, a coil's current under a broken contact. A
 * cathode warms with a lag that belongs to its class (common practice, no source). */
typedef struct solve_run solve_run; /* state, numbers and factors; one per thread */

solve_run *solve_run_new(const solve_system *system); /* NULL: no memory */
void solve_run_free(solve_run *run);

/* A number that changes while the amp runs: a switch's contact, the mains (0: switched off). */
typedef struct solve_change {
    double seconds;
    int slot;
    double number;
} solve_change;
typedef struct solve_tone { /* a sine into a node, to ground, from t = 0 on */
    int node;               /* of the circuit */
    double ohms;            /* behind which; over 0 */
    double volts, hertz;    /* peak */
} solve_tone;
#define SOLVE_TONES 4
#define SOLVE_TOLERANCE 1e-5

typedef struct solve_course { /* what is to be run. Borrowed until the next start */
    const double *numbers;    /* by slot, at t = 0 */
    double phase;             /* of the mains' sine at t = 0, rad: 0 rises through zero */
    double tolerance; /* of a step's error: part of (1 V, 1 A or what there is); 0: the usual one */
    const solve_change *change; /* in the order of time */
    size_t changes;
    bool warm; /* from cold, but with the cathodes warm already: switched off and on again */
    solve_tone tone[SOLVE_TONES];
    int tones;
} solve_course;

/* Sets the amp at t = 0: with x (of solve_point, with these numbers) hot and running, with NULL
 * cold and its capacitors empty. Not finite, singular, no memory, or converged. */
solve_outcome solve_run_start(solve_run *run, const solve_course *course, const double *x);
/* Called after each step; false ends the run there. */
typedef bool solve_look(void *own, const solve_run *run);
/* Runs on to t = `seconds`. Stalled: the steps came to nothing at solve_run_seconds. */
solve_outcome solve_run_to(solve_run *run, double seconds, solve_look *look, void *own);

double solve_run_seconds(const solve_run *run);
double solve_run_volts(const solve_run *run, int node); /* NAN: it has no DC unknown */
/* Amperes now in side 0 or 1 of a rectifier part (a doubler's halves too); NAN: no such side. */
double solve_run_side(const solve_run *run, int part, int side);
/* Amperes now in the primary (without one, in the mains lead): what the rectifiers draw and what
 * the heaters draw, which cold have a sixth of their ohms. No magnetising current. */
typedef struct solve_mains {
    double volts, rectifier_a, heater_a;
} solve_mains;
solve_mains solve_run_mains(const solve_run *run);
/* How warm a tube is: its heater's current as a part of the rated, with the cathode's lag; of a
 * part that is no tube, NAN. */
double solve_run_warmth(const solve_run *run, int part);
/* A tube unit now, but for its heater, which is NAN; false: no such unit, or a rectifier's. */
bool solve_run_tube(const solve_run *run, int part, int unit, solve_tube *out);
typedef struct solve_run_count {
    long steps, refused, evaluations, factors;
} solve_run_count;
solve_run_count solve_run_counted(const solve_run *run); /* since the start */

/* ---- the output stage ---------------------------------------------------------------------- */

/* The tubes at the output transformer, driven by a tone of mid frequency at their grids: capacitors
 * pass it, the transformer is ideal but for its ohms, the grids follow the drive whatever they
 * draw. The mean of every current settles on the whole amp's supply and bias, its sag included. A
 * cycle of samples about a mean point: harmonic balance in time. */
#define SOLVE_SAMPLES 64
#define SOLVE_OUTPUT_TUBES 8
typedef struct solve_output solve_output; /* numbers and factors; one per thread */

/* NULL: no memory; with *tubes (how many there are at an output transformer) 0: none. */
solve_output *solve_output_new(const solve_system *system, int *tubes);
void solve_output_free(solve_output *stage);

typedef struct solve_output_tube {
    int part, unit, side;                                  /* side 0, or 1: driven the other way */
    double plate_v[SOLVE_SAMPLES], plate_a[SOLVE_SAMPLES]; /* volts to its cathode */
    double grid_v[SOLVE_SAMPLES];
    double mean_plate_v, mean_plate_a, mean_screen_a, mean_grid_v;
    double plate_w, screen_w; /* mean */
    double least_a, most_a;   /* of the plate */
} solve_output_tube;
typedef struct solve_output_cycle {
    solve_output_tube tube[SOLVE_OUTPUT_TUBES];
    int tubes;
    double speaker_v[SOLVE_SAMPLES];      /* across the first speaker */
    double watts;                         /* in all speakers */
    double harmonic[SOLVE_HARMONICS + 4]; /* of speaker_v: [1] the drive's own, V peak */
    double distortion;                    /* all above the first together, rms, by the first */
    double supply_v, supply_a;            /* mean at the transformer's B+, and into it */
} solve_output_cycle;
/* One cycle with `drive` volts peak at each grid; from the last one where that was on the same
 * numbers. Converged; stalled; singular; not finite; no memory. */
solve_outcome solve_output_at(solve_output *stage, const double *numbers, double drive,
                              solve_output_cycle *out);

#endif
