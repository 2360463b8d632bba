/* service, continued: emptying the capacitors, and what a repair will do before it is made:
 * drain, margins, swap, value, mains, fuse. Comes
 * with service.h. */
#ifndef GRIDLEAK_SERVICE_REPAIR_H
#define GRIDLEAK_SERVICE_REPAIR_H

#include "service.h"

/* ---- drain: emptying the filter capacitors ------------------------------------------------- */

#define SERVICE_ES1_DC_V 60      /* IEC 62368-1, energy source class 1, direct voltage */
#define SERVICE_DRAIN_OHMS 470.0 /* common practice, no source: 100 ohm to 1 kohm */
#define SERVICE_DRAIN_WATTS 5.0  /* the same */
#define SERVICE_DRAIN_LEAST 100.0
#define SERVICE_DRAIN_MOST 1000.0

/* One filter capacitor: an electrolytic rated 100 V or more or that stands at more than 60 V, or
 * another of 1 uF and more that does. */
typedef struct service_drain_capacitor {
    const char *part, *node; /* "C8"; where the probe goes: the end that is not on the chassis */
    const char *other;       /* the other end's node, "ground" nearly always */
    bool negative;           /* the node stands below the other end: a bias supply */
    double farads, rating_v; /* rating NAN where the file states none */
    double volts;            /* the most that the amp charges it to, tubes hot or cold */
    double joules;           /* C V^2 / 2 */
    double seconds_to_60, seconds_to_1; /* of this one alone: R C ln(V / 60), R C ln(V) */
    double peak_watts;                  /* in the resistor at the first instant: V^2 / R */
    double peak_a;                      /* V / R */
    /* In the amp: every other capacitor gives through what joins them, the tubes draw nothing. */
    double self_60_s, self_1_s; /* by itself, through bleeders and leaks */
    double held_60_s, held_1_s; /* with the resistor held to it; INFINITY: longer than a day */
    double held_joules;         /* into the resistor while it is held for hold_s */
    double back_v;              /* what its dielectric may give back later, at most */
    const char *left;           /* those that still stand over 60 V then, "C9, C10"; "": none */
} service_drain_capacitor;

typedef struct service_drain_cut { /* a switch that parts capacitors when it is open */
    const char *part;              /* "S2" */
    const char *from, *left;       /* draining `from` alone then leaves `left` over 60 V */
} service_drain_cut;

typedef struct service_drain {
    const char *warning;         /* NULL, or what an amp without a power transformer needs first */
    double through_ohms, joules; /* of all together */
    double pulse_joules; /* what a wirewound resistor of SERVICE_DRAIN_WATTS stands at once */
    double hold_s; /* how long to hold the resistor to each: ten times the longest way to 1 V with
                      all capacitors joined, at least 5 s */
    service_drain_capacitor *capacitor; /* falling volts */
    size_t capacitors;
    service_drain_cut *cut;
    size_t cuts;
    const char **step; /* the procedure, one sentence or a few each */
    size_t steps;
    base_arena *arena;
} service_drain;

/* What the capacitors of this amp hold on `mains` (NAN: the file's) and how to empty them through
 * `ohms` (NAN: 470; refused outside 100 to 1000). A plan, never a statement that they are empty:
 * only a reading says so. An amp that cannot be solved gets a plan too, its capacitors taken at
 * their ratings (`warning` says so, the complaint stays). NULL with a complaint otherwise. */
service_drain *service_drain_new(const solve_system *system, double mains, double ohms,
                                 base_errors *errors);
void service_drain_free(service_drain *drain);

/* ---- margins: how far each part is from its rating ------------------------------------------- */

typedef enum service_state {
    SERVICE_WELL,
    SERVICE_UNRATED,
    SERVICE_CLOSE,
    SERVICE_OVER
} service_state;                                     /* rising trouble */
const char *service_state_word(service_state state); /* "over" */

typedef enum service_moment { SERVICE_RUNNING, SERVICE_COLD, SERVICE_HIGH_MAINS } service_moment;

typedef struct service_margin {
    const char *part, *of;  /* "V2" and "6V6GT", "C8" and "16u 475 V" */
    const char *unit;       /* of a tube with several, else "" */
    const char *what;       /* "plate dissipation", "volts at power-up"... */
    base_quantity quantity; /* of the next two */
    double is, limit;       /* limit NAN: none is given, and `remedy` says what follows */
    service_moment moment;  /* when it stands so: all the time, at each power-up, on a high mains */
    bool floor;             /* must be at least the limit */
    double share;           /* is / limit; limit / is of a floor; NAN without a limit */
    service_state state;
    const char *by;     /* whose limit: "design-maximum", "its rating" */
    const char *remedy; /* "" where all is well */
} service_margin;

