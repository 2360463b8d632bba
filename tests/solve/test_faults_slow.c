/* Faults by the thousand in every amp of the library: what is found obeys Kirchhoff's current law
 * within the contract, and what is not found says where it failed. */
#include "faults.h"

#define SEED 20240611u
#define ROUNDS 30 /* severities for each number of each amp */

typedef struct tally {
    base_random random;
    long tried, failed, steps;
    double worst; /* Kirchhoff, as a part of what is allowed */
} tally;

static void say_fault(const bench *b, const char *file, size_t slot, double number,
                      const solve_result *result) {
    const solve_slot *own = solve_slot_at(b->system, slot);
    const char *part = own->part < 0 ? "mains" : circuit_part_at(b->amp, (size_t)own->part)->name;
    const char *where =
        result->where < 0 ? "?" : circuit_node_at(b->amp, (size_t)result->where)->name;
    print_message("  %s: %s what %d which %d = %g: %s, %s\n", file, part, own->what, own->which,
                  number, solve_outcome_text(result->outcome), where);
}

/* One fault on top of tolerance, from the healthy point. */
static void try_fault(bench *b, const char *file, size_t slot, const double *healthy, tally *sum) {
    double *x = malloc(b->unknowns * sizeof *x);
    faults_tolerate(b, &sum->random, b->numbers);
    b->numbers[slot] = faults_number(solve_slot_at(b->system, slot), &sum->random);
    solve_result result = solve_point(b->work, b->numbers, healthy, x);
    sum->tried++;
    sum->steps += result.steps;
    if (bench_solved(result)) {
        double kirchhoff = bench_kirchhoff(b, b->numbers, x);
        if (kirchhoff > 1) say_fault(b, file, slot, b->numbers[slot], &result);
        sum->worst = fmax(sum->worst, kirchhoff);
    } else {
        sum->failed++;
        say_fault(b, file, slot, b->numbers[slot], &result);
        assert_true(result.outcome == SOLVE_STALLED || result.outcome == SOLVE_SINGULAR);
        assert_true(result.where >= 0);
    }
    free(x);
}

static void try_amp(bench *b, const char *file, void *extra) {
    tally *sum = extra;
    bench_solve(b);
    for (size_t slot = 0; slot < b->slots; slot++)
        for (int round = 0; round < ROUNDS; round++)
            try_fault(b, file, slot, b->x, sum);
}

static void test_single_faults(void **state) {
    (void)state;
    tally sum = {0};
    base_random_seed(&sum.random, SEED);
    bench_each_amp(try_amp, &sum);
    print_message("single faults: %ld tried, %ld not solved, %.1f steps each, worst Kirchhoff "
                  "error %.2g of what is allowed (seed %u)\n",
                  sum.tried, sum.failed, (double)sum.steps / (double)sum.tried, sum.worst, SEED);
    assert_true(sum.worst <= 1);
    assert_true(sum.failed * 5000 <= sum.tried);
}

static void try_threefold(bench *b, const char *file, void *extra) {
    tally *sum = extra;
    bench_solve(b);
    double *own = malloc(b->slots * sizeof *own), *x = malloc(b->unknowns * sizeof *x);
    for (int round = 0; round < 1500; round++) {
        faults_tolerate(b, &sum->random, own);
        size_t slot = 0;
        for (int k = 0; k < 3; k++) {
            slot = base_random_bits(&sum->random) % b->slots;
            own[slot] = faults_number(solve_slot_at(b->system, slot), &sum->random);
        }
        solve_result result = solve_point(b->work, own, b->x, x);
        sum->tried++;
        sum->failed += !bench_solved(result);
        if (!bench_solved(result)) say_fault(b, file, slot, own[slot], &result);
        if (bench_solved(result)) sum->worst = fmax(sum->worst, bench_kirchhoff(b, own, x));
    }
    free(own);
    free(x);
}

/* Three at once: an amp that was worked on in the dark. */
static void test_threefold_faults(void **state) {
    (void)state;
    tally sum = {0};
    base_random_seed(&sum.random, SEED + 1);
    bench_each_amp(try_threefold, &sum);
    print_message("threefold faults: %ld tried, %ld not solved, worst Kirchhoff error %.2g of "
                  "what is allowed (seed %u)\n",
                  sum.tried, sum.failed, sum.worst, SEED + 1);
    assert_true(sum.worst <= 1);
    assert_true(sum.failed * 1000 <= sum.tried);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_single_faults),
        cmocka_unit_test(test_threefold_faults),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
