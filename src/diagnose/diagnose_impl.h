/* Private to diagnose: what its files share. Read priors, catalogue, places and latents first, then
 * engine and predict, gauss and weigh, groups and next; belief puts them together.
 *
 * Letters, as in docs/method.md: y readings, m predicted means, A sensitivities to the latents
 * (each scaled to one standard deviation), C covariance, Q its inverse, r = y - m. */
#ifndef GRIDLEAK_DIAGNOSE_IMPL_H
#define GRIDLEAK_DIAGNOSE_IMPL_H

#include <math.h>

#include "diagnose.h"

/* ---- modes.c, priors.c --------------------------------------------------------------------- */

/* Kinds of part as the priors name them; a tube is named by what it does. */
typedef enum diagnose_sort {
    SORT_RESISTOR,
    SORT_CAPACITOR,
    SORT_POT,
    SORT_SWITCH,
    SORT_JACK,
    SORT_INDUCTOR,
    SORT_DIODE,
    SORT_FUSE,
    SORT_LAMP,
    SORT_TUBE,
    SORT_RECTIFIER_TUBE,
    SORT_WINDING,
    SORT_RECTIFIER,
    SORT_OUTPUT_TRANSFORMER,
    SORT_SPEAKER,
    SORT_MAINS,
    SORT_COUNT
} diagnose_sort;
const char *diagnose_sort_name(diagnose_sort sort);
int diagnose_sort_find(const char *name); /* -1: none */
int diagnose_mode_find(const char *key);
/* Can a part of this sort fail so? The catalogue holds these and no others. */
bool diagnose_can(diagnose_sort sort, diagnose_mode mode);
diagnose_sort diagnose_sort_of(const circuit *amp, int part); /* of part -1: the mains */

/* Numbers of the priors file: spreads between good parts and noises of the bench. */
typedef enum diagnose_number {
    NUMBER_CARBON_DRIFT,
    NUMBER_POT_TURN,
    NUMBER_WINDING_VOLTS,
    NUMBER_WINDING_HALVES,
    NUMBER_WINDING_OHMS,
    NUMBER_HEATER_OHMS,
    NUMBER_RECTIFIER,
    NUMBER_ELECTROLYTIC_LEAK,
    NUMBER_FIRST_CAPACITOR,
    NUMBER_GOOD_GAS,
    NUMBER_LAW_EMISSION,
    NUMBER_LAW_SCREEN,
    NUMBER_STRAY_AMPS,
    NUMBER_MAINS_WANDER,
    NUMBER_TWO_FAULTS,
    NUMBER_WIRING_MISTAKE,
    NUMBER_HALVES_EXCHANGED,
    NUMBER_COUNT
} diagnose_number;
double diagnose_number_of(const diagnose_priors *priors, diagnose_number number);

/* What a weight may depend on. */
typedef struct diagnose_stress {
    diagnose_sort sort;
    const circuit_part *part; /* NULL: the mains */
    double volts;             /* across the part in the healthy amp, NAN: not known */
} diagnose_stress;
/* Relative weight of a failure mode; 0 where the file gives none. */
double diagnose_weight(const diagnose_priors *priors, const diagnose_stress *stress,
                       diagnose_mode mode);

/* ---- places.c ------------------------------------------------------------------------------ */

typedef struct diagnose_place_list {
    diagnose_place *place;
    bool *supply; /* by node: a rectifier's output or a filter capacitor holds it */
    size_t count, room;
} diagnose_place_list;
/* Every place of the chart, without its healthy values. false: no memory. */
bool diagnose_places_list(const solve_system *system, base_arena *arena,
                          diagnose_place_list *places);
/* Effort and risk of a reading; `level`: what a good amp shows from either end to the chassis. */
void diagnose_place_cost(const solve_system *system, const diagnose_place_list *places,
                         diagnose_place *place, double source_ohms, const double level[2]);

/* ---- catalogue.c --------------------------------------------------------------------------- */

/* The healthy amp, solved. */
typedef struct diagnose_bench {
    const solve_system *system;
    const circuit *amp;
    solve_work *work;
    double *numbers; /* healthy, at the mains of the options */
    double *x;
    solve_signal *signal; /* of an amp that is wired otherwise; NULL until asked for */
} diagnose_bench;

