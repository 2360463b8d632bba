/* The drain plan as JSON: docs/json.md. */
#include "http.h"

static json_t *capacitor_row(const service_drain_capacitor *one) {
    return json_pack(
        "{s:o,s:o,s:o,s:b,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "part",
        http_json_text(one->part), "node", http_json_text(one->node), "other",
        http_json_text(one->other), "negative", one->negative, "farads",
        http_json_number(one->farads), "rating_v", http_json_number(one->rating_v), "volts",
        http_json_number(one->volts), "joules", http_json_number(one->joules), "seconds_to_60",
        http_json_number(one->seconds_to_60), "seconds_to_1", http_json_number(one->seconds_to_1),
        "peak_watts", http_json_number(one->peak_watts), "peak_a", http_json_number(one->peak_a),
        "self_60_s", http_json_number(one->self_60_s), "self_1_s", http_json_number(one->self_1_s),
        "held_60_s", http_json_number(one->held_60_s), "held_1_s", http_json_number(one->held_1_s),
        "held_joules", http_json_number(one->held_joules), "back_v", http_json_number(one->back_v),
        "left", http_json_words(one->left));
}

json_t *http_json_drain(const service_drain *drain) {
    json_t *capacitors = json_array(), *steps = json_array(), *cuts = json_array();
    for (size_t i = 0; i < drain->capacitors; i++)
        capacitors = http_json_append(capacitors, capacitor_row(&drain->capacitor[i]));
    for (size_t i = 0; i < drain->steps; i++)
        steps = http_json_append(steps, http_json_text(drain->step[i]));
    for (size_t i = 0; i < drain->cuts; i++)
        cuts = http_json_append(cuts, json_pack("{s:o,s:o,s:o}", "part",
                                                http_json_text(drain->cut[i].part), "from",
                                                http_json_text(drain->cut[i].from), "left",
                                                http_json_text(drain->cut[i].left)));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "warning", http_json_text(drain->warning),
                     "steps", steps, "through_ohms", http_json_number(drain->through_ohms),
                     "joules", http_json_number(drain->joules), "pulse_joules",
                     http_json_number(drain->pulse_joules), "hold_s",
                     http_json_number(drain->hold_s), "capacitors", capacitors, "cuts", cuts);
}
