/* diagnose: from readings to suspects, and to the next reading.
 *
 * Hypotheses: nothing wrong; each failure mode of each part (the catalogue), its severity unknown;
 * something that is not modelled. For each hypothesis and severity the amp is solved once; part
 * tolerance, tube spread, mains and meter are marginalised as a linearised Gaussian with full
 * covariance; each reading has a small chance of being simply wrong. docs/method.md gives the
 * formulas and their grounds. */
#ifndef GRIDLEAK_DIAGNOSE_H
#define GRIDLEAK_DIAGNOSE_H

#include "base.h"
#include "circuit.h"
#include "solve.h"

/* ---- the catalogue of faults --------------------------------------------------------------- */

typedef enum diagnose_mode {
    DIAGNOSE_NOTHING,     /* nothing wrong */
    DIAGNOSE_UNMODELLED,  /* something that is not in the catalogue */
    DIAGNOSE_OPEN,        /* resistor, winding half, choke, fuse, diode */
    DIAGNOSE_HIGH,        /* resistor drifted high: severity = factor */
    DIAGNOSE_SHORTED,     /* resistor, capacitor, choke, diode */
    DIAGNOSE_LEAKY,       /* capacitor: severity = ohms */
    DIAGNOSE_CAP_OPEN,    /* capacitor open or dried out: severity = factor */
    DIAGNOSE_HIGH_ESR,    /* electrolytic: severity = its series ohms, its farads still there */
    DIAGNOSE_WEAK,        /* tube unit or rectifier: severity = emission factor */
    DIAGNOSE_NO_EMISSION, /* tube unit */
    DIAGNOSE_GASSY,       /* tube: severity = grid current per plate ampere */
    DIAGNOSE_GRID_CATHODE_SHORT,
    DIAGNOSE_PLATE_GRID_LEAK, /* inside the bulb or across the socket: severity = ohms */
    DIAGNOSE_HEATER_OPEN,     /* the whole bulb */
    DIAGNOSE_HEATER_CATHODE_LEAK,
    DIAGNOSE_PIN_OPEN,       /* socket pin: which = pin */
    DIAGNOSE_TURNS_SHORTED,  /* winding: severity = part of its volts lost; OT half: ohms */
    DIAGNOSE_SUPPLY_MISSING, /* bias or other winding or rectifier gives nothing */
    DIAGNOSE_TRACK_OPEN,     /* pot: which = 0 low side, 1 high side */
    DIAGNOSE_WIPER_OPEN,
    DIAGNOSE_CONTACT_OPEN,     /* switch way, jack's resting contact */
    DIAGNOSE_MAINS_OFF,        /* mains far from what was said: severity = factor */
    DIAGNOSE_MISWIRED,         /* a good part with a lead on the wrong node */
    DIAGNOSE_HALVES_EXCHANGED, /* of a twin tube: no fault */
    DIAGNOSE_MODES
} diagnose_mode;
const char *diagnose_mode_name(diagnose_mode mode); /* "leaky" */
const char *diagnose_mode_key(diagnose_mode mode);  /* "leaky", "pin open": as in the data file */

#define DIAGNOSE_SEVERITIES 8
#define DIAGNOSE_SETS 4

/* One failure mode of one part. Severity k sets each of `slot` to number[.][k]. */
typedef struct diagnose_fault {
    diagnose_mode mode;
    int part;  /* circuit part, -1: mains, nothing, unmodelled */
    int which; /* unit, pin, half, way */
    double prior;
    int severities; /* 1 where there is no grid */
    int sets;
    int slot[DIAGNOSE_SETS];
    double number[DIAGNOSE_SETS][DIAGNOSE_SEVERITIES];
    double severity[DIAGNOSE_SEVERITIES]; /* what is reported: ohms, factor... */
    double weight[DIAGNOSE_SEVERITIES];   /* prior within the mode, sums to 1 */
    double cell;                          /* standard deviation of ln(number) inside a cell */
} diagnose_fault;

/* Priors by kind and age, read from data/priors/faults.yaml, each with its ground. */
typedef struct diagnose_priors diagnose_priors;
diagnose_priors *diagnose_priors_read(const char *file, const char *text, size_t length,
                                      base_errors *errors);
void diagnose_priors_free(diagnose_priors *priors);

/* ---- evidence ------------------------------------------------------------------------------ */

typedef struct diagnose_meter {
    double ohms;          /* fixed input resistance; NAN: use ohms_per_volt times range */
    double ohms_per_volt; /* 20k/V and so on */
    double range;         /* full scale in use, V; NAN: the smallest usual one that holds it */
    double accuracy;      /* one standard deviation as a part of the reading; 0.005 */
} diagnose_meter;

