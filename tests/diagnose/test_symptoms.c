/* Symptoms and findings: the list, what may be said, and what each tells. The facts of the trade
 * here are common practice, no source. */
#include "amp.h"
#include "symptoms_impl.h"

static amp tidemark;

static int open_tidemark(void **state) {
    (void)state;
    amp_open(&tidemark, "tidemark", NULL);
    return 0;
}

static int close_tidemark(void **state) {
    (void)state;
    amp_close(&tidemark);
    return 0;
}

static void tell(diagnose_readings *readings, const char *said) {
    assert_int_equal(
        diagnose_readings_tell(readings, tidemark.system, said, (base_place){0}, tidemark.errors),
        BASE_OK);
}

/* Readings and symptoms (those without a `=`), NULL-ended. */
static diagnose_belief *judge(const char *const *words) {
    diagnose_readings *readings = diagnose_readings_new();
    for (int i = 0; words[i]; i++) {
        if (strchr(words[i], '='))
            amp_read(&tidemark, readings, words[i]);
        else
            tell(readings, words[i]);
    }
    diagnose_belief *belief = diagnose_run(tidemark.engine, readings, tidemark.errors);
    assert_non_null(belief);
    diagnose_readings_free(readings);
    return belief;
}

static double of_part(const char *const *words, const char *part) {
    diagnose_belief *belief = judge(words);
    double sum = 0;
    for (size_t i = 0; i < belief->suspects; i++)
        if (strcmp(belief->suspect[i].part, part) == 0) sum += belief->suspect[i].probability;
    diagnose_belief_free(belief);
    return sum;
}

static double of_fault(const char *const *words, int fault) {
    diagnose_belief *belief = judge(words);
    double probability = amp_suspect(belief, fault)->probability;
    diagnose_belief_free(belief);
    return probability;
}

#define WORDS(...) ((const char *const[]){__VA_ARGS__, NULL})

/* ---- the list ---------------------------------------------------------------------------------
 */

static void the_list(void **state) {
    (void)state;
    diagnose_symptoms *symptoms = diagnose_symptoms_read(NULL, NULL, 0, tidemark.errors);
    assert_non_null(symptoms);
    assert_true(diagnose_symptoms_count(symptoms) > 20);
    for (size_t i = 0; i < diagnose_symptoms_count(symptoms); i++) {
        const diagnose_symptom *one = diagnose_symptoms_at(symptoms, i);
        assert_true(one->key[0] && one->ground && one->ground[0]);
        assert_true(one->sign || one->chances > 0);
        assert_true(!one->sign || (one->missed > 0 && one->false_told > 0));
        for (size_t k = 0; k < i; k++)
            assert_string_not_equal(one->key, diagnose_symptoms_at(symptoms, k)->key);
    }
    diagnose_symptoms_free(symptoms);
}

/* docs/symptoms.md has every one. */
static void the_document(void **state) {
    (void)state;
    size_t length;
    char *text = support_file("docs/symptoms.md", &length);
    diagnose_symptoms *symptoms = diagnose_symptoms_read(NULL, NULL, 0, tidemark.errors);
    for (size_t i = 0; i < diagnose_symptoms_count(symptoms); i++) {
        char row[80];
        snprintf(row, sizeof row, "| `%s", diagnose_symptoms_at(symptoms, i)->key);
        if (!strstr(text, row)) fail_msg("docs/symptoms.md lacks %s", row);
    }
    diagnose_symptoms_free(symptoms);
    free(text);
}

static void bad_lists(void **state) {
    (void)state;
    static const char *const bad[] = {
        "",
        "symptoms: {a: b}",
        "symptoms: [{key: x}]",
        "symptoms: [{key: x, ground: y, sign: telepathy}]",
        "symptoms: [{key: x, ground: y, sign: speaker hum, missed: 2}]",
        "symptoms: [{key: x, ground: y, when: [{mode: haunted, chance: 0.5}], otherwise: 0.1}]",
        "symptoms: [{key: x, ground: y, when: [{mode: open, chance: 0}], otherwise: 0.1}]",
        "symptoms: [{key: x, when: [{mode: open, chance: 0.5}], otherwise: 0.1}]"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        base_errors *errors = base_errors_new();
        assert_null(diagnose_symptoms_read("list", bad[i], strlen(bad[i]), errors));
        assert_true(base_errors_count(errors) > 0);
        assert_true(base_errors_at(errors, 0)->remedy[0]);
        base_errors_free(errors);
    }
}