typedef struct diagnose_catalogue {
    diagnose_fault *fault;
    size_t count, room;
    bool failed; /* memory */
} diagnose_catalogue;
bool diagnose_catalogue_make(const diagnose_bench *bench, const diagnose_priors *priors,
                             const diagnose_options *options, base_arena *arena,
                             diagnose_catalogue *catalogue);
/* catalogue_tube.c, catalogue_supply.c: the modes of one part. */
typedef struct diagnose_maker {
    const diagnose_bench *bench;
    const diagnose_priors *priors;
    diagnose_catalogue *catalogue;
    diagnose_stress stress;
    int part;
} diagnose_maker;
/* Adds a fault that has no severity yet; NULL where its prior is 0 or memory is out. */
diagnose_fault *diagnose_maker_add(diagnose_maker *maker, diagnose_mode mode, int which);
/* The fault sets this slot to `number` at every severity. */
void diagnose_fault_sets(diagnose_fault *fault, int slot, double number);
/* `count` severities from `from` to `to`, evenly in ln; slot = severity * scale. */
void diagnose_fault_grid(diagnose_fault *fault, int count, double from, double to);
void diagnose_fault_follows(diagnose_fault *fault, int slot, double scale);
int diagnose_maker_slot(const diagnose_maker *maker, solve_what what, int which);
/* Volts between two nodes in the healthy amp, and the ohms that the rest of it shows there. */
double diagnose_bench_volts(const diagnose_bench *bench, int plus, int minus, double *ohms);
void diagnose_catalogue_tube(diagnose_maker *maker, bool rectifies);
void diagnose_catalogue_winding(diagnose_maker *maker);
void diagnose_catalogue_rectifier(diagnose_maker *maker);
/* The mode leaves the whole amp without mains. */
void diagnose_catalogue_dead(diagnose_maker *maker, diagnose_mode mode, int which);
bool diagnose_catalogue_in_primary(const diagnose_maker *maker);

/* ---- latents.c ----------------------------------------------------------------------------- */

/* What varies between good amps: one standard deviation moves each slot's gradient by `by`. */
typedef struct diagnose_latent {
    int slot[2];
    double by[2];
} diagnose_latent;

typedef struct diagnose_latents {
    diagnose_latent *latent;
    int count;
    int first_law; /* from here on: errors of the laws and the drawing, the same in every amp */
} diagnose_latents;
bool diagnose_latents_make(const diagnose_bench *bench, const diagnose_priors *priors,
                           const diagnose_options *options, base_arena *arena,
                           diagnose_latents *latents);
/* ---- engine.c, predict.c ------------------------------------------------------------------- */

typedef struct diagnose_scenes diagnose_scenes;   /* observe_impl.h */
typedef struct diagnose_wirings diagnose_wirings; /* wiring_impl.h */

/* One fault at one severity, or two of them at once, solved. */
typedef struct diagnose_point {
    int fault, severity;
    int second, second_severity; /* another fault beside it; 0: none */
    int wired;                   /* another wiring: its index and 1; 0: as drawn */
    base_arena *arena;           /* where its numbers are kept */
    bool solved, outside;
    bool same_as_healthy; /* to the last digit: it shares the healthy amp's predictions */
    double *x;
    double *bare;         /* by place: predicted with no meter */
    float *source;        /* by heavy place: ohms at this point */
    double *mean;         /* by place: as the meter shows it; NAN until asked for */
    float *a;             /* places x columns; rows valid where mean is not NAN */
    double mains;         /* rms volts at the wall under this fault */
    float a_mains;        /* of the mains latent; 0 where the fault sets it */
    const double **field; /* by scene: what it answers; NULL until asked for */
} diagnose_point;

/* How a meter loads a place of the healthy amp. */
typedef struct diagnose_load {
    double source; /* ohms */
    double taken;  /* V that the meter takes away */
    bool bends;    /* more or less than its source resistance says */
} diagnose_load;

