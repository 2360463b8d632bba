/* A reading beside the band. */
#include "amp.h"

static void test_verdict(void **state) {
    static const struct {
        double low, high, volts;
        int verdict;
    } rows[] = {{205, 233, 219, 0},     {205, 233, 205, 0},   {205, 233, 204.1, 0},
                {205, 233, 203.5, -1},  {205, 233, 234.1, 0}, {205, 233, 235, 1},
                {0, 0, 0.02, 0},        {0, 0, -0.03, 0},     {0, 0, 9.5, 1},
                {0, 0, -0.5, -1},       {-45, -38, -41, 0},   {-45, -38, -45.1, 0},
                {-45, -38, -52, -1},    {-45, -38, -30, 1},   {1.58, 1.87, 1.53, -1},
                {1.58, 1.87, 1.40, -1}, {205, 233, NAN, 2},   {205, 233, INFINITY, 2},
                {NAN, NAN, 1, 2},       {1.58, 1.87, 1.56, 0}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        service_line line = {.low = rows[i].low, .high = rows[i].high};
        assert_int_equal(service_verdict(&line, rows[i].volts), rows[i].verdict);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_verdict)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
