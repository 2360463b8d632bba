/* Nearest preferred values and nearest names. (The series against IEC 60063: tests/outside.) */
#include "base.h"
#include "support.h"

#include <math.h>

static void test_values(void **state) {
    (void)state;
    static const struct {
        double value, nearest;
        int series;
    } cases[] = {
        {4800, 4700, 12},     {4800, 4700, 24},       {5000, 5100, 24},      {470, 470, 6},
        {22.1e-9, 22e-9, 12}, {9.5e-12, 9.1e-12, 24}, {9.6e-12, 10e-12, 24}, {9.6, 10, 12},
        {0.99, 1, 6},         {499, 499, 96},         {1e6, 1e6, 96},        {1e-300, 1e-300, 12},
        {1.21e5, 1.2e5, 24},  {1.21e5, 1.21e5, 96},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double nearest = base_value_nearest(cases[i].value, cases[i].series);
        if (fabs(nearest - cases[i].nearest) > 1e-14 * nearest)
            fail_msg("%g in E%d: %.17g", cases[i].value, cases[i].series, nearest);
    }
    assert_true(base_value_nearest(22.1e-9, 12) == 22e-9); /* the very double that "22n" gives */
}

static void test_no_value(void **state) {
    (void)state;
    assert_true(isnan(base_value_nearest(0, 12)));
    assert_true(isnan(base_value_nearest(-5, 12)));
    assert_true(isnan(base_value_nearest(NAN, 12)));
    assert_true(isnan(base_value_nearest(INFINITY, 12)));
    assert_true(isnan(base_value_nearest(100, 48)));
}

static void test_names(void **state) {
    (void)state;
    static const char *const names[] = {"tubes", "resistors", "capacitors", "does", "12AX7", "at"};
    static const struct {
        const char *text, *meant;
    } cases[] = {
        {"tube", "tubes"},
        {"resistor", "resistors"},
        {"capaciters", "capacitors"},
        {"dose", "does"},
        {"12ax7", "12AX7"},
        {"12AX8", "12AX7"},
        {"AT", "at"},
        {"ta", NULL},
        {"transformers", NULL},
        {"", NULL},
        {"RESISTROS", "resistors"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const char *meant = base_nearest_name(cases[i].text, names, 6);
        if (!meant != !cases[i].meant || (meant && strcmp(meant, cases[i].meant) != 0))
            fail_msg("\"%s\": %s", cases[i].text, meant ? meant : "none");
    }
}

static void test_overlong_names(void **state) {
    (void)state;
    char text[65], name[65];
    memset(text, 'a', 64);
    memset(name, 'a', 64);
    text[64] = name[64] = 0;
    const char *const names[] = {name};
    assert_null(base_nearest_name(text, names, 1));
    text[63] = name[63] = 0;
    assert_ptr_equal(base_nearest_name(text, names, 1), name);
    assert_null(base_nearest_name("a", names, 0));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_values),
        cmocka_unit_test(test_no_value),
        cmocka_unit_test(test_names),
        cmocka_unit_test(test_overlong_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
