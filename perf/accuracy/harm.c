/* What breaks: each fault that the catalogue names, in the world's own terms; and some that no
 * catalogue names. */
#include "world_impl.h"

#include <stdio.h>

/* The severity at `at` (0..1) of the range that the catalogue cuts into cells. */
static double severity_at(const diagnose_fault *fault, double at) {
    int count = fault->severities;
    if (count < 2) return NAN;
    double first = log(fault->severity[0]), last = log(fault->severity[count - 1]);
    double cell = (last - first) / (count - 1);
    return exp(first - cell / 2 + at * (last - first + cell));
}

static bool lift(world *world, int part, int end) {
    if (world->lifts == WORLD_LIFTS) return false;
    world->lift[world->lifts].part = part;
    world->lift[world->lifts++].end = end;
    return true;
}

/* Nothing behind the primary has volts. */
static bool die(world *world) {
    world->mains *= 1e-3;
    return true;
}

static bool touches(const circuit_part *a, const circuit_part *b) {
    for (int i = 0; i < a->ends; i++)
        for (int k = 0; k < b->ends; k++)
            if (a->end[i] > 0 && a->end[i] == b->end[k]) return true;
    return false;
}

/* Does this fuse or switch stand between the wall and a primary? */
static bool feeds_primary(const world *world, const circuit_part *part) {
    for (size_t i = 0; i < world->parts; i++) {
        const circuit_part *other = circuit_part_at(world->amp, i);
        if (other->kind == CIRCUIT_WINDING && other->winding.primary && touches(part, other))
            return true;
    }
    for (size_t i = 0; i < world->parts; i++) {
        const circuit_part *other = circuit_part_at(world->amp, i);
        bool leads = other->kind == CIRCUIT_FUSE || other->kind == CIRCUIT_SWITCH;
        if (!leads || other == part || !touches(part, other)) continue;
        for (size_t k = 0; k < world->parts; k++) {
            const circuit_part *last = circuit_part_at(world->amp, k);
            if (last->kind == CIRCUIT_WINDING && last->winding.primary && touches(other, last))
                return true;
        }
    }
    return false;
}

static bool open_part(world *world, int index, int which) {
    const circuit_part *part = circuit_part_at(world->amp, (size_t)index);
    bool contact = part->kind == CIRCUIT_SWITCH || part->kind == CIRCUIT_JACK;
    bool lead = part->kind == CIRCUIT_SWITCH || part->kind == CIRCUIT_FUSE;
    if (part->kind == CIRCUIT_WINDING && part->winding.primary) return die(world);
    if (lead && feeds_primary(world, part)) return die(world);
    if (contact)
        world->part[index].contact = WORLD_OPEN;
    else
        world->part[index].ohms[which > 0 ? which : 0] = WORLD_OPEN;
    return true;
}

static bool break_tube(world *world, const diagnose_fault *fault, double severity) {
    world_part *own = &world->part[fault->part];
    int unit = fault->which;
    switch (fault->mode) {
    case DIAGNOSE_WEAK:
        for (int u = 0; u < TUBE_UNITS; u++)
            if (unit < 0 || u == unit) own->emission[u] = severity;
        return true;
    case DIAGNOSE_NO_EMISSION:
        own->emission[unit] = 1e-6;
        return true;
    case DIAGNOSE_GASSY:
        own->gas[unit] = severity;
        return true;
    case DIAGNOSE_GRID_CATHODE_SHORT:
        own->grid_cathode[unit] = 15;
        return true;
    case DIAGNOSE_PLATE_GRID_LEAK:
        own->plate_grid[unit] = severity;
        return true;
    case DIAGNOSE_HEATER_OPEN:
        own->heater = WORLD_OPEN;
        return true;
    case DIAGNOSE_HEATER_CATHODE_LEAK:
        own->heater_cathode[unit] = severity;
        return true;
    default:
        return lift(world, fault->part, fault->which);
    }
}

/* A coil that has lost turns: a winding its volts, a choke or a half of the output transformer its
 * ohms. */
static bool lose_turns(world *world, const diagnose_fault *fault, double severity) {
    const circuit_part *part = circuit_part_at(world->amp, (size_t)fault->part);
    world_part *own = &world->part[fault->part];
    if (part->kind == CIRCUIT_WINDING) own->volts[fault->which] *= severity;
    own->ohms[fault->which] *= severity;
    return true;
}

