/* Supplies: shorts, capacitors that cannot take what is printed, and the mains. */
#include "check_impl.h"

#include <math.h>

/* ---- shorts -------------------------------------------------------------------------------- */

/* The part that, as it is set, joins the two nodes; for the name in the complaint. */
static const char *wire_between(const circuit *amp, const groups *wires, int node) {
    for (size_t i = 0; i < amp->parts; i++) {
        const circuit_part *it = &amp->part[i];
        bool wire =
            it->kind == CIRCUIT_SWITCH || it->kind == CIRCUIT_JACK || it->kind == CIRCUIT_FUSE;
        if (wire && circuit_group_same(wires, it->end[0], node)) return it->name;
    }
    return "a switch";
}

static void short_check(check *check, const groups *wires, const circuit_part *it) {
    int a = it->end[0], b = it->end[it->kind == CIRCUIT_WINDING ? it->ends - 1 : 1];
    bool supply = it->kind == CIRCUIT_WINDING || it->kind == CIRCUIT_RECTIFIER;
    if (!supply || a < 0 || b < 0 || a == b || !circuit_group_same(wires, a, b)) return;
    base_errors_add(check->errors, BASE_CIRCUIT, it->place,
                    "%s is shorted: %s joins %s to %s as it is set|look at how it is joined, and "
                    "at its position",
                    it->name, wire_between(check->amp, wires, a), check->amp->node[a].name,
                    check->amp->node[b].name);
}

/* ---- capacitors ---------------------------------------------------------------------------- */

/* Volts printed at a node; ground's are 0; NAN where nothing is printed. */
static double printed(const circuit *amp, int node) {
    return node == 0 ? 0 : amp->node[node].printed;
}

static bool is_grid(const circuit *amp, int node) {
    for (size_t i = 0; i < amp->parts; i++) {
        const circuit_part *tube = &amp->part[i];
        for (int pin = 1; tube->kind == CIRCUIT_TUBE && pin <= tube->tube->pins; pin++)
            if (tube->end[pin] == node && tube->tube->pin[pin].electrode == TUBE_GRID) return true;
    }
    return false;
}

/* What stands across a capacitor by the print; a grid without a figure counts as 0 V. */
static double printed_across(const circuit *amp, const circuit_part *capacitor) {
    double volts[2];
    for (int end = 0; end < 2; end++) {
        volts[end] = printed(amp, capacitor->end[end]);
        if (isnan(volts[end]) && is_grid(amp, capacitor->end[end])) volts[end] = 0;
    }
    return volts[0] - volts[1];
}

static void capacitor_check(check *check, const circuit_part *it) {
    double across = printed_across(check->amp, it);
    if (isnan(across)) return;
    if (fabs(across) > it->volts)
        SUSPECT(check, it->place,
                "%s is rated %g V, and the print puts %g V across it|fit one of a higher rating, "
                "or correct the figure",
                it->name, it->volts, fabs(across));
    if (it->material == CIRCUIT_ELECTROLYTIC && across < -0.5)
        SUSPECT(check, it->place,
                "%s is drawn backwards: the print makes its + end %g V below the other|write the + "
                "end first",
                it->name, -across);
}

/* ---- the mains
 * ----------------------------------------------------------------------------------- */

typedef struct cord {
    groups wires;
    int line, neutral;
} cord;

static bool on_cord(const cord *cord, int node) {
    return circuit_group_same(&cord->wires, cord->line, node) ||
           circuit_group_same(&cord->wires, cord->neutral, node);
}

static bool fused(const circuit *amp, const cord *cord) {
    for (size_t i = 0; i < amp->parts; i++)
        if (amp->part[i].kind == CIRCUIT_FUSE && on_cord(cord, amp->part[i].end[0])) return true;
    return false;
}

static void mains_part(check *check, const cord *cord, const circuit_part *it) {
    bool live[2] = {on_cord(cord, it->end[0]), on_cord(cord, it->end[1])};
    bool apart = !on_cord(cord, 0); /* else ground is one side of the mains, not the chassis */
    bool ground[2] = {apart && it->end[0] == 0, apart && it->end[1] == 0};
    if (it->kind == CIRCUIT_CAPACITOR && ((live[0] && ground[1]) || (live[1] && ground[0])))
        SUSPECT(check, it->place,
                "%s joins the mains to the chassis: when it leaks, the chassis is live|unplug the "
                "amp; fit a grounded cord and take %s out, as the local electrical code has it",
                it->name, it->name);
    if (it->kind == CIRCUIT_RECTIFIER && it->rectifier.winding < 0)
        SUSPECT(check, it->place,
                "%s is fed by the mains with no transformer between: ground may be live|work on "
                "this amp only behind an isolation transformer",
                it->name);
}

static void mains_check(check *check, const cord *cord) {
    const circuit *amp = check->amp;
    if (cord->line < 0 && cord->neutral < 0) return;
    for (size_t i = 0; i < amp->parts; i++)
        mains_part(check, cord, &amp->part[i]);
    if (!fused(amp, cord))
        SUSPECT(check, amp->node[cord->line >= 0 ? cord->line : cord->neutral].place,
                "there is no fuse in the mains lead|draw it under fuses: `F1: {amps: 2, at: [line, "
                "fused]}`");
}

void circuit_check_supply(check *check) {
    const circuit *amp = check->amp;
    cord cord = {circuit_groups_new(check), circuit_node_named(amp, "line"),
                 circuit_node_named(amp, "neutral")};
    if (!cord.wires.of) return;
    for (size_t i = 0; i < amp->parts; i++)
        circuit_group_wire(&cord.wires, &amp->part[i]);
    for (size_t i = 0; i < amp->parts; i++) {
        short_check(check, &cord.wires, &amp->part[i]);
        if (amp->part[i].kind == CIRCUIT_CAPACITOR) capacitor_check(check, &amp->part[i]);
    }
    mains_check(check, &cord);
}
