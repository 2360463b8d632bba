#include "model.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <stdlib.h>
#include <string.h>

#define LIGHT 0.01       /* source over meter, below which its load is linear enough */
#define LIGHT_VOLTS 0.02 /* or what it takes away */
#define LN_GAS 0.8       /* spread of ln(gas), as latents.c has it */
#define TRACK_END 1e-3   /* of a pot's track, nearer to which no wiper comes */
#define ALIKE 1e-7       /* V, relative too: the same prediction */

static const diagnose_fault *fault_at(const model_amp *amp, int fault) {
    return &amp->engine->catalogue.fault[fault];
}

static solve_what what_of(const model_amp *amp, int slot) {
    return solve_slot_at(amp->engine->bench.system, (size_t)slot)->what;
}

/* ---- numbers from latents ------------------------------------------------------------------ */

/* Over how many cells the severity may lie. */
static double width_of(const model_hypothesis *hypothesis) {
    return hypothesis->width > 0 ? hypothesis->width
                                 : fault_at(hypothesis->amp, hypothesis->fault)->severities;
}

double model_at(const model_hypothesis *hypothesis, const double *v) {
    const model_amp *amp = hypothesis->amp;
    if (fault_at(amp, hypothesis->fault)->severities < 2) return 0;
    return hypothesis->from + width_of(hypothesis) * gsl_cdf_ugaussian_P(v[amp->latents]);
}

double model_severity(const model_hypothesis *hypothesis, double at) {
    double part = (at - hypothesis->from) / width_of(hypothesis);
    return gsl_cdf_ugaussian_Pinv(fmin(fmax(part, 1e-3), 1 - 1e-3));
}

/* d ln(number) of a set for one cell of the grid; 0 where the number is the same in all. */
static double step_of(const diagnose_fault *fault, int set) {
    if (fault->severities < 2 || fault->number[set][0] == fault->number[set][1]) return 0;
    return log(fault->number[set][1] / fault->number[set][0]);
}

static void set_fault(const diagnose_fault *fault, double cell, double *numbers) {
    for (int s = 0; s < fault->sets; s++)
        numbers[fault->slot[s]] =
            fault->number[s][0] *
            (fault->severities > 1 ? exp(step_of(fault, s) * (cell - 0.5)) : 1);
}

/* The wiper of a pot: its two numbers move against each other. */
static bool turns(const model_amp *amp, const diagnose_latent *latent) {
    return latent->slot[1] >= 0 && latent->by[0] > 0 && latent->by[1] < 0 &&
           what_of(amp, latent->slot[0]) == SOLVE_OHMS;
}

static void turn(const diagnose_latent *latent, double v, const double *nominal, double *numbers) {
    double *low = &numbers[latent->slot[0]], *high = &numbers[latent->slot[1]];
    double whole = *low + *high;
    double at = nominal[latent->slot[0]] / (nominal[latent->slot[0]] + nominal[latent->slot[1]]);
    at = fmin(fmax(at * (1 + latent->by[0] * v), TRACK_END), 1 - TRACK_END);
    *low = at * whole;
    *high = (1 - at) * whole;
}

static void move(const model_amp *amp, const diagnose_latent *latent, double v, double *numbers) {
    if (turns(amp, latent)) {
        turn(latent, v, amp->engine->bench.numbers, numbers);
        return;
    }
    for (int k = 0; k < 2; k++) {
        int slot = latent->slot[k];
        if (slot < 0) continue;
        double by = what_of(amp, slot) == SOLVE_GAS ? LN_GAS : latent->by[k];
        numbers[slot] *= exp(by * v);
    }
}

static void set_numbers(const model_amp *amp, const diagnose_fault *fault, const double *v,
                        double cell) {
    const diagnose_latents *latents = &amp->engine->latents;
    memcpy(amp->numbers, amp->engine->bench.numbers,
           solve_slots(amp->engine->bench.system) * sizeof *amp->numbers);
    for (int l = 0; v && l < latents->count; l++)
        move(amp, &latents->latent[l], v[l], amp->numbers);
    set_fault(fault, cell, amp->numbers);
}

/* ---- readings ------------------------------------------------------------------------------ */

double model_shown(model_amp *amp, const solve_probe *probe, double *gradient) {
    double source = 0;
    double shown = solve_read(amp->work, amp->numbers, amp->x, probe, gradient, &source);
    if (probe->heater || !isfinite(probe->meter_ohms)) return shown;
    double share = source / probe->meter_ohms;
    if (share < LIGHT || share * fabs(shown) < LIGHT_VOLTS) return shown;
    double joined = solve_read_joined(amp->work, amp->numbers, amp->x, probe, gradient);
    return isfinite(joined) ? joined : shown;
}

