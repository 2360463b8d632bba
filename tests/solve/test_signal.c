/* The small-signal network from inside: sparse against dense, the reduced eigenvalues against the
 * general problem, low frequencies against the DC solver, and its speed. */
#include <complex.h>
#include <lapacke.h>
#include <time.h>

#include "signal_bench.h"
#include "signal_impl.h"

static double seconds(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* A dense n by n copy of nonzeros. */
static double *dense(const solve_signal *signal, const double *nonzero) {
    size_t n = (size_t)signal->unknowns;
    double *out = calloc(n * n, sizeof *out);
    for (size_t j = 0; j < n; j++)
        for (int k = signal->pattern.column_start[j]; k < signal->pattern.column_start[j + 1]; k++)
            out[j * n + (size_t)signal->pattern.row[k]] = nonzero[k];
    return out;
}

/* ---- sparse against dense ---- */

/* Heater lines are left out: where no part ties them to ground their volts are anyone's. */

static double complex *dense_solution(const solve_signal *signal, int plus, double hertz) {
    int n = signal->unknowns;
    double *g = dense(signal, signal->g), *c = dense(signal, signal->c);
    double complex *a = malloc((size_t)n * (size_t)n * sizeof *a),
                   *b = calloc((size_t)n, sizeof *b);
    lapack_int *pivots = malloc((size_t)n * sizeof *pivots);
    for (size_t i = 0; i < (size_t)n * (size_t)n; i++)
        a[i] = g[i] + 2 * M_PI * hertz * I * c[i];
    b[plus] = 1;
    assert_int_equal(LAPACKE_zgesv(LAPACK_COL_MAJOR, n, 1, a, n, pivots, b, n), 0);
    free(g);
    free(c);
    free(a);
    free(pivots);
    return b;
}

static void against_dense(bench *b, const char *file, void *extra) {
    solve_signal *signal = solve_signal_new(b->system);
    const circuit_part *jack = circuit_part_at(b->amp, (size_t)circuit_part_find(b->amp, "J1"));
    solve_plug_in(b->system, circuit_part_find(b->amp, "J1"), b->numbers);
    bench_linearise(b, signal);
    int plus = signal->of_unknown[solve_dc(b->system, jack->end[0])];
    double worst = 0;
    for (double hertz = 10; hertz < 2e5; hertz *= 10) {
        solve_source source = {.node = jack->end[0], .ohms = 1e4};
        assert_int_equal(solve_signal_at(signal, &source, NULL, hertz), SOLVE_CONVERGED);
        double complex *truth = dense_solution(signal, plus, hertz);
        double complex amperes = 1 / (1e4 + truth[plus]);
        double off = 0, most = 0;
        for (size_t node = 1; node < circuit_nodes(b->amp); node++) {
            int unknown = solve_dc(b->system, (int)node);
            if (unknown < 0 || solve_warm(b->system, (int)node) >= 0) continue;
            double complex volts = amperes * truth[signal->of_unknown[unknown]];
            off = fmax(off, cabs(solve_signal_volts(signal, (int)node) - volts));
            most = fmax(most, cabs(volts));
        }
        worst = fmax(worst, off / most);
        free(truth);
    }
    print_message("%s: %.1g of the largest volts off the dense solution\n", file, worst);
    assert_true(worst < 1e-8);
    (void)extra;
    solve_signal_free(signal);
}

static void test_dense(void **state) {
    (void)state;
    bench_each_amp(against_dense, NULL);
}

/* ---- low frequencies against the DC solver ---- */

/* At next to no frequency the ohms at a node are those that the DC solver finds there, where no
 * heater and no coil of an output transformer come between. */
static void test_low(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/millrace.yaml");
    solve_signal *signal = solve_signal_new(b.system);
    bench_linearise(&b, signal);
    static const char *const nodes[] = {"V1.1", "V1.3", "V4.8", "V5.1", "ltpk",
                                        "V6.3", "V6.4", "B5",   "N1",   "gbias"};
    for (size_t i = 0; i < sizeof nodes / sizeof *nodes; i++) {
        double source, complex_ohms = cabs(bench_ohms(&b, signal, nodes[i], 1e-6));
        solve_probe probe = {bench_node(&b, nodes[i]), 0, false, INFINITY};
        solve_read(b.work, b.numbers, b.x, &probe, NULL, &source);
        print_message("%-6s %10.1f ohm, by DC %10.1f\n", nodes[i], complex_ohms, source);
        assert_true(fabs(complex_ohms / source - 1) < 1e-4);
    }
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- modes ---- */

/* Every mode against the general problem G v = -s C v of the whole matrices, up to 1 MHz. */
static void against_general(bench *b, const char *file, void *extra) {
    solve_signal *signal = solve_signal_new(b->system);
    bench_linearise(b, signal);
    int n = signal->unknowns, compared = 0;
    double *g = dense(signal, signal->g), *c = dense(signal, signal->c);
    double *re = malloc((size_t)n * sizeof *re), *im = malloc((size_t)n * sizeof *im);
    double *beta = malloc((size_t)n * sizeof *beta), worst = 0;
    for (size_t i = 0; i < (size_t)n * (size_t)n; i++)
        c[i] = -c[i];
    assert_int_equal(
        LAPACKE_dggev(LAPACK_COL_MAJOR, 'N', 'N', n, g, n, c, n, re, im, beta, NULL, 1, NULL, 1),
        0);
    solve_mode own[SOLVE_MODES_MOST];
    size_t count;
    assert_int_equal(solve_modes(signal, own, SOLVE_MODES_MOST, &count), SOLVE_CONVERGED);
    for (size_t k = 0; k < count; k++) {
        double complex s = own[k].growth + 2 * M_PI * own[k].hertz * I;
        double nearest = INFINITY;
        if (cabs(s) > 2 * M_PI * 1e6 || cabs(s) < 0.1) continue;
        for (int i = 0; i < n; i++)
            nearest = fmin(nearest, cabs((re[i] + im[i] * I) / beta[i] - s) / cabs(s));
        worst = fmax(worst, nearest);
        compared++;
    }
    print_message("%s: %d modes, %.1g off the general problem's\n", file, compared, worst);
    assert_true(compared > 5 && worst < 1e-4);
    (void)extra;
    free(g);
    free(c);
    free(re);
    free(im);
    free(beta);
    solve_signal_free(signal);
}

static void test_general(void **state) {
    (void)state;
    bench_each_amp(against_general, NULL);
}

/* A shape satisfies (G + sC) v = 0, and following it from a hair aside finds the same mode. */
static void test_shape(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/millrace.yaml");
    solve_signal *signal = solve_signal_new(b.system);
    bench_linearise(&b, signal);
    solve_mode mode, again;
    size_t count;
    assert_int_equal(solve_modes(signal, &mode, 1, &count), SOLVE_CONVERGED);
    assert_true(solve_mode_rises(&mode));
    assert_int_equal(solve_mode_shape(signal, &mode), SOLVE_CONVERGED);
    double complex s = mode.growth + 2 * M_PI * mode.hertz * I;
    double complex *left = calloc((size_t)signal->unknowns, sizeof *left);
    for (int j = 0; j < signal->unknowns; j++)
        for (int k = signal->pattern.column_start[j]; k < signal->pattern.column_start[j + 1]; k++)
            left[signal->pattern.row[k]] +=
                (signal->g[k] + s * signal->c[k]) * signal_at(signal->volts, j);
    for (int i = 0; i < signal->unknowns; i++)
        assert_true(cabs(left[i]) < 1e-6);
    free(left);
    again = (solve_mode){mode.growth + 0.1, mode.hertz * 1.02};
    assert_int_equal(signal_follow(signal, &again), SOLVE_CONVERGED);
    assert_float_equal(again.hertz, mode.hertz, 1e-5 * mode.hertz);
    assert_float_equal(again.growth, mode.growth, 1e-4 * mode.hertz);
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- the tremolo ---- */

typedef struct found {
    solve_tremolo_part part[400];
    size_t count;
} found;

static solve_effect effect_of(const bench *b, const found *all, const char *part,
                              solve_upset upset) {
    for (size_t i = 0; i < all->count; i++)
        if (all->part[i].part == circuit_part_find(b->amp, part) && all->part[i].upset == upset)
            return all->part[i].effect;
    return SOLVE_NO_EFFECT;
}

static found parts_of(bench *b, solve_signal *signal, const solve_tremolo *tremolo) {
    found all;
    solve_trial given = {signal, b->work, b->numbers, b->x};
    assert_int_equal(solve_tremolo_parts(&given, tremolo, all.part, 400, &all.count),
                     SOLVE_CONVERGED);
    assert_in_range(all.count, 1, 400);
    return all;
}

/* Millrace's runs; each part of its loop can stop it, a leak among them; past the driver nothing
 * stops it but the output tubes hear no more; and what is outside does nothing. */
static void test_tremolo(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/millrace.yaml");
    solve_signal *signal = solve_signal_new(b.system);
    bench_linearise(&b, signal);
    solve_tremolo tremolo;
    solve_trial given = {signal, b.work, b.numbers, b.x};
    assert_int_equal(solve_tremolo_find(&given, &tremolo), SOLVE_CONVERGED);
    assert_int_equal(tremolo.part, circuit_part_find(b.amp, "V3"));
    assert_true(tremolo.swing.swings);
    assert_true(tremolo.swing.hertz > 3 && tremolo.swing.hertz < 10);
    assert_true(tremolo.gain < 0.9 && tremolo.emission > 0.02 && tremolo.emission < 0.9);
    found all = parts_of(&b, signal, &tremolo);
    static const char *const loop[] = {"C17", "C18", "C19"};
    for (int k = 0; k < 3; k++) {
        assert_int_equal(effect_of(&b, &all, loop[k], SOLVE_OPENED), SOLVE_STOPS);
        assert_int_equal(effect_of(&b, &all, loop[k], SOLVE_LEAKY), SOLVE_STOPS);
    }
    assert_int_equal(effect_of(&b, &all, "R24", SOLVE_OPENED), SOLVE_STOPS);
    assert_int_equal(effect_of(&b, &all, "C23", SOLVE_OPENED), SOLVE_UNHEARD);
    assert_int_equal(effect_of(&b, &all, "P8", SOLVE_TURNED_UP), SOLVE_FASTER);
    assert_int_equal(effect_of(&b, &all, "C2", SOLVE_OPENED), SOLVE_NO_EFFECT);
    assert_int_equal(effect_of(&b, &all, "R5", SOLVE_OPENED), SOLVE_NO_EFFECT);
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* At the emission where it is said to stop it stops: a little more, and it runs. */
static void test_emission(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/tidemark.yaml");
    solve_signal *signal = solve_signal_new(b.system);
    bench_linearise(&b, signal);
    solve_tremolo tremolo;
    solve_trial given = {signal, b.work, b.numbers, b.x};
    assert_int_equal(solve_tremolo_find(&given, &tremolo), SOLVE_CONVERGED);
    int emission = bench_slot(&b, "V3", SOLVE_EMISSION, tremolo.unit);
    for (int k = 0; k < 2; k++) {
        b.numbers[emission] = tremolo.emission * (k == 0 ? 0.97 : 1.03);
        bench_linearise(&b, signal);
        solve_mode mode;
        size_t count;
        assert_int_equal(solve_modes(signal, &mode, 1, &count), SOLVE_CONVERGED);
        assert_int_equal(solve_mode_rises(&mode), k == 1);
    }
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- wild numbers, and speed ---- */

/* Any part of any amp open or shorted: an outcome, and no number that is none. */
static void wild(bench *b, const char *file, void *extra) {
    solve_signal *signal = solve_signal_new(b->system);
    solve_source source = {
        .node = circuit_part_at(b->amp, (size_t)circuit_part_find(b->amp, "J1"))->end[0]};
    base_random random;
    base_random_seed(&random, 11);
    for (int pass = 0; pass < 60; pass++) {
        size_t slot = (size_t)(base_random_unit(&random) * (double)b->slots);
        solve_what what = solve_slot_at(b->system, slot)->what;
        if (what == SOLVE_VOLTS || what == SOLVE_MAINS) continue;
        double before = b->numbers[slot];
        b->numbers[slot] = before * pow(10, 24 * base_random_unit(&random) - 12);
        solve_result result = solve_point(b->work, b->numbers, NULL, b->x);
        if (bench_solved(result)) {
            solve_mode mode = {0, 0};
            size_t count;
            solve_signal_set(signal, b->work, b->numbers, b->x);
            if (solve_modes(signal, &mode, 1, &count) == SOLVE_CONVERGED)
                assert_true(isfinite(mode.growth) && isfinite(mode.hertz));
            if (solve_signal_at(signal, &source, NULL, 1000) == SOLVE_CONVERGED)
                for (size_t n = 1; n < circuit_nodes(b->amp); n++)
                    if (solve_dc(b->system, (int)n) >= 0)
                        assert_true(isfinite(cabs(solve_signal_volts(signal, (int)n))));
        }
        b->numbers[slot] = before;
    }
    (void)file;
    (void)extra;
    solve_signal_free(signal);
}

static void test_wild(void **state) {
    (void)state;
    bench_each_amp(wild, NULL);
}

/* One frequency beside one cold operating point of the same amp, and all modes beside that: far
 * less than a point from cold each (the ratio is against what is measured in the same run). */
static void test_speed(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/millrace.yaml");
    solve_signal *signal = solve_signal_new(b.system);
    solve_source source = {.node = bench_node(&b, "in1"), .ohms = 1e4};
    solve_mode mode;
    size_t count;
    double cold = INFINITY, one = INFINITY, modes = INFINITY;
    for (int pass = 0; pass < 20; pass++) {
        double from = seconds();
        bench_linearise(&b, signal);
        double to = seconds();
        assert_int_equal(solve_signal_at(signal, &source, NULL, 1000), SOLVE_CONVERGED);
        double then = seconds();
        assert_int_equal(solve_modes(signal, &mode, 1, &count), SOLVE_CONVERGED);
        cold = fmin(cold, to - from);
        one = fmin(one, then - to);
        modes = fmin(modes, seconds() - then);
    }
    print_message("from cold %.0f us, one frequency %.0f us, all modes %.0f us\n", 1e6 * cold,
                  1e6 * one, 1e6 * modes);
#ifdef NDEBUG
    assert_true(one < cold);
    assert_true(modes < 10 * cold);
#endif
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_dense),   cmocka_unit_test(test_low),
        cmocka_unit_test(test_general), cmocka_unit_test(test_shape),
        cmocka_unit_test(test_tremolo), cmocka_unit_test(test_emission),
        cmocka_unit_test(test_wild),    cmocka_unit_test(test_speed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
