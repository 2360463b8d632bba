/* The practice amp: what is hidden shows, the probe reads what stands there, and what was done is
 * judged; and the program works a few hidden faults by the bench's own code. */
#include "../job/bench.h"

#include "practice.h"

typedef struct desk {
    bench bench;
    circuit *amp;
    solve_system *system;
    diagnose_priors *priors;
    practice *practice;
} desk;

static void open_amp(desk *desk, const char *name, uint64_t seed, int faults) {
    size_t length = 0;
    memset(desk, 0, sizeof *desk);
    bench_open(&desk->bench);
    char *text = support_file("data/priors/faults.yaml", &length);
    desk->priors = diagnose_priors_read("priors", text, length, desk->bench.errors);
    free(text);
    const char *amp = bench_amp(&desk->bench, name, &length);
    desk->amp = circuit_read("amp", amp, length, desk->bench.tubes, desk->bench.errors);
    desk->system = solve_system_new(desk->amp, desk->bench.errors);
    practice_options options = {
        .system = desk->system, .priors = desk->priors, .seed = seed, .faults = faults};
    desk->practice = practice_new(&options, desk->bench.errors);
}

static void open(desk *desk, uint64_t seed, int faults) {
    open_amp(desk, "wren-hollow", seed, faults);
}

static void finish(desk *desk) {
    practice_free(desk->practice);
    solve_system_free(desk->system);
    circuit_free(desk->amp);
    diagnose_priors_free(desk->priors);
    bench_close(&desk->bench);
}

static double at(desk *desk, const char *place, double s, bool ac) {
    assert_int_equal(practice_probe(desk->practice, place, s, desk->bench.errors), BASE_OK);
    return practice_volts(desk->practice, s + 5, ac);
}

static void what_stands_there(void **state) {
    desk here;
    (void)state;
    open(&here, 3, 1);
    assert_non_null(here.practice);
    double s = meter_ticks();
    assert_true(isnan(practice_volts(here.practice, s, false))); /* lifted */
    assert_true(fabs(at(&here, "V2.3", s, false)) < 1e-6);       /* switched off */
    practice_power(here.practice, true, s);
    s += 60;
    double plate = at(&here, "V2.3", s, false);
    assert_true(fabs(plate) > 5);
    assert_true(fabs(at(&here, "V2.3", s, true)) < 1e-9);
    practice_power(here.practice, false, s + 5);
    assert_int_equal(practice_probe(here.practice, "V2.3", s, here.bench.errors), BASE_OK);
    double first = practice_volts(here.practice, s + 6, false);
    double later = practice_volts(here.practice, s + 26, false);
    assert_true(fabs(later) < 0.8 * fabs(first)); /* left alone it falls slowly */
    practice_drain(here.practice, true, s + 26);
    assert_true(fabs(practice_volts(here.practice, s + 45, false)) < 1);
    finish(&here);
}

static void the_same_seed_hides_the_same(void **state) {
    practice_score first, second;
    desk here;
    (void)state;
    open(&here, 11, 2);
    assert_int_equal(practice_finish(here.practice, &first, here.bench.errors), BASE_OK);
    finish(&here);
    open(&here, 11, 2);
    assert_int_equal(practice_finish(here.practice, &second, here.bench.errors), BASE_OK);
    finish(&here);
    assert_int_equal(first.faults, 2);
    for (int i = 0; i < 2; i++)
        assert_string_equal(first.fault[i].part, second.fault[i].part);
    assert_string_not_equal(first.fault[0].part, first.fault[1].part);
}

