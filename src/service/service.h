/* service: the trade's computations on a solved amp: the voltage chart, ratings, drain, date
 * codes, substitutes, plate curves, signals. */
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
    double low, high; /* the band of `shown` in good amps: two standard deviations each way */
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

/* The chart of a healthy amp on `mains` volts (NAN: the file's) as `meter` shows it (NULL: the
 * usual one), by the same spreads as the diagnosis. The mains counts as known to 0.5 % (one
 * standard deviation) when given, to 3 % when not. NULL with a complaint where the amp cannot be
 * solved: nothing is ever shown from a failed solve. */
service_chart *service_chart_new(const solve_system *system, const diagnose_priors *priors,
                                 double mains, const diagnose_meter *meter, base_errors *errors);
void service_chart_free(service_chart *chart);

/* Where a reading lies by a line's band: -1 low, 0 inside, 1 high; 2 where there is no reading
 * (not finite). Outside is what leaves the band by more than the meter can be off: half a percent
 * of the reading, and 30 mV, which a grid's contact potential or the meter's last digit may make.
 * Common practice, no source. */
int service_verdict(const service_line *line, double volts);

/* Warnings on a solved amp that `check` adds: a tube past a rating (and by which rating system), a
 * resistor past its watts, a capacitor past its volts, a grid that draws current at idle, a curve
 * outside its trusted region, printed volts far from the computed. Added as BASE_SUSPICIOUS. */
void service_suspicious(const solve_system *system, base_errors *errors);

/* ---- date codes ---------------------------------------------------------------------------- */

/* One way to read a code: maker (3 or 4 digits), year (1 or 2 digits), week. */
typedef struct service_date_reading {
    char maker[5];
    int year, year_digits; /* 7 of 1; 67 of 2 */
    int week;              /* 1..53 */
} service_date_reading;

typedef struct service_date_code {
    service_date_reading reading[2]; /* 7 digits in a row can be read in two ways */
    int readings;
} service_date_code;

#define SERVICE_DATE_YEARS 8 /* the most years that one code can mean */

/* Reads an EIA source-date code as stamped: `285642`, `285-642`, `999-5-17`, `1376732`; spaces,
 * dashes, dots and slashes part its fields where it has them. 5 digits are an early form with one
 * digit for the week. BASE_SYNTAX or BASE_VALUE (no such week) at `place`. */
base_code service_date_read(const char *text, base_place place, service_date_code *code,
                            base_errors *errors);
/* The years that the code can mean, rising, none after `latest` (0: no bound). One digit repeats
 * each decade from 1945 to 1979. Returns how many. */
int service_date_years(const service_date_code *code, int latest, int years[SERVICE_DATE_YEARS]);

typedef struct service_dated { /* one part's code */
    const char *part;
    service_date_code code;
} service_dated;

typedef struct service_date_odd { /* a code that the others do not explain */
    size_t code;                  /* index into the codes given */
    bool later;                   /* newer than the others: likely a replacement */
    const char *words;
} service_date_odd;

typedef struct service_dates {
    int earliest, week; /* built no earlier than this; 0 where the codes leave it open */
    int *alternative;   /* the years that remain, rising: one when `earliest` is set */
    size_t alternatives;
    int *year; /* by code: the year that it then means, 0 if odd or open */
    service_date_odd *odd;
    size_t odds;
    const char *words; /* one or a few sentences */
    base_arena *arena;
} service_dates;

/* What `count` codes say together: the shortest run of years (at most 4) that explains most of them
 * dates the amp; the newest code in it is the earliest that the amp can have been built. More than
 * half must agree. `latest`: the year now; `about`: the year that is believed, or 0: it chooses
 * between decades, nothing else. NULL: no memory. */
service_dates *service_dates_of(const service_dated *codes, size_t count, int latest, int about,
                                base_errors *errors);
void service_dates_free(service_dates *dates);

/* ---- substitute: what to order for an old part --------------------------------------------- */

