/* Streams of samples as meters give them, made by seeded generators, each with what is true: the
 * value at which it will come to rest. Shared by the tests and perf/settle.c. The ranges are
 * judgement: what amps, probes and meters do, a little worse than they mostly do. */
#ifndef GRIDLEAK_TESTS_METER_STREAMS_H
#define GRIDLEAK_TESTS_METER_STREAMS_H

#include "meter.h"

#include <math.h>
#include <string.h>

typedef enum stream_kind {
    STREAM_STEADY,   /* noise and the mains' wandering, no more */
    STREAM_APPROACH, /* to its rest by one exponential, 0.05 to 8 s */
    STREAM_TWO,      /* by two */
    STREAM_WARMING,  /* from nothing, 8 to 25 s */
    STREAM_DRAIN,    /* to nothing: never at rest before it is there */
    STREAM_SLIPS,    /* the probe loses the pin and finds it again */
    STREAM_OPEN,     /* nothing at the probe where volts are expected */
    STREAM_RIPPLE,   /* a beat of up to 3 % */
    STREAM_DIGITS,   /* now and then a digit is another */
    STREAM_SWING,    /* a tremolo, motorboating */
    STREAM_KINDS
} stream_kind;

static const char *const stream_names[STREAM_KINDS] = {
    "steady", "approach", "approach, two", "warming up",   "drain",
    "slips",  "open",     "ripple",        "wrong digits", "swings by itself"};

typedef struct stream {
    stream_kind kind;
    base_random random;
    double rest, expected; /* V */
    double tau, tau2, away, away2;
    double noise, digit, rate, hertz, phase, beat;
    double next_slip, slip_ends, drift;
    double s;
} stream;

static inline double stream_between(base_random *random, double low, double high) {
    return low * pow(high / low, base_random_unit(random)); /* by ratio */
}

static inline void stream_begin(stream *stream, stream_kind kind, uint64_t seed) {
    base_random *random = &stream->random;
    memset(stream, 0, sizeof *stream);
    base_random_seed(random, seed * 977 + (uint64_t)kind);
    stream->kind = kind;
    stream->rest = stream_between(random, 0.5, 450) * (base_random_unit(random) < 0.15 ? -1 : 1);
    stream->expected =
        base_random_unit(random) < 0.5 ? NAN : stream->rest * stream_between(random, 0.5, 2);
    stream->noise = stream_between(random, 2e-5, 5e-4);
    stream->digit = base_random_unit(random) < 0.5 ? 0.01 : 0.001;
    stream->rate = stream_between(random, 3, 20);
    stream->tau = stream_between(random, 0.05, 8);
    stream->tau2 = stream_between(random, 0.05, 8);
    stream->away =
        stream->rest * stream_between(random, 0.02, 1) * (base_random_unit(random) < 0.5 ? -1 : 1);
    stream->away2 = 0.5 * stream->away * (base_random_unit(random) - 0.5);
    stream->hertz = stream_between(random, 0.3, 0.48 * stream->rate);
    stream->phase = 2 * M_PI * base_random_unit(random);
    stream->beat = stream_between(random, 0.001, 0.03);
    stream->next_slip = stream_between(random, 0.3, 3);
    if (kind == STREAM_WARMING) {
        stream->tau = stream_between(random, 8, 25);
        stream->away = -stream->rest;
    } else if (kind == STREAM_DRAIN) {
        stream->tau = stream_between(random, 0.5, 500);
        stream->away = stream_between(random, 80, 450);
        stream->rest = 0;
        stream->expected = NAN;
    } else if (kind == STREAM_OPEN) {
        stream->expected = stream_between(random, 10, 450);
        stream->drift = stream_between(random, 0.02, 0.3);
        stream->tau = stream_between(random, 0.1, 1);
    } else if (kind == STREAM_SWING) {
        stream->hertz = stream_between(random, 0.5, 9);
        stream->beat = stream_between(random, 0.05, 0.5);
    }
}

