/* Output: power, class and clipping; another speaker and another supply; what is refused. */
#include "amp.h"

static service_output *given(amp *amp, const char *name, const service_output_asked *asked) {
    amp_open(amp, name, NULL, NULL);
    service_output *output = service_output_new(amp->system, asked, amp->errors);
    if (!output) print_message("%s\n", base_errors_at(amp->errors, 0)->cause);
    assert_non_null(output);
    return output;
}

static const service_output_asked plain = {NAN, NAN, NAN};

static void test_push_pull(void **state) {
    (void)state;
    amp amp;
    service_output *output = given(&amp, "millrace", &plain);
    assert_true(output->push_pull);
    assert_string_equal(output->class_name, "AB");
    assert_int_equal(output->tubes, 2);
    assert_true(output->watts > 30 && output->watts < 50);
    assert_true(output->supply_v < output->idle_supply_v - 10);
    assert_true(isnan(output->rated_watts));
    for (int i = 1; i < SERVICE_LEVELS; i++)
        assert_true(output->level[i].watts > output->level[i - 1].watts);
    assert_double_equal(output->level[SERVICE_LEVELS - 1].watts, output->watts, 1e-3);
    /* Two halves driven against each other: even harmonics are gone, to their small difference. */
    assert_true(output->level[5].second < 0.002);
    double sum = 0;
    for (int k = 0; k < SOLVE_SAMPLES; k++)
        sum += output->speaker_v[k] * output->speaker_v[k] / SOLVE_SAMPLES;
    assert_double_equal(sum / output->speaker_ohms, output->watts, 0.01 * output->watts);
    service_output_free(output);
    amp_close(&amp);
}

static void test_single_ended(void **state) {
    (void)state;
    amp amp;
    service_output *output = given(&amp, "wren-hollow", &plain);
    assert_false(output->push_pull);
    assert_string_equal(output->class_name, "A");
    assert_true(output->crossover == 0);
    assert_true(output->level[5].second > 5 * output->level[5].third);
    service_output_free(output);
    amp_close(&amp);
}

/* Half the ohms: about half the volts, more heat in the plates, less in the screens. */
static void test_speaker(void **state) {
    (void)state;
    amp amp;
    service_output_asked asked = {NAN, 4, NAN};
    service_output *output = given(&amp, "granary", &asked);
    const service_output_level *full = &output->level[SERVICE_LEVELS - 1];
    assert_true(output->rated_watts > 1.3 * output->watts);
    assert_true(full->plate_percent > 1.2 * output->rated_plate_percent);
    assert_true(full->screen_percent < output->rated_screen_percent);
    assert_true(output->remarks > 0);
    assert_true(output->load_ohms < 0.6 * 7240);
    service_output_free(output);
    amp_close(&amp);
}

static void test_supply(void **state) {
    (void)state;
    amp amp;
    service_output_asked asked = {NAN, NAN, 280};
    service_output *output = given(&amp, "granary", &asked);
    assert_double_equal(output->idle_supply_v, 280, 0.05);
    service_output *usual = service_output_new(amp.system, &plain, amp.errors);
    assert_true(usual && usual->watts > output->watts);
    service_output_free(usual);
    service_output_free(output);
    amp_close(&amp);
}

static void refuses(const char *name, const char *from, const char *to,
                    const service_output_asked *asked, const char *words) {
    amp amp;
    amp_open(&amp, name, from, to);
    assert_null(service_output_new(amp.system, asked, amp.errors));
    if (!amp_complains(&amp, words)) fail_msg("%s", base_errors_at(amp.errors, 0)->cause);
    amp_close(&amp);
}

static void test_refused(void **state) {
    (void)state;
    service_output_asked high = {NAN, NAN, 1500};
    refuses("granary", NULL, NULL, &high, "cannot be brought to 1500 V");
    refuses("porchlight", NULL, NULL, &high, "straight from the mains");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_push_pull), cmocka_unit_test(test_single_ended),
        cmocka_unit_test(test_speaker), cmocka_unit_test(test_supply),
        cmocka_unit_test(test_refused)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