typedef struct service_old {
    circuit_kind kind;
    circuit_material material;
    double value;          /* ohm, F, A of a fuse */
    double volts, watts;   /* its rating, NAN where not known */
    double across, burns;  /* DC volts across it and watts in it at idle; NAN where not known */
    double surge;          /* a capacitor's volts while the tubes are cold, or NAN */
    double most_f;         /* the most that the rectifier in front allows, or NAN */
    bool can;              /* one section of a can on the chassis */
    bool plus_grounded;    /* its + end is on the chassis: a bias supply */
    const tube_type *tube; /* of a tube, else NULL */
} service_old;

typedef struct service_choice {
    const char *text;           /* "22u 500 V electrolytic, axial" */
    double value, volts, watts; /* NAN where it does not apply */
    const char *kind, *note;    /* "metal film"; words, or "" */
} service_choice;

typedef struct service_effect { /* a figure of the amp with the old part, and with the choice */
    const char *what;           /* "ripple at B2, rms" */
    base_quantity quantity;     /* of both */
    double before, after;
} service_effect;

typedef struct service_substitute {
    const char *part;
    service_old old;
    service_choice *choice; /* the one to order first */
    size_t choices;
    const char *keep;       /* when to leave the old one in, or "" */
    const char *can;        /* the other sections of its can ("C9, C10"), or "" */
    service_effect *effect; /* of the first choice, in an amp */
    size_t effects;
    const char *difference; /* whether that is heard, measured, or neither; "" without an amp */
    base_arena *arena;
} service_substitute;

/* Of a part described; NULL with a complaint: a kind that is not stock (a transformer). */
service_substitute *service_substitute_for(const char *part, const service_old *old,
                                           base_errors *errors);
/* Of a part of this amp, with the volts and watts that it meets on `mains` (NAN: the file's). */
service_substitute *service_substitute_of(const solve_system *system, double mains,
                                          const char *part, base_errors *errors);
void service_substitute_free(service_substitute *substitute);

/* ---- curves: a tube's plate curves with its load line -------------------------------------- */

typedef struct service_curve {
    double grid_v;
    double *plate_a; /* beside service_curves.plate_v */
} service_curve;

/* Plate and grid volts are to the tube's own cathode. */
typedef struct service_curves {
    const char *tube, *type, *unit;
    double *plate_v; /* 0 .. most_v, rising */
    size_t points;
    service_curve *curve; /* grid from 0 down */
    size_t curves;
    double most_v, most_a; /* the plot's ends */
    double load_ohms;      /* source resistance seen at the plate, from idle to the unit pulled:
                              plate load, cathode resistor and the supply's own fall; NAN: none */
    double load_v[2], load_a[2];     /* the DC load line's ends on the plot, or NAN */
    double point_v, point_a, grid_v; /* idle */
    double screen_v;                 /* to the cathode, at which the curves hold; NAN: triode */
    double limit_w;                  /* plate rating, NAN where none is published */
    const char *system;              /* "design-maximum" or NULL */
    double *limit_v, *limit_a;       /* the rating's hyperbola, within the plot */
    size_t limits;
    bool inside; /* idle lies where the curves are trusted */
    base_arena *arena;
} service_curves;

/* Of unit `unit` of tube `tube` ("V2") on `mains` (NAN: the file's); NULL with a complaint: no such
 * tube or unit, a rectifier, an amp with no operating point. */
service_curves *service_curves_of(const solve_system *system, double mains, const char *tube,
                                  int unit, base_errors *errors);
void service_curves_free(service_curves *curves);

/* ---- signals: gain and phase, hum, the tremolo, of a healthy amp --------------------------- */

typedef struct service_turn { /* a control turned: a pot 0..10; a switch 0 open, 1 as drawn */
    const char *part;
    double position;
} service_turn;
typedef struct service_stand { /* how the amp stands */
    double mains;              /* V at the wall; NAN: the file's */
    const service_turn *turn;  /* the others stand where the file has them */
    size_t turns;
} service_stand;

