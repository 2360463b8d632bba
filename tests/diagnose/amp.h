/* One amp of the library with its engine, and readings of it. */
#ifndef GRIDLEAK_TESTS_DIAGNOSE_AMP_H
#define GRIDLEAK_TESTS_DIAGNOSE_AMP_H

#include "support.h"

#include "diagnose_impl.h"

#include <glob.h>

#define assert_close(a, b, by) assert_true(fabs((a) - (b)) <= (by))

typedef struct amp {
    base_errors *errors;
    tube_library *tubes;
    circuit *circuit;
    solve_system *system;
    diagnose_priors *priors;
    diagnose_engine *engine;
} amp;

static inline tube_library *amp_tubes(base_errors *errors) {
    tube_library *tubes = tube_library_new();
    glob_t found;
    assert_non_null(tubes);
    assert_int_equal(glob(SOURCE_DIR "/data/tubes/*.yaml", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++) {
        size_t length;
        char *text = support_file(found.gl_pathv[i] + strlen(SOURCE_DIR) + 1, &length);
        assert_int_equal(tube_library_add(tubes, found.gl_pathv[i], text, length, errors), BASE_OK);
        free(text);
    }
    globfree(&found);
    return tubes;
}

static inline diagnose_priors *amp_priors(base_errors *errors) {
    size_t length;
    char *text = support_file("data/priors/faults.yaml", &length);
    diagnose_priors *priors = diagnose_priors_read("data/priors/faults.yaml", text, length, errors);
    free(text);
    assert_non_null(priors);
    return priors;
}

static inline void amp_open(amp *amp, const char *name, const diagnose_options *options) {
    char path[128];
    size_t length;
    snprintf(path, sizeof path, "data/amps/%s.yaml", name);
    char *text = support_file(path, &length);
    amp->errors = base_errors_new();
    amp->tubes = amp_tubes(amp->errors);
    amp->priors = amp_priors(amp->errors);
    amp->circuit = circuit_read(path, text, length, amp->tubes, amp->errors);
    assert_non_null(amp->circuit);
    amp->system = solve_system_new(amp->circuit, amp->errors);
    assert_non_null(amp->system);
    amp->engine = diagnose_engine_new(amp->system, amp->priors, options, amp->errors);
    assert_non_null(amp->engine);
    free(text);
}

static inline void amp_close(amp *amp) {
    diagnose_engine_free(amp->engine);
    diagnose_priors_free(amp->priors);
    solve_system_free(amp->system);
    circuit_free(amp->circuit);
    tube_library_free(amp->tubes);
    base_errors_free(amp->errors);
}

static inline void amp_read(amp *amp, diagnose_readings *readings, const char *written) {
    assert_int_equal(diagnose_readings_add(readings, amp->system, written, NULL, amp->errors),
                     BASE_OK);
}

static inline int amp_fault(const amp *amp, const char *part, diagnose_mode mode) {
    for (size_t f = 0; f < diagnose_faults(amp->engine); f++) {
        const diagnose_fault *fault = diagnose_fault_at(amp->engine, f);
        if (fault->mode == mode && strcmp(diagnose_words_part(amp->engine, fault), part) == 0)
            return (int)f;
    }
    return -1;
}

static inline int amp_place(const amp *amp, const char *at) {
    for (size_t i = 0; i < diagnose_places(amp->engine); i++)
        if (strcmp(diagnose_place_at(amp->engine, i)->at, at) == 0) return (int)i;
    return -1;
}

/* The nominal amp with these numbers changed, truly loaded at each place: a whole chart. */
static inline diagnose_readings *amp_chart(amp *amp, const double *numbers) {
    solve_work *work = solve_work_new(amp->system);
    double *x = calloc(solve_unknowns(amp->system), sizeof *x);
    diagnose_readings *readings = diagnose_readings_new();
    assert_true(work && x && readings);
    assert_true(solve_point(work, numbers, diagnose_healthy(amp->engine), x).outcome <=
                SOLVE_CONTINUED);
    for (size_t i = 0; i < diagnose_places(amp->engine); i++) {
        const diagnose_place *place = diagnose_place_at(amp->engine, i);
        double volts = solve_read_loaded(work, numbers, x, &place->probe);
        if (isnan(volts)) volts = solve_read(work, numbers, x, &place->probe, NULL, NULL);
        char text[160];
        int decimals = fabs(volts) < 4 ? 3 : fabs(volts) < 40 ? 2 : fabs(volts) < 400 ? 1 : 0;
        snprintf(text, sizeof text, "%s=%.*f", place->at, decimals, volts);
        amp_read(amp, readings, text);
    }
    free(x);
    solve_work_free(work);
    return readings;
}

/* Numbers of the nominal amp with one fault: `severity` replaces that of the grid (NAN: as it is).
 */
static inline double *amp_numbers(const amp *amp, int fault_index, double severity) {
    size_t slots = solve_slots(amp->system);
    double *numbers = calloc(slots, sizeof *numbers);
    assert_non_null(numbers);
    memcpy(numbers, solve_nominal(amp->system), slots * sizeof *numbers);
    if (fault_index < 0) return numbers;
    const diagnose_fault *fault = diagnose_fault_at(amp->engine, (size_t)fault_index);
    int k = fault->severities / 2;
    double scale = isfinite(severity) ? severity / fault->severity[k] : 1;
    for (int s = 0; s < fault->sets; s++)
        numbers[fault->slot[s]] = fault->number[s][k] * scale;
    return numbers;
}

static inline const diagnose_suspect *amp_suspect(const diagnose_belief *belief, int fault) {
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].fault == fault) return &belief->suspect[i];
    return NULL;
}

#endif
