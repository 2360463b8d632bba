#include "posterior.h"

#include <stdlib.h>
#include <string.h>

#define CAPPED 24.0   /* squared deviations that one reading counts for in choosing them */
#define FIRST 400     /* draws of each hypothesis */
#define POOR 0.15     /* effective part of the draws, under which a sampler learns again */
#define NEAR_PART 0.1 /* of half the wrong readings, as weigh.c has it */
#define NEAR_VOLTS 0.2
#define LESSONS 3
#define ROUNDS 40
#define COUNTS 0.01 /* probability from which the marks of a good run are asked */
#define LARGE 0.1   /* from which a whole effective sample is asked of one cell alone */
#define EFFECTIVE 1000.0
#define ERROR 0.05
#define AGAIN 200 /* perturbed copies, to see what the sampling leaves open */
#define SIZES 3   /* of something not modelled */

/* One hypothesis with its sampler: a fault in a part of its grid, or one size of something not
 * modelled. */
typedef struct candidate {
    model_hypothesis hypothesis;
    double wider; /* something not modelled: how much; 0: a fault */
    double log_prior, laplace;
    sampler *sampler;
    sampler_evidence says;
    int lessons; /* how often it learnt again */
} candidate;

typedef struct run {
    model_amp *amp;
    int n, *place;
    double *y, *meter, *broad;
    candidate *one;
    int count;
    posterior *posterior;
    const posterior_settings *settings;
} run;

/* ---- the readings -------------------------------------------------------------------------- */

static int place_of(const diagnose_engine *engine, const solve_probe *probe) {
    for (size_t p = 0; p < engine->places.count; p++) {
        const solve_probe *at = &engine->places.place[p].probe;
        if (at->plus == probe->plus && at->minus == probe->minus && at->heater == probe->heater &&
            (at->heater || at->meter_ohms == probe->meter_ohms))
            return (int)p;
    }
    return -1;
}

static bool take_readings(run *run, const diagnose_readings *readings) {
    const diagnose_engine *engine = run->amp->engine;
    size_t n = readings->count + 1;
    run->n = (int)readings->count;
    run->place = calloc(n, sizeof *run->place);
    run->y = calloc(n, sizeof *run->y);
    run->meter = calloc(n, sizeof *run->meter);
    run->broad = calloc(n, sizeof *run->broad);
    for (int i = 0; i < run->n; i++) {
        const diagnose_reading *reading = &readings->reading[i];
        int place = run->place[i] = place_of(engine, &reading->probe);
        if (place < 0) return false;
        run->y[i] = reading->volts;
        run->broad[i] = -log(reading->probe.heater ? 15 : engine->span);
        run->meter[i] = diagnose_noise(engine, &reading->meter, reading->volts, reading->resolution,
                                       engine->load[place].source);
    }
    return true;
}

/* ---- something not modelled: the healthy amp's scatter made wider, as weigh.c defines it ---- */

static bool wide_volts(void *context, const double *v, double *volts, double *row) {
    const candidate *one = context;
    const model_amp *amp = one->hypothesis.amp;
    for (int i = 0; i < one->hypothesis.readings; i++) {
        int place = one->hypothesis.place[i];
        const double *slope = amp->healthy_row + place * amp->latents;
        volts[i] = amp->fault[0].volts[place];
        for (int l = 0; l < amp->latents; l++) {
            volts[i] += one->wider * slope[l] * v[l];
            if (row) row[i * amp->latents + l] = one->wider * slope[l];
        }
    }
    return true;
}

static void wide_noise(void *context, const double *v, double *sd) {
    const candidate *one = context;
    const model_fault *healthy = &one->hypothesis.amp->fault[0];
    (void)v;
    for (int i = 0; i < one->hypothesis.readings; i++) {
        int place = one->hypothesis.place[i];
        double noise = one->hypothesis.meter[i] + pow(healthy->extra[place], 2);
        sd[i] = one->wider * sqrt(noise + pow(0.01 * healthy->volts[place], 2) + pow(0.02, 2));
    }
}

/* ---- candidates ---------------------------------------------------------------------------- */

