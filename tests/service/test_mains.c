/* An amp on another mains: the remedies against Ohm's law, and what they bring back. */
#include "amp.h"

static const service_remedy *remedy(const service_mains *of, const char *name) {
    for (size_t i = 0; i < of->remedies; i++)
        if (strcmp(of->remedy[i].name, name) == 0) return &of->remedy[i];
    fail_msg("no %s", name);
    return NULL;
}

static bool has(const service_mains *of, const char *name) {
    for (size_t i = 0; i < of->remedies; i++)
        if (strcmp(of->remedy[i].name, name) == 0) return true;
    return false;
}

static service_mains *mains_of(amp *amp, const char *name, double now) {
    amp_open(amp, name, NULL, NULL);
    service_mains *mains = service_mains_new(amp->system, now, amp->errors);
    assert_non_null(mains);
    return mains;
}

/* Heaters go with the mains; limits go that hold on the drawn one. */
static void test_high(void **state) {
    (void)state;
    amp amp;
    service_mains *mains = mains_of(&amp, "wren-hollow", 124);
    assert_true(mains->drawn_v == 117 && mains->now_v == 124);
    assert_double_equal(mains->heater_part[1] / mains->heater_part[0], 124.0 / 117, 0.005);
    assert_true(mains->swap->brokens > 0);
    service_mains_free(mains);
    amp_close(&amp);
}

/* The drop is the current in phase times the ohms; the heat goes by the rms current. */
static void test_series_resistor(void **state) {
    (void)state;
    amp amp;
    service_mains *mains = mains_of(&amp, "wren-hollow", 124);
    const service_remedy *one = remedy(mains, "series resistor");
    assert_double_equal(base_value_nearest(one->exact, 12), one->stock, 1e-9);
    assert_double_equal(one->burns_w, one->carries_a * one->carries_a * one->stock, 1e-6);
    assert_true(one->fit_w >= 2 * one->burns_w);
    double drop = 124 - one->primary_v;
    assert_true(drop < one->carries_a * one->stock && drop > 0.8 * one->carries_a * one->stock);
    assert_double_equal(one->primary_v, 117, 1.2);
    /* It drops nothing while the tubes are cold: what the filters meet at power-up stays. */
    assert_non_null(strstr(one->left, "C8 volts with cold tubes"));
    service_mains_free(mains);
    amp_close(&amp);
}

static void test_winding(void **state) {
    (void)state;
    amp amp;
    service_mains *mains = mains_of(&amp, "wren-hollow", 124);
    const service_remedy *one = remedy(mains, "bucking winding");
    assert_double_equal(one->exact, 7, 1e-9);
    assert_double_equal(one->primary_v, 124 - one->stock, 1e-9);
    assert_double_equal(one->heater_part, one->primary_v / 117 * mains->heater_part[0], 0.005);
    service_mains_free(mains);
    amp_close(&amp);
    mains = mains_of(&amp, "wren-hollow", 110);
    assert_double_equal(remedy(mains, "boosting winding")->primary_v, 116.3, 1e-6);
    assert_false(has(mains, "series resistor"));
    service_mains_free(mains);
    amp_close(&amp);
}

/* In the high voltage: the supply of the drawn mains, the heaters untouched. */
static void test_in_the_amp(void **state) {
    (void)state;
    amp amp;
    service_mains *mains = mains_of(&amp, "wren-hollow", 124);
    const service_remedy *one = remedy(mains, "resistor in the high voltage");
    double drawn = NAN;
    for (size_t i = 0; i < mains->swap->nodes; i++)
        if (strcmp(mains->swap->node[i].node, "V3.8") == 0) drawn = mains->swap->node[i].volts[0];
    assert_double_equal(one->supply_v, drawn, 3);
    assert_double_equal(one->heater_part, mains->heater_part[1], 1e-6);
    one = remedy(mains, "resistor in the heaters");
    assert_double_equal(one->carries_a * one->exact, 5 * (124.0 / 117 - 1), 0.01); /* 5 V first */
    service_mains_free(mains);
    amp_close(&amp);
}

static void test_others(void **state) {
    (void)state;
    amp amp;
    service_mains *mains = mains_of(&amp, "wren-hollow", 117);
    assert_int_equal(mains->remedies, 0);
    service_mains_free(mains);
    amp_close(&amp);
    mains = mains_of(&amp, "wren-hollow", 230);
    assert_int_equal(mains->remedies, 1);
    assert_true(remedy(mains, "step-down transformer")->stock >= 2 * 117 * 0.37);
    service_mains_free(mains);
    amp_close(&amp);
    mains = mains_of(&amp, "porchlight", 125);
    assert_true(has(mains, "series resistor") && has(mains, "bucking winding"));
    assert_false(has(mains, "resistor in the heaters"));
    service_mains_free(mains);
    amp_close(&amp);
    amp_open(&amp, "wren-hollow", NULL, NULL);
    assert_null(service_mains_new(amp.system, -1, amp.errors));
    assert_int_equal(base_errors_worst(amp.errors), BASE_UNSOLVED);
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_high), cmocka_unit_test(test_series_resistor),
        cmocka_unit_test(test_winding), cmocka_unit_test(test_in_the_amp),
        cmocka_unit_test(test_others)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
