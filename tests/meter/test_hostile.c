/* Everything at once, for a while: the meter's thread lives, invents nothing that settles, and
 * reads again when the troubles end. METER_HOSTILE_S in the environment: for how many seconds. */
#include "hostile.h"

#define USUAL_S 12.0

static double seconds_asked(void) {
    const char *text = getenv("METER_HOSTILE_S");
    double seconds = text ? strtod(text, NULL) : USUAL_S;
    return seconds > 0 ? seconds : USUAL_S;
}

static void all_at_once(void **state) {
    hostile here;
    double seconds = seconds_asked();
    (void)state;
    hostile_open(&here, 0.04, false, true);
    assert_true(hostile_settles(&here, 20));
    hostile_judge_from_now(&here);
    uint64_t random = 1;
    for (double until = meter_ticks() + seconds; meter_ticks() < until;) {
        random = random * 6364136223846793005u + 1442695040888963407u;
        unsigned trouble = (unsigned)(random >> 40) & 1023u & ~(unsigned)METER_SUFFIX;
        meter_sim_trouble(here.sim, trouble);
        meter_measure(here.meter, (random >> 33 & 15) == 0);
        meter_expect(here.meter, random >> 34 & 1 ? HOSTILE_VOLTS : NAN);
        hostile_pause(0.2);
    }
    meter_measure(here.meter, false);
    meter_sim_trouble(here.sim, 0);
    assert_true(hostile_settles(&here, 30));
    pthread_mutex_lock(&here.lock);
    print_message("%.0f s: told %ld times, %ld numbers, %ld settled\n", seconds, here.told,
                  here.numbers, here.settled);
    assert_true(here.told > 0);
    pthread_mutex_unlock(&here.lock);
    assert_true(fabs(hostile_now(&here).settled.volts - HOSTILE_VOLTS) < 0.5);
    hostile_close(&here);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(all_at_once)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
