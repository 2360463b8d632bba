/* Readings other than plain DC volts: what they may say, what each predicts, and what they tell
 * that DC cannot. The truth is solved with the fault in it. */
#include "amp.h"
#include "observe_impl.h"

#include <complex.h>

/* ---- the bench: an amp with one fault, read in any way --------------------------------------- */

typedef struct truth {
    amp *amp;
    double *numbers;
    base_random random;
    double noise; /* of a reading, one standard deviation */
} truth;

static truth truth_of(amp *amp, int fault, double severity) {
    truth truth = {.amp = amp, .numbers = amp_numbers(amp, fault, severity), .noise = 0.02};
    base_random_seed(&truth.random, 7);
    return truth;
}

/* What the faulty amp shows, solved apart from the inference. */
static double value_of(truth *truth, const diagnose_reading *reading) {
    amp *amp = truth->amp;
    const diagnose_test *test = &reading->test;
    double *numbers = calloc(solve_slots(amp->system), sizeof *numbers), shown = NAN;
    double *x = calloc(solve_unknowns(amp->system), sizeof *x);
    solve_work *work = solve_work_new(amp->system);
    solve_signal *signal = solve_signal_new(amp->system);
    memcpy(numbers, truth->numbers, solve_slots(amp->system) * sizeof *numbers);
    if (test->quantity == DIAGNOSE_SIGNAL) solve_plug_in(amp->system, test->input, numbers);
    if (test->quantity == DIAGNOSE_COLD)
        numbers[solve_slot_find(amp->system, -1, SOLVE_MAINS, 0)] = 1e-4;
    diagnose_action_apply(&test->action, numbers);
    assert_true(solve_point(work, numbers, NULL, x).outcome <= SOLVE_CONTINUED);
    solve_signal_set(signal, work, numbers, x);
    if (test->quantity == DIAGNOSE_DC) shown = solve_read_loaded(work, numbers, x, &reading->probe);
    if (test->quantity == DIAGNOSE_COLD)
        solve_read(work, numbers, x, &reading->probe, NULL, &shown);
    if (test->quantity == DIAGNOSE_ALONE) shown = numbers[test->slot];
    if (test->quantity == DIAGNOSE_SIGNAL) {
        solve_scope scope = {reading->probe.plus, 10e6, 100e-12};
        assert_int_equal(solve_signal_at(signal, &test->source, &scope, test->hertz),
                         SOLVE_CONVERGED);
        shown = test->drive * cabs(solve_signal_volts(signal, reading->probe.plus) -
                                   solve_signal_volts(signal, reading->probe.minus));
    }
    if (test->quantity == DIAGNOSE_HUM) {
        double complex *volts = calloc(circuit_nodes(amp->circuit), sizeof *volts);
        double square = 0;
        for (int k = 1; k <= SOLVE_HARMONICS; k++) {
            assert_int_equal(solve_hum(signal, work, numbers, k, volts), SOLVE_CONVERGED);
            bool wanted = test->hertz == 0 || fabs(60.0 * k - test->hertz) < 1;
            if (wanted)
                square += pow(cabs(volts[reading->probe.plus] - volts[reading->probe.minus]), 2);
        }
        shown = sqrt(square);
        free(volts);
    }
    solve_signal_free(signal);
    solve_work_free(work);
    free(numbers);
    free(x);
    return shown;
}

/* Reads the true amp at each place (NULL-ended) with noise, and writes it down. */
static diagnose_readings *read_all(truth *truth, const char *const *at) {
    diagnose_readings *readings = diagnose_readings_new();
    for (int i = 0; at[i]; i++) {
        char text[200];
        diagnose_reading reading = {.at = at[i]};
        assert_int_equal(diagnose_test_read(truth->amp->system, at[i], (base_place){0}, &reading,
                                            truth->amp->errors),
                         BASE_OK);
        if (reading.test.quantity == DIAGNOSE_DC && !reading.probe.heater)
            reading.probe.meter_ohms = 10e6;
        double value = value_of(truth, &reading);
        bool direct = reading.test.quantity == DIAGNOSE_DC;
        value *= 1 + (direct ? 0.003 : truth->noise) * base_random_normal(&truth->random);
        char written[40];
        base_quantity unit = diagnose_quantity_unit(truth->amp->system, &reading.test);
        if (unit == BASE_VOLTS)
            snprintf(written, sizeof written, "%.4g", value);
        else
            base_value_write(base_value_round(value, 3), unit, written, sizeof written);
        snprintf(text, sizeof text, "%s=%s", at[i], written);
        amp_read(truth->amp, readings, text);
    }
    return readings;
}

