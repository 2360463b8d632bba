/* Which places the voltage chart has: tube by tube and pin by pin, then the supply nodes, then the
 * differences across the parts whose current matters. */
#include "service_impl.h"

/* ---- lines --------------------------------------------------------------------------------- */

typedef struct lister {
    const solve_system *system;
    const circuit *amp;
    base_arena *arena;
    service_places *places;
    bool *supply; /* by node */
    bool failed;
} lister;

static const char *pin_name(lister *list, const circuit_part *part, int pin) {
    const char *name = base_arena_print(list->arena, "%s.%d", part->name, pin);
    if (!name) list->failed = true;
    return name;
}

static const char *difference(lister *list, const char *plus, const char *minus) {
    if (!plus || !minus) return NULL; /* and it is said already */
    const char *name = base_arena_print(list->arena, "%s-%s", plus, minus);
    if (!name) list->failed = true;
    return name;
}

static void add(lister *list, service_line line, solve_probe probe) {
    service_places *places = list->places;
    bool grounded = probe.plus == probe.minus;
    probe.meter_ohms = INFINITY;
    if (!line.at || places->count == places->room) return;
    if (!grounded && !solve_probe_exists(list->system, &probe)) return;
    line.heater = probe.heater;
    line.printed = line.printed_shown = NAN;
    if (probe.minus == 0 && !probe.heater && strcmp(line.what, "across") != 0)
        line.printed = circuit_node_at(list->amp, (size_t)probe.plus)->printed;
    places->line[places->count] = line;
    places->probe[places->count++] = probe;
}

static const char *electrode_word(const tube_type *type, int pin) {
    static const char *const words[] = {"tie point", "plate",      "screen", "grid",
                                        "cathode",   "suppressor", "heater", "heater"};
    const tube_pin *at = &type->pin[pin];
    bool unit = at->unit >= 0 && at->unit < type->units;
    if (at->electrode == TUBE_PLATE && unit && type->unit[at->unit].kind == TUBE_DIODE)
        return "diode";
    return words[at->electrode];
}

/* The heater is one line. */
static void add_heater(lister *list, size_t index) {
    const circuit_part *part = circuit_part_at(list->amp, index);
    int first, last;
    if (!circuit_heater_pins(part, &first, &last)) return;
    const char *at = difference(list, pin_name(list, part, first), pin_name(list, part, last));
    add(list, (service_line){.at = at, .what = "heater", .part = (int)index, .pin = first},
        (solve_probe){.plus = part->end[first], .minus = part->end[last], .heater = true});
}

static void add_tube(lister *list, size_t index) {
    const circuit_part *part = circuit_part_at(list->amp, index);
    for (int pin = 1; pin <= part->tube->pins; pin++) {
        tube_electrode electrode = part->tube->pin[pin].electrode;
        int node = part->end[pin];
        bool tie = electrode == TUBE_NONE;
        if (electrode == TUBE_HEATER || electrode == TUBE_HEATER_TAP || node < 0) continue;
        if (tie && (node == 0 || circuit_node_at(list->amp, (size_t)node)->leads < 2)) continue;
        add(list,
            (service_line){.at = pin_name(list, part, pin),
                           .what = electrode_word(part->tube, pin),
                           .part = (int)index,
                           .pin = pin},
            (solve_probe){.plus = node});
    }
    add_heater(list, index);
}

static bool listed(const service_places *places, const char *at) {
    for (size_t i = 0; i < places->count; i++)
        if (strcmp(places->line[i].at, at) == 0) return true;
    return false;
}

static void add_supplies(lister *list) {
    for (size_t node = 1; node < circuit_nodes(list->amp); node++) {
        const char *name = circuit_node_at(list->amp, node)->name;
        if (!list->supply[node] || listed(list->places, name)) continue;
        add(list, (service_line){.at = name, .what = "supply", .part = -1, .pin = -1},
            (solve_probe){.plus = (int)node});
    }
}

/* Is an electrode of that kind joined to this node? */
static bool electrode_at(const circuit *amp, int node, tube_electrode electrode) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind != CIRCUIT_TUBE || part->tube->unit[0].kind == TUBE_DIODE) continue;
        for (int pin = 1; pin <= part->tube->pins; pin++)
            if (part->end[pin] == node && part->tube->pin[pin].electrode == electrode) return true;
    }
    return false;
}

static bool tells_current(const lister *list, const circuit_part *part) {
    int a = part->end[0], b = part->end[1];
    if (a < 0 || b < 0 || a == b) return false;
    if (part->kind == CIRCUIT_INDUCTOR) return true;
    if (part->kind != CIRCUIT_RESISTOR) return false;
    if (a == 0 || b == 0) return electrode_at(list->amp, a ? a : b, TUBE_CATHODE);
    return (list->supply[a] && list->supply[b]) || electrode_at(list->amp, a, TUBE_SCREEN) ||
           electrode_at(list->amp, b, TUBE_SCREEN);
}

static void add_halves(lister *list, size_t index) {
    const circuit_part *part = circuit_part_at(list->amp, index);
    for (int end = 0; end <= 2 && end < part->ends; end += 2) { /* past them, the speaker's ends */
        if (part->end[end] <= 0 || part->end[1] <= 0) continue;
        const char *plate = circuit_node_at(list->amp, (size_t)part->end[end])->name;
        const char *supply = circuit_node_at(list->amp, (size_t)part->end[1])->name;
        add(list,
            (service_line){.at = difference(list, supply, plate),
                           .what = "across",
                           .part = (int)index,
                           .pin = -1},
            (solve_probe){.plus = part->end[1], .minus = part->end[end]});
    }
}

static void add_across(lister *list) {
    for (size_t i = 0; i < circuit_parts(list->amp); i++) {
        const circuit_part *part = circuit_part_at(list->amp, i);
        if (part->kind == CIRCUIT_OUTPUT_TRANSFORMER) add_halves(list, i);
        if (!tells_current(list, part)) continue;
        add(list, (service_line){.at = part->name, .what = "across", .part = (int)i, .pin = -1},
            (solve_probe){.plus = part->end[0], .minus = part->end[1]});
    }
}

static size_t room_needed(const circuit *amp) {
    size_t room = circuit_nodes(amp);
    for (size_t i = 0; i < circuit_parts(amp); i++)
        room += circuit_part_at(amp, i)->kind == CIRCUIT_TUBE ? TUBE_PINS + 1 : 2;
    return room;
}

bool service_places_list(const solve_system *system, base_arena *arena, service_places *places) {
    const circuit *amp = solve_circuit(system);
    *places = (service_places){.room = room_needed(amp)};
    places->line = base_arena_take(arena, places->room, sizeof *places->line);
    places->probe = base_arena_take(arena, places->room, sizeof *places->probe);
    places->good = base_arena_take(arena, places->room, sizeof *places->good);
    lister list = {.system = system, .amp = amp, .arena = arena, .places = places};
    list.supply = base_arena_take(arena, circuit_nodes(amp), sizeof *list.supply);
    if (!places->line || !places->probe || !places->good || !list.supply) return false;
    if (!diagnose_supply_nodes(amp, list.supply)) return false;
    for (size_t i = 0; i < circuit_parts(amp); i++)
        if (circuit_part_at(amp, i)->kind == CIRCUIT_TUBE) add_tube(&list, i);
    add_supplies(&list);
    add_across(&list);
    return !list.failed;
}
