/* Watching a capacitor being emptied. It is empty only by what was seen: a smooth way down from
 * above the limit to below it. A reading that is suddenly nothing is a clip that came off until
 * somebody looks. */
#include "meter_impl.h"

#include <math.h>

#define ABOVE_NOTHING_V 1.0
#define STAYS_S 1.5    /* below the limit for that long */
#define LOST_PART 0.4  /* of the volts, gone between two samples */
#define FASTEST_S 0.25 /* a drain through a resistor is slower than this time constant */
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
    [METER_DRAIN_LOST] = "The volts went at once: a clip may be off. This is not an empty "
                         "capacitor. Look at both clips; do not touch the parts."};

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
                           .before_v = NAN,
                           .words = words[METER_DRAIN_LOOKING]};
}

/* More gone since the sample before than a drain through a resistor takes. */
static bool gone_at_once(const meter_drain *drain, double size, double s) {
    double before = fabs(drain->before_v), passed = s - drain->before_s;
    if (!(before > METER_DRAIN_LIMIT / 4) || !(passed > 0)) return false;
    return size < before * (1 - LOST_PART) && size < before * exp(-passed / FASTEST_S);
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
        drain->before_v = NAN;
        if (drain->state != METER_DRAIN_LOOKING) enter(drain, METER_DRAIN_LOST, sample->s);
        return;
    }
    bool gone = gone_at_once(drain, size, sample->s);
    keep_numbers(drain, sample->volts, settled);
    drain->before_v = sample->volts;
    drain->before_s = sample->s;
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