/* Probability of a part, whatever is wrong with it. */
static double of_part(const diagnose_belief *belief, const char *part) {
    double sum = 0;
    for (size_t i = 0; i < belief->suspects; i++)
        if (strcmp(belief->suspect[i].part, part) == 0) sum += belief->suspect[i].probability;
    return sum;
}

static diagnose_belief *judge(truth *truth, const char *const *at) {
    diagnose_readings *readings = read_all(truth, at);
    diagnose_belief *belief = diagnose_run(truth->amp->engine, readings, truth->amp->errors);
    assert_non_null(belief);
    for (size_t i = 0; i < belief->compares; i++)
        print_message("  %-24s read %.4g healthy %.4g predicted %.4g\n", belief->compare[i].at,
                      belief->compare[i].read, belief->compare[i].healthy,
                      belief->compare[i].predicted);
    for (int k = 0; k < 3; k++)
        print_message("  %s %s %.3f\n", belief->suspect[k].part, belief->suspect[k].what,
                      belief->suspect[k].probability);
    diagnose_readings_free(readings);
    return belief;
}

/* ---- what may be said -------------------------------------------------------------------------
 */

static const struct {
    const char *written;
    diagnose_quantity quantity;
    diagnose_does does;
} good[] = {{"V1.1", DIAGNOSE_DC, DIAGNOSE_AS_IT_IS},
            {"V1.1 @1kHz,20mV J1", DIAGNOSE_SIGNAL, DIAGNOSE_AS_IT_IS},
            {"V1.1 @ 400 Hz 20 mV at J1", DIAGNOSE_SIGNAL, DIAGNOSE_AS_IT_IS},
            {"V1.1@1kHz,20mV", DIAGNOSE_SIGNAL, DIAGNOSE_AS_IT_IS},
            {"V4.3 @1kHz,1V V2.2", DIAGNOSE_SIGNAL, DIAGNOSE_AS_IT_IS},
            {"B2 hum", DIAGNOSE_HUM, DIAGNOSE_AS_IT_IS},
            {"B2 ripple 120Hz", DIAGNOSE_HUM, DIAGNOSE_AS_IT_IS},
            {"LS1 hum 60 Hz", DIAGNOSE_HUM, DIAGNOSE_AS_IT_IS},
            {"V2.1-B3 cold", DIAGNOSE_COLD, DIAGNOSE_AS_IT_IS},
            {"R7 alone", DIAGNOSE_ALONE, DIAGNOSE_AS_IT_IS},
            {"C18 ESR", DIAGNOSE_ALONE, DIAGNOSE_AS_IT_IS},
            {"C4 leak", DIAGNOSE_ALONE, DIAGNOSE_AS_IT_IS},
            {"V2.3 contact", DIAGNOSE_ALONE, DIAGNOSE_AS_IT_IS},
            {"V4.5 with V2 pulled", DIAGNOSE_DC, DIAGNOSE_PULLED},
            {"V4.5 with C4 lifted", DIAGNOSE_DC, DIAGNOSE_LIFTED},
            {"LS1 hum with V3.2 grounded", DIAGNOSE_HUM, DIAGNOSE_GROUNDED},
            {"V4.5 with V4 and V5 exchanged", DIAGNOSE_DC, DIAGNOSE_EXCHANGED},
            {"V1.1 with V1 new", DIAGNOSE_DC, DIAGNOSE_NEW},
            {"B2 hum with C19 bridged", DIAGNOSE_HUM, DIAGNOSE_BRIDGED},
            {"V4.3 @1kHz,20mV with P1 at 3", DIAGNOSE_SIGNAL, DIAGNOSE_TURNED}};
