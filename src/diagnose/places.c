/* Where a probe can go: tube pins, supply nodes, pots, the other joints of the DC paths, and the
 * differences across the parts whose current matters. Each node once, under the name that the
 * technician finds it by. */
#include "diagnose_impl.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct lister {
    const solve_system *system;
    const circuit *amp;
    base_arena *arena;
    diagnose_place_list *places;
    bool *supply, *listed; /* by node */
    bool failed;
} lister;

/* ---- supply nodes ------------------------------------------------------------------------- */

static bool carries_supply(const circuit_part *part) {
    return part->kind == CIRCUIT_RESISTOR || part->kind == CIRCUIT_INDUCTOR ||
           part->kind == CIRCUIT_FUSE || part->kind == CIRCUIT_SWITCH;
}

static void spread_supply(const circuit *amp, bool *reached) {
    for (bool more = true; more;) {
        more = false;
        for (size_t i = 0; i < circuit_parts(amp); i++) {
            const circuit_part *part = circuit_part_at(amp, i);
            if (!carries_supply(part) || part->end[0] <= 0 || part->end[1] <= 0) continue;
            if (reached[part->end[0]] == reached[part->end[1]]) continue;
            reached[part->end[0]] = reached[part->end[1]] = more = true;
        }
    }
}

/* From one microfarad to ground it is a filter capacitor. Common practice, no source. */
static int filtered_node(const circuit_part *part) {
    if (part->kind != CIRCUIT_CAPACITOR || part->end[0] < 0 || part->end[1] < 0) return 0;
    if ((part->end[0] == 0) == (part->end[1] == 0)) return 0;
    bool large = part->material == CIRCUIT_ELECTROLYTIC || part->value >= 1e-6;
    return large ? part->end[0] + part->end[1] : 0;
}

bool diagnose_supply_nodes(const circuit *amp, bool *supply) {
    size_t nodes = circuit_nodes(amp);
    bool *reached = calloc(nodes, sizeof *reached);
    if (!reached) return false;
    memset(supply, 0, nodes * sizeof *supply);
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && part->end[0] > 0)
            reached[part->end[0]] = supply[part->end[0]] = true;
    }
    spread_supply(amp, reached);
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        int node = filtered_node(circuit_part_at(amp, i));
        if (node > 0 && reached[node]) supply[node] = true;
    }
    free(reached);
    return true;
}

/* ---- adding -------------------------------------------------------------------------------- */

static bool known_pair(const lister *list, const solve_probe *probe) {
    for (size_t i = 0; i < list->places->count; i++) {
        const solve_probe *other = &list->places->place[i].probe;
        if (other->heater != probe->heater) continue;
        if (other->plus == probe->plus && other->minus == probe->minus) return true;
        if (other->plus == probe->minus && other->minus == probe->plus) return true;
    }
    return false;
}

static void add(lister *list, const char *name, solve_probe probe) {
    diagnose_place_list *places = list->places;
    probe.meter_ohms = INFINITY;
    if (probe.plus == probe.minus || known_pair(list, &probe)) return;
    if (places->count == places->room || !solve_probe_exists(list->system, &probe)) return;
    const char *at = base_arena_text(list->arena, name);
    if (!at) {
        list->failed = true;
        return;
    }
    places->place[places->count++] = (diagnose_place){.at = at, .probe = probe};
}

static void add_node(lister *list, const char *name, int node) {
    if (node <= 0 || list->listed[node]) return;
    list->listed[node] = true;
    if (list->supply[node]) name = circuit_node_at(list->amp, (size_t)node)->name;
    add(list, name, (solve_probe){.plus = node});
}

static void add_difference(lister *list, const char *plus_name, const char *minus_name,
                           solve_probe probe) {
    char name[200];
    snprintf(name, sizeof name, "%.90s-%.90s", plus_name, minus_name);
    add(list, name, probe);
}

/* ---- what there is ------------------------------------------------------------------------- */

static void add_heater(lister *list, const circuit_part *part) {
    int first, last;
    if (!circuit_heater_pins(part, &first, &last)) return;
    char a[64], b[64];
    snprintf(a, sizeof a, "%.50s.%d", part->name, first);
    snprintf(b, sizeof b, "%.50s.%d", part->name, last);
    add_difference(
        list, a, b,
        (solve_probe){.plus = part->end[first], .minus = part->end[last], .heater = true});
}

static void add_tube(lister *list, const circuit_part *part) {
    for (int pin = 1; pin <= part->tube->pins; pin++) {
        tube_electrode electrode = part->tube->pin[pin].electrode;
        if (electrode < TUBE_PLATE || electrode > TUBE_SUPPRESSOR) continue;
        char name[64];
        snprintf(name, sizeof name, "%.50s.%d", part->name, pin);
        add_node(list, name, part->end[pin]);
    }
    add_heater(list, part);
}

static bool electrode_at(const circuit *amp, int node, tube_electrode electrode) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind != CIRCUIT_TUBE) continue;
        for (int pin = 1; pin <= part->tube->pins; pin++)
            if (part->end[pin] == node && part->tube->pin[pin].electrode == electrode) return true;
    }
    return false;
}

