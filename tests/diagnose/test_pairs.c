/* Two faults at once: found where one does not explain the readings, and not said where one does.
 */
#include "amp.h"

/* ---- two in one amp ------------------------------------------------------------------------ */

typedef struct two {
    const char *amp;
    struct {
        const char *part;
        diagnose_mode mode;
        double severity;
    } fault[2];
} two;

static const two pairs[] = {
    {"wren-hollow", {{"C6", DIAGNOSE_LEAKY, 3e6}, {"R9", DIAGNOSE_HIGH, 3}}},
    {"wren-hollow", {{"R4", DIAGNOSE_OPEN, NAN}, {"R12", DIAGNOSE_HIGH, 2.5}}},
    {"thimble", {{"R5", DIAGNOSE_HIGH, 2.5}, {"R9", DIAGNOSE_OPEN, NAN}}},
    {"tidemark", {{"C10", DIAGNOSE_LEAKY, 2e6}, {"R13", DIAGNOSE_HIGH, 3}}},
};

static void put_in(const amp *amp, int index, double severity, double *numbers) {
    double *own = amp_numbers(amp, index, severity);
    const diagnose_fault *fault = diagnose_fault_at(amp->engine, (size_t)index);
    for (int s = 0; s < fault->sets; s++)
        numbers[fault->slot[s]] = own[fault->slot[s]];
    free(own);
}

static bool names(const diagnose_pair *pair, const char *a, const char *b) {
    return (strcmp(pair->part[0], a) == 0 && strcmp(pair->part[1], b) == 0) ||
           (strcmp(pair->part[0], b) == 0 && strcmp(pair->part[1], a) == 0);
}

static void check_pair(const amp *amp, const two *one, const diagnose_belief *belief) {
    const char *a = one->fault[0].part, *b = one->fault[1].part;
    bool first = false;
    for (size_t i = 0; i < belief->pairs; i++)
        first |= belief->pair[i].group == 0 && names(&belief->pair[i], a, b);
    if (!first)
        fail_msg("%s, %s and %s: %s %s, %s", one->amp, a, b, belief->suspect[0].part,
                 belief->suspect[0].what, belief->pairs ? belief->pair[0].words : "no pair");
    assert_true(belief->verdict == DIAGNOSE_SETTLED || belief->verdict == DIAGNOSE_LEANING);
    assert_non_null(strstr(belief->reason, "Two things are wrong"));
    /* each of the two is involved nearly for sure, and alone hardly at all */
    for (int k = 0; k < 2; k++) {
        double involved = 0;
        for (size_t i = 0; i < belief->suspects; i++)
            if (strcmp(belief->suspect[i].part, one->fault[k].part) == 0)
                involved += belief->suspect[i].involved;
        assert_true(involved > 0.5);
    }
    (void)amp;
}

static void found(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
        const two *one = &pairs[i];
        amp amp;
        amp_open(&amp, one->amp, NULL);
        double *numbers = amp_numbers(&amp, -1, NAN);
        for (int k = 0; k < 2; k++) {
            int fault = amp_fault(&amp, one->fault[k].part, one->fault[k].mode);
            assert_true(fault >= 0);
            put_in(&amp, fault, one->fault[k].severity, numbers);
        }
        diagnose_readings *readings = amp_chart(&amp, numbers);
        diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
        check_pair(&amp, one, belief);
        const diagnose_pair *pair = &belief->pair[0];
        for (size_t r = 0; r < belief->compares; r++)
            assert_true(isfinite(pair->reads[r]) && isfinite(pair->shows[r]));
        diagnose_belief_free(belief);
        diagnose_readings_free(readings);
        free(numbers);
        amp_close(&amp);
    }
}

/* ---- one alone ----------------------------------------------------------------------------- */

/* Where one fault explains the readings no pair is looked at; where they are asked for, none leads.
 */