/* What is done to the amp before it is read: a changed row of numbers on the same structure. */
typedef enum diagnose_does {
    DIAGNOSE_AS_IT_IS,
    DIAGNOSE_PULLED,    /* a tube, out of its socket */
    DIAGNOSE_LIFTED,    /* one end of a part, or one end of its windings or its track */
    DIAGNOSE_GROUNDED,  /* a place, by a clip lead across the part that stands from there to ground
                         */
    DIAGNOSE_EXCHANGED, /* two tubes of one type, each in the other's socket */
    DIAGNOSE_NEW,       /* a good part put in its place */
    DIAGNOSE_BRIDGED,   /* a good capacitor held across it */
    DIAGNOSE_TURNED,    /* a control, to 0..10 */
    DIAGNOSE_DOES
} diagnose_does;

#define DIAGNOSE_ACTION_SETS 24
typedef struct diagnose_action {
    diagnose_does does;
    int part, other; /* circuit parts; other -1: none */
    double turn;     /* of a control, 0..10 */
    int sets;
    struct {
        int slot, other; /* other: the slot whose number it exchanges with; -1: none */
        double number;   /* set to this; added to what it is where `adds` */
        bool adds;
    } set[DIAGNOSE_ACTION_SETS];
} diagnose_action;

/* What is read. Plain DC volts (or rms heater volts) are the zero of all this. */
typedef enum diagnose_quantity {
    DIAGNOSE_DC,
    DIAGNOSE_SIGNAL, /* rms volts of a test signal */
    DIAGNOSE_HUM,    /* rms volts with no signal: at one frequency, or altogether */
    DIAGNOSE_COLD,   /* ohms between two points with the power off and the capacitors empty */
    DIAGNOSE_ALONE,  /* one number of a part that is lifted out of the circuit: see slot */
    DIAGNOSE_STATE,  /* from here on what symptoms follow from: heaters, plates, the supply */
    DIAGNOSE_SWING,  /* the tremolo and other slow modes */
    DIAGNOSE_QUICK,  /* modes that are heard as a tone */
    DIAGNOSE_QUANTITIES
} diagnose_quantity;

typedef struct diagnose_test {
    diagnose_quantity quantity;
    diagnose_action action;
    int input; /* signal: the jack that it goes in at, or -1; then `source` alone says where */
    solve_source source;
    double hertz; /* of the signal; of the hum, 0: all of it */
    double drive; /* V rms of the signal at its source */
    int slot;     /* alone: which number */
} diagnose_test;

typedef struct diagnose_reading {
    const char *at;    /* as written: "V2.3", "V5.4-B2", "R7" (across it), "B1 hum", "C4 leak" */
    solve_probe probe; /* meter_ohms filled in */
    diagnose_test test;
    double volts;      /* of other quantities: ohms, farads; INFINITY: beyond the meter's range */
    double resolution; /* the last digit that was written; 0.1 for "3.1" */
    diagnose_meter meter;
    base_place place;
} diagnose_reading;

/* What is heard, seen, or was found by hand: one of a fixed list (data/symptoms.yaml). */
typedef struct diagnose_symptom {
    const char *key;           /* "loud hum" */
    const char *const *also;   /* other words for it, NULL-ended */
    const char *names;         /* what must stand behind it: "part", "control", "tube", "pin",
                                  "speed"; NULL: nothing */
    const char *sign;          /* what it follows from: "speaker hum"; NULL: from chances alone */
    double limit;              /* from where on it is noticed */
    double missed, false_told; /* chances */
    const char *ground;
    const struct diagnose_chance *chance; /* by failure; the first that fits counts */
    size_t chances;
    double otherwise;
} diagnose_symptom;
typedef struct diagnose_symptoms diagnose_symptoms;
/* The list, from its file; NULL with complaints. Text NULL: the program's own. */
diagnose_symptoms *diagnose_symptoms_read(const char *file, const char *text, size_t length,
                                          base_errors *errors);
void diagnose_symptoms_free(diagnose_symptoms *symptoms);
size_t diagnose_symptoms_count(const diagnose_symptoms *symptoms);
const diagnose_symptom *diagnose_symptoms_at(const diagnose_symptoms *symptoms, size_t index);

typedef struct diagnose_clue { /* one that was told of this amp */
    const char *said;          /* "scratchy: P2" */
    const diagnose_symptom *symptom;
    bool absent;  /* "not loud hum": it was looked for and is not there */
    int part;     /* that it names, or -1 */
    int pin;      /* of that part, or 0 */
    double hertz; /* of a tremolo */
    base_place place;
} diagnose_clue;

