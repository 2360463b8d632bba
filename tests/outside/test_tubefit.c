/* The committed curves are what tools/tubefit makes of the committed figures, whoever runs it. */
#include "tube/types.h"

#include <math.h>
#include <unistd.h>

static const tube_type *refitted(tube_library *library, const char *folder, const char *name) {
    char path[300];
    base_errors *errors = base_errors_new();
    snprintf(path, sizeof path, "%s/%s.yaml", folder, name);
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    char *text = calloc(1, 1 << 18);
    size_t length = fread(text, 1, (1 << 18) - 1, file);
    fclose(file);
    remove(path);
    assert_int_equal(tube_library_add(library, path, text, length, errors), BASE_OK);
    free(text);
    base_errors_free(errors);
    return tube_find(library, name);
}

/* Every number of two curves, to 1e-3. */
static void same_curve(const tube_curve *a, const tube_curve *b) {
    const double *x = (const double *)a, *y = (const double *)b;
    for (size_t i = 0; i < sizeof *a / sizeof *x; i++)
        assert_true(fabs(x[i] - y[i]) <= 1e-3 * fabs(y[i]));
}

static void fitted_again(void **state) {
    char folder[] = "/tmp/tubefit-XXXXXX", command[1000];
    assert_non_null(mkdtemp(folder));
    snprintf(command, sizeof command, "'%s' '%s/data/figures' '%s' > /dev/null", TUBEFIT,
             SOURCE_DIR, folder);
    assert_int_equal(system(command), 0);
    tube_library *again = tube_library_new();
    for (size_t t = 0; t < tube_library_count(*state); t++) {
        const tube_type *committed = tube_library_at(*state, t);
        const tube_type *made = refitted(again, folder, committed->name);
        assert_int_equal(made->units, committed->units);
        for (int u = 0; u < made->units; u++)
            same_curve(&made->unit[u].curve, &committed->unit[u].curve);
    }
    assert_int_equal(rmdir(folder), 0); /* it wrote no other file */
    tube_library_free(again);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(fitted_again)};
    return cmocka_run_group_tests(tests, types_set_up, types_tear_down);
}