static void not_invented(void **state) {
    (void)state;
    static const struct {
        const char *part;
        diagnose_mode mode;
        double severity;
    } alone[] = {{"C6", DIAGNOSE_LEAKY, 3e6},
                 {"R12", DIAGNOSE_OPEN, NAN},
                 {"C7", DIAGNOSE_SHORTED, NAN},
                 {"T1 high voltage", DIAGNOSE_SUPPLY_MISSING, NAN}};
    for (int asked = 0; asked < 2; asked++) {
        diagnose_options options = diagnose_defaults();
        options.pairs = asked ? DIAGNOSE_LOOK_ALWAYS : DIAGNOSE_LOOK_IF_NEEDED;
        amp amp;
        amp_open(&amp, "wren-hollow", &options);
        for (size_t i = 0; i < sizeof alone / sizeof *alone; i++) {
            int fault = amp_fault(&amp, alone[i].part, alone[i].mode);
            if (fault < 0) continue;
            double *numbers = amp_numbers(&amp, fault, alone[i].severity);
            diagnose_readings *readings = amp_chart(&amp, numbers);
            diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
            assert_int_equal(diagnose_leading_pair(belief, 0), -1);
            assert_int_equal(amp_suspect(belief, fault)->group, 0);
            assert_true(asked || belief->pairs == 0);
            diagnose_belief_free(belief);
            diagnose_readings_free(readings);
            free(numbers);
        }
        amp_close(&amp);
    }
}

/* With the supply gone nothing else can show: no second fault is said beside it. */
static void masked(void **state) {
    (void)state;
    diagnose_options options = diagnose_defaults();
    options.pairs = DIAGNOSE_LOOK_ALWAYS;
    amp amp;
    amp_open(&amp, "wren-hollow", &options);
    int dead = amp_fault(&amp, "F1", DIAGNOSE_OPEN), other = amp_fault(&amp, "R4", DIAGNOSE_OPEN);
    double *numbers = amp_numbers(&amp, dead, NAN);
    put_in(&amp, other, NAN, numbers);
    diagnose_readings *readings = amp_chart(&amp, numbers);
    diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
    double sum = 0;
    for (size_t i = 0; i < belief->pairs; i++)
        sum += belief->pair[i].probability;
    assert_true(sum < 0.1);
    assert_int_equal(amp_suspect(belief, dead)->group, 0);
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    free(numbers);
    amp_close(&amp);
}

/* Never looked at: what is left unexplained is strange. */
static void never(void **state) {
    (void)state;
    diagnose_options options = diagnose_defaults();
    options.pairs = options.wiring = DIAGNOSE_LOOK_NEVER;
    amp amp;
    amp_open(&amp, "wren-hollow", &options);
    double *numbers = amp_numbers(&amp, -1, NAN);
    for (int k = 0; k < 2; k++)
        put_in(&amp, amp_fault(&amp, pairs[0].fault[k].part, pairs[0].fault[k].mode),
               pairs[0].fault[k].severity, numbers);
    diagnose_readings *readings = amp_chart(&amp, numbers);
    diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
    assert_int_equal(belief->pairs, 0);
    assert_int_equal(belief->suspects, diagnose_faults(amp.engine));
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    free(numbers);
    amp_close(&amp);
}

/* Readings that contradict each other: said so, and which. */
static void contradictory(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL);
    double *numbers = amp_numbers(&amp, -1, NAN);
    diagnose_readings *readings = amp_chart(&amp, numbers);
    static const char *const odd[] = {"V3.8", "B2", "V2.3", "V2.4"};
    for (size_t i = 0; i < 4; i++)
        readings->reading[amp_place(&amp, odd[i])].volts *= i % 2 ? 0.6 : 1.5;
    diagnose_belief *belief = diagnose_run(amp.engine, readings, amp.errors);
    assert_int_equal(belief->verdict, DIAGNOSE_STRANGE);
    print_message("%s\n", belief->reason);
    int named = 0;
    for (size_t i = 0; i < 4; i++)
        named += strstr(belief->reason, odd[i]) != NULL;
    assert_true(named >= 2);
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    free(numbers);
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(found), cmocka_unit_test(not_invented),  cmocka_unit_test(masked),
        cmocka_unit_test(never), cmocka_unit_test(contradictory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
