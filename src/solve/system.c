/* From a circuit to the list of its unknowns, slots and elements. */
#include <math.h>
#include <string.h>

#include "solve_impl.h"

#define CHAIN_OHMS                                                                                 \
    1e3 /* a resistor up to this much in a heater line belongs to the heater layer                 \
         */

int solve_slot_add(solve_system *system, solve_slot slot) {
    if (system->slots == system->slot_room) return -1;
    system->slot[system->slots] = slot;
    system->nominal[system->slots] = slot.nominal;
    return (int)system->slots++;
}

solve_branch *solve_branch_add(solve_system *system, solve_branch branch) {
    if (system->branches == system->branch_room) return NULL;
    system->branch[system->branches] = branch;
    return &system->branch[system->branches++];
}

int solve_dc(const solve_system *system, int node) {
    return node < 0 ? -1 : system->dc_of_node[node];
}

int solve_warm(const solve_system *system, int node) {
    return node < 0 ? -1 : system->heater_of_node[node];
}

/* ---- which nodes carry alternating current only ---- */

static void mark_ends(const circuit_part *part, bool *marks) {
    for (int k = 0; k < part->ends; k++)
        if (part->end[k] > 0) marks[part->end[k]] = true;
}

static void mark_rectifier(const circuit *amp, const circuit_part *part, bool *ac) {
    const circuit_rectifier *rectifier = &part->rectifier;
    if (rectifier->winding >= 0) mark_ends(circuit_part_at(amp, (size_t)rectifier->winding), ac);
    for (int k = 0; k < 4 && rectifier->through[k] >= 0; k++)
        mark_ends(circuit_part_at(amp, (size_t)rectifier->through[k]), ac);
    if (rectifier->tube < 0) return;
    const circuit_part *tube = circuit_part_at(amp, (size_t)rectifier->tube);
    for (int u = 0; u < tube->tube->units; u++) {
        int node = tube->end[tube->tube->unit[u].pin[TUBE_PLATE]];
        if (node > 0) ac[node] = true;
    }
}

/* The rectifiers' own ends, and the middle of a doubler, are DC nodes whatever feeds them. */
static void unmark_rectifier(const circuit *amp, const circuit_part *part, bool *ac) {
    ac[part->end[0]] = ac[part->end[1]] = false;
    if (part->rectifier.form == CIRCUIT_DOUBLER && part->rectifier.winding >= 0) {
        const circuit_part *winding = circuit_part_at(amp, (size_t)part->rectifier.winding);
        ac[winding->end[winding->ends - 1]] = false;
    }
}

static void mark_ac(const circuit *amp, bool *ac) {
    size_t parts = circuit_parts(amp);
    for (size_t i = 0; i < parts; i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_RECTIFIER)
            mark_rectifier(amp, part, ac);
        else if (part->kind == CIRCUIT_WINDING && part->winding.primary)
            mark_ends(part, ac);
    }
    for (size_t n = 1; n < circuit_nodes(amp); n++)
        if (strcmp(circuit_node_at(amp, n)->name, "line") == 0) ac[n] = true;
    for (size_t i = 0; i < parts; i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_RECTIFIER) unmark_rectifier(amp, part, ac);
    }
}

/* ---- which nodes belong to the heater layer ---- */

static void mark_heater_pins(const circuit_part *part, bool *warm) {
    for (int pin = 1; pin <= part->tube->pins; pin++) {
        tube_electrode electrode = part->tube->pin[pin].electrode;
        if (electrode == TUBE_HEATER || electrode == TUBE_HEATER_TAP)
            if (part->end[pin] > 0) warm[part->end[pin]] = true;
    }
}

static bool chains_heaters(const circuit_part *part) {
    return part->kind == CIRCUIT_FUSE || part->kind == CIRCUIT_LAMP ||
           part->kind == CIRCUIT_SWITCH ||
           (part->kind == CIRCUIT_RESISTOR && part->value <= CHAIN_OHMS);
}

/* A dropping resistor, fuse or switch in a heater line carries the layer on to its other end. */
static bool extend_heaters(const circuit *amp, bool *warm) {
    bool more = false;
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (!chains_heaters(part) || part->end[0] <= 0 || part->end[1] <= 0) continue;
        if (warm[part->end[0]] != warm[part->end[1]])
            more = warm[part->end[0]] = warm[part->end[1]] = true;
    }
    return more;
}

static bool has_primary(const circuit *amp) {
    for (size_t i = 0; i < circuit_parts(amp); i++)
        if (circuit_part_at(amp, i)->kind == CIRCUIT_WINDING) return true;
    return false;
}

static void mark_heaters(const circuit *amp, bool *warm) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_WINDING && part->winding.heater)
            mark_ends(part, warm);
        else if (part->kind == CIRCUIT_TUBE)
            mark_heater_pins(part, warm);
    }
    if (!has_primary(amp))
        for (size_t n = 1; n < circuit_nodes(amp); n++) {
            const char *name = circuit_node_at(amp, n)->name;
            if (strcmp(name, "line") == 0 || strcmp(name, "neutral") == 0) warm[n] = true;
        }
    while (extend_heaters(amp, warm))
        continue;
}

