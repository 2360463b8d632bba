/* A meter in the circuit: the source resistance at a probe and the loaded reading, against the same
 * amp drawn with a true resistor in the meter's place. */
#include "bench.h"

static const double meters[] = {1e7, 1e6, 2e5, 2e4};

/* The file with one more resistor from `a` to `b`; to be freed. */
static char *with_resistor(const char *file, const char *a, const char *b, double ohms) {
    char *text = support_file(file, NULL);
    char *at = strstr(text, "\nresistors:\n");
    assert_non_null(at);
    at += strlen("\nresistors:\n");
    size_t room = strlen(text) + 200;
    char *more = malloc(room);
    snprintf(more, room, "%.*s  R999: {value: %.3f, at: [%s, %s]}\n%s", (int)(at - text), text,
             ohms, a, b, at);
    free(text);
    return more;
}

static double truly_loaded(const tube_library *tubes, const char *file, const char *a,
                           const char *b_name, double ohms) {
    char *text = with_resistor(file, a, b_name, ohms);
    bench b = bench_of_text(tubes, file, text);
    bench_solve(&b);
    double volts = bench_volts(&b, a, b_name);
    free(text);
    bench_free(&b);
    return volts;
}

static void check_place(const tube_library *tubes, bench *b, const char *file, const char *a,
                        const char *b_name) {
    solve_probe probe = {bench_node(b, a), bench_node(b, b_name), false, INFINITY};
    double source;
    double open = solve_read(b->work, b->numbers, b->x, &probe, NULL, &source);
    double light = truly_loaded(tubes, file, a, b_name, 1e4 * source);
    assert_float_equal(open / light - 1, 1e-4, 1e-6);
    for (size_t k = 0; k < sizeof meters / sizeof *meters; k++) {
        double truth = truly_loaded(tubes, file, a, b_name, meters[k]);
        probe.meter_ohms = meters[k];
        double linear = solve_read(b->work, b->numbers, b->x, &probe, NULL, NULL);
        double exact = solve_read_loaded(b->work, b->numbers, b->x, &probe);
        if (fabs(exact - truth) > 1e-5 * (1 + fabs(truth)))
            print_message("%s %s-%s on %g ohms: %g, truly %g\n", file, a, b_name, meters[k], exact,
                          truth);
        assert_float_equal(exact, truth, 1e-5 * (1 + fabs(truth)));
        /* To first order: within a third of what the load takes away. */
        assert_true(fabs(linear - truth) <= 0.34 * fabs(open - truth) + 1e-4);
    }
    /* After a loaded reading the work serves the open one as before. */
    probe.meter_ohms = INFINITY;
    double source_again;
    assert_true(solve_read(b->work, b->numbers, b->x, &probe, NULL, &source_again) == open);
    assert_float_equal(source_again, source, 1e-6 * source);
}

static void check_places(const char *file, const char *const places[][2], size_t count) {
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, file);
    bench_solve(&b);
    for (size_t i = 0; i < count; i++)
        check_place(tubes, &b, file, places[i][0], places[i][1]);
    bench_free(&b);
    tube_library_free(tubes);
}

static void test_millrace(void **state) {
    (void)state;
    static const char *const places[][2] = {
        {"V1.1", "ground"}, {"V1.3", "ground"}, {"V1.2", "ground"}, {"V5.1", "ground"},
        {"V5.2", "ground"}, {"V6.5", "ground"}, {"V6.4", "ground"}, {"B1", "ground"},
        {"B5", "ground"},   {"N1", "ground"},   {"V6.3", "B1"},     {"V1.1", "B5"},
    };
    check_places("data/amps/millrace.yaml", places, sizeof places / sizeof *places);
}

static void test_wren_hollow(void **state) {
    (void)state;
    static const char *const places[][2] = {
        {"V1.1", "ground"}, {"V1.6", "ground"}, {"V2.8", "ground"}, {"V2.3", "ground"}};
    check_places("data/amps/wren-hollow.yaml", places, sizeof places / sizeof *places);
}

/* The stage of the manuals: 12AX7, 100k to the plate, 1500 ohm unbypassed at DC. Source resistance
 * rp + (mu + 1) Rk beside the plate load (closed form), with the tube's own mu and rp there. */
static void test_closed_form(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/wren-hollow.yaml");
    bench_solve(&b);
    int tube = circuit_part_find(b.amp, "V1");
    const circuit_part *part = circuit_part_at(b.amp, (size_t)tube);
    int unit = part->tube->unit[0].pin[TUBE_PLATE] == 1 ? 0 : 1;
    solve_tube at;
    assert_true(solve_tube_at(b.work, b.numbers, b.x, tube, unit, &at));
    tube_small small = tube_small_signal(&at.point);
    solve_probe plate = {bench_node(&b, "V1.1"), 0, false, INFINITY};
    solve_probe supply = {circuit_part_at(b.amp, 0)->end[0], 0, false, INFINITY};
    double source, cathode_ohms = NAN, load_ohms = NAN;
    for (size_t i = 0; i < circuit_parts(b.amp); i++) {
        const circuit_part *other = circuit_part_at(b.amp, i);
        if (other->kind != CIRCUIT_RESISTOR) continue;
        if (other->end[1] == plate.plus) load_ohms = other->value, supply.plus = other->end[0];
        if (other->end[0] == bench_node(&b, "V1.3")) cathode_ohms = other->value;
    }
    solve_read(b.work, b.numbers, b.x, &supply, NULL, &source);
    double up = load_ohms + source, down = small.rp + (small.mu + 1) * cathode_ohms;
    solve_read(b.work, b.numbers, b.x, &plate, NULL, &source);
    print_message("plate source %.0f ohm, closed form %.0f\n", source, up * down / (up + down));
    assert_float_equal(source, up * down / (up + down), 0.01 * source);
    bench_free(&b);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_millrace),
        cmocka_unit_test(test_wren_hollow),
        cmocka_unit_test(test_closed_form),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
