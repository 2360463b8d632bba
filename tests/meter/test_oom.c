/* Every allocation of the room made to fail in turn: a complaint each time, nothing crashes or
 * leaks. */
#include "meter.h"
#include "oom.h"
#include "support.h"

static const char profile[] = "meter: mine\nserial: {baud: 19200, frame: 7E2}\n"
                              "commands: {end: CR, start: [\"*CLS\", \"CONF:VOLT:DC\"]}\n";

static void profiles(bool failing) {
    base_errors *errors = base_errors_new();
    meter_profiles *profiles = meter_profiles_new();
    base_code code = BASE_MEMORY;
    if (errors && profiles)
        code = meter_profiles_add(profiles, "m.yaml", profile, sizeof profile - 1, errors);
    assert_int_equal(code != BASE_OK, failing);
    if (errors && profiles && failing) assert_true(base_errors_count(errors) > 0);
    meter_profiles_free(profiles);
    base_errors_free(errors);
}

static void simulated(bool failing) {
    base_errors *errors = base_errors_new();
    meter_sim_options options = {.seed = 1, .range_v = 1000, .rate = 10};
    meter_sim *sim = errors ? meter_sim_new(&options, errors) : NULL;
    assert_int_equal(sim == NULL, failing);
    if (errors && failing) assert_int_equal(base_errors_worst(errors), BASE_MEMORY);
    meter_sim_free(sim);
    base_errors_free(errors);
}

static void each_allocation(void **state) {
    (void)state;
    assert_true(oom_each(profiles) > 3);
    assert_true(oom_each(simulated) >= 2);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(each_allocation)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
