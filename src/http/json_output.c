/* The output stage as JSON: docs/json.md. */
#include "http.h"

#include <math.h>

static json_t *samples(const double *value, double scale) {
    json_t *list = json_array();
    for (int k = 0; k < SOLVE_SAMPLES; k++)
        list = http_json_append(list, http_json_number(scale * value[k]));
    return list;
}

static json_t *level_row(const service_output_level *level) {
    return json_pack(
        "{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "drive_v", http_json_number(level->drive_v),
        "watts", http_json_number(level->watts), "distortion_percent",
        http_json_number(100 * level->distortion), "second_percent",
        http_json_number(100 * level->second), "third_percent",
        http_json_number(100 * level->third), "plate_ma", http_json_number(1e3 * level->plate_a),
        "screen_ma", http_json_number(1e3 * level->screen_a), "supply_v",
        http_json_number(level->supply_v), "plate_percent", http_json_number(level->plate_percent),
        "screen_percent", http_json_number(level->screen_percent));
}

static json_t *tube_row(const service_output_tube *tube) {
    return json_pack(
        "{s:o,s:o,s:i,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "tube", http_json_text(tube->tube),
        "type", http_json_text(tube->type), "side", tube->side, "idle_plate_w",
        http_json_number(tube->idle_plate_w), "idle_screen_w",
        http_json_number(tube->idle_screen_w), "full_plate_w", http_json_number(tube->full_plate_w),
        "full_screen_w", http_json_number(tube->full_screen_w), "plate_limit_w",
        http_json_number(tube->plate_limit_w), "screen_limit_w",
        http_json_number(tube->screen_limit_w), "system", http_json_text(tube->system), "idle_ma",
        http_json_number(1e3 * tube->idle_a), "least_ma", http_json_number(1e3 * tube->least_a),
        "most_ma", http_json_number(1e3 * tube->most_a));
}

static json_t *line_json(const service_output *output) {
    return json_pack("{s:o,s:o,s:o,s:o,s:o}", "plate_v", samples(output->line_v, 1), "plate_ma",
                     samples(output->line_a, 1e3), "grid_v", samples(output->grid_v, 1), "point_v",
                     http_json_number(output->point_v), "point_ma",
                     http_json_number(1e3 * output->point_a));
}

static json_t *rated_json(const service_output *output) {
    if (isnan(output->rated_watts)) return json_null();
    return json_pack("{s:o,s:o,s:o}", "watts", http_json_number(output->rated_watts),
                     "plate_percent", http_json_number(output->rated_plate_percent),
                     "screen_percent", http_json_number(output->rated_screen_percent));
}

json_t *http_json_output(const service_output *output) {
    json_t *levels = json_array(), *tubes = json_array(), *remarks = json_array();
    for (int i = 0; i < SERVICE_LEVELS; i++)
        levels = http_json_append(levels, level_row(&output->level[i]));
    for (size_t i = 0; i < output->tubes; i++)
        tubes = http_json_append(tubes, tube_row(&output->tube[i]));
    for (size_t i = 0; i < output->remarks; i++)
        remarks = http_json_append(remarks, http_json_text(output->remark[i]));
    return json_pack(
        "{s:o,s:o,s:o,s:b,s:s,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}",
        "amp", http_json_text(output->amp), "transformer", http_json_text(output->transformer),
        "mains_v", http_json_number(output->mains_v), "push_pull", output->push_pull, "class",
        output->class_name, "rated_ohms", http_json_number(output->rated_ohms), "speaker_ohms",
        http_json_number(output->speaker_ohms), "load_ohms", http_json_number(output->load_ohms),
        "idle_supply_v", http_json_number(output->idle_supply_v), "supply_v",
        http_json_number(output->supply_v), "drive_v", http_json_number(output->drive_v), "watts",
        http_json_number(output->watts), "distortion_percent",
        http_json_number(100 * output->distortion), "why", http_json_text(output->why),
        "crossover_percent", http_json_number(100 * output->crossover), "levels", levels, "tubes",
        tubes, "line", line_json(output), "speaker_v", samples(output->speaker_v, 1), "rated",
        rated_json(output), "remarks", remarks);
}
