/* Tubes in their sockets: a contact behind each pin, the units between the inner ends, and the
 * heaters in the layer of rms heater volts. */
#include "solve_impl.h"

#define CONTACT 0.05         /* ohms of a good socket contact */
#define HEATER_CONTACT 0.005 /* the same, in a heater's own current */

static bool is_rectifier(const solve_system *system, int tube) {
    for (size_t i = 0; i < circuit_parts(system->amp); i++) {
        const circuit_part *part = circuit_part_at(system->amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.tube == tube) return true;
    }
    return false;
}

static bool heater_pin(const tube_type *type, int pin) {
    return type->pin[pin].electrode == TUBE_HEATER || type->pin[pin].electrode == TUBE_HEATER_TAP;
}

static bool wanted_pin(const tube_type *type, int pin) {
    tube_electrode electrode = type->pin[pin].electrode;
    return electrode >= TUBE_PLATE && electrode <= TUBE_CATHODE;
}

/* The unknown behind a pin, made with its contact when first asked for. */
static int behind_pin(solve_system *system, int index, int pin) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)index);
    int *inner = &system->inner_pin[index * CIRCUIT_ENDS + pin];
    int node = part->end[pin];
    if (*inner >= 0 || node < 0 || (node > 0 && solve_dc(system, node) < 0)) return *inner;
    int slot = solve_slot_find(system, index, SOLVE_CONTACT, pin);
    solve_branch branch = {.a = solve_dc(system, node),
                           .b = system->unknowns,
                           .slot = {slot},
                           .slots = 1,
                           .factor = 1,
                           .emf = -1,
                           .part = index,
                           .piece = pin};
    if (slot < 0 || !solve_branch_add(system, branch)) return -1;
    system->node_of[system->unknowns] = node;
    return *inner = system->unknowns++;
}

static bool make_contacts(solve_system *system, int index, const circuit_part *part) {
    for (int pin = 1; pin <= part->tube->pins; pin++) {
        if (part->end[pin] < 0 || !(wanted_pin(part->tube, pin) || heater_pin(part->tube, pin)))
            continue;
        bool heats = heater_pin(part->tube, pin) || is_rectifier(system, index);
        double ohms = heats ? HEATER_CONTACT : CONTACT;
        if (solve_slot_add(system, (solve_slot){index, SOLVE_CONTACT, pin, ohms}) < 0) return false;
    }
    double ohms = part->tube->heater_v / part->tube->heater_a;
    return solve_slot_add(system, (solve_slot){index, SOLVE_HEATER, 0, ohms}) >= 0;
}

/* ---- heaters ---- */

static int find_pin(const circuit_part *part, tube_electrode electrode, int from) {
    for (int pin = from; pin <= part->tube->pins; pin++)
        if (part->tube->pin[pin].electrode == electrode && part->end[pin] >= 0) return pin;
    return 0;
}

/* A directly heated rectifier's filament ends are its heater; where the supply is taken one of
 * them is written as the cathode. */
static int other_heater_pin(const circuit_part *part, int first) {
    int second = find_pin(part, TUBE_HEATER, first + 1);
    if (second == 0) second = find_pin(part, TUBE_CATHODE, 1);
    return second == first ? 0 : second;
}

static bool heater_branch(solve_system *system, int index, int a, int b, double factor) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)index);
    int slot = solve_slot_find(system, index, SOLVE_HEATER, 0);
    solve_branch branch = {.slot = {slot},
                           .slots = 1,
                           .factor = factor,
                           .emf = -1,
                           .part = index,
                           .piece = a,
                           .heater = true};
    branch.a = solve_warm(system, part->end[a]);
    branch.b = solve_warm(system, part->end[b]);
    int pins[2] = {a, b};
    for (int k = 0; k < 2; k++) {
        int contact = solve_slot_find(system, index, SOLVE_CONTACT, pins[k]);
        if (contact >= 0) branch.slot[branch.slots++] = contact;
    }
    if (branch.a < 0 && branch.b < 0) return true;
    if (!solve_branch_add(system, branch)) return false;
    branch.heater = false; /* the same wire at DC */
    branch.a = solve_dc(system, part->end[a]);
    branch.b = solve_dc(system, part->end[b]);
    bool drawn = (part->end[a] == 0 || branch.a >= 0) && (part->end[b] == 0 || branch.b >= 0);
    return !drawn || solve_branch_add(system, branch) != NULL;
}

/* With the mid-tap joined the heater is two halves; without, one. A pilot-lamp tap of a rectifier
 * is left alone: its lamp shares little of the string. */
static bool make_heater(solve_system *system, int index, const circuit_part *part) {
    int first = find_pin(part, TUBE_HEATER, 1);
    int tap = is_rectifier(system, index) ? 0 : find_pin(part, TUBE_HEATER_TAP, 1);
    int second = first ? other_heater_pin(part, first) : 0;
    if (first && tap && second)
        return heater_branch(system, index, first, tap, 0.5) &&
               heater_branch(system, index, second, tap, 0.5);
    if (first && tap) return heater_branch(system, index, first, tap, 0.5);
    return !first || !second || heater_branch(system, index, first, second, 1);
}

