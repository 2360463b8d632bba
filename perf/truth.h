/* Faulty amps to try the inference on: an amp of the library with its parts off by their tolerance,
 * one fault, and a meter that errs and rounds. Kept apart from src/diagnose, so that the truth does
 * not come from the program text that must find it: spreads are skewed, tubes of a type are alike
 * by batch, severities lie between the grid's points, and readings are of the loaded amp. */
#ifndef GRIDLEAK_PERF_TRUTH_H
#define GRIDLEAK_PERF_TRUTH_H

#include "diagnose.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct truth {
    const solve_system *system; /* may hold tubes of another law than the one inferred with */
    solve_work *work;
    base_random random;
    double *numbers, *x, *cold, *gradient; /* cold: its healthy point, the start */
} truth;

static inline bool truth_open(truth *truth, const solve_system *system, uint64_t seed) {
    size_t slots = solve_slots(system), unknowns = solve_unknowns(system);
    truth->system = system;
    truth->work = solve_work_new(system);
    truth->numbers = calloc(slots, sizeof(double));
    truth->gradient = calloc(slots, sizeof(double));
    truth->x = calloc(unknowns, sizeof(double));
    truth->cold = calloc(unknowns, sizeof(double));
    base_random_seed(&truth->random, seed);
    if (!truth->work || !truth->numbers || !truth->gradient || !truth->x || !truth->cold)
        return false;
    return solve_point(truth->work, solve_nominal(system), NULL, truth->cold).outcome <=
           SOLVE_CONTINUED;
}

static inline void truth_close(truth *truth) {
    solve_work_free(truth->work);
    free(truth->numbers);
    free(truth->gradient);
    free(truth->x);
    free(truth->cold);
}

static inline double truth_normal(truth *truth) {
    return base_random_normal(&truth->random);
}

/* ---- parts off by their tolerance
 * ---------------------------------------------------------------- */

static inline void truth_scale(truth *truth, int part, solve_what what, int which, double ln) {
    int slot = solve_slot_find(truth->system, part, what, which);
    if (slot >= 0) truth->numbers[slot] *= exp(ln);
}

static inline double truth_tolerance(const circuit_part *part, double otherwise) {
    return isfinite(part->tolerance) ? part->tolerance / 2 : otherwise;
}

/* Old carbon drifts upwards only. */
static inline void truth_resistor(truth *truth, int index, const circuit_part *part) {
    double ln = truth_tolerance(part, 0.05) * truth_normal(truth);
    if (part->material == CIRCUIT_CARBON_COMPOSITION && part->original != 0)
        ln += 0.05 * fabs(truth_normal(truth));
    truth_scale(truth, index, SOLVE_OHMS, 0, ln);
}

static inline void truth_pot(truth *truth, int index) {
    int low = solve_slot_find(truth->system, index, SOLVE_OHMS, 0);
    int high = solve_slot_find(truth->system, index, SOLVE_OHMS, 1);
    if (low < 0 || high < 0) return;
    double whole = truth->numbers[low] + truth->numbers[high];
    double turn = truth->numbers[low] / whole + 0.04 * truth_normal(truth);
    turn = fmin(fmax(turn, 0.002), 0.998);
    whole *= exp(0.10 * truth_normal(truth));
    truth->numbers[low] = turn * whole;
    truth->numbers[high] = (1 - turn) * whole;
}

static inline void truth_winding(truth *truth, int index) {
    double turns = 0.02 * truth_normal(truth), copper = 0.08 * truth_normal(truth);
    for (int half = 0; half < 2; half++) {
        truth_scale(truth, index, SOLVE_VOLTS, half, turns + 0.004 * truth_normal(truth));
        truth_scale(truth, index, SOLVE_OHMS, half, copper + 0.03 * truth_normal(truth));
    }
}

/* Half of a tube's departure is its batch's: every tube of that type in the amp has it. */
static inline void truth_tube(truth *truth, int index, const circuit_part *part, double batch) {
    for (int unit = 0; unit < part->tube->units; unit++) {
        const tube_unit *type = &part->tube->unit[unit];
        double spread = type->kind == TUBE_DIODE ? 0.10 : type->spread;
        double own = M_SQRT1_2 * (batch + truth_normal(truth));
        truth_scale(truth, index, SOLVE_EMISSION, unit, spread * own);
        truth_scale(truth, index, SOLVE_SCREEN, unit, 0.2 * truth_normal(truth));
        int gas = solve_slot_find(truth->system, index, SOLVE_GAS, unit);
        if (gas >= 0) truth->numbers[gas] = 4e-6 * fabs(truth_normal(truth));
    }
    truth_scale(truth, index, SOLVE_HEATER, 0, 0.025 * truth_normal(truth));
}

