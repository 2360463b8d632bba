/* Gain and phase from an input to every stage, and over frequency. */
#include "signal_impl.h"

#include <complex.h>

#define GENERATOR_OHMS 600.0 /* of a usual signal generator; common practice, no source */
#define HALVINGS 12          /* of the step between two points, to find an edge */

typedef struct finder {
    service_signal at;
    const solve_system *system;
    const circuit *amp;
    const service_response_ask *ask;
    service_response *out;
    base_errors *errors;
    solve_source source;
    int jack; /* -1: from a node */
    solve_stage *stage;
    solve_scope scope; /* its node is set for each place */
} finder;

/* ---- where it goes in ---------------------------------------------------------------------- */

static bool drives_speaker(const circuit *amp, const circuit_part *jack) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_SPEAKER &&
            (part->end[0] == jack->end[0] || part->end[1] == jack->end[0]))
            return true;
    }
    return false;
}

static bool has_signal(const finder *f, int node) {
    solve_probe probe = {.plus = node, .meter_ohms = INFINITY};
    return node > 0 && solve_probe_exists(f->system, &probe);
}

static bool is_input(const finder *f, const circuit_part *part) {
    return part->kind == CIRCUIT_JACK && has_signal(f, part->end[0]) &&
           !drives_speaker(f->amp, part);
}

static base_code no_signal(finder *f, const char *called, const char *name) {
    return base_errors_add(f->errors, BASE_UNKNOWN, (base_place){.file = called},
                           "%.60s carries no signal|name a jack, a tube's pin or a node of the "
                           "signal's path",
                           name);
}

static base_code from_jack(finder *f, int index) {
    const circuit_part *part = circuit_part_at(f->amp, (size_t)index);
    f->jack = index;
    f->out->from = base_arena_text(f->out->arena, part->name);
    f->out->from_what = part->what;
    f->source = (solve_source){part->end[0], part->end[1] > 0 ? part->end[1] : 0, GENERATOR_OHMS};
    return has_signal(f, part->end[0]) ? BASE_OK : no_signal(f, f->ask->from.called, part->name);
}

static base_code from_place(finder *f, const service_spot *from) {
    circuit_place place;
    base_code code = circuit_place_find(f->amp, from->text, (base_place){.file = from->called},
                                        &place, f->errors);
    if (code != BASE_OK) return code;
    f->out->from = base_arena_text(f->out->arena, from->text);
    f->source = (solve_source){place.node, 0, GENERATOR_OHMS};
    return has_signal(f, place.node) ? BASE_OK : no_signal(f, from->called, from->text);
}

static base_code find_source(finder *f) {
    const service_spot *from = &f->ask->from;
    int jack = from->text ? circuit_part_find(f->amp, from->text) : -1;
    f->jack = -1;
    for (size_t i = 0; i < circuit_parts(f->amp) && !from->text && jack < 0; i++)
        if (is_input(f, circuit_part_at(f->amp, i))) jack = (int)i;
    if (jack >= 0 && circuit_part_at(f->amp, (size_t)jack)->kind == CIRCUIT_JACK)
        return from_jack(f, jack);
    if (from->text) return from_place(f, from);
    return base_errors_add(f->errors, BASE_UNKNOWN, (base_place){.file = from->called},
                           "the amp has no input jack|say where the signal goes in: %s V1.2",
                           from->called);
}

static bool list_inputs(finder *f) {
    service_response *out = f->out;
    out->input = base_arena_take(out->arena, circuit_parts(f->amp) + 1, sizeof *out->input);
    for (size_t i = 0; out->input && i < circuit_parts(f->amp); i++) {
        const circuit_part *part = circuit_part_at(f->amp, i);
        if (is_input(f, part))
            out->input[out->inputs++] = (service_control){.part = part->name, .what = part->what};
    }
    return out->input != NULL;
}

/* ---- where it is looked for ---------------------------------------------------------------- */

static bool name_stage(finder *f, size_t index) {
    const solve_stage *stage = &f->stage[index];
    service_gain *line = &f->out->stage[index];
    const circuit_part *part = circuit_part_at(f->amp, (size_t)stage->part);
    line->again = index > 0 && f->stage[index - 1].plus == stage->plus;
    if (stage->unit < 0) {
        line->at = part->name;
        line->what = "speaker";
        return true;
    }
    bool plate = part->tube->unit[stage->unit].pin[TUBE_PLATE] == stage->pin;
    line->at = base_arena_print(f->out->arena, "%s.%d", part->name, stage->pin);
    line->what = plate ? "plate" : "cathode";
    return line->at != NULL;
}

static base_code to_place(finder *f, const service_spot *to) {
    service_response *out = f->out;
    circuit_place place;
    base_code code =
        circuit_place_find(f->amp, to->text, (base_place){.file = to->called}, &place, f->errors);
    if (code != BASE_OK) return code;
    if (!has_signal(f, place.node)) return no_signal(f, to->called, to->text);
    for (size_t i = 0; i < out->stages; i++)
        if (f->stage[i].plus == place.node && f->stage[i].minus == 0) {
            out->to = i;
            return BASE_OK;
        }
    out->to = out->stages;
    f->stage[out->stages] = (solve_stage){place.part, -2, place.pin, place.node, 0};
    out->stage[out->stages++] =
        (service_gain){.at = base_arena_text(out->arena, to->text), .what = ""};
    return BASE_OK;
}

