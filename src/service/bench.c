/* The healthy amp on the bench, and how far a good one may depart from it. */
#include "service_impl.h"

/* Standard deviations of ln(number) where the file states no tolerance. Common practice, no
 * source: copper windings are wound to some 10 % (two sigma), a winding's turns to 3 %, hot heaters
 * agree within 5 %. */
#define WINDING_OHMS 0.05
#define WINDING_VOLTS 0.015
#define HEATER_OHMS 0.025

static double stated(const circuit_part *part, double otherwise) {
    return isfinite(part->tolerance) ? part->tolerance / 2 : otherwise;
}

static double spread_of_ohms(const circuit_part *part) {
    switch (part->kind) {
    case CIRCUIT_RESISTOR:
        return stated(part, 0.05);
    case CIRCUIT_POT:
        return stated(part, 0.10);
    case CIRCUIT_INDUCTOR:
    case CIRCUIT_WINDING:
    case CIRCUIT_OUTPUT_TRANSFORMER:
    case CIRCUIT_SPEAKER:
        return stated(part, WINDING_OHMS);
    default:
        return 0;
    }
}

double service_spread(const circuit *amp, const solve_slot *slot) {
    if (slot->part < 0) return 0;
    const circuit_part *part = circuit_part_at(amp, (size_t)slot->part);
    bool unit = part->tube && slot->which >= 0 && slot->which < part->tube->units;
    switch (slot->what) {
    case SOLVE_OHMS:
        return spread_of_ohms(part);
    case SOLVE_FARADS:
        return stated(part, 0.10);
    case SOLVE_VOLTS:
        return WINDING_VOLTS;
    case SOLVE_HEATER:
        return HEATER_OHMS;
    case SOLVE_EMISSION:
        return unit ? part->tube->unit[slot->which].spread : 0;
    case SOLVE_SCREEN:
        return unit ? part->tube->unit[slot->which].screen_spread : 0;
    default:
        return 0;
    }
}

static bool bench_room(service_bench *bench) {
    size_t slots = solve_slots(bench->system);
    bench->arena = base_arena_new();
    bench->work = solve_work_new(bench->system);
    if (!bench->arena || !bench->work) return false;
    bench->numbers = base_arena_take(bench->arena, slots, sizeof(double));
    bench->spread = base_arena_take(bench->arena, slots, sizeof(double));
    bench->gradient = base_arena_take(bench->arena, slots, sizeof(double));
    bench->x = base_arena_take(bench->arena, solve_unknowns(bench->system), sizeof(double));
    return bench->numbers && bench->spread && bench->gradient && bench->x;
}

static void bench_numbers(service_bench *bench, double mains, double mains_spread) {
    size_t slots = solve_slots(bench->system);
    memcpy(bench->numbers, solve_nominal(bench->system), slots * sizeof(double));
    for (size_t i = 0; i < slots; i++)
        bench->spread[i] = service_spread(bench->amp, solve_slot_at(bench->system, i));
    int slot = solve_slot_find(bench->system, -1, SOLVE_MAINS, 0);
    if (slot < 0) return;
    bench->spread[slot] = mains_spread;
    if (isfinite(mains)) bench->numbers[slot] = mains;
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
                             double mains_spread, base_errors *errors) {
    *bench = (service_bench){.system = system, .amp = solve_circuit(system)};
    base_place place = {.file = circuit_about_of(bench->amp)->file};
    base_code code = BASE_OK;
    if (!bench_room(bench)) {
        code = base_errors_add(errors, BASE_MEMORY, place, "no memory left|close other programs");
    } else {
        bench_numbers(bench, mains, mains_spread);
        bench->result = solve_point(bench->work, bench->numbers, NULL, bench->x);
        if (bench->result.outcome > SOLVE_CONTINUED) code = complain(bench, errors);
    }
    if (code != BASE_OK) service_bench_close(bench);
    return code;
}

void service_bench_close(service_bench *bench) {
    solve_work_free(bench->work);
    base_arena_free(bench->arena);
    *bench = (service_bench){0};
}

double service_volts(service_bench *bench, int plus, int minus) {
    solve_probe probe = {.plus = plus, .minus = minus, .meter_ohms = INFINITY};
    if (plus < 0 || minus < 0 || plus == minus) return 0;
    if (!solve_probe_exists(bench->system, &probe)) return NAN;
    return solve_read(bench->work, bench->numbers, bench->x, &probe, NULL, NULL);
}
