/* Numbers gone wrong: every way in which a slot's number can depart from the healthy amp's. */
#ifndef GRIDLEAK_TESTS_SOLVE_FAULTS_H
#define GRIDLEAK_TESTS_SOLVE_FAULTS_H

#include "bench.h"

/* From `low` to `high`, even in the logarithm. */
static inline double faults_between(base_random *random, double low, double high) {
    return low * exp(base_random_unit(random) * log(high / low));
}

static inline double faults_pick(base_random *random, const double *list, size_t count) {
    return list[base_random_bits(random) % count];
}

#define FAULTS_PICK(random, ...)                                                                   \
    faults_pick(random, (const double[]){__VA_ARGS__},                                             \
                sizeof((const double[]){__VA_ARGS__}) / sizeof(double))

/* Open, drifted by up to ten times either way, or shorted. */
static inline double faults_ohms(base_random *random, double healthy) {
    double drifted = faults_between(random, 0.1, 10) * healthy;
    return FAULTS_PICK(random, 1e10, 1e10, drifted, drifted, 0.1, 1e-3);
}

/* A number for this slot as a fault, drawn from `random`. */
static inline double faults_number(const solve_slot *slot, base_random *random) {
    switch (slot->what) {
    case SOLVE_OHMS:
    case SOLVE_HEATER:
        return faults_ohms(random, slot->nominal);
    case SOLVE_CONTACT:
        return FAULTS_PICK(random, 1e10, faults_between(random, 1, 1e8));
    case SOLVE_LEAK:
    case SOLVE_GRID_LEAK:
    case SOLVE_HEATER_LEAK:
    case SOLVE_PLATE_SHORT:
        return FAULTS_PICK(random, faults_between(random, 1e3, 1e9), 0.1, 1e-3);
    case SOLVE_FARADS:
        return slot->nominal * FAULTS_PICK(random, 1e-6, faults_between(random, 0.01, 3));
    case SOLVE_ESR:
        return slot->nominal * faults_between(random, 1, 1000);
    case SOLVE_EMISSION:
        return FAULTS_PICK(random, 0, faults_between(random, 0.01, 3));
    case SOLVE_SCREEN:
        return faults_between(random, 0.1, 10);
    case SOLVE_GAS:
        return faults_between(random, 1e-6, 0.1);
    case SOLVE_VOLTS:
        return slot->nominal * FAULTS_PICK(random, 0, faults_between(random, 0.3, 1.5));
    case SOLVE_MAINS:
        return slot->nominal * (0.2 + 1.1 * base_random_unit(random));
    default:
        fail_msg("a kind of number without a fault: %d", slot->what);
        return NAN;
    }
}

/* Parts within their tolerance, tubes within their spread, the mains within 5 %. */
static inline double faults_tolerated(const solve_slot *slot, base_random *random) {
    double normal = base_random_normal(random);
    switch (slot->what) {
    case SOLVE_OHMS:
    case SOLVE_HEATER:
        return slot->nominal * exp(0.05 * normal);
    case SOLVE_FARADS:
    case SOLVE_ESR:
    case SOLVE_EMISSION:
    case SOLVE_SCREEN:
        return slot->nominal * exp(0.15 * normal);
    case SOLVE_VOLTS:
    case SOLVE_MAINS:
        return slot->nominal * exp(0.02 * normal);
    default:
        return slot->nominal;
    }
}

static inline void faults_tolerate(const bench *b, base_random *random, double *numbers) {
    for (size_t i = 0; i < b->slots; i++)
        numbers[i] = faults_tolerated(solve_slot_at(b->system, i), random);
}

#endif
