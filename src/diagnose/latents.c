/* What varies between good amps of one drawing, and by how much. */
#include "diagnose_impl.h"

#include <string.h>

#define GAS_SPREAD 0.8 /* of ln(gas) between good tubes; judgement */

typedef struct maker {
    const diagnose_bench *bench;
    const diagnose_priors *priors;
    const diagnose_options *options;
    diagnose_latents *latents;
    int room;
} maker;

static void add(maker *maker, int slot, double by) {
    if (slot < 0 || !(by > 0) || maker->latents->count == maker->room) return;
    maker->latents->latent[maker->latents->count++] =
        (diagnose_latent){.slot = {slot, -1}, .by = {by, 0}};
}

static void add_pair(maker *maker, const int slot[2], double first, double second) {
    if (slot[0] < 0 || slot[1] < 0 || maker->latents->count == maker->room) return;
    maker->latents->latent[maker->latents->count++] =
        (diagnose_latent){.slot = {slot[0], slot[1]}, .by = {first, second}};
}

static double number(const maker *maker, diagnose_number which) {
    return diagnose_number_of(maker->priors, which);
}

static int find(const maker *maker, int part, solve_what what, int which) {
    return solve_slot_find(maker->bench->system, part, what, which);
}

/* A stated tolerance is two standard deviations. */
static double tolerance(const circuit_part *part, double otherwise) {
    return isfinite(part->tolerance) ? part->tolerance / 2 : otherwise;
}

static void add_resistor(maker *maker, int index, const circuit_part *part) {
    double spread = tolerance(part, 0.05);
    bool aged = part->material == CIRCUIT_CARBON_COMPOSITION && part->original != 0;
    if (aged) spread = hypot(spread, number(maker, NUMBER_CARBON_DRIFT));
    add(maker, find(maker, index, SOLVE_OHMS, 0), spread);
}

/* The track as a whole, and where its wiper stands: d ln(low) = dt / t, d ln(high) = -dt / (1-t),
 * with t the part of the track below the wiper. */
static void add_pot(maker *maker, int index, const circuit_part *part) {
    int slot[2] = {find(maker, index, SOLVE_OHMS, 0), find(maker, index, SOLVE_OHMS, 1)};
    if (slot[0] < 0 || slot[1] < 0) return;
    double track = tolerance(part, 0.10);
    add_pair(maker, slot, track, track);
    double low = maker->bench->numbers[slot[0]], high = maker->bench->numbers[slot[1]];
    double turn = number(maker, NUMBER_POT_TURN), t = low / (low + high);
    if (t > 0.01 && t < 0.99) add_pair(maker, slot, turn / t, -turn / (1 - t));
}

static bool filters(const maker *maker, const circuit_part *part) {
    for (size_t i = 0; i < circuit_parts(maker->bench->amp); i++) {
        const circuit_part *other = circuit_part_at(maker->bench->amp, i);
        if (other->kind != CIRCUIT_RECTIFIER) continue;
        for (int end = 0; end < 2; end++)
            if (part->end[end] > 0 && part->end[end] == other->end[0]) return true;
    }
    return false;
}

static void add_capacitor(maker *maker, int index, const circuit_part *part) {
    if (part->material == CIRCUIT_ELECTROLYTIC)
        add(maker, find(maker, index, SOLVE_LEAK, 0), number(maker, NUMBER_ELECTROLYTIC_LEAK));
    if (filters(maker, part))
        add(maker, find(maker, index, SOLVE_FARADS, 0), number(maker, NUMBER_FIRST_CAPACITOR));
}

/* The halves of a winding share its turns' error and differ by a little. */
static void add_winding(maker *maker, int index) {
    double whole = number(maker, NUMBER_WINDING_VOLTS);
    double halves = number(maker, NUMBER_WINDING_HALVES);
    int slot[2] = {find(maker, index, SOLVE_VOLTS, 0), find(maker, index, SOLVE_VOLTS, 1)};
    if (slot[0] >= 0 && slot[1] >= 0) {
        add_pair(maker, slot, whole, whole);
        add_pair(maker, slot, halves, -halves);
    } else {
        add(maker, slot[0], whole);
    }
    for (int half = 0; half < 2; half++)
        add(maker, find(maker, index, SOLVE_OHMS, half), number(maker, NUMBER_WINDING_OHMS));
}

/* What is left of a spread when the part that is common to all amps of the drawing is taken out. */
static double own_share(double whole, double common) {
    return sqrt(fmax(whole * whole - common * common, whole * whole / 4));
}

static void add_tube(maker *maker, int index, const circuit_part *part) {
    for (int unit = 0; unit < part->tube->units; unit++) {
        const tube_unit *type = &part->tube->unit[unit];
        int emission = find(maker, index, SOLVE_EMISSION, unit);
        int screen = find(maker, index, SOLVE_SCREEN, unit);
        bool diode = type->kind == TUBE_DIODE;
        double screens = fmax(type->screen_spread, maker->options->screen_spread);
        add(maker, emission,
            diode ? number(maker, NUMBER_RECTIFIER)
                  : own_share(type->spread, number(maker, NUMBER_LAW_EMISSION)));
        add(maker, screen, own_share(screens, number(maker, NUMBER_LAW_SCREEN)));
        if (diode) continue;
        add(maker, find(maker, index, SOLVE_GAS, unit),
            GAS_SPREAD * number(maker, NUMBER_GOOD_GAS));
    }
    add(maker, find(maker, index, SOLVE_HEATER, 0), number(maker, NUMBER_HEATER_OHMS));
}

