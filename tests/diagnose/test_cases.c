/* Faults put into library amps, one file of tests/diagnose/cases each: the whole chart of the
 * faulty amp is read and judged. amp:   file of data/amps        fault: {part, mode, severity (as
 * it is written)} read:  {place: high or low}     what the technician would notice, against a good
 * amp first: part that must be in the leading group never: part that must not be above 1 % tell:
 * words that must be in what tells the group's members apart */
#include "amp.h"

#include <strings.h>

static const base_yaml_kind case_files = {"case files", "case", "`amp:` and an amp's name"};

typedef struct trial {
    base_yaml yaml;
    base_yaml_items top;
    amp amp;
    int fault;
    double *numbers;
    diagnose_readings *readings;
    diagnose_belief *belief;
} trial;

static const char *text_of(trial *trial, const base_yaml_items *map, const char *key) {
    const base_yaml_item *item = base_yaml_find(map, key);
    return item ? base_yaml_text_of(&trial->yaml, item->value) : NULL;
}

static void put_in(trial *trial) {
    base_yaml_items fault = {.who = "fault"};
    assert_true(base_yaml_map(&trial->yaml, base_yaml_find(&trial->top, "fault"), &fault));
    const char *part = text_of(trial, &fault, "part"), *mode = text_of(trial, &fault, "mode");
    const char *severity = text_of(trial, &fault, "severity");
    double value = NAN;
    assert_true(part && mode && diagnose_mode_find(mode) >= 0);
    if (severity)
        assert_int_equal(base_value_read(severity,
                                         strpbrk(severity, "kM") ? BASE_OHMS : BASE_NUMBER,
                                         (base_place){0}, &value, trial->yaml.errors),
                         BASE_OK);
    trial->fault = amp_fault(&trial->amp, part, (diagnose_mode)diagnose_mode_find(mode));
    assert_true(trial->fault >= 0);
    trial->numbers = amp_numbers(&trial->amp, trial->fault, value);
}

/* Two deviations of good amps away, to the side that the file says. */
static void check_read(trial *trial) {
    base_yaml_items read = {.who = "read"};
    const base_yaml_item *item = base_yaml_find(&trial->top, "read");
    if (!item) return;
    assert_true(base_yaml_map(&trial->yaml, item, &read));
    for (size_t i = 0; i < read.items; i++) {
        const char *side = base_yaml_text_of(&trial->yaml, read.item[i].value);
        int place = amp_place(&trial->amp, read.item[i].key);
        if (place < 0) fail_msg("no place %s", read.item[i].key);
        const diagnose_place *at = diagnose_place_at(trial->amp.engine, (size_t)place);
        double off = trial->readings->reading[place].volts - at->healthy;
        if ((strcmp(side, "high") == 0 ? off : -off) < 2 * at->spread)
            fail_msg("%s is off by %g V, good amps by %g", at->at, off, at->spread);
    }
}

static void check_belief(trial *trial) {
    const diagnose_belief *belief = trial->belief;
    const char *first = text_of(trial, &trial->top, "first");
    const char *never = text_of(trial, &trial->top, "never");
    const char *tell = text_of(trial, &trial->top, "tell");
    bool found = false;
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *one = &belief->suspect[i];
        found |= one->group == 0 && strcasecmp(one->part, first) == 0;
        if (never && strcasecmp(one->part, never) == 0) assert_true(one->probability < 0.01);
    }
    if (!found) fail_msg("first came %s %s", belief->suspect[0].part, belief->suspect[0].what);
    if (tell && (!belief->group[0].tell || !strcasestr(belief->group[0].tell, tell)))
        fail_msg("what tells them apart: %s", belief->group[0].tell ? belief->group[0].tell : "-");
}

static void try_file(const char *path) {
    trial trial = {.yaml = {.kind = &case_files, .file = path}, .top = {.who = "the file"}};
    size_t length;
    char *text = support_file(path, &length);
    base_yaml_item root;
    trial.yaml.arena = base_arena_new();
    trial.yaml.errors = base_errors_new();
    assert_true(base_yaml_open(&trial.yaml, text, length, &root));
    assert_true(base_yaml_map(&trial.yaml, &root, &trial.top));
    amp_open(&trial.amp, text_of(&trial, &trial.top, "amp"), NULL);
    put_in(&trial);
    trial.readings = amp_chart(&trial.amp, trial.numbers);
    trial.belief = diagnose_run(trial.amp.engine, trial.readings, trial.amp.errors);
    assert_non_null(trial.belief);
    print_message("%s\n", path);
    check_read(&trial);
    check_belief(&trial);
    diagnose_belief_free(trial.belief);
    diagnose_readings_free(trial.readings);
    free(trial.numbers);
    amp_close(&trial.amp);
    base_yaml_close(&trial.yaml);
    base_errors_free(trial.yaml.errors);
    base_arena_free(trial.yaml.arena);
    free(text);
}

static void cases(void **state) {
    (void)state;
    glob_t found;
    assert_int_equal(glob(SOURCE_DIR "/tests/diagnose/cases/*.yaml", 0, NULL, &found), 0);
    assert_true(found.gl_pathc >= 10);
    for (size_t i = 0; i < found.gl_pathc; i++)
        try_file(found.gl_pathv[i] + strlen(SOURCE_DIR) + 1);
    globfree(&found);
}

/* Common practice, no source: two 68 kohm grid stoppers change no idle voltage by more than a meter
 * can show. Wren Hollow 5 has them; here they are shorted out. */
static void grid_stoppers(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL);
    double *with = amp_numbers(&amp, -1, NAN), *without = amp_numbers(&amp, -1, NAN);
    for (int k = 0; k < 2; k++) {
        int part = circuit_part_find(amp.circuit, k == 0 ? "R1" : "R2");
        assert_true(part >= 0);
        without[solve_slot_find(amp.system, part, SOLVE_OHMS, 0)] = 1;
    }
    diagnose_readings *a = amp_chart(&amp, with), *b = amp_chart(&amp, without);
    for (size_t i = 0; i < a->count; i++)
        assert_close(a->reading[i].volts, b->reading[i].volts,
                     0.002 + 0.0005 * fabs(a->reading[i].volts));
    /* so they are never blamed for what DC shows: they stay with the healthy amp */
    diagnose_belief *belief = diagnose_run(amp.engine, a, amp.errors);
    int open = amp_fault(&amp, "R1", DIAGNOSE_HIGH);
    assert_int_equal(amp_suspect(belief, open)->group, amp_suspect(belief, 0)->group);
    diagnose_belief_free(belief);
    diagnose_readings_free(a);
    diagnose_readings_free(b);
    free(with);
    free(without);
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(cases), cmocka_unit_test(grid_stoppers)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
