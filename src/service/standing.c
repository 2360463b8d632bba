/* The moment after the switch: the rectifier works and no tube draws current yet, so that every
 * capacitor of the supply stands at the peak of its winding. A tube rectifier that warms slowly
 * spares the amp this; one with a filament, or silicon, does not. */
#include "standing_impl.h"

#define COLD 1e-6 /* emission of a tube that is not warm yet, as a part of the warm one's */

static void cool(const service_bench *bench, double *numbers) {
    for (size_t i = 0; i < solve_slots(bench->system); i++) {
        const solve_slot *slot = solve_slot_at(bench->system, i);
        if (slot->what != SOLVE_EMISSION) continue;
        const tube_type *type = circuit_part_at(bench->amp, (size_t)slot->part)->tube;
        if (type->unit[slot->which].kind != TUBE_DIODE) numbers[i] *= COLD;
    }
}

/* Keeps what is more than `most` says. */
static void keep_most(service_bench *bench, double *most) {
    for (size_t i = 0; i < circuit_parts(bench->amp); i++) {
        const circuit_part *part = circuit_part_at(bench->amp, i);
        if (part->kind != CIRCUIT_CAPACITOR) continue;
        double volts = service_volts(bench, part->end[0], part->end[1]);
        if (fabs(volts) > fabs(most[i])) most[i] = volts;
    }
}

/* The cold amp where it has a point of its own; without one the hot volts stand alone. false: no
 * memory. */
static bool keep_cold(service_bench *bench, double *numbers, double *x, double *most) {
    service_bench cold = *bench;
    cold.numbers = numbers;
    cold.x = x;
    cool(bench, numbers);
    solve_outcome outcome = solve_point(bench->work, numbers, bench->x, x).outcome;
    if (outcome <= SOLVE_CONTINUED) keep_most(&cold, most);
    return outcome != SOLVE_NO_MEMORY;
}

double *service_standing(service_bench *bench, base_arena *arena) {
    size_t slots = solve_slots(bench->system), unknowns = solve_unknowns(bench->system);
    double *most = base_arena_take(arena, circuit_parts(bench->amp) + 1, sizeof *most);
    double *numbers = base_arena_take(arena, slots, sizeof *numbers);
    double *x = base_arena_take(arena, unknowns, sizeof *x);
    if (!most || !numbers || !x) return NULL;
    memcpy(numbers, bench->numbers, slots * sizeof *numbers);
    keep_most(bench, most);
    return keep_cold(bench, numbers, x, most) ? most : NULL;
}
