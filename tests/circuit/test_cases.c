/* Cases as data: cases/X.yaml is read and checked, cases/X.txt says word for word what comes of it:
 * `refused` or `read: PARTS parts, NODES nodes`, then each complaint. */
#include "circuit.h"
#include "support.h"
#include "tubes.h"

#include <dirent.h>

#define FOLDER "tests/circuit/cases"

static void outcome_of(const circuit *amp, const base_errors *errors, base_text *text) {
    if (amp)
        base_text_add(text, "read: %zu parts, %zu nodes\n", circuit_parts(amp), circuit_nodes(amp));
    else
        base_text_add(text, "refused\n");
    for (size_t i = 0; i < base_errors_count(errors); i++) {
        const base_error *error = base_errors_at(errors, i);
        base_text_add(text, "%d:%d: %s: %s; %s\n", error->line, error->column,
                      base_code_of(error->code)->name, error->cause, error->remedy);
    }
}

/* A list's first line may be a comment in the .yaml; the .txt has none. */
static bool case_holds(const tube_library *tubes, const char *stem) {
    char name[300];
    base_errors *errors = base_errors_new();
    base_text got;
    size_t length;
    base_text_init(&got, 1 << 20);
    snprintf(name, sizeof name, FOLDER "/%s.yaml", stem);
    char *file = support_file(name, &length);
    circuit *amp = circuit_read(name, file, length, tubes, errors);
    if (amp) circuit_check(amp, errors);
    outcome_of(amp, errors, &got);
    snprintf(name, sizeof name, FOLDER "/%s.txt", stem);
    char *want = support_file(name, NULL);
    bool holds = strcmp(want, got.data) == 0;
    if (!holds) printf("---- %s: wanted\n%s---- got\n%s", stem, want, got.data);
    free(want);
    free(file);
    base_text_free(&got);
    circuit_free(amp);
    base_errors_free(errors);
    return holds;
}

static int is_case(const struct dirent *entry) {
    return strstr(entry->d_name, ".yaml") != NULL;
}

static void test_cases(void **state) {
    (void)state;
    base_errors *errors = base_errors_new();
    tube_library *tubes = test_tubes_new(errors);
    assert_int_equal(base_errors_count(errors), 0);
    struct dirent **entries;
    int files = scandir(SOURCE_DIR "/" FOLDER, &entries, is_case, alphasort), failed = 0;
    assert_true(files >= 25);
    for (int i = 0; i < files; i++) {
        *strstr(entries[i]->d_name, ".yaml") = 0;
        failed += !case_holds(tubes, entries[i]->d_name);
        free(entries[i]);
    }
    free(entries);
    tube_library_free(tubes);
    base_errors_free(errors);
    assert_int_equal(failed, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_cases)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