static bool lose_supply(world *world, const diagnose_fault *fault) {
    world_part *own = &world->part[fault->part];
    for (int half = 0; half < 2; half++) {
        own->volts[half] = 0;
        own->ohms[half] = WORLD_OPEN;
    }
    return true;
}

static double shorted_ohms(const circuit_part *part, double severity) {
    if (isfinite(severity)) return severity;
    return part->kind == CIRCUIT_RESISTOR ? fmin(0.002 * part->value, 2) : 0.5;
}

bool world_break(world *world, const diagnose_fault *fault, double at) {
    double severity = severity_at(fault, at);
    if (fault->mode == DIAGNOSE_NOTHING) return true;
    if (fault->mode == DIAGNOSE_MAINS_OFF) {
        world->mains *= severity;
        return true;
    }
    if (fault->part < 0) return false;
    const circuit_part *part = circuit_part_at(world->amp, (size_t)fault->part);
    world_part *own = &world->part[fault->part];
    switch (fault->mode) {
    case DIAGNOSE_OPEN:
    case DIAGNOSE_CONTACT_OPEN:
        return open_part(world, fault->part, fault->which);
    case DIAGNOSE_HIGH:
        own->ohms[0] = part->value * severity;
        return true;
    case DIAGNOSE_SHORTED:
        *(part->kind == CIRCUIT_CAPACITOR ? &own->leak : &own->ohms[0]) =
            shorted_ohms(part, severity);
        return true;
    case DIAGNOSE_LEAKY:
        own->leak = severity;
        return true;
    case DIAGNOSE_CAP_OPEN:
        own->farads = part->value * severity;
        return true;
    case DIAGNOSE_HIGH_ESR:
        own->esr = severity;
        return true;
    case DIAGNOSE_TURNS_SHORTED:
        return lose_turns(world, fault, severity);
    case DIAGNOSE_SUPPLY_MISSING:
        return lose_supply(world, fault);
    case DIAGNOSE_TRACK_OPEN:
        own->ohms[fault->which] = WORLD_OPEN;
        return true;
    case DIAGNOSE_WIPER_OPEN:
        return lift(world, fault->part, 1);
    default:
        return part->kind == CIRCUIT_TUBE && break_tube(world, fault, severity);
    }
}

/* ---- what no catalogue has ----------------------------------------------------------------- */

/* A resistor of the amp at random. */
static int any_resistor(const world *world, base_random *random) {
    for (int tries = 0; tries < 1000; tries++) {
        int index = (int)(base_random_unit(random) * (double)world->parts);
        if (circuit_part_at(world->amp, (size_t)index)->kind == CIRCUIT_RESISTOR) return index;
    }
    return -1;
}

static bool exchange(world *world, base_random *random, char what[80]) {
    for (int tries = 0; tries < 100; tries++) {
        int a = any_resistor(world, random), b = any_resistor(world, random);
        if (a < 0 || b < 0 || a == b) continue;
        double x = world->part[a].ohms[0], y = world->part[b].ohms[0];
        if (fabs(log(x / y)) < log(2)) continue;
        world->part[a].ohms[0] = y;
        world->part[b].ohms[0] = x;
        snprintf(what, 80, "exchanged %.30s %.30s", circuit_part_at(world->amp, (size_t)a)->name,
                 circuit_part_at(world->amp, (size_t)b)->name);
        return true;
    }
    return false;
}

/* Too low: too high is in the catalogue. */
static bool wrong_value(world *world, base_random *random, char what[80]) {
    int index = any_resistor(world, random);
    if (index < 0) return false;
    double part = 0.05 * pow(10, base_random_unit(random));
    world->part[index].ohms[0] *= part;
    snprintf(what, 80, "wrong value %.30s", circuit_part_at(world->amp, (size_t)index)->name);
    return true;
}

static bool stray_leak(world *world, base_random *random, char what[80]) {
    int a = 1 + (int)(base_random_unit(random) * (world->nodes - 1));
    int b = 1 + (int)(base_random_unit(random) * (world->nodes - 1));
    snprintf(what, 80, "leak %.30s %.30s", circuit_node_at(world->amp, (size_t)a)->name,
             circuit_node_at(world->amp, (size_t)b)->name);
    return world_leak_add(world, a, b, 1e4 * pow(1e3, base_random_unit(random)));
}

bool world_break_otherwise(world *world, base_random *random, char what[80]) {
    switch ((int)(base_random_unit(random) * 3)) {
    case 0:
        return exchange(world, random, what);
    case 1:
        return wrong_value(world, random, what);
    default:
        return stray_leak(world, random, what);
    }
}
