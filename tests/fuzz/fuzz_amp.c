/* Any bytes as an amp file: it never crashes, says with place and remedy why it refuses, and an amp
 * that it accepts holds together and can be checked. */
#include "../circuit/tubes.h"
#include "circuit.h"

#include <math.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(bool holds) {
    if (!holds) abort();
}

static void demand_part(const circuit *amp, size_t index) {
    const circuit_part *part = circuit_part_at(amp, index);
    demand(circuit_part_find(amp, part->name) == (int)index);
    demand(part->ends >= 2 && part->ends <= CIRCUIT_ENDS);
    for (int end = 0; end < part->ends; end++)
        demand(part->end[end] >= -1 && part->end[end] < (int)circuit_nodes(amp));
    demand(!isinf(part->value) && !(part->value <= 0));
    demand(part->kind != CIRCUIT_TUBE || part->tube);
    demand(part->kind != CIRCUIT_INDUCTOR || part->dc_ohms[0] > 0);
    demand(part->kind != CIRCUIT_OUTPUT_TRANSFORMER || part->dc_ohms[0] > 0);
    demand(part->kind != CIRCUIT_WINDING || part->winding.volts[0] > 0);
    demand(part->kind != CIRCUIT_WINDING || part->winding.heater || part->winding.ohms[0] > 0);
}

static void demand_amp(const circuit *amp) {
    const circuit_about *about = circuit_about_of(amp);
    demand(about->name && about->mains_volts > 0 && about->mains_hertz > 0);
    for (size_t i = 0; i < circuit_parts(amp); i++)
        demand_part(amp, i);
    for (size_t i = 0; i < circuit_nodes(amp); i++) {
        circuit_place place;
        base_place at = {"fuzz", 1, 1};
        demand(circuit_place_find(amp, circuit_node_at(amp, i)->name, at, &place, NULL) == BASE_OK);
        demand(place.node == (int)i);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static tube_library *tubes;
    base_errors *errors = base_errors_new();
    if (!tubes) tubes = test_tubes_new(errors);
    demand(tubes && errors && base_errors_count(errors) == 0);
    circuit *amp = circuit_read("fuzz", (const char *)data, size, tubes, errors);
    demand((amp != NULL) == (base_errors_worst(errors) == BASE_OK));
    if (amp) {
        demand_amp(amp);
        circuit_check(amp, errors);
    }
    for (size_t i = 0; i < base_errors_count(errors); i++)
        demand(base_errors_at(errors, i)->cause[0] && base_errors_at(errors, i)->remedy[0]);
    circuit_free(amp);
    base_errors_free(errors);
    return 0;
}