static void add_candidate(run *run, model_hypothesis hypothesis, double wider, double log_prior) {
    candidate *one = &run->one[run->count++];
    *one = (candidate){.hypothesis = hypothesis, .wider = wider, .log_prior = log_prior};
    one->laplace = -INFINITY;
    sampler_data data = {run->y, run->broad, .wrong = run->amp->engine->options.wrong};
    if (wider == 0) data.near_part = NEAR_PART, data.near_volts = NEAR_VOLTS;
    sampler_model model =
        wider > 0 ? (sampler_model){run->amp->latents, run->n, one, wide_volts, wide_noise}
                  : model_of(&one->hypothesis);
    one->sampler = sampler_new(&model, &data, run->settings->seed * 1000003 + (uint64_t)run->count);
}

/* Of a fault and of those that predict the same. */
static double prior_of_all(const model_amp *amp, size_t fault) {
    const diagnose_catalogue *catalogue = &amp->engine->catalogue;
    double sum = catalogue->fault[fault].prior;
    for (size_t f = 0; f < catalogue->count; f++)
        if (amp->fault[f].same_as == (int)fault) sum += catalogue->fault[f].prior;
    return sum;
}

/* Over a cell the numbers change by a factor of up to five: it is cut until they change little. */
static int parts_of(const diagnose_fault *fault) {
    double step = fault->severities > 1 ? fabs(log(fault->severity[1] / fault->severity[0])) : 0;
    return step > 1.2 ? 4 : step > 0.6 ? 2 : 1;
}

static void add_fault(run *run, size_t f, double log_prior) {
    const diagnose_fault *fault = &run->amp->engine->catalogue.fault[f];
    int parts = parts_of(fault);
    model_hypothesis hypothesis = {run->amp, (int)f, 0, 0, run->n, run->place, run->meter};
    hypothesis.width = 1.0 / parts;
    for (int k = 0; k < parts * fault->severities; k++) {
        hypothesis.from = k * hypothesis.width;
        add_candidate(run, hypothesis, 0, log_prior + log(fault->weight[k / parts] / parts));
    }
}

static void add_candidates(run *run) {
    static const double wider[SIZES] = {4, 10, 30};
    const diagnose_catalogue *catalogue = &run->amp->engine->catalogue;
    model_hypothesis healthy = {run->amp, 1, 0, 0, run->n, run->place, run->meter};
    run->one = calloc(4 * DIAGNOSE_SEVERITIES * catalogue->count + SIZES, sizeof *run->one);
    for (int size = 0; size < SIZES; size++)
        add_candidate(run, healthy, wider[size], log(catalogue->fault[1].prior / SIZES));
    for (size_t f = 0; f < catalogue->count; f++)
        if (f != 1 && run->amp->fault[f].same_as < 0)
            add_fault(run, f, log(prior_of_all(run->amp, f)));
}

/* How far the drawn amp with the fault at this knot lies from the readings. */
static double distance(const run *run, int fault, int knot) {
    const model_fault *table = &run->amp->fault[fault];
    double sum = 0;
    for (int i = 0; i < run->n; i++) {
        int at = knot * run->amp->places + run->place[i];
        double off = run->y[i] - table->volts[at];
        double variance = run->meter[i] + pow(table->extra[at], 2) + pow(table->spread[at], 2);
        sum += fmin(off * off / variance, CAPPED);
    }
    return sum;
}

/* From the severity in the cell that lies nearest. */
static void climb(run *run, candidate *one) {
    double *start = calloc((size_t)run->amp->latents + 1, sizeof *start);
    int knots = run->amp->fault[one->hypothesis.fault].knots, best = 0;
    if (one->wider == 0 && knots > 1) {
        int first = (int)lrint(one->hypothesis.from * MODEL_KNOTS);
        int last = first + (int)lrint(one->hypothesis.width * MODEL_KNOTS);
        double least = INFINITY;
        for (int knot = first; knot <= last; knot++) {
            double far = distance(run, one->hypothesis.fault, knot);
            if (far >= least) continue;
            least = far;
            best = knot;
        }
        start[run->amp->latents] = model_severity(&one->hypothesis, (double)best / MODEL_KNOTS);
    }
    one->laplace = sampler_climb(one->sampler, start);
    free(start);
}

