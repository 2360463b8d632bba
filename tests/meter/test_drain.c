/* The drain watch: a capacitor is empty only when it was seen to become so. */
#include "support.h"

#include "meter.h"

#include <math.h>

typedef struct watch {
    meter_drain drain;
    meter_sample kept[METER_KEPT];
    size_t count;
    double s;
    int recorded;
    double recorded_v;
} watch;

static void begin(watch *watch) {
    memset(watch, 0, sizeof *watch);
    meter_drain_begin(&watch->drain);
}

static void sample(watch *watch, double volts, meter_word word) {
    meter_settled settled;
    meter_rules rules = {0.01, NAN, 0};
    if (watch->count == METER_KEPT)
        memmove(watch->kept, watch->kept + 1, --watch->count * sizeof *watch->kept);
    meter_sample one = {watch->s, word == METER_NUMBER ? round(volts * 100) / 100 : NAN, word};
    watch->kept[watch->count++] = one;
    meter_settle(watch->kept, watch->count, &rules, &settled);
    meter_drain_step(&watch->drain, &one, &settled);
    if (watch->drain.record) {
        watch->recorded++;
        watch->recorded_v = watch->drain.volts;
        watch->drain.record = false;
    }
    watch->s += 0.1;
}

/* `seconds` of a fall from `from` with this time constant; 0: it stands. */
static double fall(watch *watch, double from, double tau, double seconds) {
    double volts = from;
    for (double begun = watch->s; watch->s < begun + seconds;) {
        volts = tau > 0 ? from * exp(-(watch->s - begun) / tau) : from;
        sample(watch, volts, METER_NUMBER);
    }
    return volts;
}

static void drained(void **state) {
    watch watch;
    (void)state;
    begin(&watch);
    fall(&watch, 410, 0, 3);
    assert_int_equal(watch.drain.state, METER_DRAIN_CHARGED);
    fall(&watch, 410, 2, 2.5);
    assert_int_equal(watch.drain.state, METER_DRAIN_FALLING);
    assert_int_equal(watch.recorded, 0);
    fall(&watch, watch.drain.volts, 2, 6);
    assert_int_equal(watch.drain.state, METER_DRAIN_BELOW);
    assert_int_equal(watch.recorded, 1);
    assert_true(watch.recorded_v < METER_DRAIN_LIMIT);
}

static void bias_supplies_are_negative(void **state) {
    watch watch;
    (void)state;
    begin(&watch);
    fall(&watch, -75, 0, 3);
    fall(&watch, -75, 2, 6);
    assert_int_equal(watch.drain.state, METER_DRAIN_BELOW);
    assert_int_equal(watch.recorded, 1);
}

static void a_clip_that_comes_off(void **state) {
    watch watch;
    (void)state;
    begin(&watch);
    fall(&watch, 410, 0, 2);
    fall(&watch, 410, 20, 2);
    fall(&watch, 0.03, 0, 10); /* gone at once, and quiet for long */
    assert_int_equal(watch.drain.state, METER_DRAIN_LOST);
    assert_int_equal(watch.recorded, 0);
    fall(&watch, 370, 2, 8); /* on again: what follows is seen */
    assert_int_equal(watch.drain.state, METER_DRAIN_BELOW);
    assert_int_equal(watch.recorded, 1);
}

/* As a meter with a slow filter shows an open clip: not to be told from a fast drain, so neither is
 * recorded by itself. */
static void a_clip_that_comes_off_slowly(void **state) {
    (void)state;
    for (double tau = 0.03; tau < 0.6; tau *= 1.5) {
        watch watch;
        begin(&watch);
        fall(&watch, 350, 30, 2);
        fall(&watch, 327, tau, 10);
        if (watch.recorded) fail_msg("recorded at a time constant of %.2f s", tau);
        assert_int_equal(watch.drain.state, METER_DRAIN_LOST);
    }
}

static void never_seen_charged(void **state) {
    watch watch;
    (void)state;
    begin(&watch);
    fall(&watch, 0.02, 0, 20);
    assert_int_equal(watch.recorded, 0);
    assert_int_equal(watch.drain.state, METER_DRAIN_LOOKING);
}

static void the_meter_goes_away(void **state) {
    watch watch;
    (void)state;
    begin(&watch);
    fall(&watch, 410, 3, 3);
    sample(&watch, NAN, METER_GARBLED);
    assert_int_equal(watch.drain.state, METER_DRAIN_LOST);
    fall(&watch, 20, 3, 5); /* comes back below the limit: the way down was not seen */
    assert_int_equal(watch.recorded, 0);
}

static void rises_again(void **state) {
    watch watch;
    (void)state;
    begin(&watch);
    fall(&watch, 410, 1, 8);
    assert_int_equal(watch.recorded, 1);
    for (int i = 0; i < 60; i++)
        sample(&watch, 0.2 + 0.15 * i, METER_NUMBER);
    assert_int_equal(watch.drain.state, METER_DRAIN_RISING);
}

/* Through a drain resistor whose clip is off, with a leak: it stops above the limit. */
static void gets_stuck(void **state) {
    watch watch;
    (void)state;
    begin(&watch);
    for (int i = 0; i < 60; i++)
        sample(&watch, 120 + 250 * exp(-0.1 * i / 2), METER_NUMBER);
    assert_int_equal(watch.drain.state, METER_DRAIN_STUCK);
    assert_true(isnan(watch.drain.to_60_s));
    assert_int_equal(watch.recorded, 0);
}

static void each_state_has_words(void **state) {
    (void)state;
    for (int i = 0; i < METER_DRAIN_STATES; i++)
        assert_non_null(meter_drain_name((meter_drain_state)i));
    for (int i = 0; i < METER_STATES; i++)
        assert_non_null(meter_state_name((meter_state)i));
    for (int i = 0; i < METER_STATUSES; i++)
        assert_non_null(meter_status_name((meter_status)i));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(drained),
        cmocka_unit_test(bias_supplies_are_negative),
        cmocka_unit_test(a_clip_that_comes_off),
        cmocka_unit_test(a_clip_that_comes_off_slowly),
        cmocka_unit_test(never_seen_charged),
        cmocka_unit_test(the_meter_goes_away),
        cmocka_unit_test(rises_again),
        cmocka_unit_test(gets_stuck),
        cmocka_unit_test(each_state_has_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
