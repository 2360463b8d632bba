/* Every allocation of making and solving a small circuit fails in turn, the sparse solver's own
 * among them: no crash, no leak, and the outcome says so. */
#include <SuiteSparse_config.h>
#include <malloc.h>

#include "oom.h"

#include "bench.h"

static const char text[] = "amp: Small\nmains: {volts: 117, hertz: 60}\n"
                           "power transformer:\n"
                           "  T1:\n"
                           "    primary: {volts: 117, ohms: 4, at: [line, neutral]}\n"
                           "    windings:\n"
                           "      high: {volts: 200-0-200, ohms: 50+50, at: [V2.1, ground, V2.7]}\n"
                           "      warm: {volts: 6.3, amps: 2, heater: true, at: [V1.9, ground]}\n"
                           "rectifiers:\n"
                           "  main: {form: full wave, by: V2, from: T1 high, out: V2.3}\n"
                           "tubes:\n"
                           "  V1: {type: 12AX7, pins: {4: ground, 5: ground}}\n"
                           "  V2: {type: EZ81, pins: {4: V1.9, 5: ground}}\n"
                           "resistors:\n"
                           "  R1: {value: 100k, at: [V2.3, V1.1]}\n"
                           "  R2: {value: 1k5, at: [V1.3, ground]}\n"
                           "  R3: {value: 1M, at: [V1.2, ground]}\n"
                           "capacitors:\n"
                           "  C1: {value: 20u, at: [V2.3, ground], kind: electrolytic}\n";

static tube_library *tubes;
static circuit *amp;
static base_errors *errors;
static solve_system *system_at_hand;
static solve_work *work_at_hand;
static double *point;
static int outcomes[SOLVE_NO_MEMORY + 1];

static void make_system(bool failing) {
    base_errors *own = base_errors_new();
    if (!own) return;
    solve_system *system = solve_system_new(amp, own);
    assert_int_equal(system == NULL, failing);
    if (failing) assert_int_equal(base_errors_worst(own), BASE_MEMORY);
    solve_system_free(system);
    base_errors_free(own);
}

static void make_work(bool failing) {
    solve_work *work = solve_work_new(system_at_hand);
    assert_int_equal(work == NULL, failing);
    solve_work_free(work);
}

static void find_point(bool failing) {
    solve_result result = solve_point(work_at_hand, solve_nominal(system_at_hand), NULL, point);
    outcomes[result.outcome]++;
    if (!failing) assert_int_equal(result.outcome, SOLVE_CONVERGED);
}

/* Run twice: what the allocator keeps for itself after the first time counts as in use. */
static void test_system(void **state) {
    (void)state;
    assert_true(oom_each(make_system) > 10);
    size_t before = mallinfo2().uordblks;
    oom_each(make_system);
    assert_true(mallinfo2().uordblks <= before);
}

static void test_work(void **state) {
    (void)state;
    assert_true(oom_each(make_work) > 1);
    size_t before = mallinfo2().uordblks;
    oom_each(make_work);
    assert_true(mallinfo2().uordblks <= before);
}

/* A work whose factors cannot be made says that memory is out, and recovers. */
static void test_point(void **state) {
    (void)state;
    long all = oom_each(find_point);
    assert_true(all > 3);
    assert_true(outcomes[SOLVE_NO_MEMORY] > 0);
    assert_int_equal(outcomes[SOLVE_NO_MEMORY] + outcomes[SOLVE_CONVERGED], all + 1);
    find_point(false);
}

static int set_up(void **state) {
    (void)state;
    SuiteSparse_config.malloc_func = malloc;
    SuiteSparse_config.calloc_func = calloc;
    SuiteSparse_config.realloc_func = realloc;
    errors = base_errors_new();
    tubes = bench_tubes();
    amp = circuit_read("small.yaml", text, strlen(text), tubes, errors);
    if (!amp) bench_show(errors);
    system_at_hand = amp ? solve_system_new(amp, errors) : NULL;
    work_at_hand = system_at_hand ? solve_work_new(system_at_hand) : NULL;
    if (!work_at_hand) return -1;
    point = malloc(solve_unknowns(system_at_hand) * sizeof *point);
    return point ? 0 : -1;
}

static int tear_down(void **state) {
    (void)state;
    free(point);
    solve_work_free(work_at_hand);
    solve_system_free(system_at_hand);
    circuit_free(amp);
    tube_library_free(tubes);
    base_errors_free(errors);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_system),
        cmocka_unit_test(test_work),
        cmocka_unit_test(test_point),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
