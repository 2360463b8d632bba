/* The voltage chart against what it must be by physics and by the trade. */
#include "amp.h"

#include "../../src/diagnose/diagnose_impl.h"
#include "../../src/service/service_impl.h"

static const diagnose_meter ten_meg = {
    .ohms = 10e6, .ohms_per_volt = NAN, .range = NAN, .accuracy = 0.005};

static diagnose_meter per_volt(double ohms, double range) {
    return (diagnose_meter){.ohms = NAN, .ohms_per_volt = ohms, .range = range};
}

/* ---- order --------------------------------------------------------------------------------- */

static int group_of(const service_line *line) {
    if (line->pin >= 0) return 0;
    return strcmp(line->what, "supply") == 0 ? 1 : 2;
}

static void check_pair(const service_line *before, const service_line *line) {
    assert_true(group_of(line) >= group_of(before));
    if (group_of(line) == 0 && group_of(before) == 0) assert_true(line->part >= before->part);
    if (group_of(line) == 0 && line->part == before->part && !line->heater)
        assert_true(line->pin > before->pin);
    if (group_of(line) == 1 && group_of(before) == 1)
        assert_true(fabs(line->volts) <= fabs(before->volts));
}

static void test_order(void **state) {
    static const char *const names[] = {"wren-hollow", "millrace", "saltpan", "choirloft"};
    (void)state;
    for (size_t n = 0; n < sizeof names / sizeof *names; n++) {
        amp amp;
        amp_open(&amp, names[n], NULL, NULL);
        service_chart *chart = service_chart_new(amp.system, amp.priors, NAN, &ten_meg, amp.errors);
        assert_non_null(chart);
        for (size_t i = 1; i < chart->lines; i++)
            check_pair(&chart->line[i - 1], &chart->line[i]);
        service_chart_free(chart);
        amp_close(&amp);
    }
}

/* ---- meters -------------------------------------------------------------------------------- */

/* The fall of a divider: 38 kohm of a plate and 1 Mohm of a grid leak on three meters. */
static void test_loading(void **state) {
    const struct {
        double source_ohms, meter_ohms, lost;
    } cases[] = {{38e3, 10e6, 0.004}, {38e3, 200e3, 0.16}, {1e6, 10e6, 0.09}, {1e6, 200e3, 0.83}};
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        diagnose_meter meter = per_volt(20e3, 10);
        if (cases[i].meter_ohms == 10e6) meter = ten_meg;
        double ohms = diagnose_meter_ohms(&meter, 5, cases[i].source_ohms);
        assert_double_equal(ohms, cases[i].meter_ohms, 1);
        assert_double_equal(cases[i].source_ohms / (ohms + cases[i].source_ohms), cases[i].lost,
                            0.005);
    }
}

/* The smallest usual range that holds what is then shown. */
static void test_range(void **state) {
    const struct {
        double volts, source_ohms, range;
    } cases[] = {{2.9, 0, 3},      {3.1, 0, 10},       {160, 38e3, 300},
                 {-41, 50e3, 100}, {100.1, 10e3, 100}, {350, 100, 1000}};
    diagnose_meter meter = per_volt(20e3, NAN);
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        assert_double_equal(diagnose_meter_ohms(&meter, cases[i].volts, cases[i].source_ohms),
                            20e3 * cases[i].range, 1);
}

/* The meter joined to the whole circuit agrees with the divider of the place's own source. */
static void test_meter_in_circuit(void **state) {
    diagnose_meter meter = per_volt(20e3, NAN);
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    service_chart *chart = service_chart_new(amp.system, amp.priors, NAN, &meter, amp.errors);
    assert_non_null(chart);
    for (size_t i = 0; i < chart->lines; i++) {
        const service_line *line = &chart->line[i];
        if (line->heater || line->source_ohms == 0) continue;
        double ohms = diagnose_meter_ohms(&meter, line->volts, line->source_ohms);
        double divided = line->volts * ohms / (ohms + line->source_ohms);
        assert_true(fabs(line->shown) <= fabs(line->volts) + 1e-6);
        assert_double_equal(line->shown, divided, 0.01 * fabs(line->volts) + 1e-4);
    }
    service_chart_free(chart);
    amp_close(&amp);
}

