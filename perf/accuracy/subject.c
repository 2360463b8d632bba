#include "subject.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define GOOD_DRAWS 300

const char *const kind_names[KINDS] = {"single", "healthy", "outside", "entry", "pair"};

/* ---- variations of the drawing ------------------------------------------------------------- */

static char *edited(const char *text, const char *name, const char *value, base_errors *errors) {
    circuit_edit edit = {CIRCUIT_CHANGE, name, "value", value};
    return circuit_edit_text(text, strlen(text), &edit, errors);
}

/* Three resistors in ten stand one or two steps of the series up or down. */
static char *vary(const circuit *amp, const char *text, base_random *random, base_errors *errors) {
    char *now = strdup(text);
    for (size_t i = 0; now && i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind != CIRCUIT_RESISTOR || part->value < 1e3) continue;
        if (base_random_unit(random) > 0.3) continue;
        double factor = exp(0.4 * (base_random_unit(random) - 0.5));
        char value[32];
        base_value_write(base_value_nearest(part->value * factor, 24), BASE_OHMS, value,
                         sizeof value);
        char *next = edited(now, part->name, value, errors);
        free(now);
        now = next;
    }
    return now;
}

static circuit *read_amp(const subject_options *options, base_errors *errors) {
    circuit *amp =
        circuit_read(options->file, options->text, options->length, options->tubes, errors);
    if (!amp || options->variation == 0) return amp;
    base_random random;
    base_random_seed(&random, options->seed * 1000003 + (uint64_t)options->variation);
    char *text = vary(amp, options->text, &random, errors);
    circuit_free(amp);
    amp = text ? circuit_read(options->file, text, strlen(text), options->tubes, errors) : NULL;
    free(text);
    return amp;
}

/* ---- what good amps read ------------------------------------------------------------------- */

static bool solve_truth(subject *subject, truth *truth, bool random) {
    return subject->own ? own_solve(subject, truth, random) : other_solve(subject, truth, random);
}

static truth *truth_room(const subject *subject) {
    truth *truth = calloc(1, sizeof *truth);
    truth->volts = calloc(subject->places, sizeof(double));
    truth->by_mains = calloc(subject->places, sizeof(double));
    truth->error = calloc(subject->places, sizeof(double));
    for (int k = 0; k < 2; k++)
        truth->fault[k] = truth->asked[k] = -1;
    return truth;
}

void truth_free(truth *truth) {
    free(truth->volts);
    free(truth->by_mains);
    free(truth->error);
    free(truth);
}

/* The covariance of `n` places of all draws, factored; a little is added for the meter. */
static double *factor_good(const subject *subject, const double *draws, int count, bool all) {
    size_t n = all ? subject->places : subject->pins, at = 0, index[subject->places + 1];
    for (size_t i = 0; i < subject->places; i++)
        if (all || subject->is_pin[i]) index[at++] = i;
    double *good = calloc(n * n, sizeof *good);
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k <= i; k++) {
            double sum = i == k ? 1e-4 + 4e-5 * pow(subject->shown[index[i]], 2) : 0;
            for (int d = 0; d < count; d++) {
                const double *row = draws + (size_t)d * subject->places;
                sum += row[index[i]] * row[index[k]] / count;
            }
            good[i * n + k] = good[k * n + i] = sum;
        }
    gsl_matrix_view view = gsl_matrix_view_array(good, n, n);
    gsl_linalg_cholesky_decomp1(&view.matrix);
    return good;
}

/* Draws of good amps about the drawing, by the truth's own lights. */
static bool learn_good(subject *subject, const subject_options *options) {
    int wanted = options->draws > 0 ? options->draws : GOOD_DRAWS;
    truth *truth = truth_room(subject);
    double *draws = calloc((size_t)wanted * subject->places, sizeof *draws);
    int count = 0;
    truth->kind = KIND_HEALTHY;
    base_random_seed(&truth->random, options->seed + 77);
    bool good = solve_truth(subject, truth, false);
    memcpy(subject->shown, truth->volts, subject->places * sizeof(double));
    for (int d = 0; good && d < wanted; d++) {
        base_random_bits(&truth->random);
        if (!solve_truth(subject, truth, true)) continue;
        for (size_t i = 0; i < subject->places; i++)
            draws[(size_t)count * subject->places + i] = truth->volts[i] - subject->shown[i];
        count++;
    }
    good = good && count > wanted / 2;
    for (int set = 0; good && set < 2; set++)
        subject->good[set] = factor_good(subject, draws, count, set == 1);
    free(draws);
    truth_free(truth);
    return good;
}

