/* service: the trade's computations on a solved amp. Here the voltage chart. */
#ifndef GRIDLEAK_SERVICE_H
#define GRIDLEAK_SERVICE_H

#include "base.h"
#include "circuit.h"
#include "diagnose.h"
#include "solve.h"

/* A limit of one unit by the rating that is quoted: the first design-maximum that states it, else
 * design-centre, else absolute. NAN where none does; *system (may be NULL) gets the system's name.
 */
double service_limit(const tube_type *type, int unit, tube_limit limit, const char **system);

/* One line of the chart: a tube pin, a supply node, or a difference across a part. */
typedef struct service_line {
    const char *at;   /* "V1.1", "B1", "R7" */
    const char *what; /* "plate", "screen", "cathode", "grid", "heater", "supply", "across" */
    int part, pin;    /* of a tube pin; -1 otherwise */
    double volts;     /* a healthy amp's, with no meter */
    double shown;     /* as this meter shows it in the circuit */
    double low, high; /* the band of `shown`: two standard deviations of tolerance and spread */
    double source_ohms;
    double printed;       /* on the schematic, NAN if not */
    double printed_shown; /* what the schematic's own meter would show here, NAN if not printed */
    bool heater;          /* rms heater volts */
} service_line;

/* What one rating system allows; NAN where it states nothing. */
typedef struct service_rating {
    const char *system, *source; /* "design-maximum"; of the plate's watts */
    double plate_w, screen_w;
} service_rating;

typedef struct service_tube {              /* one unit of one tube */
    const char *tube, *type, *unit, *does; /* `does` may be NULL */
    int part;
    double plate_v, screen_v, grid_v, cathode_v; /* to ground; screen NAN in a triode */
    double plate_a, screen_a, cathode_a;
    double plate_w, screen_w;
    service_rating rating[2]; /* [0] is the one to quote: the first design-maximum, else the first
                                 design-centre; [1] the first of another system */
    int ratings;              /* 0: none is published */
    double heater_ratio;      /* heater volts as a part of the rated; NAN if not wired */
    bool inside;              /* the curve's trusted region */
} service_tube;

typedef struct service_rectifier {
    const char *name;
    solve_supply supply;
    double dc_limit_a, peak_limit_a, inverse_limit_v, first_cap_limit_f; /* NAN: none published */
} service_rectifier;

typedef struct service_chart {
    const char *amp;
    double mains_v, mains_hz;
    diagnose_meter meter;
    service_line *line;
    size_t lines;
    service_tube *tube;
    size_t tubes;
    service_rectifier *rectifier;
    size_t rectifiers;
    solve_result result;
    base_arena *arena;
} service_chart;

/* The chart of a healthy amp on `mains` volts (NAN: the file's) as `meter` shows it. The mains
 * counts as known to 0.5 % (one standard deviation) when given, to 3 % when not. NULL with a
 * complaint where the amp cannot be solved: nothing is ever shown from a failed solve. */
service_chart *service_chart_new(const solve_system *system, double mains,
                                 const diagnose_meter *meter, base_errors *errors);
void service_chart_free(service_chart *chart);

/* Warnings on a solved amp that `check` adds: a tube past a rating (and by which rating system), a
 * resistor past its watts, a capacitor past its volts, a grid that draws current at idle, a curve
 * outside its trusted region, printed volts far from the computed. Added as BASE_SUSPICIOUS. */
void service_suspicious(const solve_system *system, base_errors *errors);

#endif
