/* A simulated meter with troubles, and a meter's thread against it. What is at the probe stands
 * still, so that every number taken can be held against it. */
#ifndef GRIDLEAK_TESTS_METER_HOSTILE_H
#define GRIDLEAK_TESTS_METER_HOSTILE_H

#include "support.h"

#include "meter.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#define HOSTILE_VOLTS 168.2

typedef struct hostile {
    base_errors *errors;
    meter_profiles *profiles;
    meter_sim *sim;
    meter *meter;
    pthread_mutex_t lock; /* of what stands below */
    double from_s;        /* numbers are judged from here on */
    long numbers, wrong, settled, wrong_settled, told;
    double status_s[METER_STATUSES]; /* when each was last told */
} hostile;

static inline double hostile_volts(void *context, double s, bool ac) {
    (void)context;
    (void)s;
    return ac ? 0 : HOSTILE_VOLTS;
}

static inline void hostile_tell(void *context, const meter_now *now) {
    hostile *hostile = context;
    pthread_mutex_lock(&hostile->lock);
    double s = meter_ticks();
    hostile->told++;
    hostile->status_s[now->status] = s;
    if (s > hostile->from_s && now->status == METER_READING && now->last.word == METER_NUMBER) {
        hostile->numbers++;
        hostile->wrong += fabs(now->last.volts - HOSTILE_VOLTS) > 1;
    }
    if (s > hostile->from_s && now->settled.state == METER_SETTLED) {
        hostile->settled++;
        hostile->wrong_settled += fabs(now->settled.volts - HOSTILE_VOLTS) > 0.5;
    }
    pthread_mutex_unlock(&hostile->lock);
}

static inline void hostile_judge_from_now(hostile *hostile) {
    pthread_mutex_lock(&hostile->lock);
    hostile->from_s = meter_ticks();
    pthread_mutex_unlock(&hostile->lock);
}

static inline void hostile_pause(double seconds) {
    struct timespec t = {(time_t)seconds, (long)(1e9 * fmod(seconds, 1))};
    nanosleep(&t, NULL);
}

/* One that is given up sooner, so that the tests are. */
#define HOSTILE_HURRIED                                                                            \
    "meter: hurried\ntiming: {timeout: 0.7, quiet: 0.3}\ninput: {range: 1000 V, digit: 10 mV}\n"

static inline void hostile_open(hostile *hostile, double chance, bool pty, bool hurried) {
    memset(hostile, 0, sizeof *hostile);
    pthread_mutex_init(&hostile->lock, NULL);
    hostile->from_s = INFINITY;
    hostile->errors = base_errors_new();
    hostile->profiles = meter_profiles_new();
    meter_sim_options sim = {.seed = 7,
                             .volts = hostile_volts,
                             .noise = 2e-4,
                             .rate = 25,
                             .range_v = 1000,
                             .trouble_chance = chance};
    hostile->sim = meter_sim_new(&sim, hostile->errors);
    assert_non_null(hostile->sim);
    char address[80];
    if (pty) {
        const char *path = meter_sim_pty(hostile->sim, hostile->errors);
        assert_non_null(path);
        snprintf(address, sizeof address, "pty:%s", path);
    } else {
        int port = meter_sim_tcp(hostile->sim, 0, hostile->errors);
        assert_true(port > 0);
        snprintf(address, sizeof address, "tcp:127.0.0.1:%d", port);
    }
    assert_int_equal(meter_profiles_add(hostile->profiles, "hurried", HOSTILE_HURRIED,
                                        strlen(HOSTILE_HURRIED), hostile->errors),
                     BASE_OK);
    meter_options options = {.profiles = hostile->profiles,
                             .profile = hurried ? "hurried" : NULL,
                             .tell = hostile_tell,
                             .context = hostile};
    hostile->meter = meter_start(address, &options, hostile->errors);
    assert_non_null(hostile->meter);
}

static inline void hostile_close(hostile *hostile) {
    meter_stop(hostile->meter);
    meter_sim_free(hostile->sim);
    meter_profiles_free(hostile->profiles);
    base_errors_free(hostile->errors);
    pthread_mutex_destroy(&hostile->lock);
}

static inline meter_now hostile_now(hostile *hostile) {
    meter_now now;
    meter_get(hostile->meter, &now);
    return now;
}

/* Waits until the meter reads and has settled; false: not within so many seconds. */
static inline bool hostile_settles(hostile *hostile, double seconds) {
    for (double until = meter_ticks() + seconds; meter_ticks() < until;) {
        meter_now now = hostile_now(hostile);
        if (now.status == METER_READING && now.settled.state == METER_SETTLED) return true;
        hostile_pause(0.02);
    }
    return false;
}

/* Waits for a status; the seconds that it took, NAN: it did not come within `seconds`. */
static inline double hostile_status(hostile *hostile, unsigned statuses, double seconds) {
    double begun = meter_ticks();
    while (meter_ticks() < begun + seconds) {
        if (statuses >> hostile_now(hostile).status & 1) return meter_ticks() - begun;
        hostile_pause(0.005);
    }
    return NAN;
}

#endif