/* How wrong the law itself may be for this stage, and the drawing about its windings: the same in
 * every amp of the drawing. */
static void add_laws(maker *maker, int index, const circuit_part *part) {
    if (part->kind == CIRCUIT_WINDING)
        add(maker, find(maker, index, SOLVE_VOLTS, 0), number(maker, NUMBER_WINDING_VOLTS));
    if (part->kind != CIRCUIT_TUBE) return;
    for (int unit = 0; unit < part->tube->units; unit++) {
        if (part->tube->unit[unit].kind == TUBE_DIODE) continue;
        add(maker, find(maker, index, SOLVE_EMISSION, unit), number(maker, NUMBER_LAW_EMISSION));
        add(maker, find(maker, index, SOLVE_SCREEN, unit), number(maker, NUMBER_LAW_SCREEN));
    }
}

static void add_part(maker *maker, int index, const circuit_part *part) {
    switch (part->kind) {
    case CIRCUIT_RESISTOR:
        add_resistor(maker, index, part);
        break;
    case CIRCUIT_POT:
        add_pot(maker, index, part);
        break;
    case CIRCUIT_CAPACITOR:
        add_capacitor(maker, index, part);
        break;
    case CIRCUIT_WINDING:
        add_winding(maker, index);
        break;
    case CIRCUIT_INDUCTOR:
    case CIRCUIT_OUTPUT_TRANSFORMER:
        for (int half = 0; half < 2; half++)
            add(maker, find(maker, index, SOLVE_OHMS, half),
                tolerance(part, number(maker, NUMBER_WINDING_OHMS)));
        break;
    case CIRCUIT_TUBE:
        add_tube(maker, index, part);
        break;
    default:
        break;
    }
}

bool diagnose_latents_make(const diagnose_bench *bench, const diagnose_priors *priors,
                           const diagnose_options *options, base_arena *arena,
                           diagnose_latents *latents) {
    size_t parts = circuit_parts(bench->amp);
    maker maker = {.bench = bench, .priors = priors, .options = options, .latents = latents};
    maker.room = (int)(8 * TUBE_UNITS * parts) + 1;
    *latents = (diagnose_latents){0};
    latents->latent = base_arena_take(arena, (size_t)maker.room, sizeof *latents->latent);
    if (!latents->latent) return false;
    add(&maker, solve_slot_find(bench->system, -1, SOLVE_MAINS, 0), options->mains_spread);
    for (size_t i = 0; i < parts; i++)
        add_part(&maker, (int)i, circuit_part_at(bench->amp, i));
    latents->first_law = latents->count;
    for (size_t i = 0; i < parts; i++)
        add_laws(&maker, (int)i, circuit_part_at(bench->amp, i));
    return true;
}

static bool is_set(const diagnose_fault *fault, int slot) {
    for (int s = 0; s < fault->sets; s++)
        if (fault->slot[s] == slot) return true;
    return false;
}

/* A number may stay the same in all severities, or fall as others rise. */
double diagnose_cell_step(const diagnose_fault *fault, int set) {
    if (fault->severities < 2) return 0;
    double side = fault->severity[1] > fault->severity[0] ? 1 : -1;
    return side * log(fault->number[set][1] / fault->number[set][0]) / sqrt(12);
}

/* SOLVE_GAS's gradient is by number, all others by ln(number). */
static float cell_of(const diagnose_engine *engine, const diagnose_fault *fault, int severity,
                     const double *gradient) {
    double cell = 0;
    for (int s = 0; s < fault->sets; s++) {
        bool gas = solve_slot_at(engine->bench.system, (size_t)fault->slot[s])->what == SOLVE_GAS;
        double scale = gas ? fault->number[s][severity] : 1;
        cell += gradient[fault->slot[s]] * scale * diagnose_cell_step(fault, s);
    }
    return (float)cell;
}

/* A fault that sets a slot replaces what that slot varies by in a good amp: instead, the severity
 * varies within its cell. */
void diagnose_latents_row(const diagnose_engine *engine, const double *gradient,
                          const diagnose_point *point, float *row) {
    const diagnose_latents *latents = &engine->latents;
    const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
    const diagnose_fault *second = &engine->catalogue.fault[point->second];
    for (int l = 0; l < latents->count; l++) {
        const diagnose_latent *latent = &latents->latent[l];
        double sum = 0;
        for (int k = 0; k < 2; k++)
            if (latent->slot[k] >= 0 && !is_set(fault, latent->slot[k]) &&
                !is_set(second, latent->slot[k]))
                sum += gradient[latent->slot[k]] * latent->by[k];
        row[l] = (float)sum;
    }
    row[engine->first_cell] = cell_of(engine, fault, point->severity, gradient);
    row[engine->first_cell + 1] = cell_of(engine, second, point->second_severity, gradient);
}
