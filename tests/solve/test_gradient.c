/* The adjoint gradient of a reading against finite differences, over every number of an amp. */
#include "bench.h"

#define STEP 5e-4     /* of the logarithm */
#define GAS_STEP 1e-6 /* of the gas, which may be nothing */
#define PROBES 400

/* Numbers at which every slot matters: leaks that leak, contacts that resist, tubes with gas. */
static double worn(const bench *b, const solve_slot *slot) {
    static const double number[SOLVE_WHATS] = {
        [SOLVE_LEAK] = 2e7,      [SOLVE_CONTACT] = 20,      [SOLVE_GAS] = 2e-4,
        [SOLVE_GRID_LEAK] = 5e7, [SOLVE_HEATER_LEAK] = 3e5, [SOLVE_PLATE_SHORT] = 1e9,
        [SOLVE_EMISSION] = 0.7,  [SOLVE_SCREEN] = 1.3,
    };
    if (slot->what == SOLVE_CONTACT) {
        const circuit_part *part = circuit_part_at(b->amp, (size_t)slot->part);
        if (part->kind == CIRCUIT_TUBE && part->tube->pin[slot->which].electrode >= TUBE_HEATER)
            return 0.1;
    }
    return number[slot->what] > 0 ? number[slot->what] : slot->nominal;
}

/* The heater of a tube, from its first pin to its last; false where it is not drawn. */
static bool heater_probe(const bench *b, const circuit_part *part, solve_probe *probe) {
    *probe = (solve_probe){-1, -1, true, INFINITY};
    for (int pin = 1; part->kind == CIRCUIT_TUBE && pin <= part->tube->pins; pin++) {
        tube_electrode electrode = part->tube->pin[pin].electrode;
        if (electrode < TUBE_HEATER || part->end[pin] < 0) continue;
        probe->minus = probe->plus < 0 ? probe->minus : part->end[pin];
        probe->plus = probe->plus < 0 ? part->end[pin] : probe->plus;
    }
    return probe->minus >= 0 && solve_probe_exists(b->system, probe);
}

/* Every node that carries DC, to ground; and every heater. */
static size_t list_probes(const bench *b, solve_probe *list) {
    size_t count = 0;
    for (size_t n = 1; n < circuit_nodes(b->amp); n++) {
        list[count] = (solve_probe){(int)n, 0, false, INFINITY};
        count += solve_probe_exists(b->system, &list[count]);
    }
    for (size_t i = 0; i < circuit_parts(b->amp); i++)
        count += heater_probe(b, circuit_part_at(b->amp, i), &list[count]);
    assert_true(count < PROBES);
    return count;
}

typedef struct probes {
    solve_probe at[PROBES];
    size_t count;
} probes;

/* The readings with slot `i` changed by `sign` steps. Returns the step. */
static double read_changed(bench *b, size_t i, double sign, const probes *list, double *read) {
    double *x = malloc(b->unknowns * sizeof *x), own = b->numbers[i];
    bool gas = solve_slot_at(b->system, i)->what == SOLVE_GAS;
    b->numbers[i] = gas ? own + sign * GAS_STEP : own * exp(sign * STEP);
    assert_true(bench_solved(solve_point(b->work, b->numbers, b->x, x)));
    for (size_t k = 0; k < list->count; k++)
        read[k] = solve_read(b->work, b->numbers, x, &list->at[k], NULL, NULL);
    b->numbers[i] = own;
    free(x);
    return gas ? GAS_STEP : STEP;
}

static void say_gap(const bench *b, size_t i, const solve_probe *probe, double adjoint,
                    double difference) {
    const solve_slot *slot = solve_slot_at(b->system, i);
    print_message("  %s what %d which %d, at %s%s: adjoint %.6g, difference %.6g\n",
                  slot->part < 0 ? "mains" : circuit_part_at(b->amp, (size_t)slot->part)->name,
                  slot->what, slot->which, circuit_node_at(b->amp, (size_t)probe->plus)->name,
                  probe->heater ? " heater" : "", adjoint, difference);
}