typedef struct diagnose_readings {
    diagnose_reading *reading;
    size_t count;
    diagnose_clue *clue;
    size_t clues;
    diagnose_symptoms *symptoms; /* that the clues are of; NULL: none was needed yet */
    double mains;                /* measured at the wall; NAN: not measured */
    base_arena *arena;
} diagnose_readings;

/* Reads a readings file (docs/readings-file.md). Complaints: a place that does not exist (with the
 * nearest), a unit that makes no sense, NaN, the same place twice with different values (warning).
 * NULL on any complaint that is no warning. */
diagnose_readings *diagnose_readings_read(const solve_system *system, const char *file,
                                          const char *text, size_t length, base_errors *errors);
/* An empty set to which `diagnose_readings_add` adds "V2.3=1.2", "V5.4-B2 = 3.1 V". `meter`: NULL
 * for the 10 Mohm one. */
diagnose_readings *diagnose_readings_new(void);
base_code diagnose_readings_add(diagnose_readings *readings, const solve_system *system,
                                const char *written, const diagnose_meter *meter,
                                base_errors *errors);
/* A symptom or a finding as written: "loud hum", "scratchy: P2", "wiggle: V2.3", "tremolo speed: 3
 * Hz", "no difference: R7", "not loud hum". What is not in the list is refused, with the nearest.
 */
base_code diagnose_readings_tell(diagnose_readings *readings, const solve_system *system,
                                 const char *said, base_place place, base_errors *errors);
void diagnose_readings_free(diagnose_readings *readings);
/* A meter as written: "10M", "20k per volt", "20k per volt on 300". */
base_code diagnose_meter_read(const char *text, base_place place, diagnose_meter *meter,
                              base_errors *errors);
/* Its ohms at a place that reads `volts` through `source_ohms`: fixed, or of the smallest usual
 * range that holds what it then shows. INFINITY where the meter states nothing. */
double diagnose_meter_ohms(const diagnose_meter *meter, double volts, double source_ohms);
/* What may stand before the `=`, into the test and the probe of a reading: a place, what is read
 * there and what was done before. "V2.3",
 * "V1.1 @1kHz,20mV J1", "B1 hum", "B1 hum 120Hz", "V2.1-B2 cold", "R7 alone", "C4 leak", "C1 ESR",
 * "V2.3 contact", each perhaps with "with V3 pulled", "with C4 lifted", "with V2.2 grounded", "with
 * V1 and V2 exchanged", "with V4 new", "with C12 bridged", "with P1 at 3". */
base_code diagnose_test_read(const solve_system *system, const char *written, base_place place,
                             diagnose_reading *reading, base_errors *errors);
bool diagnose_test_same(const diagnose_test *a, const diagnose_test *b);
bool diagnose_plain(const diagnose_test *test); /* DC or heater volts of the amp as it is */
/* "DC volts", "AC volts", "ohms", "farads"; and the unit "V", "ohm", "F". */
const char *diagnose_quantity_name(const solve_system *system, const diagnose_test *test,
                                   const solve_probe *probe);
base_quantity diagnose_quantity_unit(const solve_system *system, const diagnose_test *test);
/* "12 mV", "340 V", "4k7", "22n", "open", to two figures; "?" for what is not known. `text` has 32
 * bytes. */
char *diagnose_value_words(double value, base_quantity unit, char *text);
/* What a place written "V5.4-B2", "R7" or "V2.3" means as a probe. */
base_code diagnose_probe_read(const solve_system *system, const char *written, base_place place,
                              solve_probe *probe, base_errors *errors);

/* ---- belief -------------------------------------------------------------------------------- */

/* What is fixed for one amp: the catalogue, every fault's solved points and their predictions of
 * every place that a probe can go. Made once; each new reading then costs little. */
typedef struct diagnose_engine diagnose_engine;
/* When a kind of hypothesis is weighed that costs time and seldom holds. */
typedef enum diagnose_look {
    DIAGNOSE_LOOK_IF_NEEDED, /* where what was weighed before leaves something unexplained */
    DIAGNOSE_LOOK_ALWAYS,
    DIAGNOSE_LOOK_NEVER
} diagnose_look;

