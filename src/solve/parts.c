/* The branches of the plain parts: resistors to windings. */
#include <math.h>
#include <string.h>

#include "solve_impl.h"

#define MAINS_OHMS 0.5    /* of the wall and the cord; common practice, no source */
#define CLOSED 0.05       /* ohms of a good contact */
#define END_OF_TRACK 1e-3 /* what stays of a pot's track with the wiper at its end */
#define HEATER_WINDING_OHMS 1e-3
#define LEAST_OHMS 0.02 /* of a winding or a lead that states none */
#define LOSS 0.1        /* of an electrolytic's reactance at LOSS_HERTZ */
#define LOSS_HERTZ 100.0
#define LEAK_SECONDS                                                                               \
    500.0               /* ohms times farads of an electrolytic: its leak grows with its size      \
                         */
#define LEAK_FARAD 1e-9 /* below this, the leak of a film capacitor is SOLVE_NONE */

static bool both_dc(const solve_system *system, const circuit_part *part, int a, int b) {
    int x = part->end[a], y = part->end[b];
    if (x < 0 || y < 0) return false;
    return (x == 0 || solve_dc(system, x) >= 0) && (y == 0 || solve_dc(system, y) >= 0);
}

static bool both_warm(const solve_system *system, const circuit_part *part, int a, int b) {
    int x = part->end[a], y = part->end[b];
    if (x < 0 || y < 0) return false;
    return (x == 0 || solve_warm(system, x) >= 0) && (y == 0 || solve_warm(system, y) >= 0) &&
           (x > 0 || y > 0);
}

/* Joins ends a and b of a part by `slot`, in the DC layer and, between two heater nodes, in the
 * heater layer too. */
static bool join(solve_system *system, int index, int a, int b, solve_branch branch) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)index);
    branch.part = index;
    if (both_dc(system, part, a, b)) {
        branch.a = solve_dc(system, part->end[a]);
        branch.b = solve_dc(system, part->end[b]);
        if (!solve_branch_add(system, branch)) return false;
    }
    if (both_warm(system, part, a, b)) {
        branch.a = solve_warm(system, part->end[a]);
        branch.b = solve_warm(system, part->end[b]);
        branch.heater = true;
        return solve_branch_add(system, branch) != NULL;
    }
    return true;
}

static solve_branch plain(int slot) {
    return (solve_branch){.slot = {slot}, .slots = 1, .factor = 1, .emf = -1};
}

/* A part in series with a rectifier stands between nodes of alternating current, so it has no DC
 * branch: the rectifier's source resistance takes up its ohms. */
static bool simple(solve_system *system, int index, solve_what what, double ohms) {
    int slot = solve_slot_add(system, (solve_slot){index, what, 0, ohms});
    return slot >= 0 && join(system, index, 0, 1, plain(slot));
}

/* A healthy capacitor's leak. An electrolytic's leakage current grows with its capacitance and
 * volts: ohms times farads of about 500 s, a tenth of what IEC 60384-4 allows at its limit (from
 * memory). */
static double healthy_leak(const circuit_part *part) {
    if (part->material != CIRCUIT_ELECTROLYTIC || part->value < LEAK_FARAD) return SOLVE_NONE;
    return LEAK_SECONDS / part->value;
}

/* What an electrolytic loses at 100 Hz is a tenth of its reactance, half of what IEC 60384-4 allows
 * (from memory). */
static double healthy_esr(const circuit_part *part) {
    return fmax(LOSS / (2 * M_PI * LOSS_HERTZ * part->value), SOLVE_LEAST);
}

static bool capacitor(solve_system *system, int index, const circuit_part *part) {
    int leak = solve_slot_add(system, (solve_slot){index, SOLVE_LEAK, 0, healthy_leak(part)});
    int farads = solve_slot_add(system, (solve_slot){index, SOLVE_FARADS, 0, part->value});
    if (leak < 0 || farads < 0) return false;
    if (part->material == CIRCUIT_ELECTROLYTIC &&
        solve_slot_add(system, (solve_slot){index, SOLVE_ESR, 0, healthy_esr(part)}) < 0)
        return false;
    if (!both_dc(system, part, 0, 1)) return true;
    solve_branch branch = plain(leak);
    branch.part = index;
    branch.a = solve_dc(system, part->end[0]);
    branch.b = solve_dc(system, part->end[1]);
    return solve_branch_add(system, branch) != NULL;
}

/* The part of a pot's track below the wiper at `position` (0..10): a power law through the taper's
 * value at half turn. */
static double track_below(const circuit_part *part, double position) {
    double turn = fmin(fmax(position / 10, 0), 1);
    double bend = log(fmin(fmax(part->taper, 0.01), 0.99)) / log(0.5);
    return fmin(fmax(pow(turn, bend), END_OF_TRACK), 1 - END_OF_TRACK);
}

