/* Settling on streams of every kind (streams.h), and what it says of those that do not settle.
 * perf/settle.c counts over many more. */
#include "support.h"

#include "streams.h"

#define SECONDS 30.0
#define EACH 12

static void nothing_wrong_is_taken(void **state) {
    (void)state;
    for (int kind = 0; kind < STREAM_KINDS; kind++)
        for (uint64_t seed = 1; seed <= EACH; seed++) {
            stream stream;
            double volts, s;
            stream_begin(&stream, (stream_kind)kind, seed);
            if (!stream_run(&stream, SECONDS, &volts, &s) || stream_right(&stream, volts)) continue;
            fail_msg("%s, seed %d: %.3f was taken, %.3f is true", stream_names[kind], (int)seed,
                     volts, stream.rest);
        }
}

/* What stands still is taken, and soon. */
static void steady_ones_are_taken(void **state) {
    double sum = 0;
    (void)state;
    for (uint64_t seed = 1; seed <= EACH; seed++) {
        stream stream;
        double volts, s;
        stream_begin(&stream, STREAM_STEADY, seed);
        assert_true(stream_run(&stream, SECONDS, &volts, &s));
        sum += s;
    }
    if (sum / EACH > 6) fail_msg("%.1f s on average", sum / EACH);
}

/* Samples at 10 Hz of a function; what is said at their end. */
static meter_settled judge(double (*volts)(double s), double seconds, double expected) {
    meter_sample kept[METER_KEPT];
    meter_settled settled;
    meter_rules rules = {0.01, expected, 0};
    size_t count = (size_t)(seconds * 10);
    assert_true(count <= METER_KEPT);
    for (size_t i = 0; i < count; i++) {
        double s = 0.1 * (double)i;
        kept[i] = (meter_sample){s, round(volts(s) / 0.01) * 0.01, METER_NUMBER};
    }
    meter_settle(kept, count, &rules, &settled);
    return settled;
}

static double draining(double s) {
    return 320 * exp(-s / 12);
}

/* R C ln(V / limit): a closed form. */
static void falling_with_its_time(void **state) {
    meter_settled settled = judge(draining, 8, NAN);
    double now = draining(7.9);
    (void)state;
    assert_int_equal(settled.state, METER_FALLING);
    assert_true(fabs(settled.tau_s - 12) < 0.12);
    assert_true(fabs(settled.to_60_s - 12 * log(now / 60)) < 0.3);
    assert_true(fabs(settled.to_1_s - 12 * log(now / 1)) < 1);
}

static double to_somewhere(double s) {
    return 90 + 230 * exp(-s / 3);
}

/* What ends above the limit gets no time to the limit. */
static void falling_to_something_else(void **state) {
    meter_settled settled = judge(to_somewhere, 6, NAN);
    (void)state;
    assert_int_equal(settled.state, METER_FALLING);
    assert_true(isnan(settled.to_60_s));
    assert_true(isnan(settled.to_1_s));
}

static double rising(double s) {
    return 50 + 4 * s;
}

static double negative_falling(double s) {
    return -55 * exp(-s / 5);
}

static double stepping(double s) {
    return s < 2.5 ? 100 : 180;
}

static double still(double s) {
    (void)s;
    return 168.2;
}

static double nothing(double s) {
    (void)s;
    return 0.01;
}

static double restless(double s) {
    return 0.15 * sin(3 * s) + 0.1 * sin(11 * s);
}

static void states(void **state) {
    (void)state;
    assert_int_equal(judge(rising, 4, NAN).state, METER_RISING);
    assert_int_equal(judge(negative_falling, 4, NAN).state, METER_FALLING);
    assert_int_equal(judge(negative_falling, 4, NAN).to_60_s == 0, true);
    assert_int_equal(judge(stepping, 3, NAN).state, METER_UNSTABLE);
    assert_int_equal(judge(still, 4, NAN).state, METER_SETTLED);
    assert_int_equal(judge(still, 0.5, NAN).state, METER_WAIT);
    assert_int_equal(judge(restless, 4, 250).state, METER_OPEN);
    meter_settled zero = judge(nothing, 5, 250);
    assert_int_equal(zero.state, METER_SETTLED);
    assert_true(zero.quiet_zero);
    assert_false(judge(nothing, 5, 0).quiet_zero);
    assert_false(judge(still, 4, 250).quiet_zero);
}

/* Words and gaps part what came before from what comes after. */
static void only_one_run(void **state) {
    meter_sample kept[60];
    meter_settled settled;
    meter_rules rules = {0.01, NAN, 0};
    (void)state;
    for (size_t i = 0; i < 60; i++)
        kept[i] = (meter_sample){0.1 * (double)i, 168.2, METER_NUMBER};
    meter_settle(kept, 60, &rules, &settled);
    assert_int_equal(settled.state, METER_SETTLED);
    kept[57] = (meter_sample){5.7, NAN, METER_GARBLED};
    meter_settle(kept, 60, &rules, &settled);
    assert_int_equal(settled.state, METER_WAIT);
    kept[57] = kept[56];
    for (size_t i = 57; i < 60; i++)
        kept[i].s += 5;
    meter_settle(kept, 60, &rules, &settled);
    assert_int_equal(settled.state, METER_WAIT);
    for (size_t i = 57; i < 60; i++)
        kept[i] = (meter_sample){0.1 * (double)i, NAN, METER_OVERLOAD};
    meter_settle(kept, 60, &rules, &settled);
    assert_int_equal(settled.state, METER_OVERLOADED);
    meter_settle(NULL, 0, &rules, &settled);
    assert_int_equal(settled.state, METER_WAIT);
    assert_true(isnan(settled.volts));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_wrong_is_taken),
        cmocka_unit_test(steady_ones_are_taken),
        cmocka_unit_test(falling_with_its_time),
        cmocka_unit_test(falling_to_something_else),
        cmocka_unit_test(states),
        cmocka_unit_test(only_one_run),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