static double best_laplace(const run *run) {
    double best = -INFINITY;
    for (int k = 0; k < run->count; k++)
        best = fmax(best, run->one[k].laplace + run->one[k].log_prior);
    return best;
}

static bool hopeless(const run *run, const candidate *one, double best) {
    return one->laplace + one->log_prior < best - run->settings->hopeless;
}

/* No readings: the priors. */
static void prepare(run *run) {
    for (int k = 0; k < run->count; k++)
        if (run->n > 0)
            climb(run, &run->one[k]);
        else
            run->one[k].laplace = 0;
    double best = best_laplace(run);
    for (int k = 0; k < run->count; k++) {
        candidate *one = &run->one[k];
        if (hopeless(run, one, best)) continue;

        sampler_learn(one->sampler);
        sampler_draw(one->sampler, FIRST);
        one->says = sampler_says(one->sampler);
    }
}

/* ---- sharing the draws --------------------------------------------------------------------- */

static double log_weight(const candidate *one) {
    return one->log_prior + (one->says.draws > 0 ? one->says.log : one->laplace);
}

static void normalise(double *weight, int count) {
    double best = -INFINITY, sum = 0;
    for (int k = 0; k < count; k++)
        best = fmax(best, weight[k]);
    for (int k = 0; k < count; k++)
        sum += weight[k] = exp(weight[k] - best);
    for (int k = 0; k < count; k++)
        weight[k] /= sum;
}

static void probabilities(const run *run, double *p) {
    for (int k = 0; k < run->count; k++)
        p[k] = log_weight(&run->one[k]);
    normalise(p, run->count);
}

/* Mean total variation when each evidence moves by its standard error. */
static double variation(const run *run, const double *p, double *other) {
    base_random random;
    base_random_seed(&random, 1);
    double sum = 0;
    for (int again = 0; again < AGAIN; again++) {
        for (int k = 0; k < run->count; k++)
            other[k] =
                log_weight(&run->one[k]) + run->one[k].says.error * base_random_normal(&random);
        normalise(other, run->count);
        for (int k = 0; k < run->count; k++)
            sum += 0.5 * fabs(other[k] - p[k]);
    }
    return sum / AGAIN;
}

static bool good_enough(const candidate *one, double p) {
    return p < COUNTS || one->says.draws == 0 ||
           (one->says.effective >= EFFECTIVE * fmin(1, p / LARGE) && one->says.error <= ERROR);
}

/* To each as its probability times its weights' scatter asks (Neyman's allocation). */
static bool share_out(run *run, const double *p, long budget) {
    double sum = 0;
    bool any = false;
    for (int k = 0; k < run->count; k++)
        sum += p[k] * run->one[k].says.error * sqrt((double)run->one[k].says.draws);
    for (int k = 0; k < run->count; k++) {
        candidate *one = &run->one[k];
        if (one->says.draws == 0) continue;
        double due = p[k] * one->says.error * sqrt((double)one->says.draws) / sum * (double)budget;
        double more = fmax(due, 0) - (double)one->says.draws;
        if (!good_enough(one, p[k])) more = fmax(more, (double)one->says.draws);
        if (more < 50) continue;
        if (one->says.effective < POOR * (double)one->says.draws && one->lessons++ < LESSONS) {
            sampler_learn_more(one->sampler);
            more += (double)one->says.draws;
        }
        sampler_draw(one->sampler, (long)more);
        one->says = sampler_says(one->sampler);
        any = true;
    }
    return any;
}

static long count_draws(const run *run) {
    long draws = 0;
    for (int k = 0; k < run->count; k++)
        draws += run->one[k].says.draws;
    return draws;
}

