/* A value for a target: found, checked by solving the amp with it; and what cannot be reached. */
#include "changed.h"

static service_value *value_of(amp *amp, const char *part, const char *target) {
    service_value *value = service_value_new(amp->system, NAN, part, target, amp->errors);
    if (!value) fail_msg("%s for %s: %s", part, target, base_errors_at(amp->errors, 0)->cause);
    return value;
}

/* The same amp drawn with that value gives what was promised. */
static double plate_watts(const char *change, const char *tube, double mains) {
    changed it;
    changed_open(&it, "wren-hollow", (const char *[]){change, NULL});
    service_chart *chart = service_chart_new(it.system, it.amp.priors, mains, NULL, it.amp.errors);
    double watts = NAN;
    for (size_t i = 0; i < chart->tubes; i++)
        if (strcmp(chart->tube[i].tube, tube) == 0) watts = chart->tube[i].plate_w;
    service_chart_free(chart);
    changed_close(&it);
    return watts;
}

/* Common practice, no source: a single 6V6GT that burns 32 % over its rating on 470 ohm is put
 * right with 1 kohm. The mains is raised until this one burns that much. */
static void test_single_6v6(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    double mains = 120;
    while (plate_watts("R12=470", "V2", mains) < 1.32 * 14)
        mains += 0.5;
    assert_true(mains < 130);
    service_value *value =
        service_value_new(amp.system, mains, "R12", "V2 dissipation 90%", amp.errors);
    assert_non_null(value);
    assert_double_equal(value->now.reached / 14, 1.32, 0.02);
    assert_true(value->found);
    assert_double_equal(value->exact.reached, 0.9 * 14, 0.01);
    assert_true(value->stock[0].value <= value->exact.value);
    assert_double_equal(value->stock[1].value, 1e3, 1e-6);
    assert_true(value->stock[1].reached < 0.9 * 14);
    assert_double_equal(value->stock[1].reached, plate_watts("R12=1k", "V2", mains), 0.1);
    assert_non_null(strstr(value->stock[1].mends, "V2 plate dissipation"));
    assert_string_equal(value->stock[1].breaks, "");
    assert_true(value->stock[1].fit_w >= 2 * value->stock[1].watts);
    assert_double_equal(value->stock[1].watts,
                        value->stock[1].across_v * value->stock[1].across_v / 1e3, 0.01);
    service_value_free(value);
    amp_close(&amp);
}

static void test_targets(void **state) {
    static const struct {
        const char *part, *target;
        double reached;
    } rows[] = {{"R16", "B2 at 340V", 340},
                {"R12", "for V2 current 30 mA", 0.03},
                {"R12", "V2 dissipation 11W", 11},
                {"R12", "V2 screen dissipation 1W", 1},
                {"R4", "V1 unit 2 current 1mA", 1e-3},
                {"R12", "V2.8 at 30 V", 30},
                {"R17", "B2-B3 at 40V", 40}};
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        service_value *value = value_of(&amp, rows[i].part, rows[i].target);
        assert_true(value->found);
        assert_double_equal(value->exact.reached, rows[i].reached, 1e-3 * rows[i].reached);
        assert_true(value->stock[0].value <= value->exact.value * 1.005);
        assert_true(value->stock[1].value >= value->exact.value * 0.995);
        double low = value->stock[0].value, high = value->stock[1].value;
        assert_double_equal(base_value_nearest(low, 12), low, 1e-6 * low);
        assert_double_equal(base_value_nearest(high, 12), high, 1e-6 * high);
        assert_true(high / low < 1.23);
        service_value_free(value);
    }
    amp_close(&amp);
}

static void test_tremolo(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "tidemark", NULL, NULL);
    service_value *value = value_of(&amp, "C13", "tremolo at 5/s");
    assert_true(value->found);
    assert_double_equal(value->exact.reached, 5, 0.02);
    assert_double_equal(base_value_nearest(value->stock[0].value, 6), value->stock[0].value, 1e-14);
    assert_true(value->stock[0].reached > 5 && value->stock[1].reached < 5);
    service_value_free(value);
    amp_close(&amp);
}

/* Out of reach: the nearest, and why. */
static void test_out_of_reach(void **state) {
    static const struct {
        const char *part, *target, *words;
    } rows[] = {{"R16", "B2 at 500V", "the rest of the circuit sets it"},
                {"R1", "V2 dissipation 85%", "R1 has no say in it"},
                {"C7", "V2 current 30mA", "C7 has no say in it"}};
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        service_value *value = value_of(&amp, rows[i].part, rows[i].target);
        assert_false(value->found);
        if (!strstr(value->limit, rows[i].words)) fail_msg("%s", value->limit);
        assert_true(value->least <= value->exact.reached && value->exact.reached <= value->most);
        service_value_free(value);
    }
    amp_close(&amp);
}

static void test_refused(void **state) {
    static const struct {
        const char *part, *target;
        base_code code;
        const char *words;
    } rows[] = {{"R99", "V2 dissipation 85%", BASE_UNKNOWN, "no part \"R99\""},
                {"V1", "V2 dissipation 85%", BASE_VALUE, "whose value is not chosen"},
                {"R12", "V9 dissipation 85%", BASE_UNKNOWN, "no tube \"V9\""},
                {"R12", "V3 dissipation 85%", BASE_UNKNOWN, "no such unit"},
                {"R12", "V1 unit 3 current 1mA", BASE_UNKNOWN, "no such unit"},
                {"R12", "V1 screen dissipation 50%", BASE_VALUE, "no screen"},
                {"R12", "B9 at 30V", BASE_UNKNOWN, "B9"},
                {"R12", "B2 at 30 ohm", BASE_VALUE, "volts"},
                {"R12", "tremolo at 99/s", BASE_VALUE, "no tremolo swings"},
                {"R12", "tremolo at 5/s", BASE_UNSOLVED, "cannot be told"},
                {"R12", "make it louder", BASE_SYNTAX, "is no target"},
                {"R12", "", BASE_SYNTAX, "is no target"}};
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        base_errors *errors = base_errors_new();
        assert_null(service_value_new(amp.system, NAN, rows[i].part, rows[i].target, errors));
        if (base_errors_worst(errors) != rows[i].code ||
            !strstr(base_errors_at(errors, 0)->cause, rows[i].words))
            fail_msg("%s: %s", rows[i].target, base_errors_at(errors, 0)->cause);
        base_errors_free(errors);
    }
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_single_6v6), cmocka_unit_test(test_targets),
        cmocka_unit_test(test_tremolo), cmocka_unit_test(test_out_of_reach),
        cmocka_unit_test(test_refused)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
