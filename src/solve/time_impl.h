/* Private to solve: an amp in time.
 *
 * The network of signal_impl.h, at full swing: G x + C x' + i(x, t) = 0, where i are the currents
 * of tubes, diodes, rectifiers and test tones. G, C, their pattern and its order are those of the
 * small signals. A rectifier's side is fed by a true sine behind its ohms; its current is a smooth
 * function of the output's volts, so that nothing has to be switched. */
#ifndef GRIDLEAK_TIME_IMPL_H
#define GRIDLEAK_TIME_IMPL_H

#include "signal_impl.h"

/* One heater that warms cathodes: its mean current as a part of the rated, followed with a lag. */
typedef struct time_heat {
    solve_heat heat;
    double lag;    /* s */
    double target; /* where it goes on the present mains */
    double start;  /* what it was at `since` */
} time_heat;

#define TIME_WIRING_F 1e-9 /* at a rectifier's output; common practice, no source */
#define TIME_STRAY_F 1e-12 /* of every node to the chassis: a node left floating stays put */

#define GAMMA 0.58578643762690495 /* 2 - sqrt 2: where in a step its middle is */

/* A tube unit where its curve was last worked out. Nearby its tangent serves. */
typedef struct time_tangent {
    double emission; /* for which it holds; negative: there is none */
    tube_volts volts;
    tube_point point;
} time_tangent;

typedef struct time_step { /* TR-BDF2: from x to `next` by way of `middle` */
    double *x, *middle, *next;
    double *charge, *middle_charge, *next_charge; /* C x there */
    double *flow, *middle_flow, *next_flow;       /* C x' there */
    double *before, *before_middle;               /* the step before, for the guess */
    double h, last_h;                             /* s; last_h 0: there is none */
    double onset_h; /* s; that served from the last onset of a rectifier on */
    bool at_onset;  /* one begins now */
    enum {
        TIME_BETWEEN,
        TIME_TO_ONSET,
        TIME_FROM_ONSET,
        TIME_TO_END
    } place;       /* of the step that is tried */
    double *right; /* of the stage's equation */
} time_step;

struct solve_run {
    const solve_system *system;
    base_arena *arena;
    solve_signal *net; /* G, C and their pattern */
    solve_work *work;  /* the heater layer */
    double *numbers;   /* by slot, as they are now */
    solve_course course;
    double hertz;              /* of the mains */
    bool started_hot, settled; /* no emission changes any more */
    size_t change;             /* the next change of the course */
    double seconds, since;     /* now; when the last change was made */
    time_heat *heat;           /* of each unit, then of each rectifier */
    time_tangent *tangent;     /* by unit */
    double near;               /* V within which a tangent serves */
    double *heeded;            /* by rectifier: until when steps do not pass over its turns */
    double *emission;          /* factor on each unit's current, then on each rectifier's, now */
    solve_drive *drive;        /* by rectifier; `scale` without the heater's part */
    double heater_w;           /* of all heaters and lamps, hot, on the present mains */
    int (*unit_node)[4];       /* by unit: the unknowns of plate, screen, grid and cathode */
    int (*place)[16];          /* by unit: of plate, screen, grid and cathode by the same */
    int (*pair)[4];            /* of each diode, then of each rectifier */
    time_step step;
    double *fixed, *value; /* G + C / (d h); the Jacobian */
    double *residual, *move, *weight;
    double fixed_for; /* the h that `fixed` holds for; 0: none */
    klu_common common;
    klu_symbolic *symbolic;
    klu_numeric *numeric;
    double factors_for; /* the h that the factors hold for */
    bool pivot;         /* the next factors are to choose their pivots anew */
    bool stale;         /* the factors are of another h or of other volts */
    double rate;        /* by which the last Newton steps fell */
    solve_run_count count;
};

/* time_heat.c */
void time_heats_make(solve_run *run);
void time_heats_start(solve_run *run, bool hot);
/* The heaters' targets and the hot watts on the numbers as they are now. */
solve_outcome time_heats_aim(solve_run *run);
double time_heat_now(const solve_run *run, const time_heat *heat, double seconds);
void time_emissions_at(solve_run *run, double seconds);

double time_heater_amperes(const solve_run *run, double volts);

/* time_stamp.c */
void time_places(solve_run *run);
void time_linear(solve_run *run);
void time_drives(solve_run *run);
/* Residual of fixed x + i(x, t) - step.right = 0, and its Jacobian where `slopes` asks for it. */
void time_evaluate(solve_run *run, const double *x, double seconds, bool slopes);
/* For a while every turn is heeded of the rectifiers that turn within the next `most` seconds: a
 * step over one was refused. Those that make no such trouble (a bias supply) are passed over. */
void time_heed(solve_run *run, double most);
/* Seconds until some side of a heeded rectifier begins (`onset`) or ceases to conduct, or `most`.
 */
double time_turn(const solve_run *run, double most, bool *onset);
/* out = C x */
void time_charge(const solve_run *run, const double *x, double *out);

/* time_step.c */
solve_outcome time_settle(solve_run *run);              /* just after a change: first flows */
solve_outcome time_advance(solve_run *run, double end); /* one step, not beyond `end` */

#endif
