/* The thread of a meter: connect, identify, set up, read; and when anything is amiss, say so, and
 * come back by itself. What is shown is never older than what the meter last said: a line that
 * makes no sense, or comes late, ends the spell, and the meter is asked anew who it is before
 * another line of it is believed. */
#include "meter_impl.h"

#include <errno.h>
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define AGAIN_S 0.5  /* between two tries to connect */
#define STATUS_S 0.5 /* between two looks at the event status */
#define PACE_S 0.04  /* between two questions */
#define OVER_RANGE 1.25

struct meter {
    meter_options options;
    pthread_t thread;
    pthread_mutex_t lock;   /* of what stands below */
    atomic_bool ending, ac; /* ac: what is wished */
    meter_now now;
    meter_sample kept[METER_KEPT];
    size_t count;
    double expected_v;
};

static const char *const names[METER_STATUSES] = {[METER_CONNECTING] = "connecting",
                                                  [METER_READING] = "reading",
                                                  [METER_QUIET] = "quiet",
                                                  [METER_LOST] = "lost"};

const char *meter_status_name(meter_status status) {
    return names[status];
}

/* ---- what is known of it ------------------------------------------------------------------- */

static void tell(meter *meter) {
    meter_now now;
    if (!meter->options.tell) return;
    meter_get(meter, &now);
    meter->options.tell(meter->options.context, &now);
}

/* "cause|remedy" as one text. */
static void write_words(meter_now *now, const char *why) {
    size_t cause = strcspn(why, "|");
    snprintf(now->words, sizeof now->words, "%.*s%s%s", (int)cause, why, why[cause] ? "; " : "",
             why[cause] ? why + cause + 1 : "");
}

/* The samples so far do not belong together with what comes. */
static void end_spell(meter *meter, meter_status status, const char *why) {
    pthread_mutex_lock(&meter->lock);
    if (meter->count) meter->now.spell++;
    meter->count = 0;
    meter->now.status = status;
    meter->now.last = (meter_sample){meter_ticks(), NAN, METER_NAN};
    meter_rules rules = {meter->now.digit_v, meter->expected_v, 0};
    meter_settle(NULL, 0, &rules, &meter->now.settled);
    write_words(&meter->now, why);
    pthread_mutex_unlock(&meter->lock);
    tell(meter);
}

static void keep(meter *meter, meter_word word, double volts) {
    meter_sample sample = {meter_ticks(), volts, word};
    pthread_mutex_lock(&meter->lock);
    if (meter->count == METER_KEPT) {
        meter->count--;
        memmove(meter->kept, meter->kept + 1, meter->count * sizeof sample);
    }
    meter->kept[meter->count++] = sample;
    meter->now.last = sample;
    meter->now.samples++;
    meter->now.status = METER_READING;
    *meter->now.words = 0;
    meter_rules rules = {meter->now.digit_v, meter->expected_v, 0};
    meter_settle(meter->kept, meter->count, &rules, &meter->now.settled);
    pthread_mutex_unlock(&meter->lock);
    tell(meter);
}

static void know(meter *meter, const meter_profile *profile, const char *identity) {
    pthread_mutex_lock(&meter->lock);
    meter_now *now = &meter->now;
    snprintf(now->identity, sizeof now->identity, "%s", identity);
    snprintf(now->profile, sizeof now->profile, "%s", profile->name);
    now->range_v = profile->range_v;
    now->ohms = profile->ohms;
    now->digit_v = profile->digit_v;
    pthread_mutex_unlock(&meter->lock);
}

/* ---- reading ------------------------------------------------------------------------------- */

/* Set up for DC volts. */
static bool set_up(meter *meter, meter_scpi *scpi) {
    pthread_mutex_lock(&meter->lock);
    meter->now.ac = false;
    pthread_mutex_unlock(&meter->lock);
    return meter_scpi_setup(scpi);
}

/* After a line that was late or made no sense: is it still the same meter, and in step? */
static bool resync(meter *meter, meter_scpi *scpi, const char *why) {
    char line[METER_LINE + 1];
    end_spell(meter, METER_LOST, why);
    if (!meter_scpi_flush(scpi, 0.15)) return false;
    if (meter_scpi_ask(scpi, "*IDN?", line, scpi->profile.timeout_s) != METER_LINE_GOOD)
        return false;
    line[sizeof meter->now.identity - 1] = 0;
    return strcmp(line, meter->now.identity) == 0 && set_up(meter, scpi);
}