typedef struct service_margins {
    const char *amp;
    double mains_v;
    bool in_time;           /* the power-up was followed */
    service_margin *margin; /* most trouble first: by state, then by moment, then by share */
    size_t margins;
    base_arena *arena;
} service_margins;

/* Every resistor's watts, capacitor's volts (at idle, while the tubes are cold, the worse of both
 * on 110 % of the mains), tube, rectifier, winding and fuse, against what is published or written
 * on it, with the remedy. While the tubes are cold a capacitor stands at the peak of its winding at
 * most; with `in_time` the power-up is followed instead, which may take a second and tells how far
 * a slow rectifier spares it. Resistors count as close from half of their watts, all else from 95 %
 * (common practice, no source). On `mains` (NAN: the file's). NULL with a complaint. */
service_margins *service_margins_new(const solve_system *system, double mains, bool in_time,
                                     base_errors *errors);
void service_margins_free(service_margins *margins);

/* ---- swap: a change tried on paper ----------------------------------------------------------- */

typedef struct service_swap_tube { /* a unit that is in one of the two amps at least */
    const char *tube, *unit;
    service_tube side[2]; /* before, after; `type` NULL where it is not there */
} service_swap_tube;

typedef struct service_swap_node {
    const char *node;
    double volts[2];
} service_swap_node;

typedef struct service_swap_margin {
    const service_margin *side[2]; /* NULL where the row is not there */
} service_swap_margin;

typedef struct service_swap {
    const char *amp;
    double mains_v[2];
    const circuit_difference *change; /* what differs on the two drawings */
    size_t changes;
    service_swap_tube *tube;
    size_t tubes;
    service_swap_node *node; /* supply nodes */
    size_t nodes;
    service_swap_margin *margin; /* those that moved by 1 % of the limit, or changed their state */
    size_t margins;
    service_swap_margin *broken, *mended; /* over now and not before; over before and not now */
    size_t brokens, mendeds;
    service_margins side[2];  /* all rows, in this arena */
    bool has_tremolo;         /* one of the sides has; after service_swap_tremolo */
    solve_tremolo tremolo[2]; /* part -1: none */
    base_arena *arena;
} service_swap;

/* An amp beside the same amp changed (circuit_change_text), each on its own mains (NAN: the
 * file's). Both systems are borrowed and must outlive the result. NULL with a complaint: one of
 * them has no operating point (it says which). */
typedef struct service_swap_side {
    const solve_system *system;
    double mains;
} service_swap_side;
service_swap *service_swap_new(const service_swap_side *before, const service_swap_side *after,
                               base_errors *errors);
void service_swap_free(service_swap *swap);
/* Fills in the tremolo of both sides. false: no memory. */
bool service_swap_tremolo(service_swap *swap, const service_swap_side side[2]);

/* `mains=110` among the changes is for the wall, not for the amp's file: taken out of `changes`
 * (NULL-ended), it gives *mains, else that stays. false with a complaint: no volts from 50 to 300.
 */
bool service_swap_mains(const char **changes, double *mains, base_errors *errors);

/* ---- value: what a part must be for a target ------------------------------------------------- */

typedef enum service_aim {
    SERVICE_AIM_PLATE_W, /* `wanted` W on the plate */
    SERVICE_AIM_SCREEN_W,
    SERVICE_AIM_PLATE_A,
    SERVICE_AIM_VOLTS,  /* between two places */
    SERVICE_AIM_TREMOLO /* swings a second */
} service_aim;

typedef struct service_target {
    service_aim aim;
    int part, unit;    /* of a tube */
    solve_probe probe; /* of volts */
    double wanted;     /* SI */
    double rating;     /* W that 100 % are, NAN where none is published */
    const char *at;    /* "V3", "B2", "tremolo"; in the arena given */
} service_target;

/* `V3 dissipation 85%` (of the rating that is quoted) or `12W`, `V1 unit 2 current 1.2mA`, `V3
 * screen dissipation 80%`, `B2 at 310V`, `V2.8 at 20V`, `R12 at 24V`, `tremolo at 5/s`; a `for` may
 * stand before it. BASE_SYNTAX, BASE_VALUE or BASE_UNKNOWN at `text`. */
base_code service_target_read(const solve_system *system, const char *text, base_arena *arena,
                              service_target *target, base_errors *errors);

typedef struct service_value_at { /* what one value gives */
    double value, reached;        /* reached in the target's unit, NAN: no operating point there */
    double watts, fit_w;          /* in a resistor, and what to fit; else NAN */
    double across_v;              /* DC across a two-ended part */
    const char *breaks, *mends; /* limits passed, or mended, beside the amp as it is; "" if none */
} service_value_at;

