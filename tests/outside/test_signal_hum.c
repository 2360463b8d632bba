/* Ripple and hum against closed forms of standard circuit theory. */
#include "solve/signal_bench.h"

static const char supply_text[] =
    "amp: Supply\nmains: {volts: 117, hertz: 60}\n"
    "power transformer:\n  T1:\n    primary: {volts: 117, ohms: 0.1, at: [line, neutral]}\n"
    "    windings:\n      high: {volts: 325-0-325, ohms: 20+20, at: [a, ground, b]}\n"
    "rectifiers:\n  main: {form: full wave, by: silicon, from: T1 high, out: B1}\n"
    "resistors:\n  R1: {value: 5k, at: [B1, ground]}\n  R2: {value: 10k, at: [B1, B2]}\n"
    "  R3: {value: 47k, at: [B2, ground]}\n  R4: {value: 20k, at: [B3, ground]}\n"
    "inductors:\n  L1: {henries: 10, ohms: 200, kind: choke, at: [B1, B3]}\n"
    "capacitors:\n  C1: {value: 40u, at: [B1, ground], kind: electrolytic}\n"
    "  C2: {value: 20u, at: [B2, ground], kind: electrolytic}\n"
    "  C3: {value: 8u, at: [B3, ground], kind: electrolytic}\n";

typedef struct hummed {
    bench b;
    solve_signal *signal;
    double _Complex *volts;
} hummed;

static hummed hum_of(const tube_library *tubes, const char *file, const char *text) {
    hummed h = {.b = bench_of_text(tubes, file, text)};
    h.signal = solve_signal_new(h.b.system);
    h.volts = malloc(circuit_nodes(h.b.amp) * sizeof *h.volts);
    bench_linearise(&h.b, h.signal);
    return h;
}

static void hum_free(hummed *h) {
    free(h->volts);
    solve_signal_free(h->signal);
    bench_free(&h->b);
}

static double hum_at(hummed *h, const char *node) {
    return cabs(h->volts[bench_node(&h->b, node)]);
}

static void harmonic(hummed *h, int number) {
    assert_int_equal(solve_hum(h->signal, h->b.work, h->b.numbers, number, h->volts),
                     SOLVE_CONVERGED);
}

static bool near(const char *what, double computed, double expected, double low, double high) {
    print_message("%-28s %9.5g, expected %9.5g (%+.1f %%)\n", what, computed, expected,
                  100 * (computed / expected - 1));
    return computed >= low * expected && computed <= high * expected;
}

/* Twice the mains' frequency from a full-wave rectifier, and sqrt(2) I / (2 pi fr C) V rms of it:
 * the bound of a capacitor charged in an instant, from which a true cycle stays 10 to 30 % off (a
 * handbook of radio design, 4th edition, chapter 30, from memory). */
static void test_first_capacitor(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    hummed h = hum_of(tubes, "supply.yaml", supply_text);
    solve_supply supply;
    assert_true(
        solve_supply_at(h.b.work, h.b.numbers, h.b.x, circuit_part_find(h.b.amp, "main"), &supply));
    double bound = sqrt(2) * supply.dc_a / (2 * M_PI * 120 * 40e-6);
    harmonic(&h, 2);
    assert_true(near("ripple at 120 Hz", hum_at(&h, "B1"), bound, 0.65, 1.0));
    double second = hum_at(&h, "B1"), square = 0;
    harmonic(&h, 1);
    assert_true(hum_at(&h, "B1") < 1e-6 * second); /* both halves alike */
    for (int k = 1; k <= SOLVE_HARMONICS; k++) {
        harmonic(&h, k);
        square += pow(hum_at(&h, "B1"), 2);
    }
    /* a sawtooth's rms is its height over 2 sqrt 3 */
    assert_true(near("all harmonics", sqrt(square), supply.ripple_pp_v / sqrt(12), 0.95, 1.1));
    hum_free(&h);
    tube_library_free(tubes);
}

/* A load beside a capacitor with ohms of its own. */
static double complex shunt_of(double load, double farads, double esr, double w) {
    return 1 / (1 / load + 1 / (esr + 1 / (w * farads * I)));
}