static bool look_at_status(meter *meter, meter_scpi *scpi) {
    bool reset = false;
    meter_line how;
    if (!meter_scpi_status(scpi, &reset, &how))
        return how != METER_LINE_GONE &&
               resync(meter, scpi, "the meter's answers are out of step|it is asked anew");
    if (!reset) return true;
    end_spell(meter, METER_LOST, "the meter was switched off and on|it is set up again");
    return set_up(meter, scpi);
}

/* A line within the profile's time; says so when it is missing for longer than usual. */
static meter_line wait_for_line(meter *meter, meter_scpi *scpi, char *line) {
    const meter_profile *profile = &scpi->profile;
    meter_line how = meter_scpi_line(scpi, line, fmin(profile->quiet_s, profile->timeout_s));
    if (how != METER_LINE_LATE || meter->ending || profile->timeout_s <= profile->quiet_s)
        return how;
    end_spell(meter, METER_QUIET, "the meter does not answer|look at its cable and its screen");
    return meter_scpi_line(scpi, line, profile->timeout_s - profile->quiet_s);
}

static bool read_once(meter *meter, meter_scpi *scpi) {
    char line[METER_LINE + 1];
    double volts;
    if (!meter_scpi_send(scpi, scpi->profile.read)) return false;
    meter_line how = wait_for_line(meter, scpi, line);
    if (how == METER_LINE_GONE || meter->ending) return false;
    if (how == METER_LINE_LATE)
        return resync(meter, scpi, "the meter does not answer|look at its cable and its screen");
    meter_word word =
        how == METER_LINE_GOOD ? meter_reply_read(line, strlen(line), &volts) : METER_GARBLED;
    bool beyond = word == METER_NUMBER && fabs(volts) > OVER_RANGE * scpi->profile.range_v;
    if (word == METER_GARBLED || beyond)
        return resync(meter, scpi,
                      "the meter's answer makes no sense|it is asked anew; nothing was taken");
    keep(meter, word, volts);
    return true;
}

static void pause_until(const meter *meter, double until) {
    for (double left; !meter->ending && (left = until - meter_ticks()) > 0;) {
        struct timespec t = {0, (long)(1e9 * fmin(left, 0.05))};
        nanosleep(&t, NULL);
    }
}

/* From DC to AC volts, and back. */
static bool follow_wish(meter *meter, meter_scpi *scpi) {
    bool ac = meter->ac, sent = true;
    if (ac == meter->now.ac) return true;
    if (*scpi->profile.ac)
        sent = ac ? meter_scpi_send(scpi, scpi->profile.ac) : set_up(meter, scpi);
    pthread_mutex_lock(&meter->lock);
    meter->now.ac = ac;
    pthread_mutex_unlock(&meter->lock);
    end_spell(meter, METER_CONNECTING, "");
    return sent;
}

static void read_on(meter *meter, meter_scpi *scpi) {
    double looked = meter_ticks();
    for (bool good = true; good && !meter->ending;) {
        double begun = meter_ticks();
        good = follow_wish(meter, scpi) && read_once(meter, scpi);
        if (good && scpi->profile.status && begun - looked >= STATUS_S) {
            looked = begun;
            good = look_at_status(meter, scpi);
        }
        pause_until(meter, begun + PACE_S);
    }
}

/* ---- the thread ---------------------------------------------------------------------------- */

static const meter_profile *profile_of(const meter *meter, const char *identity) {
    const meter_profiles *profiles = meter->options.profiles;
    const meter_profile *named =
        meter->options.profile ? meter_profile_find(profiles, meter->options.profile) : NULL;
    return named ? named : meter_profile_for(profiles, identity);
}

/* Once: until it fails, or the meter is stopped. */
static void connect_once(meter *meter, meter_scpi *scpi) {
    char why[200] = "the meter hung up|it is called again";
    char identity[sizeof meter->now.identity];
    scpi->profile = *profile_of(meter, "");
    scpi->kept_length = 0;
    scpi->cr = false;
    if (!scpi->link.kind->open(&scpi->link, &scpi->profile, why, sizeof why)) {
        end_spell(meter, METER_LOST, why);
        return;
    }
    if (meter_scpi_begin(scpi, identity, why, sizeof why)) {
        scpi->profile = *profile_of(meter, identity);
        know(meter, &scpi->profile, identity);
        if (set_up(meter, scpi)) read_on(meter, scpi);
        if (meter->ending && scpi->link.kind->serial && *scpi->profile.local)
            meter_scpi_send(scpi, scpi->profile.local);
    }
    scpi->link.kind->close(&scpi->link);
    if (!meter->ending) end_spell(meter, METER_LOST, why);
}