static bool pot(solve_system *system, int index, const circuit_part *part) {
    double below = track_below(part, part->position);
    int low = solve_slot_add(system, (solve_slot){index, SOLVE_OHMS, 0, part->value * below});
    int high =
        solve_slot_add(system, (solve_slot){index, SOLVE_OHMS, 1, part->value * (1 - below)});
    int wiper = solve_slot_add(system, (solve_slot){index, SOLVE_CONTACT, 0, CLOSED});
    if (wiper < 0) return false;
    if (both_warm(system, part, 0, 2) && part->end[0] > 0 && part->end[2] > 0)
        return join(system, index, 0, 2,
                    (solve_branch){.slot = {low, high}, .slots = 2, .factor = 1, .emf = -1});
    int inner = system->unknowns;
    int ends[3] = {solve_dc(system, part->end[0]), solve_dc(system, part->end[1]),
                   solve_dc(system, part->end[2])};
    system->node_of[system->unknowns++] = part->end[1] >= 0 ? part->end[1] : part->end[0];
    system->inner_pin[index * CIRCUIT_ENDS + 1] = inner;
    int slots[3] = {low, wiper, high};
    for (int k = 0; k < 3; k++) {
        if (part->end[k] < 0 || (part->end[k] > 0 && ends[k] < 0)) continue;
        solve_branch branch = plain(slots[k]);
        branch.part = index;
        branch.piece = k;
        branch.a = ends[k];
        branch.b = inner;
        if (!solve_branch_add(system, branch)) return false;
    }
    return true;
}

bool solve_turn(const solve_system *system, int index, double position, double *numbers) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)index);
    int low = solve_slot_find(system, index, SOLVE_OHMS, 0);
    int high = solve_slot_find(system, index, SOLVE_OHMS, 1);
    if (part->kind == CIRCUIT_POT && low >= 0 && high >= 0) {
        double below = track_below(part, position);
        numbers[low] = part->value * below;
        numbers[high] = part->value * (1 - below);
        return true;
    }
    if (part->kind != CIRCUIT_SWITCH) return false;
    int contact = solve_slot_find(system, index, SOLVE_CONTACT, (int)part->position);
    if (contact >= 0) numbers[contact] = position > 0 ? CLOSED : SOLVE_OPEN;
    return contact >= 0;
}

/* A switch joins its common end to one way; a jack's tip rests on its contact with nothing in. */
static bool contact(solve_system *system, int index, const circuit_part *part) {
    int way = part->kind == CIRCUIT_JACK ? 2 : (int)part->position;
    if (way < 1 || way >= part->ends || part->end[way] < 0) return true;
    if (part->kind == CIRCUIT_JACK && part->position > 0) return true;
    int slot = solve_slot_add(system, (solve_slot){index, SOLVE_CONTACT, way, CLOSED});
    if (slot < 0) return false;
    return join(system, index, 0, way, plain(slot));
}

static bool has_transformer(const circuit *amp) {
    for (size_t i = 0; i < circuit_parts(amp); i++)
        if (circuit_part_at(amp, i)->kind == CIRCUIT_WINDING) return true;
    return false;
}

static double at_least(double ohms) {
    return ohms > LEAST_OHMS ? ohms : LEAST_OHMS;
}

/* Ends: plate, B+ [, other plate], secondary a, secondary b. */
static bool output_transformer(solve_system *system, int index, const circuit_part *part) {
    for (int half = 0; half < 2; half++) {
        if (half == 1 && part->end[2] < 0) break;
        int slot = solve_slot_add(
            system, (solve_slot){index, SOLVE_OHMS, half, at_least(part->dc_ohms[half])});
        solve_branch branch = plain(slot);
        branch.piece = half;
        if (slot < 0 || !join(system, index, half == 0 ? 0 : 2, 1, branch)) return false;
    }
    if (part->ends < 5 || part->end[3] < 0 || part->end[4] < 0) return true;
    double ohms = part->secondary_ohms > 0 ? part->secondary_ohms : 0.05 * part->value;
    int slot = solve_slot_add(system, (solve_slot){index, SOLVE_OHMS, 2, at_least(ohms)});
    solve_branch branch = plain(slot);
    branch.piece = 2;
    return slot >= 0 && join(system, index, 3, 4, branch);
}

static double primary_volts(const solve_system *system, const char *transformer) {
    for (size_t i = 0; i < circuit_parts(system->amp); i++) {
        const circuit_part *part = circuit_part_at(system->amp, i);
        if (part->kind == CIRCUIT_WINDING && part->winding.primary &&
            strcmp(part->winding.transformer, transformer) == 0)
            return part->winding.volts[0];
    }
    return circuit_about_of(system->amp)->mains_volts;
}

/* A heater winding gives its rms volts in the heater layer and ties its ends together at DC. Its
 * volts are those at its load, so its own ohms are left out of the layer, all but a trace. */