/* The mains wanders: a few thousandths in half a minute. */
static inline double stream_wander(const stream *stream) {
    return 1 + 0.0010 * sin(0.2 * stream->s + stream->phase) +
           0.0006 * sin(0.63 * stream->s + 2 * stream->phase);
}

static inline double stream_open_volts(stream *stream) {
    double held = 2 * exp(-stream->s / stream->tau);
    stream->beat += 0.1 * stream->drift * base_random_normal(&stream->random);
    stream->beat *= 0.98;
    return held + stream->beat + 0.3 * stream->drift * base_random_normal(&stream->random);
}

static inline double stream_slips(stream *stream, double volts) {
    if (stream->s >= stream->next_slip) {
        stream->slip_ends = stream->s + stream_between(&stream->random, 0.05, 1);
        stream->next_slip = stream->slip_ends + stream_between(&stream->random, 0.2, 4);
    }
    if (stream->s >= stream->slip_ends) return volts;
    return 0.05 * base_random_normal(&stream->random) +
           0.2 * volts * base_random_unit(&stream->random);
}

/* What stands there now, without noise. */
static inline double stream_there(stream *stream) {
    double s = stream->s, rest = stream->rest * stream_wander(stream);
    switch (stream->kind) {
    case STREAM_WARMING:
    case STREAM_APPROACH:
        return rest + stream->away * exp(-s / stream->tau);
    case STREAM_TWO:
        return rest + stream->away * exp(-s / stream->tau) + stream->away2 * exp(-s / stream->tau2);
    case STREAM_DRAIN:
        return stream->away * exp(-s / stream->tau);
    case STREAM_SLIPS:
        return stream_slips(stream, rest);
    case STREAM_OPEN:
        return stream_open_volts(stream);
    case STREAM_RIPPLE:
    case STREAM_SWING:
        return rest * (1 + stream->beat * sin(2 * M_PI * stream->hertz * s + stream->phase));
    default:
        return rest;
    }
}

/* One digit of the figure becomes another. */
static inline double stream_garble(stream *stream, double volts) {
    if (base_random_unit(&stream->random) > 0.04) return volts;
    double place =
        pow(10, floor(log10(fabs(volts) + 1e-9)) - floor(4 * base_random_unit(&stream->random)));
    return volts + place * (1 + floor(8 * base_random_unit(&stream->random)));
}

static inline meter_sample stream_next(stream *stream) {
    stream->s += (0.9 + 0.2 * base_random_unit(&stream->random)) / stream->rate;
    double volts = stream_there(stream);
    volts +=
        base_random_normal(&stream->random) * (stream->noise * fabs(volts) + 0.3 * stream->digit);
    if (stream->kind == STREAM_DIGITS) volts = stream_garble(stream, volts);
    return (meter_sample){stream->s, round(volts / stream->digit) * stream->digit, METER_NUMBER};
}

/* How far a reading taken may lie from where it comes to rest: 1 % and a few digits. */
static inline bool stream_right(const stream *stream, double volts) {
    return fabs(volts - stream->rest) <= 0.01 * fabs(stream->rest) + 0.02 + 2 * stream->digit;
}

/* Runs for `seconds`; true: something was taken, *volts and *s say what and when. What asks to be
 * confirmed is not taken. */
static inline bool stream_run(stream *stream, double seconds, double *volts, double *s) {
    meter_sample kept[METER_KEPT];
    meter_rules rules = {stream->digit, stream->expected, 0};
    meter_settled settled;
    size_t count = 0;
    while (stream->s < seconds) {
        if (count == METER_KEPT) memmove(kept, kept + 1, --count * sizeof *kept);
        kept[count++] = stream_next(stream);
        meter_settle(kept, count, &rules, &settled);
        if (settled.state != METER_SETTLED || settled.quiet_zero) continue;
        *volts = settled.volts;
        *s = stream->s;
        return true;
    }
    return false;
}

#endif
