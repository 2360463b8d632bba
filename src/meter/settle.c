/* Is it a reading yet? A pure function of the last samples.
 *
 * Windows of growing length are tried. In one the samples are fitted by a line, and by a line with
 * a regular beat (the mains' ripple against the meter's own pace). The reading has settled when
 * what is left is small and the line so flat, its error counted in, that what is still to come is
 * within what a reading here is good for. perf/settle.c measures how often that is wrong. */
#include "meter_impl.h"

#include <math.h>
#include <string.h>

#define FEWEST 6
#define GAP_S 1.5     /* samples further apart are not of one run */
#define SPREAD 0.002  /* of the reading */
#define SLOPE 0.0003  /* of the reading, each second */
#define SPREAD_V 0.01 /* what nobody minds on a cathode */
#define SLOPE_V 0.0015
#define ROUNDING 0.29  /* of the last digit, one standard deviation: 1 / sqrt(12) */
#define SURE 2.0       /* standard errors */
#define LEAP 0.6       /* of the way over a window */
#define FAST 30.0      /* times the slope that may be: no beat is sought on that */
#define RIPPLE 0.03    /* of the reading: more is a fault of its own */
#define NOTHING_V 0.5  /* less than that may be an open probe */
#define EXPECTED_V 5.0 /* where that much is expected, nothing is asked about */
#define FIT_S 10.0     /* of the past, for a falling curve */

static const double windows[] = {0.8, 1.6, 3.2, 6.4};
#define WINDOWS (sizeof windows / sizeof *windows)

static const char *const names[METER_STATES] = {
    [METER_WAIT] = "wait",          [METER_SETTLED] = "settled",   [METER_FALLING] = "falling",
    [METER_RISING] = "rising",      [METER_UNSTABLE] = "unstable", [METER_OPEN] = "open",
    [METER_OVERLOADED] = "overload"};

const char *meter_state_name(meter_state state) {
    return names[state];
}

typedef struct run { /* the numbers at the end, without a gap */
    double t[METER_KEPT], y[METER_KEPT];
    size_t count;
    const meter_rules *rules;
    double digit;
} run;

static void take_run(run *run, const meter_sample *sample, size_t count) {
    size_t first = count;
    while (first > 0 && count - first < METER_KEPT && sample[first - 1].word == METER_NUMBER) {
        if (first < count && sample[first].s - sample[first - 1].s > GAP_S) break;
        first--;
    }
    for (size_t i = first; i < count; i++) {
        run->t[run->count] = sample[i].s;
        run->y[run->count++] = sample[i].volts;
    }
}

/* How many of the last samples lie within `seconds`; 0: the run is shorter. */
static size_t within(const run *run, double seconds) {
    size_t n = run->count;
    double end = n ? run->t[n - 1] : 0;
    if (n < FEWEST || end - run->t[0] < 0.95 * seconds) return 0;
    while (n > FEWEST && end - run->t[run->count - n] > seconds)
        n--;
    return n;
}

/* ---- one window ---------------------------------------------------------------------------- */

typedef struct judged {
    meter_fit line; /* with the beat, where there is one */
    double window_s;
    bool settled, steady; /* steady: small about its line, whatever that does */
} judged;

static double spread_limit(const run *run, double volts) {
    return fmax(fmax(2 * run->digit, SPREAD_V), SPREAD * fabs(volts));
}

static double slope_limit(const run *run, double volts) {
    return fmax(fmax(0.15 * run->digit, SLOPE_V), SLOPE * fabs(volts));
}

/* The beat that explains most, from two periods in the window to the fastest that can be told. */
static void fit_window(const run *run, size_t n, meter_fit *fit) {
    const double *t = run->t + run->count - n, *y = run->y + run->count - n;
    double length = t[n - 1] - t[0], fastest = 0.5 * (double)(n - 1) / length;
    meter_fit plain, beat;
    meter_fit_points(t, y, n, 0, &plain);
    *fit = plain;
    if (n < 12 || plain.spread < 0.5 * spread_limit(run, plain.mean)) return;
    if (fabs(plain.slope) > FAST * slope_limit(run, plain.mean)) return;
    for (double hertz = 2 / length; hertz < 0.97 * fastest; hertz += 0.3 / length) {
        meter_fit_points(t, y, n, hertz, &beat);
        if (beat.good && beat.spread < fit->spread) *fit = beat;
    }
    if (fit->spread > 0.5 * plain.spread) *fit = plain; /* noise, not a beat */
}

static void judge(const run *run, double seconds, judged *out) {
    size_t n = within(run, seconds);
    *out = (judged){.window_s = seconds};
    if (n == 0) return;
    fit_window(run, n, &out->line);
    const meter_fit *line = &out->line;
    double limit = spread_limit(run, line->mean);
    out->steady = line->good && line->spread <= limit && line->worst <= 4 * limit &&
                  line->beat <= fmax(RIPPLE * fabs(line->mean), limit);
    /* A figure that stands still may hide a drift of part of its last digit. */
    double rounding = ROUNDING * run->digit * sqrt(12.0 / (double)n) / seconds;
    double error = hypot(line->slope_error, rounding);
    out->settled = out->steady && fabs(line->slope) + SURE * error <= slope_limit(run, line->mean);
}

/* ---- what it does instead ------------------------------------------------------------------ */