static const char *const bad[] = {"V1.1 @1kHz J1",
                                  "V1.1 @20mV",
                                  "V1.1 @1kHz,20mV J9",
                                  "V1.1 @1kHz,2000V J1",
                                  "V1.1 @0.01Hz,20mV J1",
                                  "V9.1 hum",
                                  "B2 hum 75Hz",
                                  "R7 farads",
                                  "R7 ESR",
                                  "Q7 alone",
                                  "V4.5 with Q7 pulled",
                                  "V4.5 with R7 pulled",
                                  "V4.5 with V1 and V4 exchanged",
                                  "V4.5 with P1 at 11",
                                  "V4.5 with P1 at",
                                  "V4.5 with R7 at 3",
                                  "V4.5 with R7 bridged",
                                  "V4.5 with hope",
                                  "R7 alone with V1 pulled",
                                  "V4.2-V4.7 hum",
                                  " @1kHz,20mV J1",
                                  "hum",
                                  "V1.1 with",
                                  "V4.5 with V4.3 grounded"};

static void words(void **state) {
    (void)state;
    amp tidemark;
    amp_open(&tidemark, "tidemark", NULL);
    diagnose_reading reading;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        base_code code = diagnose_test_read(tidemark.system, good[i].written, (base_place){0},
                                            &reading, tidemark.errors);
        if (code != BASE_OK) print_message("refused: %s\n", good[i].written);
        assert_int_equal(code, BASE_OK);
        assert_int_equal(reading.test.quantity, good[i].quantity);
        assert_int_equal(reading.test.action.does, good[i].does);
    }
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        size_t before = base_errors_count(tidemark.errors);
        base_code code =
            diagnose_test_read(tidemark.system, bad[i], (base_place){0}, &reading, tidemark.errors);
        if (code == BASE_OK) print_message("taken: %s\n", bad[i]);
        assert_int_not_equal(code, BASE_OK);
        assert_int_equal(base_errors_count(tidemark.errors), before + 1);
        const base_error *error = base_errors_at(tidemark.errors, before);
        print_message("  %s; %s\n", error->cause, error->remedy);
        assert_true(error->cause[0] && error->remedy[0]);
    }
    amp_close(&tidemark);
}

/* ---- means and sensitivities ------------------------------------------------------------------
 */

/* The mean is that of the network; a number half again as large moves it as the row says, to first
 * order. */
static void means_and_rows(void **state) {
    (void)state;
    static const char *const at[] = {"V1.1 @1kHz,20mV J1", "V2.8 @1kHz,20mV J1", "B2 hum",
                                     "B3 hum 120Hz",       "V1.1-B4 cold",       "R7 alone",
                                     "V4.5 with V2 pulled"};
    amp tidemark;
    amp_open(&tidemark, "tidemark", NULL);
    diagnose_engine *engine = tidemark.engine;
    truth truth = truth_of(&tidemark, -1, NAN);
    base_arena *arena = base_arena_new();
    memcpy(truth.numbers, engine->bench.numbers, solve_slots(tidemark.system) * sizeof(double));
    for (size_t i = 0; i < sizeof at / sizeof *at; i++) {
        diagnose_reading reading = {.at = at[i]};
        diagnose_ask ask;
        assert_int_equal(
            diagnose_test_read(tidemark.system, at[i], (base_place){0}, &reading, tidemark.errors),
            BASE_OK);
        if (reading.test.quantity != DIAGNOSE_COLD) reading.probe.meter_ohms = 10e6;
        assert_true(diagnose_ask_open(engine, &reading.test, &reading.probe, arena, &ask));
        double shown = value_of(&truth, &reading);
        double computed = diagnose_ask_shows(&ask, diagnose_ask_mean(engine, &ask, engine->point));
        print_message("%-22s %.4g, by the network %.4g\n", at[i], computed, shown);
        assert_close(computed, shown, 0.02 * fabs(shown));
        for (size_t slot = 0; slot < solve_slots(tidemark.system); slot += 7) {
            if (reading.test.quantity == DIAGNOSE_DC ||
                solve_slot_at(tidemark.system, slot)->what == SOLVE_GAS)
                continue;
            double before = truth.numbers[slot];
            bool varies = false;
            for (int v = 0; v < engine->scenes->varieds; v++)
                varies |= engine->scenes->varied[v] == (int)slot;
            if (!varies) continue;
            truth.numbers[slot] = before * 1.05;
            double moved = log(value_of(&truth, &reading) / shown);
            truth.numbers[slot] = before;
            assert_close(moved, ask.gradient[slot] * log(1.05), 2e-3 + 0.15 * fabs(moved));
        }
    }
    base_arena_free(arena);
    free(truth.numbers);
    amp_close(&tidemark);
}

