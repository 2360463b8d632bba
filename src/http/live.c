#include "live_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TELL_S 0.095 /* ten times a second is as much as anybody reads */

static meter_now no_meter(void) {
    meter_now none = {.last = {NAN, NAN, METER_NAN}};
    meter_rules rules = {NAN, NAN, 0};
    meter_settle(NULL, 0, &rules, &none.settled);
    return none;
}

http_live *http_live_new(http_server *server) {
    http_live *live = calloc(1, sizeof *live);
    if (!live) return NULL;
    live->server = server;
    live->now = no_meter();
    live->seq = (unsigned)(http_now(server) / 1000 % 1000000000); /* above that of a run before */
    live->taken_v = live->chance = NAN;
    pthread_mutex_init(&live->changing, NULL);
    pthread_mutex_init(&live->lock, NULL);
    meter_guide_begin(&live->guide);
    meter_drain_begin(&live->drain);
    return live;
}

void http_live_free(http_live *live) {
    if (!live) return;
    meter_stop(live->meter);
    pthread_mutex_destroy(&live->changing);
    pthread_mutex_destroy(&live->lock);
    free(live);
}

/* ---- the meter's thread -------------------------------------------------------------------- */

static bool same_picture(const meter_now *a, const meter_now *b) {
    return a->status == b->status && a->settled.state == b->settled.state &&
           a->last.word == b->last.word && a->ac == b->ac;
}

static void tell_meter(http_live *live, bool changed) {
    double now = meter_ticks();
    if (!changed && now - live->told_s < TELL_S) return;
    live->told_s = now;
    if (http_events_listeners(live->server->events))
        http_events_pass(live->server->events, "meter", http_live_meter_json(live));
}

static void advance_guide(http_live *live) {
    if (!meter_guide_sample(&live->guide, &live->now)) return;
    if (live->guide.step == METER_TAKEN) {
        http_captured captured;
        http_live_capture(live, &captured);
        http_live_go_on(live, &captured);
    }
    http_live_tell_guide(live);
}

static void advance_drain(http_live *live) {
    meter_drain_state before = live->drain.state;
    if (live->now.status == METER_READING) {
        meter_drain_step(&live->drain, &live->now.last, &live->now.settled);
    } else {
        meter_sample none = {meter_ticks(), NAN, METER_NAN};
        meter_drain_step(&live->drain, &none, &live->now.settled);
    }
    if (live->drain.record) {
        http_captured captured;
        live->drain.record = false;
        http_live_capture(live, &captured);
        http_live_go_on(live, &captured);
    }
    if (live->drain.state != before) http_live_tell_guide(live);
}

/* Called by the meter's own thread. */
static void on_meter(void *context, const meter_now *now) {
    http_live *live = context;
    pthread_mutex_lock(&live->lock);
    bool changed = !same_picture(&live->now, now);
    live->now = *now;
    tell_meter(live, changed);
    if (live->lead == HTTP_LEAD_PROBE)
        advance_guide(live);
    else if (live->lead == HTTP_LEAD_DRAIN)
        advance_drain(live);
    pthread_mutex_unlock(&live->lock);
}

/* ---- connecting ---------------------------------------------------------------------------- */

/* The old one is stopped without the lock: its thread may be waiting for it. */
static void let_go(http_live *live) {
    meter *old = live->meter;
    pthread_mutex_lock(&live->lock);
    live->meter = NULL;
    pthread_mutex_unlock(&live->lock);
    meter_stop(old);
    pthread_mutex_lock(&live->lock);
    live->now = no_meter();
    tell_meter(live, true);
    pthread_mutex_unlock(&live->lock);
}

bool http_live_connect(http_live *live, const char *address, const char *profile,
                       base_errors *errors) {
    meter_options options = {.profiles = live->server->options.meters,
                             .profile = profile,
                             .tell = on_meter,
                             .context = live};
    pthread_mutex_lock(&live->changing);
    let_go(live);
    meter *started = address ? meter_start(address, &options, errors) : NULL;
    pthread_mutex_lock(&live->lock);
    live->meter = started;
    if (started) meter_get(started, &live->now);
    pthread_mutex_unlock(&live->lock);
    pthread_mutex_unlock(&live->changing);
    return started || !address;
}

