/* A meter's thread against the simulated meter, on TCP and on a pty: what goes wrong on a wire is
 * noticed within a second, said, and taken up again; nothing is invented. */
#include "hostile.h"

#define AMISS (1u << METER_QUIET | 1u << METER_LOST)

static void reads(bool pty) {
    hostile here;
    hostile_open(&here, 0, pty, false);
    assert_true(hostile_settles(&here, 10));
    meter_now now = hostile_now(&here);
    assert_string_equal(now.identity, "GRIDLEAK,PRACTICE METER,0,1.0");
    assert_true(fabs(now.settled.volts - HOSTILE_VOLTS) < 0.2);
    assert_string_equal(now.words, "");
    meter_sample sample[METER_KEPT];
    size_t count = meter_recent(here.meter, sample, METER_KEPT);
    assert_true(count >= 6);
    for (size_t i = 1; i < count; i++)
        assert_true(sample[i].s > sample[i - 1].s);
    hostile_close(&here);
}

static void on_tcp(void **state) {
    (void)state;
    reads(false);
}

static void on_a_pty(void **state) {
    (void)state;
    reads(true);
}

static void ac_and_back(void **state) {
    hostile here;
    (void)state;
    hostile_open(&here, 0, false, false);
    assert_true(hostile_settles(&here, 10));
    unsigned spell = hostile_now(&here).spell;
    meter_measure(here.meter, true);
    hostile_pause(0.5);
    assert_true(hostile_now(&here).ac);
    assert_true(hostile_now(&here).spell > spell);
    meter_measure(here.meter, false);
    assert_true(hostile_settles(&here, 10));
    assert_false(hostile_now(&here).ac);
    assert_true(fabs(hostile_now(&here).settled.volts - HOSTILE_VOLTS) < 0.2);
    hostile_close(&here);
}

/* The trouble begins in mid-reading: noticed within a second; gone again: so is the word of it. */
static void noticed(unsigned trouble) {
    hostile here;
    hostile_open(&here, 1, false, false);
    assert_true(hostile_settles(&here, 10));
    meter_sim_trouble(here.sim, trouble);
    double took = hostile_status(&here, AMISS, 3);
    if (!(took <= 1.3)) print_message("trouble %u: noticed after %.2f s\n", trouble, took);
    assert_true(took <= 1.3); /* a second, and the machine's own pauses */
    assert_true(hostile_now(&here).words[0] != 0);
    assert_int_not_equal(hostile_now(&here).settled.state, METER_SETTLED);
    meter_sim_trouble(here.sim, 0);
    assert_true(hostile_settles(&here, 15));
    assert_string_equal(hostile_now(&here).words, "");
    hostile_close(&here);
}

static void silence_is_noticed(void **state) {
    (void)state;
    noticed(METER_SILENT);
}

static void hanging_up_is_noticed(void **state) {
    (void)state;
    noticed(METER_HANG_UP);
}

static void endless_bytes_are_noticed(void **state) {
    (void)state;
    noticed(METER_ENDLESS);
}

/* With each trouble now and then, every number is the one at the probe. */
static void nothing_invented(unsigned trouble, bool any_number) {
    hostile here;
    hostile_open(&here, 0.2, trouble & METER_SPLIT, true);
    assert_true(hostile_settles(&here, 10));
    hostile_judge_from_now(&here);
    meter_sim_trouble(here.sim, trouble);
    hostile_pause(1.2);
    meter_sim_trouble(here.sim, 0);
    assert_true(hostile_settles(&here, 20));
    pthread_mutex_lock(&here.lock);
    if (here.wrong || here.wrong_settled)
        print_message("trouble %u: %ld of %ld numbers, %ld of %ld settled\n", trouble, here.wrong,
                      here.numbers, here.wrong_settled, here.settled);
    assert_true(any_number || here.wrong == 0);
    assert_int_equal(here.wrong_settled, 0);
    assert_true(here.numbers > 0);
    pthread_mutex_unlock(&here.lock);
    hostile_close(&here);
}

static void each_trouble(void **state) {
    static const unsigned each[] = {METER_SLOW,   METER_SPLIT,  METER_SWAPPED, METER_ERROR_FLOOD,
                                    METER_SILENT, METER_SUFFIX, METER_HANG_UP, METER_ENDLESS};
    (void)state;
    for (size_t i = 0; i < sizeof each / sizeof *each; i++)
        nothing_invented(each[i], false);
}

/* A digit that became another digit is a number like any other; it does not settle. */
static void changed_bytes(void **state) {
    (void)state;
    nothing_invented(METER_NOISE_BYTES, true);
}

/* Switched off and on it measures something else, until it is set up again. */
static void resets(void **state) {
    (void)state;
    nothing_invented(METER_RESETS, true);
}

static void refused(void **state) {
    static const char *const wrong[] = {"",         "tcp:",          "serial:",   "gpib:5",
                                        "usb:/etc", "serial:shadow", "/dev/../x", "x"};
    meter_profiles *profiles = meter_profiles_new();
    meter_options options = {.profiles = profiles};
    (void)state;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        base_errors *errors = base_errors_new();
        assert_null(meter_start(wrong[i], &options, errors));
        assert_true(base_errors_at(errors, 0)->remedy[0] != 0);
        base_errors_free(errors);
    }
    meter_profiles_free(profiles);
}

static void nobody_there(void **state) {
    meter_profiles *profiles = meter_profiles_new();
    meter_options options = {.profiles = profiles};
    base_errors *errors = base_errors_new();
    meter_now now;
    (void)state;
    assert_false(meter_try("tcp:127.0.0.1:1", &options, 0.5, &now, errors));
    assert_true(base_errors_at(errors, 0)->remedy[0] != 0);
    assert_false(meter_try("usb:/dev/usbtmc77", &options, 0.3, &now, errors));
    assert_false(meter_try("serial:/dev/ttyUSB77", &options, 0.3, &now, errors));
    base_errors_free(errors);
    meter_profiles_free(profiles);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(on_tcp),
        cmocka_unit_test(on_a_pty),
        cmocka_unit_test(ac_and_back),
        cmocka_unit_test(silence_is_noticed),
        cmocka_unit_test(hanging_up_is_noticed),
        cmocka_unit_test(endless_bytes_are_noticed),
        cmocka_unit_test(each_trouble),
        cmocka_unit_test(changed_bytes),
        cmocka_unit_test(resets),
        cmocka_unit_test(refused),
        cmocka_unit_test(nobody_there),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