base_code solve_make_nodes(solve_system *system, base_errors *errors) {
    size_t nodes = circuit_nodes(system->amp);
    bool *ac = base_arena_take(system->arena, nodes, sizeof *ac);
    bool *warm = base_arena_take(system->arena, nodes, sizeof *warm);
    system->dc_of_node = base_arena_take(system->arena, nodes, sizeof(int));
    system->heater_of_node = base_arena_take(system->arena, nodes, sizeof(int));
    size_t room = 2 * nodes + circuit_parts(system->amp) * CIRCUIT_ENDS;
    system->node_of = base_arena_take(system->arena, room, sizeof(int));
    if (!ac || !warm || !system->dc_of_node || !system->heater_of_node || !system->node_of)
        return base_errors_add(errors, BASE_MEMORY, (base_place){0},
                               "no memory left|close "
                               "other programs");
    mark_ac(system->amp, ac);
    mark_heaters(system->amp, warm);
    system->dc_of_node[0] = system->heater_of_node[0] = -1;
    for (size_t n = 1; n < nodes; n++) {
        system->dc_of_node[n] = ac[n] ? -1 : system->unknowns;
        if (!ac[n]) system->node_of[system->unknowns++] = (int)n;
    }
    system->warm_from = system->unknowns;
    for (size_t n = 1; n < nodes; n++) {
        system->heater_of_node[n] = warm[n] ? system->unknowns : -1;
        if (warm[n]) system->node_of[system->unknowns++] = (int)n;
    }
    system->warm_to = system->unknowns;
    return BASE_OK;
}

/* ---- the whole ---- */

/* Room enough for any part: a socket has a contact for each pin and six numbers for each unit. */
static bool make_room(solve_system *system) {
    size_t parts = circuit_parts(system->amp);
    system->slot_room = parts * 4 + 2;
    system->branch_room = parts * 4 + 2;
    for (size_t i = 0; i < parts; i++)
        if (circuit_part_at(system->amp, i)->kind == CIRCUIT_TUBE) {
            system->slot_room += CIRCUIT_ENDS + 1 + 6 * TUBE_UNITS;
            system->branch_room += CIRCUIT_ENDS + 2 + 3 * TUBE_UNITS;
        }
    base_arena *arena = system->arena;
    system->slot = base_arena_take(arena, system->slot_room, sizeof *system->slot);
    system->nominal = base_arena_take(arena, system->slot_room, sizeof *system->nominal);
    system->branch = base_arena_take(arena, system->branch_room, sizeof *system->branch);
    system->unit = base_arena_take(arena, parts * TUBE_UNITS, sizeof *system->unit);
    system->diode = base_arena_take(arena, parts * TUBE_UNITS, sizeof *system->diode);
    system->cycle = base_arena_take(arena, parts * 2, sizeof *system->cycle);
    system->inner_pin = base_arena_take(arena, parts * CIRCUIT_ENDS, sizeof *system->inner_pin);
    return system->slot && system->nominal && system->branch && system->unit && system->diode &&
           system->cycle && system->inner_pin;
}

static bool make_elements(solve_system *system) {
    double mains = circuit_about_of(system->amp)->mains_volts;
    if (!make_room(system)) return false;
    system->mains = solve_slot_add(system, (solve_slot){-1, SOLVE_MAINS, 0, mains});
    /* A silicon rectifier: 0.6 V and then steep; selenium: some 5 V at 20 mA for the few plates of
     * a bias supply. Common practice, no source. */
    system->silicon = (tube_curve){.perveance = 1.0};
    system->selenium = (tube_curve){.perveance = 1.8e-3};
    for (int k = 0; k < CYCLE_STEPS; k++)
        system->sine[k] = sin(2 * M_PI * k / CYCLE_STEPS);
    return solve_make_parts(system) && solve_make_tubes(system) && solve_make_supplies(system) &&
           solve_make_pattern(system);
}

solve_system *solve_system_new(const circuit *amp, base_errors *errors) {
    base_place nowhere = {.file = circuit_about_of(amp)->file};
    if (circuit_nodes(amp) < 2) {
        base_errors_add(errors, BASE_CIRCUIT, nowhere,
                        "the amp joins nothing to anything|join parts to nodes with `at:`");
        return NULL;
    }
    base_arena *arena = base_arena_new();
    solve_system *system = arena ? base_arena_take(arena, 1, sizeof *system) : NULL;
    if (!system) {
        base_arena_free(arena);
        base_errors_add(errors, BASE_MEMORY, nowhere, "no memory left|close other programs");
        return NULL;
    }
    *system = (solve_system){.amp = amp, .arena = arena};
    klu_defaults(&system->common);
    system->common.scale = -1; /* conductances dominate the diagonal: rows need no scaling */
    if (solve_make_nodes(system, errors) == BASE_OK && make_elements(system)) return system;
    if (base_errors_worst(errors) == BASE_OK)
        base_errors_add(errors, BASE_MEMORY, nowhere,
                        "the equations could not be set up|close other programs");
    solve_system_free(system);
    return NULL;
}

void solve_system_free(solve_system *system) {
    if (!system) return;
    if (system->symbolic) klu_free_symbolic(&system->symbolic, &system->common);
    base_arena_free(system->arena);
}

/* ---- looking at it ---- */

const circuit *solve_circuit(const solve_system *system) {
    return system->amp;
}

size_t solve_unknowns(const solve_system *system) {
    return (size_t)system->unknowns;
}

size_t solve_slots(const solve_system *system) {
    return system->slots;
}

const solve_slot *solve_slot_at(const solve_system *system, size_t index) {
    return &system->slot[index];
}

const double *solve_nominal(const solve_system *system) {
    return system->nominal;
}

int solve_slot_find(const solve_system *system, int part, solve_what what, int which) {
    for (size_t i = 0; i < system->slots; i++) {
        const solve_slot *slot = &system->slot[i];
        if (slot->part == part && slot->what == what && slot->which == which) return (int)i;
    }
    return -1;
}
