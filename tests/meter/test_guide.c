/* The guide: the order of points, when a reading may be taken, what the pedal does, what is said.
 */
#include "support.h"

#include "meter.h"

#include <math.h>

static meter_point point(const char *at, meter_kind kind, double bits) {
    meter_point point = {.kind = kind, .bits = bits, .cost = 1, .expected_v = 100, .spread_v = 5};
    snprintf(point.at, sizeof point.at, "%s", at);
    return point;
}

static meter_now shows(double volts, meter_state state) {
    meter_now now = {.status = METER_READING, .digit_v = 0.01, .samples = 1};
    now.last = (meter_sample){meter_ticks(), volts, METER_NUMBER};
    now.settled = (meter_settled){.state = state, .volts = volts, .spread_v = 0.01};
    return now;
}

static void see(meter_guide *guide, double volts, meter_state state) {
    meter_now now = shows(volts, state);
    meter_guide_sample(guide, &now);
}

static bool press(meter_guide *guide, meter_press what, double volts) {
    meter_now now = shows(volts, METER_UNSTABLE);
    return meter_guide_press(guide, what, &now);
}

/* ---- the order ----------------------------------------------------------------------------- */

static void near_before_far(void **state) {
    meter_point from = point("V2.6", METER_HIGH, 0);
    meter_point points[] = {point("V7.1", METER_HIGH, 0.50), point("V2.1", METER_HIGH, 0.45),
                            point("V3.1", METER_HIGH, 0.40)};
    (void)state;
    assert_int_equal(meter_choose(points, 3, &from), 1);
    points[0].bits = 2; /* worth the way */
    assert_int_equal(meter_choose(points, 3, &from), 0);
    assert_int_equal(meter_choose(points, 0, &from), -1);
}

static void heaters_last(void **state) {
    meter_point from = point("V2.6", METER_HIGH, 0);
    meter_point heater = point("V2.4", METER_HEATER, 0), plate = point("V2.1", METER_HIGH, 0);
    meter_point cathode = point("V2.3", METER_LOW, 0);
    (void)state;
    assert_true(meter_travel(&from, &heater) > meter_travel(&from, &plate));
    assert_true(meter_travel(&cathode, &heater) < meter_travel(&from, &heater));
    assert_true(meter_travel(NULL, &plate) > 0);
}

/* ---- one point ----------------------------------------------------------------------------- */

static void begin_at(meter_guide *guide, const meter_point *first) {
    meter_now now = shows(0.05, METER_OPEN);
    meter_guide_begin(guide);
    meter_guide_point(guide, first, &now);
    assert_int_equal(guide->step, METER_CAUTION);
    assert_true(guide->caution[0] != 0);
    assert_true(press(guide, METER_TAKE, 0.05));
    assert_int_equal(guide->step, METER_MOVE);
}

static void taken_when_settled(void **state) {
    meter_guide guide;
    meter_point first = point("V2.6", METER_HIGH, 1);
    (void)state;
    begin_at(&guide, &first);
    see(&guide, 60, METER_UNSTABLE);
    assert_int_equal(guide.step, METER_SETTLING);
    see(&guide, 99, METER_RISING);
    assert_int_equal(guide.step, METER_SETTLING);
    see(&guide, 99.5, METER_SETTLED);
    assert_int_equal(guide.step, METER_TAKEN);
    assert_string_equal(guide.taken.at, "V2.6");
    assert_string_equal(guide.taken.tone, "taken");
    assert_false(guide.taken.by_hand);
    assert_true(fabs(guide.taken.volts - 99.5) < 1e-9);
}

/* The last point's volts, still there and as steady as can be, are no reading of the next. */
static void not_before_the_probe_moved(void **state) {
    meter_guide guide;
    meter_point first = point("V2.6", METER_HIGH, 1), second = point("V2.1", METER_HIGH, 1);
    (void)state;
    begin_at(&guide, &first);
    see(&guide, 60, METER_UNSTABLE);
    see(&guide, 99.5, METER_SETTLED);
    meter_now now = shows(99.5, METER_SETTLED);
    meter_guide_point(&guide, &second, &now);
    assert_int_equal(guide.step, METER_MOVE);
    for (int i = 0; i < 50; i++)
        see(&guide, 99.5 + 0.1 * (i % 3), METER_SETTLED);
    assert_int_equal(guide.step, METER_MOVE);
    see(&guide, 3, METER_UNSTABLE);
    assert_int_equal(guide.step, METER_SETTLING);
    see(&guide, 99.5, METER_SETTLED); /* the very same volts at another place are fine */
    assert_int_equal(guide.step, METER_TAKEN);
    assert_string_equal(guide.taken.at, "V2.1");
}