/* Behind a resistor or a choke with its own ohms: a divider into load and capacitor, whose own
 * ohms, healthy or grown a hundredfold, let ripple through. */
static void test_filters(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    hummed h = hum_of(tubes, "supply.yaml", supply_text);
    double w = 2 * M_PI * 120;
    harmonic(&h, 2);
    double first = hum_at(&h, "B1");
    double esr2 = h.b.numbers[bench_slot(&h.b, "C2", SOLVE_ESR, 0)];
    double esr3 = h.b.numbers[bench_slot(&h.b, "C3", SOLVE_ESR, 0)];
    double complex shunt = shunt_of(47e3, 20e-6, esr2, w);
    double resistor = cabs(shunt / (10e3 + shunt));
    shunt = shunt_of(20e3, 8e-6, esr3, w);
    double choke = cabs(shunt / (200 + w * 10 * I + shunt));
    assert_true(near("behind 10 kohm and 20 uF", hum_at(&h, "B2") / first, resistor, 0.999, 1.001));
    assert_true(near("behind 10 H and 8 uF", hum_at(&h, "B3") / first, choke, 0.999, 1.001));
    assert_true(near("by 1/(w^2 LC - 1)", choke, 1 / (w * w * 80e-6 - 1), 0.97, 1.03));
    h.b.numbers[bench_slot(&h.b, "C2", SOLVE_ESR, 0)] = 100 * esr2;
    bench_linearise(&h.b, h.signal);
    harmonic(&h, 2);
    shunt = shunt_of(47e3, 20e-6, 100 * esr2, w);
    resistor = cabs(shunt / (10e3 + shunt));
    assert_true(near("with a hundred times its ohms", hum_at(&h, "B2") / hum_at(&h, "B1"), resistor,
                     0.999, 1.001));
    hum_free(&h);
    tube_library_free(tubes);
}

/* Volts rms of ripple at a reservoir of `farads` behind `esr`, fed by two halves of peak volts
 * behind `ohms` and a load that takes `amperes` at its mean: charge counted in small steps. */
static double stepped_ripple(double peak, double ohms, double farads, double esr, double load) {
    double step = 1e-6, inside = peak, sum = 0, square = 0;
    long steps = lround(1 / 120.0 / step), cycles = 60;
    for (long j = 0; j < cycles * steps; j++) {
        double e = peak * fabs(sin(2 * M_PI * 60 * (double)j * step));
        /* the node where source, load and capacitor meet; then whether the diodes conduct there */
        double node = (inside / esr + e / ohms) / (1 / esr + 1 / ohms + 1 / load);
        if (node > e) node = (inside / esr) / (1 / esr + 1 / load);
        inside += step * (node - inside) / esr / farads;
        if (j < (cycles - 1) * steps) continue;
        sum += node / (double)steps;
        square += node * node / (double)steps;
    }
    return sqrt(square - sum * sum);
}

/* A dried-out reservoir: its series ohms grown to 100, its farads a third. */
static void test_reservoir_ohms(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    hummed h = hum_of(tubes, "supply.yaml", supply_text);
    static const double tried[][2] = {{40e-6, 4}, {40e-6, 100}, {13e-6, 300}};
    for (int k = 0; k < 3; k++) {
        solve_supply supply;
        double square = 0;
        h.b.numbers[bench_slot(&h.b, "C1", SOLVE_FARADS, 0)] = tried[k][0];
        h.b.numbers[bench_slot(&h.b, "C1", SOLVE_ESR, 0)] = tried[k][1];
        bench_linearise(&h.b, h.signal);
        assert_true(solve_supply_at(h.b.work, h.b.numbers, h.b.x,
                                    circuit_part_find(h.b.amp, "main"), &supply));
        for (int n = 1; n <= SOLVE_HARMONICS; n++) {
            harmonic(&h, n);
            square += pow(hum_at(&h, "B1"), 2);
        }
        double expected = stepped_ripple(sqrt(2) * supply.ac_v[0] - 0.8, supply.source_ohms[0],
                                         tried[k][0], tried[k][1], supply.dc_v / supply.dc_a);
        assert_true(near("ripple by small steps", sqrt(square), expected, 0.97, 1.03));
    }
    hum_free(&h);
    tube_library_free(tubes);
}