/* d reading / d latents, and last, where there is a severity, by cells of it. */
static void slopes(const model_amp *amp, const diagnose_fault *fault, double *row) {
    const diagnose_latents *latents = &amp->engine->latents;
    for (int l = 0; l < latents->count; l++) {
        const diagnose_latent *latent = &latents->latent[l];
        row[l] = 0;
        for (int k = 0; k < 2; k++) {
            int slot = latent->slot[k];
            bool set = false;
            for (int s = 0; s < fault->sets; s++)
                set |= fault->slot[s] == slot;
            if (slot < 0 || set) continue;
            bool gas = what_of(amp, slot) == SOLVE_GAS;
            row[l] += amp->gradient[slot] * (gas ? LN_GAS * amp->numbers[slot] : latent->by[k]);
        }
    }
    if (fault->severities < 2) return;
    row[latents->count] = 0;
    for (int s = 0; s < fault->sets; s++) {
        bool gas = what_of(amp, fault->slot[s]) == SOLVE_GAS;
        double scale = gas ? amp->numbers[fault->slot[s]] : 1;
        row[latents->count] += amp->gradient[fault->slot[s]] * scale * step_of(fault, s);
    }
}

static bool solve_from(model_amp *amp, const double *start) {
    amp->solved++;
    return solve_point(amp->work, amp->numbers, start, amp->x).outcome <= SOLVE_CONTINUED;
}

static bool volts(void *context, const double *v, double *volts, double *row) {
    model_hypothesis *hypothesis = context;
    model_amp *amp = hypothesis->amp;
    const diagnose_fault *fault = fault_at(amp, hypothesis->fault);
    const model_fault *table = &amp->fault[hypothesis->fault];
    size_t columns = (size_t)(amp->latents + (fault->severities > 1));
    double cell = model_at(hypothesis, v);
    double by_latent = columns > (size_t)amp->latents
                           ? width_of(hypothesis) * gsl_ran_ugaussian_pdf(v[amp->latents])
                           : 0;
    size_t near = table->knots > 1 ? (size_t)lrint(cell * MODEL_KNOTS) : 0;
    set_numbers(amp, fault, v, cell);
    const double *knot = table->x + near * solve_unknowns(amp->engine->bench.system);
    bool again = amp->last == hypothesis && amp->near == near;
    amp->last = hypothesis;
    amp->near = near;
    if (!(again && solve_from(amp, amp->x)) && !solve_from(amp, knot)) return false;
    for (int i = 0; i < hypothesis->readings; i++) {
        const solve_probe *probe = &amp->engine->places.place[hypothesis->place[i]].probe;
        volts[i] = model_shown(amp, probe, row ? amp->gradient : NULL);
        if (!row) continue;
        slopes(amp, fault, row + (size_t)i * columns);
        if (by_latent > 0) row[(size_t)i * columns + columns - 1] *= by_latent;
    }
    return true;
}

static void noise(void *context, const double *v, double *sd) {
    const model_hypothesis *hypothesis = context;
    const model_amp *amp = hypothesis->amp;
    const model_fault *table = &amp->fault[hypothesis->fault];
    double at = model_at(hypothesis, v) * MODEL_KNOTS;
    int knot = table->knots > 1 ? (int)fmin(at, table->knots - 2) : 0;
    for (int i = 0; i < hypothesis->readings; i++) {
        const double *extra = table->extra + knot * amp->places + hypothesis->place[i];
        double other =
            table->knots > 1 ? extra[0] + (at - knot) * (extra[amp->places] - extra[0]) : extra[0];
        sd[i] = sqrt(hypothesis->meter[i] + other * other);
    }
}

sampler_model model_of(model_hypothesis *hypothesis) {
    bool grid = fault_at(hypothesis->amp, hypothesis->fault)->severities > 1;
    return (sampler_model){hypothesis->amp->latents + grid, hypothesis->readings, hypothesis, volts,
                           noise};
}

/* ---- tables -------------------------------------------------------------------------------- */

static double norm(const double *row, int count) {
    double sum = 0;
    for (int l = 0; l < count; l++)
        sum += row[l] * row[l];
    return sqrt(sum);
}

/* A fault that sets the mains leaves nothing of them to wander. */
static bool wanders(const model_amp *amp, const diagnose_fault *fault) {
    for (int s = 0; s < fault->sets; s++)
        if (fault->slot[s] == amp->engine->mains_slot) return false;
    return amp->engine->mains_varies;
}