static void *run(void *data) {
    meter *meter = data;
    meter_scpi scpi = {0};
    meter_link_find(meter->now.address, &scpi.link);
    scpi.link.ending = &meter->ending;
    while (!meter->ending) {
        connect_once(meter, &scpi);
        pause_until(meter, meter_ticks() + AGAIN_S);
    }
    return NULL;
}

/* ---- start and stop ------------------------------------------------------------------------ */

static base_code complain(base_errors *errors, base_code code, const char *address,
                          const char *words) {
    return base_errors_add(errors, code, (base_place){0}, words, address);
}

static bool asked_well(const char *address, const meter_options *options, base_errors *errors) {
    meter_link link;
    if (!meter_link_find(address, &link)) {
        complain(errors, BASE_VALUE, address,
                 "`%.60s` is no address of a meter|write tcp:HOST, serial:/dev/ttyUSB0, "
                 "usb:/dev/usbtmc0 or pty:/dev/pts/3");
        return false;
    }
    if (!options->profile || meter_profile_find(options->profiles, options->profile)) return true;
    complain(errors, BASE_UNKNOWN, options->profile,
             "there is no meter profile `%.60s`|gridleak meter lists them");
    return false;
}

meter *meter_start(const char *address, const meter_options *options, base_errors *errors) {
    if (!asked_well(address, options, errors)) return NULL;
    meter *meter = calloc(1, sizeof *meter);
    if (meter) {
        meter->options = *options;
        meter->expected_v = NAN;
        meter->now.status = METER_CONNECTING;
        snprintf(meter->now.address, sizeof meter->now.address, "%s", address);
        know(meter, profile_of(meter, ""), "");
        meter->now.last = (meter_sample){meter_ticks(), NAN, METER_NAN};
        meter_rules rules = {meter->now.digit_v, NAN, 0};
        meter_settle(NULL, 0, &rules, &meter->now.settled);
        pthread_mutex_init(&meter->lock, NULL);
        if (pthread_create(&meter->thread, NULL, run, meter) == 0) return meter;
        pthread_mutex_destroy(&meter->lock);
        free(meter);
    }
    complain(errors, BASE_MEMORY, address, "no memory left for the meter %.60s|close programs");
    return NULL;
}

void meter_stop(meter *meter) {
    if (!meter) return;
    meter->ending = true;
    pthread_join(meter->thread, NULL);
    pthread_mutex_destroy(&meter->lock);
    free(meter);
}

void meter_get(meter *meter, meter_now *now) {
    pthread_mutex_lock(&meter->lock);
    *now = meter->now;
    pthread_mutex_unlock(&meter->lock);
}

size_t meter_recent(meter *meter, meter_sample *sample, size_t room) {
    pthread_mutex_lock(&meter->lock);
    size_t count = meter->count < room ? meter->count : room;
    memcpy(sample, meter->kept + meter->count - count, count * sizeof *sample);
    pthread_mutex_unlock(&meter->lock);
    return count;
}

void meter_expect(meter *meter, double volts) {
    pthread_mutex_lock(&meter->lock);
    meter->expected_v = volts;
    pthread_mutex_unlock(&meter->lock);
}

void meter_measure(meter *meter, bool ac) {
    meter->ac = ac;
}

bool meter_try(const char *address, const meter_options *options, double seconds, meter_now *now,
               base_errors *errors) {
    meter_options quietly = *options;
    quietly.tell = NULL;
    meter *meter = meter_start(address, &quietly, errors);
    if (!meter) return false;
    double until = meter_ticks() + seconds;
    do {
        struct timespec t = {0, 20000000};
        nanosleep(&t, NULL);
        meter_get(meter, now);
    } while (now->samples == 0 && meter_ticks() < until);
    meter_stop(meter);
    if (now->samples) return true;
    size_t cause = strcspn(now->words, ";");
    base_errors_add(errors, BASE_FILE, (base_place){.file = address}, "%.*s|%s", (int)cause,
                    *now->words ? now->words : "it does not answer in time",
                    now->words[cause] ? now->words + cause + 2 : "switch it on; look at its cable");
    return false;
}
