/* Random circuits by the thousand: what is found obeys Kirchhoff's current law within the
 * contract, and what is not found says where it failed. */
#include "random_amp.h"

#define AMPS 3000
#define SEED 1000000u

static void test_random_circuits(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    long failed = 0, continued = 0, unknowns = 0;
    double worst = 0;
    for (unsigned i = 0; i < AMPS; i++) {
        char *text = random_amp_text(tubes, SEED + i);
        bench b = bench_of_text(tubes, "random", text);
        solve_result result = solve_point(b.work, b.numbers, NULL, b.x);
        unknowns += (long)b.unknowns;
        continued += result.outcome == SOLVE_CONTINUED;
        if (bench_solved(result)) {
            double kirchhoff = bench_kirchhoff(&b, b.numbers, b.x);
            if (kirchhoff > 1) print_message("seed %u: Kirchhoff %g\n", SEED + i, kirchhoff);
            worst = fmax(worst, kirchhoff);
        } else {
            failed++;
            print_message("seed %u: %s, residual %g\n", SEED + i,
                          solve_outcome_text(result.outcome), result.residual);
            assert_true(result.where >= 0);
        }
        bench_free(&b);
        free(text);
    }
    print_message("%d random circuits of %.0f unknowns from cold: %ld not solved, %ld by "
                  "continuation, worst Kirchhoff error %.2g of what is allowed (seed %u)\n",
                  AMPS, (double)unknowns / AMPS, failed, continued, worst, SEED);
    assert_true(worst <= 1);
    assert_true(failed * 1000 <= AMPS);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_random_circuits)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
