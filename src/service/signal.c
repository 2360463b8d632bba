/* A healthy amp solved and linearised, its controls where they are asked to be. */
#include "signal_impl.h"

base_code service_unsolved(const circuit *amp, solve_outcome outcome, const char *what,
                           base_errors *errors) {
    if (outcome == SOLVE_NO_MEMORY) return service_no_memory(errors);
    return base_errors_add(errors, BASE_UNSOLVED, (base_place){.file = circuit_about_of(amp)->file},
                           "%s|gridleak check says what is odd in the file", what);
}

const char *service_about(base_arena *arena, const circuit_part *part) {
    const char *value = part->kind == CIRCUIT_TUBE ? part->tube->name : part->written;
    return base_arena_print(arena, "%s%s%s", value ? value : "", value && part->what ? ", " : "",
                            part->what ? part->what : "");
}

/* ---- the controls -------------------------------------------------------------------------- */

static bool is_signal_switch(const solve_system *system, const circuit_part *part,
                             const bool *supply) {
    int way = (int)part->position;
    if (part->kind != CIRCUIT_SWITCH || way < 1 || way >= part->ends) return false;
    for (int k = 0; k <= way; k += way) {
        solve_probe probe = {.plus = part->end[k], .meter_ohms = INFINITY};
        if (part->end[k] < 0 || (part->end[k] > 0 && supply[part->end[k]])) return false;
        if (part->end[k] > 0 && !solve_probe_exists(system, &probe)) return false;
    }
    return true;
}

static double stands_at(const service_stand *stand, const circuit_part *part) {
    for (size_t i = stand->turns; i-- > 0;)
        if (strcmp(stand->turn[i].part, part->name) == 0) return stand->turn[i].position;
    return part->kind == CIRCUIT_POT ? part->position : 1;
}

bool service_controls_list(const solve_system *system, const service_stand *stand,
                           base_arena *arena, service_control **control, size_t *controls) {
    const circuit *amp = solve_circuit(system);
    bool *supply = base_arena_take(arena, circuit_nodes(amp), sizeof *supply);
    service_control *list = base_arena_take(arena, circuit_parts(amp) + 1, sizeof *list);
    size_t count = 0;
    if (!supply || !list || !diagnose_supply_nodes(amp, supply)) return false;
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        bool pot = part->kind == CIRCUIT_POT;
        if (pot || is_signal_switch(system, part, supply))
            list[count++] = (service_control){part->name, part->what, pot, stands_at(stand, part)};
    }
    *control = list;
    *controls = count;
    return true;
}

static base_code turn(service_signal *at, const service_turn *turn, base_errors *errors) {
    base_place place = {.file = turn->part};
    int part = circuit_part_find(at->bench.amp, turn->part);
    if (!(turn->position >= 0 && turn->position <= 10))
        return base_errors_add(errors, BASE_VALUE, place,
                               "no control stands at %g|a control goes from 0 to 10",
                               turn->position);
    if (part >= 0 && solve_turn(at->bench.system, part, turn->position, at->bench.numbers))
        return BASE_OK;
    return base_errors_add(errors, BASE_UNKNOWN, place,
                           "the amp has no control `%.40s` that can be turned|name a pot, or a "
                           "switch that is closed in the file",
                           turn->part);
}

/* ---- the amp ------------------------------------------------------------------------------- */

static base_code settle(service_signal *at, const service_stand *stand, int jack,
                        base_errors *errors) {
    service_bench *bench = &at->bench;
    base_code code = BASE_OK;
    for (size_t i = 0; i < stand->turns && code == BASE_OK; i++)
        code = turn(at, &stand->turn[i], errors);
    if (code != BASE_OK) return code;
    if (jack >= 0) solve_plug_in(bench->system, jack, bench->numbers);
    bench->result = solve_point(bench->work, bench->numbers, bench->x, bench->x);
    if (bench->result.outcome > SOLVE_CONTINUED)
        return service_unsolved(bench->amp, bench->result.outcome,
                                "with its controls so the amp has no operating point that was "
                                "found",
                                errors);
    solve_signal_set(at->signal, bench->work, bench->numbers, bench->x);
    return BASE_OK;
}

base_code service_signal_open(service_signal *at, const solve_system *system,
                              const service_stand *stand, int jack, base_errors *errors) {
    *at = (service_signal){0};
    base_code code = service_bench_open(&at->bench, system, stand->mains, errors);
    if (code != BASE_OK) return code;
    at->signal = solve_signal_new(system);
    code = at->signal ? settle(at, stand, jack, errors) : service_no_memory(errors);
    if (code != BASE_OK) service_signal_close(at);
    return code;
}

void service_signal_close(service_signal *at) {
    solve_signal_free(at->signal);
    service_bench_close(&at->bench);
    *at = (service_signal){0};
}

solve_trial service_signal_trial(const service_signal *at) {
    return (solve_trial){at->signal, at->bench.work, at->bench.numbers, at->bench.x};
}