/* ---- the band ------------------------------------------------------------------------------ */

#define SAMPLES 400

/* One good amp, drawn at random: each part's number by its own spread, where they are known apart
 * from the program (tolerances as the file states them, two standard deviations; emission, screen
 * share and windings by the priors' own and common shares together). */
static double spread_of(const circuit *amp, const diagnose_priors *priors, const solve_slot *slot) {
    double winding = diagnose_number_of(priors, NUMBER_WINDING_VOLTS);
    if (slot->part < 0) return 0.03;
    const circuit_part *part = circuit_part_at(amp, (size_t)slot->part);
    double stated = isfinite(part->tolerance) ? part->tolerance / 2 : 0;
    bool carbon = part->material == CIRCUIT_CARBON_COMPOSITION && part->original != 0;
    bool diode = part->tube && part->tube->unit[0].kind == TUBE_DIODE;
    switch (slot->what) {
    case SOLVE_OHMS:
        if (part->kind == CIRCUIT_WINDING) return diagnose_number_of(priors, NUMBER_WINDING_OHMS);
        if (part->kind == CIRCUIT_SPEAKER) return 0;
        return carbon ? hypot(stated, diagnose_number_of(priors, NUMBER_CARBON_DRIFT)) : stated;
    case SOLVE_VOLTS:
        return hypot(winding, winding);
    case SOLVE_HEATER:
        return diagnose_number_of(priors, NUMBER_HEATER_OHMS);
    case SOLVE_EMISSION:
        return diode ? diagnose_number_of(priors, NUMBER_RECTIFIER)
                     : part->tube->unit[slot->which].spread;
    case SOLVE_SCREEN:
        return diode ? 0 : fmax(part->tube->unit[slot->which].screen_spread, 0.30);
    default:
        return 0;
    }
}

static void draw(const amp *amp, base_random *random, double *numbers) {
    for (size_t i = 0; i < solve_slots(amp->system); i++) {
        double spread = spread_of(amp->circuit, amp->priors, solve_slot_at(amp->system, i));
        numbers[i] = solve_nominal(amp->system)[i] * exp(spread * base_random_normal(random));
    }
}

/* The linear band beside the spread of whole amps solved one by one. */
static void test_band(void **state) {
    (void)state;
    amp amp;
    amp_open_unprinted(&amp);
    service_chart *chart = service_chart_new(amp.system, amp.priors, NAN, &ten_meg, amp.errors);
    assert_non_null(chart);
    service_places places;
    assert_true(service_places_list(amp.system, chart->arena, &places));
    solve_work *work = solve_work_new(amp.system);
    double numbers[1024], x[512], sum[128] = {0}, squares[128] = {0};
    assert_true(solve_slots(amp.system) < 1024 && solve_unknowns(amp.system) < 512);
    base_random random;
    base_random_seed(&random, 20);
    for (int s = 0; s < SAMPLES; s++) {
        draw(&amp, &random, numbers);
        assert_true(solve_point(work, numbers, NULL, x).outcome <= SOLVE_CONTINUED);
        for (size_t i = 0; i < places.count; i++) {
            if (places.probe[i].plus == places.probe[i].minus) continue;
            places.probe[i].meter_ohms = places.probe[i].heater ? INFINITY : 10e6;
            double volts = solve_read(work, numbers, x, &places.probe[i], NULL, NULL);
            sum[i] += volts;
            squares[i] += volts * volts;
        }
    }
    for (size_t i = 0; i < places.count; i++) {
        const service_line *line = amp_line(chart, places.line[i].at);
        double mean = sum[i] / SAMPLES, sigma = sqrt(squares[i] / SAMPLES - mean * mean);
        double half = (line->high - line->low) / 2;
        if (half < 0.05) continue;
        if (fabs(half / (2 * sigma) - 1) > 0.2)
            fail_msg("%s: band %g, of %d amps %g", line->at, half, SAMPLES, 2 * sigma);
    }
    solve_work_free(work);
    service_chart_free(chart);
    amp_close(&amp);
}

