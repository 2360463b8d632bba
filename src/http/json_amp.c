/* An amp on paper as JSON: its parts, its tubes. */
#include "http_impl.h"

#include <math.h>
#include <stdio.h>

static json_t *nodes_of(const circuit *amp, const circuit_part *part) {
    json_t *list = json_array();
    int first = part->kind == CIRCUIT_TUBE ? 1 : 0; /* pins count from 1 */
    for (int end = first; end < part->ends; end++)
        list = http_json_append(
            list, part->end[end] < 0
                      ? json_null()
                      : http_json_text(circuit_node_at(amp, (size_t)part->end[end])->name));
    return list;
}

/* "400 V", "1 W"; NULL where the file states none. */
static json_t *rating_of(const circuit_part *part) {
    char volts[32] = "", watts[32] = "", text[72];
    if (isfinite(part->volts)) base_value_write(part->volts, BASE_VOLTS, volts, sizeof volts);
    if (isfinite(part->watts)) base_value_write(part->watts, BASE_WATTS, watts, sizeof watts);
    snprintf(text, sizeof text, "%s%s%s", watts, *watts && *volts ? ", " : "", volts);
    return http_json_words(text);
}

static const char *sits(const circuit_part *part) {
    static const char *const words[] = {NULL, "board", "socket", "terminal strip", "chassis"};
    return part->sits ? part->sits : words[part->site];
}

static json_t *part_row(const circuit *amp, const circuit_part *part) {
    bool stated = part->material != CIRCUIT_UNSTATED;
    return json_pack("{s:o,s:s,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "name", http_json_text(part->name),
                     "kind", circuit_kind_name(part->kind), "value",
                     http_json_text(part->tube ? part->tube->name : part->written), "what",
                     http_json_text(part->what), "material",
                     http_json_text(stated ? circuit_material_name(part->material) : NULL),
                     "original", part->original < 0 ? json_null() : json_boolean(part->original),
                     "sits", http_json_text(sits(part)), "rating", rating_of(part), "nodes",
                     nodes_of(amp, part));
}

json_t *http_json_parts(const circuit *amp) {
    json_t *list = json_array();
    for (size_t i = 0; i < circuit_parts(amp); i++)
        list = http_json_append(list, part_row(amp, circuit_part_at(amp, i)));
    return list;
}

json_t *http_json_units(const circuit *amp) {
    static const char *const kinds[] = {"diode", "triode", "pentode"};
    json_t *list = json_array();
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        for (int unit = 0; part->kind == CIRCUIT_TUBE && unit < part->tube->units; unit++)
            list = http_json_append(
                list,
                json_pack("{s:o,s:o,s:i,s:o,s:s,s:o}", "tube", http_json_text(part->name), "type",
                          http_json_text(part->tube->name), "unit", unit, "name",
                          http_json_words(part->tube->unit[unit].name), "kind",
                          kinds[part->tube->unit[unit].kind], "does", http_json_text(part->what)));
    }
    return list;
}

/* The socket that a probe at this pin meets. */
json_t *http_json_probe(const circuit *amp, int part, int pin) {
    char words[96];
    if (part < 0 || pin < 0) return json_null();
    const circuit_part *tube = circuit_part_at(amp, (size_t)part);
    return json_pack("{s:o,s:o,s:i,s:i,s:o}", "tube", http_json_text(tube->name), "base",
                     http_json_text(tube->tube->base_name), "pins", tube->tube->pins, "pin", pin,
                     "electrode",
                     http_json_text(tube_pin_words(tube->tube, pin, words, sizeof words)));
}
