#include "exact.h"

#include <stdlib.h>

#include "diagnose_impl.h"

#define PLACES 10
#define RANGES 6
#define MOST 120 /* hypotheses: points of faults, the likeliest that show */
#define DEPTH 3
#define SURE 0.9

typedef enum rule { RULE_BEST, RULE_INFORMATION, RULE_EDGES } rule;

/* Where one stands: places read, readings left, and by which rule they are chosen. */
typedef struct stage {
    unsigned used;
    int left;
    rule rule;
} stage;

typedef struct problem {
    const subject *subject;
    int hypotheses, places, classes;
    int point[MOST], class[MOST], place[PLACES];
    double weight[MOST], cost[PLACES];
    double chance[MOST][PLACES][RANGES]; /* of each range, given the hypothesis */
} problem;

/* ---- the problem --------------------------------------------------------------------------- */

static double volts_of(const problem *problem, int hypothesis, int place) {
    const diagnose_engine *engine = problem->subject->engine;
    const diagnose_point *point = &engine->point[problem->point[hypothesis]];
    return diagnose_bare(engine, point, &engine->places.place[place].probe);
}

static double spread_of(const problem *problem, int place, double volts) {
    const diagnose_engine *engine = problem->subject->engine;
    const diagnose_place *at = &engine->places.place[place];
    double part = fabs(at->healthy) > 0.5 ? fmin(fabs(volts / at->healthy), 3) : 1;
    double noise = diagnose_noise(engine, &engine->options.meter, volts, diagnose_digit(volts),
                                  engine->load[place].source);
    return sqrt(noise + pow(part * at->spread, 2) +
                diagnose_model_error(engine->options.model_spread, volts, at->healthy));
}

static bool shows(const subject *subject, const diagnose_point *point) {
    const diagnose_engine *engine = subject->engine;
    for (size_t i = 0; i < subject->places; i++) {
        const diagnose_place *at = &engine->places.place[i];
        double moved = diagnose_bare(engine, point, &at->probe) -
                       diagnose_bare(engine, &engine->point[0], &at->probe);
        if (subject->is_pin[i] && fabs(moved) > 3 * at->spread + 0.05) return true;
    }
    return false;
}

