/* Private to powerup: one amp followed from the switch to rest and off again. */
#ifndef GRIDLEAK_POWERUP_IMPL_H
#define GRIDLEAK_POWERUP_IMPL_H

#include "service_impl.h"

#define FINE_PER_CYCLE 96 /* looks in a cycle where a waveform counts */

#define START_S 0.2   /* the first surge, drawn in full */
#define REST_S 1.0    /* over which volts at rest are averaged */
#define REST_CYCLES 4 /* over which currents at rest are */

#define SURGE_FUSES 16 /* the most fuses that are followed */
#define OPEN_OHMS 1e10

typedef struct surge surge;
typedef struct follower {
    const solve_system *system;
    const circuit *amp;
    service_powerup *out;
    base_errors *errors;
    solve_run *run;
    solve_work *work;
    double *numbers;    /* by slot, at the start */
    int *standby;       /* slots of the standby switches' contacts, -1 ends */
    int *source;        /* by rectifier of `out`: its part */
    int *fuse;          /* by fuse of `out`: its part */
    int *line;          /* nodes that are plotted, -1 ends */
    double hertz, last; /* of the mains; when the last look was */
    double cycle_s;     /* seconds of this cycle of the mains so far */
    double *cycle_sum;  /* by capacitor: volt seconds in it */
    float *mean;        /* by cycle, by capacitor: the mean of each cycle that is over */
    size_t cycles, cycle_room;
    double *last_v, *last_out;    /* by capacitor, by rectifier: volts at the last look */
    double rest_s, *rest_sum;     /* seconds at rest; by capacitor: volt seconds in them */
    double *rest_out;             /* by rectifier: volt seconds at its output in them */
    double *rest_low, *rest_high; /* by capacitor, in the last cycles at rest */
    double fine_s;                /* seconds of the last cycles */
    double *side_square, *sum_a;  /* by rectifier in them: of one side squared; of all sides */
    double *fuse_square;          /* by fuse */
    surge *surge;                 /* the start that is being tried */
} follower;

/* powerup_parts.c: what is followed. False: no memory, or complained of. */
bool powerup_list(follower *f);
/* Amperes in the fuse now. */
double powerup_fuse_amperes(const follower *f, size_t fuse);
/* Volts across capacitor `index` now. */
double powerup_volts(const follower *f, size_t index);

/* Volts of its output now, above its return. */
double powerup_output(const follower *f, size_t rectifier);

/* powerup_words.c: what is missing and what is past a limit. False: no memory. */
bool powerup_words(follower *f);

/* powerup_plot.c */
bool powerup_plots(follower *f);
void powerup_draw(follower *f);
void powerup_plots_end(follower *f);
/* Amperes now in all sides of a rectifier of `out`; *side (may be NULL) gets the larger one's. */
double powerup_amperes(const follower *f, size_t rectifier, double *side);

#endif
