/* From the system's elements to those of the small-signal network. */
#include <math.h>

#include "signal_impl.h"

#define TURNS_UNSTATED_HENRIES 10.0 /* of an output transformer that states nothing at all */
#define LOWEST_HERTZ 50.0           /* the primary's reactance is its impedance here */

static int ours(const solve_signal *signal, int unknown) {
    return unknown < 0 ? -1 : signal->of_unknown[unknown];
}

static void number_unknowns(solve_signal *signal) {
    const solve_system *system = signal->system;
    for (int i = 0; i < system->unknowns; i++) {
        bool warm = i >= system->warm_from && i < system->warm_to;
        signal->of_unknown[i] = warm ? -1 : signal->unknowns++;
    }
}

static void add_store(solve_signal *signal, signal_store store) {
    signal->store[signal->stores++] = store;
}

/* ---- capacitors and tubes ---- */

static bool stands_in(const solve_system *system, int node) {
    return node == 0 || (node > 0 && solve_dc(system, node) >= 0);
}

static void add_capacitor(solve_signal *signal, int index, const circuit_part *part) {
    const solve_system *system = signal->system;
    if (!stands_in(system, part->end[0]) || !stands_in(system, part->end[1])) return;
    int a = ours(signal, solve_dc(system, part->end[0]));
    int esr = solve_slot_find(system, index, SOLVE_ESR, 0);
    if (esr >= 0) {
        int inner = signal->unknowns++;
        signal->esr[signal->esrs++] = (signal_esr){a, inner, esr};
        a = inner;
    }
    add_store(signal, (signal_store){.a = a,
                                     .b = ours(signal, solve_dc(system, part->end[1])),
                                     .farads = solve_slot_find(system, index, SOLVE_FARADS, 0)});
}

static void add_unit(solve_signal *signal, const solve_unit *unit) {
    const circuit_part *part = circuit_part_at(signal->system->amp, (size_t)unit->part);
    signal_farads farads = signal_farads_of(part->tube, unit->unit);
    int plate = ours(signal, unit->node[0]), cathode = ours(signal, unit->node[3]);
    add_store(signal, (signal_store){plate, cathode, -1, farads.cpk});
    if (unit->node[2] < 0) return;
    int grid = ours(signal, unit->node[2]);
    add_store(signal, (signal_store){grid, cathode, -1, farads.cgk});
    add_store(signal, (signal_store){grid, plate, -1, farads.cgp});
}

/* ---- coils ---- */

static void add_coil(solve_signal *signal, int branch, double henries) {
    if (!(henries > 0)) return;
    int current = signal->unknowns++;
    signal->replaced[branch] = true;
    signal->coil[signal->coils++] = (signal_coil){branch, current};
    add_store(signal, (signal_store){current, current, -1, -henries});
}

/* The primary's inductance, of the whole. Unstated: its reactance at 50 Hz is its impedance
 * (common practice, no source). */
static double primary_henries(const circuit_part *part) {
    if (part->henries > 0) return part->henries;
    if (part->primary_ohms > 0) return part->primary_ohms / (2 * M_PI * LOWEST_HERTZ);
    return TURNS_UNSTATED_HENRIES;
}

/* Half of a centre-tapped primary has half of its turns. */
static void add_transformer(solve_signal *signal, int index, const int *branch) {
    const circuit_part *part = circuit_part_at(signal->system->amp, (size_t)index);
    double ratio = part->ratio > 0 ? part->ratio : 1;
    signal_transformer made = {
        .part = index, .turns = branch[1] < 0 ? ratio : ratio / 2, .sense = 1};
    for (int k = 0; k < 3; k++) {
        made.branch[k] = branch[k];
        made.current[k] = branch[k] < 0 ? -1 : signal->unknowns++;
        if (branch[k] >= 0) signal->replaced[branch[k]] = true;
    }
    made.turn = signal->unknowns++;
    made.flux = signal->unknowns++;
    double henries = primary_henries(part) / (ratio * ratio);
    add_store(signal, (signal_store){made.flux, made.flux, -1, -henries});
    signal->transformer[signal->transformers++] = made;
}

static void add_winding(solve_signal *signal, int index) {
    const solve_system *system = signal->system;
    int branch[3] = {-1, -1, -1};
    for (size_t i = 0; i < system->branches; i++)
        if (!system->branch[i].heater && system->branch[i].part == index)
            branch[system->branch[i].piece] = (int)i;
    if (branch[0] >= 0) add_transformer(signal, index, branch);
}

static void add_inductor(solve_signal *signal, int index, const circuit_part *part) {
    const solve_system *system = signal->system;
    for (size_t i = 0; i < system->branches; i++)
        if (!system->branch[i].heater && system->branch[i].part == index)
            add_coil(signal, (int)i, part->value);
}

/* ---- the whole ---- */

static bool make_room(solve_signal *signal) {
    const solve_system *system = signal->system;
    size_t parts = circuit_parts(system->amp), most = parts + 3 * system->units;
    base_arena *arena = signal->arena;
    signal->of_unknown = base_arena_take(arena, (size_t)system->unknowns, sizeof(int));
    signal->replaced = base_arena_take(arena, system->branches + 1, sizeof(bool));
    signal->coil = base_arena_take(arena, parts, sizeof *signal->coil);
    signal->transformer = base_arena_take(arena, parts, sizeof *signal->transformer);
    signal->store = base_arena_take(arena, most, sizeof *signal->store);
    signal->esr = base_arena_take(arena, parts, sizeof *signal->esr);
    signal->gain = base_arena_take(arena, system->units + 1, sizeof(double));
    for (size_t i = 0; signal->gain && i < system->units; i++)
        signal->gain[i] = 1;
    return signal->of_unknown && signal->replaced && signal->coil && signal->transformer &&
           signal->store && signal->esr && signal->gain;
}

bool signal_make(solve_signal *signal) {
    const solve_system *system = signal->system;
    if (!make_room(signal)) return false;
    number_unknowns(signal);
    for (size_t i = 0; i < circuit_parts(system->amp); i++)
        if (circuit_part_at(system->amp, i)->kind == CIRCUIT_CAPACITOR)
            add_capacitor(signal, (int)i, circuit_part_at(system->amp, i));
    signal->currents_from = signal->unknowns;
    for (size_t i = 0; i < circuit_parts(system->amp); i++) {
        const circuit_part *part = circuit_part_at(system->amp, i);
        if (part->kind == CIRCUIT_INDUCTOR) add_inductor(signal, (int)i, part);
        if (part->kind == CIRCUIT_OUTPUT_TRANSFORMER) add_winding(signal, (int)i);
    }
    for (size_t i = 0; i < system->units; i++)
        add_unit(signal, &system->unit[i]);
    return true;
}