static base_code find_target(finder *f) {
    service_response *out = f->out;
    out->to = out->stages ? out->stages - 1 : 0;
    for (size_t i = out->stages; i-- > 0;)
        if (f->stage[i].unit < 0) out->to = i;
    if (f->ask->to.text) {
        int part = circuit_part_find(f->amp, f->ask->to.text);
        for (size_t i = 0; i < out->stages; i++)
            if (f->stage[i].unit == -1 && f->stage[i].part == part) {
                out->to = i;
                return BASE_OK;
            }
        return to_place(f, &f->ask->to);
    }
    return out->stages ? BASE_OK : no_signal(f, f->ask->to.called, "no stage of this amp");
}

static base_code find_stages(finder *f) {
    service_response *out = f->out;
    size_t count = solve_stages(f->system, NULL, 0);
    f->stage = base_arena_take(out->arena, count + 1, sizeof *f->stage);
    out->stage = base_arena_take(out->arena, count + 1, sizeof *out->stage);
    if (!f->stage || !out->stage || !list_inputs(f)) return service_no_memory(f->errors);
    out->stages = solve_stages(f->system, f->stage, count);
    for (size_t i = 0; i < out->stages; i++)
        if (!name_stage(f, i)) return service_no_memory(f->errors);
    return find_target(f);
}

/* ---- gains --------------------------------------------------------------------------------- */

static double complex gain_at(finder *f, size_t stage, double hertz) {
    const solve_stage *place = &f->stage[stage];
    f->scope.node = place->plus;
    if (solve_signal_at(f->at.signal, &f->source, &f->scope, hertz) != SOLVE_CONVERGED) return NAN;
    return solve_signal_volts(f->at.signal, place->plus) -
           solve_signal_volts(f->at.signal, place->minus);
}

static bool set_gain(service_gain *line, double hertz, double complex gain) {
    double turned = carg(gain) * 180 / M_PI;
    line->hertz = hertz;
    line->gain = cabs(gain);
    line->gain_db = 20 * log10(line->gain);
    line->phase_deg = turned <= -179.5 ? 180 : turned;
    return !isnan(line->gain);
}

static bool find_gains(finder *f) {
    const service_response_ask *ask = f->ask;
    service_response *out = f->out;
    double octaves = log2(ask->high / ask->low);
    double steps = fmin(fmax(round(ask->per_octave * octaves), 2), SERVICE_SWEEP_MOST - 1);
    out->sweep = base_arena_take(out->arena, (size_t)steps + 1, sizeof *out->sweep);
    if (!out->sweep) return false;
    for (size_t i = 0; i < out->stages; i++)
        if (!set_gain(&out->stage[i], ask->hertz, gain_at(f, i, ask->hertz))) return false;
    for (out->points = 0; out->points <= (size_t)steps; out->points++) {
        double hertz = ask->low * pow(ask->high / ask->low, (double)out->points / steps);
        service_gain *line = &out->sweep[out->points];
        if (!set_gain(line, hertz, gain_at(f, out->to, hertz))) return false;
        if (line->gain > out->sweep[out->most].gain) out->most = out->points;
    }
    return true;
}

/* Between `out`, where the gain is 3 dB down, and `in`, where it is not. */
static double edge(finder *f, double out, double in, double level) {
    for (int k = 0; k < HALVINGS; k++) {
        double middle = sqrt(out * in);
        *(cabs(gain_at(f, f->out->to, middle)) < level ? &out : &in) = middle;
    }
    return sqrt(out * in);
}

static void find_edges(finder *f) {
    service_response *out = f->out;
    const service_gain *row = out->sweep;
    double level = row[out->most].gain * sqrt(0.5);
    out->low_hz = out->high_hz = NAN;
    for (size_t i = out->most; i-- > 0 && isnan(out->low_hz);)
        if (row[i].gain < level) out->low_hz = edge(f, row[i].hertz, row[i + 1].hertz, level);
    for (size_t i = out->most + 1; i < out->points && isnan(out->high_hz); i++)
        if (row[i].gain < level) out->high_hz = edge(f, row[i].hertz, row[i - 1].hertz, level);
}

static base_code find(finder *f) {
    base_code code = find_source(f);
    if (code == BASE_OK) code = find_stages(f);
    if (code != BASE_OK) return code;
    if (!service_controls_list(f->system, &f->ask->stand, f->out->arena, &f->out->control,
                               &f->out->controls))
        return service_no_memory(f->errors);
    code = service_signal_open(&f->at, f->system, &f->ask->stand, f->jack, f->errors);
    if (code != BASE_OK) return code;
    if (find_gains(f))
        find_edges(f);
    else
        code = service_unsolved(f->amp, f->out->sweep ? SOLVE_SINGULAR : SOLVE_NO_MEMORY,
                                "the signal's way could not be solved", f->errors);
    service_signal_close(&f->at);
    return code;
}

service_response *service_response_of(const solve_system *system, const service_response_ask *ask,
                                      base_errors *errors) {
    base_arena *arena = base_arena_new();
    service_response *out = arena ? base_arena_take(arena, 1, sizeof *out) : NULL;
    if (!out) {
        base_arena_free(arena);
        service_no_memory(errors);
        return NULL;
    }
    finder f = {.system = system, .amp = solve_circuit(system), .ask = ask, .out = out};
    f.errors = errors;
    f.scope = ask->scope;
    out->arena = arena;
    out->amp = circuit_about_of(f.amp)->name;
    if (find(&f) == BASE_OK) return out;
    service_response_free(out);
    return NULL;
}

void service_response_free(service_response *response) {
    if (response) base_arena_free(response->arena);
}