/* A good amp after the right part; nothing else heals it. */
static void replacing(void **state) {
    practice_score score;
    practice_now now;
    desk here;
    (void)state;
    open(&here, 3, 1);
    assert_int_equal(practice_finish(here.practice, &score, here.bench.errors), BASE_OK);
    finish(&here);
    /* -1 where a slow machine had no time to work it out */
    assert_true(score.fewest == -1 || (score.fewest >= 1 && score.fewest <= 5));
    open(&here, 3, 1);
    const char *part = score.fault[0].part, *other = strcmp(part, "R1") ? "R1" : "R2";
    double s = meter_ticks();
    practice_power(here.practice, true, s);
    practice_power(here.practice, false, s + 60);
    assert_int_equal(practice_replace(here.practice, other, s + 61, here.bench.errors), BASE_OK);
    practice_get(here.practice, &now);
    assert_false(now.over);
    assert_int_equal(now.wrong, 1);
    assert_int_equal(now.risky, 1); /* not measured empty */
    practice_took(here.practice, 12.5, true);
    assert_int_equal(practice_replace(here.practice, part, s + 62, here.bench.errors), BASE_OK);
    practice_get(here.practice, &now);
    assert_true(now.over);
    assert_int_equal(now.wrong, 1);
    assert_int_equal(now.risky, 1);
    assert_true(now.was_it[1]);
    assert_int_not_equal(practice_replace(here.practice, "R9999", s, here.bench.errors), BASE_OK);
    finish(&here);
}

static void risky_steps(void **state) {
    practice_now now;
    desk here;
    (void)state;
    open(&here, 3, 1);
    double s = meter_ticks();
    practice_drain(here.practice, true, s);
    practice_power(here.practice, true, s + 1); /* with the drain resistor on */
    practice_drain(here.practice, false, s + 2);
    practice_drain(here.practice, true, s + 3); /* with the amp on */
    practice_drain(here.practice, false, s + 4);
    practice_replace(here.practice, "R1", s + 5, here.bench.errors); /* with the amp on */
    practice_get(here.practice, &now);
    assert_int_equal(now.risky, 3);
    for (size_t i = 0; i < now.risky; i++)
        assert_true(strlen(now.risk[i]) > 20);
    finish(&here);
}

/* By the bench's own code, in the guide's order and down the chart. */
static void worked(void **state) {
    practice_worked guided, fixed;
    int found = 0, readings[2] = {0, 0};
    desk here;
    (void)state;
    open(&here, 1, 1);
    diagnose_options defaults = diagnose_defaults();
    diagnose_engine *engine =
        diagnose_engine_new(here.system, here.priors, &defaults, here.bench.errors);
    practice_options options = {
        .system = here.system, .priors = here.priors, .engine = engine, .faults = 1};
    for (options.seed = 1; options.seed <= 6; options.seed++) {
        assert_int_equal(practice_work(&options, false, 60, &guided, here.bench.errors), BASE_OK);
        assert_int_equal(practice_work(&options, true, 60, &fixed, here.bench.errors), BASE_OK);
        assert_string_equal(guided.part, fixed.part);
        assert_true(guided.readings >= 1 && guided.seconds > 0);
        found += guided.found;
        readings[0] += guided.readings;
        readings[1] += fixed.readings;
    }
    if (found < 4) fail_msg("%d of 6 were found", found);
    if (readings[0] >= readings[1]) fail_msg("%d readings, %d", readings[0], readings[1]);
    diagnose_engine_free(engine);
    finish(&here);
}

static void every_amp_of_the_library(void **state) {
    bench names;
    (void)state;
    bench_open(&names);
    for (size_t i = 0; i < names.amps; i++) {
        desk here;
        open_amp(&here, names.amp[i].name, 2, 1);
        if (!here.practice) bench_say(here.bench.errors);
        assert_non_null(here.practice);
        finish(&here);
    }
    bench_close(&names);
}

static void refused(void **state) {
    desk here;
    (void)state;
    open(&here, 1, 3);
    assert_null(here.practice);
    assert_true(base_errors_at(here.bench.errors, 0)->remedy[0] != 0);
    finish(&here);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_stands_there),
        cmocka_unit_test(the_same_seed_hides_the_same),
        cmocka_unit_test(replacing),
        cmocka_unit_test(risky_steps),
        cmocka_unit_test(worked),
        cmocka_unit_test(every_amp_of_the_library),
        cmocka_unit_test(refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
