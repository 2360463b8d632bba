/* What one might do without inference, on the same readings. */
#include "diagnose_impl.h"
#include "judge.h"

#include <stdlib.h>

static int part_of(const subject *subject, int index) {
    return index < 0 ? -2 : diagnose_fault_at(subject->engine, (size_t)index)->part;
}

static bool right_part(const judge *judge, int part) {
    for (int k = 0; k < 2; k++)
        if (judge->truth->asked[k] > 1 && part_of(judge->subject, judge->truth->asked[k]) == part)
            return true;
    return false;
}

/* ---- the habit: the part nearest the largest deviation ------------------------------------- */

static int touches(const circuit_part *part, const solve_probe *probe) {
    int count = 0;
    for (int end = 0; end < CIRCUIT_ENDS; end++) {
        bool exists = end < part->ends || (part->kind == CIRCUIT_TUBE && end <= part->tube->pins);
        if (exists && part->end[end] > 0)
            count += part->end[end] == probe->plus || part->end[end] == probe->minus;
    }
    return count;
}

/* Of a part: the sum of its faults' priors. */
static double *part_priors(const subject *subject) {
    double *sum = calloc(circuit_parts(subject->circuit) + 1, sizeof *sum);
    for (size_t f = 2; f < diagnose_faults(subject->engine); f++) {
        const diagnose_fault *fault = diagnose_fault_at(subject->engine, f);
        if (fault->part >= 0) sum[fault->part] += fault->prior;
    }
    return sum;
}

/* In percent of what a good amp shows, of a volt where that is less. */
static size_t largest_deviation(const subject *subject, const double *shown) {
    double most = -1;
    size_t worst = 0;
    for (size_t i = 0; i < subject->places; i++) {
        double healthy = diagnose_place_at(subject->engine, i)->healthy;
        double percent = fabs(shown[i] - healthy) / fmax(fabs(healthy), 1);
        if (percent > most) worst = i;
        most = fmax(most, percent);
    }
    return worst;
}

static int habit(const subject *subject, const double *shown, const double *prior) {
    const diagnose_place *at =
        diagnose_place_at(subject->engine, largest_deviation(subject, shown));
    double most = 0;
    int best = -1;
    for (size_t p = 0; p < circuit_parts(subject->circuit); p++) {
        double worth = touches(circuit_part_at(subject->circuit, p), &at->probe) * (1 + prior[p]);
        if (worth > most) best = (int)p;
        most = fmax(most, worth);
    }
    return best;
}

/* ---- a fault dictionary: the nearest entry ------------------------------------------------- */

/* Each fault at each severity as the engine solved it; distance in 5 % and half a volt. */
static int nearest_entry(const subject *subject, const double *shown) {
    diagnose_engine *engine = subject->engine;
    double least = INFINITY;
    int best = -1;
    for (size_t p = 0; p < engine->points; p++) {
        const diagnose_point *point = &engine->point[p];
        double sum = 0;
        for (size_t i = 0; point->solved && i < subject->places; i++) {
            const diagnose_place *at = &engine->places.place[i];
            double volts = diagnose_bare(engine, point, &at->probe);
            sum += fmin(pow((shown[i] - volts) / (0.05 * fabs(volts) + 0.5), 2), 25);
        }
        if (!point->solved || sum >= least) continue;
        least = sum;
        best = point->fault;
    }
    return best;
}

void baseline_judge(judge *judge, const double *shown, row *row) {
    const subject *subject = judge->subject;
    double *prior = part_priors(subject);
    size_t most = 0;
    for (size_t p = 1; p < circuit_parts(subject->circuit); p++)
        if (prior[p] > prior[most]) most = p;
    row->at[C_HABIT] = right_part(judge, habit(subject, shown, prior));
    row->at[C_DICTIONARY] = right_part(judge, part_of(subject, nearest_entry(subject, shown)));
    row->at[C_PRIOR_FIRST] = right_part(judge, (int)most);
    free(prior);
}
