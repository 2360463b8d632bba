/* Heaters: is there a supply, does it suit, does a series string add up to the mains. */
#include "check_impl.h"

#include <math.h>

#define OFF_BY 0.15           /* a supply this far from the rated volts is pointed out */
#define STRING_OHMS_MOST 2000 /* a resistor above this is no part of a heater's path */

/* The volts that the heater as wired is made for: half where the two halves are in parallel. */
static double heater_wants(const circuit_part *tube, const int node[3], int count) {
    bool halves = count == 3 && (node[0] == node[1] || node[1] == node[2] || node[0] == node[2]);
    bool tap_only = false;
    for (int pin = 1; pin <= tube->tube->pins; pin++)
        if (tube->tube->pin[pin].electrode == TUBE_HEATER_TAP && count == 2 && tube->end[pin] >= 0)
            tap_only = true;
    return halves || tap_only ? tube->tube->heater_v / 2 : tube->tube->heater_v;
}

/* Two of the heater's nodes that differ; false: all on one, or fewer than two. */
static bool heater_pair(const int node[3], int count, int pair[2]) {
    for (int i = 0; i < count; i++)
        for (int k = i + 1; k < count; k++)
            if (node[i] != node[k]) {
                pair[0] = node[i], pair[1] = node[k];
                return true;
            }
    return false;
}

/* The outer pair: with a tap between, the ends that differ and are no tap. */
static bool heater_ends(const circuit_part *tube, int pair[2]) {
    int node[3], count = circuit_heater_nodes(tube, node);
    int ends[3], found = 0;
    for (int pin = 1; pin <= tube->tube->pins; pin++)
        if (circuit_is_heater_pin(tube->tube, pin) && tube->end[pin] >= 0 && found < 3 &&
            tube->tube->pin[pin].electrode != TUBE_HEATER_TAP)
            ends[found++] = tube->end[pin];
    return heater_pair(ends, found, pair) || heater_pair(node, count, pair);
}

/* ---- supply -------------------------------------------------------------------------------- */

static bool string_part(const circuit_part *part) {
    return part->kind == CIRCUIT_LAMP || part->kind == CIRCUIT_WINDING ||
           (part->kind == CIRCUIT_RESISTOR && part->value <= STRING_OHMS_MOST);
}

/* Do the heater's ends meet a source through all but itself? */
static bool heater_fed(check *check, const circuit_part *tube, const int pair[2]) {
    const circuit *amp = check->amp;
    groups groups = circuit_groups_new(check);
    if (!groups.of) return true;
    for (size_t i = 0; i < amp->parts; i++) {
        const circuit_part *part = &amp->part[i];
        if (part != tube && (string_part(part) || part->kind == CIRCUIT_TUBE))
            circuit_group_dc(&groups, part);
        circuit_group_wire(&groups, part);
    }
    circuit_group_join(&groups, circuit_node_named(amp, "line"),
                       circuit_node_named(amp, "neutral"));
    return circuit_group_same(&groups, pair[0], pair[1]);
}

/* The winding that stands straight across the two nodes, and its volts there; NULL: none. */
static const circuit_part *winding_across(const circuit *amp, const int pair[2], double *volts) {
    for (size_t i = 0; i < amp->parts; i++) {
        const circuit_part *it = &amp->part[i];
        if (it->kind != CIRCUIT_WINDING || it->winding.primary) continue;
        for (int a = 0; a < it->ends; a++)
            for (int b = 0; b < it->ends; b++) {
                if (it->end[a] != pair[0] || it->end[b] != pair[1] || a == b) continue;
                const double *half = it->winding.volts;
                *volts = it->ends == 2 || a + b == 2 ? half[0] + half[1] : half[a + b > 2];
                return it;
            }
    }
    return NULL;
}

static void heater_check(check *check, const circuit_part *tube) {
    int node[3], pair[2], count = circuit_heater_nodes(tube, node);
    double volts, wants = heater_wants(tube, node, count);
    if (count == 0) {
        SUSPECT(check, tube->place,
                "%s: its heater is joined to nothing|join its heater pins under pins", tube->name);
        return;
    }
    if (!heater_ends(tube, pair) || !heater_fed(check, tube, pair)) {
        SUSPECT(check, tube->place,
                "%s: its heater reaches no heater winding with both ends|join its heater pins to "
                "the two sides of a winding",
                tube->name);
        return;
    }
    const circuit_part *winding = winding_across(check->amp, pair, &volts);
    if (winding && fabs(volts - wants) > OFF_BY * wants)
        SUSPECT(check, tube->place,
                "%s: its heater wants %.1f V as wired, and %s gives %.1f V|look at the type, the "
                "heater pins and the winding",
                tube->name, wants, winding->name, volts);
}

/* ---- the series string
 * --------------------------------------------------------------------------- */

typedef struct string {
    int tubes;
    double volts, amps;
    const circuit_part *first;
    bool dropper;
} string;

/* The current that the heater takes as wired: double where its halves are in parallel. */
static double heater_amps(const circuit_part *tube, double wants) {
    return tube->tube->heater_a * tube->tube->heater_v / wants;
}

static void string_add(check *check, const circuit_part *tube, string *string) {
    int node[3], pair[2], count = circuit_heater_nodes(tube, node);
    double volts, wants = heater_wants(tube, node, count), amps = heater_amps(tube, wants);
    if (!heater_ends(tube, pair) || winding_across(check->amp, pair, &volts)) return;
    if (string->tubes++ == 0) {
        string->first = tube;
        string->amps = amps;
    }
    string->volts += wants;
    if (fabs(amps - string->amps) > 0.1 * string->amps)
        SUSPECT(check, tube->place,
                "%s: its heater takes %.2f A, and the string with %s carries %.2f A|choose a type "
                "of the same heater current",
                tube->name, amps, string->first->name, string->amps);
    for (size_t i = 0; i < check->amp->parts; i++) {
        const circuit_part *it = &check->amp->part[i];
        bool to_ground = it->end[0] == 0 || it->end[1] == 0; /* no part of the row */
        for (int end = 0; end < 2 && string_part(it) && !to_ground; end++)
            string->dropper |= it->end[end] == pair[0] || it->end[end] == pair[1];
    }
}

static void string_check(check *check) {
    string string = {0};
    double mains = check->amp->about.mains_drawn_volts;
    for (size_t i = 0; i < check->amp->parts; i++)
        if (check->amp->part[i].kind == CIRCUIT_TUBE)
            string_add(check, &check->amp->part[i], &string);
    if (string.tubes < 2) return;
    if (string.volts > (1 + OFF_BY) * mains)
        SUSPECT(check, string.first->place,
                "the heaters in a row add up to %.0f V, and the mains is %.0f V|look at the types "
                "and at which heaters are in the row",
                string.volts, mains);
    else if (string.volts < (1 - OFF_BY) * mains && !string.dropper)
        SUSPECT(check, string.first->place,
                "the heaters in a row add up to %.0f V, and the mains is %.0f V|a dropping "
                "resistor or a tube is missing in the row",
                string.volts, mains);
}

static bool fed_by_mains(const circuit *amp) {
    for (size_t i = 0; i < amp->parts; i++)
        if (amp->part[i].kind == CIRCUIT_WINDING && amp->part[i].winding.heater) return false;
    return true;
}

void circuit_check_heaters(check *check) {
    for (size_t i = 0; i < check->amp->parts; i++)
        if (check->amp->part[i].kind == CIRCUIT_TUBE) heater_check(check, &check->amp->part[i]);
    if (fed_by_mains(check->amp)) string_check(check);
}