typedef struct service_control { /* what can be turned in the signal's path */
    const char *part, *what;     /* `what` may be NULL */
    bool pot;                    /* else a switch */
    double position;             /* as it stands now */
} service_control;

typedef struct service_spot { /* a place, and what complaints about it call it ("--from") */
    const char *text, *called;
} service_spot;
typedef struct service_response_ask {
    service_stand stand;
    service_spot from; /* a jack, a pin, a node; text NULL: the first input jack */
    service_spot to;   /* of the sweep; text NULL: the first speaker, else the last stage */
    double hertz;      /* of the stages */
    double low, high;  /* of the sweep */
    double per_octave; /* points of the sweep, SERVICE_SWEEP_MOST in all at most */
    solve_scope scope; /* its ohms and farads on each place in turn; ohms INFINITY: none */
} service_response_ask;
#define SERVICE_SWEEP_MOST 200

typedef struct service_gain {
    const char *at, *what; /* "V1.6", "plate"; `what` "" where `to` names another place */
    bool again;            /* the same node as the line before */
    double hertz;
    double gain, gain_db, phase_deg; /* over -180 .. 180 */
} service_gain;
typedef struct service_response {
    const char *amp, *from, *from_what; /* `from_what` may be NULL */
    service_gain *stage;                /* each tube unit, then the speakers */
    size_t stages, to;                  /* the stage that `sweep` is of */
    service_gain *sweep;
    size_t points, most;    /* the loudest of them */
    double low_hz, high_hz; /* where it is 3 dB less; NAN: not within the sweep */
    service_control *input; /* the jacks where a signal can go in */
    size_t inputs;
    service_control *control;
    size_t controls;
    base_arena *arena;
} service_response;
/* Texts are the amp's, which must outlive it; of the next two as well. NULL with a complaint: no
 * such place, no signal there, no operating point. */
service_response *service_response_of(const solve_system *system, const service_response_ask *ask,
                                      base_errors *errors);
void service_response_free(service_response *response);

#define SERVICE_WAVE 97 /* points of a waveform: two periods of the mains, both ends */
typedef struct service_hum_line {
    const char *at, *what;         /* "B2", "supply"; "LS1", "speaker" */
    double dc, once, twice, above; /* V; rms at the mains' frequency, at twice it, all above */
    double wave[SERVICE_WAVE];     /* V, without the DC */
} service_hum_line;
typedef struct service_hum_part { /* what would raise it at the speaker by half or more */
    const char *part, *about;     /* "C18"; "16u, first filter" */
    const char *unit, *what;      /* `unit` "" where there is one; "dried out to a tenth" */
    double speaker_v;             /* rms then */
} service_hum_part;
typedef struct service_hum {
    const char *amp;
    double mains_hz;
    service_hum_line *line;
    size_t lines;
    service_hum_part *part;
    size_t parts;
    const char *words; /* what it leaves out */
    base_arena *arena;
} service_hum;
service_hum *service_hum_of(const solve_system *system, const service_stand *stand,
                            base_errors *errors);
void service_hum_free(service_hum *hum);

typedef struct service_tremolo_part { /* one fault, or a control turned */
    const char *part, *about, *what;  /* "C17"; "22n, phase shift"; "open" */
    bool control;
    solve_effect effect;
    double hertz;
} service_tremolo_part;
typedef struct service_tremolo {
    const char *amp;
    const char *tube, *type, *unit, *does; /* the oscillator; `tube` NULL: none; `unit` may be "" */
    solve_tremolo found;
    const char *words[3]; /* what to know of it, one sentence or a few each; NULL ends them */
    service_tremolo_part *part;
    size_t parts;
    solve_mode *other; /* what else rises by itself */
    size_t others;
    base_arena *arena;
} service_tremolo;
service_tremolo *service_tremolo_of(const solve_system *system, const service_stand *stand,
                                    base_errors *errors);
void service_tremolo_free(service_tremolo *tremolo);
const char *service_mode_words(const solve_mode *mode); /* "it squeals" */

#include "service_repair.h"
#include "service_time.h"

#endif
