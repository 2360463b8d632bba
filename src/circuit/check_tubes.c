/* Tubes half wired, electrodes brought together, and nodes that no direct current can reach. */
#include "check_impl.h"

static const char *electrode_word(tube_electrode electrode) {
    static const char *const words[] = {"pin",     "plate",      "screen", "grid",
                                        "cathode", "suppressor", "heater", "heater tap"};
    return words[electrode];
}

/* ---- units --------------------------------------------------------------------------------- */

/* A unit with its plate or cathode in use needs all of its electrodes. */
static void unit_check(check *check, const circuit_part *tube, int unit) {
    static const tube_electrode all[] = {TUBE_PLATE, TUBE_CATHODE, TUBE_GRID, TUBE_SCREEN};
    const tube_unit *it = &tube->tube->unit[unit];
    int plate = circuit_unit_node(tube, unit, TUBE_PLATE),
        cathode = circuit_unit_node(tube, unit, TUBE_CATHODE);
    bool used = plate >= 0 || circuit_unit_node(tube, unit, TUBE_GRID) >= 0 ||
                (cathode >= 0 && it->kind != TUBE_DIODE && tube->tube->units == 1);
    for (size_t i = 0; used && i < sizeof all / sizeof *all; i++) {
        if (it->pin[all[i]] == 0 || circuit_unit_node(tube, unit, all[i]) >= 0) continue;
        if (all[i] == TUBE_CATHODE && tube->tube->direct &&
            circuit_unit_node(tube, -1, TUBE_HEATER) >= 0)
            continue; /* the supply is taken from the other end of the filament */
        SUSPECT(check, tube->place,
                "%s: pin %d, the %s%s%s, is joined to nothing|join it to a node under pins, or "
                "name %s.%d in another part",
                tube->name, it->pin[all[i]], electrode_word(all[i]), *it->name ? " of " : "",
                it->name, tube->name, it->pin[all[i]]);
    }
}

static void together(check *check, const circuit_part *tube, int unit, tube_electrode a,
                     tube_electrode b) {
    const tube_unit *it = &tube->tube->unit[unit];
    int node = circuit_unit_node(tube, unit, a);
    if (node < 0 || node != circuit_unit_node(tube, unit, b)) return;
    SUSPECT(check, tube->place,
            "%s: the %s and the %s%s%s (pins %d and %d) are on one node, %s|correct one of the "
            "pins",
            tube->name, electrode_word(a), electrode_word(b), *it->name ? " of " : "", it->name,
            it->pin[a], it->pin[b], check->amp->node[node].name);
}

/* A spare unit has all its pins on ground or none; a pentode may work as a triode. */
static void together_check(check *check, const circuit_part *tube, int unit) {
    int plate = circuit_unit_node(tube, unit, TUBE_PLATE),
        cathode = circuit_unit_node(tube, unit, TUBE_CATHODE);
    if (plate >= 0 && plate == cathode && circuit_unit_node(tube, unit, TUBE_GRID) == plate) return;
    together(check, tube, unit, TUBE_PLATE, TUBE_CATHODE);
    together(check, tube, unit, TUBE_PLATE, TUBE_GRID);
    together(check, tube, unit, TUBE_GRID, TUBE_SCREEN);
    if (plate >= 0) together(check, tube, unit, TUBE_GRID, TUBE_CATHODE);
}

void circuit_check_tubes(check *check) {
    for (size_t i = 0; i < check->amp->parts; i++) {
        const circuit_part *tube = &check->amp->part[i];
        for (int unit = 0; tube->kind == CIRCUIT_TUBE && unit < tube->tube->units; unit++) {
            unit_check(check, tube, unit);
            together_check(check, tube, unit);
        }
    }
}

/* ---- paths --------------------------------------------------------------------------------- */

/* A tube's pin in the group of `node`, of the electrode wanted: the tube and *pin, or NULL. */
static const circuit_part *electrode_in(const check *check, const groups *groups, int node,
                                        tube_electrode electrode, int *pin) {
    for (size_t i = 0; i < check->amp->parts; i++) {
        const circuit_part *tube = &check->amp->part[i];
        for (*pin = 1; tube->kind == CIRCUIT_TUBE && *pin <= tube->tube->pins; ++*pin)
            if (tube->tube->pin[*pin].electrode == electrode && tube->end[*pin] >= 0 &&
                circuit_group_same(groups, tube->end[*pin], node))
                return tube;
    }
    return NULL;
}

static const circuit_part *winding_in(const check *check, const groups *groups, int node) {
    for (size_t i = 0; i < check->amp->parts; i++) {
        const circuit_part *it = &check->amp->part[i];
        if (it->kind == CIRCUIT_WINDING && circuit_group_same(groups, it->end[0], node)) return it;
    }
    return NULL;
}

static void no_path(check *check, const groups *groups, int node) {
    const circuit_node *it = &check->amp->node[node];
    const circuit_part *winding = winding_in(check, groups, node), *tube;
    int pin;
    if ((tube = electrode_in(check, groups, node, TUBE_GRID, &pin)))
        SUSPECT(check, it->place,
                "pin %d of %s, a grid, has no DC path to anywhere (node %s)|a grid leak resistor "
                "is missing",
                pin, tube->name, it->name);
    else if ((tube = electrode_in(check, groups, node, TUBE_PLATE, &pin)) ||
             (tube = electrode_in(check, groups, node, TUBE_SCREEN, &pin)) ||
             (tube = electrode_in(check, groups, node, TUBE_CATHODE, &pin)))
        SUSPECT(check, it->place,
                "pin %d of %s, a %s, has no DC path to a supply or to ground (node %s)|a resistor, "
                "a winding or a join is missing",
                pin, tube->name, electrode_word(tube->tube->pin[pin].electrode), it->name);
    else if (winding)
        SUSPECT(check, winding->place,
                "%s and what it feeds have no path to ground|ground its tap or one side, or "
                "join it through two 100 ohm resistors",
                winding->name);
    else
        SUSPECT(check, it->place,
                "the node %s has no DC path to ground: its voltage is anything|join it through a "
                "resistor, or leave its parts out",
                it->name);
}

void circuit_check_paths(check *check) {
    const circuit *amp = check->amp;
    groups groups = circuit_groups_new(check);
    bool *said = base_arena_take(check->arena, amp->nodes, sizeof *said);
    int line = circuit_node_named(amp, "line"), neutral = circuit_node_named(amp, "neutral");
    if (!groups.of || !said) return;
    for (size_t i = 0; i < amp->parts; i++)
        circuit_group_dc(&groups, &amp->part[i]);
    for (int node = 1; node < (int)amp->nodes; node++) {
        int group = circuit_group_of(&groups, node);
        bool mains =
            circuit_group_same(&groups, line, node) || circuit_group_same(&groups, neutral, node);
        if (said[group] || mains || circuit_group_same(&groups, 0, node) ||
            amp->node[node].leads < 2)
            continue; /* one lead: said while reading */
        said[group] = true;
        no_path(check, &groups, node);
    }
}
