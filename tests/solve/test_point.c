/* The operating point of every amp of the library, and what becomes of numbers that are none. */
#include "faults.h"

/* ---- from cold, and from the healthy point ---- */

static void check_point(bench *b, const char *file, void *extra) {
    (void)extra;
    solve_result cold = solve_point(b->work, b->numbers, NULL, b->x);
    if (!bench_solved(cold)) print_message("%s: %s\n", file, solve_outcome_text(cold.outcome));
    assert_true(bench_solved(cold));
    assert_true(bench_kirchhoff(b, b->numbers, b->x) <= 1);
    double *again = malloc(b->unknowns * sizeof *again);
    solve_result warm = solve_point(b->work, b->numbers, b->x, again);
    assert_int_equal(warm.outcome, SOLVE_CONVERGED);
    assert_true(warm.steps <= 2);
    for (size_t i = 0; i < b->unknowns; i++)
        assert_float_equal(again[i], b->x[i], 1e-6 * (1 + fabs(b->x[i])));
    assert_true(cold.residual <= 1e-9 && warm.residual <= 1e-9);
    free(again);
}

static void test_library(void **state) {
    (void)state;
    bench_each_amp(check_point, NULL);
}

/* The same numbers give the same point, whatever the work did before. */
static void test_no_memory_of_before(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/millrace.yaml");
    double *first = malloc(b.unknowns * sizeof *first), *faulty = malloc(b.slots * sizeof *faulty);
    bench_solve(&b);
    memcpy(first, b.x, b.unknowns * sizeof *first);
    base_random random;
    base_random_seed(&random, 5);
    faults_tolerate(&b, &random, faulty);
    faulty[bench_slot(&b, "C28", SOLVE_LEAK, 0)] = 100;
    solve_point(b.work, faulty, NULL, b.x);
    bench_solve(&b);
    for (size_t i = 0; i < b.unknowns; i++)
        assert_float_equal(b.x[i], first[i], 1e-7 * (1 + fabs(first[i])));
    free(first);
    free(faulty);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- bad numbers ---- */

static void refuse(bench *b, size_t slot, double number) {
    double own = b->numbers[slot];
    b->numbers[slot] = number;
    solve_result result = solve_point(b->work, b->numbers, NULL, b->x);
    assert_int_equal(result.outcome, SOLVE_NOT_FINITE);
    assert_int_equal(result.where, slot);
    b->numbers[slot] = own;
}

/* Every number refuses NaN, infinity and less than nothing; nothing itself where it must be more.
 */
static void test_bad_numbers(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/tidemark.yaml");
    for (size_t i = 0; i < b.slots; i++) {
        refuse(&b, i, NAN);
        refuse(&b, i, INFINITY);
        refuse(&b, i, -INFINITY);
        refuse(&b, i, -1);
        solve_what what = solve_slot_at(b.system, i)->what;
        bool nothing = what == SOLVE_GAS || what == SOLVE_EMISSION || what == SOLVE_VOLTS ||
                       what == SOLVE_MAINS;
        if (!nothing) refuse(&b, i, 0);
    }
    bench_solve(&b); /* and the work is as good as before */
    bench_free(&b);
    tube_library_free(tubes);
}

/* A start that is no number does not stop the solver: it starts from cold. */
static void test_bad_start(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/tidemark.yaml");
    bench_solve(&b);
    double *start = malloc(b.unknowns * sizeof *start), good = b.x[0];
    static const double bad[] = {NAN, INFINITY, 1e300, -1e9};
    for (size_t k = 0; k < sizeof bad / sizeof *bad; k++) {
        for (size_t i = 0; i < b.unknowns; i++)
            start[i] = bad[k];
        assert_true(bench_solved(solve_point(b.work, b.numbers, start, b.x)));
        assert_float_equal(b.x[0], good, 1e-6 * fabs(good));
    }
    free(start);
    bench_free(&b);
    tube_library_free(tubes);
}

/* Numbers beyond all sense end in an outcome, not in a crash or in no end. */
static void try_wild(bench *b, const char *file, void *extra) {
    (void)file;
    base_random *random = extra;
    for (int round = 0; round < 8; round++) {
        double reach = round < 6 ? 1e-19 : 1e-300;
        for (size_t i = 0; i < b->slots; i++)
            b->numbers[i] = base_random_unit(random) < 0.9
                                ? solve_nominal(b->system)[i]
                                : faults_between(random, reach, 1 / reach);
        solve_result result = solve_point(b->work, b->numbers, NULL, b->x);
        assert_true(result.outcome <= SOLVE_NOT_FINITE);
        if (bench_solved(result)) assert_true(bench_kirchhoff(b, b->numbers, b->x) <= 1);
    }
}

static void test_wild_numbers(void **state) {
    (void)state;
    base_random random;
    base_random_seed(&random, 12);
    bench_each_amp(try_wild, &random);
}

/* Warm or cold, a faulty amp comes to the same point: it has one. */
static void try_both(bench *b, const char *file, void *extra) {
    (void)file;
    base_random *random = extra;
    bench_solve(b);
    double *warm = malloc(b->unknowns * sizeof *warm), *cold = malloc(b->unknowns * sizeof *cold);
    for (size_t slot = 0; slot < b->slots; slot++) {
        faults_tolerate(b, random, b->numbers);
        b->numbers[slot] = faults_number(solve_slot_at(b->system, slot), random);
        assert_true(bench_solved(solve_point(b->work, b->numbers, b->x, warm)));
        assert_true(bench_solved(solve_point(b->judge, b->numbers, NULL, cold)));
        for (size_t i = 0; i < b->unknowns; i++)
            assert_float_equal(warm[i], cold[i], 1e-4 * (1 + fabs(cold[i])));
    }
    free(warm);
    free(cold);
}

static void test_warm_or_cold(void **state) {
    (void)state;
    base_random random;
    base_random_seed(&random, 9);
    bench_each_amp(try_both, &random);
}

/* No mains: nothing flows and nothing is hot. */
static void test_unplugged(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/millrace.yaml");
    b.numbers[bench_slot(&b, NULL, SOLVE_MAINS, 0)] = 0;
    bench_solve(&b);
    for (size_t i = 0; i < b.unknowns; i++)
        assert_float_equal(b.x[i], 0, 1e-3);
    bench_free(&b);
    tube_library_free(tubes);
}

/* ---- what the numbers mean ---- */

static const char divider[] = "amp: Divider\nmains: {volts: 117, hertz: 60}\n"
                              "power transformer:\n"
                              "  T1:\n"
                              "    primary: {volts: 117, ohms: 1, at: [line, neutral]}\n"
                              "    windings:\n"
                              "      high: {volts: 100, ohms: 10, at: [ac, ground]}\n"
                              "rectifiers:\n"
                              "  main: {form: half wave, by: silicon, from: T1 high, out: B}\n"
                              "resistors:\n"
                              "  R1: {value: 10k, at: [B, middle]}\n"
                              "  R2: {value: 30k, at: [middle, ground]}\n"
                              "capacitors:\n"
                              "  C1: {value: 100u, at: [B, ground], kind: electrolytic}\n";

/* No tubes at all: Ohm's law. */
static void test_divider(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "divider.yaml", divider);
    bench_solve(&b);
    double volts = bench_volts(&b, "B", "ground");
    assert_true(volts > 130 && volts < 100 * sqrt(2));
    assert_float_equal(bench_volts(&b, "middle", "ground"), 0.75 * volts, 1e-6);
    double watts = solve_part_watts(b.system, b.numbers, b.x, circuit_part_find(b.amp, "R2"));
    assert_float_equal(watts, 0.75 * 0.75 * volts * volts / 30e3, 1e-9);
    bench_free(&b);
    tube_library_free(tubes);
}

