/* An amp that is wired otherwise than drawn, perhaps with a fault besides, read as a technician
 * reads it: at the pins where they now are. */
#ifndef GRIDLEAK_TESTS_DIAGNOSE_WIRED_H
#define GRIDLEAK_TESTS_DIAGNOSE_WIRED_H

#include "amp.h"

#include <complex.h>

typedef struct wired {
    amp *amp;
    circuit *circuit;
    solve_system *system;
    double *numbers;
} wired;

static inline circuit_lead wired_lead(const amp *amp, const char *part, int end, const char *to) {
    circuit_place place = {0, -1, -1};
    int index = circuit_part_find(amp->circuit, part);
    assert_true(index >= 0);
    if (strcmp(to, "ground") != 0)
        assert_int_equal(circuit_place_find(amp->circuit, to, (base_place){0}, &place, amp->errors),
                         BASE_OK);
    return (circuit_lead){index, end, place.node};
}

/* `numbers` is taken. */
static inline wired wired_open(amp *amp, const circuit_lead *lead, size_t count, double *numbers) {
    wired wired = {.amp = amp, .numbers = numbers};
    wired.circuit = circuit_rewired(amp->circuit, lead, count);
    assert_non_null(wired.circuit);
    wired.system = solve_system_new(wired.circuit, amp->errors);
    assert_non_null(wired.system);
    assert_int_equal(solve_slots(wired.system), solve_slots(amp->system));
    return wired;
}

static inline void wired_close(wired *wired) {
    solve_system_free(wired->system);
    circuit_free(wired->circuit);
    free(wired->numbers);
}

static inline void wired_write(const wired *wired, diagnose_readings *readings, const char *at,
                               double value) {
    char text[200];
    snprintf(text, sizeof text, "%s=%.4g", at, value);
    amp_read(wired->amp, readings, text);
}

/* The whole chart, by the meter of 10 Mohm; heaters are left out. */
static inline void wired_chart(const wired *wired, diagnose_readings *readings) {
    solve_work *work = solve_work_new(wired->system);
    double *x = calloc(solve_unknowns(wired->system), sizeof *x);
    assert_true(solve_point(work, wired->numbers, NULL, x).outcome <= SOLVE_CONTINUED);
    for (size_t i = 0; i < diagnose_places(wired->amp->engine); i++) {
        const diagnose_place *place = diagnose_place_at(wired->amp->engine, i);
        solve_probe probe;
        if (place->probe.heater) continue;
        assert_int_equal(diagnose_probe_read(wired->system, place->at, (base_place){0}, &probe,
                                             wired->amp->errors),
                         BASE_OK);
        probe.meter_ohms = 10e6;
        double volts = solve_read_loaded(work, wired->numbers, x, &probe);
        if (isnan(volts)) volts = solve_read(work, wired->numbers, x, &probe, NULL, NULL);
        wired_write(wired, readings, place->at, volts);
    }
    solve_work_free(work);
    free(x);
}

/* A signal's volts, as the words say where it goes in: "V2.6 @5Hz,20mV J3". */
static inline void wired_signal(const wired *wired, diagnose_readings *readings, const char *at) {
    solve_work *work = solve_work_new(wired->system);
    solve_signal *signal = solve_signal_new(wired->system);
    size_t slots = solve_slots(wired->system);
    double *x = calloc(solve_unknowns(wired->system), sizeof *x);
    double *numbers = calloc(slots, sizeof *numbers);
    diagnose_reading reading = {.at = at};
    assert_int_equal(
        diagnose_test_read(wired->amp->system, at, (base_place){0}, &reading, wired->amp->errors),
        BASE_OK);
    memcpy(numbers, wired->numbers, slots * sizeof *numbers);
    solve_plug_in(wired->system, reading.test.input, numbers);
    assert_true(solve_point(work, numbers, NULL, x).outcome <= SOLVE_CONTINUED);
    solve_signal_set(signal, work, numbers, x);
    solve_scope scope = {reading.probe.plus, 10e6, 100e-12};
    assert_int_equal(solve_signal_at(signal, &reading.test.source, &scope, reading.test.hertz),
                     SOLVE_CONVERGED);
    wired_write(wired, readings, at,
                reading.test.drive * cabs(solve_signal_volts(signal, reading.probe.plus)));
    solve_signal_free(signal);
    solve_work_free(work);
    free(numbers);
    free(x);
}

#endif
