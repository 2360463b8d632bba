/* An amp in time: against closed forms, its own energy, and the operating point that it must end
 * on. */
#include "bench.h"
#include "solve_impl.h"

#define PLAIN "mains: {volts: 117, hertz: 60, drawn for: 117}\n"

static solve_run *start(bench *b, const solve_course *given, const double *x) {
    solve_run *run = solve_run_new(b->system);
    solve_course course = *given;
    if (!course.numbers) course.numbers = b->numbers;
    assert_non_null(run);
    assert_int_equal(solve_run_start(run, &course, x), SOLVE_CONVERGED);
    return run;
}

static void run_to(solve_run *run, double seconds) {
    assert_int_equal(solve_run_to(run, seconds, NULL, NULL), SOLVE_CONVERGED);
}

/* Every DC unknown at a node's volts: what a capacitor is charged to at the start. */
static void set_volts(bench *b, const char *node, double volts) {
    for (int i = 0; i < (int)b->unknowns; i++)
        b->x[i] = 0;
    b->x[solve_dc(b->system, bench_node(b, node))] = volts;
}

/* ---- closed forms ---- */

/* V = V0 exp(-t / R C) */
static void test_capacitor_empties(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "rc",
                            "amp: rc\n" PLAIN "resistors: {R1: {value: 10k, at: [a, ground]}}\n"
                            "capacitors: {C1: {value: 10u, at: [a, ground], kind: film}}\n");
    set_volts(&b, "a", 100);
    solve_run *run = start(&b, &(solve_course){0}, b.x);
    for (double t = 0.02; t < 0.5; t += 0.02) {
        run_to(run, t);
        double volts = solve_run_volts(run, bench_node(&b, "a"));
        assert_true(fabs(volts - 100 * exp(-t / 0.1)) < 0.02);
    }
    solve_run_free(run);
    bench_free(&b);
    tube_library_free(tubes);
}

/* A coil's current, I = I0 exp(-t (R + r) / L), through R. */
static void test_coil_empties(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "rl",
                            "amp: rl\n" PLAIN "resistors: {R1: {value: 1k, at: [a, ground]}}\n"
                            "inductors: {L1: {henries: 5, ohms: 100, at: [a, ground]}}\n");
    set_volts(&b, "a", 1); /* 10 mA */
    solve_run *run = start(&b, &(solve_course){0}, b.x);
    for (double t = 0.001; t < 0.02; t += 0.001) {
        run_to(run, t);
        double volts = solve_run_volts(run, bench_node(&b, "a"));
        assert_true(fabs(volts + 10 * exp(-t * 1100 / 5)) < 0.005);
    }
    solve_run_free(run);
    bench_free(&b);
    tube_library_free(tubes);
}

/* L C v'' + r C v' + v = 0 from v = 100 V with i = v / r. */
static void test_ringing(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "rlc",
                            "amp: rlc\n" PLAIN "resistors: {R1: {value: 100M, at: [a, ground]}}\n"
                            "capacitors: {C1: {value: 10u, at: [a, ground], kind: film}}\n"
                            "inductors: {L1: {henries: 5, ohms: 100, at: [a, ground]}}\n");
    set_volts(&b, "a", 100);
    solve_run *run = start(&b, &(solve_course){.tolerance = 1e-5}, b.x);
    double fall = 100 / (2 * 5.0), turn = sqrt(1 / (5 * 10e-6) - fall * fall);
    double slope = -(100.0 / 100) / 10e-6, worst = 0;
    for (double t = 0.002; t < 0.2; t += 0.002) {
        run_to(run, t);
        double sine = (slope + fall * 100) / turn;
        double expected = exp(-fall * t) * (100 * cos(turn * t) + sine * sin(turn * t));
        worst = fmax(worst, fabs(solve_run_volts(run, bench_node(&b, "a")) - expected));
    }
    print_message("ringing: at most %.3g V off in %.0f V\n", worst, fabs(slope / turn));
    assert_true(worst < 0.002 * fabs(slope / turn));
    solve_run_free(run);
    bench_free(&b);
    tube_library_free(tubes);
}

