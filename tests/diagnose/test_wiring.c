/* Good parts on the wrong nodes: found, told from faults, and not said where there are none. */
#include "wired.h"

static const char *leader_words(const diagnose_belief *belief) {
    int pair = diagnose_leading_pair(belief, 0), leader = diagnose_leader(belief, 0);
    if (pair >= 0) return belief->pair[pair].words;
    return belief->suspect[leader].what;
}

/* ---- leads --------------------------------------------------------------------------------- */

typedef struct mistake {
    const char *amp, *part;
    int end;
    const char *to, *words;
} mistake;

static const mistake mistakes[] = {
    {"wren-hollow", "R9", 1, "V1.8", "joined to V1.8 instead of V1.6"},
    {"thimble", "R5", 1, "V1.6", "joined to V1.6 instead of V1.1"},
};

static void a_lead_on_the_wrong_node(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof mistakes / sizeof *mistakes; i++) {
        const mistake *one = &mistakes[i];
        amp amp;
        amp_open(&amp, one->amp, NULL);
        circuit_lead lead = wired_lead(&amp, one->part, one->end, one->to);
        wired wired = wired_open(&amp, &lead, 1, amp_numbers(&amp, -1, NAN));
        diagnose_readings *readings = diagnose_readings_new();
        wired_chart(&wired, readings);
        diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
        bool named = false;
        for (size_t k = 0; k < belief->suspects; k++)
            named |= belief->suspect[k].group == 0 &&
                     belief->suspect[k].fault >= (int)diagnose_faults(amp.engine) &&
                     strcmp(belief->suspect[k].part, one->part) == 0 &&
                     strcmp(belief->suspect[k].what, one->words) == 0;
        if (!named)
            fail_msg("%s %s: %s %s", one->amp, one->part, belief->suspect[0].part,
                     belief->suspect[0].what);
        assert_true(belief->verdict == DIAGNOSE_SETTLED || belief->verdict == DIAGNOSE_LEANING);
        diagnose_belief_free(belief);
        diagnose_readings_free(readings);
        wired_close(&wired);
        amp_close(&amp);
    }
}

/* Where a fault explains the readings wiring is not looked at; where it is asked for, it is still
 * the fault that is said. */
static void a_fault_is_no_mistake(void **state) {
    (void)state;
    for (int asked = 0; asked < 2; asked++) {
        diagnose_options options = diagnose_defaults();
        if (asked) options.wiring = DIAGNOSE_LOOK_ALWAYS;
        amp amp;
        amp_open(&amp, "wren-hollow", &options);
        int fault = amp_fault(&amp, "C6", DIAGNOSE_LEAKY);
        double *numbers = amp_numbers(&amp, fault, 3e6);
        diagnose_readings *readings = amp_chart(&amp, numbers);
        diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
        assert_int_equal(belief->suspect[0].fault, fault);
        assert_true(belief->suspects == diagnose_faults(amp.engine) || asked);
        diagnose_belief_free(belief);
        diagnose_readings_free(readings);
        free(numbers);
        amp_close(&amp);
    }
}

/* ---- halves -------------------------------------------------------------------------------- */

/* Tidemark 14's V2: one half makes up gain, the other splits the phase. */
static size_t halves(const amp *amp, circuit_lead lead[6]) {
    static const int pin[3][2] = {{1, 6}, {2, 7}, {3, 8}};
    int index = circuit_part_find(amp->circuit, "V2");
    const circuit_part *tube = circuit_part_at(amp->circuit, (size_t)index);
    for (int k = 0; k < 3; k++) {
        lead[2 * k] = (circuit_lead){index, pin[k][0], tube->end[pin[k][1]]};
        lead[2 * k + 1] = (circuit_lead){index, pin[k][1], tube->end[pin[k][0]]};
    }
    return 6;
}

static void exchanged_halves(void **state) {
    (void)state;
    for (int beside = 0; beside < 2; beside++) {
        amp amp;
        circuit_lead lead[6];
        amp_open(&amp, "tidemark", NULL);
        int fault = beside ? amp_fault(&amp, "R17", DIAGNOSE_HIGH) : -1;
        size_t count = halves(&amp, lead);
        wired wired = wired_open(&amp, lead, count, amp_numbers(&amp, fault, 2.2));
        diagnose_readings *readings = diagnose_readings_new();
        wired_chart(&wired, readings);
        diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
        assert_non_null(strstr(leader_words(belief), "drawn as V2a, wired as V2b"));
        assert_non_null(strstr(belief->reason, "no fault"));
        assert_null(strstr(belief->reason, "Two things are wrong"));
        if (beside)
            assert_non_null(strstr(belief->reason, "What is wrong: R17 drifted high"));
        else
            assert_int_equal(belief->verdict, DIAGNOSE_HEALTHY);
        diagnose_belief_free(belief);
        diagnose_readings_free(readings);
        wired_close(&wired);
        amp_close(&amp);
    }
}

/* ---- the tremolo that will not start ------------------------------------------------------- */

/* Common practice, no source: one capacitor of the oscillator leaks, and another had been joined to
 * the grid's resistors instead of the plate. Volts show the leak; that the plate's signal does not
 * reach the first of the phase shift shows the other. */
static void tremolo_with_two_faults(void **state) {
    (void)state;
    static const char *const signals[] = {"V2.6 @5Hz,20mV J3", "shift1 @5Hz,20mV J3",
                                          "shift2 @5Hz,20mV J3"};
    amp amp;
    amp_open(&amp, "porchlight", NULL);
    circuit_lead lead = wired_lead(&amp, "C10", 0, "V2.7");
    int fault = amp_fault(&amp, "C13", DIAGNOSE_LEAKY);
    wired wired = wired_open(&amp, &lead, 1, amp_numbers(&amp, fault, 3e6));
    diagnose_readings *readings = diagnose_readings_new();
    wired_chart(&wired, readings);
    for (size_t i = 0; i < sizeof signals / sizeof *signals; i++)
        wired_signal(&wired, readings, signals[i]);
    assert_int_equal(
        diagnose_readings_tell(readings, amp.system, "no tremolo", (base_place){0}, amp.errors),
        BASE_OK);
    diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
    assert_int_equal(diagnose_leading_pair(belief, 0), 0);
    assert_string_equal(belief->pair[0].part[0], "C13");
    assert_non_null(strstr(belief->pair[0].what[0], "leaky"));
    assert_string_equal(belief->pair[0].part[1], "C10");
    assert_string_equal(belief->pair[0].what[1], "joined to V2.7 instead of V2.6");
    assert_true(belief->pair[0].probability > 0.5);
    assert_non_null(strstr(belief->reason, "Two things are wrong"));
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    wired_close(&wired);
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_lead_on_the_wrong_node),
        cmocka_unit_test(a_fault_is_no_mistake),
        cmocka_unit_test(exchanged_halves),
        cmocka_unit_test(tremolo_with_two_faults),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
