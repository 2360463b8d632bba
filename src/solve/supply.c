/* Rectifiers: what feeds each side, through which ohms, into which first capacitor or choke. */
#include <string.h>

#include "solve_impl.h"

#define DIODE_OHMS 0.05 /* of a good diode, beyond its own drop */

static bool add_ohms(solve_side *side, int slot) {
    if (slot < 0) return true;
    if (side->ohm_slots == CYCLE_OHMS) return false;
    side->ohms[side->ohm_slots++] = slot;
    return true;
}

static const circuit_part *primary_of(const solve_system *system, const char *transformer,
                                      int *index) {
    for (size_t i = 0; i < circuit_parts(system->amp); i++) {
        const circuit_part *part = circuit_part_at(system->amp, i);
        *index = (int)i;
        if (part->kind == CIRCUIT_WINDING && part->winding.primary &&
            strcmp(part->winding.transformer, transformer) == 0)
            return part;
    }
    *index = -1;
    return NULL;
}

/* Fuse, resistor, or switch in the side's lead. */
static bool add_through(solve_system *system, const circuit_rectifier *from, int number,
                        solve_side *side) {
    for (int k = 0; k < 4 && from->through[k] >= 0; k++) {
        if (from->side[k] != 0 && from->side[k] != number + 1) continue;
        int slot = solve_slot_find(system, from->through[k], SOLVE_OHMS, 0);
        for (int way = 1; slot < 0 && way < CIRCUIT_WAYS; way++)
            slot = solve_slot_find(system, from->through[k], SOLVE_CONTACT, way);
        if (!add_ohms(side, slot)) return false;
    }
    return true;
}

/* The contacts of the plate's and the cathode's pins are in series with the unit. */
static bool add_tube(solve_system *system, int tube, int unit, solve_side *side) {
    const tube_unit *type = &circuit_part_at(system->amp, (size_t)tube)->tube->unit[unit];
    side->unit = unit;
    side->emission = solve_slot_find(system, tube, SOLVE_EMISSION, unit);
    return add_ohms(side, solve_slot_find(system, tube, SOLVE_CONTACT, type->pin[TUBE_PLATE])) &&
           add_ohms(side, solve_slot_find(system, tube, SOLVE_CONTACT, type->pin[TUBE_CATHODE]));
}

/* Silicon and selenium: the ohms in series with one side, which open when it does. */
static bool add_diode(solve_system *system, const circuit_part *part, int number,
                      solve_side *side) {
    int index = circuit_part_find(system->amp, part->name);
    int slot = solve_slot_add(system, (solve_slot){index, SOLVE_OHMS, number, DIODE_OHMS});
    return slot >= 0 && add_ohms(side, slot);
}

/* Side `number` of a rectifier, fed by half `half` of the winding. */
static bool make_side(solve_system *system, const circuit_part *part, int number, int half,
                      solve_side *side) {
    const circuit_rectifier *from = &part->rectifier;
    *side = (solve_side){.volts = -1,
                         .drawn = 1,
                         .primary = -1,
                         .emission = -1,
                         .unit = number,
                         .phase_sign = number == 0 ? 1 : -1};
    if (from->winding >= 0) {
        const circuit_part *winding = circuit_part_at(system->amp, (size_t)from->winding);
        int primary;
        const circuit_part *first = primary_of(system, winding->winding.transformer, &primary);
        side->volts = solve_slot_find(system, from->winding, SOLVE_VOLTS, half);
        if (first) {
            side->drawn = first->winding.volts[0];
            side->primary = solve_slot_find(system, primary, SOLVE_OHMS, 0);
        }
        if (!add_ohms(side, solve_slot_find(system, from->winding, SOLVE_OHMS, half))) return false;
    }
    if (!add_through(system, from, number, side)) return false;
    if (from->tube < 0) return add_diode(system, part, number, side);
    int units = circuit_part_at(system->amp, (size_t)from->tube)->tube->units;
    return add_tube(system, from->tube, number < units ? number : units - 1, side);
}

/* ---- the first capacitor ---- */

static bool low_ohms(const circuit_part *part) {
    return part->kind == CIRCUIT_FUSE || part->kind == CIRCUIT_SWITCH;
}

/* All nodes that closed contacts and fuses join to this one. */
static void spread(const circuit *amp, bool *near) {
    for (bool more = true; more;) {
        more = false;
        for (size_t i = 0; i < circuit_parts(amp); i++) {
            const circuit_part *part = circuit_part_at(amp, i);
            int way = part->kind == CIRCUIT_SWITCH ? (int)part->position : 1;
            if (!low_ohms(part) || way < 1 || part->end[0] < 0 || part->end[way] < 0) continue;
            if (near[part->end[0]] != near[part->end[way]])
                more = near[part->end[0]] = near[part->end[way]] = true;
        }
    }
}