static const char tapped[] =
    "amp: Tapped\nmains: {volts: 117, hertz: 60}\n"
    "power transformer:\n"
    "  T1:\n"
    "    primary: {volts: 117, ohms: 1, at: [line, neutral]}\n"
    "    windings:\n"
    "      high: {volts: 60-0-120, ohms: 5+5, at: [a, ground, b]}\n"
    "rectifiers:\n"
    "  main: {form: half wave, by: silicon, from: T1 high, through: [RS],\n"
    "         out: B}\n"
    "resistors:\n"
    "  RS: {value: 10, at: [%s, ac]}\n"
    "  R1: {value: 100k, at: [B, ground]}\n"
    "capacitors:\n"
    "  C1: {value: 100u, at: [B, ground], kind: electrolytic}\n";

/* A half-wave rectifier takes the half of a tapped winding that its leads are joined to. */
static void test_tapped_winding(void **state) {
    (void)state;
    static const struct {
        const char *end;
        double volts;
    } ends[] = {{"a", 60}, {"b", 120}};
    tube_library *tubes = bench_tubes();
    for (size_t k = 0; k < 2; k++) {
        char text[1024];
        snprintf(text, sizeof text, tapped, ends[k].end);
        bench b = bench_of_text(tubes, "tapped.yaml", text);
        bench_solve(&b);
        double peak = sqrt(2) * ends[k].volts;
        double volts = bench_volts(&b, "B", "ground");
        assert_true(volts > 0.95 * peak && volts < peak);
        bench_free(&b);
    }
    tube_library_free(tubes);
}

/* Every number says whose it is, and is found again by that. */
static void check_slots(bench *b, const char *file, void *extra) {
    (void)file;
    (void)extra;
    for (size_t i = 0; i < b->slots; i++) {
        const solve_slot *slot = solve_slot_at(b->system, i);
        assert_int_equal(solve_slot_find(b->system, slot->part, slot->what, slot->which), i);
        assert_true(slot->nominal == solve_nominal(b->system)[i]);
        assert_true(isfinite(slot->nominal) && slot->nominal >= 0);
    }
    assert_int_equal(solve_slot_find(b->system, 0, SOLVE_WHATS, 0), -1);
}

static void test_slots(void **state) {
    (void)state;
    bench_each_amp(check_slots, NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_library),        cmocka_unit_test(test_no_memory_of_before),
        cmocka_unit_test(test_bad_numbers),    cmocka_unit_test(test_bad_start),
        cmocka_unit_test(test_unplugged),      cmocka_unit_test(test_divider),
        cmocka_unit_test(test_wild_numbers),   cmocka_unit_test(test_warm_or_cold),
        cmocka_unit_test(test_tapped_winding), cmocka_unit_test(test_slots),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