/* A tone through R into C, from rest: V / sqrt(1 + w^2) sin(2 pi f t - atan w) and what dies away.
 */
static void test_tone(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "tone",
                            "amp: tone\n" PLAIN "resistors: {R1: {value: 100M, at: [a, ground]}}\n"
                            "capacitors: {C1: {value: 1u, at: [a, ground], kind: film}}\n");
    set_volts(&b, "a", 0);
    solve_course course = {.tone = {{bench_node(&b, "a"), 1000, 10, 1000}}, .tones = 1};
    solve_run *run = start(&b, &course, b.x);
    double w = 2 * M_PI, size = 10 / sqrt(1 + w * w), lag = atan(w), worst = 0;
    for (double t = 0.00005; t < 0.01; t += 0.00005) {
        run_to(run, t);
        double expected = size * (sin(2 * M_PI * 1000 * t - lag) + sin(lag) * exp(-t / 1e-3));
        worst = fmax(worst, fabs(solve_run_volts(run, bench_node(&b, "a")) - expected));
    }
    assert_true(worst < 0.002 * size);
    solve_run_free(run);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- a supply ---- */

#define SUPPLY                                                                                     \
    PLAIN                                                                                          \
    "power transformer:\n  T1:\n    primary: {volts: 117, ohms: 0.02, at: [line, neutral]}\n"      \
    "    windings:\n      high: {volts: 325-0-325, ohms: 40+40, at: [ac1, ground, ac2]}\n"         \
    "rectifiers: {main: {form: full wave, by: silicon, from: T1 high, out: B1}}\n"

typedef struct energy {
    solve_run *run;
    int part, node;
    double last, power[2], in, out;
} energy;

static bool add_energy(void *own, const solve_run *run) {
    energy *sum = own;
    double span = solve_run_seconds(run) - sum->last, volts = solve_run_volts(run, sum->node);
    double in = volts * (solve_run_side(run, sum->part, 0) + solve_run_side(run, sum->part, 1));
    double out = volts * volts / 5000;
    sum->in += span * (in + sum->power[0]) / 2;
    sum->out += span * (out + sum->power[1]) / 2;
    sum->power[0] = in, sum->power[1] = out;
    sum->last = solve_run_seconds(run);
    return true;
}

/* What the rectifier gives, the capacitor holds and the load burns. */
static void test_energy(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b =
        bench_of_text(tubes, "energy",
                      "amp: energy\n" SUPPLY "resistors: {R1: {value: 5k, at: [B1, ground]}}\n"
                      "capacitors: {C1: {value: 40u, at: [B1, ground], kind: film}}\n");
    solve_run *run = start(&b, &(solve_course){.tolerance = 1e-6}, NULL);
    energy sum = {run, circuit_part_find(b.amp, "main"), bench_node(&b, "B1"), 0, {0, 0}, 0, 0};
    for (double t = 1e-4; t < 0.25; t += 1e-4)
        assert_int_equal(solve_run_to(run, t, add_energy, &sum), SOLVE_CONVERGED);
    double volts = solve_run_volts(run, sum.node), held = 40e-6 * volts * volts / 2;
    print_message("energy: in %.4f J, held %.4f J, burnt %.4f J\n", sum.in, held, sum.out);
    assert_true(fabs(sum.in - held - sum.out) < 0.002 * sum.in);
    solve_run_free(run);
    bench_free(&b);
    tube_library_free(tubes);
}

/* With a capacitor without end and diodes without drop (here 1 to 3 V) the output stands at cos(a)
 * of the peak, where Rs / RL = (2 / pi) (tan a - a): the limit of the published curves (Schade
 * 1943). */
