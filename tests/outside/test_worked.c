/* Worked examples that are printed, each reproduced by the program within the rounding of its last
 * printed figure. The name and the source of each stand beside it; they are told as they are met.
 */
#include "solve/signal_bench.h"

#include "service.h"

#include <glob.h>

/* ---- telling -------------------------------------------------------------------------------- */

static int examples, figures;

static void example(const char *name, const char *source) {
    examples++;
    print_message("%2d  %s (%s)\n", examples, name, source);
}

/* Half of a unit in the last figure that is printed. */
static double rounding(const char *printed) {
    const char *dot = strchr(printed, '.'), *exponent = strpbrk(printed, "eE");
    int places = dot ? (int)(strspn(dot + 1, "0123456789")) : 0;
    return 0.5 * pow(10, (exponent ? atoi(exponent + 1) : 0) - places);
}

static void agrees(const char *what, double computed, const char *printed) {
    double expected = strtod(printed, NULL);
    figures++;
    print_message("      %-34s %.6g, printed %s\n", what, computed, printed);
    if (!(fabs(computed - expected) <= rounding(printed) * (1 + 1e-9)))
        fail_msg("%s: %.8g is not %s", what, computed, printed);
}

/* ---- stages: a triode of exact amplification factor ------------------------------------------ */

/* With kvb next to nothing and a sharp cut-off the law's slopes are in the ratio mu everywhere. */
static tube_library *triode(double mu) {
    static const char text[] =
        "type: 12TEST\nclass: triode\nbase: noval 9\nbasing: made up\n"
        "pins:\n  1: {electrode: plate, unit: 1, written: plate}\n"
        "  2: {electrode: grid, unit: 1, written: grid}\n"
        "  3: {electrode: cathode, unit: 1, written: cathode}\n"
        "  4: {electrode: heater, written: heater}\n  5: {electrode: heater, written: heater}\n"
        "pins_source: made up\nheater: {volts: 6.3, amps: 0.3, source: made up}\nratings: []\n"
        "units:\n- kind: triode\n  spread: 0.1\n  cgk: 1.6e-12\n  cgp: 1.7e-12\n"
        "  curve: {perveance: 0.002, mu: %g, kp: 1e5, kvb: 0.1, contact: 0,\n"
        "    grid_perveance: 1e-9, grid_contact: 0}\n"
        "  region: {plate_v: [1, 400], grid_v: [-60, 0], plate_a: [0, 0.1]}\nfit: []\n";
    tube_library *tubes = tube_library_new();
    base_errors *errors = base_errors_new();
    base_text made;
    base_text_init(&made, 4096);
    base_text_add(&made, text, mu);
    base_code code = tube_library_add(tubes, "made up", made.data, made.length, errors);
    if (code != BASE_OK) bench_show(errors);
    assert_int_equal(code, BASE_OK);
    base_text_free(&made);
    base_errors_free(errors);
    return tubes;
}

/* Turns the emission until the plate resistance is that of the example. */
static void set_plate_ohms(bench *b, solve_signal *signal, double ohms) {
    int slot = bench_slot(b, "V1", SOLVE_EMISSION, 0);
    for (int pass = 0; pass < 200; pass++) {
        bench_linearise(b, signal);
        double now = bench_small(b, "V1", 0).rp;
        if (fabs(now / ohms - 1) < 1e-9) return;
        b->numbers[slot] *= pow(now / ohms, 0.7);
    }
    fail_msg("the plate resistance does not come to %g", ohms);
}

#define STAGE                                                                                      \
    "amp: Stage\n" BENCH_SUPPLY "tubes:\n  V1: {type: 12TEST}\n"                                   \
    "resistors:\n  R1: {value: 100k, at: [B, V1.1]}\n  R2: {value: 1k5, at: [V1.3, ground]}\n"     \
    "  R3: {value: 1, at: [in, V1.2]}\n  R4: {value: 1, at: [in, ground]}\n"                       \
    "capacitors:\n  C1: {value: 1000000u, at: [B, ground]}\n  C2: {value: 1000000u, at: [V1.3, "   \
    "ground]}\n"

static double farads_at(bench *b, solve_signal *signal, const char *node, double hertz) {
    return cimag(1 / bench_ohms(b, signal, node, hertz)) / (2 * M_PI * hertz);
}