/* The chart's band is what the diagnosis holds for good amps, printed figures taken in. */
static void test_band_of_diagnosis(void **state) {
    static const char *const names[] = {"wren-hollow", "granary", "choirloft"};
    (void)state;
    for (size_t n = 0; n < sizeof names / sizeof *names; n++) {
        amp amp;
        amp_open(&amp, names[n], NULL, NULL);
        diagnose_options options = diagnose_defaults();
        options.mains = 118;
        options.mains_spread = 0.005;
        options.meter = per_volt(20e3, NAN);
        diagnose_engine *engine = diagnose_engine_new(amp.system, amp.priors, &options, amp.errors);
        service_chart *chart =
            service_chart_new(amp.system, amp.priors, 118, &options.meter, amp.errors);
        assert_true(engine && chart);
        int shared = 0;
        for (size_t i = 0; i < chart->lines; i++) {
            const service_line *line = &chart->line[i];
            for (size_t k = 0; k < diagnose_places(engine); k++) {
                const diagnose_place *place = diagnose_place_at(engine, k);
                if (strcmp(place->at, line->at) != 0) continue;
                double near = 1e-4 + 1e-4 * fabs(line->shown);
                assert_double_equal(line->shown, place->healthy, near);
                assert_double_equal(line->low, place->healthy - 2 * place->spread, near);
                assert_double_equal(line->high, place->healthy + 2 * place->spread, near);
                shared++;
            }
        }
        assert_true(shared > 8);
        diagnose_engine_free(engine);
        service_chart_free(chart);
        amp_close(&amp);
    }
}

static void test_mains(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    service_chart *file = service_chart_new(amp.system, amp.priors, NAN, &ten_meg, amp.errors);
    service_chart *measured = service_chart_new(amp.system, amp.priors, 108, &ten_meg, amp.errors);
    assert_true(file && measured);
    assert_double_equal(file->mains_v, 120, 1e-9);
    assert_double_equal(measured->mains_v, 108, 1e-9);
    const service_line *a = amp_line(file, "B2"), *b = amp_line(measured, "B2");
    assert_true(b->high - b->low < 0.7 * (a->high - a->low));
    /* 10 % less at the wall: some 10 % less at the filter. */
    assert_double_equal(b->shown / a->shown, 0.9, 0.03);
    service_chart_free(file);
    service_chart_free(measured);
    amp_close(&amp);
}

/* ---- differences --------------------------------------------------------------------------- */

static void test_differences(void **state) {
    (void)state;
    amp amp;
    amp_open_unprinted(&amp);
    service_chart *chart = service_chart_new(amp.system, amp.priors, NAN, &ten_meg, amp.errors);
    assert_non_null(chart);
    double screen = amp_line(chart, "B2")->volts - amp_line(chart, "V2.4")->volts;
    assert_double_equal(amp_line(chart, "R13")->volts, screen, 1e-6);
    assert_double_equal(amp_line(chart, "R12")->volts, amp_line(chart, "V2.8")->volts, 1e-9);
    /* Ohm: cathode current through 470 ohms, plate current through the transformer's 240. */
    const service_tube *output = NULL;
    for (size_t i = 0; i < chart->tubes; i++)
        if (strcmp(chart->tube[i].tube, "V2") == 0) output = &chart->tube[i];
    assert_non_null(output);
    assert_double_equal(output->cathode_a * 470, amp_line(chart, "R12")->volts, 0.01);
    double drop = amp_line(chart, "V3.8")->volts - amp_line(chart, "V2.3")->volts;
    assert_double_equal(output->plate_a * 240, drop, 0.01);
    service_chart_free(chart);
    amp_close(&amp);
}