typedef struct service_value {
    const char *amp, *part, *was; /* `was`: its value as the file writes it */
    circuit_kind kind;
    service_target target;
    double mains_v;
    bool found;                /* the target can be reached */
    service_value_at now;      /* as it is */
    service_value_at exact;    /* or, not found, the nearest that can be reached */
    service_value_at stock[2]; /* the values of IEC 60063 below and above; alike where it is one */
    double least, most;        /* of the target, over all values tried */
    const char *limit;         /* why it is out of reach, "" where it is not */
    base_arena *arena;
} service_value;

/* The value of a resistor, pot or capacitor of this amp for the target. The one nearest to the
 * present value where there are several. NULL with a complaint: no such part, a part with no value
 * to choose, a target that cannot be read, an amp with no operating point. */
service_value *service_value_new(const solve_system *system, double mains, const char *part,
                                 const char *target, base_errors *errors);
void service_value_free(service_value *value);

/* ---- mains: an amp drawn for other mains than today's ---------------------------------------- */

typedef struct service_remedy {
    const char *name;      /* "series resistor", "bucking winding"... */
    const char *fit;       /* what to fit and where, a sentence */
    double exact;          /* ohm of a resistor, V of a winding, VA of a transformer */
    double stock;          /* the one that is made; `exact` where none is */
    double carries_a;      /* rms */
    double burns_w, fit_w; /* of a resistor, else NAN */
    double primary_v;      /* volts that the amp's primary then gets */
    double supply_v;       /* at the first rectifier's output */
    double heater_part;    /* heater volts as a part of the rated, the highest of all tubes */
    bool when_warm;        /* it drops by the amp's current: nothing while the tubes are cold */
    const char *mends;     /* limits mended, "" if none */
    const char *left;      /* those still over that are not so on the drawn mains */
    const char *note;
} service_remedy;

typedef struct service_mains {
    const char *amp;
    double drawn_v, now_v;
    double heater_part[2];   /* the highest of all tubes, on the drawn mains and now; NAN: none */
    double current_a, watts; /* what the amp takes at the wall now */
    service_swap *swap;      /* drawn beside now: what breaks, tubes, nodes */
    service_remedy *remedy;
    size_t remedies;
    base_arena *arena;
} service_mains;

/* On `now` volts (NAN: the file's): what that does to an amp drawn for another mains, and what puts
 * it right. A transformer's magnetising current is not known and not counted. NULL with a
 * complaint. */
service_mains *service_mains_new(const solve_system *system, double now, base_errors *errors);
void service_mains_free(service_mains *mains);

/* ---- fuse ------------------------------------------------------------------------------------ */

typedef struct service_fuse {
    const char *part;  /* "F1"; NULL: the amp has none there */
    const char *where; /* "mains", "high voltage", "direct current" */
    double running_a;  /* rms; a transformer's magnetising current comes on top at the mains */
    double inrush_a, inrush_a2s; /* the most as the filter capacitors charge, NAN: none there */
    double cold_a, cold_a2s;     /* of a power-up followed from cold: the peak of the first cycle at
                                    its worst instant, the first tenth of a second; NAN: not */
    double fault_a;              /* into a shorted first filter, NAN: not known */
    double fitted_a;             /* NAN: none is stated */
    circuit_material fitted;     /* CIRCUIT_TIME_LAG, CIRCUIT_QUICK, CIRCUIT_UNSTATED */
    double right_a;              /* a preferred rating of IEC 60127 */
    bool time_lag;               /* else quick-acting */
    const char *right;           /* "T 800 mA (time-lag)" */
    const char *why, *wrong; /* a sentence or a few; `wrong` of the one fitted, "" if it is right */
} service_fuse;

typedef struct service_fuses {
    const char *amp;
    double mains_v;
    service_fuse *fuse;
    size_t fuses;
    base_arena *arena;
} service_fuses;

/* `in_time`: the power-up is followed too, which may take a second. Each fuse, and the mains fuse
 * where none is drawn: what it must carry, the rating and speed that
 * serve (IEC 60127), and what the one that is fitted does. NULL with a complaint. */
service_fuses *service_fuses_new(const solve_system *system, double mains, bool in_time,
                                 base_errors *errors);
void service_fuses_free(service_fuses *fuses);
/* For how long a fuse of IEC 60127-2 may carry `times` its rating at most, s; INFINITY under 1.5.
 */
double service_fuse_opens_s(bool time_lag, double times);

#endif
