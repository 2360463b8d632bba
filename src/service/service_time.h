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
    double working_v, settled_s;                     /* at its first capacitor, or its output */
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

#endif
