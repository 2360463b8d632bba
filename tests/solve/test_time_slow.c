/* Amps with a fault, and random circuits, in time: warm tubes into empty capacitors for a tenth of
 * a second. All are followed to the end. */
#include "random_amp.h"

#define FAULTS 100 /* of each amp */
#define CIRCUITS 200
#define SEED 1000000u
#define SPAN_S 0.1
#define MOST_STEPS 200000

static bool count_steps(void *own, const solve_run *run) {
    (void)run;
    return ++*(long *)own < MOST_STEPS;
}

/* Is it followed to the end? */
static bool followed(bench *b, solve_run *run, const char *what) {
    solve_course course = {.numbers = b->numbers, .warm = true};
    long steps = 0;
    solve_outcome outcome = solve_run_start(run, &course, NULL);
    if (outcome == SOLVE_CONVERGED) outcome = solve_run_to(run, SPAN_S, count_steps, &steps);
    bool good = outcome == SOLVE_CONVERGED && steps < MOST_STEPS;
    if (!good)
        print_message("%s: %s at %.6f s after %ld steps\n", what, solve_outcome_text(outcome),
                      solve_run_seconds(run), steps);
    for (size_t n = 1; good && n < circuit_nodes(b->amp); n++) {
        double volts = solve_run_volts(run, (int)n);
        good = isnan(volts) || fabs(volts) < 1e5;
    }
    return good;
}

typedef struct tally {
    base_random random;
    long tried, lost;
} tally;

static void try_faults(bench *b, const char *file, void *extra) {
    tally *sum = extra;
    solve_run *run = solve_run_new(b->system);
    for (int k = 0; k < FAULTS; k++) {
        size_t slot = base_random_bits(&sum->random) % b->slots;
        double healthy = b->numbers[slot];
        b->numbers[slot] = faults_number(solve_slot_at(b->system, slot), &sum->random);
        sum->tried++;
        sum->lost += !followed(b, run, file);
        b->numbers[slot] = healthy;
    }
    solve_run_free(run);
}

static void test_faults(void **state) {
    (void)state;
    tally sum = {0};
    base_random_seed(&sum.random, SEED);
    bench_each_amp(try_faults, &sum);
    print_message("%ld faults in time: %ld not followed\n", sum.tried, sum.lost);
    assert_true(sum.lost * 500 <= sum.tried);
}

static void test_random(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    long lost = 0;
    for (unsigned i = 0; i < CIRCUITS; i++) {
        char *text = random_amp_text(tubes, SEED + i);
        bench b = bench_of_text(tubes, "random", text);
        solve_run *run = solve_run_new(b.system);
        assert_non_null(run);
        lost += !followed(&b, run, "random");
        solve_run_free(run);
        bench_free(&b);
        free(text);
    }
    print_message("%d random circuits in time: %ld not followed\n", CIRCUITS, lost);
    assert_true(lost * 100 <= CIRCUITS);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_faults),
                                       cmocka_unit_test(test_random)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