static void far_from_a_good_amp(void **state) {
    meter_guide guide;
    meter_point first = point("V2.6", METER_HIGH, 1);
    (void)state;
    begin_at(&guide, &first);
    see(&guide, 60, METER_UNSTABLE);
    see(&guide, 160, METER_SETTLED);
    assert_string_equal(guide.taken.tone, "far");
    meter_guide_point(&guide, &first, NULL);
    assert_int_equal(strncmp(guide.say, "far ", 4), 0);
    assert_null(guide.taken.tone);
}

static void nothing_is_asked_about(void **state) {
    meter_guide guide;
    meter_point first = point("V2.6", METER_HIGH, 1);
    meter_now zero = shows(0.01, METER_SETTLED);
    zero.settled.quiet_zero = true;
    (void)state;
    begin_at(&guide, &first);
    see(&guide, 20, METER_UNSTABLE);
    assert_true(meter_guide_sample(&guide, &zero));
    assert_int_equal(guide.step, METER_CONFIRM);
    assert_true(meter_guide_press(&guide, METER_TAKE, &zero));
    assert_int_equal(guide.step, METER_TAKEN);
    assert_string_equal(guide.taken.tone, "far");
}

/* A heater is not read in DC volts. */
static void waits_for_ac(void **state) {
    meter_guide guide;
    meter_point heater = point("V2.4", METER_HEATER, 1);
    meter_now now = shows(6.3, METER_SETTLED);
    (void)state;
    begin_at(&guide, &heater);
    for (int i = 0; i < 5; i++)
        assert_false(meter_guide_sample(&guide, &now));
    now.ac = true;
    assert_true(meter_guide_sample(&guide, &now));
    assert_true(meter_guide_sample(&guide, &now));
    assert_int_equal(guide.step, METER_TAKEN);
}

static void a_lost_meter_gives_nothing(void **state) {
    meter_guide guide;
    meter_point first = point("V2.6", METER_HIGH, 1);
    meter_now lost = shows(99.5, METER_SETTLED);
    lost.status = METER_LOST;
    (void)state;
    begin_at(&guide, &first);
    see(&guide, 60, METER_UNSTABLE);
    assert_false(meter_guide_sample(&guide, &lost));
    assert_false(meter_guide_press(&guide, METER_TAKE, &lost));
    assert_int_equal(guide.step, METER_SETTLING);
}

/* ---- cautions and the pedal ---------------------------------------------------------------- */

static void go_through(meter_guide *guide, const meter_point *point) {
    meter_now now = shows(0.05, METER_OPEN);
    meter_guide_point(guide, point, &now);
    if (guide->step == METER_CAUTION) press(guide, METER_TAKE, 0.05);
    see(guide, 50, METER_UNSTABLE);
    now = shows(100, METER_SETTLED);
    now.ac = point->kind == METER_HEATER;
    meter_guide_sample(guide, &now);
    meter_guide_sample(guide, &now);
    assert_int_equal(guide->step, METER_TAKEN);
}

static void cautions_once(void **state) {
    meter_guide guide;
    meter_point high = point("V2.6", METER_HIGH, 1), low = point("V2.3", METER_LOW, 1);
    meter_point heater = point("V2.4", METER_HEATER, 1);
    meter_now now = shows(0.05, METER_OPEN);
    (void)state;
    meter_guide_begin(&guide);
    go_through(&guide, &high);
    meter_guide_point(&guide, &low, &now);
    assert_int_equal(guide.step, METER_MOVE);
    go_through(&guide, &high);
    meter_guide_point(&guide, &high, &now);
    assert_int_equal(guide.step, METER_MOVE);
    assert_non_null(strstr(guide.say, "again"));
    meter_guide_point(&guide, &heater, &now); /* from high voltage to heater pins: said each time */
    assert_int_equal(guide.step, METER_CAUTION);
    go_through(&guide, &heater);
    meter_guide_point(&guide, &high, &now);
    assert_int_equal(guide.step, METER_CAUTION);
}