/* The heaters' own nodes. A directly heated rectifier's filament is a supply too, and a dropping
 * resistor that begins there does not make heater nodes of what follows. */
static bool in_heater_line(const lister *list, int node) {
    solve_probe probe = {.plus = node, .heater = true, .meter_ohms = INFINITY};
    if (list->supply[node] || !solve_probe_exists(list->system, &probe)) return false;
    for (int electrode = TUBE_PLATE; electrode <= TUBE_CATHODE; electrode++)
        if (electrode_at(list->amp, node, (tube_electrode)electrode)) return false;
    return true;
}

static void add_other_nodes(lister *list) {
    for (size_t node = 1; node < circuit_nodes(list->amp); node++) {
        const circuit_node *here = circuit_node_at(list->amp, node);
        if (here->leads < 2 || in_heater_line(list, (int)node)) continue;
        add_node(list, here->name, (int)node);
    }
}

static bool tells_current(const lister *list, const circuit_part *part) {
    int a = part->end[0], b = part->end[1];
    if (a <= 0 || b <= 0 || in_heater_line(list, a)) return false;
    if (part->kind == CIRCUIT_INDUCTOR) return true;
    if (part->kind != CIRCUIT_RESISTOR) return false;
    if (list->supply[a] && list->supply[b]) return true;
    static const tube_electrode low[] = {TUBE_SCREEN, TUBE_CATHODE};
    for (int k = 0; k < 2; k++)
        if (electrode_at(list->amp, a, low[k]) || electrode_at(list->amp, b, low[k])) return true;
    return false;
}

static void add_halves(lister *list, const circuit_part *part) {
    for (int end = 0; end <= 2 && end < part->ends; end += 2) {
        if (part->end[end] <= 0 || part->end[1] <= 0) continue;
        add_difference(list, circuit_node_at(list->amp, (size_t)part->end[1])->name,
                       circuit_node_at(list->amp, (size_t)part->end[end])->name,
                       (solve_probe){.plus = part->end[1], .minus = part->end[end]});
    }
}

static void add_across(lister *list) {
    for (size_t i = 0; i < circuit_parts(list->amp); i++) {
        const circuit_part *part = circuit_part_at(list->amp, i);
        if (part->kind == CIRCUIT_OUTPUT_TRANSFORMER) add_halves(list, part);
        if (tells_current(list, part))
            add(list, part->name, (solve_probe){.plus = part->end[0], .minus = part->end[1]});
    }
}

bool diagnose_places_list(const solve_system *system, base_arena *arena,
                          diagnose_place_list *places) {
    const circuit *amp = solve_circuit(system);
    *places = (diagnose_place_list){.room = circuit_nodes(amp) + 2 * circuit_parts(amp)};
    places->place = base_arena_take(arena, places->room, sizeof *places->place);
    lister list = {.system = system, .amp = amp, .arena = arena, .places = places};
    list.supply = places->supply = base_arena_take(arena, circuit_nodes(amp), sizeof(bool));
    list.listed = base_arena_take(arena, circuit_nodes(amp), sizeof(bool));
    if (!places->place || !list.supply || !list.listed) return false;
    if (!diagnose_supply_nodes(amp, list.supply)) return false;
    for (size_t i = 0; i < circuit_parts(amp); i++)
        if (circuit_part_at(amp, i)->kind == CIRCUIT_TUBE) add_tube(&list, circuit_part_at(amp, i));
    add_other_nodes(&list);
    add_across(&list);
    return !list.failed;
}

/* ---- effort and risk ----------------------------------------------------------------------- */

typedef struct price {
    double cost;
    const char *why;
    int risk;
} price;

static bool output_plate(const circuit *amp, int node) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind != CIRCUIT_OUTPUT_TRANSFORMER) continue;
        if (part->end[0] == node || (part->ends > 2 && part->end[2] == node)) return true;
    }
    return false;
}

/* From low to high: cathode or bias, preamp plate, supply, output plate. Common practice. High
 * voltage begins at 60 V DC (IEC 61140 takes 60 V as the limit of what dry hands may touch; from
 * memory). */
static price price_of(const circuit *amp, const diagnose_place_list *places,
                      const diagnose_place *place, double source_ohms, const double level[2]) {
    bool high = fmax(fabs(level[0]), fabs(level[1])) > 60;
    int node = place->probe.plus;
    if (place->probe.heater) return (price){1.2, "heater, alternating volts", 0};
    if (place->probe.minus > 0 && high)
        return (price){3, "both probes on high voltage: clip both on with the power off", 3};
    if (high && output_plate(amp, node))
        return (price){3, "output plate: only at idle and with the speaker joined", 3};
    if (high && places->supply[node])
        return (price){2, "supply, high voltage with much charge behind it", 2};
    if (high) return (price){1.5, "high voltage", 1};
    if (source_ohms > 200e3) return (price){1.6, "high impedance: the meter loads it", 0};
    return (price){1, "low voltage", 0};
}

void diagnose_place_cost(const solve_system *system, const diagnose_place_list *places,
                         diagnose_place *place, double source_ohms, const double level[2]) {
    price price = price_of(solve_circuit(system), places, place, source_ohms, level);
    place->cost = price.cost;
    place->cost_why = price.why;
    place->risk = price.risk;
}
