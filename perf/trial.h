/* Trials of the inference: an amp of the library with its engine, the truth beside it, and cases of
 * one fault each. Shared by faults.c and steps.c. */
#ifndef GRIDLEAK_PERF_TRIAL_H
#define GRIDLEAK_PERF_TRIAL_H

#include "truth.h"

#include "files.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <stdio.h>

#define TRIAL_MAINS_SPREAD 0.03 /* as diagnose_defaults has it for mains that was not measured */

typedef struct trial_settings {
    const char *amp; /* NULL: all */
    long cases, seed;
    double law; /* how far the other law lies; 0: the same law */
    bool chart; /* give the inference a chart of the true kind in health */
    bool verbose;
    bool by_prior; /* draw faults as often as the priors say, nothing wrong among them */
    double wrong;  /* chance that a reading is simply wrong */
    bool asked;    /* look at pairs always */
} trial_settings;

typedef struct trial_amp {
    const char *name;
    circuit *circuit, *true_circuit;
    solve_system *system, *true_system;
    diagnose_engine *engine;
    truth truth;
    size_t places;
    gsl_matrix *good;        /* covariance of the chart of good amps, factored */
    double *healthy, *shown; /* by place: mean of good amps; the nominal amp */
    double *volts;           /* by place: room for one chart */
    double *weight;          /* by part: sum of its faults' priors */
} trial_amp;

/* One case: the fault, at which severity of its grid, and how many deviations the whole chart of
 * an otherwise nominal amp then lies from those of good amps. The truth is left solved. */
typedef struct trial_case {
    const diagnose_fault *fault;
    int index, severity;
    double far;
} trial_case;

static inline void trial_die(const base_errors *errors, const char *what) {
    fprintf(stderr, "%s\n", what);
    for (size_t i = 0; i < base_errors_count(errors); i++) {
        const base_error *error = base_errors_at(errors, i);
        if (error->code != BASE_SUSPICIOUS)
            fprintf(stderr, "%s:%d:%d: %s\n", error->file ? error->file : "", error->line,
                    error->column, error->cause);
    }
    exit(1);
}

/* ---- the library --------------------------------------------------------------------------- */

static inline tube_library *trial_tubes(base_errors *errors) {
    tube_library *tubes = tube_library_new();
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; tubes && i < count; i++)
        if (strncmp(files[i].name, "tubes/", 6) == 0)
            tube_library_add(tubes, files[i].name, files[i].data, files[i].length, errors);
    return tubes;
}

static inline diagnose_priors *trial_priors(base_errors *errors) {
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(files[i].name, "priors/faults.yaml") == 0)
            return diagnose_priors_read(files[i].name, files[i].data, files[i].length, errors);
    return NULL;
}

/* ---- another tube law
 * ---------------------------------------------------------------------------- */

static inline double trial_current(const tube_unit *unit, const tube_volts *volts) {
    tube_point point;
    tube_current(unit, &TUBE_BOGEY, volts, &point);
    return point.plate;
}

/* Another shape: the bend into cut-off, contact potential, mu, knee and the screen's share all
 * differ; the perveance is such that a published point keeps its current within 5 %. */
static inline void trial_bend(tube_unit *unit, const tube_fit *fit, double size,
                              base_random *random) {
    tube_curve *curve = &unit->curve;
    tube_volts volts = {fit->plate_v, isfinite(fit->screen_v) ? fit->screen_v : 0, fit->grid_v};
    double before = trial_current(unit, &volts);
    double side = base_random_unit(random) < 0.5 ? -1 : 1;
    curve->kp *= exp(0.4 * size * side);
    curve->kvb *= exp(0.4 * size * base_random_normal(random));
    curve->contact += 0.15 * size * base_random_normal(random);
    curve->mu *= exp(0.04 * size * base_random_normal(random));
    curve->share *= exp(0.15 * size * base_random_normal(random));
    curve->knee *= exp(0.2 * size * base_random_normal(random));
    double after = trial_current(unit, &volts);
    if (before > 0 && after > 0) curve->perveance *= before / after;
    curve->perveance *= exp(0.025 * size * base_random_normal(random));
}

static inline const tube_fit *trial_fit_of(const tube_type *type, int unit) {
    for (size_t f = 0; f < type->fits; f++) {
        const tube_fit *fit = &type->fit[f];
        bool own = fit->unit < 0 || fit->unit == unit;
        if (own && !fit->triode && isfinite(fit->grid_v)) return fit;
    }
    return NULL;
}

/* The library is this program's own and no other reads it, so its types may be changed. */
static inline void trial_bend_library(tube_library *tubes, const trial_settings *settings) {
    base_random random;
    base_random_seed(&random, (uint64_t)settings->seed * 7919 + 17);
    for (size_t i = 0; i < tube_library_count(tubes); i++) {
        tube_type *type = (tube_type *)tube_library_at(tubes, i);
        for (int unit = 0; unit < type->units; unit++) {
            const tube_fit *fit = trial_fit_of(type, unit);
            if (type->unit[unit].kind != TUBE_DIODE && fit)
                trial_bend(&type->unit[unit], fit, settings->law, &random);
        }
    }
}

