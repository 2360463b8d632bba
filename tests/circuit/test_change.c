/* Changes as the bench writes them: what they make of an amp's text, and which are refused. */
#include "../support.h"

#include "circuit.h"

#include <glob.h>
#include <math.h>

static tube_library *library;
static circuit *amp;
static char *text;

static tube_library *every_type(base_errors *errors) {
    tube_library *tubes = tube_library_new();
    glob_t found;
    assert_int_equal(glob(SOURCE_DIR "/data/tubes/*.yaml", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++) {
        size_t length;
        char *type = support_file(found.gl_pathv[i] + strlen(SOURCE_DIR) + 1, &length);
        assert_int_equal(tube_library_add(tubes, found.gl_pathv[i], type, length, errors), BASE_OK);
        free(type);
    }
    globfree(&found);
    return tubes;
}

static int set_up(void **state) {
    (void)state;
    base_errors *errors = base_errors_new();
    library = every_type(errors);
    text = support_file("data/amps/wren-hollow.yaml", NULL);
    amp = circuit_read("wren-hollow", text, strlen(text), library, errors);
    assert_non_null(amp);
    base_errors_free(errors);
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    circuit_free(amp);
    tube_library_free(library);
    free(text);
    return 0;
}

static circuit *changed(const char *change, const char *other) {
    const char *changes[] = {change, other, NULL};
    base_errors *errors = base_errors_new();
    char *made = circuit_change_text(amp, text, library, changes, errors);
    if (!made) fail_msg("%s: %s", change, base_errors_at(errors, 0)->cause);
    circuit *after = circuit_read("changed", made, strlen(made), library, errors);
    assert_non_null(after);
    free(made);
    base_errors_free(errors);
    return after;
}

static const circuit_part *part(const circuit *of, const char *name) {
    int index = circuit_part_find(of, name);
    assert_true(index >= 0);
    return circuit_part_at(of, (size_t)index);
}

static void test_values(void **state) {
    (void)state;
    circuit *after = changed("r12 = 1k, 10W, 5%", "C8=22u,500V,film");
    assert_true(part(after, "R12")->value == 1e3 && part(after, "R12")->watts == 10);
    assert_true(fabs(part(after, "R12")->tolerance - 0.05) < 1e-12);
    assert_true(fabs(part(after, "C8")->value - 22e-6) < 1e-12);
    assert_true(part(after, "C8")->volts == 500);
    assert_int_equal(part(after, "C8")->material, CIRCUIT_PLASTIC_FILM);
    circuit_free(after);
    after = changed("C8=525V", "R16=wirewound"); /* the rating, the kind alone */
    assert_true(part(after, "C8")->volts == 525 && fabs(part(after, "C8")->value - 16e-6) < 1e-12);
    assert_int_equal(part(after, "R16")->material, CIRCUIT_WIREWOUND);
    circuit_free(after);
}

static void test_others(void **state) {
    (void)state;
    circuit *after = changed("S1=open", "P1=position:7");
    assert_true(part(after, "S1")->position == 0 && part(after, "P1")->position == 7);
    circuit_free(after);
    after = changed("V1=12AY7", "F1=0.63,fast");
    assert_string_equal(part(after, "V1")->tube->name, "12AY7");
    assert_true(part(after, "F1")->value == 0.63);
    assert_int_equal(part(after, "F1")->material, CIRCUIT_QUICK);
    circuit_free(after);
    after = changed("T1 high voltage=300-0-300", "V3=silicon");
    assert_true(part(after, "T1 high voltage")->winding.volts[1] == 300);
    assert_int_equal(part(after, "main")->rectifier.tube, -1);
    assert_int_equal(part(after, "main")->material, CIRCUIT_SILICON);
    circuit_free(after);
    after = changed("V3=5AR4", "V2=6L6GC"); /* other types, the same pins in use */
    assert_string_equal(part(after, "V3")->tube->name, "5AR4");
    circuit_free(after);
}

static void test_refused(void **state) {
    static const struct {
        const char *change;
        base_code code;
        const char *words;
    } rows[] = {
        {"R99=1k", BASE_UNKNOWN, "no part \"R99\""},
        {"R12", BASE_SYNTAX, "is no change"},
        {"R12=", BASE_SYNTAX, "is no change"},
        {"R12=1k,,5W", BASE_SYNTAX, "between two commas"},
        {"R12=22u", BASE_SYNTAX, "ohms"},
        {"R12=-5", BASE_VALUE, ""},
        {"C8=20", BASE_VALUE, "two ways"},
        {"V2=EL34", BASE_VALUE, "pin 1 is not used in a 6V6GT and suppressor"},
        {"V1=6SL7GT", BASE_VALUE, "its base is octal 8, and the socket is noval 9"},
        {"V2=6V7", BASE_UNKNOWN, "no type \"6V7\""},
        {"V1=silicon", BASE_VALUE, "is no rectifier"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const char *changes[] = {rows[i].change, NULL};
        base_errors *errors = base_errors_new();
        assert_null(circuit_change_text(amp, text, library, changes, errors));
        assert_int_equal(base_errors_count(errors), 1);
        const base_error *error = base_errors_at(errors, 0);
        if (!strstr(error->cause, rows[i].words) || !*error->remedy)
            fail_msg("%s: %s; %s", rows[i].change, error->cause, error->remedy);
        assert_int_not_equal(base_errors_worst(errors), BASE_OK);
        base_errors_free(errors);
    }
}

/* What the value is of is for the file's own checks: the text is made, and does not read. */
static void test_does_not_read(void **state) {
    const char *changes[] = {"R12=1u,5W", "P1=position:12", NULL};
    base_errors *errors = base_errors_new();
    (void)state;
    assert_null(circuit_change_text(amp, text, library, changes, errors));
    char *made = circuit_change_text(amp, text, library, changes + 1, errors);
    assert_non_null(made);
    assert_null(circuit_read("changed", made, strlen(made), library, errors));
    free(made);
    base_errors_free(errors);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_values), cmocka_unit_test(test_others),
                                       cmocka_unit_test(test_refused),
                                       cmocka_unit_test(test_does_not_read)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
