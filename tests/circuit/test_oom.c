/* Every allocation of ours made to fail in turn while an amp is read, checked and asked: it is
 * refused or whole, it says so, nothing crashes and nothing leaks. */
#include "circuit.h"
#include "oom.h"
#include "support.h"
#include "tubes.h"

static const char *file_text;
static size_t file_length;
static const tube_library *library;

static bool memory_failed(const base_errors *errors) {
    if (!errors) return true;
    for (size_t i = 0; i < base_errors_count(errors); i++)
        if (base_errors_at(errors, i)->code == BASE_MEMORY) return true;
    return false;
}

static void read_it(bool failing) {
    base_errors *errors = base_errors_new();
    circuit *amp = circuit_read("oom.yaml", file_text, file_length, library, errors);
    assert_true(failing || amp);
    if (amp) {
        assert_int_equal(circuit_parts(amp), 34);
        circuit_check(amp, errors);
    } else {
        assert_true(memory_failed(errors));
    }
    circuit_free(amp);
    base_errors_free(errors);
}

static void refuse_it(bool failing) {
    base_errors *errors = base_errors_new();
    assert_null(circuit_read("oom.yaml", file_text, file_length, library, errors));
    assert_true(failing || base_errors_count(errors) > 10);
    base_errors_free(errors);
}

static void each_of(const char *file, void (*what)(bool failing)) {
    base_errors *errors = base_errors_new();
    tube_library *tubes = test_tubes_new(errors);
    char *text = support_file(file, &file_length);
    file_text = text;
    library = tubes;
    assert_true(oom_each(what) > 2);
    free(text);
    tube_library_free(tubes);
    base_errors_free(errors);
}

static void test_read(void **state) {
    (void)state;
    each_of("tests/circuit/cases/read_single_ended.yaml", read_it);
}

static void test_refuse(void **state) {
    (void)state;
    each_of("tests/circuit/cases/refuse_ends.yaml", refuse_it);
    each_of("tests/circuit/cases/refuse_unknown_keys.yaml", refuse_it);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_read), cmocka_unit_test(test_refuse)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
