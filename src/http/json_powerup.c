/* An amp from the switch to rest as JSON: docs/json.md. */
#include "http.h"

#include <math.h>

static json_t *numbers(const double *value, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        list = http_json_append(list, http_json_number(value[i]));
    return list;
}

json_t *http_json_plot(const service_plot *plot) {
    json_t *lines = json_array();
    for (size_t i = 0; i < plot->lines; i++) {
        const service_plot_line *line = &plot->line[i];
        lines = http_json_append(
            lines, json_pack("{s:o,s:o,s:o,s:o}", "name", http_json_text(line->name), "unit",
                             http_json_text(line->unit), "low", numbers(line->low, plot->points),
                             "high", numbers(line->high, plot->points)));
    }
    return json_pack("{s:o,s:o}", "seconds", numbers(plot->seconds, plot->points), "lines", lines);
}

static json_t *capacitor_row(const service_powerup_capacitor *one) {
    double percent = 100 * fabs(one->peak_v) / one->rating_v;
    bool kept = isinf(one->off_60_s);
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:b,s:o,s:b}", "part",
                     http_json_text(one->part), "node", http_json_text(one->node), "farads",
                     http_json_number(one->farads), "rating_v", http_json_number(one->rating_v),
                     "peak_v", http_json_number(one->peak_v), "peak_s",
                     http_json_number(one->peak_s), "percent", http_json_number(percent),
                     "reverse_v", http_json_number(one->reverse_v), "working_v",
                     http_json_number(one->working_v), "ripple_v", http_json_number(one->ripple_v),
                     "settled_s", http_json_number(one->settled_s), "off_60_s",
                     kept ? json_null() : http_json_number(one->off_60_s), "off_kept", kept,
                     "off_v", http_json_number(one->off_v), "filter", one->filter);
}

static json_t *rectifier_row(const service_powerup_rectifier *one) {
    return json_pack(
        "{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "name",
        http_json_text(one->name), "type", http_json_text(one->type), "peak_a",
        http_json_number(one->peak_a), "peak_s", http_json_number(one->peak_s), "again_a",
        http_json_number(one->again_a), "working_peak_a", http_json_number(one->working_peak_a),
        "working_rms_a", http_json_number(one->working_rms_a), "working_a",
        http_json_number(one->working_a), "working_v", http_json_number(one->working_v), "ripple_v",
        http_json_number(one->ripple_v), "settled_s", http_json_number(one->settled_s),
        "first_cap_f", http_json_number(one->first_cap_f), "source_ohms",
        http_json_number(one->source_ohms), "peak_limit_a", http_json_number(one->peak_limit_a),
        "dc_limit_a", http_json_number(one->dc_limit_a), "first_cap_limit_f",
        http_json_number(one->first_cap_limit_f), "source_limit_ohms",
        http_json_number(one->source_limit_ohms));
}

static json_t *fuse_row(const service_powerup_fuse *one) {
    const char *kind = one->kind == CIRCUIT_TIME_LAG ? "slow"
                       : one->kind == CIRCUIT_QUICK  ? "fast"
                                                     : NULL;
    return json_pack(
        "{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "name", http_json_text(one->name), "where",
        http_json_text(one->where), "rating_a", http_json_number(one->rating_a), "kind",
        http_json_text(kind), "running_a", http_json_number(one->running_a), "peak_a",
        http_json_number(one->peak_a), "cycle_a2s", http_json_number(one->cycle_i2t), "tenth_a2s",
        http_json_number(one->tenth_i2t), "fast_holds_a2s", http_json_number(one->fast_i2t),
        "slow_holds_a2s", http_json_number(one->slow_i2t));
}

json_t *http_json_powerup(const service_powerup *powerup) {
    json_t *capacitors = json_array(), *rectifiers = json_array(), *fuses = json_array(),
           *remarks = json_array();
    for (size_t i = 0; i < powerup->capacitors; i++)
        capacitors = http_json_append(capacitors, capacitor_row(&powerup->capacitor[i]));
    for (size_t i = 0; i < powerup->rectifiers; i++)
        rectifiers = http_json_append(rectifiers, rectifier_row(&powerup->rectifier[i]));
    for (size_t i = 0; i < powerup->fuses; i++)
        fuses = http_json_append(fuses, fuse_row(&powerup->fuse[i]));
    for (size_t i = 0; i < powerup->remarks; i++)
        remarks = http_json_append(remarks, http_json_text(powerup->remark[i]));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "amp",
                     http_json_text(powerup->amp), "mains_v", http_json_number(powerup->mains_v),
                     "mains_hz", http_json_number(powerup->mains_hz), "standby",
                     http_json_text(powerup->standby), "missing", http_json_text(powerup->missing),
                     "on_s", http_json_number(powerup->on_s), "off_s",
                     http_json_number(powerup->off_s), "core_a", http_json_number(powerup->core_a),
                     "capacitors", capacitors, "rectifiers", rectifiers, "fuses", fuses, "remarks",
                     remarks, "start", http_json_plot(&powerup->start), "whole",
                     http_json_plot(&powerup->whole), "rest", http_json_plot(&powerup->rest));
}