static bool heater_half(solve_system *system, int index, int half, solve_branch branch) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)index);
    int a = half, b = half + 1;
    branch.part = index;
    branch.piece = half;
    branch.drawn = primary_volts(system, part->winding.transformer);
    if (both_dc(system, part, a, b)) {
        solve_branch dc = branch;
        dc.source = false;
        dc.a = solve_dc(system, part->end[a]);
        dc.b = solve_dc(system, part->end[b]);
        if (!solve_branch_add(system, dc)) return false;
    }
    branch.heater = branch.source = true;
    branch.factor = HEATER_WINDING_OHMS / system->nominal[branch.slot[0]];
    branch.a = solve_warm(system, part->end[a]);
    branch.b = solve_warm(system, part->end[b]);
    return solve_branch_add(system, branch) != NULL;
}

/* Other windings stand between nodes of alternating current: the rectifier takes them up. */
static bool winding(solve_system *system, int index, const circuit_part *part) {
    for (int half = 0; half < part->ends - 1; half++) {
        double ohms = at_least(part->winding.ohms[half]);
        int resistance = solve_slot_add(system, (solve_slot){index, SOLVE_OHMS, half, ohms});
        int volts = -1;
        if (!part->winding.primary)
            volts = solve_slot_add(
                system, (solve_slot){index, SOLVE_VOLTS, half, part->winding.volts[half]});
        if (resistance < 0) return false;
        solve_branch branch = plain(resistance);
        branch.emf = volts;
        if (part->winding.heater && !heater_half(system, index, half, branch)) return false;
    }
    return true;
}

static bool diode(solve_system *system, int index, const circuit_part *part) {
    if (!both_dc(system, part, 0, 1)) return true;
    int slot = solve_slot_add(system, (solve_slot){index, SOLVE_OHMS, 0, CLOSED});
    if (slot < 0) return false;
    bool selenium = part->material == CIRCUIT_SELENIUM;
    system->diode[system->diodes++] =
        (solve_diode){.part = index,
                      .a = solve_dc(system, part->end[0]),
                      .b = solve_dc(system, part->end[1]),
                      .ohms = slot,
                      .emission = -1,
                      .curve = selenium ? &system->selenium : &system->silicon,
                      .offset = 0.6};
    return true;
}

static bool make_part(solve_system *system, int index, const circuit_part *part) {
    switch (part->kind) {
    case CIRCUIT_RESISTOR:
        return simple(system, index, SOLVE_OHMS, part->value);
    case CIRCUIT_INDUCTOR:
        return simple(system, index, SOLVE_OHMS, at_least(part->dc_ohms[0]));
    case CIRCUIT_FUSE:
        return simple(system, index, SOLVE_OHMS, CLOSED);
    case CIRCUIT_LAMP:
        return simple(system, index, SOLVE_OHMS, part->value);
    case CIRCUIT_SPEAKER:
        return simple(system, index, SOLVE_OHMS, 0.8 * part->value);
    case CIRCUIT_CAPACITOR:
        return capacitor(system, index, part);
    case CIRCUIT_POT:
        return pot(system, index, part);
    case CIRCUIT_SWITCH:
    case CIRCUIT_JACK:
        return contact(system, index, part);
    case CIRCUIT_DIODE:
        return diode(system, index, part);
    case CIRCUIT_WINDING:
        return winding(system, index, part);
    case CIRCUIT_OUTPUT_TRANSFORMER:
        return output_transformer(system, index, part);
    default:
        return true;
    }
}

static int named_node(const circuit *amp, const char *name) {
    for (size_t n = 1; n < circuit_nodes(amp); n++)
        if (strcmp(circuit_node_at(amp, n)->name, name) == 0) return (int)n;
    return 0;
}

/* With no transformer the mains itself feeds the heater string, from line to neutral (or, where
 * no node has that name, to ground). */
static bool mains_source(solve_system *system) {
    int line = solve_warm(system, named_node(system->amp, "line"));
    int neutral = solve_warm(system, named_node(system->amp, "neutral"));
    if (line < 0 || has_transformer(system->amp)) return true;
    int slot = solve_slot_add(system, (solve_slot){-1, SOLVE_OHMS, 0, MAINS_OHMS});
    solve_branch branch = plain(slot);
    branch.a = line;
    branch.b = neutral;
    branch.part = -1;
    branch.heater = branch.source = true;
    branch.drawn = 1;
    return slot >= 0 && solve_branch_add(system, branch) != NULL;
}

bool solve_make_parts(solve_system *system) {
    for (size_t i = 0; i < circuit_parts(system->amp) * CIRCUIT_ENDS; i++)
        system->inner_pin[i] = -1;
    if (!mains_source(system)) return false;
    for (size_t i = 0; i < circuit_parts(system->amp); i++)
        if (!make_part(system, (int)i, circuit_part_at(system->amp, i))) return false;
    return true;
}
