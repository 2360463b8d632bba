/* Another's world as the truth: parts broken in its own terms, severities from another distribution
 * than the prior, a meter and a mains of its own. */
#include "subject.h"

#include <math.h>

/* Not evenly over the range of the catalogue: mild ones more often, and a hump of grave ones. */
static double another_severity(base_random *random) {
    double u = base_random_unit(random);
    if (u < 0.65) return pow(u / 0.65, 1.4);
    double hump = 0.62 + 0.14 * base_random_normal(random);
    return fmin(fmax(hump, 0), 1);
}

bool other_solve(subject *subject, truth *truth, bool random) {
    world *world = subject->world;
    base_random *own = &truth->random, kept = truth->random, ages;
    base_random_seed(&ages, base_random_bits(&kept));
    if (random)
        world_age(world, &ages);
    else
        world_nominal(world);
    for (int k = 0; k < 2; k++) {
        base_random own_stream; /* so that a fault left out changes nothing for the other */
        base_random_seed(&own_stream, base_random_bits(own));
        double severity = another_severity(&own_stream);
        if (truth->fault[k] < 2) continue;
        const diagnose_fault *fault = diagnose_fault_at(subject->engine, (size_t)truth->fault[k]);
        if (!world_break(world, fault, severity)) return false;
    }
    if (truth->kind == KIND_OUTSIDE && !world_break_otherwise(world, own, truth->what))
        return false;
    if (!world_solve(world)) return false;
    for (size_t i = 0; i < subject->places; i++)
        truth->volts[i] =
            world_volts(world, &diagnose_place_at(subject->engine, i)->probe, &truth->by_mains[i]);
    return true;
}

/* The mains drifts (some 1 to 2 % within a row of readings); the meter's gain is its own for the
 * whole row, its last digits jump. */
static double show(truth *truth, size_t place) {
    base_random *random = &truth->random;
    truth->wander = 0.9 * truth->wander + sqrt(1 - 0.81) * base_random_normal(random);
    double volts = truth->volts[place];
    volts += truth->wander_sd * truth->wander * truth->by_mains[place];
    volts *= 1 + truth->gain + 0.0015 * base_random_normal(random);
    double digit = truth_digit(volts);
    volts += truth->offset + digit * round(1.0 * base_random_normal(random));
    return volts;
}

double truth_read(subject *subject, truth *truth, size_t place) {
    double volts = subject->own ? own_noise(subject, truth, place) : show(truth, place);
    double digit = truth_digit(volts);
    return round(volts / digit) * digit;
}
