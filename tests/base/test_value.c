/* Values: the table of cases in values.txt, and that what is written is read again. */
#include "base.h"
#include "support.h"

#include <math.h>

static const char *const QUANTITIES[BASE_QUANTITIES] = {
    "ohms", "farads", "henries", "volts", "amperes", "watts", "hertz", "percent", "number"};

static base_quantity quantity_named(const char *name) {
    for (int q = 0; q < BASE_QUANTITIES; q++)
        if (strcmp(QUANTITIES[q], name) == 0) return (base_quantity)q;
    fail_msg("no quantity is named %s", name);
    return BASE_QUANTITIES;
}

static double read_again(const char *text, base_quantity quantity) {
    double value;
    if (base_value_read(text, quantity, (base_place){0}, &value, NULL) != BASE_OK)
        fail_msg("cannot read what was written: \"%s\" as %s", text, QUANTITIES[quantity]);
    return value;
}

static void check_accepted(base_quantity quantity, const char *text, const char *expected,
                           const char *written) {
    char out[32];
    base_errors *errors = base_errors_new();
    double value, wanted = strtod(expected, NULL);
    if (base_value_read(text, quantity, (base_place){0}, &value, errors) != BASE_OK)
        fail_msg("\"%s\": %s", text, base_errors_at(errors, 0)->cause);
    assert_int_equal(base_errors_count(errors), 0);
    if (fabs(value - wanted) > 1e-15 * fabs(wanted)) fail_msg("\"%s\" was read as %g", text, value);
    assert_string_equal(base_value_write(value, quantity, out, sizeof out), written);
    base_errors_free(errors);
}

static void check_refused(base_quantity quantity, const char *text, const char *complaint) {
    char said[2048];
    base_errors *errors = base_errors_new();
    base_place place = {"amp.yaml", 3, 7};
    double value;
    base_code code = base_value_read(text, quantity, place, &value, errors);
    if (code == BASE_OK) fail_msg("\"%s\" was accepted as %g", text, value);
    assert_true(isnan(value));
    assert_int_equal(base_errors_count(errors), 1);
    const base_error *error = base_errors_at(errors, 0);
    snprintf(said, sizeof said, "%s | %s", error->cause, error->remedy);
    assert_string_equal(said, complaint);
    assert_int_equal(error->code, code);
    assert_string_equal(error->file, "amp.yaml");
    assert_true(error->line == 3 && error->column == 7);
    base_errors_free(errors);
}

static void check_line(char *line) {
    char *rest = line, *column[4] = {0};
    for (int i = 0; i < 4; i++)
        column[i] = strsep(&rest, "\t");
    assert_non_null(column[2]);
    base_quantity quantity = quantity_named(column[0]);
    if (strncmp(column[2], "! ", 2) == 0) {
        check_refused(quantity, column[1], column[2] + 2);
    } else {
        assert_non_null(column[3]);
        check_accepted(quantity, column[1], column[2], column[3]);
    }
}

static void test_table(void **state) {
    (void)state;
    char *text = support_file("tests/base/values.txt", NULL), *rest = text, *line;
    int cases = 0;
    while ((line = strsep(&rest, "\n"))) {
        if (!line[0] || line[0] == '#') continue;
        check_line(line);
        cases++;
    }
    assert_true(cases > 100);
    free(text);
}

/* A million-fold range about what parts are, at random digits: read(write(x)) = x within 1e-12, and
 * values of a few digits give the same text again. */
static void test_written_is_read(void **state) {
    (void)state;
    static const double largest[] = {1e8, 1e-2, 1e2, 1e4, 1e1, 1e3, 1e7, 1, 1e6};
    base_random random;
    base_random_seed(&random, 1);
    for (int i = 0; i < 60000; i++) {
        base_quantity quantity = (base_quantity)(i % BASE_QUANTITIES);
        double value = largest[quantity] * pow(10, -12 * base_random_unit(&random));
        if (i % 2) value = base_value_round(value, 1 + i % 5);
        char text[32], again[32];
        base_value_write(value, quantity, text, sizeof text);
        double back = read_again(text, quantity);
        if (fabs(back - value) > 1e-12 * value) fail_msg("%.17g became %s", value, text);
        base_value_write(back, quantity, again, sizeof again);
        if (i % 2) assert_string_equal(again, text);
    }
}

/* Every power of ten that a double has, and both signs where a sign makes sense. */
static void test_far_ends(void **state) {
    (void)state;
    for (int q = 0; q < BASE_QUANTITIES; q++) {
        for (int power = -300; power <= 300; power++) {
            char text[32];
            double value = 1.2345678901234567 * pow(10, power);
            if (q == BASE_VOLTS && power % 2) value = -value;
            base_value_write(value, (base_quantity)q, text, sizeof text);
            assert_true(strlen(text) < 31);
            assert_true(fabs(read_again(text, (base_quantity)q) - value) <= 1e-12 * fabs(value));
        }
    }
}

static void test_not_finite(void **state) {
    (void)state;
    char text[32];
    assert_string_equal(base_value_write(NAN, BASE_VOLTS, text, sizeof text), "unknown");
    assert_string_equal(base_value_write(-INFINITY, BASE_OHMS, text, sizeof text), "unknown");
    assert_true(isnan(base_value_round(NAN, 3)));
}

static void test_round(void **state) {
    (void)state;
    assert_true(base_value_round(362.1837, 4) == 362.2);
    assert_true(base_value_round(-0.00123456, 3) == -0.00123);
    assert_true(base_value_round(99.96, 3) == 100.0);
    assert_true(base_value_round(0, 3) == 0);
    assert_true(base_value_round(7.7, 0) == 8);
}

/* Wherever the text is cut, it is a value or a complaint; nothing is read past its end. */
static void test_every_beginning(void **state) {
    (void)state;
    static const char whole[] = "-1.25e-3 \u00b5\u03a9 megohms, 4k7 / %";
    for (size_t length = 0; length < sizeof whole; length++) {
        char *text = calloc(length + 1, 1);
        assert_non_null(text);
        memcpy(text, whole, length);
        for (int q = 0; q < BASE_QUANTITIES; q++) {
            double value;
            base_code code = base_value_read(text, (base_quantity)q, (base_place){0}, &value, NULL);
            assert_true((code == BASE_OK) == !isnan(value));
        }
        free(text);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_table),    cmocka_unit_test(test_written_is_read),
        cmocka_unit_test(test_far_ends), cmocka_unit_test(test_not_finite),
        cmocka_unit_test(test_round),    cmocka_unit_test(test_every_beginning),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