/* Largest gap over all numbers and probes, as a part of what is allowed: 1e-4 of the slope and,
 * for what rounds off in the differences, 1e-4 V for a change by a factor e. */
static double compare(bench *b, const probes *list, const double *gradient) {
    double up[PROBES], down[PROBES], worst = 0;
    for (size_t i = 0; i < b->slots; i++) {
        double step = read_changed(b, i, 1, list, up);
        read_changed(b, i, -1, list, down);
        for (size_t k = 0; k < list->count; k++) {
            double difference = (up[k] - down[k]) / (2 * step);
            double adjoint = gradient[k * b->slots + i];
            double floor = step == GAS_STEP ? 1e-4 / GAS_STEP * STEP : 1e-4;
            double gap = fabs(adjoint - difference) / (1e-4 * fabs(difference) + floor);
            if (gap > 1) say_gap(b, i, &list->at[k], adjoint, difference);
            worst = fmax(worst, gap);
        }
    }
    return worst;
}

static double gap_of(bench *b) {
    probes list;
    list.count = list_probes(b, list.at);
    double *gradient = malloc(list.count * b->slots * sizeof *gradient);
    bench_solve(b);
    for (size_t k = 0; k < list.count; k++)
        solve_read(b->work, b->numbers, b->x, &list.at[k], gradient + k * b->slots, NULL);
    double worst = compare(b, &list, gradient);
    free(gradient);
    return worst;
}

static void check_amp(const char *file, bool wear) {
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, file);
    for (size_t i = 0; i < b.slots; i++) {
        const solve_slot *slot = solve_slot_at(b.system, i);
        if (slot->what == SOLVE_GAS) b.numbers[i] = 1e-5; /* room for a step either way */
        if (wear) b.numbers[i] = worn(&b, slot);
    }
    double worst = gap_of(&b);
    print_message("%s, %s: worst gap %.3f of what is allowed\n", file, wear ? "worn" : "healthy",
                  worst);
    assert_true(worst <= 1);
    bench_free(&b);
    tube_library_free(tubes);
}

static void test_cathode_bias(void **state) {
    (void)state;
    check_amp("data/amps/tidemark.yaml", false);
    check_amp("data/amps/tidemark.yaml", true);
}

/* Two rectifiers, one of them negative and selenium; a choke; 130 unknowns. */
static void test_fixed_bias(void **state) {
    (void)state;
    check_amp("data/amps/millrace.yaml", false);
    check_amp("data/amps/millrace.yaml", true);
}

/* A choke-input supply. */
static void test_choke_input(void **state) {
    (void)state;
    check_amp("data/amps/choirloft.yaml", true);
}

/* A voltage doubler. */
static void test_doubler(void **state) {
    (void)state;
    check_amp("data/amps/slipway.yaml", true);
}

/* Heaters in a row, half wave off the mains. */
static void test_heater_string(void **state) {
    (void)state;
    check_amp("data/amps/porchlight.yaml", true);
}

/* rms volts have no sign: a meter shows the same with its leads exchanged, and more with more mains
 * either way. A heater string gives both directions. */
static void test_heater_has_no_sign(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/porchlight.yaml");
    bench_solve(&b);
    int mains = bench_slot(&b, NULL, SOLVE_MAINS, 0);
    double *gradient = calloc(b.slots, sizeof *gradient);
    solve_probe probe = {bench_node(&b, "V4.3"), bench_node(&b, "V4.4"), true, INFINITY};
    for (int turn = 0; turn < 2; turn++) {
        double volts = solve_read(b.work, b.numbers, b.x, &probe, gradient, NULL);
        assert_true(fabs(volts - 35.8) < 1);
        assert_true(fabs(gradient[mains] - volts) < 0.01 * volts);
        probe = (solve_probe){probe.minus, probe.plus, true, INFINITY};
    }
    free(gradient);
    bench_free(&b);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_heater_has_no_sign),
        cmocka_unit_test(test_cathode_bias),
        cmocka_unit_test(test_fixed_bias),
        cmocka_unit_test(test_choke_input),
        cmocka_unit_test(test_doubler),
        cmocka_unit_test(test_heater_string),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
