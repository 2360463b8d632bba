/* Any bytes from a meter: its replies, a stream of them through settling, the drain watch and the
 * guide, and any bytes to the simulated one. Nothing crashes; a number is a number. */
#include "meter_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(bool holds) {
    if (!holds) abort();
}

typedef struct desk {
    meter_sample kept[METER_KEPT];
    size_t count;
    double s;
    meter_drain drain;
    meter_guide guide;
    meter_sim *sim;
    meter_sim_state state;
} desk;

static void show(desk *desk, meter_word word, double volts) {
    meter_rules rules = {desk->count % 3 ? 0.01 : 0, desk->count % 2 ? 250 : NAN, 0};
    meter_now now = {.status = METER_READING, .digit_v = 0.01};
    if (desk->count == METER_KEPT)
        memmove(desk->kept, desk->kept + 1, --desk->count * sizeof *desk->kept);
    desk->kept[desk->count++] = now.last = (meter_sample){desk->s, volts, word};
    meter_settle(desk->kept, desk->count, &rules, &now.settled);
    demand(now.settled.state < METER_STATES && now.settled.words);
    demand(now.settled.state != METER_SETTLED || isfinite(now.settled.volts));
    meter_drain_step(&desk->drain, &now.last, &now.settled);
    demand(desk->drain.state < METER_DRAIN_STATES && desk->drain.words);
    demand(!desk->drain.record || fabs(desk->drain.volts) < METER_DRAIN_LIMIT);
    meter_guide_sample(&desk->guide, &now);
    if (desk->guide.step == METER_TAKEN) {
        demand(isfinite(desk->guide.taken.volts));
        meter_guide_point(&desk->guide, &desk->guide.point, &now);
    }
}

static void press(desk *desk, const char *line) {
    meter_now now = {.status = METER_READING, .last = {desk->s, 1, METER_NUMBER}};
    meter_point point = {.bits = 1, .cost = 1, .expected_v = 100, .spread_v = 2};
    snprintf(point.at, sizeof point.at, "%.60s", line);
    char words[METER_SAY];
    demand(strlen(meter_say_place(line, words, sizeof words)) < sizeof words);
    meter_guide_press(&desk->guide, (meter_press)(line[0] & 3), &now);
    if (desk->guide.step == METER_IDLE) meter_guide_point(&desk->guide, &point, &now);
    demand(meter_travel(&point, &desk->guide.point) >= 0);
}

static void one_line(desk *desk, const char *line, size_t length) {
    char text[METER_LINE + 1], reply[METER_SIM_REPLY];
    double volts;
    meter_word word = meter_reply_read(line, length, &volts);
    demand((word == METER_NUMBER) == (isfinite(volts) != 0));
    demand(word != METER_NUMBER || fabs(volts) <= 1e6);
    desk->s += length % 7 ? 0.1 : 2;
    show(desk, word, volts);
    size_t kept = length < METER_LINE ? length : METER_LINE;
    memcpy(text, line, kept);
    text[kept] = 0;
    meter_is_identity(text);
    meter_sim_answer(desk->sim, &desk->state, text, reply);
    demand(strlen(reply) < METER_SIM_REPLY);
    press(desk, text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    base_errors *errors = base_errors_new();
    meter_sim_options options = {.seed = 1, .range_v = 1000, .rate = 10};
    desk desk = {.sim = meter_sim_new(&options, errors)};
    const char *at = (const char *)data, *end = at + size;
    demand(desk.sim != NULL);
    meter_drain_begin(&desk.drain);
    meter_guide_begin(&desk.guide);
    for (int lines = 0; at < end && lines < 400; lines++) {
        const char *stop = memchr(at, '\n', (size_t)(end - at));
        if (!stop) stop = end;
        one_line(&desk, at, (size_t)(stop - at));
        at = stop + 1;
    }
    meter_sim_free(desk.sim);
    base_errors_free(errors);
    return 0;
}