typedef struct diagnose_options {
    double mains;         /* rms volts, NAN: the file's; how well it is known follows */
    double mains_spread;  /* one standard deviation as a part; 0.005 when measured, 0.03 when not */
    double wrong;         /* chance that a reading is simply wrong; 0.01 */
    double model_spread;  /* of (predicted - healthy); 0.05 */
    double screen_spread; /* 0.30 */
    double unmodelled;    /* prior of something not modelled; 0.02 */
    double nothing;       /* prior of nothing wrong that DC shows; 0.05 */
    bool printed;         /* shift predictions by the printed chart where there is one */
    bool faults;          /* false: none, so that only what good amps read can be asked */
    diagnose_look pairs;  /* two faults at once */
    diagnose_look wiring; /* leads on the wrong node */
    bool tests;           /* propose other tests than DC volts too; false */
    const diagnose_readings *chart; /* of an amp of this kind in health, besides; NULL: none.
                                       Borrowed while the engine is made */
    diagnose_meter meter;           /* for the readings that are proposed */
} diagnose_options;
diagnose_options diagnose_defaults(void);

diagnose_engine *diagnose_engine_new(const solve_system *system, const diagnose_priors *priors,
                                     const diagnose_options *options, base_errors *errors);
void diagnose_engine_free(diagnose_engine *engine);
size_t diagnose_faults(const diagnose_engine *engine);
const diagnose_fault *diagnose_fault_at(const diagnose_engine *engine, size_t index);
/* Other priors, one for each fault (`diagnose_faults` of them, summing to 1): a shop's own counts.
 */
void diagnose_set_priors(diagnose_engine *engine, const double *prior);
const double *diagnose_healthy(const diagnose_engine *engine);         /* the healthy unknowns */
const double *diagnose_healthy_numbers(const diagnose_engine *engine); /* of solve_slots */
size_t diagnose_unsolved(const diagnose_engine *engine); /* fault points with no solution */
size_t diagnose_points(const diagnose_engine *engine);   /* all fault points */

/* What good amps of this drawing read at a place with the probe's meter joined: the law's volts as
 * the printed chart corrects them, one standard deviation of tolerance, tubes and mains, and the
 * ohms behind the place. NAN, all three, where nothing can be read. */
typedef struct diagnose_good {
    double volts, spread, source_ohms;
} diagnose_good;
void diagnose_good_read(diagnose_engine *engine, const solve_probe *probe, diagnose_good *good,
                        size_t count);

/* Marks, by node, the supply nodes: a rectifier's output, and where a filter capacitor holds what
 * resistors, chokes, fuses and switches bring from it. `supply` has circuit_nodes(amp) places. */
bool diagnose_supply_nodes(const circuit *amp, bool *supply); /* false: no memory */

/* Every place that the voltage chart has: tube pins, supply nodes, differences across parts. */
typedef struct diagnose_place {
    const char *at; /* "V2.3", "B1", "R7" */
    solve_probe probe;
    double healthy, spread; /* what a good amp reads, one standard deviation */
    double cost;            /* effort and risk: 1 = a clip lead on a cathode */
    const char *cost_why;   /* "high voltage plate", "high impedance: the meter loads it" */
    int risk; /* 0 low volts, 1 a high-voltage plate, 2 a supply, 3 an output plate, or
                 both probes on high voltage */
} diagnose_place;
size_t diagnose_places(const diagnose_engine *engine);
const diagnose_place *diagnose_place_at(const diagnose_engine *engine, size_t index);

typedef struct diagnose_suspect {
    int fault;          /* for diagnose_fault_at: from diagnose_faults on, a mistake of wiring */
    const char *part;   /* "C4", "mains", "nothing", "unmodelled" */
    const char *what;   /* "leaky, some 2M", "open": for the technician */
    double probability; /* of this alone */
    double involved;    /* of this, alone or as one of two */
    int group;          /* index into groups: parts that no reading left can tell apart */
    double severity;    /* posterior mean (geometric), NAN without a grid */
} diagnose_suspect;

/* Two faults at once, each of which shows. */
typedef struct diagnose_pair {
    int fault[2];                  /* indices into the catalogue */
    const char *part[2], *what[2]; /* as a suspect's */
    const char *words;             /* "C13 leaky, some 2M, and R17 open" */
    double probability, severity[2];
    int group;
    double *reads; /* by reading: what it predicts there; NAN: not known */
    double *shows; /* the same by place of the chart */
} diagnose_pair;

typedef struct diagnose_group {
    double probability;
    size_t members;   /* suspects in it */
    size_t pairs;     /* and pairs */
    const char *tell; /* what would tell them apart: "lift one end of C4"; NULL if one part */
} diagnose_group;

