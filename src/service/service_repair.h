/* service, continued: what a repair will do, before it is made. Margins, swap, fuse. Comes with
 * service.h. */
#ifndef GRIDLEAK_SERVICE_REPAIR_H
#define GRIDLEAK_SERVICE_REPAIR_H

#include "service.h"

/* ---- margins: how far each part is from its rating ------------------------------------------- */

typedef enum service_state {
    SERVICE_WELL,
    SERVICE_UNRATED,
    SERVICE_CLOSE,
    SERVICE_OVER
} service_state;                                     /* rising trouble */
const char *service_state_word(service_state state); /* "over" */

typedef struct service_margin {
    const char *part, *of;  /* "V2" and "6V6GT", "C8" and "16u 475 V" */
    const char *unit;       /* of a tube with several, else "" */
    const char *what;       /* "plate dissipation", "volts at power-up"... */
    base_quantity quantity; /* of the next two */
    double is, limit;       /* limit NAN: none is given, and `remedy` says what follows */
    bool floor;             /* must be at least the limit */
    double share;           /* is / limit; limit / is of a floor; NAN without a limit */
    service_state state;
    const char *by;     /* whose limit: "design-maximum", "its rating" */
    const char *remedy; /* "" where all is well */
} service_margin;

typedef struct service_margins {
    const char *amp;
    double mains_v;
    service_margin *margin; /* most trouble first */
    size_t margins;
    base_arena *arena;
} service_margins;

/* Every resistor's watts, capacitor's volts (at idle, at power-up with the tubes still cold, the
 * worse of both on 110 % of the mains), tube, rectifier, winding and fuse, against what is
 * published or written on it, with the remedy. Resistors count as close from half of their watts,
 * all else from 95 % (common practice, no source). On `mains` (NAN: the file's). NULL with a
 * complaint. */
service_margins *service_margins_new(const solve_system *system, double mains, base_errors *errors);
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
/* Fills in the tremolo of both sides: it takes some tenths of a second. false: no memory. */
bool service_swap_tremolo(service_swap *swap, const service_swap_side side[2]);

/* `mains=110` among the changes is for the wall, not for the amp's file: taken out of `changes`
 * (NULL-ended), it gives *mains, else that stays. false with a complaint: no volts from 50 to 300.
 */
bool service_swap_mains(const char **changes, double *mains, base_errors *errors);

/* ---- fuse ------------------------------------------------------------------------------------ */

typedef struct service_fuse {
    const char *part;  /* "F1"; NULL: the amp has none there */
    const char *where; /* "mains", "high voltage", "direct current" */
    double running_a;  /* rms; a transformer's magnetising current comes on top at the mains */
    double inrush_a, inrush_a2s; /* the most as the filter capacitors charge, NAN: none there */
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

/* Each fuse, and the mains fuse where none is drawn: what it must carry, the rating and speed that
 * serve (IEC 60127), and what the one that is fitted does. NULL with a complaint. */
service_fuses *service_fuses_new(const solve_system *system, double mains, base_errors *errors);
void service_fuses_free(service_fuses *fuses);
/* For how long a fuse of IEC 60127-2 may carry `times` its rating at most, s; INFINITY under 1.5.
 */
double service_fuse_opens_s(bool time_lag, double times);

#endif