/* ---- reading
 * ----------------------------------------------------------------------------------------- */

/* Adds the reading of one place, as the meter shows it now, to what was read. */
static inline void trial_read(trial_amp *amp, size_t place, double wrong,
                              diagnose_readings *readings, base_errors *errors) {
    const diagnose_place *at = diagnose_place_at(amp->engine, place);
    double volts = truth_read(&amp->truth, &at->probe);
    if (base_random_unit(&amp->truth.random) < wrong)
        volts = round(400 * base_random_unit(&amp->truth.random));
    double digit = truth_digit(volts);
    int decimals = digit < 0.005 ? 3 : digit < 0.05 ? 2 : digit < 0.5 ? 1 : 0;
    char text[128];
    snprintf(text, sizeof text, "%s=%.*f", at->at, decimals, volts);
    if (diagnose_readings_add(readings, amp->system, text, NULL, errors) != BASE_OK)
        trial_die(errors, text);
}

static inline diagnose_readings *trial_chart(trial_amp *amp, double wrong, base_errors *errors) {
    diagnose_readings *readings = diagnose_readings_new();
    if (!readings) trial_die(errors, "no memory");
    for (size_t i = 0; i < amp->places; i++)
        trial_read(amp, i, wrong, readings, errors);
    return readings;
}

static inline void trial_nominal(trial_amp *amp) {
    memcpy(amp->truth.numbers, solve_nominal(amp->true_system),
           solve_slots(amp->true_system) * sizeof(double));
}

/* ---- which faults show
 * ---------------------------------------------------------------------------------- */

static inline void trial_clean(trial_amp *amp, double *volts) {
    for (size_t i = 0; i < amp->places; i++)
        volts[i] = truth_clean(&amp->truth, &diagnose_place_at(amp->engine, i)->probe);
}

/* Mean and factored covariance of the charts of 400 good amps: the truth's own spread, by drawing.
 */
static inline void trial_learn_good(trial_amp *amp) {
    enum { DRAWS = 400 };
    size_t n = amp->places, drawn = 0;
    double *all = calloc(DRAWS * n, sizeof *all);
    for (int d = 0; d < DRAWS; d++) {
        truth_sample(&amp->truth, TRIAL_MAINS_SPREAD);
        if (!truth_solve(&amp->truth)) continue;
        for (size_t i = 0; i < n; i++)
            all[drawn * n + i] = truth_read(&amp->truth, &diagnose_place_at(amp->engine, i)->probe);
        drawn++;
    }
    for (size_t i = 0; i < n; i++)
        for (size_t d = 0; d < drawn; d++)
            amp->healthy[i] += all[d * n + i] / (double)drawn;
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < n; k++) {
            double sum = i == k ? 1e-4 + 1e-5 * amp->healthy[i] * amp->healthy[i] : 0;
            for (size_t d = 0; d < drawn; d++)
                sum += (all[d * n + i] - amp->healthy[i]) * (all[d * n + k] - amp->healthy[k]) /
                       (double)drawn;
            gsl_matrix_set(amp->good, i, k, sum);
        }
    gsl_linalg_cholesky_decomp1(amp->good);
    free(all);
}

/* How many deviations a chart lies from those of good amps. */
static inline double trial_shift(const trial_amp *amp, const double *volts) {
    gsl_vector *z = gsl_vector_alloc(amp->places);
    for (size_t i = 0; i < amp->places; i++)
        gsl_vector_set(z, i, volts[i] - amp->shown[i]);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, amp->good, z);
    double length = gsl_blas_dnrm2(z);
    gsl_vector_free(z);
    return length;
}

/* Puts the fault into a random amp and solves it; false where it has no solution. */
static inline bool trial_inject(trial_amp *amp, size_t index, trial_case *one) {
    truth *truth = &amp->truth;
    one->fault = diagnose_fault_at(amp->engine, index);
    one->index = (int)index;
    base_random kept = truth->random;
    trial_nominal(amp);
    one->severity = truth_fault(truth, one->fault);
    one->far = INFINITY;
    if (truth_solve(truth)) {
        trial_clean(amp, amp->volts);
        one->far = trial_shift(amp, amp->volts);
    }
    truth_sample(truth, TRIAL_MAINS_SPREAD);
    base_random after = truth->random;
    truth->random = kept; /* the same severity again */
    truth_fault(truth, one->fault);
    truth->random = after;
    return truth_solve(truth);
}

/* ---- one amp
 * ------------------------------------------------------------------------------------------------
 */

