/* Every allocation of a chart made to fail in turn: no chart and a complaint, or a whole chart. */
#include "amp.h"

#include "../oom.h"

static amp on_bench;

static void make_chart(bool failing) {
    static const diagnose_meter meter = {.ohms = 10e6, .ohms_per_volt = NAN, .range = NAN};
    base_errors *errors = base_errors_new();
    service_chart *chart = service_chart_new(on_bench.system, on_bench.priors, NAN, &meter, errors);
    if (!failing) assert_non_null(chart);
    if (!chart && errors) assert_int_equal(base_errors_worst(errors), BASE_MEMORY);
    service_chart_free(chart);
    base_errors_free(errors);
}

static void test_chart(void **state) {
    (void)state;
    amp_open(&on_bench, "wren-hollow", NULL, NULL);
    assert_true(oom_each(make_chart) > 5);
    amp_close(&on_bench);
}

static void make_check(bool failing) {
    base_errors *errors = base_errors_new();
    service_suspicious(on_bench.system, errors);
    if (!failing) assert_int_equal(base_errors_worst(errors), BASE_OK);
    base_errors_free(errors);
}

static void test_check(void **state) {
    (void)state;
    amp_open(&on_bench, "wren-hollow", NULL, NULL);
    assert_true(oom_each(make_check) > 5);
    amp_close(&on_bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_chart), cmocka_unit_test(test_check)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