static const struct {
    const char *said, *because;
} refused[] = {{"lod hum", "did you mean loud hum"},
               {"it plays the wrong songs", "choose from it"},
               {"scratchy", "of which control"},
               {"scratchy: P9", "its controls are P1"},
               {"scratchy: R7", "no control called R7"},
               {"no glow: R7", "no tube called R7"},
               {"wiggle: B2", "no pin"},
               {"no difference: Q7", "Q7"},
               {"tremolo speed: often", "no speed"},
               {"tremolo speed: 400 Hz", "0.2 and 20"},
               {"loud hum: V1", "leave out"},
               {"", "not in the list"}};

static void words(void **state) {
    (void)state;
    static const char *const good[] = {"loud hum",
                                       "Buzz",
                                       "not loud hum",
                                       "scratchy: P2",
                                       "crackling control : P1",
                                       "tremolo speed: 3 per second",
                                       "wiggle: V2.3",
                                       "no difference: R25",
                                       "red plate: V4",
                                       "no glow: V1"};
    diagnose_readings *readings = diagnose_readings_new();
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        tell(readings, good[i]);
    assert_int_equal(readings->clues, sizeof good / sizeof *good);
    assert_true(readings->clue[2].absent);
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        base_errors *errors = base_errors_new();
        char whole[500];
        assert_int_not_equal(diagnose_readings_tell(readings, tidemark.system, refused[i].said,
                                                    (base_place){0}, errors),
                             BASE_OK);
        assert_int_equal(base_errors_count(errors), 1);
        snprintf(whole, sizeof whole, "%s; %s", base_errors_at(errors, 0)->cause,
                 base_errors_at(errors, 0)->remedy);
        print_message("  %s\n", whole);
        assert_non_null(strstr(whole, refused[i].because));
        base_errors_free(errors);
    }
    assert_int_equal(readings->clues, sizeof good / sizeof *good);
    diagnose_readings_free(readings);
}

/* ---- facts of the trade -----------------------------------------------------------------------
 */

/* A bad filter capacitor shows as hum; a filter capacitor is the first suspect. */
static void hum(void **state) {
    (void)state;
    double filters = 0, before = 0;
    static const char *const caps[] = {"C18", "C19", "C20"};
    for (int k = 0; k < 3; k++) {
        filters += of_part(WORDS("loud hum"), caps[k]);
        before += of_part(WORDS("not loud hum"), caps[k]);
    }
    print_message("filter capacitors: %.2f with loud hum, %.2f without\n", filters, before);
    assert_true(filters > 0.3 && filters > 2.5 * before);
}

/* A control that crackles has DC across it; with its coupling capacitor leaking it has, and after
 * the repair it reads zero volts. */
static void crackling_control(void **state) {
    (void)state;
    int fault = amp_fault(&tidemark, "C2", DIAGNOSE_LEAKY);
    assert_true(fault >= 0);
    double told = of_part(WORDS("scratchy: P1"), "C2"),
           silent = of_part(WORDS("not scratchy: P1"), "C2");
    print_message("C2: %.3f with P1 scratchy, %.3f without\n", told, silent);
    assert_true(told > 4 * silent);
    diagnose_engine *engine = tidemark.engine;
    const circuit_part *pot =
        circuit_part_at(tidemark.circuit, (size_t)circuit_part_find(tidemark.circuit, "P1"));
    solve_probe across = {.plus = pot->end[2], .minus = pot->end[0], .meter_ohms = INFINITY};
    double bad = diagnose_bare(engine, &engine->point[engine->first_point[fault] + 4], &across);
    double repaired = diagnose_bare(engine, &engine->point[0], &across);
    print_message("across P1: %.2f V, repaired %.4f V\n", bad, repaired);
    assert_true(fabs(bad) > 0.2 && fabs(repaired) < 0.01);
}

/* One pin of a socket opens when its wire is moved: that pin is found. */
static void wiggled_pin(void **state) {
    (void)state;
    diagnose_belief *belief = judge(WORDS("cuts out", "wiggle: V1.1"));
    const diagnose_suspect *first = &belief->suspect[0];
    const diagnose_fault *fault = diagnose_fault_at(tidemark.engine, (size_t)first->fault);
    print_message("%s %s %.2f\n", first->part, first->what, first->probability);
    assert_string_equal(first->part, "V1");
    assert_int_equal(fault->mode, DIAGNOSE_PIN_OPEN);
    assert_int_equal(fault->which, 1);
    assert_true(first->probability > 0.3);
    diagnose_belief_free(belief);
}

/* Changing the plate resistor made no difference: then it is not, or not alone, to blame. */
static void repair_that_did_not_help(void **state) {
    (void)state;
    const char *const before[] = {"V3.6=150", NULL};
    const char *const after[] = {"V3.6=150", "no difference: C21", NULL};
    double first = of_part(before, "C21"), then = of_part(after, "C21");
    print_message("C21: %.2f before, %.2f after\n", first, then);
    assert_true(first > 0.6 && then < 0.2);
}

