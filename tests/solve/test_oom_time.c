/* Every allocation of an amp in time fails in turn: no crash, no leak, and the outcome says so. */
#include <SuiteSparse_config.h>
#include <malloc.h>

#include "oom.h"

#include "bench.h"

#define LEAK_BYTES 12288 /* what the C library itself may keep; one leak in each is far more */

static bench at_hand;
static int outcomes[SOLVE_NO_MEMORY + 1];

static solve_outcome run_all(void) {
    solve_run *run = solve_run_new(at_hand.system);
    solve_course course = {.numbers = at_hand.numbers};
    solve_outcome outcome = run ? solve_run_start(run, &course, at_hand.x) : SOLVE_NO_MEMORY;
    if (outcome == SOLVE_CONVERGED) outcome = solve_run_to(run, 0.01, NULL, NULL);
    solve_run_free(run);
    return outcome;
}

/* The sparse solver does without the memory that would only have made its factors smaller. */
static void run_once(bool failing) {
    solve_outcome outcome = run_all();
    outcomes[outcome]++;
    if (!failing) assert_int_equal(outcome, SOLVE_CONVERGED);
}

static void test_run(void **state) {
    (void)state;
    run_once(false);
    memset(outcomes, 0, sizeof outcomes);
    size_t before = mallinfo2().uordblks;
    long all = oom_each(run_once);
    assert_true(all > 20);
    assert_true(outcomes[SOLVE_NO_MEMORY] > all / 2);
    assert_int_equal(outcomes[SOLVE_NO_MEMORY] + outcomes[SOLVE_CONVERGED], all + 1);
    run_once(false);
    assert_true(mallinfo2().uordblks <= before + LEAK_BYTES);
}

int main(void) {
    SuiteSparse_config.malloc_func = malloc;
    SuiteSparse_config.calloc_func = calloc;
    SuiteSparse_config.realloc_func = realloc;
    tube_library *tubes = bench_tubes();
    at_hand = bench_of_file(tubes, "data/amps/thimble.yaml");
    bench_solve(&at_hand);
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_run)};
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    bench_free(&at_hand);
    tube_library_free(tubes);
    return failed;
}
