/* Values and codes against the standards: IEC 60063 (preferred number series) and IEC 60062
 * (marking codes). The figures are from memory of the standards, which are also printed in most
 * catalogues of parts. */
#include "base.h"
#include "support.h"

#include <math.h>

/* IEC 60063, two figures each. */
static const int E6[] = {10, 15, 22, 33, 47, 68};
static const int E12[] = {10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82};
static const int E24[] = {10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30,
                          33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91};

/* IEC 60063, three figures each. */
static const int E96[] = {100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137,
                          140, 143, 147, 150, 154, 158, 162, 165, 169, 174, 178, 182, 187, 191,
                          196, 200, 205, 210, 215, 221, 226, 232, 237, 243, 249, 255, 261, 267,
                          274, 280, 287, 294, 301, 309, 316, 324, 332, 340, 348, 357, 365, 374,
                          383, 392, 402, 412, 422, 432, 442, 453, 464, 475, 487, 499, 511, 523,
                          536, 549, 562, 576, 590, 604, 619, 634, 649, 665, 681, 698, 715, 732,
                          750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953, 976};

static bool same(double a, double b) {
    return fabs(a - b) <= 1e-12 * fabs(b);
}

/* In every decade that parts have, each number of the series is its own nearest, and the point
 * where the nearest changes is the geometric mean of neighbours. */
static void check_series(const int *numbers, int series, double unit) {
    for (int decade = -13; decade <= 8; decade++) {
        double scale = unit * pow(10, decade);
        for (int i = 0; i < series; i++) {
            double here = numbers[i] * scale;
            double next = i + 1 < series ? numbers[i + 1] * scale : 10 * numbers[0] * scale;
            double middle = sqrt(here * next);
            if (!same(base_value_nearest(here, series), here) ||
                !same(base_value_nearest(middle * (1 - 1e-6), series), here) ||
                !same(base_value_nearest(middle * (1 + 1e-6), series), next))
                fail_msg("E%d at %g: %g, then %g", series, here, base_value_nearest(here, series),
                         base_value_nearest(middle * (1 + 1e-6), series));
        }
    }
}

static void test_iec_60063(void **state) {
    (void)state;
    check_series(E6, 6, 0.1);
    check_series(E12, 12, 0.1);
    check_series(E24, 24, 0.1);
    check_series(E96, 96, 0.01);
}

static double read_value(const char *text, base_quantity quantity) {
    double value;
    if (base_value_read(text, quantity, (base_place){0}, &value, NULL) != BASE_OK)
        fail_msg("\"%s\" is not read", text);
    return value;
}

/* IEC 60062: the letter stands for the multiplier and for the decimal point. */
static void test_iec_60062_letters(void **state) {
    (void)state;
    static const struct {
        const char *code;
        base_quantity quantity;
        double value;
    } cases[] = {
        {"R47", BASE_OHMS, 0.47},
        {"4R7", BASE_OHMS, 4.7},
        {"47R", BASE_OHMS, 47},
        {"470R", BASE_OHMS, 470},
        {"4K7", BASE_OHMS, 4700},
        {"47K", BASE_OHMS, 47000},
        {"470K", BASE_OHMS, 470e3},
        {"4M7", BASE_OHMS, 4.7e6},
        {"47M", BASE_OHMS, 47e6},
        {"1G0", BASE_OHMS, 1e9},
        {"59R04", BASE_OHMS, 59.04},
        {"590R4", BASE_OHMS, 590.4},
        {"5K904", BASE_OHMS, 5904},
        {"p47", BASE_FARADS, 0.47e-12},
        {"4p7", BASE_FARADS, 4.7e-12},
        {"47p", BASE_FARADS, 47e-12},
        {"n47", BASE_FARADS, 470e-12},
        {"4n7", BASE_FARADS, 4.7e-9},
        {"47n", BASE_FARADS, 47e-9},
        {"u47", BASE_FARADS, 470e-9},
        {"4u7", BASE_FARADS, 4.7e-6},
        {"\u00b547", BASE_FARADS, 470e-9},
        {"4\u00b57", BASE_FARADS, 4.7e-6},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        if (!same(read_value(cases[i].code, cases[i].quantity), cases[i].value))
            fail_msg("\"%s\" was misread", cases[i].code);
}

/* IEC 60062: the tolerance letter. */
static void test_iec_60062_tolerance(void **state) {
    (void)state;
    static const struct {
        const char *letter;
        double percent;
    } cases[] = {{"B", 0.1}, {"C", 0.25}, {"D", 0.5}, {"F", 1}, {"G", 2},
                 {"J", 5},   {"K", 10},   {"M", 20},  {"N", 30}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        assert_true(same(read_value(cases[i].letter, BASE_PERCENT), cases[i].percent / 100));
}

/* Every number of E24 in every decade, written in letter code, is read as itself. */
static void test_series_in_letter_code(void **state) {
    (void)state;
    for (int decade = -2; decade <= 7; decade++) {
        for (int i = 0; i < 24; i++) {
            char ohms[32], farads[32];
            double value = E24[i] * pow(10, decade);
            base_value_write(value, BASE_OHMS, ohms, sizeof ohms);
            base_value_write(value * 1e-12, BASE_FARADS, farads, sizeof farads);
            assert_true(strlen(ohms) <= 4 && strlen(farads) <= 4);
            assert_true(same(read_value(ohms, BASE_OHMS), value));
            assert_true(same(read_value(farads, BASE_FARADS), value * 1e-12));
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_iec_60063),
        cmocka_unit_test(test_iec_60062_letters),
        cmocka_unit_test(test_iec_60062_tolerance),
        cmocka_unit_test(test_series_in_letter_code),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
