/* The suspects as JSON: docs/json.md. */
#include "http.h"

#define TOLD 5 /* leaders whose prediction is told at each reading */

static json_t *suspects(const diagnose_belief *belief) {
    json_t *list = json_array();
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        list = http_json_append(
            list, json_pack("{s:o,s:o,s:o,s:i}", "part", http_json_text(suspect->part), "what",
                            http_json_text(suspect->what), "probability",
                            http_json_number(suspect->probability), "group", suspect->group));
    }
    return list;
}

static json_t *groups(const diagnose_belief *belief) {
    json_t *list = json_array();
    for (size_t i = 0; i < belief->groups; i++)
        list = http_json_append(list, json_pack("{s:o,s:I,s:o}", "probability",
                                                http_json_number(belief->group[i].probability),
                                                "members", (json_int_t)belief->group[i].members,
                                                "tell", http_json_text(belief->group[i].tell)));
    return list;
}

static json_t *nexts(const diagnose_belief *belief) {
    json_t *list = json_array();
    for (size_t i = 0; i < belief->nexts; i++) {
        const diagnose_probe_next *next = &belief->next[i];
        list = http_json_append(
            list,
            json_pack("{s:o,s:o,s:o,s:o,s:o}", "at", http_json_text(next->at), "quantity",
                      http_json_text(next->quantity), "bits", http_json_number(next->bits), "cost",
                      http_json_number(next->cost), "why", http_json_text(next->why)));
    }
    return list;
}

/* What the leaders of the first groups predict for one reading. */
static json_t *predictions(const http_case *at, size_t reading) {
    json_t *list = json_array();
    for (size_t group = 0; group < at->belief->groups && group < TOLD; group++) {
        int leader = diagnose_leader(at->belief, group);
        if (leader < 0) continue;
        const diagnose_suspect *suspect = &at->belief->suspect[leader];
        double volts = diagnose_leader_reads(at->engine, at->belief, group, at->readings, reading);
        list = http_json_append(
            list, json_pack("{s:o,s:o,s:o}", "part", http_json_text(suspect->part), "what",
                            http_json_text(suspect->what), "volts", http_json_number(volts)));
    }
    return list;
}

static json_t *readings(const http_case *at) {
    json_t *list = json_array();
    for (size_t i = 0; i < at->belief->compares; i++) {
        const diagnose_compare *compare = &at->belief->compare[i];
        list = http_json_append(list, json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "at",
                                                http_json_text(compare->at), "read",
                                                http_json_number(compare->read), "healthy",
                                                http_json_number(compare->healthy), "predicted",
                                                http_json_number(compare->predicted), "spread",
                                                http_json_number(compare->spread), "chance_wrong",
                                                http_json_number(compare->chance_wrong),
                                                "by_suspect", predictions(at, i)));
    }
    return list;
}

json_t *http_json_suspects(const http_case *at) {
    const diagnose_belief *belief = at->belief;
    return json_pack("{s:o,s:o,s:b,s:o,s:s,s:o,s:o,s:b,s:o,s:o,s:o,s:o}", "amp",
                     http_json_text(circuit_about_of(at->amp)->name), "mains_v",
                     http_json_number(at->mains), "mains_measured", at->measured, "meter",
                     http_json_meter(&at->meter), "verdict", diagnose_verdict_name(belief->verdict),
                     "reason", http_json_text(belief->reason), "entropy_bits",
                     http_json_number(belief->entropy_bits), "trusted", !belief->outside,
                     "suspects", suspects(belief), "groups", groups(belief), "next", nexts(belief),
                     "readings", readings(at));
}