struct diagnose_engine {
    base_arena *arena;
    diagnose_bench bench;
    diagnose_options options;
    double number[NUMBER_COUNT];
    diagnose_catalogue catalogue;
    diagnose_place_list places;
    diagnose_load *load; /* by place: in the healthy amp */
    int *heavy;          /* places of which the meter takes much: their source is kept by point */
    int heavies;
    diagnose_latents latents;
    int columns;           /* of A: latents + DIAGNOSE_CELLS */
    int first_cell;        /* which of them is the first severity within its cell */
    int mains_slot;        /* -1: the amp has none */
    bool mains_varies;     /* then its latent is the first column of A */
    diagnose_point *point; /* [0] is the healthy amp */
    size_t points;
    size_t unsolved;
    int *first_point; /* by fault; -1: no point is its own */
    int charted;      /* directions of the latents that a chart has told of */
    double *shift;    /* by column: mean of the latents after the chart */
    float *told;      /* charted x columns: those directions, orthonormal */
    float *shrink;    /* by direction: how much of it the chart leaves no room for */
    double span;      /* V that a wrong reading may show anything of */
    double *work_numbers, *work_gradient, *work_x;
    float *work_row;
    diagnose_scenes *scenes;   /* NULL until one is asked for */
    diagnose_wirings *wirings; /* NULL until they are looked at */
    diagnose_bench *here;      /* the amp that was visited last */
};

/* What one standard deviation of the severity within its cell adds to ln(number) of a set. */
double diagnose_cell_step(const diagnose_fault *fault, int set);
/* Severities that a point may have: of the fault, and of the second. */
#define DIAGNOSE_CELLS 2
/* One row of A: the latents' columns, and one for each severity within its cell. */
void diagnose_latents_row(const diagnose_engine *engine, const double *gradient,
                          const diagnose_point *point, float *row);
/* Solves the amp with the point's faults, from `start`. false: no memory. */
bool diagnose_point_solve(diagnose_engine *engine, diagnose_point *point, const double *start);
/* Sets `numbers` to those of a point. */
void diagnose_numbers_of(const diagnose_engine *engine, const diagnose_point *point,
                         double *numbers);
/* Mean and row of A of one probe at the point that `diagnose_visit` went to. */
bool diagnose_visit(diagnose_engine *engine, diagnose_point *point);
double diagnose_probe_at(diagnose_engine *engine, const diagnose_point *point,
                         const solve_probe *probe, const diagnose_load *load, float *row);
/* The same by the law alone, without what a chart has told; row may be NULL. */
double diagnose_probe_raw(diagnose_engine *engine, const diagnose_point *point,
                          const solve_probe *probe, const diagnose_load *load, float *row);
diagnose_load diagnose_load_at(diagnose_engine *engine, const double *numbers, const double *x,
                               const solve_probe *probe);
/* Makes rows of `places` (indices, or NULL: all) valid. false: no memory or no solution. */
bool diagnose_rows(diagnose_engine *engine, diagnose_point *point, const int *places, int count);
const float *diagnose_row(const diagnose_engine *engine, const diagnose_point *point, int place);
/* Of two rows: the part of their covariance that comes from the latents. */
double diagnose_covariance(const diagnose_engine *engine, const float *a, const float *b);
double diagnose_range(double volts); /* of a hand meter that holds them */
/* chart.c: conditions what is the same in every amp of this drawing on a chart of one in health.
 * diagnose_chart_apply changes the row to match and returns the shift of its mean. */
bool diagnose_chart_use(diagnose_engine *engine);
double diagnose_chart_apply(const diagnose_engine *engine, float *row);

/* ---- gauss.c ------------------------------------------------------------------------------- */

/* n readings under one hypothesis. q (n x n) and e (n) are room that the caller gives. */
typedef struct diagnose_gauss {
    int n;
    double *q; /* C^-1 */
    double *e; /* Q r */
    double log_density;
} diagnose_gauss;
/* From the covariance c (n x n, symmetric) and r = y - m. false, with log_density -inf, where c is
 * not positive definite even with a little added. */