/* How many deviations these volts lie from those of good amps. */
static double deviations(const subject *subject, const double *volts, bool all) {
    size_t n = all ? subject->places : subject->pins, at = 0;
    gsl_vector *z = gsl_vector_alloc(n);
    for (size_t i = 0; i < subject->places; i++)
        if (all || subject->is_pin[i]) gsl_vector_set(z, at++, volts[i] - subject->shown[i]);
    gsl_matrix_const_view view = gsl_matrix_const_view_array(subject->good[all], n, n);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &view.matrix, z);
    double length = gsl_blas_dnrm2(z);
    gsl_vector_free(z);
    return length;
}

/* ---- opening ------------------------------------------------------------------------------- */

static bool make_engine(subject *subject, const subject_options *options,
                        const diagnose_readings *chart, base_errors *errors) {
    diagnose_options settings = diagnose_defaults();
    settings.printed = false;
    settings.chart = chart;
    diagnose_engine_free(subject->engine);
    subject->engine = diagnose_engine_new(subject->system, options->priors, &settings, errors);
    if (subject->engine) subject->places = diagnose_places(subject->engine);
    return subject->engine != NULL;
}

static void find_pins(subject *subject) {
    subject->is_pin = calloc(subject->places, sizeof(bool));
    subject->shown = calloc(subject->places, sizeof(double));
    for (size_t i = 0; i < subject->places; i++) {
        const solve_probe *probe = &diagnose_place_at(subject->engine, i)->probe;
        subject->is_pin[i] = probe->heater || probe->minus == 0;
        subject->pins += subject->is_pin[i];
    }
}

static diagnose_readings *healthy_chart(subject *subject, base_errors *errors) {
    truth *truth = truth_room(subject);
    diagnose_readings *readings = diagnose_readings_new();
    truth->kind = KIND_HEALTHY;
    bool good = solve_truth(subject, truth, false);
    for (size_t i = 0; good && i < subject->places; i++) {
        char text[128];
        snprintf(text, sizeof text, "%s=%.6g", diagnose_place_at(subject->engine, i)->at,
                 truth->volts[i]);
        diagnose_readings_add(readings, subject->system, text, NULL, errors);
    }
    truth_free(truth);
    return readings;
}

static bool open_truth(subject *subject, const subject_options *options, base_errors *errors) {
    subject->world = options->own ? NULL : world_new(subject->circuit);
    if (!options->own && !subject->world) return false;
    if (options->own && !own_open(subject)) return false;
    if (options->chart) {
        diagnose_readings *chart = healthy_chart(subject, errors);
        bool good = make_engine(subject, options, chart, errors);
        diagnose_readings_free(chart);
        if (!good) return false;
    }
    find_pins(subject);
    return learn_good(subject, options);
}

subject *subject_open(const subject_options *options) {
    base_errors *errors = base_errors_new();
    subject *subject = calloc(1, sizeof *subject);
    const char *slash = strrchr(options->file, '/');
    subject->name = slash ? slash + 1 : options->file;
    subject->variation = options->variation;
    subject->own = options->own;
    subject->tubes = options->tubes;
    subject->circuit = read_amp(options, errors);
    subject->system = subject->circuit ? solve_system_new(subject->circuit, errors) : NULL;
    bool good = subject->system && make_engine(subject, options, NULL, errors) &&
                open_truth(subject, options, errors);
    base_errors_free(errors);
    if (good) return subject;
    subject_close(subject);
    return NULL;
}

void subject_close(subject *subject) {
    own_close(subject);
    world_free(subject->world);
    diagnose_engine_free(subject->engine);
    solve_system_free(subject->system);
    circuit_free(subject->circuit);
    free(subject->is_pin);
    free(subject->shown);
    free(subject->good[0]);
    free(subject->good[1]);
    free(subject);
}

/* ---- cases --------------------------------------------------------------------------------- */

/* Last digit of a meter of 4000 counts. */
double truth_digit(double volts) {
    double size = fabs(volts);
    return size < 4 ? 0.001 : size < 40 ? 0.01 : size < 400 ? 0.1 : 1;
}

/* By the priors; another's are flatter (to the power 0.8), for nobody knows them. */
static int draw_fault(const subject *subject, base_random *random, size_t from) {
    double power = subject->own ? 1 : 0.8, sum = 0;
    size_t count = diagnose_faults(subject->engine);
    for (size_t f = from; f < count; f++)
        if (f != 1 || subject->own) sum += pow(diagnose_fault_at(subject->engine, f)->prior, power);
    double at = base_random_unit(random) * sum;
    for (size_t f = from; f < count; f++) {
        if (f == 1 && !subject->own) continue;
        at -= pow(diagnose_fault_at(subject->engine, f)->prior, power);
        if (at < 0) return (int)f;
    }
    return (int)from;
}