/* One diode open makes it a half-wave supply: hum at the mains' own frequency appears, and more of
 * it (common practice, no source). */
static void test_half_wave(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    hummed h = hum_of(tubes, "supply.yaml", supply_text);
    harmonic(&h, 2);
    double whole = hum_at(&h, "B1");
    h.b.numbers[bench_slot(&h.b, "T1 high", SOLVE_OHMS, 1)] = 1e10;
    bench_linearise(&h.b, h.signal);
    harmonic(&h, 1);
    print_message("both halves %.2f V at 120 Hz, one half %.2f V at 60 Hz\n", whole,
                  hum_at(&h, "B1"));
    assert_true(hum_at(&h, "B1") > 1.5 * whole);
    hum_free(&h);
    tube_library_free(tubes);
}

/* A leak of 100 kohm from a heater at 6.3 V to a cathode without a bypass of 10 kohm: hum at the
 * mains' own frequency, the divider's share of the heater's volts. */
static void test_heater_leak(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    hummed h =
        hum_of(tubes, "follower.yaml",
               "amp: Follower\nmains: {volts: 117, hertz: 60}\n"
               "power transformer:\n  T1:\n"
               "    primary: {volts: 117, ohms: 1, at: [line, neutral]}\n    windings:\n"
               "      plate: {volts: 225, ohms: 10, at: [ac1, ground]}\n"
               "      heater: {volts: 6.3, heater: true, at: [h, ground]}\n"
               "rectifiers:\n  main: {form: half wave, by: silicon, from: T1 plate, out: B}\n"
               "resistors:\n  R1: {value: 10k, at: [k, ground]}\n"
               "  R2: {value: 1M, at: [g, ground]}\n  R3: {value: 1, at: [B, V1.1]}\n"
               "capacitors:\n  C1: {value: 10000u, at: [B, ground], kind: film}\n"
               "tubes:\n  V1: {type: 12AX7, pins: {1: V1.1, 2: g, 3: k, 4: h, 5: h, 9: "
               "ground}}\n");
    harmonic(&h, 1);
    assert_true(hum_at(&h, "k") < 2e-3);
    h.b.numbers[bench_slot(&h.b, "V1", SOLVE_HEATER_LEAK, 1)] = 100e3;
    bench_linearise(&h.b, h.signal);
    harmonic(&h, 1);
    tube_small small = bench_small(&h.b, "V1", 1);
    double looking = 1 / (1e-4 + small.gm + 1 / small.rp);
    double expected = 6.3 * looking / (100e3 + looking);
    assert_true(near("hum from a heater's leak", hum_at(&h, "k"), expected, 0.95, 1.05));
    hum_free(&h);
    tube_library_free(tubes);
}

/* A matched pair without bias trouble hums less than the same pair with one tube worn; a filter
 * capacitor dried out hums more; each is among what raises the hum (common practice, no source). */
static void test_parts(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/tidemark.yaml");
    solve_signal *signal = solve_signal_new(b.system);
    bench_linearise(&b, signal);
    solve_trial given = {signal, b.work, b.numbers, b.x};
    solve_hum_part part[64];
    size_t count;
    assert_int_equal(solve_hum_parts(&given, part, 64, &count), SOLVE_CONVERGED);
    static const char *const names[] = {"C18", "C19", "C20", "V4", "V5"};
    for (int k = 0; k < 5; k++) {
        size_t i = 0;
        while (i < count && part[i].part != circuit_part_find(b.amp, names[k]))
            i++;
        assert_true(i < count);
        print_message("%s: %.2g V at the speaker\n", names[k], part[i].volts);
    }
    for (size_t i = 1; i < count; i++)
        assert_true(part[i].volts <= part[i - 1].volts);
    size_t none;
    assert_int_equal(solve_hum_parts(&given, NULL, 0, &none), SOLVE_CONVERGED);
    assert_int_equal(none, count);
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_first_capacitor), cmocka_unit_test(test_filters),
        cmocka_unit_test(test_reservoir_ohms),  cmocka_unit_test(test_half_wave),
        cmocka_unit_test(test_heater_leak),     cmocka_unit_test(test_parts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
