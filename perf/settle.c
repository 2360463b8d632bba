/* settle: how often is a reading taken that is none yet? Streams of samples of every kind, each
 * with what it will come to rest at; the first reading that would be taken is held against that.
 * Beside it the plain rule: the last second within 0.2 %. */
#include "meter/streams.h"

#include <gsl/gsl_cdf.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define SECONDS 40.0

typedef struct tally {
    long tried, taken, wrong, plain_taken, plain_wrong;
    double seconds;
} tally;

/* Upper end of the one-sided 95 % interval (Clopper and Pearson). */
static double bound(long wrong, long tried) {
    return tried ? gsl_cdf_beta_Pinv(0.95, (double)wrong + 1, (double)(tried - wrong)) : 1;
}

static bool plain_rule(stream *stream, double *volts) {
    meter_sample kept[64];
    size_t count = 0;
    while (stream->s < SECONDS) {
        if (count == 64) memmove(kept, kept + 1, --count * sizeof *kept);
        kept[count++] = stream_next(stream);
        double low = INFINITY, high = -INFINITY, sum = 0, n = 0;
        for (size_t i = 0; i < count; i++) {
            if (stream->s - kept[i].s > 1) continue;
            low = fmin(low, kept[i].volts);
            high = fmax(high, kept[i].volts);
            sum += kept[i].volts;
            n++;
        }
        bool whole = kept[count - 1].s - kept[0].s >= 1 && n >= 3;
        if (!whole || high - low > 0.002 * fabs(sum / n) + 2 * stream->digit) continue;
        *volts = sum / n;
        return true;
    }
    return false;
}

static void try_one(stream_kind kind, uint64_t seed, tally *tally) {
    stream stream;
    double volts, s;
    stream_begin(&stream, kind, seed);
    tally->tried++;
    if (stream_run(&stream, SECONDS, &volts, &s)) {
        tally->taken++;
        tally->wrong += !stream_right(&stream, volts);
        tally->seconds += s;
    }
    stream_begin(&stream, kind, seed);
    if (!plain_rule(&stream, &volts)) return;
    tally->plain_taken++;
    tally->plain_wrong += !stream_right(&stream, volts);
}

static void add(tally *sum, const tally *one) {
    sum->tried += one->tried;
    sum->taken += one->taken;
    sum->wrong += one->wrong;
    sum->plain_taken += one->plain_taken;
    sum->plain_wrong += one->plain_wrong;
    sum->seconds += one->seconds;
}

static void print(const char *name, const tally *tally) {
    printf("%-18s %7ld %7ld %7ld  %8.5f %8.5f   %6.2f   %7ld %7ld\n", name, tally->tried,
           tally->taken, tally->wrong, (double)tally->wrong / (double)tally->tried,
           bound(tally->wrong, tally->tried),
           tally->taken ? tally->seconds / (double)tally->taken : 0, tally->plain_taken,
           tally->plain_wrong);
}

static double time_of_one(void) {
    stream stream;
    meter_sample kept[METER_KEPT];
    meter_settled settled;
    struct timespec a, b;
    stream_begin(&stream, STREAM_SWING, 1);
    for (size_t i = 0; i < METER_KEPT; i++)
        kept[i] = stream_next(&stream);
    meter_rules rules = {0.01, NAN, 0};
    clock_gettime(CLOCK_MONOTONIC, &a);
    for (int i = 0; i < 200; i++)
        meter_settle(kept, METER_KEPT, &rules, &settled);
    clock_gettime(CLOCK_MONOTONIC, &b);
    return (1e6 * (double)(b.tv_sec - a.tv_sec) + 1e-3 * (double)(b.tv_nsec - a.tv_nsec)) / 200;
}

int main(int count, char **arguments) {
    long each = count > 1 ? atol(arguments[1]) : 700;
    tally all = {0}, unsettled = {0};
    printf("%-18s %7s %7s %7s  %8s %8s   %6s   %s\n", "stream", "tried", "taken", "wrong", "share",
           "95 % <", "s", "plain rule: taken, wrong");
    for (int kind = 0; kind < STREAM_KINDS; kind++) {
        tally own = {0};
        for (long i = 0; i < each; i++)
            try_one((stream_kind)kind, (uint64_t)i + 1, &own);
        print(stream_names[kind], &own);
        add(&all, &own);
        if (kind != STREAM_STEADY) add(&unsettled, &own);
    }
    print("all that move", &unsettled);
    printf("one judgement at its dearest: %.0f us\n", time_of_one());
    bool good = bound(unsettled.wrong, unsettled.tried) < 1e-3;
    printf("false acceptance under 1 in 1,000: %s\n", good ? "yes" : "NO");
    return !good;
}