static void test_stage(void **state) {
    (void)state;
    tube_library *tubes = triode(100);
    bench b = bench_of_text(tubes, "stage.yaml", STAGE);
    solve_signal *signal = solve_signal_new(b.system);
    set_plate_ohms(&b, signal, 62500);
    example("common cathode, bypassed: mu 100, 62.5k into 100k", "A = mu RL / (RL + rp)");
    agrees("gain", cabs(bench_gain(&b, signal, "in", "V1.1", 1)), "61.54");
    example("grid input capacitance: 1.6 and 1.7 pF, gain 61.5", "Cin = Cgk + Cgp (1 + A)");
    b.numbers[bench_slot(&b, "R4", SOLVE_OHMS, 0)] = 1e6;
    b.numbers[bench_slot(&b, "R3", SOLVE_OHMS, 0)] = 0.1;
    bench_linearise(&b, signal);
    agrees("pF", 1e12 * farads_at(&b, signal, "in", 1e3), "107.9");
    b.numbers[bench_slot(&b, "R4", SOLVE_OHMS, 0)] = 1;
    b.numbers[bench_slot(&b, "C2", SOLVE_FARADS, 0)] = 1e-18;
    bench_linearise(&b, signal);
    example("common cathode, not bypassed: 1.5k below", "A = mu RL / (RL + rp + (mu + 1) Rk)");
    agrees("gain", cabs(bench_gain(&b, signal, "in", "V1.1", 1)), "31.85");
    example("what a meter meets at that plate", "(rp + (mu + 1) Rk) beside RL");
    agrees("ohm", cabs(bench_ohms(&b, signal, "V1.1", 1)), "68153");
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

static void test_follower(void **state) {
    (void)state;
    tube_library *tubes = triode(17);
    bench b =
        bench_of_text(tubes, "follower.yaml",
                      "amp: Follower\n" BENCH_SUPPLY "tubes:\n  V1: {type: 12TEST, pins: {1: B}}\n"
                      "resistors:\n  R1: {value: 22k, at: [V1.3, ground]}\n"
                      "  R2: {value: 100k, at: [B, V1.2]}\n  R3: {value: 68k, at: [V1.2, "
                      "ground]}\n"
                      "capacitors:\n  C1: {value: 1000000u, at: [B, ground]}\n"
                      "  C2: {value: 1000000u, at: [V1.2, ground]}\n");
    solve_signal *signal = solve_signal_new(b.system);
    b.numbers[bench_slot(&b, "V1", SOLVE_CONTACT, 3)] = 1e-4; /* the socket's own 50 mohm */
    set_plate_ohms(&b, signal, 7700);
    example("cathode follower: mu 17, 7.7k, on 22k", "rp / (mu + 1) beside Rk");
    agrees("ohm", cabs(bench_ohms(&b, signal, "V1.3", 1)), "419.6");
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- networks without tubes -------------------------------------------------------------------
 */

/* Where the gain from a to c has fallen to `part` of that at `high`, rising from below. */
static double corner(bench *b, solve_signal *signal, double high) {
    double low_hz = 1e-2, high_hz = high, most = cabs(bench_gain(b, signal, "a", "c", high));
    for (int i = 0; i < 60; i++) {
        double middle = sqrt(low_hz * high_hz);
        bool under = cabs(bench_gain(b, signal, "a", "c", middle)) < most * sqrt(0.5);
        *(under ? &low_hz : &high_hz) = middle;
    }
    return low_hz;
}

static void test_corner(void **state) {
    (void)state;
    tube_library *tubes = triode(10);
    bench b = bench_of_text(tubes, "corner.yaml",
                            "amp: Corner\nmains: {volts: 117, hertz: 60}\n"
                            "resistors:\n  R1: {value: 38k, at: [a, b]}\n"
                            "  R2: {value: 1M, at: [c, ground]}\n"
                            "capacitors:\n  C1: {value: 22n, at: [b, c]}\n");
    solve_signal *signal = solve_signal_new(b.system);
    bench_linearise(&b, signal);
    example("coupling: 22 nF from 38k into 1M", "1 / (2 pi C (Rs + RL))");
    agrees("Hz", corner(&b, signal, 1e6), "6.969");
    b.numbers[bench_slot(&b, "R1", SOLVE_OHMS, 0)] = 0.1;
    bench_linearise(&b, signal);
    agrees("Hz without the source's ohms", corner(&b, signal, 1e6), "7.234");
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* Three sections of 10 nF and 1M loaded by each other: where they turn the phase by half a circle.
 */
static void test_phase_shift(void **state) {
    (void)state;
    tube_library *tubes = triode(10);
    bench b =
        bench_of_text(tubes, "shift.yaml",
                      "amp: Shift\nmains: {volts: 117, hertz: 60}\n"
                      "resistors:\n  R1: {value: 1M, at: [p, ground]}\n"
                      "  R2: {value: 1M, at: [q, ground]}\n  R3: {value: 1M, at: [c, ground]}\n"
                      "  R4: {value: 1M, at: [a, ground]}\n"
                      "capacitors:\n  C1: {value: 10n, at: [a, p]}\n"
                      "  C2: {value: 10n, at: [p, q]}\n  C3: {value: 10n, at: [q, c]}\n");
    solve_signal *signal = solve_signal_new(b.system);
    bench_linearise(&b, signal);
    double low = 3, high = 30;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        /* Below, the phase leads by more than half a circle: the imaginary part is negative. */
        *(cimag(bench_gain(&b, signal, "a", "c", middle)) < 0 ? &low : &high) = middle;
    }
    example("phase-shift oscillator, three loaded sections",
            "f = 1 / (2 pi R C sqrt 6), gain 29; found in a mirror of an encyclopedia that cites a "
            "military training manual");
    agrees("Hz", low, "6.497");
    agrees("gain that it needs", 1 / cabs(bench_gain(&b, signal, "a", "c", low)), "29");
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

static void test_coil(void **state) {
    (void)state;
    tube_library *tubes = triode(10);
    bench b = bench_of_text(tubes, "coil.yaml",
                            "amp: Coil\nmains: {volts: 117, hertz: 60}\n"
                            "inductors:\n  L1: {henries: 1m, ohms: 1, at: [a, c]}\n"
                            "resistors:\n  R1: {value: 100M, at: [a, ground]}\n"
                            "capacitors:\n  C1: {value: 1n, at: [a, ground]}\n"
                            "  C2: {value: 1n, at: [c, ground]}\n");
    solve_signal *signal = solve_signal_new(b.system);
    solve_mode mode[4];
    size_t count;
    bench_linearise(&b, signal);
    assert_int_equal(solve_modes(signal, mode, 4, &count), SOLVE_CONVERGED);
    double hertz = 0;
    for (size_t i = 0; i < count && i < 4; i++)
        hertz = fmax(hertz, mode[i].hertz);
    example("coil of 1 mH between two of 1 nF", "f = 1 / (2 pi sqrt(L C1 C2 / (C1 + C2)))");
    agrees("Hz", hertz, "225079");
    solve_signal_free(signal);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- capacitors emptied -----------------------------------------------------------------------
 */

#define FILTER(value, kind, more)                                                                  \
    "amp: One filter\nmains: {volts: 120, hertz: 60}\npower transformer:\n  T1:\n"                 \
    "    primary: {volts: 120, ohms: 1, at: [line, neutral]}\n    windings:\n"                     \
    "      hv: {volts: 320, ohms: 10, at: [x, ground]}\n"                                          \
    "rectifiers:\n  main: {form: half wave, by: silicon, from: T1 hv, out: B}\n"                   \
    "capacitors:\n  C1: {value: " value ", volts: 450, kind: " kind ", at: [B, ground]}\n" more

/* A mains that cannot be: the plan then takes each capacitor at its rating, 450 V. */
static service_drain *at_rating(bench *b) {
    base_errors *errors = base_errors_new();
    service_drain *drain = service_drain_new(b->system, -1, 470, errors);
    assert_non_null(drain);
    base_errors_free(errors);
    return drain;
}

static void test_drained(void **state) {
    (void)state;
    tube_library *tubes = triode(10);
    bench b = bench_of_text(tubes, "filter.yaml", FILTER("50u", "electrolytic", ""));
    service_drain *drain = at_rating(&b);
    const service_drain_capacitor *one = &drain->capacitor[0];
    example("50 uF at 450 V through 470 ohm", "V = V0 exp(-t / RC), energy C V0^2 / 2");
    agrees("J", one->joules, "5.0625");
    agrees("A at the first instant", one->peak_a, "0.9574");
    agrees("W at the first instant", one->peak_watts, "430.9");
    agrees("s to 60 V", one->seconds_to_60, "0.04735");
    agrees("s to 1 V", one->seconds_to_1, "0.14357");
    service_drain_free(drain);
    bench_free(&b);
    b = bench_of_text(tubes, "filter.yaml",
                      FILTER("100u", "film", "resistors:\n  R1: {value: 220k, at: [B, ground]}\n"));
    drain = at_rating(&b);
    example("100 uF at 450 V through its bleeder of 220k", "the same");
    agrees("J", drain->capacitor[0].joules, "10.125");
    agrees("s to 60 V", drain->capacitor[0].self_60_s, "44.33");
    service_drain_free(drain);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- meters -----------------------------------------------------------------------------------
 */

/* A place of 38462 ohm, read with three meters. */
static void test_meter(void **state) {
    static const struct {
        const char *meter, *percent;
    } rows[] = {
        {"1k per volt on 300", "-11.4"}, {"20k per volt on 300", "-0.64"}, {"10M", "-0.38"}};
    (void)state;
    tube_library *tubes = triode(10);
    bench b = bench_of_text(tubes, "meter.yaml",
                            FILTER("1000u", "film",
                                   "resistors:\n  R1: {value: 76924, at: [B, m]}\n"
                                   "  R2: {value: 76924, at: [m, ground]}\n"));
    bench_solve(&b);
    double bare = bench_volts(&b, "m", "ground");
    example("a plate of 38.5 kohm read with three meters", "Rm / (Rm + Rs)");
    for (size_t i = 0; i < 3; i++) {
        diagnose_meter meter;
        base_errors *errors = base_errors_new();
        assert_int_equal(diagnose_meter_read(rows[i].meter, (base_place){0}, &meter, errors),
                         BASE_OK);
        solve_probe probe = {.plus = bench_node(&b, "m"),
                             .meter_ohms = diagnose_meter_ohms(&meter, bare, 38462)};
        double read = solve_read(b.work, b.numbers, b.x, &probe, NULL, NULL);
        agrees(rows[i].meter, 100 * (read / bare - 1), rows[i].percent);
        base_errors_free(errors);
    }
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- tubes as published ------------------------------------------------------------------------
 */

/* Of the library's own curve: a drop of 50 V at 275 mA is one of 43.7 V at 225 mA. */
static void test_drop(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    const tube_curve *curve = &tube_find(tubes, "5U4GB")->unit[0].curve;
    double slope, wanted = tube_diode(curve, 1, 50, &slope) * 225 / 275, low = 0, high = 100;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        *(tube_diode(curve, 1, middle, &slope) < wanted ? &low : &high) = middle;
    }
    example("5U4GB: 50 V at 275 mA, so at 225 mA",
            "3/2-power law, Child 1911, Langmuir 1913; the drop of 50 V from memory of its sheets");
    agrees("V", low, "43.7");
    tube_library_free(tubes);
}

typedef struct biased {
    const char *type, *text, *cathode_v;
    double plate_ma, screen_ma; /* of all tubes together */
    int tubes;
    double ohms;
} biased;

/* Published currents of one or two tubes on a cathode resistor: the tube is made to draw them, and
 * the whole amp's solution gives the volts that follow. Receiving tube manual and European data
 * sheet, from memory; the volts are derived. */
static const biased points[] = {
    {"12AT7", "12AT7, 250 V, 200 ohm", "2.0", 10, 0, 1, 200},
    {"6AU6", "6AU6, 250 and 125 V, 100 ohm", "1.06", 7.6, 3.0, 1, 100},
    {"6L6", "6L6, 250 V, 170 ohm", "13.67", 75, 5.4, 1, 170},
    {"6F6", "two 6F6, 315 and 285 V, 320 ohm", "23.68", 62, 12, 2, 320},
    {"6K6GT", "two 6K6GT, 285 V, 400 ohm", "25.6", 55, 9, 2, 400},
    {"EL84", "EL84, 250 V, 135 ohm", "7.22", 48, 5.5, 1, 135},
};

static void add_tube(base_text *text, const tube_type *type, int number) {
    const int *pin = type->unit[0].pin;
    base_text_add(text, "  V%d: {type: '%s', pins: {%d: B, %d: K, %d: ground", number, type->name,
                  pin[TUBE_PLATE], pin[TUBE_CATHODE], pin[TUBE_GRID]);
    if (pin[TUBE_SCREEN]) base_text_add(text, ", %d: B", pin[TUBE_SCREEN]);
    base_text_add(text, "}}\n");
}

static bench biased_bench(const tube_library *tubes, const biased *point) {
    base_text text;
    base_text_init(&text, 1 << 14);
    base_text_add(&text,
                  "amp: %s\nmains: {volts: 117, hertz: 60, drawn for: 117}\npower transformer:\n"
                  "  T1:\n    primary: {volts: 117, ohms: 1, at: [line, neutral]}\n    windings:\n"
                  "      plate: {volts: 200, ohms: 10, at: [x, ground]}\nrectifiers:\n"
                  "  main: {form: half wave, by: silicon, from: T1 plate, out: B}\nresistors:\n"
                  "  R1: {value: %g, at: [K, ground]}\ncapacitors:\n"
                  "  C1: {value: 100u, at: [B, ground]}\ntubes:\n",
                  point->type, point->ohms);
    for (int k = 1; k <= point->tubes; k++)
        add_tube(&text, tube_find(tubes, point->type), k);
    bench b = bench_of_text(tubes, point->type, text.data);
    base_text_free(&text);
    return b;
}

/* Makes each tube draw its part of the published currents. */
static void fit_currents(bench *b, const biased *point) {
    double wanted = 1e-3 * point->plate_ma / point->tubes;
    double screen = 1e-3 * point->screen_ma / point->tubes;
    for (int pass = 0; pass < 300; pass++) {
        bench_solve(b);
        for (int k = 1; k <= point->tubes; k++) {
            char name[16];
            solve_tube tube;
            snprintf(name, sizeof name, "V%d", k);
            solve_tube_at(b->work, b->numbers, b->x, circuit_part_find(b->amp, name), 0, &tube);
            double all = tube.plate_a + tube.screen_a;
            b->numbers[bench_slot(b, name, SOLVE_EMISSION, 0)] *= sqrt((wanted + screen) / all);
            if (screen > 0)
                b->numbers[bench_slot(b, name, SOLVE_SCREEN, 0)] *=
                    sqrt(screen / wanted * tube.plate_a / tube.screen_a);
        }
    }
    bench_solve(b);
}

static void test_biased(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    for (size_t i = 0; i < sizeof points / sizeof *points; i++) {
        bench b = biased_bench(tubes, &points[i]);
        fit_currents(&b, &points[i]);
        example(points[i].text, "its published currents, from memory; volts derived");
        agrees("V at the cathode", bench_volts(&b, "K", "ground"), points[i].cathode_v);
        bench_free(&b);
    }
    tube_library_free(tubes);
}

/* ---- codes -------------------------------------------------------------------------------------
 */

static void test_codes(void **state) {
    (void)state;
    base_errors *errors = base_errors_new();
    service_date_code code;
    assert_int_equal(service_date_read("285642", (base_place){0}, &code, errors), BASE_OK);
    example("source-date code 285642", "the association's page of source codes, found");
    agrees("maker", atoi(code.reading[0].maker), "285");
    agrees("year's digit", code.reading[0].year, "6");
    agrees("week", code.reading[0].week, "42");
    int years[SERVICE_DATE_YEARS];
    assert_int_equal(service_date_read("999-5-17", (base_place){0}, &code, errors), BASE_OK);
    example("source-date code 999-5-17", "the same form, from memory");
    assert_int_equal(service_date_years(&code, 0, years), 4);
    static const char *const printed[] = {"1945", "1955", "1965", "1975"};
    for (int i = 0; i < 4; i++)
        agrees("year", years[i], printed[i]);
    base_errors_free(errors);
}

/* Run last: how many there were. */
static void test_enough(void **state) {
    (void)state;
    print_message("%d worked examples, %d figures\n", examples, figures);
    assert_true(examples >= 12);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_stage),  cmocka_unit_test(test_follower),
        cmocka_unit_test(test_corner), cmocka_unit_test(test_phase_shift),
        cmocka_unit_test(test_coil),   cmocka_unit_test(test_drained),
        cmocka_unit_test(test_meter),  cmocka_unit_test(test_drop),
        cmocka_unit_test(test_biased), cmocka_unit_test(test_codes),
        cmocka_unit_test(test_enough)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
