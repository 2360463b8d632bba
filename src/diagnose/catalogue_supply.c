/* How windings, rectifiers and what feeds the primary fail. */
#include "diagnose_impl.h"

#define OPEN_OHMS 1e10
#define NO_VOLTS 1e-3

static void lose_volts(diagnose_maker *maker, int half) {
    int volts = diagnose_maker_slot(maker, SOLVE_VOLTS, half);
    if (volts < 0) return;
    diagnose_fault *turns = diagnose_maker_add(maker, DIAGNOSE_TURNS_SHORTED, half);
    diagnose_fault_grid(turns, 4, 0.93, 0.5);
    diagnose_fault_follows(turns, volts, maker->bench->numbers[volts]);
}

static void open_half(diagnose_maker *maker, int half) {
    int ohms = diagnose_maker_slot(maker, SOLVE_OHMS, half);
    if (ohms >= 0)
        diagnose_fault_sets(diagnose_maker_add(maker, DIAGNOSE_OPEN, half), ohms, OPEN_OHMS);
}

void diagnose_catalogue_winding(diagnose_maker *maker) {
    if (maker->stress.part->winding.primary) {
        diagnose_catalogue_dead(maker, DIAGNOSE_OPEN, 0);
        return;
    }
    int first = diagnose_maker_slot(maker, SOLVE_VOLTS, 0);
    int second = diagnose_maker_slot(maker, SOLVE_VOLTS, 1);
    for (int half = 0; half < 2; half++) {
        open_half(maker, half);
        lose_volts(maker, half);
    }
    if (first < 0 || second < 0) return;
    diagnose_fault *missing = diagnose_maker_add(maker, DIAGNOSE_SUPPLY_MISSING, 0);
    diagnose_fault_sets(missing, first, NO_VOLTS);
    diagnose_fault_sets(missing, second, NO_VOLTS);
}

/* With the primary's circuit open nothing in the amp has volts. */
void diagnose_catalogue_dead(diagnose_maker *maker, diagnose_mode mode, int which) {
    int mains = solve_slot_find(maker->bench->system, -1, SOLVE_MAINS, 0);
    if (mains >= 0)
        diagnose_fault_sets(diagnose_maker_add(maker, mode, which), mains,
                            maker->bench->numbers[mains] * NO_VOLTS);
}

/* Is this fuse or switch in the mains side: on a node of alternating current, but not in the leads
 * of a rectifier? */
bool diagnose_catalogue_in_primary(const diagnose_maker *maker) {
    const diagnose_bench *bench = maker->bench;
    const circuit_part *part = maker->stress.part;
    for (size_t i = 0; i < circuit_parts(bench->amp); i++) {
        const circuit_part *other = circuit_part_at(bench->amp, i);
        if (other->kind != CIRCUIT_RECTIFIER) continue;
        for (int k = 0; k < 4; k++) {
            if (other->rectifier.through[k] < 0) break;
            if (other->rectifier.through[k] == maker->part) return false;
        }
    }
    for (int end = 0; end < part->ends; end++) {
        solve_probe probe = {.plus = part->end[end], .meter_ohms = INFINITY};
        if (part->end[end] > 0 && !solve_probe_exists(bench->system, &probe)) return true;
    }
    return false;
}

/* A tube's own faults are listed with the tube; here silicon and selenium. */
void diagnose_catalogue_rectifier(diagnose_maker *maker) {
    if (maker->stress.part->rectifier.tube >= 0) return;
    int first = diagnose_maker_slot(maker, SOLVE_OHMS, 0);
    int second = diagnose_maker_slot(maker, SOLVE_OHMS, 1);
    if (first >= 0 && second >= 0)
        for (int side = 0; side < 2; side++)
            open_half(maker, side);
    if (first < 0) return;
    diagnose_fault *missing = diagnose_maker_add(maker, DIAGNOSE_SUPPLY_MISSING, 0);
    diagnose_fault_sets(missing, first, OPEN_OHMS);
    diagnose_fault_sets(missing, second, OPEN_OHMS);
}
