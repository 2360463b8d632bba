/* Natural modes against published oscillators. */
#include "solve/signal_bench.h"

static int check(const char *what, double computed, double expected, double tolerance) {
    double off = computed / expected - 1;
    print_message("%-40s %10.5g, expected %10.5g (%+.2f %%)\n", what, computed, expected,
                  100 * off);
    return !(fabs(off) <= tolerance);
}

static solve_mode fastest(solve_signal *signal, double lowest) {
    solve_mode all[SOLVE_MODES_MOST];
    size_t count;
    assert_int_equal(solve_modes(signal, all, SOLVE_MODES_MOST, &count), SOLVE_CONVERGED);
    for (size_t i = 0; i < count; i++)
        if (all[i].hertz > lowest) return all[i];
    return (solve_mode){-INFINITY, 0};
}

/* ---- three sections of phase shift ---- */

/* C 10 nF and R 10 Mohm, three times: the plate's ohms load them little, and the grid's capacitance
 * is little beside them. */
static const char shift_text[] =
    "amp: Phase shift\n" BENCH_SUPPLY "tubes:\n  V1: {type: 12AX7}\n"
    "resistors:\n  R1: {value: 100k, at: [B, V1.6]}\n  R2: {value: 1k5, at: [V1.8, ground]}\n"
    "  R3: {value: 10M, at: [one, ground]}\n  R4: {value: 10M, at: [two, ground]}\n"
    "  R5: {value: 10M, at: [V1.7, ground]}\n"
    "capacitors:\n  C1: {value: 1000u, at: [B, ground]}\n"
    "  C2: {value: 10n, at: [V1.6, one]}\n  C3: {value: 10n, at: [one, two]}\n"
    "  C4: {value: 10n, at: [two, V1.7]}\n";

/* It swings from a gain of 29 on, at 1/(2 pi R C sqrt 6), 6.497 Hz with 1 Mohm and here a tenth of
 * it (standard oscillator theory; 29 found in a mirror of an encyclopedia that cites a military
 * training manual). The cathode resistor, not bypassed, sets the gain mu RL / (RL + rp + (mu + 1)
 * Rk). */
static void test_phase_shift(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "shift.yaml", shift_text);
    solve_signal *signal = solve_signal_new(b.system);
    double low = 100, high = 20e3;
    solve_mode mode = {0};
    for (int pass = 0; pass < 40; pass++) {
        b.numbers[bench_slot(&b, "R2", SOLVE_OHMS, 0)] = sqrt(low * high);
        bench_linearise(&b, signal);
        mode = fastest(signal, 0.1);
        *(mode.growth > 0 ? &low : &high) = sqrt(low * high);
    }
    tube_small small = bench_small(&b, "V1", 0);
    double gain = small.mu * 100e3 / (100e3 + small.rp + (small.mu + 1) * low);
    assert_int_equal(check("gain that just swings", gain, 29, 0.015), 0);
    assert_int_equal(check("at hertz", mode.hertz, 0.6497, 0.01), 0);
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* The same by the tremolo's own account. The factor on the gain, times the gain, is 29 + 23 a + 4
 * a^2, and the settled speed 1/(2 pi R C sqrt(6 + 4 a)), a the plate's ohms as a part of a
 * section's (derivation, standard oscillator theory). */
static void test_margin(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "shift.yaml", shift_text);
    solve_signal *signal = solve_signal_new(b.system);
    static const double cathodes[] = {1200, 2500};
    static const char *const sections[] = {"R3", "R4", "R5"};
    for (int k = 0; k < 3; k++)
        b.numbers[bench_slot(&b, sections[k], SOLVE_OHMS, 0)] = 2.2e6;
    for (int k = 0; k < 2; k++) {
        b.numbers[bench_slot(&b, "R2", SOLVE_OHMS, 0)] = cathodes[k];
        bench_linearise(&b, signal);
        tube_small small = bench_small(&b, "V1", 0);
        solve_tremolo tremolo;
        solve_trial given = {signal, b.work, b.numbers, b.x};
        assert_int_equal(solve_tremolo_find(&given, &tremolo), SOLVE_CONVERGED);
        assert_int_equal(tremolo.part, circuit_part_find(b.amp, "V1"));
        assert_int_equal(tremolo.swing.swings, k == 0);
        /* `gain` times the slope: feedback at the cathode grows with it */
        double mu = small.mu * tremolo.gain;
        double below = small.rp + (mu + 1) * cathodes[k];
        double gain = mu * 100e3 / (100e3 + below);
        double a = 100e3 * below / (100e3 + below) / 2.2e6;
        assert_int_equal(check("gain at the factor", gain, 29 + 23 * a + 4 * a * a, 0.02), 0);
        if (k == 0)
            assert_int_equal(check("settled at hertz", tremolo.swing.hertz,
                                   1 / (2 * M_PI * 2.2e6 * 10e-9 * sqrt(6 + 4 * a)), 0.02),
                             0);
        assert_true((tremolo.gain < 1) == (k == 0));
        assert_true(k == 1 ? isnan(tremolo.emission)
                           : tremolo.emission > 0.01 && tremolo.emission < 1);
    }
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* No capacitor leads back to the grid: no oscillator, and no gain would make it one. */
static void test_no_feedback(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "shift.yaml", shift_text);
    solve_signal *signal = solve_signal_new(b.system);
    b.numbers[bench_slot(&b, "C3", SOLVE_FARADS, 0)] = 1e-18;
    bench_linearise(&b, signal);
    solve_tremolo tremolo;
    solve_trial given = {signal, b.work, b.numbers, b.x};
    assert_int_equal(solve_tremolo_find(&given, &tremolo), SOLVE_CONVERGED);
    assert_int_equal(tremolo.part, -1);
    assert_false(tremolo.swing.swings);
    size_t count;
    assert_int_equal(solve_tremolo_parts(&given, &tremolo, NULL, 0, &count), SOLVE_CONVERGED);
    assert_int_equal(count, 0);
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- a coil and two capacitors ---- */