/* ---- starting and stopping to lead --------------------------------------------------------- */

void http_live_tell_guide(http_live *live) {
    live->seq++;
    http_events_tell(live->server->events, "guide", http_live_guide_json(live));
    *live->guide.say = 0; /* spoken once: whoever comes later does not hear it again */
}

static void begin(http_live *live, int64_t job, http_lead lead) {
    live->lead = lead;
    live->job = job;
    live->turn++;
    live->fact = live->drain_fact = 0;
    live->taken_v = live->chance = NAN;
    *live->verdict = *live->leader = *live->what = *live->reason = *live->trouble = 0;
    meter_guide_begin(&live->guide);
    meter_drain_begin(&live->drain);
    live->before = (meter_point){0};
    live->reads = 0;
}

void http_live_probe(http_live *live, int64_t job, const char *phase) {
    pthread_mutex_lock(&live->lock);
    begin(live, job, HTTP_LEAD_PROBE);
    snprintf(live->phase, sizeof live->phase, "%s", phase);
    http_live_go_on(live, NULL);
    http_live_tell_guide(live);
    pthread_mutex_unlock(&live->lock);
}

void http_live_drain(http_live *live, int64_t job, const char *at, double through) {
    pthread_mutex_lock(&live->lock);
    begin(live, job, HTTP_LEAD_DRAIN);
    snprintf(live->drain_at, sizeof live->drain_at, "%s", at);
    live->through = through;
    if (live->meter) meter_measure(live->meter, false);
    if (live->meter) meter_expect(live->meter, NAN);
    http_live_tell_guide(live);
    pthread_mutex_unlock(&live->lock);
}

/* A figure read off a meter without a wire stands for what the meter shows. */
static void type_in(const http_live *live, double volts, meter_now *now) {
    *now = live->now;
    now->status = METER_READING;
    now->last = (meter_sample){meter_ticks(), volts, METER_NUMBER};
    now->settled = (meter_settled){.state = METER_SETTLED, .volts = volts, .spread_v = NAN};
}

static void press_now(http_live *live, meter_press press, const meter_now *now,
                      const char *written) {
    meter_step before = live->guide.step;
    if (!meter_guide_press(&live->guide, press, now)) return;
    if (press == METER_STOP) live->turn++;
    if (live->guide.step == METER_TAKEN) {
        http_captured captured;
        http_live_capture(live, &captured);
        if (written) {
            snprintf(captured.written, sizeof captured.written, "%s", written);
            captured.typed = true;
            captured.samples = 0;
        }
        http_live_go_on(live, &captured);
    } else if (press == METER_SKIP) {
        http_live_go_on(live, NULL);
    } else if (press == METER_BACK && before != METER_STOPPED) {
        http_live_go_back(live);
    }
    http_live_tell_guide(live);
}

void http_live_press(http_live *live, meter_press press, double volts, const char *written) {
    meter_now now;
    pthread_mutex_lock(&live->lock);
    bool typed = isfinite(volts);
    if (typed)
        type_in(live, volts, &now);
    else
        now = live->now;
    if (live->lead == HTTP_LEAD_PROBE) {
        press_now(live, press, &now, typed ? written : NULL);
    } else if (live->lead == HTTP_LEAD_DRAIN && press == METER_STOP) {
        live->turn++;
        live->lead = HTTP_LEAD_NONE;
        http_live_tell_guide(live);
    } else if (live->lead == HTTP_LEAD_DRAIN && press == METER_TAKE &&
               now.last.word == METER_NUMBER && now.status == METER_READING) {
        http_captured captured;
        http_live_capture(live, &captured);
        captured.volts = now.last.volts;
        captured.by_hand = true;
        http_live_go_on(live, &captured);
    }
    pthread_mutex_unlock(&live->lock);
}
