/* What a reader of beliefs looks up: leaders, places, predictions; and priors of his own. */
#include "diagnose_impl.h"

#include <math.h>

int diagnose_leader(const diagnose_belief *belief, size_t group) {
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].group == (int)group) return (int)i;
    return -1;
}

int diagnose_place_of(const diagnose_engine *engine, const solve_probe *probe, int *sign) {
    for (size_t i = 0; i < diagnose_places(engine); i++) {
        const solve_probe *known = &diagnose_place_at(engine, i)->probe;
        bool same = known->plus == probe->plus && known->minus == probe->minus;
        bool turned = known->plus == probe->minus && known->minus == probe->plus;
        if (known->heater != probe->heater || !(same || turned)) continue;
        *sign = same ? 1 : -1;
        return (int)i;
    }
    return -1;
}

int diagnose_leading_pair(const diagnose_belief *belief, size_t group) {
    int leader = diagnose_leader(belief, group);
    double alone = leader < 0 ? 0 : belief->suspect[leader].probability;
    for (size_t i = 0; i < belief->pairs; i++)
        if (belief->pair[i].group == (int)group && belief->pair[i].probability > alone)
            return (int)i;
    return -1;
}

double diagnose_leader_shows(const diagnose_engine *engine, const diagnose_belief *belief,
                             size_t group, size_t place) {
    int leader = diagnose_leader(belief, group), pair = diagnose_leading_pair(belief, group);
    if (pair >= 0) return belief->pair[pair].shows[place];
    return leader < 0 ? NAN : diagnose_predicted(engine, belief, (size_t)leader, place);
}

double diagnose_leader_reads(const diagnose_engine *engine, const diagnose_belief *belief,
                             size_t group, const diagnose_readings *readings, size_t reading) {
    int sign = 1, pair = diagnose_leading_pair(belief, group);
    bool plain = diagnose_plain(&readings->reading[reading].test);
    int place = plain ? diagnose_place_of(engine, &readings->reading[reading].probe, &sign) : -1;
    double told = group < DIAGNOSE_TOLD ? belief->compare[reading].by_group[group] : NAN;
    if (isfinite(told)) return told;
    if (pair >= 0) return belief->pair[pair].reads[reading];
    return place < 0 ? NAN : sign * diagnose_leader_shows(engine, belief, group, (size_t)place);
}

const char *diagnose_verdict_name(diagnose_verdict verdict) {
    static const char *const names[] = {"not enough", "leaning", "settled", "healthy", "strange"};
    return names[verdict];
}

void diagnose_set_priors(diagnose_engine *engine, const double *prior) {
    for (size_t i = 0; i < engine->catalogue.count; i++)
        engine->catalogue.fault[i].prior = prior[i];
}