static bool fill_knot(model_amp *amp, int index, int knot, double *row) {
    const diagnose_engine *engine = amp->engine;
    const diagnose_fault *fault = fault_at(amp, index);
    model_fault *table = &amp->fault[index];
    size_t unknowns = solve_unknowns(engine->bench.system), at = (size_t)(knot * amp->places);
    double cell = (double)knot / MODEL_KNOTS, *x = table->x + (size_t)knot * unknowns;
    set_numbers(amp, fault, NULL, cell);
    bool good = solve_from(amp, knot > 0 ? x - unknowns : engine->bench.x) ||
                solve_from(amp, engine->bench.x) || solve_from(amp, NULL);
    memcpy(x, good ? amp->x : engine->bench.x, unknowns * sizeof *x);
    if (!good) return false;
    for (int i = 0; i < amp->places; i++) {
        double shown = model_shown(amp, &engine->places.place[i].probe, amp->gradient);
        double healthy = index == 0 ? shown : amp->fault[0].volts[i];
        double wander = wanders(amp, fault) ? amp->gradient[engine->mains_slot] *
                                                  engine->number[NUMBER_MAINS_WANDER]
                                            : 0;
        slopes(amp, fault, row);
        table->volts[at + (size_t)i] = shown;
        table->spread[at + (size_t)i] = norm(row, amp->latents);
        table->extra[at + (size_t)i] = sqrt(
            diagnose_model_error(engine->options.model_spread, shown, healthy) + wander * wander);
        if (index == 0)
            memcpy(amp->healthy_row + i * amp->latents, row, (size_t)amp->latents * sizeof *row);
    }
    return true;
}

static bool alike(const double *a, const double *b, int count) {
    for (int i = 0; i < count; i++)
        if (fabs(a[i] - b[i]) > ALIKE * (1 + fabs(b[i]))) return false;
    return true;
}

/* Does fault a predict at all its severities what b, which has none, predicts? Then they have the
 * same evidence: also what varies does the same. */
static bool same(const model_amp *amp, int a, int b) {
    const model_fault *one = &amp->fault[a], *other = &amp->fault[b];
    int n = amp->places;
    if (other->knots > 1 || !other->solved || !one->solved) return false;
    for (int k = 0; k < one->knots; k++)
        if (!alike(one->volts + k * n, other->volts, n) ||
            !alike(one->extra + k * n, other->extra, n) ||
            !alike(one->spread + k * n, other->spread, n))
            return false;
    return true;
}

static void fill_fault(model_amp *amp, int index, double *row) {
    model_fault *table = &amp->fault[index];
    const diagnose_fault *fault = fault_at(amp, index);
    size_t knots = fault->severities > 1 ? (size_t)(MODEL_KNOTS * fault->severities + 1) : 1;
    size_t places = (size_t)amp->places;
    *table = (model_fault){.knots = (int)knots, .same_as = -1, .solved = true};
    table->x = calloc(knots * solve_unknowns(amp->engine->bench.system), sizeof(double));
    table->volts = calloc(knots * places, sizeof(double));
    table->extra = calloc(knots * places, sizeof(double));
    table->spread = calloc(knots * places, sizeof(double));
    if (fault->mode == DIAGNOSE_UNMODELLED) return;
    for (size_t k = 0; k < knots; k++)
        table->solved &= fill_knot(amp, index, (int)k, row);
    for (int other = 0; other < index && table->same_as < 0; other++)
        if (other != 1 && amp->fault[other].same_as < 0 && same(amp, index, other))
            table->same_as = other;
}

model_amp *model_open(diagnose_engine *engine, const solve_system *system) {
    model_amp *amp = calloc(1, sizeof *amp);
    size_t slots = solve_slots(system), faults = engine->catalogue.count;
    *amp = (model_amp){.engine = engine, .work = solve_work_new(system)};
    amp->numbers = calloc(slots, sizeof(double));
    amp->gradient = calloc(slots, sizeof(double));
    amp->x = calloc(solve_unknowns(system), sizeof(double));
    amp->places = (int)engine->places.count;
    amp->latents = engine->latents.count;
    amp->fault = calloc(faults, sizeof *amp->fault);
    amp->healthy_row = calloc((size_t)(amp->places * amp->latents) + 1, sizeof(double));
    double *row = calloc((size_t)amp->latents + 1, sizeof *row);
    for (size_t f = 0; f < faults; f++)
        fill_fault(amp, (int)f, row);
    free(row);
    if (amp->fault[0].solved) return amp;
    model_close(amp);
    return NULL;
}

void model_close(model_amp *amp) {
    if (!amp) return;
    for (size_t f = 0; f < amp->engine->catalogue.count; f++) {
        free(amp->fault[f].x);
        free(amp->fault[f].volts);
        free(amp->fault[f].extra);
        free(amp->fault[f].spread);
    }
    free(amp->fault);
    solve_work_free(amp->work);
    free(amp->numbers);
    free(amp->gradient);
    free(amp->healthy_row);
    free(amp->x);
    free(amp);
}