static inline void truth_part(truth *truth, int index, double batch) {
    const circuit_part *part = circuit_part_at(solve_circuit(truth->system), (size_t)index);
    switch (part->kind) {
    case CIRCUIT_RESISTOR:
        truth_resistor(truth, index, part);
        break;
    case CIRCUIT_POT:
        truth_pot(truth, index);
        break;
    case CIRCUIT_CAPACITOR:
        if (part->material == CIRCUIT_ELECTROLYTIC)
            truth_scale(truth, index, SOLVE_LEAK, 0, truth_normal(truth));
        truth_scale(truth, index, SOLVE_FARADS, 0, 0.15 * truth_normal(truth));
        break;
    case CIRCUIT_WINDING:
        truth_winding(truth, index);
        break;
    case CIRCUIT_INDUCTOR:
    case CIRCUIT_OUTPUT_TRANSFORMER:
        for (int half = 0; half < 2; half++)
            truth_scale(truth, index, SOLVE_OHMS, half, 0.08 * truth_normal(truth));
        break;
    case CIRCUIT_TUBE:
        truth_tube(truth, index, part, batch);
        break;
    default:
        break;
    }
}

/* A good amp of this drawing, picked at random. */
static inline void truth_sample(truth *truth, double mains_spread) {
    const circuit *amp = solve_circuit(truth->system);
    double batch = truth_normal(truth);
    memcpy(truth->numbers, solve_nominal(truth->system),
           solve_slots(truth->system) * sizeof(double));
    truth_scale(truth, -1, SOLVE_MAINS, 0, mains_spread * truth_normal(truth));
    for (size_t i = 0; i < circuit_parts(amp); i++)
        truth_part(truth, (int)i, batch);
}

/* ---- one fault
 * --------------------------------------------------------------------------------------- */

/* A severity anywhere in the range of the catalogue's grid, a little more often mild than not.
 * Sets the numbers of the fault; returns the severity's grid index. */
static inline int truth_fault(truth *truth, const diagnose_fault *fault) {
    int k = 0;
    double ln = 0;
    if (fault->severities > 1) {
        double at = pow(base_random_unit(&truth->random), 1.2) * fault->severities;
        k = (int)fmin(at, fault->severities - 1);
        double step = log(fault->severity[1] / fault->severity[0]);
        ln = (at - k - 0.5) * step;
    }
    for (int s = 0; s < fault->sets; s++)
        truth->numbers[fault->slot[s]] = fault->number[s][k] * exp(ln);
    return k;
}

static inline bool truth_solve(truth *truth) {
    return solve_point(truth->work, truth->numbers, truth->cold, truth->x).outcome <=
           SOLVE_CONTINUED;
}

/* ---- the meter
 * --------------------------------------------------------------------------------------- */

/* Last digit of a meter of 4000 counts. */
static inline double truth_digit(double volts) {
    double size = fabs(volts);
    return size < 4 ? 0.001 : size < 40 ? 0.01 : size < 400 ? 0.1 : 1;
}

/* The loaded amp's volts, with a meter that does not err. */
static inline double truth_clean(truth *truth, const solve_probe *probe) {
    double volts = solve_read_loaded(truth->work, truth->numbers, truth->x, probe);
    return isnan(volts) ? solve_read(truth->work, truth->numbers, truth->x, probe, NULL, NULL)
                        : volts;
}

/* What the meter shows: the loaded amp, the mains a little off again, gain and rounding. */
static inline double truth_read(truth *truth, const solve_probe *probe) {
    double volts = truth_clean(truth, probe);
    solve_read(truth->work, truth->numbers, truth->x, probe, truth->gradient, NULL);
    int mains = solve_slot_find(truth->system, -1, SOLVE_MAINS, 0);
    if (mains >= 0) volts += 0.004 * truth_normal(truth) * truth->gradient[mains];
    volts *= 1 + 0.004 * truth_normal(truth);
    double digit = truth_digit(volts);
    return round(volts / digit) * digit;
}

#endif
