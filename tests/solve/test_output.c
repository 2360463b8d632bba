/* The output stage: a cycle about its mean against the same amp followed in time, and what it must
 * obey by itself. */
#include <complex.h>

#include "bench.h"

#define HERTZ 1000.0
#define FROM_S 0.8 /* the supply and the cathodes have settled by then */
#define SPAN_S 0.1 /* whole cycles of the tone and of the mains */

typedef struct fourier { /* of the volts across the speaker, from FROM_S on */
    int plus, minus;
    double last, before;
    double complex sum[6];
} fourier;

static bool add_moment(void *own, const solve_run *run) {
    fourier *f = own;
    double seconds = solve_run_seconds(run), span = seconds - f->last;
    double volts = solve_run_volts(run, f->plus) - solve_run_volts(run, f->minus);
    for (int h = 1; h < 6 && seconds > FROM_S; h++) {
        double complex turn = -2 * M_PI * I * HERTZ * h;
        f->sum[h] += span * (volts * cexp(turn * seconds) + f->before * cexp(turn * f->last)) / 2;
    }
    f->last = seconds;
    f->before = volts;
    return true;
}

/* Every tube but the output pair is cold, so that nothing feeds back into the tone. */
static void still_others(bench *b, const solve_output_cycle *cycle) {
    for (size_t i = 0; i < circuit_parts(b->amp); i++) {
        const circuit_part *part = circuit_part_at(b->amp, i);
        bool own = part->kind != CIRCUIT_TUBE;
        for (int k = 0; k < cycle->tubes; k++)
            own = own || cycle->tube[k].part == (int)i;
        for (int u = 0; !own && u < part->tube->units; u++) {
            int slot = solve_slot_find(b->system, (int)i, SOLVE_EMISSION, u);
            if (slot >= 0 && part->tube->unit[u].kind != TUBE_DIODE) b->numbers[slot] = 0;
        }
    }
}

static double complex in_time(bench *b, const solve_output_cycle *cycle, double drive, fourier *f) {
    solve_course course = {.numbers = b->numbers, .tones = cycle->tubes};
    for (int k = 0; k < cycle->tubes; k++) {
        const circuit_part *part = circuit_part_at(b->amp, (size_t)cycle->tube[k].part);
        int pin = part->tube->unit[cycle->tube[k].unit].pin[TUBE_GRID];
        course.tone[k] =
            (solve_tone){part->end[pin], 1, cycle->tube[k].side ? -drive : drive, HERTZ};
    }
    const circuit_part *speaker = circuit_part_at(b->amp, (size_t)circuit_part_find(b->amp, "LS1"));
    *f = (fourier){.plus = speaker->end[0], .minus = speaker->end[1], .last = FROM_S};
    solve_run *run = solve_run_new(b->system);
    bench_solve(b);
    assert_int_equal(solve_run_start(run, &course, b->x), SOLVE_CONVERGED);
    assert_int_equal(solve_run_to(run, FROM_S, NULL, NULL), SOLVE_CONVERGED);
    f->before = solve_run_volts(run, f->plus) - solve_run_volts(run, f->minus);
    f->last = solve_run_seconds(run);
    for (double t = FROM_S; t < FROM_S + SPAN_S - 1e-9; t += 1 / (64 * HERTZ))
        assert_int_equal(solve_run_to(run, t + 1 / (64 * HERTZ), add_moment, f), SOLVE_CONVERGED);
    solve_run_free(run);
    return f->sum[1];
}

/* Cathode bias, so that the tone may hold the grids at no volts. */
static void test_in_time(void **state) {
    (void)state;
    static const struct {
        const char *file;
        double drive;
    } amps[] = {{"data/amps/granary.yaml", 12},
                {"data/amps/saltpan.yaml", 8},
                {"data/amps/wren-hollow.yaml", 10}};
    tube_library *tubes = bench_tubes();
    for (size_t i = 0; i < sizeof amps / sizeof *amps; i++) {
        bench b = bench_of_file(tubes, amps[i].file);
        solve_output_cycle cycle;
        fourier f;
        int count;
        solve_output *stage = solve_output_new(b.system, &count);
        assert_int_equal(solve_output_at(stage, b.numbers, 0, &cycle), SOLVE_CONVERGED);
        still_others(&b, &cycle);
        assert_int_equal(solve_output_at(stage, b.numbers, amps[i].drive, &cycle), SOLVE_CONVERGED);
        double first = 2 * cabs(in_time(&b, &cycle, amps[i].drive, &f)) / SPAN_S;
        double third = 2 * cabs(f.sum[3]) / SPAN_S, second = 2 * cabs(f.sum[2]) / SPAN_S;
        print_message("%s: %.3f V, in time %.3f; second %.3f and %.3f %%, third %.3f and %.3f %%\n",
                      amps[i].file, cycle.harmonic[1], first,
                      100 * cycle.harmonic[2] / cycle.harmonic[1], 100 * second / first,
                      100 * cycle.harmonic[3] / cycle.harmonic[1], 100 * third / first);
        assert_true(fabs(first / cycle.harmonic[1] - 1) < 0.02);
        assert_true(fabs(second / first - cycle.harmonic[2] / cycle.harmonic[1]) < 0.003);
        assert_true(fabs(third / first - cycle.harmonic[3] / cycle.harmonic[1]) < 0.003);
        solve_output_free(stage);
        bench_free(&b);
    }
    tube_library_free(tubes);
}

/* What the supply gives is what tubes burn and the speaker and the copper get. */
static void test_power(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_file(tubes, "data/amps/millrace.yaml");
    solve_output_cycle cycle;
    int count;
    solve_output *stage = solve_output_new(b.system, &count);
    assert_int_equal(count, 2);
    assert_int_equal(solve_output_at(stage, b.numbers, 0, &cycle), SOLVE_CONVERGED);
    bench_solve(&b);
    assert_true(cycle.watts < 1e-9);
    solve_tube tube;
    assert_true(solve_tube_at(b.work, b.numbers, b.x, cycle.tube[0].part, 0, &tube));
    assert_true(fabs(cycle.tube[0].mean_plate_a - tube.plate_a) < 1e-7);
    for (double drive = 10; drive <= 50; drive += 10) {
        assert_int_equal(solve_output_at(stage, b.numbers, drive, &cycle), SOLVE_CONVERGED);
        double given = cycle.supply_v * cycle.supply_a;
        double burnt = cycle.watts + cycle.tube[0].plate_w + cycle.tube[1].plate_w;
        assert_true(burnt < given && burnt > 0.85 * given);
        assert_true(cycle.distortion >= 0 && cycle.distortion < 0.1);
    }
    solve_output_free(stage);
    bench_free(&b);
    tube_library_free(tubes);
}

static void test_none(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "none",
                            "amp: none\nmains: {volts: 117, hertz: 60, drawn for: 117}\n"
                            "resistors: {R1: {value: 1k, at: [a, ground]}}\n");
    int count = 7;
    assert_null(solve_output_new(b.system, &count));
    assert_int_equal(count, 0);
    solve_output_free(NULL);
    bench_free(&b);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_in_time), cmocka_unit_test(test_power),
                                       cmocka_unit_test(test_none)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
