/* swap: a change tried on paper, from its text to before beside after, on every amp of the library;
 * beside one bare solution of the same amp in the same run. The least of all runs counts, since
 * what else the machine does only adds; the median stands beside it. Fails over 30 ms. Usage:
 * perf_swap [RUNS] */
#include "service/amp.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define MOST_RUNS 200
#define ALLOWED_MS 30.0

static const char *const names[] = {"wren-hollow", "thimble", "tidemark", "granary", "choirloft",
                                    "porchlight",  "saltpan", "slipway",  "millrace"};
#define NAMES (sizeof names / sizeof *names)

static double now_ms(clockid_t clock) {
    struct timespec t;
    clock_gettime(clock, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double bare(const amp *amp, int runs) {
    double times[MOST_RUNS], *x = calloc(solve_unknowns(amp->system), sizeof *x);
    solve_work *work = solve_work_new(amp->system);
    for (int i = 0; i < runs; i++) {
        double begun = now_ms(CLOCK_PROCESS_CPUTIME_ID);
        solve_result result = solve_point(work, solve_nominal(amp->system), NULL, x);
        times[i] = now_ms(CLOCK_PROCESS_CPUTIME_ID) - begun;
        assert_true(result.outcome <= SOLVE_CONTINUED);
    }
    solve_work_free(work);
    free(x);
    qsort(times, (size_t)runs, sizeof *times, by_size);
    return times[runs / 2];
}

/* All of it: the text changed, read, made into equations, both sides solved with their margins and
 * their tremolo. */
static double whole(amp *amp, const char *text, double *wall) {
    const char *changes[] = {"R5=120k", "C2=22n,630V", NULL};
    double begun = now_ms(CLOCK_PROCESS_CPUTIME_ID), start = now_ms(CLOCK_MONOTONIC);
    char *made = circuit_change_text(amp->circuit, text, amp->tubes, changes, amp->errors);
    assert_non_null(made);
    circuit *circuit = circuit_read("changed", made, strlen(made), amp->tubes, amp->errors);
    solve_system *system = solve_system_new(circuit, amp->errors);
    service_swap_side sides[2] = {{amp->system, NAN}, {system, NAN}};
    service_swap *swap = service_swap_new(&sides[0], &sides[1], amp->errors);
    assert_non_null(swap);
    assert_true(service_swap_tremolo(swap, sides));
    double taken = now_ms(CLOCK_PROCESS_CPUTIME_ID) - begun;
    *wall = now_ms(CLOCK_MONOTONIC) - start;
    service_swap_free(swap);
    solve_system_free(system);
    circuit_free(circuit);
    free(made);
    return taken;
}

int main(int count, char **argument) {
    int runs = count > 1 ? atoi(argument[1]) : 21;
    double worst = 0;
    if (runs < 1 || runs > MOST_RUNS) return 1;
    printf("%-12s %10s %12s %12s %8s\n", "amp", "swap ms", "on the wall", "bare solve", "ratio");
    for (size_t k = 0; k < NAMES; k++) {
        char path[128];
        double times[MOST_RUNS], walls[MOST_RUNS];
        amp amp;
        amp_open(&amp, names[k], NULL, NULL);
        snprintf(path, sizeof path, "data/amps/%s.yaml", names[k]);
        char *text = support_file(path, NULL);
        for (int i = 0; i < runs; i++)
            times[i] = whole(&amp, text, &walls[i]);
        qsort(times, (size_t)runs, sizeof *times, by_size);
        qsort(walls, (size_t)runs, sizeof *walls, by_size);
        double swap = times[runs / 2], solve = bare(&amp, runs);
        printf("%-12s %10.2f %12.2f %9.3f ms %8.1f\n", names[k], swap, walls[runs / 2], solve,
               swap / solve);
        worst = fmax(worst, swap);
        free(text);
        amp_close(&amp);
    }
    printf("worst %.1f ms, of %.0f allowed\n", worst, ALLOWED_MS);
    return worst > ALLOWED_MS;
}