/* The tremolo is dead, and one capacitor of its oscillator leaks: with one reading at the grid
 * behind it, that capacitor leads. */
static void dead_tremolo(void **state) {
    (void)state;
    int fault = amp_fault(&tidemark, "C12", DIAGNOSE_LEAKY);
    double *numbers = amp_numbers(&tidemark, fault, 1.5e6);
    double *x = calloc(solve_unknowns(tidemark.system), sizeof *x);
    solve_work *work = solve_work_new(tidemark.system);
    assert_true(solve_point(work, numbers, NULL, x).outcome <= SOLVE_CONTINUED);
    static const char *const at[] = {"shift1", "V3.1", "V3.3"};
    char text[3][40];
    for (int i = 0; i < 3; i++) {
        diagnose_reading reading;
        assert_int_equal(
            diagnose_test_read(tidemark.system, at[i], (base_place){0}, &reading, tidemark.errors),
            BASE_OK);
        reading.probe.meter_ohms = 10e6;
        snprintf(text[i], sizeof text[i], "%s=%.3g", at[i],
                 solve_read_loaded(work, numbers, x, &reading.probe));
        print_message("  %s\n", text[i]);
    }
    double volts = of_part(WORDS(text[0], text[1], text[2]), "C12");
    double both = of_part(WORDS("no tremolo", text[0], text[1], text[2]), "C12");
    double runs = of_part(WORDS("not no tremolo", text[1], text[2]), "C12");
    print_message("C12: %.2f by volts, %.2f with the dead tremolo, %.3f where it runs\n", volts,
                  both, runs);
    assert_true(both > 0.9 && both > volts - 0.02 && runs < 0.3);
    solve_work_free(work);
    free(numbers);
    free(x);
}

/* Its speed tells a capacitor that has lost farads from one that is whole. */
static void tremolo_speed(void **state) {
    (void)state;
    int fault = amp_fault(&tidemark, "C12", DIAGNOSE_CAP_OPEN);
    double right = of_fault(WORDS("tremolo speed: 3.9 Hz"), fault);
    double quick = of_fault(WORDS("tremolo speed: 6 per second"), fault);
    print_message("C12 dried out: %.4f at 3.9 Hz, %.4f at 6 Hz\n", right, quick);
    assert_true(quick > 5 * right);
}

/* An amp without an oscillator: said, and left out. */
static void no_oscillator(void **state) {
    (void)state;
    amp wren;
    amp_open(&wren, "wren-hollow", NULL);
    diagnose_readings *readings = diagnose_readings_new();
    assert_int_equal(
        diagnose_readings_tell(readings, wren.system, "no tremolo", (base_place){0}, wren.errors),
        BASE_OK);
    diagnose_belief *belief = diagnose_run(wren.engine, readings, wren.errors);
    assert_non_null(belief);
    assert_int_equal(base_errors_worst(wren.errors), BASE_OK);
    assert_int_equal(base_errors_count(wren.errors), 1);
    assert_non_null(strstr(base_errors_at(wren.errors, 0)->cause, "no oscillator that swings"));
    assert_true(isnan(belief->heard[0].good));
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    amp_close(&wren);
}

/* What does not fit the leader is seen to. */
static void contradiction(void **state) {
    (void)state;
    diagnose_belief *belief = judge(
        WORDS("V6.8=333", "B2=318", "B2 hum=3.4", "B3 hum=0.055", "not loud hum", "no glow: V1"));
    assert_int_equal(belief->heards, 2);
    print_message("%s: %.2f; %s: %.2f\n", belief->heard[0].said, belief->heard[0].by_leader,
                  belief->heard[1].said, belief->heard[1].by_leader);
    assert_true(belief->heard[1].by_leader < 0.1);
    print_message("%s\n", belief->reason);
    assert_non_null(strstr(belief->reason, "\"no glow: V1\" does not fit this"));
    diagnose_belief_free(belief);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_list),      cmocka_unit_test(the_document),
        cmocka_unit_test(bad_lists),     cmocka_unit_test(words),
        cmocka_unit_test(hum),           cmocka_unit_test(crackling_control),
        cmocka_unit_test(wiggled_pin),   cmocka_unit_test(repair_that_did_not_help),
        cmocka_unit_test(dead_tremolo),  cmocka_unit_test(tremolo_speed),
        cmocka_unit_test(no_oscillator), cmocka_unit_test(contradiction),
    };
    return cmocka_run_group_tests(tests, open_tidemark, close_tidemark);
}
