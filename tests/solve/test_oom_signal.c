/* Every allocation of the small-signal network, its modes and the tremolo's search fails in turn:
 * no crash, no leak, and the outcome says so. */
#include <SuiteSparse_config.h>
#include <malloc.h>

#include "oom.h"

#include "bench.h"

#define LEAK_BYTES 12288 /* what the C library itself may keep; one leak in each is far more */

static const char text[] = "amp: Small\nmains: {volts: 117, hertz: 60}\n"
                           "tubes:\n  V1: {type: 12AX7}\n"
                           "resistors:\n"
                           "  R1: {value: 100k, at: [V1.6, B]}\n"
                           "  R2: {value: 1k5, at: [V1.8, ground]}\n"
                           "  R3: {value: 1M, at: [one, ground]}\n"
                           "  R4: {value: 1M, at: [two, ground]}\n"
                           "  R5: {value: 1M, at: [V1.7, ground]}\n"
                           "power transformer:\n"
                           "  T1:\n"
                           "    primary: {volts: 117, ohms: 4, at: [line, neutral]}\n"
                           "    windings: {high: {volts: 200, ohms: 50, at: [ac, ground]}}\n"
                           "rectifiers: {main: {form: half wave, by: silicon, from: T1 high, "
                           "out: B}}\n"
                           "capacitors:\n"
                           "  C1: {value: 20u, at: [B, ground], kind: electrolytic}\n"
                           "  C2: {value: 20u, at: [V1.8, ground]}\n"
                           "  C3: {value: 22n, at: [V1.6, one]}\n"
                           "  C4: {value: 10n, at: [one, two]}\n"
                           "  C5: {value: 10n, at: [two, V1.7]}\n";

static tube_library *tubes;
static bench at_hand;
static solve_signal *signal_at_hand;

static int outcomes[SOLVE_NO_MEMORY + 1];

/* The sparse solver does without the memory that would only have made its factors smaller: so want
 * of memory is either said or does no harm. */
static void make_signal(bool failing) {
    solve_signal *signal = solve_signal_new(at_hand.system);
    outcomes[signal ? SOLVE_CONVERGED : SOLVE_NO_MEMORY]++;
    if (!failing) assert_non_null(signal);
    solve_signal_free(signal);
}

static void find_modes(bool failing) {
    solve_mode mode;
    size_t count;
    solve_outcome outcome = solve_modes(signal_at_hand, &mode, 1, &count);
    outcomes[outcome]++;
    if (!failing) assert_int_equal(outcome, SOLVE_CONVERGED);
}

static void one_frequency(bool failing) {
    solve_source source = {.node = bench_node(&at_hand, "one"), .ohms = 600};
    solve_outcome outcome = solve_signal_at(signal_at_hand, &source, NULL, 1000);
    outcomes[outcome]++;
    if (!failing) assert_int_equal(outcome, SOLVE_CONVERGED);
}

static void each_fails(void (*what)(bool failing)) {
    memset(outcomes, 0, sizeof outcomes);
    what(false);
    size_t before = mallinfo2().uordblks;
    long all = oom_each(what);
    assert_true(outcomes[SOLVE_NO_MEMORY] > all / 2);
    assert_int_equal(outcomes[SOLVE_NO_MEMORY] + outcomes[SOLVE_CONVERGED], all + 2);
    what(false);
    assert_true(mallinfo2().uordblks <= before + LEAK_BYTES);
}

static void test_signal(void **state) {
    (void)state;
    each_fails(make_signal);
}

static void test_modes(void **state) {
    (void)state;
    each_fails(find_modes);
}

static void test_frequency(void **state) {
    (void)state;
    each_fails(one_frequency);
}

/* The search makes too many to fail each: every 97th, and it says so or has found the same. */
static void test_tremolo(void **state) {
    (void)state;
    solve_trial given = {signal_at_hand, at_hand.work, at_hand.numbers, at_hand.x};
    solve_tremolo whole, one;
    solve_tremolo_part part[64];
    size_t count, all;
    assert_int_equal(solve_tremolo_find(&given, &whole), SOLVE_CONVERGED);
    assert_true(whole.part >= 0);
    assert_int_equal(solve_tremolo_parts(&given, &whole, part, 64, &all), SOLVE_CONVERGED);
    size_t before = mallinfo2().uordblks;
    for (long fails = 0; fails < 4000; fails += 97) {
        oom_seen = 0;
        oom_fails_at = fails;
        solve_outcome found = solve_tremolo_find(&given, &one);
        solve_tremolo_parts(&given, &whole, part, 64, &count);
        oom_fails_at = -1;
        if (found == SOLVE_CONVERGED && one.part >= 0) assert_int_equal(one.part, whole.part);
    }
    assert_true(mallinfo2().uordblks <= before + LEAK_BYTES);
    assert_int_equal(solve_tremolo_parts(&given, &whole, part, 64, &count), SOLVE_CONVERGED);
    assert_int_equal(count, all);
}

static int set_up(void **state) {
    (void)state;
    SuiteSparse_config.malloc_func = malloc;
    SuiteSparse_config.calloc_func = calloc;
    SuiteSparse_config.realloc_func = realloc;
    tubes = bench_tubes();
    at_hand = bench_of_text(tubes, "small.yaml", text);
    signal_at_hand = solve_signal_new(at_hand.system);
    bench_solve(&at_hand);
    solve_signal_set(signal_at_hand, at_hand.work, at_hand.numbers, at_hand.x);
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    solve_signal_free(signal_at_hand);
    bench_free(&at_hand);
    tube_library_free(tubes);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_signal),
        cmocka_unit_test(test_modes),
        cmocka_unit_test(test_frequency),
        cmocka_unit_test(test_tremolo),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