/* The engine's own model has two faults now and then: each pair with 0.4 times the product of its
 * two priors (0.2 either way round) against one fault with its prior. */
static bool draws_two(const subject *subject, base_random *random) {
    double singles = 0;
    for (size_t f = 2; f < diagnose_faults(subject->engine); f++)
        singles += diagnose_fault_at(subject->engine, f)->prior;
    double pairs = own_pairs(subject) * singles * singles;
    return base_random_unit(random) < pairs / (1 + pairs);
}

static void choose_two(const subject *subject, truth *truth) {
    int part = -2, other = -2;
    for (int tries = 0; tries < 100 && part == other; tries++)
        for (int k = 0; k < 2; k++) {
            truth->fault[k] = draw_fault(subject, &truth->random, 2);
            *(k ? &other : &part) =
                diagnose_fault_at(subject->engine, (size_t)truth->fault[k])->part;
        }
}

static void choose_faults(const subject *subject, truth *truth) {
    bool one = truth->kind == KIND_SINGLE || truth->kind == KIND_ENTRY;
    if (truth->kind == KIND_HEALTHY) truth->fault[0] = 0;
    if (truth->kind == KIND_PAIR || (one && subject->own && draws_two(subject, &truth->random)))
        choose_two(subject, truth);
    else if (one)
        truth->fault[0] = draw_fault(subject, &truth->random, 0);
}

/* Deviations of the chart when only some of the faults are in; with the same severities. */
static bool far_with(subject *subject, truth *truth, const bool in[2], double *volts) {
    int kept[2] = {truth->fault[0], truth->fault[1]};
    base_random random = truth->random;
    for (int k = 0; k < 2; k++)
        if (!in[k] && truth->fault[k] > 1) truth->fault[k] = -2 - truth->fault[k];
    bool good = solve_truth(subject, truth, false);
    memcpy(volts, truth->volts, subject->places * sizeof *volts);
    for (int k = 0; k < 2; k++)
        truth->fault[k] = kept[k];
    truth->random = random;
    return good;
}

/* Of two faults one that adds under two deviations to the other's chart is not asked for. */
static void ask_faults(subject *subject, truth *truth, const double *both) {
    size_t n = subject->places;
    double *volts = calloc(n, sizeof *volts);
    for (int k = 0; k < 2; k++)
        truth->asked[k] = truth->fault[k];
    for (int k = 1; truth->fault[1] > 1 && k >= 0; k--) {
        bool in[2] = {k == 1, k == 0};
        if (!far_with(subject, truth, in, volts)) continue;
        for (size_t i = 0; i < n; i++)
            volts[i] += subject->shown[i] - both[i];
        if (deviations(subject, volts, true) >= 2) continue;
        truth->asked[0] = truth->fault[1 - k];
        truth->asked[1] = -1;
        break;
    }
    free(volts);
}

/* How much it shows, in an amp that is otherwise as drawn; with the same severity. */
static void measure_far(subject *subject, truth *truth) {
    double *volts = calloc(subject->places, sizeof *volts);
    truth->far[0] = truth->far[1] = INFINITY;
    truth->asked[0] = truth->fault[0];
    if (truth->fault[0] != 1 && far_with(subject, truth, (bool[]){true, true}, volts)) {
        for (int set = 0; set < 2; set++)
            truth->far[set] = deviations(subject, volts, set == 1);
        ask_faults(subject, truth, volts);
    }
    free(volts);
}

truth *truth_make(subject *subject, kind kind, uint64_t seed, long number) {
    truth *truth = truth_room(subject);
    truth->kind = kind;
    uint64_t hash = 1469598103934665603u;
    for (const char *c = subject->name; *c; c++)
        hash = (hash ^ (uint64_t)*c) * 1099511628211u;
    base_random_seed(&truth->random, hash ^ (seed * 2654435761u + (uint64_t)subject->variation) ^
                                         ((uint64_t)number * 6364136223846793005u +
                                          (kind == KIND_ENTRY ? KIND_SINGLE : kind)));
    choose_faults(subject, truth);
    measure_far(subject, truth);
    truth->solved = solve_truth(subject, truth, true);
    truth->wander_sd = 0.004 + 0.004 * base_random_unit(&truth->random);
    truth->wander = base_random_normal(&truth->random);
    truth->gain = 0.003 * base_random_normal(&truth->random);
    truth->offset = 0.001 * base_random_normal(&truth->random);
    return truth;
}