static void stop_at_once(void **state) {
    meter_point first = point("V2.6", METER_HIGH, 1);
    (void)state;
    for (int step = 0; step < 3; step++) {
        meter_guide guide;
        meter_now now = shows(0.05, METER_OPEN);
        meter_guide_begin(&guide);
        meter_guide_point(&guide, &first, &now);
        if (step > 0) press(&guide, METER_TAKE, 0.05);
        if (step > 1) see(&guide, 60, METER_UNSTABLE);
        assert_true(press(&guide, METER_STOP, 60));
        assert_int_equal(guide.step, METER_STOPPED);
        assert_string_equal(guide.say, "stop");
        see(&guide, 99, METER_SETTLED);
        assert_int_equal(guide.step, METER_STOPPED);
        assert_false(press(&guide, METER_TAKE, 99));
        assert_false(press(&guide, METER_STOP, 99));
    }
}

static void skip_and_back(void **state) {
    meter_guide guide;
    meter_point first = point("V2.6", METER_HIGH, 1);
    (void)state;
    begin_at(&guide, &first);
    assert_false(meter_guide_skipped(&guide, "V2.6"));
    assert_true(press(&guide, METER_SKIP, 0));
    assert_int_equal(guide.step, METER_IDLE);
    assert_true(meter_guide_skipped(&guide, "v2.6"));
    assert_false(press(&guide, METER_SKIP, 0));
    assert_false(press(&guide, METER_BACK, 0));
    meter_guide_point(&guide, &first, NULL);
    assert_true(press(&guide, METER_BACK, 0));
    assert_int_equal(guide.step, METER_IDLE);
    meter_guide_point(&guide, NULL, NULL);
    assert_int_equal(guide.step, METER_DONE);
}

static void by_hand_is_known(void **state) {
    meter_guide guide;
    meter_point first = point("V2.6", METER_HIGH, 1);
    (void)state;
    begin_at(&guide, &first);
    see(&guide, 60, METER_UNSTABLE);
    assert_true(press(&guide, METER_TAKE, 97));
    assert_true(guide.taken.by_hand);
    assert_true(fabs(guide.taken.volts - 97) < 1e-9);
}

/* ---- words --------------------------------------------------------------------------------- */

static bool in_vocabulary(const char *word) {
    size_t count;
    const meter_spoken *words = meter_spoken_words(&count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(words[i].word, word) == 0) return true;
    return false;
}

static void all_known(const char *say) {
    char text[METER_SAY];
    snprintf(text, sizeof text, "%s", say);
    for (char *save, *word = strtok_r(text, " ", &save); word; word = strtok_r(NULL, " ", &save))
        if (!in_vocabulary(word)) fail_msg("`%s` of `%s` is not in the vocabulary", word, say);
}

static void places_and_volts(void **state) {
    char text[METER_SAY];
    (void)state;
    assert_string_equal(meter_say_place("V2.6", text, sizeof text), "v 2 pin 6");
    assert_string_equal(meter_say_place("V5.4-B2", text, sizeof text), "v 5 pin 4 to b 2");
    assert_string_equal(meter_say_place("R107", text, sizeof text), "r 1 0 7");
    *text = 0;
    meter_say_volts(-51.26, text, sizeof text);
    assert_string_equal(text, "minus 5 1 point 3 volts");
    *text = 0;
    meter_say_volts(362.18, text, sizeof text);
    assert_string_equal(text, "3 6 2 volts");
    meter_say_place("a.very-long.place-name.that-never.ends", text, 12);
    assert_true(strlen(text) < 12);
}

static void only_the_vocabulary(void **state) {
    meter_guide guide;
    meter_point points[] = {point("V2.6", METER_HIGH, 1), point("V12.4", METER_HEATER, 1),
                            point("screen_supply", METER_HIGH, 1), point("R7", METER_LOW, 1)};
    (void)state;
    meter_guide_begin(&guide);
    for (size_t i = 0; i < 4; i++) {
        go_through(&guide, &points[i]);
        all_known(guide.say);
        meter_guide_point(&guide, &points[(i + 1) % 4], NULL);
        all_known(guide.say);
    }
    press(&guide, METER_STOP, 0);
    all_known(guide.say);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(near_before_far),     cmocka_unit_test(heaters_last),
        cmocka_unit_test(taken_when_settled),  cmocka_unit_test(not_before_the_probe_moved),
        cmocka_unit_test(far_from_a_good_amp), cmocka_unit_test(nothing_is_asked_about),
        cmocka_unit_test(waits_for_ac),        cmocka_unit_test(a_lost_meter_gives_nothing),
        cmocka_unit_test(cautions_once),       cmocka_unit_test(stop_at_once),
        cmocka_unit_test(skip_and_back),       cmocka_unit_test(by_hand_is_known),
        cmocka_unit_test(places_and_volts),    cmocka_unit_test(only_the_vocabulary),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
