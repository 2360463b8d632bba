/* Margins, swaps and fuses as JSON: docs/json.md. */
#include "http.h"

#include <math.h>

static const char *unit_of(base_quantity quantity) {
    static const char *const units[BASE_QUANTITIES] = {
        [BASE_OHMS] = "ohm", [BASE_FARADS] = "F",  [BASE_HENRIES] = "H",
        [BASE_VOLTS] = "V",  [BASE_AMPERES] = "A", [BASE_WATTS] = "W"};
    return units[quantity] ? units[quantity] : "";
}

json_t *http_json_margin(const service_margin *margin) {
    if (!margin) return json_null();
    return json_pack(
        "{s:o,s:o,s:o,s:s,s:s,s:o,s:o,s:b,s:o,s:s,s:o,s:o}", "part", http_json_text(margin->part),
        "of", http_json_words(margin->of), "unit", http_json_words(margin->unit), "what",
        margin->what, "in", unit_of(margin->quantity), "is", http_json_number(margin->is), "limit",
        http_json_number(margin->limit), "at_least", margin->floor, "percent",
        http_json_number(100 * margin->share), "state", service_state_word(margin->state), "by",
        http_json_words(margin->by), "remedy", http_json_words(margin->remedy));
}

json_t *http_json_margins(const service_margins *margins) {
    json_t *list = json_array();
    for (size_t i = 0; i < margins->margins; i++)
        list = http_json_append(list, http_json_margin(&margins->margin[i]));
    return json_pack("{s:o,s:o,s:b,s:o}", "amp", http_json_text(margins->amp), "mains_v",
                     http_json_number(margins->mains_v), "in_time", margins->in_time, "margins",
                     list);
}

/* ---- swap ---------------------------------------------------------------------------------- */

static json_t *tube_side(const service_tube *tube) {
    if (!tube->type) return json_null();
    double rating = tube->ratings ? tube->rating[0].plate_w : NAN;
    return json_pack(
        "{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:b}", "type", http_json_text(tube->type),
        "plate_v", http_json_number(tube->plate_v), "screen_v", http_json_number(tube->screen_v),
        "cathode_v", http_json_number(tube->cathode_v), "plate_ma",
        http_json_number(tube->plate_a * 1e3), "screen_ma", http_json_number(tube->screen_a * 1e3),
        "plate_w", http_json_number(tube->plate_w), "plate_percent",
        http_json_number(100 * tube->plate_w / rating), "system",
        http_json_text(tube->ratings ? tube->rating[0].system : NULL), "heater_ratio",
        http_json_number(tube->heater_ratio), "trusted", tube->inside);
}

static json_t *tube_row(const service_swap_tube *tube) {
    return json_pack("{s:o,s:o,s:o,s:o}", "tube", http_json_text(tube->tube), "unit",
                     http_json_words(tube->unit), "before", tube_side(&tube->side[0]), "after",
                     tube_side(&tube->side[1]));
}

static json_t *margin_rows(const service_swap_margin *row, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        list = http_json_append(list,
                                json_pack("{s:o,s:o}", "before", http_json_margin(row[i].side[0]),
                                          "after", http_json_margin(row[i].side[1])));
    return list;
}

static json_t *changes(const service_swap *swap) {
    json_t *list = json_array();
    for (size_t i = 0; i < swap->changes; i++) {
        const circuit_difference *one = &swap->change[i];
        list = http_json_append(
            list, json_pack("{s:o,s:o,s:o,s:o}", "part", http_json_text(one->part), "key",
                            http_json_text(one->key), "from", http_json_text(one->from), "to",
                            http_json_text(one->to)));
    }
    return list;
}

static json_t *tremolo_side(const solve_tremolo *tremolo) {
    if (tremolo->part < 0) return json_null();
    return json_pack("{s:b,s:o,s:o}", "starts", tremolo->swing.swings, "hertz",
                     http_json_number(tremolo->swing.hertz), "reach",
                     http_json_number(tremolo->swing.reach));
}

static json_t *tremolo(const service_swap *swap) {
    if (!swap->has_tremolo) return json_null();
    return json_pack("{s:o,s:o}", "before", tremolo_side(&swap->tremolo[0]), "after",
                     tremolo_side(&swap->tremolo[1]));
}

json_t *http_json_swap(const service_swap *swap) {
    json_t *tubes = json_array(), *nodes = json_array();
    for (size_t i = 0; i < swap->tubes; i++)
        tubes = http_json_append(tubes, tube_row(&swap->tube[i]));
    for (size_t i = 0; i < swap->nodes; i++)
        nodes = http_json_append(nodes, json_pack("{s:o,s:o,s:o}", "node",
                                                  http_json_text(swap->node[i].node), "before",
                                                  http_json_number(swap->node[i].volts[0]), "after",
                                                  http_json_number(swap->node[i].volts[1])));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "amp", http_json_text(swap->amp),
                     "mains_before_v", http_json_number(swap->mains_v[0]), "mains_after_v",
                     http_json_number(swap->mains_v[1]), "changes", changes(swap), "broken",
                     margin_rows(swap->broken, swap->brokens), "mended",
                     margin_rows(swap->mended, swap->mendeds), "tubes", tubes, "nodes", nodes,
                     "margins", margin_rows(swap->margin, swap->margins), "tremolo", tremolo(swap));
}

/* ---- fuses --------------------------------------------------------------------------------- */

static json_t *fuse_row(const service_fuse *fuse) {
    bool stated = fuse->fitted != CIRCUIT_UNSTATED;
    return json_pack(
        "{s:o,s:s,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:s,s:s,s:o,s:o}", "part",
        http_json_text(fuse->part), "where", fuse->where, "running_a",
        http_json_number(fuse->running_a), "inrush_a", http_json_number(fuse->inrush_a),
        "inrush_a2s", http_json_number(fuse->inrush_a2s), "cold_a", http_json_number(fuse->cold_a),
        "cold_a2s", http_json_number(fuse->cold_a2s), "fault_a", http_json_number(fuse->fault_a),
        "fitted_a", http_json_number(fuse->fitted_a), "fitted_kind",
        http_json_text(stated ? circuit_material_name(fuse->fitted) : NULL), "right_a",
        http_json_number(fuse->right_a), "speed", fuse->time_lag ? "time-lag" : "quick-acting",
        "right", fuse->right, "why", http_json_text(fuse->why), "wrong",
        http_json_words(fuse->wrong));
}

json_t *http_json_fuses(const service_fuses *fuses) {
    json_t *list = json_array();
    for (size_t i = 0; i < fuses->fuses; i++)
        list = http_json_append(list, fuse_row(&fuses->fuse[i]));
    return json_pack("{s:o,s:o,s:o}", "amp", http_json_text(fuses->amp), "mains_v",
                     http_json_number(fuses->mains_v), "fuses", list);
}
