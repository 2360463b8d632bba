/* How tubes fail: each unit, each pin of the socket, the bulb as a whole. */
#include "diagnose_impl.h"

#define OPEN_OHMS 1e10
#define NO_EMISSION 1e-6
#define TOUCHING_OHMS 10.0 /* electrodes that touch inside a bulb */

static int node_of(const diagnose_maker *maker, int unit, tube_electrode electrode) {
    const circuit_part *part = maker->stress.part;
    int pin = part->tube->unit[unit].pin[electrode];
    return pin ? part->end[pin] : -1;
}

/* Ohms that the healthy amp shows between two electrodes; `otherwise` where it shows none. */
static double ohms_at(const diagnose_maker *maker, int unit, tube_electrode electrode,
                      double otherwise) {
    double ohms = NAN;
    int node = node_of(maker, unit, electrode);
    if (node > 0) diagnose_bench_volts(maker->bench, node, 0, &ohms);
    return ohms > 1 ? ohms : otherwise;
}

static void add_emission(diagnose_maker *maker, int unit) {
    int slot = diagnose_maker_slot(maker, SOLVE_EMISSION, unit);
    if (slot < 0) return;
    diagnose_fault *weak = diagnose_maker_add(maker, DIAGNOSE_WEAK, unit);
    diagnose_fault_grid(weak, 5, 0.80, 0.12);
    diagnose_fault_follows(weak, slot, 1);
    diagnose_fault_sets(diagnose_maker_add(maker, DIAGNOSE_NO_EMISSION, unit), slot, NO_EMISSION);
}

/* Grid current goes with plate current: from 1 to 100 microamperes in an output tube of 40 mA.
 * Common practice, no source. */
static void add_gas(diagnose_maker *maker, int unit) {
    int slot = diagnose_maker_slot(maker, SOLVE_GAS, unit);
    if (slot < 0) return;
    diagnose_fault *gassy = diagnose_maker_add(maker, DIAGNOSE_GASSY, unit);
    diagnose_fault_grid(gassy, 6, 2.5e-5, 5e-3);
    diagnose_fault_follows(gassy, slot, 1);
}

static void add_leaks(diagnose_maker *maker, int unit) {
    int slot = diagnose_maker_slot(maker, SOLVE_GRID_LEAK, unit);
    if (slot >= 0)
        diagnose_fault_sets(diagnose_maker_add(maker, DIAGNOSE_GRID_CATHODE_SHORT, unit), slot,
                            TOUCHING_OHMS);
    slot = diagnose_maker_slot(maker, SOLVE_PLATE_SHORT, unit);
    if (slot >= 0) {
        double ohms = ohms_at(maker, unit, TUBE_GRID, 220e3);
        diagnose_fault *leak = diagnose_maker_add(maker, DIAGNOSE_PLATE_GRID_LEAK, unit);
        diagnose_fault_grid(leak, 6, fmin(300 * ohms, 1e9), fmax(ohms, 1e4));
        diagnose_fault_follows(leak, slot, 1);
    }
    slot = diagnose_maker_slot(maker, SOLVE_HEATER_LEAK, unit);
    if (slot >= 0) {
        double ohms = ohms_at(maker, unit, TUBE_CATHODE, 1e3);
        diagnose_fault *leak = diagnose_maker_add(maker, DIAGNOSE_HEATER_CATHODE_LEAK, unit);
        diagnose_fault_grid(leak, 5, fmin(500 * ohms, 1e7), fmax(ohms / 2, 200));
        diagnose_fault_follows(leak, slot, 1);
    }
}

static void add_bulb(diagnose_maker *maker) {
    int slot = diagnose_maker_slot(maker, SOLVE_HEATER, 0);
    if (slot >= 0)
        diagnose_fault_sets(diagnose_maker_add(maker, DIAGNOSE_HEATER_OPEN, 0), slot, OPEN_OHMS);
    const circuit_part *part = maker->stress.part;
    for (int pin = 1; pin <= part->tube->pins; pin++) {
        slot = diagnose_maker_slot(maker, SOLVE_CONTACT, pin);
        if (slot >= 0)
            diagnose_fault_sets(diagnose_maker_add(maker, DIAGNOSE_PIN_OPEN, pin), slot, OPEN_OHMS);
    }
}

/* Both plates of a rectifier share a cathode and grow weak together. */
static void add_rectifier(diagnose_maker *maker) {
    int units = maker->stress.part->tube->units;
    diagnose_fault *weak = diagnose_maker_add(maker, DIAGNOSE_WEAK, -1);
    diagnose_fault_grid(weak, 4, 0.7, 0.05);
    for (int unit = 0; unit < units; unit++) {
        int slot = diagnose_maker_slot(maker, SOLVE_EMISSION, unit);
        if (slot < 0) continue;
        diagnose_fault_follows(weak, slot, 1);
        if (units > 1)
            diagnose_fault_sets(diagnose_maker_add(maker, DIAGNOSE_NO_EMISSION, unit), slot,
                                NO_EMISSION);
    }
}

void diagnose_catalogue_tube(diagnose_maker *maker, bool rectifies) {
    if (rectifies) {
        add_rectifier(maker);
    } else {
        for (int unit = 0; unit < maker->stress.part->tube->units; unit++) {
            add_emission(maker, unit);
            add_gas(maker, unit);
            add_leaks(maker, unit);
        }
    }
    add_bulb(maker);
}
