/* tube: tube types. Basing, heaters, ratings, and curves with exact derivatives.
 * A type is read from one YAML text (data/tubes/TYPE.yaml), written by tools/tubefit. */
#ifndef GRIDLEAK_TUBE_H
#define GRIDLEAK_TUBE_H

#include "base.h"

#define TUBE_PINS 9  /* the most pins a base has; octal 8, noval 9, miniature 7 */
#define TUBE_UNITS 3 /* the most units in one bulb: two diodes and a triode */

typedef enum tube_kind { TUBE_DIODE, TUBE_TRIODE, TUBE_PENTODE } tube_kind; /* beam tetrodes too */

typedef enum tube_electrode {
    TUBE_NONE, /* no connection, shell, internal shield */
    TUBE_PLATE,
    TUBE_SCREEN,
    TUBE_GRID,
    TUBE_CATHODE, /* a directly heated rectifier's filament end where B+ is taken is both */
    TUBE_SUPPRESSOR,
    TUBE_HEATER,
    TUBE_HEATER_TAP
} tube_electrode;

typedef struct tube_pin {
    tube_electrode electrode;
    int unit;            /* 0.. ; -1 where it belongs to none (heater, NC) or to all */
    const char *written; /* as the source writes it: "grid 2 (screen)" */
} tube_pin;

/* The curve of one unit (see docs/tube-curves.md for the law and its sources).
 * P, S: plate and screen volts, rounded to stay just above zero. A = P for a triode, and
 * S + P mu/mu_plate for a pentode: the plate of the equivalent triode. H = sqrt(kvb^2 + A^2).
 *   E = A/kp ln(1 + exp(kp u)),  u = 1/mu + (Vg + contact)/H,  I = perveance E^(3/2)      [A]
 * A pentode's plate takes (1 - s) q/sqrt(1+q^2) of I, s = share (1+draw) S/(S + draw P),
 * q = P/(knee S); its screen the rest. A diode: I = perveance P^(3/2).
 * All are smooth with exact first derivatives for any finite voltage. */
typedef struct tube_curve {
    double mu;        /* amplification factor; of screen to grid 1 for a pentode */
    double mu_plate;  /* pentode: of plate to grid 1 */
    double perveance; /* A / V^(3/2) */
    double kp;        /* sharpness of cut-off */
    double kvb;       /* V */
    double contact;   /* V, contact potential and initial velocity, added to the grid */
    double share;     /* pentode: screen/cathode current where plate volts = screen volts */
    double draw;      /* pentode: how a higher plate draws current from the screen; 0: not */
    double knee;      /* pentode: knee volts as a part of the screen's volts */
    double grid_perveance, grid_contact; /* grid current near and above zero bias */
} tube_curve;

/* Where the curve may be trusted: inside the box that its published points and ratings span. */
typedef struct tube_region {
    double plate_v[2], screen_v[2], grid_v[2], plate_a[2];
} tube_region;

typedef struct tube_unit {
    const char *name; /* "unit 1", "triode", "pentode", "diode 1" or "" when there is one */
    tube_kind kind;
    tube_curve curve;
    tube_region region;
    int pin[TUBE_SUPPRESSOR + 1]; /* pin number by electrode (plate..suppressor); 0 = none */
    double spread;                /* standard deviation of ln(plate current) between good tubes */
    double screen_spread;         /* the same of the screen's share */
    double cgk, cgp, cpk;         /* F; 0 where not known */
} tube_unit;

typedef enum tube_limit {
    TUBE_PLATE_V,
    TUBE_PLATE_W,
    TUBE_PLATE_W_BOTH,
    TUBE_SCREEN_V,
    TUBE_SCREEN_W,
    TUBE_CATHODE_A,
    TUBE_HEATER_CATHODE_V,
    TUBE_GRID_OHMS_FIXED,
    TUBE_GRID_OHMS_CATHODE,
    TUBE_PEAK_INVERSE_V,
    TUBE_AC_V_CAP_INPUT,
    TUBE_AC_V_CHOKE_INPUT,
    TUBE_DC_A,
    TUBE_PEAK_PLATE_A,
    TUBE_FIRST_CAP_F,
    TUBE_SOURCE_OHMS,
    TUBE_LIMITS
} tube_limit;

typedef struct tube_rating {
    const char *system;              /* "design-centre", "design-maximum" */
    int unit;                        /* -1 for every unit */
    double limit[TUBE_LIMITS];       /* SI; NAN where not stated */
    const char *source[TUBE_LIMITS]; /* NULL where not stated */
} tube_rating;