bool diagnose_gauss_make(diagnose_gauss *gauss, const double *c, const double *r, int n);
/* ln density of y_i given all the others. */
double diagnose_gauss_given(const diagnose_gauss *gauss, int i);
/* Takes reading i out, in place. */
void diagnose_gauss_leave_out(diagnose_gauss *gauss, int i);
/* ln density of the pair y_i, y_k given all the others. */
double diagnose_gauss_pair(const diagnose_gauss *gauss, int i, int k);

/* The same readings when each may be simply wrong, at most two at once. */
typedef struct diagnose_mix {
    double log_density;
    double *term;    /* room for n */
    double *wrong;   /* by reading: the chance that it is wrong */
    double *without; /* by reading: ln density of the others alone */
} diagnose_mix;
/* `chance` of each to be wrong; `broad[i]`: ln density of a wrong reading i. */
void diagnose_mix_make(const diagnose_gauss *gauss, double chance, const double *broad,
                       diagnose_mix *mix);
double diagnose_log_sum(double a, double b); /* ln(e^a + e^b) */

/* Expected information about `group` from one value, in bits: cases with weights (sum 1), each
 * predicting a Gaussian. `groups` counts the labels. NAN: no memory. */
typedef struct diagnose_cases {
    int count, groups;
    const double *weight, *mean, *sd;
    const int *group;
} diagnose_cases;
double diagnose_information(const diagnose_cases *cases);

/* ---- weigh.c: the readings against every hypothesis ---------------------------------------- */

/* One hypothesis at one severity. A hypothesis has a label: a single fault's is its index in the
 * catalogue, a wiring's follows those, and a pair's is diagnose_singles and its own index. */
typedef struct diagnose_case {
    int label, point; /* point -1: something not modelled */
    bool exact;       /* its own sensitivities were used, not the healthy amp's */
    double promise;   /* while screening: ln weight without the determinant */
    double log_weight, weight;
    diagnose_gauss gauss;        /* of the readings; q NULL where not exact */
    double *mean, *variance;     /* by reading, model and noise included; NULL where not exact */
    double *tangent;             /* by reading: mean, or where the amp bends what its tangent at the
                                    top of the posterior comes to with all latents nought */
    double cell[DIAGNOSE_CELLS]; /* where in its cell each severity stands, in deviations */
    double cell_variance[DIAGNOSE_CELLS]; /* of that, given the readings; 1 before any */
    double
        line[DIAGNOSE_CELLS]; /* the same by the drawn amp's own slopes, which reach other places */
    double *wrong;            /* by reading: chance that it is wrong; NULL where not exact */
    double *without;          /* by reading: ln weight without it */
    const float **row;        /* by reading */
} diagnose_case;

/* Two faults at once. */
typedef struct diagnose_two {
    int fault[2];
} diagnose_two;

typedef struct diagnose_told diagnose_told; /* clue.c */

typedef struct diagnose_run {
    diagnose_engine *engine;
    const diagnose_readings *readings;
    base_arena *arena; /* scratch */
    int n;             /* readings, and one more for a measured mains */
    int given;         /* readings->count */
    int carrier;       /* the reading without which the leader would not lead; -1: there is none */
    int *place;        /* by reading: the place with the same probe, or -1 */
    double *y, *noise, *broad; /* noise: variance of the meter */
    diagnose_load *load;
    int *heavy;                /* by reading: index of its nodes among the heavy places, or -1 */
    double *healthy;           /* mean in the healthy amp */
    const float **healthy_row; /* by reading */
    struct diagnose_ask *ask;  /* by reading; its test NULL where the reading is plain */
    int asks;                  /* that are not plain */
    struct diagnose_ask *play; /* readings in play, by which suspects may be told apart */
    int plays;
    diagnose_told *told; /* symptoms and findings, made ready */
    int tolds;
    bool costly;                /* some must be worked out at each point */
    bool roughly;               /* while only what is cheap is looked at */
    double *predicted, *spread; /* by reading: of the leading hypothesis */
    diagnose_case *cases;       /* all that are not hopeless */
    int count;
    diagnose_two *two; /* pairs that are weighed */
    int twos;
    diagnose_point *extra; /* the run's own points, behind the engine's */
    int extras;
    bool wired; /* mistakes of wiring are looked at */
} diagnose_run_state;
#define DIAGNOSE_SCREENED 40 /* readings that the screening looks at: those that depart most */