/* The likeliest points that show, and the healthy amp; a class is a part. */
static void take_hypotheses(problem *problem) {
    const diagnose_engine *engine = problem->subject->engine;
    double sum = 0;
    for (size_t p = 0; p < engine->points && problem->hypotheses < MOST; p++) {
        const diagnose_point *point = &engine->point[p];
        const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
        double prior = fault->prior * fault->weight[point->severity];
        if (!point->solved || (p > 0 && (prior < 3e-4 || !shows(problem->subject, point))))
            continue;
        int h = problem->hypotheses++;
        problem->point[h] = (int)p;
        problem->class[h] = p == 0 ? 0 : fault->part + 2;
        if (problem->class[h] >= problem->classes) problem->classes = problem->class[h] + 1;
        sum += problem->weight[h] = prior;
    }
    for (int h = 0; h < problem->hypotheses; h++)
        problem->weight[h] /= sum;
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Ranges hold a like number of hypotheses each. */
static void cut_ranges(const problem *problem, int place, double edges[RANGES - 1]) {
    double volts[MOST];
    for (int h = 0; h < problem->hypotheses; h++)
        volts[h] = volts_of(problem, h, place);
    qsort(volts, (size_t)problem->hypotheses, sizeof *volts, by_size);
    for (int r = 1; r < RANGES; r++) {
        int at = r * problem->hypotheses / RANGES;
        edges[r - 1] = 0.5 * (volts[at - 1] + volts[at]);
    }
}

static void fill_place(problem *problem, int slot, int place) {
    double edges[RANGES - 1];
    cut_ranges(problem, place, edges);
    problem->place[slot] = place;
    problem->cost[slot] = diagnose_place_at(problem->subject->engine, (size_t)place)->cost;
    for (int h = 0; h < problem->hypotheses; h++) {
        double volts = volts_of(problem, h, place), before = 0;
        double sd = spread_of(problem, place, volts);
        for (int r = 0; r < RANGES; r++) {
            double below = r + 1 < RANGES ? 0.5 * erfc((volts - edges[r]) / (sd * M_SQRT2)) : 1;
            problem->chance[h][slot][r] = fmax(below - before, 0);
            before = fmax(before, below);
        }
    }
}

/* ---- values -------------------------------------------------------------------------------- */

static double sum_classes(const problem *problem, const double *weight, double *of_class) {
    double sum = 0;
    for (int c = 0; c < problem->classes; c++)
        of_class[c] = 0;
    for (int h = 0; h < problem->hypotheses; h++) {
        of_class[problem->class[h]] += weight[h];
        sum += weight[h];
    }
    return sum;
}

static double plogp(double p) {
    return p > 0 ? p * log2(p) : 0;
}

/* What a place tells at these weights: bits, or the weight of edges cut. */
static double worth(const problem *problem, const double *weight, int slot, rule rule) {
    double of_class[problem->classes], moved[MOST], total = 0;
    double sum = sum_classes(problem, weight, of_class), squares = 0;
    for (int c = 0; c < problem->classes; c++) {
        squares += of_class[c] * of_class[c];
        total -= plogp(of_class[c] / sum);
    }
    if (rule == RULE_EDGES) total = sum * sum - squares;
    for (int r = 0; r < RANGES; r++) {
        double inside = 0, bits = 0;
        for (int h = 0; h < problem->hypotheses; h++)
            moved[h] = weight[h] * problem->chance[h][slot][r];
        double own = sum_classes(problem, moved, of_class);
        for (int c = 0; c < problem->classes; c++) {
            inside += of_class[c] * of_class[c];
            if (own > 0) bits -= plogp(of_class[c] / own);
        }
        total -= rule == RULE_EDGES ? own * own - inside : own / sum * bits;
    }
    return total;
}

static double value(const problem *problem, const double *weight, stage at);

/* Cost of a place and what is expected behind it, times the weight at hand. */
static double value_of_place(const problem *problem, const double *weight, int slot, stage at) {
    double moved[MOST], sum = 0, all = 0;
    stage next = {at.used | 1u << slot, at.left - 1, at.rule};
    for (int h = 0; h < problem->hypotheses; h++)
        all += weight[h];
    for (int r = 0; r < RANGES; r++) {
        double own = 0;
        for (int h = 0; h < problem->hypotheses; h++)
            own += moved[h] = weight[h] * problem->chance[h][slot][r];
        if (own > 1e-9) sum += value(problem, moved, next);
    }
    return all * problem->cost[slot] + sum;
}

static int choose(const problem *problem, const double *weight, stage at) {
    double most = -1;
    int best = 0;
    for (int slot = 0; slot < problem->places; slot++) {
        if (at.used >> slot & 1) continue;
        double rate = worth(problem, weight, slot, at.rule) / problem->cost[slot];
        if (rate > most) best = slot;
        most = fmax(most, rate);
    }
    return best;
}

static double value(const problem *problem, const double *weight, stage at) {
    double of_class[problem->classes], most = 0;
    double sum = sum_classes(problem, weight, of_class);
    for (int c = 0; c < problem->classes; c++)
        most = fmax(most, of_class[c]);
    double here = most >= SURE * sum ? 0 : EXACT_WRONG * (sum - most);
    if (here == 0 || at.left == 0) return here;
    if (at.rule != RULE_BEST)
        return value_of_place(problem, weight, choose(problem, weight, at), at);
    double least = INFINITY;
    for (int slot = 0; slot < problem->places; slot++)
        if (!(at.used >> slot & 1)) least = fmin(least, value_of_place(problem, weight, slot, at));
    return least;
}

/* The places that tell most at first, each for its cost. */
static void take_places(problem *problem) {
    bool taken[problem->subject->places];
    for (size_t i = 0; i < problem->subject->places; i++)
        taken[i] = !problem->subject->is_pin[i];
    problem->places = 1;
    for (int slot = 0; slot < PLACES; slot++) {
        double most = -1;
        int best = -1;
        for (size_t i = 0; i < problem->subject->places; i++) {
            if (taken[i]) continue;
            fill_place(problem, slot, (int)i);
            double rate =
                worth(problem, problem->weight, slot, RULE_INFORMATION) / problem->cost[slot];
            if (rate > most) best = (int)i;
            most = fmax(most, rate);
        }
        if (best < 0) break;
        fill_place(problem, slot, best);
        taken[best] = true;
        problem->places = slot + 1;
    }
}

exact exact_policy(const subject *subject) {
    problem *problem = calloc(1, sizeof *problem);
    problem->subject = subject;
    take_hypotheses(problem);
    take_places(problem);
    exact out = {.hypotheses = problem->hypotheses, .places = problem->places};
    out.information = value(problem, problem->weight, (stage){0, DEPTH, RULE_INFORMATION});
    out.edges = value(problem, problem->weight, (stage){0, DEPTH, RULE_EDGES});
    out.best = value(problem, problem->weight, (stage){0, DEPTH, RULE_BEST});
    free(problem);
    return out;
}