#define DIAGNOSE_TOLD 5           /* groups whose leaders' predictions are told at each reading */
typedef struct diagnose_compare { /* one reading beside what is predicted */
    const char *at;
    bool plain;           /* DC or heater volts of the amp as it is */
    const char *quantity; /* "DC volts" */
    base_quantity unit;   /* of the four below and of good_spread: volts, ohms, farads */
    double read, healthy, predicted, spread; /* under the leading suspect; NAN: no answer */
    double good_spread;             /* of `healthy` between good amps, one standard deviation */
    double chance_wrong;            /* that this reading is simply wrong */
    double by_group[DIAGNOSE_TOLD]; /* what the leaders of the first groups predict; NAN: none */
} diagnose_compare;

typedef struct diagnose_heard { /* one symptom or finding beside what is predicted */
    const char *said;
    double by_leader, good; /* the chance of it with the leading suspect, and with a good amp; NAN:
                               it says nothing of this amp */
} diagnose_heard;

typedef struct diagnose_probe_next {
    const char *at;
    const char *quantity; /* "DC volts" */
    double bits;          /* expected information about which group, in bits */
    double cost;
    const char *why; /* one sentence */
} diagnose_probe_next;

#define DIAGNOSE_TESTS 4
typedef struct diagnose_test_next { /* something to try beside DC volts */
    const char *at;       /* as the readings file writes it: "C6 leak", "V2.5 with V2 pulled" */
    const char *quantity; /* "AC volts", "ohms of the part alone" */
    double bits;          /* expected information about which part */
    double cost;          /* effort, risk and originality together, as of a place */
    int risk;             /* as of a place; 0 with the power off */
    const char *why, *caution;
} diagnose_test_next;

typedef enum diagnose_verdict {
    DIAGNOSE_NOT_ENOUGH, /* the readings do not settle it */
    DIAGNOSE_LEANING,    /* one group leads, a further reading should confirm it */
    DIAGNOSE_SETTLED,    /* over 0.9 and confirmed by a reading taken after it led */
    DIAGNOSE_HEALTHY,    /* nothing that these readings can show */
    DIAGNOSE_STRANGE     /* fits nothing in the catalogue */
} diagnose_verdict;

typedef struct diagnose_belief {
    diagnose_verdict verdict;
    const char *reason;        /* one or two sentences for the technician: why the leader leads */
    diagnose_suspect *suspect; /* falling probability, all of them */
    size_t suspects;
    diagnose_pair *pair; /* falling probability; none where one fault explains the readings. The
                            probabilities of suspects and pairs sum to 1 */
    size_t pairs;
    diagnose_group *group; /* falling probability */
    size_t groups;
    diagnose_compare *compare; /* one per reading */
    size_t compares;
    diagnose_heard *heard; /* one per symptom or finding */
    size_t heards;
    diagnose_probe_next *next; /* falling bits per cost, at most 5, the safest of those that are
                                  nearly as good before the best; none when settled */
    size_t nexts;
    diagnose_test_next *test; /* the same of other tests, where the options ask for them */
    size_t tests;
    bool outside; /* a leading prediction left the region in which a tube's curve is trusted */
    double entropy_bits; /* over groups */
    base_arena *arena;
} diagnose_belief;

/* Belief after these readings (0 readings: the priors and the first place to probe). NULL with a
 * complaint only when memory is out or no healthy point exists. */
diagnose_belief *diagnose_run(diagnose_engine *engine, const diagnose_readings *readings,
                              base_errors *errors);
void diagnose_belief_free(diagnose_belief *belief);

/* What a fault predicts at a place of the chart, averaged over its severities now believed. */
double diagnose_predicted(const diagnose_engine *engine, const diagnose_belief *belief,
                          size_t suspect, size_t place);

/* ---- looking things up
 * --------------------------------------------------------------------------- */

const char *diagnose_verdict_name(diagnose_verdict verdict); /* "not enough", "leaning", ... */
/* The leading suspect of a group: an index into belief->suspect; -1: none. */
int diagnose_leader(const diagnose_belief *belief, size_t group);
/* The pair that leads a group: an index into belief->pair; -1: a suspect of it is likelier. */
int diagnose_leading_pair(const diagnose_belief *belief, size_t group);
/* The chart's place with this probe, or -1. *sign: -1 where it stands there the other way round. */
int diagnose_place_of(const diagnose_engine *engine, const solve_probe *probe, int *sign);
/* What the leader of a group predicts for a reading of the belief; NAN where that is not known. */
double diagnose_leader_reads(const diagnose_engine *engine, const diagnose_belief *belief,
                             size_t group, const diagnose_readings *readings, size_t reading);
/* The same at a place of the chart. */
double diagnose_leader_shows(const diagnose_engine *engine, const diagnose_belief *belief,
                             size_t group, size_t place);

#endif
