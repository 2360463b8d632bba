/* Gain and phase, hum and the tremolo as JSON: docs/json.md. */
#include "http.h"

#include <math.h>

#define WAVE_PERIODS 2 /* of the mains, in SERVICE_WAVE points */

/* ---- response ------------------------------------------------------------------------------ */

static json_t *stage_row(const service_gain *line) {
    return json_pack("{s:o,s:o,s:o,s:o,s:o}", "at", http_json_text(line->at), "what",
                     http_json_words(line->what), "gain", http_json_number(line->gain), "gain_db",
                     http_json_number(line->gain_db), "phase_deg",
                     http_json_number(line->phase_deg));
}

static json_t *sweep_row(const service_gain *line) {
    return json_pack("{s:o,s:o,s:o}", "hertz", http_json_number(line->hertz), "gain_db",
                     http_json_number(line->gain_db), "phase_deg",
                     http_json_number(line->phase_deg));
}

static json_t *control_row(const service_control *control) {
    return json_pack("{s:o,s:o,s:s,s:o}", "part", http_json_text(control->part), "what",
                     http_json_text(control->what), "kind", control->pot ? "pot" : "switch",
                     "position", http_json_number(control->position));
}

static json_t *input_row(const service_control *input) {
    return json_pack("{s:o,s:o}", "part", http_json_text(input->part), "what",
                     http_json_text(input->what));
}

json_t *http_json_response(const service_response *response) {
    json_t *stages = json_array(), *sweep = json_array(), *inputs = json_array(),
           *controls = json_array();
    for (size_t i = 0; i < response->stages; i++)
        stages = http_json_append(stages, stage_row(&response->stage[i]));
    for (size_t i = 0; i < response->points; i++)
        sweep = http_json_append(sweep, sweep_row(&response->sweep[i]));
    for (size_t i = 0; i < response->inputs; i++)
        inputs = http_json_append(inputs, input_row(&response->input[i]));
    for (size_t i = 0; i < response->controls; i++)
        controls = http_json_append(controls, control_row(&response->control[i]));
    const service_gain *to = &response->stage[response->to];
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "amp",
                     http_json_text(response->amp), "from", http_json_text(response->from), "to",
                     http_json_text(to->at), "hertz", http_json_number(to->hertz), "low_hz",
                     http_json_number(response->low_hz), "high_hz",
                     http_json_number(response->high_hz), "stages", stages, "sweep", sweep,
                     "inputs", inputs, "controls", controls);
}

/* ---- hum ----------------------------------------------------------------------------------- */

static json_t *line_row(const service_hum_line *line) {
    json_t *wave = json_array();
    for (size_t i = 0; i < SERVICE_WAVE; i++)
        wave = http_json_append(wave, http_json_number(line->wave[i]));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "at", http_json_text(line->at), "what",
                     http_json_text(line->what), "dc_v", http_json_number(line->dc), "mains_v",
                     http_json_number(line->once), "twice_v", http_json_number(line->twice),
                     "above_v", http_json_number(line->above), "wave", wave);
}

static json_t *hum_part_row(const service_hum_part *part) {
    return json_pack("{s:o,s:o,s:o,s:o,s:o}", "part", http_json_text(part->part), "about",
                     http_json_text(part->about), "unit", http_json_words(part->unit), "what",
                     http_json_text(part->what), "speaker_v", http_json_number(part->speaker_v));
}

json_t *http_json_hum(const service_hum *hum) {
    json_t *lines = json_array(), *parts = json_array(), *ms = json_array();
    for (size_t i = 0; i < hum->lines; i++)
        lines = http_json_append(lines, line_row(&hum->line[i]));
    for (size_t i = 0; i < hum->parts; i++)
        parts = http_json_append(parts, hum_part_row(&hum->part[i]));
    double step = 1e3 * WAVE_PERIODS / hum->mains_hz / (SERVICE_WAVE - 1);
    for (size_t i = 0; i < SERVICE_WAVE; i++)
        ms = http_json_append(ms, http_json_number(step * (double)i));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "amp", http_json_text(hum->amp), "mains_hz",
                     http_json_number(hum->mains_hz), "lines", lines, "parts", parts, "ms", ms,
                     "words", http_json_text(hum->words));
}

/* ---- tremolo ------------------------------------------------------------------------------- */

static json_t *oscillator(const service_tremolo *tremolo) {
    const solve_tremolo *found = &tremolo->found;
    if (!tremolo->tube) return json_null();
    return json_pack(
        "{s:o,s:o,s:o,s:o,s:b,s:o,s:o,s:o,s:o,s:o}", "tube", http_json_text(tremolo->tube), "type",
        http_json_text(tremolo->type), "unit", http_json_words(tremolo->unit), "does",
        http_json_text(tremolo->does), "starts", found->swing.swings, "hertz",
        http_json_number(found->swing.hertz), "growth_per_s", http_json_number(found->swing.growth),
        "gain_needed", http_json_number(found->gain), "emission_needed",
        http_json_number(found->emission), "reach", http_json_number(found->swing.reach));
}

static json_t *tremolo_part_row(const service_tremolo_part *part) {
    static const char *const effects[] = {"stops", "unheard", "slower", "faster", "none"};
    bool runs = part->effect != SOLVE_STOPS;
    return json_pack("{s:o,s:o,s:o,s:b,s:s,s:o}", "part", http_json_text(part->part), "about",
                     http_json_text(part->about), "what", http_json_text(part->what), "control",
                     part->control, "effect", effects[part->effect], "hertz",
                     http_json_number(runs ? part->hertz : NAN));
}

static json_t *mode_row(const solve_mode *mode) {
    return json_pack("{s:o,s:o,s:s}", "hertz", http_json_number(mode->hertz), "growth_per_s",
                     http_json_number(mode->growth), "words", service_mode_words(mode));
}

json_t *http_json_tremolo(const service_tremolo *tremolo) {
    json_t *parts = json_array(), *others = json_array(), *words = json_array();
    for (size_t i = 0; i < tremolo->parts; i++)
        parts = http_json_append(parts, tremolo_part_row(&tremolo->part[i]));
    for (size_t i = 0; i < tremolo->others; i++)
        others = http_json_append(others, mode_row(&tremolo->other[i]));
    for (size_t i = 0; tremolo->words[i]; i++)
        words = http_json_append(words, http_json_text(tremolo->words[i]));
    return json_pack("{s:o,s:o,s:o,s:o,s:o}", "amp", http_json_text(tremolo->amp), "oscillator",
                     oscillator(tremolo), "words", words, "parts", parts, "others", others);
}