static inline void trial_engine(trial_amp *amp, const diagnose_priors *priors,
                                const diagnose_readings *chart, base_errors *errors) {
    diagnose_options options = diagnose_defaults();
    options.printed = chart == NULL && amp->true_system == amp->system;
    options.chart = chart;
    diagnose_engine_free(amp->engine);
    amp->engine = diagnose_engine_new(amp->system, priors, &options, errors);
    if (!amp->engine) trial_die(errors, "no engine");
    amp->places = diagnose_places(amp->engine);
}

static inline void trial_take_room(trial_amp *amp) {
    amp->healthy = calloc(amp->places, sizeof(double));
    amp->shown = calloc(amp->places, sizeof(double));
    amp->volts = calloc(amp->places, sizeof(double));
    amp->weight = calloc(circuit_parts(amp->circuit), sizeof(double));
    amp->good = gsl_matrix_alloc(amp->places, amp->places);
    for (size_t f = 2; f < diagnose_faults(amp->engine); f++) {
        const diagnose_fault *fault = diagnose_fault_at(amp->engine, f);
        if (fault->part >= 0) amp->weight[fault->part] += fault->prior;
    }
}

static inline void trial_open(trial_amp *amp, const cli_file *file, tube_library *const tubes[2],
                              base_errors *errors) {
    *amp = (trial_amp){.name = file->name + strlen("amps/")};
    amp->circuit = circuit_read(file->name, file->data, file->length, tubes[0], errors);
    amp->system = amp->circuit ? solve_system_new(amp->circuit, errors) : NULL;
    if (!amp->system) trial_die(errors, file->name);
    amp->true_system = amp->system;
    if (tubes[1] == tubes[0]) return;
    amp->true_circuit = circuit_read(file->name, file->data, file->length, tubes[1], errors);
    amp->true_system = amp->true_circuit ? solve_system_new(amp->true_circuit, errors) : NULL;
    if (!amp->true_system) trial_die(errors, file->name);
}

static inline void trial_prepare(trial_amp *amp, const diagnose_priors *priors,
                                 const trial_settings *settings, base_errors *errors) {
    trial_engine(amp, priors, NULL, errors);
    if (!truth_open(&amp->truth, amp->true_system, (uint64_t)settings->seed))
        trial_die(errors, "the true amp has no healthy point");
    trial_nominal(amp);
    truth_solve(&amp->truth);
    if (settings->chart) {
        diagnose_readings *chart = trial_chart(amp, 0, errors);
        trial_engine(amp, priors, chart, errors);
        diagnose_readings_free(chart);
    }
    trial_take_room(amp);
    trial_clean(amp, amp->shown);
    trial_learn_good(amp);
}

static inline void trial_close(trial_amp *amp) {
    truth_close(&amp->truth);
    diagnose_engine_free(amp->engine);
    if (amp->true_system != amp->system) solve_system_free(amp->true_system);
    solve_system_free(amp->system);
    circuit_free(amp->true_circuit);
    circuit_free(amp->circuit);
    gsl_matrix_free(amp->good);
    free(amp->healthy);
    free(amp->shown);
    free(amp->volts);
    free(amp->weight);
}

/* ---- what was found
 * -------------------------------------------------------------------------------------------- */

/* Rank of the first group that holds the part, the healthy one not counted as finding it; 99 where
 * none does. */
static inline int trial_rank(const trial_amp *amp, const diagnose_belief *belief, int part) {
    int best = 99, nothing = -1;
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].fault == 0) nothing = belief->suspect[i].group;
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        if (suspect->group == nothing || suspect->fault < 2) continue;
        if (diagnose_fault_at(amp->engine, (size_t)suspect->fault)->part != part) continue;
        if (suspect->group < best) best = suspect->group;
    }
    return best;
}

/* Runs `each` on every amp that the settings name. */
static inline void trial_all(const trial_settings *settings,
                             void (*each)(trial_amp *amp, const trial_settings *settings,
                                          void *context),
                             void *context) {
    base_errors *errors = base_errors_new();
    tube_library *tubes[2] = {trial_tubes(errors), NULL};
    tubes[1] = settings->law > 0 ? trial_tubes(errors) : tubes[0];
    if (settings->law > 0) trial_bend_library(tubes[1], settings);
    diagnose_priors *priors = trial_priors(errors);
    if (!priors) trial_die(errors, "no priors");
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; i < count; i++) {
        if (strncmp(files[i].name, "amps/", 5) != 0) continue;
        if (settings->amp && !strstr(files[i].name, settings->amp)) continue;
        trial_amp amp;
        trial_open(&amp, &files[i], tubes, errors);
        trial_prepare(&amp, priors, settings, errors);
        each(&amp, settings, context);
        trial_close(&amp);
    }
    diagnose_priors_free(priors);
    if (tubes[1] != tubes[0]) tube_library_free(tubes[1]);
    tube_library_free(tubes[0]);
    base_errors_free(errors);
}

#endif