/* With a mid-tap, the half on the lower pin warms the unit on pins 1 to 3 (from memory). */
static bool warms(const circuit_part *part, int unit, int heater_first_pin) {
    if (part->tube->units != 2 || part->tube->unit[unit].pin[TUBE_PLATE] == 0) return true;
    int lower = find_pin(part, TUBE_HEATER, 1);
    bool low_unit = part->tube->unit[unit].pin[TUBE_PLATE] <= 3;
    return (heater_first_pin == lower) == low_unit;
}

solve_heat solve_heat_of(const solve_system *system, int part_index, int unit) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)part_index);
    solve_heat heat = {.rated_a = part->tube->heater_a};
    int found[2], count = 0;
    for (size_t i = 0; i < system->branches && count < 2; i++)
        if (system->branch[i].heater && system->branch[i].part == part_index)
            found[count++] = (int)i;
    for (int k = 0; k < count; k++)
        if (count == 1 || warms(part, unit, system->branch[found[k]].piece))
            heat.branch[heat.branches++] = found[k];
    return heat;
}

/* ---- the units ---- */

static bool leak(solve_system *system, solve_slot slot, int a, int b) {
    int index = solve_slot_add(system, slot);
    if (index < 0) return false;
    solve_branch branch = {
        .a = a, .b = b, .slot = {index}, .slots = 1, .factor = 1, .emf = -1, .part = -1};
    return solve_branch_add(system, branch) != NULL;
}

static bool make_leaks(solve_system *system, const solve_unit *unit) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)unit->part);
    int p = unit->part, u = unit->unit, heater = find_pin(part, TUBE_HEATER, 1);
    int warm = heater ? solve_dc(system, part->end[heater]) : -1;
    bool drawn = heater && (part->end[heater] == 0 || warm >= 0);
    if (drawn &&
        !leak(system, (solve_slot){p, SOLVE_HEATER_LEAK, u, SOLVE_NONE}, unit->node[3], warm))
        return false;
    if (unit->node[2] < 0) return true;
    return leak(system, (solve_slot){p, SOLVE_GRID_LEAK, u, SOLVE_NONE}, unit->node[2],
                unit->node[3]) &&
           leak(system, (solve_slot){p, SOLVE_PLATE_SHORT, u, SOLVE_NONE}, unit->node[0],
                unit->node[2]);
}

static bool make_unit(solve_system *system, int index, int u) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)index);
    const tube_unit *type = &part->tube->unit[u];
    static const tube_electrode order[4] = {TUBE_PLATE, TUBE_SCREEN, TUBE_GRID, TUBE_CATHODE};
    solve_unit unit = {.part = index, .unit = u, .type = type};
    for (int k = 0; k < 4; k++)
        unit.node[k] = type->pin[order[k]] ? behind_pin(system, index, type->pin[order[k]]) : -1;
    if (unit.node[0] < 0 || unit.node[3] < 0) return true; /* a unit that is not used */
    unit.emission = solve_slot_add(system, (solve_slot){index, SOLVE_EMISSION, u, 1});
    if (type->kind == TUBE_DIODE) {
        system->diode[system->diodes++] = (solve_diode){.part = index,
                                                        .a = unit.node[0],
                                                        .b = unit.node[3],
                                                        .ohms = -1,
                                                        .emission = unit.emission,
                                                        .curve = &type->curve};
        return unit.emission >= 0;
    }
    unit.screen =
        unit.node[1] < 0 ? -1 : solve_slot_add(system, (solve_slot){index, SOLVE_SCREEN, u, 1});
    unit.gas = solve_slot_add(system, (solve_slot){index, SOLVE_GAS, u, 0});
    unit.heat = solve_heat_of(system, index, u);
    system->unit[system->units++] = unit;
    return unit.gas >= 0 && make_leaks(system, &unit);
}

static bool make_rectifier_tube(solve_system *system, int index, const circuit_part *part) {
    for (int u = 0; u < part->tube->units; u++)
        if (solve_slot_add(system, (solve_slot){index, SOLVE_EMISSION, u, 1}) < 0) return false;
    return true;
}

static bool make_tube(solve_system *system, int index, const circuit_part *part) {
    if (!make_contacts(system, index, part) || !make_heater(system, index, part)) return false;
    if (is_rectifier(system, index)) return make_rectifier_tube(system, index, part);
    for (int u = 0; u < part->tube->units; u++)
        if (!make_unit(system, index, u)) return false;
    return true;
}

bool solve_make_tubes(solve_system *system) {
    for (size_t i = 0; i < circuit_parts(system->amp); i++) {
        const circuit_part *part = circuit_part_at(system->amp, i);
        if (part->kind == CIRCUIT_TUBE && !make_tube(system, (int)i, part)) return false;
    }
    return true;
}
