/* The healthy amp on the bench. */
#include "service_impl.h"

static bool bench_room(service_bench *bench) {
    size_t slots = solve_slots(bench->system);
    bench->arena = base_arena_new();
    bench->work = solve_work_new(bench->system);
    if (!bench->arena || !bench->work) return false;
    bench->numbers = base_arena_take(bench->arena, slots, sizeof(double));
    bench->x = base_arena_take(bench->arena, solve_unknowns(bench->system), sizeof(double));
    return bench->numbers && bench->x;
}

static void bench_numbers(service_bench *bench, double mains) {
    int slot = solve_slot_find(bench->system, -1, SOLVE_MAINS, 0);
    memcpy(bench->numbers, solve_nominal(bench->system),
           solve_slots(bench->system) * sizeof(double));
    if (slot >= 0 && isfinite(mains)) bench->numbers[slot] = mains;
}

static base_code complain(const service_bench *bench, base_errors *errors) {
    base_place place = {.file = circuit_about_of(bench->amp)->file};
    const solve_result *result = &bench->result;
    const char *near = NULL;
    if ((result->outcome == SOLVE_STALLED || result->outcome == SOLVE_SINGULAR) &&
        result->where >= 0 && (size_t)result->where < circuit_nodes(bench->amp))
        near = circuit_node_at(bench->amp, (size_t)result->where)->name;
    return base_errors_add(errors, BASE_UNSOLVED, place,
                           "the amp as drawn has no operating point that was found: %s%s%s"
                           "|look at what joins %s in the file: a value off by a thousand, a "
                           "missing path to ground, two pins swapped",
                           solve_outcome_text(result->outcome), near ? " at " : "",
                           near ? near : "", near ? near : "the supply");
}

base_code service_bench_open(service_bench *bench, const solve_system *system, double mains,
                             base_errors *errors) {
    *bench = (service_bench){.system = system, .amp = solve_circuit(system)};
    base_place place = {.file = circuit_about_of(bench->amp)->file};
    base_code code = BASE_OK;
    if (!bench_room(bench)) {
        code = base_errors_add(errors, BASE_MEMORY, place, "no memory left|close other programs");
    } else {
        bench_numbers(bench, mains);
        bench->result = solve_point(bench->work, bench->numbers, NULL, bench->x);
        if (bench->result.outcome > SOLVE_CONTINUED) code = complain(bench, errors);
    }
    if (code != BASE_OK) service_bench_close(bench);
    return code;
}

void service_bench_take(service_bench *bench, const double *numbers, const double *x) {
    memcpy(bench->numbers, numbers, solve_slots(bench->system) * sizeof(double));
    bench->result = solve_point(bench->work, bench->numbers, x, bench->x);
}

void service_bench_close(service_bench *bench) {
    solve_work_free(bench->work);
    base_arena_free(bench->arena);
    *bench = (service_bench){0};
}

base_code service_no_memory(base_errors *errors) {
    return base_errors_add(errors, BASE_MEMORY, (base_place){0},
                           "no memory left|close other programs");
}

double service_volts(service_bench *bench, int plus, int minus) {
    solve_probe probe = {.plus = plus, .minus = minus, .meter_ohms = INFINITY};
    if (plus < 0 || minus < 0 || plus == minus) return 0;
    if (!solve_probe_exists(bench->system, &probe)) return NAN;
    return solve_read(bench->work, bench->numbers, bench->x, &probe, NULL, NULL);
}
