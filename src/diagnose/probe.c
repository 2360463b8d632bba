/* What a written place means: a pin, a node, a difference, or a part to read across. */
#include "diagnose_impl.h"

#include <ctype.h>
#include <string.h>

#define NAME_ROOM 128

/* Copies without blanks at the ends; false where it is too long for any name. */
static bool trim(char to[NAME_ROOM], const char *from, const char *end) {
    while (from < end && isspace((unsigned char)*from))
        from++;
    while (end > from && isspace((unsigned char)end[-1]))
        end--;
    size_t length = (size_t)(end - from);
    if (length == 0 || length >= NAME_ROOM) return false;
    memcpy(to, from, length);
    to[length] = 0;
    return true;
}

/* Is a heater, or a winding for heaters, joined to this node? */
static bool heater_node(const circuit *amp, int node) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        bool winding = part->kind == CIRCUIT_WINDING && part->winding.heater;
        bool tube = part->kind == CIRCUIT_TUBE;
        int last = winding ? part->ends - 1 : tube ? part->tube->pins : -1;
        for (int end = winding ? 0 : 1; end <= last; end++)
            if (part->end[end] == node && (winding || tube_heater_pin(part->tube, end)))
                return true;
    }
    return false;
}

/* One question, for all that answer a part of it. */
typedef struct asked {
    const solve_system *system;
    const char *written;
    base_place at;
    base_errors *errors;
} asked;

/* Between two places of the heater line the reading is rms heater volts. */
static bool across_heater(const solve_system *system, const circuit_place place[2]) {
    const circuit *amp = solve_circuit(system);
    solve_probe probe = {.plus = place[0].node, .minus = place[1].node, .heater = true};
    if (probe.plus == probe.minus || !solve_probe_exists(system, &probe)) return false;
    for (int k = 0; k < 2; k++)
        if (!heater_node(amp, place[k].node)) return false;
    return true;
}

static base_code finish(const asked *asked, const solve_probe *probe) {
    if (probe->plus == 0 && probe->minus == 0)
        return base_errors_add(asked->errors, BASE_VALUE, asked->at,
                               "%.60s is the chassis, which reads nothing"
                               "|name a place that can carry volts",
                               asked->written);
    if (probe->plus == probe->minus)
        return base_errors_add(asked->errors, BASE_VALUE, asked->at,
                               "%.60s is one and the same node, which reads nothing"
                               "|name a place that can carry volts",
                               asked->written);
    if (solve_probe_exists(asked->system, probe)) return BASE_OK;
    return base_errors_add(asked->errors, BASE_VALUE, asked->at,
                           "%.60s carries alternating current only, and its volts are not computed"
                           "|read the supply after the rectifier instead",
                           asked->written);
}

static base_code across_part(const asked *asked, int index, solve_probe *probe) {
    const circuit_part *part = circuit_part_at(solve_circuit(asked->system), (size_t)index);
    bool two = part->ends == 2 && part->end[0] >= 0 && part->end[1] >= 0;
    if (!two)
        return base_errors_add(asked->errors, BASE_VALUE, asked->at,
                               "%.60s is a %s with more than two ends|say which: %s.1, or two "
                               "places with - between",
                               asked->written, circuit_kind_name(part->kind), part->name);
    *probe = (solve_probe){.plus = part->end[0], .minus = part->end[1], .meter_ohms = INFINITY};
    if (!solve_probe_exists(asked->system, probe)) probe->heater = true;
    return finish(asked, probe);
}

static base_code between(const asked *asked, const char *dash, solve_probe *probe) {
    const circuit *amp = solve_circuit(asked->system);
    char name[2][NAME_ROOM];
    circuit_place place[2] = {{0, -1, -1}, {0, -1, -1}};
    if (!trim(name[0], asked->written, dash) ||
        !trim(name[1], dash + 1, asked->written + strlen(asked->written)))
        return base_errors_add(asked->errors, BASE_SYNTAX, asked->at,
                               "%.60s is no place|write V2.3, B1, R7, or V5.4-B2", asked->written);
    for (int k = 0; k < 2; k++) {
        base_code code = circuit_place_find(amp, name[k], asked->at, &place[k], asked->errors);
        if (code != BASE_OK) return code;
    }
    *probe = (solve_probe){.plus = place[0].node, .minus = place[1].node, .meter_ohms = INFINITY};
    probe->heater = across_heater(asked->system, place);
    return finish(asked, probe);
}

base_code diagnose_probe_read(const solve_system *system, const char *written, base_place at,
                              solve_probe *probe, base_errors *errors) {
    const circuit *amp = solve_circuit(system);
    char name[NAME_ROOM];
    *probe = (solve_probe){.meter_ohms = INFINITY};
    if (!trim(name, written, written + strlen(written)))
        return base_errors_add(errors, BASE_SYNTAX, at,
                               "a place is missing or too long|write V2.3, B1, R7, or V5.4-B2");
    const asked asked = {system, name, at, errors};
    const char *dash = strchr(name, '-');
    if (dash) return between(&asked, dash, probe);
    int part = circuit_part_find(amp, name);
    if (part >= 0) return across_part(&asked, part, probe);
    circuit_place place = {0, -1, -1};
    base_code code = circuit_place_find(amp, name, at, &place, errors);
    if (code != BASE_OK) return code;
    probe->plus = place.node;
    return finish(&asked, probe);
}
