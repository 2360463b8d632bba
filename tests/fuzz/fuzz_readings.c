/* Any bytes as a readings file: it never crashes, says with place and remedy why it refuses, and
 * what it keeps are readings of places that the amp has. */
#include "../circuit/tubes.h"
#include "circuit.h"
#include "diagnose.h"
#include "solve.h"

#include <math.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const char amp_text[] =
    "amp: Small\nmains: {volts: 120, hertz: 60}\n"
    "rectifiers:\n  main: {form: half wave, by: V2, from: mains, return: ground}\n"
    "tubes:\n  V1: {type: 50C5, pins: {1: k, 3: s, 4: neutral, 5: V1.2, 6: V2.7}}\n"
    "  V2: {type: 35W4, pins: {3: s, 4: line, 5: line}}\n"
    "resistors:\n  R1: {value: 470k, at: [V1.2, ground]}\n  R2: {value: 150, at: [k, neutral]}\n"
    "output transformer: {T1: {primary: 2k5, ratio: 25, at: [V1.7, V2.7]}}\n"
    "capacitors: {C1: {value: 50u, kind: electrolytic, at: [V2.7, ground]}}\n";

static void demand(bool holds) {
    if (!holds) abort();
}

static const solve_system *system_once(void) {
    static solve_system *system;
    static tube_library *tubes;
    if (system && tubes) return system;
    base_errors *errors = base_errors_new();
    tubes = test_tubes_new(errors);
    circuit *amp = circuit_read("small", amp_text, strlen(amp_text), tubes, errors);
    system = amp ? solve_system_new(amp, errors) : NULL;
    demand(system != NULL);
    base_errors_free(errors);
    return system;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    const solve_system *system = system_once();
    base_errors *errors = base_errors_new();
    demand(errors != NULL);
    diagnose_readings *readings =
        diagnose_readings_read(system, "fuzz", (const char *)data, size, errors);
    demand((readings != NULL) == (base_errors_worst(errors) == BASE_OK));
    for (size_t i = 0; readings && i < readings->count; i++) {
        const diagnose_reading *reading = &readings->reading[i];
        bool volts = diagnose_quantity_unit(system, &reading->test) == BASE_VOLTS;
        demand(volts ? isfinite(reading->volts) : reading->volts >= 0);
        demand(reading->at && reading->place.line > 0 && reading->probe.meter_ohms > 0);
        for (int s = 0; s < reading->test.action.sets; s++)
            demand(reading->test.action.set[s].slot < (int)solve_slots(system));
    }
    for (size_t i = 0; readings && i < readings->clues; i++)
        demand(readings->clue[i].symptom && readings->clue[i].said);
    for (size_t i = 0; i < base_errors_count(errors); i++)
        demand(base_errors_at(errors, i)->cause[0] && base_errors_at(errors, i)->remedy[0]);
    diagnose_readings_free(readings);
    base_errors_free(errors);
    return 0;
}