static bool spans(const circuit_part *part, const bool *a, const bool *b) {
    int x = part->end[0], y = part->end[1];
    return x >= 0 && y >= 0 && ((a[x] && b[y]) || (a[y] && b[x]));
}

/* The capacitors from output to return; failing those, the choke from the output onwards. */
static bool find_filter(solve_system *system, solve_cycle *cycle, int out, int ret) {
    const circuit *amp = system->amp;
    bool *from = base_arena_take(system->arena, circuit_nodes(amp), sizeof(bool));
    bool *to = base_arena_take(system->arena, circuit_nodes(amp), sizeof(bool));
    if (!from || !to) return false;
    from[out] = to[ret] = true;
    spread(amp, from);
    spread(amp, to);
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind != CIRCUIT_CAPACITOR || !spans(part, from, to) || cycle->caps == CYCLE_CAPS)
            continue;
        cycle->esr[cycle->caps] = solve_slot_find(system, (int)i, SOLVE_ESR, 0);
        cycle->cap[cycle->caps++] = solve_slot_find(system, (int)i, SOLVE_FARADS, 0);
    }
    for (size_t i = 0; i < circuit_parts(amp) && cycle->caps == 0; i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_INDUCTOR && part->end[0] >= 0 && part->end[1] >= 0 &&
            (from[part->end[0]] || from[part->end[1]]))
            cycle->henries = part->value;
    }
    return true;
}

/* ---- the forms ---- */

static const tube_curve *curve_of(const solve_system *system, const circuit_part *part) {
    if (part->rectifier.tube >= 0)
        return &circuit_part_at(system->amp, (size_t)part->rectifier.tube)->tube->unit[0].curve;
    return part->material == CIRCUIT_SELENIUM ? &system->selenium : &system->silicon;
}

static solve_cycle *add_cycle(solve_system *system, int index, int out, int ret) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)index);
    solve_cycle *cycle = &system->cycle[system->cycles++];
    *cycle = (solve_cycle){.part = index,
                           .out = solve_dc(system, out),
                           .ret = solve_dc(system, ret),
                           .sign = part->rectifier.negative ? -1 : 1,
                           .sides = 1,
                           .curve = curve_of(system, part),
                           .stack = part->rectifier.form == CIRCUIT_BRIDGE ? 2 : 1,
                           .hertz = circuit_about_of(system->amp)->mains_hertz};
    if (part->rectifier.tube >= 0)
        cycle->heat = solve_heat_of(system, part->rectifier.tube, 0);
    else
        cycle->offset = 0.6 * cycle->stack;
    return find_filter(system, cycle, out, ret) ? cycle : NULL;
}

/* A doubler is two half-wave rectifiers in series about the winding's far end. */
static bool make_doubler(solve_system *system, int index, const circuit_part *part) {
    const circuit_part *winding = circuit_part_at(system->amp, (size_t)part->rectifier.winding);
    int middle = winding->end[winding->ends - 1];
    solve_cycle *upper = add_cycle(system, index, part->end[0], middle);
    solve_cycle *lower = add_cycle(system, index, middle, part->end[1]);
    if (!upper || !lower || !make_side(system, part, 0, 0, &upper->side[0])) return false;
    if (!make_side(system, part, 1, 0, &lower->side[0])) return false;
    return true;
}

static bool make_supply(solve_system *system, int index, const circuit_part *part) {
    if (part->rectifier.form == CIRCUIT_DOUBLER && part->rectifier.winding >= 0)
        return make_doubler(system, index, part);
    solve_cycle *cycle = add_cycle(system, index, part->end[0], part->end[1]);
    if (!cycle) return false;
    bool halves = part->rectifier.form == CIRCUIT_FULL_WAVE;
    cycle->sides = part->rectifier.form == CIRCUIT_HALF_WAVE ? 1 : 2;
    for (int k = 0; k < cycle->sides; k++)
        if (!make_side(system, part, k, halves ? k : part->rectifier.from_b, &cycle->side[k]))
            return false;
    return true;
}

bool solve_make_supplies(solve_system *system) {
    for (size_t i = 0; i < circuit_parts(system->amp); i++) {
        const circuit_part *part = circuit_part_at(system->amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && !make_supply(system, (int)i, part)) return false;
    }
    return true;
}