/* Room for one evaluation, used again and again. */
typedef struct diagnose_weigher {
    double *c, *r, *base; /* n x n, n, n x n: base is the covariance of good amps */
    diagnose_mix mix;
    int screened, chosen[DIAGNOSE_SCREENED];
    double broad[DIAGNOSE_SCREENED];
} diagnose_weigher;

/* evidence.c: the run's arrays from its readings. false: no memory. */
bool diagnose_evidence(diagnose_run_state *run, base_errors *errors);
bool diagnose_asked(const diagnose_run_state *run, int i); /* is reading i other than plain? */
/* Of rows of readings i and k: what of their covariance comes from the latents. */
double diagnose_shared(const diagnose_run_state *run, int i, const float *a, int k, const float *b);
/* Variance of the model's error at reading i. */
double diagnose_error_of(const diagnose_run_state *run, int i, double mean);
/* Reading i as the meter shows it. */
double diagnose_shows(const diagnose_run_state *run, int i, double entered);
/* Fills the cases with weights that sum to 1. false: no memory. */
bool diagnose_weigh(diagnose_run_state *run, base_errors *errors);
/* Roughly what the meter shows at a point; *unsure: one standard deviation of that. */
double diagnose_roughly(const diagnose_run_state *run, const diagnose_point *point, int i,
                        double *unsure);
/* log_weight and promise of a point by the screened readings alone. */
void diagnose_screen(const diagnose_run_state *run, const diagnose_point *point,
                     diagnose_weigher *weigher, diagnose_gauss *gauss, diagnose_case *one);
/* By all readings, with the point's own sensitivities. false: no memory or no solution. */
bool diagnose_weigh_exactly(diagnose_run_state *run, diagnose_case *one, diagnose_weigher *weigher);
/* The same from rows, mean and tangent that are at hand. */
bool diagnose_weigh_rows(diagnose_run_state *run, diagnose_case *one, diagnose_weigher *weigher);
/* bend.c: weighs anew, with the amp linearised at the top of the posterior, what may matter and
 * bends. false: no memory. */
bool diagnose_bend(diagnose_run_state *run, diagnose_weigher *weigher);
/* Weights that sum to 1, heaviest first. */
void diagnose_normalise(diagnose_run_state *run);
/* Are the readings left unexplained by what was weighed so far? */
bool diagnose_unexplained(const diagnose_run_state *run);
/* wiring.c: adds leads on wrong nodes, where the faults leave something unexplained or the options
 * ask for it. false: no memory. */
bool diagnose_wiring_weigh(diagnose_run_state *run, diagnose_weigher *weigher);
/* Room for `more` points of the run's own, behind those it has; for what a case holds; cases behind
 * those of the run. false: no memory. */
bool diagnose_extras_room(diagnose_run_state *run, int more);
bool diagnose_case_room(diagnose_run_state *run, diagnose_case *one);
bool diagnose_cases_append(diagnose_run_state *run, const diagnose_case *cases, int count);
/* pairs.c: adds two faults at once, where the single ones leave something unexplained or the
 * options ask for it. false: no memory. */
bool diagnose_pairs_weigh(diagnose_run_state *run, diagnose_weigher *weigher);
size_t diagnose_labels(const diagnose_run_state *run);
/* A case's point: of the engine, or one of the run's own behind those. */
diagnose_point *diagnose_point_of(const diagnose_run_state *run, int point);
/* Variance of what a meter shows, tolerance and model apart. */
double diagnose_noise(const diagnose_engine *engine, const diagnose_meter *meter, double volts,
                      double resolution, double source_ohms);
double diagnose_digit(double volts);
double diagnose_model_error(double spread, double volts, double healthy); /* a variance */
double diagnose_wander(const diagnose_engine *engine, const float *row);
/* Volts between the probes at a point with no meter. */
double diagnose_bare(const diagnose_engine *engine, const diagnose_point *point,
                     const solve_probe *probe);

/* ---- groups.c, next.c, verdict.c
 * ------------------------------------------------------------------- */