static void refine(run *run) {
    double *p = calloc((size_t)run->count, sizeof *p);
    double *other = calloc((size_t)run->count, sizeof *other);
    for (int round = 0; round < ROUNDS; round++) {
        probabilities(run, p);
        run->posterior->variation = variation(run, p, other);
        long drawn = count_draws(run);
        bool done = run->posterior->variation <= run->settings->close;
        for (int k = 0; k < run->count; k++)
            done &= good_enough(&run->one[k], p[k]);
        if (done || 3 * drawn / 2 > run->settings->most_draws) break;
        share_out(run, p, 3 * drawn / 2);
    }
    free(p);
    free(other);
}

/* ---- the whole ----------------------------------------------------------------------------- */

/* With the sums of w over its cells: effective = (sum w)^2 / sum (w^2 / effective). */
static void add_up(posterior_fault *fault, const candidate *one, double p) {
    double sum = fault->probability + p, share = sum > 0 ? p / sum : 0;
    double most = fmax(fault->log_weight, log_weight(one));
    fault->error = hypot(fault->error * (1 - share), one->says.error * share);
    fault->log_weight = most + log(exp(fault->log_weight - most) + exp(log_weight(one) - most));
    double before = fault->effective > 0 ? pow(1 - share, 2) / fault->effective : 0;
    double now = one->says.effective > 0 ? pow(share, 2) / one->says.effective : 0;
    fault->effective = before + now > 0 ? 1 / (before + now) : 0;
    fault->probability = sum;
    fault->draws += one->says.draws;
    fault->modes += one->says.modes;
    fault->sampled |= one->says.draws > 0;
}

/* Faults that predict the same were taken as one: each gets its part, the first one last. */
static void split_same(run *run) {
    const diagnose_catalogue *catalogue = &run->amp->engine->catalogue;
    posterior *all = run->posterior;
    for (size_t f = all->faults; f-- > 0;) {
        int other = run->amp->fault[f].same_as, first = other < 0 ? (int)f : other;
        double share = catalogue->fault[f].prior / prior_of_all(run->amp, (size_t)first);
        if (other >= 0) {
            all->fault[f] = all->fault[other];
            all->fault[f].draws = 0;
        }
        all->fault[f].log_weight += log(share);
        all->fault[f].probability *= share;
    }
}

static void summarise(run *run) {
    posterior *all = run->posterior;
    double sum = 0;
    all->least_effective = INFINITY;
    for (size_t f = 0; f < all->faults; f++)
        sum += all->fault[f].probability;
    for (size_t f = 0; f < all->faults; f++) {
        posterior_fault *fault = &all->fault[f];
        fault->probability /= sum;
        all->draws += fault->draws;
        if (!fault->sampled) all->left_out += fault->probability;
        if (fault->probability < COUNTS || !fault->sampled) continue;
        all->worst_error = fmax(all->worst_error, fault->error);
        all->least_effective = fmin(all->least_effective, fault->effective);
    }
}

static void gather(run *run) {
    posterior *all = run->posterior;
    double *p = calloc((size_t)run->count, sizeof *p);
    probabilities(run, p);
    for (size_t f = 0; f < all->faults; f++)
        all->fault[f].log_weight = -INFINITY;
    for (int k = 0; k < run->count; k++) {
        add_up(&all->fault[run->one[k].hypothesis.fault], &run->one[k], p[k]);
        all->unsolved += run->one[k].says.unsolved;
    }
    split_same(run);
    summarise(run);
    free(p);
}

static void close_run(run *run) {
    for (int k = 0; k < run->count; k++)
        sampler_free(run->one[k].sampler);
    void *all[] = {run->one, run->place, run->y, run->meter, run->broad};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        free(all[i]);
}

posterior *posterior_new(model_amp *amp, const diagnose_readings *readings,
                         const posterior_settings *settings) {
    run run = {.amp = amp, .settings = settings};
    if (take_readings(&run, readings)) {
        run.posterior = calloc(1, sizeof *run.posterior);
        run.posterior->faults = amp->engine->catalogue.count;
        run.posterior->fault = calloc(run.posterior->faults, sizeof *run.posterior->fault);
        add_candidates(&run);
        prepare(&run);
        refine(&run);
        gather(&run);
    }
    close_run(&run);
    return run.posterior;
}

void posterior_free(posterior *posterior) {
    if (!posterior) return;
    free(posterior->fault);
    free(posterior);
}