/* One published point and what the curve gives there; NAN where not published. */
typedef struct tube_fit {
    const char *name; /* "class A1 250 V" */
    int unit;         /* -1: of every unit */
    bool triode;      /* screen joined to the plate: the currents and slopes are of both */
    double plate_v, screen_v, grid_v;
    /* plate A, screen A, mu (pentode: of screen to grid 1), rp ohm, gm S; diode: A at plate_v */
    double published[5], fitted[5];
    const char *source, *confidence;
    const char *exception; /* why a figure is off target, or NULL */
} tube_fit;

typedef struct tube_type {
    const char *name, *class_name, *base_name, *basing; /* "12AX7" "twin triode" "noval 9" "9A" */
    const char *const *also;                            /* other names, NULL-ended */
    int pins;                                           /* 7, 8 or 9 */
    tube_pin pin[TUBE_PINS + 1];                        /* by pin number, [0] unused */
    const char *pins_source;
    double heater_v, heater_a; /* heater_v across the whole heater */
    const char *heater_source;
    bool direct; /* the cathode's pin is a heater end too: a filament, or joined inside (5AR4) */
    int units;
    tube_unit unit[TUBE_UNITS];
    const tube_rating *rating; /* ratings, as many as `ratings` */
    size_t ratings;
    const tube_fit *fit;
    size_t fits;
    const char *const *notes; /* NULL-ended */
} tube_type;

typedef struct tube_library tube_library;
tube_library *tube_library_new(void);
void tube_library_free(tube_library *library);
/* Reads one type's YAML. Complaints say file:line:column. */
base_code tube_library_add(tube_library *library, const char *file, const char *text, size_t length,
                           base_errors *errors);
size_t tube_library_count(const tube_library *library);
const tube_type *tube_library_at(const tube_library *library, size_t index);
/* By name or other name, case folded; NULL if there is none. */
const tube_type *tube_find(const tube_library *library, const char *name);
const char *tube_nearest(const tube_library *library, const char *name); /* for "did you mean" */
/* Is a pin (1..pins) of the heater: its end, its tap, or a filament that is the cathode? */
bool tube_heater_pin(const tube_type *type, int pin);
/* What a pin (1..pins) is: "plate, unit 1", "heater", "not used". Returns `buffer`. */
const char *tube_pin_words(const tube_type *type, int pin, char *buffer, size_t size);

/* ---- currents ---------------------------------------------------------------------------- */

/* Electrode volts to the cathode. */
typedef struct tube_volts {
    double plate, screen, grid;
} tube_volts;

/* How this very tube departs from its type; all 1 (gas 0) for the bogey tube. */
typedef struct tube_state {
    double emission; /* multiplies the cathode current */
    double screen;   /* multiplies the odds of screen against plate (about: the screen's share) */
    double gas;      /* grid current out of the grid per plate ampere */
} tube_state;
#define TUBE_BOGEY ((tube_state){1.0, 1.0, 0.0})

/* Currents INTO plate, screen and grid [A] and their derivatives:
 * d[i][j], i = plate, screen, grid current, j = plate, screen, grid volts [S];
 * by_state[i][k], k = emission, screen, gas. Never NaN for finite volts: beyond a megavolt the
 * currents stay as at a megavolt. */
typedef struct tube_point {
    double plate, screen, grid;
    double d[3][3];
    double by_state[3][3];
} tube_point;
void tube_current(const tube_unit *unit, const tube_state *state, const tube_volts *volts,
                  tube_point *out);

/* A diode's current [A] with `volts` across it, scaled by perveance factor `scale`; *slope gets its
 * derivative [S]. Nothing below zero volts. */
double tube_diode(const tube_curve *curve, double scale, double volts, double *slope);
/* The same diode with `ohms` in series and `volts` across both; *inside gets the derivative of the
 * current by the diode's own volts. Used at every step of the rectifier's cycle. */
double tube_diode_behind(const tube_curve *curve, double scale, double ohms, double volts,
                         double *inside);

/* What the technician asks of a point. mu and rp are NAN where the tube is cut off. */
typedef struct tube_small {
    double mu, rp, gm; /* -, ohm, S */
} tube_small;
tube_small tube_small_signal(const tube_point *point);

/* Emission as a factor of normal when the heater gets `ratio` of its rated volts; 1 at 1;
 * *slope gets the derivative. Common practice, no source: flat to 10 % low, gone below half. */
double tube_heater_emission(double ratio, double *slope);

bool tube_in_region(const tube_unit *unit, const tube_volts *volts, double plate_a);

#endif
