/* Private to diagnose: observables beyond plain DC volts.
 *
 * A scene is an amp made ready for readings of one kind: what was done to it, and the signal that
 * goes in. Each point's answer to a scene (its field) is worked out when first asked for and kept,
 * and serves every place that is read in it. An ask is one place in a scene.
 *
 * Volts of a signal or of hum, ohms and farads enter as logarithms; DC volts as they are. */
#ifndef GRIDLEAK_DIAGNOSE_OBSERVE_IMPL_H
#define GRIDLEAK_DIAGNOSE_OBSERVE_IMPL_H

#include "diagnose_impl.h"

/* ---- action.c, test.c ---------------------------------------------------------------------- */

base_code diagnose_action_read(const solve_system *system, const char *written, base_place at,
                               diagnose_action *action, base_errors *errors);
/* Changes the numbers as the action does. */
void diagnose_action_apply(const diagnose_action *action, double *numbers);
bool diagnose_action_same(const diagnose_action *a, const diagnose_action *b);
const char *diagnose_does_name(diagnose_does does); /* "pulled" */
int diagnose_first_input(const circuit *amp);       /* a jack, or -1 */
/* A signal in at a jack; false: none can go in there. */
bool diagnose_test_signal(const solve_system *system, int jack, double hertz, double drive,
                          diagnose_test *test);

/* ---- scene.c ------------------------------------------------------------------------------- */

#define DIAGNOSE_SCENES 32
#define LEVEL_SPREAD 0.04 /* of a generator's volts, the same in every reading of its signal */

/* What varies between good amps and shows at AC alone, beside the latents of DC: capacitors, their
 * series ohms, how a tube's currents follow its grid. */
typedef struct diagnose_extra {
    int slot;       /* -1: a tube unit's gain */
    int part, unit; /* of the tube */
    double by;      /* of its logarithm, one standard deviation */
} diagnose_extra;

typedef struct diagnose_scene diagnose_scene;
struct diagnose_scenes {
    base_arena *arena;
    solve_signal *signal;
    double *numbers, *x, *gradient;
    double _Complex *volts;
    diagnose_scene *scene[DIAGNOSE_SCENES];
    unsigned turn; /* of the run that asks */
    int *varied;   /* slots whose numbers vary between good amps */
    int varieds;
    diagnose_extra *extra;
    int extras;
    solve_tremolo tremolo; /* of the healthy amp */
    bool tremolo_sought;
    int wide; /* columns of a row that has the extras too, and one for the signal's own level */
};

/* The engine's scenes; made when first asked for. NULL: no memory. */
diagnose_scenes *diagnose_scenes_of(diagnose_engine *engine);
void diagnose_scenes_free(diagnose_scenes *scenes);
/* A run begins: scenes of earlier ones may make room. */
void diagnose_scenes_turn(diagnose_engine *engine);

/* ---- observe.c ----------------------------------------------------------------------------- */

typedef struct diagnose_ask {
    bool lost; /* the healthy amp has no answer */
    const diagnose_test *test;
    const solve_probe *probe;
    diagnose_scene *scene; /* NULL: alone, which needs none */
    double load;           /* what the meter's load leaves of it */
    double floor;          /* V; what no meter shows beneath, and what there is besides */
    double least, most;    /* ohms or farads beyond which a meter shows no more */
    double healthy;        /* in the logarithm where it enters so */
    const float *row;      /* of the healthy amp, `wide` long */
    double source;         /* ohms behind the place, in the healthy amp; DC only */
    double *gradient;      /* by slot: of `healthy` by ln(number), or by the number of a gas */
    double *gain;          /* by extra */
    diagnose_load dc;      /* DC under an action: how the meter loads it */
} diagnose_ask;

/* Makes an ask ready, in `arena`. false: no memory, or the healthy amp has no answer. */
bool diagnose_ask_open(diagnose_engine *engine, const diagnose_test *test, const solve_probe *probe,
                       base_arena *arena, diagnose_ask *ask);
/* How a value enters: its logarithm, but for DC volts. */
double diagnose_ask_enters(const diagnose_ask *ask, double value);
double diagnose_ask_shows(const diagnose_ask *ask, double entered); /* and back */
/* What is shown at a point, as it enters. NAN: it has no solution there. Plain DC is not asked
 * so. */
double diagnose_ask_mean(diagnose_engine *engine, const diagnose_ask *ask, diagnose_point *point);
/* The same with its row of A, `wide` long. */
double diagnose_ask_row(diagnose_engine *engine, const diagnose_ask *ask, diagnose_point *point,
                        float *row);
/* Variances: of the meter, of the model. `value` is what the meter showed. */
double diagnose_ask_noise(const diagnose_engine *engine, const diagnose_ask *ask,
                          const diagnose_meter *meter, double value, double resolution);
double diagnose_ask_model_error(const diagnose_engine *engine, const diagnose_ask *ask,
                                double mean);
/* ln density of a reading that is simply wrong. */
double diagnose_ask_broad(const diagnose_engine *engine, const diagnose_ask *ask);
/* Of two rows of asks: the part of their covariance that comes from the latents. */
double diagnose_ask_covariance(const diagnose_engine *engine, const float *a, const float *b);

/* play.c: the run's readings in play. false: no memory. */
#define DIAGNOSE_PLAYS 24
bool diagnose_play(diagnose_run_state *run);

/* scene.c, for observe.c */
bool diagnose_scene_find(diagnose_engine *engine, const diagnose_test *test,
                         const solve_probe *probe, diagnose_scene **scene);
/* The point's field; NULL: no memory or no solution. */
const double *diagnose_scene_field(diagnose_engine *engine, diagnose_scene *scene,
                                   diagnose_point *point);
/* The healthy amp's field with one varied slot, or one extra's gain (slot -1), a little larger, and
 * by how much. */
const double *diagnose_scene_beside(const diagnose_scene *scene, int varied);
double diagnose_scene_step(const diagnose_engine *engine, int slot);
/* Volts or ohms that a field shows at a probe. */
double diagnose_scene_value(const diagnose_engine *engine, const diagnose_scene *scene,
                            const double *field, const solve_probe *probe);
/* What a meter of `ohms` and `farads` leaves of a signal or of hum at the probe's first lead. */
double diagnose_scene_load(diagnose_engine *engine, diagnose_scene *scene,
                           const solve_probe *probe);
/* Solves the scene at a point, leaving work_numbers, work_x and the factors there. */
bool diagnose_scene_visit(diagnose_engine *engine, const diagnose_scene *scene,
                          diagnose_point *point);

#endif