static void test_capacitor_input_limit(void **state) {
    (void)state;
    static const double part[] = {0.005, 0.01, 0.02, 0.05, 0.1};
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "limit",
                            "amp: limit\n" SUPPLY "resistors: {R1: {value: 5k, at: [B1, ground]}}\n"
                            "capacitors: {C1: {value: 4000u, at: [B1, ground], kind: film}}\n");
    double ohms = 40 + 0.05 + 0.02 * pow(325.0 / 117, 2);
    for (size_t i = 0; i < sizeof part / sizeof *part; i++) {
        double low = 0.01, high = 1.5;
        for (int pass = 0; pass < 60; pass++) {
            double a = (low + high) / 2;
            *((2 / M_PI) * (tan(a) - a) < part[i] ? &low : &high) = a;
        }
        b.numbers[bench_slot(&b, "R1", SOLVE_OHMS, 0)] = ohms / part[i];
        bench_solve(&b);
        solve_run *run = start(&b, &(solve_course){.tolerance = 1e-5}, b.x);
        run_to(run, 8 * 4000e-6 * ohms + 0.5);
        double share = solve_run_volts(run, bench_node(&b, "B1")) / (sqrt(2) * 325);
        print_message("Rs/RL %4.1f %%: %.4f of the peak, the limit %.4f\n", 100 * part[i], share,
                      cos(low));
        assert_true(fabs(share - cos(low)) < 0.006);
        solve_run_free(run);
    }
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- it ends on the operating point ---- */

typedef struct average {
    const bench *b;
    double last, seconds, *sum, *before;
} average;

static bool add_volts(void *own, const solve_run *run) {
    average *mean = own;
    double span = solve_run_seconds(run) - mean->last;
    for (size_t n = 1; n < circuit_nodes(mean->b->amp); n++) {
        double volts = solve_run_volts(run, (int)n);
        mean->sum[n] += span * (volts + mean->before[n]) / 2;
        mean->before[n] = volts;
    }
    mean->seconds += span;
    mean->last = solve_run_seconds(run);
    return true;
}

static void average_of(bench *b, solve_run *run, double seconds, average *mean) {
    size_t nodes = circuit_nodes(b->amp);
    double from = solve_run_seconds(run);
    *mean = (average){b, from, 0, calloc(nodes, sizeof(double)), calloc(nodes, sizeof(double))};
    for (size_t n = 1; n < nodes; n++)
        mean->before[n] = solve_run_volts(run, (int)n);
    for (double t = from + 1e-4; t < from + seconds; t += 1e-4)
        assert_int_equal(solve_run_to(run, t, add_volts, mean), SOLVE_CONVERGED);
}

/* The largest difference at a supply node, as a part of it. The point takes the load of a rectifier
 * as a resistance and what a coupling capacitor passes as nothing: it is no exact mean. */
static double off_the_point(bench *b, const average *mean) {
    double worst = 0;
    for (size_t n = 1; n < circuit_nodes(b->amp); n++) {
        solve_probe probe = {(int)n, 0, false, INFINITY};
        if (!solve_probe_exists(b->system, &probe)) continue;
        double volts = solve_read(b->work, b->numbers, b->x, &probe, NULL, NULL);
        double off = mean->sum[n] / mean->seconds - volts;
        if (fabs(volts) > 50) worst = fmax(worst, fabs(off / volts));
    }
    return worst;
}

static bool swings(bench *b) {
    solve_signal *signal = solve_signal_new(b->system);
    solve_tremolo tremolo;
    bench_solve(b);
    solve_signal_set(signal, b->work, b->numbers, b->x);
    solve_trial trial = {signal, b->work, b->numbers, b->x};
    solve_outcome outcome = solve_tremolo_find(&trial, &tremolo);
    solve_signal_free(signal);
    return outcome == SOLVE_CONVERGED && tremolo.part >= 0 && tremolo.swing.swings;
}

/* From cold, after 45 s, the mean of every node over 50 V. */
static void ends_there(bench *b, const char *file, void *extra) {
    (void)extra;
    if (swings(b)) return;
    bench_solve(b);
    solve_run *run = start(b, &(solve_course){0}, NULL);
    average mean;
    run_to(run, 45);
    average_of(b, run, 0.2, &mean);
    double worst = off_the_point(b, &mean);
    print_message("%s: %.3f %% off the operating point\n", file, 100 * worst);
    assert_true(worst < 0.005);
    free(mean.sum);
    free(mean.before);
    solve_run_free(run);
}

