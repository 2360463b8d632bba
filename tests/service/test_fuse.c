/* Fuses: the gates of IEC 60127-2 and the preferred ratings, from memory; currents by closed forms.
 */
#include "amp.h"

static service_fuses *fuses_of(amp *amp, const char *name, const char *from, const char *to) {
    amp_open(amp, name, from, to);
    service_fuses *fuses = service_fuses_new(amp->system, NAN, false, amp->errors);
    assert_non_null(fuses);
    return fuses;
}

static const service_fuse *fuse(const service_fuses *in, const char *part) {
    for (size_t i = 0; i < in->fuses; i++)
        if (part ? in->fuse[i].part && strcmp(in->fuse[i].part, part) == 0 : !in->fuse[i].part)
            return &in->fuse[i];
    fail_msg("no fuse %s", part ? part : "missing");
    return NULL;
}

static void test_gates(void **state) {
    (void)state;
    assert_true(isinf(service_fuse_opens_s(true, 1.4)));
    assert_double_equal(service_fuse_opens_s(true, 2.1), 120, 0);
    assert_double_equal(service_fuse_opens_s(false, 2.1), 1800, 0);
    assert_double_equal(service_fuse_opens_s(true, 2.75), 10, 0);
    assert_double_equal(service_fuse_opens_s(false, 2.75), 2, 0);
    assert_double_equal(service_fuse_opens_s(true, 4), 3, 0);
    assert_double_equal(service_fuse_opens_s(false, 4), 0.3, 0);
    assert_double_equal(service_fuse_opens_s(true, 12), 0.3, 0);
    assert_double_equal(service_fuse_opens_s(false, 12), 0.02, 0);
}

/* All watts over the volts at the wall, at least: heaters 0.9 A of 6.46 V and 2.05 A of 5.1 V, and
 * the supply's 389 V at 55 mA with a fifth lost on the way. The pulses' harmonics come on top. */
static void test_mains(void **state) {
    (void)state;
    amp amp;
    service_fuses *fuses = fuses_of(&amp, "wren-hollow", NULL, NULL);
    const service_fuse *one = fuse(fuses, "F1");
    double least = (0.92 * 6.46 + 2.05 * 5.11 + 389 * 0.055 * 1.2) / 120;
    assert_true(one->running_a > 0.95 * least && one->running_a < 1.35 * least);
    assert_string_equal(one->where, "mains");
    assert_true(one->time_lag);
    assert_double_equal(one->right_a, 0.63, 1e-9);
    assert_string_equal(one->right, "T 630 mA (time-lag)");
    assert_string_equal(one->wrong, "");
    service_fuses_free(fuses);
    amp_close(&amp);
}

/* C E^2 / 2R with E the peak: 345 V on 120/117 of its mains; 40 and 20 uF, joined by the standby
 * switch; the winding and the primary. */
static void test_high_voltage(void **state) {
    (void)state;
    amp amp;
    service_fuses *fuses = fuses_of(&amp, "millrace", NULL, NULL);
    const service_fuse *one = fuse(fuses, "F2");
    assert_string_equal(one->where, "high voltage");
    double ac = 345 * 120 / 117.0, ohms = 34 + 1.8 * pow(345 / 117.0, 2);
    assert_double_equal(one->inrush_a, sqrt(2) * ac / ohms, 0.05 * one->inrush_a);
    assert_double_equal(one->inrush_a2s, 60e-6 * 2 * ac * ac / 2 / ohms, 0.05 * one->inrush_a2s);
    assert_true(one->running_a > 0.12 && one->running_a < 0.35);
    service_fuses_free(fuses);
    amp_close(&amp);
}

/* Followed from cold: less than the bound of a hot rectifier, and no fuse that is right opens. */
static void test_from_cold(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    service_fuses *fuses = service_fuses_new(amp.system, NAN, true, amp.errors);
    const service_fuse *one = fuse(fuses, "F1");
    assert_true(one->cold_a > one->running_a && one->cold_a < one->inrush_a);
    assert_true(one->cold_a2s > 0 && one->cold_a2s < 2 * one->right_a * one->right_a);
    service_fuses_free(fuses);
    amp_close(&amp);
}

static void test_wrong(void **state) {
    static const struct {
        const char *to, *words;
    } rows[] = {{"{amps: 5, kind: slow, at: [line, fused]", "is too large"},
                {"{amps: 0.25, kind: slow, at: [line, fused]", "is too small"},
                {"{amps: 0.63, kind: fast, at: [line, fused]", "opens at switch-on"},
                {"{amps: 0.63, at: [line, fused]", "Its speed is not given"},
                {"{kind: slow, at: [line, fused]", "Its rating is not given"}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        amp amp;
        service_fuses *fuses =
            fuses_of(&amp, "wren-hollow", "{amps: 1, kind: slow, at: [line, fused]", rows[i].to);
        const char *wrong = fuse(fuses, "F1")->wrong;
        if (!strstr(wrong, rows[i].words)) fail_msg("%s: %s", rows[i].to, wrong);
        service_fuses_free(fuses);
        amp_close(&amp);
    }
}

static void test_none(void **state) {
    (void)state;
    amp amp;
    service_fuses *fuses = fuses_of(
        &amp, "wren-hollow",
        "fuses:\n  F1: {amps: 1, kind: slow, at: [line, fused], does: mains}\n", "diodes: {}\n");
    assert_non_null(strstr(fuse(fuses, NULL)->wrong, "no mains fuse"));
    assert_double_equal(fuse(fuses, NULL)->right_a, 0.63, 1e-9);
    service_fuses_free(fuses);
    amp_close(&amp);
}

/* A string on the mains: the heaters' own 0.15 A with the rectifier's pulses. No core surges. */
static void test_string(void **state) {
    (void)state;
    amp amp;
    service_fuses *fuses = fuses_of(&amp, "porchlight", NULL, NULL);
    const service_fuse *one = fuse(fuses, "F1");
    assert_true(one->running_a > 0.15 && one->running_a < 0.35);
    assert_null(strstr(one->why, "core"));
    /* From the common negative to the mains flow the rectifier's pulses, not the heaters' current.
     */
    const service_fuse *back = fuse(fuses, "F2");
    assert_true(back->running_a < 0.6 * one->running_a);
    service_powerup *powerup =
        service_powerup_new(amp.system, &(service_powerup_asked){.mains = NAN}, amp.errors);
    assert_non_null(powerup);
    for (size_t i = 0; i < powerup->fuses; i++)
        assert_double_equal(fuse(fuses, powerup->fuse[i].name)->running_a,
                            powerup->fuse[i].running_a, 0.07 * powerup->fuse[i].running_a);
    service_powerup_free(powerup);
    service_fuses_free(fuses);
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_gates),        cmocka_unit_test(test_mains),
        cmocka_unit_test(test_high_voltage), cmocka_unit_test(test_wrong),
        cmocka_unit_test(test_from_cold),    cmocka_unit_test(test_none),
        cmocka_unit_test(test_string)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