/* Most of the way in one leap: a probe that was put elsewhere, not something that moves. */
static bool leaps(const run *run, double seconds) {
    size_t n = within(run, seconds), first = run->count - n;
    double leap = 0;
    for (size_t i = first + 1; n && i < run->count; i++)
        leap = fmax(leap, fabs(run->y[i] - run->y[i - 1]));
    return leap > LEAP * fabs(run->y[run->count - 1] - run->y[first]);
}

static bool moves(const run *run, const meter_fit *line) {
    double length = 4 * line->slope_error;
    return line->good && fabs(line->slope) > fmax(length, slope_limit(run, line->mean));
}

/* The rate of a fall to nothing by its logarithm, over the samples from `from` on; 0: no fall. */
static double rate_of(const run *run, size_t from, size_t to, double *error) {
    double logs[METER_KEPT];
    meter_fit fit;
    for (size_t i = from; i < to; i++)
        logs[i - from] = log(fabs(run->y[i]));
    meter_fit_points(run->t + from, logs, to - from, 0, &fit);
    *error = fit.slope_error;
    return fit.good ? -fit.slope : 0;
}

/* Time constant; NAN: not falling to nothing, or not by one. The two halves must agree: what falls
 * ever slower ends somewhere else. */
static double fall_of(const run *run) {
    size_t from = run->count;
    double end = run->t[run->count - 1], sign = copysign(1, run->y[run->count - 1]);
    while (from > 0 && end - run->t[from - 1] < FIT_S && sign * run->y[from - 1] > 10 * run->digit)
        from--;
    if (run->count - from < 2 * FEWEST) return NAN;
    size_t half = (from + run->count) / 2;
    double early_error, late_error, error;
    double early = rate_of(run, from, half, &early_error);
    double late = rate_of(run, half, run->count, &late_error);
    double whole = rate_of(run, from, run->count, &error);
    bool slower = late < 0.9 * early && early - late > 3 * hypot(early_error, late_error);
    return whole > 3 * error && !slower ? 1 / whole : NAN;
}

static double time_to(double volts, double limit, double tau) {
    return fabs(volts) <= limit ? 0 : tau * log(fabs(volts) / limit);
}

static void tell_fall(const run *run, meter_settled *out) {
    out->tau_s = fall_of(run);
    out->to_60_s = time_to(out->volts, 60, out->tau_s);
    out->to_1_s = time_to(out->volts, 1, out->tau_s);
    out->words = isfinite(out->tau_s) ? "It is falling." : "It is falling, ever more slowly.";
}

static bool nothing_there(const run *run, double volts) {
    double expected = run->rules->expected_v;
    bool wanted = isnan(expected) || fabs(expected) > EXPECTED_V;
    return wanted && fabs(volts) < NOTHING_V;
}

/* Not settled: what is it? */
static void classify(const run *run, const judged *best, meter_settled *out) {
    const meter_fit *line = &best->line;
    bool toward = line->slope * line->mean < 0;
    if (nothing_there(run, line->mean)) {
        out->state = METER_OPEN;
        out->words = "Nothing is at the probe.";
    } else if (moves(run, line) && !leaps(run, best->window_s)) {
        out->state = toward ? METER_FALLING : METER_RISING;
        out->words = "It is rising.";
        out->volts = line->at_end;
        if (toward) tell_fall(run, out);
    } else {
        out->state = METER_UNSTABLE;
        out->words = line->beat > fmax(RIPPLE * fabs(line->mean), spread_limit(run, line->mean))
                         ? "It swings."
                         : "It is not steady: look at the probe.";
    }
}

/* ---- the whole ----------------------------------------------------------------------------- */

static void fill(meter_settled *out, const judged *from) {
    out->volts = from->line.mean;
    out->spread_v = from->line.spread;
    out->slope = from->line.slope;
    out->ripple_v = from->line.beat;
    out->window_s = from->window_s;
}

static bool overloaded(const meter_sample *sample, size_t count) {
    if (count < 3) return false;
    for (size_t i = count - 3; i < count; i++)
        if (sample[i].word != METER_OVERLOAD) return false;
    return true;
}

static void accept(const run *run, const judged *best, meter_settled *out) {
    fill(out, best);
    out->state = METER_SETTLED;
    out->words = "It is steady.";
    double expected = run->rules->expected_v;
    out->quiet_zero =
        fabs(expected) > EXPECTED_V && fabs(out->volts) < fmax(NOTHING_V, 0.01 * fabs(expected));
}

void meter_settle(const meter_sample *sample, size_t count, const meter_rules *rules,
                  meter_settled *out) {
    run run = {.rules = rules, .digit = rules->digit_v > 0 ? rules->digit_v : 1e-3};
    judged now, best = {0}, longest = {0};
    *out = (meter_settled){
        .volts = NAN, .tau_s = NAN, .to_60_s = NAN, .to_1_s = NAN, .words = "No reading yet."};
    take_run(&run, sample, count);
    if (overloaded(sample, count)) {
        out->state = METER_OVERLOADED;
        out->words = "More than the meter's range.";
        return;
    }
    if (run.count) out->volts = run.y[run.count - 1];
    for (size_t w = 0; w < WINDOWS; w++) {
        judge(&run, windows[w], &now);
        if (now.settled && !best.settled) best = now;
        /* What drifts over the longer time has not settled in the shorter. */
        if (now.steady && fabs(now.line.slope) > slope_limit(&run, now.line.mean))
            best.settled = false;
        if (now.line.good && windows[w] <= 3.2) longest = now;
    }
    if (best.settled) {
        accept(&run, &best, out);
        return;
    }
    if (!longest.line.good) return;
    fill(out, &longest);
    classify(&run, &longest, out);
}