static void test_ends_on_the_point(void **state) {
    (void)state;
    bench_each_amp(ends_there, NULL);
}

/* ---- switches, heaters, bad input ---- */

static void test_standby_holds(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/millrace.yaml");
    int slot = bench_slot(&b, "S2", SOLVE_CONTACT, 1), mains = bench_slot(&b, NULL, SOLVE_MAINS, 0);
    solve_change change[] = {{20, slot, b.numbers[slot]}, {25, mains, 0}};
    b.numbers[slot] = 1e10;
    solve_run *run = start(&b, &(solve_course){.change = change, .changes = 2}, NULL);
    run_to(run, 19.9);
    double before = solve_run_volts(run, bench_node(&b, "V8.8"));
    assert_true(before > 480 && solve_run_volts(run, bench_node(&b, "B1")) < 1);
    run_to(run, 24.9);
    assert_true(solve_run_volts(run, bench_node(&b, "B1")) > 400);
    run_to(run, 60);
    assert_true(solve_run_volts(run, bench_node(&b, "B1")) < 60);
    assert_true(solve_run_warmth(run, circuit_part_find(b.amp, "V1")) < 0.05);
    solve_run_free(run);
    bench_free(&b);
    tube_library_free(tubes);
}

/* A cathode follows its heater with one lag: half of its emission at 0.7 of the heater. */
static void test_warmth(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/wren-hollow.yaml");
    bench_solve(&b);
    int part = circuit_part_find(b.amp, "V1");
    solve_tube tube;
    assert_true(solve_tube_at(b.work, b.numbers, b.x, part, 0, &tube));
    solve_run *run = start(&b, &(solve_course){0}, NULL);
    assert_true(solve_run_warmth(run, part) < 1e-3);
    run_to(run, 8);
    assert_true(fabs(solve_run_warmth(run, part) - 0.7 * tube.heater_ratio) < 1e-3);
    run_to(run, 60);
    assert_true(fabs(solve_run_warmth(run, part) - tube.heater_ratio) < 1e-3);
    solve_run_free(run);
    bench_free(&b);
    tube_library_free(tubes);
}

static void test_bad_numbers(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/wren-hollow.yaml");
    solve_run *run = solve_run_new(b.system);
    int slot = bench_slot(&b, "R1", SOLVE_OHMS, 0);
    const double bad[] = {NAN, INFINITY, -1, 0};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        double good = b.numbers[slot];
        b.numbers[slot] = bad[i];
        solve_course course = {.numbers = b.numbers};
        assert_int_equal(solve_run_start(run, &course, NULL), SOLVE_NOT_FINITE);
        b.numbers[slot] = good;
        solve_change change = {0.01, slot, bad[i]};
        course.change = &change;
        course.changes = 1;
        assert_int_equal(solve_run_start(run, &course, NULL), SOLVE_CONVERGED);
        assert_int_equal(solve_run_to(run, 0.02, NULL, NULL), SOLVE_NOT_FINITE);
    }
    assert_true(isnan(solve_run_side(run, circuit_part_find(b.amp, "R1"), 0)));
    assert_true(isnan(solve_run_warmth(run, circuit_part_find(b.amp, "R1"))));
    solve_run_free(run);
    solve_run_free(NULL);
    bench_free(&b);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_capacitor_empties),
                                       cmocka_unit_test(test_coil_empties),
                                       cmocka_unit_test(test_ringing),
                                       cmocka_unit_test(test_tone),
                                       cmocka_unit_test(test_energy),
                                       cmocka_unit_test(test_capacitor_input_limit),
                                       cmocka_unit_test(test_ends_on_the_point),
                                       cmocka_unit_test(test_standby_holds),
                                       cmocka_unit_test(test_warmth),
                                       cmocka_unit_test(test_bad_numbers)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
