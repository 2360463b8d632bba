/* The chart as JSON: docs/json.md. */
#include "http.h"

static json_t *line_row(const service_line *line) {
    return json_pack(
        "{s:o,s:o,s:s,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "at", http_json_text(line->at), "what",
        http_json_text(line->what), "quantity", line->heater ? "heater volts" : "DC volts", "volts",
        http_json_number(line->volts), "shown", http_json_number(line->shown), "low",
        http_json_number(line->low), "high", http_json_number(line->high), "source_ohms",
        http_json_number(line->source_ohms), "printed", http_json_number(line->printed),
        "printed_shown", http_json_number(line->printed_shown));
}

static json_t *rating_row(const service_tube *tube, const service_rating *rating) {
    return json_pack("{s:o,s:o,s:o,s:o,s:o}", "system", http_json_text(rating->system), "plate_w",
                     http_json_number(rating->plate_w), "screen_w",
                     http_json_number(rating->screen_w), "plate_percent",
                     http_json_number(100 * tube->plate_w / rating->plate_w), "source",
                     http_json_text(rating->source));
}

static json_t *tube_row(const service_tube *tube) {
    json_t *ratings = json_array();
    for (int i = 0; i < tube->ratings; i++)
        ratings = http_json_append(ratings, rating_row(tube, &tube->rating[i]));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:b,s:o}", "tube",
                     http_json_text(tube->tube), "type", http_json_text(tube->type), "unit",
                     http_json_words(tube->unit), "plate_v", http_json_number(tube->plate_v),
                     "screen_v", http_json_number(tube->screen_v), "grid_v",
                     http_json_number(tube->grid_v), "cathode_v", http_json_number(tube->cathode_v),
                     "plate_ma", http_json_number(tube->plate_a * 1e3), "screen_ma",
                     http_json_number(tube->screen_a * 1e3), "plate_w",
                     http_json_number(tube->plate_w), "screen_w", http_json_number(tube->screen_w),
                     "heater_ratio", http_json_number(tube->heater_ratio), "trusted", tube->inside,
                     "ratings", ratings);
}

static json_t *rectifier_row(const service_rectifier *line) {
    const solve_supply *supply = &line->supply;
    return json_pack(
        "{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "name", http_json_text(line->name), "dc_v",
        http_json_number(supply->dc_v), "dc_ma", http_json_number(supply->dc_a * 1e3),
        "ripple_pp_v", http_json_number(supply->ripple_pp_v), "ripple_hz",
        http_json_number(supply->ripple_hz), "peak_ma", http_json_number(supply->peak_a * 1e3),
        "peak_inverse_v", http_json_number(supply->peak_inverse_v), "dc_limit_ma",
        http_json_number(line->dc_limit_a * 1e3), "peak_limit_ma",
        http_json_number(line->peak_limit_a * 1e3));
}

json_t *http_json_chart(const service_chart *chart) {
    json_t *lines = json_array(), *tubes = json_array(), *rectifiers = json_array();
    for (size_t i = 0; i < chart->lines; i++)
        lines = http_json_append(lines, line_row(&chart->line[i]));
    for (size_t i = 0; i < chart->tubes; i++)
        tubes = http_json_append(tubes, tube_row(&chart->tube[i]));
    for (size_t i = 0; i < chart->rectifiers; i++)
        rectifiers = http_json_append(rectifiers, rectifier_row(&chart->rectifier[i]));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "amp", http_json_text(chart->amp),
                     "mains_v", http_json_number(chart->mains_v), "mains_hz",
                     http_json_number(chart->mains_hz), "meter", http_json_meter(&chart->meter),
                     "outcome", http_json_text(solve_outcome_text(chart->result.outcome)), "lines",
                     lines, "tubes", tubes, "rectifiers", rectifiers);
}
