/* A small-signal network on the bench: solved and linearised. */
#ifndef GRIDLEAK_TESTS_SOLVE_SIGNAL_BENCH_H
#define GRIDLEAK_TESTS_SOLVE_SIGNAL_BENCH_H

#include <complex.h>

#include "bench.h"

static inline void bench_linearise(bench *b, solve_signal *signal) {
    bench_solve(b);
    solve_signal_set(signal, b->work, b->numbers, b->x);
}

/* Volts at `to` per volt at `from`, the source without ohms. */
static inline double complex bench_gain(bench *b, solve_signal *signal, const char *from,
                                        const char *to, double hertz) {
    solve_source source = {.node = bench_node(b, from)};
    assert_int_equal(solve_signal_at(signal, &source, NULL, hertz), SOLVE_CONVERGED);
    return solve_signal_volts(signal, bench_node(b, to));
}

/* Ohms to ground at a node, from what a source behind 100 kohm finds there. */
static inline double complex bench_ohms(bench *b, solve_signal *signal, const char *at,
                                        double hertz) {
    solve_source source = {.node = bench_node(b, at), .ohms = 1e5};
    assert_int_equal(solve_signal_at(signal, &source, NULL, hertz), SOLVE_CONVERGED);
    double complex volts = solve_signal_volts(signal, source.node);
    return 1e5 * volts / (1 - volts);
}

static inline tube_small bench_small(bench *b, const char *part, int unit) {
    solve_tube tube;
    assert_true(
        solve_tube_at(b->work, b->numbers, b->x, circuit_part_find(b->amp, part), unit, &tube));
    return tube_small_signal(&tube.point);
}

#define BENCH_SUPPLY                                                                               \
    "mains: {volts: 117, hertz: 60, drawn for: 117}\n"                                             \
    "power transformer:\n  T1:\n    primary: {volts: 117, ohms: 1, at: [line, neutral]}\n"         \
    "    windings:\n      plate: {volts: 225, ohms: 10, at: [ac1, ground]}\n"                      \
    "rectifiers:\n  main: {form: half wave, by: silicon, from: T1 plate, out: B}\n"

#endif