/* ---- dissipation --------------------------------------------------------------------------- */

/* A figure of the trade (common practice, no source): 362.2 V plate to cathode and 25.48 V across
 * 470 ohms, 5.8 % of the cathode's current to the screen: 132.1 % of 14 W, 154 % of 12 W. */
static void test_rating_systems(void **state) {
    (void)state;
    base_errors *errors = base_errors_new();
    tube_library *tubes = amp_tubes(errors);
    const tube_type *type = tube_find(tubes, "6V6GT");
    const tube_rating *rating[2];
    assert_int_equal(service_ratings_of(type, 0, TUBE_PLATE_W, rating), 2);
    double watts = 362.2 * 25.48 / 470 * (1 - 0.058);
    assert_string_equal(rating[0]->system, "design-maximum");
    assert_string_equal(rating[1]->system, "design-centre");
    assert_double_equal(100 * watts / rating[0]->limit[TUBE_PLATE_W], 132.1, 0.1);
    assert_double_equal(100 * watts / rating[1]->limit[TUBE_PLATE_W], 154, 0.3);
    const char *system = NULL;
    assert_double_equal(service_limit(type, 0, TUBE_PLATE_W, &system), 14, 1e-9);
    assert_string_equal(system, "design-maximum");
    tube_library_free(tubes);
    base_errors_free(errors);
}

static double output_percent(const char *from, const char *to) {
    double percent = NAN;
    amp amp;
    amp_open(&amp, "wren-hollow", from, to);
    service_chart *chart = service_chart_new(amp.system, amp.priors, NAN, &ten_meg, amp.errors);
    assert_non_null(chart);
    for (size_t i = 0; i < chart->tubes; i++)
        if (strcmp(chart->tube[i].tube, "V2") == 0)
            percent = 100 * chart->tube[i].plate_w / chart->tube[i].rating[0].plate_w;
    service_chart_free(chart);
    amp_close(&amp);
    return percent;
}

/* The same amp with 1 kohm in the cathode idles within its rating, by the whole circuit. */
static void test_cathode_resistor(void **state) {
    (void)state;
    double before = output_percent(NULL, NULL);
    double after = output_percent("R12: {value: 470", "R12: {value: 1k");
    assert_true(before > 105);
    assert_true(after < 100 && after > 50);
}

/* Grid stoppers carry no current at idle: a hundred times the value moves nothing that shows. */
static void test_grid_stoppers(void **state) {
    (void)state;
    amp a, b;
    amp_open(&a, "wren-hollow", NULL, NULL);
    amp_open(&b, "wren-hollow", "R1: {value: 68k", "R1: {value: 680");
    service_chart *with = service_chart_new(a.system, a.priors, NAN, &ten_meg, a.errors);
    service_chart *without = service_chart_new(b.system, b.priors, NAN, &ten_meg, b.errors);
    assert_true(with && without);
    for (size_t i = 0; i < with->lines; i++)
        assert_double_equal(with->line[i].shown, without->line[i].shown, 0.01);
    service_chart_free(with);
    service_chart_free(without);
    amp_close(&a);
    amp_close(&b);
}

/* ---- failure ------------------------------------------------------------------------------- */

static void test_unsolved(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    assert_null(service_chart_new(amp.system, amp.priors, -120, &ten_meg, amp.errors));
    assert_int_equal(base_errors_worst(amp.errors), BASE_UNSOLVED);
    assert_true(amp_complains(&amp, "no operating point"));
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_order),          cmocka_unit_test(test_loading),
        cmocka_unit_test(test_range),          cmocka_unit_test(test_meter_in_circuit),
        cmocka_unit_test(test_band),           cmocka_unit_test(test_band_of_diagnosis),
        cmocka_unit_test(test_mains),          cmocka_unit_test(test_differences),
        cmocka_unit_test(test_rating_systems), cmocka_unit_test(test_cathode_resistor),
        cmocka_unit_test(test_grid_stoppers),  cmocka_unit_test(test_unsolved),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