/* Gives each label a group; suspects and pairs are sorted. false: no memory. */
bool diagnose_group_up(diagnose_run_state *run, diagnose_belief *belief, int *group_of_label);
/* `doubt`: by reading, how much it asks to be taken again, 0..1. */
bool diagnose_next_places(diagnose_run_state *run, diagnose_belief *belief,
                          const int *group_of_label, const double *doubt);
/* next_tests.c: what else to try. false: no memory. */
bool diagnose_next_tests(diagnose_run_state *run, diagnose_belief *belief);
/* order.c: by worth, but never a riskier one first where a safer one gives DIAGNOSE_ENOUGH of that.
 */
#define DIAGNOSE_ENOUGH 0.8
void diagnose_order(void *choices, size_t count, size_t size, double (*worth)(const void *),
                    int (*risk)(const void *));
/* Verdict and reason; sets run->carrier. */
bool diagnose_judge(diagnose_run_state *run, diagnose_belief *belief, const int *group_of_label);

/* ---- wiring.c ------------------------------------------------------------------------------ */

/* Finds and solves every mistake of wiring, once for an engine. false: no memory. */
bool diagnose_wirings_make(diagnose_engine *engine);
void diagnose_wirings_free(diagnose_engine *engine);
/* Their points forget what they answered to a scene. */
void diagnose_wirings_drop(diagnose_engine *engine, int scene);
/* Labels that are no pairs: the catalogue's, then the wirings'. */
int diagnose_singles(const diagnose_engine *engine);
/* The point of a wiring, or of a fault at a severity. */
const diagnose_point *diagnose_single_point(const diagnose_engine *engine, int label, int severity);
/* The amp that the point is of. NULL: no memory. */
diagnose_bench *diagnose_bench_of(diagnose_engine *engine, const diagnose_point *point);
/* Where a probe then stands that is put to the place of that name: as `drawn`, or in `room`. */
const solve_probe *diagnose_wired_probe(diagnose_engine *engine, const diagnose_point *point,
                                        const char *at, const solve_probe *drawn,
                                        solve_probe *room);
/* Are pins of a tube on other nodes there? */
bool diagnose_pins_moved(const diagnose_engine *engine, const diagnose_point *point);
const char *diagnose_wiring_words(const diagnose_engine *engine, int index);

/* ---- labels.c: hypotheses by their labels --------------------------------------------------- */

/* The likeliest member of a group. */
int diagnose_leading_label(const diagnose_run_state *run, const diagnose_belief *belief,
                           size_t group);
/* "C4 leaky, some 2M"; of a pair "... and ..." */
const char *diagnose_label_words(const diagnose_run_state *run, const diagnose_belief *belief,
                                 int label);
/* "with C4 leaking", "in a good amp"; NULL: no memory */
const char *diagnose_label_with(const diagnose_run_state *run, int label, base_arena *arena);
/* The pairs of the belief from those of the run. false: no memory. */
bool diagnose_pairs_list(diagnose_run_state *run, diagnose_belief *belief);
/* ln of a case's severity, where it stands in its cell; which: of the fault, or of the second; 0
 * where it has none. */
double diagnose_severity(const diagnose_run_state *run, const diagnose_case *one, int which);

/* ---- words.c, tell.c: texts for the technician, in `arena`; NULL: no memory
 * ------------------------- */

const char *diagnose_words_part(const diagnose_engine *engine, const diagnose_fault *fault);
/* "leaky, some 2M" */
const char *diagnose_words_what(const diagnose_engine *engine, const diagnose_fault *fault,
                                double severity, base_arena *arena);
/* "with C4 leaking", "in a good amp" */
const char *diagnose_words_with(const diagnose_engine *engine, const diagnose_fault *fault,
                                base_arena *arena);
char *diagnose_words_volts(double volts, char text[24]);
/* A value of that reading, as the technician would say it. */
char *diagnose_words_compare(const diagnose_compare *compare, double value, char text[32]);
/* What would tell a group's members apart; *text NULL where nothing needs to. false: no memory. */
bool diagnose_words_tell(const diagnose_run_state *run, const diagnose_belief *belief, size_t group,
                         const char **text);

#endif
