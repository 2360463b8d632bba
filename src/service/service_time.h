/* Part of service.h: an amp followed in time. What a start does to every part; what the output
 * stage gives. Comes with service.h. */
#ifndef GRIDLEAK_SERVICE_TIME_H
#define GRIDLEAK_SERVICE_TIME_H

#include "base.h"
#include "circuit.h"
#include "solve.h"

/* ---- powerup: from the switch to rest, and off again --------------------------------------- */

#define SERVICE_POWERUP_S 45.0 /* how long an amp is followed: all tubes are warm by then */
#define SERVICE_OFF_S 60.0     /* and after it is switched off */
#define SERVICE_STANDBY_S 30.0 /* how long on standby */

typedef struct service_powerup_asked {
    double mains; /* NAN: the file's */
    bool standby; /* on standby for SERVICE_STANDBY_S first */
} service_powerup_asked;

typedef struct service_powerup_capacitor { /* one capacitor; volts from its first end to its other
                                            */
    const char *part, *node;               /* the end that is not on the chassis */
    int index;
    double farads, rating_v; /* rating NAN: the file states none */
    double peak_v, peak_s;   /* the most, either way, and when */
    double reverse_v;        /* the most against its polarity; 0 where it has none */
    double working_v;        /* the mean once all is at rest */
    double ripple_v;         /* peak to peak then */
    double settled_s;        /* from then on within 5 % of that, the mean of each cycle; NAN */
    double off_60_s;         /* after switching off, to under 60 V; 0: it never held as much;
                                INFINITY: it still holds more when the run ends */
    double off_v;            /* what it holds then */
    bool filter;             /* a filter capacitor: what the text shows */
} service_powerup_capacitor;

typedef struct service_powerup_rectifier {
    const char *name, *type; /* type NULL: silicon or selenium */
    double peak_a, peak_s;   /* in one plate or diode while it starts from cold */
    double again_a;          /* the same, switched off and on again with the tubes still warm
                                and the capacitors empty, at the worst instant */
    double working_peak_a, working_rms_a, working_a; /* in one plate at rest; the mean of all */
    double ripple_v;             /* peak to peak at its first capacitor; NAN: it has none */
    double working_v, settled_s; /* at its first capacitor, or its output */
    double first_cap_f, source_ohms;
    double peak_limit_a, dc_limit_a, first_cap_limit_f, source_limit_ohms; /* NAN: none known */
} service_powerup_rectifier;

typedef struct service_powerup_fuse {
    const char *name, *where;  /* "mains", "high voltage" */
    double rating_a;           /* NAN: none stated */
    circuit_material kind;     /* time-lag, quick or unstated */
    double running_a;          /* rms once all is at rest */
    double peak_a, cycle_i2t;  /* in the first cycle of the mains, at the worst instant */
    double tenth_i2t;          /* A2s in the first tenth of a second */
    double fast_i2t, slow_i2t; /* what a fast, and a time-lag one of this rating holds at least */
} service_powerup_fuse;

typedef struct service_plot_line {
    const char *name, *unit; /* "B1", "V" */
    double *low, *high;      /* within each point's interval; the same where it is an instant */
} service_plot_line;
typedef struct service_plot {
    double *seconds;
    size_t points;
    service_plot_line *line;
    size_t lines;
} service_plot;

typedef struct service_powerup {
    const char *amp;
    double mains_v, mains_hz;
    const char *standby; /* the switches that were worked, or NULL */
    const char *missing; /* what the file does not say, and what follows; NULL: nothing */
    service_powerup_capacitor *capacitor; /* nearest to its rating first */
    size_t capacitors;
    service_powerup_rectifier *rectifier;
    size_t rectifiers;
    service_powerup_fuse *fuse;
    size_t fuses;
    const char **remark; /* what is past a limit, and what to do: a sentence or two each */
    size_t remarks;
    double core_a; /* what the primary's ohms alone would pass at the crest: no inrush is more */
    double on_s, off_s;              /* when it was switched off; when the run ended */
    service_plot start, whole, rest; /* the first 0.2 s; all of it; two cycles at rest */
    base_arena *arena;
} service_powerup;

/* NULL with a complaint: no rectifier, an amp whose course cannot be followed, no standby switch
 * where one is asked for. */
service_powerup *service_powerup_new(const solve_system *system, const service_powerup_asked *asked,
                                     base_errors *errors);
void service_powerup_free(service_powerup *powerup);

/* ---- output: what the output stage gives, and into which speaker --------------------------- */

typedef struct service_output_asked {
    double mains;    /* NAN: the file's */
    double speaker;  /* ohms that hang on it; NAN: the file's */
    double supply_v; /* at the output transformer, idle: the high winding is made to give it; NAN */
} service_output_asked;

#define SERVICE_LEVELS 10
typedef struct service_output_level {
    double drive_v;                          /* peak at each grid */
    double watts, distortion, second, third; /* of the first harmonic */
    double plate_a, screen_a, supply_v;      /* mean, of one tube */
    double plate_percent, screen_percent;    /* dissipation of the most burdened tube's rating */
} service_output_level;

typedef struct service_output_tube {
    const char *tube, *type;
    int side;                             /* 0, or 1: driven the other way */
    double idle_plate_w, idle_screen_w;   /* with no signal */
    double full_plate_w, full_screen_w;   /* just before clipping */
    double plate_limit_w, screen_limit_w; /* NAN: none published */
    const char *system;                   /* of the plate's, or NULL */
    double idle_a, least_a, most_a;       /* of the plate: idle; within a cycle at full drive */
} service_output_tube;

typedef struct service_output {
    const char *amp, *transformer;
    double mains_v;
    bool push_pull;
    const char *class_name;            /* "A", "AB", "B": of the plate current at full drive */
    double rated_ohms, speaker_ohms;   /* of the file; as asked */
    double load_ohms;                  /* at the plate, or from plate to plate, windings and all */
    double idle_supply_v, supply_v;    /* idle, at full drive */
    double drive_v, watts, distortion; /* just before clipping */
    const char *why;                   /* what ends it: "the grids reach their cathodes" */
    double crossover;                  /* part by which the gain dips where the tubes change over */
    service_output_level level[SERVICE_LEVELS]; /* equal steps of drive up to full */
    service_output_tube *tube;
    size_t tubes;
    /* One tube's path over a cycle at full drive, its volts to the cathode, and its idle point. */
    double line_v[SOLVE_SAMPLES], line_a[SOLVE_SAMPLES], grid_v[SOLVE_SAMPLES], point_v, point_a;
    double speaker_v[SOLVE_SAMPLES];
    /* The same amp on its rated speaker, when another is asked for; NAN otherwise. */
    double rated_watts, rated_plate_percent, rated_screen_percent;
    const char **remark;
    size_t remarks;
    base_arena *arena;
} service_output;

/* NULL with a complaint: no tube at an output transformer, no speaker, an amp that cannot be
 * solved, supply volts that it cannot have. */
service_output *service_output_new(const solve_system *system, const service_output_asked *asked,
                                   base_errors *errors);
void service_output_free(service_output *output);

#endif
