/* The engine's own generative model: its solver, its latents, its priors, its noise. */
#include "diagnose_impl.h"
#include "subject.h"

#include <stdlib.h>
#include <string.h>

typedef struct own {
    solve_work *work;
    double *numbers, *x, *more;
} own;

bool own_open(subject *subject) {
    size_t slots = solve_slots(subject->system), unknowns = solve_unknowns(subject->system);
    own *own = subject->of_own = calloc(1, sizeof *own);
    if (!own) return false;
    own->work = solve_work_new(subject->system);
    own->numbers = calloc(slots, sizeof(double));
    own->x = calloc(unknowns, sizeof(double));
    own->more = calloc(unknowns, sizeof(double));
    return own->work && own->numbers && own->x && own->more;
}

void own_close(subject *subject) {
    own *own = subject->of_own;
    if (!own) return;
    solve_work_free(own->work);
    free(own->numbers);
    free(own->x);
    free(own->more);
    free(own);
}

double own_pairs(const subject *subject) {
    return subject->engine->number[NUMBER_TWO_FAULTS];
}

/* One draw of every latent: what the engine takes to vary between good amps. */
static void draw_latents(const subject *subject, base_random *random, double *numbers) {
    const diagnose_latents *latents = &subject->engine->latents;
    for (int l = 0; l < latents->count; l++) {
        double z = base_random_normal(random);
        for (int k = 0; k < 2; k++) {
            int slot = latents->latent[l].slot[k];
            if (slot < 0) continue;
            bool gas = solve_slot_at(subject->system, (size_t)slot)->what == SOLVE_GAS;
            double by = latents->latent[l].by[k] * z;
            numbers[slot] = gas ? fmax(numbers[slot] + by, 0) : numbers[slot] * exp(by);
        }
    }
}

/* A severity as the engine has it: a cell by its weight, anywhere in the cell. */
static void set_fault(const subject *subject, truth *truth, int index, double *numbers) {
    double at = base_random_unit(&truth->random), within = base_random_unit(&truth->random) - 0.5;
    int k = 0;
    if (index < 2) return;
    const diagnose_fault *fault = &subject->engine->catalogue.fault[index];
    within *= sqrt(12) * fault->cell;
    while (k + 1 < fault->severities && at >= fault->weight[k])
        at -= fault->weight[k++];
    for (int s = 0; s < fault->sets; s++) {
        numbers[fault->slot[s]] = fault->number[s][k] * exp(within);
        if (fault->slot[s] == subject->engine->mains_slot) truth->mains_set = true;
    }
}

static bool solve_numbers(const subject *subject, double *x) {
    own *own = subject->of_own;
    return solve_point(own->work, own->numbers, subject->engine->bench.x, x).outcome <=
           SOLVE_CONTINUED;
}

/* The meter truly joined where it loads. */
static double volts_at(const subject *subject, const double *x, const solve_probe *probe) {
    own *own = subject->of_own;
    double source = 0, shown = solve_read(own->work, own->numbers, x, probe, NULL, &source);
    if (probe->heater || !isfinite(probe->meter_ohms)) return shown;
    if (source < 0.01 * probe->meter_ohms) return shown;
    double joined = solve_read_loaded(own->work, own->numbers, x, probe);
    return isfinite(joined) ? joined : shown;
}

static void slope_by_mains(subject *subject, truth *truth) {
    own *own = subject->of_own;
    int slot = subject->engine->mains_slot;
    if (slot < 0) return;
    own->numbers[slot] *= 1.01;
    bool good = solve_numbers(subject, own->more);
    for (size_t i = 0; good && i < subject->places; i++) {
        const solve_probe *probe = &diagnose_place_at(subject->engine, i)->probe;
        double more = solve_read(own->work, own->numbers, own->more, probe, NULL, NULL);
        truth->by_mains[i] = (more - truth->by_mains[i]) / log(1.01);
    }
    own->numbers[slot] /= 1.01;
}

/* What no law gets right, drawn once for this amp. */
static void draw_model_error(subject *subject, truth *truth) {
    for (size_t i = 0; i < subject->places; i++) {
        double healthy = diagnose_place_at(subject->engine, i)->healthy;
        double spread = subject->engine->options.model_spread;
        double variance = diagnose_model_error(spread, truth->volts[i], healthy);
        truth->error[i] = sqrt(variance) * base_random_normal(&truth->random);
    }
}

/* Something not modelled, as the engine means it: all that varies, several times as far. */
static void draw_unmodelled(subject *subject, truth *truth) {
    static const double wider[] = {4, 10, 30};
    diagnose_engine *engine = subject->engine;
    double z[engine->columns];
    truth->wider = wider[(int)(3 * base_random_unit(&truth->random))];
    for (int l = 0; l < engine->columns; l++)
        z[l] = base_random_normal(&truth->random);
    for (size_t i = 0; i < subject->places; i++) {
        const float *row = diagnose_row(engine, &engine->point[0], (int)i);
        double healthy = diagnose_place_at(engine, i)->healthy, own = 0;
        for (int l = 0; l < engine->columns; l++)
            own += (double)row[l] * z[l];
        double part = hypot(0.01 * truth->wider * healthy, 0.02 * truth->wider);
        truth->volts[i] = healthy + truth->wider * own;
        truth->error[i] = part * base_random_normal(&truth->random);
    }
}

bool own_solve(subject *subject, truth *truth, bool random) {
    own *own = subject->of_own;
    if (random && truth->fault[0] == 1) {
        draw_unmodelled(subject, truth);
        return true;
    }
    memcpy(own->numbers, subject->engine->bench.numbers,
           solve_slots(subject->system) * sizeof(double));
    base_random kept = truth->random;
    if (random) {
        base_random other;
        base_random_seed(&other, base_random_bits(&kept));
        draw_latents(subject, &other, own->numbers);
    }
    for (int k = 0; k < 2; k++)
        set_fault(subject, truth, truth->fault[k], own->numbers);
    if (!solve_numbers(subject, own->x)) return false;
    for (size_t i = 0; i < subject->places; i++) {
        const solve_probe *probe = &diagnose_place_at(subject->engine, i)->probe;
        truth->volts[i] = volts_at(subject, own->x, probe);
        truth->by_mains[i] = solve_read(own->work, own->numbers, own->x, probe, NULL, NULL);
    }
    if (!random) return true;
    slope_by_mains(subject, truth);
    draw_model_error(subject, truth);
    return true;
}

/* The meter, the wandering mains, and now and then a reading that is simply wrong: anything, or, as
 * often, near what it should be. */
double own_noise(subject *subject, truth *truth, size_t place) {
    diagnose_engine *engine = subject->engine;
    base_random *random = &truth->random;
    const diagnose_place *at = &engine->places.place[place];
    double volts = truth->volts[place] + truth->error[place];
    double scale = truth->wider > 0 ? truth->wider : 1;
    double noise =
        diagnose_noise(engine, &engine->options.meter, volts, 0, engine->load[place].source);
    double wander = engine->number[NUMBER_MAINS_WANDER] * truth->by_mains[place];
    if (truth->mains_set || truth->wider > 0) wander = 0;
    volts += scale * sqrt(noise) * base_random_normal(random);
    volts += wander * base_random_normal(random);
    double span = at->probe.heater ? 15 : engine->span;
    if (base_random_unit(random) >= engine->options.wrong) return volts;
    if (base_random_unit(random) < 0.5) return span * (base_random_unit(random) - 0.1);
    return volts + (0.1 * fabs(volts) + 0.2) * base_random_normal(random);
}
