/* Every amp of the library, and the example of docs/amp-file.md, is read with the library's tubes.
 */
#include "circuit.h"
#include "support.h"

#include <dirent.h>

static int is_yaml(const struct dirent *entry) {
    size_t length = strlen(entry->d_name);
    return length > 5 && strcmp(entry->d_name + length - 5, ".yaml") == 0;
}

/* Calls `what` with each file of a folder; returns how many. */
static int each_file(const char *folder, void (*what)(const char *file, void *state), void *state) {
    struct dirent **entries;
    char path[512];
    snprintf(path, sizeof path, SOURCE_DIR "/%s", folder);
    int count = scandir(path, &entries, is_yaml, alphasort);
    for (int i = 0; i < count; i++) {
        snprintf(path, sizeof path, "%s/%s", folder, entries[i]->d_name);
        what(path, state);
        free(entries[i]);
    }
    if (count >= 0) free(entries);
    return count;
}

static void add_tube(const char *file, void *library) {
    base_errors *errors = base_errors_new();
    size_t length;
    char *text = support_file(file, &length);
    assert_int_equal(tube_library_add(library, file, text, length, errors), BASE_OK);
    free(text);
    base_errors_free(errors);
}

static bool read_text(const char *file, const char *text, size_t length, const tube_library *tubes,
                      size_t parts_least) {
    base_errors *errors = base_errors_new();
    circuit *amp = circuit_read(file, text, length, tubes, errors);
    if (amp) circuit_check(amp, errors);
    bool good = amp && circuit_parts(amp) >= parts_least && circuit_parts(amp) <= 250;
    for (size_t i = 0; i < base_errors_count(errors); i++) {
        const base_error *error = base_errors_at(errors, i);
        if (error->code == BASE_SUSPICIOUS) continue;
        printf("%s:%d:%d: %s; %s\n", file, error->line, error->column, error->cause, error->remedy);
        good = false;
    }
    circuit_free(amp);
    base_errors_free(errors);
    return good;
}

static void read_amp(const char *file, void *library) {
    size_t length;
    char *text = support_file(file, &length);
    assert_true(read_text(file, text, length, library, 40));
    free(text);
}

static void test_amps(void **state) {
    assert_true(each_file("data/amps", read_amp, *state) >= 6);
}

static void test_example(void **state) {
    static const char opens[] = "```yaml\n";
    char *text = support_file("docs/amp-file.md", NULL), *start = strstr(text, opens);
    assert_non_null(start);
    start += strlen(opens);
    char *end = strstr(start, "```");
    assert_non_null(end);
    assert_true(read_text("docs/amp-file.md", start, (size_t)(end - start), *state, 20));
    free(text);
}

static int tubes_read(void **state) {
    *state = tube_library_new();
    assert_non_null(*state);
    return each_file("data/tubes", add_tube, *state) >= 35 ? 0 : -1;
}

static int tubes_free(void **state) {
    tube_library_free(*state);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_amps),
        cmocka_unit_test(test_example),
    };
    return cmocka_run_group_tests(tests, tubes_read, tubes_free);
}
