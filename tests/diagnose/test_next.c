/* What to do next beside volts: which tests are proposed, and that no riskier thing comes before a
 * safer one that gives most of what it gives. */
#include "amp.h"

/* ---- the order --------------------------------------------------------------------------------
 */

typedef struct thing {
    double worth;
    int risk;
} thing;

static double worth_of(const void *one) {
    return ((const thing *)one)->worth;
}

static int risk_of(const void *one) {
    return ((const thing *)one)->risk;
}

/* By definition, for each place of the list: nothing behind it is safer and gives 80 % of it. */
static void order(void **state) {
    (void)state;
    base_random random;
    base_random_seed(&random, 3);
    for (int round = 0; round < 2000; round++) {
        thing list[12];
        size_t count = 1 + (size_t)(base_random_unit(&random) * 11.99);
        double sum = 0, kept = 0;
        for (size_t i = 0; i < count; i++) {
            list[i] = (thing){base_random_unit(&random), (int)(4 * base_random_unit(&random))};
            sum += list[i].worth;
        }
        diagnose_order(list, count, sizeof *list, worth_of, risk_of);
        for (size_t i = 0; i < count; i++) {
            kept += list[i].worth;
            for (size_t k = i + 1; k < count; k++) {
                assert_true(list[i].worth >= DIAGNOSE_ENOUGH * list[k].worth);
                assert_false(list[k].risk < list[i].risk &&
                             list[k].worth >= DIAGNOSE_ENOUGH * list[i].worth &&
                             list[k].worth >= list[i].worth);
            }
        }
        assert_close(kept, sum, 1e-9);
    }
    thing pair[] = {{1.0, 3}, {0.81, 0}}, other[] = {{1.0, 3}, {0.79, 0}};
    diagnose_order(pair, 2, sizeof *pair, worth_of, risk_of);
    diagnose_order(other, 2, sizeof *other, worth_of, risk_of);
    assert_int_equal(pair[0].risk, 0);
    assert_int_equal(other[0].risk, 3);
}

/* The advice of every amp of the library, before any reading and after a few. */
static void no_needless_risk(void **state) {
    (void)state;
    static const char *const amps[] = {"wren-hollow", "tidemark", "thimble"};
    for (size_t a = 0; a < 3; a++) {
        amp amp;
        diagnose_options options = diagnose_defaults();
        options.tests = true;
        amp_open(&amp, amps[a], &options);
        diagnose_readings *readings = diagnose_readings_new();
        for (int step = 0; step < 4; step++) {
            diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
            assert_non_null(belief);
            for (size_t i = 1; i < belief->tests; i++) {
                const diagnose_test_next *one = &belief->test[0], *other = &belief->test[i];
                double first = one->bits / one->cost, then = other->bits / other->cost;
                assert_false(other->risk < one->risk && then >= DIAGNOSE_ENOUGH * first);
            }
            for (size_t i = 1; i < belief->nexts; i++) {
                int place[2] = {amp_place(&amp, belief->next[0].at),
                                amp_place(&amp, belief->next[i].at)};
                double first = belief->next[0].bits / belief->next[0].cost;
                double then = belief->next[i].bits / belief->next[i].cost;
                if (place[0] < 0 || place[1] < 0) continue;
                assert_false(diagnose_place_at(amp.engine, (size_t)place[1])->cost <
                                 diagnose_place_at(amp.engine, (size_t)place[0])->cost &&
                             then >= DIAGNOSE_ENOUGH * first);
            }
            char text[100] = "";
            if (belief->nexts)
                snprintf(
                    text, sizeof text, "%s=%.4g", belief->next[0].at,
                    1.1 * diagnose_place_at(amp.engine, (size_t)amp_place(&amp, belief->next[0].at))
                              ->healthy);
            if (*text) amp_read(&amp, readings, text);
            diagnose_belief_free(belief);
        }
        diagnose_readings_free(readings);
        amp_close(&amp);
    }
}

/* ---- what is proposed -------------------------------------------------------------------------
 */

static bool proposed(const diagnose_belief *belief, const char *words) {
    for (size_t i = 0; i < belief->tests; i++)
        if (strstr(belief->test[i].at, words)) return true;
    return false;
}

static diagnose_belief *advise(amp *amp, const char *const *words) {
    diagnose_readings *readings = diagnose_readings_new();
    for (int i = 0; words[i]; i++) {
        if (strchr(words[i], '='))
            amp_read(amp, readings, words[i]);
        else
            assert_int_equal(diagnose_readings_tell(readings, amp->system, words[i],
                                                    (base_place){0}, amp->errors),
                             BASE_OK);
    }
    diagnose_belief *belief = diagnose_run(amp->engine, readings, amp->errors);
    assert_non_null(belief);
    for (size_t i = 0; i < belief->tests; i++)
        print_message("  %s: %.2f bits, cost %.1f, risk %d. %s %s\n", belief->test[i].at,
                      belief->test[i].bits, belief->test[i].cost, belief->test[i].risk,
                      belief->test[i].why, belief->test[i].caution);
    diagnose_readings_free(readings);
    return belief;
}

/* A leaky coupling capacitor and a gassy tube lift a grid alike: pull the tube, or change it
 * (common practice, no source). Loud hum: the hum at the supply nodes. A stage without gain: the
 * signal traced. Whatever sends hands inside says first that it must be dead and measured. */
static void proposals(void **state) {
    (void)state;
    amp tidemark;
    diagnose_options options = diagnose_defaults();
    options.tests = true;
    amp_open(&tidemark, "tidemark", &options);
    diagnose_belief *grid = advise(&tidemark, (const char *const[]){"V5.5=3.6", "V4.8=21", NULL});
    assert_true(proposed(grid, "V5 pulled") || proposed(grid, "V5 new") || proposed(grid, "C10"));
    for (size_t i = 0; i < grid->tests; i++)
        if (strstr(grid->test[i].at, "pulled") || strstr(grid->test[i].at, "lifted"))
            assert_non_null(strstr(grid->test[i].caution, "MEASURE"));
    diagnose_belief *hum = advise(&tidemark, (const char *const[]){"loud hum", NULL});
    assert_true(proposed(hum, "hum"));
    diagnose_belief *weak = advise(&tidemark, (const char *const[]){"weak", "V1.1=159", NULL});
    assert_true(proposed(weak, "@1kHz,20mV"));
    diagnose_belief_free(grid);
    diagnose_belief_free(hum);
    diagnose_belief_free(weak);
    amp_close(&tidemark);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(order),
        cmocka_unit_test(no_needless_risk),
        cmocka_unit_test(proposals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
