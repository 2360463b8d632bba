/* Powerup: the surge against what winding and capacitor alone say, rest against the chart,
 * switching off against the drain of RC, and what the file leaves out. */
#include "amp.h"

static const service_powerup_capacitor *capacitor(const service_powerup *powerup,
                                                  const char *part) {
    for (size_t i = 0; i < powerup->capacitors; i++)
        if (strcmp(powerup->capacitor[i].part, part) == 0) return &powerup->capacitor[i];
    fail_msg("no capacitor %s", part);
    return NULL;
}

static bool remarks_on(const service_powerup *powerup, const char *words) {
    for (size_t i = 0; i < powerup->remarks; i++)
        if (strstr(powerup->remark[i], words)) return true;
    return false;
}

static service_powerup *follow(amp *amp, const char *name, const char *from, const char *to,
                               const service_powerup_asked *asked) {
    amp_open(amp, name, from, to);
    service_powerup *powerup = service_powerup_new(amp->system, asked, amp->errors);
    if (!powerup) print_message("%s\n", base_errors_at(amp->errors, 0)->cause);
    assert_non_null(powerup);
    return powerup;
}

/* A filament is warm long before the other tubes: the capacitors reach the winding's peak, and fall
 * as the tubes begin to draw. */
static void test_surge(void **state) {
    (void)state;
    amp amp;
    service_powerup_asked asked = {.mains = 117};
    service_powerup *powerup = follow(&amp, "wren-hollow", NULL, NULL, &asked);
    const service_powerup_capacitor *first = capacitor(powerup, "C8");
    int winding = circuit_part_find(amp.circuit, "T1 high voltage");
    double peak = sqrt(2) * circuit_part_at(amp.circuit, (size_t)winding)->winding.volts[0];
    assert_true(first->peak_v < peak + 1 && first->peak_v > 0.94 * peak);
    assert_true(first->peak_s > 1 && first->peak_s < 6);
    assert_true(remarks_on(powerup, "C10 is rated 450 V"));
    assert_true(first->settled_s > 6 && first->settled_s < 15);
    service_powerup_free(powerup);
    amp_close(&amp);
}

static void test_rest_is_the_chart(void **state) {
    (void)state;
    amp amp;
    service_powerup_asked asked = {.mains = NAN};
    service_powerup *powerup = follow(&amp, "granary", NULL, NULL, &asked);
    static const diagnose_meter meter = {.ohms = INFINITY, .ohms_per_volt = NAN, .range = NAN};
    service_chart *chart = service_chart_new(amp.system, amp.priors, NAN, &meter, amp.errors);
    assert_non_null(chart);
    const service_powerup_capacitor *first = capacitor(powerup, "C12");
    assert_double_equal(first->working_v, amp_line(chart, "B2")->volts, 0.002 * first->working_v);
    const solve_supply *supply = &chart->rectifier[0].supply;
    const service_powerup_rectifier *line = &powerup->rectifier[0];
    assert_double_equal(line->working_v, supply->dc_v, 0.003 * supply->dc_v);
    assert_double_equal(line->working_a, supply->dc_a, 0.01 * supply->dc_a);
    assert_double_equal(line->working_rms_a, supply->rms_a, 0.01 * supply->rms_a);
    assert_double_equal(line->working_peak_a, supply->peak_a, 0.01 * supply->peak_a);
    assert_true(line->again_a > 4 * line->working_peak_a);
    assert_true(line->first_cap_limit_f > line->first_cap_f);
    assert_true(powerup->whole.points > 250 && powerup->start.points > 200);
    assert_true(powerup->rest.lines == powerup->whole.lines + 2);
    service_chart_free(chart);
    service_powerup_free(powerup);
    amp_close(&amp);
}

/* Silicon into a capacitor: the first pulse is less than the winding's peak behind its ohms alone,
 * and more than half of it, at the worst instant. */
static void test_inrush(void **state) {
    (void)state;
    amp amp;
    service_powerup_asked asked = {.mains = NAN};
    service_powerup *powerup = follow(&amp, "thimble", NULL, NULL, &asked);
    const service_powerup_rectifier *line = &powerup->rectifier[0];
    double most = sqrt(2) * 180 * 230 / 220 / line->source_ohms;
    assert_true(line->again_a < most && line->again_a > 0.8 * most);
    const service_powerup_fuse *fuse = &powerup->fuse[1];
    assert_string_equal(fuse->where, "high voltage");
    assert_double_equal(fuse->peak_a, line->again_a, 0.05 * most);
    assert_true(fuse->tenth_i2t >= fuse->cycle_i2t && fuse->cycle_i2t > 0);
    assert_double_equal(fuse->slow_i2t, 2 * fuse->rating_a * fuse->rating_a, 1e-9);
    service_powerup_free(powerup);
    amp_close(&amp);
}

/* A bias supply with nothing but resistors falls as exp(-t / RC) once it is off. */
static void test_standby(void **state) {
    (void)state;
    amp amp;
    service_powerup_asked asked = {.mains = NAN, .standby = true};
    service_powerup *powerup = follow(&amp, "millrace", NULL, NULL, &asked);
    assert_string_equal(powerup->standby, "S2");
    assert_true(capacitor(powerup, "C28")->peak_v > 490);
    assert_true(capacitor(powerup, "C29")->peak_v < 460);
    assert_true(capacitor(powerup, "C29")->settled_s > SERVICE_STANDBY_S);
    assert_true(capacitor(powerup, "C28")->off_60_s > 5);
    service_powerup_free(powerup);
    amp_close(&amp);
}

static void test_missing(void **state) {
    (void)state;
    amp amp;
    service_powerup_asked asked = {.mains = NAN};
    service_powerup *powerup = follow(&amp, "thimble", "{amps: 0.25", "{sits: chassis", &asked);
    assert_non_null(powerup->missing);
    assert_non_null(strstr(powerup->missing, "No `amps` in the file: F2"));
    service_powerup_free(powerup);
    amp_close(&amp);
}

static void refuses(const char *name, const char *from, const char *to,
                    const service_powerup_asked *asked, const char *words) {
    amp amp;
    amp_open(&amp, name, from, to);
    service_powerup *powerup = service_powerup_new(amp.system, asked, amp.errors);
    assert_null(powerup);
    if (!amp_complains(&amp, words)) fail_msg("%s: %s", name, base_errors_at(amp.errors, 0)->cause);
    amp_close(&amp);
}

static void test_refused(void **state) {
    (void)state;
    service_powerup_asked standby = {.mains = NAN, .standby = true}, plain = {.mains = NAN};
    refuses("wren-hollow", NULL, NULL, &standby, "no standby switch");
    refuses("wren-hollow",
            "rectifiers:\n  main: {form: full wave, by: V3, from: T1 high voltage, out: V3.8}\n",
            "", &plain, "has no rectifier");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_surge),   cmocka_unit_test(test_rest_is_the_chart),
        cmocka_unit_test(test_inrush),  cmocka_unit_test(test_standby),
        cmocka_unit_test(test_missing), cmocka_unit_test(test_refused)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