/* ---- what DC cannot tell ----------------------------------------------------------------------
 */

/* A dried-out filter capacitor: nothing at DC, found by the hum at the supply nodes. */
static void dried_out_filter(void **state) {
    (void)state;
    static const char *const dc[] = {"B2", "B3", "B4", "V1.1", "V2.6", "V4.4", NULL};
    static const char *const hum[] = {"B2", "B3", "V1.1", "B2 hum", "B3 hum", "V6.8 hum", NULL};
    amp tidemark;
    amp_open(&tidemark, "tidemark", NULL);
    int fault = amp_fault(&tidemark, "C19", DIAGNOSE_CAP_OPEN);
    truth truth = truth_of(&tidemark, fault, 0.1);
    diagnose_belief *before = judge(&truth, dc), *after = judge(&truth, hum);
    assert_true(of_part(before, "C19") < 0.2);
    assert_true(of_part(after, "C19") > 0.9);
    diagnose_belief_free(before);
    diagnose_belief_free(after);
    free(truth.numbers);
    amp_close(&tidemark);
}

/* An open cathode bypass: the stage's gain falls, its volts stay. */
static void open_bypass(void **state) {
    (void)state;
    static const char *const dc[] = {"V1.1", "V1.3", "B3", NULL};
    static const char *const gain[] = {"V1.1", "V1.3", "V1.1 @1kHz,20mV J1", "V1.3 @1kHz,20mV J1",
                                       NULL};
    amp wren;
    amp_open(&wren, "wren-hollow", NULL);
    int fault = amp_fault(&wren, "C1", DIAGNOSE_CAP_OPEN);
    assert_true(fault >= 0);
    truth truth = truth_of(&wren, fault, 0.01);
    diagnose_belief *before = judge(&truth, dc + 0), *after = judge(&truth, gain);
    assert_true(of_part(before, "C1") < 0.2);
    assert_true(of_part(after, "C1") > 0.9);
    diagnose_belief_free(before);
    diagnose_belief_free(after);
    free(truth.numbers);
    amp_close(&wren);
}

/* ---- facts of the trade (common practice, no source) -------------------------------------------
 */

/* Hum of a full-wave supply has twice the mains' frequency. */
static void twice_the_mains(void **state) {
    (void)state;
    amp tidemark;
    amp_open(&tidemark, "tidemark", NULL);
    truth truth = truth_of(&tidemark, -1, NAN);
    double at[2];
    for (int k = 0; k < 2; k++) {
        diagnose_reading reading;
        assert_int_equal(diagnose_test_read(tidemark.system, k ? "B2 hum 120Hz" : "B2 hum 60Hz",
                                            (base_place){0}, &reading, tidemark.errors),
                         BASE_OK);
        at[k] = value_of(&truth, &reading);
    }
    print_message("%.3g V at 60 Hz, %.3g V at 120 Hz\n", at[0], at[1]);
    assert_true(at[1] > 10 * at[0]);
    free(truth.numbers);
    amp_close(&tidemark);
}

/* A grid lifted by its tube's gas or by the capacitor before it: with the tube pulled the volts
 * stay where it is the capacitor, and go where it is the tube. */
