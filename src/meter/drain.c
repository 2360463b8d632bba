/* Watching a capacitor being emptied. It is empty only by what was seen: a smooth way down from
 * above the limit to below it. A reading that is suddenly nothing is a clip that came off until
 * somebody looks. */
#include "meter_impl.h"

#include <math.h>

#define STAYS_S 1.5   /* below the limit for that long */
#define FASTEST_S 0.7 /* time constant: what falls faster was not seen to fall */
#define LOOK_S 0.18   /* so far apart are two samples that are compared */
#define LOOK_BACK_S 1.0
#define LESS 0.9 /* for the noise */
#define RISES_V 2.0

static const char *const names[METER_DRAIN_STATES] = {
    [METER_DRAIN_LOOKING] = "looking",  [METER_DRAIN_CHARGED] = "charged",
    [METER_DRAIN_FALLING] = "falling",  [METER_DRAIN_STUCK] = "stuck",
    [METER_DRAIN_BELOW] = "below 60 V", [METER_DRAIN_RISING] = "rising again",
    [METER_DRAIN_LOST] = "clip off"};

static const char *const words[METER_DRAIN_STATES] = {
    [METER_DRAIN_LOOKING] = "Clip the meter across the capacitor.",
    [METER_DRAIN_CHARGED] = "It is charged, and does not fall. Drain it through the resistor.",
    [METER_DRAIN_FALLING] = "It is falling. Wait.",
    [METER_DRAIN_STUCK] = "It falls ever more slowly and may stay above 60 volts. Look at the "
                          "drain resistor and its clips.",
    [METER_DRAIN_BELOW] = "Below 60 volts, and it came down smoothly. Leave the clip on.",
    [METER_DRAIN_RISING] = "It rises again: the capacitor gives back what it had soaked up. Drain "
                           "it again, and leave the drain resistor on.",
    [METER_DRAIN_LOST] =
        "The volts went at once, or there is no reading: a clip may be off. This is "
        "not an empty capacitor. Look at both clips, lift one and touch again; "
        "do not touch the parts.",
};

const char *meter_drain_name(meter_drain_state state) {
    return names[state];
}

static void enter(meter_drain *drain, meter_drain_state state, double s) {
    if (drain->state != state) drain->since_s = s;
    drain->state = state;
    drain->words = words[state];
}

void meter_drain_begin(meter_drain *drain) {
    *drain = (meter_drain){.volts = NAN,
                           .low_v = NAN,
                           .tau_s = NAN,
                           .to_60_s = NAN,
                           .to_1_s = NAN,
                           .words = words[METER_DRAIN_LOOKING]};
}

/* Gone faster than can be told from a clip that came off: a meter's own filter takes some tenths of
 * a second to show nothing, and a capacitor through a small resistor less than that. */
static bool gone_at_once(const meter_drain *drain, double size, double s) {
    for (size_t i = 0; i < METER_DRAIN_KEPT; i++) {
        double before = fabs(drain->kept[i].volts), passed = s - drain->kept[i].s;
        if (!(before > METER_DRAIN_LIMIT / 4) || passed < LOOK_S || passed > LOOK_BACK_S) continue;
        if (size < LESS * before * exp(-passed / FASTEST_S)) return true;
    }
    return false;
}

static void keep_sample(meter_drain *drain, double volts, double s) {
    drain->next = (drain->next + 1) % METER_DRAIN_KEPT;
    drain->kept[drain->next].volts = volts;
    drain->kept[drain->next].s = s;
}

static void keep_numbers(meter_drain *drain, double volts, const meter_settled *settled) {
    drain->volts = volts;
    drain->most_v = fmax(drain->most_v, fabs(volts));
    drain->tau_s = settled->tau_s;
    drain->to_60_s = settled->to_60_s;
    drain->to_1_s = settled->to_1_s;
}

static void above_limit(meter_drain *drain, const meter_settled *settled, double s) {
    drain->low_v = NAN;
    drain->record = false;
    if (settled->state == METER_FALLING)
        enter(drain, isfinite(settled->tau_s) ? METER_DRAIN_FALLING : METER_DRAIN_STUCK, s);
    else if (settled->state == METER_SETTLED || settled->state == METER_RISING)
        enter(drain, METER_DRAIN_CHARGED, s);
    drain->smooth = true; /* until the fall is broken */
}

static void below_limit(meter_drain *drain, double size, double s) {
    if (isnan(drain->low_v)) {
        drain->low_v = size;
        enter(drain, METER_DRAIN_FALLING, s);
        drain->since_s = s;
    }
    drain->low_v = fmin(drain->low_v, size);
    if (size > drain->low_v + fmax(RISES_V, 0.1 * drain->low_v))
        enter(drain, METER_DRAIN_RISING, s);
    else if (drain->state == METER_DRAIN_FALLING && drain->smooth &&
             s - drain->since_s >= STAYS_S) {
        enter(drain, METER_DRAIN_BELOW, s);
        drain->record = true;
    }
}

void meter_drain_step(meter_drain *drain, const meter_sample *sample,
                      const meter_settled *settled) {
    double size = fabs(sample->volts);
    if (sample->word != METER_NUMBER) {
        if (sample->word == METER_OVERLOAD) return;
        drain->smooth = false;
        drain->record = false;
        if (drain->state != METER_DRAIN_LOOKING) enter(drain, METER_DRAIN_LOST, sample->s);
        return;
    }
    bool gone = gone_at_once(drain, size, sample->s);
    keep_numbers(drain, sample->volts, settled);
    keep_sample(drain, sample->volts, sample->s);
    if (gone) {
        drain->smooth = drain->record = false;
        drain->low_v = NAN;
        enter(drain, METER_DRAIN_LOST, sample->s);
    } else if (size >= METER_DRAIN_LIMIT) {
        above_limit(drain, settled, sample->s);
    } else if (drain->smooth) {
        below_limit(drain, size, sample->s);
    }
}