/* Plate to ground C1, grid to ground C2, a coil of 1 mH between: 225079 Hz with 1 nF each, from a
 * gain of C2/C1 on (derivation, standard circuit theory, lossless coil). With a plate's own ohms
 * the most that the tube can give is its mu. */
static const char coil_text[] =
    "amp: Coil\n" BENCH_SUPPLY "tubes:\n  V1: {type: 12AX7}\n"
    "inductors:\n  L1: {henries: 100, ohms: 10, kind: choke, at: [B, V1.6]}\n"
    "  L2: {henries: 1m, ohms: 0.1, kind: choke, at: [coil, V1.7]}\n"
    "resistors:\n  R1: {value: 2k2, at: [V1.8, ground]}\n  R2: {value: 10M, at: [V1.7, ground]}\n"
    "capacitors:\n  C1: {value: 1n, at: [V1.6, ground]}\n  C2: {value: 1n, at: [V1.7, ground]}\n"
    "  C3: {value: 1u, at: [V1.6, coil]}\n  C4: {value: 100u, at: [V1.8, ground]}\n"
    "  C5: {value: 1000u, at: [B, ground]}\n";

static void test_coil(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "coil.yaml", coil_text);
    solve_signal *signal = solve_signal_new(b.system);
    bench_linearise(&b, signal);
    double mu = bench_small(&b, "V1", 0).mu;
    int emission = bench_slot(&b, "V1", SOLVE_EMISSION, 0);
    b.numbers[emission] = 0.01; /* a slope that is little beside the capacitors */
    bench_linearise(&b, signal);
    solve_mode mode = fastest(signal, 1e4);
    b.numbers[emission] = 1;
    assert_true(solve_mode_rises(&mode));
    assert_int_equal(check("coil and two capacitors", mode.hertz, 225079, 0.01), 0);
    for (int k = 0; k < 2; k++) { /* C2/C1 a fifth below mu, a fifth above */
        double ratio = k == 0 ? mu / 1.2 : mu * 1.2;
        b.numbers[bench_slot(&b, "C2", SOLVE_FARADS, 0)] = ratio * 1e-9;
        bench_linearise(&b, signal);
        mode = fastest(signal, 1e4);
        print_message("C2/C1 %.0f, mu %.0f: growth %.3g\n", ratio, mu, mode.growth);
        assert_int_equal(solve_mode_rises(&mode), k == 0);
    }
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- the library's amps ---- */

/* At the drawn positions nothing in them oscillates by itself but a tremolo, at the speeds that
 * tremolos have, 3 to 10 Hz (common practice, no source). */
static void quiet(bench *b, const char *file, void *extra) {
    solve_signal *signal = solve_signal_new(b->system);
    solve_mode all[SOLVE_MODES_MOST];
    size_t count, *running = extra;
    bench_linearise(b, signal);
    assert_int_equal(solve_modes(signal, all, SOLVE_MODES_MOST, &count), SOLVE_CONVERGED);
    for (size_t i = 0; i < count; i++) {
        if (!solve_mode_rises(&all[i])) continue;
        print_message("%s: %.3g Hz, growth %.3g\n", file, all[i].hertz, all[i].growth);
        assert_true(all[i].hertz > 2.9 && all[i].hertz < 10);
        ++*running;
    }
    solve_signal_free(signal);
}

static void test_library(void **state) {
    (void)state;
    size_t running = 0;
    bench_each_amp(quiet, &running);
    assert_true(running >= 2);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_phase_shift), cmocka_unit_test(test_margin),
        cmocka_unit_test(test_no_feedback), cmocka_unit_test(test_coil),
        cmocka_unit_test(test_library),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