static void pull_the_tube(void **state) {
    (void)state;
    static const char *const before[] = {"V5.5", "V4.5", "V5.8", NULL};
    static const char *const after[] = {"V5.5", "V4.5", "V5.8", "V5.5 with V5 pulled", NULL};
    amp tidemark;
    amp_open(&tidemark, "tidemark", NULL);
    const struct {
        const char *part;
        diagnose_mode mode;
        double severity;
    } tried[] = {{"V5", DIAGNOSE_GASSY, 4e-4}, {"C10", DIAGNOSE_LEAKY, 4e6}};
    for (int k = 0; k < 2; k++) {
        truth truth = truth_of(&tidemark, amp_fault(&tidemark, tried[k].part, tried[k].mode),
                               tried[k].severity);
        diagnose_belief *first = judge(&truth, before), *then = judge(&truth, after);
        print_message("%s: %.2f, with the tube pulled %.2f\n", tried[k].part,
                      of_part(first, tried[k].part), of_part(then, tried[k].part));
        assert_true(of_part(then, tried[k].part) > 0.9);
        assert_true(of_part(then, tried[1 - k].part) < 0.05);
        diagnose_belief_free(first);
        diagnose_belief_free(then);
        free(truth.numbers);
    }
    amp_close(&tidemark);
}

/* What the chart leaves open the part alone tells: a leak through the lifted capacitor, ohms of the
 * resistor beside it with the power off. */
static void part_alone(void **state) {
    (void)state;
    static const char *const leak[] = {"V5.5", "C10 leak", NULL};
    static const char *const good[] = {"V5.5", NULL};
    amp tidemark;
    amp_open(&tidemark, "tidemark", NULL);
    truth bad = truth_of(&tidemark, amp_fault(&tidemark, "C10", DIAGNOSE_LEAKY), 4e6);
    diagnose_belief *without = judge(&bad, good), *with = judge(&bad, leak);
    assert_true(of_part(with, "C10") > 0.95 && of_part(with, "C10") > of_part(without, "C10"));
    diagnose_belief_free(without);
    diagnose_belief_free(with);
    truth high = truth_of(&tidemark, amp_fault(&tidemark, "R9", DIAGNOSE_HIGH), 2);
    static const char *const cold[] = {"V1.6", "R9 cold", NULL};
    diagnose_belief *drifted = judge(&high, cold);
    assert_true(of_part(drifted, "R9") > 0.8);
    diagnose_belief_free(drifted);
    free(bad.numbers);
    free(high.numbers);
    amp_close(&tidemark);
}

/* A good capacitor held across the bad one, and the hum goes: it was that one. */
static void bridged(void **state) {
    (void)state;
    static const char *const at[] = {"LS1 hum", "LS1 hum with C19 bridged", NULL};
    static const char *const other[] = {"LS1 hum", "LS1 hum with C20 bridged", NULL};
    amp tidemark;
    amp_open(&tidemark, "tidemark", NULL);
    truth truth = truth_of(&tidemark, amp_fault(&tidemark, "C19", DIAGNOSE_CAP_OPEN), 0.05);
    diagnose_belief *right = judge(&truth, at), *wrong = judge(&truth, other);
    print_message("C19: %.2f where bridging it helps, %.2f where bridging C20 does not\n",
                  of_part(right, "C19"), of_part(wrong, "C19"));
    assert_string_equal(right->suspect[0].part, "C19");
    assert_true(of_part(right, "C19") > 2 * of_part(wrong, "C19"));
    assert_true(of_part(wrong, "C20") < 0.1);
    diagnose_belief_free(right);
    diagnose_belief_free(wrong);
    free(truth.numbers);
    amp_close(&tidemark);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words),
        cmocka_unit_test(means_and_rows),
        cmocka_unit_test(dried_out_filter),
        cmocka_unit_test(open_bypass),
        cmocka_unit_test(twice_the_mains),
        cmocka_unit_test(pull_the_tube),
        cmocka_unit_test(part_alone),
        cmocka_unit_test(bridged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
